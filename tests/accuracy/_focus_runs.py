"""Focus runs of star fields with known truth, drawn by the simulator of `pairs`, which shares no code with the engine.

Every star has an image of its own: the wavefront at its place (field curvature, astigmatism, coma,
spherical aberration), the tilt of the sensor, and the seeing of the frame.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

import _field_pairs
from pairs.diffraction import expected_image
from pairs.pupil import PupilShape
from pairs.setup import PairSetup

Array = NDArray[np.float64]


@dataclasses.dataclass(frozen=True)
class FocusRun:
    """A run and its truth; lengths on the sensor in mm from its middle, focus in um.

    Attributes
    ----------
    frames : list of ndarray
        Counts, one electron each.
    positions_um : ndarray
        Where the sensor's middle stood, growing away from the objective.
    focal_ratio, obstruction, aperture_mm, pitch_um : float
        Of telescope and camera.
    tilt_um_per_mm : tuple
        Slope of the best focus at the middle of the sensor, x and y.
    curvature_um_per_mm2 : float
        Half the curvature of the medial surface.
    astigmatism_um_per_mm2 : float
        Tangential less sagittal focus over the squared height.
    """

    frames: list[Array]
    positions_um: Array
    focal_ratio: float
    obstruction: float
    aperture_mm: float
    pitch_um: float
    tilt_um_per_mm: tuple[float, float]
    curvature_um_per_mm2: float
    astigmatism_um_per_mm2: float


def draw(
    seed: int, shape: tuple[int, int] = (1100, 1600), stars: int = 90, steps: int = 9
) -> FocusRun:
    """Draw one run.

    Parameters
    ----------
    seed : int
        Of all that is drawn.
    shape : tuple of int
        Rows and columns.
    stars : int
        How many.
    steps : int
        Frames.
    """
    rng = np.random.default_rng(seed)
    ny, nx = shape
    aperture, ratio = rng.uniform(60, 200), rng.uniform(4.5, 9.0)
    obstruction = float(rng.choice([0.0, 0.0, rng.uniform(0.2, 0.4)]))
    # Pixels up to 12 um stand for a binned or a larger sensor.
    pitch = float(rng.choice([5.9, 9.0, 12.0]))
    half_mm = np.hypot(nx, ny) / 2 * pitch / 1000
    depth = 4 * 0.54 * ratio**2
    axis = rng.uniform(-0.25, 0.25, 2) * half_mm
    camera = rng.uniform(-1.5, 1.5, 2) * depth / half_mm  # um/mm, tilt of the sensor
    bend = rng.uniform(-1.0, 1.0) * depth / half_mm**2
    split = rng.uniform(-1.0, 1.0) * depth / half_mm**2
    coma = rng.uniform(-40, 40) / half_mm  # nm RMS at the corner
    spherical, astigmatism = rng.normal(0, 12), rng.normal(0, 12, 2)
    seeing = rng.uniform(1.5, 3.5)
    reach = rng.uniform(2.5, 4.5) * depth
    middle = rng.uniform(-0.4, 0.4) * depth
    positions = middle + np.linspace(-reach, reach, steps)
    shape_of = PupilShape(obstruction=obstruction)
    place = _apart(rng, stars, nx, ny, 70)
    flux = 10 ** rng.uniform(4.3, 5.6, stars)
    frames = []
    for position in positions:
        blur = seeing * np.exp(rng.normal(0, 0.06))
        image = np.zeros(shape)
        for (cx, cy), light in zip(place + rng.uniform(-6, 6, 2), flux):
            x, y = (cx - (nx - 1) / 2) * pitch / 1000, (cy - (ny - 1) / 2) * pitch / 1000
            hx, hy = x - axis[0], y - axis[1]
            h2 = hx * hx + hy * hy
            away = position + camera[0] * x + camera[1] * y - bend * h2
            # W222 rho^2 cos^2 moves the tangential focus by -8 N^2 W222 (Welford); its astigmatic part is half of it,
            # and Noll 6 is sqrt(6) rho^2 cos 2t.
            part = -1000 * split / (8 * ratio**2) / 2 / np.sqrt(6)
            setup = PairSetup(
                aperture_mm=aperture,
                focal_length_mm=aperture * ratio,
                shape=shape_of,
                pixel_um=pitch,
                size_px=44,
                wavelengths_nm=(540.0,),
                weights=(1.0,),
                seeing_arcsec=blur,
                flux_e=float(light),
                background_e=0.0,
                coefficients_nm={
                    5: astigmatism[0] + part * 2 * hx * hy,
                    6: astigmatism[1] + part * (hx * hx - hy * hy),
                    7: coma * hy,
                    8: coma * hx,
                    11: spherical,
                },
            )
            ix, iy = int(round(cx)), int(round(cy))
            stamp = expected_image(setup, float(away), (cx - ix - 0.5, cy - iy - 0.5))
            _add(image, stamp, ix - 21, iy - 21)
        image = rng.poisson(np.clip(image, 0, None) + 120.0) + rng.normal(0, 3.0, shape)
        frames.append(image.astype(np.float32))
    slope = tuple(float(-c - 2 * bend * a) for c, a in zip(camera, axis))
    return FocusRun(
        frames, positions, ratio, obstruction, aperture, pitch, (slope[0], slope[1]), bend, split
    )


#: Kinds of telescope whose aberrations change strongly over the field.
STRONG = ("decentred group", "squeezed lens", "tilted camera", "obstructed")


def draw_strong(
    seed: int, stars: int = 50, steps: int = 9, telescope: _field_pairs.Telescope | None = None
) -> FocusRun:
    """Draw a run with a telescope of `_field_pairs`: coma, astigmatism and trefoil of some 50 nm that change over the field.

    Parameters
    ----------
    seed : int
        Of all that is drawn; its remainder by four chooses the kind of `STRONG`.
    stars : int
        How many.
    steps : int
        Frames.
    telescope : Telescope, optional
        Drawn by the seed when not given.
    """
    rng = np.random.default_rng(seed)
    t = _field_pairs.telescope_of(rng, STRONG[seed % len(STRONG)])
    t = telescope or t
    ny, nx = t.shape
    depth = 4 * 0.54 * t.focal_ratio**2
    extent = [
        t.focus_um(complex(a, b) * t.half_mm) for a in (-0.83, 0, 0.83) for b in (-0.55, 0, 0.55)
    ]
    reach = rng.uniform(2.5, 4.0) * depth + 0.5 * (max(extent) - min(extent))
    middle = 0.5 * (max(extent) + min(extent)) + rng.uniform(-0.4, 0.4) * depth
    positions = middle + np.linspace(-reach, reach, steps)
    disc = 1.5 * reach / t.focal_ratio / t.pitch_um + 20
    place = _apart(rng, stars, nx, ny, max(70.0, 1.5 * disc))
    flux = 10 ** rng.uniform(4.6, 5.9, len(place))
    seeing = rng.uniform(1.5, 3.5)
    rough = rng.uniform(0, 4)
    frames = []
    for position in positions:
        sky = _field_pairs.Sky(
            place + rng.uniform(-6, 6, 2),
            flux,
            float(seeing * np.exp(rng.normal(0, 0.06))),
            rough_nm=rough,
        )
        frames.append(_field_pairs.expose(t, sky, float(position), rng))
    truth = t.truth()
    wide, high = nx * t.pitch_um / 1000, ny * t.pitch_um / 1000
    slope = (truth["tilt_across_width"] / wide, truth["tilt_across_height"] / high)
    return FocusRun(
        frames,
        positions,
        t.focal_ratio,
        t.obstruction,
        t.aperture_mm,
        t.pitch_um,
        slope,
        t.bend_um_per_mm2,
        # The inverse of what `draw` makes of a split.
        float(-8 * t.focal_ratio**2 * 2 * np.sqrt(6) * t.astigmatism[0] / 1000),
    )


def _apart(rng: np.random.Generator, count: int, nx: int, ny: int, least: float) -> Array:
    """Places at a distance from each other and from the rim."""
    found: list[Array] = []
    for _ in range(100 * count):
        place = rng.uniform((40, 40), (nx - 40, ny - 40))
        if all(np.hypot(*(place - other)) > least for other in found):
            found.append(place)
        if len(found) == count:
            break
    return np.array(found)


def _add(image: Array, stamp: Array, x0: int, y0: int) -> None:
    size = stamp.shape[0]
    ax, ay = max(x0, 0), max(y0, 0)
    bx, by = min(x0 + size, image.shape[1]), min(y0 + size, image.shape[0])
    if bx > ax and by > ay:
        image[ay:by, ax:bx] += stamp[ay - y0 : by - y0, ax - x0 : bx - x0]

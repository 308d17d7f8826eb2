"""Defocused pairs of star fields with known truth, drawn by the simulator of `pairs`, which shares no code with the engine.

Every star has an image of its own: the wavefront at its place (nodal aberration theory, Thompson 2005,
J. Opt. Soc. Am. A 22, 1389, from memory), the tilt of the sensor, the seeing of the frame, and a little of its own that
the air leaves.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from pairs.diffraction import (
    blur_spectrum,
    defocus_nm,
    image_focal_ratio,
    pupil_samples,
    sample_pixels,
)
from pairs.pupil import PupilShape, grid, transmission
from pairs.setup import PairSetup
from pairs.zernike import wavefront

Array = NDArray[np.float64]

WAVELENGTH_NM = 540.0

KINDS = (
    "tilted camera",
    "decentred group",
    "squeezed lens",
    "obstructed",
    "crowded",
    "few stars",
    "shifted by 40 px",
    "drift",
    "nebula",
)


@dataclasses.dataclass(frozen=True)
class Telescope:
    """A drawn telescope with its camera; h is the complex place on the sensor, x + i y, in mm from its middle.

    Attributes
    ----------
    aperture_mm, focal_ratio, obstruction, pitch_um : float
        Of telescope and camera.
    shape : tuple of int
        Rows and columns.
    axis_mm : complex
        Where field curvature and quadratic astigmatism have their middle.
    tilt_um_per_mm : complex
        How much farther from the objective the sensor lies per mm along x and y.
    bend_um_per_mm2 : float
        Best focus over the squared distance from the axis.
    astigmatism : tuple
        Noll 6 + i Noll 5 as b2 (h - axis)^2 + b1 (h - axis) + b0; nm/mm2, nm/mm, nm.
    coma : tuple
        Noll 8 + i Noll 7 as c1 (h - axis) + c0; nm/mm, nm.
    constant_nm : dict
        Noll 9 and more, the same all over the field.
    """

    aperture_mm: float
    focal_ratio: float
    obstruction: float
    pitch_um: float
    shape: tuple[int, int]
    axis_mm: complex
    tilt_um_per_mm: complex
    bend_um_per_mm2: float
    astigmatism: tuple[float, complex, complex]
    coma: tuple[float, complex]
    constant_nm: dict[int, float]

    @property
    def half_mm(self) -> float:
        """Half the diagonal of the sensor."""
        return float(np.hypot(*self.shape) / 2 * self.pitch_um / 1000)

    def focus_um(self, h: complex) -> float:
        """Sensor position of best focus at a place, the sensor's own plane taken as zero."""
        tilt = self.tilt_um_per_mm
        plane = tilt.real * h.real + tilt.imag * h.imag
        return self.bend_um_per_mm2 * abs(h - self.axis_mm) ** 2 - plane

    def coefficients_nm(self, h: complex) -> dict[int, float]:
        """Noll coefficients from 5 on at a place."""
        g = h - self.axis_mm
        b2, b1, b0 = self.astigmatism
        c1, c0 = self.coma
        astigmatism, coma = b2 * g * g + b1 * g + b0, c1 * g + c0
        return {
            5: astigmatism.imag,
            6: astigmatism.real,
            7: coma.imag,
            8: coma.real,
            **self.constant_nm,
        }

    def truth(self) -> dict[str, float]:
        """What the measurement should find, by the names of its result, about the sensor's middle."""
        ny, nx = self.shape
        wide, high = nx * self.pitch_um / 1000, ny * self.pitch_um / 1000
        a, half = self.axis_mm, self.half_mm
        slope = -self.tilt_um_per_mm - 2 * self.bend_um_per_mm2 * a
        b2, b1, b0 = self.astigmatism
        c1, c0 = self.coma
        first, zero = b1 - 2 * b2 * a, b2 * a * a - b1 * a + b0
        coma = c0 - c1 * a
        z9, z10 = self.constant_nm[9], self.constant_nm[10]
        return {
            "tilt_across_width": slope.real * wide,
            "tilt_across_height": slope.imag * high,
            "curvature_sag": self.bend_um_per_mm2 * half**2,
            "coma_linear": c1 * half,
            "coma_constant_x": coma.real,
            "coma_constant_y": coma.imag,
            "astigmatism_quadratic": b2 * half**2,
            "astigmatism_linear_x": first.real * half,
            "astigmatism_linear_y": first.imag * half,
            "astigmatism_constant_x": zero.real,
            "astigmatism_constant_y": zero.imag,
            "spherical": self.constant_nm[11],
            "trefoil_x": z10,
            "trefoil_y": z9,
        }


#: What a finite exposure leaves of the air, relative (Noll's variances fall with the order), by Noll index.
AIR = {5: 1.0, 6: 1.0, 7: 0.4, 8: 0.4, 9: 0.4, 10: 0.4, 11: 0.3}


class _Images:
    """Star images of one frame: what all of them share is computed once.

    The same as `pairs.diffraction.expected_image` but for the seeing's scale, which is that of the middle of the
    sensor (focal ratios differ by less than 1e-3 over it), and a pupil half as fine.
    """

    def __init__(self, setup: PairSetup, distance_um: float) -> None:
        self.setup = setup
        self.samples = 2 * (int(0.5 * pupil_samples(setup, distance_um, WAVELENGTH_NM)) // 2)
        self.samples = fft.next_fast_len(max(self.samples, 128) // 2) * 2
        self.x, self.y = grid(self.samples)
        self.open = transmission(setup.shape, self.samples)
        self.blur = blur_spectrum(setup, distance_um, WAVELENGTH_NM, self.samples, 2 * self.samples)
        self.modes = {k: wavefront({k: 1.0}, self.x, self.y) for k in range(5, 23)}

    def at(self, sensor_um: float, wave: dict[int, float], centre: tuple[float, float]) -> Array:
        """Share of the light in each pixel."""
        n, setup = self.samples, self.setup
        path = defocus_nm(setup, sensor_um) * (self.x**2 + self.y**2)
        for k, value in wave.items():
            path = path + value * self.modes[k]
        field = self.open * np.exp(-2j * np.pi / WAVELENGTH_NM * path)
        intensity = np.abs(fft.fft2(field, (2 * n, 2 * n))) ** 2
        spectrum = fft.rfft2(intensity) / (4.0 * n**2 * self.open.sum()) * self.blur
        period = n * WAVELENGTH_NM * 1e-3 * image_focal_ratio(setup, sensor_um) / setup.pixel_um
        return sample_pixels(spectrum, period, setup.size_px, centre)


@dataclasses.dataclass(frozen=True)
class FieldPair:
    """Two frames of counts, one electron each, and what they were drawn from."""

    inside: Array
    outside: Array
    telescope: Telescope
    distances_um: tuple[float, float]
    seeing_arcsec: tuple[float, float]
    places: Array


def telescope_of(rng: np.random.Generator, kind: str) -> Telescope:
    """Draw a telescope of a kind.

    Parameters
    ----------
    rng : Generator
        Random numbers.
    kind : str
        One of `KINDS`.
    """
    ratio = rng.uniform(4.5, 8.5)
    aperture = rng.uniform(60, 200)
    obstructed = kind == "obstructed" or rng.uniform() < 0.25
    wide, high = [(13.2, 8.8), (23.5, 15.7), (36.0, 24.0)][rng.integers(3)]
    # Pixels of 6 to 12 um stand for binned ones.
    pitch = float(rng.choice([6.0, 7.5, 9.0])) if wide < 30 else float(rng.choice([9.0, 12.0]))
    shape = (int(high * 1000 / pitch), int(wide * 1000 / pitch))
    half = np.hypot(*shape) / 2 * pitch / 1000
    depth = 2 * WAVELENGTH_NM / 1000 * ratio**2

    def turned(size: float) -> complex:
        return complex(size * np.exp(2j * np.pi * rng.uniform()))

    tilt = turned(
        rng.uniform(2, 5) * depth if kind == "tilted camera" else rng.uniform(0, 1.5) * depth
    )
    lens = kind == "squeezed lens"
    group = kind == "decentred group"
    return Telescope(
        aperture_mm=aperture,
        focal_ratio=ratio,
        obstruction=float(rng.uniform(0.2, 0.4)) if obstructed else 0.0,
        pitch_um=pitch,
        shape=shape,
        axis_mm=turned(rng.uniform(0, 0.15) * half),
        tilt_um_per_mm=tilt / half,
        bend_um_per_mm2=rng.uniform(-3, 3) * depth / half**2,
        astigmatism=(
            rng.uniform(-100, 100) / half**2,
            turned(rng.uniform(20, 80) if group else 0.0) / half,
            turned(rng.uniform(30, 90) if lens else rng.uniform(0, 12)),
        ),
        coma=(
            rng.uniform(-80, 80) / half,
            turned(rng.uniform(30, 80) if group else rng.uniform(0, 10)),
        ),
        constant_nm={
            9: rng.normal(0, 40 if lens else 5),
            10: rng.normal(0, 40 if lens else 5),
            11: rng.normal(0, 20),
            **{k: rng.normal(0, 3) for k in range(12, 23)},
        },
    )


@dataclasses.dataclass(frozen=True)
class Sky:
    """What one exposure of a field shows besides the telescope.

    Attributes
    ----------
    places, flux : ndarray
        Columns and rows of the stars, and their electrons.
    seeing_arcsec : float
        FWHM.
    drift_arcsec : tuple
        RMS of the tracking error along x and y.
    rough_nm : float
        What the air leaves of astigmatism in one star's image; less of the other modes.
    glow : ndarray or float
        Electrons a pixel beside the stars.
    faint : tuple of ndarray, optional
        Whole columns and rows, and electrons, of further stars, too faint to be fitted: they all have the image of the last
        bright one.
    """

    places: Array
    flux: Array
    seeing_arcsec: float
    drift_arcsec: tuple[float, float] = (0.0, 0.0)
    rough_nm: float = 0.0
    glow: Array | float = 60.0
    faint: tuple[Array, Array] | None = None


def expose(t: Telescope, sky: Sky, position_um: float, rng: np.random.Generator) -> Array:
    """Counts of one frame.

    Parameters
    ----------
    t : Telescope
        The telescope.
    sky : Sky
        What it looks at.
    position_um : float
        Of the middle of the sensor from best focus there without tilt and curvature.
    rng : Generator
        Noise and what the air leaves.
    """
    ny, nx = t.shape
    focal_um = t.aperture_mm * t.focal_ratio * 1000
    disc = abs(position_um) / t.focal_ratio / t.pitch_um + 10
    blur = sky.seeing_arcsec / 206265 * focal_um / t.pitch_um
    size = 2 * int(np.ceil(0.8 * disc + 10 + 4 * blur))
    setup = PairSetup(
        aperture_mm=t.aperture_mm,
        focal_length_mm=focal_um / 1000,
        shape=PupilShape(obstruction=t.obstruction),
        pixel_um=t.pitch_um,
        size_px=size,
        wavelengths_nm=(WAVELENGTH_NM,),
        seeing_arcsec=sky.seeing_arcsec,
        jitter_arcsec=sky.drift_arcsec,
    )
    images = _Images(setup, position_um)
    image, stamp = np.zeros(t.shape), np.zeros((size, size))
    for (cx, cy), light in zip(sky.places, sky.flux):
        h = complex(cx - (nx - 1) / 2, cy - (ny - 1) / 2) * t.pitch_um / 1000
        wave = {
            n: v + sky.rough_nm * AIR.get(n, 0.0) * rng.normal()
            for n, v in t.coefficients_nm(h).items()
        }
        ix, iy = int(round(cx)), int(round(cy))
        stamp = images.at(position_um - t.focus_um(h), wave, (cx - ix - 0.5, cy - iy - 0.5))
        _add(image, light * stamp, ix + 1 - size // 2, iy + 1 - size // 2)
    if sky.faint is not None:
        for (ix, iy), light in zip(*sky.faint):
            _add(image, light * stamp, ix - size // 2, iy - size // 2)
    counts = rng.poisson(np.clip(image, 0, None) + sky.glow) + rng.normal(0, 3.0, t.shape)
    return counts.astype(np.float32)


def draw(
    seed: int, kind: str, telescope: Telescope | None = None, stars: int | None = None
) -> FieldPair:
    """Draw one pair.

    Parameters
    ----------
    seed : int
        Of all that is drawn.
    kind : str
        One of `KINDS`.
    telescope : Telescope, optional
        Drawn by the kind when not given.
    stars : int, optional
        How many; by the kind when not given.
    """
    rng = np.random.default_rng(seed)
    t = telescope_of(rng, kind)
    t = telescope or t
    ny, nx = t.shape
    waves = rng.uniform(5, 8) * np.array([-1, rng.uniform(0.9, 1.1)])
    distances = waves * 8 * WAVELENGTH_NM / 1000 * t.focal_ratio**2
    seeing = rng.uniform(1.5, 3.5) * np.exp(rng.normal(0, 0.05, 2))
    disc = np.abs(distances).max() / t.focal_ratio / t.pitch_um + 10
    place = _apart(rng, stars or {"few stars": 18}.get(kind, 50), nx, ny, 2.2 * disc)
    if kind == "crowded":
        place = np.r_[place, rng.uniform((10, 10), (nx - 10, ny - 10), (60, 2))]
    flux = 10 ** rng.uniform(4.9, 6.2, len(place))
    shift = rng.uniform(-6, 6, 2)
    if kind == "shifted by 40 px":
        shift = 40 * shift / np.hypot(*shift)
    drift = rng.uniform(0.5, 1.0) * np.median(seeing) / 2.35 if kind == "drift" else 0.0
    along = (drift, 0.0) if rng.uniform() < 0.5 else (0.0, drift)
    rough = rng.uniform(0, 4)
    faint = rng.uniform((0, 0), (nx, ny), (700, 2)).astype(int)
    faint_flux = 10 ** rng.uniform(2.5, 3.4, 700)
    y, x = np.mgrid[0:ny, 0:nx]
    frames = []
    for k, distance in enumerate(distances):
        moved = shift * k
        glow: Array | float = 60.0
        if kind == "nebula":
            far = np.hypot(x - 0.3 * nx - moved[0], y - 0.6 * ny - moved[1])
            glow = 60 + 600 * np.exp(-((far / (0.25 * nx)) ** 2)) + 100 * x / nx
        sky = Sky(
            place + moved,
            flux,
            float(seeing[k]),
            along,
            rough,
            glow,
            (faint + np.round(moved).astype(int), faint_flux) if kind == "crowded" else None,
        )
        frames.append(expose(t, sky, float(distance), rng))
    return FieldPair(
        frames[0],
        frames[1],
        t,
        (float(distances[0]), float(distances[1])),
        (float(seeing[0]), float(seeing[1])),
        place,
    )


def _apart(rng: np.random.Generator, count: int, nx: int, ny: int, least: float) -> Array:
    """Places at a distance from each other, some of them near the rim."""
    found: list[Array] = []
    for _ in range(100 * count):
        place = rng.uniform((10, 10), (nx - 10, ny - 10))
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

"""Star fields with known sharpness over the field, drawn by the simulator of `pairs`, which shares no code with the engine.

Each field is of a kind that says which fault rules it; the others are there as well, an order weaker.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from _focus_runs import _add, _apart
from pairs.diffraction import expected_image
from pairs.pupil import PupilShape
from pairs.setup import PairSetup

Array = NDArray[np.float64]

#: What rules a field; the last three draw a mixture under other skies.
KINDS = (
    "good",
    "tilt",
    "curvature",
    "astigmatism",
    "coma",
    "trailing",
    "nebula",
    "few stars",
    "crowded",
)
FAULTS = ("tilt", "curvature", "astigmatism", "coma", "trailing")

#: From here on a fault counts as there, and below half of it as not there: share of the half-flux radius, ellipticity.
NOTICED = (0.03, 0.02)


@dataclasses.dataclass(frozen=True)
class Faults:
    """Strengths; lengths in um on a field with half the diagonal as 1, coma in nm RMS at the corner.

    Attributes
    ----------
    focus, tilt, curvature : float, tuple of float, float
        Sensor from best focus: in the middle, its slope, and what the squared distance adds.
    astigmatism : float
        Half of tangential less sagittal focus at the corner.
    coma : float
        At the corner.
    trail : tuple of float
        Length of an even trail along x and y, um.
    axis : tuple of float
        Where the axis meets the sensor.
    """

    focus: float = 0.0
    tilt: tuple[float, float] = (0.0, 0.0)
    curvature: float = 0.0
    astigmatism: float = 0.0
    coma: float = 0.0
    trail: tuple[float, float] = (0.0, 0.0)
    axis: tuple[float, float] = (0.0, 0.0)

    def without(self, fault: str) -> Faults:
        """The same without one fault."""
        if fault == "trailing":
            return dataclasses.replace(self, trail=(0.0, 0.0))
        if fault == "tilt":
            # A bowl beside the sensor's middle is a bowl about it and a tilt, which no single setup tells apart.
            return dataclasses.replace(
                self, tilt=(2 * self.curvature * self.axis[0], 2 * self.curvature * self.axis[1])
            )
        if fault == "curvature":
            level = (
                self.tilt[0] - 2 * self.curvature * self.axis[0],
                self.tilt[1] - 2 * self.curvature * self.axis[1],
            )
            focus = self.focus + self.curvature * (self.axis[0] ** 2 + self.axis[1] ** 2)
            return dataclasses.replace(self, curvature=0.0, tilt=level, focus=focus)
        return dataclasses.replace(self, **{fault: 0.0})


@dataclasses.dataclass(frozen=True)
class Instrument:
    """Telescope, camera and air of one field."""

    aperture_mm: float
    focal_ratio: float
    obstruction: float
    pitch_um: float
    seeing_arcsec: float
    shape: tuple[int, int]

    def star(
        self,
        faults: Faults,
        place: complex,
        light: float,
        center: tuple[float, float],
        size: int = 44,
        finer: int = 1,
    ) -> Array:
        """Noiseless image of a star at a place (half the diagonal is 1), in electrons a sample; a finer grid has no pixel blur of its own."""
        off = place - complex(*faults.axis)
        away = (
            faults.focus
            + faults.tilt[0] * place.real
            + faults.tilt[1] * place.imag
            + faults.curvature * abs(off) ** 2
        )
        # W222's astigmatic part, +-d to either side of the medial focus; Noll 6 is sqrt(6) rho^2 cos 2t, defocus of d is d / (8 N^2) rho^2.
        part = -1000 * faults.astigmatism / (8 * self.focal_ratio**2) / np.sqrt(6)
        setup = PairSetup(
            aperture_mm=self.aperture_mm,
            focal_length_mm=self.aperture_mm * self.focal_ratio,
            shape=PupilShape(obstruction=self.obstruction),
            pixel_um=self.pitch_um / finer,
            size_px=size,
            wavelengths_nm=(550.0,),
            weights=(1.0,),
            seeing_arcsec=self.seeing_arcsec,
            flux_e=light,
            background_e=0.0,
            coefficients_nm={
                5: part * 2 * off.real * off.imag,
                6: part * (off.real**2 - off.imag**2),
                7: faults.coma * off.imag,
                8: faults.coma * off.real,
            },
        )
        stamp = expected_image(setup, float(away), center)
        if any(faults.trail):
            ux, uy = fft.fftfreq(size)[None, :], fft.fftfreq(size)[:, None]
            step = self.pitch_um / finer
            along = (ux * faults.trail[0] + uy * faults.trail[1]) / step
            stamp = fft.ifft2(fft.fft2(stamp) * np.sinc(along)).real
        return np.asarray(stamp)


@dataclasses.dataclass(frozen=True)
class SharpField:
    """A frame and its truth."""

    kind: str
    frame: Array
    instrument: Instrument
    faults: Faults
    drawn: dict[tuple[complex, Faults], Array] = dataclasses.field(default_factory=dict, repr=False)

    @property
    def corners(self) -> list[complex]:
        """Places of the four corners."""
        ny, nx = self.instrument.shape
        half = np.hypot(nx, ny)
        return [complex(a * nx / half, b * ny / half) for a in (1, -1) for b in (1, -1)]

    def image(self, place: complex, faults: Faults | None = None) -> tuple[Array, float]:
        """Finely drawn star before the pixels, and the side of its samples in um."""
        one, drawn = self.instrument, faults or self.faults
        finer, size = 4, 4 * 28
        if (place, drawn) not in self.drawn:
            self.drawn[place, drawn] = one.star(drawn, place, 1.0, (0.0, 0.0), size, finer)
        return self.drawn[place, drawn], one.pitch_um / finer

    def fwhm(self, place: complex) -> float:
        """Full width at half of the image's height, geometric mean: of the area above it; um."""
        image, step = self.image(place)
        fine = ndimage.zoom(image, 5, order=3, grid_mode=True, mode="nearest")
        return float(2 * np.sqrt((fine > 0.5 * fine.max()).sum() / np.pi) * step / 5)

    def shape(self, place: complex, faults: Faults | None = None) -> complex:
        """1 - b/a of Gaussian-weighted moments with the star's own ellipse, its angle doubled."""
        image, _ = self.image(place, faults)
        return lengthening(image)

    def hfr(self, place: complex, faults: Faults | None = None) -> float:
        """Half-flux radius within three of them, um."""
        image, step = self.image(place, faults)
        image, step = np.repeat(np.repeat(image, 3, 0), 3, 1), step / 3
        image = ndimage.uniform_filter(image, 3)
        y, x = np.indices(image.shape)
        cx, cy = (image * x).sum() / image.sum(), (image * y).sum() / image.sum()
        r = np.hypot(x - cx, y - cy).ravel()
        order = np.argsort(r)
        light, radius = np.cumsum(image.ravel()[order]), r[order]
        reach = radius[-1]
        for _ in range(20):
            whole = np.interp(reach, radius, light)
            reach = 3 * float(np.interp(0.5 * whole, light, radius))
        return reach / 3 * step

    def there(self, fault: str) -> str:
        """Whether a fault is "there", "not there", or weaker than is asked for ("either")."""
        less = self.faults.without(fault)
        blur = max(abs(1 - self.hfr(z, less) / self.hfr(z)) for z in self.corners)
        drawn = max(abs(self.shape(z) - self.shape(z, less)) for z in self.corners)
        if blur > 1.5 * NOTICED[0] or drawn > 1.5 * NOTICED[1]:
            return "there"
        return "not there" if blur < 0.5 * NOTICED[0] and drawn < 0.5 * NOTICED[1] else "either"


def lengthening(image: Array) -> complex:
    """1 - b/a with the angle doubled, by moments under a Gaussian of the star's own ellipse (Bernstein and Jarvis 2002)."""
    y, x = np.indices(image.shape, dtype=float)
    center = np.array([(image * x).sum(), (image * y).sum()]) / image.sum()
    c = np.eye(2) * 100.0
    for _ in range(60):
        d = np.stack([x - center[0], y - center[1]])
        inverse = np.linalg.inv(c)
        weight = image * np.exp(-0.5 * np.einsum("iyx,ij,jyx->yx", d, inverse, d))
        total = weight.sum()
        move = np.array([(weight * d[0]).sum(), (weight * d[1]).sum()]) / total
        m = np.array([[(weight * d[i] * d[j]).sum() / total for j in (0, 1)] for i in (0, 1)])
        m -= np.outer(move, move)
        center = center + 2 * move
        c = np.linalg.inv(np.linalg.inv(m) - inverse)
    big, small = np.linalg.eigvalsh(c)[::-1]
    angle = 0.5 * np.arctan2(2 * c[0, 1], c[0, 0] - c[1, 1])
    return (1 - np.sqrt(small / big)) * np.exp(2j * angle)


def draw(
    kind: str, seed: int, obstructed: bool = False, shape: tuple[int, int] = (900, 1300)
) -> SharpField:
    """Draw one field.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    seed : int
        Of all that is drawn.
    obstructed : bool
        Mirrors of f/3.5 to f/10 with an obstruction; else lenses of f/4.5 to f/8.
    shape : tuple of int
        Rows and columns.
    """
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    ny, nx = shape
    aperture = rng.uniform(120, 300) if obstructed else rng.uniform(60, 180)
    ratio = rng.uniform(3.5, 10.0) if obstructed else rng.uniform(4.5, 8.0)
    obstruction = rng.uniform(0.2, 0.42) if obstructed else 0.0
    seeing = rng.uniform(1.5, 3.5)
    um = aperture * ratio / 206.264806
    width = np.hypot(seeing, 0.206264806 * 550 / aperture) * um
    pitch = width / rng.uniform(2.4, 4.5)
    size = 0.57 * width  # half-flux radius without faults, um

    def shift(f: float) -> float:
        # A disc of the half-flux radius d / (2 sqrt 2 N).
        return float(2 * np.sqrt(2) * ratio * f * size)

    def coma(f: float) -> float:
        # Second moment 2/3 W131^2 (2 N)^2, of which 0.7 goes into the squared half-flux radius; W131 is 3 sqrt 8 times Noll's coefficient.
        return float(1000 * f * size / (2 * ratio * np.sqrt(0.47)) / (3 * np.sqrt(8)))

    def one(low: float, high: float) -> float:
        return float(rng.uniform(low, high) * rng.choice([-1, 1]))

    turn, weak = rng.uniform(0, 2 * np.pi), 0.12
    rules = {
        "nebula": ("curvature", "coma"),
        "few stars": ("tilt",),
        "crowded": ("curvature",),
    }.get(kind, (kind,))
    strong = {name: name in rules for name in FAULTS}
    tilt = shift(one(0.6, 1.3) if strong["tilt"] else weak * one(0, 1))
    faults = Faults(
        focus=shift(
            one(0.2, 0.6)
            if strong["astigmatism"]
            else one(0, 0.5)
            if any((strong["tilt"], strong["curvature"]))
            else one(0, 0.25)
        ),
        tilt=(tilt * np.cos(turn), tilt * np.sin(turn)),
        curvature=shift(one(0.6, 1.3) if strong["curvature"] else weak * one(0, 1)),
        astigmatism=shift(one(0.6, 1.2) if strong["astigmatism"] else weak * one(0, 1)),
        coma=coma(one(0.5, 1.1) if strong["coma"] else weak * one(0, 1)),
        trail=(0.0, 0.0),
        axis=tuple(rng.uniform(-0.15, 0.15, 2)),
    )
    if strong["trailing"]:
        length, way = rng.uniform(0.5, 1.2) * width, rng.uniform(0, np.pi)
        faults = dataclasses.replace(faults, trail=(length * np.cos(way), length * np.sin(way)))
    instrument = Instrument(aperture, ratio, obstruction, pitch, seeing, shape)
    count = {"few stars": 15, "crowded": 700}.get(kind, 90)
    place = _apart(rng, count, nx, ny, 5 if kind == "crowded" else 45)
    flux = 10 ** rng.uniform(3.9, 5.4, count)
    frame = np.zeros(shape)
    half = 0.5 * np.hypot(nx, ny)
    for (cx, cy), light in zip(place, flux):
        z = complex(cx - (nx - 1) / 2, cy - (ny - 1) / 2) / half
        ix, iy = int(round(cx)), int(round(cy))
        stamp = instrument.star(faults, z, float(light), (cx - ix - 0.5, cy - iy - 0.5))
        _add(frame, stamp, ix - 21, iy - 21)
    if kind == "nebula":
        glow = ndimage.gaussian_filter(rng.normal(0, 1, shape), 110)
        slope = np.linspace(0, 1, nx)[None, :] * np.linspace(0.3, 1, ny)[:, None]
        frame += 300 * (0.6 * slope + np.clip(glow / glow.std(), 0, 3) / 3)
    frame = rng.poisson(np.clip(frame, 0, None) + 120.0) + rng.normal(0, 3.0, shape)
    return SharpField(kind, frame.astype(np.float32), instrument, faults)

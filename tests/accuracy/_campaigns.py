"""Whole campaigns drawn at random: a telescope with faults, a night, what was measured, and what is claimed; with the truth of all of it.

Pairs and focus runs come from the simulator of `pairs`, flats from counted rays: neither shares code with the engine. Spectra are the
engine's own, since a drawn one of the other kind takes as long as a whole campaign.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.io import fits
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from _focus_runs import _add, _apart
from alignment import turbulence
from pairs.diffraction import expected_image
from pairs.draw import expose, true_wavefront
from pairs.pupil import PupilShape
from pairs.seeing import ARCSEC
from pairs.setup import Camera, Edge, PairSetup
from relative_illumination import passed
from starassay.simulation.spectra import draw_spectrum
from verdicts import strehl_as_claimed

Array = NDArray[np.float64]

#: What may be planted, and by what word the advice names it; a turned edge shows in the verdicts alone.
FAULTS = {
    "astigmatism": "astigmatism",
    "coma": "coma",
    "spherical": "spherical aberration",
    "turned edge": "",
    "tilted camera": "the sensor's tilt",
    "wrong spacing": "the spacing",
    "clipping adapter": "the adapter",
    "blue out of focus": "a filter",
}
DESIGNS = ("refractor", "newtonian", "compound")


@dataclasses.dataclass(frozen=True)
class Scope:
    """A drawn telescope with its night; lengths on the sensor in mm, focus in um, wavefront in nm.

    Attributes
    ----------
    design : str
        One of `DESIGNS`.
    aperture, ratio, obstruction, wavelength, seeing : float
        mm, focal ratio, ratio of diameters, nm, arcsec.
    planted : frozenset of str
        Which of `FAULTS` it has.
    modes : dict of int to float
        Noll number to nm RMS.
    edge : Edge or None
        A turned edge.
    stated : dict of str to float
        Focal length, wavelength and obstruction as the user states them, wrong by what the measurements allow for.
    """

    design: str
    aperture: float
    ratio: float
    obstruction: float
    wavelength: float
    seeing: float
    planted: frozenset[str]
    modes: dict[int, float]
    edge: Edge | None
    stated: dict[str, float]

    @property
    def focal(self) -> float:
        """Focal length, mm."""
        return self.aperture * self.ratio

    @property
    def depth(self) -> float:
        """Depth of focus, both sides together, um."""
        return 4 * 0.54 * self.ratio**2


@dataclasses.dataclass
class Drawn:
    """A campaign in a folder, with its truth.

    Attributes
    ----------
    scope : Scope
        The telescope.
    path : Path
        The campaign file.
    truth : dict of str to float
        What can be claimed, by the quantity's name, in its unit.
    signed : dict of str to tuple
        By the word of the advice: the measurement and the values with signs that it must find, by their names.
    mends : dict of str to set of str
        Quantities that are missed because of something the user can adjust, with what.
    claims : list of dict
        Rows of the campaign file.
    tables : list of str
        Its measurements.
    curve : dict of int to float
        Focus in um by wavelength in nm, where spectra were taken.
    """

    scope: Scope
    path: Path
    truth: dict[str, float] = dataclasses.field(default_factory=dict)
    signed: dict[str, tuple[str, dict[str, float]]] = dataclasses.field(default_factory=dict)
    mends: dict[str, set[str]] = dataclasses.field(default_factory=dict)
    claims: list[dict[str, Any]] = dataclasses.field(default_factory=list)
    tables: list[str] = dataclasses.field(default_factory=list)
    curve: dict[int, float] = dataclasses.field(default_factory=dict)

    @property
    def measured(self) -> set[str]:
        """Names of the measurements."""
        return {t.split("]]")[0].strip("[\n ") for t in self.tables}


def scope_of(rng: np.random.Generator) -> Scope:
    """A telescope with faults, each there by itself in a third of all."""
    design = str(rng.choice(DESIGNS))
    lens = design == "refractor"
    planted = {name for name in FAULTS if rng.random() < 0.33}
    if not lens:
        planted -= {"blue out of focus"}
    wavelength = float(rng.choice([501.0, 540.0, 589.0, 656.0]))
    modes = {j: float(rng.normal(0, 1.2)) for j in range(5, 12)}
    modes |= {j: float(rng.normal(0, 0.6)) for j in range(12, 23)}
    for name, (first, second) in {"astigmatism": (5, 6), "coma": (7, 8)}.items():
        if name in planted:
            size, turn = rng.uniform(12, 40), rng.uniform(0, 2 * np.pi)
            modes[first], modes[second] = size * np.sin(turn), size * np.cos(turn)
    if "spherical" in planted:
        modes[11] = float(rng.choice([-1, 1]) * rng.uniform(12, 40))
    edge = None
    if "turned edge" in planted:
        edge = Edge(
            float(rng.choice([-1, 1]) * rng.uniform(40, 140)), float(rng.uniform(0.9, 0.96))
        )
    aperture = float(rng.uniform(60, 160) if lens else rng.uniform(110, 280))
    ratio = float(rng.uniform(5, 9) if lens else rng.uniform(4, 9))
    obstruction = 0.0 if lens else float(rng.uniform(0.2, 0.38))
    scale, wave, hole = rng.normal(0, (0.005, 0.005, 0.01))
    return Scope(
        design,
        aperture,
        ratio,
        obstruction,
        wavelength,
        float(rng.uniform(1.3, 3.2)),
        frozenset(planted),
        modes,
        edge,
        {
            "focal": aperture * ratio * (1 + scale),
            "wavelength": wavelength * (1 + wave),
            "obstruction": obstruction * (1 + hole),
        },
    )


def draw(seed: int, number: int, folder: Path) -> Drawn:
    """One campaign, its frames and its file.

    Parameters
    ----------
    seed, number : int
        Of all that is drawn.
    folder : Path
        Where it goes; made.
    """
    rng = np.random.default_rng([seed, number])
    scope = scope_of(rng)
    folder.mkdir(parents=True, exist_ok=True)
    drawn = Drawn(scope, folder / "campaign.toml")
    parts: list[tuple[Callable[..., None], float]] = [
        (_pair, 0.75),
        (_field, 0.6),
        (_flat, 0.5),
        (_spectra, 0.35),
    ]
    chosen = [part for part, share in parts if rng.random() < share]
    for part in chosen or [_pair]:
        part(drawn, rng, folder)
    _claims(drawn, rng)
    _write(drawn, rng, number)
    return drawn


# ---------------------------------------------------------------- one bright star


def _pair(drawn: Drawn, rng: np.random.Generator, folder: Path) -> None:
    """One or two pairs of a star out of focus, each image with what the air leaves in 20 s."""
    s = drawn.scope
    shift = float(rng.uniform(5, 8)) * s.wavelength * 1e-3 * 8 * s.ratio**2
    disc = float(rng.uniform(32, 46))
    pitch = shift / s.ratio / disc
    blur = s.seeing * ARCSEC * s.focal * 1e3 / pitch
    flux = float(10 ** rng.uniform(5.8, 7.4))
    jitter = float(rng.uniform(0, 0.3))
    setup = PairSetup(
        aperture_mm=s.aperture,
        focal_length_mm=s.focal,
        shape=PupilShape(obstruction=s.obstruction),
        coefficients_nm=s.modes,
        edge=s.edge,
        wavelengths_nm=(s.wavelength,),
        pixel_um=pitch,
        size_px=max(64, 2 * int(np.ceil(0.8 * disc + 4 * blur))),
        inside_um=-shift,
        outside_um=shift,
        flux_e=flux,
        background_e=float(rng.uniform(5, 40)),
        seeing_arcsec=s.seeing,
        jitter_arcsec=(jitter, jitter),
        camera=Camera(
            gain_e_per_adu=max(0.2, flux / disc**2 / 10000), bias_adu=0.0, saturation_adu=65000.0
        ),
        declared_changes={"wavelengths_nm": (s.stated["wavelength"],)},
    )
    count = int(rng.integers(1, 3))
    for k in range(count):
        for side, sensor in (("in", -shift), ("out", shift)):
            air = turbulence(rng, s.aperture, s.seeing, 20.0)
            modes = {j: s.modes.get(j, 0.0) + air.get(j, 0.0) for j in s.modes.keys() | air.keys()}
            one = dataclasses.replace(setup, coefficients_nm=modes)
            place = tuple(rng.uniform(-2, 2, 2))
            mean = expected_image(one, sensor, (float(place[0]), float(place[1])))
            pixels = expose(mean, setup.camera, rng) + 500
            _frame(
                folder / f"pair-{k}-{side}.fits",
                pixels,
                pitch=pitch,
                gain=setup.camera.gain_e_per_adu,
                exposure=20.0,
                saturation=65000,
                minute=5 * k + (side == "out"),
            )
    truth = true_wavefront(setup)
    pair = dataclasses.make_dataclass("P", ["truth", "declared", "setup"])(truth, _Stated(s), setup)
    of = truth.coefficients_nm
    drawn.truth |= {
        "strehl": strehl_as_claimed(pair),  # type: ignore[arg-type]
        "wavefront_rms": truth.rms_best_focus_nm,
        "coma": float(np.hypot(of[7], of[8])),
        "astigmatism": float(np.hypot(of[5], of[6])),
    }
    if s.edge is None:
        # With an edge the circle polynomials of an obstructed pupil have no one value.
        drawn.truth["spherical"] = abs(of[11])
        drawn.signed["spherical aberration"] = ("wavefront", {"11": of[11]})
    drawn.signed["coma"] = ("wavefront", {"7": of[7], "8": of[8]})
    drawn.signed["astigmatism"] = ("wavefront", {"5": of[5], "6": of[6]})
    turns = {name for name in ("astigmatism", "coma") if name in s.planted}
    if s.design == "refractor":
        turns -= {"coma"}  # lens cells are not the user's
    for name in ("strehl", "wavefront_rms"):
        drawn.mends[name] = set(turns)
    drawn.mends["coma"] = drawn.mends["alignment_coma"] = turns & {"coma"}
    drawn.mends["astigmatism"] = turns & {"astigmatism"}
    drawn.tables.append(
        '[[wavefront]]\nname = "pair"\ninside = "pair-*-in.fits"\noutside = "pair-*-out.fits"\nfilter = "narrow"'
    )
    if rng.random() < 0.4:
        drawn.truth["alignment_coma"] = drawn.truth["coma"]
        drawn.tables.append(
            '[[alignment]]\nname = "rings"\nframes = ["pair-0-in.fits", "pair-0-out.fits"]\nfilter = "narrow"'
        )


@dataclasses.dataclass(frozen=True)
class _Stated:
    """What `strehl_as_claimed` asks of a pair's declaration."""

    scope: Scope
    weights: tuple[float, ...] = (1.0,)

    @property
    def wavelengths_nm(self) -> tuple[float, ...]:
        return (self.scope.stated["wavelength"],)


# ---------------------------------------------------------------- focus runs


def _field(drawn: Drawn, rng: np.random.Generator, folder: Path) -> None:
    """A focus run of a star field; in half of them a second one at another spacing."""
    s = drawn.scope
    ny, nx = 420, 620
    pitch = float(np.clip(s.focal * s.seeing * ARCSEC * 1e3 / rng.uniform(1.8, 2.6), 3.0, 14.0))
    half = np.hypot(nx, ny) / 2 * pitch / 1000
    # Of the best focus, corner to corner over the diagonal, in depths of focus.
    turn = rng.uniform(0, 2 * np.pi)
    size = rng.uniform(0.8, 2.0) if "tilted camera" in s.planted else rng.uniform(0, 0.02)
    camera = size * s.depth / (2 * half) * np.array([np.cos(turn), np.sin(turn)])  # um/mm
    split = rng.normal(0, 0.15) * s.depth / half**2
    coma = rng.normal(0, 6) / half
    spaced = rng.random() < 0.5
    if not spaced:
        bends = [rng.normal(0, 0.4) * s.depth / half**2]
        places = [55.0]
    else:
        # um of sag for each mm, so that the planted error makes one or two depths of it.
        per_mm = rng.choice([-1, 1]) * rng.uniform(0.5, 0.9) * s.depth
        off = rng.choice([-1, 1]) * (
            rng.uniform(1.2, 2.5) if "wrong spacing" in s.planted else rng.uniform(0, 0.03)
        )
        first = 55.0 + rng.uniform(-1, 1)
        best = first - off
        # The other distance lies on the other side of the best one, or there where a user would guess.
        second = first - np.sign(off) * rng.uniform(1.5, 3.0)
        places = [first, second]
        bends = [per_mm * (d + rng.normal(0, 0.05) - best) / half**2 for d in places]
        drawn.truth["spacing_change"] = float(best - first)
        drawn.truth["best_spacing"] = float(best)
        drawn.signed["the spacing"] = ("spacing", {"spacing_change": float(best - first)})
        drawn.mends["spacing_change"] = drawn.mends["best_spacing"] = {"spacing"}
    stars = int(rng.integers(28, 44))
    place = _apart(rng, stars, nx, ny, 40)
    flux = 10 ** rng.uniform(4.4, 5.5, len(place))
    scale = 1 + rng.normal(0, 0.01)  # the focuser's
    told: list[float] = []
    names: list[str] = []
    distances: list[float] = []
    for run, (bend, distance) in enumerate(zip(bends, places)):
        reach = rng.uniform(2.2, 3.2) * s.depth
        for k, position in enumerate(
            rng.uniform(-0.3, 0.3) * s.depth + np.linspace(-reach, reach, 5)
        ):
            image = _exposed(
                s, rng, (ny, nx), pitch, place, flux, position, camera, bend, split, coma
            )
            name = f"run-{run}-{k}.fits"
            _frame(
                folder / name,
                image + 300,
                pitch=pitch,
                gain=1.0,
                exposure=5.0,
                minute=20 + k + 10 * run,
            )
            names.append(name)
            told.append(float(position * scale))
            distances.append(distance)
    wide, high = nx * pitch / 1000, ny * pitch / 1000
    slope = -camera
    drawn.truth |= {
        "sensor_tilt": float(abs(slope[0] * wide) + abs(slope[1] * high)),
        "curvature_sag": float(bends[0] * half**2),
        "astigmatic_split": float(split * half**2),
        "focus_spread": _spread(slope, bends[0], wide, high),
    }
    drawn.signed["the sensor's tilt"] = (
        "focus_surface",
        {
            "tilt_across_width": float(slope[0] * wide),
            "tilt_across_height": float(slope[1] * high),
        },
    )
    drawn.mends["sensor_tilt"] = {"tilt"}
    wrong = {"spacing"} if spaced and "wrong spacing" in s.planted else set()
    drawn.mends["curvature_sag"] = wrong
    drawn.mends["focus_spread"] = wrong | ({"tilt"} if "tilted camera" in s.planted else set())
    first_run = [i for i, name in enumerate(names) if name.startswith("run-0")]
    drawn.tables.append(
        '[[focus_surface]]\nname = "run"\nframes = '
        + _listed([names[i] for i in first_run])
        + "\npositions = "
        + _listed([f"{told[i]:.2f} um" for i in first_run])
        + '\nfilter = "narrow"'
    )
    if spaced:
        drawn.tables.append(
            '[[spacing]]\nname = "two distances"\nframes = '
            + _listed(names)
            + "\npositions = "
            + _listed([f"{p:.2f} um" for p in told])
            + "\ndistances = "
            + _listed([f"{d:.3f} mm" for d in distances])
            + f'\npresent_distance = "{places[0]:.3f} mm"\nfilter = "narrow"'
        )


def _exposed(
    s: Scope,
    rng: np.random.Generator,
    shape: tuple[int, int],
    pitch: float,
    place: Array,
    flux: Array,
    position: float,
    camera: Array,
    bend: float,
    split: float,
    coma: float,
) -> Array:
    """One frame of a run, electrons."""
    ny, nx = shape
    seeing = s.seeing * float(np.exp(rng.normal(0, 0.06)))
    image = np.zeros(shape)
    moved = rng.uniform(-4, 4, 2)
    for (cx, cy), light in zip(place + moved, flux):
        x, y = (cx - (nx - 1) / 2) * pitch / 1000, (cy - (ny - 1) / 2) * pitch / 1000
        away = position + camera[0] * x + camera[1] * y - bend * (x * x + y * y)
        # W222 moves the tangential focus by -8 N^2 W222 (Welford); Noll 6 is sqrt(6) rho^2 cos 2t.
        part = -1000 * split / (8 * s.ratio**2) / 2 / np.sqrt(6)
        modes = dict(s.modes)
        modes[5] += part * 2 * x * y
        modes[6] += part * (x * x - y * y)
        modes[7] += coma * y
        modes[8] += coma * x
        disc = abs(away) / s.ratio / pitch
        blur = seeing * ARCSEC * s.focal * 1e3 / pitch
        size = 2 * int(np.ceil((disc + 7 * blur + 8) / 2))
        setup = PairSetup(
            aperture_mm=s.aperture,
            focal_length_mm=s.focal,
            shape=PupilShape(obstruction=s.obstruction),
            pixel_um=pitch,
            size_px=size,
            wavelengths_nm=(s.wavelength,),
            seeing_arcsec=seeing,
            flux_e=float(light),
            background_e=0.0,
            coefficients_nm=modes,
            edge=s.edge,
        )
        ix, iy = int(round(cx)), int(round(cy))
        # The field, in wavelength times focal ratio, holds the stamp and a disc more.
        unit = s.wavelength * 1e-3 * s.ratio
        samples = 2 * int(np.ceil(max((size + disc) * pitch / unit, 72) / 2))
        stamp = expected_image(setup, float(away), (cx - ix - 0.5, cy - iy - 0.5), samples)
        _add(image, stamp, ix - size // 2 + 1, iy - size // 2 + 1)
    return rng.poisson(np.clip(image, 0, None) + 60.0) + rng.normal(0, 3.0, shape)


def _spread(slope: Array, bend: float, wide: float, high: float) -> float:
    """Largest less least best focus over the sensor."""
    x, y = np.meshgrid(np.linspace(-wide, wide, 201) / 2, np.linspace(-high, high, 201) / 2)
    surface = slope[0] * x + slope[1] * y + bend * (x * x + y * y)
    return float(np.ptp(surface))


# ---------------------------------------------------------------- flats


def _flat(drawn: Drawn, rng: np.random.Generator, folder: Path) -> None:
    """Two flats and a bias frame; rays are counted."""
    s = drawn.scope
    ny, nx = 360, 540
    pitch = float(
        rng.uniform(18, 55)
    )  # um; a small picture of a whole sensor of 12 to 36 mm diagonal
    half = np.hypot(nx, ny) / 2 * pitch / 1000
    radii = np.linspace(0, 2 * half, 130)
    share = np.ones(radii.size)
    clips = "clipping adapter" in s.planted
    clear = distance = np.nan
    center = np.zeros(2)
    if clips:
        distance = min(float(rng.uniform(10, 90)), 0.35 * s.focal)
        clear = 2 * float(rng.uniform(0.7, 1.02)) * half * (1 - distance / s.focal)
        distance = min(distance, 0.85 * clear * s.ratio)
        center = rng.uniform(-0.08, 0.08, 2) * half
        share = passed(radii, clear, distance, s.ratio, s.focal, s.obstruction)
        share = share / share[0]
    share = share * np.cos(np.arctan(radii / s.focal)) ** 4
    y, x = np.mgrid[0:ny, 0:nx]
    mx, my = (x - (nx - 1) / 2) * pitch / 1000, (y - (ny - 1) / 2) * pitch / 1000
    even = np.interp(np.hypot(mx - center[0], my - center[1]), radii, share)
    slope = rng.uniform(-0.02, 0.02, 2)
    # A light source that is uneven by 0.3 % in the corner beside its slope.
    source = (
        1
        + slope[0] * mx / half
        + slope[1] * my / half
        + rng.normal(0, 0.003) * (mx**2 + my**2) / half**2
    )
    pattern = 1 + rng.normal(0, 0.01, (ny, nx))
    for _ in range(int(rng.integers(0, 4))):
        gx, gy, ring = rng.uniform(0, nx), rng.uniform(0, ny), rng.uniform(5, 25)
        pattern[np.hypot(x - gx, y - gy) < ring] *= 1 - rng.uniform(0.005, 0.03)
    level = rng.uniform(12000, 35000)
    for k in range(2):
        pixels = rng.poisson(level * even * source * pattern) + rng.normal(500, 4, (ny, nx))
        _frame(
            folder / f"flat-{k}.fits", pixels, pitch=pitch, gain=1.0, exposure=1.0, minute=k - 60
        )
    _frame(
        folder / "bias.fits",
        rng.normal(500, 4, (ny, nx)),
        pitch=pitch,
        gain=1.0,
        exposure=0.0,
        minute=-50,
    )
    ends = np.hypot(
        np.array([-1, 1, -1, 1]) * (nx - 1) / 2 * pitch / 1000 - center[0],
        np.array([-1, -1, 1, 1]) * (ny - 1) / 2 * pitch / 1000 - center[1],
    )
    drawn.truth["corner_illumination"] = float(np.interp(ends, radii, share).min())
    drawn.mends["corner_illumination"] = {"adapter"} if clips else set()
    if clips and share[-1] < 0.5:
        for name, level_ in (("image_circle90", 0.9), ("image_circle50", 0.5)):
            drawn.truth[name] = 2 * float(np.interp(-level_, -share, radii))
            drawn.mends[name] = {"adapter"}
    drawn.signed["the adapter"] = (
        "relative_illumination",
        {"clear_diameter": float(clear)} if clips else {},
    )
    drawn.tables.append(
        '[[relative_illumination]]\nname = "flats"\nframes = "flat-*.fits"\nbias = "bias.fits"'
    )


# ---------------------------------------------------------------- spectra


def _spectra(drawn: Drawn, rng: np.random.Generator, folder: Path) -> None:
    """A focus run of spectra and a lamp."""
    s = drawn.scope
    blue = "blue out of focus" in s.planted
    lens = s.design == "refractor"
    one = 2 * 0.55 * s.ratio**2
    size = (rng.uniform(4, 12) if blue else rng.uniform(0.1, 0.5)) * one * (1 if lens else 0)
    curve = {
        nm: float(size * (((546 - nm) / 141) ** 2 if nm < 546 else 0.08 * ((nm - 546) / 154) ** 2))
        for nm in range(340, 801, 5)
    }
    pitch = float(rng.choice([3.76, 4.63]))
    # From well before the violet: what lies beyond a drawn frame's end sends no light into it.
    step = pitch * 0.2
    wave = np.arange(362, 745, step)
    count = len(wave)
    optics: dict[str, Any] = {
        "wavelengths": wave * u.nm,
        "focal_ratio": s.ratio,
        "focal_length": s.focal * u.mm,
        "obstruction": s.obstruction,
        "pitch": pitch * u.um,
        "height": 110,
        "grating_lines": 100,
        "grating_distance": 50 * u.mm,
    }
    reach = max(0.45 * size, 6 * one)
    middle = 0.4 * size - 75
    scale = 1 + rng.normal(0, 0.01)
    positions = middle + np.linspace(-reach, reach, 5)
    electrons = float(10 ** rng.uniform(6.8, 7.5))
    seed = int(rng.integers(1, 2**30))
    light = np.zeros(count)
    for k, sensor in enumerate(positions):
        seeing = s.seeing * float(np.exp(rng.normal(0, 0.06)))
        frame = draw_spectrum(
            {nm: v * u.um for nm, v in curve.items()} if lens else None,
            sensor=float(sensor) * u.um,
            seeing=seeing * u.arcsec,
            electrons=electrons,
            seed=seed + k,
            **optics,
        )
        pixels = np.asarray(frame.pixels)
        light += (pixels - np.median(pixels, axis=0)).sum(axis=0)
        _frame(
            folder / f"spectrum-{k}.fits",
            pixels,
            pitch=pitch,
            gain=1.0,
            exposure=30.0,
            minute=80 + k,
        )
    lamp = draw_spectrum(None, lamps=("Hg", "Ne"), seed=seed + 10, **optics)
    _frame(
        folder / "lamp.fits",
        np.asarray(lamp.pixels),
        pitch=pitch,
        gain=1.0,
        exposure=5.0,
        minute=90,
    )
    drawn.signed["a filter"] = ("color_focus", {"violet": float(curve[435] - curve[545])})
    drawn.truth["in_focus_fraction"] = _in_focus(s, curve, wave, light)
    if blue:
        drawn.truth["focus_range"] = float(
            np.ptp([v for nm, v in curve.items() if 400 <= nm <= 700])
        )
    drawn.curve = curve
    drawn.mends["focus_range"] = drawn.mends["in_focus_fraction"] = set()
    drawn.tables.append(
        '[[color_focus]]\nname = "spectra"\nframes = "spectrum-*.fits"\npositions = '
        + _listed([f"{p * scale:.2f} um" for p in positions])
        + '\nlamp = "lamp.fits"\nlamps = ["Hg", "Ne"]\ndispersion = ["0.5 nm/pix", "1.2 nm/pix"]\n'
        'grating_lines = 100\ngrating_distance = "50 mm"'
    )


def _in_focus(s: Scope, curve: dict[int, float], wave: Array, light: Array) -> float:
    """Share of the light between 400 and 700 nm within the depth of focus where the mean Strehl ratio is highest."""
    inside = (wave >= 400) & (wave <= 700)
    nm, weight = wave[inside], np.clip(light[inside], 0, None)
    focus = CubicSpline(list(curve), list(curve.values()))(nm)

    def strehl(sensor: float) -> float:
        waves = (focus - sensor) * 1000 / (8 * s.ratio**2 * nm) * (1 - s.obstruction**2)
        return float(np.average(np.sinc(waves) ** 2, weights=weight))

    places = np.linspace(focus.min() - 1, focus.max() + 1, 801)
    sensor = places[int(np.argmax([strehl(p) for p in places]))]
    near = np.abs(focus - sensor) <= 2e-3 * nm * s.ratio**2
    return float(np.average(near, weights=weight))


# ---------------------------------------------------------------- claims and the file

#: Of each quantity: unit, the least that a limit may be drawn about, whether more is better, whether it has a sign.
ASKED = {
    "wavefront_rms": ("nm", 8.0, False, False),
    "coma": ("nm", 8.0, False, False),
    "alignment_coma": ("nm", 8.0, False, False),
    "astigmatism": ("nm", 8.0, False, False),
    "spherical": ("nm", 8.0, False, False),
    "sensor_tilt": ("um", 0.3, False, False),
    "curvature_sag": ("um", 0.3, False, True),
    "focus_spread": ("um", 0.3, False, False),
    "astigmatic_split": ("um", 0.3, False, True),
    "spacing_change": ("mm", 0.4, False, True),
    "image_circle90": ("mm", 0.0, True, False),
    "image_circle50": ("mm", 0.0, True, False),
    "focus_range": ("um", 0.0, False, False),
}


def _claims(drawn: Drawn, rng: np.random.Generator) -> None:
    """Two to five claims, half of their limits near the truth, the others clearly on one side."""
    names = [n for n, v in drawn.truth.items() if np.isfinite(v) and n != "best_spacing"]
    for k, chosen in enumerate(rng.permutation(names)[: int(rng.integers(2, 6))]):
        name = str(chosen)
        true = drawn.truth[name]
        near = bool(rng.random() < 0.5)
        step = float(rng.normal())
        clear = float(rng.choice([-1, 1]) * rng.uniform(0.4, 1.0))
        claim: dict[str, Any] = {"quantity": name, "welcome": k > 0 and bool(rng.random() < 0.2)}
        if name == "strehl":
            claim["at_least"] = float(
                np.clip(true + (0.02 * step if near else 0.2 * clear), 0.05, 0.995)
            )
        elif name == "corner_illumination":
            claim["at_least"] = float(
                np.clip(true + (0.01 * step if near else 0.15 * clear), 0.05, 0.99)
            )
        elif name == "in_focus_fraction":
            claim["at_least"] = float(
                np.clip(true + (0.03 * step if near else 0.2 * clear), 0.05, 0.99)
            )
        else:
            unit, least, more, sign = ASKED[name]
            floor = least * (drawn.scope.depth if unit == "um" else 1.0)
            limit = max(abs(true), floor) * float(np.exp(0.1 * step if near else clear))
            if more:
                claim["at_least"] = f"{limit:.6g} {unit}"
            else:
                claim["at_most"] = f"{limit:.6g} {unit}"
                if sign:
                    claim["at_least"] = f"{-limit:.6g} {unit}"
        drawn.claims.append(claim)


def range_of(drawn: Drawn, low: float, high: float) -> float:
    """Range of the color focus between two wavelengths."""
    focus = CubicSpline(list(drawn.curve), list(drawn.curve.values()))
    return float(np.ptp(focus(np.linspace(low, high, 601))))


def holds(claim: dict[str, Any], true: float) -> bool:
    """Whether a claim is true."""

    def number(key: str, without: float) -> float:
        return float(str(claim.get(key, without)).split()[0])

    return number("at_least", -np.inf) <= true <= number("at_most", np.inf)


def _write(drawn: Drawn, rng: np.random.Generator, number: int) -> None:
    s = drawn.scope
    lines = [
        f'[campaign]\nname = "Drawn campaign {number}"\n',
        f'[telescope]\nname = "Drawn {number}"\ndesign = "{s.design}"\naperture = "{s.aperture:.4f} mm"\n'
        f'focal_length = "{s.stated["focal"]:.4f} mm"\nobstruction = {s.stated["obstruction"]:.5f}\n',
        f'[filters.narrow]\nwavelength = "{s.stated["wavelength"]:.4f} nm"\n',
        *(f"{table}\n" for table in drawn.tables),
    ]
    for k, claim in enumerate(drawn.claims):
        lines.append("[[claims]]" if rng.random() < 0.5 else "[[requirements]]")
        lines.append(f'name = "number {k}"')
        for key, value in claim.items():
            shown = f'"{value}"' if isinstance(value, str) else str(value).lower()
            lines.append(f"{key} = {shown}")
        lines.append("")
    drawn.path.write_text("\n".join(lines), encoding="utf-8")


def _listed(texts: list[str]) -> str:
    return "[" + ", ".join(f'"{t}"' for t in texts) + "]"


def _frame(
    path: Path,
    pixels: Array,
    *,
    pitch: float,
    gain: float,
    exposure: float,
    minute: int,
    saturation: float = 65535,
) -> None:
    """Whole numbers with the header that a camera's program writes."""
    header = fits.Header()
    header["INSTRUME"] = "drawn"
    header["EGAIN"] = (gain, "electrons per adu")
    header["RDNOISE"] = (3.0, "electrons")
    header["XPIXSZ"] = (pitch, "um")
    header["YPIXSZ"] = (pitch, "um")
    header["SATURATE"] = (saturation, "adu")
    header["EXPTIME"] = (exposure, "s")
    hour, left = divmod(21 * 60 + minute, 60)
    header["DATE-OBS"] = f"2026-10-04T{hour:02d}:{left:02d}:00"
    whole = np.clip(np.rint(pixels), 0, 65535).astype(np.uint16)
    fits.PrimaryHDU(whole, header).writeto(path, overwrite=True)

"""The sets of pairs behind docs/accuracy.md: easy, hard, and traps.

Every case is drawn from its own seed, so `easy_case(17)` is the same pair on every machine and a
case that falls short can be looked at alone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from . import seeing
from .pupil import PupilShape, Vane
from .setup import Camera, Companion, Edge, PairSetup, Turbulence, Zone
from .zernike import noll_to_nm

PIXELS_UM = (2.4, 2.9, 3.76, 4.63, 5.86, 7.52, 9.26, 11.72, 15.04, 18.52)


@dataclass(frozen=True)
class Case:
    """One pair to draw: seed for the noise, tags to split the tables by."""

    number: int
    setup: PairSetup
    tags: frozenset[str]

    def generator(self) -> np.random.Generator:
        """Return the noise generator of this case."""
        return np.random.default_rng([self.number, len(self.tags), 77])


def easy_case(number: int) -> Case:
    """A pair whose every feature the model knows (issue: 300 such)."""
    rng = np.random.default_rng([number, 1])
    tags: set[str] = set()
    setup = _telescope(rng, tags, waves=(6.0, 20.0))
    setup = _errors(setup, rng, highest=22 if rng.random() < 0.6 else 36)
    setup = _exposures(setup, rng, tags)
    return Case(number, setup, frozenset(tags))


def hard_case(number: int) -> Case:
    """A pair with moving turbulence and one or two things that the model is not told."""
    rng = np.random.default_rng([number, 2])
    tags: set[str] = {"turbulence"}
    setup = _telescope(rng, tags, waves=(6.0, 11.0))
    setup = _errors(setup, rng, highest=22)
    setup = _exposures(setup, rng, set(), plain=True)
    winds = tuple(float(v) for v in rng.uniform(2.0, 16.0, 3))
    # Half the time that the air takes across the aperture: shorter steps show nothing new.
    step = float(np.clip(0.5e-3 * setup.aperture_mm / np.mean(winds), 0.004, 0.012))
    setup = replace(
        setup,
        finite_distance=True,
        turbulence=Turbulence(
            outer_scale_m=float(rng.uniform(10.0, 40.0)), winds_m_s=winds, step_s=step
        ),
        flux_e=float(10 ** rng.uniform(6.0, 8.0)),
    )
    setup = _fit_well(setup)
    kinds = ["none", "edge", "zone", "modes", "focal", "obstruction", "vanes"]
    kind = kinds[number % len(kinds)]
    if kind == "obstruction" and setup.shape.obstruction == 0.0:
        setup = replace(setup, shape=replace(setup.shape, obstruction=0.33))
    if kind == "vanes":
        setup = replace(setup, shape=replace(setup.shape, obstruction=0.33, vanes=()))
    setup = spoil(setup, kind, rng)
    tags.add(kind if kind != "none" else "turbulence alone")
    tags -= {"vanes declared"}
    if setup.shape.vanes and kind != "vanes":
        tags.add("vanes declared")
    return Case(number, setup, frozenset(tags))


def spoil(setup: PairSetup, kind: str, rng: np.random.Generator) -> PairSetup:
    """Put in one thing that the model is not told."""
    sign = float(rng.choice([-1.0, 1.0]))
    shape = setup.shape
    if kind == "edge":
        edge = Edge(sign * float(rng.uniform(40.0, 160.0)), float(rng.uniform(0.9, 0.96)))
        return replace(setup, edge=edge)
    if kind == "zone":
        zone = Zone(
            sign * float(rng.uniform(10.0, 40.0)),
            float(rng.uniform(0.5, 0.9)),
            float(rng.uniform(0.04, 0.1)),
        )
        return replace(setup, zone=zone)
    if kind == "modes":
        more = dict(setup.coefficients_nm)
        more.update({j: float(rng.normal(0.0, 1.5)) for j in range(37, 79)})
        return replace(setup, coefficients_nm=more)
    if kind == "focal":
        factor = 1.0 + sign * float(rng.uniform(0.01, 0.02))
        return _misdeclare(setup, focal_length_mm=setup.focal_length_mm * factor)
    if kind == "obstruction":
        wrong = shape.obstruction * (1.0 + sign * float(rng.uniform(0.01, 0.02)))
        return _misdeclare(setup, obstruction=wrong)
    if kind == "vanes":
        count = int(rng.integers(3, 5))
        turn = float(rng.uniform(0.0, 90.0))
        width = float(rng.uniform(0.01, 0.03))
        vanes = tuple(Vane(turn + k * 360.0 / count, width) for k in range(count))
        return _misdeclare(replace(setup, shape=replace(shape, vanes=vanes)), vanes=())
    if kind != "none":
        raise ValueError(f"no such thing to put in: {kind}")
    return setup


def _misdeclare(setup: PairSetup, **changes: object) -> PairSetup:
    return replace(setup, declared_changes={**setup.declared_changes, **changes})


def _telescope(rng: np.random.Generator, tags: set[str], waves: tuple[float, float]) -> PairSetup:
    aperture = float(rng.uniform(60.0, 250.0))
    ratio = float(rng.uniform(4.5, 15.0))
    centre = float(rng.uniform(500.0, 660.0))
    obstruction = 0.0
    vanes: tuple[Vane, ...] = ()
    if rng.random() < 0.5:
        obstruction = float(rng.choice([0.35, rng.uniform(0.2, 0.4)]))
        tags.add("obstructed")
        if rng.random() < 0.5:
            count = int(rng.integers(3, 5))
            turn = float(rng.uniform(0.0, 90.0))
            width = float(rng.uniform(0.008, 0.03))
            vanes = tuple(Vane(turn + k * 360.0 / count, width) for k in range(count))
            tags.add("vanes declared")
    else:
        tags.add("clear")
    band = float(rng.choice([0.0, rng.uniform(5.0, 40.0)]))
    shares = (-0.4, 0.0, 0.4) if band > 0.0 else (0.0,)
    tags.add("band" if band > 0.0 else "one wavelength")
    defocus = float(rng.uniform(*waves)) * centre * 1e-3 * 8.0 * ratio**2
    inside, outside = -defocus, defocus
    if rng.random() < 0.4:
        outside = defocus * float(rng.uniform(0.75, 1.3))
        tags.add("unequal")
    disc_um = max(-inside, outside) / ratio
    fitting = [p for p in PIXELS_UM if 26.0 < disc_um / p < 110.0]
    pixel = float(rng.choice(fitting)) if fitting else disc_um / 60.0
    return PairSetup(
        aperture_mm=aperture,
        focal_length_mm=aperture * ratio,
        shape=PupilShape(obstruction=obstruction, vanes=vanes),
        wavelengths_nm=tuple(centre + s * band for s in shares),
        weights=(1.0,) if band == 0.0 else tuple(float(w) for w in rng.uniform(0.7, 1.3, 3)),
        pixel_um=pixel,
        inside_um=inside,
        outside_um=outside,
        seeing_arcsec=float(rng.uniform(1.5, 3.0)),
    )


def _errors(setup: PairSetup, rng: np.random.Generator, highest: int) -> PairSetup:
    raw = {j: float(rng.normal()) / (noll_to_nm(j)[0] + 1.0) ** 1.8 for j in range(5, highest + 1)}
    size = np.sqrt(sum(v * v for v in raw.values()))
    rms = float(rng.uniform(0.02, 0.15)) * setup.wavelength_nm
    return replace(setup, coefficients_nm={j: v / size * rms for j, v in raw.items()})


def _exposures(
    setup: PairSetup, rng: np.random.Generator, tags: set[str], plain: bool = False
) -> PairSetup:
    disc_px = max(-setup.inside_um, setup.outside_um) / setup.focal_ratio / setup.pixel_um
    blur_px = setup.seeing_arcsec * seeing.ARCSEC * setup.focal_length_mm * 1e3 / setup.pixel_um
    centres = [(float(a), float(b)) for a, b in rng.uniform(-0.5, 0.5, (2, 2))]
    if rng.random() < 0.4:
        reach = 0.12 * disc_px
        centres = [(float(a), float(b)) for a, b in rng.uniform(-reach, reach, (2, 2))]
        tags.add("decentred")
    far = max(abs(c) for pair in centres for c in pair)
    size = 2 * int(np.ceil((1.6 * disc_px + 8.0 * blur_px) / 2 + far))
    setup = replace(
        setup,
        size_px=max(size, 64),
        inside_centre_px=centres[0],
        outside_centre_px=centres[1],
        flux_e=float(10 ** rng.uniform(np.log10(3e5), 8.0)),
        background_e=float(rng.uniform(1.0, 60.0)),
        jitter_arcsec=(float(rng.uniform(0.0, 0.5)),) * 2,
        camera=Camera(
            read_noise_e=float(rng.uniform(1.0, 6.0)), bias_adu=float(rng.integers(100, 1000))
        ),
    )
    setup = _fit_well(setup)
    if plain:
        return setup
    if rng.random() < 0.15:
        angle = rng.uniform(0.0, 2.0 * np.pi)
        distance = rng.uniform(0.3, 1.0) * disc_px
        setup = replace(
            setup,
            companion=Companion(
                float(10 ** rng.uniform(-2.5, -1.3)),
                float(distance * np.cos(angle)),
                float(distance * np.sin(angle)),
            ),
        )
        tags.add("companion")
    camera = setup.camera
    if rng.random() < 0.15:
        camera = replace(camera, clip_brightest=int(rng.integers(3, 40)))
        tags.add("clipped")
    if rng.random() < 0.3:
        camera = replace(camera, hot_pixels=int(rng.integers(2, 15)))
        tags.add("hot pixels")
    if rng.random() < 0.15:
        camera = replace(camera, cosmic_rays=int(rng.integers(1, 4)))
        tags.add("cosmic rays")
    return replace(setup, camera=camera)


def _fit_well(setup: PairSetup) -> PairSetup:
    """Set the gain so that the disc stays well below full scale (a sum of frames has a large one)."""
    smaller = min(-setup.inside_um, setup.outside_um) / setup.focal_ratio / setup.pixel_um
    level = setup.flux_e / (np.pi / 4 * smaller**2 * (1 - setup.shape.obstruction**2))
    gain = max(0.25, 4.0 * level / 60000.0)
    return replace(setup, camera=replace(setup.camera, gain_e_per_adu=float(gain)))


@dataclass(frozen=True)
class Trap:
    """An input that has misled such fits before.

    Parameters
    ----------
    name
        What is wrong, in a few words.
    setup
        The pair to draw.
    twist
        ``""``; ``"same image"`` hands the inside image over twice; ``"few modes"`` forbids the fit
        to go beyond Noll 15.
    """

    name: str
    setup: PairSetup
    twist: str = ""


def traps() -> tuple[Trap, ...]:
    """The traps of docs/accuracy.md: caught (refused or noted) or right all the same."""
    rng = np.random.default_rng(2024)
    wave = 8.0 * 0.54 * 8.0 * 49.0
    plain = _errors(
        PairSetup(
            inside_um=-wave,
            outside_um=wave,
            flux_e=2e7,
            wavelengths_nm=(530.0, 540.0, 550.0),
            weights=(1.0, 1.0, 1.0),
            camera=Camera(gain_e_per_adu=1.2),
        ),
        rng,
        highest=22,
    )
    ringed = replace(plain, shape=PupilShape(obstruction=0.35))
    disc = wave / 7.0 / 3.76
    clipped = int(0.3 * np.pi / 4 * disc**2 * 2)
    return (
        Trap("nothing wrong", plain),
        Trap("fit stopped at Noll 15", plain, "few modes"),
        Trap(
            "defocus distances stated 15 % too large",
            _misdeclare(plain, inside_um=-1.15 * wave, outside_um=1.15 * wave),
        ),
        Trap(
            "a companion of 3 % beside the disc",
            replace(plain, companion=Companion(0.03, 0.55 * disc, 0.2 * disc)),
        ),
        Trap("both images outside focus", replace(plain, inside_um=0.7 * wave)),
        Trap("the same image twice", plain, "same image"),
        Trap(
            "a third of the disc saturated",
            replace(plain, camera=replace(plain.camera, clip_brightest=clipped)),
        ),
        Trap("focal length stated 10 % too long", _misdeclare(plain, focal_length_mm=924.0)),
        Trap("camera setting 139 read as 139 e-/ADU", _misdeclare(plain, gain_e_per_adu=139.0)),
        Trap("bias of 500 ADU not taken off", _misdeclare(plain, bias_adu=0.0)),
        Trap("35 % obstruction not declared", _misdeclare(ringed, obstruction=0.0)),
        Trap(
            "1.5 waves of defocus only",
            # Less light, or the small disc would clip and saturation be what is tested.
            replace(plain, inside_um=-0.19 * wave, outside_um=0.19 * wave, flux_e=1e6),
        ),
        Trap(
            "star cut by the frame's edge",
            replace(plain, inside_centre_px=(45.0, 0.0), outside_centre_px=(45.0, 0.0)),
        ),
    )

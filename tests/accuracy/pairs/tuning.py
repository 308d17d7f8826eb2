"""Pairs on which the thresholds of the claims are set: small discs, so that one takes about a second.

Nothing on these makes a figure of docs/accuracy.md; see `judging`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from . import seeing
from .populations import Case
from .pupil import PupilShape, Vane
from .setup import Camera, Edge, PairSetup, PrintThrough, Turbulence, Zone
from .zernike import noll_to_nm

KINDS = ("plain", "edge", "zone", "modes", "vanes", "print-through", "edge, air", "air")


def tuning_case(number: int) -> Case:
    """Draw number `number`; kinds take turns."""
    rng = np.random.default_rng([number, 3])
    kind = KINDS[number % len(KINDS)]
    aperture = float(rng.uniform(90.0, 220.0))
    ratio = float(rng.uniform(5.0, 11.0))
    wave = float(rng.uniform(510.0, 600.0))
    obstructed = kind in ("vanes", "print-through") or rng.random() < 0.4
    obstruction = float(rng.uniform(0.2, 0.36)) if obstructed else 0.0
    waves = float(rng.uniform(7.0, 13.0))
    defocus = waves * wave * 1e-3 * 8.0 * ratio**2
    disc_px = float(rng.uniform(38.0, 60.0))
    pixel = defocus / ratio / disc_px
    see = float(rng.uniform(1.5, 3.0))
    blur_px = see * seeing.ARCSEC * aperture * ratio * 1e3 / pixel
    flux = float(10 ** rng.uniform(6.3, 8.0))
    setup = PairSetup(
        aperture_mm=aperture,
        focal_length_mm=aperture * ratio,
        shape=PupilShape(obstruction=obstruction),
        coefficients_nm=coefficients(rng, 22, float(rng.uniform(0.02, 0.09)) * wave),
        wavelengths_nm=(wave,),
        weights=(1.0,),
        pixel_um=pixel,
        size_px=max(64, 2 * int(np.ceil(0.8 * disc_px + 4.0 * blur_px))),
        inside_um=-defocus,
        outside_um=defocus * float(rng.uniform(0.85, 1.15)),
        inside_centre_px=(float(rng.uniform(-0.5, 0.5)), float(rng.uniform(-0.5, 0.5))),
        outside_centre_px=(float(rng.uniform(-0.5, 0.5)), float(rng.uniform(-0.5, 0.5))),
        flux_e=flux,
        background_e=20.0,
        seeing_arcsec=see,
        jitter_arcsec=(0.2, 0.2),
        camera=camera_for(flux, disc_px, obstruction, float(rng.uniform(1.0, 4.0))),
    )
    return Case(number, _spoil(setup, kind, rng), frozenset({kind}))


def _spoil(setup: PairSetup, kind: str, rng: np.random.Generator) -> PairSetup:
    sign = float(rng.choice([-1.0, 1.0]))
    if kind.startswith("edge"):
        edge = Edge(sign * float(rng.uniform(30.0, 160.0)), float(rng.uniform(0.88, 0.96)))
        setup = replace(setup, edge=edge)
    if kind == "zone":
        zone = Zone(
            sign * float(rng.uniform(10.0, 50.0)),
            float(rng.uniform(0.45, 0.92)),
            float(rng.uniform(0.04, 0.12)),
        )
        setup = replace(setup, zone=zone)
    if kind == "modes":
        size = float(rng.uniform(0.5, 2.0))
        more = dict(setup.coefficients_nm)
        more.update({j: float(rng.normal(0.0, size)) for j in range(23, 92)})
        setup = replace(setup, coefficients_nm=more)
    if kind == "print-through":
        cells = PrintThrough(
            float(rng.uniform(10.0, 40.0)),
            float(rng.uniform(0.25, 0.7)),
            float(rng.uniform(0.0, 60.0)),
        )
        setup = replace(setup, print_through=cells)
    if kind == "vanes":
        count, turn = int(rng.integers(3, 5)), float(rng.uniform(0.0, 90.0))
        width = float(rng.uniform(0.006, 0.03))
        vanes = tuple(Vane(turn + k * 360.0 / count, width) for k in range(count))
        setup = replace(
            setup,
            shape=replace(setup.shape, vanes=vanes),
            declared_changes={"vanes": ()},
        )
    if kind.endswith("air"):
        setup = with_air(setup, rng)
    return setup


def with_air(setup: PairSetup, rng: np.random.Generator) -> PairSetup:
    """A short exposure through three layers: fewer steps than a long one, and more left to cover."""
    winds = tuple(float(v) for v in rng.uniform(4.0, 14.0, 3))
    step = float(np.clip(0.6e-3 * setup.aperture_mm / np.mean(winds), 0.006, 0.02))
    return replace(
        setup,
        turbulence=Turbulence(
            exposure_s=float(rng.uniform(4.0, 8.0)),
            outer_scale_m=float(rng.uniform(10.0, 40.0)),
            winds_m_s=winds,
            step_s=step,
        ),
    )


def coefficients(rng: np.random.Generator, highest: int, rms_nm: float) -> dict[int, float]:
    """Noll 5 to `highest`, smaller where finer."""
    raw = {j: float(rng.normal()) / (noll_to_nm(j)[0] + 1.0) ** 1.8 for j in range(5, highest + 1)}
    size = np.sqrt(sum(v * v for v in raw.values()))
    return {j: v / size * rms_nm for j, v in raw.items()}


def camera_for(flux_e: float, disc_px: float, obstruction: float, read_noise_e: float) -> Camera:
    """A gain that keeps the disc well below full scale, as a sum of frames has it."""
    level = flux_e / (np.pi / 4 * disc_px**2 * (1 - obstruction**2))
    return Camera(gain_e_per_adu=max(0.25, 5.0 * level / 60000.0), read_noise_e=read_noise_e)


STATED_FAULTS = ("vanes", "jitter", "print-through", "vanes, jitter", "fast mirror")


def stated_fault_case(number: int) -> Case:
    """Vanes that nobody declared, a blur with a direction, prints of a ribbed mirror: with inputs stated off as in `stated_case`."""
    kind = STATED_FAULTS[number % len(STATED_FAULTS)]
    rng = np.random.default_rng([number, 5])
    # Another telescope than `stated_case` has for this number, and always one with something that vanes hold.
    drawn = stated_case(KINDS.index("vanes") + number).setup
    setup = replace(drawn, shape=replace(drawn.shape, obstruction=float(rng.uniform(0.2, 0.38))))
    changes = {
        **setup.declared_changes,
        "obstruction": setup.shape.obstruction * (1.0 + float(rng.normal(0.0, 0.01))),
    }
    setup = replace(setup, declared_changes=changes)
    if "vanes" in kind:
        setup = _spoil(setup, "vanes", rng)
        setup = replace(setup, declared_changes={**changes, **setup.declared_changes})
    if kind == "print-through":
        setup = _spoil(setup, kind, rng)
    if kind == "fast mirror":
        setup = _fast(setup, rng)
    if "jitter" in kind:
        setup = replace(setup, jitter_arcsec=(float(rng.uniform(0.3, 1.1)), 0.12))
    return Case(number, setup, frozenset({kind + ", stated"}))


def _fast(setup: PairSetup, rng: np.random.Generator) -> PairSetup:
    """The same discs behind a mirror of f/3.8 to f/5.2 with four declared vanes, and more sky."""
    ratio = float(rng.uniform(3.8, 5.2))
    slower = setup.focal_length_mm / setup.aperture_mm / ratio
    focal = setup.aperture_mm * ratio
    stated = setup.declared_changes["focal_length_mm"] / setup.focal_length_mm
    turn, width = float(rng.uniform(0.0, 90.0)), float(rng.uniform(0.008, 0.02))
    vanes = tuple(Vane(turn + k * 90.0, width) for k in range(4))
    jitter = float(rng.uniform(0.0, 0.4))
    return replace(
        setup,
        focal_length_mm=focal,
        pixel_um=setup.pixel_um / slower,
        inside_um=setup.inside_um / slower**2,
        outside_um=setup.outside_um / slower**2,
        shape=replace(setup.shape, vanes=vanes),
        background_e=float(rng.uniform(5.0, 60.0)),
        jitter_arcsec=(jitter, jitter),
        declared_changes={**setup.declared_changes, "focal_length_mm": focal * stated},
    )


def stated_case(number: int) -> Case:
    """A telescope without a fault, through a narrow band, its image scale, wavelength and obstruction stated off by the
    standard uncertainties that a measurement assumes by itself."""
    case = tuning_case(number * len(KINDS))
    rng = np.random.default_rng([number, 4])
    scale, wave, hole = rng.normal(0.0, (0.005, 0.005, 0.01))
    setup = case.setup
    mean = setup.wavelength_nm
    band = float(rng.choice([0.0, 10.0]))
    waves = (mean,) if band == 0.0 else (mean - 0.4 * band, mean + 0.4 * band)
    setup = replace(
        setup,
        wavelengths_nm=waves,
        weights=(1.0,) * len(waves),
        coefficients_nm=coefficients(rng, 28, float(rng.uniform(0.02, 0.1)) * mean),
        inside_centre_px=(float(rng.uniform(-2, 2)), float(rng.uniform(-2, 2))),
        outside_centre_px=(float(rng.uniform(-2, 2)), float(rng.uniform(-2, 2))),
        declared_changes={
            "focal_length_mm": setup.focal_length_mm * (1.0 + float(scale)),
            "wavelengths_nm": tuple(w * (1.0 + float(wave)) for w in waves),
            "obstruction": setup.shape.obstruction * (1.0 + float(hole)),
        },
    )
    return Case(number, setup, frozenset({"plain, stated"}))

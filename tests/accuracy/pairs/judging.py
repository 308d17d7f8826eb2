"""Pairs that judge the claims: docs/accuracy.md is made from these, and nothing is ever tuned on them.

Telescopes, seeds and most kinds of fault differ from `tuning` and `populations`: print-through of
ribbed mirrors, optics pinched by their pads, warm air in the tube, a tilted sensor, guiding errors
with a direction, besides turned edges, zones and vanes of other sizes. Image scale, wavelength and
obstruction are declared as wrong as the budget takes them to be.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from . import seeing
from .populations import Case
from .pupil import PupilShape, Vane
from .setup import Camera, Edge, PairSetup, Pinch, Plume, PrintThrough, Turbulence, Zone
from .zernike import noll_to_nm

KINDS = (
    "no fault",
    "edge",
    "zone",
    "print-through",
    "vanes not declared",
    "pinched",
    "warm tube",
    "tilted sensor",
    "directed jitter",
    "edge and air",
)

TELESCOPES = (
    # aperture mm, focal ratio, obstruction (None: drawn)
    (71.0, 5.9, 0.0),
    (102.0, 7.0, 0.0),
    (130.0, 7.7, 0.0),
    (152.0, 8.0, 0.0),
    (150.0, 5.0, 0.30),
    (203.0, 4.0, 0.38),
    (254.0, 4.7, 0.25),
    (235.0, 10.0, 0.36),
    (180.0, 12.0, 0.23),
    (305.0, 5.3, 0.21),
)


def judging_case(number: int) -> Case:
    """Draw number `number`; kinds take turns, telescopes are drawn."""
    rng = np.random.default_rng([91_000 + number, 13, 5])
    kind = KINDS[number % len(KINDS)]
    mirror = kind in ("vanes not declared", "print-through")
    first = 4 if mirror else 0
    aperture, ratio, obstruction = TELESCOPES[int(rng.integers(first, len(TELESCOPES)))]
    center = float(rng.choice([486.1, 501.4, 532.0, 550.0, 589.3, 656.3]))
    band = float(rng.choice([0.0, 12.0]))
    waves = float(rng.uniform(6.0, 14.0))
    defocus = waves * center * 1e-3 * 8.0 * ratio**2
    disc_px = float(rng.uniform(36.0, 64.0))
    pixel = defocus / ratio / disc_px
    see = float(rng.uniform(1.2, 3.5))
    blur_px = see * seeing.ARCSEC * aperture * ratio * 1e3 / pixel
    flux = float(10 ** rng.uniform(6.0, 8.0))
    level = flux / (np.pi / 4 * disc_px**2 * (1 - obstruction**2))
    jitter = float(rng.uniform(0.0, 0.4))
    vanes: tuple[Vane, ...] = ()
    if obstruction > 0.0 and kind != "vanes not declared" and rng.random() < 0.5:
        turn = float(rng.uniform(0.0, 90.0))
        vanes = tuple(Vane(turn + k * 90.0, float(rng.uniform(0.008, 0.02))) for k in range(4))
    setup = PairSetup(
        aperture_mm=aperture,
        focal_length_mm=aperture * ratio,
        shape=PupilShape(obstruction=obstruction, vanes=vanes),
        coefficients_nm=_smooth(rng, float(rng.uniform(0.015, 0.1)) * center),
        wavelengths_nm=(center,) if band == 0.0 else (center - 0.4 * band, center + 0.4 * band),
        weights=(1.0,) if band == 0.0 else (1.0, 1.0),
        pixel_um=pixel,
        size_px=max(64, 2 * int(np.ceil(0.8 * disc_px + 4.0 * blur_px))),
        inside_um=-defocus * float(rng.uniform(0.85, 1.15)),
        outside_um=defocus,
        inside_centre_px=(float(rng.uniform(-2, 2)), float(rng.uniform(-2, 2))),
        outside_centre_px=(float(rng.uniform(-2, 2)), float(rng.uniform(-2, 2))),
        flux_e=flux,
        background_e=float(rng.uniform(5.0, 60.0)),
        seeing_arcsec=see,
        jitter_arcsec=(jitter, jitter),
        camera=Camera(
            gain_e_per_adu=max(0.2, 5.0 * level / 60000.0),
            read_noise_e=float(rng.uniform(1.0, 5.0)),
            bias_adu=300.0,
        ),
    )
    return Case(number, _declared(_fault(setup, kind, rng), rng), frozenset({kind}))


def _declared(setup: PairSetup, rng: np.random.Generator) -> PairSetup:
    """What the user states, off by the standard uncertainties that a measurement assumes by itself."""
    scale, wave, hole = rng.normal(0.0, (0.005, 0.005, 0.01))
    changes = {
        "focal_length_mm": setup.focal_length_mm * (1.0 + float(scale)),
        "wavelengths_nm": tuple(w * (1.0 + float(wave)) for w in setup.wavelengths_nm),
        "obstruction": setup.shape.obstruction * (1.0 + float(hole)),
    }
    return replace(setup, declared_changes={**setup.declared_changes, **changes})


def _fault(setup: PairSetup, kind: str, rng: np.random.Generator) -> PairSetup:
    sign = float(rng.choice([-1.0, 1.0]))
    turn = float(rng.uniform(0.0, 360.0))
    if kind in ("edge", "edge and air"):
        edge = Edge(sign * float(rng.uniform(30.0, 170.0)), float(rng.uniform(0.86, 0.97)))
        setup = replace(setup, edge=edge)
    if kind == "edge and air":
        winds = tuple(float(v) for v in rng.uniform(3.0, 15.0, 3))
        air = Turbulence(
            exposure_s=float(rng.uniform(5.0, 8.0)),
            outer_scale_m=float(rng.uniform(8.0, 50.0)),
            winds_m_s=winds,
            step_s=float(np.clip(0.6e-3 * setup.aperture_mm / np.mean(winds), 0.007, 0.02)),
        )
        setup = replace(setup, turbulence=air)
    if kind == "zone":
        zone = Zone(
            sign * float(rng.uniform(8.0, 50.0)),
            float(rng.uniform(0.4, 0.95)),
            float(rng.uniform(0.035, 0.14)),
        )
        setup = replace(setup, zone=zone)
    if kind == "print-through":
        cells = PrintThrough(float(rng.uniform(8.0, 45.0)), float(rng.uniform(0.22, 0.8)), turn)
        setup = replace(setup, print_through=cells)
    if kind == "vanes not declared":
        count = int(rng.integers(3, 5))
        width = float(rng.uniform(0.005, 0.03))
        vanes = tuple(Vane(turn + k * 360.0 / count, width) for k in range(count))
        setup = replace(
            setup, shape=replace(setup.shape, vanes=vanes), declared_changes={"vanes": ()}
        )
    if kind == "pinched":
        pads = Pinch(
            float(rng.uniform(15.0, 90.0)),
            int(rng.choice([3, 3, 6])),
            float(rng.uniform(3.0, 9.0)),
            turn,
        )
        setup = replace(setup, pinch=pads)
    if kind == "warm tube":
        tongue = Plume(float(rng.uniform(20.0, 120.0)), float(rng.uniform(0.12, 0.4)), turn)
        setup = replace(setup, plume=tongue)
    if kind == "tilted sensor":
        setup = replace(setup, sensor_tilt_deg=sign * float(rng.uniform(0.5, 4.0)))
    if kind == "directed jitter":
        setup = replace(setup, jitter_arcsec=(float(rng.uniform(0.3, 1.2)), 0.1))
    return setup


def _smooth(rng: np.random.Generator, rms_nm: float) -> dict[int, float]:
    """Noll 5 to 28, smaller where finer."""
    raw = {j: float(rng.normal()) / (noll_to_nm(j)[0] + 0.5) ** 2 for j in range(5, 29)}
    size = np.sqrt(sum(v * v for v in raw.values()))
    return {j: v / size * rms_nm for j, v in raw.items()}

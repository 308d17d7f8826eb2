"""Pairs whose declared setup is wrong in one thing, and right ones beside them.

Two halves that share neither telescopes nor seeds: one that bounds were chosen on, one that judges. No
distances are declared: only the pixels can tell.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .draw import draw_pair, flatten, strehl_ratio
from .judging import judging_case
from .populations import Case
from .setup import Pair, PairSetup
from .tuning import coefficients, tuning_case

WRONG = (
    "binning",
    "pitch",
    "focal length",
    "aperture",
    "obstruction",
    "flipped",
    "swapped",
    "filter",
    "other night",
)
KINDS = (*WRONG, "right", "right, with a fault", "right, with a fault")


@dataclass(frozen=True)
class Wrong:
    """One pair to draw: its telescope and light, and what is wrong."""

    number: int
    kind: str
    half: str
    case: Case


def wrong_setup(half: str, number: int) -> Wrong:
    """Draw number `number` of a half ("tuning" or "judging"); kinds take turns."""
    kind = KINDS[number % len(KINDS)]
    rng = np.random.default_rng([number, 71 if half == "judging" else 70])
    draw, faults = (judging_case, 10) if half == "judging" else (tuning_case, 8)
    # Number 0 of each turn is the telescope without a fault.
    turn = faults * (3000 + number)
    fault = int(rng.integers(1, faults)) if kind.endswith("fault") else 0
    if half == "judging" and fault == 9:
        fault = 8  # moving air takes minutes to draw
    if half == "tuning" and fault > 5:
        fault -= 5
    case = draw(turn + fault)
    while kind == "obstruction" and case.setup.shape.obstruction == 0.0:
        turn += faults * 1000
        case = draw(turn)
    setup = replace(case.setup, inside_centre_px=(0.6, -1.2), outside_centre_px=(-0.8, 0.5))
    return Wrong(number, kind, half, replace(case, setup=_declared(setup, kind, rng)))


def _declared(setup: PairSetup, kind: str, rng: np.random.Generator) -> PairSetup:
    sign = float(rng.choice([-1.0, 1.0]))
    part = float(rng.uniform(0.05, 0.12))
    changed: dict[str, object] = {
        "binning": lambda: {"pixel_um": setup.pixel_um / 2},
        "pitch": lambda: {"pixel_um": setup.pixel_um * (1 + 2 * sign * part)},
        "focal length": lambda: {"focal_length_mm": setup.focal_length_mm * (1 + sign * part)},
        "aperture": lambda: {"aperture_mm": setup.aperture_mm * (1 + sign * part)},
        "obstruction": lambda: {"obstruction": setup.shape.obstruction * (1 + 3 * sign * part)},
        "filter": lambda: {
            "wavelengths_nm": tuple(w * (1 + sign * (part + 0.03)) for w in setup.wavelengths_nm)
        },
    }.get(kind, dict)()
    return replace(setup, declared_changes={**setup.declared_changes, **changed})


def draw(wrong: Wrong) -> tuple[Pair, float]:
    """The pair as handed over, and its true Strehl ratio at the wavelength that is declared."""
    setup, rng = wrong.case.setup, wrong.case.generator()
    pair = draw_pair(setup, rng)
    inside, outside = pair.inside, pair.outside
    if wrong.kind == "flipped":
        outside = np.ascontiguousarray(outside[::-1] if wrong.number % 2 else outside[:, ::-1])
    if wrong.kind == "swapped":
        inside, outside = outside, inside
    if wrong.kind == "other night":
        size = float(np.sqrt(sum(v * v for v in setup.coefficients_nm.values())))
        moved = coefficients(rng, 11, float(rng.uniform(0.4, 1.2)) * size)
        other = {
            j: setup.coefficients_nm.get(j, 0.0) + moved.get(j, 0.0)
            for j in {*setup.coefficients_nm, *moved}
        }
        later = replace(
            setup, coefficients_nm=other, seeing_arcsec=setup.seeing_arcsec * rng.uniform(0.7, 1.4)
        )
        outside = draw_pair(later, rng).outside
    truth = pair.truth
    focused = flatten(np.nan_to_num(truth.map_nm), truth.transmission, truth.x, truth.y, terms=4)
    stated = float(np.average(pair.declared.wavelengths_nm, weights=pair.declared.weights))
    strehl = strehl_ratio(focused, truth.transmission, stated)
    return replace(pair, inside=inside, outside=outside), strehl

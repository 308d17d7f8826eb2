"""The advice of a campaign: what limits the images, and what to adjust, ordered by what it gains.

What the engine says about the wavefront and the blur comes together with what each measurement says can be done about
what it found (`Result.remedies`). What mends a claim comes before what does not, then what takes most blur off the
corners; what waits for better air comes after what is turned or shimmed, then what one can live with, what is for other
hands, and what nobody can adjust.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from astropy import units as u

from ..decisions.advice import Advice
from ..results import Measured, Remedy
from .description import TelescopeEntry
from .outcome import Judgment, TestOutcome

#: Steadier air and an even temperature (for trefoil) are waited for, not adjusted.
WAITED_FOR = ("seeing", "trefoil")
_HANDS = ("user", "around", "optician", "nobody")


def with_remedies(
    advice: Advice,
    tests: Iterable[TestOutcome],
    judgments: Sequence[Judgment],
    telescope: TelescopeEntry,
) -> Advice:
    """The advice with what the measurements themselves know to do, the most useful first.

    Parameters
    ----------
    advice : Advice
        Of the engine.
    tests : iterable of TestOutcome
        What was measured.
    judgments : sequence of Judgment
        Which claims are not met.
    telescope : TelescopeEntry
        For the size of a blur on the sky.

    Returns
    -------
    Advice
        Its steps have three more keys: ``claims``, names of those that are not met and that it may mend; ``gain``, a
        sentence; and ``test``, the entry whose measurement says so, "" where the engine does.
    """
    # One cause may show in several measurements: the one that knows it best speaks.
    best: dict[str, tuple[Remedy, str]] = {}
    mends: dict[str, tuple[str, ...]] = {}
    for test in tests:
        for piece in test.pieces if test.own else ():
            for remedy in piece.result.remedies():
                mends[remedy.about] = (*mends.get(remedy.about, ()), *remedy.mends)
                known = best.get(remedy.about)
                if known is None or _share(remedy.amount) < _share(known[0].amount):
                    best[remedy.about] = remedy, test.test.name
    ranked: list[tuple[tuple[float, ...], dict[str, Any]]] = []
    for step in advice.steps:
        claims = _missed(judgments, (step["about"],))
        ranked.append(
            (
                _rank(step["hands"], step["about"], claims, 0.0),
                {**step, "claims": claims, "gain": "", "test": ""},
            )
        )
    for remedy, test_name in best.values():
        claims = _missed(judgments, mends[remedy.about])
        disc = remedy.defocus / telescope.focal_ratio
        step = {
            "about": remedy.about,
            "hands": remedy.hands,
            "amount": remedy.amount,
            "direction": Measured(np.nan * u.deg, np.nan * u.deg),
            "text": remedy.text,
            "claims": claims,
            "gain": remedy.gain or _gain(remedy.defocus, disc, telescope),
            "test": test_name,
        }
        blur = disc if np.isfinite(disc) else 0.0
        ranked.append((_rank(remedy.hands, remedy.about, claims, blur), step))
    # Sorting keeps the order of what ranks alike.
    ordered = [step for _, step in sorted(ranked, key=lambda one: one[0])]
    return dataclasses.replace(advice, steps=tuple(ordered))


def _share(amount: Measured) -> float:
    share = float(abs(amount.uncertainty / amount.value))
    return share if np.isfinite(share) else np.inf


def _rank(hands: str, about: str, claims: Sequence[str], blur: float) -> tuple[float, ...]:
    return _HANDS.index(hands), about in WAITED_FOR, -len(claims), -blur


def _missed(judgments: Iterable[Judgment], quantities: Sequence[str]) -> tuple[str, ...]:
    return tuple(
        j.decision.claim.name
        for j in judgments
        if j.decision.verdict == "not met" and j.entry.quantity in quantities
    )


def _gain(defocus: float, disc: float, telescope: TelescopeEntry) -> str:
    """What defocus does to stars in the corners when the middle is in focus."""
    if not np.isfinite(defocus):
        return ""
    wide = disc * u.um
    angle = (wide / telescope.focal_length).to(u.arcsec, u.dimensionless_angles())
    return (
        f"With the middle in focus the corners are {defocus:.0f} um out of it, which makes discs of {disc:.1f} um "
        f"({angle.value:.1f} arcsec) of their stars."
    )

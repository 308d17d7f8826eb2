"""Holds the claims and requirements of a campaign against what was measured."""

from __future__ import annotations

import math
from collections.abc import Iterable

from astropy import units as u
from astropy.table import QTable

from ..decisions.deciding import decide
from .description import Campaign, ClaimEntry
from .outcome import Judgment, TestOutcome
from .quantities import QUANTITIES


def judge(campaign: Campaign, entry: ClaimEntry, tests: Iterable[TestOutcome]) -> Judgment:
    """Decide one claim by the first test that gives its quantity, or say which test is missing."""
    kind = QUANTITIES[entry.quantity]
    having = [
        t
        for t in tests
        if entry.quantity in t.values
        and (t.test.name == entry.test if entry.test else "other_telescope" not in t.test.facts)
    ]
    if not having:
        return Judgment(
            entry, decide(entry.claim, None, risk=campaign.risk, missing_test=kind.missing), ""
        )
    chosen = having[0]
    value = chosen.values[entry.quantity]
    other = ""
    if entry.wavelength is not None and value.wavelength is not None:
        ratio = float((value.wavelength / entry.wavelength).to_value(u.one))
        # Within a fiftieth the difference is below what filters are specified to.
        if abs(ratio - 1) > 0.02:
            other = (
                f"Measured at {value.wavelength:.4g}, but stated at {entry.wavelength:.4g}; "
                "the one cannot be had from the other without knowing the color error."
            )
    missing = kind.missing
    if other:
        missing = f"Measure at {entry.wavelength:.4g}."
    elif value.doubts:
        missing = "Take the frames again as the doubt advises."
    decision = decide(
        entry.claim,
        value.measured,
        random_part=value.random_part,
        degrees_of_freedom=value.degrees_of_freedom,
        count=value.count,
        counted=value.counted,
        risk=campaign.risk,
        doubts=value.doubts,
        other_conditions=other,
        missing_test=missing,
    )
    return Judgment(entry, decision, chosen.test.name)


def decisions_table(judgments: Iterable[Judgment]) -> QTable:
    """One row a claim: name, kind, quantity, verdict, value, uncertainty, limits, unit, probability, reason."""

    def limit(value: u.Quantity | None, unit: u.UnitBase) -> float:
        return math.nan if value is None else float(u.Quantity(value).to_value(unit))

    rows = list(judgments)
    of = [j.decision for j in rows]
    return QTable(
        {
            "name": [d.claim.name for d in of],
            "kind": ["requirement" if d.claim.requirement else "claim" for d in of],
            "quantity": [j.entry.quantity for j in rows],
            "verdict": [d.verdict for d in of],
            "value": [float(d.measured.value.value) for d in of],
            "uncertainty": [float(d.measured.uncertainty.value) for d in of],
            "at_least": [limit(d.claim.at_least, d.claim.unit) for d in of],
            "at_most": [limit(d.claim.at_most, d.claim.unit) for d in of],
            "unit": [d.claim.unit.to_string() for d in of],
            "probability": [d.probability for d in of],
            "test": [j.test for j in rows],
            "source": [j.entry.source for j in rows],
            "reason": [d.reason for d in of],
            "next_test": [d.next_test for d in of],
        }
    )

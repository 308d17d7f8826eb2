"""Holds the claims and requirements of a campaign against what was measured."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable

from astropy import units as u
from astropy.table import QTable

from .._records import QUANTITIES
from ..decisions.deciding import judge as judge_claim
from .description import Campaign, ClaimEntry
from .outcome import Judgment, TestOutcome


def judge(campaign: Campaign, entry: ClaimEntry, tests: Iterable[TestOutcome]) -> Judgment:
    """Decide one claim by the first test that gives its quantity, or say why there is no such number."""
    asked = list(tests)
    having = [
        t
        for t in asked
        if entry.quantity in t.quantities and (t.test.name == entry.test if entry.test else t.own)
    ]
    decision = judge_claim(
        entry.claim,
        entry.quantity,
        [having[0].quantities[entry.quantity]] if having else [],
        wavelength=entry.wavelength,
        risk=campaign.risk,
    )
    why = None if having else why_nothing(entry, asked)
    if why is not None:
        decision = dataclasses.replace(decision, reason=why[0], next_test=why[1])
    basis = having[0].basis(entry.quantity) if having else ""
    if basis:
        decision = dataclasses.replace(decision, reason=f"{decision.reason} It holds for {basis}.")
    return Judgment(entry, decision, having[0].test.name if having else "")


def why_nothing(entry: ClaimEntry, tests: Iterable[TestOutcome]) -> tuple[str, str] | None:
    """Why the tests that are there give no such number, and what to do; None when there is no such test.

    Parameters
    ----------
    entry : ClaimEntry
        What is claimed.
    tests : iterable of TestOutcome
        Every test of the campaign.

    Returns
    -------
    tuple of str or None
        The reason and the remedy.
    """
    kind = QUANTITIES[entry.quantity]
    listed = [
        t
        for t in tests
        if t.test.kind == kind.area and (t.test.name == entry.test if entry.test else t.own)
    ]
    for t in listed:
        if t.failures:
            return (
                f"'{t.test.name}' is listed, but could not be measured: {t.failures[0]}",
                "Mend that and run the campaign again.",
            )
    for t in listed:
        results = [p.result for p in t.pieces]
        for reason, remedy in filter(None, (r.why_not(entry.quantity) for r in results)):
            return f"'{t.test.name}' was measured, but {reason}", remedy
        doubts = [n.text for r in results for n in r.notes if n.level == "doubt"]
        return (
            f"'{t.test.name}' was measured, but does not give the {kind.label}"
            + (f": {doubts[0]}" if doubts else "."),
            "Its part of the report says what the frames show.",
        )
    return None


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

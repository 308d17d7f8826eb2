"""Decide with a published rule: met, not met, or not decided by these data.

The rule is guarded acceptance in the sense of JCGM 106 and ISO 14253-1: *met* and *not met* are
said only when the probability of being wrong is at most the agreed risk (5 % by default).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from .. import _gateway, _units
from .._records import QUANTITIES, Quantity
from ..errors import InputError
from ..results import Measured, Result, notes_from_engine

if TYPE_CHECKING:
    from astropy.table import QTable

VERDICTS = {"met": "met", "not-met": "not met", "not-decided": "not decided"}


@dataclasses.dataclass(frozen=True)
class Claim:
    """A range that a quantity shall lie in.

    Attributes
    ----------
    name : str
        Short name for tables.
    at_least, at_most : Quantity or None
        Limits of the range; at least one of them.
    requirement : bool
        True when the user needs it, False when the maker or seller states it.
    """

    name: str
    at_least: u.Quantity | None = None
    at_most: u.Quantity | None = None
    requirement: bool = False

    @property
    def unit(self) -> u.UnitBase:
        """Unit of the limits."""
        limit = self.at_least if self.at_least is not None else self.at_most
        if limit is None:
            raise InputError(
                f"'{self.name}' sets no limit. Give at_least, at_most or both.",
                code="decision.claim",
                argument="claim",
                subject=self.name,
            )
        return u.Quantity(limit).unit

    def request(self) -> dict[str, Any]:
        """As the engine reads it."""
        unit = self.unit
        return {
            "name": self.name,
            "kind": "requirement" if self.requirement else "claim",
            "lower": -math.inf if self.at_least is None else u.Quantity(self.at_least).value,
            "upper": math.inf if self.at_most is None else u.Quantity(self.at_most).to_value(unit),
            "unit": unit.to_string(),
        }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Decision(Result):
    """What `decide` found.

    Attributes
    ----------
    claim : Claim
        What was held against the measurement.
    verdict : str
        "met", "not met" or "not decided".
    measured : Measured
        The number, in the claim's unit; NaN when there is none.
    probability : float
        Probability that the true value keeps the range; NaN without a number.
    guard_band : Quantity
        Distance from a limit within which nothing is decided.
    risk : float
        Accepted probability that "met" or "not met" is wrong.
    count_needed : float
        Frames or pairs in all that would decide it; 0 = decided, inf = no number would, NaN =
        it cannot be said.
    reason, next_test : str
        Why, and what would decide it.
    """

    claim: Claim
    verdict: str
    measured: Measured
    probability: float
    guard_band: u.Quantity
    risk: float
    count_needed: float
    reason: str
    next_test: str

    COLUMNS = {
        "name": "Name of the claim.",
        "at_least": "Lower limit.",
        "at_most": "Upper limit.",
    }

    @property
    def table(self) -> QTable:
        """One row: name, verdict, value, uncertainty, limits, probability."""
        from astropy.table import QTable

        unit = self.claim.unit
        nan = np.nan * unit
        return QTable(
            {
                "name": [self.claim.name],
                "verdict": [self.verdict],
                "value": u.Quantity([self.measured.value]),
                "uncertainty": u.Quantity([self.measured.uncertainty]),
                "at_least": u.Quantity(
                    [nan if self.claim.at_least is None else self.claim.at_least], unit
                ),
                "at_most": u.Quantity(
                    [nan if self.claim.at_most is None else self.claim.at_most], unit
                ),
                "probability": [self.probability],
            },
            meta=dict(self.conditions),
        )

    def sentences(self) -> list[str]:
        """Verdict with its reason, and what would decide it."""
        lines = [f"{self.claim.name}: {self.verdict}. {self.reason}"]
        return lines + ([f"    {self.next_test}"] if self.next_test else [])

    def plot(self, ax: Any = None) -> Any:
        """The measured value with its uncertainty against limits and guard band."""
        from ..style import entitle, figure_style, new_axes

        with figure_style():
            ax = new_axes(ax, figsize=(5.2, 1.5), layout="constrained")
            draw_decision(ax, self)
            unit = self.claim.unit
            named = "" if unit == u.dimensionless_unscaled else f" ({unit})"
            ax.set(xlabel=f"{self.claim.name}{named}")
            entitle(ax, f"{self.verdict}: line = limit, hatched = not decided", fontsize=9)
        return ax


def draw_decision(ax: Any, decision: Decision) -> None:
    """The decision on a number line, in the house style.

    Parameters
    ----------
    ax : matplotlib axes
        Where to draw.
    decision : Decision
        What to draw.
    """
    from ..style import BLUE, GREY, INK

    claim, unit = decision.claim, decision.claim.unit
    value = decision.measured.value.value
    sigma = decision.measured.uncertainty.value
    limits = [
        u.Quantity(x).to_value(unit) for x in (claim.at_least, claim.at_most) if x is not None
    ]
    guard = decision.guard_band.value
    points = [*limits, *((value - 3 * sigma, value + 3 * sigma) if np.isfinite(sigma) else ())]
    span = (max(points) - min(points)) or abs(points[0]) * 0.1 or 1.0
    low, high = min(points) - 0.3 * span, max(points) + 0.3 * span
    lower = -np.inf if claim.at_least is None else u.Quantity(claim.at_least).to_value(unit)
    upper = np.inf if claim.at_most is None else u.Quantity(claim.at_most).to_value(unit)
    ax.set(xlim=(low, high), ylim=(-1, 1), yticks=[])
    ax.spines["left"].set_visible(False)
    # Allowed range: a band with a hatch, so that it is seen without color.
    ax.axvspan(
        max(lower, low), min(upper, high), ymin=0.05, ymax=0.4, facecolor="#e8eef2", lw=0, zorder=0
    )
    for limit in limits:
        ax.plot([limit, limit], [-0.95, 0.85], color=INK, lw=1.2)
        if np.isfinite(guard):
            ax.axvspan(
                limit - guard,
                limit + guard,
                ymin=0.05,
                ymax=0.4,
                facecolor="none",
                edgecolor=GREY,
                hatch="////",
                lw=0,
            )
    if np.isfinite(value) and np.isfinite(sigma):
        ax.errorbar(
            [value], [0.35], xerr=[2 * sigma], color=BLUE, fmt="o", ms=5, capsize=0, elinewidth=1.2
        )
        ax.errorbar([value], [0.35], xerr=[sigma], color=BLUE, fmt="none", elinewidth=3.2)
    ax.set_xlabel(unit.to_string() if unit != u.dimensionless_unscaled else "")


def decide(
    claim: Claim,
    measured: Measured | None,
    *,
    random_part: u.Quantity | None = None,
    degrees_of_freedom: float = math.inf,
    count: int = 1,
    counted: str = "frames",
    risk: float = 0.05,
    doubts: Sequence[str] = (),
    other_conditions: str = "",
    missing_test: str = "",
) -> Decision:
    """Hold a measurement against a claim or requirement.

    Parameters
    ----------
    claim : Claim
        The range to be kept.
    measured : Measured or None
        Value with its standard uncertainty; None when nothing was measured.
    random_part : Quantity
        The part of the uncertainty that averages out over more frames; not known by default.
    degrees_of_freedom : float
        Of the uncertainty.
    count : int
        How many frames or pairs the value rests on.
    counted : str
        What is counted, in the plural.
    risk : float
        Largest accepted probability that "met" or "not met" is wrong.
    doubts : sequence of str
        Reasons why the number must not decide.
    other_conditions : str
        How the conditions of claim and measurement differ.
    missing_test : str
        The test that would give the number.

    Returns
    -------
    Decision
        Verdict with its grounds.

    Raises
    ------
    InputError
        When the claim sets no range or its unit does not fit the measurement.

    Examples
    --------
    >>> from starassay import Claim, Measured, decide
    >>> import astropy.units as u
    >>> strehl = Measured(0.972 * u.one, 0.006 * u.one)
    >>> decide(Claim("Strehl ratio", at_least=0.95 * u.one), strehl).verdict
    'met'
    """
    _units.instance(claim, Claim, "claim", "Claim('Strehl ratio', at_least=0.9 * u.one)")
    if measured is not None:
        _units.instance(measured, Measured, "measured", "Measured(0.95 * u.one, 0.01 * u.one)")
    unit = claim.unit

    def number(value: u.Quantity | None) -> float:
        if value is None:
            return math.nan
        try:
            return float(u.Quantity(value).to_value(unit))
        except u.UnitsError:
            raise InputError(
                f"'{claim.name}' is stated in '{unit}', but measured in '{u.Quantity(value).unit}'. "
                "State the limit in a unit of the same kind.",
                code="decision.unit",
                argument="claim",
                subject=claim.name,
            ) from None

    record = _gateway.call(
        "decisions.decide",
        {
            "claim": claim.request(),
            "value": number(measured.value if measured else None),
            "uncertainty": number(measured.uncertainty if measured else None),
            "random_part": _units.number(random_part, unit, "random_part"),
            "degrees_of_freedom": _units.number(degrees_of_freedom, "", "degrees_of_freedom"),
            "count": _units.integer(count, "count"),
            "counted": _units.text(counted, "counted"),
            "risk": _units.number(risk, "", "risk"),
            "doubts": [_units.text(d, "doubts") for d in _units.several(doubts, "doubts")],
            "other_conditions": _units.text(other_conditions, "other_conditions"),
            "missing_test": _units.text(missing_test, "missing_test"),
        },
    )
    return _decision(record, claim, {"count": count, "counted": counted})


def judge(
    claim: Claim,
    quantity: str,
    measured: Sequence[Quantity],
    *,
    wavelength: u.Quantity | None = None,
    risk: float = 0.05,
) -> Decision:
    """Hold a measured quantity against a claim: wavelength, doubts and the missing test included.

    Parameters
    ----------
    claim : Claim
        The range to be kept, in a unit of the quantity's kind.
    quantity : str
        Name of the quantity (`starassay.note_legend` has the notes, ``docs/campaign.md`` the quantities).
    measured : sequence of Quantity
        The ``quantities`` of a result; the first of that name decides.
    wavelength : Quantity, optional
        For which the claim is made.
    risk : float
        Largest accepted probability that "met" or "not met" is wrong.

    Returns
    -------
    Decision
        Verdict with its grounds.
    """
    _units.instance(claim, Claim, "claim", "Claim('Strehl ratio', at_least=0.9 * u.one)")
    measured = [
        _units.instance(q, Quantity, "measured", "the quantities of a result")
        for q in _units.several(measured, "measured")
    ]
    kind = QUANTITIES[_units.choice(quantity, tuple(QUANTITIES), "quantity")]
    try:
        factor = u.Unit(kind.unit).to(claim.unit)
    except u.UnitsError:
        raise InputError(
            f"'{claim.name}' is stated in '{claim.unit}', but the {kind.label} is in '{kind.unit}'. "
            "State the limit in a unit of the same kind.",
            code="decision.unit",
            argument="claim",
            subject=claim.name,
        ) from None
    record = _gateway.call(
        "decisions.judge",
        {
            "claim": claim.request(),
            "quantity": quantity,
            "wavelength_nm": _units.number(wavelength, u.nm, "wavelength"),
            "measured": [raw_quantity(q) for q in measured],
            "unit_factor": factor,
            "risk": _units.number(risk, "", "risk"),
        },
    )
    found = next((q for q in measured if q.name == quantity), None)
    counted = {} if found is None else {"count": found.count, "counted": found.counted}
    return _decision(record, claim, counted)


def raw_quantity(quantity: Quantity) -> dict[str, Any]:
    """A quantity as the engine's record has it."""
    value = quantity.value
    return {
        **{k: getattr(quantity, k) for k in quantity._FIELDS if k != "wavelength"},
        "value": {
            "value": float(value.value.value),
            "uncertainty": float(value.uncertainty.value),
            "unit": value.value.unit.to_string(),
        },
        "wavelength_nm": float(quantity.wavelength.to_value(u.nm)),
        "doubts": list(quantity.doubts),
    }


def stated_quantity(name: str, stated: Measured) -> dict[str, Any]:
    """A quantity that somebody states, as the engine's record has it.

    Parameters
    ----------
    name : str
        Name from the one list.
    stated : Measured
        In a unit of its kind.
    """
    unit = QUANTITIES[name].unit
    value = {
        "value": float(stated.value.to_value(unit)),
        "uncertainty": float(stated.uncertainty.to_value(unit)),
        "unit": unit,
    }
    return {"name": name, "value": value}


def _decision(record: dict[str, Any], claim: Claim, conditions: dict[str, Any]) -> Decision:
    return Decision(
        notes=notes_from_engine(record["notes"]),
        conditions=conditions,
        claim=claim,
        verdict=VERDICTS[record["verdict"]],
        measured=Measured.from_engine(record["result"]),
        probability=record["probability_of_conformity"],
        guard_band=record["guard_band"] * claim.unit,
        risk=record["risk"],
        count_needed=record["count_needed"],
        reason=record["reason"],
        next_test=record["next_test"],
    )

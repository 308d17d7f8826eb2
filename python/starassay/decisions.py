"""Decide with a published rule: met, not met, or not decided by these data.

The rule is guarded acceptance in the sense of JCGM 106 and ISO 14253-1: *met* and *not met* are
said only when the probability of being wrong is at most the agreed risk (5 % by default).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from astropy import units as u
from astropy.table import QTable

from . import _gateway
from .errors import InputError
from .results import Measured, Note, Result, notes_from_engine

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


@dataclasses.dataclass(frozen=True, eq=False)
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

    @property
    def table(self) -> QTable:
        """One row: name, verdict, value, uncertainty, limits, probability."""
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

    def summary(self) -> list[str]:
        """Verdict with its reason, and what would decide it."""
        lines = [f"{self.claim.name}: {self.verdict}. {self.reason}"]
        return lines + ([f"    {self.next_test}"] if self.next_test else [])

    def plot(self, ax: Any = None) -> Any:
        """The measured value with its uncertainty against limits and guard band."""
        from .style import figure_style, new_axes

        with figure_style():
            ax = new_axes(ax, figsize=(5.2, 1.5), layout="constrained")
            draw_decision(ax, self)
            unit = self.claim.unit
            named = "" if unit == u.dimensionless_unscaled else f" ({unit})"
            ax.set(xlabel=f"{self.claim.name}{named}")
            ax.set_title(f"{self.verdict}: line = limit, hatched = not decided", fontsize=9)
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
    from .style import BLUE, GREY, INK

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
            "random_part": number(random_part),
            "degrees_of_freedom": degrees_of_freedom,
            "count": count,
            "counted": counted,
            "risk": risk,
            "doubts": list(doubts),
            "other_conditions": other_conditions,
            "missing_test": missing_test,
        },
    )
    return Decision(
        notes=notes_from_engine(record["notes"]),
        conditions={"count": count, "counted": counted},
        claim=claim,
        verdict=VERDICTS[record["verdict"]],
        measured=Measured.from_engine(record["result"]),
        probability=record["probability_of_conformity"],
        guard_band=record["guard_band"] * unit,
        risk=record["risk"],
        count_needed=record["count_needed"],
        reason=record["reason"],
        next_test=record["next_test"],
    )


@dataclasses.dataclass(frozen=True)
class Mean:
    """One value for several measurements.

    Attributes
    ----------
    measured : Measured
        Weighted mean; its uncertainty includes what the measurements share.
    random_part, systematic_part : Quantity
        What averages out over more of them, and what does not.
    birge_ratio : float
        Scatter over what the uncertainties promise.
    degrees_of_freedom : float
        Infinite while the uncertainties stand; n - 1 when the scatter overrules them.
    count : int
        Measurements that went in.
    notes : tuple of Note
        Whether they agree.
    """

    measured: Measured
    random_part: u.Quantity
    systematic_part: u.Quantity
    birge_ratio: float
    degrees_of_freedom: float
    count: int
    notes: tuple[Note, ...]


def combine(values: Sequence[Measured], *, common: u.Quantity | None = None) -> Mean:
    """Mean of repeated measurements; where they scatter too much, the scatter is believed.

    Parameters
    ----------
    values : sequence of Measured
        Each with the uncertainty that it has alone.
    common : Quantity
        Standard uncertainty that all of them share.

    Returns
    -------
    Mean
        The mean with its uncertainty.

    Raises
    ------
    CannotMeasureError
        When none of the values is a number with an uncertainty.
    """
    if not values:
        raise InputError("combine needs at least one value.", code="decision.mean")
    unit = values[0].value.unit
    record = _gateway.call(
        "decisions.mean",
        {
            "values": [v.value.to_value(unit) for v in values],
            "uncertainties": [v.uncertainty.to_value(unit) for v in values],
            "common": 0.0 if common is None else u.Quantity(common).to_value(unit),
            "unit": unit.to_string(),
        },
    )
    return Mean(
        Measured.from_engine(record["result"]),
        record["random_part"] * unit,
        record["systematic_part"] * unit,
        record["birge_ratio"],
        record["degrees_of_freedom"],
        record["count"],
        notes_from_engine(record["notes"]),
    )


@dataclasses.dataclass(frozen=True)
class Comparison:
    """Two instruments in one quantity.

    Attributes
    ----------
    better : str
        Name of the better one, or "" when the data do not tell them apart.
    difference : Measured
        First minus second.
    score : float
        Difference over its expanded uncertainty; beyond 1 they are told apart.
    probability_first_better : float
        By the normal distribution.
    reason : str
        One sentence.
    """

    better: str
    difference: Measured
    score: float
    probability_first_better: float
    reason: str


def compare(
    quantity: str,
    first: tuple[str, Measured],
    second: tuple[str, Measured],
    *,
    larger_is_better: bool = True,
    correlation: float = 0.0,
    coverage_factor: float = 2.0,
) -> Comparison:
    """Compare two instruments, measured on the same footing, in one quantity.

    Parameters
    ----------
    quantity : str
        Its name.
    first, second : tuple of str and Measured
        Name of the instrument and its value.
    larger_is_better : bool
        Which way is better.
    correlation : float
        Correlation of the two values (same camera, same night).
    coverage_factor : float
        Of the score.

    Returns
    -------
    Comparison
        The better one, or that they are not told apart.
    """
    unit = first[1].value.unit
    record = _gateway.call(
        "decisions.compare",
        {
            "quantity": quantity,
            "first_name": first[0],
            "second_name": second[0],
            "first": first[1].value.to_value(unit),
            "first_uncertainty": first[1].uncertainty.to_value(unit),
            "second": second[1].value.to_value(unit),
            "second_uncertainty": second[1].uncertainty.to_value(unit),
            "correlation": correlation,
            "unit": unit.to_string(),
            "larger_is_better": larger_is_better,
            "coverage_factor": coverage_factor,
        },
    )
    names = {"first": first[0], "second": second[0], "not-told-apart": ""}
    return Comparison(
        names[record["ranking"]],
        Measured.from_engine(record["difference"]),
        record["score"],
        record["probability_first_better"],
        record["reason"],
    )


@dataclasses.dataclass(frozen=True, eq=False)
class Advice(Result):
    """What limits the images and what to do about it.

    Attributes
    ----------
    limited_by : str
        "seeing", "optics", "diffraction", "pixels", "the rest", or "" when it cannot be said.
    limit : str
        One sentence.
    blur : tuple of dict
        name, fwhm (Measured), share, meaning: parts of the stars' blur, largest first.
    families : tuple of dict
        name, rms (Measured), share, direction (Measured): parts of the wavefront error.
    steps : tuple of dict
        about, hands ("user", "optician", "nobody"), amount, direction (Measured), text.
    """

    limited_by: str
    limit: str
    blur: tuple[dict[str, Any], ...]
    families: tuple[dict[str, Any], ...]
    steps: tuple[dict[str, Any], ...]

    @property
    def table(self) -> QTable:
        """Parts of the blur."""
        return QTable(
            {
                "part": [b["name"] for b in self.blur],
                "fwhm": u.Quantity([b["fwhm"].value.value for b in self.blur], u.arcsec),
                "share": [b["share"] for b in self.blur],
            }
        )

    def summary(self) -> list[str]:
        """The limit, then each step."""
        return [self.limit, *(s["text"] for s in self.steps)]

    def plot(self, ax: Any = None) -> Any:
        """Parts of the blur as bars."""
        from .style import BLUE, new_axes

        ax = new_axes(ax, figsize=(5.2, 0.45 * len(self.blur) + 0.9))
        names = [b["name"] for b in self.blur][::-1]
        widths = [b["fwhm"].value.value for b in self.blur][::-1]
        ax.barh(names, widths, color=BLUE, height=0.55)
        for i, (width, part) in enumerate(zip(widths, self.blur[::-1])):
            ax.annotate(
                f'{width:.2f}"  ({100 * part["share"]:.0f} %)',
                (width, i),
                xytext=(5, 0),
                textcoords="offset points",
                va="center",
            )
        ax.set(xlabel="own width, FWHM (arcsec); share of the squared width")
        ax.set_xlim(0, max([*widths, 1e-3]) * 1.32)
        ax.tick_params(axis="y", length=0)
        ax.spines["left"].set_visible(False)
        return ax


def advise(request: Mapping[str, Any]) -> Advice:
    """What limits the images, and what to adjust by how much in which direction.

    Parameters
    ----------
    request : mapping
        Fields of the engine's advice request: ``aperture_mm`` and ``focal_length_mm``; further
        ``design``, ``wavelength_nm``, ``strehl``, ``noll``, ``coefficients_nm``,
        ``uncertainties_nm``, ``star_fwhm_arcsec``, ``seeing_fwhm_arcsec``, ``pixel_arcsec``, ...

    Returns
    -------
    Advice
        Limits, parts and steps.
    """
    record = _gateway.call("decisions.advise", request)
    return Advice(
        notes=notes_from_engine(record["notes"]),
        conditions={"request": dict(request)},
        limited_by=record["limited_by"],
        limit=record["limit"],
        blur=tuple(
            {
                "name": b["name"],
                "fwhm": Measured.from_engine(b["fwhm_arcsec"]),
                "share": b["share"],
                "meaning": b["meaning"],
            }
            for b in record["blur"]
        ),
        families=tuple(
            {
                "name": f["name"],
                "rms": Measured.from_engine(f["rms"]),
                "share": f["share"],
                "direction": Measured.from_engine(f["direction_deg"]),
            }
            for f in record["families"]
        ),
        steps=tuple(
            {
                "about": a["about"],
                "hands": a["hands"],
                "amount": Measured.from_engine(a["amount"]),
                "direction": Measured.from_engine(a["direction_deg"]),
                "text": a["text"],
            }
            for a in record["advice"]
        ),
    )

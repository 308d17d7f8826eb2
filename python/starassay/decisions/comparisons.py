"""Two instruments in one quantity: which is better, or that the data do not tell them apart."""

from __future__ import annotations

import dataclasses
from typing import Any

from .. import _gateway, _units
from ..results import Measured


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
    first, second = _named(first, "first"), _named(second, "second")
    unit = first[1].value.unit
    record = _gateway.call(
        "decisions.compare",
        {
            "quantity": _units.text(quantity, "quantity"),
            "first_name": first[0],
            "second_name": second[0],
            "first": first[1].value.to_value(unit),
            "first_uncertainty": first[1].uncertainty.to_value(unit),
            "second": _units.number(second[1].value, unit, "second"),
            "second_uncertainty": _units.number(second[1].uncertainty, unit, "second"),
            "correlation": _units.number(correlation, "", "correlation"),
            "unit": unit.to_string(),
            "larger_is_better": _units.flag(larger_is_better, "larger_is_better"),
            "coverage_factor": _units.number(coverage_factor, "", "coverage_factor"),
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


def _named(given: Any, what: str) -> tuple[str, Measured]:
    """An instrument's name and its value."""
    name, value = _units.pair(given, what)
    return _units.text(name, what), _units.instance(
        value, Measured, what, '("Juniper 115", Measured(0.95 * u.one, 0.01 * u.one))'
    )

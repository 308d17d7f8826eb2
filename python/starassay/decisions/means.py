"""One value for several measurements, with the uncertainty that their scatter allows."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from astropy import units as u

from .. import _gateway, _units
from .._records import Quantity
from ..errors import InputError
from .deciding import raw_quantity
from ..results import Measured, Note, notes_from_engine


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
    """Mean of repeated measurements; where they scatter too much, their scatter says how uncertain the mean is.

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
    values = [
        _units.instance(v, Measured, "values", "Measured(0.95 * u.one, 0.01 * u.one)")
        for v in _units.several(values, "values")
    ]
    if not values:
        raise InputError(
            "values is empty; combine needs at least one.", code="decision.mean", argument="values"
        )
    unit = values[0].value.unit
    record = _gateway.call(
        "decisions.mean",
        {
            "values": [_units.number(v.value, unit, "values") for v in values],
            "uncertainties": [_units.number(v.uncertainty, unit, "values") for v in values],
            "common": 0.0 if common is None else _units.number(common, unit, "common"),
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


def combine_quantities(
    measurements: Sequence[Sequence[Quantity]],
) -> tuple[dict[str, Quantity], tuple[Note, ...]]:
    """Each quantity once, with its mean over several measurements of one thing.

    Parameters
    ----------
    measurements : sequence of sequence of Quantity
        The ``quantities`` of each result.

    Returns
    -------
    dict of str to Quantity
        By name: random parts averaged, common parts kept.
    tuple of Note
        Where measurements do not agree.
    """
    record = _gateway.call(
        "decisions.combine",
        {"measurements": [[raw_quantity(q) for q in listed] for listed in measurements]},
    )
    found = [Quantity.from_engine(q) for q in record["quantities"]]
    return {q.name: q for q in found}, notes_from_engine(record["notes"])

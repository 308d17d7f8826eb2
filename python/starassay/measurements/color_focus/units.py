"""Numbers in one unit: what the other modules of this package hand to the engine."""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u

from ...errors import InputError

NM = u.nm
PER_PIXEL = u.nm / u.pix


def number(value: Any, unit: u.UnitBase, name: str) -> float:
    """`value` in `unit`; a bare number is taken to be in it, None is NaN."""
    if value is None:
        return float("nan")
    try:
        return float(u.Quantity(value, unit if not hasattr(value, "unit") else None).to_value(unit))
    except u.UnitConversionError as error:
        raise InputError(f"{name} must be in units of {unit}: {error}", argument=name) from None


def numbers(values: Any, unit: u.UnitBase, name: str) -> list[float]:
    if values is None:
        return []
    if isinstance(values, u.Quantity):
        return [float(v) for v in np.atleast_1d(values.to_value(unit))]
    return [number(v, unit, name) for v in values]

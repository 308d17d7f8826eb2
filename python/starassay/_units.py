"""Values with units from whoever calls: a Quantity, or a text such as "3.76 um"."""

from __future__ import annotations

from typing import Any

from astropy import units as u

from .errors import InputError


class UnitError(InputError, u.UnitsError):
    """A value has a unit that cannot be what was asked for; also Astropy's `UnitsError`."""


def quantity(value: Any, unit: u.UnitBase, what: str) -> u.Quantity:
    """A value in `unit`, from a Quantity or a text with a unit.

    Parameters
    ----------
    value : Quantity or str
        For example ``"3.76 um"``.
    unit : Unit
        The unit to bring it to.
    what : str
        What it is, for the message.

    Raises
    ------
    UnitError
        When it has no unit, or one that does not fit.
    """
    try:
        made = u.Quantity(value)
        if unit == u.deg_C:
            return made.to(unit, u.temperature())
        return made.to(unit)
    except (TypeError, ValueError):
        shown = f"{value!s}" if isinstance(value, (str, u.Quantity, int, float)) else repr(value)
        raise UnitError(
            f"{what} = {shown} cannot be read as a value in {unit}. Write it with its unit, for example "
            f'{what}="3.5 {unit}".',
            code="input.unit",
            argument=what,
        ) from None

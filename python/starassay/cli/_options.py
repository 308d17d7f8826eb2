"""Types of options that several commands share."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from astropy import units as u


def quantity(unit: str) -> Callable[[str], u.Quantity]:
    """Type of an option that is a length, an angle, ... such as ``"115 mm"``.

    Parameters
    ----------
    unit : str
        A unit of the right kind; the quantity comes back in it. ``""`` is a bare number.
    """
    wanted = u.Unit(unit)
    example = {"length": "115 mm", "angle": "1.2 arcsec", "time": "30 s"}.get(
        str(wanted.physical_type).split("/")[0], f"1.5 {unit}".strip()
    )

    def read(text: str) -> u.Quantity:
        try:
            return u.Quantity(text).to(wanted)
        except (TypeError, ValueError):
            raise argparse.ArgumentTypeError(
                f"'{text}' is not what is needed here; write a number with its unit, like \"{example}\""
                if unit
                else f"'{text}' is not a number"
            ) from None

    return read

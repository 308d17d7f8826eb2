"""Types of options that several commands share."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from astropy import units as u

_EXAMPLES = {
    "mm": "115 mm",
    "um": "3.76 um",
    "nm": "540 nm",
    "arcsec": "1.2 arcsec",
    "electron": "3 electron",
    "electron / adu": "1.5 electron/adu",
    "adu": "60000 adu",
    "s": "20 s",
}
_FACTS = {
    "pitch": ("um", "pixel pitch, binning included, such as 3.76um"),
    "gain": ("electron / adu", 'electrons for one ADU, such as "1.5 electron/adu"'),
    "read_noise": ("electron", 'read noise of a pixel, such as "3 electron"'),
    "saturation": ("adu", 'level where pixels are clipped, such as "60000 adu"'),
    "exposure": ("s", "exposure time, such as 20s"),
}


def quantity(unit: str) -> Callable[[str], u.Quantity]:
    """Type of an option that is a length, an angle, ... such as ``"115 mm"``.

    Parameters
    ----------
    unit : str
        A unit of the right kind; the quantity comes back in it.
    """
    wanted = u.Unit(unit)
    example = _EXAMPLES.get(unit, f"1.5 {unit}")

    def read(text: str) -> u.Quantity:
        try:
            value = u.Quantity(text)
        except (TypeError, ValueError):
            raise argparse.ArgumentTypeError(
                f"'{text}' is not a number with its unit, such as \"{example}\""
            ) from None
        if value.unit == u.one:
            raise argparse.ArgumentTypeError(
                f"'{text}' has no unit; write the number with its unit, such as \"{example}\""
            )
        if not value.unit.is_equivalent(wanted):
            raise argparse.ArgumentTypeError(
                f"'{text}' is not in a fitting unit; write a number with its unit, such as \"{example}\""
            )
        return value.to(wanted)

    return read


def number_in(unit: str) -> Callable[[str], float]:
    """Type of an option whose help names the unit: a bare number is in it, others are converted.

    Parameters
    ----------
    unit : str
        The unit that the help names.
    """
    with_unit = quantity(unit)

    def read(text: str) -> float:
        try:
            return float(text)
        except ValueError:
            return float(with_unit(text).value)

    return read


def add_camera_facts(parser: argparse.ArgumentParser) -> None:
    """Options for what the headers should say of the camera."""
    group = parser.add_argument_group("camera, where the header is silent or wrong")
    for name, (unit, text) in _FACTS.items():
        metavar = name.rpartition("_")[2].upper()
        option = f"--{name.replace('_', '-')}"
        group.add_argument(option, type=quantity(unit), metavar=metavar, help=text)


def camera_facts(args: argparse.Namespace) -> dict[str, u.Quantity]:
    """What was given of them, as `starassay.read_frame` takes it."""
    given = {name: getattr(args, name) for name in _FACTS}
    return {name: value for name, value in given.items() if value is not None}

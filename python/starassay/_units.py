"""The one reader of values with units: a Quantity, or a text such as "3.76 um".

One policy everywhere, in Python, on the command line and in campaign files: a bare number is taken
for what needs no unit (ratios, counts, pixels, grooves a mm), and refused for everything else. A length that is
off by a thousand is found by nobody later.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from astropy import units as u

from .errors import InputError

T = TypeVar("T")

#: Examples for messages, by unit.
EXAMPLES = {
    "mm": "115 mm",
    "um": "3.76 um",
    "nm": "540 nm",
    "arcsec": "1.2 arcsec",
    "deg": "30 deg",
    "electron": "3 electron",
    "electron / adu": "1.5 electron/adu",
    "adu": "60000 adu",
    "s": "20 s",
    "nm / pix": "0.6 nm/pix",
    "1 / mm": "100 /mm",
    "deg_C": "8 deg_C",
    "K": "9600 K",
    "arcsec / pix": "1.2 arcsec/pix",
}


class UnitError(InputError, u.UnitsError):
    """A value has a unit that cannot be what was asked for; also Astropy's `UnitsError`."""


def needs_no_unit(unit: str) -> bool:
    """Whether a bare number says all: ratios, counts, pixels, and grooves, which are per mm for everybody."""
    return unit in ("", "pix", "1 / mm")


def quantity(value: Any, unit: str | u.UnitBase, what: str) -> u.Quantity:
    """A value in `unit`, from a Quantity or a text with a unit.

    Parameters
    ----------
    value : Quantity, str or number
        For example ``"3.76 um"``; a bare number only where none is needed.
    unit : Unit or str
        The unit to bring it to.
    what : str
        What it is, as the user typed it, for the message.

    Returns
    -------
    Quantity
        In `unit`.

    Raises
    ------
    UnitError
        When it has no unit, or one that does not fit.
    """
    wanted = u.Unit(unit)
    name = wanted.to_string()
    if isinstance(value, (str, int, float, np.ndarray)):
        with np.printoptions(threshold=6, edgeitems=2):
            shown = f"{value!s}"
    else:
        shown = repr(value)
    try:
        if isinstance(value, str):
            made = _read(value)
        elif hasattr(value, "mask") and np.any(value.mask):
            raise ValueError("masked")
        else:
            made = u.Quantity(value)
        if not np.issubdtype(made.dtype, np.number):
            raise TypeError("no number")
        if made.unit == u.dimensionless_unscaled and needs_no_unit(name):
            return u.Quantity(made.value, wanted)
        if wanted == u.deg_C:
            return made.to(wanted, u.temperature())
        return made.to(wanted)
    except (TypeError, ValueError, AttributeError):
        example = EXAMPLES.get(name, f"3.5 {name}".strip())
        raise UnitError(
            f"{what} = {shown} cannot be read as a value in {name or 'plain numbers'}. "
            f"Write it {'with its unit' if name else 'without a unit'}, for example \"{example}\".",
            code="input.unit",
            argument=what,
        ) from None


def _read(text: str) -> u.Quantity:
    """A text with a unit; inches, which apertures are sold in, as well."""
    inches = re.fullmatch(r"\s*([-+]?[\d.]+(?:e[-+]?\d+)?)\s*(?:in|inch|inches)\s*", text)
    return float(inches[1]) * 25.4 * u.mm if inches else u.Quantity(text)


def number(value: Any, unit: str | u.UnitBase, what: str) -> float:
    """`value` as a plain number in `unit`; None is NaN.

    Parameters
    ----------
    value, unit, what
        As in `quantity`.

    Returns
    -------
    float
        In `unit`.
    """
    if value is None:
        return float("nan")
    made = quantity(value, unit, what)
    if made.shape != ():
        raise InputError(
            f"{what} holds {made.size} values; give one.", code="input.shape", argument=what
        )
    return float(made.value)


def numbers(values: Any, unit: str | u.UnitBase, what: str) -> list[float]:
    """Several values as plain numbers in `unit`; None is an empty list, one value a list of one.

    Parameters
    ----------
    values : Quantity array, sequence of Quantity or str, or one of them
        Each as in `quantity`.
    unit, what
        As in `quantity`.

    Returns
    -------
    list of float
        In `unit`.
    """
    if values is None:
        return []
    if isinstance(values, (u.Quantity, np.ndarray)) or not isinstance(values, (Sequence, tuple)):
        return [float(v) for v in np.atleast_1d(quantity(values, unit, what).value).ravel()]
    if isinstance(values, str):
        return [number(values, unit, what)]
    return [number(v, unit, what) for v in values]


def integer(value: Any, what: str) -> int:
    """A whole number.

    Parameters
    ----------
    value : int
        Or a NumPy integer, or a float without a fraction.
    what : str
        For the message.
    """
    try:
        if isinstance(value, (bool, str)) or int(value) != value:
            raise ValueError
        return int(value)
    except (TypeError, ValueError, OverflowError):
        raise InputError(
            f"{what} is {value!r}; give a whole number.", code="input.integer", argument=what
        ) from None


def flag(value: Any, what: str) -> bool:
    """True or False.

    Parameters
    ----------
    value : bool
        Nothing else.
    what : str
        For the message.
    """
    if not isinstance(value, (bool, np.bool_)):
        raise InputError(
            f"{what} is {value!r}; give True or False.", code="input.flag", argument=what
        )
    return bool(value)


def choice(value: Any, choices: Sequence[str], what: str) -> str:
    """One of a few words.

    Parameters
    ----------
    value : str
        The word.
    choices : sequence of str
        All of them.
    what : str
        For the message.
    """
    if not isinstance(value, str) or value not in choices:
        import difflib

        near = difflib.get_close_matches(str(value), choices, n=1)
        hint = f"Did you mean '{near[0]}'? " if near else ""
        raise InputError(
            f"{what} is {value!r}. {hint}Choose one of {', '.join(choices)}.",
            code="input.choice",
            argument=what,
        )
    return value


def text(value: Any, what: str) -> str:
    """A text.

    Parameters
    ----------
    value : str
        Nothing else.
    what : str
        For the message.
    """
    if not isinstance(value, str):
        raise InputError(f"{what} is {value!r}; give a text.", code="input.text", argument=what)
    return value


def path_of(value: Any, what: str) -> Path:
    """A path.

    Parameters
    ----------
    value : str or path
        Name of a file or folder.
    what : str
        For the message.
    """
    if not isinstance(value, (str, os.PathLike)) or not str(value).strip():
        raise InputError(
            f"{what} is {value!r}; give the name of a file or folder.",
            code="input.path",
            argument=what,
        )
    return Path(value)


def instance(value: Any, kind: type[T], what: str, example: str) -> T:
    """An object of a class.

    Parameters
    ----------
    value : object
        What was given.
    kind : type
        What it must be.
    what, example : str
        For the message: its name, and how one is made.
    """
    if not isinstance(value, kind):
        raise InputError(
            f"{what} is a {type(value).__name__}; give a {kind.__name__}, for example {example}.",
            code="input.kind",
            argument=what,
        )
    return value


def several(value: Any, what: str) -> list[Any]:
    """What is listed, one after the other.

    Parameters
    ----------
    value : sequence or other iterable, but no text
        What was given.
    what : str
        For the message.
    """
    try:
        if isinstance(value, (str, bytes, Mapping)):
            raise TypeError
        return list(value)
    except TypeError:
        raise InputError(
            f"{what} is {value!r}; give a list.", code="input.list", argument=what
        ) from None


def pair(value: Any, what: str) -> tuple[Any, Any]:
    """Two of a kind, along x and y.

    Parameters
    ----------
    value : sequence of two
        What was given.
    what : str
        For the message.
    """
    listed = several(value, what)
    if len(listed) != 2:
        raise InputError(
            f"{what} holds {len(listed)} values; give two.", code="input.pair", argument=what
        )
    return listed[0], listed[1]


def pairs(value: Any, what: str) -> list[tuple[Any, Any]]:
    """A list of pairs.

    Parameters
    ----------
    value : sequence of pairs
        What was given.
    what : str
        For the message.
    """
    return [pair(one, what) for one in several(value, what)]


def items(value: Any, what: str) -> Mapping[Any, Any]:
    """A mapping whose keys are numbers.

    Parameters
    ----------
    value : mapping
        What was given.
    what : str
        For the message.
    """
    if not isinstance(value, Mapping) or any(isinstance(k, (str, tuple)) for k in value):
        raise InputError(
            f"{what} is {value!r}; give a mapping with a number for each value.",
            code="input.mapping",
            argument=what,
        )
    return value

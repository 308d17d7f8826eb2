"""Results as JSON and arrays, and back again to the last bit.

The records for people (`Result.write_json`) drop what JSON has no word for: NaN, classes, tuples. These keep it,
so that a measurement that was kept is the measurement. Nothing in such a file is run when it is read: a class is
made only when it is a dataclass of this package, and its attributes are plain values.
"""

from __future__ import annotations

import dataclasses
import importlib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.coordinates import SkyCoord
from astropy.wcs import WCS, WCSCOMPARE_ANCILLARY, Sip

_KIND = "$"
_PACKAGE = __name__.split(".")[0]
_WCS_PARTS = (
    *("crpix", "crval", "ctype", "cunit", "radesys", "equinox", "lonpole", "latpole"),
    *("dateobs", "mjdobs"),
)


class NotExact(Exception):
    """A value that would not come back the same, or a record that is not one of `to_exact`."""


def to_exact(value: Any, arrays: dict[str, np.ndarray]) -> Any:
    """A value as plain JSON; its arrays are gathered beside it.

    Parameters
    ----------
    value : object
        What a result holds: numbers, texts, arrays, quantities, dataclasses of this package.
    arrays : dict
        Gathers the arrays by a name that the JSON holds in their place.

    Returns
    -------
    object
        Plain types.

    Raises
    ------
    NotExact
        For what could not be made again to the last bit.
    """

    def inner(part: Any) -> Any:
        return to_exact(part, arrays)

    if value is None or type(value) in (bool, int, str):
        return value
    if type(value) is float:
        # JSON has no NaN and no infinity.
        return value if np.isfinite(value) else {_KIND: "float", "text": repr(value)}
    if type(value) is list:
        return [inner(part) for part in value]
    if type(value) is tuple:
        return {_KIND: "tuple", "items": [inner(part) for part in value]}
    if type(value) is dict:
        return {_KIND: "dict", "items": [[inner(k), inner(v)] for k, v in value.items()]}
    if type(value) is u.Quantity:
        unit = value.unit.to_string()
        if u.Unit(unit) != value.unit:
            raise NotExact(f"The unit {unit} does not read back.")
        plain = value.value if value.shape else value.dtype.type(value.value)
        return {_KIND: "quantity", "value": inner(plain), "unit": unit}
    if isinstance(value, np.generic) and value.dtype.kind in "biuf":
        return {_KIND: "number", "dtype": value.dtype.name, "value": inner(value.item())}
    if type(value) is np.ndarray:
        if value.dtype.kind not in "biufcU":
            raise NotExact(f"An array of {value.dtype} is not kept.")
        name = str(len(arrays))
        arrays[name] = value
        return {_KIND: "array", "name": name}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        made = {f.name: inner(getattr(value, f.name)) for f in dataclasses.fields(value)}
        return {_KIND: "record", "class": _name_of(type(value)), "fields": made}
    if isinstance(value, Path):
        return {_KIND: "path", "text": str(value)}
    if type(value) is SkyCoord and value.isscalar and value.frame.name == "icrs":
        at = {"ra": inner(float(value.ra.deg)), "dec": inner(float(value.dec.deg))}
        return {_KIND: "sky", **at}
    if type(value) is WCS:
        return {_KIND: "wcs", **{k: inner(v) for k, v in _wcs_parts(value).items()}}
    raise NotExact(f"A {type(value).__name__} is not kept.")


def from_exact(plain: Any, arrays: Mapping[str, np.ndarray]) -> Any:
    """What `to_exact` was given.

    Parameters
    ----------
    plain : object
        Its JSON.
    arrays : mapping of str to array
        Its arrays.

    Raises
    ------
    NotExact
        When it is not one of its records.
    """

    def inner(part: Any) -> Any:
        return from_exact(part, arrays)

    if isinstance(plain, list):
        return [inner(part) for part in plain]
    if not isinstance(plain, dict):
        return plain
    ways: dict[str, Callable[[], Any]] = {
        "float": lambda: float(plain["text"]),
        "tuple": lambda: tuple(inner(part) for part in plain["items"]),
        "dict": lambda: {inner(k): inner(v) for k, v in plain["items"]},
        "quantity": lambda: u.Quantity(inner(plain["value"]), plain["unit"], copy=False),
        "number": lambda: np.dtype(plain["dtype"]).type(inner(plain["value"])),
        "array": lambda: arrays[plain["name"]],
        "record": lambda: _class_of(plain["class"])(
            **{k: inner(v) for k, v in plain["fields"].items()}
        ),
        "path": lambda: Path(plain["text"]),
        "sky": lambda: SkyCoord(plain["ra"] * u.deg, plain["dec"] * u.deg),
        "wcs": lambda: _wcs_of({k: inner(v) for k, v in plain.items() if k != _KIND}),
    }
    try:
        return ways[plain[_KIND]]()
    except (KeyError, TypeError, ValueError, AttributeError, ImportError) as error:
        raise NotExact(f"No record of a result ({type(error).__name__}: {error}).") from None


def _name_of(kind: type) -> str:
    if kind.__module__.split(".")[0] != _PACKAGE:
        raise NotExact(f"A {kind.__module__}.{kind.__qualname__} is not kept.")
    return f"{kind.__module__}:{kind.__qualname__}"


def _class_of(name: str) -> Any:
    """A dataclass of this package by its name."""
    module, _, qualified = name.partition(":")
    if module.split(".")[0] != _PACKAGE:
        raise NotExact(f"{name} is none of ours.")
    found: Any = importlib.import_module(module)
    for part in qualified.split("."):
        found = getattr(found, part)
    if not (isinstance(found, type) and dataclasses.is_dataclass(found)):
        raise NotExact(f"{name} is no record.")
    return found


def _wcs_parts(wcs: WCS) -> dict[str, Any]:
    """What makes a solution of two axes; its header text would keep 14 digits only."""
    w = wcs.wcs
    parts = {name: _listed(getattr(w, name)) for name in _WCS_PARTS}
    parts["cd"] = np.array(w.cd) if w.has_cd() else None
    parts["pc"] = None if w.has_cd() else np.array(w.get_pc())
    parts["cdelt"] = None if w.has_cd() else np.array(w.get_cdelt())
    parts["pv"], parts["ps"] = list(w.get_pv()), list(w.get_ps())
    parts["shape"] = None if wcs.pixel_shape is None else [int(n) for n in wcs.pixel_shape]
    sip = wcs.sip
    parts["sip"] = (
        None
        if sip is None
        else [None if a is None else np.array(a) for a in (sip.a, sip.b, sip.ap, sip.bp, sip.crpix)]
    )
    # What is not among the parts shows here, but for dates and the like, which move no star.
    again = _wcs_of(parts)
    tables = (wcs.cpdis1, wcs.cpdis2, wcs.det2im1, wcs.det2im2)
    if wcs.naxis != 2 or any(t is not None for t in tables) or not _same(again, wcs):
        raise NotExact("A celestial solution of this kind is not kept.")
    return parts


def _same(one: WCS, other: WCS) -> bool:
    return bool(one.wcs.compare(other.wcs, WCSCOMPARE_ANCILLARY))


def _listed(value: Any) -> Any:
    """A part of a solution as a plain value."""
    if isinstance(value, np.ndarray):
        return np.array(value)
    if isinstance(value, (str, float, int)):
        return value
    return [str(one) for one in value]


def _wcs_of(parts: Mapping[str, Any]) -> WCS:
    made = WCS(naxis=2)
    for name in _WCS_PARTS:
        value = parts[name]
        # An empty word or NaN is what a new solution has.
        if value != "" if isinstance(value, str) else np.all(value == value):
            setattr(made.wcs, name, value)
    if parts["cd"] is not None:
        made.wcs.cd = parts["cd"]
    else:
        made.wcs.pc, made.wcs.cdelt = parts["pc"], parts["cdelt"]
    made.wcs.set_pv([tuple(p) for p in parts["pv"]])
    made.wcs.set_ps([tuple(p) for p in parts["ps"]])
    if parts["sip"] is not None:
        made.sip = Sip(*parts["sip"])
    if parts["shape"] is not None:
        made.pixel_shape = parts["shape"]
    made.wcs.set()
    return made

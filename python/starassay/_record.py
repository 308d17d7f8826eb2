"""How the engine's records become Python's: one rule for every field, in both directions."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any, ClassVar

import numpy as np
from astropy import units as u

from . import _units
from .errors import InputError
from ._values import Measured, Note, notes_from_engine, short_repr


@dataclasses.dataclass(frozen=True)
class Field:
    """One field of a request, as the engine declares it.

    Attributes
    ----------
    name, key : str
        Public name, and the name in the engine's record (which ends in the unit).
    unit : str
        Unit in Astropy's spelling; "" for a pure number.
    kind : str
        "number", "integer", "flag", "text", "choice", "array 1 f8", "record", ...
    help : str
        What it is, from the engine's documentation.
    default : object
        The engine's default; None = not given.
    low, high : float or None
        Allowed range.
    choices : tuple of str
        Allowed words.
    required : bool
        True when it has no default.
    """

    name: str
    key: str
    unit: str
    kind: str
    help: str
    default: Any = None
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    required: bool = False


@dataclasses.dataclass(frozen=True)
class QuantityKind:
    """A quantity that a claim can be about.

    Attributes
    ----------
    name, label : str
        Its one name; its name in sentences.
    unit : str
        Unit of the right kind; "" for a ratio.
    area : str
        The measurement that gives it.
    low, high : float or None
        Range of values that it can have.
    larger_is_better : bool or None
        Which way is better.
    missing : str
        What to do to get it, one sentence.
    """

    name: str
    label: str
    unit: str
    area: str
    low: float | None
    high: float | None
    larger_is_better: bool | None
    missing: str


class Request:
    """The fields of one request record.

    Parameters
    ----------
    *fields : Field
        In the order of the engine.
    """

    def __init__(self, *fields: Field) -> None:
        self.fields = {f.name: f for f in fields}

    def __getitem__(self, name: str) -> Field:
        return self.fields[name]

    def fill(self, **given: Any) -> dict[str, Any]:
        """The record for the engine: values in its units and under its keys.

        Parameters
        ----------
        **given
            By public name; None leaves the engine's default.

        Returns
        -------
        dict
            For `starassay._gateway.call`.
        """
        return {
            self.fields[name].key: to_engine(value, self.fields[name])
            for name, value in given.items()
            if value is not None
        }


def to_engine(value: Any, field: Field) -> Any:
    """One value as the engine's record wants it."""
    name, kind = field.name, field.kind
    if kind == "number":
        return _units.number(value, field.unit, name)
    if kind.startswith("array 1") and kind.endswith("f8"):
        return _units.numbers(value, field.unit, name)
    if kind == "integer":
        return _units.integer(value, name)
    if kind == "flag":
        return _units.flag(value, name)
    if kind == "choice":
        return _units.choice(value, field.choices, name)
    if kind.startswith("array 1"):
        return [_units.integer(v, name) for v in _units.several(value, name)]
    if kind == "texts":
        return [_units.text(v, name) for v in _units.several(value, name)]
    if kind == "text":
        if not isinstance(value, str):
            raise InputError(f"{name} is {value!r}; give a text.", code="input.text", argument=name)
    return value


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Record:
    """Base of the engine's result records: plain data with units.

    Subclasses are generated; `_FIELDS` says for each attribute where the engine keeps it.
    """

    #: attribute -> (key in the engine's record, kind, unit, class of a nested record)
    _FIELDS: ClassVar[Mapping[str, tuple[str, str, str, Any]]] = {}

    def __repr__(self) -> str:
        return short_repr(self)

    @classmethod
    def from_engine(cls, raw: Mapping[str, Any], **more: Any) -> Any:
        """Make one from what the gateway returned.

        Parameters
        ----------
        raw : mapping
            The engine's record.
        **more
            Attributes that a subclass adds, or that go before the engine's.
        """
        made = {
            name: from_engine(raw[key], kind, unit, of)
            for name, (key, kind, unit, of) in cls._FIELDS.items()
            if name not in more and key in raw
        }
        return cls(**made, **more)


def from_engine(value: Any, kind: str, unit: str, of: Any) -> Any:
    """One value of a record with its unit."""
    if value is None:
        return None
    if kind == "measured":
        return Measured.from_engine(value)
    if kind == "measured list":
        return tuple(Measured.from_engine(v) for v in value)
    if kind == "notes":
        return notes_from_engine(value)
    if kind == "note":
        return Note(**value)
    if kind == "record":
        return of.from_engine(value)
    if kind == "records":
        return tuple(of.from_engine(v) for v in value)
    if kind in ("texts", "choices"):
        return tuple(value)
    if unit and (kind == "number" or kind.startswith("array")):
        return u.Quantity(np.asarray(value), unit, copy=False)
    if kind.startswith("array"):
        return np.asarray(value)
    return float(value) if kind == "number" else value

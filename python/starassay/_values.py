"""Numbers with their uncertainty, and notes: what every result is made of."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from astropy import units as u

from ._loaded import is_a
from ._units import UnitError


@dataclasses.dataclass(frozen=True)
class Note:
    """Something the measurement saw that the reader must know.

    Attributes
    ----------
    code : str
        Name from the engine's one list (see `starassay.note_legend`).
    level : str
        "info" (the numbers stand), "caution" (they stand with a reservation) or "doubt"
        (a number must not be used to decide).
    subject : str
        File, star or mode it speaks of; empty for the whole result.
    text : str
        One sentence with figures and what to do.
    """

    code: str
    level: str
    subject: str
    text: str

    def __str__(self) -> str:
        where = f"{self.subject}: " if self.subject else ""
        return f"[{self.level}] {where}{self.text}"


@dataclasses.dataclass(frozen=True)
class Measured:
    """One number with its standard uncertainty (k = 1).

    Attributes
    ----------
    value, uncertainty : `~astropy.units.Quantity`
        In the same unit; NaN where it could not be measured.
    """

    value: u.Quantity
    uncertainty: u.Quantity

    @classmethod
    def from_engine(cls, record: Mapping[str, Any]) -> Measured:
        """From the engine's record of value, uncertainty and unit."""
        made = cls.__new__(cls)
        made.__dict__["_record"] = (record["value"], record["uncertainty"], record["unit"])
        return made

    def __getattr__(self, name: str) -> Any:
        # A result holds dozens of numbers of which few are looked at: quantities are made then.
        if name not in ("value", "uncertainty") or "_record" not in self.__dict__:
            raise AttributeError(f"{type(self).__name__!r} object has no attribute {name!r}")
        value, uncertainty, unit = self.__dict__.pop("_record")
        self.__dict__["value"] = u.Quantity(value, unit)
        self.__dict__["uncertainty"] = u.Quantity(uncertainty, unit)
        return self.__dict__[name]

    def to(self, unit: u.UnitBase | str, equivalencies: Any = None) -> Measured:
        """The same in another unit."""
        return Measured(
            self.value.to(unit, equivalencies or []), self.uncertainty.to(unit, equivalencies or [])
        )

    def to_value(self, unit: u.UnitBase | str) -> Any:
        """The value alone as a plain number in `unit`."""
        return self.value.to_value(unit)

    @property
    def unit(self) -> u.UnitBase:
        """Unit of both."""
        return self.value.unit

    # Astropy and NumPy take the value where they need a Quantity or an array, as with any Quantity;
    # the uncertainty goes only through the operators below.
    __array_ufunc__ = None

    def __array__(self, dtype: Any = None) -> np.ndarray:
        return np.asarray(self.value.value, dtype=dtype)

    def __float__(self) -> float:
        if self.value.unit != u.dimensionless_unscaled:
            raise TypeError(
                f"{self} has a unit; take .to_value(unit), so that it is clear which is meant."
            )
        return float(self.value)

    def __format__(self, spec: str) -> str:
        if not spec:
            return str(self)
        tail = f" {self.unit}" if str(self.unit) else ""
        return f"{self.value.value:{spec}} ± {self.uncertainty.value:{spec}}{tail}"

    def _of(self, value: Any, uncertainty: Any) -> Measured:
        made = u.Quantity(value)
        return Measured(made, abs(u.Quantity(uncertainty)).to(made.unit))

    def _like(self, other: Any) -> tuple[Any, Any] | None:
        """What is to be added or compared, in this number's unit; None for what is no number."""
        value, uncertainty = _parts(other)
        if value is None:
            return None
        try:
            return value.to(self.unit), uncertainty.to(self.unit)
        except u.UnitConversionError:
            raise UnitError(
                f"{self} and {other} have units that do not fit together. Give both in units of one kind.",
                code="input.unit",
                argument="other",
            ) from None

    def __add__(self, other: Any) -> Measured:
        """Sum; the uncertainties of two measured numbers count as independent."""
        like = self._like(other)
        if like is None:
            return NotImplemented
        return self._of(self.value + like[0], np.hypot(self.uncertainty, like[1]))

    __radd__ = __add__

    def __neg__(self) -> Measured:
        return Measured(-self.value, self.uncertainty)

    def __abs__(self) -> Measured:
        return Measured(abs(self.value), self.uncertainty)

    def __sub__(self, other: Any) -> Measured:
        return NotImplemented if _parts(other)[0] is None else self + -other

    def __rsub__(self, other: Any) -> Measured:
        return NotImplemented if _parts(other)[0] is None else -self + other

    def __mul__(self, factor: Any) -> Measured:
        """Product; the uncertainties of two measured numbers count as independent."""
        if isinstance(factor, u.UnitBase):
            factor = u.Quantity(1.0, factor)
        value, uncertainty = _parts(factor)
        if value is None:
            return NotImplemented
        return self._of(
            self.value * value, np.hypot(self.uncertainty * value, self.value * uncertainty)
        )

    __rmul__ = __mul__

    def __truediv__(self, factor: Any) -> Measured:
        if isinstance(factor, u.UnitBase):
            factor = u.Quantity(1.0, factor)
        value, uncertainty = _parts(factor)
        if value is None:
            return NotImplemented
        ratio = self.value / value
        return self._of(ratio, np.hypot(self.uncertainty / value, ratio * uncertainty / value))

    def __rtruediv__(self, other: Any) -> Measured:
        value, _ = _parts(other)
        if value is None:
            return NotImplemented
        ratio = value / self.value
        return self._of(ratio, ratio * (self.uncertainty / self.value))

    def __pow__(self, power: float) -> Measured:
        value = self.value**power
        return self._of(value, power * value * (self.uncertainty / self.value))

    def __lt__(self, other: Any) -> Any:
        like = self._like(other)
        return NotImplemented if like is None else bool(self.value < like[0])

    def __le__(self, other: Any) -> Any:
        like = self._like(other)
        return NotImplemented if like is None else bool(self.value <= like[0])

    def __gt__(self, other: Any) -> Any:
        like = self._like(other)
        return NotImplemented if like is None else bool(self.value > like[0])

    def __ge__(self, other: Any) -> Any:
        like = self._like(other)
        return NotImplemented if like is None else bool(self.value >= like[0])

    def __repr__(self) -> str:
        return f"<Measured {self}>"

    def __str__(self) -> str:
        return format_measured(self.value.value, self.uncertainty.value, str(self.value.unit))


def _parts(other: Any) -> tuple[Any, Any]:
    """Value and uncertainty of what stands beside an operator; None for what is no number."""
    if isinstance(other, Measured):
        return other.value, other.uncertainty
    if isinstance(other, u.Quantity):
        return other, 0 * other.unit
    if isinstance(other, (int, float, np.number)):
        return other * u.dimensionless_unscaled, 0 * u.dimensionless_unscaled
    return None, None


def format_measured(value: float, uncertainty: float, unit: str = "") -> str:
    """Text of a number with its uncertainty, two digits of the latter kept.

    Parameters
    ----------
    value, uncertainty : float
        In the same unit; NaN gives "not measured" or no +- part.
    unit : str
        Appended when not empty.

    Examples
    --------
    >>> format_measured(12.3456, 0.234, "nm")
    '12.35 ± 0.23 nm'
    """
    tail = f" {unit}" if unit else ""
    if not np.isfinite(value):
        return "not measured"
    if not np.isfinite(uncertainty) or uncertainty <= 0:
        return f"{value:.4g}{tail}"
    digits = int(np.clip(1 - np.floor(np.log10(uncertainty)), 0, 9))
    # What rounds to zero has no sign.
    value = round(float(value), digits) + 0.0
    return f"{value:.{digits}f} ± {uncertainty:.{digits}f}{tail}"


def short_repr(record: Any) -> str:
    """A dataclass on one line: numbers and words as they are, arrays and lists by their size."""

    def said(value: Any) -> str:
        shape = getattr(value, "shape", ())
        if shape:
            unit = f" {value.unit}" if isinstance(value, u.Quantity) else ""
            return f"<{' x '.join(map(str, shape))}{unit}>"
        if is_a(value, "astropy.table.Table"):
            return f"<{len(value)} rows>"
        if isinstance(value, (tuple, list, dict)):
            return f"<{len(value)}>"
        return str(value) if isinstance(value, (Measured, u.Quantity)) else repr(value)

    fields = ((f.name, getattr(record, f.name)) for f in dataclasses.fields(record))
    shown = ", ".join(f"{name}={said(value)}" for name, value in fields)
    return f"{type(record).__name__}({shown})"


def notes_from_engine(records: Sequence[Mapping[str, Any]]) -> tuple[Note, ...]:
    """Notes from the engine's records."""
    return tuple(Note(r["code"], r["level"], r["subject"], r["text"]) for r in records)


#: More numbers than this do not belong into a text.
LARGE = 4096


def to_plain(value: Any, aside: tuple[str, str, dict[str, np.ndarray]] | None = None) -> Any:
    """Plain Python types for JSON: quantities as {value, unit}, arrays as lists, NaN as None.

    Parameters
    ----------
    value : object
        Anything that a result holds.
    aside : tuple of str, str and dict, optional
        Name of a file for large arrays, the value's own name, and where the arrays are gathered.
    """
    # What most values are goes first: a star table has tens of thousands of them.
    if value is None or type(value) in (bool, int, str):
        return value
    if type(value) is float:
        return value if math.isfinite(value) else None

    def inner(part: Any, name: str) -> Any:
        return to_plain(part, None if aside is None else (aside[0], f"{aside[1]}.{name}", aside[2]))

    if isinstance(value, Measured):
        return {
            "value": to_plain(value.value.value),
            "uncertainty": to_plain(value.uncertainty.value),
            "unit": value.value.unit.to_string(),
        }
    if isinstance(value, u.Quantity):
        plain = to_plain(value.value, aside)
        return {"value": plain, "unit": value.unit.to_string()}
    if is_a(value, "astropy.table.QTable"):
        return {
            name: (
                inner(value[name], name)
                if isinstance(value[name], u.Quantity)
                else inner(np.asarray(value[name]), name)
            )
            for name in value.colnames
        }
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: inner(getattr(value, f.name), f.name) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(k): inner(v, str(k)) for k, v in value.items()}
    if isinstance(value, np.ndarray):
        if aside is not None and value.size > LARGE and value.dtype.kind in "biufc":
            aside[2][aside[1]] = value
            return {"file": aside[0], "array": aside[1], "shape": list(value.shape)}
        if value.dtype.kind in "biu" or (value.dtype.kind == "f" and np.isfinite(value).all()):
            return value.tolist()
        return to_plain(value.tolist())
    if isinstance(value, (list, tuple)):
        return [inner(v, str(k)) for k, v in enumerate(value)]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not np.isfinite(value):
        return None
    if value is None or isinstance(value, (bool, int, float, str)):
        return value
    return str(value)


def json_text(record: Mapping[str, Any]) -> str:
    """JSON text of a plain record, keys in the order given."""
    return json.dumps(record, indent=2, allow_nan=False, ensure_ascii=False) + "\n"

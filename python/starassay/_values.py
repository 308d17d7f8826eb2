"""Numbers with their uncertainty, and notes: what every result is made of."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from astropy import units as u
from astropy.table import QTable


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

    def __float__(self) -> float:
        if self.value.unit != u.dimensionless_unscaled:
            raise TypeError(
                f"{self} has a unit; take .to_value(unit), so that it is clear which is meant."
            )
        return float(self.value)

    def __mul__(self, factor: Any) -> Measured:
        return Measured(self.value * factor, abs(self.uncertainty * factor))

    __rmul__ = __mul__

    def __truediv__(self, factor: Any) -> Measured:
        return Measured(self.value / factor, abs(self.uncertainty / factor))

    def __lt__(self, other: Any) -> bool:
        return bool(self.value < getattr(other, "value", other))

    def __gt__(self, other: Any) -> bool:
        return bool(self.value > getattr(other, "value", other))

    def __str__(self) -> str:
        return format_measured(self.value.value, self.uncertainty.value, str(self.value.unit))


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


def notes_from_engine(records: Sequence[Mapping[str, Any]]) -> tuple[Note, ...]:
    """Notes from the engine's records."""
    return tuple(Note(r["code"], r["level"], r["subject"], r["text"]) for r in records)


def to_plain(value: Any) -> Any:
    """Plain Python types for JSON: quantities as {value, unit}, arrays as lists, NaN as None."""
    if isinstance(value, Measured):
        return {
            "value": to_plain(value.value.value),
            "uncertainty": to_plain(value.uncertainty.value),
            "unit": value.value.unit.to_string(),
        }
    if isinstance(value, u.Quantity):
        return {"value": to_plain(value.value), "unit": value.unit.to_string()}
    if isinstance(value, QTable):
        return {
            name: (
                to_plain(value[name])
                if isinstance(value[name], u.Quantity)
                else to_plain(np.asarray(value[name]))
            )
            for name in value.colnames
        }
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(k): to_plain(v) for k, v in value.items()}
    if isinstance(value, np.ndarray):
        return to_plain(value.tolist())
    if isinstance(value, (list, tuple)):
        return [to_plain(v) for v in value]
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

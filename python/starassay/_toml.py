"""Reads a TOML file so that every complaint can name file, line and key."""

from __future__ import annotations

import difflib
import os
import re
import sys
from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from astropy import units as u

from . import _units
from .errors import CampaignError, FileError, InputError

if sys.version_info >= (3, 11):
    import tomllib
else:  # pragma: no cover - Debian 12 has 3.11
    import tomli as tomllib

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(
    r"^\s*((?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|\"[^\"]*\"))*)\s*="
)
_VARIABLE = re.compile(r"\$\{([A-Za-z_][A-Za-z0-9_]*)(?::-([^}]*))?\}")
Place = tuple[Any, ...]
T = TypeVar("T")


class Complaints:
    """Everything that is wrong with a file, so that it is told at once."""

    def __init__(self) -> None:
        self.errors: list[CampaignError] = []

    def gather(self, read: Callable[[], T]) -> T | None:
        """What `read` returns; None when it complained, which is kept.

        Parameters
        ----------
        read : callable
            Reads one part of the file.

        Returns
        -------
        object or None
            Its answer.
        """
        try:
            return read()
        except CampaignError as error:
            if str(error) not in map(str, self.errors):
                self.errors.append(error)
            return None

    def raise_all(self) -> None:
        """Raise what was gathered: one complaint as it is, several as one list."""
        if not self.errors:
            return
        first = self.errors[0]
        if len(self.errors) == 1:
            raise first
        lines = "\n".join(f"  {error}" for error in self.errors)
        raise CampaignError(
            f"{len(self.errors)} things are wrong:\n{lines}",
            code=first.code,
            argument=first.argument,
            subject=first.subject,
        )


class TomlFile:
    """The parsed file and where its keys stand."""

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            self.text = path.read_text(encoding="utf-8")
        except FileNotFoundError:
            raise FileError(
                f"There is no campaign file {path}. Give the file, or a folder that holds campaign.toml.",
                code="campaign.missing",
                subject=str(path),
            ) from None
        except UnicodeDecodeError:
            raise CampaignError(
                f"{path} is not a text file in UTF-8. Save it as plain text.",
                code="campaign.text",
                subject=str(path),
            ) from None
        try:
            self.data: dict[str, Any] = tomllib.loads(self.text)
        except tomllib.TOMLDecodeError as error:
            raise CampaignError(
                f"{path}: not valid TOML: {error}. Texts stand in quotes, and each key once only.",
                code="campaign.toml",
                subject=str(path),
            ) from None
        self._lines = _locate(self.text)

    def fail(self, place: Place, message: str) -> CampaignError:
        """The error to raise about a key: file, line and key before the message."""
        line = None
        for length in range(len(place), 0, -1):
            line = self._lines.get(place[:length]) or self._lines.get((*place[:length], 0))
            if line is not None:
                break
        where = f"{self.path}, line {line}" if line else str(self.path)
        return CampaignError(
            f"{where}, {spell(place)}: {message}",
            code="campaign.key",
            argument=spell(place),
            subject=str(self.path),
        )

    def table(self) -> Table:
        """The whole file."""
        return Table(self, self.data, ())


def spell(place: Place) -> str:
    """A key as a person would name it: telescope.aperture, claims[2].at_least (counted from 1)."""
    text = ""
    for part in place:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text


class Table:
    """One table of the file, read key by key; what nobody asks for is an error."""

    def __init__(self, file: TomlFile, values: Mapping[str, Any], place: Place) -> None:
        self.file = file
        self.values = values
        self.place = place

    def fail(self, key: str, message: str) -> CampaignError:
        """The error about one key of this table."""
        return self.file.fail((*self.place, key), message)

    def only(self, known: Collection[str]) -> None:
        """Refuse unknown keys, with the nearest known one."""
        for key in self.values:
            if key not in known:
                near = difflib.get_close_matches(key, known, n=1)
                hint = (
                    f"Did you mean '{near[0]}'?"
                    if near
                    else f"Known are: {', '.join(sorted(known))}."
                )
                raise self.fail(key, f"this key is not known here. {hint}")

    def need(self, key: str) -> Any:
        """A value that must be there."""
        if key not in self.values:
            where = spell(self.place) or "the file"
            raise self.file.fail(
                (*self.place, key),
                f"this key is missing. Add it to [{where}] as docs/campaign.md shows.",
            )
        return self.values[key]

    def text(self, key: str, default: str | None = None) -> str:
        """A text; needed when there is no default."""
        value = self.need(key) if default is None else self.values.get(key, default)
        if not isinstance(value, str):
            raise self.fail(key, f"{value!r} is not a text. Put it in quotes.")
        return value

    def choice(self, key: str, known: Collection[str], default: str) -> str:
        """One of a few words."""
        value = self.text(key, default)
        if value not in known:
            near = difflib.get_close_matches(value, known, n=1)
            hint = f"did you mean '{near[0]}'? " if near else ""
            raise self.fail(key, f"'{value}' is not known; {hint}Choose one of {', '.join(known)}.")
        return value

    def flag(self, key: str, default: bool) -> bool:
        """true or false."""
        value = self.values.get(key, default)
        if not isinstance(value, bool):
            raise self.fail(key, f"{value!r} is neither true nor false. Write it without quotes.")
        return value

    def number(self, key: str, default: float, *, low: float, high: float) -> float:
        """A plain number within limits."""
        value = self.values.get(key, default)
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise self.fail(key, f"{value!r} is not a number. Write it without quotes and unit.")
        if not low <= value <= high:
            raise self.fail(
                key, f"{value} is out of range; it must lie between {low:g} and {high:g}."
            )
        return float(value)

    def tried(self, key: str, read: Callable[[], Any]) -> Any:
        """What `read` returns; its complaint names file, line and key."""
        try:
            return read()
        except InputError as error:
            raise self.fail(key, str(error)) from None

    def quantity(
        self,
        key: str,
        unit: str,
        *,
        needed: bool = False,
        positive: bool = True,
        low: float | None = None,
        high: float | None = None,
    ) -> u.Quantity | None:
        """A number with a unit, such as "115 mm", from `low` to `high` in that unit; None when absent
        and not needed."""
        if key not in self.values and not needed:
            return None
        value = self.need(key)
        made = self.tried(key, lambda: _units.quantity(value, unit, key))
        if not made.isscalar or not np.isfinite(made.value):
            raise self.fail(key, f"{value!r} is not one finite number.")
        if positive and made.value <= 0:
            raise self.fail(key, f"{value!r} must be greater than zero.")
        least, most = -np.inf if low is None else low, np.inf if high is None else high
        if not least <= made.value <= most:
            span = (
                f"at least {least:g}"
                if most == np.inf
                else f"at most {most:g}"
                if least == -np.inf
                else f"between {least:g} and {most:g}"
            )
            raise self.fail(
                key, f"{value!r} cannot be; it must be {span} {unit}.".replace(" .", ".")
            )
        return made

    def option(self, option: Any) -> Any:
        """What the entry says to one option of a measurement; None when it is silent."""
        if option.name not in self.values:
            if option.required:
                self.need(option.name)
            return None
        return self.tried(option.name, lambda: option.read(self.values[option.name]))

    def tables(self, key: str) -> list[Table]:
        """The entries of a list of tables ([[key]])."""
        value = self.values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            raise self.fail(
                key, f"write each of them under its own [[{spell((*self.place, key))}]]."
            )
        return [Table(self.file, v, (*self.place, key, i)) for i, v in enumerate(value)]

    def sub(self, key: str, *, needed: bool = False) -> Table:
        """A table inside this one; empty when absent."""
        value = self.need(key) if needed else self.values.get(key, {})
        if not isinstance(value, dict):
            raise self.fail(key, f"write it as a table, under [{spell((*self.place, key))}].")
        return Table(self.file, value, (*self.place, key))

    def path(self, key: str, value: Any) -> Path:
        """A file name, relative to the campaign file, with ${NAME} and ${NAME:-default} filled in."""
        if not isinstance(value, str) or not value:
            raise self.fail(key, f"{value!r} is not a file name. Put it in quotes.")

        def fill(found: re.Match[str]) -> str:
            got = os.environ.get(found[1]) or found[2]
            if got is None:
                raise self.fail(
                    key,
                    f"the environment variable {found[1]} is not set. Set it to the folder it names.",
                )
            return got

        return self.file.path.parent / Path(_VARIABLE.sub(fill, value)).expanduser()

    def paths(self, key: str) -> list[Path]:
        """One file name or a list of them, each with wildcards if wanted; all must exist."""
        value = self.need(key)
        names = value if isinstance(value, list) else [value]
        found: list[Path] = []
        for name in names:
            path = self.path(key, name)
            if any(c in path.name for c in "*?["):
                matches = sorted(path.parent.glob(path.name))
                if not matches:
                    raise self.fail(
                        key, f"no file fits '{name}' (looked in {path.parent}). Correct the name."
                    )
                found += matches
            else:
                found.append(self.existing(key, path))
        if not found:
            raise self.fail(key, "the list is empty. Name at least one frame.")
        return found

    def existing(self, key: str, path: Path) -> Path:
        """`path`, when there is such a file."""
        if not path.is_file():
            near = []
            if path.parent.is_dir():
                near = difflib.get_close_matches(
                    path.name, [p.name for p in path.parent.iterdir()], n=1
                )
            hint = f"Did you mean '{near[0]}'?" if near else "Check its name and folder."
            raise self.fail(key, f"there is no file {path}. {hint}")
        return path


def _locate(text: str) -> dict[Place, int]:
    """Line of every table and key written in the usual way (one a line)."""
    lines: dict[Place, int] = {}
    counts: dict[Place, int] = {}
    prefix: Place = ()
    inside = ""
    for number, line in enumerate(text.splitlines(), start=1):
        # A text over several lines may hold what looks like a key.
        if inside:
            if inside in line:
                inside = ""
            continue
        header = _HEADER.match(line)
        if header:
            prefix = _resolve(_split(header[2]), counts, header[1] == "[[")
            lines.setdefault(prefix, number)
            continue
        key = _KEY.match(line)
        if key:
            lines.setdefault((*prefix, *_split(key[1])), number)
        for mark in ('"""', "'''"):
            if line.count(mark) % 2:
                inside = mark
    return lines


def _split(name: str) -> Place:
    return tuple(part.strip().strip("\"'") for part in name.split("."))


def _resolve(parts: Place, counts: dict[Place, int], is_list: bool) -> Place:
    """`parts` with the place in the list after each name of a list of tables."""
    place: Place = ()
    for i, part in enumerate(parts):
        place = (*place, part)
        if is_list and i == len(parts) - 1:
            counts[place] = counts.get(place, -1) + 1
        if place in counts:
            place = (*place, counts[place])
    return place

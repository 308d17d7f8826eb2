"""The cards of a FITS header: collected, and read as numbers with units or as texts.

The keywords stand in `header_keywords`. A unit in square brackets at the start of the card's
comment (FITS 4.0, section 4.3.2) goes before the table's.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from astropy import units as u

from .header_keywords import SYNONYMS, Keyword
from ..results import Note, say

_NOTHING = {"", "na", "n/a", "none", "unknown", "undefined", "null", "-", "?"}


class Card(NamedTuple):
    """Value and comment of one card."""

    value: Any
    comment: str


def collect_cards(header: Any) -> tuple[dict[str, list[Card]], list[str]]:
    """Cards by keyword, duplicates kept, and the keywords of cards that cannot be read.

    Parameters
    ----------
    header : `~astropy.io.fits.Header` or mapping
        Anything that maps keywords to values.
    """
    found: dict[str, list[Card]] = {}
    broken: list[str] = []
    cards = getattr(header, "cards", None)
    if cards is None:
        for key, value in header.items():
            comment = ""
            if isinstance(value, tuple) and len(value) == 2:
                value, comment = value
            found.setdefault(str(key).upper(), []).append(Card(value, str(comment)))
        return found, broken
    for card in cards:
        keyword = card.keyword
        if keyword in ("COMMENT", "HISTORY", ""):
            continue
        try:
            value, comment = card.value, card.comment
        except Exception:  # Astropy raises several kinds for a card it cannot parse
            broken.append(keyword)
            continue
        if isinstance(value, str) and value.startswith(("=", "  =")):
            broken.append(keyword)
            continue
        found.setdefault(keyword.upper(), []).append(Card(value, comment or ""))
    return found, broken


def number_of(value: Any) -> float:
    """`value` as a number, also from a text that starts with one; NaN otherwise."""
    if isinstance(value, bool):
        return math.nan
    if isinstance(value, (int, float)):
        return float(value)
    match = re.match(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\b", str(value))
    return float(match.group(1)) if match else math.nan


def unit_in(comment: str) -> u.UnitBase | None:
    """The unit in square brackets that starts a comment, if there is one."""
    match = re.match(r"\s*\[([^\]]+)\]", comment)
    if not match:
        return None
    text = match.group(1).strip().lower().replace("microns", "um").replace("micron", "um")
    text = {"sec": "s", "secs": "s", "seconds": "s", "degrees c": "deg_C", "e-": "electron"}.get(
        text, text
    )
    text = text.replace("electrons", "electron").replace("count", "adu").replace("adus", "adu")
    try:
        return u.Unit(text)
    except (ValueError, TypeError):
        return None


def text_of(value: Any) -> str:
    """A text value, "" for the many ways of saying nothing."""
    text = str(value).strip() if isinstance(value, (str, int, float)) else ""
    return "" if text.lower() in _NOTHING else text


def convertible(unit: u.UnitBase, to: u.UnitBase) -> bool:
    """Whether one unit can be turned into the other, temperatures included."""
    if to == u.deg_C:
        return bool(unit.is_equivalent(u.K, u.temperature()))
    return bool(unit.is_equivalent(to))


class Cards:
    """The cards of one header; notes gather on the way."""

    def __init__(self, cards: Mapping[str, list[Card]], subject: str) -> None:
        self.cards = cards
        self.subject = subject
        self.notes: list[Note] = []

    def say(self, code: str, text: str) -> None:
        """Note something about the header."""
        self.notes.append(say(code, text, self.subject))

    def given(self, fact: str) -> Iterable[tuple[Keyword, Card]]:
        """Every card that gives the fact, the most trusted keyword first."""
        for keyword in SYNONYMS[fact]:
            for card in self.cards.get(keyword.name, ()):
                yield keyword, card

    def quantities(self, fact: str, unit: u.UnitBase) -> list[tuple[str, u.Quantity]]:
        """All cards that give the fact, in `unit`; unreadable ones become notes."""
        found = []
        for keyword, card in self.given(fact):
            if isinstance(card.value, str) and not text_of(card.value):
                continue
            number = number_of(card.value)
            if not math.isfinite(number):
                self.say(
                    "frame.fact-invalid",
                    f"{keyword.name} = {card.value!r} is not a number and was not used.",
                )
                continue
            written = unit_in(card.comment)
            if written is None or not convertible(written, unit):
                written = keyword.unit if keyword.unit is not None else unit
            if unit == u.deg_C:
                quantity = (number * written).to(unit, u.temperature())
            else:
                quantity = (number * written).to(unit)
            found.append((keyword.name, quantity))
        return found

    def first(
        self, fact: str, unit: u.UnitBase, *, above: float, what: str, tolerance: float = 1e-3
    ) -> u.Quantity | None:
        """The most trusted card's value; a value at or below `above` is refused with a note."""
        good = []
        for name, quantity in self.quantities(fact, unit):
            if quantity.value > above:
                good.append((name, quantity))
            else:
                self.say(
                    "frame.fact-invalid",
                    f"{name} = {quantity.value:g} cannot be the {what}; it was not used.",
                )
        self.compare(good, what, tolerance)
        return good[0][1] if good else None

    def compare(self, found: list[tuple[str, u.Quantity]], what: str, tolerance: float) -> None:
        """Note the first value that contradicts the one used."""
        for name, quantity in found[1:]:
            if not math.isclose(quantity.value, found[0][1].value, rel_tol=tolerance):
                self.say(
                    "frame.fact-contradictory",
                    f"The {what} is {found[0][1]:g} in {found[0][0]}, {quantity:g} in {name}; "
                    f"{found[0][0]} was used.",
                )
                return

    def texts(self, fact: str) -> list[tuple[str, str]]:
        """Keyword and text of every card that says something."""
        found = ((k.name, text_of(c.value)) for k, c in self.given(fact))
        return [(name, text) for name, text in found if text]

    def text(self, fact: str) -> str:
        """The most trusted text, "" where there is none."""
        found = self.texts(fact)
        return found[0][1] if found else ""

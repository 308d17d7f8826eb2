"""What a FITS header says of the camera: synonyms, units, contradictions.

The keywords stand in `header_keywords`. A unit in square brackets at the start of the card's
comment (FITS 4.0, section 4.3.2) goes before the table's.
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from astropy import units as u

from .header_keywords import ELECTRON_PER_ADU, SYNONYMS, Keyword
from ..results import Note, say

if TYPE_CHECKING:
    from astropy.time import Time

_NOTHING = {"", "na", "n/a", "none", "unknown", "undefined", "null", "-", "?"}
_CLEAR = {"clear", "open", "free", "empty", "c", "no filter", "nofilter"}
_BAYER = re.compile(r"^(RGGB|BGGR|GRBG|GBRG)\d*$", re.IGNORECASE)
_ELECTRONS_PER_ADU = re.compile(
    r"\be(?:lec(?:tron)?s?)?\s*[-\u2212]?\s*(?:/|per)\s*(?:adu|dn|count|ct)", re.IGNORECASE
)
_ADU_PER_ELECTRON = re.compile(r"(?:adu|dn|counts?|ct)\s*(?:/|per)\s*e", re.IGNORECASE)
_SETTING = re.compile(r"index|setting|\bdb\b|level|mode|iso|step", re.IGNORECASE)
_DARK_WORDS = re.compile(r"^\s*(master\s*)?(dark|bias|zero|offset|dark\s*flat)\b", re.IGNORECASE)
_SECTION = re.compile(r"^\[\s*(\d+)\s*:\s*(\d+)\s*,\s*(\d+)\s*:\s*(\d+)\s*\]$")


def is_dark(text: str) -> bool:
    """True when a text names a frame without light: dark, bias, zero, offset."""
    return bool(_DARK_WORDS.match(text))


class Card(NamedTuple):
    """Value and comment of one card."""

    value: Any
    comment: str


@dataclasses.dataclass
class HeaderFacts:
    """What one header says; None or "" where it is silent.

    The fields have the names and units of `starassay.Frame`.
    """

    saturation: u.Quantity | None = None
    gain: u.Quantity | None = None
    read_noise: u.Quantity | None = None
    pitch: u.Quantity | None = None
    exposure: u.Quantity | None = None
    filter: str = ""
    time: Time | None = None
    focus_position: u.Quantity | None = None
    binning: tuple[int, int] = (1, 1)
    bayer: str = ""
    camera: str = ""
    telescope: str = ""
    object: str = ""
    image_type: str = ""
    temperature: u.Quantity | None = None
    data_section: tuple[slice, slice] | None = None
    bias_section: tuple[slice, slice] | None = None
    notes: list[Note] = dataclasses.field(default_factory=list)


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


def read_header(header: Any, *, subject: str = "") -> HeaderFacts:
    """Facts of the camera from a header, with notes on what is missing or contradictory.

    Parameters
    ----------
    header : `~astropy.io.fits.Header` or mapping
        Keywords with values; comments are used when there are any.
    subject : str
        File name, for the notes.

    Returns
    -------
    HeaderFacts
        Quantities in the units of `starassay.Frame`.
    """
    return facts_of(*collect_cards(header), subject=subject)


def facts_of(
    cards: Mapping[str, list[Card]], broken: list[str], *, subject: str = ""
) -> HeaderFacts:
    """The same from cards that have been collected already.

    Parameters
    ----------
    cards, broken : dict, list of str
        As `collect_cards` gives them.
    subject : str
        File name, for the notes.

    Returns
    -------
    HeaderFacts
        Quantities in the units of `starassay.Frame`.
    """
    reader = _Reader(cards, subject)
    facts = reader.read()
    if broken:
        names = ", ".join(dict.fromkeys(broken))
        facts.notes.append(
            say("frame.header-broken", f"Cards that could not be read: {names}.", subject)
        )
    return facts


def _number(value: Any) -> float:
    """`value` as a number, also from a text that starts with one; NaN otherwise."""
    if isinstance(value, bool):
        return math.nan
    if isinstance(value, (int, float)):
        return float(value)
    match = re.match(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\b", str(value))
    return float(match.group(1)) if match else math.nan


def _comment_unit(comment: str) -> u.UnitBase | None:
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


def _text(value: Any) -> str:
    """A text value, "" for the many ways of saying nothing."""
    text = str(value).strip() if isinstance(value, (str, int, float)) else ""
    return "" if text.lower() in _NOTHING else text


class _Reader:
    """Reads the cards of one header; notes gather on the way."""

    def __init__(self, cards: Mapping[str, list[Card]], subject: str) -> None:
        self.cards = cards
        self.subject = subject
        self.notes: list[Note] = []

    def say(self, code: str, text: str) -> None:
        self.notes.append(say(code, text, self.subject))

    def given(self, fact: str) -> Iterable[tuple[Keyword, Card]]:
        for keyword in SYNONYMS[fact]:
            for card in self.cards.get(keyword.name, ()):
                yield keyword, card

    def quantities(self, fact: str, unit: u.UnitBase) -> list[tuple[str, u.Quantity]]:
        """All cards that give the fact, in `unit`; unreadable ones become notes."""
        found = []
        for keyword, card in self.given(fact):
            if isinstance(card.value, str) and not _text(card.value):
                continue
            number = _number(card.value)
            if not math.isfinite(number):
                self.say(
                    "frame.fact-invalid",
                    f"{keyword.name} = {card.value!r} is not a number and was not used.",
                )
                continue
            written = _comment_unit(card.comment)
            if written is None or not _convertible(written, unit):
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
        for name, quantity in found[1:]:
            if not math.isclose(quantity.value, found[0][1].value, rel_tol=tolerance):
                self.say(
                    "frame.fact-contradictory",
                    f"The {what} is {found[0][1]:g} in {found[0][0]}, {quantity:g} in {name}; "
                    f"{found[0][0]} was used.",
                )
                return

    def texts(self, fact: str) -> list[tuple[str, str]]:
        found = ((k.name, _text(c.value)) for k, c in self.given(fact))
        return [(name, text) for name, text in found if text]

    def text(self, fact: str) -> str:
        found = self.texts(fact)
        return found[0][1] if found else ""

    def read(self) -> HeaderFacts:
        facts = HeaderFacts()
        facts.camera = self.text("camera")
        facts.telescope = self.text("telescope")
        facts.object = self.text("object")
        facts.image_type = self.image_type(facts.object)
        facts.exposure = self.exposure(facts)
        facts.binning = self.binning()
        facts.pitch = self.pitch(facts.binning)
        facts.gain = self.gain()
        facts.read_noise = self.read_noise(facts.gain)
        facts.saturation = self.first("saturation", u.adu, above=0, what="saturation level")
        facts.bayer = self.bayer()
        facts.filter = self.filter_name()
        facts.time = self.time(facts.exposure)
        facts.focus_position = self.focus_position()
        facts.temperature = self.temperature()
        facts.data_section = self.section("data_section")
        facts.bias_section = self.section("bias_section")
        facts.notes = self.notes
        return facts

    def image_type(self, name: str) -> str:
        """The kind of frame; a name of the object that contradicts it is said."""
        found = [t for _, t in self.texts("image_type") if not t.isdigit()]
        kind = found[0] if found else ""
        if kind and name and is_dark(name) and not is_dark(kind):
            self.say(
                "frame.fact-contradictory",
                f"OBJECT says {name!r} but the frame's type is {kind!r}; the type was used.",
            )
        return kind

    def exposure(self, facts: HeaderFacts) -> u.Quantity | None:
        found = self.quantities("exposure", u.s)
        dark = is_dark(facts.image_type) or is_dark(facts.object)
        good = []
        for name, quantity in found:
            if quantity.value > 0 or (quantity.value == 0 and dark):
                good.append((name, quantity))
            else:
                self.say(
                    "frame.fact-invalid",
                    f"{name} = {quantity.value:g} s cannot be the exposure of a light frame; it was "
                    "not used. Give exposure=... if you know it.",
                )
        # Elapsed time may be longer than the exposure: no contradiction.
        self.compare([g for g in good if g[0] != "TELAPSE"], "exposure", 1e-3)
        return good[0][1] if good else None

    def binning(self) -> tuple[int, int]:
        x = self.quantities("binning_x", u.one)
        y = self.quantities("binning_y", u.one)
        both: tuple[float, float] | None = None
        for _, text in self.texts("binning"):
            numbers = [int(n) for n in re.findall(r"\d+", text)]
            if numbers:
                both = (numbers[0], numbers[1] if len(numbers) > 1 else numbers[0])
                break
        if x or y:
            pair = (float((x or y)[0][1].value), float((y or x)[0][1].value))
            if both and both != pair:
                self.say(
                    "frame.fact-contradictory",
                    f"The binning is {pair[0]:g} x {pair[1]:g} in one card and "
                    f"{both[0]:g} x {both[1]:g} in another; the first was used.",
                )
        else:
            pair = both or (1.0, 1.0)
        if min(pair) < 1 or any(p != int(p) for p in pair):
            self.say(
                "frame.fact-invalid",
                f"A binning of {pair[0]:g} x {pair[1]:g} cannot be; 1 x 1 was used.",
            )
            return (1, 1)
        if pair[0] != pair[1]:
            self.say(
                "frame.pixels-oblong",
                f"The binning is {pair[0]:g} x {pair[1]:g}. Take test frames with equal binning.",
            )
        return (int(pair[0]), int(pair[1]))

    def pitch(self, binning: tuple[int, int]) -> u.Quantity | None:
        """Pixel pitch in x after binning."""

        def binned(found: list[tuple[str, u.Quantity]], factor: int) -> list:
            included = {"XPIXSZ", "YPIXSZ"}
            return [(n, q if n in included else q * factor) for n, q in found if q.value > 0]

        raw = self.quantities("pitch", u.um)
        for name, quantity in raw:
            if quantity.value <= 0:
                self.say(
                    "frame.fact-invalid",
                    f"{name} = {quantity.value:g} cannot be the pixel size; it was not used.",
                )
        found = binned(raw, binning[0])
        if not found:
            return None
        name, pitch = found[0]
        self.compare(found, "pixel size after binning", 1e-2)
        other = binned(self.quantities("pitch_y", u.um), binning[1])
        if other and not math.isclose(other[0][1].value, pitch.value, rel_tol=1e-2):
            self.say(
                "frame.pixels-oblong",
                f"Pixels are {pitch:g} in x and {other[0][1]:g} in y.",
            )
        if binning[0] > 1 and name == "XPIXSZ" and len(found) == 1:
            self.say(
                "frame.pitch-binned",
                f"The image is binned {binning[0]} x {binning[1]}; XPIXSZ = {pitch.value:g} um was "
                "taken as the binned pixel, as its convention says, but some programs write the "
                f"single pixel ({pitch.value * binning[0]:g} um would then be right). Compare with "
                "the camera's data sheet and give pitch=... if it is wrong.",
            )
        return pitch

    def gain(self) -> u.Quantity | None:
        """Electrons per ADU; a GAIN that is a setting is told apart."""
        sure: list[tuple[str, u.Quantity]] = []
        unsure: tuple[float, str] | None = None
        for keyword, card in self.given("gain"):
            number = _number(card.value)
            if not math.isfinite(number):
                if _text(card.value):
                    self.say(
                        "frame.fact-invalid",
                        f"{keyword.name} = {card.value!r} is not a number and was not used.",
                    )
                continue
            if keyword.name != "GAIN":
                if number > 0:
                    sure.append((keyword.name, number * ELECTRON_PER_ADU))
                else:
                    self.say(
                        "frame.fact-invalid",
                        f"{keyword.name} = {number:g} cannot be electrons per ADU; it was not used.",
                    )
            elif _ADU_PER_ELECTRON.search(card.comment) and number > 0:
                sure.append((keyword.name, ELECTRON_PER_ADU / number))
            elif _ELECTRONS_PER_ADU.search(card.comment) and number > 0:
                sure.append((keyword.name, number * ELECTRON_PER_ADU))
            else:
                unsure = (number, card.comment)
        self.compare(sure, "gain", 1e-2)
        if unsure is None:
            return sure[0][1] if sure else None
        number, comment = unsure
        words = f" ({comment.strip()})" if comment.strip() else ""
        if sure:
            if not math.isclose(number, sure[0][1].value, rel_tol=1e-2):
                self.say(
                    "frame.gain-setting",
                    f"GAIN = {number:g}{words} is a camera setting; {sure[0][0]} gives "
                    f"{sure[0][1].value:g} electrons per ADU.",
                )
            return sure[0][1]
        if _SETTING.search(comment) or number == int(number) or not 0.01 < number < 50:
            self.say(
                "frame.gain-setting",
                f"GAIN = {number:g}{words} does not state electrons per ADU and looks like a camera "
                "setting. Give gain=... or measure it from two flats and two bias frames "
                "(measure_gain).",
            )
            return None
        self.say(
            "frame.gain-assumed",
            f"GAIN = {number:g} was taken as electrons per ADU; its comment does not say so. "
            "measure_gain checks it with two flats and two bias frames.",
        )
        return number * ELECTRON_PER_ADU

    def read_noise(self, gain: u.Quantity | None) -> u.Quantity | None:
        found = []
        for keyword, card in self.given("read_noise"):
            number = _number(card.value)
            if not math.isfinite(number):
                continue
            if number <= 0:
                self.say(
                    "frame.fact-invalid",
                    f"{keyword.name} = {number:g} cannot be the read noise; it was not used.",
                )
                continue
            if re.search(r"\b(adu|dn|counts?)\b", card.comment, re.IGNORECASE):
                if gain is None:
                    self.say(
                        "frame.fact-invalid",
                        f"{keyword.name} = {number:g} is in ADU and the gain is not known; the read "
                        "noise was not used. Give read_noise=... in electrons.",
                    )
                    continue
                found.append((keyword.name, (number * u.adu * gain).to(u.electron)))
            else:
                found.append((keyword.name, number * u.electron))
        self.compare(found, "read noise", 1e-2)
        return found[0][1] if found else None

    def bayer(self) -> str:
        """Color mosaic of the first two stored rows, offsets applied."""
        found = [(n, t) for n, t in self.texts("bayer") if _BAYER.match(t)]
        for name, text in self.texts("filter"):
            if _BAYER.match(text):
                found.append((name, text))
        if not found:
            return ""
        pattern = found[0][1][:4].upper()
        for name, text in found[1:]:
            if text[:4].upper() != pattern:
                self.say(
                    "frame.fact-contradictory",
                    f"The color mosaic is {pattern} in {found[0][0]}, {text} in {name}; "
                    f"{found[0][0]} was used.",
                )
        x = _number(self.cards.get("XBAYROFF", [Card(0, "")])[0].value)
        y = _number(self.cards.get("YBAYROFF", [Card(0, "")])[0].value)
        if math.isfinite(x) and int(x) % 2:
            pattern = pattern[1] + pattern[0] + pattern[3] + pattern[2]
        if math.isfinite(y) and int(y) % 2:
            pattern = pattern[2:] + pattern[:2]
        return pattern

    def filter_name(self) -> str:
        found = {n: t for n, t in self.texts("filter") if not _BAYER.match(t)}
        wheels = [
            found[n]
            for n in ("FILTER1", "FILTER2")
            if n in found and found[n].lower() not in _CLEAR
        ]
        if "FILTER" not in found:
            if wheels:
                return " + ".join(wheels)
            return next(iter(found.values()), "")
        name = found["FILTER"]
        others = wheels or [found[n] for n in ("FILTNAME",) if n in found]
        if others and all(name.lower() != o.lower() for o in others):
            self.say(
                "frame.fact-contradictory",
                f"The filter is {name!r} in FILTER, {' + '.join(others)!r} in another card; FILTER "
                "was used.",
            )
        return name

    def time(self, exposure: u.Quantity | None) -> Time | None:
        """Start of the exposure."""
        if not any(True for _ in self.given("time")):
            return None
        from astropy.time import Time

        scale = self.cards.get("TIMESYS", [Card("UTC", "")])[0].value
        scale = str(scale).strip().lower()
        if scale not in Time.SCALES:
            scale = "utc"
        found: list[tuple[str, Time, bool]] = []
        for keyword, card in self.given("time"):
            if isinstance(card.value, str) and not _text(card.value):
                continue
            time, whole_day = self.one_time(keyword, card, scale)
            if time is None:
                self.say(
                    "frame.fact-invalid",
                    f"{keyword.name} = {card.value!r} is not a date; it was not used.",
                )
            else:
                found.append((keyword.name, time, whole_day))
        if not found:
            return None
        # A date without the time of day is worth less than one with it.
        found.sort(key=lambda f: f[2])
        name, time, whole_day = found[0]
        slack = 2 + (exposure.to_value(u.s) if exposure is not None else 0)
        for other, at, day in found[1:]:
            # By Julian dates: a Time difference would look for leap seconds on the network.
            apart = 86400 * abs((at.jd1 - time.jd1) + (at.jd2 - time.jd2))
            if apart > (86400 + slack if day or whole_day else slack):
                self.say(
                    "frame.fact-contradictory",
                    f"{name} says {time.isot}, {other} says {at.isot}; {name} was used.",
                )
                break
        return time

    def one_time(self, keyword: Keyword, card: Card, scale: str) -> tuple[Time | None, bool]:
        """The card's time, and True when it gives the day alone."""
        from astropy.time import Time

        try:
            if keyword.name.startswith("MJD"):
                day = _number(card.value)
                return Time(day, format="mjd", scale=scale), day == int(day)
            text = str(card.value).strip().rstrip("Z")
            old = re.match(r"^(\d{2})/(\d{2})/(\d{2})$", text)
            if old:  # the form before 2000, FITS 4.0, 4.4.2.1: day, month, year of 19yy
                text = f"19{old.group(3)}-{old.group(2)}-{old.group(1)}"
            if "T" not in text and " " not in text:
                for other, day_time in self.given("time_of_day"):
                    clock = _clock(other, day_time.value)
                    if clock:
                        return Time(f"{text}T{clock}", format="isot", scale=scale), False
                return Time(text, format="iso", scale=scale), True
            return Time(text.replace(" ", "T"), format="isot", scale=scale), False
        except ValueError:
            return None, False

    def focus_position(self) -> u.Quantity | None:
        for keyword, card in self.given("focus_position"):
            number = _number(card.value)
            if not math.isfinite(number):
                continue
            unit = _comment_unit(card.comment)
            if unit is not None and _convertible(unit, u.um):
                return (number * unit).to(u.um)
            step = self.quantities("focus_step", u.um)
            if step and step[0][1].value > 0:
                return number * step[0][1]
            return number * u.one
        return None

    def temperature(self) -> u.Quantity | None:
        for _, quantity in self.quantities("temperature", u.deg_C):
            if -273.15 < quantity.value < 100:  # some programs write kelvins without saying so
                return quantity
        return None

    def section(self, fact: str) -> tuple[slice, slice] | None:
        """Rows and columns of a section as slices of the array."""
        for name, text in self.texts(fact):
            match = _SECTION.match(text)
            if match:
                x1, x2, y1, y2 = (int(n) for n in match.groups())
                if 0 < x1 <= x2 and 0 < y1 <= y2:
                    return slice(y1 - 1, y2), slice(x1 - 1, x2)
            self.say(
                "frame.fact-invalid",
                f"{name} = {text!r} is not a section of the form [x1:x2,y1:y2]; it was not used.",
            )
        return None


def _convertible(unit: u.UnitBase, to: u.UnitBase) -> bool:
    if to == u.deg_C:
        return bool(unit.is_equivalent(u.K, u.temperature()))
    return bool(unit.is_equivalent(to))


def _clock(keyword: Keyword, value: Any) -> str:
    """Time of day as hh:mm:ss.sss, from such a text, or from seconds or hours since midnight."""
    if isinstance(value, str):
        match = re.match(r"^\s*(\d{1,2}):(\d{2}):(\d{2}(?:\.\d+)?)", value)
        if match:
            h, m, s = match.groups()
            return f"{int(h):02d}:{m}:{s}"
    number = _number(value)
    if not math.isfinite(number) or number < 0:
        return ""
    seconds = number
    if keyword.unit is None and number < 24 and not float(number).is_integer():
        seconds = 3600 * number
    if seconds >= 86400:
        return ""
    whole = int(seconds)
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{seconds - whole // 60 * 60:06.3f}"

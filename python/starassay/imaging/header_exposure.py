"""What a FITS header says of an exposure: the kind of frame, how long, and when."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any

from astropy import units as u

from .header_cards import Card, Cards, number_of, text_of
from .header_keywords import Keyword

if TYPE_CHECKING:
    from astropy.time import Time

_DARK_WORDS = re.compile(r"^\s*(master\s*)?(dark|bias|zero|offset|dark\s*flat)\b", re.IGNORECASE)


def is_dark(text: str) -> bool:
    """True when a text names a frame without light: dark, bias, zero, offset."""
    return bool(_DARK_WORDS.match(text))


def image_type(cards: Cards, name: str) -> str:
    """The kind of frame; a name of the object that contradicts it is said."""
    found = [t for _, t in cards.texts("image_type") if not t.isdigit()]
    kind = found[0] if found else ""
    if kind and name and is_dark(name) and not is_dark(kind):
        cards.say(
            "frame.fact-contradictory",
            f"OBJECT says {name!r} but the frame's type is {kind!r}; the type was used.",
        )
    return kind


def exposure(cards: Cards, image_type: str, name: str) -> u.Quantity | None:
    """How long the frame was exposed; zero is believed of frames without light alone."""
    found = cards.quantities("exposure", u.s)
    dark = is_dark(image_type) or is_dark(name)
    good = []
    for name, quantity in found:
        if quantity.value > 0 or (quantity.value == 0 and dark):
            good.append((name, quantity))
        else:
            cards.say(
                "frame.fact-invalid",
                f"{name} = {quantity.value:g} s cannot be the exposure of a light frame; it was "
                "not used. Give exposure=... if you know it.",
            )
    # Elapsed time may be longer than the exposure: no contradiction.
    cards.compare([g for g in good if g[0] != "TELAPSE"], "exposure", 1e-3)
    return good[0][1] if good else None


def time(cards: Cards, exposure: u.Quantity | None) -> Time | None:
    """Start of the exposure."""
    if not any(True for _ in cards.given("time")):
        return None
    from astropy.time import Time

    scale = cards.cards.get("TIMESYS", [Card("UTC", "")])[0].value
    scale = str(scale).strip().lower()
    if scale not in Time.SCALES:
        scale = "utc"
    found: list[tuple[str, Time, bool]] = []
    for keyword, card in cards.given("time"):
        if isinstance(card.value, str) and not text_of(card.value):
            continue
        time, whole_day = _one_time(cards, keyword, card, scale)
        if time is None:
            cards.say(
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
            cards.say(
                "frame.fact-contradictory",
                f"{name} says {time.isot}, {other} says {at.isot}; {name} was used.",
            )
            break
    return time


def _one_time(cards: Cards, keyword: Keyword, card: Card, scale: str) -> tuple[Time | None, bool]:
    """The card's time, and True when it gives the day alone."""
    from astropy.time import Time

    try:
        if keyword.name.startswith("MJD"):
            day = number_of(card.value)
            return Time(day, format="mjd", scale=scale), day == int(day)
        text = str(card.value).strip().rstrip("Z")
        old = re.match(r"^(\d{2})/(\d{2})/(\d{2})$", text)
        if old:  # the form before 2000, FITS 4.0, 4.4.2.1: day, month, year of 19yy
            text = f"19{old.group(3)}-{old.group(2)}-{old.group(1)}"
        if "T" not in text and " " not in text:
            for other, day_time in cards.given("time_of_day"):
                clock = _clock(other, day_time.value)
                if clock:
                    return Time(f"{text}T{clock}", format="isot", scale=scale), False
            return Time(text, format="iso", scale=scale), True
        return Time(text.replace(" ", "T"), format="isot", scale=scale), False
    except ValueError:
        return None, False


def _clock(keyword: Keyword, value: Any) -> str:
    """Time of day as hh:mm:ss.sss, from such a text, or from seconds or hours since midnight."""
    if isinstance(value, str):
        match = re.match(r"^\s*(\d{1,2}):(\d{2}):(\d{2}(?:\.\d+)?)", value)
        if match:
            h, m, s = match.groups()
            return f"{int(h):02d}:{m}:{s}"
    number = number_of(value)
    if not math.isfinite(number) or number < 0:
        return ""
    seconds = number
    if keyword.unit is None and number < 24 and not float(number).is_integer():
        seconds = 3600 * number
    if seconds >= 86400:
        return ""
    whole = int(seconds)
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{seconds - whole // 60 * 60:06.3f}"

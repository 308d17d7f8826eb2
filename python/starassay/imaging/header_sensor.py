"""What a FITS header says of the sensor: binning, pixel pitch, gain, read noise, color mosaic, sections."""

from __future__ import annotations

import math
import re

from astropy import units as u

from .header_cards import Card, Cards, number_of, text_of
from .header_keywords import ELECTRON_PER_ADU

_BAYER = re.compile(r"^(RGGB|BGGR|GRBG|GBRG)\d*$", re.IGNORECASE)
_ELECTRONS_PER_ADU = re.compile(
    r"\be(?:lec(?:tron)?s?)?\s*[-\u2212]?\s*(?:/|per)\s*(?:adu|dn|count|ct)", re.IGNORECASE
)
_ADU_PER_ELECTRON = re.compile(r"(?:adu|dn|counts?|ct)\s*(?:/|per)\s*e", re.IGNORECASE)
_SETTING = re.compile(r"index|setting|\bdb\b|level|mode|iso|step", re.IGNORECASE)
_SECTION = re.compile(r"^\[\s*(\d+)\s*:\s*(\d+)\s*,\s*(\d+)\s*:\s*(\d+)\s*\]$")


def is_mosaic(text: str) -> bool:
    """True when a text names a color mosaic, such as RGGB."""
    return bool(_BAYER.match(text))


def binning(cards: Cards) -> tuple[int, int]:
    """Pixels binned in x and y, 1 x 1 where no card says so."""
    x = cards.quantities("binning_x", u.one)
    y = cards.quantities("binning_y", u.one)
    both: tuple[float, float] | None = None
    for _, text in cards.texts("binning"):
        numbers = [int(n) for n in re.findall(r"\d+", text)]
        if numbers:
            both = (numbers[0], numbers[1] if len(numbers) > 1 else numbers[0])
            break
    if x or y:
        pair = (float((x or y)[0][1].value), float((y or x)[0][1].value))
        if both and both != pair:
            cards.say(
                "frame.fact-contradictory",
                f"The binning is {pair[0]:g} x {pair[1]:g} in one card and "
                f"{both[0]:g} x {both[1]:g} in another; the first was used.",
            )
    else:
        pair = both or (1.0, 1.0)
    if min(pair) < 1 or any(p != int(p) for p in pair):
        cards.say(
            "frame.fact-invalid",
            f"A binning of {pair[0]:g} x {pair[1]:g} cannot be; 1 x 1 was used.",
        )
        return (1, 1)
    if pair[0] != pair[1]:
        cards.say(
            "frame.pixels-oblong",
            f"The binning is {pair[0]:g} x {pair[1]:g}. Take test frames with equal binning.",
        )
    return (int(pair[0]), int(pair[1]))


def pitch(cards: Cards, binning: tuple[int, int]) -> u.Quantity | None:
    """Pixel pitch in x after binning."""

    def binned(found: list[tuple[str, u.Quantity]], factor: int) -> list:
        included = {"XPIXSZ", "YPIXSZ"}
        return [(n, q if n in included else q * factor) for n, q in found if q.value > 0]

    raw = cards.quantities("pitch", u.um)
    for name, quantity in raw:
        if quantity.value <= 0:
            cards.say(
                "frame.fact-invalid",
                f"{name} = {quantity.value:g} cannot be the pixel size; it was not used.",
            )
    found = binned(raw, binning[0])
    if not found:
        return None
    name, pitch = found[0]
    cards.compare(found, "pixel size after binning", 1e-2)
    other = binned(cards.quantities("pitch_y", u.um), binning[1])
    if other and not math.isclose(other[0][1].value, pitch.value, rel_tol=1e-2):
        cards.say(
            "frame.pixels-oblong",
            f"Pixels are {pitch:g} in x and {other[0][1]:g} in y.",
        )
    if binning[0] > 1 and name == "XPIXSZ" and len(found) == 1:
        cards.say(
            "frame.pitch-binned",
            f"The image is binned {binning[0]} x {binning[1]}; XPIXSZ = {pitch.value:g} um was "
            "taken as the binned pixel, as its convention says, but some programs write the "
            f"single pixel ({pitch.value * binning[0]:g} um would then be right). Compare with "
            "the camera's data sheet and give pitch=... if it is wrong.",
        )
    return pitch


def gain(cards: Cards) -> u.Quantity | None:
    """Electrons per ADU; a GAIN that is a setting is told apart."""
    sure: list[tuple[str, u.Quantity]] = []
    unsure: tuple[float, str] | None = None
    for keyword, card in cards.given("gain"):
        number = number_of(card.value)
        if not math.isfinite(number):
            if text_of(card.value):
                cards.say(
                    "frame.fact-invalid",
                    f"{keyword.name} = {card.value!r} is not a number and was not used.",
                )
            continue
        if keyword.name != "GAIN":
            if number > 0:
                sure.append((keyword.name, number * ELECTRON_PER_ADU))
            else:
                cards.say(
                    "frame.fact-invalid",
                    f"{keyword.name} = {number:g} cannot be electrons per ADU; it was not used.",
                )
        elif _ADU_PER_ELECTRON.search(card.comment) and number > 0:
            sure.append((keyword.name, ELECTRON_PER_ADU / number))
        elif _ELECTRONS_PER_ADU.search(card.comment) and number > 0:
            sure.append((keyword.name, number * ELECTRON_PER_ADU))
        else:
            unsure = (number, card.comment)
    cards.compare(sure, "gain", 1e-2)
    if unsure is None:
        return sure[0][1] if sure else None
    number, comment = unsure
    words = f" ({comment.strip()})" if comment.strip() else ""
    if sure:
        if not math.isclose(number, sure[0][1].value, rel_tol=1e-2):
            cards.say(
                "frame.gain-setting",
                f"GAIN = {number:g}{words} is a camera setting; {sure[0][0]} gives "
                f"{sure[0][1].value:g} electrons per ADU.",
            )
        return sure[0][1]
    if _SETTING.search(comment) or number == int(number) or not 0.01 < number < 50:
        cards.say(
            "frame.gain-setting",
            f"GAIN = {number:g}{words} does not state electrons per ADU and looks like a camera "
            "setting. Give gain=... or measure it from two flats and two bias frames "
            "(measure_gain).",
        )
        return None
    cards.say(
        "frame.gain-assumed",
        f"GAIN = {number:g} was taken as electrons per ADU; its comment does not say so. "
        "measure_gain checks it with two flats and two bias frames.",
    )
    return number * ELECTRON_PER_ADU


def read_noise(cards: Cards, gain: u.Quantity | None) -> u.Quantity | None:
    """Electrons; a value in ADU needs the gain."""
    found = []
    for keyword, card in cards.given("read_noise"):
        number = number_of(card.value)
        if not math.isfinite(number):
            continue
        if number <= 0:
            cards.say(
                "frame.fact-invalid",
                f"{keyword.name} = {number:g} cannot be the read noise; it was not used.",
            )
            continue
        if re.search(r"\b(adu|dn|counts?)\b", card.comment, re.IGNORECASE):
            if gain is None:
                cards.say(
                    "frame.fact-invalid",
                    f"{keyword.name} = {number:g} is in ADU and the gain is not known; the read "
                    "noise was not used. Give read_noise=... in electrons.",
                )
                continue
            found.append((keyword.name, (number * u.adu * gain).to(u.electron)))
        else:
            found.append((keyword.name, number * u.electron))
    cards.compare(found, "read noise", 1e-2)
    return found[0][1] if found else None


def bayer(cards: Cards) -> str:
    """Color mosaic of the first two stored rows, offsets applied."""
    found = [(n, t) for n, t in cards.texts("bayer") if is_mosaic(t)]
    for name, text in cards.texts("filter"):
        if is_mosaic(text):
            found.append((name, text))
    if not found:
        return ""
    pattern = found[0][1][:4].upper()
    for name, text in found[1:]:
        if text[:4].upper() != pattern:
            cards.say(
                "frame.fact-contradictory",
                f"The color mosaic is {pattern} in {found[0][0]}, {text} in {name}; "
                f"{found[0][0]} was used.",
            )
    x = number_of(cards.cards.get("XBAYROFF", [Card(0, "")])[0].value)
    y = number_of(cards.cards.get("YBAYROFF", [Card(0, "")])[0].value)
    if math.isfinite(x) and int(x) % 2:
        pattern = pattern[1] + pattern[0] + pattern[3] + pattern[2]
    if math.isfinite(y) and int(y) % 2:
        pattern = pattern[2:] + pattern[:2]
    return pattern


def section(cards: Cards, fact: str) -> tuple[slice, slice] | None:
    """Rows and columns of a section as slices of the array."""
    for name, text in cards.texts(fact):
        match = _SECTION.match(text)
        if match:
            x1, x2, y1, y2 = (int(n) for n in match.groups())
            if 0 < x1 <= x2 and 0 < y1 <= y2:
                return slice(y1 - 1, y2), slice(x1 - 1, x2)
        cards.say(
            "frame.fact-invalid",
            f"{name} = {text!r} is not a section of the form [x1:x2,y1:y2]; it was not used.",
        )
    return None

"""What a FITS header says of the camera: synonyms, units, contradictions."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from astropy import units as u

from . import header_exposure, header_sensor
from .header_cards import Card, Cards, collect_cards, convertible, number_of, unit_in
from ..results import Note, say

if TYPE_CHECKING:
    from astropy.time import Time

_CLEAR = {"clear", "open", "free", "empty", "c", "no filter", "nofilter"}


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
    read = Cards(cards, subject)
    facts = HeaderFacts()
    facts.camera = read.text("camera")
    facts.telescope = read.text("telescope")
    facts.object = read.text("object")
    facts.image_type = header_exposure.image_type(read, facts.object)
    facts.exposure = header_exposure.exposure(read, facts.image_type, facts.object)
    facts.binning = header_sensor.binning(read)
    facts.pitch = header_sensor.pitch(read, facts.binning)
    facts.gain = header_sensor.gain(read)
    facts.read_noise = header_sensor.read_noise(read, facts.gain)
    facts.saturation = read.first("saturation", u.adu, above=0, what="saturation level")
    facts.bayer = header_sensor.bayer(read)
    facts.filter = _filter_name(read)
    facts.time = header_exposure.time(read, facts.exposure)
    facts.focus_position = _focus_position(read)
    facts.temperature = _temperature(read)
    facts.data_section = header_sensor.section(read, "data_section")
    facts.bias_section = header_sensor.section(read, "bias_section")
    facts.notes = read.notes
    if broken:
        names = ", ".join(dict.fromkeys(broken))
        facts.notes.append(
            say("frame.header-broken", f"Cards that could not be read: {names}.", subject)
        )
    return facts


def _filter_name(cards: Cards) -> str:
    found = {n: t for n, t in cards.texts("filter") if not header_sensor.is_mosaic(t)}
    wheels = [
        found[n] for n in ("FILTER1", "FILTER2") if n in found and found[n].lower() not in _CLEAR
    ]
    if "FILTER" not in found:
        if wheels:
            return " + ".join(wheels)
        return next(iter(found.values()), "")
    name = found["FILTER"]
    others = wheels or [found[n] for n in ("FILTNAME",) if n in found]
    if others and all(name.lower() != o.lower() for o in others):
        cards.say(
            "frame.fact-contradictory",
            f"The filter is {name!r} in FILTER, {' + '.join(others)!r} in another card; FILTER "
            "was used.",
        )
    return name


def _focus_position(cards: Cards) -> u.Quantity | None:
    for keyword, card in cards.given("focus_position"):
        number = number_of(card.value)
        if not math.isfinite(number):
            continue
        unit = unit_in(card.comment)
        if unit is not None and convertible(unit, u.um):
            return (number * unit).to(u.um)
        step = cards.quantities("focus_step", u.um)
        if step and step[0][1].value > 0:
            return number * step[0][1]
        return number * u.one
    return None


def _temperature(cards: Cards) -> u.Quantity | None:
    for _, quantity in cards.quantities("temperature", u.deg_C):
        if -273.15 < quantity.value < 100:  # some programs write kelvins without saying so
            return quantity
    return None

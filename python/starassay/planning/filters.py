"""Which filter a step is taken through, how wide it is, and how it is said."""

from __future__ import annotations

import dataclasses
import math

from astropy import units as u

from .._records import QUANTITIES
from ..campaign.description import Campaign, FilterEntry
from ..measurements._declaring import Measurement
from ..measurements._planning import Recipe

_USUAL = FilterEntry("", 540 * u.nm, 10 * u.nm)
_WHITE = FilterEntry("", 550 * u.nm, 300 * u.nm)


def choose_filter(
    campaign: Campaign, measurement: Measurement, recipe: Recipe
) -> tuple[FilterEntry, list[str]]:
    """The filter of the entry, else one that a claim's wavelength asks for, else the narrowest; and what was assumed."""
    own = [t.filter for t in campaign.tests if t.kind == measurement.area and t.filter]
    if own:
        return own[0], []
    if not recipe.narrow:
        return _WHITE, []
    asked = [
        c.wavelength
        for c in campaign.claims
        if c.wavelength is not None and QUANTITIES[c.quantity].area == measurement.area
    ]
    known = sorted(
        campaign.filters.values(),
        key=lambda f: math.inf if f.width is None else f.width.to_value(u.nm),
    )
    for f in known:
        if not asked or abs(float(f.wavelength / asked[0]) - 1) < 0.02:
            return f, []
    chosen = dataclasses.replace(_USUAL, wavelength=asked[0] if asked else _USUAL.wavelength)
    said = f"a filter of 10 nm at {chosen.wavelength.to_value(u.nm):g} nm for '{measurement.title}'"
    return chosen, [f"{said}, since none under [filters] serves"]


def width_of(light: FilterEntry) -> u.Quantity:
    """Width of the filter; a tenth of its wavelength where it is not said."""
    return light.width if light.width is not None else 0.1 * light.wavelength


def words_of(light: FilterEntry) -> str:
    """The filter in words."""
    nm = light.wavelength.to_value(u.nm)
    if light is _WHITE:
        return "none, or luminance"
    guessed = "" if light.width is not None else " (width taken as a tenth)"
    return f"{light.name} {nm:g} nm, {width_of(light).to_value(u.nm):g} nm wide{guessed}".strip()

"""Chooses what to point at: a bright star whose light suits, or a rich field."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from astropy import units as u
from astropy.coordinates import Galactic, SkyCoord, get_constellation
from astropy.time import Time

from .. import _records
from ..errors import CannotMeasureError
from ..measurements._planning import SPECTRUM, Recipe
from .bright_stars import Star, bright_stars, places
from .night_sky import NightSky

#: Nearer to the Moon than this, its light and its halo disturb (judgments, no source).
_STAR_FROM_MOON, _FIELD_FROM_MOON = 10.0, 40.0


def choose_star(
    sky: NightSky,
    when: Time,
    recipe: Recipe,
    seen: Callable[[Star, float], _records.StarExposure],
    horizon: float,
) -> tuple[Star, float, _records.StarExposure, str]:
    """The star whose light suits and that stands highest.

    Parameters
    ----------
    sky : NightSky
        Of the night.
    when : Time
        Middle of the step.
    recipe : Recipe
        What the measurement wants: kind of star, exposure, light.
    seen : callable
        What a star gives at an altitude in degrees.
    horizon : float
        Least altitude, degrees.

    Returns
    -------
    Star, float, StarExposure, str
        The star, its altitude, what it gives, and what to say where no star suits, else "".
    """
    wanted = bright_stars()
    if recipe.target == SPECTRUM:
        wanted = tuple(s for s in wanted if s.spectral_class in "AFG")
    wanted = tuple(s for s in wanted if not s.close_double)
    where = places(wanted)
    altitudes = sky.altitudes(where, when)
    free = sky.from_moon(where, when) > _STAR_FROM_MOON
    # Hydrogen lines give a spectrum its wavelengths: a hotter star may stand that many degrees lower.
    lower = {"F": 8.0, "G": 16.0} if recipe.target == SPECTRUM else {}
    merit = altitudes - np.array([lower.get(s.spectral_class, 0.0) for s in wanted])
    up = [k for k in np.argsort(-merit) if altitudes[k] >= horizon and free[k]]
    if not up:
        raise CannotMeasureError(
            f"no star that serves stands higher than {horizon:.0f} degrees then. Lower the horizon, or "
            "take another hour.",
            code="plan.no-star",
        )
    # One look tells how bright a star may be: light goes with the magnitude.
    probe = seen(wanted[up[0]], float(altitudes[up[0]]))
    v = wanted[up[0]].v

    def longest(k: int) -> float:
        return float(probe.longest.value * 10 ** (0.4 * (wanted[k].v - v)))

    def light(k: int) -> float:
        return float(probe.light.value * 10 ** (0.4 * (wanted[k].v - v)))

    fit = [k for k in up if longest(k) >= recipe.exposure and light(k) <= recipe.longest]
    said = ""
    if fit:
        chosen = fit[0]
    else:
        # Too bright all, or too faint: the nearest to what was wanted.
        chosen = min(
            up,
            key=lambda k: max(0.0, math.log(recipe.exposure / longest(k)))
            + max(0.0, math.log(light(k) / recipe.longest)),
        )
        if longest(chosen) < recipe.exposure:
            said = (
                f"{wanted[chosen].full_name} clips after {longest(chosen):.1f} s, too short for the air to average: a "
                "narrower filter or more defocus helps more than a shorter exposure."
            )
        else:
            said = (
                f"{wanted[chosen].full_name} needs {light(chosen):.0f} s for the light that is wanted: guide well, "
                "or take a wider filter."
            )
    altitude = float(altitudes[chosen])
    return wanted[chosen], altitude, seen(wanted[chosen], altitude), said


def choose_field(sky: NightSky, when: Time, horizon: float) -> tuple[str, SkyCoord, float]:
    """The point of the Milky Way that stands highest, away from the Moon.

    Parameters
    ----------
    sky : NightSky
        Of the night.
    when : Time
        Middle of the step.
    horizon : float
        Least altitude, degrees.

    Returns
    -------
    str, SkyCoord, float
        Its name, its place, its altitude.
    """
    along = np.arange(0, 360, 5.0)
    latitude = np.repeat([0.0, -4.0, 4.0], len(along))
    belt = SkyCoord(np.tile(along, 3) * u.deg, latitude * u.deg, frame=Galactic()).icrs
    altitudes = sky.altitudes(belt, when)
    score = np.where(sky.from_moon(belt, when) > _FIELD_FROM_MOON, altitudes, -90.0)
    best = int(np.argmax(score))
    if score[best] < horizon:
        raise CannotMeasureError(
            f"the Milky Way does not rise above {horizon:.0f} degrees away from the Moon then: take any field "
            "near the zenith, with twice the exposure.",
            code="plan.no-field",
        )
    place = belt[best]
    return f"Milky Way in {get_constellation(place)}", place, float(altitudes[best])


__all__ = ["choose_field", "choose_star"]

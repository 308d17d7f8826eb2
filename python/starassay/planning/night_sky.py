"""Sun, Moon and stars over one site and one night, by Astropy, without any download."""

from __future__ import annotations

import dataclasses
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

import numpy as np
from astropy import units as u
from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_body, get_sun
from astropy.time import Time
from astropy.utils import iers
from astropy.utils.exceptions import AstropyWarning

from ..errors import CannotMeasureError, InputError

#: Altitude of the Sun's middle at the end of each twilight, degrees.
CIVIL, NAUTICAL, ASTRONOMICAL = -6.0, -12.0, -18.0
_STEP_MIN = 2.0


@contextmanager
def without_downloads() -> Iterator[None]:
    """Inside, Astropy takes its own tables of the Earth's rotation and asks nobody; half a second off in years to come."""
    with (
        iers.conf.set_temp("auto_download", False),
        iers.conf.set_temp("auto_max_age", None),
        iers.conf.set_temp("iers_degraded_accuracy", "ignore"),
        warnings.catch_warnings(),
    ):
        warnings.simplefilter("ignore", AstropyWarning)
        # ERFA calls years beyond its leap seconds dubious; nothing here depends on a second.
        warnings.filterwarnings("ignore", message=".*dubious year.*")
        yield


def read_site(site: Any) -> EarthLocation:
    """A place on Earth.

    Parameters
    ----------
    site : EarthLocation or str
        Or a text: latitude, longitude (east positive) and height, ``"48.1, 11.6, 520 m"``; the height may be left out.

    Returns
    -------
    EarthLocation
        For Astropy.

    Raises
    ------
    InputError
        When it is no place.
    """
    if isinstance(site, EarthLocation):
        return site
    example = 'write latitude, longitude (east positive) and height, such as "48.1, 11.6, 520 m"'
    parts = [p.strip() for p in site.split(",")] if isinstance(site, str) else []
    if len(parts) not in (2, 3):
        raise InputError(f"site is {site!r}; {example}.", code="plan.site", argument="site")
    try:
        latitude, longitude = (_angle(p) for p in parts[:2])
        height = (
            u.Quantity(parts[2] if re.search("[a-z]", parts[2]) else f"{parts[2]} m")
            if len(parts) == 3
            else 0 * u.m
        )
        if not -90 <= latitude <= 90 or not -360 <= longitude <= 360:
            raise ValueError
        return EarthLocation.from_geodetic(longitude * u.deg, latitude * u.deg, height.to(u.m))
    except (ValueError, TypeError, u.UnitsError):
        raise InputError(
            f"site is {site!r}; {example}.", code="plan.site", argument="site"
        ) from None


def _angle(text: str) -> float:
    """Degrees, with a sign or with N, S, E, W behind the number."""
    found = re.fullmatch(r"([+-]?[\d.]+)\s*(?:deg|°)?\s*([NSEWnsew]?)", text)
    if found is None:
        raise ValueError(text)
    value = float(found[1])
    return -value if found[2].upper() in ("S", "W") else value


def read_night(night: Any) -> date:
    """The evening's date.

    Parameters
    ----------
    night : str or date
        Such as ``"2026-12-11"``: the night that begins on that day.
    """
    try:
        return date.fromisoformat(str(night)[:10])
    except ValueError:
        raise InputError(
            f'night is {night!r}; write the date of the evening, such as "2026-12-11".',
            code="plan.night",
            argument="night",
        ) from None


@dataclasses.dataclass(frozen=True)
class NightSky:
    """The Sun's and the Moon's way over one night.

    Attributes
    ----------
    site : EarthLocation
        Where.
    times : Time, shape (n,)
        From one local noon to the next, in steps of two minutes.
    sun, moon : ndarray, shape (n,)
        Altitudes of their middles in degrees, refraction left out.
    moon_place : SkyCoord, shape (n,)
        The Moon as seen from the site.
    moon_lit : float
        Lit share of the Moon's disc at midnight.
    """

    site: EarthLocation
    times: Time
    sun: np.ndarray
    moon: np.ndarray
    moon_place: SkyCoord
    moon_lit: float

    @classmethod
    def over(cls, site: EarthLocation, night: date) -> NightSky:
        """Compute it.

        Parameters
        ----------
        site : EarthLocation
            Where.
        night : date
            Of the evening.
        """
        # Local mean noon: the Sun is near the meridian, whatever the clocks say.
        noon = Time(f"{night.isoformat()}T12:00:00", scale="utc") - site.lon.deg / 15 * u.hour
        times = noon + np.arange(0, 24 * 60 + _STEP_MIN / 2, _STEP_MIN) * u.min
        frame = AltAz(obstime=times, location=site)
        sun = get_sun(times).transform_to(frame).alt.deg
        moon = get_body("moon", times, site, ephemeris="builtin")
        half = times[len(times) // 2]
        return cls(site, times, sun, moon.transform_to(frame).alt.deg, moon, lit_share(half, site))

    def below(self, altitude: float) -> tuple[Time, Time]:
        """When the Sun stands lower than an altitude: begin and end.

        Parameters
        ----------
        altitude : float
            Degrees.

        Raises
        ------
        CannotMeasureError
            When it does not get so low in this night.
        """
        low = np.flatnonzero(self.sun < altitude)
        if not len(low):
            raise CannotMeasureError(
                f"The Sun does not go {-altitude:.0f} degrees below the horizon in this night at this site: no star "
                "can be measured. Choose another season.",
                code="plan.no-night",
            )
        first, last = int(low[0]), int(low[-1])
        return self._crossing(first - 1, altitude), self._crossing(last, altitude)

    def darkest(self) -> tuple[float, Time, Time]:
        """Begin and end of the deepest twilight that this night reaches, with its altitude."""
        for altitude in (ASTRONOMICAL, NAUTICAL, CIVIL):
            if (self.sun < altitude).any():
                return (altitude, *self.below(altitude))
        return (CIVIL, *self.below(CIVIL))

    def _crossing(self, k: int, altitude: float) -> Time:
        """The moment between samples k and k + 1 when the Sun passes an altitude."""
        k = min(max(k, 0), len(self.sun) - 2)
        a, b = self.sun[k], self.sun[k + 1]
        share = 0.0 if a == b else float(np.clip((altitude - a) / (b - a), 0, 1))
        return self.times[k] + share * _STEP_MIN * u.min

    def moon_up(self, least: float = 0.0) -> tuple[Time, Time] | None:
        """From when to when the Moon stands above an altitude while the Sun is down; None when it does not."""
        up = np.flatnonzero((self.moon > least) & (self.sun < -0.8))
        return None if not len(up) else (self.times[up[0]], self.times[up[-1]])

    def altitudes(self, places: SkyCoord, when: Time) -> np.ndarray:
        """Altitudes of places on the sky in degrees, refraction left out.

        Parameters
        ----------
        places : SkyCoord
            Any number of them.
        when : Time
            One moment.
        """
        return places.transform_to(AltAz(obstime=when, location=self.site)).alt.deg

    def from_moon(self, places: SkyCoord, when: Time) -> np.ndarray:
        """Distances from the Moon in degrees; 180 while it is down.

        Parameters
        ----------
        places : SkyCoord
            Any number of them.
        when : Time
            One moment.
        """
        k = int(np.argmin(np.abs((self.times - when).to_value(u.min))))
        if self.moon[k] < -1:
            return np.full(np.shape(places.ra), 180.0)
        frame = AltAz(obstime=when, location=self.site)
        moon = self.moon_place[k].transform_to(frame)
        return places.transform_to(frame).separation(moon).deg


def lit_share(when: Time, site: EarthLocation | None = None) -> float:
    """Lit share of the Moon's disc, (1 + cos i) / 2 with the phase angle i.

    Parameters
    ----------
    when : Time
        The moment.
    site : EarthLocation, optional
        Seen from there; from the Earth's middle by default.
    """
    sun, moon = get_sun(when), get_body("moon", when, site, ephemeris="builtin")
    apart = sun.separation(moon).rad
    phase = np.arctan2(
        sun.distance.to_value(u.km) * np.sin(apart),
        moon.distance.to_value(u.km) - sun.distance.to_value(u.km) * np.cos(apart),
    )
    return float((1 + np.cos(phase)) / 2)

"""Where on the sky and through how much air a frame looked, and how warm it was: header, celestial solution, site."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from astropy import units as u

from .frame import Frame
from .header_keywords import SYNONYMS

#: Degrees Celsius outside of which a thermometer is not one of a night, or its unit another.
_COLD, _WARM = -60.0, 60.0


def airmass_of(frame: Frame) -> float:
    """Airmass by the header; NaN where it is silent.

    Parameters
    ----------
    frame : Frame
        With its header's cards.
    """
    found = _number(frame, "airmass")
    return found if 0.99 <= found <= 40 else math.nan


def outside_temperature(frame: Frame) -> float:
    """Temperature of tube or air in degrees Celsius by the header, not that of the sensor; NaN where it is silent.

    Parameters
    ----------
    frame : Frame
        With its header's cards.
    """
    found = _number(frame, "outside_temperature")
    return found if _COLD < found < _WARM else math.nan


def altitude_of(frame: Frame, site: Any = None) -> float:
    """Altitude in degrees at the middle of the exposure; NaN where nothing tells it.

    Parameters
    ----------
    frame : Frame
        Its header may have the altitude, or where it looked (else its celestial solution) and from where.
    site : EarthLocation, optional
        Goes before the header.
    """
    told = _number(frame, "altitude")
    if site is None and 0 < told <= 90:
        return told
    from astropy.coordinates import AltAz, EarthLocation, SkyCoord

    from ..planning.night_sky import without_downloads

    direction = _direction(frame)
    place = site
    if place is None:
        latitude = _angle(frame, "site_latitude")
        longitude = _angle(frame, "site_longitude")
        if math.isfinite(latitude + longitude):
            place = EarthLocation.from_geodetic(longitude * u.deg, latitude * u.deg)
    if direction is None or place is None or frame.time is None:
        return told if 0 < told <= 90 else math.nan
    with without_downloads():
        exposure = 0.0 if frame.exposure is None else float(frame.exposure.to_value(u.s))
        frame_of = AltAz(obstime=frame.time + exposure / 2 * u.s, location=place)
        altitude = float(SkyCoord(*direction, unit="deg").transform_to(frame_of).alt.deg)
    return altitude if altitude > 0 else math.nan


def _direction(frame: Frame) -> tuple[float, float] | None:
    """Right ascension and declination in degrees, by the solution, else by the cards."""
    if frame.wcs is not None and frame.wcs.has_celestial:
        ny, nx = frame.shape
        lon, lat = frame.wcs.celestial.all_pix2world((nx - 1) / 2, (ny - 1) / 2, 0)
        if np.isfinite(lon + lat):
            return float(lon), float(lat)
    ra, dec = _angle(frame, "right_ascension"), _angle(frame, "declination")
    return (ra, dec) if math.isfinite(ra + dec) and abs(dec) <= 90 else None


def _number(frame: Frame, fact: str) -> float:
    """The first card that gives the fact as a number, in the table's unit."""
    for keyword in SYNONYMS[fact]:
        value = frame.meta.get(keyword.name)
        if isinstance(value, tuple):
            value = value[0]
        try:
            number = math.nan if value is None or isinstance(value, bool) else float(value)
        except (TypeError, ValueError):
            continue
        if math.isfinite(number):
            return number
    return math.nan


def _angle(frame: Frame, fact: str) -> float:
    """The first card that gives the fact as an angle, in degrees: a number in degrees, or a text of three parts."""
    from astropy.coordinates import Angle

    for keyword in SYNONYMS[fact]:
        value = frame.meta.get(keyword.name)
        if isinstance(value, tuple):
            value = value[0]
        if isinstance(value, bool) or value is None:
            continue
        text = isinstance(value, str) and not _is_number(value)
        unit = u.hourangle if text and fact == "right_ascension" else keyword.unit
        try:
            return float(Angle(value if text else float(value), unit).deg)
        except (TypeError, ValueError, u.UnitsError):
            continue
    return math.nan


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True

"""Plans a night: which star when, how long, how far out of focus, and how many pairs decide the claims."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from astropy import units as u
from astropy.coordinates import EarthLocation

from .. import _units
from ..campaign.description import Campaign
from ..campaign.reading import read_campaign
from ..errors import InputError
from .night_plan import NightPlan
from .night_sky import NightSky, read_night, read_site, without_downloads
from .planner import Asked, Planner


def plan_night(
    campaign: Campaign | str | Path,
    *,
    night: str,
    site: EarthLocation | str,
    seeing: u.Quantity | str | None = None,
    efficiency: float = 0.5,
    horizon: u.Quantity | str = 35 * u.deg,
    focuser_step: u.Quantity | str | None = None,
    strehl: float | None = None,
    chance: float = 0.9,
    clock: u.Quantity | str = 0 * u.hour,
) -> NightPlan:
    """Plan one night for a campaign whose frames are still to be taken.

    Parameters
    ----------
    campaign : Campaign or path
        Telescope, camera, filters, claims; entries need no frames. Without entries and claims every
        measurement is planned.
    night : str
        Date of the evening, such as ``"2026-12-11"``.
    site : EarthLocation or str
        Latitude, longitude (east positive) and height: ``"48.1, 11.6, 520 m"``.
    seeing : Quantity, optional
        FWHM in the zenith at 500 nm; the campaign's, else 2.5 arcsec.
    efficiency : float
        Electrons for a photon at the objective: optics, filter and detector together.
    horizon : Quantity
        Least altitude of a star.
    focuser_step : Quantity, optional
        How far one step of the focuser moves the sensor; defocus is then given in steps too.
    strehl : float, optional
        Strehl ratio that the telescope is assumed to have; by default half as far from perfect as the strictest
        claim allows.
    chance : float
        Share of nights that shall decide a claim.
    clock : Quantity
        Local clock time less UTC, for the times that are printed.

    Returns
    -------
    NightPlan
        Steps in order, promises, cautions, and what was assumed.

    Raises
    ------
    InputError
        When the site or the night is none, or the campaign lacks what a plan needs.
    CannotMeasureError
        When the night does not get dark.
    """
    if not isinstance(campaign, Campaign):
        campaign = read_campaign(_units.path_of(campaign, "campaign"), frames=False)
    asked = Asked(
        float(_units.number(efficiency, "", "efficiency")),
        _units.number(horizon, "deg", "horizon"),
        None if focuser_step is None else _units.number(focuser_step, "um", "focuser_step"),
        None if strehl is None else _units.number(strehl, "", "strehl"),
        _units.number(chance, "", "chance"),
    )
    asked.check()
    hours = _units.number(clock, "h", "clock")
    if not -14 <= hours <= 14:
        raise InputError(
            f"clock is {hours:g} h; no clock differs so much from UTC.", argument="clock"
        )
    with without_downloads():
        place = read_site(site)
        sky = NightSky.over(place, read_night(night))
        planner = Planner(campaign, asked, sky, _seeing(campaign, seeing))
        return planner.plan(str(read_night(night)), hours)


def _seeing(campaign: Campaign, given: Any) -> tuple[u.Quantity, str]:
    """The seeing and where it comes from."""
    if given is not None:
        arcsec = _units.number(given, "arcsec", "seeing")
        if not 0.2 <= arcsec <= 20:
            raise InputError(
                f"seeing is {arcsec:g} arcsec; give its FWHM, mostly 1 to 4 arcsec.",
                argument="seeing",
            )
        return arcsec * u.arcsec, "as given"
    if campaign.site.seeing is not None:
        return campaign.site.seeing.to(u.arcsec), "from the campaign"
    return 2.5 * u.arcsec, "taken as usual; give what your site has"

"""The night plan: sky against published examples and closed forms, exposures against drawn frames, promises."""

from __future__ import annotations

import math
import re
import socket
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import TETE, EarthLocation, SkyCoord
from astropy.time import Time

import starassay
from starassay import cli, errors
from starassay.planning import NightPlan, night_sky
from starassay.planning.bright_stars import bright_stars
from starassay.planning.exposures import camera_setting

SITE = "48.1, 11.6, 520 m"
NIGHT = "2026-12-11"
HEAD = """
[campaign]
name = "Autumn check"

[telescope]
name = "Juniper 115"
aperture = "115 mm"
focal_length = "760 mm"

[camera]
pitch = "3.76 um"
gain = "0.8 electron / adu"
saturation = "62000 adu"
read_noise = "1.8 electron"

[filters.narrow]
wavelength = "540 nm"
width = "10 nm"
"""
CLAIMS = """
[[claims]]
name = "Strehl ratio"
quantity = "strehl"
at_least = 0.96
wavelength = "540 nm"

[[claims]]
name = "Strehl ratio in red"
quantity = "strehl"
at_least = 0.9
wavelength = "633 nm"

[[requirements]]
name = "Round stars"
quantity = "star_ellipticity"
at_most = 0.15

[[requirements]]
name = "Even light"
quantity = "corner_illumination"
at_least = 0.6
"""


def campaign(folder: Path, text: str = HEAD + CLAIMS) -> Path:
    """A campaign file without a single frame."""
    (folder / "campaign.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> NightPlan:
    """One plan, made while nothing may talk to the network."""
    with pytest.MonkeyPatch.context() as patch:

        def refuse(*_: object) -> None:
            raise AssertionError("the plan wanted the network")

        patch.setattr(socket.socket, "connect", refuse)
        folder = campaign(tmp_path_factory.mktemp("night"))
        return starassay.plan_night(
            folder, night=NIGHT, site=SITE, seeing="2 arcsec", focuser_step="4 um", clock="1 h"
        )


def sky_at(site: EarthLocation, when: Time) -> night_sky.NightSky:
    """A sky of one moment."""
    one = np.zeros(1)
    moon = SkyCoord([0] * u.deg, [0] * u.deg)
    return night_sky.NightSky(site, Time([when.isot]), one, one - 90, moon, 0.5)


# ---------------------------------------------------------------- the sky


def test_altitude_is_that_of_a_worked_example() -> None:
    # Meeus, Astronomical Algorithms, 2nd ed., example 13.b (from memory): Venus on 10 April 1987, 19:21:00 UT, at
    # the U.S. Naval Observatory, apparent place 23h09m16.641s, -6d43'11.61": altitude 15.1249 degrees.
    site = EarthLocation.from_geodetic(-(77 + 3 / 60 + 56 / 3600), 38 + 55 / 60 + 17 / 3600, 0)
    when = Time("1987-04-10T19:21:00", scale="utc")
    frame = TETE(obstime=when, location=site)
    venus = SkyCoord("23h09m16.641s", "-6d43m11.61s", frame=frame)
    with night_sky.without_downloads():
        found = sky_at(site, when).altitudes(venus, when)
    # UT1 differs from UTC by up to half a second, 0.002 degrees.
    assert float(found) == pytest.approx(15.1249, abs=0.004)


def test_lit_share_of_the_moon_is_that_of_a_worked_example() -> None:
    # Meeus, example 48.a (from memory): 12 April 1992, 0 h TD, k = 0.6786.
    with night_sky.without_downloads():
        found = night_sky.lit_share(Time("1992-04-12T00:00:00", scale="tt"))
    assert found == pytest.approx(0.6786, abs=0.0005)


def sidereal_deg(when: Time, longitude: float) -> float:
    """Local mean sidereal time, the formula of the IAU of 1982 (as in Meeus, chapter 12, from memory)."""
    return 280.46061837 + 360.98564736629 * (when.jd - 2451545.0) + longitude


def altitude_deg(ra: float, dec: float, when: Time) -> float:
    """Closed form: sin h = sin phi sin delta + cos phi cos delta cos H."""
    hour = math.radians(sidereal_deg(when, 11.6) - ra)
    phi, delta = math.radians(48.1), math.radians(dec)
    up = math.sin(phi) * math.sin(delta) + math.cos(phi) * math.cos(delta) * math.cos(hour)
    return math.degrees(math.asin(up))


def test_twilight_is_that_of_the_almanacs_low_precision_sun(plan: NightPlan) -> None:
    # Astronomical Almanac, page C5 (from memory): the Sun to 0.01 degrees.
    for text in plan.dark:
        when = Time(text)
        n = when.jd - 2451545.0
        g = math.radians(357.528 + 0.9856003 * n)
        longitude = math.radians(
            280.460 + 0.9856474 * n + 1.915 * math.sin(g) + 0.020 * math.sin(2 * g)
        )
        tilt = math.radians(23.439 - 4e-7 * n)
        ra = math.degrees(math.atan2(math.cos(tilt) * math.sin(longitude), math.cos(longitude)))
        dec = math.degrees(math.asin(math.sin(tilt) * math.sin(longitude)))
        # Times are cut to the minute, in which the Sun moves by 0.2 degrees.
        assert altitude_deg(ra, dec, when) == pytest.approx(-18.0, abs=0.25)


def test_stars_stand_where_spherical_trigonometry_has_them(plan: NightPlan) -> None:
    steps = [s for s in plan.steps if s.right_ascension and np.isfinite(s.magnitude)]
    assert steps
    for step in steps:
        place = SkyCoord(step.right_ascension, step.declination, unit=(u.hour, u.deg))
        begin = Time(step.begin)
        inside = [
            altitude_deg(place.ra.deg, place.dec.deg, begin + share * step.minutes * u.min)
            for share in (0.2, 0.8)
        ]
        # J2000 against the date: a third of a degree by precession.
        assert min(inside) - 0.5 < step.altitude.value < max(inside) + 0.5
        assert step.altitude.value >= 35


def test_night_without_darkness_is_said(tmp_path: Path) -> None:
    with pytest.raises(errors.CannotMeasureError, match="does not go 6 degrees below"):
        starassay.plan_night(campaign(tmp_path), night="2026-06-21", site="69.6 N, 18.9 E, 0 m")


def test_summer_night_that_never_gets_dark_has_its_twilight() -> None:
    with night_sky.without_downloads():
        sky = night_sky.NightSky.over(night_sky.read_site("55, 12, 0"), date(2026, 6, 21))
        depth, begin, end = sky.darkest()
    assert depth == -6.0 and begin < end


# ---------------------------------------------------------------- exposures


def test_ring_of_the_planned_frames_is_unclipped_and_as_wide_as_said(plan: NightPlan) -> None:
    step = next(s for s in plan.steps if s.defocus.value > 0)
    # |dz| / N, by hand.
    across = step.defocus.to_value(u.um) / (760 / 115) / 3.76
    assert step.blur.value == pytest.approx(across, rel=1e-6)
    assert step.focuser_steps == pytest.approx(step.defocus.to_value(u.um) / 4)
    scope = starassay.SimulatedTelescope(
        "planned", 115 * u.mm, 760 * u.mm, wavefront={6: -6 * u.nm, 8: 6 * u.nm, 11: 6 * u.nm}
    )
    camera = starassay.SimulatedCamera(
        read_noise=1.8 * u.electron, hot_pixels=0, unevenness=0, efficiency={400: 1, 700: 1}
    )
    inside, outside, _ = starassay.draw_defocused_pair(
        scope,
        camera=camera,
        sky=starassay.SimulatedSky(seeing=2 * u.arcsec),
        defocus=step.defocus,
        electrons=step.electrons.value,
        exposure=step.exposure,
        size=128,
    )
    for frame in (inside, outside):
        electrons = (frame.data.astype(float) - 500) * 0.8
        # Half of full well is the level; the exposure was cut to a camera's setting and to the light that is wanted.
        assert electrons.max() < 0.5 * 62_000 * 0.8
        y, x = np.indices(electrons.shape)
        light = np.clip(electrons - np.median(electrons[:8]), 0, None)
        cx, cy = (np.average(v, weights=light) for v in (x, y))
        spread = np.average((x - cx) ** 2 + (y - cy) ** 2, weights=light)
        # A uniform disc has a mean squared radius of half its radius squared; seeing adds its own, wings and all.
        assert 2 * math.sqrt(2 * spread) == pytest.approx(across, rel=0.12)
    assert 1e7 <= step.electrons.value < 3e7
    assert 20 <= step.exposure.value <= 60 <= 1.5 * step.longest.value


def test_settings_are_never_longer_than_allowed() -> None:
    assert [camera_setting(s) for s in (59.9, 60.0, 22.6, 1e-9, 1e9)] == [50, 60, 20, 0.001, 300]
    assert [camera_setting(*s) for s in ((49, 60), (49, 49.5), (20, 200))] == [50, 40, 20]


# ---------------------------------------------------------------- the plan


def test_steps_follow_each_other_and_serve_what_was_asked(plan: NightPlan) -> None:
    assert [s.area for s in plan.steps] == ["relative_illumination", "wavefront", "stars"]
    begins = [Time(s.begin) for s in plan.steps]
    assert begins == sorted(begins)
    doubles = {s.full_name for s in bright_stars() if s.close_double}
    assert not doubles & {s.target for s in plan.steps}
    assert len(plan.table) == 3 and plan.table["altitude"].unit == u.deg


def test_promise_is_never_more_than_what_was_computed(plan: NightPlan) -> None:
    by_claim = {p.claim: p for p in plan.promises}
    strehl = by_claim["Strehl ratio"]
    assert strehl.needed >= 1
    assert 0.9 <= strehl.reached <= strehl.right[strehl.needed - 1]
    # Half as far from perfect as the claim allows; the exponential law stands in for the exact ratio.
    assumed = re.fullmatch(r"\d pairs? of .*, if the true value is (0\.\d+)\.", strehl.sentence)
    assert assumed is not None and float(assumed[1]) == pytest.approx(0.98, abs=0.001)
    assert all(w <= 0.05 for w in strehl.wrong)
    red = by_claim["Strehl ratio in red"]
    assert red.needed == 0 and "540 nm decide nothing about it" in red.sentence
    assert "nothing is promised" in by_claim["Round stars"].sentence


def test_text_and_page_say_everything(plan: NightPlan, tmp_path: Path) -> None:
    text = "\n".join(plan.summary())
    page = tmp_path / "plan.html"
    plan.write_page(page)
    html = page.read_text(encoding="utf-8")
    for said in ("Never point the telescope", "Dew.", "330 steps", "UTC+1 h", "Assumed"):
        assert said in text or said in html
    for step in plan.steps:
        assert step.target in text and step.target in html
    assert "http" not in html and "nan" not in text.lower().split()
    assert "alt=" in html


def test_command_prints_the_plan_and_writes_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = campaign(tmp_path, HEAD + "[[stars]]\nframes = 'not-taken-yet-*.fits'\n")
    written = tmp_path / "plan.json"
    done = cli.main(["plan", str(folder), "--night", NIGHT, "--site", SITE, "--json", str(written)])
    out = capsys.readouterr().out
    assert done == 0 and "Milky Way in" in out and written.exists()


@pytest.mark.parametrize(
    ("what", "text"),
    [
        ({"site": "the garden"}, "write latitude, longitude"),
        ({"site": "98, 11"}, "write latitude, longitude"),
        ({"night": "tomorrow"}, "date of the evening"),
        ({"seeing": "90 arcsec"}, "mostly 1 to 4 arcsec"),
        ({"efficiency": 3.0}, "between 0.01 and 1"),
        ({"clock": "30 h"}, "no clock differs"),
    ],
)
def test_nonsense_is_refused(tmp_path: Path, what: dict[str, object], text: str) -> None:
    given = {"night": NIGHT, "site": SITE, **what}
    with pytest.raises(errors.InputError, match=text):
        starassay.plan_night(campaign(tmp_path), **given)  # type: ignore[arg-type]


def test_pitch_is_asked_for(tmp_path: Path) -> None:
    folder = campaign(tmp_path, HEAD.replace('pitch = "3.76 um"\n', ""))
    with pytest.raises(errors.InputError, match="pixel pitch"):
        starassay.plan_night(folder, night=NIGHT, site=SITE)


def test_list_of_stars_holds_the_facts_of_the_catalogue() -> None:
    stars = {s.hr: s for s in bright_stars()}
    vega = stars[7001]
    # Vega, A0V: 18h36m56.3s +38d47'01", V = 0.03 (Yale Bright Star Catalogue, 5th edition).
    assert (vega.name, vega.spectral_class, vega.v) == ("Vega", "A", 0.03)
    assert vega.ra == pytest.approx(15 * (18 + 36 / 60 + 56.3 / 3600), abs=1e-3)
    assert vega.dec == pytest.approx(38 + 47 / 60 + 1 / 3600, abs=1e-3)
    # Procyon F5, Capella G, Arcturus K, Betelgeuse M, Regulus B.
    assert [stars[n].spectral_class for n in (2943, 1708, 5340, 2061, 3982)] == list("FGKMB")
    assert stars[2891].close_double and stars[5506].close_double and not vega.close_double

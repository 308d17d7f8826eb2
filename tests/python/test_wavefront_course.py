"""The wavefront through a night: lines by SciPy, drawn nights, and a drawn fit of three pairs with times."""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy import units as u
from astropy.time import Time
from scipy import stats

import starassay
from starassay import _gateway

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "accuracy"))

from pairs import Pair, PupilShape, draw_pair  # noqa: E402
from test_wavefront import EXACT, UNEVEN, frame, uneven_setup  # noqa: E402

SCOPE = starassay.Telescope("115 mm", "760 mm", 0.3, name="Juniper 115")
HOW: dict[str, Any] = {"wavelength": 540 * u.nm, "most_noll": 22}

#: Names of the families with the places of Noll 6, 5; 8, 7; 11; 10, 9 among Noll 5 to 11.
FAMILIES = {
    "astigmatism": (1, 0),
    "coma": (3, 2),
    "spherical aberration": (6,),
    "trefoil": (5, 4),
}


def follow(hours: Any, low: np.ndarray, own: float = 1.0, air: float = 0.5, **more: Any) -> Any:
    """The engine's answer for Noll 5 to 11 of each pair, nm."""
    return _gateway.call(
        "wavefront.course",
        {
            "time_h": [float(h) for h in hours],
            "coefficient_nm": [float(c) for c in low.ravel()],
            "variance_nm2": [own**2] * 7,
            "air_nm2": [air**2] * 7,
            **more,
        },
    )


def test_slopes_and_bars_are_scipys() -> None:
    rng = np.random.default_rng(1)
    hours = np.array([0.0, 0.3, 0.9, 1.4, 2.1])
    low = rng.normal(0, 6, (5, 7))  # beyond the bars: the scatter makes them
    low[:, 6] += 40 * hours
    said = follow(hours, low)
    for family, (name, at) in zip(said["families"], FAMILIES.items()):
        lines = [stats.linregress(hours, low[:, k]) for k in at]
        assert family["name"] == name
        assert family["change_x"]["value"] == pytest.approx(lines[0].slope, rel=1e-9)
        seen = np.mean([line.stderr**2 for line in lines])
        if seen * np.sum((hours - hours.mean()) ** 2) > 1.25:
            assert family["change"]["uncertainty"] == pytest.approx(np.sqrt(seen), rel=1e-9)
            share = np.mean([line.slope**2 for line in lines]) / seen
            chance = stats.f.sf(share, len(at), 3 * len(at))
            assert family["probability"] == pytest.approx(chance, rel=1e-6)
            if len(at) == 1:
                assert chance == pytest.approx(lines[0].pvalue, rel=1e-6)
        assert family["told"] == (family["probability"] < 0.002)
    assert said["families"][2]["told"] and said["changing"]
    assert said["families"][2]["change"]["value"] > 20


def test_parts_that_are_known_unequally_have_bars_of_their_own() -> None:
    hours = np.array([0.0, 0.4, 1.1, 2.0])
    own = [
        1.0,
        1.0,
        9.0,
        1.0,
        1.0,
        1.0,
        1.0,
    ]  # variances of Noll 5 to 11: coma along y three times as unsure
    low = np.random.default_rng(4).normal(0, 0.5, (4, 7))
    coma = follow(hours, low, variance_nm2=own)["families"][1]
    length = np.sum((hours - hours.mean()) ** 2)
    assert coma["change_x"]["uncertainty"] == pytest.approx(np.sqrt(1.25 / length), rel=1e-9)
    assert coma["change_y"]["uncertainty"] == pytest.approx(np.sqrt(9.25 / length), rel=1e-9)


def test_a_course_that_bends_is_no_scatter() -> None:
    """A cooling mirror: the straight line's slope is as sure as the pairs are."""
    hours = np.linspace(0, 3, 9)
    low = np.random.default_rng(5).normal(0, 1.1, (9, 7))
    low[:, 6] += 60 * (1 - np.exp(-hours / 1.5))
    said = follow(hours, low)["families"][2]
    line = stats.linregress(hours, low[:, 6])
    length = np.sum((hours - hours.mean()) ** 2)
    rest = low[:, 6] - np.polyval(np.polyfit(hours, low[:, 6], 2), hours)
    sure = np.sqrt(max(1.25, np.sum(rest**2) / 6) / length)
    assert said["change"]["value"] == pytest.approx(line.slope, rel=1e-9)
    assert (
        said["change"]["uncertainty"] == pytest.approx(sure, rel=0.2) and line.stderr > 1.8 * sure
    )


def test_few_pairs_or_a_short_time_are_not_followed() -> None:
    assert follow([0, 1], np.zeros((2, 7))) is None
    assert follow([0, 0.1, 0.2], np.zeros((3, 7))) is None
    with pytest.raises(starassay.InputError, match="seven coefficients"):
        follow([0, 1, 2], np.zeros((2, 7)))


def test_steady_nights_are_steady_and_drifting_ones_drift() -> None:
    """Shares over drawn nights; binomial limits that hold with more than 99.9 %."""
    rng = np.random.default_rng(2)
    nights, alarms, blown, found, plumes = 400, 0, 0, 0, 0
    for _ in range(nights):
        n = int(rng.integers(3, 9))
        hours = np.sort(rng.uniform(0, 2.5, n))
        hours[-1] = hours[0] + max(hours[-1] - hours[0], 0.5)
        low = rng.normal(0, np.hypot(1, 0.5), (n, 7))
        said = follow(hours, low)
        alarms += said["changing"]
        blown += said["unsteady"]
        drifting = low.copy()
        spread = np.sqrt(np.sum((hours - hours.mean()) ** 2))
        drifting[:, 6] += 8 * np.hypot(1, 0.5) / spread * hours  # eight of its bars
        found += follow(hours, drifting)["families"][2]["told"]
        rough = low + np.r_[np.full(4, 6.0), 0, 0, 0] * rng.normal(0, 1, (n, 7))
        plumes += follow(hours, rough)["unsteady"]
    # Four families at 0.2 % and the scatter at 0.2 %, which its slower air makes rarer.
    assert alarms <= stats.binom.ppf(0.999, nights, 0.008) and blown <= 5
    # Where three pairs happen to scatter they tell less, as they should.
    assert found > 0.75 * nights and plumes > 0.9 * nights


def test_a_night_that_calms_down() -> None:
    rng = np.random.default_rng(4)
    hours = np.linspace(0, 3, 10)
    low = rng.normal(0, 1, (10, 7))
    low[:, :4] *= np.r_[np.full(5, 12.0), np.full(5, 2.0)][:, None]
    said = follow(hours, low)
    assert said["unsteady"] and said["settling"] and said["late_over_early"] < 0.5
    assert not said["changing"]


def test_focus_by_the_focuser() -> None:
    hours = np.array([0.0, 1.0, 2.0, 3.0])
    said = follow(
        hours,
        np.zeros((4, 7)),
        focus_um=[100.0, 80.5, 59.0, 40.5],
        focus_uncertainty_um=2.0,
    )
    line = stats.linregress(hours, [100.0, 80.5, 59.0, 40.5])
    assert said["focus_drift"]["value"] == pytest.approx(line.slope)
    assert said["focus_drift"]["uncertainty"] == pytest.approx(
        2 / np.sqrt(5)
    )  # own bars are larger
    assert said["focus_moves"]


def small_pair(seed: int, spherical: float) -> Pair:
    """Some 4 waves to either side: few pixels, so that several fits take seconds."""
    setup = uneven_setup(
        shape=PupilShape(obstruction=0.3),
        coefficients_nm={**UNEVEN, 11: spherical},
        inside_um=-850.0,
        outside_um=800.0,
        size_px=72,
        flux_e=1e7,
    )
    return draw_pair(setup, np.random.default_rng(seed))


@pytest.fixture(scope="module")
def cooling() -> starassay.WavefrontFit:
    """Three pairs of a telescope whose spherical aberration goes up by 12 nm an hour, with times and focuser in the headers."""
    inside, outside = [], []
    for k, hours in enumerate((0.0, 0.8, 2.0)):
        pair = small_pair(60 + k, spherical=6.0 + 12.0 * hours)
        sides = ((pair.inside, inside, -850.0), (pair.outside, outside, 800.0))
        for image, side, away in sides:
            taken = frame(image, pair, f"{k} {away:.0f} um")
            side.append(
                dataclasses.replace(
                    taken,
                    time=Time(f"2026-03-14T{20 + int(hours):02d}:{round(60 * (hours % 1)):02d}:00"),
                    focus_position=(5000 + away + 15.0 * hours) * u.um,
                )
            )
    return starassay.fit_wavefront(inside, outside, SCOPE, **{**HOW, **EXACT})


def test_a_cooling_mirror_is_told_and_reaches_the_claims(cooling: Any) -> None:
    course = cooling.course
    change = {f.name: f for f in course.families}["spherical aberration"]
    assert change.told and [f.name for f in course.families if f.told] == ["spherical aberration"]
    value, bar = change.change.value.to_value("nm / h"), change.change.uncertainty.value
    assert abs(value - 12) < 4 * bar and bar < 1.5
    assert course.time.to_value(u.hour) == pytest.approx([0, 0.8, 2.0], abs=1e-6)
    assert course.focus_moves and course.focus_drift.value.value == pytest.approx(15, abs=4)
    said = next(n for n in cooling.notes if n.code == "wavefront.changing")
    assert said.level == "doubt" and "judge it by the last pairs" in said.text
    claim = starassay.Claim("RMS", at_most=5 * u.nm)
    decided = starassay.judge(claim, "wavefront_rms", cooling.quantities)
    assert "decided" in str(decided.verdict) and not cooling.decided
    axes = cooling.plot_course()
    assert "spherical aberration" in axes.get_title() and "h)" in axes.get_xlabel()
    assert "spherical aberration changed by" in " ".join(cooling.sentences())


def test_without_times_nothing_is_followed() -> None:
    pair = small_pair(60, 6.0)
    images = frame(pair.inside, pair, "inside"), frame(pair.outside, pair, "outside")
    found = starassay.fit_wavefront(*images, SCOPE, **HOW)
    assert found.course is None
    with pytest.raises(starassay.CannotMeasureError, match="three pairs or more"):
        found.plot_course()

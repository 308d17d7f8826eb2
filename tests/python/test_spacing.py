"""Spacing: drawn sags and whole drawn runs with truth, NumPy's and SciPy's own fits beside it, and what must be refused."""

from __future__ import annotations

import pickle
import sys
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.io import fits
from scipy.optimize import brentq

import starassay
from starassay import CannotMeasureError, InputError, measure_spacing
from starassay.cli import main

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "tests" / "accuracy"), str(TOP / "tests" / "python")]

import _correctors  # noqa: E402
import spacing as accuracy  # noqa: E402
import spacing_one  # noqa: E402
from _result_checks import focus_run  # noqa: E402

PLACES = [-160, -80, 0, 80, 160]


@pytest.fixture(scope="module")
def surface() -> starassay.FocusSurface:
    return starassay.measure_focus_surface(focus_run(), focal_ratio=6, positions=PLACES * u.um)


def measured(
    surface: starassay.FocusSurface,
    distances: list[float],
    sags: list[float],
    bars: list[float],
    **how: object,
) -> starassay.Spacing:
    runs = [accuracy._with_sag(surface, s, b) for s, b in zip(sags, bars)]
    return measure_spacing(runs, distances=distances * u.mm, focal_ratio=6, **how)  # type: ignore[arg-type]


def test_drawn_sags_hold_their_truth(surface: starassay.FocusSurface) -> None:
    # Seeds that belong neither to the tuning nor to the judging draws of docs/accuracy.md.
    pulls = []
    for seed in range(90_000, 90_070):
        found, best, kind = accuracy.draw(seed, surface)
        if found.decided and kind != "one distance wrong":
            pulls.append(
                (found.best_spacing.value.value - best) / found.best_spacing.uncertainty.value
            )
        elif not found.decided and np.isfinite(found.best_spacing.value):
            away = best - found.present_distance.value
            assert np.sign(found.spacing_change.value.value) == np.sign(away)
    assert len(pulls) > 35
    # Binomial: 68 % of about 45 within one, four standard deviations are 28 %; seven frames' bars are those of Student.
    assert 0.40 < np.mean(np.abs(pulls) < 1) < 0.96
    assert np.max(np.abs(pulls)) < 6


def test_numpy_and_scipy_find_the_same(surface: starassay.FocusSurface) -> None:
    """numpy.polyfit with its covariance, and the interval where the fit is one standard deviation from zero (Fieller)."""
    distances, sags, bars = (
        [53.0, 54.5, 55.0, 57.0],
        [-62.0, -18.0, -6.0, 49.0],
        [3.0, 2.0, 4.0, 3.0],
    )
    found = measured(surface, distances, sags, bars, distance_uncertainty="0 mm")
    middle = np.mean(distances)
    x = np.array(distances) - middle
    line, covariance = np.polyfit(x, sags, 1, w=1 / np.array(bars), cov="unscaled")
    chi = np.sum(((np.polyval(line, x) - sags) / bars) ** 2) / 2
    covariance *= max(1, chi)
    root = middle - line[1] / line[0]
    assert found.best_spacing.value.value == pytest.approx(root, abs=1e-9)
    assert found.sag_slope.value.value == pytest.approx(line[0])
    assert found.sag_slope.uncertainty.value == pytest.approx(covariance[0, 0] ** 0.5)
    assert found.reduced_chi_squared == pytest.approx(chi)

    def off(d: float) -> float:
        v = np.array([d - middle, 1.0])
        return abs(v @ line) - np.sqrt(v @ covariance @ v)

    # The engine's bar is Fieller's to second order of the slope's relative uncertainty.
    wide = (brentq(off, root, root + 1) - brentq(off, root - 1, root)) / 2
    assert found.best_spacing.uncertainty.value == pytest.approx(wide, rel=0.01)
    parabola, cov2 = np.polyfit(x, sags, 2, w=1 / np.array(bars), cov="unscaled")
    rest = np.sum(((np.polyval(parabola, x) - sags) / bars) ** 2)
    assert found.sag_bend.value.value == pytest.approx(parabola[0])
    assert found.sag_bend.uncertainty.value == pytest.approx((cov2[0, 0] * max(1, rest)) ** 0.5)


def test_a_whole_run_holds_its_truth() -> None:
    found, best, _ = accuracy.draw_pixels(90_001)
    assert found.decided
    assert abs(found.best_spacing.value.value - best) < 0.2
    assert abs(found.best_spacing.value.value - best) < 4 * found.best_spacing.uncertainty.value


def test_the_result_tells_itself(surface: starassay.FocusSurface) -> None:
    found = measured(surface, [54, 55, 56], [-45, -20, 5], [2, 2, 2], present_distance="54 mm")
    said = " ".join(found.sentences())
    assert "add 1.8" in said and "between reducer or flattener and sensor" in said
    assert pickle.loads(pickle.dumps(found)).best_spacing == found.best_spacing
    axes = found.plot()
    assert axes.get_xlabel().endswith("(mm)") and axes.get_ylabel().endswith("(um)")
    assert len(found.table) == 3 and len(found.curve_table) == len(found.curve_distance)
    assert any("refocus" in note.text for note in found.notes)
    away = measured(surface, [54, 55, 56], [-45, -20, 5], [2, 2, 2], present_distance="57 mm")
    assert "take away 1.2" in away.sentences()[0]
    far = measured(surface, [54, 55, 56], [-90, -70, -50], [2, 2, 2])
    assert "not decided" in far.sentences()[0] and "larger" in far.sentences()[0]
    assert far.doubts and far.plot().get_title() == "Spacing: not decided"
    flat = measured(surface, [54, 55, 56], [11, 10, 12], [3, 3, 3])
    assert flat.quantities == () and "not decided" in flat.sentences()[0]


def test_a_doubt_of_a_run_goes_with_it(surface: starassay.FocusSurface) -> None:
    note = starassay.results.say("focus-surface.one-sided", "The best focus lies outside.")
    runs = [accuracy._with_sag(surface, s, 2.0) for s in (-40.0, -20.0, 5.0)]
    object.__setattr__(runs[1], "notes", (note,))
    found = measure_spacing(runs, distances=[54, 55, 56] * u.mm, focal_ratio=6)
    assert any(text.startswith("At 55 mm") for text in found.doubts)
    assert all(q.doubts for q in found.quantities)


def test_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two runs of a flat field: nothing changes with the distance, which has to be said."""
    paths = []
    for name in "ab":
        for k, frame in enumerate(focus_run()):
            paths.append(tmp_path / f"{name}-{k}.fits")
            hdu = fits.PrimaryHDU(np.asarray(frame.data).astype(np.uint16))
            hdu.header.update({"XPIXSZ": 7.0, "GAIN": 1.0})
            hdu.writeto(paths[-1])
    common = [
        "measure",
        "spacing",
        *map(str, paths),
        "--aperture=115mm",
        "--focal-length=690mm",
    ]
    places = ["--positions", *[f"{p}um" for p in PLACES * 2]]
    assert main([*common, "--distances", *["54mm"] * 5, *["56mm"] * 5, *places]) == 0
    assert "not decided" in capsys.readouterr().out
    assert main([*common, "--distances", *["54mm"] * 10, *places]) == 0
    assert "not decided" in capsys.readouterr().out
    assert main([*common, "--distances", *["54mm"] * 9, "56mm", *places]) != 0
    assert "five or more frames is needed at each distance" in capsys.readouterr().err


def test_the_tracing_keeps_third_order_theory() -> None:
    """A thin lens that is the stop: split -h^2 / f whatever its bending, mean -(h^2 / 2) (2 / f + 1 / (n f)) (Welford, from memory)."""
    n, f, h = 1.5, 1000.0, 5.0
    for bending in (0.0, 0.4, 1.0):
        power = 1 / f / (n - 1)
        lens = [(0.0, bending * power, n), (0.01, (bending - 1) * power, 1.0)]
        sag, split, focal = _correctors.field(lens, h)
        assert split == pytest.approx(-1000 * h**2 / f, rel=2e-3)
        assert sag == pytest.approx(-500 * h**2 * (2 + 1 / n) / f, rel=2e-3)
        assert focal == pytest.approx(f, rel=1e-4)


def test_one_distance_says_the_right_direction(surface: starassay.FocusSurface) -> None:
    # Telescopes and seeds that belong neither to the tuning nor to the judging draws of docs/accuracy.md.
    made = [_correctors.Telescope(k, 15.0) for k in (90_001, 90_003)]
    assert all(telescope.good for telescope in made)
    said = wrong = 0
    pulls = []
    for seed in range(90_000, 90_070):
        found, truth, kind = spacing_one.draw(seed, surface, made)
        direction = {"too-near": 1, "too-far": -1, "not-decided": 0}[found.direction]
        assert kind != "nothing known" or direction == 0
        said += direction != 0
        wrong += direction == -np.sign(truth)
        if np.isfinite(found.spacing_change.value):
            error = found.spacing_change.value.value - truth
            pulls.append(abs(error) / found.spacing_change.uncertainty.value)
    assert said > 12
    # At most 5 % of 70 may be wrong; binomial, 8 have a chance of 2 %. 68 % of fifty within one, four standard deviations: 27 %.
    assert wrong < 8
    assert 0.41 < np.mean(np.array(pulls) < 1) < 0.95


def test_one_distance_tells_itself(surface: starassay.FocusSurface) -> None:
    def one(sag: float, split: float = np.nan, **how: object) -> starassay.Spacing:
        run = spacing_one._with(surface, sag, 3.0, split, 8.0)
        return measure_spacing([run], distances=[55] * u.mm, focal_ratio=6, **how)  # type: ignore[arg-type]

    nothing = one(-40.0)
    assert nothing.title == "Spacing from one distance" and nothing.direction == "not-decided"
    assert "not decided from 55.00 mm alone" in nothing.sentences()[0]
    assert any("one more focus run" in text for text in nothing.doubts) and not nothing.remedies()
    assert nothing.plot().get_title() == "Spacing: not decided"
    sign = one(-40.0, too_near="inward")
    assert sign.sentences()[0] == "Too near: the distance has to become larger."
    assert sign.plot().get_title() == "Spacing: too near" and not sign.quantities
    # The slope of earlier runs with the same camera: 25 um / mm, as the closed form of three even distances has it.
    earlier = measured(surface, [54, 55, 56], [-45, -20, 5], [2, 2, 2])
    number = one(-40.0, -35.0, known_slope=earlier)
    assert number.sag_slope.value.value == pytest.approx(25)
    assert number.spacing_change.value.value == pytest.approx(1.6)
    said = " ".join(number.sentences())
    assert said.startswith("Too near") and "add 1.6" in said and "shapes-agree" in str(number.notes)
    (remedy,) = number.remedies()
    assert "Add 1.6" in remedy.text
    assert pickle.loads(pickle.dumps(number)).direction == "too-near"
    against = one(-40.0, 35.0, known_slope=earlier)
    assert against.direction == "not-decided" and not against.decided and against.doubts


def test_a_doubtful_run_says_no_direction(surface: starassay.FocusSurface) -> None:
    note = starassay.results.say("focus-surface.one-sided", "The best focus lies outside.")
    run = spacing_one._with(surface, -40.0, 3.0, np.nan, np.nan)
    object.__setattr__(run, "notes", (note,))
    found = measure_spacing([run], distances=[55] * u.mm, focal_ratio=6, known_slope="25 um/mm")
    assert found.direction == "not-decided" and not found.decided


def test_what_is_lacking_is_said(surface: starassay.FocusSurface) -> None:
    with pytest.raises(InputError, match="need 2 distances"):
        measure_spacing([surface, surface], distances=[54] * u.mm, focal_ratio=6)
    with pytest.raises(InputError, match="two distances"):
        measure_spacing([surface, surface], distances=[54, 54] * u.mm, focal_ratio=6)
    frame = focus_run()[2]
    with pytest.raises(CannotMeasureError, match="not on which side"):
        measure_spacing([frame], distances=[54] * u.mm, focal_ratio=6, known_slope="9 um/mm")
    with pytest.raises(InputError, match="too_near"):
        measure_spacing([surface], distances=[54] * u.mm, focal_ratio=6, too_near="left")
    with pytest.raises(InputError, match="known_slope"):
        measure_spacing([surface], distances=[54] * u.mm, focal_ratio=6, known_slope="9 nm")
    with pytest.raises(InputError, match="list of focus runs"):
        measure_spacing(surface, distances=[54] * u.mm, focal_ratio=6)

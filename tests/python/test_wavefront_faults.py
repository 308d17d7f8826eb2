"""Faults of a figure that no short series of modes expresses must not be missing from its numbers.

Truth comes from `tests/accuracy/pairs`, which shares no code with the engine.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "accuracy"))

from _pair_fits import run_fit  # noqa: E402
from pairs import Edge, Pair, PairSetup, Zone, draw_pair  # noqa: E402
from pairs.draw import flatten  # noqa: E402
from pairs.tuning import camera_for  # noqa: E402
from verdicts import RISK_FACTOR, Verdicts  # noqa: E402


def telescope(**changes: Any) -> PairSetup:
    """A 150 mm f/7 with 8 waves of defocus, on small discs."""
    defocus = 8.0 * 0.54 * 8.0 * 49.0
    facts: dict[str, Any] = {
        "aperture_mm": 150.0,
        "focal_length_mm": 1050.0,
        "coefficients_nm": {5: 8.0, 8: 6.0, 11: -10.0},
        "wavelengths_nm": (540.0,),
        "pixel_um": defocus / 7.0 / 44.0,
        "size_px": 88,
        "inside_um": -defocus,
        "outside_um": 1.05 * defocus,
        "flux_e": 2e7,
        "seeing_arcsec": 1.8,
        "camera": camera_for(2e7, 44.0, 0.0, 2.0),
    }
    return PairSetup(**{**facts, **changes})


def measured(setup: PairSetup, seed: int = 1) -> tuple[Pair, dict[str, Any]]:
    """Draw and measure, as many modes as the light carries."""
    pair = draw_pair(setup, np.random.default_rng(seed))
    return pair, run_fit(pair, most_noll=136)


@pytest.fixture(scope="module")
def edge() -> tuple[Pair, dict[str, Any]]:
    """160 nm beyond 0.93 of the radius: with modes to Noll 45 the Strehl ratio came out as 0.987 +- 0.015."""
    return measured(telescope(edge=Edge(160.0, 0.93)))


def test_a_turned_edge_is_in_strehl_ratio_and_rms(edge: tuple[Pair, dict[str, Any]]) -> None:
    pair, found = edge
    truth = pair.truth
    assert found["decided"]
    assert found["chi_squared"] == pytest.approx(1.0, abs=0.05)
    assert found["strehl"]["value"] == pytest.approx(truth.strehl_best_focus, abs=0.004)
    assert found["rms"]["value"] == pytest.approx(truth.rms_best_focus_nm, abs=0.6)


def test_a_claim_just_above_the_truth_is_not_called_met(edge: tuple[Pair, dict[str, Any]]) -> None:
    """2 % of Strehl ratio above, 5 % of RMS below what is true."""
    pair, found = edge
    strehl, rms = found["strehl"], found["rms"]
    assert (
        strehl["value"] - RISK_FACTOR * strehl["uncertainty"] < pair.truth.strehl_best_focus + 0.02
    )
    assert rms["value"] + RISK_FACTOR * rms["uncertainty"] > 0.95 * pair.truth.rms_best_focus_nm


def test_the_map_shows_the_edge(edge: tuple[Pair, dict[str, Any]]) -> None:
    """The mean over the outermost 2 % against that over 0.85 to 0.9, in the truth and in the map."""
    pair, _ = edge
    found = run_fit(pair, most_noll=136, map_size=256)
    truth = pair.truth
    rho = np.hypot(truth.x, truth.y)
    light = truth.transmission

    def step(path: np.ndarray) -> float:
        flat = flatten(np.nan_to_num(path), light, truth.x, truth.y, terms=4)
        rim, before = (rho > 0.98) & (rho < 0.995), (rho > 0.85) & (rho < 0.9)
        return float(np.mean(flat[rim]) - np.mean(flat[before]))

    assert step(truth.map_nm) > 60.0
    seen = np.asarray(found["map_nm"], dtype=float)
    assert step(seen) == pytest.approx(step(truth.map_nm), rel=0.05)


def test_a_zone_is_in_strehl_ratio_and_rms() -> None:
    """30 nm at 0.7 of the radius: with modes to Noll 45 chi squared was 10.6 and the RMS 18.1 for 19.8."""
    pair, found = measured(telescope(zone=Zone(30.0, 0.7, 0.07)))
    assert found["chi_squared"] == pytest.approx(1.0, abs=0.05)
    assert found["strehl"]["value"] == pytest.approx(pair.truth.strehl_best_focus, abs=0.003)
    assert found["rms"]["value"] == pytest.approx(pair.truth.rms_best_focus_nm, abs=0.5)


def test_a_strong_edge_far_from_focus_is_not_taken_for_two_images_of_one_side() -> None:
    """12.5 waves, 150 nm beyond 0.9: rough fits know no edge and are far off for either reading."""
    defocus = 12.5 * 0.54 * 8.0 * 49.0
    pair, found = measured(
        telescope(
            edge=Edge(150.0, 0.9),
            inside_um=-defocus,
            outside_um=0.95 * defocus,
            pixel_um=defocus / 7.0 / 80.0,
            size_px=150,
            camera=camera_for(2e7, 80.0, 0.0, 2.0),
        )
    )
    assert found["decided"]
    assert found["strehl"]["value"] == pytest.approx(
        pair.truth.strehl_best_focus, abs=3.0 * found["strehl"]["uncertainty"]
    )


def test_verdicts_are_counted_as_they_are_meant() -> None:
    """Three claims: false and called met, true and called not met, false and left undecided."""
    counted = Verdicts()
    counted.count(excess=2.0, margin=-0.1, u=1.0)
    counted.count(excess=-2.0, margin=0.1, u=1.0)
    counted.count(excess=-1.0, margin=-0.5, u=1.0)
    assert (counted.false_claims, counted.wrong_met) == (2, 1)
    assert (counted.true_claims, counted.wrong_not_met) == (1, 1)
    assert counted.undecided == 1

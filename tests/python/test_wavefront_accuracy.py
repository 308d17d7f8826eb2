"""A sample of the accuracy tables of the wavefront fit; the tables are in docs/accuracy.md.

Truth comes from `tests/accuracy/pairs`, which shares no code with the engine. The bars are those of
the tables, with the room that so small a sample needs (said at each).
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "accuracy"))

from _pair_fits import EXACTLY_KNOWN, Judged, judge  # noqa: E402
from pairs.draw import draw_pair  # noqa: E402
from pairs.populations import easy_case  # noqa: E402

# Small images of every kind: clear and obstructed, with vanes, a band, hot pixels, companions.
EASY = (2, 5, 7, 10, 11, 13)


@pytest.fixture(scope="module")
def easy() -> list[Judged]:
    """Fits of the sample."""
    found = []
    for number in EASY:
        case = easy_case(number)
        pair = draw_pair(case.setup, case.generator())
        found.append(judge(pair, number, tuple(sorted(case.tags)), known_to=EXACTLY_KNOWN))
    return found


def test_no_pair_is_refused(easy):
    assert [j.refused for j in easy] == [""] * len(EASY)


def test_map_error_is_what_the_fit_predicts(easy):
    ratios = np.array([j.map_error_nm / j.map_predicted_nm for j in easy])
    # 20 to 60 modes of a unit normal error each: the ratio scatters by about 0.15.
    assert np.median(ratios) == pytest.approx(1.0, abs=0.3)
    assert ratios.max() < 2.0


def test_chi_squared_is_one_when_the_model_is_right(easy):
    chi2 = np.array([j.chi2 for j in easy])
    assert np.all((chi2 > 0.95) & (chi2 < 1.1)), chi2


def test_main_coefficients_keep_to_their_bars(easy):
    pulls = np.array([p for j in easy for p in j.pulls.values()])
    assert pulls.size == 7 * len(EASY)
    # 42 pulls: their RMS scatters by 10 % about 1 (modes of one pair are nearly independent).
    assert np.sqrt(np.mean(pulls**2)) == pytest.approx(1.0, abs=0.35)
    assert np.abs(pulls).max() < 4.5


def test_strehl_ratio_keeps_to_its_bar(easy):
    pulls = np.array([j.strehl_error / j.strehl_bar for j in easy])
    assert np.abs(pulls).max() < 3.5


def test_the_same_image_twice_is_refused():
    case = easy_case(2)
    pair = draw_pair(case.setup, case.generator())
    from dataclasses import replace

    assert judge(replace(pair, outside=pair.inside), 2).refused == "wavefront.same-image"

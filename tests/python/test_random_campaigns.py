"""Random campaigns: the program that judges them on two draws of the tuning seeds, and its judgment on wrong answers.

Truth: what the simulators were told to draw.
"""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy import units as u

from starassay import Measured, read_campaign
from starassay.measurements._focus_plane import FocusPlane
from starassay.results import Picture

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "tests" / "accuracy")]

import _campaigns  # noqa: E402
import campaigns  # noqa: E402

SEED = 1


def test_a_seed_draws_the_same_campaign_and_its_file_is_sound(tmp_path: Path) -> None:
    one = _campaigns.draw(SEED, 5, tmp_path / "a")
    two = _campaigns.draw(SEED, 5, tmp_path / "b")
    assert one.claims == two.claims and one.truth == two.truth
    assert one.path.read_bytes() == two.path.read_bytes()
    frames = sorted(p.name for p in (tmp_path / "a").glob("*.fits"))
    assert frames and all(
        (tmp_path / "a" / n).read_bytes() == (tmp_path / "b" / n).read_bytes() for n in frames
    )
    found = read_campaign(one.path)
    assert len(found.claims) == len(one.claims)


def test_a_drawn_campaign_is_judged_right(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A slow spacing's run, a pair and their faults, drawn by simulators that share no code with the engine."""
    monkeypatch.setattr(Picture, "source", lambda self, **_: "data:image/png;base64,")
    found = campaigns.judged(SEED, 4, tmp_path / "campaign")
    assert found.right and found.claims, campaigns.in_short(found)
    assert {"focus_surface", "spacing", "wavefront"} <= set(found.measured)
    assert found.named == ["wrong spacing"] and "coma" in found.cleared


def judgment(**facts: Any) -> campaigns.Judged:
    claim = {
        "quantity": "coma",
        "welcome": False,
        "true": True,
        "verdict": "met",
        "away": 9.0,
        "pull": 0.3,
        "reason": "",
    }
    whole = {"claims": [claim | facts.pop("claim", {})], "answer": "keep", "answered": "right"}
    return campaigns.Judged(1, "newtonian", ["coma"], ["wavefront"], **{**whole, **facts})


def test_what_is_wrong_is_counted_as_wrong() -> None:
    assert judgment().right
    assert not judgment(claim={"true": False}).right  # wrongly met
    assert not judgment(claim={"verdict": "not met"}).right
    assert judgment(claim={"verdict": "not decided", "true": False}).right
    for name in ("missed", "unsigned", "false", "failures"):
        assert not judgment(**{name: ["coma"]}).right
    assert not judgment(answered="wrong").right
    text = campaigns.section([judgment(), judgment(claim={"true": False})], 2, SEED)
    assert "1 of 2; bar 95 of 100" in text and "100.0 % of the claims" in text


@pytest.mark.parametrize(
    ("answer", "quantity", "mends", "true", "said"),
    [
        ("keep", "coma", {"coma"}, True, "right"),
        ("keep", "coma", {"coma"}, False, "wrong"),
        ("adjust-and-measure-again", "coma", {"coma"}, False, "right"),
        ("adjust-and-measure-again", "curvature_sag", set(), False, "wrong"),
        ("return", "curvature_sag", set(), False, "right"),
        ("return", "coma", {"coma"}, False, "wrong"),
        ("return", "in_focus_fraction", set(), False, "right"),
        ("not-decided-yet", "coma", {"coma"}, False, "open"),
    ],
)
def test_an_answer_is_held_against_the_truth(
    answer: str, quantity: str, mends: set[str], true: bool, said: str
) -> None:
    verdict = "met" if true else "not met"
    found = judgment(answer=answer, claim={"quantity": quantity, "true": true, "verdict": verdict})
    scope = _campaigns.scope_of(np.random.default_rng(1))
    drawn = _campaigns.Drawn(scope, Path("x"), mends={quantity: mends})
    assert campaigns._answered(found, drawn) == said


@dataclasses.dataclass
class Plane(FocusPlane):
    """A tilted plane of best focus over 24 x 16 mm, f/6."""

    across: float
    bar: float

    def __post_init__(self) -> None:
        self.tilt_across_width = Measured(self.across * u.um, self.bar * u.um)
        self.tilt_across_height = Measured(0 * u.um, self.bar * u.um)
        self.sensor_tilt = Measured(self.across * u.um, self.bar * u.um)
        self.tilt_angle = Measured(1 * u.arcmin, 0.1 * u.arcmin)
        self.depth_of_focus = 39.6 * u.um
        self.quantities = ()


@pytest.mark.parametrize(
    ("across", "bar", "said"), [(30, 2, True), (3, 0.2, False), (30, 15, False)]
)
def test_a_shim_is_worth_it_from_a_tenth_of_the_depth_of_focus_on(
    across: float, bar: float, said: bool
) -> None:
    assert bool(Plane(across, bar).remedies()) == said

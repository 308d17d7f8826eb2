"""The answer of a campaign: what the file says reaches the engine, and its sentence the reader."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from astropy import units as u

import starassay
from starassay import Claim, Measured, errors
from starassay.campaign.answering import answer_for
from starassay.campaign.description import ClaimEntry, DecisionEntry
from starassay.campaign.outcome import Judgment

HEAD = """
[campaign]
name = "a"
[telescope]
name = "b"
aperture = "115 mm"
focal_length = "760 mm"
[[claims]]
quantity = "strehl"
at_least = 0.9
welcome = true
"""


def judged(value: float, welcome: bool = False) -> Judgment:
    """A Strehl ratio, 0.01 uncertain, against 0.95."""
    claim = Claim("Strehl ratio", at_least=0.95 * u.one)
    decision = starassay.decide(claim, Measured(value * u.one, 0.01 * u.one))
    return Judgment(ClaimEntry(claim, "strehl", None, "", "", welcome), decision, "")


def advice(*about: str) -> Any:
    """Steps for a user's hands."""
    steps = [{"about": a, "hands": "user", "claims": (), "test": ""} for a in about]
    return SimpleNamespace(steps=steps)


def test_answer_follows_the_verdicts() -> None:
    today, entry = date(2026, 12, 11), DecisionEntry(return_by=date(2026, 12, 20))
    keep = answer_for(entry, [judged(0.99), judged(0.5, welcome=True)], advice(), today)
    assert keep.answer == "keep" and keep.sentence == "Keep it: 'Strehl ratio' is met."
    back = answer_for(entry, [judged(0.90)], advice("seeing"), today)
    assert back.answer == "return" and "by 20 December 2026" in back.sentence
    mend = answer_for(entry, [judged(0.90)], advice("coma", "coma"), today)
    assert mend.answer == "adjust-and-measure-again" and "coma can be adjusted" in mend.sentence
    unsure = answer_for(entry, [judged(0.952)], advice("coma"), today)
    assert unsure.answer == "not-decided-yet" and "until 20 December 2026" in unsure.sentence
    late = answer_for(entry, [judged(0.952)], advice(), date(2027, 1, 1))
    assert "has passed" in late.sentence


def test_costs_choose_in_the_mean() -> None:
    # p = 0.579 by the normal distribution: keeping costs 0.42 x 400 = 168, returning 0.58 x 60 = 35.
    entry = DecisionEntry(cost_of_keeping=400, cost_of_returning=60)
    found = answer_for(entry, [judged(0.952)], advice(), date(2026, 12, 11))
    assert "returning costs less in the mean" in found.costs
    assert "at most 35" in found.costs and "at least 168" in found.costs


def read(folder: Path, text: str) -> Any:
    (folder / "campaign.toml").write_text(HEAD + text, encoding="utf-8")
    return starassay.read_campaign(folder, frames=False)


def test_file_says_date_costs_and_what_is_only_welcome(tmp_path: Path) -> None:
    found = read(
        tmp_path,
        '[decision]\nrisk = 0.1\nreturn_by = "2026-12-20"\ncost_of_keeping = 400\ncost_of_returning = 60\n',
    )
    assert found.decision == DecisionEntry(0.1, date(2026, 12, 20), 400.0, 60.0)
    assert found.risk == 0.1 and found.claims[0].welcome
    assert read(tmp_path, "[decision]\nreturn_by = 2026-12-20\n").decision.return_by == date(
        2026, 12, 20
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[decision]\nreturn_by = "soon"\n', "is no date"),
        ("[decision]\ncost_of_keeping = 400\n", "one cost alone decides nothing"),
        ("[decision]\ncost_of_keeping = -1\ncost_of_returning = 2\n", "out of range"),
    ],
)
def test_nonsense_is_told_with_its_line(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(errors.CampaignError, match=said):
        read(tmp_path, text)

"""What came of a campaign: tests, judgments, advice, and where the report is."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from ..decisions.advice import Advice
from ..decisions.deciding import Decision
from ..results import Note
from .description import Campaign, ClaimEntry, Test
from .parts import Part, Value


@dataclasses.dataclass(frozen=True)
class TestOutcome:
    """What one test gave.

    Attributes
    ----------
    test : Test
        Its entry in the campaign file.
    parts : tuple of Part
        Results with labels; empty when nothing could be measured.
    values : dict of str to Value
        Numbers that claims can be about.
    failures : tuple of str
        A sentence for each frame or pair that could not be measured.
    notes : tuple of Note
        Notes about the test as a whole.
    """

    test: Test
    parts: tuple[Part, ...]
    values: dict[str, Value]
    failures: tuple[str, ...]
    notes: tuple[Note, ...]

    __test__ = False  # not for pytest


@dataclasses.dataclass(frozen=True)
class Judgment:
    """A claim, its decision, and the test that it rests on ("" when there is none)."""

    entry: ClaimEntry
    decision: Decision
    test: str


@dataclasses.dataclass(frozen=True)
class Outcome:
    """A campaign that was run.

    Attributes
    ----------
    campaign : Campaign
        What was asked.
    tests : tuple of TestOutcome
        In the order of the campaign.
    judgments : tuple of Judgment
        In the order of claims and requirements.
    advice : Advice
        What limits the images and what to do.
    folder, report : Path
        What was written.
    """

    campaign: Campaign
    tests: tuple[TestOutcome, ...]
    judgments: tuple[Judgment, ...]
    advice: Advice
    folder: Path
    report: Path

    def summary(self) -> list[str]:
        """Verdict lines, failures and where the report is."""
        lines = [f"{self.campaign.name}: {self.campaign.telescope.name}"]
        for judgment in self.judgments:
            d = judgment.decision
            kind = "requirement" if d.claim.requirement else "claim"
            lines.append(f"  {d.verdict.upper():<12} {kind} '{d.claim.name}'. {d.reason}")
            if d.next_test:
                lines.append(f"               {d.next_test}")
        lines.append(f"  {self.advice.limit}")
        for outcome in self.tests:
            lines += [f"  could not be measured: {text}" for text in outcome.failures]
        notes = {
            (n.level, n.text)
            for outcome in self.tests
            for n in (*outcome.notes, *(n for part in outcome.parts for n in part.result.notes))
        }
        lines += [f"  doubt: {text}" for level, text in sorted(notes) if level == "doubt"]
        cautions = sum(level == "caution" for level, _ in notes)
        if cautions:
            lines.append(f"  {cautions} caution{'s' if cautions > 1 else ''} to read in the report")
        return [*lines, f"Report: {self.report}"]

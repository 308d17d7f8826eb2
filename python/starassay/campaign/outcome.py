"""What came of a campaign: tests, judgments, advice, and where the report is."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

from .._records import OverallAnswer, Quantity
from ..decisions.advice import Advice
from ..decisions.deciding import Decision
from ..results import Note, Result, to_plain
from .description import Campaign, ClaimEntry, Test


@dataclasses.dataclass(frozen=True)
class Piece:
    """One result of a test.

    Attributes
    ----------
    label : str
        Frame or pair it belongs to, for the report.
    slug : str
        Its file name without ending.
    result : Result
        The measurement.
    aside : bool
        True when it is shown, but not taken into the test's numbers.
    facts : dict or None
        What it was measured from, when that can be written down.
    number : int
        Its place among the results of those facts.
    """

    label: str
    slug: str
    result: Result
    aside: bool = False
    facts: dict[str, Any] | None = None
    number: int = 0


@dataclasses.dataclass(frozen=True)
class TestOutcome:
    """What one test gave.

    Attributes
    ----------
    test : Test
        Its entry in the campaign file.
    pieces : tuple of Piece
        Results with labels; empty when nothing could be measured.
    quantities : dict of str to Quantity
        Numbers that claims can be about, over all pieces.
    failures : tuple of str
        A sentence for each frame or pair that could not be measured.
    notes : tuple of Note
        Notes about the test as a whole.
    measured, kept : int
        How many measurements were made now, and how many were there from an earlier run of the same.
    """

    test: Test
    pieces: tuple[Piece, ...]
    quantities: dict[str, Quantity]
    failures: tuple[str, ...]
    notes: tuple[Note, ...]
    measured: int = 0
    kept: int = 0

    __test__ = False  # not for pytest

    def basis(self, quantity: str) -> str:
        """What a quantity is for, such as a band, as its results say; "" for nothing.

        Parameters
        ----------
        quantity : str
            Name from the one list.
        """
        found = (p.result.basis(quantity) for p in self.pieces if not p.aside)
        return next(filter(None, found), "")

    @property
    def own(self) -> bool:
        """Whether it was taken with the telescope of the campaign."""
        return "other_telescope" not in self.test.options


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
    answer : OverallAnswer
        Keep, adjust and measure again, return, or not decided yet, with reason and next step.
    folder, report : Path
        What was written.
    remark : str
        Why nothing of an earlier run was used, when there was one; "" otherwise.
    """

    campaign: Campaign
    tests: tuple[TestOutcome, ...]
    judgments: tuple[Judgment, ...]
    advice: Advice
    answer: OverallAnswer
    folder: Path
    report: Path
    remark: str = ""

    @property
    def failed(self) -> bool:
        """Whether a frame or pair could not be measured."""
        return any(t.failures for t in self.tests)

    def to_dict(self) -> dict[str, Any]:
        """Answer, decisions, advice and numbers as plain JSON, for machines."""
        return {
            "format": "starassay-run-1",
            "campaign": self.campaign.name,
            "telescope": self.campaign.telescope.name,
            "report": str(self.report),
            "answer": to_plain(self.answer),
            "decisions": [j.decision.to_dict() for j in self.judgments],
            "advice": self.advice.to_dict(),
            "tests": [
                {
                    "kind": t.test.kind,
                    "name": t.test.name,
                    "measured": t.measured,
                    "kept": t.kept,
                    "failures": list(t.failures),
                    "results": [piece.slug for piece in t.pieces],
                    "quantities": {k: to_plain(v) for k, v in t.quantities.items()},
                    "basis": {k: t.basis(k) for k in t.quantities if t.basis(k)},
                }
                for t in self.tests
            ],
            "remark": self.remark,
        }

    def summary(self) -> list[str]:
        """Verdict lines, failures and where the report is."""
        lines = [f"{self.campaign.name}: {self.campaign.telescope.name}"]
        if self.judgments:
            said = (self.answer.sentence, self.answer.costs)
            lines += [f"  {text}" for text in said if text]
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
            for n in (*outcome.notes, *(n for piece in outcome.pieces for n in piece.result.notes))
        }
        lines += [f"  doubt: {text}" for level, text in sorted(notes) if level == "doubt"]
        cautions = sum(level == "caution" for level, _ in notes)
        if cautions:
            lines.append(f"  {cautions} caution{'s' if cautions > 1 else ''} to read in the report")
        if self.remark:
            lines.append(f"  {self.remark}")
        kept = sum(t.kept for t in self.tests)
        if kept:
            measured = sum(t.measured for t in self.tests)
            lines.append(
                f"  {measured} measured now, {kept} kept from before: nothing that they rest on has changed"
            )
        return [*lines, f"Report: {self.report}"]

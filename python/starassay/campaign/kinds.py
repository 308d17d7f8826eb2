"""The kinds of test: how each is measured, and what it gives to claims, advice and report."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Protocol

from ..results import Note
from .color_focus import ColorFocusKind
from .description import Campaign, Test
from .outcome import TestOutcome
from .parts import Part, Picture, Value
from .stars import StarsKind
from .wavefront import WavefrontKind


class Kind(Protocol):
    """One kind of test."""

    def groups(self, test: Test) -> list[tuple[Path, ...]]:
        """Frames that are measured together."""

    def measure(self, campaign: Campaign, test: Test, frames: tuple[Path, ...]) -> list[Part]:
        """The results of one group."""

    def values(
        self, campaign: Campaign, test: Test, parts: Sequence[Part]
    ) -> tuple[dict[str, Value], list[Note]]:
        """Numbers for claims, and notes about the test as a whole."""

    def advice(self, campaign: Campaign, outcome: TestOutcome) -> dict[str, Any]:
        """What the test contributes to the advice request."""

    def numbers(self, outcome: TestOutcome) -> list[dict[str, str]]:
        """Rows of label, value, origin for the report."""

    def lines(self, part: Part) -> list[str]:
        """Sentences about one result, for the report."""

    def figures(self, part: Part) -> list[Picture]:
        """Figures of one result, for the report."""

    def tables(self, part: Part) -> list[dict[str, Any]]:
        """Short tables of one result: caption, head, rows."""


_KINDS: dict[str, type[Kind]] = {
    "stars": StarsKind,
    "wavefront": WavefrontKind,
    "color_focus": ColorFocusKind,
}


def kind_of(test: Test) -> Kind:
    """How a test is measured."""
    return _KINDS[test.kind]()

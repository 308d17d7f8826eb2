"""docs/user-errors.md says what comes of each case now: every case is run again and held against its row."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "tests")]

import user_errors  # noqa: E402

NUMBER = re.compile(r"\d+(?:\.\d+)?")


def rows() -> list[tuple[str, str, str]]:
    """Done, before and now of every row of the page."""
    text = user_errors.PAGE.read_text(encoding="utf-8")
    found = [re.split(r"(?<!\\) \| ", line[2:-2]) for line in text.splitlines() if line[:2] == "| "]
    return [(done, before, now) for done, before, now in found if done != "done"]


def cases() -> Iterator[Any]:
    for number, case in enumerate(c for group in user_errors.CASES.values() for c in group):
        marks = [pytest.mark.slow] if case.slow else []
        yield pytest.param(number, case, id=case.done[:40], marks=marks)


def test_the_page_has_a_row_for_each_case() -> None:
    listed = [c for group in user_errors.CASES.values() for c in group]
    expected = [(user_errors.cell(c.done), user_errors.cell(c.before) or "–") for c in listed]
    assert [(done, before) for done, before, _ in rows()] == expected
    assert len(expected) > 25


@pytest.mark.parametrize(("number", "case"), list(cases()))
def test_what_comes_now(number: int, case: user_errors.Case) -> None:
    """The same words; numbers to 2 %, since widths of vectors round differently."""
    written, now = rows()[number][2], user_errors.made(case)
    assert NUMBER.sub("#", written) == NUMBER.sub("#", now), f"made now: {now}"
    numbers = [[float(n) for n in NUMBER.findall(text)] for text in (written, now)]
    np.testing.assert_allclose(*numbers, rtol=0.02, atol=0.01, err_msg=now)

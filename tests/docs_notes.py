"""Writes docs/notes.md from the engine's list of notes."""

from __future__ import annotations

from pathlib import Path

import starassay

HEAD = """# Notes a result can carry

Made from the engine's one list by `python tests/docs_notes.py`; a test fails when they differ.
*info*: the numbers stand. *caution*: they stand with a reservation, which the note's text gives.
*doubt*: a number must not be used to decide.

| code | level | meaning |
|---|---|---|
"""


def main() -> None:
    """Write the page."""
    rows = [f"| `{r['code']}` | {r['level']} | {r['meaning']} |\n" for r in starassay.note_legend()]
    page = Path(__file__).resolve().parents[1] / "docs" / "notes.md"
    page.write_text(HEAD + "".join(rows), encoding="utf-8")


if __name__ == "__main__":
    main()

"""Writes one section of docs/accuracy.md between its markers, and the command line of the programs that do so."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from marked_pages import replaced  # noqa: E402

PAGE = Path(__file__).resolve().parents[2] / "docs" / "accuracy.md"


def write_section(name: str, text: str, page: Path = PAGE) -> None:
    """Replace one section of the page; a section that is not on it yet is added at its end."""
    old = page.read_text(encoding="utf-8")
    page.write_text(replaced(old, name, text), encoding="utf-8")


def write_from_command_line(
    name: str,
    doc: str | None,
    run: Callable[[int, int], Any],
    section: Callable[[Any, int, int], str],
    fields: int = 24,
    seed: int = 1,
) -> None:
    """The whole program: draw and measure so many fields from a seed, print the section, write it where asked.

    ``run(fields, seed)`` gives what ``section(found, fields, seed)`` makes a text of; `fields` and
    `seed` hold where the command line does not say them.
    """
    parser = argparse.ArgumentParser(description=doc)
    parser.add_argument("fields", nargs="?", type=int, default=fields)
    parser.add_argument("seed", nargs="?", type=int, default=seed)
    parser.add_argument(
        "--write", action="store_true", help="write the section of docs/accuracy.md"
    )
    args = parser.parse_args()
    text = section(run(args.fields, args.seed), args.fields, args.seed)
    print(text)
    if args.write:
        write_section(name, text)

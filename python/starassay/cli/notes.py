"""``starassay notes``: every note a result can carry."""

from __future__ import annotations

import argparse
import textwrap

NAME = "notes"
HELP = "List the notes that results can carry, with level and meaning."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """An optional beginning of the code."""
    parser.add_argument("code", nargs="?", default="", help="show only codes that begin like this")


def run(args: argparse.Namespace) -> int:
    """Print the engine's list."""
    from ..errors import InputError
    from ..results import note_legend

    rows = [r for r in note_legend() if str(r["code"]).startswith(args.code)]
    if not rows:
        raise InputError(
            f"No note's code begins with '{args.code}'. Run 'starassay notes' to see all of them.",
            code="notes.none",
        )
    for row in rows:
        print(f"{row['code']}  [{row['level']}]")
        print(textwrap.indent(textwrap.fill(str(row["meaning"]), 92), "    "))
    return 0

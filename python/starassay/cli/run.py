"""``starassay run``: a whole campaign, from frames to report."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from .._interrupts import was_interrupted

NAME = "run"
HELP = "Run every test of a campaign and write the report."
NEEDS = ("starassay.campaign",)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The campaign and where the report goes."""
    parser.add_argument(
        "campaign", type=Path, help="campaign file, or the folder that holds campaign.toml"
    )
    parser.add_argument(
        "--out", type=Path, metavar="DIR", help="report folder (default: 'report' beside the file)"
    )
    parser.add_argument(
        "--fresh",
        action="store_true",
        help="measure everything again, also what an earlier run measured from the same files and settings",
    )
    parser.add_argument(
        "--json",
        action="store_true",
        help="print one JSON record (answer, decisions, numbers, failures, report) in place of lines for people",
    )
    parser.add_argument("--quiet", action="store_true", help="no progress bar, no verdict lines")


def run(args: argparse.Namespace) -> int:
    """Run it and print the verdict lines and the report's path."""
    import matplotlib

    from ..campaign import read_campaign, run_campaign
    from ..results import json_text

    # No window: the pictures go into a file, and are drawn while the engine measures.
    matplotlib.use("Agg")
    campaign = read_campaign(args.campaign)
    shown = not (args.quiet or args.json)
    try:
        outcome = run_campaign(campaign, out=args.out, fresh=args.fresh, progress=shown)
    except BaseException as error:
        if was_interrupted(error):
            print(
                "What was measured so far is kept; the same command goes on from there.",
                file=sys.stderr,
            )
        raise
    if args.json:
        sys.stdout.write(json_text(outcome.to_dict()))
    if shown:
        for line in outcome.summary():
            print(line)
    # The report says it too, but a script reads codes: 3 is `starassay.cli.INCOMPLETE`.
    return 3 if outcome.failed else 0

"""``starassay run``: a whole campaign, from frames to report."""

from __future__ import annotations

import argparse
from pathlib import Path

NAME = "run"
HELP = "Run every test of a campaign and write the report."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The campaign and where the report goes."""
    parser.add_argument(
        "campaign", type=Path, help="campaign file, or the folder that holds campaign.toml"
    )
    parser.add_argument(
        "--out", type=Path, metavar="DIR", help="report folder (default: 'report' beside the file)"
    )
    parser.add_argument("--quiet", action="store_true", help="no progress bar, no verdict lines")


def run(args: argparse.Namespace) -> int:
    """Run it and print the verdict lines and the report's path."""
    from ..campaign import read_campaign, run_campaign

    campaign = read_campaign(args.campaign)
    outcome = run_campaign(campaign, out=args.out, progress=not args.quiet)
    if not args.quiet:
        for line in outcome.summary():
            print(line)
    # The report says it too, but a script reads codes: 3 is `starassay.cli.INCOMPLETE`.
    return 3 if outcome.failed else 0

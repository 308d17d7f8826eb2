"""``starassay compare``: two or more report folders on the same footing."""

from __future__ import annotations

import argparse
from pathlib import Path

NAME = "compare"
HELP = "Compare report folders: before and after, or one telescope with others."
NEEDS = ("starassay.campaign.comparing",)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The folders, and where the page goes."""
    parser.add_argument(
        "folders",
        nargs="+",
        type=Path,
        metavar="FOLDER",
        help="written by 'starassay run'; the others are held against the first",
    )
    parser.add_argument("--page", type=Path, metavar="FILE", help="write an HTML page")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the comparison as JSON")
    parser.add_argument("--table", type=Path, metavar="FILE", help="write its table (ECSV)")


def run(args: argparse.Namespace) -> int:
    """Compare, print, and write what was asked for."""
    from ..campaign.comparing import compare_reports

    found = compare_reports(args.folders)
    for line in found.summary():
        print(line)
    if args.page is not None:
        found.write_page(args.page)
        print(f"Page: {args.page}")
    if args.json is not None:
        found.write_json(args.json)
    if args.table is not None:
        found.table.write(args.table, format="ascii.ecsv", overwrite=True)
    return 0

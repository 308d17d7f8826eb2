"""``starassay demo``: draw the frames of the demo campaign."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path

NAME = "demo"
HELP = "Draw the demo campaign: the frames that an invented telescope would give."
NEEDS = ("starassay.simulation.demo",)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Where the frames go."""
    parser.add_argument("folder", type=Path, help="campaign folder; made when it is not there")
    parser.add_argument(
        "--whole",
        action="store_true",
        help="draw three campaigns with nearly every measurement: the telescope alone, with its reducer, and another one",
    )


def run(args: argparse.Namespace) -> int:
    """Draw them."""
    from ..simulation.demo import CAMPAIGNS, draw_demo

    draw_demo(args.folder, whole=args.whole, progress=True)
    if not args.whole:
        print(
            f"The demo campaign is drawn. Measure it: starassay run {shlex.quote(str(args.folder))}"
        )
        return 0
    places = [shlex.quote(str(args.folder / c.folder)) for c in CAMPAIGNS]
    print(f"{len(places)} campaigns are drawn. Measure and compare them:")
    for place in places:
        print(f"  starassay run {place}")
    print(f"  starassay compare {' '.join(f'{place}/report' for place in places)}")
    return 0

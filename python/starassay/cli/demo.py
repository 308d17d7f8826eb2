"""``starassay demo``: draw the frames of the demo campaign."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path

NAME = "demo"
HELP = "Draw the demo campaign: the frames that an invented telescope would give."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Where the frames go."""
    parser.add_argument("folder", type=Path, help="campaign folder; made when it is not there")


def run(args: argparse.Namespace) -> int:
    """Draw them."""
    from ..simulation.demo import draw_demo

    draw_demo(args.folder, progress=True)
    print(f"The demo campaign is drawn. Measure it: starassay run {shlex.quote(str(args.folder))}")
    return 0

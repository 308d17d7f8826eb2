"""``starassay lab``: write the classroom's page with sliders."""

from __future__ import annotations

import argparse
from pathlib import Path

NAME = "lab"
HELP = "Write a page with sliders for a class: aberrations, color, field and exercises, in one file that needs no network."
NEEDS = ("starassay.lab",)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Where the page goes."""
    parser.add_argument(
        "--export",
        type=Path,
        required=True,
        metavar="PAGE",
        help="the page to write, for example lab.html; in Jupyter: from starassay import lab; lab.aberrations()",
    )


def run(args: argparse.Namespace) -> int:
    """Write it."""
    from tqdm import tqdm

    from ..lab import write_page

    with tqdm(total=100, desc="drawing", unit="%", leave=False) as bar:
        page = write_page(args.export, progress=lambda share: bar.update(int(100 * share) - bar.n))
    size = page.stat().st_size / 1e6
    print(f"{page}: {size:.1f} MB, one file that needs no network. Open it in a browser.")
    return 0

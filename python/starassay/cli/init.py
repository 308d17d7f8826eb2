"""``starassay init``: a draft campaign file from a folder of frames."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path

NAME = "init"
HELP = "Look at a folder of frames and write a draft campaign.toml into it."
NEEDS = ("starassay.campaign.starting",)
_SHOWN = 4


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which folder."""
    parser.add_argument(
        "folder", type=Path, help="with the night's FITS files, also in folders below it"
    )


def run(args: argparse.Namespace) -> int:
    """Write the draft, and say what it holds and what it lacks."""
    from ..campaign.starting import begin_campaign
    from ..measurements import declared

    begun = begin_campaign(args.folder, progress=True)
    for area, draft in begun.entries:
        count = len(draft.frames)
        print(f"{declared()[area].title}: {draft.title} ({count} file{'s' if count > 1 else ''})")
    reasons: dict[str, list[str]] = {}
    for path, why in begun.left_out.items():
        reasons.setdefault(why, []).append(path.relative_to(args.folder).as_posix())
    for why, names in reasons.items():
        more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
        print(f"Left out: {', '.join(names[:_SHOWN])}{more}: {why.rstrip('.')}.")
    lines = ", ".join(map(str, begun.asks))
    print(f"{begun.path} is a draft: confirm it, and fill in what is marked there (lines {lines}).")
    print(f"Then measure: starassay run {shlex.quote(str(args.folder))}")
    return 0

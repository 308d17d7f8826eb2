"""The report folder: page, tables, results and a manifest of everything; it appears whole or not at all."""

from __future__ import annotations

import os
import platform
import shlex
import shutil
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from .. import _host, errors
from .._files import require_room
from .._version import __version__
from ..results import json_text, to_plain
from .judging import decisions_table
from .keeping import Checksums, Kept, checksum
from .outcome import Outcome

MANIFEST = "manifest.json"
REPORT = "report.html"
# Results, tables and pictures of a campaign of some dozen frames.
ROOM = 60_000_000


def require_ours(folder: Path) -> None:
    """A folder that holds anything but an earlier report is not written over."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        if not (folder / MANIFEST).is_file():
            raise errors.FileError(
                f"{folder} exists and is not an earlier report. Name another folder with --out.",
                code="report.folder",
                subject=str(folder),
            )
    if not folder.parent.is_dir():
        raise errors.FileError(
            f"There is no folder {folder.parent} for the report. Make it first.",
            code="report.folder",
            subject=str(folder),
        )
    require_room(folder.parent, ROOM, "The report", "Name another folder with --out.")


def make_manifest(outcome: Outcome, started: datetime, sums: Checksums) -> dict[str, Any]:
    """What went in and with what it was made: enough to run it again and to see that it is the same."""
    import astropy
    import matplotlib

    campaign = outcome.campaign
    engine = _host.about()
    base = campaign.path.parent.resolve()
    return {
        "format": "starassay-report-1",
        "campaign": {
            "file": campaign.path.name,
            "sha256": checksum(campaign.path),
            "text": campaign.text,
        },
        "run_again": f"starassay run {shlex.quote(campaign.path.name)}",
        "started": started.isoformat(timespec="seconds"),
        "versions": {
            "starassay": __version__,
            "engine": engine["version"],
            "runtime": engine["runtime"],
            "python": platform.python_version(),
            "numpy": np.__version__,
            "astropy": astropy.__version__,
            "matplotlib": matplotlib.__version__,
        },
        "frames": [
            {
                # Relative, so that the record says nothing about the machine.
                "file": os.path.relpath(path.resolve(), base),
                "bytes": path.stat().st_size,
                "sha256": sums.of(path),
            }
            for path in campaign.frames
        ],
        "tests": [
            {
                "kind": t.test.kind,
                "name": t.test.name,
                "results": [piece.slug for piece in t.pieces],
                "failures": list(t.failures),
            }
            for t in outcome.tests
        ],
    }


def plain_record(outcome: Outcome) -> dict[str, Any]:
    """Decisions, answer, advice and the numbers by test, as plain JSON."""
    return {
        "decisions": [j.decision.to_dict() for j in outcome.judgments],
        "answer": to_plain(outcome.answer),
        "advice": outcome.advice.to_dict(),
        "quantities": {
            t.test.name: {k: to_plain(v) for k, v in t.quantities.items()} for t in outcome.tests
        },
        "basis": {
            t.test.name: {k: t.basis(k) for k in t.quantities if t.basis(k)} for t in outcome.tests
        },
    }


def write_folder(outcome: Outcome, manifest: dict[str, Any], page: str, kept: Kept) -> None:
    """Write the folder under a temporary name and exchange it for the old one."""
    folder = outcome.folder
    part = folder.with_name(f".{folder.name}.{os.getpid()}.part")
    shutil.rmtree(part, ignore_errors=True)
    try:
        results = part / "results"
        results.mkdir(parents=True)
        for test in outcome.tests:
            for piece in test.pieces:
                piece.result.write_json(results / f"{piece.slug}.json")
                piece.result.table.write(results / f"{piece.slug}.ecsv", format="ascii.ecsv")
        if outcome.judgments:
            decisions_table(outcome.judgments).write(part / "decisions.ecsv", format="ascii.ecsv")
        (part / "decisions.json").write_text(json_text(plain_record(outcome)), encoding="utf-8")
        (part / REPORT).write_text(page, encoding="utf-8")
        kept.hand_over(part)
        written = sorted(p for p in part.rglob("*") if p.is_file())
        manifest = {
            **manifest,
            "written": {p.relative_to(part).as_posix(): checksum(p) for p in written},
        }
        (part / MANIFEST).write_text(json_text(manifest), encoding="utf-8")
        old = folder.with_name(f".{folder.name}.{os.getpid()}.old")
        if folder.exists():
            os.replace(folder, old)
        os.replace(part, folder)
        shutil.rmtree(old, ignore_errors=True)
        kept.done()
    finally:
        shutil.rmtree(part, ignore_errors=True)

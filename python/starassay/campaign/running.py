"""Runs a campaign: every test, then the decisions, then the report folder.

A frame that fails becomes a sentence in the report; the other tests go on. The report folder
appears whole or not at all.
"""

from __future__ import annotations

import dataclasses
import math
import os
import platform
import shutil
from collections.abc import Callable, Iterable
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.table import QTable

from . import _gateway, errors
from ._version import __version__
from .advice import Advice, advise
from .campaign import QUANTITIES, Campaign, ClaimEntry, Test, checksum
from .campaign_tests import Part, Value, kind_of
from .decisions import Decision, decide
from .results import Note, json_text, to_plain

MANIFEST = "manifest.json"
REPORT = "report.html"


@dataclasses.dataclass(frozen=True)
class TestOutcome:
    """What one test gave.

    Attributes
    ----------
    test : Test
        Its entry in the campaign file.
    parts : tuple of Part
        Results with labels; empty when nothing could be measured.
    values : dict of str to Value
        Numbers that claims can be about.
    failures : tuple of str
        A sentence for each frame or pair that could not be measured.
    notes : tuple of Note
        Notes about the test as a whole.
    """

    test: Test
    parts: tuple[Part, ...]
    values: dict[str, Value]
    failures: tuple[str, ...]
    notes: tuple[Note, ...]

    __test__ = False  # not for pytest


@dataclasses.dataclass(frozen=True)
class Judgment:
    """A claim, its decision, and the test that it rests on ("" when there is none)."""

    entry: ClaimEntry
    decision: Decision
    test: str


@dataclasses.dataclass(frozen=True)
class Outcome:
    """A campaign that was run.

    Attributes
    ----------
    campaign : Campaign
        What was asked.
    tests : tuple of TestOutcome
        In the order of the campaign.
    judgments : tuple of Judgment
        In the order of claims and requirements.
    advice : Advice
        What limits the images and what to do.
    folder, report : Path
        What was written.
    """

    campaign: Campaign
    tests: tuple[TestOutcome, ...]
    judgments: tuple[Judgment, ...]
    advice: Advice
    folder: Path
    report: Path

    def summary(self) -> list[str]:
        """Verdict lines, failures and where the report is."""
        lines = [f"{self.campaign.name}: {self.campaign.telescope.name}"]
        for judgment in self.judgments:
            d = judgment.decision
            kind = "requirement" if d.claim.requirement else "claim"
            lines.append(f"  {d.verdict.upper():<12} {kind} '{d.claim.name}'. {d.reason}")
            if d.next_test:
                lines.append(f"               {d.next_test}")
        lines.append(f"  {self.advice.limit}")
        for outcome in self.tests:
            lines += [f"  could not be measured: {text}" for text in outcome.failures]
        return [*lines, f"Report: {self.report}"]


def run(
    campaign: Campaign,
    *,
    out: Path | None,
    progress: bool,
    say: Callable[[str], None] | None,
) -> Outcome:
    """See `starassay.run_campaign`."""
    from .report import render

    folder = out if out is not None else campaign.path.parent / "report"
    _require_ours(folder)
    started = datetime.now(timezone.utc)
    with _Steps(len(campaign.frames) + 3, progress, say) as steps:
        tests = tuple(_measure(campaign, test, steps) for test in campaign.tests)
        steps.next("deciding")
        judgments = tuple(_judge(campaign, entry, tests) for entry in campaign.claims)
        advice = advise(_advice_request(campaign, tests))
        outcome = Outcome(campaign, tests, judgments, advice, folder, folder / REPORT)
        steps.next("drawing the report")
        manifest = _manifest(outcome, started)
        page = render(outcome, manifest)
        steps.next("writing the report")
        _write(outcome, manifest, page)
    return outcome


class _Steps:
    """A bar over the whole campaign."""

    def __init__(self, total: int, bar: bool, say: Callable[[str], None] | None) -> None:
        self._say = say
        self._bar: Any = None
        if bar:
            from tqdm.auto import tqdm

            self._bar = tqdm(total=total, unit="step", leave=False, dynamic_ncols=True)

    def __enter__(self) -> _Steps:
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.close()

    def next(self, phrase: str, count: int = 1) -> None:
        """One step on; `phrase` says what comes now."""
        if self._say is not None:
            self._say(phrase)
        if self._bar is not None:
            self._bar.set_description(phrase, refresh=False)
            self._bar.update(count)


def _measure(campaign: Campaign, test: Test, steps: _Steps) -> TestOutcome:
    """One test; what goes wrong with a frame becomes a sentence."""
    kind = kind_of(test)
    parts: list[Part] = []
    failures: list[str] = []
    if kind is None:
        steps.next(test.name, len(test.frames))
        text = f"This version does not measure [[{test.kind}]]; its frames were passed over."
        return TestOutcome(test, (), {}, (text,), ())
    for frames in kind.groups(test):
        steps.next(f"{test.name}: {frames[0].name}", len(frames))
        try:
            parts += kind.measure(campaign, test, frames)
        except errors.EngineUnavailableError:
            raise
        except (errors.StarAssayError, OSError) as error:
            names = ", ".join(f.name for f in frames)
            text = " ".join(str(error).split())
            failures.append(text if any(f.name in text for f in frames) else f"{names}: {text}")
    values: dict[str, Value] = {}
    notes: list[Note] = []
    if parts:
        values, notes = kind.values(campaign, test, parts)
    return TestOutcome(test, tuple(parts), values, tuple(failures), tuple(notes))


def _judge(campaign: Campaign, entry: ClaimEntry, tests: Iterable[TestOutcome]) -> Judgment:
    kind = QUANTITIES[entry.quantity]
    having = [
        t
        for t in tests
        if entry.quantity in t.values
        and (t.test.name == entry.test if entry.test else "other_telescope" not in t.test.facts)
    ]
    if not having:
        return Judgment(
            entry, decide(entry.claim, None, risk=campaign.risk, missing_test=kind.missing), ""
        )
    chosen = having[0]
    value = chosen.values[entry.quantity]
    other = ""
    if entry.wavelength is not None and value.wavelength is not None:
        ratio = float((value.wavelength / entry.wavelength).to_value(u.one))
        # Within a fiftieth the difference is below what filters are specified to.
        if abs(ratio - 1) > 0.02:
            other = (
                f"Measured at {value.wavelength:.4g}, but stated at {entry.wavelength:.4g}; "
                "the one cannot be had from the other without knowing the color error."
            )
    missing = kind.missing
    if other:
        missing = f"Measure at {entry.wavelength:.4g}."
    elif value.doubts:
        missing = "Take the frames again as the doubt advises."
    decision = decide(
        entry.claim,
        value.measured,
        random_part=value.random_part,
        degrees_of_freedom=value.degrees_of_freedom,
        count=value.count,
        counted=value.counted,
        risk=campaign.risk,
        doubts=value.doubts,
        other_conditions=other,
        missing_test=missing,
    )
    return Judgment(entry, decision, chosen.test.name)


def _advice_request(campaign: Campaign, tests: Iterable[TestOutcome]) -> dict[str, Any]:
    request: dict[str, Any] = {
        "design": campaign.telescope.design,
        "aperture_mm": campaign.telescope.aperture.to_value(u.mm),
        "focal_length_mm": campaign.telescope.focal_length.to_value(u.mm),
    }
    for outcome in tests:
        kind = kind_of(outcome.test)
        if outcome.parts and kind is not None:
            for key, value in kind.advice(campaign, outcome).items():
                # The first test of a kind is the one that is spoken of.
                request.setdefault(key, value)
    if campaign.site.seeing is not None:
        # Stated by the observer: used when no pair of defocused stars has measured it.
        request.setdefault("seeing_fwhm_arcsec", campaign.site.seeing.to_value(u.arcsec))
        uncertainty = campaign.site.seeing_uncertainty
        request.setdefault(
            "seeing_fwhm_uncertainty",
            math.nan if uncertainty is None else uncertainty.to_value(u.arcsec),
        )
    return request


def decisions_table(judgments: Iterable[Judgment]) -> QTable:
    """One row a claim: name, kind, quantity, verdict, value, uncertainty, limits, unit, probability, reason."""

    def limit(value: u.Quantity | None, unit: u.UnitBase) -> float:
        return math.nan if value is None else float(u.Quantity(value).to_value(unit))

    rows = list(judgments)
    of = [j.decision for j in rows]
    return QTable(
        {
            "name": [d.claim.name for d in of],
            "kind": ["requirement" if d.claim.requirement else "claim" for d in of],
            "quantity": [j.entry.quantity for j in rows],
            "verdict": [d.verdict for d in of],
            "value": [float(d.measured.value.value) for d in of],
            "uncertainty": [float(d.measured.uncertainty.value) for d in of],
            "at_least": [limit(d.claim.at_least, d.claim.unit) for d in of],
            "at_most": [limit(d.claim.at_most, d.claim.unit) for d in of],
            "unit": [d.claim.unit.to_string() for d in of],
            "probability": [d.probability for d in of],
            "test": [j.test for j in rows],
            "source": [j.entry.source for j in rows],
            "reason": [d.reason for d in of],
            "next_test": [d.next_test for d in of],
        }
    )


def _manifest(outcome: Outcome, started: datetime) -> dict[str, Any]:
    """What went in and with what it was made: enough to run it again and to see that it is the same."""
    import astropy
    import matplotlib

    campaign = outcome.campaign
    engine = _gateway.about()
    base = campaign.path.parent.resolve()
    return {
        "format": "starassay-report-1",
        "campaign": {
            "file": campaign.path.name,
            "sha256": checksum(campaign.path),
            "text": campaign.text,
        },
        "run_again": f"starassay run {campaign.path.name}",
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
                "sha256": checksum(path),
            }
            for path in campaign.files
        ],
        "tests": [
            {
                "kind": t.test.kind,
                "name": t.test.name,
                "results": [part.slug for part in t.parts],
                "failures": list(t.failures),
            }
            for t in outcome.tests
        ],
    }


def _require_ours(folder: Path) -> None:
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


def _write(outcome: Outcome, manifest: dict[str, Any], page: str) -> None:
    """Write the folder under a temporary name and exchange it for the old one."""
    folder = outcome.folder
    part = folder.with_name(f".{folder.name}.{os.getpid()}.part")
    shutil.rmtree(part, ignore_errors=True)
    try:
        results = part / "results"
        results.mkdir(parents=True)
        for test in outcome.tests:
            for piece in test.parts:
                piece.result.write_json(results / f"{piece.slug}.json")
                piece.result.table.write(results / f"{piece.slug}.ecsv", format="ascii.ecsv")
        if outcome.judgments:
            decisions_table(outcome.judgments).write(part / "decisions.ecsv", format="ascii.ecsv")
        record = {
            "decisions": [j.decision.to_dict() for j in outcome.judgments],
            "advice": outcome.advice.to_dict(),
            "values": {
                t.test.name: {k: to_plain(v) for k, v in t.values.items()} for t in outcome.tests
            },
        }
        (part / "decisions.json").write_text(json_text(record), encoding="utf-8")
        (part / REPORT).write_text(page, encoding="utf-8")
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
    finally:
        shutil.rmtree(part, ignore_errors=True)

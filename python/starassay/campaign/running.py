"""Runs a campaign: every test, then the decisions, then the report folder.

A frame that fails becomes a sentence in the report; the other tests go on.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

from astropy import units as u

from .. import errors
from ..decisions.advice import advise
from ..results import Note
from .description import Campaign, Test
from .folder import REPORT, make_manifest, require_ours, write_folder
from .judging import judge
from .kinds import kind_of
from .outcome import Outcome, TestOutcome
from .parts import Part, Value
from .reading import read_campaign
from .report import render


def run_campaign(
    campaign: Campaign | str | Path,
    *,
    out: str | Path | None = None,
    progress: bool = False,
    report: Callable[[str], None] | None = None,
) -> Outcome:
    """Run every test of a campaign and write the report folder.

    Parameters
    ----------
    campaign : Campaign or path
        From `read_campaign`, or the file.
    out : path
        Report folder; ``report`` beside the campaign file by default.
    progress : bool
        Show a bar.
    report : callable
        Receives a phrase for each step.

    Returns
    -------
    Outcome
        Results by test, decisions, and the paths written.
    """
    if not isinstance(campaign, Campaign):
        campaign = read_campaign(campaign)
    folder = Path(out) if out is not None else campaign.path.parent / "report"
    require_ours(folder)
    started = datetime.now(timezone.utc)
    with _Steps(len(campaign.frames) + 3, progress, report) as steps:
        tests = tuple(_measure(campaign, test, steps) for test in campaign.tests)
        steps.next("deciding")
        judgments = tuple(judge(campaign, entry, tests) for entry in campaign.claims)
        advice = advise(_advice_request(campaign, tests))
        outcome = Outcome(campaign, tests, judgments, advice, folder, folder / REPORT)
        steps.next("drawing the report")
        manifest = make_manifest(outcome, started)
        page = render(outcome, manifest)
        steps.next("writing the report")
        write_folder(outcome, manifest, page)
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


def _advice_request(campaign: Campaign, tests: Iterable[TestOutcome]) -> dict[str, Any]:
    """What the tests know that helps to say what limits the images."""
    request: dict[str, Any] = {
        "design": campaign.telescope.design,
        "aperture_mm": campaign.telescope.aperture.to_value(u.mm),
        "focal_length_mm": campaign.telescope.focal_length.to_value(u.mm),
    }
    for outcome in tests:
        kind = kind_of(outcome.test)
        if outcome.parts:
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

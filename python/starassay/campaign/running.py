"""Runs a campaign: every test, then the decisions, then the report folder.

A measurement that fails becomes a sentence in the report; the others go on. What was measured before from the same
files with the same settings is not measured again (see `keeping`).
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Callable, Iterable
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

from astropy import units as u
from astropy.time import Time

from .. import _units, errors
from .._gateway import told
from .._interrupts import was_interrupted
from ..decisions.advice import advise
from ..decisions.deciding import raw_quantity, stated_quantity
from ..decisions.means import combine_quantities
from ..results import Measured, Note, say
from ..measurements._declaring import Setup
from .advising import with_remedies
from .answering import answer_for
from .description import Campaign, Test
from .drawing import Ahead
from .folder import REPORT, make_manifest, require_ours, write_folder
from .judging import judge
from .keeping import Checksums, Kept
from .outcome import Outcome, Piece, TestOutcome
from .reading import read_campaign
from .report import render


_SEASON_DAYS = 100.0
"""Longest time between the frames of one entry (a judgment, no source)."""


def run_campaign(
    campaign: Campaign | str | Path,
    *,
    out: str | Path | None = None,
    fresh: bool = False,
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
    fresh : bool
        Measure everything again, also what an earlier run measured from the same files with the same settings.
    progress : bool
        Show a bar.
    report : callable
        Receives a phrase for each step.

    Returns
    -------
    Outcome
        Results by test, decisions, and the paths written.
    """
    _units.flag(progress, "progress")
    fresh = _units.flag(fresh, "fresh")
    if report is not None and not callable(report):
        raise errors.InputError(
            f"report is {report!r}; give a function that takes a text.",
            code="campaign.report",
            argument="report",
        )
    if not isinstance(campaign, Campaign):
        campaign = read_campaign(_units.path_of(campaign, "campaign"))
    folder = _units.path_of(out, "out") if out is not None else campaign.path.parent / "report"
    require_ours(folder)
    sums = Checksums()
    kept = Kept(folder, campaign.path.parent, sums, fresh=fresh)
    started = datetime.now(timezone.utc)
    # A result is drawn in about the time of measuring a frame.
    drawn = sum(len(t.measurement.groups(t.files)) for t in campaign.tests)
    with _Steps(len(campaign.frames) + drawn + 2, progress, report) as steps, Ahead() as ahead:
        tests = tuple(_measure(campaign, test, kept, steps, ahead) for test in campaign.tests)
        steps.next("deciding")
        judgments = tuple(judge(campaign, entry, tests) for entry in campaign.claims)
        advice = advise(_advice_request(campaign, tests))
        advice = with_remedies(advice, tests, judgments, campaign.telescope)
        answer = answer_for(campaign.decision, judgments, advice, started.date())
        outcome = Outcome(
            campaign, tests, judgments, advice, answer, folder, folder / REPORT, kept.word
        )
        manifest = make_manifest(outcome, started, sums)
        page = render(outcome, manifest, kept, ahead, steps.draw)
        steps.next("writing the report")
        write_folder(outcome, manifest, page, kept)
    return outcome


class _Steps:
    """A bar over the whole campaign."""

    def __init__(self, total: int, bar: bool, say: Callable[[str], None] | None) -> None:
        self._say = say
        self._bar: Any = None
        self._done = self._ahead = 0
        self._told = told(self._move)
        if bar:
            from tqdm.auto import tqdm

            self._bar = tqdm(
                total=total,
                leave=False,
                dynamic_ncols=True,
                bar_format="{desc}: {percentage:3.0f}%|{bar}| {elapsed}",
            )

    def __enter__(self) -> _Steps:
        self._told.__enter__()
        return self

    def __exit__(self, *_: object) -> None:
        self._told.__exit__(None, None, None)
        if self._bar is not None:
            self._bar.close()

    def next(self, phrase: str, count: int = 1) -> None:
        """One step on; `phrase` says what comes now."""
        if self._say is not None:
            self._say(phrase)
        self._done += self._ahead
        self._ahead = count
        if self._bar is not None:
            self._bar.set_description_str(phrase, refresh=False)
            self._move(0.0)

    def draw(self, label: str, share: float) -> None:
        """A result that is drawn: a new step, or a share of it."""
        if share == 0.0:
            self.next(f"drawing {label}")
        else:
            self._move(share)

    def _move(self, share: float) -> None:
        """The bar to a share of the step that is being made; it never goes back."""
        if self._bar is not None:
            self._bar.update(max(0.0, self._done + share * self._ahead - self._bar.n))


def _measure(
    campaign: Campaign, test: Test, kept: Kept, steps: _Steps, ahead: Ahead
) -> TestOutcome:
    """One test; what goes wrong with a frame becomes a sentence."""
    measurement = test.measurement
    pieces: list[Piece] = []
    failures: list[str] = []
    measured = found_before = 0
    for files in measurement.groups(test.files):
        names = [f.name for group in files.values() for f in group]
        steps.next(f"{test.name}: {names[0]}", len(names))
        setup = Setup(
            files=files,
            options=_options(campaign, test),
            telescope=campaign.telescope.optics,
            camera=campaign.camera.overrides(),
        )
        try:
            facts = kept.facts(measurement, test.name, setup)
            parts = None if facts is None else kept.find(facts)
            if parts is not None:
                found_before += 1
            else:
                parts = measurement.measure(setup)
                measured += 1
                if facts is not None:
                    kept.keep(facts, setup, parts)
        except errors.EngineUnavailableError:
            raise
        except Exception as error:
            if was_interrupted(error):
                raise
            text = _failure(error)
            failures.append(
                text if any(n in text for n in names) else f"{', '.join(names)}: {text}"
            )
            continue
        for number, part in enumerate(parts):
            # A measurement of one thing is called by its test, one of many by its frame.
            named = (test.name,) if measurement.together else (test.name, part.label)
            slug = slug_of(measurement.area, *named)
            pieces.append(Piece(part.label, slug, part.result, part.aside, facts, number))
            if kept.pictures(facts, number) is None:
                ahead.begin(part.result)
    counted = [p.result.quantities for p in pieces if not p.aside or not test_is_own(test)]
    quantities, notes = combine_quantities(counted) if counted else ({}, ())
    apart = _far_apart(pieces)
    if apart is not None:
        notes = (*notes, apart)
        quantities = {
            name: dataclasses.replace(q, doubts=(*q.doubts, apart.text))
            for name, q in quantities.items()
        }
    return TestOutcome(
        test, tuple(pieces), quantities, tuple(failures), notes, measured, found_before
    )


def _failure(error: Exception) -> str:
    """What went wrong, in one line; a fault of ours says that it is one."""
    text = " ".join(str(error).split())
    if isinstance(error, (errors.StarAssayError, OSError)):
        return text
    if isinstance(error, MemoryError):
        return f"not enough memory. {text or 'Close other programs or use smaller frames.'}"
    return f"a fault of StarAssay's own ({type(error).__name__}: {text}). Please report it."


def _far_apart(pieces: Iterable[Piece]) -> Note | None:
    """A doubt when the frames of one entry span more than a season: telescopes change in that time."""
    dated = sorted(
        (frame["start"], frame["name"])
        for piece in pieces
        for frame in piece.result.conditions.get("frames", ())
        if frame.get("start")
    )
    if len(dated) < 2:
        return None
    days = float(Time(dated[-1][0]).mjd - Time(dated[0][0]).mjd)
    if days <= _SEASON_DAYS:
        return None
    return say(
        "decision.frames-far-apart",
        f"{dated[0][1]} was taken on {dated[0][0][:10]}, {dated[-1][1]} on {dated[-1][0][:10]}, "
        f"{days:.0f} days apart: they need not show one state of the telescope. Give each its own entry.",
    )


def test_is_own(test: Test) -> bool:
    """Whether it was taken with the telescope of the campaign."""
    return "other_telescope" not in test.options


def slug_of(*names: str) -> str:
    """A file name of plain letters."""
    return re.sub(r"[^a-z0-9]+", "-", "-".join(names).lower()).strip("-")


def _options(campaign: Campaign, test: Test) -> dict[str, Any]:
    """What the entry says, and what the campaign says for all entries."""
    known = {o.name for o in test.measurement.options}
    shared = {"orientation": campaign.camera.orientation}
    return {**{k: v for k, v in shared.items() if k in known}, **test.options}


def _advice_request(campaign: Campaign, tests: Iterable[TestOutcome]) -> dict[str, Any]:
    """What the tests know that helps to say what limits the images; the first of a name counts."""
    scope, site = campaign.telescope, campaign.site
    own = [t for t in tests if t.own]
    request: dict[str, Any] = {
        "design": scope.design,
        "aperture_mm": scope.aperture.to_value(u.mm),
        "focal_length_mm": scope.focal_length.to_value(u.mm),
        "pupil": scope.optics.pupil_request(),
        "quantities": [raw_quantity(q) for t in own for q in t.quantities.values()],
    }
    if site.seeing is not None:
        # Stated by the observer: used when no measurement gives it.
        unknown = math.nan * u.arcsec
        stated = Measured(
            site.seeing, unknown if site.seeing_uncertainty is None else site.seeing_uncertainty
        )
        request["quantities"].append(stated_quantity("seeing", stated))
    for outcome in own:
        for piece in outcome.pieces:
            for key, value in piece.result.advice().items():
                request.setdefault(key, value)
    return request

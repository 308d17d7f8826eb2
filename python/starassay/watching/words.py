"""What is said of a frame and of a whole watch: for a terminal and for the page."""

from __future__ import annotations

import numpy as np

from ..results import format_measured
from .progress import Change, Forecast, Mean
from .session import Reading, Session


class Told:
    """Sentences beside the readings, each said once as long as its cause lasts."""

    def __init__(self) -> None:
        self._known: set[str] = set()
        self._lines: list[str] = []

    def once(self, cause: str, text: str) -> None:
        """Say it unless it was said."""
        if cause not in self._known:
            self._known.add(cause)
            self._lines.append(text)

    def forget(self, cause: str, text: str) -> None:
        """The cause is gone: say so if it was told of."""
        if cause in self._known:
            self._known.remove(cause)
            self._lines.append(text)

    def drop(self, cause: str) -> None:
        """The cause is gone, and a reading says so."""
        self._known.discard(cause)

    def take(self) -> list[str]:
        """What was not fetched yet."""
        lines, self._lines = self._lines, []
        return lines


def amount(mean: Mean, unit: str) -> str:
    """A mean with its bar."""
    return format_measured(mean.size, mean.bar, unit)


def change_words(change: Change | None, unit: str) -> str:
    """Better, worse or not decided yet, with by how much and how sure."""
    if change is None:
        return "nothing to compare with yet"
    if np.isnan(change.chance):
        return "not decided yet: no two frames stand between two turns, so nothing tells how far frames scatter; take one more"
    less = format_measured(abs(change.less), change.bar, unit)
    if change.verdict == "not decided yet":
        way = "less" if change.less > 0 else "more"
        return f"not decided yet: {less} {way} than before the turn; one more frame tells more"
    return f"{change.verdict}: {less} {'less' if change.verdict == 'better' else 'more'} than before the turn"


def change_in_short(change: Change | None, unit: str) -> str:
    """The same for a table."""
    if change is None:
        return ""
    if np.isnan(change.chance):
        return change.verdict
    return f"{change.verdict}, {format_measured(-change.less, change.bar, unit)}"


def forecast_words(found: Forecast | None, unit: str) -> str:
    """What the last turn again would do; "" where that is not told."""
    if found is None:
        return ""
    left = f"{found.left:.2g} {unit}".strip()
    if found.gain < 0.15:
        return f"More or less of the last turn changes little: about {left} would be left, which is another screw's."
    way = "on in the same way" if found.times > 0 else "back"
    return f"Turn the last screw {way} by {abs(found.times):.1f} times the last turn: that leaves about {left}."


def line(reading: Reading, unit: str) -> str:
    """One frame in one line of a terminal."""
    head = f"{reading.number:>3}  {reading.name}  "
    took = f"  [{reading.seconds:.1f} s]" if np.isfinite(reading.seconds) else ""
    if reading.sight is None:
        return f"{head}not measured: {reading.trouble}"
    if reading.trouble:
        return f"{head}{reading.sight.line}  ({reading.trouble}){took}"
    told = f"  {change_words(reading.change, unit)}" if reading.change is not None else ""
    return f"{head}{reading.sight.line}{told}{took}"


def summary(session: Session) -> str:
    """A watch in one line."""
    readings = list(session)
    counted = sum(r.counts for r in readings)
    aside = sum(r.sight is not None and not r.counts for r in readings)
    failed = sum(r.sight is None for r in readings)
    if not readings:
        return "No frame came."
    groups = [g for g in session.groups if any(r.counts for r in g.readings)]
    said = [f"{counted} frame{'' if counted == 1 else 's'} counted"]
    said += [f"{aside} shown and not counted"] if aside else []
    said += [f"{failed} not measured"] if failed else []
    turns = len(groups) - 1
    text = ", ".join(said) + (f", {turns} turn{'' if turns == 1 else 's'}" if turns > 0 else "")
    means = session.means()
    if not means:
        return text + "."
    unit, number = session.watch.unit, session.watch.number
    first, last = means[min(means)], means[max(means)]
    if len(means) == 1:
        return f"{text}: {number} {amount(last, unit)}."
    from .progress import compare

    verdict = compare(first, last).verdict
    word = {"not decided yet": "better or worse is not decided"}.get(verdict, verdict)
    return f"{text}: {number} {amount(first, unit)} at first, {amount(last, unit)} at last, {word}."

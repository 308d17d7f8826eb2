"""Timing two ways of doing the same thing, side by side in one run.

Peer and ours take turns, peer-ours-peer-ours, so that a machine that slows down slows both. Quoted
is the ratio of the minima (the least disturbed runs) and, beside it, that of the medians. Work of
other processes during the run is measured and said.
"""

from __future__ import annotations

import dataclasses
import os
import statistics
import time
from collections.abc import Callable
from typing import Any


@dataclasses.dataclass(frozen=True)
class Row:
    """One line of the table.

    Attributes
    ----------
    task : str
        What is done, on what.
    peer : str
        The peer and its version, with the mode it runs in.
    theirs, ours : callable
        Do the task once and return what it found.
    agree : callable
        Takes (ours, theirs) and says in a few words, with figures, how far the two agree.
    bar : float or None
        The ratio we set out to reach.
    peer_repeats : int or None
        Fewer repeats for a slow peer.
    """

    task: str
    peer: str
    theirs: Callable[[], Any]
    ours: Callable[[], Any]
    agree: Callable[[Any, Any], str]
    bar: float | None = None
    peer_repeats: int | None = None


@dataclasses.dataclass(frozen=True)
class Timing:
    """What was measured for one row; seconds."""

    row: Row
    theirs: tuple[float, ...]
    ours: tuple[float, ...]
    agreement: str
    foreign_cores: float

    @property
    def ratio(self) -> float:
        """Peer's least time over our least time."""
        return min(self.theirs) / min(self.ours)

    @property
    def ratio_of_medians(self) -> float:
        """The same with medians."""
        return statistics.median(self.theirs) / statistics.median(self.ours)


def _busy_seconds() -> float:
    """CPU seconds that the whole machine has worked (user, nice, system, irq, softirq, steal)."""
    with open("/proc/stat", encoding="ascii") as stat:
        fields = [int(x) for x in stat.readline().split()[1:9]]
    user, nice, system, _idle, _iowait, irq, softirq, steal = fields
    return (user + nice + system + irq + softirq + steal) / os.sysconf("SC_CLK_TCK")


def _own_seconds() -> float:
    t = os.times()
    return t.user + t.system + t.children_user + t.children_system


def run_row(row: Row, repeats: int = 5, warmups: int = 8) -> Timing:
    """Time one row.

    Parameters
    ----------
    row : Row
        What to do.
    repeats : int
        Turns of each side; ours may take more turns between two of a slow peer.
    warmups : int
        Our uncounted runs first: .NET compiles a method again once it is known to be hot, and
        takes memory from the system the first few times. The peer gets one.

    Returns
    -------
    Timing
        All times, the agreement, and how many cores others used meanwhile.
    """
    theirs_result = row.theirs()
    ours_result = None
    for _ in range(warmups):
        ours_result = row.ours()
    theirs: list[float] = []
    ours: list[float] = []
    peer_turns = row.peer_repeats or repeats
    wall, busy, own = time.perf_counter(), _busy_seconds(), _own_seconds()
    for turn in range(repeats):
        if turn < peer_turns:
            start = time.perf_counter()
            theirs_result = row.theirs()
            theirs.append(time.perf_counter() - start)
        start = time.perf_counter()
        ours_result = row.ours()
        ours.append(time.perf_counter() - start)
    wall = time.perf_counter() - wall
    foreign = max(0.0, (_busy_seconds() - busy) - (_own_seconds() - own)) / wall
    return Timing(row, tuple(theirs), tuple(ours), row.agree(ours_result, theirs_result), foreign)


def _seconds(value: float) -> str:
    return f"{value * 1e3:.3g} ms" if value < 1 else f"{value:.3g} s"


def markdown(timings: list[Timing]) -> str:
    """The table: one line a row, least times, ratio of minima (of medians), agreement."""
    lines = [
        "| task | peer | peer's time | our time | ratio (of medians) | bar | agreement | others' load |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for t in timings:
        bar = "" if t.row.bar is None else f"{t.row.bar:g} x"
        if t.row.bar is not None:
            bar += " reached" if t.ratio >= t.row.bar else " **falls short**"
        lines.append(
            f"| {t.row.task} | {t.row.peer} | {_seconds(min(t.theirs))} | {_seconds(min(t.ours))} "
            f"| **{t.ratio:.1f}** ({t.ratio_of_medians:.1f}) | {bar} | {t.agreement} "
            f"| {t.foreign_cores:.1f} cores |"
        )
    return "\n".join(lines)

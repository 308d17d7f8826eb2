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
from collections.abc import Callable, Mapping, Sequence
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
    bars : dict of int to float
        The ratios we set out to reach, by the width of the vectors in bits; none for a width that is not there.
    peer_repeats : int or None
        Fewer repeats for a slow peer.
    """

    task: str
    peer: str
    theirs: Callable[[], Any]
    ours: Callable[[], Any]
    agree: Callable[[Any, Any], str]
    bars: Mapping[int, float] = dataclasses.field(default_factory=dict)
    peer_repeats: int | None = None


@dataclasses.dataclass(frozen=True)
class Timing:
    """What was measured for one row with vectors of one width; plain data, so that it can come from another process.

    Attributes
    ----------
    task, peer, agreement : str
        As in the row; what `agree` said.
    bits : int
        Width of the engine's vectors.
    theirs, ours : sequence of float
        Seconds of each turn.
    foreign_cores : float
        How many cores others used meanwhile.
    bar : float or None
        The ratio we set out to reach with this width.
    """

    task: str
    peer: str
    bits: int
    theirs: Sequence[float]
    ours: Sequence[float]
    agreement: str
    foreign_cores: float
    bar: float | None

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


def run_row(row: Row, bits: int, repeats: int = 5, warmups: int = 8) -> Timing:
    """Time one row.

    Parameters
    ----------
    row : Row
        What to do.
    bits : int
        Width of the engine's vectors in this process.
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
    said = row.agree(ours_result, theirs_result)
    return Timing(row.task, row.peer, bits, theirs, ours, said, foreign, row.bars.get(bits))


def _seconds(value: float) -> str:
    return f"{value * 1e3:.3g} ms" if value < 1 else f"{value:.3g} s"


def markdown(timings: Sequence[Timing]) -> str:
    """The table: a row a task, for each width the ratio of the least times (of the medians) and its bar; below it what both sides found."""
    widths = sorted({t.bits for t in timings}, reverse=True)
    tasks = list(dict.fromkeys((t.task, t.peer) for t in timings))
    heads = " | ".join(f"{bits} bits: ours | ratio (of medians) | bar" for bits in widths)
    lines = [f"| task | peer | its time | {heads} |", "|---" * (3 + 3 * len(widths)) + "|"]
    found = {(t.task, t.peer, t.bits): t for t in timings}
    for task, peer in tasks:
        rows = [found.get((task, peer, bits)) for bits in widths]
        cells = " | ".join("| |" if t is None else _cells(t) for t in rows)
        least = min(min(t.theirs) for t in rows if t is not None)
        lines.append(f"| {task} | {peer} | {_seconds(least)} | {cells} |")
    lines += [
        "",
        "What both sides found, and how many cores others used meanwhile (most over the widths):",
        "",
    ]
    for task, peer in tasks:
        rows = [t for t in timings if (t.task, t.peer) == (task, peer)]
        said = dict.fromkeys(t.agreement for t in rows)
        lines.append(
            f"- {task}; {peer}: {' / '.join(said)}; {max(t.foreign_cores for t in rows):.1f} cores"
        )
    return "\n".join(lines)


def _cells(t: Timing) -> str:
    bar = ""
    if t.bar is not None:
        bar = f"{t.bar:g} " + ("reached" if t.ratio >= t.bar else "**falls short**")
    return f"{_seconds(min(t.ours))} | **{t.ratio:.1f}** ({t.ratio_of_medians:.1f}) | {bar}"

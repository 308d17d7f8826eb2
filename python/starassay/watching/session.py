"""What was seen since the watch began: frames, in groups between two turns."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

import numpy as np
from astropy import units as u

from ..measurements._watching import Sight, Watch
from .progress import (
    Change,
    Forecast,
    Mean,
    Point,
    compare,
    forecast,
    is_change,
    mean_of,
    scatter_of,
)


@dataclasses.dataclass(frozen=True)
class Reading:
    """One frame as it was measured, or why it was not.

    Attributes
    ----------
    number : int
        Its place in the watch, from 1.
    name : str
        Of the file.
    group : int
        Number of turns before it.
    sight : Sight or None
        What it says; None where it could not be measured.
    trouble : str
        Why it could not be measured, or is not counted; "" when all is well.
    seconds : float
        From when the file was first seen whole to when the page shows it; NaN until it does.
    change : Change or None
        From the frames before the last turn to those since.
    """

    number: int
    name: str
    group: int
    sight: Sight | None = None
    trouble: str = ""
    seconds: float = float("nan")
    change: Change | None = None

    @property
    def counts(self) -> bool:
        """Whether it is taken into means."""
        return self.sight is not None and not self.trouble


@dataclasses.dataclass
class Group:
    """Frames between two turns.

    Attributes
    ----------
    number : int
        Turns before it.
    note : str
        What was said of the turn.
    readings : list of Reading
        In order of time.
    """

    number: int
    note: str = ""
    readings: list[Reading] = dataclasses.field(default_factory=list)


class Session:
    """Frames in groups, and what they say together.

    Parameters
    ----------
    watch : Watch
        What is watched.
    """

    def __init__(self, watch: Watch) -> None:
        self.watch = watch
        self.groups = [Group(0)]
        self.count = 0

    def point(self, sight: Sight) -> Point:
        """A sight's number in the watch's unit."""
        unit = u.Unit(self.watch.unit)
        return Point(
            np.array([float(p.value.to_value(unit)) for p in sight.point]),
            np.array([float(p.uncertainty.to_value(unit)) for p in sight.point]),
        )

    def points(self, group: Group) -> list[Point]:
        """What counts of a group."""
        return [self.point(r.sight) for r in group.readings if r.counts and r.sight is not None]

    def means(self) -> dict[int, Mean]:
        """Mean of each group that has frames, by its number."""
        points = {g.number: self.points(g) for g in self.groups}
        scatter = scatter_of(list(points.values()), self.watch.steady)
        return {number: mean_of(some, scatter) for number, some in points.items() if some}

    @property
    def last_two(self) -> tuple[Mean | None, Mean | None]:
        """Means before the last turn and since; the former None without frames, the latter as well."""
        means = self.means()
        now = means.pop(self.groups[-1].number, None)
        return (means[max(means)] if means else None, now)

    def change(self) -> Change | None:
        """Whether it is better since the last turn; None without frames on both sides."""
        before, now = self.last_two
        return compare(before, now) if before is not None and now is not None else None

    def forecast(self) -> Forecast | None:
        """What the last turn again would do."""
        before, now = self.last_two
        return forecast(before, now) if before is not None and now is not None else None

    def turn(self, note: str = "") -> bool:
        """Begin a new group; one without frames takes the note instead. Whether a new one was begun."""
        last = self.groups[-1]
        if not last.readings:
            last.note = "; ".join(part for part in (last.note, note) if part)
            return False
        self.groups.append(Group(last.number + 1, note))
        return True

    def looks_turned(self, sight: Sight) -> bool:
        """Whether a frame lies farther from those since the last turn than chance allows."""
        points = [self.points(g) for g in self.groups]
        return is_change(points[-1], scatter_of(points, self.watch.steady), self.point(sight))

    def add(self, reading: Reading) -> Reading:
        """Take a frame in; with what it changes."""
        self.count += 1
        reading = dataclasses.replace(reading, number=self.count, group=self.groups[-1].number)
        self.groups[-1].readings.append(reading)
        reading = dataclasses.replace(reading, change=self.change() if reading.counts else None)
        self.groups[-1].readings[-1] = reading
        return reading

    def replace(self, reading: Reading) -> None:
        """Put a reading in the place of that with the same number."""
        for group in self.groups:
            group.readings = [reading if r.number == reading.number else r for r in group.readings]

    def __iter__(self) -> Iterator[Reading]:
        for group in self.groups:
            yield from group.readings

"""What a measurement proposes for a folder of frames: entries of a draft campaign file."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from astropy import units as u

from ..imaging.glances import Glance

#: Frames of one star field at so many focuser positions are a focus run.
LEAST_RUN = 5


@dataclasses.dataclass(frozen=True)
class Draft:
    """A proposed entry.

    Attributes
    ----------
    title : str
        Its name in the report.
    files : dict of str to tuple of Path
        By role.
    filter : str
        Name of the filter as the headers have it; "" when they are silent.
    keys : dict
        What can be said already, by the option's name.
    asks : dict of str to str
        Keys that a person must fill in, each with what is asked.
    remarks : tuple of str
        Sentences for the person who reads the draft.
    """

    title: str
    files: dict[str, tuple[Path, ...]]
    filter: str = ""
    keys: dict[str, Any] = dataclasses.field(default_factory=dict)
    asks: dict[str, str] = dataclasses.field(default_factory=dict)
    remarks: tuple[str, ...] = ()

    @property
    def frames(self) -> tuple[Path, ...]:
        """Every file of it."""
        return tuple(path for files in self.files.values() for path in files)


def together(glances: Iterable[Glance], shows: str) -> list[list[Glance]]:
    """Frames that show the same kind of thing, grouped by object, filter and size; in order of time, else of name."""
    groups: dict[Any, list[Glance]] = {}
    for one in glances:
        if one.shows == shows:
            groups.setdefault(one.setting, []).append(one)
    return [sorted(group, key=_when) for group in groups.values()]


def focus_runs(glances: Iterable[Glance]) -> list[list[Glance]]:
    """Star fields taken at five or more different places of the focuser, in order of the place."""
    found = []
    for group in together(glances, "dots"):
        at = [one for one in group if one.facts.focus_position is not None]
        places = {_place(one) for one in at}
        # A night's refocusing gives several frames a place; a run gives one or two.
        if len(places) >= LEAST_RUN and len(at) <= 2 * len(places):
            found.append(sorted(at, key=_place))
    return found


def step_asked(group: Iterable[Glance]) -> dict[str, str]:
    """What is asked where headers count the focuser's steps and do not say how long one is."""
    places = [one.facts.focus_position for one in group]
    steps = any(place is not None and not place.unit.is_equivalent(u.um) for place in places)
    return (
        {"focuser_step": 'how far one step of the focuser moves the sensor, such as "1.2 um"'}
        if steps
        else {}
    )


def titled(kind: str, group: Sequence[Glance]) -> str:
    """A name for an entry: what it is, and of what."""
    one = group[0].facts
    return ", ".join(part for part in (kind, one.object, one.filter) if part)


def paths(group: Iterable[Glance]) -> tuple[Path, ...]:
    """The files of some frames."""
    return tuple(one.path for one in group)


def _when(one: Glance) -> tuple[float, str]:
    """By start of the exposure; without one, by name with its numbers as numbers."""
    time = one.facts.time
    name = re.sub(r"\d+", lambda found: found[0].zfill(8), str(one.path))
    return (0.0 if time is None else float(time.mjd), name)


def _place(one: Glance) -> float:
    place = one.facts.focus_position
    assert place is not None
    return float(place.value)

"""The one way from frames and options to a result: convert, call, wrap, merge notes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, TypeVar

import numpy as np
from astropy import units as u

from ._gateway import call
from ._record import Request
from ._records import MEASUREMENTS
from .imaging.frame import Frame
from .results import Note, notes_from_engine

R = TypeVar("R")


def measure(
    area: str,
    fields: Request,
    result: type[R],
    frames: Frame | Sequence[Frame],
    *,
    given: Mapping[str, Any],
    engine: Mapping[str, Any] | None = None,
    arrays: Mapping[str, np.ndarray] | None = None,
    notes: Iterable[Note] = (),
    after: Callable[[Mapping[str, Any]], Iterable[Note]] | None = None,
    threads: int = 0,
    progress: bool = False,
    **more: Any,
) -> R:
    """Make one measurement.

    Parameters
    ----------
    area : str
        Its one name, for example "stars".
    fields : Request
        Its request as `starassay._records` has it.
    result : type
        Class of the result: a generated record with what the face adds.
    frames : Frame or sequence of Frame
        One frame, or those that are measured together.
    given : mapping
        Options by public name, as the user typed them; None leaves the engine's default.
    engine : mapping, optional
        Further fields as the engine's record has them (nested records).
    arrays : mapping, optional
        Arrays that are handed over by name.
    notes : iterable of Note
        What is to be said beside the engine's notes.
    after : callable, optional
        From the engine's answer to what is to be said of it beside them.
    threads, progress
        As in `starassay._gateway.call`.
    **more
        Attributes that the result's class adds.

    Returns
    -------
    result
        With the doubts of `notes` and of the frames first, then the engine's notes, then the rest.
    """
    request = {**fields.fill(**given), **(engine or {})}
    one = isinstance(frames, Frame)
    listed: Sequence[Frame] = [frames] if isinstance(frames, Frame) else frames
    named = {"frame": listed[0]} if one else {f"frame{k}": f for k, f in enumerate(listed)}
    raw = call(
        MEASUREMENTS[area][1],
        request,
        frames=named,
        arrays=arrays,
        threads=threads,
        progress=progress,
    )
    said = [
        *notes,
        *(after(raw) if after is not None else ()),
        *(n for f in listed for n in f.notes),
    ]
    heavy = [n.text for n in said if n.level == "doubt"]
    if heavy:
        # What only the face sees (headers, names) forbids a decision as the engine's own doubts do.
        raw["decided"] = False
        for quantity in raw["quantities"]:
            # A contradiction in the headers is the cause of what the engine finds not to fit: it comes first.
            quantity["doubts"] = [*heavy, *quantity["doubts"]]
    causes = [n for n in said if n.level == "doubt"]
    merged = (*causes, *notes_from_engine(raw["notes"]), *said)
    conditions = {"frames": [frame_facts(f) for f in listed], "request": request}
    make: Any = result
    return make.from_engine(raw, notes=tuple(dict.fromkeys(merged)), conditions=conditions, **more)


def frame_facts(frame: Frame) -> dict[str, Any]:
    """What is told about a frame beside its pixels, as plain data."""
    return {
        "name": frame.name,
        "width": int(frame.shape[1]),
        "height": int(frame.shape[0]),
        "exposure": None if frame.exposure is None else f"{frame.exposure:g}",
        "start": None if frame.time is None else frame.time.isot[:19],
        "filter": frame.filter,
        "pitch": None if frame.pitch is None else f"{frame.pitch.to_value(u.um):g} um",
    }

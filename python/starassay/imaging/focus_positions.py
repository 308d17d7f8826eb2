"""Where the sensor stood in each frame of a focus run: as given, else by the headers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u

from .._units import number, numbers
from ..errors import InputError, StarAssayError
from .frame_sources import open_image


def focus_positions(
    told: Sequence[tuple[str, u.Quantity | None]], positions: Any, focuser_step: Any
) -> np.ndarray:
    """Sensor positions in um.

    Parameters
    ----------
    told : sequence of (str, Quantity or None)
        Name of each frame, and what its header says (`Frame.focus_position`): a length, or steps.
    positions : Quantity, sequence or None
        What goes before the headers.
    focuser_step : Quantity, str or None
        How far a step moves the sensor.

    Returns
    -------
    ndarray
        One position a frame, growing away from the objective.

    Raises
    ------
    InputError
        When neither says it.
    """
    step = np.nan if focuser_step is None else number(focuser_step, "um", "focuser_step")
    if positions is not None:
        given = np.array(numbers(positions, "um", "positions"), dtype=float)
        if len(given) != len(told):
            raise lacking_positions(len(told), len(given))
        return given
    found = []
    for name, place in told:
        if place is None:
            raise lacking_positions(len(told), 0, name)
        if place.unit.is_equivalent(u.um):
            found.append(float(place.to_value(u.um)))
        elif np.isfinite(step):
            found.append(float(place.value) * step)
        else:
            raise InputError(
                f"The header of {name or 'a frame'} has the focuser at {place.value:g} steps, but no length of one. "
                "Say how far a step moves the sensor with focuser_step, or give the positions.",
                argument="focuser_step",
            )
    return np.array(found)


def lacking_positions(frames: int, given: int, silent: str = "") -> InputError:
    """The error of a run with too few or too many positions, or with none where a header is silent."""
    why = f" and the header of {silent} does not say where the focuser stood" if silent else ""
    return InputError(
        f"{frames} frames need {frames} sensor positions, {given or 'none'} are given{why}. Write one for each, in "
        "the order of the frames, growing away from the objective.",
        argument="positions",
    )


def positions_complaint(
    frames: Sequence[Path], options: Mapping[str, Any]
) -> tuple[str, str] | None:
    """What is wrong with a run's positions before any frame is read: which option, and a sentence."""
    given, step = options.get("positions"), options.get("focuser_step")
    if given is None and not all(path.exists() for path in frames):
        return None  # a missing file is the first thing to say, and reading says it
    try:
        told = [(path.name, None if given is not None else _header_place(path)) for path in frames]
        focus_positions(told, given, step)
    except InputError as error:
        return error.argument or "positions", str(error)
    return None


def _header_place(path: Path) -> u.Quantity | None:
    """Where the header says that the sensor stood; a file that cannot be opened says nothing."""
    try:
        return open_image(path, "", None).facts.focus_position
    except StarAssayError:
        return None

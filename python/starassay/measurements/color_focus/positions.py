"""Where the sensor stood in each frame of a focus run, when the headers must say it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from astropy import units as u

from ...errors import InputError


def header_positions(told: Sequence[tuple[str, Any]], focuser_step: Any) -> np.ndarray:
    """Sensor positions in um; none for a single spectrum, which needs none.

    Parameters
    ----------
    told : sequence of (str, Quantity or None)
        Name of each frame and the focuser's place in its header: a length, or a number of steps.
    focuser_step : Quantity or None
        How far one step moves the sensor.

    Returns
    -------
    ndarray
        Growing away from the objective.
    """
    if len(told) < 2:
        return np.array([])
    found = []
    for name, place in told:
        if place is None:
            raise lacking_positions(len(told), 0)
        if place.unit.is_equivalent(u.um):
            found.append(float(place.to_value(u.um)))
        elif focuser_step is not None:
            found.append(float(place.value * focuser_step.to_value(u.um)))
        else:
            raise InputError(
                f"The header of {name} has the focuser at {place.value:g} steps, but no length of one. "
                "Say how far a step moves the sensor with focuser_step, or give the positions.",
                argument="focuser_step",
            )
    return np.array(found)


def lacking_positions(frames: int, given: int) -> InputError:
    """The error of a run with too few or too many positions."""
    return InputError(
        f"{frames} frames need {frames} sensor positions, {given} are given. Write one for each, in the order of "
        "the frames, growing away from the objective.",
        argument="positions",
    )

"""Where the sensor stood in each frame of a focus run: as given, else by the headers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from astropy import units as u

from .._units import number, numbers
from ..errors import InputError


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
            raise InputError(
                f"{len(told)} frames need {len(told)} sensor positions, {len(given)} are given. Write one for each, "
                "in the order of the frames, growing away from the objective.",
                argument="positions",
            )
        return given
    found = []
    for name, place in told:
        if place is None:
            raise InputError(
                f"The header of {name or 'a frame'} does not say where the focuser stood. Give positions: one for each "
                "frame, growing away from the objective.",
                argument="positions",
            )
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

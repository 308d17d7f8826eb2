"""What of the field's sharpness is watched: the corners against the middle, and the map of widths."""

from __future__ import annotations

from typing import Any

import numpy as np

from .._watching import Glimpse, Sight, Watch

_CORNERS = (
    ("lower left", 0, 0),
    ("lower right", 0, -1),
    ("upper left", -1, 0),
    ("upper right", -1, -1),
)


def look(field: Any, _: Any) -> Sight:
    """FWHM of the corners over that of the middle, which the air of the moment hardly changes."""
    line = f"corners over middle {field.corner_to_center}"
    beside = [f"{name} {field.fwhm_map[row, column]:.1f}" for name, row, column in _CORNERS]
    rows, columns = field.fwhm_map.shape
    cell = (field.width - 1) / (columns - 1)
    text = (
        "FWHM over the sensor, bright = wide: "
        + ", ".join(beside)
        + f"; {line}. x to the right, y up, as in the file."
    )
    low, high = np.percentile(field.fwhm_map.value, (2, 99.7))
    legend = f"FWHM over the sensor: dark {low:.1f}, bright {high:.1f} um. x right, y up."
    glimpse = Glimpse(np.asarray(field.fwhm_map.value), 0.0, 0.0, cell, text, (), legend)
    beside.append(f"corners {field.corner_fwhm}")
    return Sight((field.corner_to_center,), line, tuple(beside), glimpse, tuple(field.doubts))


def steer(mean: np.ndarray, bars: np.ndarray) -> str:
    """One frame in focus does not say which corner stands too near."""
    return (
        "Which edge to move is not told by one frame in focus: go on where it got better, back where it got worse, focus the middle after "
        "each turn; a focus run (starassay measure focus-surface) says the shims at once."
    )


def trial(setup: Any) -> np.ndarray:
    """A field of round stars."""
    from ..stars.watching import trial as stars

    return stars(setup)


WATCH = Watch(
    number="corners over middle",
    unit="",
    turned="a screw of the camera's tilting plate, or a shim",
    look=look,
    steer=steer,
    trial=trial,
    # Its bar is that of the fitted field; focus and air of the moment are not in it.
    steady=False,
    caution=(
        "Hold the camera before you loosen anything that carries it, and turn tilting screws against each other in small steps. Sensor "
        "windows and lens cells are the maker's or a qualified person's to open."
    ),
)

"""Maps over the sensor: places in mm from its middle, shades, contours."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..style import INK, sensor_axes


def in_mm(found: Any, pixels: Any, count: int) -> Any:
    """Columns or rows as mm from the middle of the sensor.

    Parameters
    ----------
    found : Result
        With its ``pitch``.
    pixels : array-like
        From 0.
    count : int
        Columns, or rows, of the frame.
    """
    return (np.asarray(pixels) - (count - 1) / 2) * found.pitch.value / 1000


def places(found: Any, across: int, up: int, inset: float = 0.0) -> tuple[Any, Any]:
    """Columns and rows of places over the sensor.

    Parameters
    ----------
    found : Result
        With its ``width`` and ``height``.
    across, up : int
        How many along either side.
    inset : float
        How far from the rim the outer ones stand, as a share of the side.
    """
    x = np.linspace(inset, 1 - inset, across) * (found.width - 1)
    y = np.linspace(inset, 1 - inset, up) * (found.height - 1)
    columns, rows = np.meshgrid(x, y)
    return columns, rows


def draw_map(found: Any, ax: Any, values: Any, **how: Any) -> tuple[Any, Any]:
    """Shades over the sensor; returns the axes and the picture."""
    ax, (wide, high) = sensor_axes(ax, (found.width, found.height), found.pitch.value)
    rim = (-wide / 2, wide / 2, -high / 2, high / 2)
    return ax, ax.imshow(values, origin="lower", extent=rim, interpolation="bilinear", **how)


def draw_contours(found: Any, ax: Any, x: Any, y: Any, values: Any, step: float) -> None:
    """Lines of equal value with their numbers."""
    low, high = np.floor(values.min() / step), np.ceil(values.max() / step)
    lines = ax.contour(
        in_mm(found, x, found.width),
        in_mm(found, y, found.height),
        values,
        levels=np.arange(low, high + 1) * step,
        colors=INK,
        linewidths=0.7,
    )
    ax.clabel(lines, fmt="%g", fontsize=8)

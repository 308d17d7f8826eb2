"""The aperture on a square grid, with soft edges that carry the exact share of each cell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Vane:
    """One straight vane from the centre of the obstruction to the rim.

    Parameters
    ----------
    angle_deg
        Direction in which it runs, from +x towards +y.
    width
        Full width in units of the pupil's radius.
    """

    angle_deg: float
    width: float


@dataclass(frozen=True)
class PupilShape:
    """What lets light through; lengths in units of the pupil's radius, axes as the sensor's.

    Parameters
    ----------
    obstruction
        Central obstruction, ratio of diameters.
    obstruction_centre
        Where its centre lies.
    vanes
        Spider vanes.
    cut
        A second edge that vignettes: (x, y, radius) of a circle, or None.
    """

    obstruction: float = 0.0
    obstruction_centre: tuple[float, float] = (0.0, 0.0)
    vanes: tuple[Vane, ...] = ()
    cut: tuple[float, float, float] | None = None


def grid(samples: int) -> tuple[Array, Array]:
    """Return cell centres (x, y) of a grid that spans the pupil's diameter exactly."""
    line = (np.arange(samples) + 0.5) * (2.0 / samples) - 1.0
    x, y = np.meshgrid(line, line)
    return x, y


def transmission(shape: PupilShape, samples: int) -> Array:
    """Share of each cell that is open, between 0 and 1."""
    x, y = grid(samples)
    cell = 2.0 / samples
    open_share = _disc(x, y, 1.0, cell)
    if shape.obstruction > 0.0:
        cx, cy = shape.obstruction_centre
        open_share = open_share * (1.0 - _disc(x - cx, y - cy, shape.obstruction, cell))
    if shape.cut is not None:
        cx, cy, radius = shape.cut
        open_share = open_share * _disc(x - cx, y - cy, radius, cell)
    for vane in shape.vanes:
        cx, cy = shape.obstruction_centre
        angle = np.deg2rad(vane.angle_deg)
        c, s = np.cos(angle), np.sin(angle)
        along = (x - cx) * c + (y - cy) * s
        across = -(x - cx) * s + (y - cy) * c
        stripe = _side(across + vane.width / 2, -s, c, cell) - _side(
            across - vane.width / 2, -s, c, cell
        )
        open_share = open_share * (1.0 - stripe * _side(along, c, s, cell))
    return open_share


def _disc(x: Array, y: Array, radius: float, cell: float) -> Array:
    distance = np.hypot(x, y)
    safe = np.where(distance > 0.0, distance, 1.0)
    return _side(radius - distance, x / safe, y / safe, cell)


def _side(inside: Array, nx: Array | float, ny: Array | float, cell: float) -> Array:
    """Share of a cell on the inner side of a straight edge.

    `inside` is the signed distance of the cell's centre from the edge and (nx, ny) the edge's
    normal. The share is the distribution function of the sum of two uniform variables (the two
    sides of the cell projected on the normal): a trapezoid's integral.
    """
    a = np.abs(nx) * cell
    b = np.abs(ny) * cell
    wide = np.maximum(a, b)
    narrow = np.maximum(np.minimum(a, b), 1e-9 * cell)

    def ramp(t: Array) -> Array:
        return 0.5 * np.square(np.maximum(t, 0.0))

    half, slope = (wide + narrow) / 2, (wide - narrow) / 2
    share = (
        ramp(inside + half) - ramp(inside + slope) - ramp(inside - slope) + ramp(inside - half)
    ) / (wide * narrow)
    return np.clip(share, 0.0, 1.0)

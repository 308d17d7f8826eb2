"""Which defocused stars of a frame serve, and how far a second frame is shifted."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np

from ... import _records
from ...errors import CannotMeasureError
from ...imaging.frame import Frame
from ..stars import measure_stars

#: Of a ring with the diameter d the half-flux radius is d / sqrt(8) where it is filled; a hole makes it larger.
_FILLED = np.sqrt(8)

_SATURATED = next(
    bit for bit, (name, _) in _records.FLAGS["StarField.flags"].items() if name == "saturated"
)

#: A neighbor with more than this share of the light spoils a disc that it touches.
_NEIGHBOR = 0.005

#: Cells of the sensor along either side, from each of which the brightest star is taken first.
_CELLS = 3


@dataclasses.dataclass(frozen=True)
class Discs:
    """The discs of one frame.

    Attributes
    ----------
    places : ndarray, shape (n, 2)
        Columns and rows, the brightest first.
    flux : ndarray
        adu.
    diameter : float
        Typical outer diameter, pixels.
    saturated : ndarray of bool
        Whether some of the disc is clipped.
    """

    places: np.ndarray
    flux: np.ndarray
    diameter: float
    saturated: np.ndarray


def find(frame: Frame, obstruction: float, threads: int) -> Discs:
    """Every disc of a frame.

    Parameters
    ----------
    frame : Frame
        Out of focus.
    obstruction : float
        Ratio of diameters.
    threads : int
        Worker threads.
    """
    table = measure_stars(frame, fit_profiles="none", threads=threads).table
    flux = np.asarray(table["flux"].value, dtype=float)
    order = np.argsort(-flux)
    bright = order[: min(12, len(order))]
    hfr = np.asarray(table["hfr"].value, dtype=float)[bright]
    size = float(np.nanmedian(hfr)) * _FILLED / np.sqrt(1 + obstruction**2)
    x, y = (np.asarray(table[name].value, dtype=float)[order] for name in ("x", "y"))
    return Discs(
        np.column_stack([x, y]),
        flux[order],
        size,
        (np.asarray(table["flags"])[order] & _SATURATED) != 0,
    )


def shift(first: Discs, second: Discs) -> np.ndarray:
    """By how much the second frame's stars stand elsewhere, pixels: the shift that most of the bright ones agree on.

    Parameters
    ----------
    first, second : Discs
        Of both frames.
    """
    a, b = first.places[:25], second.places[:25]
    near = 0.3 * min(first.diameter, second.diameter) + 2
    tried = (b[None, :, :] - a[:, None, :]).reshape(-1, 2)
    agree = np.array(
        [
            np.sum(np.min(np.hypot(*(a[:, None] + t - b[None]).transpose(2, 0, 1)), axis=1) < near)
            for t in tried
        ]
    )
    # Of the same number the smaller shift: frames of one field are seldom far apart.
    best = np.lexsort((np.hypot(*tried.T), -agree))[0]
    if agree[best] < min(3, len(a)):
        raise CannotMeasureError(
            "Both frames do not show the same stars. Give one frame alone, or two of one field.",
            code="coma-axis.not-one-field",
        )
    pairs = a[:, None] + tried[best] - b[None]
    match = np.argmin(np.hypot(*pairs.transpose(2, 0, 1)), axis=1)
    left = pairs[np.arange(len(a)), match]
    good = np.hypot(*left.T) < near
    return np.asarray(tried[best] - np.median(left[good], axis=0))


def choose(
    found: list[Discs], shifts: list[np.ndarray], shape: tuple[int, int], most: int
) -> np.ndarray:
    """Places in the first frame of stars that are whole, alone and unclipped in every frame, spread over the sensor.

    Parameters
    ----------
    found : list of Discs
        Of each frame.
    shifts : list of ndarray
        Of each frame against the first.
    shape : tuple of int
        Rows and columns.
    most : int
        How many at most.
    """
    first = found[0]
    good = []
    for k, place in enumerate(first.places):
        if all(_serves(d, place + s, shape, first.flux[k]) for d, s in zip(found, shifts)):
            good.append(k)
        if len(good) >= 12 * most:
            break
    rows, columns = shape
    cell = [
        (
            int(_CELLS * first.places[k][0] / columns),
            int(_CELLS * first.places[k][1] / rows),
        )
        for k in good
    ]
    taken: list[int] = []
    for k, c in zip(good, cell):
        if c not in [cell[good.index(t)] for t in taken] and len(taken) < most:
            taken.append(k)
    taken += [k for k in good if k not in taken][: max(0, most - len(taken))]
    # Fainter than a hundredth of the brightest a star adds time and no weight.
    return first.places[[k for k in taken if first.flux[k] > 0.01 * first.flux[good[0]]]]


def _serves(discs: Discs, place: Any, shape: tuple[int, int], flux: float) -> bool:
    away = np.hypot(*(discs.places - place).T)
    own = int(np.argmin(away))
    rim = min(place[0], place[1], shape[1] - 1 - place[0], shape[0] - 1 - place[1])
    if (
        away[own] > 0.5 * discs.diameter
        or discs.saturated[own]
        or rim < 0.5 * discs.diameter + 4
        or not 0.5 * flux < discs.flux[own] < 2 * flux
    ):
        return False
    others = np.delete(np.arange(len(away)), own)
    near = others[away[others] < 1.3 * discs.diameter + 6]
    return not np.any(discs.flux[near] > _NEIGHBOR * discs.flux[own])


def cut(frame: Frame, place: Any, diameter: float) -> tuple[Frame, int, int]:
    """A window round a star as a frame of its own, and the column and row of its first pixel.

    Parameters
    ----------
    frame : Frame
        The whole.
    place : array-like
        Column and row.
    diameter : float
        Of the disc, pixels.
    """
    half = max(1.15 * diameter + 16, 40)
    rows, columns = frame.shape
    x0, x1 = max(0, int(place[0] - half)), min(columns, int(place[0] + half) + 1)
    y0, y1 = max(0, int(place[1] - half)), min(rows, int(place[1] + half) + 1)
    window = (slice(y0, y1), slice(x0, x1))
    return (
        dataclasses.replace(
            frame,
            pixels=np.ascontiguousarray(frame.pixels[window]),
            mask=None if frame.mask is None else frame.mask[window],
            wcs=None,
            notes=(),
            data_section=None,
            bias_section=None,
        ),
        x0,
        y0,
    )

"""What a frame shows at a glance: dots, a disc, a trace, lines, an even light, or nothing.

For sorting a folder of frames, before anyone has said what they are. Nothing is measured here; a
draft that rests on it is for a person to confirm.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np

from .frame_sources import open_image
from .header import HeaderFacts
from .header_exposure import is_dark

#: Rows and columns of the cells that touch each other.
_Spot = tuple[np.ndarray, np.ndarray]

#: Cells along the longer side that a frame is averaged to.
CELLS = 192
#: Cells brighter than the sky by so many of its standard deviations hold light.
BRIGHT = 6.0


@dataclasses.dataclass(frozen=True)
class Glance:
    """One file as it looks.

    Attributes
    ----------
    path : Path
        The file.
    facts : HeaderFacts
        What its header says.
    shape : tuple of int
        Rows and columns.
    solved : bool
        Whether it has a celestial solution.
    shows : str
        "dark", "even", "dots" (stars), "disc" (one star out of focus), "trace" (a star's spectrum),
        "lines" (a lamp's), "nothing".
    width : float
        Of the disc, pixels; 0 otherwise.
    """

    path: Path
    facts: HeaderFacts
    shape: tuple[int, int]
    solved: bool
    shows: str
    width: float = 0.0

    @property
    def words(self) -> str:
        """File name, object and image type, in lower case, for finding words in them."""
        said = (self.path.stem, self.facts.object, self.facts.image_type)
        return " ".join(said).lower().replace("_", " ").replace("-", " ")

    @property
    def setting(self) -> tuple[str, str, tuple[int, int]]:
        """What frames that belong together share: object, filter and size."""
        return self.facts.object, self.facts.filter, self.shape


def glance(path: Path) -> Glance:
    """Look at a file.

    Parameters
    ----------
    path : Path
        A FITS file.

    Returns
    -------
    Glance
        What it shows.

    Raises
    ------
    StarAssayError
        When it holds no image.
    """
    opened = open_image(path, "", None)
    pixels = opened.pixels
    plane = pixels.reshape(-1, *pixels.shape[-2:])[0]
    facts = opened.facts
    shape = (int(plane.shape[0]), int(plane.shape[1]))
    said = facts.image_type.lower()
    if is_dark(facts.image_type) or is_dark(path.stem.replace("_", " ")):
        shows, width = "dark", 0.0
    elif "flat" in said or "flat" in facts.object.lower():
        shows, width = "even", 0.0
    else:
        shows, width = _shows(cells(plane))
        width *= _side(shape)
    return Glance(path, facts, shape, opened.wcs is not None, shows, width)


def cells(plane: np.ndarray) -> np.ndarray:
    """A frame averaged to `CELLS` cells along its longer side.

    Parameters
    ----------
    plane : ndarray
        Pixels as stored.

    Returns
    -------
    ndarray
        Means; a rest at the edges is left out.
    """
    side = _side(plane.shape)
    rows, columns = (n // side for n in plane.shape)
    whole = plane[: rows * side, : columns * side].astype(np.float32)
    whole = np.nan_to_num(whole, copy=False, posinf=0.0, neginf=0.0)
    return whole.reshape(rows, side, columns, side).mean(axis=(1, 3))


def _side(shape: tuple[int, ...]) -> int:
    return max(1, round(max(shape) / CELLS))


def _shows(mean: np.ndarray) -> tuple[str, float]:
    """What the cells show, and the width of a disc in cells."""
    sky = np.median(mean)
    # Of neighbors' differences: a galaxy or a lens's falling off at the edges is no noise.
    noise = 1.4826 * np.median(np.abs(np.diff(mean, axis=1))) / np.sqrt(2)
    level = BRIGHT * max(noise, 1e-6 * abs(sky), 1e-9)
    spots = _spots(mean > sky + level)
    if not spots:
        return "nothing", 0.0
    light = [float((mean - sky)[spot].sum()) for spot in spots]
    first = spots[int(np.argmax(light))]
    high, wide = _size(first)
    along, across = (1, 0) if mean.shape[1] >= mean.shape[0] else (0, 1)
    # A lamp's lines run through the slit, across the longer side of the frame; a star's trace runs along it.
    if sum(_spans(spot, across, along, mean.shape) for spot in spots) >= 3:
        return "lines", 0.0
    if (
        min(wide, high) >= 5
        and max(wide, high) < 1.7 * min(wide, high)
        and max(light) > 0.5 * sum(light)
        and _flat(mean[first] - sky)
    ):
        return "disc", float(max(wide, high))
    if any(_long(first, axis, mean.shape) for axis in (0, 1)) or _ridge(mean, along):
        return "trace", 0.0
    if _in_a_row(spots, light, mean.shape):
        return "lines", 0.0
    if high > 0.6 * mean.shape[0] and wide > 0.6 * mean.shape[1]:
        stars = _spots(mean - _local_median(mean) > 1.5 * level)
        return ("dots" if len(stars) >= 5 else "even"), 0.0
    return "dots", 0.0


def _size(spot: _Spot) -> tuple[int, int]:
    """Rows and columns that a spot reaches over."""
    return int(np.ptp(spot[0])) + 1, int(np.ptp(spot[1])) + 1


def _spans(spot: _Spot, across: int, along: int, shape: tuple[int, ...]) -> bool:
    """Whether a spot goes through most of the frame one way and little of it the other."""
    size = _size(spot)
    return size[across] > 0.6 * shape[across] and size[along] < 0.25 * shape[along]


def _long(spot: _Spot, axis: int, shape: tuple[int, ...]) -> bool:
    """Whether a spot is a streak along an axis of the frame."""
    size = _size(spot)
    return size[axis] > 0.3 * shape[axis] and size[axis] > 4 * size[1 - axis]


def _ridge(mean: np.ndarray, along: int) -> bool:
    """Whether the median along the frame has one narrow peak across it: a trace, whatever lines cross it."""
    profile = np.median(mean, axis=along)
    profile = profile - np.median(profile)
    steps = 1.4826 * np.median(np.abs(np.diff(profile)))
    wide = np.count_nonzero(profile > 0.5 * profile.max())
    return bool(profile.max() > 12 * max(steps, 1e-9) and wide < 0.2 * len(profile))


def _flat(light: np.ndarray) -> bool:
    """A disc is about as bright in most of its places; a star in focus is bright in its middle only."""
    return bool(np.mean(light > 0.3 * np.quantile(light, 0.95)) > 0.5)


def _local_median(mean: np.ndarray, size: int = 9) -> np.ndarray:
    """Median of the cells around each."""
    padded = np.pad(mean, size // 2, mode="edge")
    around = np.lib.stride_tricks.sliding_window_view(padded, (size, size))
    return np.median(around, axis=(2, 3))


def _in_a_row(spots: list[_Spot], light: list[float], shape: tuple[int, ...]) -> bool:
    """Four or more spots on one line along an axis of the frame, which hold nearly all light."""
    if len(spots) < 4:
        return False
    weight = np.sqrt(light)
    middles = np.array([[y.mean(), x.mean()] for y, x in spots])
    mean = np.average(middles, axis=0, weights=weight)
    spread = np.sqrt(np.average((middles - mean) ** 2, axis=0, weights=weight)) / shape
    return bool(spread.min() < 0.02 and spread.max() > 0.08)


def _spots(lit: np.ndarray) -> list[_Spot]:
    """Rows and columns of the cells of each group that touch by a side or a corner."""
    left = {(int(y), int(x)) for y, x in zip(*np.nonzero(lit))}
    found = []
    while left:
        todo, group = [left.pop()], []
        while todo:
            y, x = todo.pop()
            group.append((y, x))
            near = {(y + i, x + j) for i in (-1, 0, 1) for j in (-1, 0, 1)} & left
            left -= near
            todo += near
        found.append((np.array([y for y, _ in group]), np.array([x for _, x in group])))
    return found

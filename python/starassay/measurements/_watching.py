"""How a measurement says what can be watched while somebody turns screws: one number or arrow a frame, and a small picture."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np

from ..results import Measured


@dataclasses.dataclass(frozen=True)
class Mark:
    """Something drawn over the last picture.

    Attributes
    ----------
    kind : str
        "circle", "dot" or "cross".
    x, y : float
        Its middle in pixels of the frame, as the picture counts them.
    radius : float
        Of a circle, in pixels of the frame.
    second : bool
        Whether it has the second color, dashed.
    """

    kind: str
    x: float
    y: float
    radius: float = 0.0
    second: bool = False


@dataclasses.dataclass(frozen=True)
class Glimpse:
    """The part of the last frame that is worth a look.

    Attributes
    ----------
    pixels : ndarray, shape (rows, columns)
        Rows from below.
    x0, y0 : float
        Middle of the first pixel in pixels of the frame.
    cell : float
        Pixels of the frame along one of these.
    text : str
        What is seen, with numbers.
    marks : tuple of Mark
        Drawn over it.
    legend : str
        What picture and marks are, a few words for below it.
    """

    pixels: np.ndarray
    x0: float
    y0: float
    cell: float
    text: str
    marks: tuple[Mark, ...] = ()
    legend: str = ""


@dataclasses.dataclass(frozen=True)
class Sight:
    """What one frame says to somebody at the screws.

    Attributes
    ----------
    point : tuple of Measured
        The number that shall become small; or the two parts of an arrow, along +x and +y, whose length shall.
    line : str
        The same in a few words, with its bar.
    beside : tuple of str
        Other numbers, each in a few words.
    glimpse : Glimpse or None
        What the frame looks like.
    doubts : tuple of str
        Why the number must not be used; the frame is then shown, but not counted.
    """

    point: tuple[Measured, ...]
    line: str
    beside: tuple[str, ...] = ()
    glimpse: Glimpse | None = None
    doubts: tuple[str, ...] = ()


@dataclasses.dataclass(frozen=True)
class Watch:
    """What is watched, frame by frame.

    Attributes
    ----------
    number : str
        Name of what shall become small.
    unit : str
        Its unit.
    turned : str
        What is turned: "a screw", "the focuser".
    look : callable
        From a result and the frame it came from to a `Sight`.
    steer : callable
        From a mean (values of the point in `unit`, their standard uncertainties) to what to do, a sentence; "" for nothing.
    trial : callable
        From a `Setup` to a small frame that can be measured, with which the engine warms up.
    steady : bool
        Whether the bars hold what changes from frame to frame, the air above all. If not, only the scatter of several frames tells it.
    caution : str
        Where turning can hurt.
    """

    number: str
    unit: str
    turned: str
    look: Callable[[Any, Any], Sight]
    steer: Callable[[np.ndarray, np.ndarray], str]
    trial: Callable[[Any], Any]
    steady: bool
    caution: str

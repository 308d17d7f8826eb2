"""What a test gives: results, numbers for the claims, pictures for the report."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

from astropy import units as u

from ..results import Measured, Result


@dataclasses.dataclass(frozen=True)
class Part:
    """One result of a test.

    Attributes
    ----------
    label : str
        Frame or pair it belongs to, for the report.
    slug : str
        Its file name without ending.
    result : Result
        The measurement.
    facts : dict
        What the report tells about the frames: exposure, time, filter, scale, ...
    """

    label: str
    slug: str
    result: Result
    facts: dict[str, Any]


@dataclasses.dataclass(frozen=True)
class Value:
    """A number that claims can be about.

    Attributes
    ----------
    measured : Measured
        With its combined standard uncertainty.
    random_part : Quantity or None
        What averages out over more frames.
    degrees_of_freedom : float
        Of the uncertainty.
    count, counted : int, str
        How many of what it rests on.
    wavelength : Quantity or None
        Where it holds.
    doubts : tuple of str
        Why it must not decide.
    """

    measured: Measured
    random_part: u.Quantity | None = None
    degrees_of_freedom: float = math.inf
    count: int = 1
    counted: str = "frames"
    wavelength: u.Quantity | None = None
    doubts: tuple[str, ...] = ()


@dataclasses.dataclass(frozen=True)
class Picture:
    """A matplotlib figure with what the report says below it and in its place; width "", "narrow" or "half"."""

    figure: Any
    caption: str
    alt: str
    width: str = ""

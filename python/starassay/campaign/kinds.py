"""How each kind of test of a campaign is measured, and which numbers it gives to the claims."""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from astropy import units as u

from .description import Campaign, Test
from .quantities import QUANTITIES
from ..frames import Frame
from ..results import Measured, Note, Result

if TYPE_CHECKING:
    from .outcome import TestOutcome

# Relative standard uncertainty of an image scale that comes from nominal pitch and focal length;
# focal lengths of a type are stated to about 1 % (common practice, no source).
NOMINAL_SCALE = 0.01


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


class Kind(Protocol):
    """One kind of test."""

    def groups(self, test: Test) -> list[tuple[Path, ...]]:
        """Frames that are measured together."""

    def measure(self, campaign: Campaign, test: Test, frames: tuple[Path, ...]) -> list[Part]:
        """The results of one group."""

    def values(
        self, campaign: Campaign, test: Test, parts: Sequence[Part]
    ) -> tuple[dict[str, Value], list[Note]]:
        """Numbers for claims, and notes about the test as a whole."""

    def advice(self, campaign: Campaign, outcome: TestOutcome) -> dict[str, Any]:
        """What the test contributes to the advice request."""

    def numbers(self, outcome: TestOutcome) -> list[dict[str, str]]:
        """Rows of label, value, origin for the report."""

    def lines(self, part: Part) -> list[str]:
        """Sentences about one result, for the report."""

    def figures(self, part: Part) -> list[Picture]:
        """Figures of one result, for the report."""

    def tables(self, part: Part) -> list[dict[str, Any]]:
        """Short tables of one result: caption, head, rows."""


def slug_of(*names: str) -> str:
    """A file name of plain letters."""
    return re.sub(r"[^a-z0-9]+", "-", "-".join(names).lower()).strip("-")


def pixel_scale(frame: Frame, focal_length: u.Quantity | None) -> tuple[u.Quantity | None, bool]:
    """Side of a pixel on the sky and whether the sky itself (a WCS) says so."""
    if frame.wcs is not None:
        from astropy.wcs.utils import proj_plane_pixel_scales

        scales = proj_plane_pixel_scales(frame.wcs.celestial)
        return (float(np.sqrt(np.prod(scales))) * u.deg).to(u.arcsec), True
    if frame.pitch is None or focal_length is None:
        return None, False
    angle = (frame.pitch / focal_length).to(u.arcsec, equivalencies=u.dimensionless_angles())
    return angle, False


def doubts_of(notes: Sequence[Note]) -> tuple[str, ...]:
    """Texts of the notes that forbid a decision."""
    return tuple(n.text for n in notes if n.level == "doubt")


def frame_facts(frame: Frame) -> dict[str, Any]:
    """What the report says about a frame."""
    return {
        "frame": frame.name,
        "size": f"{frame.shape[1]} × {frame.shape[0]} pixels",
        "exposure": None if frame.exposure is None else f"{frame.exposure:g}",
        "start": None if frame.time is None else frame.time.isot[:19],
        "filter": frame.filter,
    }


def numbers_of(values: Mapping[str, Value]) -> list[dict[str, str]]:
    """The values of a test as rows for the report."""
    rows = []
    for key, value in values.items():
        at = "" if value.wavelength is None else f" at {value.wavelength:.4g}"
        at = "," + at if at and "," in QUANTITIES[key].label else at
        counted = value.counted if value.count != 1 else value.counted.removesuffix("s")
        rows.append(
            {
                "label": QUANTITIES[key].label + at,
                "value": str(value.measured),
                "origin": f"{value.count} {counted}",
            }
        )
    return rows


def kind_of(test: Test) -> Kind:
    """How a test is measured."""
    from .color_focus import ColorFocusKind
    from .stars import StarsKind
    from .wavefront import WavefrontKind

    known: dict[str, type[Kind]] = {
        "stars": StarsKind,
        "wavefront": WavefrontKind,
        "color_focus": ColorFocusKind,
    }
    return known[test.kind]()

"""What is said about frames and numbers, the same for every kind of test."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from astropy import units as u

from ..imaging.frame import Frame
from ..results import Note
from .parts import Value
from .quantities import QUANTITIES

# Relative standard uncertainty of an image scale that comes from nominal pitch and focal length;
# focal lengths of a type are stated to about 1 % (common practice, no source).
NOMINAL_SCALE = 0.01


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

"""The light that a view is drawn with: colors of a passband, each at its own focus."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from astropy import units as u

from .. import _units
from ..errors import InputError

PASSBANDS = ("V(lambda)", "B", "V", "R")


def light_request(colors: Any, passband: str) -> dict[str, Any]:
    """What the engine is told of the light; nothing for one color.

    Parameters
    ----------
    colors : measured curve or mapping of float to Quantity, or None
        Best focus against wavelength (nm).
    passband : str
        One of `PASSBANDS`, of light that is equally strong at all wavelengths.
    """
    band = _units.choice(passband, PASSBANDS, "passband")
    if colors is None:
        return {}
    waves, focus = color_points(colors)
    return {
        "wavelengths_nm": [float(w) for w in waves],
        "weights": [1.0] * len(waves),
        "focus_um": [float(f) for f in focus],
        "passband": band,
    }


def color_points(colors: Any, count: int = 17) -> tuple[np.ndarray, np.ndarray]:
    """Wavelengths (nm) over what the curve covers of 380 to 900 nm, and the focus (um) at them, straight between its points.

    Parameters
    ----------
    colors : measured curve or mapping of float to Quantity
        Best focus against wavelength (nm).
    count : int
        How many.
    """
    given = getattr(colors, "lens", colors)
    if not isinstance(given, Mapping) or len(given) < 2:
        raise InputError(
            "colors takes a measured color focus, or a mapping of two or more wavelengths in nm to focus, for example "
            '{486: "40 um", 546: "0 um", 656: "50 um"}.',
            argument="colors",
        )
    points = sorted(
        (_units.number(w, u.nm, "colors") if isinstance(w, (str, u.Quantity)) else float(w), f)
        for w, f in given.items()
    )
    known = np.array([p[0] for p in points])
    focus = np.array([_units.number(p[1], u.um, "colors") for p in points])
    waves = np.linspace(max(known[0], 380.0), min(known[-1], 900.0), count)
    return waves, np.interp(waves, known, focus)

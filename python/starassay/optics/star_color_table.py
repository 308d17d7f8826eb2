"""How much of a star's light goes where and in which color, beside a perfect telescope, with uncertainties from the color focus."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from .color_vision import chromaticity, even_chromaticity, hue

if TYPE_CHECKING:
    from astropy.table import QTable

#: Distance in the u'v' diagram that an eye tells at a spot of light: ten steps of 0.0011. A step is the CIE's for large fields side by side
#: (CIE TN 001:2014, from memory); ten for a spot beside a brighter one are a judgment, no source.
TELLABLE = 0.011
#: Least share of the star's light (Y) whose color is looked at (common practice, no source).
VISIBLE = 0.02

PLACES = ("in focus", "inside focus", "outside focus")
PARTS = (("middle", "halo"), ("middle", "edge"), ("middle", "edge"))
# How well a focuser's scale is known (common practice, no source; as for the figures of merit).
_SCALE = 0.01


def spread_of(colors: Any, nm: np.ndarray, focus: np.ndarray) -> np.ndarray | None:
    """Errors of the curve at the wavelengths (um), a row a replicate; None where the colors count as known."""
    replicates = getattr(colors, "replicates", None)
    if replicates is None or isinstance(colors, Mapping):
        return None
    used = np.asarray(colors.used)
    known, each = colors.wavelength.to_value(u.nm)[used], replicates.to_value(u.um)[:, used]
    off = np.stack([np.interp(nm, known, row) for row in each]) - focus
    # Rows of errors that are as large as the curve's own standard uncertainty, whatever the replicates hold of it.
    own = np.interp(nm, known, colors.smooth_uncertainty.to_value(u.um)[used])
    seen = off.std(axis=0)
    return np.asarray(off * np.where(seen > 0, own / np.maximum(seen, 1e-12), 1.0))


def color_table(r: Any, focus: np.ndarray, spread: np.ndarray | None, step: np.ndarray) -> QTable:
    """Light and color of each part, with uncertainties by the replicates of the curve and the scale of its positions."""
    from astropy.table import QTable

    matching = np.asarray(r["matching"]).T
    light, perfect = np.asarray(r["light"]), np.asarray(r["perfect_light"])
    own = light[:, 0] @ matching
    other = perfect[[0, 1, 2, 3, 2, 3]] @ matching
    numbers = _numbers(own, other)
    error = {name: np.zeros(6) for name in numbers}
    if spread is not None:
        # The scale of the positions is common to all: a curve that is larger by its uncertainty.
        trials = np.vstack([spread, _SCALE * (focus - r["sensor_um"])])
        bend = np.asarray(r["middle_bend"])
        # Somebody at the eyepiece turns to the brightest middle each time.
        moved = trials - (trials @ bend / bend.sum())[:, None] if bend.sum() < 0 else trials
        # A parabola through the light with each color's focus a step nearer and a step farther.
        here, nearer, farther = light[:, 0], light[:, 1], light[:, 2]
        t = (moved / step)[:, None, :]
        tried = here + t * (farther - nearer) / 2 + t**2 * ((farther + nearer) / 2 - here)
        changed = [_numbers(one @ matching, other) for one in np.clip(tried, 0, 1)]
        for name in numbers:
            off = np.stack([c[name] for c in changed]) - numbers[name]
            error[name] = np.sqrt((off[:-1] ** 2).mean(axis=0) + off[-1] ** 2)
    tint = np.hypot(numbers["u"], numbers["v"])
    along = np.stack([numbers["u"], numbers["v"]]) / np.maximum(tint, 1e-12)
    tint_error = np.hypot(along[0] * error["u"], along[1] * error["v"])
    x, y = chromaticity(own).T
    px, py = chromaticity(other).T
    places = [place for place in PLACES for _ in range(2)]
    seen = [_seen(numbers["light"][k], other[k, 1], tint[k], tint_error[k]) for k in range(6)]
    return QTable(
        {
            "place": places,
            "part": [part for parts in PARTS for part in parts],
            "light": numbers["light"],
            "light_uncertainty": error["light"],
            "x": x,
            "x_uncertainty": error["x"],
            "y": y,
            "y_uncertainty": error["y"],
            "tint": tint,
            "tint_uncertainty": tint_error,
            "apart": numbers["apart"],
            "apart_uncertainty": error["apart"],
            "perfect_light": other[:, 1],
            "perfect_x": px,
            "perfect_y": py,
            "perfect_apart": _apart(other),
            "hue": [
                hue(np.array([numbers["u"][k], numbers["v"][k]]), even_chromaticity(other[k]))
                if tint[k] > 1e-6
                else ""
                for k in range(6)
            ],
            "seen": seen,
        }
    )


def _numbers(own: np.ndarray, other: np.ndarray) -> dict[str, np.ndarray]:
    """Light, x, y, way from the perfect telescope in u' and v', and distance of both parts of a place."""
    x, y = chromaticity(own).T
    du, dv = (even_chromaticity(own) - even_chromaticity(other)).T
    return {"light": own[:, 1], "x": x, "y": y, "u": du, "v": dv, "apart": _apart(own)}


def _apart(xyz: np.ndarray) -> np.ndarray:
    """Distance of halo or edge from the middle, the same for both rows of a place."""
    even = even_chromaticity(xyz)
    distance = np.hypot(*(even[1::2] - even[::2]).T)
    return np.repeat(distance, 2)


def _seen(light: float, perfect: float, tint: float, error: float) -> str:
    """Whether an eye tells the color from a perfect telescope's: beyond two standard uncertainties on either side."""
    if max(light, perfect) < VISIBLE:
        return "no"
    if tint - 2 * error > TELLABLE:
        return "yes"
    return "no" if tint + 2 * error < TELLABLE else "not decided"

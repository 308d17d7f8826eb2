"""Color for the eye: chromaticity, what a screen shows of it, and plain words for a hue."""

from __future__ import annotations

import functools
import re
from typing import Any

import numpy as np
from astropy import units as u

from .. import _gateway, _units, style

# XYZ (white Y = 1, D65) to linear sRGB: IEC 61966-2-1:1999, annex; also ITU-R BT.709.
_SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
# Main sequence (Pecaut and Mamajek 2013, ApJS 208, 9; from memory): O5, B0, B5, A0, F0, G0, K0, M0, M5.
_TYPES = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 6.5)
_KELVIN = (41400.0, 31400.0, 15700.0, 9700.0, 7220.0, 5930.0, 5270.0, 3850.0, 3060.0)
# Words for dominant wavelengths to here, nm (after Kelly 1943, JOSA 33, 627, boundaries rounded and from memory).
_HUES = (
    (455, "violet"),
    (485, "blue"),
    (497, "blue-green"),
    (560, "green"),
    (574, "yellow-green"),
    (582, "yellow"),
    (598, "orange"),
    (900, "red"),
)
# The straight line from the violet to the red end of the diagram: how far along it, and the word.
_PURPLES = ((0.3, "violet"), (0.75, "purple"), (1.0, "red"))


def chromaticity(xyz: np.ndarray) -> np.ndarray:
    """x, y of the CIE 1931 diagram.

    Parameters
    ----------
    xyz : ndarray, shape (..., 3)
        Any scale.
    """
    return np.asarray(xyz[..., :2] / xyz.sum(axis=-1, keepdims=True))


def even_chromaticity(xyz: np.ndarray) -> np.ndarray:
    """u', v' of the CIE 1976 diagram, in which equal distances look about equal (ISO/CIE 11664-5).

    Parameters
    ----------
    xyz : ndarray, shape (..., 3)
        Any scale.
    """
    whole = xyz @ np.array([1.0, 15.0, 3.0])
    return np.stack([4 * xyz[..., 0], 9 * xyz[..., 1]], axis=-1) / whole[..., None]


def as_screen_color(xyz: Any) -> np.ndarray:
    """Red, green and blue that make a screen show a color (sRGB, IEC 61966-2-1): 0 to 1.

    Parameters
    ----------
    xyz : ndarray, shape (..., 3)
        1 = the screen's white in Y. What is brighter than the screen keeps its hue; what no screen shows is mixed with as much grey of the same Y
        as it needs.
    """
    linear = np.asarray(xyz, dtype=float) @ _SRGB.T
    grey = np.clip(np.asarray(xyz, dtype=float)[..., 1], 0, None)[..., None]
    low = linear.min(axis=-1, keepdims=True)
    # grey + t (linear - grey) >= 0 in all three.
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(low < 0, grey / (grey - low), 1.0)
    shown = grey + share * (linear - grey)
    return np.asarray(
        style.as_screen_light(shown / np.maximum(shown.max(axis=-1, keepdims=True), 1.0))
    )


def spectral_type(star: Any) -> re.Match[str] | None:
    """Letter and digit of a spectral type; None for anything else.

    Parameters
    ----------
    star : object
        For example "A0V".
    """
    if not isinstance(star, str):
        return None
    return re.match(r"\s*([OBAFGKM])(?:([0-9](?:\.[0-9])?)|(?![A-Za-z0-9]))", star)


def temperature(star: Any) -> u.Quantity:
    """Temperature of a star, stated itself or by its spectral type.

    Parameters
    ----------
    star : Quantity or str
        For example "9600 K", "A0", "G2V"; a letter alone is the middle of its class.
    """
    found = spectral_type(star)
    if found is None:
        return _units.quantity(star, u.K, "star")
    at = "OBAFGKM".index(found[1]) + (5.0 if found[2] is None else float(found[2])) / 10
    return float(np.exp(np.interp(at, _TYPES, np.log(_KELVIN)))) * u.K


def star_light(kelvin: float) -> np.ndarray:
    """X, Y, Z of a black body, Y = 1.

    Parameters
    ----------
    kelvin : float
        Its temperature.
    """
    nm = np.arange(380.0, 781.0, 5.0)
    weights = np.asarray(_matching(kelvin)["weights"])
    assert weights.shape[1] == len(nm)
    return np.asarray(weights.sum(axis=1))


def hue(step: np.ndarray, start: np.ndarray) -> str:
    """Plain word for the way from one place of the u'v' diagram to another: where the line meets the spectrum.

    Parameters
    ----------
    step : ndarray, shape (2,)
        Way, of any length.
    start : ndarray, shape (2,)
        Inside the diagram.
    """
    nm, locus = _locus()
    closed = np.vstack([locus, locus[:1]])
    side = np.diff(closed, axis=0)
    offset = closed[:-1] - start
    # start + a step = corner + b side: both by Cramer's rule.
    with np.errstate(divide="ignore", invalid="ignore"):
        cross = step[0] * side[:, 1] - step[1] * side[:, 0]
        a = (offset[:, 0] * side[:, 1] - offset[:, 1] * side[:, 0]) / cross
        b = (offset[:, 0] * step[1] - offset[:, 1] * step[0]) / cross
    met = np.flatnonzero((a > 0) & (b >= 0) & (b <= 1))
    k = int(met[np.argmax(a[met])])
    if k == len(nm) - 1:
        # From the red end back to the violet one.
        along = 1 - b[k]
        return next(word for end, word in _PURPLES if along <= end)
    at = nm[k] + b[k] * (nm[k + 1] - nm[k])
    return next(word for end, word in _HUES if at <= end)


@functools.lru_cache(maxsize=1)
def _locus() -> tuple[np.ndarray, np.ndarray]:
    """Spectral colors from 400 to 700 nm in the u'v' diagram; beyond both they hardly move."""
    nm = np.arange(400.0, 701.0, 5.0)
    functions = np.asarray(_matching(6500.0)["functions"]).T
    inside = slice(4, 65)
    return nm, even_chromaticity(functions[inside])


@functools.lru_cache(maxsize=16)
def _matching(kelvin: float) -> Any:
    """The observer every 5 nm from 380 to 780 nm, and a black body's light seen by it."""
    waves = [float(nm) for nm in range(380, 781, 5)]
    return _gateway.call("views.color-matching", {"wavelengths_nm": waves, "kelvin": kelvin})

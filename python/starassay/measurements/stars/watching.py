"""What of the stars is watched: their half-flux radius, and the brightest clean one."""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u

from .._watching import Glimpse, Mark, Sight, Watch

#: Half the side of the picture, in half-flux radii, and its least in pixels.
ROOM, LEAST = 6.0, 12
#: Fewer clean stars than this say something about themselves, not about the focus.
FEWEST = 3


def look(field: Any, frame: Any) -> Sight:
    """The median half-flux radius; a frame without clean stars is shown and not counted."""
    doubts = list(field.doubts)
    if field.clean_stars < FEWEST:
        doubts.append(
            f"{field.clean_stars} clean stars; {FEWEST} are needed for a number that the next frame can be held against."
        )
    line = f"half-flux radius {field.median_hfr}"
    beside = [
        f"FWHM {field.median_fwhm}",
        f"ellipticity {field.typical_ellipticity}",
        f"{field.clean_stars} clean stars",
    ]
    return Sight(
        (field.median_hfr,), line, tuple(beside), _glimpse(field, frame, line), tuple(doubts)
    )


def _glimpse(field: Any, frame: Any, said: str) -> Glimpse | None:
    rows = np.flatnonzero(field.is_clean)
    if frame is None or not len(rows):
        return None
    # Brightest first: the first one is picked, frame by frame, as long as it stays unclipped.
    x, y = (float(v[rows[0]].value) for v in (field.x, field.y))
    hfr = float(field.hfr[rows[0]].value)
    half = max(LEAST, round(ROOM * hfr))
    ny, nx = field.shape
    left, low = max(0, round(x) - half), max(0, round(y) - half)
    cut = frame.pixels[low : min(ny, round(y) + half + 1), left : min(nx, round(x) + half + 1)]
    text = f"The brightest clean star at {x:.0f}, {y:.0f}; circle: its own half-flux radius, {hfr:.2f} pixels. Median of all: {said}"
    legend = "The brightest clean star; blue: half of its light."
    marks = (Mark("circle", x, y, hfr),)
    return Glimpse(cut.astype(np.float32), left, low, 1, text, marks, legend)


def steer(mean: np.ndarray, bars: np.ndarray) -> str:
    """One frame does not say on which side of focus it stands."""
    return (
        "Which way to turn is not told by one frame: go on where it got better, go back where it got worse, and come to the best place "
        "always from the same side."
    )


def trial(_: Any) -> np.ndarray:
    """A field of some dozen round stars."""
    rng = np.random.default_rng(2)
    y, x = np.mgrid[0:300, 0:400]
    image = rng.normal(500, 8, x.shape)
    for _k in range(40):
        cx, cy = rng.uniform(20, 380), rng.uniform(20, 280)
        image += 8000 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * 2.0**2))
    return np.clip(image, 0, 60000).astype(np.uint16)


WATCH = Watch(
    number="half-flux radius",
    unit=u.pix.to_string(),
    turned="the focuser",
    look=look,
    steer=steer,
    trial=trial,
    # The bar is that of the median over the stars of one frame; what the air does to all of them alike is not in it.
    steady=False,
    caution=(
        "Do not turn a motor focuser by hand, and stop where it stops. Hold the camera while a draw tube's lock is open."
    ),
)

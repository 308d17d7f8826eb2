"""The demo's photo of reflections through a sighting eyepiece, with what is true of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

#: Columns, rows, and radius of the objective's edge, pixels.
COLUMNS, ROWS, RADIUS = 800, 600, 240.0
#: From the largest: middle from that of the objective, radius, light inside, all in the objective's radius and full light.
CIRCLES = (
    ((0.0, 0.0), 1.0, 0.10),
    ((0.006, -0.004), 0.62, 0.55),
    ((0.009, -0.012), 0.16, 0.03),
)
NAME = "through-the-hole.png"


def draw_photo(folder: Path, seed: int, tell: Callable[[], object]) -> dict[str, Any]:
    """Write the photo; returns what is true of it.

    Parameters
    ----------
    folder : Path
        Where it goes.
    seed : int
        Of the noise.
    tell : callable
        Is told when it is drawn.
    """
    from PIL import Image

    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:ROWS, :COLUMNS].astype(float)
    middle = np.array([0.515 * COLUMNS, 0.49 * ROWS])
    light = np.full((ROWS, COLUMNS), 0.015)
    for (dx, dy), size, level in CIRCLES:
        away = np.hypot(x - middle[0] - dx * RADIUS, y - middle[1] - dy * RADIUS) - size * RADIUS
        inside = 1 / (1 + np.exp(np.clip(away / 0.7, -60, 60)))
        light = light * (1 - inside) + level * inside
    light *= 1 + 0.15 * (x / COLUMNS - 0.5)
    electrons = 4000.0
    light = rng.poisson(light * electrons) / electrons + rng.normal(0, 0.002, light.shape)
    light = np.clip(light, 0, 1)
    # sRGB, IEC 61966-2-1; the first row of a picture is its highest.
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    Image.fromarray(np.round(255 * code).astype(np.uint8)[::-1]).save(folder / NAME)
    tell()
    spot = np.array(CIRCLES[2][0])
    return {"photo": NAME, "spot_offset": float(np.hypot(*spot)), "objective_radius_px": RADIUS}

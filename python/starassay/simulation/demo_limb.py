"""The demo's frame of the Moon's limb, with what is true of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u

from .demo_frames import write
from .edges import draw_edge
from .instruments import SimulatedCamera, SimulatedSky, SimulatedTelescope
from .flats import draw_flat

#: The Moon's mean radius as seen; at full Moon its disc is even (law of Lommel and Seeliger).
RADIUS = 932.6 * u.arcsec
FULL_MOON = "2026-09-26T20:40:00"


def draw_limb(
    folder: Path, scope: SimulatedTelescope, seed: int, tell: Callable[[], object]
) -> dict[str, Any]:
    """Write the limb of the full Moon and a bias frame; returns what is true of the edge.

    Parameters
    ----------
    folder : Path
        Where they go.
    scope : SimulatedTelescope
        What gathers the light.
    seed : int
        Of the noise.
    tell : callable
        Is told of each frame.
    """
    camera, seeing, glare = SimulatedCamera(shape=(360, 480)), 2.0 * u.arcsec, 0.01
    pitch = camera.pitch.to_value(u.um)
    radius = float(np.tan(RADIUS) * scope.focal_length.to_value(u.um)) / pitch
    limb, truth = draw_edge(
        scope,
        camera=camera,
        sky=SimulatedSky(seeing=seeing),
        normal=12 * u.deg,
        radius=radius,
        wavelength=540 * u.nm,
        bright=30_000 * u.electron,
        dark=60 * u.electron,
        glare=glare,
        glare_reach=150.0,
        seed=seed,
    )
    limb.header["DATE-OBS"] = FULL_MOON
    limb.header["EXPTIME"] = 0.01
    limb.header["IMAGETYP"] = ("LIGHT", "limb of the Moon")
    none = {"level": 0 * u.electron, "exposure": 0 * u.s}
    bias, _ = draw_flat(scope, camera=camera, seed=seed + 1, start=FULL_MOON, **none)
    for frame, name in ((limb, "limb"), (bias, "limb-bias")):
        write(frame, folder / f"{name}.fits")
        tell()
    return {
        "edge_width_um": float(truth["width_px"]) * pitch,
        "glare": glare,
        "seeing": seeing,
    }

"""A night of the demo: one field every quarter of an hour, through air that gets worse and better."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u

from .demo_frames import write
from .instruments import SimulatedCamera, SimulatedSky, SimulatedTelescope
from .headers import moment
from .star_fields import draw_star_field

NIGHT_FRAMES = 8
_CAMERA = SimulatedCamera(name="Lantern mono, part read out", shape=(300, 300))


def draw_night(
    folder: Path, scope: SimulatedTelescope, seed: int, tell: Callable[[], object]
) -> list[dict[str, Any]]:
    """Small frames of one field through two hours; what is true of each.

    Parameters
    ----------
    folder : Path
        Where they go.
    scope : SimulatedTelescope
        What gathers the light.
    seed : int
        Of stars, air and noise.
    tell : callable
        Is told of each frame.
    """
    rng, truth = np.random.default_rng(seed), []
    for k in range(NIGHT_FRAMES):
        airmass = 1.04 + 0.03 * k
        # At the zenith; what the exposure sees goes with the airmass to the power 0.6 (Kolmogorov's air).
        zenith = 2.0 * float(np.exp(0.12 * np.sin(0.9 * k) + 0.04 * rng.standard_normal()))
        frame, _ = draw_star_field(
            scope,
            camera=_CAMERA,
            sky=SimulatedSky(seeing=zenith * airmass**0.6 * u.arcsec),
            passband="G",
            stars=30,
            exposure=20 * u.s,
            focus_position=-12 * u.um,
            rates=(1e3, 4e4),
            separation=30.0,
            seed=seed + k,
            star_seed=seed,
            nodes=(1, 1),
            start=moment("2026-10-03T21:00:00", 15 * k),
        )
        frame.header["AIRMASS"] = (round(airmass, 2), "at the start of the exposure")
        write(frame, folder / f"night-{k + 1}.fits")
        truth.append({"frame": f"night-{k + 1}.fits", "zenith_seeing": zenith * u.arcsec})
        tell()
    return truth

"""The second campaign of the demo: the Juniper 115 with its reducer, put together carelessly.

The reducer stands 2.5 mm too near to the sensor, the camera is tilted, and an adapter is too narrow. None of it can be
seen on one star in the middle of the field.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.coordinates import SkyCoord

from .demo_frames import draw_pairs, seeing_of, write
from .instruments import (
    FieldErrors,
    Passband,
    PASSBANDS,
    SimulatedCamera,
    SimulatedSky,
    SimulatedTelescope,
    juniper_115,
)
from .flats import draw_flat
from .star_fields import draw_star_field

BEST_MM = 55.0
"""Distance between reducer and sensor at which the field is flat."""

DISTANCES_MM = (52.5, 56.0)
"""Of the two focus runs; the first is how the telescope came."""

FOCUS_UM = (-160.0, -80.0, 0.0, 80.0, 160.0)
APART_UM = 600.0
REDUCER_FRAMES = 3 + 3 + len(DISTANCES_MM) * len(FOCUS_UM) + 2 + 1
_SEED = 608
_CAMERA = SimulatedCamera(name="Lantern wide", shape=(760, 1140), pitch=4.63 * u.um)
_CENTER = SkyCoord("20h12m00s +38d20m00s")


def juniper_115_reduced(distance_mm: float) -> SimulatedTelescope:
    """The Juniper 115 with its reducer at a distance from the sensor.

    Parameters
    ----------
    distance_mm : float
        From the reducer to the sensor.
    """
    plain = juniper_115()
    return dataclasses.replace(
        plain,
        focal_length=0.8 * plain.focal_length,
        # The reducer's own spherical aberration is opposite to the objective's.
        wavefront={**plain.wavefront, 11: 5 * u.nm},
        field=FieldErrors(
            tilt=(9.0 * u.um / u.mm, -5.5 * u.um / u.mm),
            curvature=1.1 * (distance_mm - BEST_MM) * u.um / u.mm**2,
            astigmatism=-0.3 * u.um / u.mm**2,
            coma=2.0 * u.nm / u.mm,
        ),
        lateral_color={w: 1.5 * ppm for w, ppm in plain.lateral_color.items()},
        stops=((14.0 * u.mm, 50 * u.mm),),
    )


def draw_reducer(folder: Path, tell: Callable[[], object]) -> dict[str, Any]:
    """Every frame of the campaign, and what is true of them.

    Parameters
    ----------
    folder : Path
        Where they go.
    tell : callable
        Is told of each frame.
    """
    rng = np.random.default_rng(_SEED)
    scope = juniper_115_reduced(DISTANCES_MM[0])

    def field(name: str, telescope: SimulatedTelescope, **how: Any) -> None:
        seeing = SimulatedSky(seeing=seeing_of(rng, 0.04))
        frame, _ = draw_star_field(telescope, camera=_CAMERA, sky=seeing, exposure=20 * u.s, **how)
        write(frame, folder / f"{name}.fits")
        tell()

    # Two wavelengths a filter: as far as places go, more would not show.
    for k, color in enumerate("RGB"):
        field(
            f"field-{color}",
            scope,
            passband=dataclasses.replace(PASSBANDS[color], samples=2),
            stars=320,
            rates=(300.0, 6e4),
            separation=12.0,
            center=_CENTER,
            seed=_SEED + k,
            star_seed=_SEED,
            start=f"2026-10-10T20:{10 + k}:00",
        )
    for k, (name, level) in enumerate((("flat-1", 25_000), ("flat-2", 25_000), ("bias", 0))):
        frame, _ = draw_flat(
            scope,
            camera=_CAMERA,
            level=level * u.electron,
            exposure=(1 if level else 0) * u.s,
            seed=_SEED + 10 + k,
            start=f"2026-10-10T18:0{5 + k}:00",
        )
        write(frame, folder / f"{name}.fits")
        tell()
    narrow: Passband = PASSBANDS["N540"]
    for run, distance in enumerate(DISTANCES_MM):
        for k, position in enumerate(FOCUS_UM):
            field(
                f"run-{run + 1}-{k + 1}",
                juniper_115_reduced(distance),
                passband=narrow,
                stars=60,
                rates=(4e3, 3e5),
                separation=60.0,
                focus_position=position * u.um,
                seed=_SEED + 20 + 10 * run + k,
                star_seed=_SEED + 1,
                start=f"2026-10-10T2{1 + run}:{10 + k}:00",
            )
    for k, side in enumerate(("inside", "outside")):
        field(
            f"wide-{side}",
            scope,
            passband=narrow,
            stars=45,
            rates=(3e5, 2e6),
            separation=60.0,
            focus_position=(2 * k - 1) * APART_UM * u.um,
            # Between two nodes images are mixed, which for discs that a stop cuts is too coarse with fewer.
            nodes=(8, 6),
            seed=_SEED + 40 + k,
            star_seed=_SEED + 2,
            start=f"2026-10-10T21:{30 + k}:00",
        )
    (facts,) = draw_pairs(folder, scope, 1, rng, _SEED + 50, tell, _CAMERA)
    wide, high = (n * _CAMERA.pitch.to_value(u.mm) for n in reversed(_CAMERA.shape))
    errors = scope.field
    corner2 = (wide**2 + high**2) / 4
    tilt = [float(t.to_value(u.um / u.mm)) for t in errors.tilt]
    stop, before = scope.stops[0]
    return {
        "telescope": scope.name,
        "pairs": [facts],
        "focal_length_mm": scope.focal_length.to_value(u.mm),
        "reducer_factor": 0.8,
        "spacing_change_mm": BEST_MM - DISTANCES_MM[0],
        # The sensor lies farther out to the right and upwards, so best focus is the other way round.
        "tilt_across_width_um": -tilt[0] * wide,
        "tilt_across_height_um": -tilt[1] * high,
        "curvature_sag_um": errors.curvature.to_value(u.um / u.mm**2) * corner2,
        "distortion_edge_percent": 0.0,
        "clear_diameter_mm": stop.to_value(u.mm),
        "stop_distance_mm": before.to_value(u.mm),
    }

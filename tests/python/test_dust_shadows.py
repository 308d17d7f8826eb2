"""Wide shadows of dust in flats do not bend the fit of what clips."""

from __future__ import annotations

import numpy as np
import pytest
from astropy import units as u

import starassay
from starassay import (
    SimulatedCamera,
    SimulatedTelescope,
    draw_flat,
    measure_relative_illumination,
)

CAMERA = SimulatedCamera(shape=(400, 600), pitch=12 * u.um, hot_pixels=0.0)


def measured(flat: starassay.Frame, hole: float = 0.0) -> starassay.RelativeIllumination:
    return measure_relative_illumination(
        flat,
        focal_ratio=6.0,
        focal_length=600 * u.mm,
        obstruction=hole,
        bias_level="500 adu",
    )


@pytest.mark.parametrize(
    "distance, depth, places",
    [
        (11.0, 0.12, ((80.0, 70.0), (520.0, 330.0), (80.0, 330.0), (520.0, 70.0))),
        (9.0, 0.10, ((70.0, 60.0), (530.0, 340.0))),
    ],
)
def test_wide_shadows_are_no_stop(
    distance: float, depth: float, places: tuple[tuple[float, float], ...]
) -> None:
    """They were taken for one: corners of an evenly lit sensor got 70 to 89 %, and 85 to 100 % of the light."""
    scope = SimulatedTelescope("drawn", 100 * u.mm, 600 * u.mm)
    dust = [(x, y, distance * u.mm, depth) for x, y in places]
    flat, truth = draw_flat(scope, camera=CAMERA, dust=dust, seed=5)
    found = measured(flat)
    true = float(truth["corner_illumination"][0])
    # The bar of illumination: 0.5 % of the light on the axis (docs/accuracy.md).
    for corner in found.corners:
        assert abs(float(corner.value) - true) < 0.005
    assert not found.clipped
    assert abs(float(found.slope_x.value)) < 0.003 and abs(float(found.slope_y.value)) < 0.003
    assert any("took no part in the fit" in str(n) for n in found.notes)


def test_what_is_no_shadow_takes_no_cells() -> None:
    """A dark column, a dark row, a sloping source, stars and hot pixels."""
    rng = np.random.default_rng(4)
    _, x = np.mgrid[0:400, 0:600]
    light = 20000 * (1 + 0.05 * x / 600)
    light[:, 200:203] *= 0.9
    light[130:135, :] *= 0.95
    pixels = rng.poisson(light).astype(float) + 500
    pixels[rng.integers(0, 400, 40), rng.integers(0, 600, 40)] += 8000
    found = measured(starassay.read_frame(pixels.astype(np.uint16), pitch=12 * u.um))
    assert not any("took no part in the fit" in str(n) for n in found.notes)

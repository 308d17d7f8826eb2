"""A spectrum far out of focus with a rough hint: a wide seeing must not pass for a part of the disc."""

from __future__ import annotations

import numpy as np
import pytest
from astropy import units as u

import starassay


@pytest.mark.parametrize("seed", [0, 1, 3])
def test_a_rough_hint_does_not_end_in_a_seeing_that_there_is_not(seed: int) -> None:
    # Set 1.47 mm out and told 1.0, as a focuser's scale may be off. Before a negative blur was bounded by what no air can do, these
    # three ended in seeing of 12 to 18 arcsec (drawn: 2.5), which a sharper blur than there can be had cancelled: off by 160 to 190 um
    # with bars of 1.1 to 1.4.
    nm = (378 + 0.43 * np.arange(860)) * u.nm
    at = np.arange(370, 801, 5)
    optics = {"focal_ratio": 6.2, "focal_length": 400 * u.mm, "wavelengths": nm}
    lens = starassay.lens_color_focus(["S-FPL51", "N-KZFS4"], 400 * u.mm, wavelengths=at * u.nm)
    frame = starassay.draw_spectrum(
        lens,
        sensor=1470 * u.um,
        height=240,
        pitch=3.8 * u.um,
        seed=seed,
        seeing=2.5 * u.arcsec,
        **optics,
    )
    curve = starassay.measure_color_focus(
        frame,
        defocus=1000 * u.um,
        limits=(400, 750) * u.nm,
        disperser="parallel-grating",
        **optics,
    )
    seeing = np.max(curve.seeing.to_value("um")) / 400e3 * 206265
    assert 1.8 < seeing < 3.5
    assert curve.noise_scale < 1.15
    truth = np.interp(curve.wavelength.value, at, lens.shift.to_value("um"))
    truth -= np.interp(curve.reference.to_value("nm"), at, lens.shift.to_value("um"))
    error = (curve.smooth.value - truth)[curve.used]
    assert np.sqrt(np.mean(error**2)) < 0.1 * 2 * 0.55 * 6.2**2  # a tenth of a depth of focus

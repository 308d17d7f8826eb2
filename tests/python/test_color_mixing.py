"""Spectra without a slit mix the discs of neighboring colors: the curve of a steep achromat must not take them for its own."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from astropy import units as u

from starassay.imaging.frame import Frame
from starassay.measurements import color_focus as cf

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "accuracy"))

import _spectra  # noqa: E402  (the accuracy programs' simulator)

FOCAL = 718.0


def shift(nm: np.ndarray) -> np.ndarray:
    """Of thin lenses of catalogue glass, against 550 nm, um."""
    ends = np.append(np.asarray(nm, float), 550.0)
    curve = _spectra.thin_lens_shift_um(["N-BK7", "F2"], FOCAL, ends)
    return curve[:-1] - curve[-1]


def test_violet_of_an_achromat_without_a_slit_is_right_within_its_bars() -> None:
    # A plain 62-mm achromat f/11.6 of catalogue glass, set 0.4 mm inside the focus of green: its violet focuses 3 mm farther out, and
    # discs that wide lie over one another. Drawn without noise, so that only the mixing counts. Such a spectrum was taken for one behind
    # a slit, and the curve was off by several of its bars.
    telescope = _spectra.Telescope(FOCAL, FOCAL / 11.6, shift)
    pixels = _spectra.draw(
        telescope,
        -400.0,
        noise=False,
        seeing_arcsec=3.5,
        width=640,
        height=170,
        pitch_um=5.9,
        first_nm=374.0,
        nm_per_px=0.6,
        electrons=1e7,
        blur_um=3.0,
        guiding_arcsec=0.2,
        outer_m=25.0,
        nodes=150,
    )
    result = cf.measure_color_focus(
        Frame(
            pixels,
            gain=1 * u.electron / u.adu,
            read_noise=4 * u.electron,
            saturation=1e6 * u.adu,
            pitch=5.9 * u.um,
        ),
        wavelengths=(374 + 0.6 * np.arange(640)) * u.nm,
        focal_ratio=11.6,
        focal_length=FOCAL * u.mm,
        disperser="parallel-grating",
        limits=(388, 750) * u.nm,
        wavelength_uncertainty=0.2,
        defocus=-450 * u.um,
    )
    w = result.wavelength.value
    good = result.used & (w > 400) & (w < 700)
    truth = (shift(w) - shift(np.array([result.reference.value])))[good]
    assert np.ptp(truth) > 2300
    error = result.smooth.value[good] - truth
    bars = result.smooth_uncertainty.value[good]
    assert np.sqrt(np.mean(error**2)) < 0.004 * np.ptp(truth)
    assert np.sqrt(np.mean((error / bars) ** 2)) < 2
    # Bars that would hold anything are no answer either.
    assert np.median(bars) < 0.002 * np.ptp(truth)

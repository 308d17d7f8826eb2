"""From a two-dimensional spectrum to the width of the trace at every color, beside scipy.

The peer does what one would write without us: specreduce's trace, and in each of 96 bins a Gaussian
fitted to the profile with scipy. It gives widths, not a focus; ours gives the curve from the same frame.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from typing import Any

import numpy as np
import scipy
from _bench import Row
from astropy import units as u
from astropy.modeling.models import Polynomial1D
from scipy.optimize import curve_fit
from specreduce.tracing import FitTrace

import starassay

WAVE = (385 + 0.19 * np.arange(2112)) * u.nm


def gaussian_widths(pixels: np.ndarray) -> np.ndarray:
    """Sigma of a Gaussian in each of 96 bins, pixels."""
    image = pixels - np.median(pixels, axis=0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        trace = np.asarray(FitTrace(image, bins=40, trace_model=Polynomial1D(3)).trace)
    rows = np.arange(image.shape[0])
    widths = np.full(96, np.nan)
    for b in range(96):
        x0, x1 = b * 2112 // 96, (b + 1) * 2112 // 96
        y0 = trace[(x0 + x1) // 2]
        near = np.abs(rows - y0) < 40
        profile = image[near, x0:x1].sum(axis=1)

        def model(y: np.ndarray, a: float, m: float, s: float, c: float) -> np.ndarray:
            return a * np.exp(-0.5 * ((y - m) / s) ** 2) + c

        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                found, _ = curve_fit(model, rows[near], profile, [profile.max(), y0, 4.0, 0.0])
            widths[b] = abs(found[2])
        except RuntimeError:  # no fit in this bin
            pass
    return widths


def rows(quick: bool) -> Iterator[Row]:
    """Every comparison of this module."""
    lens = starassay.lens_color_focus(
        ["S-FPL51", "N-KZFS4"], 700 * u.mm, wavelengths=np.arange(370, 901, 5) * u.nm
    )
    optics: dict[str, Any] = {"wavelengths": WAVE, "focal_ratio": 7, "focal_length": 700 * u.mm}
    positions = np.linspace(-400, 400, 5 if quick else 9) * u.um
    frames = [
        starassay.draw_spectrum(lens, sensor=p, height=350, pitch=5 * u.um, seed=i, **optics)
        for i, p in enumerate(positions)
    ]
    common: dict[str, Any] = {
        "wavelengths": WAVE,
        "focal_ratio": 7,
        "focal_length": 700 * u.mm,
        "disperser": "parallel-grating",
        "band": (390, 750) * u.nm,
    }
    middle = frames[len(frames) // 2]

    def agree(ours: Any, theirs: np.ndarray) -> str:
        width = ours.width[len(ours.width) // 2].to_value("um") / 5
        ratio = width[ours.used] / theirs[: width.size][ours.used]
        return f"half widths over Gaussian sigmas {np.nanmedian(ratio):.2f} (median)"

    peer = f"specreduce + scipy {scipy.__version__}, Gaussian widths only"
    yield Row(
        "color focus, one 2112 x 350 spectrum to its curve",
        peer,
        lambda: gaussian_widths(middle.pixels.astype(float)),
        lambda: starassay.measure_color_focus(middle, **common),
        agree,
        dict.fromkeys((512, 256), 3.0),
    )
    yield Row(
        f"color focus, run of {len(frames)} spectra with bootstrap of 200",
        f"{peer}, {len(frames)} frames",
        lambda: [gaussian_widths(f.pixels.astype(float)) for f in frames][len(frames) // 2],
        lambda: starassay.measure_color_focus(frames, positions=positions, **common),
        agree,
        dict.fromkeys((512, 256), 8.0),
        peer_repeats=1,
    )

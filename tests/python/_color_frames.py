"""What tests of spectra share: the drawn bench's wavelengths, camera and frames."""

from __future__ import annotations

import numpy as np
from astropy import units as u

from starassay.imaging.frame import Frame

WAVE = 385 + 0.6 * np.arange(640)
PER_PIXEL = u.nm / u.pix
CAMERA = {
    "gain": 1 * u.electron / u.adu,
    "read_noise": 4 * u.electron,
    "saturation": 60000 * u.adu,
    "pitch": 5 * u.um,
}


def as_frame(pixels: np.ndarray, name: str = "s", **changes: object) -> Frame:
    return Frame(pixels, name=name, **{**CAMERA, **changes})  # type: ignore[arg-type]

"""How far each wavelength misses the common focus, from the spectrum of a star.

>>> import starassay
>>> scale = starassay.calibrate_wavelengths(
...     "lamp.fits", lamps=["Xe"], dispersion=(0.3, 0.6) * u.nm / u.pix
... )  # doctest: +SKIP
>>> curve = starassay.measure_color_focus(
...     run, positions=positions, wavelengths=scale, focal_ratio=7.0
... )  # doctest: +SKIP
>>> curve.merit().table, curve.plot()  # doctest: +SKIP

Shifts are positive where a color focuses farther from the objective than the reference wavelength.
Wavelengths are in standard air unless a name says otherwise.
"""

from __future__ import annotations

from .comparison import ColorComparison, compare_color_focus
from .curve import ColorFocusCurve
from .measuring import measure_color_focus
from .merit import ColorMerit
from .spectrum import Spectrum, reduce_spectrum
from .theory import LensTheory, lens_color_focus
from .wavelengths import WavelengthScale, calibrate_wavelengths

__all__ = [
    "ColorComparison",
    "ColorFocusCurve",
    "ColorMerit",
    "LensTheory",
    "Spectrum",
    "WavelengthScale",
    "calibrate_wavelengths",
    "compare_color_focus",
    "lens_color_focus",
    "measure_color_focus",
    "reduce_spectrum",
]

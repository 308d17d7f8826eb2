"""The wavefront of a telescope from images of a star inside and outside of focus.

>>> import starassay
>>> scope = starassay.Telescope(aperture="115 mm", focal_length="760 mm")
>>> fit = starassay.fit_wavefront(
...     "inside.fits", "outside.fits", scope, wavelength="540 nm"
... )  # doctest: +SKIP
>>> fit.table, fit.strehl, fit.plot()  # doctest: +SKIP

Positive where the wave is ahead; axes as on the sensor, x to the right and y up.
"""

from __future__ import annotations

from .fitting import fit_wavefront
from .result import WavefrontFit

__all__ = ["WavefrontFit", "fit_wavefront"]

"""The low modes of the wavefront over the field from one defocused pair of a star field.

>>> import starassay
>>> scope = starassay.Telescope("115 mm", "760 mm")
>>> pair = "inside.fits", "outside.fits"
>>> field = starassay.measure_wavefront_field(*pair, scope, wavelength="540 nm")  # doctest: +SKIP
>>> field.sensor_tilt, field.coma_constant, field.plot()  # doctest: +SKIP
"""

from __future__ import annotations

from .measuring import measure_wavefront_field
from .result import WavefrontField

__all__ = ["WavefrontField", "measure_wavefront_field"]

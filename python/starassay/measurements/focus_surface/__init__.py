"""Best focus over the sensor from a focus run: tilt of the sensor, curvature of the field.

>>> import starassay
>>> run = ["f-1.fits", "f-2.fits", "f-3.fits", "f-4.fits", "f-5.fits"]
>>> surface = starassay.measure_focus_surface(run, focal_ratio=6)  # doctest: +SKIP
>>> surface.sensor_tilt, surface.curvature_sag, surface.plot()  # doctest: +SKIP
"""

from __future__ import annotations

from .measuring import measure_focus_surface
from .result import FocusSurface

__all__ = ["FocusSurface", "measure_focus_surface"]

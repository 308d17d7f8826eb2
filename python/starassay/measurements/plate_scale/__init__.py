"""True focal length, distortion and field of view of a frame whose stars have known sky positions.

>>> import starassay
>>> scale = starassay.measure_plate_scale("solved.fits", aperture="80 mm")  # doctest: +SKIP
>>> scale.focal_length, scale.distortion_edge, scale.plot()  # doctest: +SKIP
"""

from __future__ import annotations

from .measuring import measure_plate_scale
from .result import PlateScale

__all__ = ["PlateScale", "measure_plate_scale"]

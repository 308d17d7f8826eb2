"""Offset of star centers between colors over the field: lateral color, decentered part, dispersion of the air.

>>> import starassay
>>> color = starassay.measure_lateral_color("mosaic.fits", focal_length="690 mm")  # doctest: +SKIP
>>> color.lateral_color, color.pairs, color.plot()  # doctest: +SKIP
"""

from __future__ import annotations

from .measuring import measure_lateral_color
from .result import LateralColor

__all__ = ["LateralColor", "measure_lateral_color"]

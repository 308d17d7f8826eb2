"""Sharpness and roundness of the stars over one frame, what the pattern means, where the blur comes from.

>>> import starassay
>>> field = starassay.measure_field_sharpness("field.fits", focal_length="690 mm")  # doctest: +SKIP
>>> field.corner_fwhm, field.causes, field.plot()  # doctest: +SKIP
"""

from __future__ import annotations

from .measuring import measure_field_sharpness
from .result import FieldSharpness

__all__ = ["FieldSharpness", "measure_field_sharpness"]

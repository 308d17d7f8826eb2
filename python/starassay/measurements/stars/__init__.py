"""Find and measure every star of a frame: place, size, shape, flags, and how they vary over the field.

>>> import starassay
>>> field = starassay.measure_stars("field.fits")  # doctest: +SKIP
>>> field.table, field.plot()  # doctest: +SKIP
"""

from __future__ import annotations

from .measuring import measure_stars
from .result import FLAGS, StarField

__all__ = ["FLAGS", "StarField", "measure_stars"]

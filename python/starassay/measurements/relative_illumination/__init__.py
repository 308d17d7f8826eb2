"""Evenness of light over the sensor from flats: what clips, where, how far the image circle reaches.

>>> import starassay
>>> light = starassay.measure_relative_illumination(
...     "flat.fits", bias="bias.fits", focal_ratio=6, focal_length="690 mm"
... )  # doctest: +SKIP
>>> light.corner_illumination, light.image_circle50, light.plot()  # doctest: +SKIP
"""

from __future__ import annotations

from .measuring import measure_relative_illumination
from .result import RelativeIllumination

__all__ = ["RelativeIllumination", "measure_relative_illumination"]

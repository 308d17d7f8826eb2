"""How well the reflections that a sighting eyepiece shows have one middle, from a photo of them.

>>> import starassay
>>> seen = starassay.measure_reflections("cap.jpg", objective=1, spot=3)  # doctest: +SKIP
>>> seen.spot_offset, seen.table, seen.plot()  # doctest: +SKIP
"""

from __future__ import annotations

from .measuring import measure_reflections
from .result import Reflections

__all__ = ["Reflections", "measure_reflections"]

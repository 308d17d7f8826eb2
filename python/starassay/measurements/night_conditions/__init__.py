"""What a night did to the stars: width against time, what of it can be focus or mount, and the best frames.

>>> import starassay
>>> night = starassay.measure_night_conditions(frames, focal_length="690 mm")  # doctest: +SKIP
>>> night.zenith_fwhm, night.trend, night.plot()  # doctest: +SKIP
"""

from __future__ import annotations

from .measuring import measure_night_conditions
from .result import NightConditions

__all__ = ["NightConditions", "measure_night_conditions"]

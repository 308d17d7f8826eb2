"""Where the coma-free axis of a telescope meets the sensor, from defocused stars at several places.

>>> import starassay
>>> telescope = starassay.Telescope("150 mm", "750 mm", obstruction=0.31)
>>> axis = starassay.measure_coma_axis(  # doctest: +SKIP
...     ["inside.fits", "outside.fits"], telescope, wavelength="540 nm", paraboloid=True
... )
>>> axis.coma_free.distance, axis.mirror_turn, axis.plot()  # doctest: +SKIP
"""

from __future__ import annotations

from .measuring import measure_coma_axis
from .result import ComaAxis

__all__ = ["ComaAxis", "measure_coma_axis"]

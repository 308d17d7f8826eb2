"""How far the rings and the shadow of a defocused star are out of its middle, the coma that they amount to, and which way to turn.

>>> import starassay
>>> telescope = starassay.Telescope("150 mm", "750 mm", obstruction=0.31)
>>> alignment = starassay.measure_alignment(  # doctest: +SKIP
...     ["inside.fits", "outside.fits"], telescope, wavelength="540 nm"
... )
>>> alignment.coma, alignment.coma_direction, alignment.plot()  # doctest: +SKIP
"""

from __future__ import annotations

from .measuring import measure_alignment
from .result import Alignment

__all__ = ["Alignment", "measure_alignment"]

"""Distance between reducer or flattener and sensor at which the field is flat, from focus runs at several distances.

>>> import starassay
>>> spacing = starassay.measure_spacing(  # doctest: +SKIP
...     frames, distances=["53 mm"] * 7 + ["55 mm"] * 7 + ["57 mm"] * 7, focal_ratio=5.6
... )
>>> spacing.best_spacing, spacing.spacing_change, spacing.plot()  # doctest: +SKIP
"""

from __future__ import annotations

from .measuring import measure_spacing
from .result import Spacing

__all__ = ["Spacing", "measure_spacing"]

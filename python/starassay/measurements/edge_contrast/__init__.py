"""How sharply the Moon's limb or another bright edge is imaged, and how dark the dark beside it is.

>>> import starassay
>>> edge = starassay.measure_edge_contrast(
...     "limb.fits", subject="moon", phase_angle="40 deg", focal_length="690 mm", bias="bias.fits"
... )  # doctest: +SKIP
>>> edge.width, edge.mtf50, edge.edge_glare, edge.plot()  # doctest: +SKIP
"""

from __future__ import annotations

from .measuring import measure_edge_contrast
from .result import EdgeContrast

__all__ = ["EdgeContrast", "measure_edge_contrast"]

"""The classroom: panels with sliders, and pages that need no Jupyter.

>>> from starassay import lab
>>> lab.aberrations()  # doctest: +SKIP

A panel is an ipywidgets box, for Jupyter Notebook and JupyterLab; `draw_aberrations` gives one of its sheets
for a page that stands still, and `write_page` a page of them with sliders for a school computer or a phone.
"""

from __future__ import annotations

from .aberration_sheet import AberrationSheet, draw_aberrations
from .color_sheet import ColorSheet, draw_color
from .exercise import Exercise
from .field_sheet import FieldSheet, draw_field
from .page import write_page
from .panels import aberrations, color, field, guess, seeing
from .seeing_sheet import SeeingSheet, draw_seeing

__all__ = [
    "AberrationSheet",
    "ColorSheet",
    "Exercise",
    "FieldSheet",
    "SeeingSheet",
    "aberrations",
    "color",
    "draw_aberrations",
    "draw_color",
    "draw_field",
    "draw_seeing",
    "field",
    "guess",
    "seeing",
    "write_page",
]

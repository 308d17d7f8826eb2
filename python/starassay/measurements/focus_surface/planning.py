"""What this measurement needs from a night."""

from __future__ import annotations

from .._planning import FIELD, Recipe

RECIPE = Recipe(
    target=FIELD,
    order=50,
    count=9,
    counted="frames",
    instructions=(
        "Take {count} frames of {exposure} through focus in steps of {focus_step}, always moving the same way, sharpest in "
        "the middle of the run. Do not touch the camera in between."
    ),
    reason="five positions are the least, nine show outliers; common practice, no source",
    exposure=15.0,
    longest=30.0,
    level=0.7,
)

"""What this measurement needs from a night."""

from __future__ import annotations

from .._planning import FIELD, Recipe

RECIPE = Recipe(
    target=FIELD,
    order=70,
    count=3,
    counted="frames",
    instructions=(
        "Take {count} frames of {exposure} with the color camera, or as many through each filter without moving anything, "
        "as high as it goes: the air spreads colors by {dispersion} there. Note the altitude."
    ),
    reason="repeats tell the scatter; common practice, no source",
    exposure=30.0,
    longest=60.0,
    level=0.7,
)

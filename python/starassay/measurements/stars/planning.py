"""What this measurement needs from a night."""

from __future__ import annotations

from .._planning import FIELD, Recipe

RECIPE = Recipe(
    target=FIELD,
    order=60,
    count=5,
    counted="frames",
    instructions=(
        "Focus as well as you can, then take {count} frames of {exposure}; focus again after the third. Stars brighter "
        "than magnitude {faintest_clipped} are clipped."
    ),
    reason="their scatter shows focus and seeing; common practice, no source",
    exposure=30.0,
    longest=60.0,
    level=0.7,
)

"""What this measurement needs from a night."""

from __future__ import annotations

from .._planning import FIELD, Recipe

RECIPE = Recipe(
    target=FIELD,
    order=65,
    count=2,
    counted="frames",
    instructions="Take {count} frames of {exposure}; the star field's own frames serve as well. They need a solution (WCS).",
    reason="two for a check; common practice, no source",
    exposure=30.0,
    longest=60.0,
    level=0.7,
)

"""What this measurement needs from a night."""

from __future__ import annotations

from .._planning import FIELD, Recipe

RECIPE = Recipe(
    target=FIELD,
    order=80,
    count=27,
    counted="frames",
    instructions=(
        "At three distances between reducer or flattener and sensor (as it is, 1 mm less, 1 mm more) take a focus run of "
        "9 frames of {exposure} each, in steps of {focus_step}. Measure each distance with a caliper."
    ),
    reason="three distances give a line and a check; common practice, no source",
    setup=30.0,
    exposure=15.0,
    longest=30.0,
    level=0.7,
)

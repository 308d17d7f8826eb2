"""What this measurement needs from a night."""

from __future__ import annotations

from .._planning import TWILIGHT, Recipe

RECIPE = Recipe(
    target=TWILIGHT,
    order=10,
    count=8,
    counted="flats",
    instructions=(
        "Focus left as for stars, tracking off, pointing away from the Sun near the zenith: {count} flats at half of full "
        "well, every second one with the camera turned by half a turn if that can be done; then {count} bias frames."
    ),
    reason="turned pairs take out the sky's slope; common practice, no source",
    exposure=1.0,
    longest=10.0,
)

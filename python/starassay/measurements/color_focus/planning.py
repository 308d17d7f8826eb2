"""What this measurement needs from a night."""

from __future__ import annotations

from .._planning import SPECTRUM, Recipe

RECIPE = Recipe(
    target=SPECTRUM,
    order=40,
    count=9,
    counted="spectra",
    instructions=(
        "Put the disperser in, set {name} so that its spectrum lies along the sensor, and take a focus run: {count} "
        "spectra of {exposure}, from one side of focus to the other in steps of {focus_step}; the lamp once before and "
        "after, if there is one. Note which way the focuser moves the sensor."
    ),
    reason="a run on both sides of focus tells the sign of every color; common practice, no source",
    exposure=20.0,
    longest=120.0,
    wanted=1e6,
    level=0.6,
)

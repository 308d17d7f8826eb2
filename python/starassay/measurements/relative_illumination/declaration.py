"""What the doors know of this measurement."""

from __future__ import annotations

from collections.abc import Sequence

from ..._records import RELATIVE_ILLUMINATION_REQUEST, MEASUREMENTS
from ...imaging.glances import Glance
from .._declaring import Measurement, Part, Role, Setup, options
from .._drafting import Draft, paths, titled, together
from .planning import RECIPE


def measure(setup: Setup) -> list[Part]:
    """All flats together."""
    from . import measure_relative_illumination

    assert setup.telescope is not None
    frames, bias = setup.frames("frames"), setup.frames("bias")
    found = measure_relative_illumination(
        frames,
        focal_ratio=setup.telescope.focal_ratio,
        focal_length=setup.telescope.focal_length,
        obstruction=setup.telescope.obstruction,
        bias=bias[0] if bias else None,
        threads=setup.threads,
        progress=setup.progress,
        **setup.options,
    )
    return [Part(f"{len(frames)} flats" if len(frames) > 1 else frames[0].name, found)]


def draft(glances: Sequence[Glance]) -> list[Draft]:
    """Flats of each filter, with the first dark frame of their size."""
    found = []
    for flats in together(glances, "even"):
        darks = [one for one in glances if one.shows == "dark" and one.shape == flats[0].shape]
        # A bias before a dark: flats are short.
        darks.sort(key=lambda one: "bias" not in one.words and "zero" not in one.words)
        files = {"frames": paths(flats)} | ({"bias": paths(darks[:1])} if darks else {})
        without = (
            ()
            if darks
            else ('No bias frame of this size was found: say bias_level, such as "500 adu".',)
        )
        found.append(Draft(titled("Flats", flats), files, flats[0].facts.filter, remarks=without))
    return found


MEASUREMENT = Measurement(
    area="relative_illumination",
    title=MEASUREMENTS["relative_illumination"][0],
    help="Relative illumination, image circle and what clips the light, from a flat or twilight sky.",
    example=(
        "starassay measure relative-illumination flat.fits --bias bias.fits --aperture 115mm --focal-length 690mm"
    ),
    roles=(
        Role("frames", "flats or twilight skies of one setup, unclipped"),
        Role("bias", "a bias or dark frame of the same camera", many=False, optional=True),
    ),
    options=options(RELATIVE_ILLUMINATION_REQUEST, "bias_level turned dust"),
    measure=measure,
    draft=draft,
    recipe=RECIPE,
    telescope="aperture focal_length [obstruction]",
    words={
        "Relative illumination": (
            "Light at a place of the sensor over that on the axis, with an even source (ISO 13653 in sense)."
        ),
        "Image circle": "Circle on the sensor within which more than a stated share of the light arrives.",
    },
    caveat=(
        "It is that of the whole train as it was set up, adapters and filters included, and as even as the "
        "light source beside its slope."
    ),
)

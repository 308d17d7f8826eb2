"""What the doors know of this measurement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..._records import ALIGNMENT_REQUEST, MEASUREMENTS
from .._declaring import IN_FILE, Measurement, Part, Role, Setup, in_file, options
from .watching import WATCH


def measure(setup: Setup) -> list[Part]:
    """One star out of focus, in one image or in two."""
    from . import measure_alignment

    assert setup.telescope is not None
    given = dict(setup.options)
    how = in_file(given)
    found = measure_alignment(
        setup.frames("frames", **how),
        setup.telescope,
        wavelength=given.pop("wavelength"),
        threads=setup.threads,
        progress=setup.progress,
        **given,
    )
    return [Part(found.title, found)]


def check(
    files: Mapping[str, Sequence[Path]], options: Mapping[str, Any]
) -> tuple[str, str] | None:
    """One image or two; both directions of a hand's shadow or neither."""
    count = len(files["frames"])
    if count > 2:
        return (
            "frames",
            f"{count} images were given. Give one, or one from each side of focus, inside first.",
        )
    if (options.get("top") is None) != (options.get("right") is None):
        return "top", "Give both top and right, or neither."
    return None


MEASUREMENT = Measurement(
    area="alignment",
    title=MEASUREMENTS["alignment"][0],
    help="Decentre and coma from the rings of a defocused star, and which way to turn.",
    example=(
        "starassay measure alignment inside.fits outside.fits --aperture 150mm --focal-length 750mm "
        "--obstruction 0.31 --wavelength 540nm --paraboloid"
    ),
    roles=(
        Role(
            "frames",
            "a bright star out of focus in the middle of the field: one image, or one inside and one outside of focus",
        ),
    ),
    options=options(
        ALIGNMENT_REQUEST,
        "wavelength band side pitch top right paraboloid scale_uncertainty wind",
        *IN_FILE,
    ),
    measure=measure,
    # No draft: such frames are drafted as pairs for the wavefront, which holds the coma too.
    check=check,
    watch=WATCH,
    telescope="aperture focal_length [obstruction] [vanes]",
    light="wavelength",
    light_needed=True,
    words={
        "Decentre": (
            "Middle of the obstruction's shadow in a defocused star less that of the outer edge; as a share of the blur "
            "radius it does not depend on pixels."
        ),
        "Coma": (
            "An error that grows with the cube of the pupil's radius toward one side. It moves outer rings against inner ones, alike on "
            "both sides of focus."
        ),
    },
    caveat=(
        "Alignment holds where the star stood: in the middle of the field. A star elsewhere has the coma of the field as well."
    ),
)

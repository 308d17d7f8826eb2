"""What the doors know of this measurement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..._records import ALIGNMENT_REQUEST, COMA_AXIS_REQUEST, MEASUREMENTS
from .._declaring import IN_FILE, Measurement, Option, Part, Role, Setup, in_file, options


def measure(setup: Setup) -> list[Part]:
    """All stars together."""
    from . import measure_coma_axis

    assert setup.telescope is not None
    given = dict(setup.options)
    how = in_file(given)
    found = measure_coma_axis(
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
    """Places in pairs, and only in one image or pair."""
    stars, count = options.get("stars"), len(files["frames"])
    if stars is not None and (len(stars) % 2 or len(stars) < 6):
        return (
            "stars",
            f"{len(stars)} numbers are given; write column and row of three or more stars.",
        )
    if stars is not None and count > 2:
        return (
            "stars",
            f"{count} images are given, each with one star; places are for one image or pair.",
        )
    if options.get("paired") and count % 2:
        return "frames", f"{count} images are no pairs."
    return None


MEASUREMENT = Measurement(
    area="coma_axis",
    title=MEASUREMENTS["coma_axis"][0],
    help="Where the coma-free axis meets the sensor, from defocused stars at several places, and which way to turn.",
    example=(
        "starassay measure coma-axis inside.fits outside.fits --aperture 150mm --focal-length 750mm "
        "--obstruction 0.31 --wavelength 540nm --paraboloid"
    ),
    roles=(
        Role(
            "frames",
            "stars out of focus at several places: one image, one inside and one outside of focus, or one image (pair) a star",
        ),
    ),
    options=options(
        COMA_AXIS_REQUEST,
        "wavelength pitch paraboloid scale_uncertainty",
        Option("pitch", "number", "of the pixels, binning included (default: the frames')", "um"),
        Option(
            "stars",
            "numbers",
            "column and row of each star in the first image, in turn (default: found)",
        ),
        Option(
            "most_stars", "integer", "how many are taken where they are found", default=9, low=3
        ),
        Option(
            "paired",
            "flag",
            "three or more images are pairs, inside and outside in turn, one star a pair",
        ),
        Option.of(ALIGNMENT_REQUEST["band"]),
        Option.of(ALIGNMENT_REQUEST["wind"]),
        *IN_FILE,
    ),
    measure=measure,
    # No draft: such frames are drafted as pairs for the wavefront.
    check=check,
    telescope="aperture focal_length [obstruction] [vanes]",
    light="wavelength",
    light_needed=True,
    words={
        "Coma-free axis": (
            "Coma grows in proportion to the distance from one place of the field, where it vanishes. Of a centered telescope whose "
            "camera sits right that is the middle of the sensor."
        ),
    },
    caveat=(
        "The place is where coma of third order vanishes. A camera that sits beside the axis and optics that are out of line move it alike."
    ),
)

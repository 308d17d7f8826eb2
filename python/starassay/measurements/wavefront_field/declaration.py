"""What the doors know of this measurement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..._records import MEASUREMENTS, WAVEFRONT_FIELD_REQUEST
from .._declaring import IN_FILE, Measurement, Option, Part, Role, Setup, in_file, options


def measure(setup: Setup) -> list[Part]:
    """Both frames together."""
    from . import measure_wavefront_field

    assert setup.telescope is not None
    given = dict(setup.options)
    how = in_file(given)
    (inside,), (outside,) = (setup.frames(role, **how) for role in ("inside", "outside"))
    found = measure_wavefront_field(
        inside,
        outside,
        setup.telescope,
        wavelength=given.pop("wavelength"),
        threads=setup.threads,
        progress=setup.progress,
        **given,
    )
    return [Part(f"{len(found.x)} stars at {found.wavelength:.4g}", found)]


def check(
    files: Mapping[str, Sequence[Path]], options: Mapping[str, Any]
) -> tuple[str, str] | None:
    """One frame from either side."""
    for role in ("inside", "outside"):
        if len(files[role]) != 1:
            return (
                role,
                f"{len(files[role])} frames are given; one from inside and one from outside are taken.",
            )
    return None


MEASUREMENT = Measurement(
    area="wavefront_field",
    title=MEASUREMENTS["wavefront_field"][0],
    help="Camera tilt, coma, astigmatism over the sensor from one star field inside and outside of focus.",
    example=(
        "starassay measure wavefront-field inside.fits outside.fits "
        "--aperture 115mm --focal-length 690mm --wavelength 540nm"
    ),
    roles=(
        Role("inside", "star field with the sensor nearer to the objective than best focus"),
        Role("outside", "the same field with the sensor farther away"),
    ),
    options=options(
        WAVEFRONT_FIELD_REQUEST,
        "wavelength pitch paraboloid most_stars scale_uncertainty",
        Option("wavelength", "number", "middle of the narrow filter", "nm", required=True),
        Option("pitch", "number", "of the pixels, binning included (default: the frames')", "um"),
        *IN_FILE,
    ),
    measure=measure,
    # No draft: a glance at a frame does not tell a field of discs from one of stars.
    check=check,
    telescope="aperture focal_length [obstruction] [vanes]",
    light="wavelength",
    light_needed=True,
    words={
        "Coma, astigmatism over the field": (
            "Centered optics have coma that grows with the distance from the axis and astigmatism that grows with its "
            "square. What is there in the middle, or grows in one direction, comes from parts that are decentered, tilted "
            "or squeezed."
        ),
        "Node": "A place of the field without astigmatism (or without coma); centered optics have it on the axis.",
        "Sensor tilt": (
            "By how much best focus differs from one corner of the sensor to the opposite one, field curvature taken off."
        ),
    },
    caveat=(
        "Focus, tilt and curvature are those of the two exposures; a tilt of the sensor and a curved field whose middle "
        "lies beside the sensor's look alike. Turn the camera by half a turn and measure again to tell them apart."
    ),
)

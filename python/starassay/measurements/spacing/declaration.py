"""What the doors know of this measurement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..._records import MEASUREMENTS, SPACING_REQUEST
from ...imaging.focus_positions import positions_complaint
from .._declaring import FOCUS_RUN, Measurement, Option, Part, Role, Setup, options
from .planning import RECIPE


def measure(setup: Setup) -> list[Part]:
    """All runs together."""
    from . import measure_spacing

    assert setup.telescope is not None
    frames = [setup.read(path) for path in setup.files["frames"]]
    found = measure_spacing(
        frames,
        focal_ratio=setup.telescope.focal_ratio,
        obstruction=setup.telescope.obstruction,
        threads=setup.threads,
        progress=setup.progress,
        **setup.options,
    )
    many = len(found.distances)
    return [Part("one distance" if many == 1 else f"{many} distances", found)]


def check(
    files: Mapping[str, Sequence[Path]], options: Mapping[str, Any]
) -> tuple[str, str] | None:
    """A distance a frame, five frames at each distance, and one position a frame."""
    frames, given = len(files["frames"]), options.get("distances")
    if given is None or len(given) != frames:
        many = "none" if given is None else len(given)
        return (
            "distances",
            f"{frames} frames need {frames} distances, {many} are given.",
        )
    away = [float(d) for d in given.to_value("mm")]
    counts = [away.count(d) for d in dict.fromkeys(away)]
    if min(counts) < 5:
        return (
            "distances",
            "A focus run of five or more frames is needed at each distance.",
        )
    return positions_complaint(files["frames"], options)


MEASUREMENT = Measurement(
    area="spacing",
    title=MEASUREMENTS["spacing"][0],
    help="Best distance between reducer or flattener and sensor from focus runs at several; the direction from one.",
    example=(
        "starassay measure spacing a-1.fits a-2.fits a-3.fits a-4.fits a-5.fits b-1.fits b-2.fits b-3.fits b-4.fits "
        "b-5.fits --distances 54mm 54mm 54mm 54mm 54mm 56mm 56mm 56mm 56mm 56mm --aperture 115mm --focal-length 690mm"
    ),
    roles=(
        Role(
            "frames",
            "focus runs of a star field, five or more frames at each distance, as taken",
        ),
    ),
    options=options(
        SPACING_REQUEST,
        "distances present_distance distance_uncertainty known_slope known_slope_uncertainty known_height too_near wavelength",
        Option(
            "distances",
            "numbers",
            "distance between reducer or flattener and sensor of each frame; equal ones form a run",
            "mm",
            required=True,
        ),
        *FOCUS_RUN,
    ),
    measure=measure,
    recipe=RECIPE,
    # No draft: headers do not tell the distance, so that runs are drafted as focus runs.
    check=check,
    telescope="aperture focal_length [obstruction]",
    light="wavelength",
    words={
        "Spacing": (
            "Distance between a reducer or flattener and the sensor. The field is flat at one distance only; "
            "nearer and farther it bends to opposite sides."
        ),
        "Sag": "Best focus of the corners less that of the middle of the sensor, tilt taken off.",
    },
    caveat=(
        "A better distance flattens the mean surface; astigmatism, coma and tilt stay. Focus and plate scale "
        "change with the distance."
    ),
)

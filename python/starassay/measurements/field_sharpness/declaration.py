"""What the doors know of this measurement."""

from __future__ import annotations

from collections.abc import Sequence

from ..._records import FIELD_SHARPNESS_REQUEST, MEASUREMENTS
from ...imaging.glances import Glance
from .._declaring import IN_FILE, Measurement, Option, Part, Role, Setup, in_file, options
from .._drafting import Draft, focus_runs, paths, titled, together
from .watching import WATCH


def measure(setup: Setup) -> list[Part]:
    """Each frame by itself."""
    from . import measure_field_sharpness

    given = dict(setup.options)
    how = in_file(given)
    if setup.telescope is not None:
        given.setdefault("focal_length", setup.telescope.focal_length)
        given.setdefault("aperture", setup.telescope.aperture)
        given.setdefault("obstruction", setup.telescope.obstruction)
    parts = []
    for path in setup.files["frames"]:
        frame = setup.read(path, **how)
        found = measure_field_sharpness(
            frame, threads=setup.threads, progress=setup.progress, **given
        )
        parts.append(Part(frame.name, found))
    return parts


def draft(glances: Sequence[Glance]) -> list[Draft]:
    """Star fields that are no focus run, one frame of each field and filter."""
    runs = {one.path for run in focus_runs(glances) for one in run}
    fields = together([one for one in glances if one.path not in runs], "dots")
    return [
        Draft(titled("Field sharpness", group), {"frames": paths(group[:1])}, group[0].facts.filter)
        for group in fields
    ]


MEASUREMENT = Measurement(
    area="field_sharpness",
    title=MEASUREMENTS["field_sharpness"][0],
    help="Sharpness and roundness of the stars over one frame, what the pattern means, where the blur comes from.",
    example=(
        "starassay measure field-sharpness field.fits --pitch 3.76um --aperture 115mm --focal-length 690mm "
        "--seeing 2.1arcsec"
    ),
    roles=(Role("frames", "rich star fields in focus, as taken"),),
    options=options(
        FIELD_SHARPNESS_REQUEST,
        "blur_limit wavelength seeing seeing_uncertainty defocus tracking",
        *IN_FILE,
        Option(
            "outer_radius",
            "number",
            "radius of the circle that counts as the whole star (default: three half-flux radii)",
            "pix",
            low=2.0,
            high=200.0,
        ),
    ),
    measure=measure,
    draft=draft,
    watch=WATCH,
    telescope="[aperture] [focal_length] [obstruction]",
    light="wavelength",
    together=False,
    words={
        "Radial, tangential": (
            "Drawn out along the line to the middle of the field, or across it; what all stars share in one "
            "direction is neither."
        ),
        "Sharp circle": (
            "Circle about the middle of the sensor within which the stars' FWHM stays under the stated limit."
        ),
        "Left": (
            "FWHM of the Gaussian blur that must be added to the known causes, through the pupil, to make the "
            "stars as wide as they are."
        ),
    },
    caveat=(
        "One frame contains the night's focus, air and mount; it says how sharp the field was, and what of it "
        "cannot be those, not on which side of focus a corner lies."
    ),
)

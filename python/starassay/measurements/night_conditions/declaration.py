"""What the doors know of this measurement."""

from __future__ import annotations

from collections.abc import Sequence

from ..._records import MEASUREMENTS, NIGHT_CONDITIONS_REQUEST
from ...imaging.glances import Glance
from .._declaring import IN_FILE, Measurement, Option, Part, Role, Setup, in_file, options
from .._drafting import Draft, focus_runs, paths, titled, together

#: Frames of one field and filter from which on a draft proposes to follow the night by them.
_SEQUENCE = 8


def measure(setup: Setup) -> list[Part]:
    """All frames together."""
    from . import measure_night_conditions

    given = dict(setup.options)
    how = in_file(given)
    if setup.telescope is not None:
        given.setdefault("focal_length", setup.telescope.focal_length)
        given.setdefault("aperture", setup.telescope.aperture)
        given.setdefault("obstruction", setup.telescope.obstruction)
    found = measure_night_conditions(
        setup.frames("frames", **how), threads=setup.threads, progress=setup.progress, **given
    )
    return [Part(f"{len(found.names)} frames", found)]


def draft(glances: Sequence[Glance]) -> list[Draft]:
    """Long sequences of one field through one filter that are no focus run."""
    runs = {one.path for run in focus_runs(glances) for one in run}
    fields = together([one for one in glances if one.path not in runs], "dots")
    return [
        Draft(titled("Night conditions", group), {"frames": paths(group)}, group[0].facts.filter)
        for group in fields
        if sum(one.facts.time is not None for one in group) >= _SEQUENCE
    ]


MEASUREMENT = Measurement(
    area="night_conditions",
    title=MEASUREMENTS["night_conditions"][0],
    help="Width of the stars through a night, what of it can be air, focus or mount, and the best frames.",
    example=(
        "starassay measure night-conditions field-*.fits --aperture 115mm --focal-length 690mm --wavelength 540nm"
    ),
    roles=(Role("frames", "star fields of one night through one filter, three or more"),),
    options=options(
        NIGHT_CONDITIONS_REQUEST,
        "wavelength",
        Option(
            "times",
            "texts",
            "start of each exposure, UTC (default: the headers')",
        ),
        Option("airmasses", "numbers", "airmass of each frame (default: by the headers)"),
        Option(
            "site",
            "text",
            'latitude, longitude (east positive) and height, such as "48.1, 11.6, 520 m" (default: by the headers)',
        ),
        Option(
            "focuser_step",
            "number",
            "how far one step of the focuser moves the sensor, for headers that count steps",
            "um",
        ),
        *IN_FILE,
    ),
    measure=measure,
    draft=draft,
    telescope="[aperture] [focal_length] [obstruction]",
    light="wavelength",
    words={
        "At the zenith": (
            "Blur by the air grows with the airmass to the power 0.6 and shrinks with the wavelength to the power 0.2; "
            "widths are stated as if every frame had looked straight up at 500 nm."
        ),
        "Best fifth": (
            "The fifth of the frames with the narrowest stars. What they show contains the optics, so that the "
            "optics are no worse."
        ),
        "Independent frames": (
            "Seeing wanders slowly, so that neighboring frames say the same; as many frames without that would tell "
            "the mean as well."
        ),
    },
    caveat=(
        "The width of stars in focus does not tell worse air from a drifting focus; refocusing now and then, or "
        "focus runs, do."
    ),
)

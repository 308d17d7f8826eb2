"""What the doors know of this measurement."""

from __future__ import annotations

from collections.abc import Sequence

from ..._records import MEASUREMENTS, STAR_REQUEST
from ...imaging.glances import Glance
from .._declaring import IN_FILE, Measurement, Option, Part, Role, Setup, in_file, options
from .._drafting import Draft, focus_runs, paths, titled, together
from .planning import RECIPE
from .watching import WATCH


def measure(setup: Setup) -> list[Part]:
    """Each frame by itself; the colors of a raw mosaic each by itself."""
    from . import measure_stars

    given = dict(setup.options)
    foreign, wanted = given.pop("other_telescope", None), given.pop("color", None)
    how = in_file(given)
    scope = given.pop("focal_length", None)
    if setup.telescope is not None and not foreign:
        scope = setup.telescope.focal_length
    parts = []
    for path in setup.files["frames"]:
        frame = setup.read(path, **how)
        for color in ("red", "green", "blue") if frame.bayer else ("",):
            if wanted and color and color != wanted:
                continue
            field = measure_stars(
                frame,
                color=color or "green",
                focal_length=scope,
                threads=setup.threads,
                progress=setup.progress,
                **given,
            )
            label = frame.name + (f", {color} pixels" if color else "")
            # Of a mosaic the green pixels stand for the telescope.
            aside = bool(color) and color != (wanted or "green")
            parts.append(Part(label, field, aside or bool(foreign)))
    return parts


def draft(glances: Sequence[Glance]) -> list[Draft]:
    """Star fields that are no focus run; every filter and object by itself."""
    runs = {one.path for run in focus_runs(glances) for one in run}
    fields = together([one for one in glances if one.path not in runs], "dots")
    return [
        Draft(titled("Star field", group), {"frames": paths(group)}, group[0].facts.filter)
        for group in fields
    ]


MEASUREMENT = Measurement(
    area="stars",
    title=MEASUREMENTS["stars"][0],
    help="Find every star of a frame: place, half-flux radius, FWHM, ellipticity, flags.",
    example="starassay measure stars field.fits --plot field.png --table field.ecsv",
    roles=(Role("frames", "star fields: FITS, plain, gzip or tile-compressed"),),
    options=options(
        STAR_REQUEST,
        "threshold outer_radius fit_profiles cell_size axis filter_wavelength",
        Option("axis", "numbers", "optical axis, column and row (default: the middle)", "pix", 2),
        *IN_FILE,
        Option(
            "color",
            "choice",
            "only these pixels of a raw color mosaic (default: every color by itself)",
            choices=("red", "green", "blue"),
        ),
        Option("other_telescope", "text", "name of another telescope that took these frames"),
    ),
    measure=measure,
    draft=draft,
    recipe=RECIPE,
    watch=WATCH,
    telescope="[focal_length]",
    light="filter_wavelength",
    together=False,
    words={
        "FWHM": (
            "Full width of a star's profile at half of its height, from a fitted Moffat " "profile."
        ),
        "HFR": (
            "Half-flux radius: radius of the circle round a star's center that holds half "
            "of its light."
        ),
        "Ellipticity": (
            "1 - b/a of the star's shape: 0 is round. Radial means drawn out along the "
            "line to the middle of the field, tangential across it."
        ),
    },
    caveat=(
        "Star sizes contain the seeing and tracking of the night; they say how sharp the "
        "images were, not how sharp the optics are."
    ),
)

"""What the doors know of this measurement."""

from __future__ import annotations

from collections.abc import Sequence

from ..._records import MEASUREMENTS, PLATE_SCALE_REQUEST
from ...imaging.glances import Glance
from .._declaring import IN_FILE, Measurement, Option, Part, Role, Setup, in_file, options
from .._drafting import Draft, paths, titled, together
from .planning import RECIPE


def measure(setup: Setup) -> list[Part]:
    """Each frame by itself."""
    from . import measure_plate_scale

    given = dict(setup.options)
    how = in_file(given)
    if setup.telescope is not None:
        given.setdefault("aperture", setup.telescope.aperture)
    tables = setup.files.get("positions", ())
    parts = []
    for path in setup.files["frames"]:
        frame = setup.read(path, **how)
        found = measure_plate_scale(
            frame,
            positions=tables[0] if tables else None,
            threads=setup.threads,
            progress=setup.progress,
            **given,
        )
        parts.append(Part(frame.name, found))
    return parts


def draft(glances: Sequence[Glance]) -> list[Draft]:
    """One solved frame of each field is enough."""
    fields = together([one for one in glances if one.solved], "dots")
    return [
        Draft(titled("Plate scale", g), {"frames": paths(g[:1])}, g[0].facts.filter) for g in fields
    ]


MEASUREMENT = Measurement(
    area="plate_scale",
    title=MEASUREMENTS["plate_scale"][0],
    help="True focal length, reducer factor, distortion and field of view of a solved frame.",
    example="starassay measure plate-scale solved.fits --pitch 3.76um --aperture 80mm",
    roles=(
        Role("frames", "star fields with a celestial solution (WCS), or with a table of positions"),
        Role(
            "positions",
            "table with ra, dec of the stars and, for a frame without WCS, x and y",
            many=False,
            optional=True,
        ),
    ),
    options=options(
        PLATE_SCALE_REQUEST,
        "nominal_focal_length pitch_uncertainty",
        *IN_FILE,
        Option(
            "match_radius",
            "number",
            "how far from its place a star may be found (default 4)",
            "pix",
            low=0.1,
            high=1000.0,
        ),
    ),
    measure=measure,
    draft=draft,
    recipe=RECIPE,
    telescope="[aperture]",
    together=False,
    words={
        "Focal length": (
            "Distance that turns an angle on the sky into a length in the image, at the middle of the "
            "field, reducer or extender included."
        ),
        "Distortion": (
            "By how much a star stands farther from the middle than focal length times tangent of its "
            "angle, over that height (ISO 9039); positive is pincushion, negative barrel."
        ),
    },
    caveat=(
        "The focal length is that of the night's focus position and as true as the pixel pitch; the "
        "distortion is that of the whole train, flattener and filters included."
    ),
)

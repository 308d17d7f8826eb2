"""What the doors know of this measurement."""

from __future__ import annotations

from ..._records import MEASUREMENTS, REFLECTIONS_REQUEST
from .._declaring import IN_FILE, Measurement, Part, Role, Setup, in_file, options


def measure(setup: Setup) -> list[Part]:
    """Each photo by itself."""
    from . import measure_reflections

    given = dict(setup.options)
    how = in_file(given)
    return [
        Part(
            path.name,
            measure_reflections(
                path, threads=setup.threads, progress=setup.progress, **how, **given
            ),
        )
        for path in setup.files["photos"]
    ]


MEASUREMENT = Measurement(
    area="reflections",
    title=MEASUREMENTS["reflections"][0],
    help="Circles in a photo of reflections through a sighting eyepiece: how far they are out of one middle.",
    example=(
        "starassay measure reflections cap.jpg --objective 1 --spot 3 --objective-diameter 150mm --objective-distance 740mm "
        "--surface-radius 1500mm"
    ),
    roles=(
        Role(
            "photos",
            "photos of the bright plate's reflections through the sight hole: JPEG, PNG or FITS, whole, sharp, unclipped",
        ),
    ),
    options=options(
        REFLECTIONS_REQUEST,
        "objective spot sight objective_diameter objective_distance surface_radius sight_distance viewpoint_uncertainty "
        "distortion distortion_uncertainty field_of_view field_of_view_uncertainty",
        *IN_FILE,
    ),
    measure=measure,
    # No draft: photos are no FITS files, which is all that a folder of frames is looked through for.
    together=False,
    words={
        "Concentric": "Having one middle. Here: how far the middle of a circle lies from that of a larger one round it, as a vector.",
        "Sighting eyepiece": (
            "A tube with a small hole in the focuser's axis and a bright plate round the hole that faces the objective; its reflections "
            "show whether focuser and objective have one axis."
        ),
    },
    caveat=(
        "Reflections tell how surfaces stand to each other by day; what that does to the image, a defocused star tells. A hole and a "
        "camera that are not in the focuser's middle shift what is seen."
    ),
    caution=(
        "Looking into a telescope",
        "By the light of the plate alone: never with a laser in the focuser, and never with the tube near the Sun. Turn only screws that the "
        "maker means for the owner; lens cells are the maker's or a qualified optician's to open. Never loosen a mirror's screw out of its thread.",
    ),
)

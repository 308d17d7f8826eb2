"""What the doors know of this measurement."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ..._records import LATERAL_COLOR_REQUEST, MEASUREMENTS
from ...imaging.glances import Glance
from .._declaring import Measurement, Option, Part, Role, Setup, options
from .._drafting import Draft, focus_runs, paths, titled, together
from .planning import RECIPE


def measure(setup: Setup) -> list[Part]:
    """Each color mosaic by itself; frames through filters together."""
    from . import measure_lateral_color

    how: dict[str, Any] = {"threads": setup.threads, "progress": setup.progress, **setup.options}
    if setup.telescope is not None:
        how["focal_length"] = setup.telescope.focal_length
        how["focal_ratio"] = setup.telescope.focal_ratio
    frames = setup.frames("frames")
    if len(frames) > 1 and not frames[0].bayer:
        return [Part(f"{len(frames)} filters", measure_lateral_color(frames, **how))]
    return [Part(frame.name, measure_lateral_color(frame, **how)) for frame in frames]


def draft(glances: Sequence[Glance]) -> list[Draft]:
    """One mosaic of each field; of frames through filters one of each filter."""
    runs = {one.path for run in focus_runs(glances) for one in run}
    fields = together([one for one in glances if one.path not in runs], "dots")
    found: list[Draft] = []
    filtered: dict[tuple[str, tuple[int, int]], list[Glance]] = {}
    for group in fields:
        if group[0].facts.bayer:
            found.append(Draft(titled("Lateral color", group), {"frames": paths(group[:1])}))
        elif group[0].facts.object and group[0].facts.filter:
            filtered.setdefault((group[0].facts.object, group[0].shape), []).append(group[0])
    for (name, _), one_each in filtered.items():
        if len(one_each) > 1:
            colors = [one.facts.filter for one in one_each]
            found.append(
                Draft(f"Lateral color, {name}, {', '.join(colors)}", {"frames": paths(one_each)})
            )
    return found


MEASUREMENT = Measurement(
    area="lateral_color",
    title=MEASUREMENTS["lateral_color"][0],
    help="Lateral color over the field from a raw color mosaic or one frame a filter.",
    example="starassay measure lateral-color mosaic.fits --aperture 115mm --focal-length 690mm",
    roles=(
        Role(
            "frames",
            "raw color mosaics of a star field (each by itself), or one frame of it through each filter",
        ),
    ),
    options=options(
        LATERAL_COLOR_REQUEST,
        "wavelengths altitude zenith_direction",
        Option(
            "reference",
            "text",
            "color that the others are compared with (default: green, else the first)",
        ),
    ),
    measure=measure,
    draft=draft,
    recipe=RECIPE,
    telescope="[aperture] [focal_length]",
    words={
        "Lateral color": (
            "Image height in one color less that in another (ISO 15795 and ISO 19084 in sense): the image "
            "is larger in one color, so that stars in the corners get colored rims."
        ),
        "Dispersion of the air": (
            "Low stars are short spectra, blue towards the zenith; it shifts whole images of one color "
            "against another and is not the telescope's."
        ),
    },
    caveat=(
        "Star centers move with coma and astigmatism as well as with the scale of the image, and each star's "
        "own color shifts the middle of a broad passband."
    ),
)

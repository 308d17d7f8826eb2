"""What the doors know of this measurement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..._records import EDGE_CONTRAST_REQUEST, MEASUREMENTS
from ...imaging.glances import Glance
from .._declaring import IN_FILE, Measurement, Part, Role, Setup, in_file, options
from .._drafting import Draft, paths, titled


def measure(setup: Setup) -> list[Part]:
    """Each frame by itself."""
    from . import measure_edge_contrast

    assert setup.telescope is not None
    given = dict(setup.options)
    how = in_file(given)
    bias = setup.frames("bias")
    parts = []
    for frame in setup.frames("frames", **how):
        found = measure_edge_contrast(
            frame,
            focal_length=setup.telescope.focal_length,
            aperture=setup.telescope.aperture,
            obstruction=setup.telescope.obstruction,
            bias=bias[0] if bias else None,
            threads=setup.threads,
            progress=setup.progress,
            **given,
        )
        parts.append(Part(frame.name, found))
    return parts


def check(
    files: Mapping[str, Sequence[Path]], options: Mapping[str, Any]
) -> tuple[str, str] | None:
    """A phase belongs to the Moon; a bias frame and its level are one too many."""
    if options.get("phase_angle") is not None and options.get("subject") != "moon":
        return "phase_angle", 'phase_angle belongs to the Moon. Say subject = "moon" too.'
    if files.get("bias") and options.get("bias_level") is not None:
        return "bias_level", "Give bias or bias_level, not both."
    return None


def draft(glances: Sequence[Glance]) -> list[Draft]:
    """Frames whose name or header speaks of the Moon, the limb or an edge."""
    found = []
    for one in glances:
        words = set(one.words.split())
        if one.shows != "dark" and words & {"moon", "limb", "edge"}:
            darks = [g for g in glances if g.shows == "dark" and g.shape == one.shape]
            files = {"frames": paths([one])} | ({"bias": paths(darks[:1])} if darks else {})
            found.append(Draft(titled("Edge", [one]), files, one.facts.filter))
    return found


MEASUREMENT = Measurement(
    area="edge_contrast",
    title=MEASUREMENTS["edge_contrast"][0],
    help="Edge spread, MTF and glare from the Moon's limb or another bright edge.",
    example=(
        "starassay measure edge-contrast limb.fits --subject moon --phase-angle 40deg --bias bias.fits --aperture 115mm "
        "--focal-length 690mm"
    ),
    roles=(
        Role("frames", "the Moon's sunlit limb or a straight bright edge, unclipped"),
        Role("bias", "a bias or dark frame of the same camera", many=False, optional=True),
    ),
    options=options(
        EDGE_CONTRAST_REQUEST,
        "subject phase_angle bias_level wavelength seeing seeing_uncertainty glare_distance",
        *IN_FILE,
    ),
    measure=measure,
    check=check,
    draft=draft,
    telescope="aperture focal_length [obstruction]",
    light="wavelength",
    together=False,
    words={
        "Edge spread": "Light across the image of a sharp edge; its derivative is the line spread.",
        "MTF": (
            "Contrast of fine detail in the image over that of the object, against the number of lines a millimeter; "
            "slanted-edge method in the sense of ISO 12233."
        ),
        "Veiling glare index": (
            "Light in the image of a small black patch in a large bright field, over that of the field (ISO 9358 in sense)."
        ),
    },
    caveat=(
        "It contains the air, the tracking and the focus of that exposure; the best of several frames says most about "
        "the telescope."
    ),
    caution=(
        "The Moon and the Sun",
        "The Moon through a large aperture does no harm but dazzles. Never do the same with the Sun's limb without a certified "
        "filter over the whole front of the telescope and its finder. Local rules come first.",
    ),
)

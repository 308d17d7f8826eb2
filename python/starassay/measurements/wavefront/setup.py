"""What names and headers say against the call: a mosaic, an exchanged pair, another telescope.

A pair in the wrong order fits as well as the right one: the images of the wavefront -W(-x, -y)
inside focus are those of W outside. Only what stands beside the pixels can tell.
"""

from __future__ import annotations

from collections.abc import Sequence

from astropy import units as u

from ...imaging.color_planes import refuse_mosaic
from ...imaging.frame import Frame
from ...results import Note, say
from ...optics.telescope import Telescope

# Focal lengths of a type are stated to about 1 % (common practice, no source); three times that
# is no rounding.
_TOLERANCE = 0.03


def check_setup(frames: Sequence[Frame], telescope: Telescope) -> list[Note]:
    """Notes on the frames as a pair; raises for a raw color mosaic.

    Parameters
    ----------
    frames : sequence of Frame
        Inside, outside, inside, ...
    telescope : Telescope
        As the call has it.

    Returns
    -------
    list of Note
        Empty when nothing contradicts.
    """
    for frame in frames:
        refuse_mosaic(frame, "a wavefront")
    notes = [n for a, b in zip(frames[::2], frames[1::2]) for n in _order(a, b)]
    return notes + _other_telescope(frames[0], telescope)


def _order(inside: Frame, outside: Frame) -> list[Note]:
    """Whether the pair may be exchanged."""
    reasons = []
    first, second = inside.focus_position, outside.focus_position
    if first is not None and second is not None and first.unit.is_equivalent(second.unit):
        if first == second:
            return [
                say(
                    "wavefront.one-side",
                    f"The headers of {inside.name} and {outside.name} both put the focuser at "
                    f"{_place(first)}: the images may lie on one side of focus, and then the numbers mean "
                    "nothing. Check that the second image is from the other side.",
                    inside.name,
                )
            ]
        if first > second:
            reasons.append(
                f"the header of {inside.name} puts the focuser at {_place(first)}, that of "
                f"{outside.name} at {_place(second)}, and such numbers usually grow as the sensor "
                "moves away from the objective"
            )
    if "outside" in inside.name.lower() and "inside" in outside.name.lower():
        reasons.append(f"{inside.name} was given as the image inside focus")
    if not reasons:
        return []
    return [
        say(
            "wavefront.exchanged",
            f"Inside and outside may be exchanged: {'; '.join(reasons)}. The images cannot show it, and "
            "it turns the sign of spherical aberration and astigmatism; RMS, PV and Strehl ratio stay. "
            "Check which image was taken with the sensor nearer to the objective.",
            inside.name,
        )
    ]


def _place(position: u.Quantity) -> str:
    if position.unit == u.one:
        return f"step {position.value:.6g}"
    return f"{position.to_value(u.um):.6g} um"


def _other_telescope(frame: Frame, telescope: Telescope) -> list[Note]:
    """Whether the header names another aperture or focal length (in mm, as is usual)."""
    notes = []
    for card, name, given in (
        ("APTDIA", "aperture", telescope.aperture),
        ("FOCALLEN", "focal length", telescope.focal_length),
    ):
        stated = frame.meta.get(card)
        if not isinstance(stated, (int, float)) or not stated > 0:
            continue
        if abs(stated / given.to_value(u.mm) - 1) > _TOLERANCE:
            notes.append(
                say(
                    "wavefront.header-differs",
                    f"The header of {frame.name} states {stated:g} mm as {name} ({card}), the call "
                    f"{given.to_value(u.mm):g} mm, which was used. Correct whichever is wrong.",
                    frame.name,
                )
            )
    return notes

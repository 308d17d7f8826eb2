"""What names and headers say against the call: a mosaic, an exchanged pair, another telescope.

A pair in the wrong order fits as well as the right one: the images of the wavefront -W(-x, -y)
inside focus are those of W outside. Only what stands beside the pixels can tell.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from astropy import units as u

from ...imaging.color_planes import refuse_mosaic
from ...imaging.frame import Frame
from ...results import Note, say
from ...optics.telescope import Telescope

# Focal lengths of a type are stated to about 1 % (common practice, no source); three times that
# is no rounding.
_TOLERANCE = 0.03

# Of the filter's number against the wavelength: a line filter is named to 1 nm, a wide one to 20 nm
# (common practice, no source).
_FILTER_TOLERANCE = 0.05

# Between the first and the last image of an entry: more than a night.
_LONGEST_HOURS = 12.0

# Of the focuser's way against the distance between the images, beside a tenth of a millimetre of play
# and of error in either distance (common practice, no source).
_WAY_TOLERANCE, _PLAY = 0.08, 0.1 * u.mm


def check_setup(
    frames: Sequence[Frame],
    telescope: Telescope,
    wavelength: u.Quantity | None = None,
    pitch: u.Quantity | None = None,
) -> list[Note]:
    """Notes on the frames as a pair; raises for a raw color mosaic.

    Parameters
    ----------
    frames : sequence of Frame
        Inside, outside, inside, ...
    telescope : Telescope
        As the call has it.
    wavelength : Quantity, optional
        Mean of the call's.
    pitch : Quantity, optional
        Of the call; the frames' own when not given.

    Returns
    -------
    list of Note
        Empty when nothing contradicts.
    """
    for frame in frames:
        refuse_mosaic(frame, "a wavefront")
    notes = [n for a, b in zip(frames[::2], frames[1::2]) for n in _order(a, b)]
    for frame in frames:
        notes += _other_telescope(frame, telescope) + _other_filter(frame, wavelength)
    return notes + _binning(frames, pitch) + _one_entry(frames)


def check_way(frames: Sequence[Frame], raw: Mapping[str, Any]) -> list[Note]:
    """Notes on the focuser's way against the distances that the discs show.

    Parameters
    ----------
    frames : sequence of Frame
        Inside, outside, inside, ...
    raw : mapping
        The engine's answer.

    Returns
    -------
    list of Note
        Empty when nothing contradicts, or when the headers give no length of a step.
    """
    notes = []
    distances = [image["distance"]["value"] * u.um for image in raw["images"]]
    for k in range(0, len(frames) - 1, 2):
        first, second = frames[k].focus_position, frames[k + 1].focus_position
        if first is None or second is None or first == second:
            continue
        if not (first.unit.is_equivalent(u.um) and second.unit.is_equivalent(u.um)):
            continue
        way, seen = abs(second - first).to(u.um), abs(distances[k + 1] - distances[k])
        if abs(way - seen) > _WAY_TOLERANCE * seen + _PLAY:
            ratio = float(way / seen)
            notes.append(
                say(
                    "wavefront.focuser-contradicts",
                    f"The focuser moved by {way.value:.0f} um between {frames[k].name} and "
                    f"{frames[k + 1].name}, the discs say {seen.value:.0f} um: pixel pitch times focal "
                    f"ratio is {ratio:.3g} times what was stated, or the focuser's step is wrong. Until "
                    "that is settled nothing is decided.",
                    frames[k].name,
                )
            )
    return notes


def _other_filter(frame: Frame, wavelength: u.Quantity | None) -> list[Note]:
    """Whether the filter's name holds another wavelength than the call."""
    found = re.search(r"(?<![\d.])(\d{3,4}(?:\.\d+)?)\s*nm\b", frame.filter or "", re.IGNORECASE)
    if wavelength is None or found is None:
        return []
    named = float(found[1])
    given = float(u.Quantity(wavelength).to_value(u.nm))
    if named < 200 or abs(named / given - 1) <= _FILTER_TOLERANCE:
        return []
    return [
        say(
            "wavefront.header-differs",
            f"The header of {frame.name} names the filter {frame.filter!r}, the call a wavelength of "
            f"{given:g} nm, which was used. Correct whichever is wrong; until then nothing is decided.",
            frame.name,
        )
    ]


def _binning(frames: Sequence[Frame], pitch: u.Quantity | None) -> list[Note]:
    """Binned frames whose pitch may be that of single pixels, and images of different pixels."""
    notes = []
    frame = frames[0]
    single = next((n for n in frame.notes if n.code == "frame.pitch-binned"), None)
    if single is not None and pitch is None:
        notes.append(
            say(
                "wavefront.binning-contradicts",
                f"{frame.name} is binned {frame.binning[0]} x {frame.binning[1]}, and its header does not "
                f"say whether the pixel of {_um(frame.pitch)} um is the binned one or the single one, "
                f"with {_um(frame.pitch, frame.binning[0])} um binned. Give the pitch, binning included; "
                "until then nothing is decided.",
                frame.name,
            )
        )
    for other in frames[1:]:
        sizes = frame.pitch, other.pitch
        if other.binning != frame.binning or (
            sizes[0] is not None and sizes[1] is not None and abs(sizes[1] / sizes[0] - 1) > 0.01
        ):
            notes.append(
                say(
                    "wavefront.binning-contradicts",
                    f"{frame.name} is binned {frame.binning[0]} x {frame.binning[1]} with pixels of "
                    f"{_um(sizes[0])} um, {other.name} {other.binning[0]} x {other.binning[1]} with "
                    f"{_um(sizes[1])} um. Take both images in the same way.",
                    other.name,
                )
            )
            break
    return notes


def _um(pitch: u.Quantity | None, factor: int = 1) -> str:
    return "unknown" if pitch is None else f"{pitch.to_value(u.um) * factor:.4g}"


def _plain(text: str) -> str:
    """Without blanks and capitals, which say nothing."""
    return "".join(text.split()).casefold()


def _one_entry(frames: Sequence[Frame]) -> list[Note]:
    """Whether the images can show one telescope in one state."""
    reasons = []
    dated = sorted(((f.time, f) for f in frames if f.time is not None), key=lambda d: d[0].mjd)
    # Days as plain numbers: a difference of times would ask for leap seconds, of which there are few.
    hours = 24.0 * (dated[-1][0].mjd - dated[0][0].mjd) if dated else 0.0
    if hours > _LONGEST_HOURS:
        apart = f"{hours:.0f} hours" if hours < 72 else f"{hours / 24:.0f} days"
        reasons.append(
            f"{dated[0][1].name} was taken on {dated[0][0].isot[:10]}, {dated[-1][1].name} on "
            f"{dated[-1][0].isot[:10]}, {apart} apart"
        )
    for what in ("camera", "filter", "telescope"):
        said = [(getattr(f, what), f.name) for f in frames if getattr(f, what)]
        other = next((s for s in said if _plain(s[0]) != _plain(said[0][0])), None)
        if other is not None:
            reasons.append(
                f"the {what} of {said[0][1]} is {said[0][0]!r}, that of {other[1]} {other[0]!r}"
            )
    return [
        say(
            "wavefront.not-one-pair",
            f"The images need not show one wavefront: {reason}. Give those of one night and one setup.",
            frames[0].name,
        )
        for reason in reasons
    ]


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
                    f"{given.to_value(u.mm):g} mm, which was used. Correct whichever is wrong; until then "
                    "nothing is decided.",
                    frame.name,
                )
            )
    return notes

"""What a frame's pixels must be, and what the engine sees in them."""

from __future__ import annotations

import dataclasses
from collections.abc import Set

import numpy as np
from astropy import units as u

from .. import _gateway
from ..errors import CannotMeasureError, InputError
from .frame import Frame
from .header_exposure import is_dark
from ..results import Note, notes_from_engine, say


def take_plane(pixels: np.ndarray, plane: int | None, name: str, notes: list[Note]) -> np.ndarray:
    """The image with two axes, of a type and size that the engine reads.

    Parameters
    ----------
    pixels : ndarray
        Any number of axes.
    plane : int or None
        Which plane of three axes.
    name : str
        For messages.
    notes : list of Note
        Grows by the choice of a plane.

    Returns
    -------
    ndarray, shape (ny, nx)
        A view.

    Raises
    ------
    InputError
        When it is no image with two axes, is empty, too large or of another type.
    """
    while pixels.ndim > 3 and pixels.shape[0] == 1:
        pixels = pixels[0]
    if pixels.ndim == 3 and (plane is not None or pixels.shape[0] == 1):
        count, index = pixels.shape[0], plane or 0
        if not -count <= index < count:
            raise InputError(
                f"{name} has planes 0 to {count - 1}, no plane {index}.",
                code="frame.plane",
                argument="plane",
                subject=name,
            )
        if count > 1:
            notes.append(say("frame.plane-taken", f"Plane {index} of {count} was taken.", name))
        pixels = pixels[index]
    if pixels.ndim != 2:
        sizes = " x ".join(map(str, pixels.shape[::-1])) or "one number"
        cure = (
            f"Choose one of its {pixels.shape[0]} planes with plane=0 to {pixels.shape[0] - 1}."
            if pixels.ndim == 3
            else "Choose one plane of it."
        )
        raise InputError(
            f"{name} has {pixels.ndim} axes ({sizes}); an image with two is needed. {cure}",
            code="frame.dimensions",
            argument="source",
            subject=name,
        )
    if pixels.size == 0:
        raise InputError(
            f"{name} has no pixels ({pixels.shape[1]} x {pixels.shape[0]}). Give an image with a "
            "picture.",
            code="frame.empty",
            argument="source",
            subject=name,
        )
    if pixels.dtype.kind not in "uifb" or pixels.dtype.itemsize > 8 or pixels.dtype == np.float16:
        raise InputError(
            f"The pixels of {name} are of type {pixels.dtype}; integers or 32- or 64-bit floats are "
            "needed. Convert them with .astype('float32').",
            code="frame.type",
            argument="source",
            subject=name,
        )
    if pixels.size * pixels.dtype.itemsize > 2**31 - 1:
        raise InputError(
            f"{name} holds {pixels.nbytes / 2**30:.3g} GiB; the largest that can be measured is 2 GiB. "
            "Cut it into parts.",
            code="frame.too-large",
            argument="source",
            subject=name,
        )
    return pixels


def look_at(frame: Frame, told: Set[str]) -> Frame:
    """The frame with what the engine sees in its pixels: saturation, mosaic, doubts.

    Parameters
    ----------
    frame : Frame
        As header and caller describe it.
    told : set of str
        Which of its facts the caller stated; what is seen does not overrule them.

    Returns
    -------
    Frame
        With saturation level, mosaic and notes.

    Raises
    ------
    CannotMeasureError
        When no pixel holds a value, or all are saturated.
    """
    request = {"pattern": frame.bayer, "trust_pattern": "bayer" in told}
    report = _gateway.call("imaging.inspect", request, frames={"frame": frame})
    seen = report["inspection"]
    notes = [*frame.notes, *notes_from_engine(report["notes"])]
    # Of a large frame the engine looks at evenly spaced rows.
    about = "" if seen["row_step"] == 1 else "about "

    def add(code: str, text: str) -> None:
        notes.append(say(code, text, frame.name))

    if seen["used_count"] == 0:
        raise CannotMeasureError(
            f"No pixel of {frame.name} holds a value: all are NaN, blank or masked. Give another image.",
            code="frame.no-values",
            subject=frame.name,
        )
    if seen["not_finite_count"]:
        share = seen["not_finite_count"] / seen["pixel_count"]
        add(
            "frame.not-finite",
            f"{about}{seen['not_finite_count']} pixels ({share:.2%}) hold no number and count as masked.",
        )
    saturation = frame.saturation
    if np.isfinite(seen["pile_up_adu"]):
        pile = seen["pile_up_adu"] * u.adu
        if saturation is None:
            saturation = pile
            add(
                "frame.saturation-found",
                f"{about}{seen['pile_up_count']} pixels pile up at {pile.value:g} ADU, which was taken as the "
                "saturation level.",
            )
        elif pile < 0.99 * saturation and "saturation" not in told:
            add(
                "frame.saturation-contradicts",
                f"{about}{seen['pile_up_count']} pixels pile up at {pile.value:g} ADU, below the stated "
                f"saturation level of {saturation.value:g} ADU; the lower level was used.",
            )
            saturation = pile
    clipped = max(seen["pile_up_count"], seen["saturated_count"])
    constant = seen["minimum_adu"] == seen["maximum_adu"]
    if constant and seen["maximum_adu"] >= _full_scale(frame):
        clipped = seen["used_count"]
    share = clipped / seen["used_count"]
    if share > 0.995:
        raise CannotMeasureError(
            f"All pixels of {frame.name} are saturated ({seen['maximum_adu']:g} ADU). Expose shorter.",
            code="frame.all-saturated",
            subject=frame.name,
        )
    if share > 0.05:
        add("frame.mostly-saturated", f"{share:.0%} of the pixels are saturated. Expose shorter.")
    if constant and seen["pixel_count"] > 1:
        add("frame.constant", f"All pixels have the value {seen['maximum_adu']:g}.")
    excess = seen["bright_adu"] - seen["median_adu"]
    if (is_dark(frame.object) or is_dark(frame.image_type)) and excess > 20 * seen[
        "spread_adu"
    ] > 0:
        word = frame.object if is_dark(frame.object) else frame.image_type
        add(
            "frame.object-doubtful",
            f"The header calls it {word!r}, but a hundredth of the pixels is more than "
            f"{excess:.0f} ADU above the median: something was photographed.",
        )
    return dataclasses.replace(
        frame, saturation=saturation, bayer=report["pattern"], notes=tuple(notes)
    )


def _full_scale(frame: Frame) -> float:
    """Largest physical value that the pixels' type can hold; infinite for floats."""
    if frame.pixels.dtype.kind not in "ui":
        return np.inf
    limits = np.iinfo(frame.pixels.dtype)
    return frame.zero + max(frame.scale * limits.max, frame.scale * limits.min)

"""What frames that are measured together have to share: the size, and pixels whose pitch is known."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from astropy import units as u

from ..errors import InputError
from .frame import Frame
from .frames import read_frame


def same_size(shapes: Sequence[tuple[int, int]], what: str) -> tuple[int, int]:
    """Rows and columns of frames that all have the same.

    Parameters
    ----------
    shapes : sequence of tuple of int
        Rows and columns of each.
    what : str
        What to give instead where they differ, such as "one run of one camera".

    Raises
    ------
    InputError
        With all sizes.
    """
    if len(set(shapes)) > 1:
        sizes = ", ".join(f"{nx} x {ny}" for ny, nx in dict.fromkeys(shapes))
        raise InputError(
            f"The frames differ in size ({sizes} pixels). Give those of {what}.", argument="frames"
        )
    return shapes[0]


def known_pitch(pitch: Any, found: Iterable[u.Quantity | None], whose: str) -> Any:
    """The pixel pitch: as given, else the first that a header tells.

    Parameters
    ----------
    pitch : Quantity, str or None
        What goes before the headers.
    found : iterable of Quantity or None
        Of each frame.
    whose : str
        Name of what lacks it, for the message.

    Raises
    ------
    InputError
        When nobody knows it.
    """
    known = next((p for p in found if p is not None), None) if pitch is None else pitch
    if known is None:
        raise InputError(
            f'The pixel pitch of {whose} is not known. Give pitch, for example "3.76 um".',
            argument="pitch",
        )
    return known


def dark_level(bias: Any, like: Frame, what: str) -> u.Quantity:
    """The level without light: the median of a bias or dark frame.

    Parameters
    ----------
    bias : frame
        Of the same camera.
    like : Frame
        The frame whose size it has to have.
    what : str
        What that shows, such as "the flat".

    Raises
    ------
    InputError
        When the sizes differ.
    """
    frame = read_frame(bias)
    if frame.shape != like.shape:
        raise InputError(
            f"bias has {frame.shape[1]} x {frame.shape[0]} pixels, {what} {like.shape[1]} x {like.shape[0]}. "
            "Give a bias of the same setup.",
            argument="bias",
        )
    return float(np.nanmedian(np.asarray(frame.data, dtype=float))) * u.adu

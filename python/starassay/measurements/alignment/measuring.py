"""Measures the alignment: accepts, converts, calls the engine."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

from astropy import units as u

from ... import _records, _units
from ..._measure import measure
from ...errors import InputError
from ...imaging.frame import Frame
from ...imaging.frames import read_frame
from ...optics.telescope import Telescope
from ...results import Note, say
from .result import Alignment


def measure_alignment(
    frames: Any,
    telescope: Telescope,
    *,
    wavelength: u.Quantity | str,
    band: u.Quantity | str | None = None,
    side: Literal["unknown", "inside", "outside"] = "unknown",
    pitch: u.Quantity | str | None = None,
    top: u.Quantity | str | None = None,
    right: u.Quantity | str | None = None,
    paraboloid: bool = False,
    scale_uncertainty: float | None = None,
    wind: u.Quantity | str | None = None,
    gain: u.Quantity | None = None,
    read_noise: u.Quantity | None = None,
    saturation: u.Quantity | None = None,
    threads: int = 0,
    progress: bool = False,
) -> Alignment:
    """Measure the alignment of a telescope from a star out of focus.

    Parameters
    ----------
    frames : image-like, or a list of one or two
        A bright star in the middle of the field, 5 to 10 waves out of focus; better two images,
        the one inside focus first. See `read_frame`.
    telescope : Telescope
        Aperture, focal length at the sensor, obstruction, vanes.
    wavelength : Quantity or str
        Middle of the passband.
    band : Quantity or str, optional
        Full width of the passband.
    side : str
        Side of focus of a single image: "inside", "outside" or "unknown", which changes nothing that is
        said of the image.
    pitch : Quantity or str, optional
        Of the pixels, binning included; that of the frames by default.
    top, right : Quantity or str, optional
        Directions in the first image, from +x towards +y, in which the shadow of a hand falls that is held
        before the top of the aperture, and before its right-hand edge as seen looking along the tube to the
        sky. With both the result tells hours on a clock's face.
    paraboloid : bool
        The objective is a single paraboloid (Newtonian): its coma tells how far the star stands from its
        axis and by how much to turn it.
    scale_uncertainty : float, optional
        Relative standard uncertainty of focal ratio times pitch; 0.005 by default.
    wind : Quantity or str, optional
        Speed of the air that carries the seeing, for the turbulence left in an exposure; 6 m/s by default.
    gain, read_noise, saturation : Quantity, optional
        Where the headers are silent or wrong.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    Alignment
        Decentre, coma, circles of edges and rings, and what to do.

    Raises
    ------
    InputError
        When there are not one or two images, or `top` and `right` contradict each other.
    CannotMeasureError
        When the star is in focus, cut by the frame's edge or saturated, or both images are from one side.

    Notes
    -----
    The outline of the pupil circle of radius rho is moved by coma W131 rho^3 cos t by 6 N W131 rho^2, alike
    on both sides of focus, that of the obstruction less than that of the rim: the shadow is out of the
    middle. An obstruction that itself is out of the middle moves its shadow to opposite sides.

    Examples
    --------
    >>> import starassay
    >>> telescope = starassay.Telescope("150 mm", "750 mm", obstruction=0.31)
    >>> found = starassay.measure_alignment(  # doctest: +SKIP
    ...     ["inside.fits", "outside.fits"], telescope, wavelength="540 nm", paraboloid=True
    ... )
    >>> print(found.coma)  # doctest: +SKIP
    31.2 ± 1.9 nm
    """
    _units.instance(telescope, Telescope, "telescope", 'Telescope("150 mm", "750 mm")')
    facts = {"gain": gain, "read_noise": read_noise, "saturation": saturation}
    sources = list(frames) if isinstance(frames, (list, tuple)) else [frames]
    if not 1 <= len(sources) <= 2:
        raise InputError(
            f"{len(sources)} images were given. Give one, or one from each side of focus, inside first.",
            code="alignment.frames",
            argument="frames",
        )
    known = {k: v for k, v in facts.items() if v is not None}
    images = [read_frame(source, **known) for source in sources]
    return measure(
        "alignment",
        _records.ALIGNMENT_REQUEST,
        Alignment,
        images,
        given={
            "aperture": telescope.aperture,
            "focal_length": telescope.focal_length,
            "wavelength": wavelength,
            "band": band,
            "side": side,
            "pitch": pitch,
            "top": top,
            "right": right,
            "paraboloid": paraboloid,
            "scale_uncertainty": scale_uncertainty,
            "wind": wind,
        },
        engine={"pupil": telescope.pupil_request()},
        notes=_order(images),
        threads=threads,
        progress=progress,
    )


def _order(frames: Sequence[Frame]) -> list[Note]:
    """Whether the headers put both images at one place of the focuser."""
    places = [frame.focus_position for frame in frames]
    if len(places) < 2 or any(place is None for place in places) or places[0] != places[1]:
        return []
    return [
        say(
            "alignment.one-place",
            f"The headers of {frames[0].name} and {frames[1].name} put the focuser at one place: both images may lie on one side "
            "of focus, and then coma and an obstruction out of the middle are not told apart. Check it.",
            frames[0].name,
        )
    ]

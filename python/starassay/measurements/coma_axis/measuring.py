"""Measures the coma-free axis: one alignment a star, then all of them together."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
from astropy import units as u

from ... import _records, _units
from ..._measure import measure
from ...errors import CannotMeasureError, InputError
from ...imaging.frame import Frame
from ...imaging.frames import read_frame
from ...imaging.one_camera import known_pitch, same_size
from ...optics.telescope import Telescope
from ...results import Note, say
from ..alignment import Alignment, measure_alignment
from . import places
from .result import ComaAxis

#: Doubts of a single star that much coma far from the axis brings about by itself: rings are traced to first order in it. Whether such
#: a star is right the others tell, by chi squared of the law.
_FAR_OUT = ("alignment.rings-differ",)


@dataclasses.dataclass(frozen=True)
class _Star:
    """What one star says, its place in the whole frame."""

    x: float
    y: float
    found: Alignment
    name: str


def measure_coma_axis(
    frames: Any,
    telescope: Telescope,
    *,
    wavelength: u.Quantity | str,
    stars: Any = None,
    most_stars: int = 9,
    paired: bool = False,
    band: u.Quantity | str | None = None,
    pitch: u.Quantity | str | None = None,
    paraboloid: bool = False,
    scale_uncertainty: float | None = None,
    wind: u.Quantity | str | None = None,
    gain: u.Quantity | None = None,
    read_noise: u.Quantity | None = None,
    saturation: u.Quantity | None = None,
    threads: int = 0,
    progress: bool = False,
) -> ComaAxis:
    """Find where the coma-free axis meets the sensor, from defocused stars at several places.

    Parameters
    ----------
    frames : image-like, or a list
        One image with several stars 5 to 10 waves out of focus, or one from each side of focus, the one
        inside first; see `read_frame`. Three or more images: one star each, at different places of the
        sensor.
    telescope : Telescope
        Aperture, focal length at the sensor, obstruction, vanes.
    wavelength : Quantity or str
        Middle of the passband.
    stars : array-like, shape (n, 2), optional
        Columns and rows of the stars in the first of one or two images; found by default.
    most_stars : int
        How many are taken where they are found: whole, alone, unclipped, spread over the sensor.
    paired : bool
        Three or more images are pairs, inside and outside of focus in turn, with one star a pair.
    band, pitch, scale_uncertainty, wind, gain, read_noise, saturation
        As in `measure_alignment`.
    paraboloid : bool
        The objective is a single paraboloid without a corrector (Newtonian): the growth of its coma over
        the field is known, and tells the place sooner; and by how much to turn the mirror.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    ComaAxis
        The place with its ellipse, or how far it is at least; which way to turn.

    Raises
    ------
    InputError
        When images differ in size, or a star's place lies outside of them.
    CannotMeasureError
        When fewer than three stars serve.

    Notes
    -----
    Coma of third order is Noll 8 + i Noll 7 = c0 + c1 h over the sensor, c1 real, wherever the parts of the
    telescope stand (Thompson 2005, J. Opt. Soc. Am. A 22, 1389, from memory); it vanishes at -c0 / c1.

    Examples
    --------
    >>> import starassay
    >>> telescope = starassay.Telescope("150 mm", "750 mm", obstruction=0.31)
    >>> axis = starassay.measure_coma_axis(  # doctest: +SKIP
    ...     ["inside.fits", "outside.fits"], telescope, wavelength="540 nm", paraboloid=True
    ... )
    >>> print(axis.coma_free.distance)  # doctest: +SKIP
    2310 ± 120 um
    """
    _units.instance(telescope, Telescope, "telescope", 'Telescope("150 mm", "750 mm")')
    facts = {"gain": gain, "read_noise": read_noise, "saturation": saturation}
    sources = list(frames) if isinstance(frames, (list, tuple)) else [frames]
    most = _units.integer(most_stars, "most_stars")
    if not sources or most < 3:
        raise InputError(
            f"{len(sources)} images and {most} stars at most: give an image, and at least 3 stars.",
            code="coma-axis.frames",
            argument="frames" if not sources else "most_stars",
        )
    known = {k: v for k, v in facts.items() if v is not None}
    images = [read_frame(source, **known) for source in sources]
    same_size([image.shape for image in images], "frames of one camera")
    size = known_pitch(pitch, [image.pitch for image in images], "the frames")
    together = len(images) <= 2
    if not together and stars is not None:
        raise InputError(
            f"stars names places in one image or pair; {len(images)} images were given, each with one star. Leave stars out.",
            code="coma-axis.frames",
            argument="stars",
        )
    if _units.flag(paired, "paired") and len(images) % 2:
        raise InputError(
            f"{len(images)} images are no pairs. Give two for each place, inside and outside of focus in turn.",
            code="coma-axis.frames",
            argument="frames",
        )
    how = {
        "wavelength": wavelength,
        "band": band,
        "pitch": size,
        "paraboloid": paraboloid,
        "scale_uncertainty": scale_uncertainty,
        "wind": wind,
        "threads": threads,
    }
    if together:
        windows, notes = _windows(images, telescope.obstruction, stars, most, threads)
    else:
        step = 2 if paired else 1
        windows = [
            ([(image, 0, 0) for image in images[k : k + step]], images[k].name)
            for k in range(0, len(images), step)
        ]
        notes = []
    notes += [n for image in images for n in image.notes]
    good, left, doubtful = [], [], []
    for window, name in windows:
        try:
            star = _star(window, name, telescope, how)
        except CannotMeasureError as error:
            left.append(f"{name}: {error}")
            continue
        doubts = [n for n in star.found.notes if n.level == "doubt" and n.code not in _FAR_OUT]
        if doubts:
            doubtful.append(f"{name}: {doubts[0].text}")
        else:
            good.append(star)
    if left:
        notes.append(say("coma-axis.left-out", "Not measured: " + "; ".join(left)))
    if len(good) < 3 and (left or doubtful):
        raise CannotMeasureError(
            f"{len(good)} star(s) serve; three at different places of the sensor are needed. "
            + "; ".join([*left, *doubtful])[:600],
            code="coma-axis.few-stars",
        )
    covariance = np.array([s.found.coma_covariance.value for s in good]).reshape(-1, 3)
    result = measure(
        "coma_axis",
        _records.COMA_AXIS_REQUEST,
        ComaAxis,
        [],
        given={
            "x": [s.x for s in good] * u.pix,
            "y": [s.y for s in good] * u.pix,
            "coma_x": [float(s.found.coma_x.value.to_value(u.nm)) for s in good] * u.nm,
            "coma_y": [float(s.found.coma_y.value.to_value(u.nm)) for s in good] * u.nm,
            "variance_x": covariance[:, 0] * u.nm**2,
            "covariance": covariance[:, 1] * u.nm**2,
            "variance_y": covariance[:, 2] * u.nm**2,
            "air": [float(s.found.coma_air.to_value(u.nm)) for s in good] * u.nm,
            "together": together,
            "width": images[0].shape[1],
            "height": images[0].shape[0],
            "pitch": size,
            "aperture": telescope.aperture,
            "focal_length": telescope.focal_length,
            "wavelength": wavelength,
            "paraboloid": paraboloid,
            "scale_uncertainty": scale_uncertainty,
            "doubtful": doubtful or None,
        },
        notes=notes,
        threads=threads,
        progress=progress,
    )
    result.conditions["frames"] = [
        {**f, "width": images[0].shape[1], "height": images[0].shape[0]}
        for f in {f["name"]: f for s in good for f in s.found.conditions["frames"]}.values()
    ]
    return result


def _windows(
    images: Sequence[Frame], obstruction: float, stars: Any, most: int, threads: int
) -> tuple[list[tuple[list[tuple[Frame, int, int]], str]], list[Note]]:
    """The windows of each star in one image or in both."""
    rows, columns = images[0].shape
    named = None if stars is None else _given(stars, rows, columns)
    found = [places.find(image, obstruction, threads) for image in images]
    if any(len(d.places) == 0 for d in found):
        raise CannotMeasureError(
            f"No star stands out in {images[[len(d.places) for d in found].index(0)].name}. Expose longer.",
            code="coma-axis.few-stars",
        )
    shifts = [np.zeros(2)] + [places.shift(found[0], other) for other in found[1:]]
    chosen = named if named is not None else places.choose(found, shifts, (rows, columns), most)
    windows = []
    for place in chosen:
        window = [
            places.cut(image, place + shift, discs.diameter)
            for image, shift, discs in zip(images, shifts, found)
        ]
        windows.append((window, f"star at ({place[0]:.0f}, {place[1]:.0f})"))
    return windows, []


def _given(stars: Any, rows: int, columns: int) -> np.ndarray:
    try:
        at = np.asarray(
            stars.to_value(u.pix) if isinstance(stars, u.Quantity) else stars, dtype=float
        )
        at = at.reshape(-1, 2)
    except (TypeError, ValueError):
        raise InputError(
            "stars are no columns and rows in turn. Give x y of each star, in pixels from 0.",
            code="coma-axis.stars",
            argument="stars",
        ) from None
    for x, y in at:
        if not (0 <= x <= columns - 1 and 0 <= y <= rows - 1):
            raise InputError(
                f"A star at ({x:g}, {y:g}) lies outside of the frame of {columns} x {rows} pixels.",
                code="coma-axis.stars",
                argument="stars",
            )
    return at


def _star(
    window: list[tuple[Frame, int, int]], name: str, telescope: Telescope, how: dict[str, Any]
) -> _Star:
    found = measure_alignment([part[0] for part in window], telescope, **how)
    at = [
        (x0 + float(image.outer_x.value), y0 + float(image.outer_y.value))
        for (_, x0, y0), image in zip(window, found.images)
    ]
    x, y = np.mean(at, axis=0)
    return _Star(float(x), float(y), found, name)

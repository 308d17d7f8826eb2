"""The four planes of a raw color mosaic, each with its own place in the sky.

>>> import starassay
>>> planes = starassay.split_bayer("mosaic.fits")  # doctest: +SKIP
>>> field = starassay.measure_stars(planes.green1)  # doctest: +SKIP
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ._fits_files import quiet
from .._gateway import call
from .._units import text
from ..errors import InputError
from .frame import Frame
from .frames import read_frame
from ..results import Result, notes_from_engine
from ..style import show_pixels

if TYPE_CHECKING:
    from astropy.table import QTable
    from astropy.wcs import WCS


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ColorPlanes(Result):
    """The four planes of a color mosaic.

    Attributes
    ----------
    red, green1, green2, blue : Frame
        Every second pixel of every second row; green1 lies in the red rows. The pitch is twice the
        mosaic's.
    pattern : str
        The pattern used, which may differ from the stated one (a note says so).
    offsets : dict
        (x, y) of each plane's first pixel in the mosaic: pixel (i, j) of a plane lies at
        (2 i + x, 2 j + y).
    """

    red: Frame
    green1: Frame
    green2: Frame
    blue: Frame
    pattern: str
    offsets: dict[str, tuple[int, int]]

    COLUMNS = {
        "plane": "Color of the plane.",
        "x": "Column of its first pixel in the mosaic.",
        "y": "Row of its first pixel in the mosaic.",
        "median": "Median level of the plane.",
    }

    @property
    def table(self) -> QTable:
        """Median of each plane."""
        from astropy.table import QTable

        frames = {n: getattr(self, n) for n in self.offsets}
        return QTable(
            {
                "plane": list(frames),
                "x": [self.offsets[n][0] for n in frames],
                "y": [self.offsets[n][1] for n in frames],
                "median": [float(np.nanmedian(f.data)) for f in frames.values()] * u.adu,
            }
        )

    def plot(self, ax: Any = None) -> Any:
        """The first green plane; returns the matplotlib axes."""
        return show_pixels(self.green1.data, ax, f"green of {self.pattern}")

    def sentences(self) -> list[str]:
        """What was found."""
        return [f"{r['plane']}: median {r['median']:.1f}" for r in self.table]


def split_bayer(frame: Any, *, pattern: str | None = None) -> ColorPlanes:
    """Split a raw color mosaic into its four planes.

    Parameters
    ----------
    frame : path, Frame or anything `read_frame` takes
        The mosaic.
    pattern : str
        Colors at [0, 0], [0, 1], [1, 0], [1, 1], for example "RGGB"; from the header by default,
        where it is checked against the pixels. A pattern given here is used as given.

    Returns
    -------
    ColorPlanes
        Four frames with the stored pixels.
    """
    image = read_frame(frame)
    if pattern is not None:
        text(pattern, "pattern")
    used = pattern or image.bayer
    if not used:
        raise InputError(
            f"{image.name} does not state a color mosaic. Give pattern=..., for example 'RGGB'.",
            code="bayer.pattern",
            argument="pattern",
            subject=image.name,
        )
    record = call(
        "imaging.split-bayer",
        {"pattern": used, "trust_pattern": True},
        frames={"frame": image},
    )
    names = {"R": "red", "G1": "green1", "G2": "green2", "B": "blue"}
    planes, offsets = {}, {}
    for plane in record["planes"]:
        name = names[plane["color"]]
        x, y = plane["offset_x"], plane["offset_y"]
        pixels = plane["bytes"].view(image.pixels.dtype).reshape(plane["height"], plane["width"])
        offsets[name] = (x, y)
        planes[name] = dataclasses.replace(
            image,
            pixels=pixels,
            mask=None if image.mask is None else image.mask[y::2, x::2],
            name=f"{image.name} {name}",
            pitch=None if image.pitch is None else 2 * image.pitch,
            bayer="",
            wcs=None if image.wcs is None else _every_second(image.wcs, x, y),
            data_section=None,
            bias_section=None,
        )
    notes = [n for n in image.notes if n.code.startswith("frame.bayer")] if pattern is None else []
    if pattern is not None:
        notes += notes_from_engine(record["notes"])
    return ColorPlanes(
        notes=tuple(notes),
        conditions={"frame": image.name, "mosaic": record["evidence"]},
        pattern=record["pattern"],
        offsets=offsets,
        **{str(name): plane for name, plane in planes.items()},  # type: ignore[arg-type]
    )


def _every_second(wcs: WCS, x: int, y: int) -> WCS:
    """The celestial solution on every second pixel, the first at (x, y).

    Astropy's own slicing with a step is for binned pixels, and leaves SIP polynomials as they are;
    in pixels twice as large a term of order n is 2^(n - 1) times as large.
    """
    from astropy.wcs import Sip

    with quiet():
        half = wcs.deepcopy()
        half.wcs.crpix = (np.asarray(wcs.wcs.crpix) - 1 - np.array([x, y])) / 2 + 1
        if wcs.wcs.has_cd():
            half.wcs.cd = 2 * np.asarray(wcs.wcs.cd)
        else:
            half.wcs.cdelt = 2 * np.asarray(wcs.wcs.cdelt)
        if wcs.sip is not None:

            def grown(terms: np.ndarray | None) -> np.ndarray | None:
                if terms is None:
                    return None
                p, q = np.indices(terms.shape)
                return np.asarray(terms * 2.0 ** (p + q - 1))

            sip = wcs.sip
            half.sip = Sip(*map(grown, (sip.a, sip.b, sip.ap, sip.bp)), half.wcs.crpix)
        half.wcs.set()
    return half


def refuse_mosaic(frame: Frame, what: str) -> None:
    """Raise for a raw color mosaic where each pixel must see the same light.

    Parameters
    ----------
    frame : Frame
        The frame.
    what : str
        What is to be measured, to begin the sentence.
    """
    if frame.bayer:
        raise InputError(
            f"{frame.name} is a raw color mosaic ({frame.bayer}), but {what} needs pixels that all see "
            "the same light. Use a monochrome camera, or one plane of starassay.split_bayer(...), which "
            'leaves gaps between its pixels. If the header is wrong, read_frame(..., bayer="") says so.',
            code="frame.mosaic",
            argument="frame",
            subject=frame.name,
        )


def color_planes(frame: Frame) -> list[tuple[str, Frame]]:
    """The frame, or the color planes of a raw mosaic by name (the first green stands for both)."""
    if not frame.bayer:
        return [("", frame)]
    planes = split_bayer(frame)
    named = [("red", planes.red), ("green", planes.green1), ("blue", planes.blue)]
    # What the mosaic's own check found goes with each plane.
    known = {n.text for n in frame.notes}
    fresh = tuple(n for n in planes.notes if n.text not in known)
    return [
        (color, dataclasses.replace(plane, notes=plane.notes + fresh)) for color, plane in named
    ]

"""Measures lateral color: the stars of one color after the other, then all of them together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from astropy import units as u

from ... import _records
from ..._measure import frame_facts, measure
from ...errors import InputError
from ...imaging.frame import Frame
from ...imaging.frames import read_frame
from ...imaging.one_camera import known_pitch, same_size
from ..stars import StarField
from ..stars.tables import stacked, stars_of
from .result import LateralColor

_COLUMNS = ("x", "y", "x_uncertainty", "y_uncertainty", "flux", "hfr", "flags")

#: Middles of the passbands of color cameras and filters in nm (common practice, no source).
_MIDDLES = {"blue": 460.0, "green": 530.0, "red": 610.0}
_SHORT = {"b": "blue", "g": "green", "r": "red"}


def measure_lateral_color(
    frames: Any,
    *,
    reference: str | None = None,
    wavelengths: Any = None,
    focal_length: u.Quantity | str | None = None,
    focal_ratio: float | None = None,
    altitude: u.Quantity | str | None = None,
    zenith_direction: u.Quantity | str | None = None,
    pitch: u.Quantity | str | None = None,
    threads: int = 0,
    progress: bool = False,
) -> LateralColor:
    """Measure lateral color from a raw color mosaic or from one frame a filter.

    Parameters
    ----------
    frames : frame or sequence of frames
        One raw color mosaic, or two or more frames of one field, each through another filter; see
        `read_frame`.
    reference : str, optional
        Color that the others are compared with; green where there is one, else the first.
    wavelengths : Quantity or sequence of str, optional
        Middle of each passband: red, green, blue for a mosaic, else in the order of the frames. By
        default 610, 530 and 460 nm for what is named red, green and blue.
    focal_length : Quantity or str, optional
        At the sensor: gives angles.
    focal_ratio : float, optional
        At the sensor: gives the share of the Airy disc.
    altitude : Quantity or str, optional
        Of the field above the horizon: dispersion of the air is compared with what is found.
    zenith_direction : Quantity or str, optional
        Where the zenith lies on the frame, from +x towards +y.
    pitch : Quantity or str, optional
        Of the pixels, binning included; that of the frames by default.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    LateralColor
        Difference of image height at the corners for each pair of colors, its curve, constant and
        decentered part.

    Raises
    ------
    InputError
        When the pitch is not known, frames differ in size, or colors have no names of their own.
    CannotMeasureError
        When too few stars serve in two colors.

    Notes
    -----
    Lateral color is the image height in one color less that in another (ISO 15795 and ISO 19084 in
    sense), positive where the image of the compared color is larger.

    Examples
    --------
    >>> from astropy import units as u
    >>> from starassay import SimulatedCamera, SimulatedTelescope, draw_star_field, measure_lateral_color
    >>> scales = {400.0: 1500.0, 530.0: 0.0, 700.0: -500.0}  # blue's image is the larger
    >>> telescope = SimulatedTelescope(
    ...     "Juniper",
    ...     200 * u.mm,
    ...     4200 * u.mm,
    ...     color_focus={w: 0 * u.um for w in scales},
    ...     lateral_color=scales,
    ... )
    >>> camera = SimulatedCamera(shape=(600, 900), pitch=4 * u.um, mosaic="RGGB")
    >>> mosaic, _ = draw_star_field(telescope, camera=camera, stars=80, rates=(3e4, 3e5), separation=40)
    >>> color = measure_lateral_color(mosaic, reference="red")
    >>> [pair.color for pair in color.pairs if pair.corner.value > 0 * u.um]
    ['green', 'blue', 'blue']
    """
    listed = list(frames) if isinstance(frames, (list, tuple)) else [frames]
    sources = [read_frame(f) for f in listed]
    if not sources:
        raise InputError(
            "No frame was given. Give a color mosaic, or one frame a filter.", argument="frames"
        )
    fields, names = _colors(sources, threads)
    ny, nx = same_size([f.shape for f in sources], "one field by one camera")
    if reference is not None and reference not in names:
        raise InputError(
            f"reference is {reference!r}; the colors are {', '.join(names)}.", argument="reference"
        )
    pitch = known_pitch(pitch, [f.pitch for f in sources], sources[0].name or "the frame")
    if wavelengths is None:
        middles = [_MIDDLES.get(_SHORT.get(n.lower(), n.lower()), np.nan) for n in names]
        wavelengths = middles * u.nm if np.all(np.isfinite(middles)) else None
    green = [n for n in names if n.lower() in ("green", "g")]
    chosen = reference if reference is not None else (green or names)[0]
    stars, arrays = stacked(fields, _COLUMNS)
    arrays["focus"] = np.array(
        [np.nan if f.focus_position is None else f.focus_position.value for f in sources]
    )
    result = measure(
        "lateral_color",
        _records.LATERAL_COLOR_REQUEST,
        LateralColor,
        [],
        given={
            "stars": stars,
            "colors": names,
            "reference": names.index(chosen),
            "wavelengths": wavelengths,
            "one_exposure": len(sources) == 1,
            "width": nx,
            "height": ny,
            "pitch": pitch,
            "focal_length": focal_length,
            "focal_ratio": focal_ratio,
            "altitude": altitude,
            "zenith_direction": zenith_direction,
        },
        arrays=arrays,
        notes=list(dict.fromkeys(n for f in sources for n in f.notes)),
        threads=threads,
        progress=progress,
    )
    result.conditions["frames"] = [frame_facts(f) for f in sources]
    return result


def _colors(sources: Sequence[Frame], threads: int) -> tuple[list[StarField | None], list[str]]:
    """The stars of each color and the colors' names."""
    if len(sources) == 1:
        if not sources[0].bayer:
            raise InputError(
                f"{sources[0].name or 'The frame'} is no raw color mosaic. Give a mosaic (bayer names its pattern), "
                "or two or more frames through different filters.",
                argument="frames",
            )
        names = list(reversed(_MIDDLES))
        return [stars_of(sources[0], threads, color=name) for name in names], names
    mosaics = [f.name for f in sources if f.bayer]
    if mosaics:
        raise InputError(
            f"{mosaics[0]} is a color mosaic, which holds all colors: measure each by itself.",
            argument="frames",
        )
    names = [f.filter or f.name or f"frame {k + 1}" for k, f in enumerate(sources)]
    return [stars_of(f, threads) for f in sources], names

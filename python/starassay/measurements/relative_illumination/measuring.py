"""Measures the evenness of light: accepts, converts, calls the engine."""

from __future__ import annotations

from typing import Any

from astropy import units as u

from ... import _records
from ..._measure import measure
from ...errors import InputError
from ...imaging.frames import read_frame
from ...imaging.one_camera import dark_level, known_pitch
from .result import RelativeIllumination


def measure_relative_illumination(
    frames: Any,
    *,
    focal_ratio: float,
    focal_length: u.Quantity | str,
    bias: Any = None,
    bias_level: u.Quantity | str | None = None,
    turned: bool = False,
    dust: bool = False,
    obstruction: float = 0.0,
    pitch: u.Quantity | str | None = None,
    threads: int = 0,
    progress: bool = False,
) -> RelativeIllumination:
    """Measure relative illumination over the sensor and what clips the light.

    Parameters
    ----------
    frames : frame or sequence of frames
        Flats or twilight skies of one setup, unclipped; see `read_frame`.
    focal_ratio : float
        Focal length over aperture, at the sensor.
    focal_length : Quantity or str
        At the sensor.
    bias : frame, optional
        A bias or dark frame, whose median is the level without light.
    bias_level : Quantity or str, optional
        That level itself, such as "500 adu". Without either the result decides nothing.
    turned : bool
        Every second flat was taken with the camera turned by half a turn against the light, so that a
        slope of the light source cancels.
    dust : bool
        Look for shadows of dust of every size and say how far before the sensor each grain stands; takes
        longer.
    obstruction : float
        Ratio of the diameters of obstruction and aperture.
    pitch : Quantity or str, optional
        Of the pixels, binning included; that of the frame by default.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    RelativeIllumination
        Corners, image circles, clear diameter and rough distance of what clips, decentre, slope.

    Raises
    ------
    InputError
        When the pitch is not known or frames differ in size.
    CannotMeasureError
        When a flat is clipped or holds no light.

    Notes
    -----
    Illumination is light at a place over that on the axis (ISO 13653 in sense). A stop in the converging
    cone cuts it by the overlap of two circles; the slope of the light source is taken out.

    Examples
    --------
    >>> from astropy import units as u
    >>> from starassay import SimulatedCamera, SimulatedTelescope, draw_flat, measure_relative_illumination
    >>> telescope = SimulatedTelescope("Juniper", 115 * u.mm, 690 * u.mm, stops=((16 * u.mm, 40 * u.mm),))
    >>> camera = SimulatedCamera(shape=(600, 900), pitch=16 * u.um)
    >>> flat, _ = draw_flat(telescope, camera=camera)
    >>> light = measure_relative_illumination(flat, focal_ratio=6, focal_length="690 mm", bias_level="500 adu")
    >>> bool(abs(light.clear_diameter.value - 16 * u.mm) < 0.16 * u.mm)
    True
    """
    listed = frames if isinstance(frames, (list, tuple)) else [frames]
    sources = [read_frame(f) for f in listed]
    if not sources:
        raise InputError("No flat was given. Give one or several.", argument="frames")
    pitch = known_pitch(pitch, [sources[0].pitch], sources[0].name or "the flat")
    return measure(
        "relative_illumination",
        _records.RELATIVE_ILLUMINATION_REQUEST,
        RelativeIllumination,
        sources,
        given={
            "bias_level": bias_level if bias is None else dark_level(bias, sources[0], "the flat"),
            "turned": turned,
            "dust": dust,
            "focal_ratio": focal_ratio,
            "focal_length": focal_length,
            "obstruction": obstruction,
            "pitch": pitch,
        },
        threads=threads,
        progress=progress,
    )

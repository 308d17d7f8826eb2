"""Draws a flat field: what clips the light, and dust before the sensor."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

import numpy as np
from astropy import units as u
from astropy.nddata import CCDData
from astropy.time import Time

from .. import _gateway
from .._units import integer, number, pair, several, text
from ..errors import InputError
from .instruments import SimulatedCamera, SimulatedTelescope

from .headers import FIRST_LIGHT, frame_header, instruments_of, moment


def _speck(one: Any) -> list[Any]:
    """x, y, distance and depth of a speck of dust."""
    listed = several(one, "dust")
    if len(listed) != 4:
        raise InputError(
            f"dust holds {len(listed)} values for a speck; give x, y, distance and depth.",
            code="simulation.dust",
            argument="dust",
        )
    return listed


def draw_flat(
    telescope: SimulatedTelescope,
    *,
    camera: SimulatedCamera | None = None,
    level: u.Quantity = 25_000 * u.electron,
    exposure: u.Quantity = 1 * u.s,
    gradient: tuple[float, float] = (0.0, 0.0),
    dust: Iterable[tuple[float, float, u.Quantity, float]] = (),
    filter_name: str = "L",
    cosmic_rays: int = 0,
    seed: int = 1,
    start: str | datetime | Time = FIRST_LIGHT,
) -> tuple[CCDData, dict[str, Any]]:
    """Draw a flat field; with no light, a dark or bias frame.

    Parameters
    ----------
    telescope : SimulatedTelescope
        Its stops and the cosine law shape the light.
    camera : SimulatedCamera
        What records it.
    level : Quantity
        Expected electrons on the axis; 0 = shutter closed.
    exposure : Quantity
        Exposure time, for the dark current.
    gradient : tuple of float
        Unevenness of the source along x and y, from edge to edge.
    dust : iterable of (float, float, Quantity, float)
        x, y in pixels, distance before the sensor, share of light taken.
    filter_name : str
        For the header.
    cosmic_rays : int
        Hits in the frame.
    seed : int
        Seed of the noise.
    start : str, datetime or Time
        Start of the exposure for the header.

    Returns
    -------
    frame : CCDData
        Numbers the camera writes, with a FITS header.
    truth : dict
        Illumination of the corners, half-light radius, width of the dust shadows.
    """
    telescope, camera, _ = instruments_of(telescope, camera, None)
    moment(start)
    text(filter_name, "filter_name")
    image = np.empty(camera.shape, np.uint16)
    request = {
        "telescope": telescope.request(),
        "detector": camera.request(),
        "level_electrons": number(level, "electron", "level"),
        "exposure_s": number(exposure, "s", "exposure"),
        "gradient_x": number(pair(gradient, "gradient")[0], "", "gradient"),
        "gradient_y": number(pair(gradient, "gradient")[1], "", "gradient"),
        "dust": [
            {
                "x": number(x, "pix", "dust"),
                "y": number(y, "pix", "dust"),
                "distance_mm": number(d, "mm", "dust"),
                "depth": number(depth, "", "dust"),
            }
            for x, y, d, depth in map(_speck, several(dust, "dust"))
        ],
        "seed": integer(seed, "seed"),
        "cosmic_rays": integer(cosmic_rays, "cosmic_rays"),
    }
    truth = _gateway.call("simulation.flat", request, outputs={"image": image})
    header = frame_header(telescope, camera, filter_name, exposure, 0 * u.um, start, seed)
    dark = number(level, "electron", "level") == 0
    kind = "FLAT" if not dark else "BIAS" if number(exposure, "s", "exposure") == 0 else "DARK"
    header["IMAGETYP"] = (kind, "kind of frame")
    header["SATURATE"] = (truth["saturation_adu"], "[adu] level where pixels are clipped")
    truth["telescope"] = telescope.name
    return CCDData(image, unit=u.adu, meta=header), truth

"""Draws a star inside and outside of focus."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import numpy as np
from astropy import units as u
from astropy.nddata import CCDData
from astropy.time import Time

from .. import _gateway
from .._units import integer, number, pair
from ..errors import InputError
from .instruments import Passband, SimulatedCamera, SimulatedSky, SimulatedTelescope
from ..results import notes_from_engine

from .headers import FIRST_LIGHT, band_of, frame_header, instruments_of, moment


def draw_defocused_pair(
    telescope: SimulatedTelescope,
    *,
    camera: SimulatedCamera | None = None,
    sky: SimulatedSky | None = None,
    passband: str | Passband = "N540",
    defocus: u.Quantity | float = 8.0,
    size: int = 128,
    electrons: float = 1e7,
    exposure: u.Quantity = 20 * u.s,
    offsets: tuple[tuple[float, float], tuple[float, float]] = ((0.0, 0.0), (0.0, 0.0)),
    field_position: tuple[u.Quantity, u.Quantity] = (0 * u.mm, 0 * u.mm),
    cosmic_rays: int = 0,
    seed: int = 1,
    start: str | datetime | Time = FIRST_LIGHT,
) -> tuple[CCDData, CCDData, dict[str, Any]]:
    """Draw one star inside and outside focus, for the wavefront.

    Parameters
    ----------
    telescope : SimulatedTelescope
        What gathers the light.
    camera : SimulatedCamera
        What records it; the frames are squares of `size` pixels of it.
    sky : SimulatedSky
        What blurs it.
    passband : str or Passband
        A name of `PASSBANDS` or a passband.
    defocus : Quantity or float
        Shift of the sensor to either side, or waves of W020 at 540 nm.
    size : int
        Pixels along each side.
    electrons : float
        Light of the star in each exposure.
    exposure : Quantity
        Exposure time of each frame.
    offsets : tuple of tuple of float
        Place of the star from the middle pixel in each frame.
    field_position : tuple of Quantity
        Where on the sensor the star stands, from its middle.
    cosmic_rays : int
        Hits in each frame.
    seed : int
        Seed of the noise.
    start : str, datetime or Time
        Start of the first exposure.

    Returns
    -------
    inside : CCDData
        The frame with the sensor nearer to the objective.
    outside : CCDData
        The frame with the sensor farther away.
    truth : dict
        Wavefront, RMS, Strehl ratio, and what belongs to each frame under "inside", "outside".
    """
    telescope, camera, sky = instruments_of(telescope, camera, sky)
    band = band_of(passband)
    places = [pair(one, "offsets") for one in pair(offsets, "offsets")]
    size = integer(size, "size")
    moment(start)
    if not 1 <= size <= 20_000:
        raise InputError(f"size is {size}; give the side of the frame in pixels.", argument="size")
    if isinstance(defocus, (u.Quantity, str)):
        shift = number(defocus, "um", "defocus")
    else:
        shift = number(defocus, "", "defocus") * 0.54 * 8 * telescope.focal_ratio**2
    frames: list[CCDData] = []
    facts: list[dict[str, Any]] = []
    for k, sign in enumerate((-1, 1)):
        image = np.empty((size, size), np.uint16)
        request = {
            "telescope": telescope.request(),
            "sky": sky.request(),
            "detector": camera.request((size, size)),
            "passband": band.request(),
            "electrons": number(electrons, "electron", "electrons")
            if isinstance(electrons, u.Quantity)
            else number(electrons, "", "electrons"),
            "exposure_s": number(exposure, "s", "exposure"),
            "focus_position_um": sign * shift,
            "offset_x_pix": number(places[k][0], "pix", "offsets"),
            "offset_y_pix": number(places[k][1], "pix", "offsets"),
            "field_x_mm": number(pair(field_position, "field_position")[0], "mm", "field_position"),
            "field_y_mm": number(pair(field_position, "field_position")[1], "mm", "field_position"),
            "seed": 2 * integer(seed, "seed") + k,
            "cosmic_rays": integer(cosmic_rays, "cosmic_rays"),
        }
        facts.append(_gateway.call("simulation.single-star", request, outputs={"image": image}))
        header = frame_header(
            telescope,
            camera,
            band.name,
            exposure,
            sign * shift * u.um,
            moment(start, 2 * k),
            seed,
        )
        header["IMAGETYP"] = ("LIGHT", "defocused star")
        header["SATURATE"] = (facts[-1]["saturation_adu"], "[adu] level where pixels are clipped")
        frames.append(CCDData(image, unit=u.adu, meta=header))
    for fact in facts:
        fact["notes"] = [str(n) for n in notes_from_engine(fact["notes"])]
    own = (
        "defocus_um",
        "defocus_waves",
        "share",
        "half_flux_radius_pix",
        "saturation_adu",
        "notes",
    )
    truth: dict[str, Any] = {key: value for key, value in facts[0].items() if key not in own}
    truth["telescope"] = telescope.name
    truth["obstruction"] = telescope.obstruction
    truth["inside"] = {key: facts[0][key] for key in own}
    truth["outside"] = {key: facts[1][key] for key in own}
    return frames[0], frames[1], truth

"""Bright edges as a telescope images them, with known truth."""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u
from astropy.nddata import CCDData

from .. import _gateway
from .._units import flag, integer, number, pair
from .instruments import SimulatedCamera, SimulatedSky, SimulatedTelescope
from .headers import FIRST_LIGHT, frame_header, instruments_of


def draw_edge(
    telescope: SimulatedTelescope,
    *,
    camera: SimulatedCamera | None = None,
    sky: SimulatedSky | None = None,
    normal: u.Quantity = 5 * u.deg,
    place: tuple[float, float] | None = None,
    radius: float = 0.0,
    defocus: float = 0.0,
    wavelength: u.Quantity = 550 * u.nm,
    bright: u.Quantity = 20_000 * u.electron,
    dark: u.Quantity = 0 * u.electron,
    glare: float = 0.0,
    glare_reach: float = 200.0,
    noise: bool = True,
    seed: int = 1,
) -> tuple[CCDData, dict[str, Any]]:
    """Draw a bright surface that ends at a dark one.

    Parameters
    ----------
    telescope : SimulatedTelescope
        Aperture, focal length and obstruction; errors of its wavefront but `defocus` are left out.
    camera : SimulatedCamera
        What records it.
    sky : SimulatedSky
        Its seeing at this wavelength.
    normal : Quantity
        Direction from bright to dark, from +x towards +y.
    place : tuple of float
        A pixel that the edge goes through; the middle by default.
    radius : float
        Radius of the bright disc in pixels; 0 = straight, negative = a dark disc in the bright.
    defocus : float
        At the pupil's rim, in waves.
    wavelength : Quantity
        One color.
    bright, dark : Quantity
        Expected electrons of the bright side, and everywhere.
    glare : float
        Share of the light that is scattered far.
    glare_reach : float
        Length in pixels over which it falls by e across the edge; 0 = even over the frame.
    noise : bool
        False draws the expected numbers as floats.
    seed : int
        Seed of the noise.

    Returns
    -------
    frame : CCDData
        Numbers the camera writes, with a FITS header.
    truth : dict
        frequency (1/pix), mtf (telescope, air and pixel), optics_mtf (without the pixel), width_px (10 to 90 %).
    """
    telescope, camera, sky = instruments_of(telescope, camera, sky)
    rows, columns = camera.shape
    x, y = ((columns - 1) / 2, (rows - 1) / 2) if place is None else pair(place, "place")
    request = {
        "detector": {**camera.request(), "mosaic": ""},
        "aperture_mm": number(telescope.aperture, "mm", "aperture"),
        "focal_length_mm": number(telescope.focal_length, "mm", "focal_length"),
        "obstruction": number(telescope.obstruction, "", "obstruction"),
        "wavelength_nm": number(wavelength, "nm", "wavelength"),
        "defocus_waves": number(defocus, "", "defocus"),
        "seeing_arcsec": number(sky.seeing, "arcsec", "seeing"),
        "x": number(x, "", "place"),
        "y": number(y, "", "place"),
        "normal_deg": number(normal, "deg", "normal"),
        "radius_px": number(radius, "", "radius"),
        "bright_electrons": number(bright, "electron", "bright"),
        "dark_electrons": number(dark, "electron", "dark"),
        "glare": number(glare, "", "glare"),
        "glare_reach_px": number(glare_reach, "", "glare_reach"),
        "seed": integer(seed, "seed"),
    }
    noisy = flag(noise, "noise")
    image = np.empty(camera.shape, np.uint16 if noisy else np.float32)
    task = "simulation.edge" if noisy else "simulation.edge-expected"
    truth = _gateway.call(task, request, outputs={"image": image})
    header = frame_header(telescope, camera, "L", 1 * u.s, 0 * u.um, FIRST_LIGHT, seed)
    header["IMAGETYP"] = ("LIGHT", "bright edge")
    if noisy:
        header["SATURATE"] = (truth["saturation_adu"], "[adu] level where pixels are clipped")
    else:
        gain = number(camera.gain, "electron/adu", "gain")
        image = (image / gain + number(camera.bias, "adu", "bias")).astype(np.float32)
    return CCDData(image, unit=u.adu, meta=header), truth

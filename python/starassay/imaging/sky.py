"""What a celestial solution says of a frame; Astropy does the geometry."""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u


def scale_on_sky(frame: Any) -> u.Quantity | None:
    """Side of a pixel on the sky by the frame's WCS: geometric mean of both axes; None without one.

    Parameters
    ----------
    frame : Frame
        With or without ``wcs``.

    Returns
    -------
    Quantity or None
        arcsec per pixel at the reference point.
    """
    if frame.wcs is None:
        return None
    from astropy.wcs.utils import proj_plane_pixel_scales

    scales = proj_plane_pixel_scales(frame.wcs.celestial)
    return (float(np.sqrt(np.prod(scales))) * u.deg / u.pix).to(u.arcsec / u.pix)

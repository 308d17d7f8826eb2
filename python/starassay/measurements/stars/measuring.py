"""Measures the stars of a frame: accepts, converts, calls the engine."""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u

from ... import _records
from ..._measure import measure
from ...imaging.frames import read_frame
from ...imaging.sky import scale_on_sky
from .result import StarField


def measure_stars(
    frame: Any,
    *,
    threshold: float = 5.0,
    outer_radius: u.Quantity | float | None = None,
    fit_profiles: str = "bright",
    cell_size: int = 64,
    axis: tuple[float, float] | None = None,
    focal_length: u.Quantity | str | None = None,
    filter_wavelength: u.Quantity | str | None = None,
    color: str = "green",
    mask: np.ndarray | None = None,
    threads: int = 0,
    progress: bool = False,
) -> StarField:
    """Find every star of a frame and measure place, size and shape.

    Parameters
    ----------
    frame : path, HDUList, CCDData, Quantity, ndarray or Frame
        The image; see `read_frame`.
    threshold : float
        How far a peak of the smoothed frame must rise above the noise there, in standard
        deviations.
    outer_radius : Quantity or float, optional
        Radius of the circle that counts as the whole star, in pixels; by default three times the
        frame's usual half-flux radius, at least 5. Half-flux radii refer to it: state it with them.
    fit_profiles : {"bright", "all", "none"}
        Which stars get a pixel-integrated Moffat profile, and so a FWHM: the 500 brightest
        unclipped ones, every unclipped one, or none.
    cell_size : int
        Side of the cells on which the sky is measured, in pixels.
    axis : tuple of float, optional
        (x, y) of the optical axis in pixels; the middle of the frame by default.
    focal_length : Quantity or str, optional
        At the sensor: turns pixels into angles by the frame's pitch, taken as known to 1 %. A
        celestial solution of the frame goes before it.
    filter_wavelength : Quantity or str, optional
        Central wavelength of the filter, for the record only.
    color : {"green", "red", "blue"}
        Which pixels of a raw color mosaic are measured, each with its true place and size; positions
        and lengths are in pixels of the frame. Of no effect on other frames.
    mask : ndarray of bool, optional
        True = do not use; replaces the frame's own.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    StarField
        The stars, brightest first, with medians, zones and notes.

    Raises
    ------
    InputError
        When an option makes no sense or the frame is no image.
    CannotMeasureError
        When the frame holds no usable pixels or no noise (saturated, empty).

    Notes
    -----
    ``hfr`` is the radius of the circle round the star's center that holds half of the light within
    ``outer_radius``, with the blur that the pixels add taken out; ``hfr_recorded`` is the same on the
    recorded pixels taken as uniform squares. Ellipticities are 1 - b/a of Gaussian-weighted moments,
    without the pixels' blur and the noise's bias. Pixels that are NaN or masked are not used.

    Examples
    --------
    >>> import numpy as np
    >>> from starassay import measure_stars
    >>> y, x = np.mgrid[0:120, 0:160]
    >>> sky = np.random.default_rng(1).normal(100, 3, x.shape)
    >>> variance = 1.5**2 + 1 / 12  # what pixels see of a star with sigma 1.5
    >>> for cx, cy in [(40.3, 60.1), (110.7, 45.0), (80.2, 95.4)]:
    ...     sky += 2000 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * variance))
    >>> field = measure_stars(sky.astype(np.float32))
    >>> len(field), bool(abs(field.median_hfr.value.value - 1.5 * 1.1774) < 0.02)
    (3, True)
    """
    source = read_frame(frame)
    if mask is not None:
        source = read_frame(source, mask=mask)
    return measure(
        "stars",
        _records.STAR_REQUEST,
        StarField,
        source,
        given={
            "threshold": threshold,
            "outer_radius": outer_radius,
            "fit_profiles": fit_profiles,
            "cell_size": cell_size,
            "axis": axis,
            "focal_length": focal_length,
            "filter_wavelength": filter_wavelength,
            "pixel_scale": scale_on_sky(source),
            "mosaic": source.bayer or None,
            "color": color,
        },
        threads=threads,
        progress=progress,
        name=source.name,
        wcs=source.wcs,
    )

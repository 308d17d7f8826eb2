"""Measures the sharpness of the field: the stars of one frame, then what they say together."""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u

from ... import _records
from ..._measure import measure
from ..._units import flag, number
from ...errors import InputError
from ...imaging.frames import read_frame
from ...imaging.one_camera import known_pitch
from ..stars import measure_stars
from .result import FieldSharpness

_COLUMNS = (
    "x y hfr hfr_uncertainty profile_fwhm profile_fwhm_uncertainty radial_ellipticity "
    "cross_ellipticity ellipticity_uncertainty sky snr flags"
).split()


def measure_field_sharpness(
    frame: Any,
    *,
    pitch: u.Quantity | str | None = None,
    focal_length: u.Quantity | str | None = None,
    aperture: u.Quantity | str | None = None,
    obstruction: float = 0.0,
    blur_limit: u.Quantity | str | None = None,
    seeing: u.Quantity | str | None = None,
    seeing_uncertainty: u.Quantity | str | None = None,
    defocus: u.Quantity | str | None = None,
    tracking: u.Quantity | str | None = None,
    wavelength: u.Quantity | str | None = None,
    outer_radius: u.Quantity | float | None = None,
    threads: int = 0,
    progress: bool = False,
) -> FieldSharpness:
    """Measure how sharp and how round the stars are over one frame.

    Parameters
    ----------
    frame : path, HDUList, CCDData, Quantity, ndarray or Frame
        A rich star field, in focus; see `read_frame`.
    pitch : Quantity or str, optional
        Of the pixels, binning included; that of the frame by default.
    focal_length : Quantity or str, optional
        At the sensor: turns lengths into angles, taken as known to 1 %. A celestial solution of the
        frame goes before it.
    aperture : Quantity or str, optional
        Of the objective; with a scale it gives the sharpness budget.
    obstruction : float
        Ratio of the diameters of obstruction and aperture.
    blur_limit : Quantity or str, optional
        FWHM that stars must not exceed within the sharp circle, as a length on the sensor, or as an
        angle where the scale is known; 1.2 times that in the middle by default.
    seeing, seeing_uncertainty : Quantity or str, optional
        FWHM of the air alone, at the stars' altitude and this wavelength, measured otherwise. Without it
        the budget leaves air and optics together.
    defocus : Quantity or str, optional
        How far the middle of the sensor stood from best focus, where that is known.
    tracking : Quantity or str, optional
        RMS of the mount's errors in each axis during the exposure, where that is known.
    wavelength : Quantity or str, optional
        Middle of the passband; 550 nm by default.
    outer_radius : Quantity or float, optional
        Radius of the circle that counts as the whole star, in pixels; as `measure_stars` has it.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    FieldSharpness
        Widths and lengthening over the sensor, figures for sensor formats, causes, budget.

    Raises
    ------
    InputError
        When the pitch is not known, or an angle is given without a scale.
    CannotMeasureError
        When fewer than twelve stars serve.

    Notes
    -----
    Half-flux radius, FWHM and lengthening are smooth polynomials over the sensor, fitted to all stars with
    weights that galaxies do not rule, and averaged over their orders by evidence. Directions run from +x
    towards +y.

    Examples
    --------
    >>> from astropy import units as u
    >>> from starassay import FieldErrors, SimulatedCamera, SimulatedTelescope
    >>> from starassay import draw_star_field, measure_field_sharpness
    >>> bowl = FieldErrors(curvature=-40 * u.um / u.mm**2)
    >>> telescope = SimulatedTelescope("Juniper", 115 * u.mm, 690 * u.mm, field=bowl)
    >>> camera = SimulatedCamera(shape=(600, 900), pitch=3 * u.um)
    >>> frame, _ = draw_star_field(telescope, camera=camera, stars=120, rates=(5e3, 1e5), separation=40)
    >>> field = measure_field_sharpness(frame, focal_length=690 * u.mm)
    >>> bool(field.corner_to_center.value > 1.1)
    True
    """
    flag(progress, "progress")
    source = read_frame(frame)
    field = measure_stars(
        source,
        outer_radius=outer_radius,
        fit_profiles="bright",
        focal_length=focal_length,
        threads=threads,
        progress=progress,
    )
    known = known_pitch(pitch, [source.pitch], source.name or "the frame")
    scale = float(field.pixel_scale.value)
    if not np.isfinite(scale) and focal_length is not None:
        # The header does not tell the pitch, which is given beside it.
        pixel = number(known, u.mm, "pitch") / number(focal_length, u.mm, "focal_length")
        scale = (pixel * u.rad).to_value(u.arcsec)
    ny, nx = source.shape
    return measure(
        "field_sharpness",
        _records.FIELD_SHARPNESS_REQUEST,
        FieldSharpness,
        source,
        given={
            "width": nx,
            "height": ny,
            "pitch": known,
            "pixel_scale": scale * u.arcsec / u.pix if np.isfinite(scale) else None,
            "scale_from_sky": field.scale_from_sky,
            "blur_limit": _on_sensor(blur_limit, known, scale),
            "aperture": aperture,
            "obstruction": obstruction,
            "wavelength": wavelength,
            "seeing": seeing,
            "seeing_uncertainty": seeing_uncertainty,
            "defocus": defocus,
            "tracking": tracking,
        },
        arrays={name: np.asarray(field.columns[name], dtype=float) for name in _COLUMNS},
        notes=field.notes,
        threads=threads,
        progress=progress,
        name=source.name,
    )


def _on_sensor(limit: Any, pitch: Any, scale: float) -> Any:
    """An angle as the length that it has on the sensor; anything else as it is."""
    if limit is None:
        return None
    try:
        angle = u.Quantity(limit)
    except (TypeError, ValueError):
        return limit
    if not angle.unit.is_equivalent(u.arcsec) or angle.unit == u.dimensionless_unscaled:
        return limit
    if not np.isfinite(scale):
        raise InputError(
            f"blur_limit is {limit}, an angle, and the scale of the frame is not known. Give focal_length, or the "
            "limit as a length on the sensor.",
            argument="blur_limit",
        )
    return angle.to_value(u.arcsec) / scale * u.Quantity(pitch).to(u.um)

"""Measures color focus: accepts, converts, calls the engine."""

from __future__ import annotations

from typing import Any

from astropy import units as u

from ... import _records, _units
from ..._measure import measure
from ...imaging.color_planes import refuse_mosaic
from ...imaging.focus_positions import focus_positions
from ...imaging.frames import read_frame
from .curve import ColorFocusCurve
from .wavelengths import WavelengthScale


def measure_color_focus(
    frames: Any,
    *,
    wavelengths: Any,
    focal_ratio: float,
    positions: Any = None,
    focuser_step: Any = None,
    focal_length: Any = None,
    obstruction: float = 0.0,
    pitch: Any = None,
    reference: Any = None,
    limits: Any = None,
    band: Any = None,
    disperser: str = "converging-grating",
    grating_lines: Any = None,
    grating_distance: Any = None,
    order_filter: bool = False,
    shortest_light: Any = None,
    instrument_blur: Any = None,
    reference_curve: ColorFocusCurve | None = None,
    sign_hint: str = "none",
    defocus: Any = None,
    wavelength_uncertainty: Any = 0.2,
    axis: str = "x",
    row: Any = None,
    columns: tuple[int, int] | None = None,
    bins: int = 96,
    half_window: int = 0,
    line_depth: float = 0.1,
    replicates: int = 200,
    seed: int = 1,
    threads: int = 0,
    progress: bool = False,
) -> ColorFocusCurve:
    """Measure the focus of every color from one spectrum or a focus run of spectra.

    Parameters
    ----------
    frames : frame or sequence of frames
        One spectrum, or those of a focus run.
    wavelengths : WavelengthScale or Quantity
        Wavelength of every column of the first frame; a scale brings its uncertainty with it.
    focal_ratio : float
        Focal length over aperture.
    positions : Quantity, optional
        Sensor position of each frame of a run, growing away from the objective; from the headers
        (FOCUSPOS) by default.
    focuser_step : Quantity or str, optional
        How far one step of the focuser moves the sensor, for headers that count steps; negative
        when the steps grow toward the objective.
    focal_length : Quantity or str, optional
        For figures in arcseconds.
    obstruction : float
        Ratio of the diameters of obstruction and aperture.
    pitch : Quantity or str, optional
        Pixel pitch; from the frame by default.
    reference : Quantity or str, optional
        Whose focus is the curve's zero; 550 nm by default.
    limits : pair of Quantity, optional
        What is measured; 380 to 1000 nm by default.
    band : pair of Quantity, optional
        For which the result gives figures of merit; none by default.
    disperser : {"converging-grating", "parallel-grating", "prism"}
        A grating in the converging beam bends its own focus surface.
    grating_lines : Quantity or number per mm, optional
        Grooves of that grating.
    grating_distance : Quantity or str, optional
        Grating to sensor.
    order_filter : bool
        True when a filter keeps the second order out.
    shortest_light : Quantity or str, optional
        Shortest wavelength that reaches the sensor; 380 nm by default.
    instrument_blur : Quantity or str, optional
        RMS blur of camera and spectrograph themselves; fitted by default.
    reference_curve : ColorFocusCurve, optional
        Of a mirror telescope with the same spectrograph; it is subtracted.
    sign_hint : {"none", "blue-longer", "blue-shorter"}
        For a single spectrum: what is known of the sign.
    defocus : Quantity or str, optional
        For a single spectrum taken out of focus on purpose: how far the sensor was set beyond the
        best focus (negative: before it), right to a third. It decides the signs.
    wavelength_uncertainty : Quantity or number in pixels
        Standard uncertainty of the wavelength scale as a whole.
    axis, row, columns, bins, half_window, line_depth
        As in `reduce_spectrum`.
    replicates : int
        Bootstrap replicates (at most 60 of them for a single spectrum).
    seed : int
        Of the bootstrap.
    threads : int
        Worker threads, 0 = all; never changes the result.
    progress : bool
        Show a bar.

    Returns
    -------
    ColorFocusCurve
        Positive = farther from the objective than the reference wavelength.

    Raises
    ------
    CannotMeasureError
        No star, no trace, a clipped or undispersed image, two spectra.

    Notes
    -----
    Profiles across the spectrum are fitted with the exact diffraction image of a defocused
    annular pupil, blurred by seeing (FWHM growing as wavelength^-0.2, each frame its own, each
    color free by 5 %), with flux, background and center free in each.
    """
    listed = [read_frame(s) for s in (frames if isinstance(frames, (list, tuple)) else [frames])]
    for frame in listed:
        refuse_mosaic(frame, "a spectrum")
    if focuser_step is not None:
        focuser_step = _units.quantity(focuser_step, "um", "focuser_step")
    if len(listed) > 1 or positions is not None:
        told = [(frame.name, frame.focus_position) for frame in listed]
        positions = focus_positions(told, positions, focuser_step) * u.um
    scale = _scale_of(wavelengths)
    if reference_curve is not None:
        example = "measure_color_focus(frames, ...)"
        _units.instance(reference_curve, ColorFocusCurve, "reference_curve", example)
        good = reference_curve.used
        for name in ("wavelength", "shift", "uncertainty"):
            kept = {"shift": "smooth", "uncertainty": "smooth_uncertainty"}.get(name, name)
            scale[f"reference_curve_{name}"] = getattr(reference_curve, kept)[good]
    return measure(
        "color_focus",
        _records.COLOR_FOCUS_REQUEST,
        ColorFocusCurve,
        listed,
        given={
            "focal_ratio": focal_ratio,
            "focal_length": focal_length,
            "obstruction": obstruction,
            "pitch": pitch,
            "positions": positions,
            "reference": reference,
            "limits": limits,
            "band": band,
            "disperser": disperser,
            "grating_lines": grating_lines,
            "grating_distance": grating_distance,
            "order_filter": order_filter,
            "shortest_light": shortest_light,
            "instrument_blur": instrument_blur,
            "sign_hint": sign_hint,
            "defocus": defocus,
            "wavelength_uncertainty": wavelength_uncertainty,
            "replicates": replicates,
            "seed": seed,
            **scale,
        },
        engine={
            "reduction": _records.SPECTRUM_REQUEST.fill(
                axis=axis,
                row=row,
                columns=columns,
                bins=bins,
                half_window=half_window,
                line_depth=line_depth,
            )
        },
        notes=(
            tuple(n for n in wavelengths.notes if n.code != "wavelength.extrapolated")
            if isinstance(wavelengths, WavelengthScale)
            else ()
        ),
        threads=threads,
        progress=progress,
    )


def _scale_of(wavelengths: Any) -> dict[str, Any]:
    """Fields of the request that a wavelength scale fills; wavelengths alone come without uncertainty."""
    if not isinstance(wavelengths, WavelengthScale):
        return {"wavelengths": wavelengths}
    lines = wavelengths.line_wavelength
    return {
        "wavelengths": wavelengths.wavelength,
        "wavelength_modes": wavelengths.modes.ravel(),
        "scale_from": lines.min(),
        "scale_to": lines.max(),
    }

"""Measures color focus: accepts, converts, calls the engine."""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u

from ..._gateway import call
from ...imaging.color_planes import refuse_mosaic
from ...imaging.frame import Frame
from ...imaging.frames import read_frame
from ..._measure import frame_facts
from ..._records import Quantity
from ...results import Measured, Note, notes_from_engine
from .curve import ColorFocusCurve
from .merit import merit_of
from .spectrum import reduction_request
from .positions import header_positions
from .units import NM, number, numbers
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
    reference: Any = 550,
    limits: Any = (380, 1000),
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
    wavelength_error: Any = 0.2,
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
    positions : Quantity or numbers in um, optional
        Sensor position of each frame of a run, growing away from the objective; from the headers
        (FOCUSPOS) by default.
    focuser_step : Quantity or number in um, optional
        How far one step of the focuser moves the sensor, for headers that count steps; negative
        when the steps grow toward the objective.
    focal_length : Quantity or number in mm, optional
        For figures in arcseconds.
    obstruction : float
        Ratio of the diameters of obstruction and aperture.
    pitch : Quantity or number in um, optional
        Pixel pitch; from the frame by default.
    reference : Quantity or number in nm
        Whose focus is the curve's zero.
    limits : pair of Quantity or numbers in nm
        What is measured.
    band : pair of Quantity or numbers in nm, optional
        For which the result gives figures of merit; none by default.
    disperser : {"converging-grating", "parallel-grating", "prism"}
        A grating in the converging beam bends its own focus surface.
    grating_lines : Quantity or number per mm, optional
        Grooves of that grating.
    grating_distance : Quantity or number in mm, optional
        Grating to sensor.
    order_filter : bool
        True when a filter keeps the second order out.
    shortest_light : Quantity or number in nm, optional
        Shortest wavelength that reaches the sensor; 380 nm by default.
    instrument_blur : Quantity or number in um, optional
        RMS blur of camera and spectrograph themselves; fitted by default.
    reference_curve : ColorFocusCurve, optional
        Of a mirror telescope with the same spectrograph; it is subtracted.
    sign_hint : {"none", "blue-longer", "blue-shorter"}
        For a single spectrum: what is known of the sign.
    defocus : Quantity or number in um, optional
        For a single spectrum taken out of focus on purpose: how far the sensor was set beyond the
        best focus (negative: before it), right to a third. It decides the signs.
    wavelength_error : Quantity or number in pixels
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
    listed = read_frames(frames)
    for frame in listed:
        refuse_mosaic(frame, "a spectrum")
    where = (
        header_positions([(f.name, f.focus_position) for f in listed], focuser_step)
        if positions is None
        else np.array(numbers(positions, u.um, "positions"))
    )
    wave = wavelengths.wavelength if isinstance(wavelengths, WavelengthScale) else wavelengths
    reduction = reduction_request(axis, row, columns, bins, half_window, line_depth)
    low, high = sorted(numbers(limits, NM, "limits"))
    band_low, band_high = sorted(numbers(band, NM, "band")) or (np.nan, np.nan)
    curve = reference_curve
    request = {
        "focal_ratio": number(focal_ratio, u.dimensionless_unscaled, "focal_ratio"),
        "focal_length_mm": number(focal_length, u.mm, "focal_length"),
        "obstruction": float(obstruction),
        "pitch_um": number(pitch, u.um, "pitch"),
        "position_um": where,
        "wavelength_nm": numbers(wave, NM, "wavelengths"),
        "reference_nm": number(reference, NM, "reference"),
        "min_nm": low,
        "max_nm": high,
        "band_min_nm": band_low,
        "band_max_nm": band_high,
        "disperser": disperser,
        "grating_lines_per_mm": number(grating_lines, 1 / u.mm, "grating_lines"),
        "grating_distance_mm": number(grating_distance, u.mm, "grating_distance"),
        "order_filter": bool(order_filter),
        "shortest_light_nm": number(shortest_light, NM, "shortest_light"),
        "instrument_blur_um": number(instrument_blur, u.um, "instrument_blur"),
        "reference_curve_nm": [] if curve is None else curve.wavelength.value[curve.used],
        "reference_curve_um": [] if curve is None else curve.smooth.value[curve.used],
        "reference_curve_error_um": [] if curve is None else curve.smooth_error.value[curve.used],
        "sign_hint": sign_hint,
        "defocus_hint_um": number(defocus, u.um, "defocus"),
        "wavelength_error_columns": number(wavelength_error, u.pix, "wavelength_error"),
        "replicates": int(replicates),
        "seed": int(seed),
        "reduction": reduction,
    }
    scale_notes: tuple[Note, ...] = ()
    if isinstance(wavelengths, WavelengthScale):
        lines = wavelengths.line_wavelength.to_value(NM)
        request["wavelength_mode_nm"] = np.ascontiguousarray(wavelengths.modes, float).ravel()
        request["scale_from_nm"] = float(lines.min())
        request["scale_to_nm"] = float(lines.max())
        scale_notes = tuple(n for n in wavelengths.notes if n.code != "wavelength.extrapolated")
    r = call(
        "color_focus.measure",
        request,
        frames={f"frame{i}": f for i, f in enumerate(listed)},
        threads=threads,
        progress=progress,
    )
    frame_notes: dict[str, Note] = {}
    for f in listed:
        for note in f.notes:
            frame_notes.setdefault(note.code, note)
    keep = {
        k: v
        for k, v in request.items()
        if k not in ("wavelength_nm", "wavelength_mode_nm", "reduction")
    }
    conditions = {
        **{k: v for k, v in keep.items() if not k.startswith("reference_curve")},
        "reference_nm": r["reference_nm"],
        "frames": [frame_facts(f) for f in listed],
        "medium": "air",
    }
    return ColorFocusCurve(
        quantities=tuple(Quantity.from_engine(q) for q in r["quantities"]),
        band_merit=None
        if r["merit"] is None
        else merit_of(r["merit"], conditions, band_low, band_high),
        notes=(*notes_from_engine(r["notes"]), *scale_notes, *frame_notes.values()),
        conditions=conditions,
        wavelength=r["wavelength_nm"] * NM,
        shift=r["shift_um"] * u.um,
        shift_error=r["shift_error_um"] * u.um,
        used=r["used"],
        smooth=r["smooth_um"] * u.um,
        smooth_error=r["smooth_error_um"] * u.um,
        replicates=r["replicate_um"],
        relative_flux=r["relative_flux"],
        width=r["robust_width_um"] * u.um,
        width_error=r["robust_width_error_um"] * u.um,
        seeing=r["seeing_um"] * u.um,
        positions=r["position_um"] * u.um,
        reference_focus=Measured.from_engine(r["reference_focus"]),
        focus_range=Measured.from_engine(r["range"]),
        focal_ratio_from_blur=Measured.from_engine(r["focal_ratio_from_blur"]),
        instrument_blur=Measured.from_engine(r["instrument_blur_um"]),
        defocus_size=r["defocus_size_um"] * u.um,
        defocus_size_error=r["defocus_size_error_um"] * u.um,
        sign_decided=r["sign_decided"],
        signs_decided=bool(r["signs_decided"]),
        removed=r["removed_um"] * u.um,
        second_order_from=r["second_order_from_nm"] * NM,
        noise_scale=float(r["noise_scale"]),
        from_focus_run=bool(r["from_focus_run"]),
    )


def read_frames(source: Any) -> list[Frame]:
    if isinstance(source, (list, tuple)):
        return [read_frame(s) for s in source]
    return [read_frame(source)]

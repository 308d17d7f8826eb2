"""Drawn spectra of stars and lamps, for teaching, planning and tests."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from astropy import units as u

from ..._gateway import call
from ...imaging.frame import Frame
from .curve import ColorFocusCurve
from .units import NM, number, numbers


def draw_spectrum(
    curve: Any,
    *,
    wavelengths: Any,
    focal_ratio: float,
    focal_length: Any,
    sensor: Any = 0.0,
    height: int = 200,
    obstruction: float = 0.0,
    pitch: Any = 4.63,
    seeing: Any = 2.5,
    temperature: Any = 9600,
    balmer_depth: float = 0.5,
    electrons: float = 2e7,
    second_order: float = 0.0,
    grating_lines: Any = None,
    grating_distance: Any = None,
    tilt: float = 6.0,
    bow: float = 1.0,
    sky: float = 40.0,
    cosmic_rays: int = 10,
    lamps: Sequence[str] = (),
    seed: int = 1,
) -> Frame:
    """Draw the two-dimensional spectrum of a star, or of a lamp, through a lens.

    Parameters
    ----------
    curve : LensTheory, ColorFocusCurve, mapping or None
        The lens; a mapping gives the focus at some wavelengths (nm), as `SimulatedTelescope.color_focus`
        has it, between which it runs smoothly (a spline over the inverse wavelength); None is a mirror.
    wavelengths : Quantity or numbers in nm
        Of each column.
    focal_ratio : float
        Focal length over aperture.
    focal_length : Quantity or number in mm
        Of the telescope.
    sensor : Quantity or number in um
        Place of the sensor on the curve's scale.
    height : int
        Rows.
    obstruction : float
        Central obstruction.
    pitch : Quantity or number in um
        Pixel pitch.
    seeing : Quantity or number in arcsec
        FWHM at 550 nm.
    temperature : Quantity or number in K
        Of the star.
    balmer_depth : float
        Depth of the hydrogen lines.
    electrons : float
        Of the whole first order.
    second_order : float
        Efficiency of the second order over the first.
    grating_lines, grating_distance : Quantity or number, optional
        Grooves per mm and distance in mm of a grating in the converging beam.
    tilt, bow : float
        Of the trace, pixels.
    sky : float
        Electrons a pixel.
    cosmic_rays : int
        Hits.
    lamps : sequence of str
        Draw these lamps instead of a star.
    seed : int
        Of the noise; negative draws none.

    Returns
    -------
    Frame
        float32 pixels in adu with gain, read noise and pitch set.
    """
    nm = numbers(wavelengths, NM, "wavelengths")
    if curve is None:
        curve_nm, curve_um = [300.0, 1100.0], [0.0, 0.0]
    elif isinstance(curve, ColorFocusCurve):
        curve_nm = [float(v) for v in curve.wavelength.value[curve.used]]
        curve_um = [float(v) for v in curve.smooth.value[curve.used]]
    elif isinstance(curve, Mapping):
        at = sorted(curve)
        inverse = [1 / float(a) for a in at[::-1]]
        focus = [number(curve[a], u.um, "curve") for a in at[::-1]]
        curve_nm = [float(v) for v in np.arange(at[0] - 20.0, at[-1] + 21.0, 2.0)]
        curve_um = [float(v) for v in natural_spline(inverse, focus, 1 / np.array(curve_nm))]
    else:
        curve_nm = [float(v) for v in curve.wavelength.to_value(NM)]
        curve_um = [float(v) for v in curve.shift.to_value(u.um)]
    pixels = np.zeros((height, len(nm)), np.float32)
    request = {
        "width": len(nm),
        "height": height,
        "wavelength_nm": nm,
        "curve_nm": curve_nm,
        "curve_um": curve_um,
        "sensor_um": number(sensor, u.um, "sensor"),
        "focal_ratio": float(focal_ratio),
        "focal_length_mm": number(focal_length, u.mm, "focal_length"),
        "obstruction": float(obstruction),
        "pitch_um": number(pitch, u.um, "pitch"),
        "seeing_arcsec": number(seeing, u.arcsec, "seeing"),
        "temperature_k": number(temperature, u.K, "temperature"),
        "balmer_depth": float(balmer_depth),
        "electrons": float(electrons),
        "second_order": float(second_order),
        "grating_lines_per_mm": number(grating_lines, 1 / u.mm, "grating_lines"),
        "grating_distance_mm": number(grating_distance, u.mm, "grating_distance"),
        "tilt_px": float(tilt),
        "bow_px": float(bow),
        "sky_electrons": float(sky),
        "cosmic_rays": int(cosmic_rays),
        "lamps": [str(name) for name in lamps],
        "seed": int(seed),
    }
    call("simulation.spectrum", request, outputs={"pixels": pixels})
    return Frame(
        pixels,
        name="drawn lamp" if lamps else "drawn spectrum",
        gain=1 * u.electron / u.adu,
        read_noise=3 * u.electron,
        pitch=request["pitch_um"] * u.um,
        saturation=65535 * u.adu,
    )


def natural_spline(x: Sequence[float], y: Sequence[float], at: np.ndarray) -> np.ndarray:
    """Natural cubic spline through points with rising x, its end pieces carried on beyond them."""
    knots, values = np.asarray(x, float), np.asarray(y, float)
    step, rise = np.diff(knots), np.diff(values)
    # Second derivatives: zero at both ends, and the first derivative runs on at the knots between.
    n = len(knots)
    equations, right = np.eye(n), np.zeros(n)
    for k in range(1, n - 1):
        equations[k, k - 1 : k + 2] = step[k - 1], 2 * (step[k - 1] + step[k]), step[k]
        right[k] = 6 * (rise[k] / step[k] - rise[k - 1] / step[k - 1])
    second = np.linalg.solve(equations, right)
    piece = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, n - 2)
    h, b = step[piece], at - knots[piece]
    a = h - b
    left, after = second[piece], second[piece + 1]
    cubic = (left * a**3 + after * b**3) / (6 * h)
    line = (values[piece] / h - left * h / 6) * a + (values[piece + 1] / h - after * h / 6) * b
    return np.asarray(cubic + line)

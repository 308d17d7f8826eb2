"""Drawn spectra of stars and lamps, for teaching, planning and tests."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from astropy import units as u

from .. import _records
from .._gateway import call
from .._units import integer, items, numbers, quantity
from ..imaging.frame import Frame


def draw_spectrum(
    lens: Any,
    *,
    wavelengths: Any,
    focal_ratio: float,
    focal_length: Any,
    sensor: Any = None,
    height: int = 200,
    obstruction: float = 0.0,
    pitch: Any = None,
    seeing: Any = None,
    temperature: Any = None,
    balmer_depth: float = 0.5,
    electrons: float = 2e7,
    second_order: float = 0.0,
    grating_lines: Any = None,
    grating_distance: Any = None,
    tilt: float = 6.0,
    bow: float = 1.0,
    sky: Any = None,
    cosmic_rays: int = 10,
    lamps: Sequence[str] = (),
    seed: int = 1,
) -> Frame:
    """Draw the two-dimensional spectrum of a star, or of a lamp, through a lens.

    Parameters
    ----------
    lens : mapping, or a theory or measured curve, or None
        Focus by wavelength in nm, as `SimulatedTelescope` has it, or what offers such a mapping as
        its ``lens``; the focus runs smoothly between its points, as in every simulator. None is a
        mirror.
    wavelengths : Quantity
        Of each column.
    focal_ratio : float
        Focal length over aperture.
    focal_length : Quantity or str
        Of the telescope.
    sensor : Quantity or str, optional
        Place of the sensor on the lens's scale; zero by default.
    height : int
        Rows.
    obstruction : float
        Central obstruction.
    pitch : Quantity or str, optional
        Pixel pitch; 4.63 um by default.
    seeing : Quantity or str, optional
        FWHM at 550 nm; 2.5 arcsec by default.
    temperature : Quantity or str, optional
        Of the star; 9600 K by default.
    balmer_depth : float
        Depth of the hydrogen lines.
    electrons : float
        Of the whole first order.
    second_order : float
        Efficiency of the second order over the first.
    grating_lines, grating_distance : Quantity, optional
        Grooves per mm of a grating in the converging beam, and its distance from the sensor.
    tilt, bow : float
        Of the trace, pixels.
    sky : Quantity, optional
        Electrons a pixel; 40 by default.
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
    nm = numbers(wavelengths, "nm", "wavelengths")
    points: dict[Any, Any] = {300: 0 * u.um, 1100: 0 * u.um} if lens is None else _points(lens)
    pixels = np.zeros((max(integer(height, "height"), 1), len(nm)), np.float32)
    request = _records.SPECTRUM_SCENE.fill(
        width=len(nm),
        height=height,
        wavelengths=nm * u.nm,
        curve_wavelength=list(points) * u.nm,
        curve_focus=list(points.values()),
        sensor=sensor,
        focal_ratio=focal_ratio,
        focal_length=focal_length,
        obstruction=obstruction,
        pitch=pitch,
        seeing=seeing,
        temperature=temperature,
        balmer_depth=balmer_depth,
        electrons=electrons,
        second_order=second_order,
        grating_lines=grating_lines,
        grating_distance=grating_distance,
        tilt=tilt,
        bow=bow,
        sky=sky,
        cosmic_rays=cosmic_rays,
        lamps=lamps,
        seed=seed,
    )
    call("simulation.spectrum", request, outputs={"pixels": pixels})
    return Frame(
        pixels,
        name="drawn lamp" if lamps else "drawn spectrum",
        gain=1 * u.electron / u.adu,
        read_noise=3 * u.electron,
        pitch=request.get("pitch_um", _records.SPECTRUM_SCENE["pitch"].default) * u.um,
        saturation=65535 * u.adu,
    )


def _points(lens: Any) -> dict[float, u.Quantity]:
    """Focus by rising wavelength."""
    found = items(lens if isinstance(lens, Mapping) else getattr(lens, "lens", lens), "lens")
    return {float(nm): quantity(found[nm], "um", "lens") for nm in sorted(found)}

"""Measures an edge: accepts, converts, calls the engine."""

from __future__ import annotations

import dataclasses
from typing import Any, Literal

import numpy as np
from astropy import units as u

from ... import _records
from ..._measure import measure
from ...imaging.frame import Frame
from ...imaging.frames import read_frame
from ...imaging.masks import either
from ...imaging.one_camera import dark_level, known_pitch
from .result import EdgeContrast


def measure_edge_contrast(
    frame: Any,
    *,
    focal_length: u.Quantity | str,
    aperture: u.Quantity | str | None = None,
    obstruction: float = 0.0,
    subject: Literal["surface", "moon"] = "surface",
    phase_angle: u.Quantity | str | None = None,
    bias: Any = None,
    bias_level: u.Quantity | str | None = None,
    wavelength: u.Quantity | str | None = None,
    seeing: u.Quantity | str | None = None,
    seeing_uncertainty: u.Quantity | str | None = None,
    glare_distance: u.Quantity | str | None = None,
    pitch: u.Quantity | str | None = None,
    threads: int = 0,
    progress: bool = False,
) -> EdgeContrast:
    """Measure edge spread, MTF and glare at the Moon's limb or another bright edge.

    Parameters
    ----------
    frame : image-like
        The Moon's sunlit limb, a straight bright edge 3 to 10 degrees off the rows of pixels, or a round black
        patch in a bright field; unclipped. See `read_frame`. Of a color mosaic the greens are used.
    focal_length : Quantity or str
        At the sensor.
    aperture : Quantity or str, optional
        With it a perfect aperture is put beside the result.
    obstruction : float
        Ratio of the diameters of obstruction and aperture.
    subject : str
        "surface", evenly bright up to its edge but for a slope, or "moon".
    phase_angle : Quantity or str, optional
        Of the Moon: angle Sun - Moon - observer, 0 at full Moon, 90 deg at the quarters.
    bias : frame, optional
        A bias or dark frame, whose median is the level without light.
    bias_level : Quantity or str, optional
        That level itself, such as "500 adu". Without either, glare is not measured.
    wavelength : Quantity or str, optional
        Middle of the passband; 550 nm by default.
    seeing, seeing_uncertainty : Quantity or str, optional
        FWHM of the air alone at this wavelength, measured otherwise; it is then taken out of the frequency of
        half contrast. By default it stays in.
    glare_distance : Quantity or str, optional
        Distance from the edge at which the light in the dark is told; 1 arcmin by default.
    pitch : Quantity or str, optional
        Of the pixels, binning included; that of the frame by default.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    EdgeContrast
        Width of the edge, MTF with its pixel, light in the dark against the distance, ghosts.

    Raises
    ------
    InputError
        When the pitch is not known, or a phase angle is given for what is not the Moon.
    CannotMeasureError
        When there is no straight or round edge, it is clipped, or it lies along the rows of pixels.

    Notes
    -----
    Slanted-edge method in the sense of ISO 12233. The veiling glare index in the sense of ISO 9358 needs a black
    patch with light all round; beside a limb or an edge `edge_glare` says how much light is in the dark at the
    stated distance.

    Examples
    --------
    >>> from astropy import units as u
    >>> from starassay import SimulatedCamera, SimulatedTelescope, draw_edge, measure_edge_contrast
    >>> telescope = SimulatedTelescope("Juniper", 115 * u.mm, 690 * u.mm)
    >>> camera = SimulatedCamera(shape=(300, 400))
    >>> frame, truth = draw_edge(telescope, camera=camera, glare=0.02)
    >>> edge = measure_edge_contrast(frame, focal_length="690 mm", aperture="115 mm", bias_level="500 adu")
    >>> bool(abs(edge.mtf_half_nyquist.value - truth["mtf"][20]) < 0.03)
    True
    """
    source = read_frame(frame)
    known = known_pitch(pitch, [source.pitch], source.name or "the frame")
    return measure(
        "edge_contrast",
        _records.EDGE_CONTRAST_REQUEST,
        EdgeContrast,
        _greens(source),
        given={
            "subject": subject,
            "phase_angle": phase_angle,
            "bias_level": bias_level
            if bias is None
            else dark_level(bias, source, "the frame with the edge"),
            "focal_length": focal_length,
            "aperture": aperture,
            "obstruction": obstruction,
            "wavelength": wavelength,
            "seeing": seeing,
            "seeing_uncertainty": seeing_uncertainty,
            "glare_distance": glare_distance,
            "pitch": known,
        },
        threads=threads,
        progress=progress,
        name=source.name,
    )


def _greens(frame: Frame) -> Frame:
    """A frame of a color mosaic with all but its greens masked; pixels take part by their place, so gaps do no harm."""
    if not frame.bayer:
        return frame
    rows, columns = frame.shape
    cell = np.array([c != "G" for c in frame.bayer]).reshape(2, 2)
    others = np.tile(cell, (rows // 2 + 1, columns // 2 + 1))[:rows, :columns]
    return dataclasses.replace(frame, mask=either(frame.mask, others), bayer="")

"""Measures a photo of reflections: accepts, converts, calls the engine."""

from __future__ import annotations

from typing import Any

from astropy import units as u

from ... import _records
from ..._measure import measure
from ...imaging.photos import read_photo
from .result import Reflections


def measure_reflections(
    photo: Any,
    *,
    objective: int = 0,
    spot: int = 0,
    sight: int = 0,
    objective_diameter: u.Quantity | str | None = None,
    objective_distance: u.Quantity | str | None = None,
    surface_radius: u.Quantity | str | None = None,
    sight_distance: u.Quantity | str | None = None,
    viewpoint_uncertainty: u.Quantity | str | None = None,
    distortion: float | None = None,
    distortion_uncertainty: float | None = None,
    field_of_view: u.Quantity | str | None = None,
    field_of_view_uncertainty: u.Quantity | str | None = None,
    hdu: int | str | None = None,
    plane: int | None = None,
    threads: int = 0,
    progress: bool = False,
) -> Reflections:
    """Measure the circles in a photo of reflections through a sighting eyepiece, and how far they are out of one middle.

    Parameters
    ----------
    photo : path, ndarray or image-like
        JPEG or PNG, whole and not cropped; an array with colors along its last axis; or what `read_frame` takes.
    objective, spot, sight : int
        Which circle is the objective's edge, the dark spot (the hole's own reflection) and the far end of focuser
        or sighting eyepiece, counted from the largest, 1 first; 0: not said.
    objective_diameter : Quantity or str, optional
        True diameter of that edge; with it offsets are told in mm at the objective.
    objective_distance : Quantity or str, optional
        Way of the light from the sight hole to the objective, flat mirrors unfolded.
    surface_radius : Quantity or str, optional
        Radius of curvature of the surface in which the hole is seen: positive when hollow (twice the focal length of a main
        mirror), negative when bulging. With it and the distance the tilt of the objective's axis is told.
    sight_distance : Quantity or str, optional
        From the hole to that far end; with it where the focuser aims is told.
    viewpoint_uncertainty : Quantity or str, optional
        How far the camera's pupil may stand beside the middle of the hole; 0.5 mm by default.
    distortion, distortion_uncertainty : float, optional
        Share by which the lens puts the picture's corner too far out. Not known by default: 0 with 0.01.
    field_of_view, field_of_view_uncertainty : Quantity or str, optional
        Angle between opposite corners of the whole picture; by default as the photo tells it (Exif).
    hdu, plane : int or str, int
        As for `read_frame`.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    Reflections
        Circles with their middles, every circle against those round it, tilts where the geometry was given.

    Raises
    ------
    InputError
        When a circle is named that was not found, or a value is out of range.
    CannotMeasureError
        When there is no circle in the photo.

    Notes
    -----
    Never look in with a laser in the focuser, nor with the tube near the Sun.

    Examples
    --------
    >>> import numpy as np
    >>> from starassay import measure_reflections
    >>> y, x = np.mgrid[:240, :320]
    >>> plate = np.clip(100.5 - np.hypot(x - 160, y - 120), 0, 1)
    >>> spot = np.clip(20.5 - np.hypot(x - 163, y - 120), 0, 1)
    >>> seen = measure_reflections(200 * (plate - spot) + 20, objective=1, spot=2)
    >>> round(float(seen.spot_offset.value), 2)
    0.03
    """
    frame, told = read_photo(photo, hdu=hdu, plane=plane)
    return measure(
        "reflections",
        _records.REFLECTIONS_REQUEST,
        Reflections,
        frame,
        given={
            "objective": objective,
            "spot": spot,
            "sight": sight,
            "objective_diameter": objective_diameter,
            "objective_distance": objective_distance,
            "surface_radius": surface_radius,
            "sight_distance": sight_distance,
            "viewpoint_uncertainty": viewpoint_uncertainty,
            "distortion": distortion,
            "distortion_uncertainty": distortion_uncertainty,
            "field_of_view": told if field_of_view is None else field_of_view,
            "field_of_view_uncertainty": field_of_view_uncertainty,
        },
        threads=threads,
        progress=progress,
        name=frame.name,
    )

"""Measures the focus surface: the stars of one frame after the other, then all of them together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from astropy import units as u

from ... import _records
from ..._measure import frame_facts, measure
from ...errors import InputError
from ...imaging.focus_positions import focus_positions
from ...imaging.frames import read_frame
from ...imaging.one_camera import known_pitch, same_size
from ..stars import StarField
from ..stars.tables import stacked, stars_of
from .result import FocusSurface

_SHAPE = ("radial_ellipticity", "cross_ellipticity", "ellipticity_uncertainty", "position_angle")
_COLUMNS = ("x", "y", "flux", "hfr", "hfr_uncertainty", *_SHAPE, "flags")


def measure_focus_surface(
    frames: Any,
    *,
    focal_ratio: float,
    positions: Any = None,
    focuser_step: u.Quantity | str | None = None,
    obstruction: float = 0.0,
    wavelength: u.Quantity | str | None = None,
    pitch: u.Quantity | str | None = None,
    outer_radius: u.Quantity | float | None = None,
    threads: int = 0,
    progress: bool = False,
) -> FocusSurface:
    """Measure best focus over the sensor from five or more frames of one star field.

    Parameters
    ----------
    frames : sequence of paths, arrays or frames
        The run, in the order in which it was taken; see `read_frame`. One frame at a time is in memory
        where paths are given.
    focal_ratio : float
        Focal length over aperture.
    positions : Quantity or sequence of str, optional
        Where the sensor stood in each frame, growing away from the objective; from the headers
        (FOCUSPOS) by default.
    focuser_step : Quantity or str, optional
        How far one step of the focuser moves the sensor, for headers that count steps; negative when
        the steps grow towards the objective.
    obstruction : float
        Ratio of the diameters of obstruction and aperture.
    wavelength : Quantity or str, optional
        Middle of the passband, for the depth of focus; 550 nm by default.
    pitch : Quantity or str, optional
        Of the pixels, binning included; that of the frames by default.
    outer_radius : Quantity or float, optional
        Radius of the circle that counts as the whole star, in pixels: one for all frames, else sizes
        of sharp and blurred stars do not compare. That of the most blurred frame by default.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    FocusSurface
        Tilt, curvature, best focus of every star, what of the sensor is sharp at once.

    Raises
    ------
    InputError
        When positions or pitch are not known, or frames differ in size.
    CannotMeasureError
        When too few frames or stars serve.

    Notes
    -----
    The half-flux radius of each star grows with its distance from focus as the cone of the objective
    does, beside what seeing and aberrations make of it; all stars and frames are fitted together for a
    tilted bowl, each frame with a seeing of its own. Positive positions lie farther from the objective.

    Examples
    --------
    >>> from astropy import units as u
    >>> from starassay import FieldErrors, SimulatedCamera, SimulatedTelescope
    >>> from starassay import draw_focus_run, measure_focus_surface
    >>> tilted = FieldErrors(tilt=(8 * u.um / u.mm, 0 * u.um / u.mm))
    >>> telescope = SimulatedTelescope("Juniper", 115 * u.mm, 690 * u.mm, field=tilted)
    >>> camera = SimulatedCamera(shape=(500, 700), pitch=7 * u.um)
    >>> places = [-200, -100, 0, 100, 200] * u.um
    >>> run = draw_focus_run(telescope, places, camera=camera, stars=60, rates=(3e3, 1e5), separation=40)
    >>> surface = measure_focus_surface([frame for frame, _ in run], focal_ratio=6)
    >>> bool(abs(surface.tilt_across_width.value - -8 * 4.9 * u.um) < 6 * u.um)
    True
    """
    if isinstance(frames, (str, bytes)) or not isinstance(frames, Sequence):
        raise InputError(
            f"frames is {type(frames).__name__}; give a list of five or more frames.",
            argument="frames",
        )
    sources = list(frames)
    if len(sources) < 2:
        raise InputError(
            f"{len(sources)} frame(s); a focus run needs five or more, on both sides of focus.",
            argument="frames",
        )
    if outer_radius is None:
        # The ends are blurred most.
        ends = [stars_of(read_frame(sources[k]), threads) for k in (0, -1)]
        radii = [field.outer_radius.value for field in ends if field is not None]
        outer_radius = max(radii) if radii else None
    fields: list[StarField | None] = []
    told, facts, notes, shapes, found = [], [], [], [], []
    for source in sources:
        frame = read_frame(source)
        fields.append(stars_of(frame, threads, outer_radius=outer_radius))
        told.append((frame.name, frame.focus_position))
        facts.append(frame_facts(frame))
        notes += [note for note in frame.notes if note not in notes]
        shapes.append(frame.shape)
        found.append(frame.pitch)
    ny, nx = same_size(shapes, "one run of one camera")
    stars, arrays = stacked(fields, _COLUMNS)
    # The column "ellipticity" has its noise bias taken out, which shortens what is averaged here.
    arrays["ellipticity"] = np.hypot(
        arrays.pop("radial_ellipticity"), arrays.pop("cross_ellipticity")
    )
    result = measure(
        "focus_surface",
        _records.FOCUS_SURFACE_REQUEST,
        FocusSurface,
        [],
        given={
            "stars": stars,
            "positions": focus_positions(told, positions, focuser_step) * u.um,
            "names": [name for name, _ in told],
            "width": nx,
            "height": ny,
            "pitch": known_pitch(pitch, found, "the frames"),
            "focal_ratio": focal_ratio,
            "obstruction": obstruction,
            "wavelength": wavelength,
        },
        arrays=arrays,
        notes=notes,
        threads=threads,
        progress=progress,
    )
    result.conditions["frames"] = facts
    return result

"""Measures the spacing: the field curvature of one focus run after the other, then all of them together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from astropy import units as u

from ... import _records
from ..._measure import measure
from ..._units import choice, number, numbers
from ...errors import CannotMeasureError, InputError
from ...imaging.focus_positions import lacking_positions
from ...results import Note, say
from ..focus_surface import FocusSurface, measure_focus_surface
from .result import Spacing

#: Of a focus run.
LEAST_FRAMES = 5


def measure_spacing(
    frames: Any,
    *,
    distances: Any,
    focal_ratio: float,
    present_distance: u.Quantity | str | None = None,
    distance_uncertainty: u.Quantity | str | None = None,
    known_slope: u.Quantity | str | Spacing | None = None,
    known_slope_uncertainty: u.Quantity | str | None = None,
    known_height: u.Quantity | str | None = None,
    too_near: str = "unknown",
    positions: Any = None,
    focuser_step: u.Quantity | str | None = None,
    obstruction: float = 0.0,
    wavelength: u.Quantity | str | None = None,
    pitch: u.Quantity | str | None = None,
    outer_radius: u.Quantity | float | None = None,
    threads: int = 0,
    progress: bool = False,
) -> Spacing:
    """Measure the best distance between reducer or flattener and sensor from focus runs at several, or its direction from one.

    Parameters
    ----------
    frames : sequence of paths, arrays, frames or FocusSurface
        A focus run of five or more frames at each of two or more distances, better three, each in the
        order in which it was taken; see `read_frame`. A run measured before stands as its
        `FocusSurface`. One distance is enough for the direction, and for the amount, where something is
        known of the corrector (`known_slope`, `too_near`).
    distances : Quantity or sequence of str
        Distance of each of them; equal ones form a run. Any zero that all share.
    focal_ratio : float
        Focal length over aperture.
    present_distance : Quantity or str, optional
        Distance that the change is counted from; the last one by default.
    distance_uncertainty : Quantity or str, optional
        Standard uncertainty of each distance against the others; 0.05 mm by default.
    known_slope : Quantity or str or Spacing, optional
        For one distance: change of the sag with the distance, as "9 um/mm", from the corrector's maker
        or from runs at several distances; an earlier `Spacing` of the same corrector brings its own.
    known_slope_uncertainty : Quantity or str, optional
        Its standard uncertainty; a fifth of it by default.
    known_height : Quantity or str, optional
        Distance from the axis that the slope holds for; the corner of this sensor by default. The sag
        grows with its square.
    too_near : {"unknown", "inward", "outward"}
        For one distance: where the corners focus when corrector and sensor are too near to each other,
        towards the objective or away from it. Enough for the direction.
    positions : Quantity or sequence of str, optional
        Where the sensor stood in each frame, growing away from the objective; from the headers
        (FOCUSPOS) by default. Each run may have a zero of its own.
    focuser_step : Quantity or str, optional
        How far one step of the focuser moves the sensor, for headers that count steps.
    obstruction : float
        Ratio of the diameters of obstruction and aperture.
    wavelength : Quantity or str, optional
        Middle of the passband, for the depth of focus; 550 nm by default.
    pitch : Quantity or str, optional
        Of the pixels, binning included; that of the frames by default.
    outer_radius : Quantity or float, optional
        Radius of the circle that counts as the whole star, in pixels, as for a focus surface.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    Spacing
        The best distance, what to add, the sag against the distance.

    Raises
    ------
    InputError
        When distances, positions or pitch are not known, or what is stated of the corrector
        contradicts itself.
    CannotMeasureError
        When too few frames or stars serve in a run.

    Notes
    -----
    The sag is the best focus of the corners less that of the middle; it changes linearly with the
    distance near the best one (common practice, no source). The best distance is where it vanishes.

    Examples
    --------
    >>> from pathlib import Path
    >>> from starassay import measure_spacing
    >>> frames = sorted(Path().glob("spacing-*.fits"))  # nine at each distance, one after the other
    >>> distances = ["53 mm"] * 9 + ["55 mm"] * 9 + ["57 mm"] * 9
    >>> spacing = measure_spacing(frames, distances=distances, focal_ratio=5.6)  # doctest: +SKIP
    >>> print(spacing.spacing_change)  # doctest: +SKIP
    1.80 ± 0.15 mm
    """
    sources, runs = _runs(frames, distances)
    known = {
        "known_slope": known_slope,
        "known_slope_uncertainty": known_slope_uncertainty,
        "known_height": known_height,
    }
    if isinstance(known_slope, Spacing):
        known = _known_from(known_slope, known)
    # What is wrong with these shall be said before runs are measured.
    for name, value in (
        ("present_distance", present_distance),
        ("distance_uncertainty", distance_uncertainty),
        ("known_height", known["known_height"]),
    ):
        if value is not None:
            number(value, "mm", name)
    for name in ("known_slope", "known_slope_uncertainty"):
        if known[name] is not None:
            number(known[name], "um/mm", name)
    choice(too_near, _records.SPACING_REQUEST["too_near"].choices, "too_near")
    places = None if positions is None else numbers(positions, "um", "positions")
    if places is not None and len(places) != len(sources):
        raise lacking_positions(len(sources), len(places))
    surfaces, notes = [], []
    for distance, of in runs.items():
        if len(of) == 1 and isinstance(sources[of[0]], FocusSurface):
            surface = sources[of[0]]
        else:
            surface = measure_focus_surface(
                [sources[k] for k in of],
                focal_ratio=focal_ratio,
                positions=None if places is None else [places[k] for k in of] * u.um,
                focuser_step=focuser_step,
                obstruction=obstruction,
                wavelength=wavelength,
                pitch=pitch,
                outer_radius=outer_radius,
                threads=threads,
                progress=progress,
            )
        surfaces.append(surface)
        notes += _said(distance, surface)
    sags = [next(q for q in s.quantities if q.name == "curvature_sag") for s in surfaces]
    one = len(surfaces) == 1
    # What all runs share, the scale of the focuser, moves no root; alone it does.
    bars = [float(sag.value.uncertainty.to_value(u.um) if one else sag.random_part) for sag in sags]
    split = surfaces[0].astigmatic_split if one else None
    corners = [_corner(surface) for surface in surfaces]
    result = measure(
        "spacing",
        _records.SPACING_REQUEST,
        Spacing,
        [],
        given={
            "distances": list(runs) * u.mm,
            "sags": [float(sag.value.value.to_value(u.um)) for sag in sags] * u.um,
            "sag_uncertainties": bars * u.um,
            "present_distance": present_distance,
            "distance_uncertainty": distance_uncertainty,
            **known,
            "too_near": too_near,
            "corner_height": max(corners, key=corners.count),
            "split": None if split is None else split.value,
            "split_uncertainty": None if split is None else split.uncertainty,
            "degrees_of_freedom": float(sags[0].degrees_of_freedom) if one else None,
            "doubtful": any(note.level == "doubt" for note in notes),
            "focal_ratio": focal_ratio,
            "wavelength": wavelength,
        },
        notes=notes,
        threads=threads,
        progress=progress,
    )
    result.conditions["frames"] = [f for s in surfaces for f in s.conditions["frames"]]
    return result


def _runs(frames: Any, distances: Any) -> tuple[list[Any], dict[float, list[int]]]:
    """The frames, and which of them stand at each distance in mm."""
    if isinstance(frames, (str, bytes, FocusSurface)) or not isinstance(frames, Sequence):
        raise InputError(
            f"frames is {type(frames).__name__}; give a list of focus runs, five or more frames at each distance.",
            argument="frames",
        )
    sources = list(frames)
    away = numbers(distances, "mm", "distances")
    if len(away) != len(sources):
        raise InputError(
            f"{len(sources)} frames need {len(sources)} distances, {len(away)} are given. Write one for each, equal "
            "ones for the frames of a run.",
            argument="distances",
        )
    runs: dict[float, list[int]] = {}
    for k, distance in enumerate(away):
        runs.setdefault(float(distance), []).append(k)
    for distance, of in runs.items():
        measured = sum(isinstance(sources[k], FocusSurface) for k in of)
        if measured and len(of) > 1:
            raise InputError(
                f"{len(of)} runs stand at {distance:g} mm. Give one run, or runs at two distances, better three.",
                argument="distances",
            )
        if not measured and len(of) < LEAST_FRAMES:
            raise CannotMeasureError(
                f"{len(of)} frame(s) at {distance:g} mm: a frame shows that corners are blurred, not on which side they "
                "focus, so that too near and too far look alike: not decided. Take a focus run of "
                f"{LEAST_FRAMES} or more frames.",
                argument="frames",
            )
    return sources, runs


def _known_from(earlier: Spacing, given: dict[str, Any]) -> dict[str, Any]:
    """What an earlier result knows of the corrector, as far as nothing else is given."""
    slope = earlier.sag_slope
    bar, height = given["known_slope_uncertainty"], given["known_height"]
    if height is None and np.isfinite(earlier.corner_height):
        height = earlier.corner_height
    return {
        "known_slope": slope.value,
        "known_slope_uncertainty": slope.uncertainty if bar is None else bar,
        "known_height": height,
    }


def _corner(surface: FocusSurface) -> u.Quantity:
    """Distance of the sensor's corner from its middle."""
    return (np.hypot(surface.width, surface.height) / 2 * surface.pitch).to(u.mm)


def _said(distance: float, surface: FocusSurface) -> list[Note]:
    """Doubts and cautions of a run, with its distance."""
    kinds = {"doubt": "spacing.doubtful-run", "caution": "spacing.run"}
    return [
        say(kinds[note.level], f"At {distance:g} mm: {note.text}")
        for note in surface.notes
        if note.level in kinds
    ]

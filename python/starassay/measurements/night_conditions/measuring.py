"""Measures the conditions of a night: the stars of one frame after the other, then all of them together."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ... import _records
from ..._measure import frame_facts, measure
from ..._units import flag, number, numbers, several
from ...errors import CannotMeasureError, InputError
from ...imaging.frame import Frame
from ...imaging.frames import read_frame
from ...imaging.sky_place import airmass_of, altitude_of, outside_temperature
from ...results import Note, Result, say
from ..stars import StarField, measure_stars
from ..stars.tables import stacked
from .result import NightConditions

if TYPE_CHECKING:
    from astropy.time import Time

_COLUMNS = (
    "profile_fwhm",
    "sigma_major",
    "sigma_minor",
    "ellipticity_uncertainty",
    "position_angle",
    "snr",
    "flags",
)

#: Exposures below this do not average the motion of the image (common practice, no source).
_SHORT = 5.0


@dataclasses.dataclass
class _Taken:
    """What is kept of a frame after its stars are measured."""

    name: str
    time: Time
    hours: float
    stars: StarField | None
    facts: dict[str, Any]
    frame: Frame
    airmass: float
    altitude: float
    temperature: float
    focus: u.Quantity | None
    scale: float


def measure_night_conditions(
    frames: Any,
    *,
    times: Any = None,
    airmasses: Any = None,
    site: Any = None,
    focal_length: u.Quantity | str | None = None,
    aperture: u.Quantity | str | None = None,
    obstruction: float = 0.0,
    wavelength: u.Quantity | str | None = None,
    focus_runs: Sequence[Result] = (),
    focuser_step: u.Quantity | str | None = None,
    threads: int = 0,
    progress: bool = False,
) -> NightConditions:
    """Measure how the stars' width changes through a night, and what of it can be air, focus or mount.

    Parameters
    ----------
    frames : sequence of frames
        Star fields of one night through one filter, a dozen or more over hours, in any order; see
        `read_frame`.
    times : sequence of str or Time, optional
        Start of each exposure; by the headers (DATE-OBS) by default.
    airmasses : sequence of float, optional
        Of each frame; by the headers by default: AIRMASS, or the altitude, or where the frame looked
        (a celestial solution or cards) from which site.
    site : EarthLocation or str, optional
        Such as ``"48.1, 11.6, 520 m"``: latitude, longitude (east positive), height; goes before the
        headers.
    focal_length : Quantity or str, optional
        At the sensor: turns pixels into angles, taken as known to 1 %. A celestial solution goes
        before it.
    aperture : Quantity or str, optional
        Of the objective: its diffraction is taken off.
    obstruction : float
        Ratio of the diameters of obstruction and aperture.
    wavelength : Quantity or str, optional
        Middle of the passband; 550 nm by default.
    focus_runs : sequence of Result, optional
        Focus surfaces of the same night: their best positions tell how focus drifts. Without them the
        places to which the focuser was moved between frames stand for it.
    focuser_step : Quantity or str, optional
        How far one step of the focuser moves the sensor, for headers that count steps.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    NightConditions
        Width at the zenith, trend, best frames, lengthening, drift of focus.

    Raises
    ------
    InputError
        When the scale is not known, or fewer than three frames have a time.
    CannotMeasureError
        When fewer than three frames show stars.

    Notes
    -----
    Widths are those of the stars' own profiles at half of their height. They are brought to the zenith
    and 500 nm by airmass^0.6 and wavelength^-0.2. The bars of level and trend hold that neighboring
    frames are alike. Sizes of stars in focus do not tell a drifting focus from worse air; refocusing,
    or focus runs, do.

    Examples
    --------
    >>> from astropy import units as u
    >>> from starassay import SimulatedCamera, SimulatedSky, SimulatedTelescope
    >>> from starassay import draw_star_field, measure_night_conditions
    >>> telescope = SimulatedTelescope("Juniper", 115 * u.mm, 690 * u.mm)
    >>> camera = SimulatedCamera(shape=(300, 300), pitch=3 * u.um)
    >>> frames = [
    ...     draw_star_field(
    ...         telescope,
    ...         camera=camera,
    ...         sky=SimulatedSky(seeing=seeing * u.arcsec),
    ...         stars=30,
    ...         rates=(5e3, 1e5),
    ...         separation=40,
    ...         seed=k,
    ...         start=f"2026-10-04T2{k}:00:00",
    ...     )[0]
    ...     for k, seeing in enumerate((2.0, 2.6, 3.0))
    ... ]
    >>> night = measure_night_conditions(frames, focal_length=690 * u.mm, airmasses=[1, 1, 1])
    >>> bool(2 * u.arcsec < night.best_fwhm.value < 3 * u.arcsec), night.trend_verdict
    (True, 'not decided')
    """
    flag(progress, "progress")
    step = np.nan if focuser_step is None else number(focuser_step, "um", "focuser_step")
    notes: list[Note] = []
    taken = _in_time(
        list(_measured(frames, times, airmasses, site, focal_length, threads, notes)), notes
    )
    _alike(taken, notes)
    start, last = taken[0], taken[-1]
    length, in_um = _focus([one.focus for one in taken], step)
    runs = _runs(focus_runs, start.time)
    stars, arrays = stacked([one.stars for one in taken], _COLUMNS)
    arrays.update(
        time=np.array([one.hours - start.hours for one in taken]),
        airmass=np.array([one.airmass for one in taken]),
        altitude=np.array([one.altitude for one in taken]),
        focus=length,
        temperature=np.array([one.temperature for one in taken]),
        run_time=runs[0],
        run_focus=runs[1],
        run_focus_uncertainty=np.full(len(runs[0]), np.nan),
    )
    scales = np.array([one.scale for one in taken])
    result = measure(
        "night_conditions",
        _records.NIGHT_CONDITIONS_REQUEST,
        NightConditions,
        [],
        given={
            "stars": stars,
            "focus_is_length": in_um,
            "pixel_scale": float(np.nanmedian(scales)) * u.arcsec / u.pix,
            "scale_from_sky": all(one.frame.wcs is not None for one in taken),
            "wavelength": wavelength,
            "aperture": aperture,
            "focal_length": focal_length,
            "obstruction": obstruction,
        },
        arrays=arrays,
        notes=notes,
        threads=threads,
        progress=progress,
        names=_named([one.name for one in taken]),
        start=start.time.isot[:19],
        end=last.time.isot[:19],
    )
    result.conditions["frames"] = [one.facts for one in taken]
    return result


def _measured(
    frames: Any,
    times: Any,
    airmasses: Any,
    site: Any,
    focal_length: Any,
    threads: int,
    notes: list[Note],
) -> Iterator[_Taken]:
    """The stars of each frame that has a time, with what its header says; pixels are let go of."""
    place = None
    if site is not None:
        from ...planning.night_sky import read_site

        place = read_site(site)
    sources = several(frames, "frames")
    starts = None if times is None else several(times, "times")
    masses = None if airmasses is None else numbers(airmasses, "", "airmasses")
    for given, what in ((starts, "times"), (masses, "airmasses")):
        if given is not None and len(given) != len(sources):
            raise InputError(
                f"{len(sources)} frames need {len(sources)} {what}, {len(given)} are given. Write one for each, in the "
                "order of the frames.",
                argument=what,
            )
    said: dict[str, Note] = {}
    timeless = []
    for k, source in enumerate(sources):
        frame = read_frame(source) if starts is None else read_frame(source, time=starts[k])
        name = frame.name or f"frame {k + 1}"
        # A night's frames lack the same things: each is said once.
        for note in frame.notes:
            said.setdefault(note.code, note)
        if frame.time is None:
            timeless.append(name)
            continue
        field = _stars_of(frame, name, focal_length, threads, notes)
        scale = np.nan if field is None else float(field.pixel_scale.value)
        exposure = 0.0 if frame.exposure is None else float(frame.exposure.to_value(u.s))
        airmass = airmass_of(frame) if masses is None else masses[k]
        silent = masses is None and (place is not None or not np.isfinite(airmass))
        altitude = altitude_of(frame, place) if silent else np.nan
        if place is not None and np.isfinite(altitude):
            airmass = np.nan  # what the site tells goes before the header
        yield _Taken(
            name=name,
            time=frame.time,
            hours=24 * (frame.time.jd1 - 2451545) + 24 * frame.time.jd2 + exposure / 7200,
            stars=field,
            facts=frame_facts(frame),
            frame=dataclasses.replace(frame, pixels=np.zeros((1, 1)), mask=None),
            airmass=airmass,
            altitude=altitude,
            temperature=outside_temperature(frame),
            focus=frame.focus_position,
            scale=scale,
        )
    notes += said.values()
    if timeless:
        notes.append(
            say(
                "night-conditions.no-time",
                f"{len(timeless)} of {len(sources)} frames have no time and were left out ({_some(timeless)}). "
                "Give times, the start of each exposure.",
            )
        )


def _stars_of(
    frame: Frame, name: str, focal_length: Any, threads: int, notes: list[Note]
) -> StarField | None:
    """The stars of a frame; None, with a word, where it is no field of stars."""
    try:
        field = measure_stars(frame, focal_length=focal_length, threads=threads)
    except CannotMeasureError as error:
        notes.append(say("night-conditions.doubtful-frame", f"{error}", name))
        return None
    if field.doubts:
        notes.append(say("night-conditions.doubtful-frame", f"Left out: {field.doubts[0]}", name))
        return None
    return field


def _in_time(taken: list[_Taken], notes: list[Note]) -> list[_Taken]:
    """Frames in order of time; at least three, with a known scale."""
    if len(taken) < 3:
        raise InputError(
            f"{len(taken)} frames with a time were given; three are the least, a dozen over hours are wanted. "
            "Where the headers have no DATE-OBS, give times.",
            argument="frames",
        )
    fields = [one for one in taken if one.stars is not None]
    if fields and not any(np.isfinite(one.scale) for one in fields):
        raise InputError(
            "The scale of the frames is not known. Give focal_length (and pitch, where the header does not tell it), "
            "or solved frames.",
            argument="focal_length",
        )
    exposures = [
        one.frame.exposure.to_value(u.s) for one in taken if one.frame.exposure is not None
    ]
    if exposures and np.median(exposures) < _SHORT:
        notes.append(
            say(
                "night-conditions.short-exposures",
                f"Exposures of {np.median(exposures):.3g} s do not average the motion of the image: single frames scatter "
                "more, and are sharper, than long ones of the same night.",
            )
        )
    return sorted(taken, key=lambda one: one.hours)


def _alike(taken: list[_Taken], notes: list[Note]) -> None:
    """Says where frames are not of one filter, camera, telescope, scale or field."""
    mixed = []
    for what in ("filter", "camera", "telescope"):
        names = {getattr(one.frame, what) for one in taken} - {""}
        if len(names) > 1:
            mixed.append(f"{len(names)} {what}s ({_some(sorted(names))})")
    scales = np.array([one.scale for one in taken if np.isfinite(one.scale)])
    if len(scales) and np.ptp(scales) > 0.02 * np.median(scales):
        mixed.append(f"scales from {scales.min():.3g} to {scales.max():.3g} arcsec a pixel")
    if mixed:
        notes.append(
            say(
                "night-conditions.mixed",
                f"The frames are of {' and '.join(mixed)}: their widths are not alike for reasons that are not the "
                "night's. Give those of one instrument and filter.",
            )
        )
    objects = sorted({one.frame.object for one in taken} - {""})
    if len(objects) > 1:
        notes.append(
            say(
                "night-conditions.several-fields",
                f"The frames show {len(objects)} fields ({_some(objects)}): they differ in airmass, which is taken off, and in "
                "the stars that stand where the field is sharp, which is not.",
            )
        )


def _focus(told: Sequence[u.Quantity | None], step: float) -> tuple[np.ndarray, bool]:
    """Focuser positions, and whether they are um."""
    lengths = [q is not None and q.unit.is_equivalent(u.um) for q in told]
    if any(lengths) or np.isfinite(step):
        found = [
            np.nan
            if q is None
            else q.to_value(u.um)
            if q.unit.is_equivalent(u.um)
            else float(q.value) * step
            for q in told
        ]
        return np.array(found, dtype=float), True
    return np.array([np.nan if q is None else float(q.value) for q in told]), False


def _runs(focus_runs: Any, start: Time) -> tuple[np.ndarray, np.ndarray]:
    """Hours from the start and best position (um) of each focus run."""
    from astropy.time import Time

    hours, places = [], []
    for run in several(focus_runs, "focus_runs"):
        if not isinstance(run, Result) or not hasattr(run, "best_position"):
            raise InputError(
                f"focus_runs holds {type(run).__name__}; give focus surfaces, each measured on a focus run.",
                argument="focus_runs",
            )
        starts = [one["start"] for one in run.conditions["frames"] if one["start"]]
        if not starts:
            raise InputError(
                "A focus run has no times; its frames need DATE-OBS.", argument="focus_runs"
            )
        when = Time(starts, scale="utc")
        hours.append(float(np.mean(24 * (when.jd1 - start.jd1) + 24 * (when.jd2 - start.jd2))))
        places.append(float(run.best_position.to_value(u.um)))
    order = np.argsort(hours)
    return np.array(hours)[order], np.array(places)[order]


def _named(names: list[str]) -> tuple[str, ...]:
    """Names that tell frames apart: numbered in order of time where they do not by themselves."""
    if len(set(names)) == len(names):
        return tuple(names)
    return tuple(f"{name} {k + 1}" for k, name in enumerate(names))


def _some(names: Sequence[str]) -> str:
    """The first few of some names."""
    return ", ".join(names[:3]) + (", ..." if len(names) > 3 else "")

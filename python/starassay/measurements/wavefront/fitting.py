"""Fits the wavefront to defocused star images: accepts, converts, calls the engine."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

import numpy as np
from astropy import units as u

from ... import _records, _units
from ..._measure import measure
from ...errors import InputError
from ...imaging.frame import Frame
from ...imaging.frames import read_frame
from ...optics.telescope import Telescope
from .result import WavefrontFit
from .setup import check_setup, check_way

#: Pairs farther apart are of several nights and are not followed in time.
_NIGHT_HOURS = 14.0


def fit_wavefront(
    inside: Any,
    outside: Any,
    telescope: Telescope,
    *,
    wavelength: u.Quantity | str | Sequence[u.Quantity],
    weights: Sequence[float] | None = None,
    pitch: u.Quantity | str | None = None,
    distances: Sequence[u.Quantity] | None = None,
    orientation: Literal["direct", "flipped-x", "flipped-y", "rotated180"] = "direct",
    seeing: u.Quantity | str | None = None,
    hold_seeing: bool = False,
    jitter: u.Quantity | str = 0 * u.arcsec,
    least_noll: int = 22,
    most_noll: int = 136,
    scale_uncertainty: float = 0.005,
    wavelength_uncertainty: float = 0.005,
    obstruction_uncertainty: float = 0.01,
    vane_width_uncertainty: float = 0.1,
    band_uncertainty: float = 0.1,
    response_uncertainty: float = 0.01,
    linearity_uncertainty: float = 0.005,
    trail_uncertainty: u.Quantity | str = 0.3 * u.arcsec,
    shadow_place_uncertainty: float = 0.02,
    gain: u.Quantity | None = None,
    read_noise: u.Quantity | None = None,
    saturation: u.Quantity | None = None,
    threads: int = 0,
    progress: bool = False,
) -> WavefrontFit:
    """Fit the wavefront to images of a bright star inside and outside of focus.

    Parameters
    ----------
    inside, outside : image-like, or lists of them
        Path, `CCDData`, array or `Frame`, whole frames or crops; lists give several pairs that
        are fitted together.
    telescope : Telescope
        Aperture, focal length at the sensor, obstruction, vanes.
    wavelength : Quantity, or a sequence of them
        Middle of the narrow filter, or several wavelengths of its band.
    weights : sequence of float, optional
        Shares of the detected light at those wavelengths; equal by default.
    pitch : Quantity, optional
        Pixel pitch, binning included; the frames' own by default.
    distances : sequence of Quantity, optional
        Sensor positions from best focus (negative inside), one for each image in the order inside,
        outside, inside, ...; only compared with what the images show.
    orientation : str
        "direct", or how the view is flipped between pupil and sensor: "flipped-x" or
        "flipped-y" behind a diagonal, "rotated180".
    seeing : Quantity, optional
        FWHM; found by the fit when not given, a start when given.
    hold_seeing : bool
        Keep the seeing as given (0 for an artificial star indoors).
    jitter : Quantity
        RMS of guiding along each axis.
    least_noll, most_noll : int
        Fewest and most modes.
    scale_uncertainty, wavelength_uncertainty, obstruction_uncertainty : float
        Relative standard uncertainties of what is held fixed.
    vane_width_uncertainty, band_uncertainty : float
        The same for the vanes' width, and for the shares of the light: by how much an end of the band may hold
        more than its middle.
    response_uncertainty, linearity_uncertainty, trail_uncertainty, shadow_place_uncertainty : float, Quantity
        How far camera, guiding and secondary may usually be off: difference of the response from edge to edge of the
        star's disc, departure from a straight line at the brightest pixel, RMS of the blur along one direction beyond
        that across, place of the secondary's shadow along each axis in radii of the aperture. The images tell more of
        all but the linearity; what they tell is taken off, the rest goes into the bars. 0 = not there.
    gain, read_noise, saturation : Quantity, optional
        Where the headers are silent or wrong.
    threads : int
        Worker threads, 0 = one for each processor; never changes the result.
    progress : bool
        Show a bar.

    Returns
    -------
    WavefrontFit
        Coefficients, map, figures, budget and notes.

    Raises
    ------
    InputError
        The call can never work as given.
    CannotMeasureError
        The images do not hold the measurement.

    Notes
    -----
    Defocus is fitted for each image and left out of the wavefront, since the focuser sets it.
    See ``docs/wavefront.md`` for what is degenerate and what the pair breaks.

    Examples
    --------
    >>> import starassay
    >>> fit = starassay.fit_wavefront(  # doctest: +SKIP
    ...     "inside.fits", "outside.fits", starassay.Telescope("115 mm", "760 mm"), wavelength="540 nm"
    ... )
    >>> fit.table, fit.rms, fit.plot()  # doctest: +SKIP
    """
    _units.instance(telescope, Telescope, "telescope", 'Telescope("115 mm", "760 mm")')
    least, most = _units.integer(least_noll, "least_noll"), _units.integer(most_noll, "most_noll")
    facts = {"gain": gain, "read_noise": read_noise, "saturation": saturation}
    frames = _pairs(inside, outside, {k: v for k, v in facts.items() if v is not None})
    return measure(
        "wavefront",
        _records.WAVEFRONT_REQUEST,
        WavefrontFit,
        frames,
        given={
            "aperture": telescope.aperture,
            "focal_length": telescope.focal_length,
            "wavelengths": _units.numbers(wavelength, u.nm, "wavelength") * u.nm,
            "weights": weights,
            "pitch": pitch,
            "distances": distances,
            "times": _times(frames),
            "focuser": _focuser(frames),
            "orientation": orientation,
            "seeing": seeing,
            "hold_seeing": hold_seeing,
            "jitter": jitter,
            "least_noll": least,
            "most_noll": max(most, least),
        },
        engine={
            "pupil": telescope.pupil_request(),
            "known_to": _records.KNOWN_TO.fill(
                scale=_units.number(scale_uncertainty, "", "scale_uncertainty"),
                wavelength=_units.number(wavelength_uncertainty, "", "wavelength_uncertainty"),
                obstruction=_units.number(obstruction_uncertainty, "", "obstruction_uncertainty"),
                vane_width=_units.number(vane_width_uncertainty, "", "vane_width_uncertainty"),
                band=_units.number(band_uncertainty, "", "band_uncertainty"),
                response=_units.number(response_uncertainty, "", "response_uncertainty"),
                linearity=_units.number(linearity_uncertainty, "", "linearity_uncertainty"),
                trail=_units.quantity(trail_uncertainty, u.arcsec, "trail_uncertainty"),
                shadow_place=_units.number(
                    shadow_place_uncertainty, "", "shadow_place_uncertainty"
                ),
            ),
        },
        notes=check_setup(frames, telescope, _middle(wavelength, weights), _pitch(pitch)),
        after=lambda raw: check_way(frames, raw),
        threads=threads,
        progress=progress,
    )


def _times(frames: Sequence[Frame]) -> u.Quantity | None:
    """Middle of each exposure from the first, where the headers of one night tell them."""
    if any(frame.time is None for frame in frames):
        return None
    hours = np.array(
        [
            frame.time.mjd * 24  # type: ignore[union-attr]
            + (0.0 if frame.exposure is None else frame.exposure.to_value(u.hour) / 2)
            for frame in frames
        ]
    )
    hours -= hours.min()
    return None if hours.max() > _NIGHT_HOURS else hours * u.hour


def _focuser(frames: Sequence[Frame]) -> u.Quantity | None:
    """Place of the focuser of each frame, where the headers tell it as a length."""
    places = [frame.focus_position for frame in frames]
    if any(p is None or not p.unit.is_equivalent(u.um) for p in places):
        return None
    return u.Quantity(places).to(u.um)


def _middle(wavelength: Any, weights: Sequence[float] | None) -> u.Quantity:
    """The band's mean; what cannot be read is left to the request, which says so."""
    values = np.array(_units.numbers(wavelength, "nm", "wavelength"))
    shares = (
        np.ones(values.shape)
        if weights is None
        else np.array(_units.numbers(weights, "", "weights"))
    )
    if values.size == 0 or shares.shape != values.shape or not shares.sum() > 0:
        shares = np.ones(values.shape)
    return (np.average(values, weights=shares) if values.size else np.nan) * u.nm


def _pitch(pitch: Any) -> u.Quantity | None:
    return None if pitch is None else _units.quantity(pitch, "um", "pitch")


def _pairs(inside: Any, outside: Any, facts: dict[str, u.Quantity]) -> list[Frame]:
    first = list(inside) if isinstance(inside, (list, tuple)) else [inside]
    second = list(outside) if isinstance(outside, (list, tuple)) else [outside]
    if len(first) != len(second):
        raise InputError(
            f"{len(first)} images inside and {len(second)} outside of focus were given; "
            "pairs need as many of one as of the other.",
            code="wavefront.pairs",
            argument="outside",
        )
    return [read_frame(source, **facts) for pair in zip(first, second) for source in pair]

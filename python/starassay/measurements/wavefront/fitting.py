"""Fits the wavefront to defocused star images: accepts, converts, calls the engine."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

import numpy as np
from astropy import units as u
from astropy.table import QTable

from ... import _gateway
from ...errors import InputError
from ...imaging.frame import Frame
from ...imaging.frames import read_frame
from ...results import Measured, notes_from_engine
from ...optics.telescope import Telescope
from .result import FittedImage, WavefrontFit
from .setup import check_setup

_ORIENTATIONS = ("direct", "flipped-x", "flipped-y", "rotated180")


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
    most_noll: int = 45,
    scale_uncertainty: float = 0.005,
    wavelength_uncertainty: float = 0.005,
    obstruction_uncertainty: float = 0.01,
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
    if orientation not in _ORIENTATIONS:
        raise InputError(
            f"orientation is '{orientation}'; choose one of {', '.join(_ORIENTATIONS)}.",
            code="wavefront.orientation",
            argument="orientation",
        )
    facts = {"gain": gain, "read_noise": read_noise, "saturation": saturation}
    frames = _pairs(inside, outside, {k: v for k, v in facts.items() if v is not None})
    setup = check_setup(frames, telescope)
    band = u.Quantity(wavelength).to(u.nm)
    request: dict[str, Any] = {
        "aperture_mm": telescope.aperture.to_value(u.mm),
        "focal_length_mm": telescope.focal_length.to_value(u.mm),
        "pupil": telescope.pupil_request(),
        "wavelengths_nm": np.atleast_1d(band.value),
        "weights": [] if weights is None else [float(w) for w in weights],
        "pitch_um": np.nan if pitch is None else u.Quantity(pitch).to_value(u.um),
        "distances_um": (
            [] if distances is None else [float(u.Quantity(d).to_value(u.um)) for d in distances]
        ),
        "orientation": orientation,
        "seeing_arcsec": np.nan if seeing is None else u.Quantity(seeing).to_value(u.arcsec),
        "hold_seeing": hold_seeing,
        "jitter_arcsec": u.Quantity(jitter).to_value(u.arcsec),
        "least_noll": least_noll,
        "most_noll": max(most_noll, least_noll),
        "known_to": {
            "scale": scale_uncertainty,
            "wavelength": wavelength_uncertainty,
            "obstruction": obstruction_uncertainty,
        },
    }
    record = _gateway.call(
        "wavefront.fit",
        request,
        frames={f"frame{k}": frame for k, frame in enumerate(frames)},
        threads=threads,
        progress=progress,
    )
    notes = [*setup, *(n for frame in frames for n in frame.notes)]
    return _result(record, telescope, tuple(notes), request)


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


def _result(
    r: dict[str, Any], telescope: Telescope, notes: tuple[Any, ...], request: dict[str, Any]
) -> WavefrontFit:
    modes = QTable(
        {
            "noll": r["noll"],
            "osa": r["osa"],
            "name": r["name"],
            "coefficient": r["coefficient_nm"] * u.nm,
            "uncertainty": r["uncertainty_nm"] * u.nm,
            "fit_uncertainty": r["fit_uncertainty_nm"] * u.nm,
            "words": r["words"],
        },
        meta={"sign": "positive where the wave is ahead; circle polynomials, RMS over the disc"},
    )
    lines = r["budget"]
    budget = QTable(
        {
            "source": [b["source"] for b in lines],
            "kind": [b["kind"] for b in lines],
            "input": [b["input"] for b in lines],
            "map": [b["map_nm"] for b in lines] * u.nm,
            "rms": [b["rms_nm"] for b in lines] * u.nm,
            "strehl": [b["strehl"] for b in lines],
        }
    )
    images = tuple(
        FittedImage(
            i["name"],
            i["observed"],
            i["model"],
            i["residual"],
            i["masked"],
            Measured.from_engine(i["distance"]),
            i["defocus_waves"],
            Measured.from_engine(i["flux"]),
            Measured.from_engine(i["background"]),
            (i["x0"], i["y0"]),
            i["binning"],
        )
        for i in r["images"]
    )
    conditions = {
        "telescope": telescope.name,
        "wavelength": r["wavelength_nm"] * u.nm,
        "pairs": len(images) // 2,
        "points": r["points"],
        "iterations": r["iterations"],
        "request": request,
    }
    return WavefrontFit(
        notes=notes_from_engine(r["notes"]) + notes,
        conditions=conditions,
        modes=modes,
        rms_measured=Measured.from_engine(r["rms"]),
        pv_measured=Measured.from_engine(r["pv"]),
        strehl_measured=Measured.from_engine(r["strehl"]),
        pv_bias=r["pv_bias_nm"] * u.nm,
        strehl_from_rms=r["strehl_from_rms"],
        map=r["map_nm"] * u.nm,
        map_uncertainty=r["map_uncertainty_nm"] * u.nm,
        open_share=r["map_open"],
        covariance=r["covariance_nm2"] * u.nm**2,
        wavelength=r["wavelength_nm"] * u.nm,
        focal_ratio=r["focal_ratio"],
        seeing=tuple(Measured.from_engine(s) for s in r["seeing"]),
        images=images,
        budget=budget,
        second_opinion=r["second_opinion"],
        pairs_alone=tuple(r["pairs_alone"]),
        chi_squared=r["chi_squared"],
        map_error=r["map_error_nm"] * u.nm,
        decided=r["decided"] and not any(n.level == "doubt" for n in notes),
    )

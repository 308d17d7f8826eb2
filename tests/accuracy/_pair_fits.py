"""Run the wavefront fit on a simulated pair and compare what comes back with the truth."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import astropy.units as u
import numpy as np
from numpy.typing import NDArray

from pairs import Pair
from pairs.draw import flatten, weighted_rms

from starassay import _gateway, errors
from starassay.imaging.frame import Frame

Array = NDArray[np.float64]

MAIN = (5, 6, 7, 8, 9, 10, 11)
"""Astigmatism, coma, trefoil, spherical: the main coefficients."""


@dataclass(frozen=True)
class Judged:
    """One pair, judged. Errors are recovered minus true, in nm.

    `refused` holds the error's code when the fit refused; then nothing else is filled.
    """

    number: int
    tags: tuple[str, ...]
    flux_e: float
    refused: str = ""
    notes: tuple[str, ...] = ()
    decided: bool = False
    map_error_nm: float = np.nan
    map_predicted_nm: float = np.nan
    map_allowed_nm: float = np.nan
    strehl_error: float = np.nan
    strehl_bar: float = np.nan
    rms_error_nm: float = np.nan
    rms_bar_nm: float = np.nan
    chi2: float = np.nan
    modes: int = 0
    pulls: dict[int, float] = field(default_factory=dict)
    seeing_arcsec: float = np.nan
    seconds: float = np.nan


def engine_request(pair: Pair) -> dict[str, Any]:
    """What the user declares, as the engine's task takes it."""
    d = pair.declared
    return {
        "aperture_mm": d.aperture_mm,
        "focal_length_mm": d.focal_length_mm,
        "pupil": {
            "obstruction": d.obstruction,
            "vanes": [{"angle_deg": v.angle_deg, "width_fraction": v.width / 2} for v in d.vanes],
        },
        "wavelengths_nm": list(d.wavelengths_nm),
        "weights": list(d.weights),
        "pitch_um": d.pixel_um,
        "distances_um": [d.inside_um, d.outside_um],
    }


EXACTLY_KNOWN = {
    **{"scale": 0.0, "wavelength": 0.0, "obstruction": 0.0},
    **{"response": 0.0, "linearity": 0.0, "trail_arcsec": 0.0, "shadow_place": 0.0},
}
"""For pairs whose model is right: then bars for what might be wrong would only hide the fit's own."""


def frames_of(pair: Pair) -> dict[str, Frame]:
    """Both images as bias-subtracted frames."""
    d = pair.declared
    air = pair.setup.turbulence
    # The mean seeing is that of an exposure without end.
    exposure = (1e9 if air is None else air.exposure_s) * u.s
    named = {}
    for key, name, adu in (("frame0", "inside", pair.inside), ("frame1", "outside", pair.outside)):
        named[key] = Frame(
            pixels=(adu - d.bias_adu).astype(np.float32),
            name=name,
            gain=d.gain_e_per_adu * u.electron / u.adu,
            read_noise=d.read_noise_e * u.electron,
            saturation=(d.saturation_adu - d.bias_adu) * u.adu,
            pitch=d.pixel_um * u.um,
            exposure=exposure,
        )
    return named


def run_fit(pair: Pair, threads: int = 1, **changes: Any) -> dict[str, Any]:
    """The engine's answer for a pair."""
    request = {**engine_request(pair), **changes}
    return _gateway.call("wavefront.measure", request, frames=frames_of(pair), threads=threads)


def judge(pair: Pair, number: int, tags: tuple[str, ...] = (), **changes: Any) -> Judged:
    """Fit a pair and compare; a refusal is an answer too."""
    import time

    begun = time.perf_counter()
    try:
        found = run_fit(pair, **{**changes, "map_size": pair.truth.x.shape[0]})
    except errors.CannotMeasureError as refusal:
        return Judged(number, tags, pair.setup.flux_e, refused=str(refusal.code))
    seconds = time.perf_counter() - begun
    truth = pair.truth
    noll, coefficients = found["noll"], found["coefficient_nm"]
    recovered = np.asarray(found["map_nm"], dtype=float)
    open_share = np.where(np.isfinite(recovered), truth.transmission, 0.0)
    true_map = np.nan_to_num(truth.map_nm)
    difference = flatten(np.nan_to_num(recovered) - true_map, open_share, truth.x, truth.y, terms=4)
    bars = found["uncertainty_nm"]
    pulls = {
        int(j): float((c - truth.coefficients_nm.get(int(j), 0.0)) / s)
        for j, c, s in zip(noll, coefficients, bars)
        if int(j) in MAIN
    }
    return Judged(
        number=number,
        tags=tags,
        flux_e=pair.setup.flux_e,
        notes=tuple(n["code"] for n in found["notes"]),
        decided=bool(found["decided"]),
        map_error_nm=weighted_rms(difference, open_share),
        map_predicted_nm=float(found["map_error_nm"]),
        map_allowed_nm=predicted_map_rms(
            np.asarray(found["map_uncertainty_nm"], dtype=float), open_share
        ),
        strehl_error=float(found["strehl"]["value"] - truth.strehl_best_focus),
        strehl_bar=float(found["strehl"]["uncertainty"]),
        rms_error_nm=float(found["rms"]["value"] - truth.rms_best_focus_nm),
        rms_bar_nm=float(found["rms"]["uncertainty"]),
        chi2=float(found["chi_squared"]),
        modes=len(noll),
        pulls=pulls,
        seeing_arcsec=float(found["seeing"][0]["value"]),
        seconds=seconds,
    )


def predicted_map_rms(sigma_nm: Array, open_share: Array) -> float:
    """RMS map error that the map of standard uncertainties implies over the open pupil."""
    return float(np.sqrt(np.average(np.nan_to_num(sigma_nm) ** 2, weights=open_share)))

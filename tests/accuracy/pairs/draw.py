"""Draw a pair: expected electrons, noise, camera; and the truth to compare with."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from . import seeing
from .diffraction import expected_image, wavefront_nm
from .pupil import grid, transmission
from .setup import Camera, Declared, Pair, PairSetup, Truth
from .turbulence import exposed_image
from .zernike import zernike

Array = NDArray[np.float64]

MAP_SAMPLES = 256


def draw_pair(setup: PairSetup, rng: np.random.Generator) -> Pair:
    """Simulate both images of a pair with noise.

    The generator is used in a fixed order, so a seed gives the same pair again.
    """
    means = []
    for sensor_um, centre in (
        (setup.inside_um, setup.inside_centre_px),
        (setup.outside_um, setup.outside_centre_px),
    ):
        if setup.turbulence is None:
            mean = expected_image(setup, sensor_um, centre)
        else:
            mean = exposed_image(setup, sensor_um, centre, rng)
        means.append(mean)
    if setup.camera.clip_brightest > 0:
        setup = replace(setup, camera=_lower_saturation(setup.camera, means))
    images = [expose(mean, setup.camera, rng) for mean in means]
    return Pair(images[0], images[1], declare(setup), true_wavefront(setup), setup)


def _lower_saturation(camera: Camera, means: list[Array]) -> Camera:
    ordered = np.sort(np.concatenate([mean.ravel() for mean in means]))
    level = ordered[-camera.clip_brightest]
    return replace(
        camera, saturation_adu=float(np.rint(level / camera.gain_e_per_adu + camera.bias_adu))
    )


def expose(mean_e: Array, camera: Camera, rng: np.random.Generator) -> Array:
    """Photon noise, hot pixels, cosmic rays, read noise, gain, bias, rounding, clipping."""
    electrons = rng.poisson(np.maximum(mean_e, 0.0)).astype(float)
    high = max(float(np.max(mean_e)), 200.0)
    size = mean_e.shape[0]
    for _ in range(camera.hot_pixels):
        electrons[tuple(rng.integers(0, size, 2))] += rng.uniform(0.2, 2.0) * high
    for _ in range(camera.cosmic_rays):
        row, column = rng.uniform(0, size, 2)
        angle, length = rng.uniform(0, np.pi), rng.uniform(2, 9)
        for s in np.arange(0.0, length, 0.5):
            r, c = int(row + s * np.sin(angle)), int(column + s * np.cos(angle))
            if 0 <= r < size and 0 <= c < size:
                electrons[r, c] += rng.uniform(0.1, 0.5) * high
    electrons += rng.normal(0.0, camera.read_noise_e, electrons.shape)
    adu = np.rint(electrons / camera.gain_e_per_adu + camera.bias_adu)
    return np.clip(adu, 0.0, camera.saturation_adu)


def declare(setup: PairSetup) -> Declared:
    """Return what the user would write down, right except for `setup.declared_changes`."""
    facts: dict[str, object] = {
        "aperture_mm": setup.aperture_mm,
        "focal_length_mm": setup.focal_length_mm,
        "obstruction": setup.shape.obstruction,
        "vanes": setup.shape.vanes,
        "wavelengths_nm": setup.wavelengths_nm,
        "weights": setup.weights,
        "pixel_um": setup.pixel_um,
        "inside_um": setup.inside_um,
        "outside_um": setup.outside_um,
        "gain_e_per_adu": setup.camera.gain_e_per_adu,
        "read_noise_e": setup.camera.read_noise_e,
        "bias_adu": setup.camera.bias_adu,
        "saturation_adu": setup.camera.saturation_adu,
    }
    unknown = set(setup.declared_changes) - set(facts)
    if unknown:
        raise KeyError(f"not something a user declares: {sorted(unknown)}")
    facts.update(setup.declared_changes)
    return Declared(**facts)  # type: ignore[arg-type]


def true_wavefront(setup: PairSetup) -> Truth:
    """Map, coefficients, RMS and exact Strehl ratio of the wavefront put in."""
    x, y = grid(MAP_SAMPLES)
    open_share = transmission(setup.shape, MAP_SAMPLES)
    path = wavefront_nm(setup, x, y)
    coefficients = dict(setup.coefficients_nm)
    if setup.fine:
        # Over what passes light: nobody can measure the rest.
        inside = open_share > 0.5
        basis = np.stack([zernike(j, x, y)[inside] for j in range(1, 46)], axis=1)
        smooth = sum(
            (value * zernike(j, x, y)[inside] for j, value in coefficients.items()),
            np.zeros(int(inside.sum())),
        )
        share, *_ = np.linalg.lstsq(basis, path[inside] - smooth, rcond=None)
        for j in range(4, 46):
            coefficients[j] = coefficients.get(j, 0.0) + float(share[j - 1])
    flat = flatten(path, open_share, x, y, terms=3)
    focused = flatten(path, open_share, x, y, terms=4)
    r0 = np.nan
    if setup.seeing_arcsec > 0.0:
        r0 = seeing.fried_length_m(setup.seeing_arcsec, setup.wavelength_nm)
    return Truth(
        coefficients_nm=coefficients,
        x=x,
        y=y,
        map_nm=np.where(open_share > 0.0, path, np.nan),
        transmission=open_share,
        rms_nm=weighted_rms(flat, open_share),
        strehl=strehl_ratio(flat, open_share, setup.wavelength_nm),
        rms_best_focus_nm=weighted_rms(focused, open_share),
        strehl_best_focus=strehl_ratio(focused, open_share, setup.wavelength_nm),
        r0_m=float(r0),
    )


def flatten(path: Array, weight: Array, x: Array, y: Array, terms: int) -> Array:
    """Remove the first Noll terms by weighted least squares over the open pupil."""
    good = weight > 0.0
    basis = np.stack([zernike(j, x, y)[good] for j in range(1, terms + 1)], axis=1)
    normal = basis.T @ (basis * weight[good][:, None])
    share = np.linalg.solve(normal, basis.T @ (weight[good] * path[good]))
    result = np.zeros_like(path)
    result[good] = path[good] - basis @ share
    return result


def weighted_rms(path: Array, weight: Array) -> float:
    """RMS over the open pupil, mean removed."""
    mean = np.average(path, weights=weight)
    return float(np.sqrt(np.average((path - mean) ** 2, weights=weight)))


def strehl_ratio(path_nm: Array, weight: Array, wavelength_nm: float) -> float:
    """Squared modulus of the pupil mean of exp(2 pi i W / wavelength)."""
    return float(
        np.abs(np.average(np.exp(2j * np.pi / wavelength_nm * path_nm), weights=weight)) ** 2
    )

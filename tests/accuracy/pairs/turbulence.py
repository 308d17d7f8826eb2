"""Finite exposures: short exposures through moving frozen layers, summed.

Every layer is a periodic phase screen with a von Karman spectrum. A track that is slightly askew
crosses the screen again and again on fresh ground, so a screen of a few metres serves an exposure
that blows a hundred metres of air past the telescope. Wander slower than the screen's period
(below about 1 Hz) is missing: a guided mount takes it out too.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.special import gamma

from . import seeing
from .diffraction import (
    blur_spectrum,
    defocus_nm,
    expected_image,
    image_focal_ratio,
    stars_on_pixels,
    wavefront_nm,
)
from .pupil import grid, transmission
from .setup import PairSetup

Array = NDArray[np.float64]

POINTS = 40
"""Screen samples across the aperture (never finer than 2.5 mm): far below Fried's length."""

SCREEN = 2048
"""Screen samples along a side: about fifty apertures."""

SPECTRUM_CONSTANT = float(
    gamma(11.0 / 6.0) ** 2
    / (2.0 * np.pi ** (11.0 / 3.0))
    * (24.0 / 5.0 * gamma(6.0 / 5.0)) ** (5.0 / 6.0)
)
"""0.0228956: Noll 1976 prints 0.023 (phase spectrum in rad^2 m^2, frequency in cycles per metre)."""


def phase_screens(
    count: int,
    size: int,
    pitch_m: float,
    r0_m: float,
    outer_scale_m: float | None,
    rng: np.random.Generator,
) -> list[NDArray[np.float32]]:
    """Periodic screens of phase in radians, made two at a time from one complex transform."""
    fy = fft.fftfreq(size, pitch_m)[:, None]
    fx = fft.fftfreq(size, pitch_m)[None, :]
    squared = fx * fx + fy * fy
    if outer_scale_m is not None:
        squared = squared + outer_scale_m**-2
    squared[0, 0] = 1.0
    density = SPECTRUM_CONSTANT * r0_m ** (-5.0 / 3.0) * squared ** (-11.0 / 6.0)
    amplitude = np.sqrt(density) / (size * pitch_m)
    amplitude[0, 0] = 0.0
    amplitude = amplitude.astype(np.float32)
    screens: list[NDArray[np.float32]] = []
    while len(screens) < count:
        noise = rng.standard_normal((2, size, size), dtype=np.float32)
        both = fft.fft2(amplitude * (noise[0] + 1j * noise[1]))
        screens += [np.ascontiguousarray(both.real), np.ascontiguousarray(both.imag)]
    return screens[:count]


class MovingAir:
    """The layers above one telescope, sampled on its pupil grid at any time."""

    def __init__(self, setup: PairSetup, samples: int, rng: np.random.Generator) -> None:
        air = setup.turbulence
        assert air is not None
        pitch_m = max(setup.aperture_mm / POINTS, 2.5) * 1e-3
        self._aperture = setup.aperture_mm * 1e-3 / pitch_m
        # Coarse points across the pupil, a few spare for the cubic interpolation.
        self._points = int(np.ceil(self._aperture)) + 6
        self._position = (np.arange(samples) + 0.5) / samples * self._aperture + 1.5
        layers = len(air.winds_m_s)
        r0 = seeing.fried_length_m(setup.seeing_arcsec, setup.wavelength_nm)
        self._screens = phase_screens(
            layers,
            SCREEN,
            pitch_m,
            r0 * layers ** (3.0 / 5.0),
            air.outer_scale_m,
            rng,
        )
        self._start = rng.uniform(0.0, SCREEN, (layers, 2))
        # Each crossing of the screen moves the track sideways by a little more than the aperture.
        askew = 1.3 * self._aperture / SCREEN
        turn = rng.integers(0, 2, layers)
        self._step = np.array(
            [
                (v, v * askew) if t else (v * askew, v)
                for v, t in zip(np.array(air.winds_m_s) / pitch_m, turn)
            ]
        )

    def phase(self, time_s: float) -> NDArray[np.float32]:
        """Phase in radians at the mean wavelength."""
        left, right = [], []
        for screen, start, step in zip(self._screens, self._start, self._step):
            x, y = start + step * time_s
            ix, iy = int(np.floor(x)), int(np.floor(y))
            rows = np.arange(iy, iy + self._points) % SCREEN
            columns = np.arange(ix, ix + self._points) % SCREEN
            patch = screen[np.ix_(rows, columns)]
            left.append(_cubic(self._position + (y - iy), self._points) @ patch)
            right.append(_cubic(self._position + (x - ix), self._points))
        # One product sums the layers: [L1 L2 L3] [R1 R2 R3]^T.
        return np.concatenate(left, axis=1) @ np.concatenate(right, axis=1).T


def _cubic(position: Array, points: int) -> NDArray[np.float32]:
    """Matrix that interpolates `points` samples at the given positions (Catmull-Rom)."""
    base = np.clip(np.floor(position).astype(int), 1, points - 3)
    t = position - base
    weights = (
        0.5 * (-t + 2 * t**2 - t**3),
        0.5 * (2 - 5 * t**2 + 3 * t**3),
        0.5 * (t + 4 * t**2 - 3 * t**3),
        0.5 * (-(t**2) + t**3),
    )
    matrix = np.zeros((position.size, points), dtype=np.float32)
    line = np.arange(position.size)
    for k, weight in enumerate(weights):
        matrix[line, base + k - 1] = weight
    return matrix


def exposed_image(
    setup: PairSetup, sensor_um: float, centre: tuple[float, float], rng: np.random.Generator
) -> Array:
    """Electrons a pixel expected from one finite exposure (before photon noise).

    The short exposures take the wavelengths of the band in turn. Three samples for every two
    wavelength-times-N: what that aliases lies beyond three quarters of the cutoff, where seeing of
    an arcsecond leaves less than a thousandth.
    """
    air = setup.turbulence
    assert air is not None
    unit_um = setup.wavelength_nm * 1e-3 * image_focal_ratio(setup, sensor_um)
    disc = abs(sensor_um) / setup.focal_ratio / unit_um
    frame = setup.size_px * setup.pixel_um / unit_um
    blur = setup.seeing_arcsec * seeing.ARCSEC * setup.focal_length_mm * 1e3 / unit_um
    need = max(disc + 14.0 * blur, frame + 0.5 * disc, 2.0 * disc)
    samples = int(fft.next_fast_len(int(np.ceil(need / 2)))) * 2
    padded = samples * 3 // 2
    x, y = grid(samples)
    path = wavefront_nm(setup, x, y) + defocus_nm(setup, sensor_um) * (x * x + y * y)
    open_share = transmission(setup.shape, samples)
    layers = MovingAir(setup, samples, rng)
    waves = setup.wavelengths_nm
    sums = [np.zeros((padded, padded)) for _ in waves]
    fields = [
        (open_share * np.exp(-2j * np.pi / wave * path)).astype(np.complex64) for wave in waves
    ]
    frames = int(round(air.exposure_s / air.step_s))
    for k in range(frames):
        which = k % len(waves)
        phase = layers.phase((k + 0.5) * air.step_s)
        phase *= np.float32(-setup.wavelength_nm / waves[which])
        field = np.empty((samples, samples), dtype=np.complex64)
        np.cos(phase, out=field.real)
        np.sin(phase, out=field.imag)
        field *= fields[which]
        amplitude = fft.fft2(field, (padded, padded), overwrite_x=True)
        sums[which] += amplitude.real**2 + amplitude.imag**2
    total = np.zeros((setup.size_px, setup.size_px))
    weights = np.asarray(setup.weights) / np.sum(setup.weights)
    for intensity, wave, weight in zip(sums, waves, weights):
        share = np.count_nonzero(np.arange(frames) % len(waves) == waves.index(wave))
        spectrum = fft.rfft2(intensity) / (share * float(padded) ** 2 * open_share.sum())
        spectrum = spectrum * blur_spectrum(setup, sensor_um, wave, samples, padded)
        period_um = samples * wave * 1e-3 * image_focal_ratio(setup, sensor_um)
        total += weight * stars_on_pixels(setup, spectrum, period_um, centre)
    # What this coarser grid gets wrong of the mean image is known: put it right.
    mean = replace(setup, turbulence=None, outer_scale_m=air.outer_scale_m)
    fine = expected_image(mean, sensor_um, centre)
    coarse = expected_image(mean, sensor_um, centre, samples)
    return np.maximum(setup.flux_e * total + setup.background_e + fine - coarse, 0.0)

"""From pupil to pixels.

The image of a star is band-limited: its transform is the autocorrelation of the pupil field and
vanishes beyond one pupil diameter. So the intensity is computed once on a grid with two samples
for each wavelength-times-N, transformed, multiplied by every other transfer function (seeing,
guiding, pixel), and summed as a Fourier series at the pixel centres. This is exact for any focal
ratio, pixel pitch and sub-pixel position; the only approximations are the pupil grid and the
period of the field, and tests double both.

Signs: W is positive where the wave is ahead, so a ray lands at -2 N grad W. The kernel of the
transform is exp(-i ...), hence the pupil phase is -2 pi W / wavelength.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from . import seeing
from .pupil import grid, transmission
from .setup import PairSetup
from .zernike import wavefront

Array = NDArray[np.float64]

OVERSAMPLING = 2.0
"""Pupil grid finer than the field needs. Soft edges on the plain grid leave 1 % of the peak on the
axis and 0.06 % RMS; the error falls with the square: twice the samples leave 0.3 % and 0.015 %."""


def wavefront_nm(setup: PairSetup, x: Array, y: Array) -> Array:
    """Wavefront error without defocus at pupil coordinates."""
    total = wavefront(setup.coefficients_nm, x, y)
    rho = np.hypot(x, y)
    if setup.edge is not None:
        beyond = np.clip((rho - setup.edge.start) / (1.0 - setup.edge.start), 0.0, None)
        total = total + setup.edge.amplitude_nm * beyond**2
    if setup.zone is not None:
        total = total + setup.zone.amplitude_nm * np.exp(
            -(((rho - setup.zone.radius) / setup.zone.width) ** 2)
        )
    return total + _without_rotation_symmetry(setup, x, y)


def _without_rotation_symmetry(setup: PairSetup, x: Array, y: Array) -> Array:
    """Print-through, pinched optics and warm air in the tube."""
    total = np.zeros(np.broadcast(x, y).shape)
    if setup.print_through is not None:
        cells = setup.print_through
        for turn in (0.0, 60.0, 120.0):
            angle = np.deg2rad(cells.angle_deg + turn)
            along = x * np.cos(angle) + y * np.sin(angle)
            total = total + cells.amplitude_nm / 3.0 * np.cos(2.0 * np.pi * along / cells.period)
    if setup.pinch is not None:
        pads = setup.pinch
        angle = np.arctan2(y, x) - np.deg2rad(pads.angle_deg)
        total = total + pads.amplitude_nm * np.hypot(x, y) ** pads.power * np.cos(pads.pads * angle)
    if setup.plume is not None:
        angle = np.deg2rad(setup.plume.angle_deg)
        along = x * np.cos(angle) + y * np.sin(angle)
        across = y * np.cos(angle) - x * np.sin(angle)
        rise = 0.5 * (1.0 + np.tanh(along / setup.plume.width))
        tongue = rise * np.exp(-((across / setup.plume.width) ** 2))
        total = total + setup.plume.amplitude_nm * tongue
    return total


def image_focal_ratio(setup: PairSetup, sensor_um: float) -> float:
    """Focal ratio of the cone that ends on the sensor."""
    if setup.finite_distance:
        return setup.focal_ratio * (1.0 + sensor_um * 1e-3 / setup.focal_length_mm)
    return setup.focal_ratio


def defocus_nm(setup: PairSetup, sensor_um: float) -> float:
    """W020 in nm; positive outside focus, where the beam has already met.

    Finite distance: dz / (8 N N') keeps the geometric disc at dz / N.
    """
    return sensor_um * 1e3 / (8.0 * setup.focal_ratio * image_focal_ratio(setup, sensor_um))


def pupil_samples(setup: PairSetup, sensor_um: float, wavelength_nm: float) -> int:
    """Samples across the pupil: the field they span, in wavelength-times-N, holds everything.

    At least 2.8 disc diameters, the frame plus a disc (no copy of the star may reach into the
    frame), and eight times the seeing FWHM beside the disc.
    """
    unit_um = wavelength_nm * 1e-3 * image_focal_ratio(setup, sensor_um)
    disc = abs(sensor_um) / setup.focal_ratio / unit_um
    blur = setup.seeing_arcsec * seeing.ARCSEC * setup.focal_length_mm * 1e3 / unit_um
    offset = float(np.max(np.abs(setup.inside_centre_px + setup.outside_centre_px)))
    if setup.companion is not None:
        offset += max(abs(setup.companion.dx_px), abs(setup.companion.dy_px))
    frame = (setup.size_px + 2 * offset) * setup.pixel_um / unit_um
    need = OVERSAMPLING * max(2.8 * disc, frame + disc, disc + 16.0 * blur, 96.0)
    return int(fft.next_fast_len(int(np.ceil(need / 2)), real=False)) * 2


def star_spectrum(
    setup: PairSetup, sensor_um: float, wavelength_nm: float, samples: int
) -> NDArray[np.complex128]:
    """Transform of the diffraction image (no seeing), 1 at zero frequency but for the widest wings.

    Rows are frequencies along y in FFT order, columns along x from 0 (real transform), in steps of
    1 / (samples * wavelength * N).
    """
    x, y = grid(samples)
    open_share = transmission(setup.shape, samples)
    path = wavefront_nm(setup, x, y) + defocus_nm(setup, sensor_um) * (x * x + y * y)
    field = open_share * np.exp(-2j * np.pi / wavelength_nm * path)
    intensity = np.abs(fft.fft2(field, (2 * samples, 2 * samples))) ** 2
    # A cell that is half open passes half the light but a quarter of the squared amplitude: what is
    # missing from the sum is the light in wings too wide for this field. Counting the open area
    # keeps the level inside the field right.
    light = 4.0 * samples**2 * open_share.sum()
    return fft.rfft2(intensity) / light


def blur_spectrum(
    setup: PairSetup, sensor_um: float, wavelength_nm: float, samples: int, rows: int
) -> Array:
    """Transfer function of seeing (long-exposure mean), guiding and pixel on the same grid."""
    qy = fft.fftfreq(rows, 1.0 / rows)[:, None]
    qx = np.arange(rows // 2 + 1)[None, :]
    lag_m = np.hypot(qx, qy) * setup.aperture_mm * 1e-3 / samples
    total = np.ones((rows, rows // 2 + 1))
    if setup.seeing_arcsec > 0.0 and setup.turbulence is None:
        r0 = seeing.fried_length_m(setup.seeing_arcsec, setup.wavelength_nm)
        r0 = seeing.fried_length_at(r0, setup.wavelength_nm, wavelength_nm)
        total = total * seeing.transfer(lag_m, r0, setup.outer_scale_m)
    period_um = samples * wavelength_nm * 1e-3 * image_focal_ratio(setup, sensor_um)
    nu_x, nu_y = qx / period_um, qy / period_um
    scale_um = seeing.ARCSEC * setup.focal_length_mm * 1e3
    jx, jy = (j * scale_um for j in setup.jitter_arcsec)
    if jx > 0.0 or jy > 0.0:
        total = total * np.exp(-2.0 * np.pi**2 * ((jx * nu_x) ** 2 + (jy * nu_y) ** 2))
    return total * np.sinc(nu_x * setup.pixel_um) * np.sinc(nu_y * setup.pixel_um)


def sample_pixels(
    spectrum: NDArray[np.complex128], period_px: float, size: int, centre: tuple[float, float]
) -> Array:
    """Sum a half spectrum as a Fourier series at pixel centres; result is share of light a pixel.

    `period_px` is the period of the field in pixels, `centre` the star's offset (x, y) from the
    middle of the frame.
    """
    rows = spectrum.shape[0]
    qy = fft.fftfreq(rows, 1.0 / rows)
    qx = np.arange(spectrum.shape[1])
    place = np.arange(size) - (size - 1) / 2
    ey = np.exp(2j * np.pi / period_px * np.outer(place - centre[1], qy))
    ex = np.exp(2j * np.pi / period_px * np.outer(qx, place - centre[0]))
    weight = np.where((qx == 0) | (2 * qx == rows), 1.0, 2.0)
    return np.real(ey @ (spectrum * weight) @ ex) / period_px**2


def expected_image(
    setup: PairSetup,
    sensor_um: float,
    centre: tuple[float, float],
    samples: int | None = None,
) -> Array:
    """Mean electrons a pixel of one image: star, companion and background.

    `samples` across the pupil are chosen for each wavelength unless given. On a tilted sensor every
    column has its own distance from focus: a parabola through images at three distances.
    """
    if setup.sensor_tilt_deg != 0.0:
        return _on_tilted_sensor(setup, sensor_um, centre, samples)
    total = np.zeros((setup.size_px, setup.size_px))
    weights = np.asarray(setup.weights) / np.sum(setup.weights)
    for wavelength_nm, weight in zip(setup.wavelengths_nm, weights):
        count = samples or pupil_samples(setup, sensor_um, wavelength_nm)
        spectrum = star_spectrum(setup, sensor_um, wavelength_nm, count)
        spectrum = spectrum * blur_spectrum(
            setup, sensor_um, wavelength_nm, count, spectrum.shape[0]
        )
        period_um = count * wavelength_nm * 1e-3 * image_focal_ratio(setup, sensor_um)
        total += weight * stars_on_pixels(setup, spectrum, period_um, centre)
    return setup.flux_e * total + setup.background_e


def _on_tilted_sensor(
    setup: PairSetup, sensor_um: float, centre: tuple[float, float], samples: int | None
) -> Array:
    flat = replace(setup, sensor_tilt_deg=0.0)
    place_um = (np.arange(setup.size_px) - (setup.size_px - 1) / 2 - centre[0]) * setup.pixel_um
    away_um = place_um * np.tan(np.deg2rad(setup.sensor_tilt_deg))
    reach = max(float(np.max(np.abs(away_um))), 1e-9)
    near, middle, far = (
        expected_image(flat, sensor_um + step, centre, samples) for step in (-reach, 0.0, reach)
    )
    t = (away_um / reach)[None, :]
    return middle + 0.5 * t * (far - near) + 0.5 * t * t * (far - 2.0 * middle + near)


def stars_on_pixels(
    setup: PairSetup,
    spectrum: NDArray[np.complex128],
    period_um: float,
    centre: tuple[float, float],
) -> Array:
    """Share of the main star's light in each pixel, the companion's light on top."""
    period_px = period_um / setup.pixel_um
    total = sample_pixels(spectrum, period_px, setup.size_px, centre)
    if setup.companion is not None:
        second = (centre[0] + setup.companion.dx_px, centre[1] + setup.companion.dy_px)
        total = total + setup.companion.share * sample_pixels(
            spectrum, period_px, setup.size_px, second
        )
    return total

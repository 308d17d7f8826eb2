"""Draws two-dimensional spectra of stars through a telescope with color errors; shares no code with the engine.

Every color's image is the squared modulus of the Fourier transform of its pupil with defocus, blurred
by Kolmogorov seeing in the Fourier plane. A slitless spectrum is the sum of those images along the
dispersion, so narrow lines and steep flanks mix with the blur as they do in a real one.
"""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy import fft

PLANCK_C2_NM_K = 1.438776877e7  # second radiation constant, CODATA 2018


def refractive_index(b: list[float], c: list[float], wavelength_nm: np.ndarray) -> np.ndarray:
    """Index by Sellmeier's formula."""
    l2 = (np.asarray(wavelength_nm) / 1000.0) ** 2
    return np.sqrt(1 + sum(bi * l2 / (l2 - ci) for bi, ci in zip(b, c)))


GLASS = {  # makers' catalogues, 2017; B and C of Sellmeier's formula
    "N-BK7": (
        [1.03961212, 0.231792344, 1.01046945],
        [0.00600069867, 0.0200179144, 103.560653],
    ),
    "F2": ([1.34533359, 0.209073176, 0.937357162], [0.00997743871, 0.0470450767, 111.886764]),
    "S-FPL53": ([0.983532327, 0.069568814, 1.11409238], [0.00492234955, 0.0193581091, 264.275294]),
    "S-FPL51": ([1.17010505, 0.0475710783, 0.763832445], [0.00616203924, 0.0263372876, 141.882642]),
    "N-KZFS4": ([1.35055424, 0.197575506, 1.09962992], [0.0087628207, 0.0371767201, 90.3866994]),
}


def thin_lens_shift_um(
    glasses: list[str], focal_mm: float, wavelength_nm: np.ndarray
) -> np.ndarray:
    """Focus against that of d; two glasses unite F and C, three F, C and g."""
    lines = [486.1327, 656.2725, 435.8343][: len(glasses)]
    d = np.array([587.5618])

    def reduced(g: str, w: np.ndarray) -> np.ndarray:
        return (refractive_index(*GLASS[g], np.asarray(w)) - 1) / (
            refractive_index(*GLASS[g], d) - 1
        )

    rows = [np.ones(len(glasses))]
    for line in lines[1:]:
        rows.append(np.array([float(reduced(g, lines[:1]) - reduced(g, [line])) for g in glasses]))
    power = np.linalg.solve(np.array(rows), np.eye(len(glasses))[0])
    total = sum(p * reduced(g, wavelength_nm) for p, g in zip(power, glasses))
    return 1000 * focal_mm * (1 / total - 1)


@dataclasses.dataclass(frozen=True)
class Telescope:
    """What the spectrum is drawn through; `shift` gives um at nm, positive = longer focus."""

    focal_mm: float
    aperture_mm: float
    shift: Callable[[np.ndarray], np.ndarray]
    obstruction: float = 0.0

    @property
    def focal_ratio(self) -> float:
        """Focal length over aperture."""
        return self.focal_mm / self.aperture_mm


TELESCOPES = {
    "mirror": Telescope(750, 150, lambda w: 0.0 * np.asarray(w), 0.33),
    "triplet": Telescope(
        700, 100, lambda w: thin_lens_shift_um(["S-FPL53", "N-KZFS4", "N-BK7"], 700, w)
    ),
    "ED doublet": Telescope(700, 100, lambda w: thin_lens_shift_um(["S-FPL51", "N-KZFS4"], 700, w)),
    "achromat": Telescope(1000, 100, lambda w: thin_lens_shift_um(["N-BK7", "F2"], 1000, w)),
    # Flat from green to red, steep below 500 nm.
    "steep violet": Telescope(
        700,
        100,
        lambda w: (
            2 * thin_lens_shift_um(["S-FPL53", "N-KZFS4", "N-BK7"], 700, w)
            + 500 * np.clip((500.0 / np.asarray(w)) ** 2.5 - 1, 0, None) ** 2 / 0.55
        ),
    ),
}


def star_photons(
    wavelength_nm: np.ndarray, temperature: float = 9000.0, balmer: float = 0.5
) -> np.ndarray:
    """Photons per nm of a black body with Balmer lines (Gaussian depth `balmer`) and the O2 bands."""
    w = np.asarray(wavelength_nm, float)
    flux = w**-4 / np.expm1(PLANCK_C2_NM_K / (w * temperature)) * 1e10
    flux = flux / np.interp(550.0, w, flux) if w.size > 1 else flux
    for line in (656.28, 486.13, 434.05, 410.17, 397.01):
        flux = flux * (1 - balmer * np.exp(-0.5 * ((w - line) / 2.0) ** 2))
    flux = flux * (1 - 0.6 * np.exp(-0.5 * ((w - 761.5) / 2.5) ** 2))
    flux = flux * (1 - 0.25 * np.exp(-0.5 * ((w - 687.5) / 1.5) ** 2))
    return flux


def detector(wavelength_nm: np.ndarray) -> np.ndarray:
    """A silicon sensor behind glass: nothing below 370 nm, a maximum near 550, falling to the red."""
    w = np.asarray(wavelength_nm, float)
    return np.clip((w - 370) / 60, 0, 1) * np.interp(
        w, [370, 450, 550, 650, 750, 850, 1000], [0.5, 0.75, 0.9, 0.8, 0.6, 0.4, 0.1]
    )


@functools.lru_cache(maxsize=1200)
def _diffraction(
    telescope: Telescope, wavelength_nm: float, defocus_um: float, step_um: float, size: int
) -> np.ndarray:
    """Transfer function of one color (DC = 1), size x (size / 2 + 1) as `scipy.fft.rfft2` has it.

    The pupil is symmetric about its middle, so the function is real. Kept, since only seeing and
    noise differ from one drawing to the next.
    """
    lam_n = wavelength_nm * 1e-3 * telescope.focal_ratio  # um
    fine = 2 * size  # the intensity's bandwidth needs half the step
    df = 1 / (size * step_um)
    f = np.fft.fftfreq(fine, 1 / (fine * df)).astype(np.float32)
    # pupil radius in frequency = 1 / (2 lambda N); phase 2 pi W020 rho^2 with W020 = dz / (8 N^2)
    waves = defocus_um / (8 * telescope.focal_ratio**2 * wavelength_nm * 1e-3)
    rho = np.hypot(f[:, None], f[None, :]) * np.float32(2 * lam_n)
    cell = df * 2 * lam_n  # a soft edge of one cell makes the pupil's area right
    pupil = np.clip((1 - rho) / cell + 0.5, 0, 1)
    if telescope.obstruction > 0:
        pupil -= np.clip((telescope.obstruction - rho) / cell + 0.5, 0, 1)
    field = fft.fft2(pupil * np.exp(np.complex64(2j * np.pi * waves) * rho**2))
    transfer = fft.rfft2(field.real**2 + field.imag**2).real
    rows = np.r_[0 : size // 2, fine - size // 2 : fine]
    return (transfer[rows, : size // 2 + 1] / transfer[0, 0]).astype(np.float32)


def _image(
    telescope: Telescope,
    wavelength_nm: float,
    defocus_um: float,
    seeing_arcsec: float,
    step_um: float,
    size: int,
    blur_um: float = 0.0,
    guiding_arcsec: float = 0.0,
    outer_m: float = np.inf,
) -> np.ndarray:
    """One color's image on size x size points `step_um` apart, as its half Fourier transform."""
    transfer = _diffraction(telescope, wavelength_nm, defocus_um, step_um, size)
    radius = np.hypot(*np.meshgrid(fft.rfftfreq(size, step_um), fft.fftfreq(size, step_um)))
    fwhm_um = (
        seeing_arcsec * (wavelength_nm / 550.0) ** -0.2 * telescope.focal_mm * 1000 / 206264.806
    )
    guiding_um = guiding_arcsec * telescope.focal_mm * 1000 / 206264.806
    blur = 2 * (np.pi * radius) ** 2 * ((blur_um / 2.354820) ** 2 + guiding_um**2)
    # Von Karman (Tokovinin 2002, PASP 114, 1156): separation in the pupil over the outer scale.
    apart = radius * wavelength_nm * telescope.focal_mm * 1e-6 / outer_m
    law = np.clip(1 - 1.485 * np.cbrt(apart) + 5.383 * apart**2, 0.05, 1)
    return transfer * np.exp(-3.441939 * (radius * fwhm_um / 0.975863) ** (5 / 3) * law - blur)


def light(
    telescope: Telescope,
    sensor_um: float,
    *,
    seeing_arcsec: float = 2.5,
    width: int = 1200,
    height: int = 160,
    pitch_um: float = 5.0,
    first_nm: float = 370.0,
    nm_per_px: float = 0.42,
    electrons: float = 4e7,
    temperature: float = 9000.0,
    balmer: float = 0.5,
    slit: bool = False,
    second_order: float = 0.0,
    tilt_px: float = 5.0,
    bow_px: float = 1.0,
    grating: tuple[float, float] | None = None,
    oversample: int = 2,
    nodes: int = 100,
    blur_um: float = 0.0,
    guiding_arcsec: float = 0.0,
    outer_m: float = np.inf,
) -> np.ndarray:
    """Electrons of one spectrum without sky and noise.

    `sensor_um` is the sensor's place, zero at the focus of d; `grating` = (lines/mm, distance in mm)
    bends the focus by the sagittal shortening; `second_order` is the efficiency of order 2 over that of 1;
    `blur_um` is the FWHM of the spectrograph's own Gaussian blur, `guiding_arcsec` the standard deviation of the guiding's
    and `outer_m` the outer scale of the seeing.
    Images are computed at `nodes` wavelengths and mixed in between.
    """
    size = 256
    half = size // 2
    x = np.arange(width * oversample) / oversample
    wave = first_nm + nm_per_px * (x - (oversample - 1) / (2 * oversample))

    def weight(w: np.ndarray) -> np.ndarray:
        return star_photons(np.append(w, 550.0), temperature, balmer)[:-1] * detector(w)

    first = weight(wave)
    second = second_order * weight(wave / 2) / 2
    scale = electrons / first.sum()
    fine = np.zeros((height * oversample, width * oversample + 2 * size), np.float32)
    yc = height * oversample / 2
    trace = tilt_px * (x / width - 0.5) + bow_px * (2 * x / width - 1) ** 2
    fy = np.fft.fftfreq(size)[:, None]
    n = width * oversample
    at = np.linspace(0, n - 1, nodes)
    for node in range(nodes):
        # Between two nodes an image is their mean, weighted by nearness: no color jumps to the next node's focus.
        start = int(np.ceil(at[max(node - 1, 0)]))
        stop = int(np.floor(at[min(node + 1, nodes - 1)])) + 1
        share = np.clip(1 - np.abs(np.arange(start, stop) - at[node]) / (at[1] - at[0]), 0, 1)
        mid = float(np.interp(at[node], np.arange(n), wave))
        for order, spectrum in ((1, first), (2, second)):
            if order == 2 and second_order == 0:
                continue
            lam = mid / order
            if lam < 300:
                continue
            focus = float(telescope.shift(np.array([max(lam, 330.0)]))[0])
            if grating is not None:
                sin_b = lam * order * grating[0] * 1e-6
                focus -= 1000 * grating[1] * (1 - np.sqrt(1 - sin_b**2))
            transfer = _image(
                telescope,
                lam,
                sensor_um - focus,
                seeing_arcsec,
                pitch_um / oversample,
                size,
                blur_um,
                guiding_arcsec,
                outer_m,
            )
            where = yc + float(np.interp(at[node], np.arange(n), trace)) * oversample
            whole = int(np.floor(where))
            if slit:
                transfer = transfer[:, :1]
            shifted = transfer * np.exp(-2j * np.pi * fy * (where - whole))
            if slit:  # summed along the dispersion: the slice at zero frequency
                image = np.fft.fftshift(np.real(fft.ifft(shifted, axis=0)), axes=0)
            else:
                image = np.fft.fftshift(fft.irfft2(shifted, s=(size, size)))
            lo, hi = whole - half, whole + half
            a, b = max(lo, 0), min(hi, fine.shape[0])
            cut = image[a - lo : b - lo]
            part = spectrum[start:stop] * scale * share
            if slit:
                fine[a:b, size + start : size + stop] += np.outer(cut[:, 0], part)
            else:  # sum of the images side by side: a convolution along the dispersion
                x0 = size + start - half
                length = size + part.size - 1
                fast = fft.next_fast_len(length, real=True)
                spread = fft.rfft(cut.astype(np.float32), fast) * fft.rfft(part, fast).astype(
                    np.complex64
                )
                fine[a:b, x0 : x0 + length] += fft.irfft(spread, fast)[:, :length]
    fine = fine[:, size:-size]
    # the oversampled grid's centers sit half a fine pixel off the pixel's
    return fine.reshape(height, oversample, width, oversample).sum(axis=(1, 3), dtype=float)


def expose(
    electrons: np.ndarray,
    *,
    seed: int = 0,
    sky: float = 60.0,
    gain: float = 1.0,
    read_noise: float = 4.0,
    cosmics: int = 15,
    noise: bool = True,
) -> np.ndarray:
    """A frame (float32, adu) of that light: sky, photon and read noise, cosmic rays, bias of 300 adu."""
    image = electrons + sky
    if noise:
        rng = np.random.default_rng(seed)
        height, width = image.shape
        image = rng.poisson(np.clip(image, 0, None)).astype(float)
        image += rng.normal(0, read_noise, image.shape)
        for _ in range(cosmics):
            cy, cx = rng.integers(0, height), rng.integers(0, width)
            length = rng.integers(1, 5)
            image[cy, cx : cx + length] += rng.uniform(300, 5000)
    return (image / gain + 300).astype(np.float32)


def draw(
    telescope: Telescope,
    sensor_um: float,
    *,
    seed: int = 0,
    sky: float = 60.0,
    gain: float = 1.0,
    read_noise: float = 4.0,
    cosmics: int = 15,
    noise: bool = True,
    **scene: Any,
) -> np.ndarray:
    """One frame: `light`, exposed."""
    return expose(
        light(telescope, sensor_um, **scene),
        seed=seed,
        sky=sky,
        gain=gain,
        read_noise=read_noise,
        cosmics=cosmics,
        noise=noise,
    )

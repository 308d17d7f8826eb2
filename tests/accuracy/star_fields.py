"""Star fields with known truth, drawn with NumPy and SciPy alone.

Nothing here is shared with the engine: profiles are integrated over each pixel by
Gauss-Legendre quadrature, half-flux radii come from numerical curves of growth, and the
least possible scatter of a position comes from the Fisher information of the very pixels.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from scipy import integrate, interpolate, optimize, special

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(5)
_NODES, _WEIGHTS = _NODES / 2, _WEIGHTS / 2


class MoffatProfile:
    """Elliptical Moffat profile of unit flux: (beta-1)/(pi a b) (1 + u^2/a^2 + v^2/b^2)^-beta."""

    kind = "Moffat"

    def __init__(self, hfr: float, beta: float = 3.0, ellipticity: float = 0.0, angle: float = 0.0):
        # The share within r is 1 - (1 + r^2/alpha^2)^(1-beta), the profile's integral (Moffat 1969, A&A 3, 455): half of it at
        # HFR = alpha sqrt(2^(1/(beta-1)) - 1).
        alpha = hfr / np.sqrt(2 ** (1 / (beta - 1)) - 1)
        self.beta, self.ellipticity, self.angle = beta, ellipticity, angle
        self.a = alpha / np.sqrt(1 - ellipticity)
        self.b = alpha * np.sqrt(1 - ellipticity)

    def __call__(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        c, s = np.cos(self.angle), np.sin(self.angle)
        u, v = c * x + s * y, -s * x + c * y
        q = 1 + (u / self.a) ** 2 + (v / self.b) ** 2
        return (self.beta - 1) / (np.pi * self.a * self.b) * q**-self.beta

    @property
    def fwhm(self) -> float:
        """Geometric mean of both axes."""
        return 2 * np.sqrt(self.a * self.b) * np.sqrt(2 ** (1 / self.beta) - 1)


class AiryWithSeeing:
    """A perfect round aperture's image blurred by long-exposure Kolmogorov seeing.

    The transfer function is that of the aperture times exp(-3.4419 (f r)^(5/3)) (Fried 1966, J. Opt. Soc. Am.
    56, 1372), the profile its Hankel transform.
    """

    kind = "Airy + seeing"
    ellipticity = 0.0

    def __init__(self, hfr: float, share: float = 0.5):
        # `share`: Airy HFR over the total one. Radii scale with everything, so one profile is
        # made for HFR 1 and stretched.
        self.hfr, self.share = hfr, share
        self._radial = _airy_seeing_profile(share)
        self.scale = hfr

    def __call__(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return self._radial(np.hypot(x, y) / self.scale) / self.scale**2


_profiles: dict[float, interpolate.CubicSpline] = {}


def _airy_seeing_profile(share: float) -> interpolate.CubicSpline:
    if share in _profiles:
        return _profiles[share]
    cut = (
        share / 0.534832
    )  # lambda N for an Airy HFR of `share` (encircled energy 1 - J0^2 - J1^2 = 1/2: Rayleigh 1881)
    f = np.linspace(0, 1 / cut, 4001)
    nu = np.clip(f * cut, 0, 1)
    aperture = 2 / np.pi * (np.arccos(nu) - nu * np.sqrt(1 - nu**2))
    r = np.concatenate([np.linspace(0, 6, 601), np.linspace(6.05, 60, 1080)])
    kernel = 2 * np.pi * special.j0(2 * np.pi * np.outer(r, f)) * f

    def profile(seeing: float) -> np.ndarray:
        return integrate.simpson(
            kernel * (aperture * np.exp(-3.441939 * (f * seeing) ** (5 / 3))), f, axis=1
        )

    def hfr_of(seeing: float) -> float:
        growth = integrate.cumulative_trapezoid(2 * np.pi * r * profile(seeing), r, initial=0)
        return float(np.interp(0.5, growth, r))  # total flux is 1 by the transfer function at 0

    seeing = optimize.brentq(lambda s: hfr_of(s) - 1, 0.1, 3)
    _profiles[share] = interpolate.CubicSpline(r, profile(seeing), extrapolate=False)
    return _profiles[share]


def hfr_within(profile, radius: float) -> float:
    """Radius of half of the light that `profile` has inside `radius` (continuous light, no pixels)."""
    r = np.linspace(0, radius, 2001)
    phi = (np.arange(64) + 0.5) * 2 * np.pi / 64
    ring = np.mean([profile(r * np.cos(p), r * np.sin(p)) for p in phi], axis=0)
    growth = (
        integrate.cumulative_simpson(2 * np.pi * r * ring, r)
        if hasattr(integrate, "cumulative_simpson")
        else integrate.cumulative_trapezoid(2 * np.pi * r * ring, r, initial=0)
    )
    return float(np.interp(0.5 * growth[-1], growth, r))


def draw(profile, x: float, y: float, half: int) -> tuple[np.ndarray, int, int]:
    """Pixel-integrated stamp of unit flux, and the frame position of its first pixel."""
    x0, y0 = round(x) - half, round(y) - half
    px = np.arange(x0, x0 + 2 * half + 1) - x
    py = np.arange(y0, y0 + 2 * half + 1) - y
    stamp = np.zeros((len(py), len(px)))
    for ny, wy in zip(_NODES, _WEIGHTS):
        for nx, wx in zip(_NODES, _WEIGHTS):
            stamp += wx * wy * profile(px[None, :] + nx, py[:, None] + ny)
    return np.nan_to_num(stamp), x0, y0


@dataclasses.dataclass
class TruthField:
    """A frame and what is in it."""

    image: np.ndarray
    x: np.ndarray
    y: np.ndarray
    flux: np.ndarray
    snr: np.ndarray
    least_scatter: np.ndarray  # Cramer-Rao bound of x, pixels
    hits: np.ndarray  # (n, 2) places of cosmic rays and hot pixels
    profile: object
    gain: float
    read_noise: float
    saturation: float


def make_field(
    seed: int,
    profile,
    *,
    size: int = 1024,
    spacing: float = 64,
    sky: float = 300.0,
    gradient: float = 80.0,
    gain: float = 1.5,
    read_noise: float = 6.0,
    snr_range: tuple[float, float] = (10, 1500),
    hits: int = 40,
    dtype: type = np.float32,
) -> TruthField:
    """Draw one field: stars on a jittered lattice (none blended), a sloping and vignetted sky,
    Poisson and read noise, cosmic rays and hot pixels (none on a star)."""
    rng = np.random.default_rng(seed)
    yy, xx = np.mgrid[0:size, 0:size]
    u, v = xx / size - 0.5, yy / size - 0.5
    mean = sky + gradient * (0.7 * u - 0.4 * v) - gradient * (u**2 + v**2)
    n = int(size // spacing)
    gx, gy = np.meshgrid((np.arange(n) + 0.5) * spacing, (np.arange(n) + 0.5) * spacing)
    jitter = spacing / 5
    x = (gx + rng.uniform(-jitter, jitter, gx.shape)).ravel()
    y = (gy + rng.uniform(-jitter, jitter, gy.shape)).ravel()
    wanted = np.exp(rng.uniform(*np.log(snr_range), x.size))
    half = 40
    pixel_variance = sky / gain + (read_noise / gain) ** 2
    hfr = hfr_within(profile, 40)
    flux, snr, bound = np.empty(x.size), np.empty(x.size), np.empty(x.size)
    for k in range(x.size):
        stamp, x0, y0 = draw(profile, x[k], y[k], half)
        # SNR in a circle of two half-flux radii, by the CCD equation (Merline and Howell 1995, Exp. Astron. 6, 163).
        area = np.pi * (2 * hfr) ** 2
        share = 0.9
        s2 = wanted[k] ** 2
        b = s2 / gain
        f = (b + np.sqrt(b**2 + 4 * s2 * area * pixel_variance)) / 2
        flux[k] = f / share
        dy, dx = np.mgrid[0 : stamp.shape[0], 0 : stamp.shape[1]]
        inside = np.hypot(dx + x0 - x[k], dy + y0 - y[k]) <= 2 * hfr
        f_in = flux[k] * stamp[inside].sum()
        snr[k] = f_in / np.sqrt(f_in / gain + area * pixel_variance)
        step = 0.02
        right, *_ = _draw_at(profile, x[k] + step, y[k], x0, y0, half)
        left, *_ = _draw_at(profile, x[k] - step, y[k], x0, y0, half)
        slope = flux[k] * (right - left) / (2 * step)
        variance = pixel_variance + flux[k] * stamp / gain
        bound[k] = 1 / np.sqrt(np.sum(slope**2 / variance))
        ys, xs = slice(max(0, y0), min(size, y0 + 2 * half + 1)), slice(
            max(0, x0), min(size, x0 + 2 * half + 1)
        )
        mean[ys, xs] += flux[k] * stamp[ys.start - y0 : ys.stop - y0, xs.start - x0 : xs.stop - x0]
    image = rng.poisson(mean * gain) / gain + rng.normal(0, read_noise / gain, mean.shape)
    places = []
    while len(places) < hits:
        hx, hy = rng.integers(3, size - 3, 2)
        if np.min(np.hypot(hx - x, hy - y)) < 16:
            continue  # a hit on a star spoils that star; the bound of its scatter does not know
        strength = np.exp(rng.uniform(np.log(100), np.log(20000)))
        length = rng.integers(1, 8) if rng.random() < 0.5 else 1
        angle = rng.uniform(0, np.pi)
        for t in range(length):
            cx, cy = int(round(hx + t * np.cos(angle))), int(round(hy + t * np.sin(angle)))
            if 0 <= cx < size and 0 <= cy < size:
                image[cy, cx] += strength
        places.append(
            (hx + (length - 1) / 2 * np.cos(angle), hy + (length - 1) / 2 * np.sin(angle))
        )
    saturation = 60000.0
    image = np.clip(np.round(image), 0, 65535) if np.issubdtype(dtype, np.integer) else image
    return TruthField(
        image.astype(dtype),
        x,
        y,
        flux,
        snr,
        bound,
        np.array(places),
        profile,
        gain,
        read_noise,
        saturation,
    )


def _draw_at(profile, x, y, x0, y0, half):
    px = np.arange(x0, x0 + 2 * half + 1) - x
    py = np.arange(y0, y0 + 2 * half + 1) - y
    stamp = np.zeros((len(py), len(px)))
    for ny, wy in zip(_NODES, _WEIGHTS):
        for nx, wx in zip(_NODES, _WEIGHTS):
            stamp += wx * wy * profile(px[None, :] + nx, py[:, None] + ny)
    return np.nan_to_num(stamp), x0, y0

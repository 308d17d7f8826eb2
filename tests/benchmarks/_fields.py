"""Big star fields with known truth for the benchmarks; NumPy only, none of the engine's code."""

from __future__ import annotations

import dataclasses

import numpy as np


@dataclasses.dataclass(frozen=True)
class Field:
    """A drawn field: pixels in adu and the truth.

    Attributes
    ----------
    pixels : ndarray of float32 or uint16, shape (ny, nx)
    x, y, flux : ndarray
        Centers in pixels (origin 0) and total light in adu.
    snr : ndarray
        Signal-to-noise ratio of each star by the CCD equation in a circle of 1.25 FWHM.
    alpha, beta : float
        The Moffat profile of all stars.
    saturation : float
        Level where pixels clip, adu.
    """

    pixels: np.ndarray
    x: np.ndarray
    y: np.ndarray
    flux: np.ndarray
    snr: np.ndarray
    alpha: float
    beta: float
    saturation: float

    def inside(self, radius: np.ndarray | float) -> np.ndarray:
        """Share of a star's light within a circle."""
        return 1 - (1 + np.square(radius) / self.alpha**2) ** (1 - self.beta)

    def half_flux_radius(self, outer: np.ndarray | float) -> np.ndarray:
        """Radius with half of the light that lies within an outer circle, before it falls on pixels."""
        half = self.inside(outer) / 2
        return self.alpha * np.sqrt((1 - half) ** (1 / (1 - self.beta)) - 1)


def draw_field(
    shape: tuple[int, int] = (6388, 9576),
    stars: int = 5800,
    *,
    fwhm: float = 3.2,
    beta: float = 3.5,
    sky: float = 900.0,
    gain: float = 0.8,
    read_noise: float = 2.0,
    hot_pixels: float = 2e-5,
    dtype: str = "float32",
    seed: int = 20261,
) -> Field:
    """Moffat stars on a sloping sky with Poisson and read noise, hot pixels and clipping.

    Stars are drawn on a 5 x 5 sub-grid of each pixel, so that they are integrated over the pixel to
    better than 0.1 %. Fluxes follow a power law, as in a real field.
    """
    rng = np.random.default_rng(seed)
    ny, nx = shape
    x = rng.uniform(20, nx - 21, stars)
    y = rng.uniform(20, ny - 21, stars)
    flux = 3.0e3 * (1 - rng.uniform(0, 1, stars)) ** (-1 / 0.9)
    flux = np.minimum(flux, 3e6)
    row = np.linspace(0, 60, ny, dtype=np.float32)[:, None]
    column = np.linspace(0, 40, nx, dtype=np.float32)[None, :]
    image = np.empty(shape, np.float32)
    image[:] = sky + row + column
    alpha = fwhm / (2 * np.sqrt(2 ** (1 / beta) - 1))
    sub = (np.arange(5) - 2) / 5
    for cx, cy, f in zip(x, y, flux):
        half = 14 if f < 3e4 else 40
        x0, y0 = int(round(cx)), int(round(cy))
        xs = np.arange(max(0, x0 - half), min(nx, x0 + half + 1))
        ys = np.arange(max(0, y0 - half), min(ny, y0 + half + 1))
        dx2 = ((xs[:, None] + sub[None, :]).ravel() - cx) ** 2
        dy2 = ((ys[:, None] + sub[None, :]).ravel() - cy) ** 2
        r2 = dy2[:, None] + dx2[None, :]
        profile = (beta - 1) / (np.pi * alpha**2) * (1 + r2 / alpha**2) ** (-beta)
        stamp = profile.reshape(len(ys), 5, len(xs), 5).mean(axis=(1, 3))
        image[ys[0] : ys[-1] + 1, xs[0] : xs[-1] + 1] += (f * stamp).astype(np.float32)
    for y0 in range(0, ny, 256):
        block = image[y0 : y0 + 256]
        noise = rng.standard_normal(block.shape, dtype=np.float32)
        block += noise * np.sqrt(block / gain + (read_noise / gain) ** 2)
    hot = rng.integers(0, image.size, int(hot_pixels * image.size))
    image.ravel()[hot] += rng.uniform(200, 20000, hot.size).astype(np.float32)
    saturation = 65535.0
    np.clip(image, 0, saturation, out=image)
    pixels = np.rint(image).astype(np.uint16) if dtype == "uint16" else image
    field = Field(pixels, x, y, flux, np.empty(0), alpha, beta, saturation)
    radius = 1.25 * fwhm
    level = sky + 60 * y / (ny - 1) + 40 * x / (nx - 1)
    inside = flux * field.inside(radius)
    variance = inside / gain + np.pi * radius**2 * (level / gain + (read_noise / gain) ** 2)
    return dataclasses.replace(field, snr=inside / np.sqrt(variance))

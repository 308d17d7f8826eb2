"""Drawn fields on which the star measurement was tuned: galaxies, rings, coma, plates, mosaics.

Only for tuning; `star_kinds.py` judges with other profiles, instruments and seeds, and draws by other means.
Nothing here is shared with the engine.

    python tests/accuracy/star_trials.py [kind ...]
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy import ndimage
from star_scores import Scene, report, score, through_mosaic

OVER = 5


def moffat(fwhm: float, beta: float, half: int, ellipticity: float = 0.0) -> np.ndarray:
    """A Moffat profile on a grid OVER times finer than the pixels; light 1."""
    n = OVER * (2 * half + 1)
    t = (np.arange(n) - (n - 1) / 2) / OVER
    alpha = fwhm / 2 / np.sqrt(2 ** (1 / beta) - 1)
    u, v = t[None, :] * np.sqrt(1 - ellipticity), t[:, None] / np.sqrt(1 - ellipticity)
    k = (1 + (u**2 + v**2) / alpha**2) ** -beta
    return k / k.sum()


def ring(diameter: float, hole: float, blur: float, half: int, coma: float = 0.0) -> np.ndarray:
    """An out-of-focus disc with a hole, blurred by a Gaussian of that FWHM."""
    n = OVER * (2 * half + 1)
    t = (np.arange(n) - (n - 1) / 2) / OVER
    r = np.hypot(t[None, :], t[:, None])
    k = ((r <= diameter / 2) & (r >= hole * diameter / 2)) * (1 + coma * t[None, :] / diameter)
    k = ndimage.gaussian_filter(k.astype(float), blur / 2.3548 * OVER)
    return k / k.sum()


def comatic(core: float, coma: float, angle: float, half: int) -> np.ndarray:
    """A Moffat star with a tail: circles that grow and move away from the core."""
    n = OVER * (2 * half + 1)
    t = (np.arange(n) - (n - 1) / 2) / OVER
    k = np.zeros((n, n))
    for s in np.linspace(0, 1, 9):
        # Coma's zones: radius s^2 coma / 3, center at twice that.
        for a in np.arange(12) * np.pi / 6:
            r = coma * s**2 / 3
            x = np.cos(angle) * 2 * r + r * np.cos(a)
            y = np.sin(angle) * 2 * r + r * np.sin(a)
            q = ((t[None, :] - x) ** 2 + (t[:, None] - y) ** 2) / (core / 1.02) ** 2
            k += max(s, 0.05) * (1 + q) ** -3.0
    return k / k.sum()


def put(
    mean: np.ndarray, kernel: np.ndarray, x: float, y: float, flux: float
) -> tuple[float, float]:
    """Add a star; its place is rounded to the fine grid and returned."""
    half = (kernel.shape[0] // OVER - 1) // 2
    ix, iy = int(np.round(x)), int(np.round(y))
    sx, sy = int(np.round((x - ix) * OVER)), int(np.round((y - iy) * OVER))
    k = ndimage.shift(kernel, (sy, sx), order=0) if (sx or sy) else kernel
    # From the middles of the fine squares to their means: a pixel made of middles alone blurs too little.
    k = k + ndimage.laplace(k, mode="nearest") / 24
    m = k.reshape(2 * half + 1, OVER, 2 * half + 1, OVER).sum((1, 3)) * flux
    h, w = mean.shape
    y0, y1, x0, x1 = (
        max(0, iy - half),
        min(h, iy + half + 1),
        max(0, ix - half),
        min(w, ix + half + 1),
    )
    if y1 > y0 and x1 > x0:
        mean[y0:y1, x0:x1] += m[y0 - iy + half : y1 - iy + half, x0 - ix + half : x1 - ix + half]
    return ix + sx / OVER, iy + sy / OVER


def field(
    seed: int,
    kernel: np.ndarray | Callable[[float, float], np.ndarray],
    stars: int,
    *,
    size: int = 800,
    sky: float = 400.0,
    gain: float = 1.3,
    read: float = 5.0,
    saturation: float = 60000.0,
    flux: tuple[float, float] = (1e3, 1e6),
    extra: Callable[[np.ndarray, np.random.Generator], None] | None = None,
    after: Callable[[np.ndarray], np.ndarray] | None = None,
    places: Callable[[np.random.Generator, int], tuple[np.ndarray, np.ndarray]] | None = None,
    hits: int = 15,
    kind: str = "",
    know_gain: bool = True,
    mosaic: str = "",
) -> Scene:
    """Draw one field: stars anywhere, fluxes with a slope as in the sky."""
    rng = np.random.default_rng(seed)
    mean = np.zeros((size, size))
    if extra is not None:
        extra(mean, rng)
    background = mean.copy()
    if places is None:
        x, y = rng.uniform(3, size - 4, stars), rng.uniform(3, size - 4, stars)
    else:
        x, y = places(rng, stars)
    f = flux[0] * (flux[1] / flux[0]) ** (rng.random(len(x)) ** 2)
    kernels = []
    for i in range(len(x)):
        k = kernel(x[i], y[i]) if callable(kernel) else kernel
        kernels.append(k)
        x[i], y[i] = put(mean, k, x[i], y[i], f[i])
    mean = through_mosaic(mean + sky, mosaic)
    image = rng.poisson(mean * gain) / gain + rng.normal(0, read / gain, mean.shape)
    for _ in range(hits):
        hx, hy = rng.integers(5, size - 5, 2)
        image[hy, hx] += np.exp(rng.uniform(np.log(200), np.log(20000)))
        if rng.random() < 0.5:
            image[hy, hx + 1] += 300
    image = np.minimum(image, saturation)
    if after is not None:
        image = after(image)
    noise = np.sqrt((sky + background) / gain + (read / gain) ** 2)
    return Scene(
        kind=kind,
        image=image.astype(np.float32),
        x=x,
        y=y,
        flux=f,
        kernels=kernels,
        over=OVER,
        noise=noise,
        gain=gain if know_gain else np.nan,
        true_gain=gain,
        saturation=saturation,
        mosaic=mosaic,
    )


def spiral(
    scale: float, light: float, knots: int
) -> Callable[[np.ndarray, np.random.Generator], None]:
    """A bulge, two arms with knots and a faint disc."""

    def add(mean: np.ndarray, rng: np.random.Generator) -> None:
        n = mean.shape[0]
        cx, cy = n * rng.uniform(0.42, 0.58, 2)
        yy, xx = np.mgrid[0:n, 0:n]
        dx, dy = xx - cx, (yy - cy) * 1.3
        r, phi = np.hypot(dx, dy), np.arctan2(dy, dx)
        arms = 0.5 + 0.5 * np.cos(2 * (phi - 3.0 * np.log(np.maximum(r, 3) / scale)))
        mean += light * np.exp(-r / (0.35 * scale)) * (0.35 + arms**3)
        mean += 6 * light * np.exp(-((r / (0.08 * scale)) ** 0.7))
        for _ in range(knots):
            rr = scale * rng.uniform(0.2, 1.0)
            a = 3.0 * np.log(rr / scale) + np.pi * rng.integers(2) + rng.normal(0, 0.15)
            kx, ky = cx + rr * np.cos(a), cy + rr * np.sin(a) / 1.3
            s = rng.uniform(1.8, 5)
            mean += (
                0.8 * light * rng.random() * np.exp(-((xx - kx) ** 2 + (yy - ky) ** 2) / 2 / s**2)
            )

    return add


def nebula(light: float) -> Callable[[np.ndarray, np.random.Generator], None]:
    """Clouds with structure at all scales and a sharp rim."""

    def add(mean: np.ndarray, rng: np.random.Generator) -> None:
        n = mean.shape[0]
        k = np.hypot(*np.meshgrid(np.fft.fftfreq(n), np.fft.fftfreq(n)))
        k[0, 0] = 1
        noise = np.fft.ifft2(np.fft.fft2(rng.normal(size=(n, n))) * k**-1.6).real
        noise = (noise - noise.min()) / np.ptp(noise)
        mean += ndimage.gaussian_filter(
            light * noise**2 + 0.5 * light * (noise > 0.55) * (noise - 0.55), 1.2
        )

    return add


def filaments(
    glow: float, threads: float, width: float
) -> Callable[[np.ndarray, np.random.Generator], None]:
    """Threads of that width (FWHM, pixels) along level lines of smooth noise, on a glow of some scales."""

    def add(mean: np.ndarray, rng: np.random.Generator) -> None:
        n = mean.shape[0]
        broad = ndimage.gaussian_filter(rng.normal(size=(n, n)), 55)
        mean += glow * np.exp(0.8 * broad / broad.std())
        for scale in (16, 34):
            wave = ndimage.gaussian_filter(rng.normal(size=(n, n)), scale)
            slope = np.maximum(np.hypot(*np.gradient(wave)), 1e-9)
            # Distance from the level line in pixels, where the slope is what it is there.
            away = (wave - 0.4 * wave.std()) / slope
            strength = np.exp(0.5 * ndimage.gaussian_filter(rng.normal(size=(n, n)), 40) * 140)
            mean += threads * strength * np.exp(-4 * np.log(2) * (away / width) ** 2)

    return add


def lanes(glow: float, depth: float) -> Callable[[np.ndarray, np.random.Generator], None]:
    """A bright glow behind dark lanes and globules with soft and sharp rims."""

    def add(mean: np.ndarray, rng: np.random.Generator) -> None:
        n = mean.shape[0]
        broad = ndimage.gaussian_filter(rng.normal(size=(n, n)), 80)
        light = glow * np.exp(0.6 * broad / broad.std())
        dust = ndimage.gaussian_filter(rng.normal(size=(n, n)), 26)
        dust = 1 / (1 + np.exp(-9 * (dust / dust.std() - 0.9)))
        yy, xx = np.mgrid[0:n, 0:n]
        for _ in range(25):
            gx, gy, size = *rng.uniform(0, n, 2), rng.uniform(3, 14)
            dust = np.maximum(dust, np.exp(-((((xx - gx) ** 2 + (yy - gy) ** 2) / size**2) ** 2)))
        mean += light * (1 - depth * dust)

    return add


def comet(light: float) -> Callable[[np.ndarray, np.random.Generator], None]:
    """A coma of 1/r and a tail."""

    def add(mean: np.ndarray, rng: np.random.Generator) -> None:
        n = mean.shape[0]
        cx, cy = n * rng.uniform(0.3, 0.7, 2)
        yy, xx = np.mgrid[0:n, 0:n]
        mean += light * 4 / np.hypot(xx - cx, np.maximum(np.hypot(yy - cy, 0), 2))
        mean += (
            light
            * 0.3
            * np.exp(-((yy - cy) ** 2) / 2 / (8 + 0.1 * np.abs(xx - cx)) ** 2)
            * np.exp(-np.maximum(xx - cx, 0) / 150)
            * (xx > cx)
        )

    return add


def trail(mean: np.ndarray, rng: np.random.Generator) -> None:
    """Three satellites."""
    n = mean.shape[0]
    yy, xx = np.mgrid[0:n, 0:n]
    for _ in range(3):
        a = rng.uniform(0, np.pi)
        d = (xx - n * rng.uniform(0.2, 0.8)) * np.sin(a) - (
            yy - n * rng.uniform(0.2, 0.8)
        ) * np.cos(a)
        mean += rng.uniform(100, 1500) * np.exp(-(d**2) / 2 / 1.4**2)


def cluster(rng: np.random.Generator, stars: int) -> tuple[np.ndarray, np.ndarray]:
    """A third of the stars in the field, the rest in a core."""
    n = 800
    m = stars // 3
    r = 60 * np.abs(rng.standard_cauchy(stars - m)) ** 0.8
    a = rng.uniform(0, 2 * np.pi, stars - m)
    x = np.r_[rng.uniform(3, n - 4, m), 400 + r * np.cos(a)]
    y = np.r_[rng.uniform(3, n - 4, m), 400 + r * np.sin(a)]
    keep = (x > 3) & (x < n - 4) & (y > 3) & (y < n - 4)
    return x[keep], y[keep]


def coma_field(x: float, y: float) -> np.ndarray:
    """Coma that grows to 3 pixels in the corners of 800 x 800."""
    dx, dy = x - 400, y - 400
    r = np.hypot(dx, dy) / 566
    return comatic(2.2, 9.0 * r, float(np.arctan2(dy, dx)), 24)


def tilted(x: float, y: float) -> np.ndarray:
    """In focus on the left, discs of 14 pixels on the right."""
    return ring(max(0.5, 14 * x / 800), 0.3, 2.4, 16)


def curved(x: float, y: float) -> np.ndarray:
    """In focus in the middle, discs of up to 12 pixels in the corners."""
    return ring(max(0.5, 12 * ((x - 400) ** 2 + (y - 400) ** 2) / 320000), 0.35, 2.6, 16)


def focus_line(x: float, y: float) -> np.ndarray:
    """In focus along a slanted line, discs of up to 13 pixels on both sides."""
    return ring(max(0.5, abs(0.024 * (0.8 * x + 0.6 * y - 500))), 0.3, 2.5, 16)


def plate(image: np.ndarray) -> np.ndarray:
    """Density that saturates: stars grow with brightness."""
    t = np.maximum(image - 300, 0) / 600
    return 500 + 9000 * np.log10(1 + t**1.4)


def stretch(image: np.ndarray) -> np.ndarray:
    """A picture after an inverse hyperbolic sine."""
    return 30000 * np.arcsinh((image - 380) / 60) / np.arcsinh(1000)


KINDS: dict[str, Callable[[int], Scene]] = {
    "plain": lambda s: field(s, moffat(3.0, 3.2, 24), 150, kind="plain"),
    "plain, no gain": lambda s: field(
        s, moffat(2.4, 3.2, 24), 150, kind="plain, no gain", know_gain=False
    ),
    "galaxy": lambda s: field(
        s, moffat(3.0, 3.2, 24), 120, extra=spiral(200, 900, 90), kind="galaxy"
    ),
    "galaxy, faint stars": lambda s: field(
        s,
        moffat(2.6, 2.8, 24),
        60,
        extra=spiral(240, 3000, 120),
        flux=(2e3, 8e4),
        kind="galaxy, faint stars",
    ),
    "nebula": lambda s: field(s, moffat(2.8, 3.0, 24), 200, extra=nebula(3000), kind="nebula"),
    "nebula, threads": lambda s: field(
        s,
        moffat(2.6, 3.4, 24),
        200,
        extra=filaments(700, 300, 7),
        flux=(2e3, 5e5),
        kind="nebula, threads",
    ),
    "nebula, thin threads": lambda s: field(
        s,
        moffat(3.4, 4.0, 24),
        200,
        extra=filaments(300, 200, 5),
        flux=(3e3, 5e5),
        kind="nebula, thin threads",
    ),
    "nebula, lanes": lambda s: field(
        s,
        moffat(2.4, 3.0, 24),
        200,
        extra=lanes(1500, 0.8),
        flux=(2e3, 5e5),
        kind="nebula, lanes",
    ),
    "nebula, faint": lambda s: field(
        s,
        moffat(2.9, 3.2, 24),
        200,
        extra=filaments(60, 40, 10),
        flux=(1e3, 3e5),
        kind="nebula, faint",
    ),
    "comet": lambda s: field(s, moffat(3.4, 3.0, 24), 80, extra=comet(4000), kind="comet"),
    "trails": lambda s: field(s, moffat(3.0, 3.2, 24), 100, extra=trail, kind="trails"),
    "cluster": lambda s: field(s, moffat(2.8, 3.4, 20), 1500, places=cluster, kind="cluster"),
    "dense": lambda s: field(s, moffat(2.6, 3.0, 20), 6000, flux=(5e2, 3e5), kind="dense"),
    "five stars": lambda s: field(
        s, moffat(3.2, 3.0, 24), 5, flux=(1e4, 3e5), kind="five stars", hits=40
    ),
    "rings 8": lambda s: field(s, ring(8, 0.35, 2.6, 14), 150, flux=(1e4, 1e6), kind="rings 8"),
    "rings 15": lambda s: field(s, ring(15, 0.4, 3, 18), 120, flux=(2e4, 3e6), kind="rings 15"),
    "rings 30": lambda s: field(s, ring(30, 0.35, 3, 30), 80, flux=(1e5, 5e6), kind="rings 30"),
    "disc 12": lambda s: field(
        s, ring(12, 0.0, 2.6, 16, 0.6), 120, flux=(2e4, 3e6), kind="disc 12"
    ),
    "coma": lambda s: field(s, coma_field, 200, kind="coma"),
    "tilt": lambda s: field(s, tilted, 200, flux=(5e3, 1e6), kind="tilt"),
    "curved": lambda s: field(s, curved, 200, flux=(5e3, 1e6), kind="curved"),
    "focus line": lambda s: field(s, focus_line, 160, flux=(8e3, 1e6), kind="focus line"),
    "tilt, threads": lambda s: field(
        s, tilted, 200, extra=filaments(700, 300, 7), flux=(5e3, 1e6), kind="tilt, threads"
    ),
    "tilt, thin threads": lambda s: field(
        s, tilted, 200, extra=filaments(300, 200, 5), flux=(5e3, 1e6), kind="tilt, thin threads"
    ),
    "tilt, galaxy": lambda s: field(
        s, tilted, 160, extra=spiral(200, 900, 90), flux=(5e3, 1e6), kind="tilt, galaxy"
    ),
    "curved, threads": lambda s: field(
        s, curved, 160, extra=filaments(700, 300, 7), flux=(8e3, 1e6), kind="curved, threads"
    ),
    "focus line, thin threads": lambda s: field(
        s,
        focus_line,
        160,
        extra=filaments(300, 200, 5),
        flux=(8e3, 1e6),
        kind="focus line, thin threads",
    ),
    "plate": lambda s: field(
        s,
        moffat(3.2, 2.6, 30),
        500,
        flux=(3e3, 3e6),
        after=plate,
        saturation=1e9,
        kind="plate",
        know_gain=False,
    ),
    "stretch": lambda s: field(
        s,
        moffat(3.0, 3.0, 30),
        200,
        flux=(1e3, 1e6),
        after=stretch,
        kind="stretch",
        know_gain=False,
    ),
    "mosaic": lambda s: field(
        s, moffat(2.2, 3.2, 20), 180, flux=(3e3, 5e5), kind="mosaic", mosaic="GRBG"
    ),
}


def main() -> None:
    """Command line."""
    wanted = sys.argv[1:] or list(KINDS)
    rows: list[Any] = []
    for kind in wanted:
        rows.append(score([KINDS[kind](s) for s in (11, 12)]))
        print(report(rows[-1:], head=len(rows) == 1), flush=True)


if __name__ == "__main__":
    main()

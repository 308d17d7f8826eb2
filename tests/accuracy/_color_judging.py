"""The judging population of color focus: other telescopes, cameras, stars, lamps and faults than `_spectra` draws.

Shares no code with the engine, nor with `_spectra`, on which the measurement was tuned. A color's image is the squared
Hankel transform of a round pupil, blurred by von Karman's seeing with an outer scale, by guiding and by the
spectrograph's own blur, all in the Fourier plane. Everything about a draw follows from its seed.
"""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
from scipy import fft, special

ARCSEC = 206264.806
C2 = 1.438776877e7  # second radiation constant, nm K (CODATA 2018)
KINDS = ("mirror", "apochromat", "ED doublet", "achromat", "long-violet lens")
CAMERAS = (2.9, 3.76, 4.63, 6.45)  # pixel pitch, um


@dataclasses.dataclass(frozen=True)
class Setup:
    """A telescope, spectrograph, camera, star and night; lengths in um unless the name says otherwise."""

    kind: str
    focal_mm: float
    focal_ratio: float
    obstruction: float
    curve: tuple[float, ...]  # of the focus, see `shift`
    pitch: float
    first_nm: float
    nm_per_px: float
    bend: float  # of the wavelength scale, nm at the frame's end
    width: int
    blur_fwhm: float  # of the spectrograph
    guiding: float  # arcsec, standard deviation
    seeing: float  # arcsec at 550 nm
    outer_scale: float  # m
    kelvin: float
    balmer: float
    metal: float
    blue_end: float  # nm, where the optics stop passing light
    electrons: float
    second_order: float
    slit: bool
    seed: int

    @property
    def wave(self) -> np.ndarray:
        """Wavelength of each column, nm in air."""
        return self.wave_at(np.arange(self.width))

    def wave_at(self, column: np.ndarray) -> np.ndarray:
        """Wavelength at fractional columns."""
        x = np.asarray(column, float)
        return self.first_nm + self.nm_per_px * x + self.bend * (x / self.width) ** 2

    def shift(self, nm: np.ndarray) -> np.ndarray:
        """Focus against that of 550 nm, um; positive = farther from the objective."""
        d = hartmann(np.asarray(nm, float))
        # Powers of the dispersion: two lenses leave a parabola in it, a real glass pair a cubic beside it.
        return sum(c * d ** (k + 1) for k, c in enumerate(self.curve))

    @property
    def depth(self) -> float:
        """Depth of focus to one side at 550 nm, 2 lambda N^2."""
        return 2 * 0.55 * self.focal_ratio**2

    @property
    def reach(self) -> float:
        """Half length of a focus run."""
        w = np.linspace(400, 700, 61)
        return float(max(0.45 * np.ptp(self.shift(w)), 6 * self.depth))


def hartmann(nm: np.ndarray) -> np.ndarray:
    """Hartmann's dispersion variable: 0 at 550 nm, 1 at 400, about -0.5 at 700."""
    h = 1 / (np.asarray(nm, float) - 210.0)
    return (h - 1 / 340.0) / (1 / 190.0 - 1 / 340.0)


def drawn_setup(kind: str, seed: int) -> Setup:
    """A setup of a kind of telescope."""
    r = np.random.default_rng([7411, KINDS.index(kind), seed])
    n = {"mirror": (4, 6), "apochromat": (5.5, 8), "ED doublet": (6, 9), "achromat": (8, 12)}
    ratio = float(r.uniform(*n.get(kind, (6, 9))))
    focal = float(r.uniform(400, 1100))
    part = focal * r.uniform(0.7, 1.4)  # size of the curve goes with the focal length
    tilt, cubic, quartic = r.normal(0, 1, 3)
    curve = {
        "mirror": (0.0,),
        "apochromat": (0.03 * part * tilt, 0.02 * part * cubic, 0.10 * part, 0.02 * part * quartic),
        "ED doublet": (-0.18 * part, 0.95 * part, 0.15 * part * (1 + 0.3 * cubic)),
        "achromat": (-0.7 * part, 3.2 * part, 0.5 * part * (1 + 0.3 * cubic)),
        "long-violet lens": (0.1 * part * tilt, 0.1 * part, 0.0, 0.7 * part),
    }[kind]
    pitch = float(r.choice(CAMERAS))
    # A spectrum from about 385 to 760 nm.
    width = int(np.clip(r.uniform(3000, 5000) / pitch, 500, 1100))
    span = r.uniform(380, 470)
    return Setup(
        kind=kind,
        focal_mm=focal,
        focal_ratio=ratio,
        obstruction=float(r.uniform(0.2, 0.38)) if kind == "mirror" else 0.0,
        curve=tuple(float(c) for c in curve),
        pitch=pitch,
        first_nm=float(r.uniform(365, 392)),
        nm_per_px=span / width,
        bend=float(r.normal(0, 6)),
        width=width,
        blur_fwhm=float(r.uniform(0, 15)),
        guiding=float(r.uniform(0, 0.5)),
        seeing=float(r.uniform(1.5, 3.8)),
        outer_scale=float(np.exp(r.uniform(np.log(8), np.log(60)))),
        kelvin=float(r.uniform(6600, 11500)),
        balmer=float(r.uniform(0.35, 0.75)),
        metal=float(r.uniform(0, 0.15)),
        blue_end=float(r.uniform(350, 375)),
        electrons=float(10 ** r.uniform(6.5, 7.4)),
        second_order=0.0,
        slit=bool(r.random() < 0.25),
        seed=seed,
    )


def photons(setup: Setup, nm: np.ndarray) -> np.ndarray:
    """Detected photons per nm: black body, Balmer lines with wide wings, metal lines, air, optics and silicon."""
    w = np.asarray(nm, float)
    flux = (550 / w) ** 4 * np.expm1(C2 / (550 * setup.kelvin)) / np.expm1(C2 / (w * setup.kelvin))
    for line, share in (
        (656.28, 0.85),
        (486.13, 1.0),
        (434.05, 1.05),
        (410.17, 1.05),
        (397.01, 1.0),
        (388.9, 0.95),
        (383.5, 0.85),
        (379.8, 0.7),
        (377.1, 0.6),
    ):
        d = np.abs(w - line)
        depth = np.clip(setup.balmer * share, 0, 0.85)
        flux = flux * (
            1 - depth * (0.55 * np.exp(-0.5 * (d / 1.1) ** 2) + 0.45 / (1 + (d / 2.2) ** 2))
        )
    r = np.random.default_rng([911, setup.seed])
    for _ in range(60):  # metal lines, crowded in the violet as in an F star
        at, deep = 390 + 250 * r.random() ** 2, setup.metal * r.random()
        flux = flux * (1 - deep * np.exp(-0.5 * ((w - at) / 0.25) ** 2))
    for head, tail, deep in ((759.4, 5.5, 0.75), (686.7, 4.0, 0.35), (627.7, 3.0, 0.07)):  # O2
        flux = flux * np.where(w > head, 1 - deep * np.exp(-np.clip(w - head, 0, None) / tail), 1)
    flux = flux * (1 - 0.25 * np.exp(-0.5 * ((w - 722) / 5) ** 2))  # water
    flux = flux * 10 ** (-0.4 * 1.2 * 0.12 * (550 / w) ** 4)  # Rayleigh scattering
    silicon = np.interp(
        w, [340, 400, 480, 560, 650, 750, 850, 1000], [30, 62, 86, 88, 78, 55, 32, 5]
    )
    return flux * silicon / 100 / (1 + np.exp(-(w - setup.blue_end) / 4))


@functools.lru_cache(maxsize=3000)
def _amplitude(obstruction: float, waves: float) -> tuple[np.ndarray, np.ndarray]:
    """Image of a round pupil with `waves` of defocus at its edge, on radii in units of lambda N."""
    edge = 8 * abs(waves) + 12
    radius = np.linspace(0, edge, int(8 * edge) + 1)
    nodes, weight = np.polynomial.legendre.leggauss(int(60 + 12 * abs(waves)))
    rho = 0.5 * (1 - obstruction) * (nodes + 1) + obstruction
    weight = weight * rho * np.exp(2j * np.pi * waves * rho**2)
    field = special.j0(np.pi * radius[:, None] * rho[None, :]) @ weight
    return radius, np.abs(field) ** 2


def _transfer(setup: Setup, nm: float, defocus: float, step: float, size: int) -> np.ndarray:
    """Half Fourier transform of one color's image on size x size points; 1 at zero frequency."""
    lam_n = nm * 1e-3 * setup.focal_ratio
    waves = defocus / (8 * setup.focal_ratio * lam_n)
    radius, image = _amplitude(setup.obstruction, round(waves, 3))
    # A finer grid first, for the diffraction image is sharper than a pixel.
    fine = 2
    x = (np.arange(size * fine) - size * fine // 2) * step / fine / lam_n
    r = np.hypot(x[:, None], x[None, :])
    spot = np.interp(r, radius, image, right=0.0).astype(np.float32)
    whole = fft.rfft2(fft.ifftshift(spot)).real
    rows = np.r_[0 : size // 2, size * fine - size // 2 : size * fine]
    optics = whole[rows, : size // 2 + 1] / whole[0, 0]
    f = np.hypot(*np.meshgrid(fft.rfftfreq(size, step), fft.fftfreq(size, step)))  # 1/um
    # von Karman (Conan 2000; Tokovinin 2002): separation in the pupil that belongs to the frequency, m.
    apart = f * nm * 1e-9 * setup.focal_mm * 1e3
    fried = 0.975863 * 550e-9 / (setup.seeing / ARCSEC) * (nm / 550) ** 1.2
    ratio = apart / setup.outer_scale
    structure = 6.883877 * (apart / fried) ** (5 / 3)
    structure = structure * np.clip(1 - 1.485 * np.cbrt(ratio) + 5.383 * ratio**2, 0.05, 1)
    sigma2 = (setup.blur_fwhm / 2.354820) ** 2 + (
        setup.guiding / ARCSEC * setup.focal_mm * 1e3
    ) ** 2
    return (optics * np.exp(-0.5 * structure - 2 * np.pi**2 * sigma2 * f**2)).astype(np.float32)


def light(setup: Setup, sensor: float, *, height: int | None = None) -> np.ndarray:
    """Electrons of a star's spectrum with the sensor at a place (zero = focus of 550 nm), without sky and noise."""
    fine = 2
    # Between two nodes an image is their mean: so many that focus changes by less than half a depth from one to the next.
    ends = setup.shift(np.clip(setup.wave, 385, 760))
    steepest = float(np.max(np.abs(np.diff(ends)))) * setup.width
    nodes = int(np.clip(steepest / (0.5 * setup.depth), 80, 300))
    w = np.linspace(390, 750, 37)
    widest = float(np.max(np.abs(sensor - setup.shift(w)))) / setup.focal_ratio / setup.pitch
    size = 256 if widest < 70 else 512
    height = height or int(min(100 + 1.6 * widest, 240))
    columns = setup.width * fine
    x = (np.arange(columns) + 0.5) / fine - 0.5
    wave = setup.wave_at(x)
    spectrum = photons(setup, wave)
    inside = spectrum.sum()
    orders = [(1, spectrum)]
    if setup.second_order > 0:
        orders.append((2, 0.5 * setup.second_order * photons(setup, wave / 2)))
    rng = np.random.default_rng([31, setup.seed])
    tilt, bow = rng.uniform(-6, 6), rng.uniform(-1.5, 1.5)
    trace = tilt * (x / setup.width - 0.5) + bow * (2 * x / setup.width - 1) ** 2
    canvas = np.zeros((height * fine, columns + size), np.float64)
    at = np.linspace(0, columns - 1, nodes)
    fy = fft.fftfreq(size)[:, None]
    for node in range(nodes):
        lo = int(np.ceil(at[max(node - 1, 0)]))
        hi = int(np.floor(at[min(node + 1, nodes - 1)])) + 1
        share = np.clip(1 - np.abs(np.arange(lo, hi) - at[node]) / (at[1] - at[0]), 0, 1)
        for order, flux in orders:
            nm = float(np.interp(at[node], np.arange(columns), wave)) / order
            defocus = sensor - float(setup.shift(np.array([max(nm, 340.0)]))[0])
            transfer = _transfer(setup, nm, defocus, setup.pitch / fine, size)
            middle = (
                height * fine / 2 + float(np.interp(at[node], np.arange(columns), trace)) * fine
            )
            whole = int(np.floor(middle))
            transfer = transfer * np.exp(-2j * np.pi * fy * (middle - whole))
            part = flux[lo:hi] * share
            top = whole - size // 2
            a, b = max(top, 0), min(top + size, height * fine)
            if setup.slit:
                profile = fft.fftshift(fft.ifft(transfer[:, 0]).real)
                canvas[a:b, size // 2 + lo : size // 2 + hi] += np.outer(
                    profile[a - top : b - top], part
                )
                continue
            image = fft.fftshift(fft.irfft2(transfer, s=(size, size)))[a - top : b - top]
            length = fft.next_fast_len(size + part.size - 1, real=True)
            spread = fft.irfft(fft.rfft(image, length) * fft.rfft(part, length), length)
            canvas[a:b, lo : lo + size + part.size - 1] += spread[:, : size + part.size - 1]
    canvas = canvas[:, size // 2 : size // 2 + columns]
    frame = canvas.reshape(height, fine, setup.width, fine).sum(axis=(1, 3))
    return np.clip(frame, 0, None) * setup.electrons / inside


def expose(electrons: np.ndarray, seed: int) -> np.ndarray:
    """A frame in adu (1 electron each): sky, photon and read noise, cosmic rays, a bias of 500."""
    r = np.random.default_rng([271, seed])
    image = r.poisson(electrons + r.uniform(10, 120)).astype(float) + r.normal(
        0, 3.5, electrons.shape
    )
    for _ in range(int(r.integers(3, 20))):
        y, x = r.integers(0, image.shape[0]), r.integers(0, image.shape[1])
        image[y : y + int(r.integers(1, 3)), x : x + int(r.integers(1, 6))] += r.uniform(200, 6000)
    return (image + 500).astype(np.float32)


# Lines in air, nm, with rough relative strengths of a discharge lamp. Wavelengths: NIST ASD, as IRAF's and other
# open lists print them; strengths from memory of the NIST handbook's tables, one significant digit.
LAMPS = {
    "Ne": "533.0778:6 534.1094:10 540.0562:20 576.4419:7 582.0156:5 585.2488:20 588.1895:10 590.2462:0.6"
    " 594.4834:5 596.5471:5 597.4627:5 597.5534:6 598.7907:1.5 602.9997:10 607.4338:10 609.6163:3 612.8450:1"
    " 614.3063:10 616.3594:10 618.2146:1.5 621.7281:10 626.6495:10 630.4789:1 633.4428:10 638.2991:10"
    " 640.2248:20 650.6528:15 653.2882:3 659.8953:10 667.8277:5 671.7043:3 692.9467:10 702.4050:3 703.2413:8"
    " 705.9107:1 717.3938:2 724.5167:8 743.8899:3 748.8871:3 753.5774:3 754.4044:1.3",
    "Ar": "404.4418:0.5 415.8591:4 416.4180:0.5 418.1884:0.5 419.0713:1 419.1029:0.5 419.8317:2 420.0674:4"
    " 425.1185:0.25 425.9362:2 426.6286:1 427.2169:1.5 430.0101:1 433.3561:1 433.5338:0.5 434.5168:0.25"
    " 451.0733:1 452.2323:0.15 459.6097:0.15 470.2316:0.15 549.5874:0.25 555.8702:0.35 560.6733:0.35"
    " 591.2085:0.5 603.2127:0.7 604.3223:0.35 641.6307:0.7 667.7282:1 675.2834:1.5 687.1289:1.5 693.7664:0.5"
    " 696.5431:10 703.0251:1.5 706.7218:10 706.8736:1 714.7042:3 720.6980:0.7 727.2936:5 735.3293:0.7"
    " 737.2118:2 738.3980:10 750.3869:20 751.4652:15 763.5106:25 772.3761:15 772.4207:10",
    "Hg": "365.0153:6 365.4836:2 366.3279:1.5 404.6563:4 407.7831:1 434.7494:1 435.8328:10 546.0735:12"
    " 576.9598:3 579.0663:3",
    "He": "388.8648:5 396.4729:0.2 402.6191:0.5 412.0810:0.12 438.7929:0.1 447.1479:2 471.3146:0.3"
    " 492.1931:0.2 501.5678:1 504.7738:0.1 587.5621:5 667.8151:1 706.5190:2 728.1349:0.5",
    "Kr": "427.3969:10 428.2967:1 431.9579:10 436.2642:5 437.6122:8 439.9965:2 445.3917:6 446.3690:8 450.2354:6"
    " 556.2225:5 557.0289:20 564.9562:1 583.2855:1 587.0916:30 645.6288:2 722.4104:1 728.7258:0.8 758.7411:10"
    " 760.1544:20",
}


def lamp(setup: Setup, gases: tuple[str, ...], seed: int) -> np.ndarray:
    """Counts of a lamp in each column: every line drawn with its strength, times a factor of up to 1.6 (lamps differ)."""
    r = np.random.default_rng([577, seed])
    fine = 10
    x = (np.arange(setup.width * fine) + 0.5) / fine - 0.5
    wave = setup.wave_at(x)
    slit = r.uniform(8, 30) / setup.pitch  # its image, columns
    sigma = float(np.hypot(setup.blur_fwhm, 6) / 2.354820 / setup.pitch)
    total = np.zeros(setup.width)
    for gas in gases:
        gain = np.exp(r.normal(0, 0.3))
        for entry in LAMPS[gas].split():
            nm, strength = (float(v) for v in entry.split(":"))
            if not wave[0] < nm < wave[-1]:
                continue
            at = float(np.interp(nm, wave, x))
            edges = np.arange(setup.width + 1) - 0.5 - at
            # A box blurred by a Gaussian, integrated over each pixel.
            response = float(
                photons(dataclasses.replace(setup, balmer=0, metal=0), np.array([nm]))[0]
            )
            size = gain * strength * np.exp(r.normal(0, 0.25)) * (0.1 + response)

            def below(e: np.ndarray) -> np.ndarray:
                def area(t: np.ndarray) -> np.ndarray:
                    z = t / sigma
                    return t * special.ndtr(z) + sigma * np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi)

                return (area(e + slit / 2) - area(e - slit / 2)) / slit

            total += size * np.diff(below(edges))
    scale = 10 ** r.uniform(4.3, 5.5) / total.max()
    counts = total * scale + r.uniform(20, 200)
    return r.poisson(counts) + r.normal(0, 8, setup.width)

"""Edge spread, MTF and glare on drawn edges with known truth; makes the section of docs/accuracy.md.

    python tests/accuracy/edge_contrast.py 60 7000 --write

Scenes are drawn here in two dimensions on three times as many points as pixels and imaged by NumPy's Fourier
transform through pupils with random aberrations; the engine's own drawing has no part in it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u
from numpy.typing import NDArray
from scipy import fft, interpolate, ndimage

import starassay
from _write import write_from_command_line

Array = NDArray[np.float64]
KINDS = ("line", "limb", "patch")
SIDE, MARGIN, FINER = 288, 24, 3
SMOOTH = 0.0125 * np.arange(81)


def transfer(rng: np.random.Generator, optics: dict[str, float]) -> Array:
    """Complex transfer function of pupil, air and pixel on the grid of the fine image's transform.

    Parameters
    ----------
    rng : Generator
        For the aberrations.
    optics : dict
        aperture and focal (mm), hole, wavelength (um), pitch (um), seeing (arcsec), rms (um).
    """
    n = (SIDE + 2 * MARGIN) * FINER
    ratio = optics["focal"] / optics["aperture"]
    # A point of the pupil is lambda N / (fine pitch x n) of its diameter.
    step = optics["wavelength"] * ratio * FINER / (optics["pitch"] * n)
    at = 2 * step * (np.arange(n) - n // 2)
    x, y = np.meshgrid(at, at)
    r2 = x**2 + y**2
    inside = (r2 <= 1) & (r2 >= optics["hole"] ** 2)
    terms = np.array(
        [
            np.sqrt(3) * (2 * r2 - 1),
            np.sqrt(6) * (x**2 - y**2),
            np.sqrt(6) * 2 * x * y,
            np.sqrt(8) * (3 * r2 - 2) * x,
            np.sqrt(8) * (3 * r2 - 2) * y,
            np.sqrt(5) * (6 * r2**2 - 6 * r2 + 1),
        ]
    )[:, inside]
    weight = rng.normal(size=len(terms))
    weight *= optics["rms"] / np.sqrt(np.sum(weight**2))
    pupil = np.zeros((n, n), np.complex64)
    pupil[inside] = np.exp(2j * np.pi * (weight @ terms) / optics["wavelength"])
    spread = np.abs(fft.fft2(fft.ifftshift(pupil))) ** 2
    whole = fft.fft2(spread) / spread.sum()
    f = fft.fftfreq(n) * FINER  # cycles a pixel
    fx, fy = np.meshgrid(f, f)
    radian = np.hypot(fx, fy) * optics["focal"] * 1000 / optics["pitch"]  # cycles a radian
    if optics["seeing"] > 0:
        # Fried 1966: exp(-3.44 (lambda f / r0)^(5/3)), FWHM 0.976 lambda / r0.
        fried = 0.9759 * optics["wavelength"] * 1e-6 / (optics["seeing"] / 206264.806)
        whole *= np.exp(-3.44 * (optics["wavelength"] * 1e-6 * radian / fried) ** (5 / 3))
    return whole * np.sinc(fx) * np.sinc(fy)


def wander(rng: np.random.Generator, at: Array, rms: float, length: float) -> Array:
    """A smooth random curve of some RMS and correlation length.

    Parameters
    ----------
    rng : Generator
        Random numbers.
    at : ndarray
        Where.
    rms, length : float
        Its size and its scale.
    """
    low, high = at.min() - 4 * length, at.max() + 4 * length
    points = np.arange(low, high, length / 4)
    curve = ndimage.gaussian_filter1d(rng.normal(size=points.size), 4)
    return np.interp(at, points, curve * rms / curve.std())


def draw(seed: int) -> tuple[Array, dict[str, Any]]:
    """A frame and its truth.

    Parameters
    ----------
    seed : int
        Of all that is drawn; kinds take turns.
    """
    rng = np.random.default_rng(seed)
    kind = KINDS[(0, 1, 0, 1, 2)[seed % 5]]
    optics = {
        "aperture": (aperture := rng.uniform(60, 250)),
        "focal": aperture * rng.uniform(4.5, 10),
        "hole": float(rng.choice([0.0, 0.0, rng.uniform(0.15, 0.4)])),
        "wavelength": rng.uniform(0.45, 0.65),
        "pitch": rng.uniform(2.4, 6),
        "rms": rng.uniform(0, 0.08),
    }
    scale = optics["pitch"] / 1000 / optics["focal"] * 206264.806
    optics["seeing"] = rng.uniform(0.3, 3.0) if kind != "patch" else 0.0
    optics["seeing"] = min(optics["seeing"], 5 * scale)
    n = (SIDE + 2 * MARGIN) * FINER
    at = (np.arange(n) - (FINER - 1) / 2) / FINER - MARGIN
    x, y = np.meshgrid(at, at)
    middle = (SIDE - 1) / 2 + rng.uniform(-20, 20, 2)
    turn = rng.uniform(0, 2 * np.pi)
    if kind == "line":
        # Two thirds near the rows or columns, where the method is at home.
        off = np.deg2rad(rng.uniform(2, 12) if rng.random() < 0.67 else rng.uniform(14, 40))
        turn = rng.integers(4) * np.pi / 2 + rng.choice([-1, 1]) * off
    c, s = np.cos(turn), np.sin(turn)
    along = -(x - middle[0]) * s + (y - middle[1]) * c
    away = (x - middle[0]) * c + (y - middle[1]) * s
    surface, phase, radius = np.ones_like(x), np.nan, np.inf
    maria = surface
    rough = 0.0
    if kind == "limb":
        radius, phase = 10 ** rng.uniform(2.6, 3.6), rng.uniform(0, 90)
        cx, cy = middle[0] - radius * c, middle[1] - radius * s
        away, angle = np.hypot(x - cx, y - cy) - radius, np.arctan2(y - cy, x - cx)
        along = (np.remainder(angle - turn + np.pi, 2 * np.pi) - np.pi) * radius
        rough = rng.uniform(0.1, 1.2)
        away = away + wander(rng, along, rough, rng.uniform(40, 120))
        away += wander(rng, along, 0.05, 6.0)
        maria = np.exp(wander(rng, along, 0.15, 60.0) + 0.0005 * rng.normal() * away)
        surface = moon(np.maximum(-away, 0), radius, phase) * maria
    elif kind == "patch":
        radius = rng.uniform(40, 90)
        away = radius - np.hypot(x - middle[0], y - middle[1])
    else:
        maria = 1 + rng.uniform(-3e-4, 3e-4) * away + rng.uniform(-3e-4, 3e-4) * along
        surface = maria
    scene = surface * np.clip(0.5 - away * FINER, 0, 1)
    glare, reach = rng.uniform(0.005, 0.04), rng.uniform(80, 300)
    optical = transfer(rng, optics)
    if kind == "patch":
        # A two-dimensional exponential halo: its transform.
        f = fft.fftfreq(n) * FINER
        f2 = f[:, None] ** 2 + f[None, :] ** 2
        halo = (1 + (2 * np.pi * reach) ** 2 * f2) ** -1.5
        image = fft.ifft2(fft.fft2(scene) * ((1 - glare) * optical + glare * halo)).real
    else:
        image = (1 - glare) * fft.ifft2(fft.fft2(scene) * optical).real
        image += glare * np.where(
            away > 0,
            np.exp(-np.maximum(away, 0) / reach) / 2,
            1 - np.exp(np.minimum(away, 0) / reach) / 2,
        )
    pick = slice(MARGIN * FINER + FINER // 2, (MARGIN + SIDE) * FINER, FINER)
    clean, distance = image[pick, pick], away[pick, pick]
    level = 10 ** rng.uniform(3.5, 4.6)
    read = rng.uniform(1.5, 6)
    ghost = None
    if kind == "line" and seed % 3 == 0:
        far = distance > 60
        if far.sum() > 4000:
            j, i = np.argwhere(far)[rng.integers(far.sum())]
            yy, xx = np.mgrid[0:SIDE, 0:SIDE]
            size = rng.uniform(12, 30)
            brightness = 10 ** rng.uniform(-2.5, -1.7)
            clean = clean + brightness / (1 + np.exp((np.hypot(xx - i, yy - j) - size) / 2)) * (
                distance > 20
            )
            ghost = (float(i), float(j), brightness)
    pixels = rng.poisson(np.maximum(level * clean, 0)) + rng.normal(0, read, clean.shape) + 500
    f = SMOOTH
    # All round a patch the odd parts of opposite directions cancel; along the limb the normal hardly turns.
    turns = np.linspace(0, np.pi, 24, endpoint=False) if kind == "patch" else [turn]
    of = np.mean([_along(optical, t, n) for t in turns], axis=0)
    complex_mtf = (of.real if kind == "patch" else of) * np.sinc(f / FINER)
    mtf = np.abs(complex_mtf)
    near = 40.0
    ring = np.abs(distance - near) < 1.0
    # The surface at its edge, along what was used: beside the limb's own fall, the maria.
    rim = np.abs(away[pick, pick]) < 1.0
    bright = (1 - glare) * (np.mean(maria[pick, pick][rim])) + glare * 0.6
    truth = {
        "kind": kind,
        "optics": optics,
        "scale": scale,
        "mtf": mtf,
        "bright": bright,
        "phase": phase,
        "near": near * scale / 60,
        "glare": float(np.mean(clean[ring]) / bright) if ring.any() and kind != "patch" else np.nan,
        "index": np.nan,
        "ghost": ghost,
        "radius": radius,
        "rough": rough,
    }
    if kind == "patch":
        yy, xx = np.mgrid[0:SIDE, 0:SIDE]
        r = np.hypot(xx - middle[0], yy - middle[1])
        beside = (r > radius + 8) & (r < radius + 20)
        truth["index"] = float(np.mean(clean[r < 0.4 * radius]) / np.mean(clean[beside]))
    truth["width"] = edge_width(complex_mtf) if kind == "line" else np.nan
    return np.clip(np.round(pixels), 0, 65535).astype(np.uint16), truth


def _along(optical: Array, turn: float, n: int) -> Array:
    """The transfer function along a direction at `SMOOTH`."""
    at = [np.mod(SMOOTH * w * n / FINER, n) for w in (np.sin(turn), np.cos(turn))]
    real, imaginary = (
        ndimage.map_coordinates(part, at, order=1, mode="grid-wrap")
        for part in (optical.real, optical.imag)
    )
    return real + 1j * imaginary


def moon(depth: Array, radius: float, phase: float) -> Array:
    """Lommel and Seeliger's law from the limb inward, 1 at the limb; nothing beyond the terminator.

    Parameters
    ----------
    depth : ndarray
        Inside the limb.
    radius : float
        Of the disc.
    phase : float
        Phase angle, deg.
    """
    sine = 1 - np.minimum(depth / radius, 1)
    mu = np.sqrt(np.maximum(1 - sine**2, 0))
    sun = np.maximum(np.sin(np.deg2rad(phase)) * sine + np.cos(np.deg2rad(phase)) * mu, 0)
    return np.where(depth <= 0, 1.0, sun / np.maximum(sun + mu, 1e-12))


def edge_width(transfer: Array) -> float:
    """10 to 90 % width of an edge from its transfer function at `SMOOTH`, pixels; NaN where that goes on beyond them.

    Parameters
    ----------
    transfer : ndarray
        At `SMOOTH`, complex.
    """
    if abs(transfer[-1]) > 0.01:
        return np.nan
    fine = np.linspace(0, SMOOTH[-1], 4001)[1:]
    values = interpolate.CubicSpline(SMOOTH, transfer)(fine)
    s = np.linspace(-40, 40, 3201)
    wave = np.exp(2j * np.pi * np.outer(s, fine))
    edge = 0.5 - np.trapz((values * wave).imag / (np.pi * fine), fine)
    inside = slice(np.argmax(edge < 0.9), np.argmax(edge < 0.1) + 1)
    return float(
        np.interp(-0.1, -edge[inside], s[inside]) - np.interp(-0.9, -edge[inside], s[inside])
    )


def measure(pixels: Array, truth: dict[str, Any], seed: int, **how: Any) -> starassay.EdgeContrast:
    """One frame as a user would measure it.

    Parameters
    ----------
    pixels, truth : ndarray, dict
        What `draw` gives.
    seed : int
        For how well the phase is known.
    **how
        Further options.
    """
    optics = truth["optics"]
    if truth["kind"] == "limb":
        off = np.random.default_rng(seed + 1).normal(0, 2)
        how = {"subject": "moon", "phase_angle": max(0.0, truth["phase"] + off) * u.deg, **how}
    return starassay.measure_edge_contrast(
        starassay.read_frame(pixels, pitch=optics["pitch"] * u.um, name=f"edge {seed}"),
        focal_length=optics["focal"] * u.mm,
        aperture=optics["aperture"] * u.mm,
        obstruction=optics["hole"],
        wavelength=optics["wavelength"] * u.um,
        bias_level="500 adu",
        glare_distance=truth["near"] * u.arcmin,
        threads=1,
        **how,
    )


def run(fields: int, seed: int) -> list[dict[str, Any]]:
    """Errors and bars, a row a frame.

    Parameters
    ----------
    fields, seed : int
        How many, and the first seed.
    """
    rows = []
    for k in range(seed, seed + fields):
        pixels, truth = draw(k)
        try:
            found = measure(pixels, truth, k)
        except starassay.CannotMeasureError as refused:
            rows.append({"kind": truth["kind"], "refused": str(refused)})
            continue
        row: dict[str, Any] = {"kind": truth["kind"], "refused": "", "doubts": len(found.doubts)}
        row["mtf"] = found.mtf - truth["mtf"]
        row["bars"] = found.mtf_uncertainty
        # "Pixels" are exact here: what the scale's own uncertainty adds is taken off.
        for name, value, true, common in (
            ("width", found.width.value / (truth["optics"]["pitch"] * u.um), truth["width"], 1e-3),
            ("glare", found.edge_glare.value, truth["glare"], 0.0),
            ("index", found.glare_index.value, truth["index"], 0.0),
        ):
            of = {"width": found.width, "glare": found.edge_glare, "index": found.glare_index}[name]
            share = float(of.uncertainty / of.value) if np.isfinite(of.value) else np.nan
            row[name] = float(u.Quantity(value).to_value(u.one)) / true - 1
            row[f"{name}_bar"] = np.sqrt(max(share**2 - common**2, 0))
        row["ghost"] = truth["ghost"] is not None
        row["seen"] = truth["ghost"] is not None and any(
            np.hypot(g.x.value - truth["ghost"][0], g.y.value - truth["ghost"][1]) < 20
            for g in found.ghosts
        )
        # The transform brings light from the opposite side to the frame's edges: what lies there is no error of the measurement.
        inner = [
            g for g in found.ghosts if 40 < g.x.value < SIDE - 40 and 40 < g.y.value < SIDE - 40
        ]
        row["false"] = len(inner) if not row["ghost"] else max(len(inner) - 1, 0)
        row["truth"] = truth
        rows.append(row)
    return rows


def held(rows: list[dict[str, Any]], error: list[Array], bars: list[Array]) -> str:
    """The share of errors within their bars, and its scatter by the number of frames."""
    share = float(np.mean(np.abs(np.concatenate(error)) < np.concatenate(bars)))
    return f"{100 * share:.0f} ± {100 * np.sqrt(share * (1 - share) / max(len(rows), 1)):.0f} %"


def section(rows: list[dict[str, Any]], fields: int, seed: int) -> str:
    """The part of docs/accuracy.md, bars included.

    Parameters
    ----------
    rows : list of dict
        What `run` gives.
    fields, seed : int
        How many, and the first seed.
    """
    lines = [
        "## Edge contrast",
        "",
        f"`python tests/accuracy/edge_contrast.py {fields} {seed} --write`. {fields} frames of {SIDE} x {SIDE} pixels imaged by that program in two dimensions,",
        "with NumPy's transform on three times as many points: f/4.5 to f/10, 60 to 250 mm, half of them obstructed, aberrations up to 80 nm RMS, pixels of 2.4 to",
        "6 um, seeing of 0.3 to 3 arcsec (not taken out), glare of 0.5 to 4 % in a halo, 3000 to 40000 electrons. Lines stand 2 to 40 degrees off rows or columns and",
        "slope in brightness; limbs have the Moon's brightness at phases of 0 to 90 degrees, known to 2, maria, and relief of 0.1 to 1.2 pixels; patches are black and",
        "round. Tuned on seeds 1 to 60; these are others. The Nyquist frequency is 0.5.",
        "",
        "| quantity | kind | median error | 95 % of errors within | bar | 68 % intervals hold (62 to 74) |",
        "|---|---|---|---|---|---|",
    ]
    short = []
    served = [r for r in rows if not r["refused"]]
    for kind in KINDS:
        used = [r for r in served if r["kind"] == kind]
        for label, points in (
            ("up to 1/4 Nyquist", (4, 7, 10)),
            ("to 1/2 Nyquist", (13, 16, 20)),
            ("to Nyquist", (25, 32, 40)),
        ):
            error = [r["mtf"][list(points)] for r in used]
            far = float(np.percentile(np.abs(np.concatenate(error)), 95))
            share = held(used, error, [r["bars"][list(points)] for r in used])
            bar = "0.02" if "to Nyquist" not in label else ""
            lines.append(
                f"| MTF {label} | {kind} | {np.median(np.concatenate(error)):+.4f} | {far:.4f} | {bar} | {share} |"
            )
            if bar and far > 0.02:
                short.append(f"- MTF {label}, {kind}: {far:.3f} at 95 %")
            if not 62 <= float(share.split()[0]) <= 74:
                short.append(f"- MTF {label}, {kind}: intervals hold {share}")
    for name, label, kind, bar in (
        ("width", "10 to 90 % width, %", "line", 3.0),
        ("glare", "glare beside an edge, %", "line", 10.0),
        ("glare", "glare beside an edge, %", "limb", 10.0),
        ("index", "veiling glare index, %", "patch", 10.0),
    ):
        used = [
            r
            for r in served
            if r["kind"] == kind and np.isfinite(r[name]) and np.isfinite(r[f"{name}_bar"])
        ]
        error = np.array([r[name] for r in used])
        far = 100 * float(np.percentile(np.abs(error), 95))
        share = held(used, [error], [np.array([r[f"{name}_bar"] for r in used])])
        lines.append(
            f"| {label} | {kind} | {100 * np.median(error):+.2f} | {far:.2f} | {bar:g} | {share} |"
        )
        if far > bar:
            short.append(f"- {label}, {kind}: {far:.1f} at 95 %")
        if not 62 <= float(share.split()[0]) <= 74:
            short.append(f"- {label}, {kind}: intervals hold {share}")
    drawn = [r for r in served if r["ghost"]]
    lines += [
        "",
        f"Ghosts of 0.3 to 2 % of the bright side and 12 to 30 pixels radius: {sum(r['seen'] for r in drawn)} of {len(drawn)} were found; "
        f"{sum(r['false'] for r in served)} patches were called one in {len(served)} frames where there was none (farther than 40 pixels from the frame's edges, where the drawing's transform wraps). Refused: {len(rows) - len(served)}. With a doubt: "
        f"{sum(r['doubts'] > 0 for r in served)}.",
        "",
        *(["Falls short of the bars:", "", *short] if short else ["Every bar is reached."]),
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    write_from_command_line("edge-contrast", __doc__, run, section, fields=60, seed=7000)

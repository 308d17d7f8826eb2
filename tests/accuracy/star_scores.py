"""Scores star tables against drawn truth: stars lost, flagged without reason, errors over bars."""

from __future__ import annotations

import dataclasses
import time

import numpy as np
from astropy import units as u
from scipy.spatial import cKDTree

from starassay import StarField, measure_stars, read_frame
from starassay.errors import StarAssayError

HIT, LARGE = 8, 16


@dataclasses.dataclass
class Scene:
    """A drawn frame and what is in it; stars' images stand on a finer grid, each with light 1."""

    kind: str
    image: np.ndarray
    x: np.ndarray
    y: np.ndarray
    flux: np.ndarray
    kernels: list[np.ndarray]
    over: int
    noise: np.ndarray
    gain: float
    true_gain: float
    saturation: float
    mosaic: str = ""


@dataclasses.dataclass
class Row:
    """Sums over the fields of one kind."""

    kind: str
    stars: int = 0
    lost: int = 0
    flagged: int = 0
    clean: int = 0
    clean_possible: int = 0
    false_clean: int = 0
    pulls: list[np.ndarray] = dataclasses.field(default_factory=list)
    errors: list[np.ndarray] = dataclasses.field(default_factory=list)
    centers: list[np.ndarray] = dataclasses.field(default_factory=list)
    center_errors: list[np.ndarray] = dataclasses.field(default_factory=list)
    median_pulls: list[float] = dataclasses.field(default_factory=list)
    hits: int = 0
    notes: set[str] = dataclasses.field(default_factory=set)
    outer: float = np.nan
    seconds: float = 0.0


def through_mosaic(light: np.ndarray, pattern: str) -> np.ndarray:
    """What pixels behind filters of that pattern get of white light: green all, red 0.55, blue 0.4."""
    if not pattern:
        return light
    share = {"G": 1.0, "R": 0.55, "B": 0.4}
    filtered = light.copy()
    for k, color in enumerate(pattern):
        filtered[k // 2 :: 2, k % 2 :: 2] *= share[color]
    return filtered


def half_radius(kernel: np.ndarray, over: int, radius: float = np.inf) -> float:
    """Half-flux radius of a drawn star within a circle round the middle, pixels."""
    n = kernel.shape[0]
    t = (np.arange(n) - (n - 1) / 2) / over
    r = np.hypot(t[None, :], t[:, None]).ravel()

    def inside(at: float) -> float:
        # A square on the rim counts by how far its middle lies within.
        return float(kernel.ravel() @ np.clip((at - r) * over + 0.5, 0, 1))

    half = 0.5 * inside(min(radius, r.max()))
    low, high = 0.0, float(min(radius, r.max()))
    for _ in range(25):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if inside(middle) < half else (low, middle)
    return 0.5 * (low + high)


def centroid(kernel: np.ndarray, over: int) -> tuple[float, float]:
    """Center of light of a drawn star."""
    n = kernel.shape[0]
    t = (np.arange(n) - (n - 1) / 2) / over
    return float((kernel.sum(0) * t).sum()), float((kernel.sum(1) * t).sum())


def measured(scene: Scene) -> StarField:
    """The frame through the public door."""
    more = {} if np.isnan(scene.gain) else {"gain": scene.gain * u.electron / u.adu}
    if scene.mosaic:
        more["bayer"] = scene.mosaic
    if scene.saturation < 1e8:
        more["saturation"] = scene.saturation * u.adu
    frame = read_frame(scene.image, name=scene.kind, **more)
    return measure_stars(frame)


def score(scenes: list[Scene]) -> Row:
    """Measure and compare."""
    row = Row(scenes[0].kind)
    for scene in scenes:
        start = time.perf_counter()
        try:
            field = measured(scene)
        except StarAssayError as error:
            print("  ", scene.kind, type(error).__name__, str(error)[:200])
            row.stars += len(scene.x)
            row.lost += len(scene.x)
            continue
        row.seconds += time.perf_counter() - start
        _compare(scene, field, row)
    return row


def _compare(scene: Scene, field: StarField, row: Row) -> None:
    c = field.columns
    row.outer = float(field.outer_radius.value)
    row.notes |= {n.code.removeprefix("stars.") for n in field.notes if n.code.startswith("stars.")}
    h, w = scene.image.shape
    own: dict[int, tuple[float, float, float, float]] = {}
    facts = []
    for k in scene.kernels:
        if id(k) not in own:
            own[id(k)] = (
                half_radius(k, scene.over),
                half_radius(k, scene.over, row.outer),
                *centroid(k, scene.over),
            )
        facts.append(own[id(k)])
    hfr, truth, cx, cy = np.array(facts).T
    x, y = scene.x, scene.y
    ix, iy = np.clip(np.round(x).astype(int), 0, w - 1), np.clip(np.round(y).astype(int), 0, h - 1)
    area = np.pi * (2 * hfr) ** 2 * (2 if scene.mosaic else 1)
    light = 0.85 * scene.flux
    snr = light / np.sqrt(
        light * (2 if scene.mosaic else 1) / scene.true_gain + area * scene.noise[iy, ix] ** 2
    )
    # A star beside a brighter one within about its own width has no peak of its own.
    tree = cKDTree(np.c_[x, y])
    hidden = np.zeros(len(x), bool)
    isolated = np.ones(len(x), bool)
    for i, near in enumerate(
        tree.query_ball_point(np.c_[x, y], 2 * np.maximum(row.outer, 4 * hfr) + 4)
    ):
        for j in near:
            if j == i:
                continue
            d = np.hypot(x[i] - x[j], y[i] - y[j])
            ratio = scene.flux[j] / scene.flux[i]
            # Light of the other at the own place, for wings that fall with the cube.
            if ratio > 0.02 * (1 + (d / max(hfr[i], 1e-3)) ** 3):
                isolated[i] = False
            if d < 2.2 * hfr[i] * (1 + np.log10(max(1.0, ratio))) and ratio > 0.4:
                hidden[i] = True
            if ratio > 0.05 * (1 + (d / hfr[j]) ** 3):
                hidden[i] = True
    inside = (x > 2) & (y > 2) & (x < w - 3) & (y < h - 3)
    want = (snr > 20) & inside & ~hidden
    if len(c["x"]) == 0:
        row.stars += int(want.sum())
        row.lost += int(want.sum())
        return
    found = cKDTree(np.c_[c["x"], c["y"]])
    reach = np.maximum(1.5, 0.6 * hfr)
    d, j = found.query(np.c_[x + cx, y + cy])
    seen = d < reach
    row.stars += int(want.sum())
    row.lost += int((want & ~seen).sum())
    flags = c["flags"][j]
    row.flagged += int((want & seen & ((flags & (HIT | LARGE)) != 0) & isolated).sum())
    clean = np.asarray(field.is_clean)
    row.clean += int(clean.sum())
    row.clean_possible += int((want & isolated).sum())
    d_star, _ = tree.query(np.c_[c["x"], c["y"]])
    far = d_star > 1.5 + 1.5 * np.median(hfr)
    row.false_clean += int((clean & far).sum())
    row.hits += int(((c["flags"] & HIT) != 0).sum())
    good = want & seen & clean[j] & isolated
    if good.any():
        g = j[good]
        error = c["hfr"][g] - truth[good]
        row.errors.append(error / truth[good])
        row.pulls.append(error / c["hfr_uncertainty"][g])
        ex = c["x"][g] - (x + cx)[good]
        row.centers.append(ex / c["x_uncertainty"][g])
        row.center_errors.append(ex)
        if np.ptp(truth) < 1e-6:
            row.median_pulls.append(
                (_plain(field.median_hfr.value) - truth[0]) / _plain(field.median_hfr.uncertainty)
            )


def robust(values: np.ndarray) -> float:
    """Standard deviation from the median absolute deviation."""
    return float(1.4826 * np.median(np.abs(values - np.median(values)))) if len(values) else np.nan


def report(rows: list[Row], head: bool = True) -> str:
    """A table."""
    lines = []
    if head:
        lines += [
            "| kind | stars of SNR > 20 | lost | falsely flagged | clean (possible) | false clean | outer | HFR bias, scatter % "
            "| HFR within bar | HFR pull rms | center pull | notes |",
            "|---|---|---|---|---|---|---|---|---|---|---|---|",
        ]
    for r in rows:
        p = np.concatenate(r.pulls) if r.pulls else np.array([])
        e = np.concatenate(r.errors) if r.errors else np.array([])
        q = np.concatenate(r.centers) if r.centers else np.array([])
        lines.append(
            f"| {r.kind} | {r.stars} | {r.lost} | {r.flagged} | {r.clean} ({r.clean_possible}) | {r.false_clean} | {r.outer:.0f} "
            f"| {100 * np.median(e) if len(e) else np.nan:+.2f}, {100 * robust(e):.2f} "
            f"| {100 * np.mean(np.abs(p) < 1) if len(p) else np.nan:.0f} % | {robust(p):.2f} | {robust(q):.2f} "
            f"| {', '.join(sorted(r.notes - {'saturation-unknown', 'cosmic-rays', 'saturated'}))} |"
        )
    return "\n".join(lines)


def _plain(value: object) -> float:
    return float(getattr(value, "value", value))

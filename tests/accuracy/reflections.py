"""Circles in drawn photos of reflections with known truth; makes the section of docs/accuracy.md.

    python tests/accuracy/reflections.py 180 70000 --write

Photos are drawn here by NumPy through a pinhole with distortion: circles in planes in space, blurred by a disc (SciPy), uneven
light, noise, sRGB and JPEG (Pillow); the engine has no part in it.
"""

from __future__ import annotations

from io import BytesIO
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal
from scipy.spatial.transform import Rotation

import starassay
from _write import write_from_command_line

Array = NDArray[np.float64]
#: Kind -> what is in it, for the table.
KINDS = {
    "linear": "16 bits, camera known",
    "jpeg": "JPEG, camera known",
    "phone": "JPEG, camera not known",
    "vanes": "JPEG, vanes and glints",
    "soft": "JPEG, out of focus",
}
#: Photos that must not give a sure number.
WRONG = {
    "nothing": "smooth texture, no circle",
    "square": "squares",
    "one": "one circle",
    "clipped": "three times over-exposed",
    "blurred": "blurred beyond the spot's size",
    "slanted": "6 to 25 deg from the side",
    "oblique": "30 to 50 deg from the side",
}


def toward(x: float, y: float) -> Array:
    """Unit vector toward a place in the plane at distance 1."""
    v = np.array([x, y, 1.0])
    return v / np.linalg.norm(v)


def draw(seed: int, kind: str) -> tuple[Array, dict[str, Any]]:
    """One photo, rows from the lowest y, and its truth.

    Parameters
    ----------
    seed : int
        Of everything random.
    kind : str
        One of `KINDS` or `WRONG`.

    Returns
    -------
    photo : ndarray
        Linear, 0 to 65535, or codes of eight bits with colors.
    truth : dict
        Circles (middle in the straightened picture from its middle, radius), offsets by pair, camera.
    """
    rng = np.random.default_rng(seed)
    width = int(rng.integers(700, 1500))
    shape = (int(width * rng.uniform(0.72, 0.8)), width)
    half = 0.5 * np.hypot(*shape)
    field = rng.uniform(30, 76)
    focal = half / np.tan(np.deg2rad(field / 2))
    k = rng.normal(0, 0.01)
    y, x = np.mgrid[: shape[0], : shape[1]].astype(float)
    u, v = x - 0.5 * (shape[1] - 1), y - 0.5 * (shape[0] - 1)
    # seen = true (1 + k true^2): by Newton's steps, in units of half the diagonal.
    seen = np.hypot(u, v) / half
    true = seen.copy()
    for _ in range(12):
        true -= (true * (1 + k * true**2) - seen) / (1 + 3 * k * true**2)
    share = np.where(seen > 1e-9, true / np.maximum(seen, 1e-9), 1.0)
    directions = np.stack([u * share / focal, v * share / focal, np.ones(shape)])
    # The objective of f/5 to f/15 seen from its focus; in half of the photos the focuser's end round it.
    outer = focal * np.tan(rng.uniform(2.0, 5.7) * np.pi / 180)
    with_end = rng.random() < 0.5
    outer = min(outer * (rng.uniform(1.2, 2.0) if with_end else 1.0), 0.44 * shape[0])
    place = np.array([rng.uniform(-1, 1) * (0.46 * n - outer) for n in (shape[1], shape[0])])
    slant = {"slanted": rng.uniform(6, 25), "oblique": rng.uniform(30, 50)}.get(kind, 0.0)
    turn = rng.uniform(0, 2 * np.pi)
    count = 1 if kind == "one" else int(rng.integers(3, 6))
    if kind in ("nothing", "square"):
        count = 0
    level = rng.uniform(0.05, 0.3)
    light = np.full(shape, level)
    circles, middle, radius = [], place.copy(), outer
    for number in range(count):
        if number:
            smaller = radius * rng.uniform(0.4, 0.82)
            reach = 0.3 * (radius - smaller)
            way = rng.uniform(0, 2 * np.pi)
            middle = middle + rng.uniform(0, reach) * np.array([np.cos(way), np.sin(way)])
            radius = smaller
            if radius < 9:
                break
        center = toward(*(middle / focal))
        # At the distance 1 in its direction; its plane stands 0.3 deg off (standard deviation, each axis), or as far as the kind says.
        side = np.append(rng.normal(0, np.deg2rad(0.3), 2), 0)
        side = np.deg2rad(slant) * np.array([np.cos(turn), np.sin(turn), 0]) if slant else side
        own = Rotation.from_rotvec(side).apply(center)
        at = directions * ((own @ center) / np.tensordot(own, directions, 1))
        distance = np.linalg.norm(at - center[:, None, None], axis=0)
        away = np.clip((distance * focal - radius) / 0.3, -60, 60)
        step = rng.uniform(0.1, 0.45)
        level = (
            level + step if level < 0.3 or (level < 0.45 and rng.random() < 0.5) else level - step
        )
        level = float(np.clip(level, 0.02, 0.8))
        soft = 1 / (1 + np.exp(away))
        light = light * (1 - soft) + level * soft
        circles.append(
            {"x": middle[0], "y": middle[1], "radius": radius, "direction": center, "normal": own}
        )
    if kind == "square":
        for number in range(4):
            part = np.maximum(np.abs(u - place[0]), np.abs(v - place[1]))
            light = np.where(part < outer * 0.7**number, rng.uniform(0.05, 0.8), light)
    if kind == "nothing":
        rough = ndimage.gaussian_filter(rng.normal(size=shape), rng.uniform(5, 15))
        light = 0.3 + 0.2 * np.tanh(2 * rough / rough.std())
    if kind == "vanes":
        for arm in range(int(rng.integers(3, 5))):
            way = rng.uniform(0, np.pi)
            across = (u - place[0]) * np.sin(way) - (v - place[1]) * np.cos(way)
            light = np.where(np.abs(across) < rng.uniform(1, 3), 0.05, light)
        for glint in range(int(rng.integers(1, 5))):
            at_circle = circles[int(rng.integers(len(circles)))]
            way = rng.uniform(0, 2 * np.pi)
            gx, gy = (
                at_circle[n] + at_circle["radius"] * f(way)
                for n, f in (("x", np.cos), ("y", np.sin))
            )
            light = light + 0.9 * np.exp(
                -((u - gx) ** 2 + (v - gy) ** 2) / (2 * rng.uniform(2, 5) ** 2)
            )
    blur = {"soft": rng.uniform(3, 7), "blurred": rng.uniform(0.6, 1.0) * radius + 8}.get(
        kind, rng.uniform(0.5, 2.0)
    )
    n = int(np.ceil(blur)) + 1
    disc = np.clip(blur + 0.5 - np.hypot(*np.mgrid[-n : n + 1, -n : n + 1]), 0, 1)
    padded = np.pad(light, n, mode="edge")
    light = signal.fftconvolve(padded, disc / disc.sum(), mode="valid")
    slope = rng.uniform(-0.3, 0.3, 2)
    light = (
        light * (1 + slope[0] * u / shape[1] + slope[1] * v / shape[0]) * (1 - 0.3 * (seen**2))
    )
    light = light * (1 + 0.01 * ndimage.gaussian_filter(rng.normal(size=shape), 3) * 10)
    if kind == "clipped":
        light = light * 3
    full = 10 ** rng.uniform(3.3, 4.5)
    light = (rng.poisson(np.maximum(light, 0) * full) + rng.normal(0, 8, shape)) / full
    truth = {
        "kind": kind,
        "circles": circles,
        "focal": focal,
        "shape": shape,
        "k": k,
        "k_told": k + rng.normal(0, 0.0005),
        "field_told": field * (1 + rng.normal(0, 0.01)),
        "blur": blur,
    }
    if kind == "linear":
        return np.round(65000 * np.clip(light, 0, 1)).astype(np.uint16), truth
    colors = np.clip(light[:, :, None] * np.array([1.0, 0.97, 0.9]), 0, 1)
    colors = np.where(colors <= 0.0031308, 12.92 * colors, 1.055 * colors ** (1 / 2.4) - 0.055)
    colors = np.round(255 * colors).astype(np.uint8)
    return _through_jpeg(colors, int(rng.integers(78, 96))), truth


def _through_jpeg(colors: Array, quality: int) -> Array:
    from PIL import Image

    file = BytesIO()
    Image.fromarray(colors[::-1]).save(file, "JPEG", quality=quality)
    return np.asarray(Image.open(file).convert("RGB"))


def offset(truth: dict[str, Any], outer: int, inner: int) -> Array:
    """Middle of a circle in the plane that touches at the middle of another, pixels.

    Parameters
    ----------
    truth : dict
        Of a photo.
    outer, inner : int
        Circles.
    """
    a, b = (truth["circles"][i]["direction"] for i in (outer, inner))
    side = np.cross(a, [0, 0, 1])
    angle = np.arccos(np.clip(a[2], -1, 1))
    size = np.linalg.norm(side)
    turned = b if size < 1e-12 else Rotation.from_rotvec(angle * side / size).apply(b)
    return truth["focal"] * turned[:2] / turned[2]


def measure(photo: Array, truth: dict[str, Any]) -> starassay.Reflections:
    """As a user would measure it: with the camera's facts where the kind has them.

    Parameters
    ----------
    photo, truth : ndarray, dict
        What `draw` gives.
    """
    known = truth["kind"] != "phone"
    how: dict[str, Any] = {}
    if known:
        how = {
            "distortion": truth["k_told"],
            "distortion_uncertainty": 0.0005,
            "field_of_view": f"{truth['field_told']} deg",
            "field_of_view_uncertainty": f"{0.01 * truth['field_told']} deg",
        }
    return starassay.measure_reflections(photo, threads=1, **how)


def run(fields: int, seed: int) -> list[dict[str, Any]]:
    """Errors and bars, a row a photo; then the photos that must not give a sure number.

    Parameters
    ----------
    fields, seed : int
        How many, and the first seed.
    """
    rows = []
    kinds = list(KINDS)
    for k in range(fields):
        kind = kinds[k % len(kinds)]
        photo, truth = draw(seed + k, kind)
        rows.append(_row(photo, truth, kind, seed + k))
    for k in range(fields // 3):
        kind = list(WRONG)[k % len(WRONG)]
        photo, truth = draw(seed + 100_000 + k, kind)
        try:
            found = measure(photo, truth)
        except starassay.CannotMeasureError as refused:
            rows.append({"kind": kind, "said": "refused", "text": str(refused)})
            continue
        said = "sure" if found.decided else "doubt"
        rows.append({"kind": kind, "said": said, "text": " ".join(found.doubts)})
    return rows


def _row(photo: Array, truth: dict[str, Any], kind: str, seed: int) -> dict[str, Any]:
    row: dict[str, Any] = {"kind": kind, "seed": seed, "truth": truth}
    try:
        found = measure(photo, truth)
    except starassay.CannotMeasureError as refused:
        return {**row, "refused": str(refused)}
    matched = {}
    middle = np.array([truth["shape"][1] - 1, truth["shape"][0] - 1]) / 2
    for i, circle in enumerate(truth["circles"]):
        for c in found.circles:
            close = np.hypot(
                c.x.value.value - middle[0] - circle["x"], c.y.value.value - middle[1] - circle["y"]
            )
            if (
                abs(c.radius.value.value / circle["radius"] - 1) < 0.1
                and close < 0.1 * circle["radius"]
            ):
                matched.setdefault(i, c)
    row["lost"] = len(truth["circles"]) - len(matched)
    row["extra"] = len(found.circles) - len(matched)
    row["decided"] = bool(found.decided)
    row["doubts"] = found.doubts
    row["error"] = np.array(
        [
            (
                c.x.value.value - middle[0] - truth["circles"][i]["x"],
                c.y.value.value - middle[1] - truth["circles"][i]["y"],
            )
            for i, c in matched.items()
        ]
    ).ravel()
    row["bar"] = np.array(
        [(c.x.uncertainty.value, c.y.uncertainty.value) for c in matched.values()]
    ).ravel()
    numbers = {c.number: i for i, c in matched.items()}
    error, bar = [], []
    for p in found.pairs:
        if p.outer in numbers and p.inner in numbers:
            true = offset(truth, numbers[p.outer], numbers[p.inner])
            error += [p.offset_x.value.value - true[0], p.offset_y.value.value - true[1]]
            bar += [p.offset_x.uncertainty.value, p.offset_y.uncertainty.value]
    row["pair_error"], row["pair_bar"] = np.array(error), np.array(bar)
    return row


def held(error: list[Array], bar: list[Array]) -> tuple[float, str]:
    """Share of errors within their bars, with its scatter by photos (a photo's errors hang together)."""
    used = [(e, b) for e, b in zip(error, bar) if len(e)]
    each = np.array([np.mean(np.abs(e) < b) for e, b in used])
    weight = np.array([len(e) for e, _ in used])
    share = float(np.average(each, weights=weight))
    scatter = float(np.sqrt(np.average((each - share) ** 2, weights=weight) / len(each)))
    return share, f"{100 * share:.0f} ± {100 * scatter:.0f} %"


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
        "## Reflections",
        "",
        f"`python tests/accuracy/reflections.py {fields} {seed} --write`. Photos of 700 to 1500 columns drawn by that program: three to five circles one inside the",
        "other, each out of the middle of the one round it by up to 0.3 of the room between them, seen through a pinhole with 30 to 76 degrees from corner to corner",
        "and distortion of 1 % (standard deviation) at the corner, anywhere in the picture, objectives of f/5 to f/15 and the focuser's end round half of them, planes 0.3 degrees off; blurred by a disc of 0.5 to 2 pixels radius, uneven light, texture, noise,",
        "sRGB, JPEG of quality 78 to 95. Known cameras are known to 0.0005 and 1 %. Errors of each coordinate in the straightened picture. Tuned on seeds 1 to 350 and 100001 to 100080;",
        "these are others. Bars: middles within 0.3 pixels (95 % of errors, where the camera is known), 68 % intervals hold 62 to 74 %.",
        "",
        "| photos | n | middle, median error | 95 % within | its bar, median | held | offset of a pair, median | 95 % within | its bar, median | held | circles lost | others found | doubted |",
        "|---|---|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    short = []
    for kind, label in KINDS.items():
        used = [r for r in rows if r["kind"] == kind and "refused" not in r]
        refused = sum(r["kind"] == kind and "refused" in r for r in rows)
        if not used:
            continue
        cells = []
        for name in ("", "pair_"):
            error, bar = [r[f"{name}error"] for r in used], [r[f"{name}bar"] for r in used]
            all_errors = np.concatenate(error)
            far = float(np.percentile(np.abs(all_errors), 95))
            share, text = held(error, bar)
            cells += [
                f"{np.median(all_errors):+.3f}",
                f"{far:.2f}",
                f"{np.median(np.concatenate(bar)):.3f}",
                text,
            ]
            what = "offsets" if name else "middles"
            if kind in ("linear", "jpeg", "vanes", "soft") and far > 0.3:
                short.append(f"- {label}: {what} {far:.2f} pixels at 95 %")
            if not 0.62 <= share <= 0.74:
                short.append(f"- {label}: intervals of {what} hold {text}")
        lost, extra = sum(r["lost"] for r in used), sum(r["extra"] for r in used)
        total = sum(len(r["truth"]["circles"]) for r in used)
        doubted = sum(not r["decided"] for r in used)
        lines.append(
            f"| {label} | {len(used)} | {' | '.join(cells)} | {lost} of {total} | {extra} | {doubted} |"
        )
        if refused:
            short.append(f"- {label}: {refused} refused")
    lines += [
        "",
        "Photos that must not give a sure number:",
        "",
        "| photos | n | refused | doubt | sure |",
        "|---|---|---|---|---|",
    ]
    for kind, label in WRONG.items():
        said = [r["said"] for r in rows if r["kind"] == kind]
        lines.append(
            f"| {label} | {len(said)} | {said.count('refused')} | {said.count('doubt')} | {said.count('sure')} |"
        )
        if said.count("sure"):
            short.append(f"- {label}: {said.count('sure')} of {len(said)} without a doubt")
    lines += [
        "",
        *(["Falls short of the bars:", "", *short] if short else ["Every bar is reached."]),
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    write_from_command_line("reflections", __doc__, run, section, fields=180, seed=70_000)

"""Words of a star test from simulated pairs with known truth; makes the section of docs/accuracy.md.

    python tests/accuracy/star_test_words.py 64 83000 --write

Pairs are drawn by `pairs`, which shares no code with the engine.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u
from numpy.typing import NDArray

from _pair_fits import frames_of
from _write import write_from_command_line
from pairs.draw import draw_pair
from pairs.pupil import PupilShape
from pairs.setup import Edge, Pair, PairSetup

import starassay
from starassay.optics.star_words import VISIBLE

#: Kind -> sign of the round error where it is one, and largest size planted, nm (RMS; of an edge, at the rim).
KINDS = {
    "nothing": (0, 0.0),
    "undercorrection": (1, 40.0),
    "overcorrection": (-1, 40.0),
    "edge turned down": (-1, 160.0),
    "edge turned up": (1, 160.0),
    "astigmatism": (0, 60.0),
    "coma": (0, 20.0),
    "trefoil": (0, 45.0),
}
#: Noll numbers (cosine, sine) and the size of what an eye sees for 1 wave RMS at 1 wave of defocus, by rays.
BY_RAYS = {
    "astigmatism": ((6, 5), np.sqrt(6)),
    "coma": ((8, 7), 12 * np.sqrt(8)),
    "trefoil": ((10, 9), 1.5 * np.sqrt(8)),
}
LOOKS = {"oval": "astigmatism", "lopsided": "coma", "lobes": "trefoil"}
WAVES = 4.0
#: Figure that every telescope has besides, nm RMS in each mode from Noll 5 to 22; coma, which shows most, less.
FIGURE = 0.8


def telescope(kind: str, seed: int) -> PairSetup:
    """A telescope with one fault of random size, from far below what an eye sees to plain, and its pair."""
    rng = np.random.default_rng(seed)
    sign, most = KINDS[kind]
    size = most * 10 ** rng.uniform(-1.3, 0) if most else 0.0
    terms = {n: float(rng.normal(0, FIGURE)) for n in range(5, 23)}
    terms[7], terms[8] = 0.2 * terms[7], 0.2 * terms[8]
    edge = None
    if "edge" in kind:
        edge = Edge(sign * size, float(rng.uniform(0.8, 0.94)))
    elif sign:
        terms[11] += sign * size
    elif kind in BY_RAYS:
        turn = rng.uniform(0, 2 * np.pi)
        (c, s), _ = BY_RAYS[kind]
        terms[c] += size * float(np.cos(turn))
        terms[s] += size * float(np.sin(turn))
    aperture = float(rng.uniform(90, 200))
    ratio = float(rng.uniform(5.5, 8))
    pitch = 3.76 * ratio / 7
    # 6.5 to 8 waves of 540 nm.
    shift = float(rng.uniform(6.5, 8)) * 0.54 * 8 * ratio**2
    return PairSetup(
        aperture_mm=aperture,
        focal_length_mm=aperture * ratio,
        shape=PupilShape(obstruction=float(rng.choice([0.0, 0.3]))),
        coefficients_nm=terms,
        edge=edge,
        pixel_um=pitch,
        inside_um=-shift,
        outside_um=shift,
        flux_e=float(10 ** rng.uniform(5.3, 7.3)),
        seeing_arcsec=float(rng.uniform(0.5, 1.5)) * 120 / aperture,
        finite_distance=True,
    )


def fitted(pair: Pair) -> Any:
    """The fit of the pair, as somebody with that telescope asks for it."""
    d = pair.declared
    frames = frames_of(pair)
    scope = starassay.Telescope(
        d.aperture_mm * u.mm, d.focal_length_mm * u.mm, obstruction=d.obstruction
    )
    return starassay.fit_wavefront(
        frames["frame0"],
        frames["frame1"],
        scope,
        wavelength=pair.setup.wavelength_nm * u.nm,
        distances=[d.inside_um * u.um, d.outside_um * u.um],
    )


def visible_looks(pair: Pair) -> dict[str, float]:
    """What the true wavefront shows: shapes by rays, light of rim and rings from its drawn pattern without any uncertainty."""
    setup, truth = pair.setup, pair.truth
    shown = {}
    for look, cause in LOOKS.items():
        (c, s), scale = BY_RAYS[cause]
        size = np.hypot(setup.coefficients_nm[c], setup.coefficients_nm[s])
        shown[look] = float(scale * size / (WAVES * setup.wavelength_nm))
    flat: NDArray[np.float64] = np.where(truth.transmission > 0, truth.map_nm, np.nan)
    pupil = starassay.PupilMap(
        best_focus(flat, truth) * u.nm,
        setup.focal_ratio,
        setup.wavelength_nm * u.nm,
        truth.transmission,
    )
    drawn = starassay.draw_star_test(pupil, setup.aperture_mm * u.mm, WAVES)
    shown |= {w.look: w.value for w in drawn.seen() if w.look not in LOOKS}
    return shown


def best_focus(values: NDArray[np.float64], truth: Any) -> NDArray[np.float64]:
    """Piston, tilt and focus taken out by least squares over what is open."""
    good = np.isfinite(values)
    x, y = truth.x[good], truth.y[good]
    basis = np.stack([np.ones_like(x), x, y, x**2 + y**2], axis=1)
    root = np.sqrt(truth.transmission[good])
    fit = np.linalg.lstsq(basis * root[:, None], values[good] * root, rcond=None)[0]
    out = values.copy()
    out[good] -= basis @ fit
    return out


def run(count: int, seed: int) -> list[dict[str, Any]]:
    """Draw, fit and describe so many telescopes."""
    rows = []
    kinds = list(KINDS)
    for k in range(count):
        kind = kinds[k % len(kinds)]
        pair = draw_pair(telescope(kind, seed + k), np.random.default_rng([seed + k, 5]))
        row: dict[str, Any] = {"kind": kind, "seed": seed + k, "shown": visible_looks(pair)}
        try:
            fit = fitted(pair)
        except starassay.CannotMeasureError as refused:
            rows.append({**row, "refused": str(refused), "seen": [], "decided": False})
            continue
        test = fit.star_test(WAVES)
        row["decided"] = test.decided
        row["seen"] = [(w.look, w.value, w.uncertainty, w.cause) for w in test.seen()]
        row["words"] = test.words()
        rows.append(row)
    return rows


def verdict(row: dict[str, Any]) -> str:
    """Named rightly or wrongly, cause not decided, silent; of what is there to be seen."""
    if not row["decided"]:
        return "doubt"
    named = {cause for *_, cause in row["seen"]}
    own = row["kind"]
    # A cause that the figure planted in every telescope makes visible by itself is there.
    there = {LOOKS[k] for k in LOOKS if row["shown"][k] > VISIBLE}
    if named - {"", own} - there:
        return "wrong"
    if own in named:
        return "right"
    return "cause open" if "" in named else "silent"


def is_visible(row: dict[str, Any]) -> bool:
    """Whether the planted fault is beyond 2 % in the true wavefront."""
    for look, cause in LOOKS.items():
        if cause == row["kind"]:
            return bool(row["shown"][look] > VISIBLE)
    return row["kind"] != "nothing" and any(k not in LOOKS for k in row["shown"])


def section(rows: list[dict[str, Any]], count: int, seed: int) -> str:
    """The part of docs/accuracy.md.

    Parameters
    ----------
    rows : list of dict
        What `run` gives.
    count, seed : int
        How many, and the first seed.
    """
    lines = [
        "## Star test in words",
        "",
        f"`python tests/accuracy/star_test_words.py {count} {seed} --write`. Telescopes of 90 to 200 mm, f/5.5 to f/8, clear or obstructed by 30 %, each with one fault of random size,",
        f"from a twentieth of the largest (spherical {KINDS['undercorrection'][1]:.0f}, astigmatism {KINDS['astigmatism'][1]:.0f}, coma {KINDS['coma'][1]:.0f}, "
        f"trefoil {KINDS['trefoil'][1]:.0f} nm RMS, an edge turned by {KINDS['edge turned up'][1]:.0f} nm beyond 0.80 to 0.94 of the radius), besides {FIGURE} nm RMS in every mode",
        "to Noll 22 (coma a fifth of it); pairs of 128 pixels at 6.5 to 8 waves, 2e5 to 2e7 electrons, seeing of 0.5 to 1.5 arcsec at 120 mm, drawn by a simulator that shares no code",
        f"with the engine. Words for a star {WAVES:.0f} waves from focus in still air. Visible: the true wavefront shows it by 2 % or more. Tuned on seeds 100 to 115.",
        "",
        "| fault | visible | named rightly | cause not decided | silent | another named | in doubt | not visible | silent | cause not decided | named rightly | another named | in doubt |",
        "|---|---|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    totals = np.zeros(12, dtype=int)
    for kind in KINDS:
        cells: list[int] = []
        for wanted, order in (
            (True, ("right", "cause open", "silent", "wrong", "doubt")),
            (False, ("silent", "cause open", "right", "wrong", "doubt")),
        ):
            group = [verdict(r) for r in rows if r["kind"] == kind and is_visible(r) == wanted]
            cells += [len(group), *(group.count(name) for name in order)]
        totals += cells
        lines.append(f"| {kind} | " + " | ".join(str(c) for c in cells) + " |")
    lines.append("| all | " + " | ".join(str(c) for c in totals) + " |")
    lines += ["", *_errors(rows)]
    wrong = [
        f"- {r['kind']}, seed {r['seed']}: {', '.join(sorted({c for *_, c in r['seen'] if c}))} named"
        for r in rows
        if verdict(r) == "wrong"
    ]
    if wrong:
        lines += ["", "Named though it is another:", "", *wrong]
    return "\n".join(lines)


def _errors(rows: list[dict[str, Any]]) -> list[str]:
    """Sizes said against the true ones: signed error in bars, and how many bars hold."""
    lines = ["| size said | n | mean error / bar | held | wrong sign |", "|---|---|---|---|---|"]
    for look in ("rim", "inner rings", "filled", *LOOKS):
        pulls, turned = [], 0
        for row in rows:
            for name, value, bar, _ in row["seen"]:
                if name == look and look in row["shown"]:
                    pulls.append((value - row["shown"][look]) / bar)
                    turned += bool(value * row["shown"][look] < 0)
        if pulls:
            held = 100 * np.mean(np.abs(pulls) < 1)
            lines.append(
                f"| {look} | {len(pulls)} | {np.mean(pulls):+.2f} | {held:.0f} % | {turned} |"
            )
    return lines


if __name__ == "__main__":
    write_from_command_line("star-test-words", __doc__, run, section, fields=64, seed=83_000)

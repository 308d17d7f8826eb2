"""The wavefront through drawn nights with known truth; makes the section of docs/accuracy.md.

    python tests/accuracy/wavefront_course.py 1500 5000 --write

Drawn are the low modes of each pair as pairs fitted alone would give them. Seeds below 1000 are those that were tuned on; judge on
others.
"""

from __future__ import annotations

import zlib
from typing import Any

import numpy as np

from _write import write_from_command_line
from starassay import _gateway

KINDS = (
    "steady",
    "steady, air three times slower",
    "steady, bars a fifth too small",
    "steady, air that wanders over 15 min",
    "spherical aberration of a cooling mirror",
    "coma that creeps",
    "plume that dies away",
    "plume all night",
)
NAMES = ("astigmatism", "coma", "spherical aberration", "trefoil")
#: Places of Noll 8 and 11 among Noll 5 to 11.
COMA_X, SPHERICAL = 3, 6


def draw(kind: str, seed: int) -> dict[str, Any]:
    """One drawn night: what was said, and the truth.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    seed : int
        Of all that is drawn.
    """
    rng = np.random.default_rng(seed)
    n = int(rng.integers(3, 10))
    span = rng.uniform(0.5, 3.5)
    hours = np.sort(np.r_[0.0, rng.uniform(0, span, n - 2), span])
    own = np.exp(rng.uniform(np.log(0.4), np.log(3), 7))
    air = rng.uniform(0.2, 2.5) * np.array([1, 1, 0.6, 0.6, 0.6, 0.6, 0.4])
    wind = 3.0 if kind == KINDS[1] else np.exp(rng.normal(0, 0.4))
    wide = 1.25 if kind == KINDS[2] else 1.0
    if kind == KINDS[3]:
        # Half of the air's variance is common to neighbors: Ornstein and Uhlenbeck's process.
        together = np.exp(-np.abs(hours[:, None] - hours[None, :]) / 0.25)
        root = np.linalg.cholesky(together + 1e-9 * np.eye(n))
        blown = (root @ rng.normal(0, 1, (n, 7)) + rng.normal(0, 1, (n, 7))) / np.sqrt(2)
    else:
        blown = rng.normal(0, 1, (n, 7))
    low = rng.normal(0, 20, 7) + wide * own * rng.normal(0, 1, (n, 7)) + np.sqrt(wind) * air * blown
    truth = np.zeros(7)
    if kind in KINDS[4:6]:
        at = SPHERICAL if kind == KINDS[4] else COMA_X
        total = rng.choice([-1, 1]) * np.exp(rng.uniform(np.log(4), np.log(40)))
        tau = rng.uniform(0.7, 4) if kind == KINDS[4] else 50.0
        course = total * (1 - np.exp(-hours / tau)) / (1 - np.exp(-span / tau))
        low[:, at] += course
        # What a straight line through the pairs makes of the drawn course without any noise.
        truth[at] = np.polyfit(hours, course, 1)[0]
    if kind in KINDS[6:]:
        size = rng.uniform(4, 15) * (np.exp(-hours / 0.7) if kind == KINDS[6] else np.ones(n))
        low[:, :4] += size[:, None] * rng.normal(0, 1, (n, 4))
    said = _gateway.call(
        "wavefront.course",
        {
            "time_h": hours.tolist(),
            "coefficient_nm": low.ravel().tolist(),
            "variance_nm2": (own**2).tolist(),
            "air_nm2": (air**2).tolist(),
        },
    )
    return {"said": said, "truth": truth, "pairs": n}


def run(nights: int, seed: int) -> dict[str, list[dict[str, Any]]]:
    """Drawn nights of every kind.

    Parameters
    ----------
    nights, seed : int
        Of each kind; the first seed.
    """
    return {
        kind: [
            draw(kind, 100_000 * (zlib.crc32(kind.encode()) % 1000) + seed + k)
            for k in range(nights)
        ]
        for kind in KINDS
    }


def section(found: dict[str, list[dict[str, Any]]], nights: int, seed: int) -> str:
    """The part of docs/accuracy.md.

    Parameters
    ----------
    found : dict
        Of `run`.
    nights, seed : int
        As on the command line.
    """
    lines = [
        "## Wavefront through a night",
        "",
        f"`python tests/accuracy/wavefront_course.py {nights} {seed} --write`. {nights} drawn nights of each kind: 3 to 9 pairs over 0.5 to 3.5 h, low modes of each pair with bars of 0.4 to",
        "3 nm and 0.2 to 2.5 nm of air, whose wind differs from the one reckoned with by 1.5 either way. *Alarm* is a family that is called changing and does not change. Drifting nights",
        "change by 4 to 40 nm in all, exponentially where a mirror cools. Signed errors and bars are those of the slope that drifts (of spherical aberration on steady nights).",
        "",
        "| kind | alarms | drift found | of these with the right sign | median signed error (nm/h) | 68 % bars hold | too much scatter told | called settling |",
        "|---|---|---|---|---|---|---|---|",
    ]
    powers, short = [], []
    for kind, rows in found.items():
        at = COMA_X if kind == KINDS[5] else SPHERICAL
        own = NAMES.index("coma" if at == COMA_X else "spherical aberration")
        drifts = kind in KINDS[4:6]
        alarms = np.mean(
            [
                any(
                    f["told"] for k, f in enumerate(r["said"]["families"]) if not drifts or k != own
                )
                for r in rows
            ]
        )
        slope = np.array([r["said"]["families"][own]["change_x"]["value"] for r in rows])
        bar = np.array([r["said"]["families"][own]["change_x"]["uncertainty"] for r in rows])
        truth = np.array([r["truth"][at] for r in rows])
        told = np.array([r["said"]["families"][own]["told"] for r in rows])
        right = np.mean(np.sign(slope[told]) == np.sign(truth[told])) if drifts else np.nan
        held = np.mean(np.abs(slope - truth) < bar)
        unsteady = np.mean([r["said"]["unsteady"] for r in rows])
        settling = np.mean([r["said"]["settling"] for r in rows])
        if not 0.62 <= held <= 0.74:
            short.append(f"- {kind}: intervals hold {100 * held:.0f} %")
        if alarms > 0.02:
            short.append(f"- {kind}: {100 * alarms:.1f} % alarms")
        lines.append(
            f"| {kind} | {100 * alarms:.1f} % | {f'{100 * told.mean():.0f} %' if drifts else '-'} | "
            f"{f'{100 * right:.1f} %' if drifts else '-'} | {np.median(slope - truth):+.2f} | {100 * held:.0f} % | "
            f"{100 * unsteady:.1f} % | {100 * settling:.1f} % |"
        )
        if drifts:
            size = np.abs(truth) / bar
            for low, high in ((0, 2), (2, 4), (4, 6), (6, 10), (10, np.inf)):
                among = (size >= low) & (size < high)
                share = told[among].mean() if among.any() else np.nan
                powers.append((kind, low, high, int(among.sum()), share))
    lines += ["", "| true slope over its bar | " + " | ".join(KINDS[4:6]) + " |", "|---|---|---|"]
    for low, high in ((0, 2), (2, 4), (4, 6), (6, 10), (10, np.inf)):
        cells = [f"found in {100 * p:.0f} % of {c}" for k, a, b, c, p in powers if a == low]
        span = f"{low} to {high}" if np.isfinite(high) else f"{low} and more"
        lines.append(f"| {span} | {' | '.join(cells)} |")
    if short:
        lines += [
            "",
            "Falls short (intervals from 62 to 74 %, alarms below 2 %; a cooling mirror's course is no straight line, which widens its bars):",
            "",
            *short,
        ]
    return "\n".join(lines)


if __name__ == "__main__":
    write_from_command_line("wavefront-course", __doc__, run, section, fields=200)

"""Focus surface on drawn focus runs with known truth; makes the section of docs/accuracy.md.

    python tests/accuracy/focus_surface.py 40 5000 --keep runs.json --write

Runs already in the file kept are not drawn again.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
from astropy import units as u

import _focus_runs
import starassay
from _write import write_section

#: Name, label, bar in um, bar as a share of the truth.
ASKED = (
    ("tilt_across_width", "tilt across the width", 2.0, 0.03),
    ("tilt_across_height", "tilt across the height", 2.0, 0.03),
    ("curvature_sag", "curvature, sag at the corner", 2.0, 0.03),
)


def measure(seed: int) -> dict[str, list[float]]:
    """Value less truth, its random uncertainty, and the truth, by name; um.

    Parameters
    ----------
    seed : int
        Of the run.
    """
    run = _focus_runs.draw(seed, stars=50)
    frames = [
        starassay.read_frame(f, gain=1 * u.electron / u.adu, pitch=run.pitch_um * u.um)
        for f in run.frames
    ]
    found = starassay.measure_focus_surface(
        frames,
        focal_ratio=run.focal_ratio,
        obstruction=run.obstruction,
        positions=run.positions_um * u.um,
        wavelength=540 * u.nm,
        threads=1,
    )
    ny, nx = run.frames[0].shape
    half = np.hypot(nx, ny) / 2 * run.pitch_um / 1000
    truth = {
        "tilt_across_width": run.tilt_um_per_mm[0] * nx * run.pitch_um / 1000,
        "tilt_across_height": run.tilt_um_per_mm[1] * ny * run.pitch_um / 1000,
        "curvature_sag": run.curvature_um_per_mm2 * half**2,
    }
    row = {}
    for name, value in truth.items():
        measured = getattr(found, name)
        # The focuser's scale is exact here: 1 % of the value is taken out again.
        common = 0.01 * measured.value.value
        bar = np.sqrt(max(measured.uncertainty.value**2 - common**2, 0))
        row[name] = [float(measured.value.value - value), float(bar), float(value)]
    row["depth"] = [float(found.depth_of_focus.value)]
    row["doubts"] = [float(len(found.doubts))]
    return row


def section(rows: list[dict[str, list[float]]], runs: int, seed: int) -> str:
    """The part of docs/accuracy.md, bars included.

    Parameters
    ----------
    rows : list of dict
        What `measure` gives.
    runs, seed : int
        How many, and the first seed.
    """
    lines = [
        "## Focus surface",
        "",
        f"`python tests/accuracy/focus_surface.py {runs} {seed} --write`. {runs} focus runs of nine frames with 50 stars, "
        "drawn by `tests/accuracy/_focus_runs.py` with the",
        "simulator of the wavefront's tables, which shares no code with the engine: 60 to 200 mm, f/4.5 to f/9, sensors of 11 to 23 mm "
        "diagonal, a tilted camera,",
        "an axis beside the middle, field curvature, astigmatism and coma over the field, spherical aberration and astigmatism "
        'everywhere, seeing of 1.5 to 3.5"',
        "that changes by 6 % from frame to frame, frames shifted by up to 6 pixels. Tuned on seeds 1 to 8 and 101 to 113; these are others (the factor 1.39 of the bars was set on the former after these runs had been measured). The "
        "focuser's scale is exact here, so",
        "intervals are those without its 1 %. Bar: 2 um or 3 % of the truth, whichever is larger, for 95 % of the runs.",
        "",
        "| quantity | median error | error, 68 % / 95 % | over the depth of focus, 95 % | within the bar | error over bar, 68 % / 95 % | 68 % intervals hold (62 to 74) |",
        "|---|---|---|---|---|---|---|",
    ]
    short = []
    for name, label, least, share in ASKED:
        error, bar, truth = np.array([row[name] for row in rows]).T
        depth = np.array([row["depth"][0] for row in rows])
        inside = np.mean(np.abs(error) <= np.maximum(least, share * np.abs(truth)))
        pull = np.abs(error) / bar
        held = np.mean(pull < 1)
        scatter = np.sqrt(held * (1 - held) / len(rows))
        lines.append(
            f"| {label} | {np.median(error):+.2f} um | {np.percentile(np.abs(error), 68):.2f} / "
            f"{np.percentile(np.abs(error), 95):.2f} um | {100 * np.percentile(np.abs(error) / depth, 95):.1f} % | "
            f"{100 * inside:.0f} % | {np.percentile(pull, 68):.2f} / {np.percentile(pull, 95):.2f} | "
            f"{100 * held:.0f} ± {100 * scatter:.0f} % |"
        )
        if inside < 0.95:
            short.append(f"- {label}: {100 * inside:.0f} % of the runs within 2 um or 3 %")
        if not 0.62 <= held <= 0.74:
            short.append(f"- {label}: intervals hold {100 * held:.0f} %")
    doubted = sum(row["doubts"][0] > 0 for row in rows)
    lines += ["", f"Runs with a doubt that should have none: {doubted} of {len(rows)}."]
    lines += [
        "",
        *(["Falls short of the bars:", "", *short] if short else ["Every bar is reached."]),
    ]
    lines += [
        "",
        "Tangential and sagittal focus are not told apart; their mean is what is measured.",
    ]
    return "\n".join(lines)


def main() -> None:
    """Draw, measure, print the section; write it where asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("runs", nargs="?", type=int, default=8)
    parser.add_argument("seed", nargs="?", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="file of runs done, read and added to")
    parser.add_argument(
        "--write", action="store_true", help="write the section of docs/accuracy.md"
    )
    args = parser.parse_args()
    done = json.loads(args.keep.read_text()) if args.keep and args.keep.exists() else {}
    for k in range(args.seed, args.seed + args.runs):
        if str(k) not in done:
            done[str(k)] = measure(k)
            if args.keep:
                args.keep.write_text(json.dumps(done))
    rows = [done[str(k)] for k in range(args.seed, args.seed + args.runs)]
    text = section(rows, args.runs, args.seed)
    print(text)
    if args.write:
        write_section("focus-surface", text)


if __name__ == "__main__":
    main()

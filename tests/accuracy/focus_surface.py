"""Focus surface on drawn focus runs with known truth; makes the section of docs/accuracy.md.

    python tests/accuracy/focus_surface.py 24 8000 --strong 16 9000 --keep runs.json --write

Runs already in the file kept are not drawn again. ``--strong``: runs and first seed of telescopes whose coma and
astigmatism change strongly over the field.
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
    ("split", "tangential less sagittal focus at the corner", 2.0, 0.05),
)


def measure(seed: int, strong: bool) -> dict[str, list[float]]:
    """Value less truth, its random uncertainty, and the truth, by name; um.

    Parameters
    ----------
    seed : int
        Of the run.
    strong : bool
        Whether aberrations change strongly over the field.
    """
    run = _focus_runs.draw_strong(seed) if strong else _focus_runs.draw(seed, stars=50)
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
    split = found.astigmatic_split
    true = run.astigmatism_um_per_mm2 * half**2
    row["split"] = [float(split.value.value - true), float(split.uncertainty.value), float(true)]
    row["shift"] = [float(found.aberration_shift.value)]
    row["depth"] = [float(found.depth_of_focus.value)]
    row["doubts"] = [float(len(found.doubts))]
    return row


def table(rows: list[dict[str, list[float]]]) -> list[str]:
    """Lines of a table with what falls short below it.

    Parameters
    ----------
    rows : list of dict
        What `measure` gives.
    """
    lines = [
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
            short.append(
                f"- {label}: {100 * inside:.0f} % of the runs within {least:.0f} um or {100 * share:.0f} %"
            )
        if not 0.62 <= held <= 0.74:
            short.append(f"- {label}: intervals hold {100 * held:.0f} %")
    worst = max(abs(row[name][0]) / row[name][1] for row in rows for name, *_ in ASKED)
    doubted = sum(row["doubts"][0] > 0 for row in rows)
    lines += [
        "",
        f"Largest error over its bar: {worst:.1f}. Runs with a doubt that should have none: {doubted} of {len(rows)}.",
    ]
    lines += [
        "",
        *(["Falls short of the bars:", "", *short] if short else ["Every bar is reached."]),
    ]
    return lines


def section(
    usual: list[dict[str, list[float]]], strong: list[dict[str, list[float]]], command: str
) -> str:
    """The part of docs/accuracy.md, bars included.

    Parameters
    ----------
    usual, strong : list of dict
        What `measure` gives for the two populations.
    command : str
        Arguments with which it is made again.
    """
    lines = [
        "## Focus surface",
        "",
        f"`python tests/accuracy/focus_surface.py {command} --write`. {len(usual)} focus runs of nine frames with 50 stars, "
        "drawn by `tests/accuracy/_focus_runs.py` with the",
        "simulator of the wavefront's tables, which shares no code with the engine: 60 to 200 mm, f/4.5 to f/9, sensors of 11 to 23 mm "
        "diagonal, a tilted camera,",
        "an axis beside the middle, field curvature, astigmatism and coma over the field, spherical aberration and astigmatism "
        'everywhere, seeing of 1.5 to 3.5"',
        "that changes by 6 % from frame to frame, frames shifted by up to 6 pixels. Tuned on seeds 1 to 8 and 101 to 113; these are others. The",
        "focuser's scale is exact here, so tilts and sag are judged without its 1 %. Bar: 2 um or 3 % of the truth, whichever is larger, "
        "5 % for the split of tangential and sagittal focus, for 95 % of the runs.",
        "",
        *table(usual),
    ]
    if strong:
        shifts = [row["shift"][0] / row["depth"][0] for row in strong]
        lines += [
            "",
            f"Strong aberrations over the field: {len(strong)} runs with the telescopes of `tests/accuracy/_field_pairs.py` (decentred groups, "
            "squeezed lenses, tilted cameras, obstructed ones: coma and astigmatism up to 130 nm RMS in the corners), sensors up to 36 x 24 mm.",
            "Stars are smallest beside the wavefront's best focus there; how far the shapes of the stars say (median "
            f"{np.median(shifts):.2f}, most {max(shifts):.2f} of the depth of focus); what of that tilts or bends the surface is in the bars. Tuned on seeds 6000 to 6059.",
            "",
            *table(strong),
        ]
    return "\n".join(lines)


def main() -> None:
    """Draw, measure, print the section; write it where asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("runs", nargs="?", type=int, default=8)
    parser.add_argument("seed", nargs="?", type=int, default=1)
    parser.add_argument("--strong", nargs=2, type=int, default=(0, 0), metavar=("RUNS", "SEED"))
    parser.add_argument("--keep", type=Path, help="file of runs done, read and added to")
    parser.add_argument(
        "--write", action="store_true", help="write the section of docs/accuracy.md"
    )
    args = parser.parse_args()
    done = json.loads(args.keep.read_text()) if args.keep and args.keep.exists() else {}

    def all_of(runs: int, seed: int, strong: bool) -> list[dict[str, list[float]]]:
        keys = {f"{'strong ' if strong else ''}{k}": k for k in range(seed, seed + runs)}
        for key, k in keys.items():
            if key not in done:
                done[key] = measure(k, strong)
                if args.keep:
                    args.keep.write_text(json.dumps(done))
        return [done[key] for key in keys]

    strong, usual = all_of(*args.strong, True), all_of(args.runs, args.seed, False)
    command = f"{args.runs} {args.seed}" + (
        f" --strong {args.strong[0]} {args.strong[1]}" if strong else ""
    )
    text = section(usual, strong, command)
    print(text)
    if args.write:
        write_section("focus-surface", text)


if __name__ == "__main__":
    main()

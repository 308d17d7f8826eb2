"""How time and memory grow: with the size of a frame, with its stars, with the number of frames.

    python tests/benchmarks/scale.py [--largest 150] [--write]

Fields are drawn by `_fields.draw_field`; each case is measured three times and the least time taken.
Memory is what the whole process held at most during the measurement (Python, .NET, Astropy and all),
less the frame itself. ``--write`` draws the picture of docs/performance.md.
"""

from __future__ import annotations

import argparse
import gc
import sys
import time
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from _fields import draw_field  # noqa: E402

import starassay  # noqa: E402
from starassay.style import BLUE, GREY, ORANGE, figure_style  # noqa: E402

PICTURE = HERE.parents[1] / "docs" / "pictures" / "scale.png"
MEGAPIXELS = (6, 12, 24, 61, 100, 150)
STARS = (100, 1000, 10_000, 50_000, 200_000)
FRAMES = (1, 2, 5, 10, 20, 50)


def shape_of(megapixels: float) -> tuple[int, int]:
    """Rows and columns of a frame with sides 2 : 3."""
    rows = int(round(np.sqrt(megapixels * 1e6 / 1.5)))
    return rows, int(round(1.5 * rows))


def _memory(key: str) -> float:
    """One line of the kernel's account of this process, in MiB."""
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith(key + ":"):
            return int(line.split()[1]) / 1024
    raise RuntimeError(f"/proc/self/status has no {key}.")


def measure(frame: starassay.Frame, repeats: int = 3, frames: int = 1) -> tuple[float, float, int]:
    """Least time in seconds, memory in MiB, and how many stars were found."""
    starassay.measure_stars(frame, fit_profiles="none")
    gc.collect()
    # 5: forget the greatest size so far (proc(5)).
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
    times = []
    found = 0
    for _ in range(repeats):
        start = time.perf_counter()
        for _ in range(frames):
            found = len(starassay.measure_stars(frame, fit_profiles="none"))
        times.append(time.perf_counter() - start)
    return min(times), _memory("VmHWM") - frame.pixels.nbytes / 2**20, found


def _frame(megapixels: float, stars: int) -> starassay.Frame:
    field = draw_field(shape_of(megapixels), stars, dtype="uint16")
    return starassay.read_frame(field.pixels, name="scale")


def run(largest: float) -> dict[str, list[tuple[float, float, float]]]:
    """All cases: (x, seconds, MiB) by what was varied; prints as it goes."""
    table: dict[str, list[tuple[float, float, float]]] = {"size": [], "stars": [], "frames": []}

    def add(kind: str, x: float, result: tuple[float, float, int]) -> None:
        seconds, mib, found = result
        table[kind].append((x, seconds, mib))
        print(
            f"{kind} {x:g}: {1e3 * seconds:.1f} ms, {mib:.1f} MiB, {found} stars found", flush=True
        )

    for megapixels in (m for m in MEGAPIXELS if m <= largest):
        add("size", megapixels, measure(_frame(megapixels, int(95 * megapixels))))
    for stars in STARS:
        result = measure(_frame(24, stars))
        add("stars", result[2], result)
    frame = _frame(24, 2300)
    for frames in FRAMES:
        add("frames", frames, measure(frame, 1, frames))
    return table


def draw(table: dict[str, list[tuple[float, float, float]]], path: Path) -> None:
    """Time above, memory below, against each of the three."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    labels = {
        "size": "megapixels (95 stars each)",
        "stars": "thousands of stars found on 24 megapixels",
        "frames": "frames of 24 megapixels",
    }
    with figure_style():
        figure, axes = plt.subplots(2, 3, figsize=(10.5, 5.6), layout="constrained")
        for column, (kind, points) in enumerate(table.items()):
            x, seconds, mib = np.array(points).T
            if kind == "stars":
                x = x / 1000
            top, bottom = axes[0, column], axes[1, column]
            top.plot(x, 1e3 * seconds, "o-", color=BLUE)
            bottom.plot(x, mib, "s-", color=ORANGE)
            if kind != "stars":
                line = 1e3 * seconds[-1] / x[-1]
                top.plot(x, line * x, ":", color=GREY, label="in proportion")
                top.legend(loc="upper left")
            for ax in (top, bottom):
                ax.set_xlim(left=0)
                ax.set_ylim(bottom=0)
                ax.set_xlabel(labels[kind])
                ax.grid(True)
            bottom.set_ylim(0, 1.3 * mib.max())
        axes[0, 0].set_ylabel("time [ms]")
        axes[1, 0].set_ylabel("process less the frame [MiB]")
        axes[0, 0].set_title("Frame size")
        axes[0, 1].set_title("Number of stars")
        axes[0, 2].set_title("Number of frames")
        path.parent.mkdir(exist_ok=True)
        figure.savefig(path)
        plt.close(figure)


def main() -> int:
    """Measure, print, and perhaps draw."""
    parser = argparse.ArgumentParser(description="Time and memory against size, stars and frames.")
    parser.add_argument("--largest", type=float, default=150, help="largest frame in megapixels")
    parser.add_argument("--write", action="store_true", help=f"draw {PICTURE.name} for the docs")
    args = parser.parse_args()
    table = run(args.largest)
    if args.write:
        draw(table, PICTURE)
    return 0


if __name__ == "__main__":
    sys.exit(main())

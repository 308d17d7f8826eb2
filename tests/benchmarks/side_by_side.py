"""Prints one table: every task beside a general-purpose peer, in one run.

    python tests/benchmarks/side_by_side.py [--only stars] [--quick] [--repeats 5] [--write]

Each ``tasks_<name>.py`` in this folder has a function ``rows(quick: bool)`` that yields `Row`.
``--write`` puts the table into docs/performance.md.
"""

from __future__ import annotations

import argparse
import importlib
import os
import platform
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from _bench import Timing, markdown, run_row  # noqa: E402

import starassay  # noqa: E402

PAGE = HERE.parents[1] / "docs" / "performance.md"


def machine() -> str:
    """One paragraph: processor, cores, vector width, versions."""
    import numpy
    import scipy

    model = platform.processor() or platform.machine()
    for line in Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines():
        if line.startswith("model name"):
            model = line.split(":", 1)[1].strip()
            break
    about = starassay.about()
    return (
        f"{model}, {os.cpu_count()} cores, {about['vector_bits']}-bit vectors; {about['runtime']}; "
        f"Python {platform.python_version()}, NumPy {numpy.__version__}, SciPy {scipy.__version__}; "
        f"StarAssay {starassay.__version__}."
    )


def main() -> int:
    """Run the chosen tasks and print, and perhaps write, the table."""
    parser = argparse.ArgumentParser(description="Our measurements beside general-purpose peers.")
    parser.add_argument("--only", action="append", help="only this task module (may be repeated)")
    parser.add_argument("--quick", action="store_true", help="smaller inputs")
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--write", action="store_true", help="write docs/performance.md")
    args = parser.parse_args()
    names = sorted(p.stem.removeprefix("tasks_") for p in HERE.glob("tasks_*.py"))
    unknown = set(args.only or []) - set(names)
    if unknown:
        parser.error(f"no such task: {', '.join(sorted(unknown))}; there are {', '.join(names)}")
    timings: list[Timing] = []
    for name in args.only or names:
        for row in importlib.import_module(f"tasks_{name}").rows(args.quick):
            timing = run_row(row, args.repeats)
            timings.append(timing)
            print(f"{row.task}: {timing.ratio:.1f} x {row.peer}", file=sys.stderr, flush=True)
    if any(t.foreign_cores > 0.3 for t in timings):
        print("Other processes were at work during this run: judge by the minima.", file=sys.stderr)
    text = f"{machine()}\n\n{markdown(timings)}"
    print(text)
    if args.write:
        sys.path.insert(0, str(HERE.parent / "accuracy"))
        from _write import write_section

        section = "side-by-side" if not args.only else "side-by-side-" + "-".join(args.only)
        write_section(section, text, PAGE)
    return 0


if __name__ == "__main__":
    sys.exit(main())

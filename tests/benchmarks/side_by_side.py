"""Prints one table: every task beside a general-purpose peer, in one run.

    python tests/benchmarks/side_by_side.py [--only stars] [--widths 512 256 128] [--quick] [--repeats 5] [--write]

Each ``tasks_<name>.py`` in this folder has a function ``rows(quick: bool)`` that yields `Row`. Vectors of each width that the
machine has are timed in a process of their own, with the runtime's switches, the peers again in each.
``--write`` puts the table into docs/performance.md.
"""

from __future__ import annotations

import argparse
import dataclasses
import importlib
import json
import os
import platform
import subprocess
import sys
from collections.abc import Sequence
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
        f"{model}, {os.cpu_count()} cores, vectors of {about['vector_bits']} bits of its own; {about['runtime']}; "
        f"Python {platform.python_version()}, NumPy {numpy.__version__}, SciPy {scipy.__version__}; "
        f"StarAssay {starassay.__version__}."
    )


#: The runtime's switches that leave vectors of so many bits.
SWITCHES: dict[int, dict[str, str]] = {
    512: {},
    256: {"DOTNET_EnableAVX512": "0"},
    128: {"DOTNET_EnableAVX2": "0"},
}


def timed_here(names: Sequence[str], quick: bool, repeats: int) -> list[Timing]:
    """All rows of some tasks, with the vectors that this process has."""
    bits = starassay.about()["vector_bits"]
    timings = []
    for name in names:
        for row in importlib.import_module(f"tasks_{name}").rows(quick):
            timing = run_row(row, bits, repeats)
            timings.append(timing)
            print(
                f"{bits} bits, {row.task}: {timing.ratio:.1f} x {row.peer}",
                file=sys.stderr,
                flush=True,
            )
    return timings


def timed_there(bits: int, names: Sequence[str], quick: bool, repeats: int) -> list[Timing]:
    """The same in a process whose vectors have that width."""
    command = [sys.executable, __file__, "--records", "--repeats", str(repeats)]
    for name in names:
        command += ["--only", name]
    done = subprocess.run(
        [*command, *(["--quick"] if quick else [])],
        env={**os.environ, **SWITCHES[bits]},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    timings = [Timing(**record) for record in json.loads(done.stdout)]
    wrong = {t.bits for t in timings} - {bits}
    if wrong:
        raise RuntimeError(f"Vectors of {bits} bits were asked for, the engine used {wrong}.")
    return timings


def main() -> int:
    """Run the chosen tasks and print, and perhaps write, the table."""
    parser = argparse.ArgumentParser(description="Our measurements beside general-purpose peers.")
    parser.add_argument("--only", action="append", help="only this task module (may be repeated)")
    parser.add_argument(
        "--widths",
        nargs="+",
        type=int,
        choices=SWITCHES,
        help="widths of vectors (default: all that the machine has)",
    )
    parser.add_argument("--quick", action="store_true", help="smaller inputs")
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--write", action="store_true", help="write docs/performance.md")
    parser.add_argument(
        "--records",
        action="store_true",
        help="in this process alone; JSON records instead of the table",
    )
    args = parser.parse_args()
    names = sorted(p.stem.removeprefix("tasks_") for p in HERE.glob("tasks_*.py"))
    unknown = set(args.only or []) - set(names)
    if unknown:
        parser.error(f"no such task: {', '.join(sorted(unknown))}; there are {', '.join(names)}")
    chosen = args.only or names
    if args.records:
        print(
            json.dumps(
                [dataclasses.asdict(t) for t in timed_here(chosen, args.quick, args.repeats)]
            )
        )
        return 0
    own = starassay.about()["vector_bits"]
    timings: list[Timing] = []
    for bits in args.widths or [b for b in SWITCHES if b <= own]:
        timings += timed_there(bits, chosen, args.quick, args.repeats)
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

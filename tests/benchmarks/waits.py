"""What a user waits for: whole commands, each in a process of its own, beside a script with Astropy and sep that does the same job.

    python tests/benchmarks/waits.py [--repeats 5] [--write]

Commands and script take turns; files are in memory. ``--write`` puts the table into docs/performance.md.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "accuracy"), str(HERE.parents[1] / "python")]

from astropy import units as u  # noqa: E402
from astropy.io import fits  # noqa: E402
from _fields import draw_field  # noqa: E402

import starassay  # noqa: E402

PAGE = HERE.parents[1] / "docs" / "performance.md"
#: The same job with general-purpose libraries: read, subtract the sky, find, size.
SCRIPT = """
import sys
import numpy as np
import sep
from astropy.io import fits
pixels = fits.getdata(sys.argv[1]).astype(np.float32)
sky = sep.Background(pixels)
pixels -= sky.back()
found = sep.extract(pixels, 5 * sky.globalrms)
radius, _ = sep.flux_radius(pixels, found["x"], found["y"], np.full(len(found), 12.0), 0.5)
print(len(found), np.median(radius))
"""


def draw(folder: Path) -> None:
    """A field of 24 megapixels and a pair of small frames."""
    fits.PrimaryHDU(draw_field((4000, 6000), 2300, dtype="uint16").pixels).writeto(
        folder / "field.fits"
    )
    modes = {5: 20 * u.nm, 7: 18 * u.nm, 11: 25 * u.nm}
    scope = starassay.SimulatedTelescope("bench", 120 * u.mm, 840 * u.mm, wavefront=modes)
    camera = starassay.SimulatedCamera(shape=(256, 256))
    pair = starassay.draw_defocused_pair(scope, camera=camera, size=256, seed=3)
    for frame, side in zip(pair[:2], ("inside", "outside")):
        starassay.write_frame(folder / f"{side}.fits", frame, pair[2])


def commands(folder: Path) -> dict[str, list[str]]:
    """What is timed, by what it is called in the table."""
    ours = [sys.executable, "-m", "starassay"]
    pair = [str(folder / f"{side}.fits") for side in ("inside", "outside")]
    scope = ["--aperture", "120mm", "--focal-length", "840mm"]
    return {
        "`starassay --help`": [*ours, "--help"],
        "`starassay about`": [*ours, "about"],
        "measuring stars, 24 megapixels": [
            *ours,
            "measure",
            "stars",
            str(folder / "field.fits"),
        ],
        "script with Astropy and sep, the same file": [
            sys.executable,
            "-c",
            SCRIPT,
            str(folder / "field.fits"),
        ],
        "measuring a wavefront, 2 x 256 x 256": [
            *ours,
            "measure",
            "wavefront",
            *pair,
            "--wavelength",
            "540nm",
            *scope,
        ],
    }


def main() -> int:
    """Time all commands in turns, print and perhaps write the table."""
    parser = argparse.ArgumentParser(description="Waits for whole commands.")
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--write", action="store_true", help="write docs/performance.md")
    args = parser.parse_args()
    path = os.pathsep.join(sys.path[:3])
    env = {**os.environ, "PYTHONPATH": path}
    # Installed packages come with their compiled modules.
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    times: dict[str, list[float]] = {}
    with tempfile.TemporaryDirectory() as folder:
        draw(Path(folder))
        for turn in range(args.repeats + 1):
            for name, command in commands(Path(folder)).items():
                start = time.perf_counter()
                subprocess.run(
                    command,
                    env=env,
                    check=True,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                )
                if turn:
                    times.setdefault(name, []).append(time.perf_counter() - start)
    lines = ["| command, from the shell to its end | least | median |", "|---|---|---|"]
    lines += [
        f"| {name} | {min(found):.2f} s | {statistics.median(found):.2f} s |"
        for name, found in times.items()
    ]
    text = "\n".join(lines)
    print(text)
    if args.write:
        from _write import write_section

        write_section("waits", text, PAGE)
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""The wait for a focus surface of nine 24-megapixel frames, against reading and converting the same files with Astropy and NumPy.

    python tests/benchmarks/focus_run.py [--stars 1500] [--repeats 3]

Both are timed in turns in one process with warm files; memory is the largest resident set of a process of its own for each, the runtime and
the libraries included.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from astropy import units as u
from astropy.io import fits

sys.path[:0] = [str(Path(__file__).resolve().parents[2] / "python")]

import starassay  # noqa: E402

SHAPE = (4000, 6000)
POSITIONS_UM = np.linspace(-240, 240, 9)
RATIO, PITCH_UM = 6.0, 3.76


def draw(folder: Path, stars: int) -> list[Path]:
    """Discs of a tilted bowl, blurred by a Gaussian: only the time matters here.

    Parameters
    ----------
    folder : Path
        Where the frames go.
    stars : int
        How many.
    """
    rng = np.random.default_rng(1)
    ny, nx = SHAPE
    x, y = rng.uniform(40, nx - 40, stars), rng.uniform(40, ny - 40, stars)
    light = 10 ** rng.uniform(4, 5.5, stars)
    half = np.hypot(nx, ny) / 2
    across, up = (x - nx / 2) / half, (y - ny / 2) / half
    focus = 30 * across - 20 * up + 25 * (across**2 + up**2)
    v, w = np.mgrid[-25:26, -25:26]
    paths = []
    for k, position in enumerate(POSITIONS_UM):
        image = rng.poisson(300, SHAPE).astype(np.float32)
        for cx, cy, e, z in zip(x, y, light, focus):
            disc = abs(position - z) / (2 * RATIO * PITCH_UM)
            ix, iy = int(cx), int(cy)
            r = np.hypot(w - (cx - ix), v - (cy - iy))
            # A disc with a soft edge, as wide as the seeing.
            stamp = 1 / (1 + np.exp((r - np.hypot(disc, 1.5)) / 0.8))
            image[iy - 25 : iy + 26, ix - 25 : ix + 26] += rng.poisson(e * stamp / stamp.sum())
        hdu = fits.PrimaryHDU(np.clip(image, 0, 65535).astype(np.uint16))
        hdu.header["FOCUSPOS"] = (float(position), "[um] sensor position")
        hdu.header["XPIXSZ"] = (PITCH_UM, "[um] pixel pitch")
        hdu.header["EGAIN"] = (1.0, "[electron/adu]")
        paths.append(folder / f"run-{k}.fits")
        hdu.writeto(paths[-1])
    return paths


def read(paths: list[Path]) -> None:
    """What is held against: nothing but reading and converting.

    Parameters
    ----------
    paths : list of Path
        The frames.
    """
    for path in paths:
        fits.getdata(path).astype(np.float32)


def measure(paths: list[Path]) -> starassay.FocusSurface:
    """The whole measurement from the files.

    Parameters
    ----------
    paths : list of Path
        The frames.
    """
    return starassay.measure_focus_surface(
        [str(p) for p in paths], focal_ratio=RATIO, wavelength=550 * u.nm
    )


def main() -> None:
    """Draw, time in turns, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stars", type=int, default=1500)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--only", choices=("read", "measure"), help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.only:
        {"read": read, "measure": measure}[args.only](sorted(args.folder.glob("run-*.fits")))
        # Not getrusage: its peak is inherited from the process that started this one.
        status = Path("/proc/self/status").read_text()
        print(re.search(r"VmHWM:\s*(\d+)", status)[1])  # type: ignore[index]
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        paths = draw(folder, args.stars)
        found = measure(paths)
        read(paths)
        times: dict[str, list[float]] = {"read": [], "measure": []}
        for _ in range(args.repeats):
            for what, run in (("read", read), ("measure", measure)):
                began = time.perf_counter()
                run(paths)
                times[what].append(time.perf_counter() - began)
        least = {what: min(all_of) for what, all_of in times.items()}
        print(
            f"{len(found.x)} stars in {len(paths)} frames of {SHAPE[1]} x {SHAPE[0]}: {found.sentences()[0]}"
        )
        print(
            f"read and convert {least['read']:.2f} s, measure {least['measure']:.2f} s: {least['measure'] / least['read']:.2f} x"
        )
        frame_mb = SHAPE[0] * SHAPE[1] * 4 / 1e6
        for what in times:
            command = [sys.executable, __file__, "--only", what, "--folder", name]
            kb = int(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
            print(
                f"largest memory of a process that does it ({what}): {kb / 1024:.0f} MB; one frame as float32: {frame_mb:.0f} MB"
            )


if __name__ == "__main__":
    main()

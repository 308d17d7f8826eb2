"""How long the wavefront over the field of a hundred stars takes: `python tests/benchmarks/wavefront_field.py`.

A pair is drawn by the simulator that judges the measurement; the processes with vectors of each width get the same files. No general
library does the same, so that these are bare times of the second of three measurements: on a quiet machine only.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1] / "python"), str(HERE.parent / "accuracy")]
os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np  # noqa: E402

WIDTHS = {512: {}, 256: {"DOTNET_EnableAVX512": "0"}, 128: {"DOTNET_EnableAVX2": "0"}}
SHAPE = (4100, 6200)


def drawn(seed: int, stars: int) -> tuple[np.ndarray, np.ndarray, dict[str, float]]:
    """Images inside and outside of focus, and the optics."""
    import dataclasses

    import _field_pairs

    rng = np.random.default_rng(seed)
    telescope = dataclasses.replace(
        _field_pairs.telescope_of(rng, "decentred group"), shape=SHAPE, focal_ratio=6.0
    )
    pair = _field_pairs.draw(seed, "decentred group", telescope, stars)
    optics = {
        "aperture": telescope.aperture_mm,
        "focal_length": telescope.aperture_mm * telescope.focal_ratio,
        "obstruction": telescope.obstruction,
        "pitch": telescope.pitch_um,
    }
    return pair.inside, pair.outside, optics


def measured(folder: Path, threads: int) -> dict[str, float]:
    """Stars, bits and the second measurement's seconds, by the clock and of the processors."""
    import starassay
    from astropy import units as u
    from starassay import _host

    optics = json.loads((folder / "optics.json").read_text(encoding="utf-8"))
    inside, outside = np.load(folder / "inside.npy"), np.load(folder / "outside.npy")
    scope = starassay.Telescope(
        optics["aperture"] * u.mm, optics["focal_length"] * u.mm, obstruction=optics["obstruction"]
    )
    found = []
    for _ in range(3):
        clock, work = time.perf_counter(), time.process_time()
        result = starassay.measure_wavefront_field(
            inside,
            outside,
            scope,
            wavelength=540 * u.nm,
            pitch=optics["pitch"] * u.um,
            gain=1 * u.electron / u.adu,
            read_noise=3 * u.electron,
            threads=threads,
        )
        found.append((time.perf_counter() - clock, time.process_time() - work))
    best = min(found[1:])
    bits = _host.about()["vector_bits"]
    return {"stars": len(result.table), "bits": bits, "wall": best[0], "work": best[1]}


def main() -> int:
    """Print a line for each width and number of threads."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--stars", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--widths", nargs="*", type=int, default=[512, 256], choices=sorted(WIDTHS))
    parser.add_argument("--measure", nargs=2, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.measure:
        print(json.dumps(measured(Path(args.measure[0]), int(args.measure[1]))))
        return 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        inside, outside, optics = drawn(args.seed, args.stars)
        np.save(folder / "inside.npy", inside)
        np.save(folder / "outside.npy", outside)
        (folder / "optics.json").write_text(json.dumps(optics), encoding="utf-8")
        for width in args.widths:
            for threads in (2, 1):
                one = json.loads(
                    subprocess.run(
                        [sys.executable, __file__, "--measure", name, str(threads)],
                        env={**os.environ, **WIDTHS[width]},
                        check=True,
                        capture_output=True,
                        text=True,
                    ).stdout
                )
                print(
                    f"{one['bits']} bits, {threads} thread(s): {one['stars']} stars fitted, {one['wall']:.2f} s by the clock, "
                    f"{one['work']:.2f} s of the processors",
                    flush=True,
                )
    return 0


if __name__ == "__main__":
    sys.exit(main())

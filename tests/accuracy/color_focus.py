"""Accuracy of color focus on telescopes drawn by `_spectra` (no code shared with the engine).

``PYTHONPATH=python /usr/bin/python3 tests/accuracy/color_focus.py --write``
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from _spectra import TELESCOPES, Telescope, draw
from _write import write_section
from astropy import units as u

from starassay import color_focus as cf
from starassay.frames import Frame

REACH = {"mirror": 300.0, "triplet": 250.0, "ED doublet": 500.0, "achromat": 1500.0}


def frame(pixels: np.ndarray, name: str) -> Frame:
    """With the camera that `draw` simulates."""
    return Frame(
        pixels,
        name=name,
        gain=1 * u.electron / u.adu,
        read_noise=4 * u.electron,
        saturation=200000 * u.adu,
        pitch=5 * u.um,
    )


def run_of(telescope: Telescope, reach: float, seeing: float, seed: int, steps: int) -> tuple:
    """Frames and positions of a focus run with seeing that varies from frame to frame."""
    rng = np.random.default_rng(seed)
    positions = np.linspace(-reach, reach, steps)
    frames = [
        frame(
            draw(
                telescope,
                p,
                seed=1000 * seed + i,
                seeing_arcsec=seeing * (1 + 0.08 * rng.normal()),
                width=900,
                height=150,
                first_nm=380,
                nm_per_px=0.42,
                electrons=1e7,
            ),
            f"s{i}",
        )
        for i, p in enumerate(positions)
    ]
    return frames, positions


def judge(curve: cf.ColorFocusCurve, telescope: Telescope) -> dict[str, float]:
    """Errors between 400 and 700 nm."""
    w = curve.wavelength.value
    good = curve.used & (w > 400) & (w < 700)
    truth = telescope.shift(w) - telescope.shift(np.array([curve.conditions["reference_nm"]]))
    bins = (curve.shift.value - truth)[good]
    smooth = (curve.smooth.value - truth)[good]
    return {
        "range": float(np.ptp(truth[good])),
        "bins": float(np.sqrt(np.mean(bins**2))),
        "smooth": float(np.sqrt(np.mean(smooth**2))),
        "bins_held": float(np.mean(np.abs(bins) < curve.shift_error.value[good])),
        "smooth_held": float(np.mean(np.abs(smooth) < curve.smooth_error.value[good])),
    }


def main() -> None:
    """Measure, print, write."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--seeing", type=float, nargs="+", default=[1.5, 4.0])
    parser.add_argument("--steps", type=int, default=9)
    args = parser.parse_args()
    wave = 380 + 0.42 * np.arange(900)
    lines = [
        "## Color focus",
        "",
        "Slitless spectra drawn by `tests/accuracy/_spectra.py`: A star with hydrogen lines, 10^7 electrons,",
        f"seeing varying by 8 % from frame to frame, {args.steps} positions; single spectra are those at the",
        "middle position. Errors over 400 to 700 nm. Bars: focus run 3 um RMS or 2 % of the range, single",
        "spectrum 10 % of the range, 68 % bands hold the truth 62 to 74 % of the time.",
        "",
        "| telescope | seeing | kind | true range | bins RMS | smooth RMS | share of range | bins held | smooth held | time |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    curves = {}
    for name, telescope in TELESCOPES.items():
        for seeing in args.seeing:
            frames, positions = run_of(
                telescope, REACH[name], seeing, 1 + int(10 * seeing), args.steps
            )
            common = {
                "wavelengths": wave * u.nm,
                "focal_ratio": telescope.focal_ratio,
                "focal_length": telescope.focal_mm,
                "obstruction": telescope.obstruction,
                "disperser": "parallel-grating",
                "band": (385, 750),
            }
            for kind in ("run", "single"):
                start = time.perf_counter()
                if kind == "run":
                    curve = cf.measure_color_focus(frames, positions=positions, **common)
                    curves[name] = curve
                else:
                    curve = cf.measure_color_focus(frames[len(frames) // 2], **common)
                spent = time.perf_counter() - start
                j = judge(curve, telescope)
                share = "" if j["range"] < 1 else f"{100 * j['smooth'] / j['range']:.2f} %"
                lines.append(
                    f'| {name} | {seeing:g}" | {kind} | {j["range"]:.0f} um | {j["bins"]:.2f} um | '
                    f'{j["smooth"]:.2f} um | {share} | {100 * j["bins_held"]:.0f} % | '
                    f'{100 * j["smooth_held"]:.0f} % | {spent:.1f} s |'
                )
                print(lines[-1], flush=True)
    comparison = cf.compare_color_focus(curves)
    order = " > ".join(comparison.names)
    lines += ["", f"Order of merit (polychromatic Strehl ratio, 400 to 700 nm): {order}.", ""]
    for name, curve in curves.items():
        a = curve.merit((400, 700), focus="best-in-focus").in_focus_fraction
        b = curve.merit((420, 680), focus="best-in-focus").in_focus_fraction
        lines.append(f"- {name}: in-focus fraction {a} at 400-700 nm, {b} at 420-680 nm")
    text = "\n".join(lines)
    print(text)
    if args.write:
        write_section("color-focus", text)


if __name__ == "__main__":
    main()

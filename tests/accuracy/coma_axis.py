"""Coma-free axis on drawn stars with known truth; makes the section of docs/accuracy.md.

    python tests/accuracy/coma_axis.py 400 5000 --frames 14 --keep frames.jsonl --write

The first number is that of drawn sets of stars of each kind, each star a coma with an error as large as its bar; `--frames` is that
of whole drawn frames, of which each tells how it went as soon as it is measured. Seeds below 1000 are those that were tuned on; judge
on others. Frames already in the file kept are not drawn again.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import sys
import time
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u

import _field_pairs
import starassay
from _write import write_section
from starassay import _records
from starassay._measure import measure
from starassay.measurements.coma_axis.result import ComaAxis

#: Seeds of whole frames begin here.
FIRST_FRAME = 700_000

KINDS = (
    "single paraboloid",
    "growth of 1 to 6 nm/mm",
    "corrected, growth below 0.2 nm/mm",
    "axis 1.5 to 6 corners away",
    "stars scatter 1.8 times their bars",
)


@dataclasses.dataclass(frozen=True)
class Row:
    """One place as told beside the truth, in mm and radians; without a verdict where it was refused or in doubt."""

    how: str
    axis: tuple[float, float]
    half: float
    verdict: str = ""
    place: tuple[float, float] = (np.nan, np.nan)
    bars: tuple[float, float] = (np.nan, np.nan)
    ellipse: tuple[float, float, float] = (np.nan, np.nan, np.nan)
    at_least: float = 0.0
    seconds: float = np.nan

    @property
    def off(self) -> complex:
        """Told place less the true one."""
        return complex(*self.place) - complex(*self.axis)


def row_of(how: str, point: starassay.ComaFreePoint, axis: complex, half: float) -> Row:
    """What is counted of a told place.

    Parameters
    ----------
    how : str
        What it was measured from.
    point : ComaFreePoint
        As the measurement gives it.
    axis : complex
        Where the truth is, mm.
    half : float
        Half the diagonal, mm.
    """

    def mm(*values: u.Quantity) -> tuple[float, ...]:
        return tuple(float(v.to_value(u.mm)) for v in values)

    return Row(
        how,
        (axis.real, axis.imag),
        half,
        str(point.verdict),
        mm(point.x.value, point.y.value),
        mm(point.x.uncertainty, point.y.uncertainty),
        (
            *mm(point.ellipse_long, point.ellipse_short),
            float(point.ellipse_angle.to_value(u.rad)),
        ),
        *mm(point.at_least),
    )


def slope_of(ratio: float) -> float:
    """nm of Noll 8 for each mm from the axis of a paraboloid: W131 = d / (32 N^3).

    Parameters
    ----------
    ratio : float
        Focal ratio.
    """
    return -1e6 / (32 * ratio**3 * 3 * np.sqrt(8))


def draw_stars(kind: str, seed: int) -> tuple[ComaAxis, complex, float]:
    """The engine's answer for one drawn set of stars, the true place in mm, and half the diagonal.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    seed : int
        Of all that is drawn.
    """
    rng = np.random.default_rng(seed)
    pitch = float(rng.choice([3.76, 6.0, 9.0]))
    wide, high = [(13.2, 8.8), (23.5, 15.7), (36.0, 24.0)][rng.integers(3)]
    half = np.hypot(wide, high) / 2
    n = int(rng.integers(3, 10))
    at = rng.uniform(-0.46, 0.46, n) * wide + 1j * rng.uniform(-0.46, 0.46, n) * high
    ratio = float(rng.uniform(4, 8))
    slope = slope_of(ratio)
    reach = rng.uniform(0, 1) * half
    if kind == KINDS[1]:
        slope = float(rng.choice([-1, 1]) * rng.uniform(1, 6))
    elif kind == KINDS[2]:
        slope = float(rng.uniform(-0.2, 0.2))
    elif kind == KINDS[3]:
        reach = rng.uniform(1.5, 6) * half
    axis = complex(reach * np.exp(2j * np.pi * rng.uniform()))
    bars = 10 ** rng.uniform(-0.3, 0.7, n)
    air = float(rng.uniform(0.1, 1.5))
    own = bars
    if kind == KINDS[4]:
        own = own * np.hypot(1, 1.5)  # what is wrong with every star's bar
    coma = slope * (at - axis) + own * (rng.normal(0, 1, n) + 1j * rng.normal(0, 1, n))
    if kind == KINDS[2]:
        middle = rng.choice([0.0, 1.0]) * rng.uniform(10, 60) * np.exp(2j * np.pi * rng.uniform())
        coma = coma + slope * axis + middle
        axis = complex(-middle / slope)
    coma = coma + air * complex(rng.normal(), rng.normal())
    shape = (round(high * 1000 / pitch), round(wide * 1000 / pitch))
    given = {
        "x": (at.real * 1000 / pitch + (shape[1] - 1) / 2) * u.pix,
        "y": (at.imag * 1000 / pitch + (shape[0] - 1) / 2) * u.pix,
        "coma_x": coma.real * u.nm,
        "coma_y": coma.imag * u.nm,
        "variance_x": bars**2 * u.nm**2,
        "variance_y": bars**2 * u.nm**2,
        "covariance": np.zeros(n) * u.nm**2,
        "air": np.full(n, air) * u.nm,
        "together": True,
        "width": shape[1],
        "height": shape[0],
        "pitch": pitch * u.um,
        "aperture": 150 * u.mm,
        "focal_length": 150 * ratio * u.mm,
        "wavelength": 540 * u.nm,
        "paraboloid": kind in (KINDS[0], KINDS[3]),
    }
    found = measure("coma_axis", _records.COMA_AXIS_REQUEST, ComaAxis, [], given=given)
    return found, axis, float(half)


def newtonian(seed: int) -> tuple[_field_pairs.Telescope, complex]:
    """One drawn Newtonian with its camera, and where its axis meets the sensor, mm from the middle.

    Parameters
    ----------
    seed : int
        Of all that is drawn.
    """
    rng = np.random.default_rng(seed)
    ratio, aperture = float(rng.uniform(4.5, 7)), float(rng.uniform(110, 220))
    hole = float(rng.uniform(0.2, 0.36))
    wide, high = [(13.2, 8.8), (17.6, 13.2)][rng.integers(2)]
    pitch = 7.5
    half = float(np.hypot(wide, high) / 2)
    axis = complex(rng.uniform(0, 0.7) * half * np.exp(2j * np.pi * rng.uniform()))
    slope = slope_of(ratio)

    def turned(size: float) -> complex:
        return complex(size * np.exp(2j * np.pi * rng.uniform()))

    drawn = _field_pairs.Telescope(
        aperture_mm=aperture,
        focal_ratio=ratio,
        obstruction=hole,
        pitch_um=pitch,
        shape=(int(high * 1000 / pitch), int(wide * 1000 / pitch)),
        axis_mm=0j,
        tilt_um_per_mm=turned(2.0),
        bend_um_per_mm2=float(rng.uniform(-1, 1)),
        astigmatism=(float(rng.uniform(-0.5, 0.5)), 0j, turned(rng.uniform(0, 12))),
        coma=(slope, -slope * axis),
        constant_nm={
            9: rng.normal(0, 5),
            10: rng.normal(0, 5),
            11: rng.normal(0, 15),
            **{k: rng.normal(0, 2) for k in range(12, 23)},
        },
    )
    return drawn, axis


def draw_frames(seed: int) -> list[Row]:
    """One drawn Newtonian's pair measured three ways.

    Parameters
    ----------
    seed : int
        Of all that is drawn.
    """
    t, axis = newtonian(seed)
    pair = _field_pairs.draw(seed, "few stars", t, stars=20)
    length = t.aperture_mm * t.focal_ratio
    scope = starassay.Telescope(t.aperture_mm * u.mm, length * u.mm, obstruction=t.obstruction)
    frames = [
        starassay.read_frame(
            image,
            gain=1 * u.electron / u.adu,
            read_noise=3 * u.electron,
            pitch=t.pitch_um * u.um,
            exposure=300 * u.s,
        )
        for image in (pair.inside, pair.outside)
    ]
    wave = _field_pairs.WAVELENGTH_NM * u.nm
    rows: list[Row] = []

    def tried(how: str, measured: Callable[[], Any]) -> None:
        begun = time.process_time()
        row = Row(how, (axis.real, axis.imag), t.half_mm)
        try:
            found = measured()
            # Where doubts stand no claim is decided.
            row = row if found.doubts else row_of(how, found.coma_free, axis, t.half_mm)
        except starassay.CannotMeasureError:
            pass
        rows.append(dataclasses.replace(row, seconds=time.process_time() - begun))

    tried(
        "one frame, six stars",
        lambda: starassay.measure_coma_axis(frames[0], scope, wavelength=wave, most_stars=6),
    )
    tried(
        "a pair, six stars",
        lambda: starassay.measure_coma_axis(frames, scope, wavelength=wave, most_stars=6),
    )
    tried(
        "wavefront over the field",
        lambda: starassay.measure_wavefront_field(*frames, scope, wavelength=wave),
    )
    return rows


def measure_frames(seeds: range, keep: Path | None) -> list[Row]:
    """All frames, in order; goes on where an earlier run stopped.

    Parameters
    ----------
    seeds : range
        Of the frames.
    keep : Path, optional
        File of frames done, a line each, read and added to.
    """
    done: dict[int, list[Row]] = {}
    if keep is not None and keep.exists():
        for line in keep.read_text(encoding="utf-8").splitlines():
            facts = json.loads(line)
            done[facts["seed"]] = [
                Row(**{k: tuple(v) if isinstance(v, list) else v for k, v in row.items()})
                for row in facts["rows"]
            ]
    for seed in seeds:
        if seed in done:
            continue
        done[seed] = draw_frames(seed)
        for row in done[seed]:
            print(f"{seed} {in_short(row)}", file=sys.stderr, flush=True)
        if keep is not None:
            kept = {"seed": seed, "rows": [dataclasses.asdict(row) for row in done[seed]]}
            with keep.open("a", encoding="utf-8") as file:
                file.write(json.dumps(kept) + "\n")
    return [row for seed in seeds for row in done[seed]]


def in_short(row: Row) -> str:
    """One line for whoever waits.

    Parameters
    ----------
    row : Row
        A frame measured in one way.
    """
    if row.verdict != "told":
        return f"{row.how}: {row.verdict or 'refused or in doubt'}, {row.seconds:.1f} s"
    pulls = row.off.real / row.bars[0], row.off.imag / row.bars[1]
    return (
        f"{row.how}: {1000 * row.off.real:+.0f} {1000 * row.off.imag:+.0f} um, {pulls[0]:+.2f} {pulls[1]:+.2f} bars, "
        f"{row.seconds:.1f} s"
    )


def figures(rows: list[Row]) -> dict[str, Any]:
    """Shares and coverage of places against the truth.

    Parameters
    ----------
    rows : list of Row
        Places with the truth.
    """
    told = [row for row in rows if row.verdict == "told"]
    pulls, errors, radial, ellipse = [], [], [], []
    for row in told:
        off, axis = row.off, complex(*row.axis)
        pulls += [off.real / row.bars[0], off.imag / row.bars[1]]
        errors.append(abs(off))
        radial.append(((off * axis.conjugate()).real / max(abs(axis), 1e-9)) / row.half)
        turned = off * np.exp(-1j * row.ellipse[2])
        ellipse.append((turned.real / row.ellipse[0]) ** 2 + (turned.imag / row.ellipse[1]) ** 2)
    bound = [row.at_least <= abs(complex(*row.axis)) for row in rows if row.at_least > 0]
    outside = [abs(complex(*row.axis)) > row.half for row in rows if row.verdict == "outside"]
    found = np.array(ellipse)
    return {
        "count": len(rows),
        "told": len(told),
        "outside": len(outside),
        "wrong_outside": outside.count(False),
        "held": float(np.mean(np.abs(pulls) < 1)) if pulls else float("nan"),
        "ellipse": float(np.mean(found < -2 * np.log(0.32))) if ellipse else float("nan"),
        "wrong_told": float(np.mean(found > -2 * np.log(0.01))) if ellipse else float("nan"),
        "radial": float(np.median(radial)) if radial else float("nan"),
        "errors": errors,
        "bound": float(np.mean(bound)) if bound else float("nan"),
        "bounds": len(bound),
    }


def share(value: float) -> str:
    """A share in per cent, a dash for none."""
    return "-" if not np.isfinite(value) else f"{100 * value:.0f} %"


def signed(value: float) -> str:
    """A signed error, a dash for none."""
    return "-" if not np.isfinite(value) else f"{value:+.4f}"


def section(sets: int, seed: int, frames: int, keep: Path | None = None) -> str:
    """The part of docs/accuracy.md.

    Parameters
    ----------
    sets, seed, frames : int
        As on the command line.
    keep : Path, optional
        File of frames done.
    """
    lines = [
        "## Coma-free axis",
        "",
        f"`python tests/accuracy/coma_axis.py {sets} {seed} --frames {frames} --write`. First {sets} drawn sets of 3 to 9 stars of each kind, bars of 0.5 to 5 nm,",
        "air of 0.1 to 1.5 nm in all alike, f/4 to f/8, sensors of 13 x 9 to 36 x 24 mm, the axis anywhere up to the corner. By the stars alone, and where it says so by",
        "a paraboloid's growth. *Told* is a place; *outside* a least distance beyond the corners (wrong where the truth lies nearer). Signed errors: of the told place along the",
        "direction from the middle to the truth, in half diagonals. *Wrong* are told places whose 99 % ellipse does not hold the truth (1 % by chance). Least distances hold 95 % or more.",
        "",
        "| kind | told | outside (wrong) | median signed error | 68 % bars hold | 68 % ellipses hold | wrong | least distances hold |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for kind in KINDS:
        base = 100_000 * (zlib.crc32(kind.encode()) % 1000) + seed
        made = [draw_stars(kind, base + k) for k in range(sets)]
        both = [("", [row_of("", f.coma_free, a, h) for f, a, h in made])]
        if made[0][0].coma_free_by_theory is not None:
            by_theory = [row_of("", f.coma_free_by_theory, a, h) for f, a, h in made]
            both.append((", by theory", by_theory))
        for name, rows in both:
            f = figures(rows)
            lines.append(
                f"| {kind}{name} | {f['told']} of {f['count']} | {f['outside']} ({f['wrong_outside']}) | {signed(f['radial'])} | "
                f"{share(f['held'])} | {share(f['ellipse'])} | {share(f['wrong_told'])} | {share(f['bound'])} of {f['bounds']} |"
            )
    if frames:
        first = FIRST_FRAME + seed
        done = measure_frames(range(first, first + frames), keep)
        lines += [
            "",
            f"Then {frames} Newtonians drawn by `tests/accuracy/_field_pairs.py` (110 to 220 mm, f/4.5 to f/7, obstruction 0.2 to 0.36, 20 stars, each with up to 1.6 nm of coma of its",
            "own), measured whole, by the stars alone.",
            "",
            "| from | told | refused or in doubt | error, 68 % / 95 % (um) | median signed error (half diagonals) | 68 % bars hold | 68 % ellipses hold | wrong |",
            "|---|---|---|---|---|---|---|---|",
        ]
        for how in dict.fromkeys(row.how for row in done):
            of = [row for row in done if row.how == how]
            good = [row for row in of if row.verdict]
            f = figures(good)
            errors = 1000 * np.array(f["errors"])
            lines.append(
                f"| {how} | {f['told']} of {len(of)} | {len(of) - len(good)} | {np.percentile(errors, 68):.0f} / {np.percentile(errors, 95):.0f} | "
                f"{signed(f['radial'])} | {share(f['held'])} | {share(f['ellipse'])} | {share(f['wrong_told'])} |"
            )
    return "\n".join(lines)


def main() -> None:
    """Draw, measure, print the section; write it where asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sets", nargs="?", type=int, default=40)
    parser.add_argument("seed", nargs="?", type=int, default=1)
    parser.add_argument("--frames", type=int, default=0, help="whole frames drawn beside")
    parser.add_argument("--keep", type=Path, help="file of frames done, read and added to")
    parser.add_argument(
        "--write", action="store_true", help="write the section of docs/accuracy.md"
    )
    args = parser.parse_args()
    text = section(args.sets, args.seed, args.frames, args.keep)
    print(text)
    if args.write:
        write_section("coma-axis", text)


if __name__ == "__main__":
    main()

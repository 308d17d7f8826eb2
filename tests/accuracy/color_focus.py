"""Accuracy of color focus on a population of drawn setups.

``PYTHONPATH=python /usr/bin/python3 tests/accuracy/color_focus.py --write``

The judging population (`_color_judging`) makes the table of ``docs/accuracy.md``; it was never looked at while the
measurement was tuned. ``--population tuning`` and ``varied`` score the other one (`_spectra`; with telescopes, cameras and
nights at random), for work on the measurement.
Figures are kept in ``color_focus.json`` beside this file, so that the work can be done in parts (``--kinds``).
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import _color_judging as judging
import _spectra as tuning
import numpy as np
from _write import write_section
from astropy import units as u

from starassay.measurements import color_focus as cf
from starassay.errors import StarAssayError
from starassay.imaging.frame import Frame

FIGURES = Path(__file__).with_suffix(".json")
SCALE_ERROR = 0.2  # columns, standard deviation of the wavelength scale's error
FRAMES = 7
KEEP: Path | None = None  # folder for drawn frames
WAYS = {
    "run": f"run of {FRAMES}",
    "out": "single, set out, rough hint",
    "in": "single, in focus, no hint",
}
SEEDS = [0, 1, 3, 4]
# Kinds whose bands a few draws do not settle: one error of the wavelength scale moves all bins of a draw together.
MORE = {("achromat", "out"): 12, ("long-violet lens", "out"): 12, ("achromat", "run"): 6}
LAMPS = (("Ne", "Ar"), ("Hg", "He"), ("Hg", "Ne", "Ar"), ("Ne", "He"), ("Kr", "Hg"))


@dataclasses.dataclass(frozen=True)
class Case:
    """One drawn telescope: what was drawn, and what the measurement is told."""

    population: str
    kind: str
    seed: int
    wave: np.ndarray
    pitch: float
    focal_ratio: float
    focal_mm: float
    obstruction: float
    slit: bool
    shift: Callable[[np.ndarray], np.ndarray]
    reach: float
    draw: Callable[[float, int], np.ndarray]  # sensor place and seed to pixels

    def frame(self, sensor: float, seed: int) -> Frame:
        """With the camera that was drawn; kept in the folder `KEEP`, if any."""
        kept = None
        if KEEP is not None:
            kept = KEEP / f"{self.population}-{self.kind}-{self.seed}-{seed}-{sensor:.2f}.npy"
        if kept is not None and kept.exists():
            pixels = np.load(kept)
        else:
            pixels = self.draw(sensor, seed)
            if kept is not None:
                np.save(kept, pixels)
        return Frame(
            pixels,
            name=f"s{seed}",
            gain=1 * u.electron / u.adu,
            read_noise=4 * u.electron,
            saturation=1e6 * u.adu,
            pitch=self.pitch * u.um,
        )


def judging_case(kind: str, seed: int) -> Case:
    """Of the judging population."""
    setup = judging.drawn_setup(kind, seed)

    def draw(sensor: float, at: int) -> np.ndarray:
        r = np.random.default_rng([17, seed, at])
        night = dataclasses.replace(setup, seeing=setup.seeing * (1 + 0.1 * r.normal()))
        return judging.expose(judging.light(night, sensor), 1000 * seed + at)

    return Case(
        "judging", kind, seed, setup.wave, setup.pitch, setup.focal_ratio, setup.focal_mm, setup.obstruction,
        setup.slit, setup.shift, setup.reach, draw,
    )  # fmt: skip


STEEP = ("achromat", "ED doublet", "steep violet")
TUNING_REACH = {
    "mirror": 300.0,
    "triplet": 250.0,
    "ED doublet": 500.0,
    "achromat": 1500.0,
    "steep violet": 400.0,
}


def tuning_case(kind: str, seed: int) -> Case:
    """Of the tuning population."""
    telescope = tuning.TELESCOPES[kind]
    r = np.random.default_rng([3, seed, len(kind)])
    seeing, blur, electrons = r.uniform(1.5, 4), r.uniform(0, 15), 10 ** r.uniform(6.6, 7.4)
    blur = 0.0 if seed % 4 == 0 else blur
    slit, balmer = bool(r.random() < 0.25), r.uniform(0.2, 0.65)
    wave = 380 + 0.42 * np.arange(900)

    def draw(sensor: float, at: int) -> np.ndarray:
        night = np.random.default_rng([19, seed, at])
        return tuning.draw(
            telescope,
            sensor,
            seed=1000 * seed + at,
            seeing_arcsec=seeing * (1 + 0.08 * night.normal()),
            width=900,
            height=150,
            first_nm=380,
            nm_per_px=0.42,
            electrons=electrons,
            nodes=240 if kind in STEEP else 90,
            blur_um=blur,
            slit=slit,
            balmer=balmer,
        )

    zero = telescope.shift(np.array([550.0]))
    return Case(
        "tuning", kind, seed, wave, 5.0, telescope.focal_ratio, telescope.focal_mm, telescope.obstruction,
        slit, lambda w: telescope.shift(w) - zero, TUNING_REACH[kind],
        lambda sensor, at: draw(sensor + float(zero[0]), at),
    )  # fmt: skip


def varied_case(kind: str, seed: int) -> Case:
    """Of the tuning drawing, with telescope, camera, star and night at random as well."""
    model = tuning.TELESCOPES[kind]
    r = np.random.default_rng([29, seed, len(kind)])
    # The drawing's images end 64 pixels from their middle, which an achromat's violet disc must not reach.
    large = kind == "achromat"
    size = r.uniform(0.5, 1.0 if large else 1.2)
    focal = model.focal_mm * size
    ratio = model.focal_ratio * r.uniform(0.85 if large else 0.75, 1.25)
    # Thin lenses: the curve goes with the focal length; another mix of glasses, with its strength.
    part = size * r.uniform(0.7, 1.3) * (0.6 if large else 1)
    telescope = tuning.Telescope(
        focal, focal / ratio, lambda w: part * model.shift(w), model.obstruction
    )
    pitch, step, first = (
        float(r.choice([5.0, 7.0] if large else [2.4, 3.8, 5.0, 7.0])),
        r.uniform(0.075, 0.11),
        r.uniform(370, 385),
    )
    width = int(min(1100, 385 / (step * pitch)))
    scene = {
        "width": width,
        "height": int(np.clip(750 / pitch, 150, 240)),
        "first_nm": first,
        "nm_per_px": 385 / width,
        "pitch_um": pitch,
        "electrons": 10 ** r.uniform(6.5, 7.4),
        "temperature": r.uniform(6600, 11000),
        "balmer": r.uniform(0.2, 0.6),
        "slit": bool(r.random() < 0.25),
        "blur_um": r.uniform(0, 15),
        "guiding_arcsec": r.uniform(0, 0.5),
        "outer_m": np.exp(r.uniform(np.log(8), np.log(60))),
    }
    seeing = r.uniform(1.5, 3.8)
    wave = first + scene["nm_per_px"] * np.arange(width)
    zero = telescope.shift(np.array([550.0]))
    reach = 0.45 * float(np.ptp(telescope.shift(np.linspace(400, 700, 61))))

    def draw(sensor: float, at: int) -> np.ndarray:
        night = np.random.default_rng([41, seed, at])
        return tuning.draw(
            telescope,
            sensor + float(zero[0]),
            seed=1000 * seed + at,
            seeing_arcsec=seeing * (1 + 0.1 * night.normal()),
            **{"nodes": 240 if kind in STEEP else 90, **scene},
        )

    return Case(
        "varied", kind, seed, wave, pitch, ratio, focal, telescope.obstruction, scene["slit"],
        lambda w: telescope.shift(w) - zero, max(reach, 6.6 * ratio**2), draw,
    )  # fmt: skip


POPULATIONS: dict[str, tuple[tuple[str, ...], Callable[[str, int], Case]]] = {
    "judging": (judging.KINDS, judging_case),
    "tuning": (tuple(tuning.TELESCOPES), tuning_case),
    "varied": (tuple(tuning.TELESCOPES), varied_case),
}


def judge(curve: cf.ColorFocusCurve, case: Case, sensor: float) -> dict[str, Any]:
    """Errors between 400 and 700 nm."""
    w = curve.wavelength.value
    good = curve.used & (w > 400) & (w < 700)
    truth = case.shift(w) - case.shift(np.array([curve.reference.value]))
    bins, smooth = (curve.shift.value - truth)[good], (curve.smooth.value - truth)[good]
    bins_bar, smooth_bar = of(curve, "shift")[good], of(curve, "smooth")[good]
    away = np.abs(case.shift(w) - sensor)[good]  # true size of the defocus
    size, size_bar = curve.defocus_size.value[good], of(curve, "defocus_size")[good]
    return {
        "range": float(np.ptp(truth[good])),
        "depth": 1.1 * case.focal_ratio**2,
        "bins": rms(bins),
        "smooth": rms(smooth),
        "signed": float(np.mean(smooth)),
        "bar": float(np.median(smooth_bar)),
        "pull": rms(smooth / smooth_bar),
        "worst": float(np.max(np.abs(smooth / smooth_bar))),
        "bins_held": float(np.mean(np.abs(bins) < bins_bar)),
        "smooth_held": float(np.mean(np.abs(smooth) < smooth_bar)),
        "size": rms(size - away),
        "size_held": float(np.mean(np.abs(size - away) < size_bar)),
        "decided": bool(curve.signs_decided),
        "wrong_sign": wrong_sign(curve, case, sensor, good, away),
        "chi": float(curve.noise_scale),
    }


def wrong_sign(
    curve: cf.ColorFocusCurve, case: Case, sensor: float, good: np.ndarray, away: np.ndarray
) -> bool:
    """Whether a curve called decided has a color on the wrong side of the sensor, beyond two of its bars.

    Without a hint the sign of the whole is an assumption, as the result says: both are tried.
    """
    if curve.from_focus_run or not curve.signs_decided:
        return False
    zero = float(curve.reference_focus.value.value)
    found = (curve.smooth.value + zero)[good]
    true = (case.shift(curve.wavelength.value) - sensor)[good]
    sure = curve.sign_decided[good] & (away > 2 * of(curve, "smooth")[good])
    hinted = "defocus_um" in curve.conditions["request"]
    wrong = [np.any(sure & (side * found * true < 0)) for side in ((1,) if hinted else (1, -1))]
    return bool(min(wrong))


def of(curve: cf.ColorFocusCurve, name: str) -> np.ndarray:
    """Standard uncertainty of a column of the curve."""
    return np.asarray(getattr(curve, f"{name}_uncertainty").value)


def rms(values: np.ndarray) -> float:
    """Root of the mean square."""
    return float(np.sqrt(np.mean(np.asarray(values) ** 2)))


def same_height(frames: list[Frame], seed: int) -> list[Frame]:
    """Frames with rows of empty sky added above and below, to the height of the highest."""
    height = max(f.shape[0] for f in frames)
    r = np.random.default_rng([23, seed])
    result = []
    for frame in frames:
        pixels = np.asarray(frame.pixels, float)
        sky = float(np.median(np.r_[pixels[:6], pixels[-6:]]))
        noise = float(np.std(np.r_[pixels[:6], pixels[-6:]][:, ::7].clip(sky - 60, sky + 60)))
        missing = height - pixels.shape[0]
        rows = r.normal(sky, noise, (missing, pixels.shape[1]))
        whole = np.r_[rows[: missing // 2], pixels, rows[missing // 2 :]].astype(np.float32)
        result.append(dataclasses.replace(frame, pixels=whole))
    return result


def measured(case: Case, ways: list[str]) -> Iterator[tuple[str, dict[str, Any], Any]]:
    """Way, judgment and curve."""
    positions = np.linspace(-case.reach, case.reach, FRAMES)
    r = np.random.default_rng([5, case.seed])
    shift = SCALE_ERROR * float(np.median(np.diff(case.wave))) * r.normal()
    common: dict[str, Any] = {
        "wavelengths": (case.wave + shift) * u.nm,
        "focal_ratio": case.focal_ratio,
        "focal_length": case.focal_mm * u.mm,
        "obstruction": case.obstruction,
        "disperser": "parallel-grating",
        "limits": (388, 750) * u.nm,
        "wavelength_uncertainty": SCALE_ERROR,
    }
    # Set out far enough that all colors lie on one side, as docs/color-focus.md asks.
    w = np.linspace(386, 752, 80)
    outside = float(r.choice([-1, 1]))
    depth = 1.1 * case.focal_ratio**2
    edge = np.max(outside * case.shift(w)) + np.clip(8 * depth, 150, 400)
    out = outside * float(np.clip(edge, 200, 1500))
    for way in ways:
        start = time.process_time()
        sensor = 0.0
        try:
            if way == "run":
                frames = same_height([case.frame(p, i) for i, p in enumerate(positions)], case.seed)
                start = time.process_time()
                curve = cf.measure_color_focus(frames, positions=positions * u.um, **common)
            else:
                sensor = out if way == "out" else float(r.normal(0, 0.2) * depth)
                hint = sensor * float(np.exp(r.normal(0, 0.15))) * u.um if way == "out" else None
                frame = case.frame(sensor, 50 if way == "out" else 60)
                start = time.process_time()
                curve = cf.measure_color_focus(frame, defocus=hint, **common)
        except StarAssayError as e:
            yield way, {"refused": str(e)}, None
            continue
        yield way, {**judge(curve, case, sensor), "time": time.process_time() - start}, curve


def with_more(seeds: list[int], population: str, kind: str, way: str) -> list[int]:
    """The seeds, and the next ones for what is judged on more draws; only where the seeds are those of the page."""
    if population != "judging" or seeds != SEEDS:
        return seeds
    missing = MORE.get((kind, way), len(seeds)) - len(seeds)
    return seeds + [max(seeds) + 1 + k for k in range(missing)]


def gather(population: str, kind: str, seeds: list[int], ways: list[str], say: bool) -> list[dict]:
    """One record for each way of measuring."""
    found: dict[str, list[dict]] = {w: [] for w in ways}
    refused = dict.fromkeys(ways, 0)
    wanted = {w: with_more(seeds, population, kind, w) for w in ways}
    for seed in max(wanted.values(), key=len, default=[]):
        case = POPULATIONS[population][1](kind, seed)
        for way, judgment, _ in measured(case, [w for w in ways if seed in wanted[w]]):
            if "refused" in judgment:
                refused[way] += 1
                print(f"refused: {kind} {seed} {way}: {judgment['refused']}", flush=True)
                continue
            found[way].append(judgment)
            if say:
                print(
                    f"  {kind} {seed} {way}: " + " ".join(
                        f"{k} {v:.3g}" for k, v in judgment.items() if k not in ("decided",)
                    ) + f" decided {judgment['decided']}",
                    flush=True,
                )  # fmt: skip
    records = []
    for way, rows in found.items():
        if not rows:
            continue
        record: dict[str, Any] = {"telescope": kind, "kind": way, "draws": len(rows)}
        record["refused"] = refused[way]
        for key in ("bins", "smooth", "size", "signed", "range", "bar", "depth", "time", "chi"):
            values = np.array([r[key] for r in rows])
            record[key] = float(np.median(values))
        record["signed_error"] = float(
            np.std([r["signed"] / r["bar"] for r in rows]) / np.sqrt(len(rows))
        )
        record["signed_bars"] = float(np.mean([r["signed"] / r["bar"] for r in rows]))
        record["pull"] = rms(np.array([r["pull"] for r in rows]))
        record["worst"] = max(r["worst"] for r in rows)
        record["smooth_worst"] = max(r["smooth"] for r in rows)
        record["wrong_sign"] = sum(r["wrong_sign"] for r in rows)
        for key in ("bins_held", "smooth_held", "size_held", "decided"):
            values = np.array([float(r[key]) for r in rows])
            record[key] = float(values.mean())
            spread = values.std(ddof=1) / np.sqrt(len(values)) if len(values) > 1 else np.nan
            record[f"{key}_error"] = float(spread)
        records.append(record)
        print(line(record), flush=True)
    return records


def share(record: dict[str, Any], key: str) -> str:
    """Percent with the scatter of its mean."""
    error = record[f"{key}_error"]
    tail = f" ± {100 * error:.0f}" if np.isfinite(error) else ""
    return f"{100 * record[key]:.0f}{tail} %"


HEAD = (
    "| telescope | way | draws | true range | smooth curve off, median / worst | its bar | signed, in bars "
    "| pull | bins held | smooth held | size off | size held | signs decided | of them wrong | CPU time |"
)


def line(r: dict[str, Any]) -> str:
    """A row of the table."""
    single = r["kind"] != "run"
    size = f"{r['size']:.1f} um" if single else ""
    signs = f"{100 * r['decided']:.0f} %" if single else ""
    return (
        f"| {r['telescope']} | {WAYS[r['kind']]} | {r['draws']} | {r['range']:.0f} um | "
        f"{r['smooth']:.2f} / {r['smooth_worst']:.1f} um | {r['bar']:.2f} um | "
        f"{r['signed_bars']:+.2f} ± {r['signed_error']:.2f} | {r['pull']:.2f} | {share(r, 'bins_held')} | "
        f"{share(r, 'smooth_held')} | {size} | {share(r, 'size_held') if single else ''} | {signs} | "
        f"{r['wrong_sign'] if single else ''} | {r['time']:.1f} s |"
    )


def shortfalls(records: list[dict[str, Any]]) -> list[str]:
    """Where the figures miss the bars, from the figures alone."""
    known = {(r["telescope"], r["kind"]) for r in records}
    found = [
        f"{kind}, {WAYS[way]}: not measured by this version"
        for kind in judging.KINDS
        for way in WAYS
        if (kind, way) not in known
    ]
    for r in records:
        where = f"{r['telescope']}, {WAYS[r['kind']]}"
        if r["kind"] == "run" and r["smooth_worst"] > max(3.0, 0.02 * r["range"]):
            found.append(
                f"{where}: worst curve off by {r['smooth_worst']:.1f} um RMS (bar 3 um or 2 %)"
            )
        if r["kind"] == "out" and r["smooth_worst"] > max(0.1 * r["range"], r["depth"]):
            found.append(
                f"{where}: worst curve off by {r['smooth_worst']:.1f} um RMS (bar 10 % or a depth of focus)"
            )
        if r["wrong_sign"] > 0.01 * r["draws"]:
            found.append(
                f"{where}: {r['wrong_sign']} of {r['draws']} wrong signs called decided (bar 1 %)"
            )
        for key, what in (("bins_held", "bins"), ("smooth_held", "smooth curve")):
            if not 0.62 <= r[key] <= 0.74:
                found.append(f"{where}: bands of the {what} hold {share(r, key)} (bar 62 to 74 %)")
        if r["refused"]:
            found.append(f"{where}: {r['refused']} more were refused")
    return found


def scales(seeds: list[int], say: bool) -> dict[str, Any]:
    """How far wavelength scales from drawn lamps, and from stars alone, are off."""
    kept: dict[str, Any] = {}
    for way in ("lamp", "star"):
        off, pulls, held, refused, edges = [], [], [], 0, []
        for seed in seeds:
            kind = judging.KINDS[seed % len(judging.KINDS)]
            setup = judging.drawn_setup(kind, 5000 + seed)
            rough = [0.8 * setup.nm_per_px, 1.25 * setup.nm_per_px] * u.nm / u.pix
            try:
                if way == "lamp":
                    gases = LAMPS[seed % len(LAMPS)]
                    scale = cf.calibrate_wavelengths(
                        judging.lamp(setup, gases, seed), lamps=gases, dispersion=rough
                    )
                else:
                    setup = dataclasses.replace(setup, slit=True, electrons=1e7)
                    pixels = judging.expose(judging.light(setup, 0.0), 7000 + seed)
                    star = cf.reduce_spectrum(
                        Frame(pixels, gain=1 * u.electron / u.adu, pitch=setup.pitch * u.um),
                        line_depth=0,
                    )
                    scale = cf.calibrate_wavelengths(star, star=True, dispersion=rough)
            except StarAssayError as e:
                refused += 1
                if say:
                    print(f"  {way} {seed}: refused: {e}", flush=True)
                continue
            use = (setup.wave > 400) & (setup.wave < 700)
            error = (scale.wavelength.value - setup.wave) / setup.nm_per_px
            off.append(rms(error[use]))
            edges.append(float(np.max(np.abs(error[use]))))
            bar = scale.uncertainty.value / setup.nm_per_px
            pulls.append(rms(error[use] / bar[use]))
            held.append(float(np.mean(np.abs(error[use]) < bar[use])))
            if say:
                print(
                    f"  {way} {seed} {kind}: off {off[-1]:.3f}, at worst {edges[-1]:.2f} columns "
                    f"pull {pulls[-1]:.2f}",
                    flush=True,
                )
        kept[way] = {
            "draws": len(off),
            "refused": refused,
            "off": float(np.median(off)) if off else np.nan,
            "off_worst": max(off, default=np.nan),
            "edge_worst": max(edges, default=np.nan),
            "pull": rms(np.array(pulls)) if pulls else np.nan,
            "held": float(np.mean(held)) if held else np.nan,
            "held_error": float(np.std(held) / np.sqrt(len(held))) if held else np.nan,
        }
        print(scale_line(way, kept[way]), flush=True)
    return kept


def scale_line(way: str, r: dict[str, Any]) -> str:
    """A row of the table of wavelength scales."""
    name = {"lamp": "one or two lamps, blends", "star": "the star's own lines"}[way]
    return (
        f"| {name} | {r['draws']} | {r['refused']} | {r['off']:.3f} / {r['off_worst']:.2f} | "
        f"{r['edge_worst']:.2f} | {r['pull']:.2f} | {share(r, 'held')} |"
    )


def scale_table(scales: dict[str, Any]) -> list[str]:
    """How far wavelength scales are off; nothing where none was measured."""
    if not scales:
        return ["No wavelength scales were drawn (`--kinds scales`).", ""]
    return [
        "Wavelength scales of the same population, 400 to 700 nm, in columns (median / worst RMS, worst column):",
        "",
        "| from | solved | refused | off | at worst | pull | held |",
        "|---|---|---|---|---|---|---|",
        *(scale_line(way, scales[way]) for way in scales),
        "",
    ]


def page(kept: dict[str, Any], seeds: int) -> str:
    """The section."""
    rank, order = list(WAYS), list(judging.KINDS)
    records = sorted(
        kept["records"], key=lambda r: (rank.index(r["kind"]), order.index(r["telescope"]))
    )
    lines = [
        "## Color focus",
        "",
        "`PYTHONPATH=python /usr/bin/python3 tests/accuracy/color_focus.py --write` on the judging population that",
        f"`tests/accuracy/_color_judging.py` draws, {seeds} setups of each kind (more in some rows): focal ratio, pixels, spectrograph blur of 0 to",
        "15 um FWHM, guiding, seeing with an outer scale of 8 to 60 m, star (6,600 to 11,500 K, metal lines), light, curved",
        f"wavelength scale and its error ({SCALE_ERROR} columns, standard deviation) at random; a quarter through a slit. Nothing was tuned",
        "on it. Errors over 400 to 700 nm. Pull: error over its bar, root mean square. Held: share of the bins whose 68 % band",
        "holds the truth, with its scatter from setup to setup. Size: of the defocus without its sign. Bars: focus run 3 um RMS",
        "or 2 % of the range, set out 10 % or a depth of focus, bands 62 to 74 % in every row, wrong signs 1 %.",
        "",
        HEAD,
        "|" + "---|" * (HEAD.count("|") - 1),
        *(line(r) for r in records),
        "",
        *scale_table(kept.get("scales", {})),
        "Falls short of the bars:",
        "",
        *([f"- {text}" for text in shortfalls(records)] or ["- nothing"]),
    ]
    return "\n".join(lines)


def main() -> None:
    """Measure, print, keep, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--population", choices=list(POPULATIONS), default="judging")
    parser.add_argument("--write", action="store_true", help="make the section of the page")
    parser.add_argument("--telescopes", nargs="*", help="kinds; all by default")
    parser.add_argument("--kinds", nargs="*", default=[*WAYS, "scales"])
    parser.add_argument("--seeds", type=int, nargs="*", default=SEEDS, help="of the setups")
    parser.add_argument("--light", type=Path, help="folder that keeps what was drawn")
    parser.add_argument("--say", action="store_true", help="print every draw")
    args = parser.parse_args()
    global KEEP
    KEEP = args.light
    known, _ = POPULATIONS[args.population]
    keep = args.population == "judging" and args.seeds == parser.get_default("seeds")
    kept: dict[str, Any] = {"records": [], "scales": {}}
    if keep and FIGURES.exists():
        kept = json.loads(FIGURES.read_text(encoding="utf-8"))
    ways = [k for k in args.kinds if k in WAYS]
    seeds = args.seeds
    telescopes = known if args.telescopes is None else args.telescopes
    for name in telescopes if ways else ():
        records = gather(args.population, name, seeds, ways, args.say)
        kept["records"] = [
            r for r in kept["records"] if r["telescope"] != name or r["kind"] not in ways
        ] + records
        if keep:
            FIGURES.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    if "scales" in args.kinds:
        kept["scales"] = scales([100 * s + k for s in seeds for k in range(4)], args.say)
        if keep:
            FIGURES.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    if keep:
        text = page(kept, len(seeds))
        print(text)
        if args.write:
            write_section("color-focus", text)


if __name__ == "__main__":
    main()

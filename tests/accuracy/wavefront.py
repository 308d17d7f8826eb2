"""Accuracy of the wavefront fit on simulated pairs: two tables and the traps.

    python tests/accuracy/wavefront.py [--pairs 300] [--hard 100] [--jobs 2] [--write]
                                       [--cache FOLDER] [--keep FILE]

``--cache`` keeps the drawn pairs (the hard ones take a while), ``--keep`` the judged ones, so that an
interrupted run goes on where it stopped. ``--write`` fills docs/accuracy.md.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import multiprocessing
import os
import sys
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).resolve().parent
for folder in (HERE, HERE.parents[1] / "python"):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))
os.environ.setdefault("OMP_NUM_THREADS", "1")

from _pair_fits import EXACTLY_KNOWN, MAIN, Judged, judge  # noqa: E402
from _write import write_section  # noqa: E402
from pairs.cache import drawn  # noqa: E402
from pairs.draw import draw_pair  # noqa: E402
from pairs.populations import Trap, easy_case, hard_case, traps  # noqa: E402


def judge_case(kind: str, number: int, cache: str | None) -> Judged:
    """Draw and fit one case; what is not a refusal by design is reported as a crash."""
    case = easy_case(number) if kind == "easy" else hard_case(number)
    pair = drawn(case, Path(cache) if cache else None)
    tags = tuple(sorted(case.tags))
    try:
        known = {"known_to": EXACTLY_KNOWN} if kind == "easy" else {}
        return judge(pair, number, tags, **known)
    except Exception as error:  # one crash must not hide the other results
        return Judged(number, tags, case.setup.flux_e, refused=f"crash: {type(error).__name__}")


def judge_many(
    kind: str, count: int, jobs: int, cache: str | None, keep: Path | None
) -> list[Judged]:
    """All cases of a kind, in order of their numbers."""
    done = _kept(kind, count, keep)
    left = [k for k in range(count) if k not in done]
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=jobs, mp_context=context) as pool:
        running = [pool.submit(judge_case, kind, k, cache) for k in left]
        for finished in as_completed(running):
            found = finished.result()
            done[found.number] = found
            _keep(kind, found, keep)
            print(f"{kind} {found.number}: {_in_short(found)}", file=sys.stderr, flush=True)
    return [done[k] for k in sorted(done)]


def _kept(kind: str, count: int, keep: Path | None) -> dict[int, Judged]:
    """What an earlier run left."""
    done: dict[int, Judged] = {}
    if keep is not None and keep.exists():
        for line in keep.read_text(encoding="utf-8").splitlines():
            facts = json.loads(line)
            if facts.pop("kind") == kind and facts["number"] < count:
                facts["pulls"] = {int(j): p for j, p in facts["pulls"].items()}
                facts["tags"], facts["notes"] = tuple(facts["tags"]), tuple(facts["notes"])
                done[facts["number"]] = Judged(**facts)
    return done


def _keep(kind: str, found: Judged, keep: Path | None) -> None:
    if keep is not None:
        with keep.open("a", encoding="utf-8") as file:
            file.write(json.dumps({"kind": kind, **dataclasses.asdict(found)}) + "\n")


def _in_short(j: Judged) -> str:
    if j.refused:
        return f"refused ({j.refused})"
    return (
        f"map {j.map_error_nm:.2f} nm, predicted {j.map_predicted_nm:.2f}, "
        f"allowed {j.map_allowed_nm:.2f}, chi2/N {j.chi2:.3f}, {j.modes} modes, "
        f"{j.seconds:.1f} s {' '.join(j.notes)}"
    )


# ---------------------------------------------------------------- figures

DISAGREE = "wavefront.methods-disagree"
FINER = "wavefront.more-modes"


def _values(fits: Iterable[Judged], value: Callable[[Judged], float]) -> np.ndarray:
    return np.array([value(j) for j in fits], dtype=float)


def _median_95(values: np.ndarray, form: str = "{:.2f}") -> str:
    if values.size == 0:
        return "-"
    return f"{form.format(np.median(values))} / {form.format(np.quantile(values, 0.95))}"


def ratio(j: Judged) -> float:
    """Map error over the error that the fit predicts of itself."""
    return j.map_error_nm / j.map_predicted_nm


def is_failure(j: Judged) -> bool:
    """Far off and not said: beyond 5 nm and three times what the error bars allow."""
    return not j.refused and j.decided and j.map_error_nm > max(5.0, 3.0 * j.map_allowed_nm)


def coverage(fits: Sequence[Judged]) -> dict[str, float]:
    """Share of 68 % intervals that hold the truth, in per cent."""
    found = {}
    pulls = [p for j in fits for n, p in j.pulls.items() if n in MAIN]
    found["main coefficients"] = 100 * float(np.mean(np.abs(pulls) < 1.0)) if pulls else np.nan
    for name, error, bar in (
        ("RMS", "rms_error_nm", "rms_bar_nm"),
        ("Strehl ratio", "strehl_error", "strehl_bar"),
    ):
        inside = [abs(getattr(j, error)) < getattr(j, bar) for j in fits]
        found[name] = 100 * float(np.mean(inside)) if inside else np.nan
    return found


def _mark(good: bool, enough: bool = True) -> str:
    if not enough:
        return "too few to say"
    return "reached" if good else "**falls short**"


def easy_summary(fits: Sequence[Judged]) -> str:
    """The bars of the easy half, each with its figure and its mark."""
    good = [j for j in fits if not j.refused]
    ratios = _values(good, ratio)
    bright = [j for j in good if j.flux_e > 3e7]
    chi2 = _values(good, lambda j: j.chi2)
    lines = ["| what | found | bar | |", "|---|---|---|---|"]

    def line(what: str, found: str, bar: str, reached: bool, enough: bool = True) -> None:
        lines.append(f"| {what} | {found} | {bar} | {_mark(reached, enough)} |")

    if not good:
        return f"All {len(fits)} pairs were refused."
    within = 100 * np.mean(ratios <= 1.5)
    line(
        "map error / predicted error, median / 95 %",
        f"{_median_95(ratios)}; {within:.0f} % within 1.5",
        "95 % within 1.5",
        bool(np.quantile(ratios, 0.95) <= 1.5),
    )
    maps = np.abs(_values(bright, lambda j: j.map_error_nm))
    strehls = np.abs(_values(bright, lambda j: j.strehl_error))
    some = len(bright) >= 10
    line(
        f"map error above 3e7 e- ({len(bright)} pairs), nm, median / 95 %",
        _median_95(maps),
        "0.5 / 1.5",
        some and bool(np.median(maps) < 0.5 and np.quantile(maps, 0.95) < 1.5),
        some,
    )
    line(
        "Strehl error above 3e7 e-, median / 95 %",
        _median_95(strehls, "{:.4f}"),
        "0.001 / 0.003",
        some and bool(np.median(strehls) < 0.001 and np.quantile(strehls, 0.95) < 0.003),
        some,
    )
    inside = 100 * np.mean((chi2 >= 0.95) & (chi2 <= 1.1))
    line(
        "chi2/N, median / 95 %",
        f"{_median_95(chi2, '{:.3f}')}; {inside:.0f} % within 0.95-1.1",
        "0.95-1.1",
        bool(inside >= 95),
    )
    for name, share in coverage(good).items():
        line(
            f"68 % interval of {name} holds the truth",
            f"{share:.0f} %",
            "62-74 %",
            62 <= share <= 74,
            len(good) >= 50,
        )
    false = [j for j in good if DISAGREE in j.notes and j.map_error_nm <= 3.0 * j.map_predicted_nm]
    line(
        "fits that are right, yet contradicted by the linear method",
        f"{len(false)} of {len(good)} ({100 * len(false) / len(good):.0f} %)",
        "5 % at most",
        len(false) <= 0.05 * len(good),
    )
    failures = [j for j in fits if is_failure(j)]
    line("failures (far off in silence)", str(len(failures)), "0", not failures)
    refused = [j for j in fits if j.refused]
    line("refused", f"{len(refused)} of {len(fits)}", "0", not refused)
    return "\n".join(lines)


def split_table(
    fits: Sequence[Judged], conditions: Sequence[tuple[str, Callable[[Judged], bool]]]
) -> str:
    """The same figures for parts of a set."""
    lines = [
        "| pairs | n | map error, nm | / predicted | / error bars | Strehl error | chi2/N "
        "| decided | refused | far off in silence | notes raised |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for name, belongs in conditions:
        part = [j for j in fits if belongs(j)]
        if not part:
            continue
        good = [j for j in part if not j.refused]
        notes = [n for j in good for n in j.notes]
        raised = ", ".join(f"{n} {notes.count(n)}" for n in sorted(set(notes))) or "none"
        lines.append(
            f"| {name} | {len(part)} | {_median_95(_values(good, lambda j: j.map_error_nm))} "
            f"| {_median_95(_values(good, ratio))} "
            f"| {_median_95(_values(good, lambda j: j.map_error_nm / j.map_allowed_nm))} "
            f"| {_median_95(np.abs(_values(good, lambda j: j.strehl_error)), '{:.4f}')} "
            f"| {_median_95(_values(good, lambda j: j.chi2), '{:.3f}')} "
            f"| {sum(j.decided for j in good)} | {len(part) - len(good)} "
            f"| {sum(map(is_failure, part))} | {raised} |"
        )
    return "\n".join(lines)


def _tagged(tag: str) -> tuple[str, Callable[[Judged], bool]]:
    return tag, lambda j: tag in j.tags


def _between(low: float, high: float, name: str) -> tuple[str, Callable[[Judged], bool]]:
    return name, lambda j: low <= j.flux_e < high


EASY_PARTS = (
    ("all", lambda j: True),
    _between(3e5, 1e6, "3e5 to 1e6 e-"),
    _between(1e6, 1e7, "1e6 to 1e7 e-"),
    _between(1e7, 3e7, "1e7 to 3e7 e-"),
    _between(3e7, 1.01e8, "above 3e7 e-"),
    *map(
        _tagged,
        "clear,obstructed,vanes declared,band,unequal,decentred,companion,clipped,"
        "hot pixels,cosmic rays".split(","),
    ),
)

HARD_PARTS = (
    ("all", lambda j: True),
    *map(_tagged, "turbulence alone,edge,zone,modes,focal,obstruction,vanes".split(",")),
)


def hard_summary(fits: Sequence[Judged]) -> str:
    """What the hard half must show: errors covered by the bars, or said."""
    good = [j for j in fits if not j.refused]
    if not good:
        return f"All {len(fits)} pairs were refused."
    silent = [j for j in good if j.decided]
    covered = _values(silent, lambda j: j.map_error_nm / j.map_allowed_nm)
    lines = ["| what | found | bar | |", "|---|---|---|---|"]
    if silent:
        lines.append(
            f"| map error of fits that call themselves decided ({len(silent)}), nm, median / 95 % "
            f"| {_median_95(_values(silent, lambda j: j.map_error_nm))} | a few nm "
            f"| {_mark(float(np.median(_values(silent, lambda j: j.map_error_nm))) < 4.0)} |"
        )
        lines.append(
            f"| their map error / error bars, median / 95 % | {_median_95(covered)} "
            f"| 95 % within 2 | {_mark(float(np.quantile(covered, 0.95)) <= 2.0)} |"
        )
        for name, share in coverage(silent).items():
            lines.append(
                f"| 68 % interval of {name} holds the truth | {share:.0f} % | not below 62 % "
                f"| {_mark(share >= 62, len(silent) >= 30)} |"
            )
    for tag in ("edge", "zone", "modes"):
        part = [j for j in good if tag in j.tags]
        said = [j for j in part if not j.decided or FINER in j.notes]
        if part:
            lines.append(
                f"| {tag}: finer than the modes fitted, and said | {len(said)} of {len(part)} "
                f"| all | {_mark(len(said) == len(part))} |"
            )
    rest = [j for j in good if not {"edge", "zone", "modes"} & set(j.tags)]
    false = [j for j in rest if FINER in j.notes]
    if rest:
        lines.append(
            f"| the others: finer modes asked for without need | {len(false)} of {len(rest)} "
            f"| 10 % at most | {_mark(len(false) <= 0.1 * len(rest))} |"
        )
    failures = [j for j in fits if is_failure(j)]
    lines.append(
        f"| far off in silence | {len(failures)} of {len(fits)} | 0 | {_mark(not failures)} |"
    )
    return "\n".join(lines)


def judge_trap(number: int, trap: Trap) -> Judged:
    """Draw and fit one trap; what is not a refusal by design is reported as a crash."""
    pair = draw_pair(trap.setup, np.random.default_rng(4000 + number))
    changes: dict[str, Any] = {}
    if trap.twist == "few modes":
        changes = {"least_noll": 15, "most_noll": 15}
    if trap.twist == "same image":
        pair = dataclasses.replace(pair, outside=pair.inside)
    try:
        return judge(pair, number, **changes)
    except Exception as error:  # one crash must not hide the other results
        return Judged(number, (), trap.setup.flux_e, refused=f"crash: {type(error).__name__}")


def trap_table(keep: Path | None) -> str:
    """Every trap: refused, said, right all the same, or wrong in silence."""
    done = _kept("trap", len(traps()), keep)
    lines = ["| trap | map error, nm | bars allow, nm | chi2/N | what the fit says | |"]
    lines.append("|---|---|---|---|---|---|")
    for number, trap in enumerate(traps()):
        if number not in done:
            done[number] = judge_trap(number, trap)
            _keep("trap", done[number], keep)
        j = done[number]
        print(f"trap {trap.name}: {_in_short(j)}", file=sys.stderr, flush=True)
        if j.refused:
            good = trap.name != "nothing wrong" and not j.refused.startswith("crash")
            lines.append(f"| {trap.name} | | | | refused: {j.refused} | {_mark(good)} |")
            continue
        # Wide bars do not make a far-off map right: then it counts that the fit says it decides nothing.
        right = j.map_error_nm < 1.0 or (j.decided and j.map_error_nm <= 2.0 * j.map_allowed_nm)
        said = "; ".join(j.notes) or "nothing"
        if trap.name == "nothing wrong":
            mark = _mark(right and j.decided)
        elif right:
            mark = "right all the same"
        else:
            mark = "said" if not j.decided else "**wrong in silence**"
        decided = "" if j.decided else " (not decided)"
        lines.append(
            f"| {trap.name} | {j.map_error_nm:.2f} | {j.map_allowed_nm:.2f} | {j.chi2:.2f} "
            f"| {said}{decided} | {mark} |"
        )
    return "\n".join(lines)


# ---------------------------------------------------------------- the page


def _part_run(easy: int, hard: int) -> list[str]:
    """Say it when the page shows less than the whole sets."""
    if easy >= 300 and hard >= 100:
        return []
    return [
        f"**A part run: the first {easy} of 300 and {hard} of 100 pairs.** Shares and 95 % figures "
        "from so few are rough; run the command without options for the whole.",
        "",
    ]


def page(easy: Sequence[Judged], hard: Sequence[Judged], trap_lines: str) -> str:
    """The section of docs/accuracy.md."""
    parts = [
        "## Wavefront from pairs of defocused images",
        "",
        "Made by `python tests/accuracy/wavefront.py --write` from the simulator in "
        "`tests/accuracy/pairs`, which shares no code with the engine and is itself tested against "
        "closed forms. Map error: recovered minus true over the open pupil, RMS, with piston, tilt and "
        "defocus taken out. Predicted: what the fit's covariance says from photons, read noise and "
        "misfit. Error bars: the same from the full budget. Pairs of figures are median / 95 %. "
        "Strehl and RMS are compared at best focus. The first set is fitted with the image scale, "
        "wavelength and obstruction declared as exactly known, the second with the standing "
        "uncertainties and the exposure time.",
        "",
        *_part_run(len(easy), len(hard)),
        f"### What the model knows: {len(easy)} pairs",
        "",
        "0.02-0.15 waves RMS (Noll 5 to 22, in two cases of five to 36), apertures 60-250 mm, f/4.5 to "
        "f/15, clear and 20-40 % obstructed, with and without vanes, seeing 1.5-3 arcsec, 6-20 waves "
        "of defocus, 3e5 to 1e8 electrons an image, one wavelength or a band of 5-40 nm, each image "
        "with the focal ratio of its own distance.",
        "",
        easy_summary(easy),
        "",
        split_table(easy, EASY_PARTS),
        "",
        f"### What the model does not know: {len(hard)} pairs",
        "",
        "Every one: 20 s through three moving layers with an outer scale of 10-40 m. Most have one "
        "thing more: a turned edge "
        "(40-160 nm in the outer 4-10 %), a ring zone of 10-40 nm, Noll 37-78 of 1.5 nm each, focal "
        "length off by 1-2 %, obstruction off by 1-2 %, vanes that were not declared.",
        "",
        hard_summary(hard),
        "",
        split_table(hard, HARD_PARTS),
        "",
        "### Traps",
        "",
        trap_lines,
    ]
    return "\n".join(parts)


def main() -> int:
    """Run and print, and perhaps write, the section."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--pairs", type=int, default=300, help="easy pairs")
    parser.add_argument("--hard", type=int, default=100, help="hard pairs")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--cache", help="folder for drawn pairs")
    parser.add_argument("--keep", type=Path, help="file for judged pairs (JSON lines)")
    parser.add_argument("--write", action="store_true", help="fill docs/accuracy.md")
    args = parser.parse_args()
    easy = judge_many("easy", args.pairs, args.jobs, args.cache, args.keep)
    hard = judge_many("hard", args.hard, args.jobs, args.cache, args.keep)
    text = page(easy, hard, trap_table(args.keep))
    print(text)
    if args.write:
        write_section("wavefront", text)
    return 0


if __name__ == "__main__":
    sys.exit(main())

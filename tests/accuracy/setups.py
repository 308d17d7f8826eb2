"""What becomes of pairs whose setup is declared wrong.

    python tests/accuracy/setups.py [--pairs 60] [--first 0] [--half judging] [--keep FILE] [--write]

Every pair is drawn and measured as a user would, with one thing declared wrong, or none, and without
anything that stands beside the pixels (headers, focuser, distances). ``--half tuning`` shows the pairs
that bounds were chosen on; only the other half is written to docs/accuracy.md. ``--keep`` holds the
measured ones, so that an interrupted run goes on.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
for folder in (HERE, HERE.parents[1] / "python"):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))
os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np  # noqa: E402
from _pair_fits import run_fit  # noqa: E402
from _write import write_section  # noqa: E402
from pairs.wrong_setups import KINDS, WRONG, draw, wrong_setup  # noqa: E402

from starassay import errors  # noqa: E402

RISK_FACTOR = 1.6448536269514722
"""One-sided 5 % of the normal distribution."""

LIMITS = 40
"""Limits drawn for each pair."""

WHOLE = 240
"""Pairs of a whole run: twenty of each kind, sixty right ones."""


@dataclass(frozen=True)
class Tried:
    """One pair measured."""

    number: int
    kind: str
    refused: str = ""
    decided: bool = False
    doubts: tuple[str, ...] = ()
    strehl: float = np.nan
    strehl_u: float = np.nan
    strehl_true: float = np.nan
    rms: float = np.nan
    rms_u: float = np.nan
    rms_true: float = np.nan
    chi2: float = np.nan
    seconds: float = np.nan

    @property
    def sure(self) -> bool:
        """Whether it decides."""
        return self.decided and not self.refused

    @property
    def far_off(self) -> bool:
        """Strehl ratio or RMS off by more than two of its bars, and decided."""
        off = abs(self.strehl - self.strehl_true) / self.strehl_u
        return self.sure and max(off, abs(self.rms - self.rms_true) / self.rms_u) > 2.0

    def wrong_verdicts(self) -> int:
        """Of `LIMITS` claims on the Strehl ratio, limits scattered about the truth by 0.02."""
        if not self.sure:
            return 0
        rng = np.random.default_rng([self.number, 47])
        limits = self.strehl_true + 0.02 * rng.normal(0.0, 1.0, LIMITS)
        met = self.strehl - limits > RISK_FACTOR * self.strehl_u
        not_met = limits - self.strehl > RISK_FACTOR * self.strehl_u
        true = self.strehl_true >= limits
        return int(np.sum(met & ~true) + np.sum(not_met & true))


def measure(half: str, number: int, most_noll: int | None) -> Tried:
    """Draw and measure one."""
    wrong = wrong_setup(half, number)
    pair, strehl_true = draw(wrong)
    changes = {"distances_um": [], **({"most_noll": most_noll} if most_noll else {})}
    begun = time.perf_counter()
    try:
        found = run_fit(pair, **changes)
    except errors.CannotMeasureError as refusal:
        return Tried(number, wrong.kind, refused=str(refusal.code))
    return Tried(
        number,
        wrong.kind,
        decided=bool(found["decided"]),
        doubts=tuple(f"{n['code']}: {n['text']}" for n in found["notes"] if n["level"] == "doubt"),
        strehl=float(found["strehl"]["value"]),
        strehl_u=float(found["strehl"]["uncertainty"]),
        strehl_true=strehl_true,
        rms=float(found["rms"]["value"]),
        rms_u=float(found["rms"]["uncertainty"]),
        rms_true=pair.truth.rms_best_focus_nm,
        chi2=float(found["chi_squared"]),
        seconds=time.perf_counter() - begun,
    )


def in_short(t: Tried) -> str:
    """One line for whoever waits."""
    if t.refused:
        return f"{t.number} {t.kind}: refused ({t.refused})"
    return (
        f"{t.number} {t.kind}: Strehl {t.strehl:.4f} +- {t.strehl_u:.4f} for {t.strehl_true:.4f}, "
        f"RMS {t.rms:.1f} +- {t.rms_u:.1f} for {t.rms_true:.1f}, chi2 {t.chi2:.2f}, {t.seconds:.0f} s"
        f"{' FAR OFF' if t.far_off else ''} {' | '.join(d[:110] for d in t.doubts)}"
    )


def table(tried: Sequence[Tried]) -> str:
    """Counts by kind."""
    lines = [
        "| declared | pairs | refused | doubted | decided | decided and off by more than 2 bars "
        "| wrong verdicts |",
        "|---|---|---|---|---|---|---|",
    ]
    kinds = list(dict.fromkeys(KINDS))
    groups = {
        "all wrong setups": [t for t in tried if t.kind in WRONG],
        **{kind: [t for t in tried if t.kind == kind] for kind in kinds},
    }
    for name, part in groups.items():
        if not part:
            continue
        refused = sum(bool(t.refused) for t in part)
        sure = sum(t.sure for t in part)
        share = 100.0 * sum(t.wrong_verdicts() for t in part) / (LIMITS * len(part))
        lines.append(
            f"| {name} | {len(part)} | {refused} | {len(part) - refused - sure} | {sure} "
            f"| {sum(t.far_off for t in part)} | {share:.1f} % |"
        )
    return "\n".join(lines)


def page(tried: Sequence[Tried], command: str) -> str:
    """The section of docs/accuracy.md."""
    right = [t for t in tried if t.kind not in WRONG]
    doubted = sum(not t.sure for t in right)
    kinds = len(set(KINDS) - {t.kind for t in tried})
    part = ""
    if len(tried) < WHOLE:
        part = f"**A part run: {len(tried)} of {WHOLE} pairs, {kinds} kinds not reached.** "
    return (
        "## Wrong setups\n\n"
        f"Made by `{command}` from the judging half of `tests/accuracy/pairs/wrong_setups.py`, on which "
        f"nothing was tuned: {len(tried)} pairs, one thing declared wrong in each (or none), nothing "
        "known beside the pixels. "
        + part
        + "Pitch is off by 10 to 24 %, focal length and aperture by 5 to 12 %, "
        "the wavelength by 8 to 15 %, the obstruction by 15 to 36 % of itself. Wrong verdicts: share of "
        f"claims *Strehl ratio at least L* that are decided wrongly, risk 5 %, {LIMITS} limits a pair "
        "that scatter about the truth by 0.02; bar 5 %. Right setups doubted or refused: "
        f"{doubted} of {len(right)}; bar 3 %. A swapped pair keeps RMS and Strehl ratio, so it may be "
        "decided.\n\n" + table(tried)
    )


def main() -> int:
    """Run and print, and perhaps write, the section."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--pairs", type=int, default=60)
    parser.add_argument("--first", type=int, default=0, help="number of the first pair")
    parser.add_argument("--half", choices=("tuning", "judging"), default="judging")
    parser.add_argument("--keep", type=Path, help="file for measured pairs (JSON lines)")
    parser.add_argument("--most-noll", type=int, help="most modes, to save time")
    parser.add_argument("--write", action="store_true", help="fill docs/accuracy.md")
    args = parser.parse_args()
    done: dict[int, Tried] = {}
    if args.keep is not None and args.keep.exists():
        for line in args.keep.read_text(encoding="utf-8").splitlines():
            facts = json.loads(line)
            done[facts["number"]] = Tried(**{**facts, "doubts": tuple(facts["doubts"])})
    numbers = range(args.first, args.first + args.pairs)
    for number in numbers:
        if number in done:
            continue
        found = done[number] = measure(args.half, number, args.most_noll)
        if args.keep is not None:
            with args.keep.open("a", encoding="utf-8") as file:
                file.write(json.dumps(asdict(found)) + "\n")
        print(in_short(found), file=sys.stderr, flush=True)
    tried = [done[k] for k in numbers]
    command = f"python tests/accuracy/setups.py --pairs {args.pairs}"
    if args.most_noll:
        command += f" --most-noll {args.most_noll}"
    text = page(tried, command + " --write")
    print(text)
    if args.write and args.half == "judging":
        write_section("setups", text)
    return 0


if __name__ == "__main__":
    sys.exit(main())

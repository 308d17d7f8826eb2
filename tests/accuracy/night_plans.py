"""Whether the night plan keeps its promise: "so many pairs decide this claim with 90 %".

    python tests/accuracy/night_plans.py [--kinds 10] [--nights 10] [--write] [--population judging] [--keep FILE]

For every kind of telescope, star and air the plan is asked beforehand (`wavefront.plan`, from the assumed
wavefront and the air's stated strength). The limit of the claim is then set so that the plan promises about
90 % for the number of pairs that the kind takes. Only then the nights come: pairs drawn by a simulator that
shares no code with the engine (`tests/accuracy/pairs`), scale and wavelength declared wrong by their standard
uncertainty, fitted together and judged as any others.

What the air leaves in an exposure of 1 s is drawn in one of two ways. ``--air layers``: short exposures through
moving layers, every 6 ms by itself, some 8 s of processor time a night. ``--air modes`` (the cheap way): the
long-exposure image, and for each image random modes to Noll 45 with the variance of the law that the plan uses
too, so that this way tests all but that law; the law has its own trial in the pairs with turbulence.
``--keep`` holds the nights that are done, so that an interrupted run goes on.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
for folder in (HERE, HERE.parents[1] / "python"):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))
os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np  # noqa: E402
from _pair_fits import engine_request, frames_of  # noqa: E402
from _write import write_section  # noqa: E402
from pairs import turbulence  # noqa: E402
from pairs.draw import draw_pair  # noqa: E402
from pairs.pupil import PupilShape  # noqa: E402
from pairs.setup import Camera, Pair, PairSetup, Turbulence  # noqa: E402

from starassay import _gateway, errors  # noqa: E402

SEEDS = {"judging": 4711, "tuning": 20}
WANTED = 0.9
MOST_PAIRS = 3
WIND = 6.0
PAIRS = (1, 2, 1, 3, 2)
"""How many pairs a night takes, by the kind's number."""

turbulence.SCREEN = 1024
"""A quarter of the usual screen: its track of some twenty crossings is longer than a second's wind."""

WAVELENGTH = 540.0


@dataclass(frozen=True)
class Kind:
    """One telescope with its star and air, and how many pairs a night takes."""

    number: int
    setup: PairSetup
    pairs: int
    good: bool


@dataclass(frozen=True)
class Kept:
    """What the plan promised for a kind, and what its nights did."""

    kind: Kind
    strehl: float
    limit: float
    promised: float
    right: int
    wrong: int
    doubted: int
    nights: int


class Verdicts:
    """What is known already, by a key, in a file of one JSON record a line; without a file nothing is kept."""

    def __init__(self, path: Path | None, which: str) -> None:
        self._path = path
        self._which = which
        self._known: dict[str, Any] = {}
        if path is not None and path.exists():
            for line in path.read_text(encoding="utf-8").splitlines():
                record = json.loads(line)
                self._known[record["key"]] = record["value"]

    def of(self, parts: tuple[Any, ...], make: Callable[[], Any]) -> Any:
        """The value of a key, made where it is not known."""
        key = " ".join(map(str, (self._which, *parts)))
        if key not in self._known:
            self._known[key] = value = make()
            if self._path is not None:
                with self._path.open("a", encoding="utf-8") as stream:
                    stream.write(json.dumps({"key": key, "value": value}) + "\n")
        return self._known[key]


def kind_of(population: str, number: int) -> Kind:
    """A kind, by its number alone."""
    rng = np.random.default_rng([SEEDS[population], number])
    aperture = float(rng.uniform(70, 130))
    ratio = float(rng.uniform(5.5, 7.5))
    waves = float(rng.uniform(5, 6.5))
    size = float(rng.uniform(10, 28))
    shape = rng.normal(size=6)
    shape *= size / np.linalg.norm(shape)
    obstruction = 0.0 if number % 3 else float(rng.uniform(0.2, 0.35))
    shift = waves * WAVELENGTH * 1e-3 * 8 * ratio**2
    pitch = shift / ratio / 28.0
    seeing = float(rng.uniform(1.5, 3.0))
    arcsec = pitch * 1e-3 / (aperture * ratio) * 206265.0
    setup = PairSetup(
        aperture_mm=aperture,
        focal_length_mm=aperture * ratio,
        shape=PupilShape(obstruction=obstruction),
        coefficients_nm=dict(zip((5, 6, 7, 8, 10, 11), map(float, shape))),
        wavelengths_nm=(WAVELENGTH,),
        pixel_um=pitch,
        size_px=2 * int(np.ceil((2.9 * 28 + 8 * seeing / arcsec) / 2)),
        inside_um=-shift,
        outside_um=shift,
        flux_e=float(10 ** rng.uniform(6.3, 7.2)),
        background_e=10.0,
        seeing_arcsec=seeing,
        turbulence=Turbulence(exposure_s=1.0),
        camera=Camera(gain_e_per_adu=1.0, read_noise_e=2.0, saturation_adu=1e9),
    )
    return Kind(number, setup, PAIRS[number % len(PAIRS)], number % 4 != 3)


def aired(kind: Kind, rng: np.random.Generator) -> Pair:
    """A pair whose images each have their own remainder of the air, in modes to Noll 45 (docs/wavefront.md)."""
    s = kind.setup
    assert s.turbulence is not None
    calm = replace(s, turbulence=None)
    diameter = s.aperture_mm * 1e-3
    r0 = 0.975863 * WAVELENGTH * 1e-9 / (s.seeing_arcsec / 206265.0)
    swept = WIND * s.turbulence.exposure_s / diameter
    strength = (diameter / r0) ** (5 / 3) * (WAVELENGTH / (2 * np.pi)) ** 2
    images = []
    for _ in range(2):
        modes = dict(s.coefficients_nm)
        for j in range(5, 46):
            order = int(np.ceil((-3 + np.sqrt(1 + 8 * j)) / 2))
            moved = 0.0128886 / swept
            still = 0.0232179
            for k in range(2, order):
                moved *= (k + 2) / (k + 1) * (k - 4 / 3) / (k + 13 / 3)
                still *= (k + 2) / (k + 1) * (k - 5 / 6) / (k + 23 / 6)
            modes[j] = modes.get(j, 0.0) + rng.normal() * float(
                np.sqrt(min(moved, still) * strength)
            )
        images.append(draw_pair(replace(calm, coefficients_nm=modes), rng))
    return replace(images[0], outside=images[1].outside, setup=s)


def planned(kind: Kind) -> dict[str, Any]:
    """The plan's simulated nights of the Strehl ratio."""
    s = kind.setup
    assert s.turbulence is not None
    found = _gateway.call(
        "wavefront.plan",
        {
            "aperture_mm": s.aperture_mm,
            "focal_length_mm": s.focal_length_mm,
            "pupil": {"obstruction": s.shape.obstruction},
            "wavelength_nm": WAVELENGTH,
            "noll": list(s.coefficients_nm),
            "coefficients_nm": list(s.coefficients_nm.values()),
            "pitch_um": s.pixel_um,
            "gain_electrons_per_adu": s.camera.gain_e_per_adu,
            "read_noise_electrons": s.camera.read_noise_e,
            "defocus_um": s.outside_um,
            "light_electrons": s.flux_e,
            "exposure_s": s.turbulence.exposure_s,
            "seeing_arcsec": s.seeing_arcsec,
            "most_pairs": MOST_PAIRS,
            "draws": 3,
            "nights": 300,
            "seed": 100 + kind.number,
        },
        threads=1,
    )
    return next(q for q in found["quantities"] if q["name"] == "strehl")


def promise(quantity: dict[str, Any], limit: float) -> dict[str, Any]:
    """What the plan says about the claim "Strehl ratio at least `limit`"."""
    values, bars = (np.ascontiguousarray(quantity[k]).ravel() for k in ("values", "uncertainties"))
    request = {
        "claim": {"name": "Strehl ratio", "lower": limit},
        "truth": quantity["truth"],
        "rows": MOST_PAIRS,
        "wanted": WANTED,
    }
    return _gateway.call(
        "decisions.chance", request, arrays={"values": values, "uncertainties": bars}
    )


def limit_of(kind: Kind, quantity: dict[str, Any]) -> float:
    """The limit nearest to the truth for which the plan promises 90 % by the kind's number of pairs."""
    near, far = 0.0, 0.2
    sign = -1 if kind.good else 1
    for _ in range(24):
        middle = (near + far) / 2
        chance = promise(quantity, quantity["truth"] + sign * middle)["right"][kind.pairs - 1]
        near, far = (middle, far) if chance < WANTED else (near, middle)
    return float(quantity["truth"] + sign * far)


def night(kind: Kind, limit: float, population: str, number: int, air: str) -> str:
    """The verdict of one night: "right", "wrong", "doubted" or "not decided"."""
    rng = np.random.default_rng([SEEDS[population], kind.number, number, 9])
    s = kind.setup
    scale, color = rng.normal(0.0, 0.005, 2)
    frames: dict[str, Any] = {}
    for p in range(kind.pairs):
        pair = draw_pair(s, rng) if air == "layers" else aired(kind, rng)
        both = frames_of(pair)
        frames[f"frame{2 * p}"], frames[f"frame{2 * p + 1}"] = both["frame0"], both["frame1"]
    request = engine_request(pair)
    request["distances_um"] = request["distances_um"] * kind.pairs
    request["pitch_um"] *= 1 + scale
    request["wavelengths_nm"] = [WAVELENGTH * (1 + color)]
    if air == "modes":
        request["most_noll"] = 45
    try:
        found = _gateway.call("wavefront.measure", request, frames=frames, threads=1)
    except errors.CannotMeasureError:
        return "not decided"
    if not found["decided"]:
        return "doubted"
    decided = _gateway.call(
        "decisions.decide",
        {
            "claim": {"name": "Strehl ratio", "lower": limit},
            "value": found["strehl"]["value"],
            "uncertainty": found["strehl"]["uncertainty"],
        },
    )["verdict"]
    if decided == "not-decided":
        return "not decided"
    return "right" if (decided == "met") == kind.good else "wrong"


def asked(kind: Kind) -> tuple[float, float, float]:
    """True Strehl ratio, limit and promised share of a kind: all that is known before its nights."""
    quantity = planned(kind)
    limit = limit_of(kind, quantity)
    chance = promise(quantity, limit)["right"][kind.pairs - 1]
    return float(quantity["truth"]), limit, float(chance)


def counted(kind: Kind, known: tuple[float, float, float], came: list[str]) -> Kept:
    """What the nights of a kind did."""
    return Kept(
        kind, *known, came.count("right"), came.count("wrong"), came.count("doubted"), len(came)
    )


def row(k: Kept) -> str:
    """One row of the table."""
    s = k.kind.setup
    return (
        f"| {s.aperture_mm:.0f} mm f/{s.focal_ratio:.1f}, obstruction {s.shape.obstruction:.2f} | {s.seeing_arcsec:.1f} "
        f"| {s.flux_e:.1e} | {k.kind.pairs} | {k.strehl:.4f} | {k.limit:.4f} | {100 * k.promised:.0f} % "
        f"| {k.right} of {k.nights} | {k.wrong} | {k.doubted} |"
    )


_AIR = {
    "layers": "moving layers of air, exposures of 1 s",
    "modes": "for each image random modes of the air to Noll 45 for an exposure of 1 s, with the variance that the plan's law "
    "gives (the cheap way: it tests all but that law), fitted to Noll 45 at most",
}


def page(found: list[Kept], whole: int, air: str) -> str:
    """The section of docs/accuracy.md; `whole` is how many nights there were to be."""
    nights = sum(k.nights for k in found)
    right, wrong = sum(k.right for k in found), sum(k.wrong for k in found)
    promised = sum(k.promised * k.nights for k in found) / nights
    return "\n".join(
        [
            "## The night plan's promise",
            "",
            "Made by `python tests/accuracy/night_plans.py --write` (with `--air`, `--kinds` and `--nights` as told here) from kinds and nights on which nothing was tuned. The plan "
            "was asked first; the claim *Strehl ratio at least L* (risk 5 %) got the limit at which it promises 90 % for the "
            "kind's number of pairs, below the true ratio or, for every fourth kind, above it. Then the nights were drawn: "
            + _AIR[air]
            + ", scale and wavelength declared wrong by 0.5 % (standard deviation), by a simulator that shares no code with "
            "the engine.",
            "",
            ("" if nights == whole else f"**A part run: {nights} of {whole} nights.** ")
            + f"Promised in the mean: {100 * promised:.0f} %. **Decided rightly: {right} of {nights} nights** "
            f"({100 * right / nights:.0f} %; bar 80 to 97), wrongly {wrong}.",
            "",
            "| telescope | seeing, arcsec | electrons an image | pairs | true Strehl ratio | limit | promised | decided rightly "
            "| wrongly | in doubt |",
            "|---|---|---|---|---|---|---|---|---|---|",
            *map(row, found),
        ]
    )


def main() -> int:
    """Run and print, and perhaps write, the section."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--kinds", type=int, default=10)
    parser.add_argument("--nights", type=int, default=10, help="of each kind")
    parser.add_argument("--population", choices=sorted(SEEDS), default="judging")
    parser.add_argument("--air", choices=("layers", "modes"), default="layers")
    parser.add_argument("--write", action="store_true", help="fill docs/accuracy.md")
    parser.add_argument(
        "--keep", type=Path, help="verdicts of the nights so far; one file a population"
    )
    args = parser.parse_args()
    kept = Verdicts(args.keep, f"{args.population} {args.air}")
    kinds = [kind_of(args.population, k) for k in range(args.kinds)]
    known = [kept.of(("asked", kind.number), lambda kind=kind: asked(kind)) for kind in kinds]
    came: list[list[str]] = [[] for _ in kinds]
    text = ""
    # One night of every kind after the other, so that an interrupted run leaves whole rounds.
    for number in range(args.nights):
        for k, kind in enumerate(kinds):
            came[k].append(
                kept.of(
                    ("night", kind.number, number),
                    lambda kind=kind, k=k, number=number: night(
                        kind, known[k][1], args.population, number, args.air
                    ),
                )
            )
            print(number, k, came[k][-1], file=sys.stderr, flush=True)
        found = [counted(*one) for one in zip(kinds, known, came)]
        text = page(found, args.kinds * args.nights, args.air)
        if args.write and args.population == "judging":
            write_section("night-plans", text)
    print(text)
    return 0


if __name__ == "__main__":
    sys.exit(main())

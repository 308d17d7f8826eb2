"""A night at the screws, recorded: frames are written one by one while a drawn screw is turned, and a watch runs beside.

    PYTHONPATH=python python tests/accuracy/watch_session.py --write [--keep FOLDER]

Draws 30 frames of 24 megapixels of a star out of focus, each with the air's own coma, and writes them in pieces into a folder that
`starassay watch` looks at in a process of its own; Enter is pressed after each turn, once without having turned anything. One file is
broken, one pauses half-written, one is replaced. Times are taken by the program that writes: from the last byte of the file to the page
that names the frame. Beside them stands what Astropy takes to read such a file to 32-bit floats. Then says how often "better" and "worse"
are wrong, by many drawn sessions. Writes the figures of docs/watch.md; --keep leaves folder and page for a browser.
"""

from __future__ import annotations

import argparse
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.io import fits

import starassay
from alignment import turbulence
from starassay import _gateway
from starassay.watching.progress import Point, compare, mean_of, scatter_of

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from marked_pages import replaced  # noqa: E402

TOP = Path(__file__).resolve().parents[2]
PAGE = TOP / "docs" / "watch.md"
APERTURE, FOCAL, HOLE, PITCH, WAVES, SEEING, EXPOSURE = 150.0, 750.0, 0.31, 3.76, 7.0, 2.0, 1.0
SHAPE, WINDOW = (4000, 6000), 112
#: Coma in nm at first, by x and y, and what an eighth of a turn of each screw does to it.
BEGIN = np.array([62.0, 31.0])
SCREWS = {
    "upper": 24 * np.array([0.0, 1.0]),
    "left": 24 * np.array([-0.866, -0.5]),
    "right": 24 * np.array([0.866, -0.5]),
}
#: Frames, then what is turned: eighths of a turn of a screw; the words go with the Enter key.
NIGHT = (
    (4, None, 0.0),
    (4, "upper", 1.0),
    (4, "upper", -2.0),
    (5, "left", 1.0),
    (4, "left", 0.0),
    (4, "left", 1.2),
    (5, "right", -0.3),
)


def draw(coma: np.ndarray, seed: int, place: tuple[float, float]) -> np.ndarray:
    """One exposure of the star alone, 16-bit numbers."""
    rng = np.random.default_rng(seed)
    seeing = SEEING * float(np.exp(0.08 * rng.standard_normal()))
    air = turbulence(rng, APERTURE, seeing, EXPOSURE)
    terms = {8: coma[0], 7: coma[1], 6: 9.0, 11: -14.0}
    telescope = starassay.SimulatedTelescope(
        "drawn",
        APERTURE * u.mm,
        FOCAL * u.mm,
        obstruction=HOLE,
        wavefront={
            j: (terms.get(j, 0.0) + air.get(j, 0.0)) * u.nm for j in terms.keys() | air.keys()
        },
    )
    band = starassay.Passband("drawn", 535 * u.nm, 545 * u.nm, samples=1)
    pixels = np.empty((WINDOW, WINDOW), np.uint16)
    ratio = FOCAL / APERTURE
    request = {
        "telescope": telescope.request(),
        "sky": starassay.SimulatedSky(
            seeing=seeing * u.arcsec, background=20 * u.electron / u.s
        ).request(),
        "detector": starassay.SimulatedCamera(pitch=PITCH * u.um).request((WINDOW, WINDOW)),
        "passband": band.request(),
        "electrons": 1.5e6,
        "exposure_s": EXPOSURE,
        "focus_position_um": -WAVES * 0.54 * 8 * ratio**2,
        "offset_x_pix": place[0],
        "offset_y_pix": place[1],
        "seed": seed,
    }
    _gateway.call("simulation.single-star", request, outputs={"image": pixels})
    return pixels


@lru_cache(maxsize=1)
def _sky(level: float, noise: float) -> np.ndarray:
    """The frame round the star, the same each time: drawing 24 million numbers anew would take longer than measuring them."""
    strip = np.rint(np.random.default_rng(1).normal(level, noise, SHAPE[1] + 7919)).astype(
        np.uint16
    )
    rows = np.stack([np.roll(strip, 71 * k)[: SHAPE[1]] for k in range(101)])
    return np.tile(rows, (SHAPE[0] // 101 + 1, 1))[: SHAPE[0]]


def whole(star: np.ndarray, seed: int) -> bytes:
    """The file of a whole frame with the star near its middle."""
    pixels = _sky(round(float(np.median(star[:8]))), round(float(np.std(star[:8])))).copy()
    y, x = SHAPE[0] // 2 - 60, SHAPE[1] // 2 + 40
    pixels[y : y + WINDOW, x : x + WINDOW] = star
    camera = starassay.SimulatedCamera(pitch=PITCH * u.um)
    header = fits.Header()
    header["EXPTIME"] = EXPOSURE
    header["EGAIN"] = float(camera.gain.value)
    header["RDNOISE"] = float(camera.read_noise.value)
    header["XPIXSZ"] = PITCH
    header["FILTER"] = "540/10"
    header["DATE-OBS"] = f"2026-11-27T22:{seed // 60 % 60:02d}:{seed % 60:02d}.000"
    hdu = fits.PrimaryHDU(pixels, header)
    return hdu.header.tostring().encode("ascii") + _padded(hdu)


def _padded(hdu: fits.PrimaryHDU) -> bytes:
    """Pixels as the file holds them."""
    stored = (hdu.data.astype(np.int32) - 32768).astype(">i2").tobytes()
    return stored + b"\0" * (-len(stored) % 2880)


def write(path: Path, data: bytes, pause: float = 0.0) -> float:
    """Write a file in pieces as a camera program does; when the last byte was written."""
    with path.open("wb", buffering=0) as stream:
        half = len(data) // 2
        for k in range(0, len(data), 1 << 22):
            stream.write(data[k : k + (1 << 22)])
            if pause and k <= half < k + (1 << 22):
                time.sleep(pause)
    return time.time()


class Watched:
    """`starassay watch` in a process of its own, its keys and its lines."""

    def __init__(self, folder: Path) -> None:
        command = [
            sys.executable,
            "-u",
            "-m",
            "starassay",
            "watch",
            str(folder),
            "--measure",
            "alignment",
        ]
        command += [
            "--aperture",
            f"{APERTURE}mm",
            "--focal-length",
            f"{FOCAL}mm",
            "--obstruction",
            str(HOLE),
        ]
        command += ["--wavelength", "540nm", "--paraboloid", "--turns", "enter"]
        self.page = folder / "watch-alignment.html"
        self.process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.lines: list[str] = []

    def wait_ready(self) -> None:
        """Until it says how it ends."""
        assert self.process.stdout is not None
        while not any("Ctrl-C ends" in line for line in self.lines):
            text = self.process.stdout.readline()
            if not text:
                raise SystemExit("the watch ended: " + "".join(self.lines))
            self.lines.append(text.rstrip("\n"))

    def press(self, words: str) -> None:
        """The Enter key."""
        assert self.process.stdin is not None
        self.process.stdin.write(words + "\n")
        self.process.stdin.flush()

    def shown(self, needle: str, since: float, most: float = 60.0) -> float:
        """Seconds until the page holds some words."""
        while time.time() - since < most:
            if needle in self.page.read_text(encoding="utf-8"):
                return time.time() - since
            time.sleep(0.01)
        raise SystemExit(f"{needle!r} did not come within {most} s")

    def end(self) -> int:
        """Ctrl-C; its exit code."""
        self.process.send_signal(signal.SIGINT)
        out, _ = self.process.communicate(timeout=60)
        self.lines += out.splitlines()
        return self.process.returncode


def record(folder: Path, alone: bool) -> dict[str, Any]:
    """The session."""
    truth, coma, star, stars = [], BEGIN.copy(), 0, []
    for frames, screw, eighths in NIGHT:
        if screw is not None:
            coma = coma + eighths * SCREWS[screw]
        for _ in range(frames):
            place = tuple(np.random.default_rng(900 + star).uniform(-6, 6, 2))
            stars.append(draw(coma, 500 + star, place))
            star += 1
        truth.append(float(np.hypot(*coma)))
        print(f"{star} frames drawn", file=sys.stderr)
    if alone:
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(5))
    watch = Watched(folder)
    watch.wait_ready()
    latencies, reading, at = [], [], 0
    for turn, (frames, screw, eighths) in enumerate(NIGHT):
        if screw is not None:
            watch.press(f"{screw} screw {eighths:+g}/8")
            time.sleep(EXPOSURE + 0.4)
        for k in range(frames):
            name, data = f"star-{at + 1:03d}.fits", whole(stars[at], at)
            at += 1
            began = write(folder / name, data, pause=1.5 if (turn, k) == (1, 1) else 0.0)
            latencies.append(watch.shown(f": {name}</h2>", began))
            # The peer, in the same minute on the same file.
            start = time.perf_counter()
            with fits.open(folder / name, memmap=False) as hdus:
                hdus[0].data.astype(np.float32)
            reading.append(time.perf_counter() - start)
            if (turn, k) == (2, 1):
                (folder / "broken.fits").write_bytes(
                    data[:2880].replace(b"SIMPLE", b"SAMPLE") + data[:5000]
                )
            time.sleep(EXPOSURE + 0.2)
    write(folder / f"star-{at:03d}.fits", whole(stars[-1], at - 1))
    time.sleep(3)
    code = watch.end()
    if alone:
        os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))
    sizes = len(watch.page.read_bytes())
    return {
        "latencies": np.array(latencies),
        "reading": np.array(reading),
        "truth": truth,
        "code": code,
        "alone": alone,
        "lines": watch.lines,
        "page": sizes,
    }


def wrong(
    sessions: int, frames: int, change: float, steady: bool, parts: int, drift: float = 0.0
) -> tuple[float, float, float]:
    """Shares of drawn pairs of groups for which, at any of the looks after each frame, "better" or "worse" was said; and rightly at the end.

    Parameters
    ----------
    sessions, frames : int
        How many, and frames before and after the turn.
    change : float
        By how much the truth gets smaller, in bars of one frame; the truth before is eight bars.
    steady : bool
        Whether the bars hold the scatter.
    parts : int
        One number or the two parts of an arrow.
    drift : float
        By how much the air changes between both groups, relative (only for what is not steady).
    """
    rng = np.random.default_rng(77)
    better = worse = right = 0
    for _ in range(sessions):
        angle = rng.uniform(0, 2 * np.pi)
        way = np.array([np.cos(angle), np.sin(angle)])[:parts] if parts == 2 else np.ones(1)
        groups = []
        for size in (8.0, 8.0 - change):
            scale = 1 + drift * rng.standard_normal()
            true = size * scale * way
            bar = 1.0 if steady else 0.1
            groups.append(
                [
                    Point(true + rng.normal(0, 1.0, parts), np.full(parts, bar))
                    for _ in range(frames)
                ]
            )
        seen = set()
        last = ""
        for k in range(1, frames + 1):
            some = [groups[0], groups[1][:k]]
            scatter = scatter_of(some, steady)
            last = compare(mean_of(some[0], scatter), mean_of(some[1], scatter)).verdict
            seen.add(last)
        better += "better" in seen
        worse += "worse" in seen
        right += last == "better"
    return better / sessions, worse / sessions, right / sessions


def figures(found: dict[str, Any]) -> str:
    """What docs/watch.md says."""
    late, read = 1000 * found["latencies"], 1000 * found["reading"]
    ratio = found["latencies"] / found["reading"]
    lines = [
        f"{len(late)} frames of {SHAPE[1] * SHAPE[0] / 1e6:.0f} Mpx (16 bit), a Newtonian of {APERTURE:g} mm f/{FOCAL / APERTURE:g} seven waves out of focus, "
        f"exposures of {EXPOSURE:g} s with the air's own coma; {_load(found['alone'])}.",
        "",
        "| | least | median | most |",
        "|---|---|---|---|",
        f"| last byte of the file to the page that shows it | {late.min():.0f} ms | {np.median(late):.0f} ms | {late.max():.0f} ms |",
        f"| Astropy reads the same file to 32-bit floats | {read.min():.0f} ms | {np.median(read):.0f} ms | {read.max():.0f} ms |",
        f"| ratio | {ratio.min():.1f} | {np.median(ratio):.1f} | {ratio.max():.1f} |",
        "",
        f"Within a second: {np.mean(late < 1000) * 100:.0f} % of the frames. The page at the end: {found['page'] / 1000:.0f} kB. Exit code after Ctrl-C: {found['code']}.",
        "",
        "What the watch said at the last frame of each group, and what was true:",
        "",
        "| turned | true coma (nm) | said |",
        "|---|---|---|",
    ]
    for (frames, screw, eighths), true, said in zip(NIGHT, found["truth"], _said(found["lines"])):
        name = (
            "nothing yet"
            if screw is None
            else f"{screw} screw {eighths:+g}/8"
            if eighths
            else f"{screw} screw, not really"
        )
        lines.append(f"| {name} | {true:.1f} | {said} |")
    return "\n".join(lines)


def words(sessions: int) -> str:
    """How often they are wrong."""
    lines = [
        f"How often the words are wrong ({sessions} drawn sessions a row, five frames before and after the turn, a look after every frame, bars of one frame as the unit, "
        "eight bars at first):",
        "",
        '| what is watched | truth | "better" said at any look | "worse" said at any look | "better" at the end |',
        "|---|---|---|---|---|",
    ]
    for label, steady, parts, drift in (
        ("an arrow whose bars hold", True, 2, 0.0),
        ("a number whose scatter is learned", False, 1, 0.0),
        ("the same, air that changes by 5 % between both", False, 1, 0.05),
    ):
        for change in (0.0, 1.0, 3.0):
            better, worse, right = wrong(sessions, 5, change, steady, parts, drift)
            lines.append(
                f"| {label} | {'nothing changed' if change == 0 else f'{change:g} bars smaller'} | {100 * better:.1f} % | {100 * worse:.1f} % | {100 * right:.0f} % |"
            )
    return "\n".join(lines)


def _load(alone: bool) -> str:
    who = (
        "ahead of what others did there"
        if alone
        else f"others used them too (load {os.getloadavg()[0]:.0f})"
    )
    return f"{os.cpu_count()} processors, {who}"


def _said(lines: list[str]) -> list[str]:
    """The last thing said of each group, without the name of the file."""
    groups, last = [], ""
    for line in lines:
        if line.startswith("---  turned"):
            groups.append(last)
        elif (
            re.match(r"\s+\d+  star-", line)
            and "not counted" not in line
            and "not measured" not in line
        ):
            last = re.sub(r"^\s*\d+  star-\d+\.fits  (.*?)  \[.*$", r"\1", line)
    return [*groups, last]


def main() -> int:
    """Record, print, write."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--write", action="store_true", help="write the figures of docs/watch.md")
    parser.add_argument("--keep", type=Path, help="folder for the frames and the page, left behind")
    parser.add_argument("--sessions", type=int, default=400, help="drawn sessions a row")
    parser.add_argument(
        "--alone",
        action="store_true",
        help="take the processors ahead of everything else while times are taken, for the watch and for its peer (Linux, root)",
    )
    parser.add_argument(
        "--words",
        action="store_true",
        help="only how often words are wrong, from drawn numbers",
    )
    args = parser.parse_args()
    if args.words:
        parts = {"watch-words": words(args.sessions)}
    else:
        with tempfile.TemporaryDirectory() as place:
            folder = args.keep or Path(place) / "night"
            folder.mkdir(parents=True, exist_ok=True)
            found = record(folder, args.alone)
        print("\n".join(found["lines"]))
        parts = {"watch-session": figures(found)}
    for name, text in parts.items():
        print(text)
        if args.write:
            page = PAGE.read_text(encoding="utf-8")
            PAGE.write_text(replaced(page, name, text), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

"""Writes docs/user-errors.md: what users got wrong, what came of it before, and what comes now.

    PYTHONPATH=python .venv/bin/python tests/user_errors.py

The column "before" tells what was found when three new users tried it; "now" is made by running each case.
``tests/python/test_user_errors.py`` runs them again and holds the page against them.
"""

from __future__ import annotations

import contextlib
import dataclasses
import io
import os
import random
import re
import shlex
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.io import fits
from astropy.utils.masked import Masked

import starassay
from starassay import cli
from starassay.results import by_gravity

TOP = Path(__file__).resolve().parents[1]
PAGE = TOP / "docs" / "user-errors.md"


@dataclasses.dataclass(frozen=True)
class Case:
    """One thing that a user did.

    Attributes
    ----------
    done : str
        Command or call, or what was wrong.
    before : str
        What came of it when it was found.
    now : callable
        Makes what comes now; gets a folder of its own.
    slow : bool
        Whether it takes more than some seconds.
    """

    done: str
    before: str
    now: Callable[[Path], str]
    slow: bool = False


# What the cases share ---------------------------------------------------------------------------


def scope() -> starassay.SimulatedTelescope:
    """115 mm, 760 mm, Strehl ratio 0.833."""
    return starassay.juniper_115()


@cache
def pair() -> tuple[Any, Any]:
    """A star inside and outside of focus, without the cards that a case would contradict."""
    inside, outside, _ = starassay.draw_defocused_pair(
        scope(), size=128, electrons=2e7, defocus=8.0, seed=3
    )
    for frame in (inside, outside):
        for card in ("APTDIA", "FOCALLEN"):
            frame.header.pop(card, None)
    return inside, outside


@cache
def stars(bare: bool = False) -> Any:
    """A star field of 1,200 x 900 pixels; bare: without its gain."""
    camera = starassay.SimulatedCamera(shape=(600, 800))
    frame, _ = starassay.draw_star_field(scope(), camera=camera, stars=160, seed=7, separation=20.0)
    if bare:
        frame = frame.copy()
        for card in ("EGAIN", "GAIN", "RDNOISE"):
            frame.header.pop(card, None)
    return frame


def judged(inside: Any, outside: Any, telescope: Any = None, **how: Any) -> str:
    """Verdict about a Strehl ratio of at least 0.9, with the value and why nothing is decided."""
    fit = starassay.fit_wavefront(
        inside,
        outside,
        telescope or starassay.Telescope("115 mm", "760 mm"),
        **{"wavelength": "540 nm", **how},
    )
    claim = starassay.Claim("Strehl ratio", at_least=0.9 * u.one)
    decision = starassay.judge(claim, "strehl", fit.quantities)
    why = f": {fit.doubts[0]}" if fit.doubts else ""
    return f"{decision.verdict} (Strehl ratio {fit.strehl}){why}"


def said(call: Callable[[], Any]) -> str:
    """The error that a call ends with."""
    try:
        return f"no error: {call()!r}"
    except Exception as error:
        return f"{type(error).__name__}: {' '.join(str(error).split())}"


def command(*words: str) -> str:
    """What a command prints, and its exit code when it is not 0."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = cli.main(list(words))
    lines = (err.getvalue() + out.getvalue()).strip().splitlines()
    return " / ".join(lines) + (f" (exit code {code})" if code else "")


def first(text: str, words: str) -> str:
    """The first part of an output that holds some words."""
    return next((p for p in text.split(" / ") if words in p), f"nothing about {words!r}: {text}")


def campaign(folder: Path, entries: str) -> Path:
    """A campaign file."""
    text = '[campaign]\nname = "Night"\n[telescope]\nname = "Fir 115"\naperture = "115 mm"\n'
    (folder / "campaign.toml").write_text(text + 'focal_length = "760 mm"\n' + entries)
    return folder


def plain(folder: Path, name: str = "field.fits") -> Path:
    """The star field as a file that knows nothing of its camera."""
    fits.PrimaryHDU(stars().data).writeto(folder / name)
    return folder / name


# Item by item -----------------------------------------------------------------------------------


def binned(folder: Path) -> str:
    frames = []
    for one in pair():
        small = one.data.reshape(64, 2, 64, 2).astype(np.float64).mean(axis=(1, 3))
        header = one.header.copy()
        header["XBINNING"] = header["YBINNING"] = 2
        header["EGAIN"] = 4 * header["EGAIN"]
        frames.append(starassay.read_frame(fits.PrimaryHDU(small.astype(np.float32), header)))
    return judged(*frames)


def upside_down(folder: Path) -> str:
    inside, outside = pair()
    turned = outside.copy()
    turned.data = np.ascontiguousarray(outside.data[::-1])
    return judged(inside, turned)


def two_nights(folder: Path) -> str:
    inside, outside = pair()
    old = outside.copy()
    old.header["DATE-OBS"] = "1999-03-14T20:30:00"
    return judged(inside, old)


def without_gain(folder: Path) -> str:
    whole, bare = (starassay.measure_stars(stars(bare)) for bare in (False, True))
    return (
        f"FWHM {whole.median_fwhm} and {bare.median_fwhm}, "
        f"ellipticity {whole.typical_ellipticity} and {bare.typical_ellipticity}"
    )


def masked(folder: Path) -> str:
    pixels = np.asarray(stars().data, dtype=np.float32)
    mask = np.zeros(pixels.shape, bool)
    mask[:, 400:] = True
    counts = [
        len(starassay.measure_stars(source))
        for source in (Masked(pixels * u.adu, mask), np.ma.MaskedArray(pixels, mask))
    ]
    return f"{counts[0]} stars as `Masked`, {counts[1]} as `np.ma`; {len(starassay.measure_stars(pixels))} without a mask"


def no_exposure(folder: Path) -> str:
    bare = []
    for one in pair():
        frame = one.copy()
        frame.header.pop("EXPTIME", None)
        bare.append(frame)
    telescope = starassay.Telescope("115 mm", "760 mm")
    known, unknown = (
        starassay.fit_wavefront(*frames, telescope, wavelength="540 nm")
        for frames in (pair(), bare)
    )
    return f"Strehl ratio {known.strehl} with it, {unknown.strehl} without"


def percent_claim(folder: Path) -> str:
    plain(folder)
    campaign(
        folder,
        '[[stars]]\nname = "Field"\nframes = "field.fits"\n'
        '[[claims]]\nquantity = "strehl"\nat_least = 90\n'
        '[[claims]]\nquantity = "star_fwhm"\nat_most = "540 mm"\n',
    )
    return command("run", str(folder), "--quiet").replace(str(folder), "night")


def a_flat(folder: Path) -> str:
    flat, _ = starassay.draw_flat(scope(), camera=starassay.SimulatedCamera(shape=(600, 800)))
    return said(lambda: starassay.measure_stars(flat).sentences())


def a_spectrum(folder: Path) -> str:
    focus = scope().color_focus
    frame = starassay.draw_spectrum(
        focus,
        wavelengths=(385 + 0.752 * np.arange(480)) * u.nm,
        focal_ratio=6.6,
        focal_length=760 * u.mm,
        pitch=3.76 * u.um,
        height=110,
        seeing=2 * u.arcsec,
        seed=5,
    )
    found = said(lambda: starassay.measure_stars(frame))
    if not found.startswith("no error"):
        return found
    field = starassay.measure_stars(frame)
    heavy = [str(n) for n in by_gravity(field.notes)][:1]
    return f"{field.clean_stars} clean; {' '.join(heavy)}"


def crowded(folder: Path) -> str:
    camera = starassay.SimulatedCamera(shape=(300, 300))
    frame, _ = starassay.draw_star_field(scope(), camera=camera, stars=420, seed=9)
    field = starassay.measure_stars(frame)
    about = next(n.text for n in field.notes if "overlap" in n.text)
    return f"{len(field)} stars, {field.clean_stars} clean; {about}"


def no_pitch(folder: Path) -> str:
    plain(folder)
    campaign(
        folder,
        '[[stars]]\nname = "Field"\nframes = "field.fits"\n'
        '[[claims]]\nquantity = "star_fwhm"\nat_most = "5 arcsec"\n',
    )
    return first(command("run", str(folder)), "NOT DECIDED").strip()


def failed_test(folder: Path) -> str:
    plain(folder)
    campaign(
        folder,
        '[[wavefront]]\nname = "Pair"\nwavelength = "540 nm"\n'
        'inside = ["field.fits"]\noutside = ["field.fits"]\n',
    )
    with contextlib.redirect_stderr(io.StringIO()):
        return f"exit code {cli.main(['run', str(folder), '--quiet'])}"


def interrupts(folder: Path) -> str:
    """Ten tries with delays over the whole start; the thousand are test_interrupts.py's."""
    code = (
        "import signal, sys\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "from starassay.__main__ import entry\n"
        "sys.argv = ['starassay', 'about']\n"
        "print('in', file=sys.stderr, flush=True)\n"
        "sys.exit(entry())\n"
    )
    rng, bad = random.Random(5), 0
    for _ in range(10):
        process = subprocess.Popen(
            [sys.executable, "-c", code],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert process.stderr is not None and process.stderr.readline() == "in\n"
        # The first tenth is this program's own waiting for the word above.
        time.sleep(rng.uniform(0.1, 1.5))
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=120)
        lines = err.splitlines()
        good = (process.returncode, lines) in (
            (130, ["Interrupted; nothing was written by halves."]),
            (0, []),
        )
        bad += not good
    return f"of 10 tries {bad} ended otherwise than with one line and exit code 130, or done"


def read_only(folder: Path) -> str:
    return command("measure", "stars", str(plain(folder)), "--json", "/proc/out.json")


def color_command(folder: Path) -> str:
    """README's own command on spectra of the demo's telescope."""
    optics: dict[str, Any] = {
        "wavelengths": (385 + 0.752 * np.arange(480)) * u.nm,
        "focal_ratio": scope().focal_ratio,
        "focal_length": scope().focal_length,
        "pitch": 3.76 * u.um,
        "height": 110,
        "grating_lines": 100,
        "grating_distance": 50 * u.mm,
    }
    for k, sensor in enumerate((-375, -225, -75, 75, 225)):
        frame = starassay.draw_spectrum(
            scope().color_focus, sensor=sensor * u.um, seeing=2 * u.arcsec, seed=40 + k, **optics
        )
        fits.PrimaryHDU(frame.pixels, fits.Header(CAMERA)).writeto(folder / f"spectrum-{k}.fits")
    lamp = starassay.draw_spectrum(None, lamps=("Hg", "Ne"), seed=50, **optics)
    fits.PrimaryHDU(lamp.pixels, fits.Header(CAMERA)).writeto(folder / "lamp.fits")
    text = (TOP / "README.md").read_text(encoding="utf-8")
    (typed,) = re.findall(
        r"^starassay measure color-focus(?:[^\n]*\\\n)*[^\n]*", text, flags=re.MULTILINE
    )
    words = shlex.split(typed.replace("\\\n", " ").replace("spectrum-*.fits", "SPECTRA"))[1:]
    spectra = sorted(str(p) for p in folder.glob("spectrum-*.fits"))
    at = words.index("SPECTRA")
    words[at : at + 1] = spectra
    out = command(*(str(folder / w) if w == "lamp.fits" else w for w in words))
    return f"{first(out, 'range')} {first(out, 'in-focus fraction')}"


CAMERA = {"EGAIN": 1.0, "RDNOISE": 3.0, "XPIXSZ": 3.76, "SATURATE": 1e9, "EXPTIME": 30.0}


def distortion_unnamed(folder: Path) -> str:
    header = fits.Header()
    for k, kind in enumerate(("RA---TAN", "DEC--TAN")):
        header[f"CTYPE{k + 1}"], header[f"CRPIX{k + 1}"] = kind, 400.0
        header[f"CRVAL{k + 1}"], header[f"CD{k + 1}_{k + 1}"] = 20.0, 3e-4
    header["A_ORDER"] = header["B_ORDER"] = 2
    header["A_2_0"] = header["B_0_2"] = 1e-5
    fits.PrimaryHDU(stars().data, header).writeto(folder / "solved.fits")
    done = subprocess.run(
        [sys.executable, "-m", "starassay", "measure", "stars", str(folder / "solved.fits")],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[2])},
    )
    note = next(line for line in done.stdout.splitlines() if "polynomial" in line)
    return f"{len(done.stderr.splitlines())} lines before the answer, and {note}"


def cut_disc(folder: Path) -> str:
    frames = []
    for one in pair():
        cut = one.copy()
        cut.data = np.ascontiguousarray(one.data[:, 44:])
        frames.append(cut)
    fit = starassay.fit_wavefront(
        *frames, starassay.Telescope("115 mm", "760 mm"), wavelength="540 nm"
    )
    return f"{by_gravity(fit.notes)[0]} (Strehl ratio {fit.strehl}, {'decided' if fit.decided else 'not decided'})"


def notebook(folder: Path) -> str:
    field = starassay.measure_stars(stars())
    fit = starassay.fit_wavefront(
        *pair(), starassay.Telescope("115 mm", "760 mm"), wavelength="540 nm"
    )
    lines = [repr(r).count("\n") + 1 for r in (field, fit)]
    return f"{lines[0]} line and {lines[1]} line, such as `{field!r}`; a card in a notebook"


def several(folder: Path) -> str:
    names = [str(plain(folder, f"field {k}.fits")) for k in (1, 2)]
    out = command("measure", "stars", *names, "--focal-length", "30in", "--pitch", "3.76um")
    rows = out[out.index("Each by itself") :].split(" / ")[:5]
    return f"{' ; '.join(' '.join(row.split()[:6]) for row in rows)} ..."


def bulk(folder: Path) -> str:
    fit = starassay.fit_wavefront(
        *pair(), starassay.Telescope("115 mm", "760 mm"), wavelength="540 nm"
    )
    fit.write_json(folder / "fit.json")
    return (
        f"one pair: {(folder / 'fit.json').stat().st_size / 1e3:.0f} kB and "
        f"{(folder / 'fit.npz').stat().st_size / 1e6:.1f} MB of compressed arrays beside it"
    )


def titles(folder: Path) -> str:
    from matplotlib import pyplot as plt

    pupil = starassay.PupilMap.from_zernike(coma="60 nm")
    _, ax = plt.subplots()
    starassay.draw_ronchigram(pupil).plot(ax)
    ax.set_title("Mine")
    shown = [t for k in ("left", "center", "right") if (t := ax.get_title(loc=k))]
    out = starassay.draw_focused_image(pupil, shift="0.3 mm").plot()
    plt.close("all")
    return f"titles: {', '.join(shown)}; out of focus: {out.get_title()}"


def blank_map(folder: Path) -> str:
    from matplotlib import pyplot as plt

    y, x = np.mgrid[0:300, 0:400]
    rng = np.random.default_rng(2)
    image = rng.normal(300, 5, x.shape)
    for _ in range(12):
        cx, cy = rng.uniform(15, 385), rng.uniform(15, 285)
        image += 6e4 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * 1.8**2))
    field = starassay.measure_stars(np.minimum(image, 3e4).astype(np.float32), outer_radius=60)
    title = field.plot().get_title()
    plt.close("all")
    return title.replace("\n", "; ")


def words(folder: Path) -> str:
    near_zero = starassay.results.format_measured(-0.001, 0.1)
    strehl = starassay.Measured(0.97 * u.one, 0.01 * u.one)
    decision = starassay.decide(starassay.Claim("Strehl ratio", at_least=0.95 * u.one), strehl)
    return f"{near_zero}; {decision.reason}"


def for_class(folder: Path) -> str:
    from matplotlib import pyplot as plt

    figure = starassay.PupilMap.from_zernike(coma="60 nm", wavelength="540 nm").plot_views("Coma")
    named = [ax.get_title() for ax in figure.axes if ax.get_title()]
    plt.close("all")
    return f"{len(named)} views: {'; '.join(named)}"


STREHL = "MET, Strehl ratio 0.9445 ± 0.0094 against at least 0.9 (the truth is 0.833)"
CASES: dict[str, tuple[Case, ...]] = {
    "A wrong setup": (
        Case("frames binned 2 x 2 with the XPIXSZ of single pixels", STREHL, binned, slow=True),
        Case(
            "a focal length of 800 for 760 mm",
            "decided, 0.8463 ± 0.0037",
            lambda f: judged(*pair(), starassay.Telescope("115 mm", "800 mm")),
        ),
        Case(
            "an aperture of 102 for 115 mm",
            "decided, 0.8618 ± 0.0066",
            lambda f: judged(*pair(), starassay.Telescope("102 mm", "760 mm")),
        ),
        Case("one image stored upside down", "decided, 0.854 ± 0.012", upside_down, slow=True),
        Case("two frames dated 27 years apart", "passed as one campaign", two_nights, slow=True),
        Case("the right setup, for comparison", "", lambda f: judged(*pair())),
    ),
    "What goes in": (
        Case(
            "the gain's cards removed, same pixels",
            "FWHM 2.2505 and 2.3170 px, ellipticity 0.0341 and 0.0534 (bars 0.004 and 0.002)",
            without_gain,
        ),
        Case("a mask inside Astropy's `Masked`", "read without it: 421 stars for 208", masked),
        Case("a missing exposure", "a smaller bar", no_exposure, slow=True),
        Case(
            '`Telescope("-1 mm", "760 mm")`',
            "accepted",
            lambda f: said(lambda: starassay.Telescope("-1 mm", "760 mm")),
        ),
        Case(
            'claims `at_least = 90` for a Strehl ratio and `"540 mm"` for a FWHM',
            "ran; failed after measuring had begun, without file and line",
            percent_claim,
        ),
        Case("a flat measured as stars", "62 clean, half-flux radius 3.49040 ± 0.00073", a_flat),
        Case("a spectrum measured as stars", "the same, with no doubt", a_spectrum),
    ),
    "What it says, and when": (
        Case(
            "a crowded field",
            "428 stars, 0 clean ... within 17 pix ... Use a longer exposure",
            crowded,
        ),
        Case(
            "a listed field without a pixel pitch",
            "Nothing was measured ... list it under [[stars]]",
            no_pitch,
        ),
        Case("a run with a test that failed", "exit code 0", failed_test),
        Case(
            "Ctrl-C while the runtime starts",
            "of 40 tries 5 traces, one SIGSEGV",
            interrupts,
            slow=True,
        ),
        Case("`--json` into a folder that is read-only", "found after 12 s of work", read_only),
        Case(
            "README's color-focus command",
            "302.7 um where notebook and report said 258.1 and 233.7, bands not written",
            color_command,
            slow=True,
        ),
        Case(
            "a solved frame whose CTYPE does not name its SIP polynomial",
            "12 lines of Astropy's before the answer",
            distortion_unnamed,
            slow=True,
        ),
        Case(
            "a crop that cuts the disc",
            "differ by 3694 nm ... take more pairs; the cause a caution elsewhere",
            cut_disc,
        ),
        Case(
            '`measure_stars(frame, fit_profiles="al")`',
            "a C# JSON error",
            lambda f: said(lambda: starassay.measure_stars(stars(), fit_profiles="al")),
        ),
        Case(
            "`fit_wavefront(..., wavelength=540)`",
            "a bare unit error",
            lambda f: said(lambda: judged(*pair(), wavelength=540)),
        ),
    ),
    "How it feels": (
        Case("a field and a fit printed in a notebook", "2,272 and 248 lines", notebook),
        Case("several frames in one command, focal length in inches", "not possible", several),
        Case("a wavefront written as JSON", "15 MB for four pairs", bulk),
        Case(
            "a title of one's own over a view; a star out of focus",
            "two titles over each other; Star at focus",
            titles,
        ),
        Case("a map of a field without a clean star", "blank", blank_map),
        Case(
            "words",
            "-0.00 ± 0.10; probability that it is kept",
            words,
        ),
        Case(
            '`PupilMap.from_zernike(coma="60 nm").plot_views("Coma")`',
            "not possible",
            for_class,
            slow=True,
        ),
    ),
}

HEAD = """# What users got wrong, before and now

Three new users tried it: someone the morning after a night, a researcher in a notebook, a teacher. Each row is
one thing that hurt: what was done, what came of it then, and what comes of it now. The last column is made
by running the case:

```
PYTHONPATH=python .venv/bin/python tests/user_errors.py
```

`tests/python/test_user_errors.py` runs each again and holds this page against it.
"""


def cell(text: str) -> str:
    """A text as a table's cell."""
    return " ".join(text.split()).replace("|", "\\|")


def made(case: Case) -> str:
    """What comes of a case now."""
    with tempfile.TemporaryDirectory() as name:
        import matplotlib

        matplotlib.use("Agg")
        return cell(case.now(Path(name)).replace(f"{name}/", "").replace(name, "."))


def page() -> str:
    """The whole page."""
    lines = [HEAD]
    for title, cases in CASES.items():
        lines += [f"## {title}", "", "| done | before | now |", "|---|---|---|"]
        for case in cases:
            print(case.done, file=sys.stderr)
            lines.append(f"| {cell(case.done)} | {cell(case.before) or '–'} | {made(case)} |")
        lines.append("")
    return "\n".join(lines)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    print(PAGE.relative_to(TOP))

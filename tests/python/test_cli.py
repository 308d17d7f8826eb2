"""The command line: outputs, exit codes, one sentence for each kind of trouble."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy import units as u
from astropy.table import QTable

import starassay
from starassay import cli, errors
from starassay.cli import measure
from starassay.measurements import declared
from starassay.measurements._declaring import Measurement, Part, Setup
from starassay.results import Measured, Note, Result

TOP = Path(__file__).resolve().parents[2]


class Sample(Result):
    """A result with one number, to test the framework apart from any measurement."""

    @property
    def table(self) -> QTable:
        return QTable({"length": [1.5, np.nan] * u.mm})

    def plot(self, ax: Any = None) -> Any:
        from starassay.style import new_axes

        ax = new_axes(ax)
        ax.plot([0, 1], [1, 2])
        return ax

    def sentences(self) -> list[str]:
        return ["length 1.50 ± 0.10 mm"]


SAMPLE = Sample(
    notes=(Note("sample.rough", "caution", "a.fits", "Read with care."),),
    conditions={"length": Measured(1.5 * u.mm, 0.1 * u.mm)},
)


def offering(monkeypatch: pytest.MonkeyPatch, run: Any, **others: Measurement) -> None:
    """Let the command line know a measurement "sample" that needs no file."""
    one = Measurement(
        area="sample",
        title="Sample",
        help="A sample.",
        example="starassay measure sample",
        roles=(),
        options=(),
        measure=run,
    )
    monkeypatch.setattr(measure, "declared", lambda only="": {"sample": one, **others})


@pytest.fixture
def sample(monkeypatch: pytest.MonkeyPatch) -> None:
    offering(monkeypatch, lambda setup: [Part("sample", SAMPLE)])


def raising(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def run(setup: Setup) -> list[Part]:
        raise error

    offering(monkeypatch, run)


def test_about_checks_the_installation(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["about"]) == 0
    out = capsys.readouterr().out
    assert starassay.__version__ in out and ".NET 10" in out
    assert out.splitlines()[-1] == "The installation works."


def test_about_says_when_the_engine_is_missing(tmp_path: Path) -> None:
    """In a process of its own, since the engine is loaded once."""
    done = subprocess.run(
        [sys.executable, "-m", "starassay", "about"],
        env={
            "STARASSAY_ENGINE": str(tmp_path),
            "PYTHONPATH": str(TOP / "python"),
            "PATH": "/usr/bin",
        },
        capture_output=True,
        text=True,
        cwd=tmp_path,
    )
    assert done.returncode == 1
    assert "NOT WORKING" in done.stdout and str(tmp_path) in done.stdout
    assert "Traceback" not in done.stderr


def test_measure_prints_summary_and_notes(sample: None, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["measure", "sample"]) == 0
    out = capsys.readouterr().out.splitlines()
    assert out == ["length 1.50 ± 0.10 mm", "[caution] a.fits: Read with care."]


def test_quiet_prints_nothing(sample: None, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["measure", "sample", "--quiet"]) == 0
    assert capsys.readouterr() == ("", "")


def test_json_on_standard_output_is_json_alone(
    sample: None, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["measure", "sample", "--json", "-"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["conditions"]["length"] == {
        "value": 1.5,
        "uncertainty": 0.1,
        "unit": "mm",
    }
    assert "length 1.50" in err


def test_files_hold_record_table_and_figure(sample: None, tmp_path: Path) -> None:
    names = {
        k: tmp_path / f"out.{e}" for k, e in [("json", "json"), ("table", "ecsv"), ("plot", "png")]
    }
    argv = [x for k, path in names.items() for x in (f"--{k}", str(path))]
    assert cli.main(["measure", "sample", *argv]) == 0
    assert json.loads(names["json"].read_text())["kind"] == "Sample"
    back = QTable.read(names["table"])
    assert back["length"].unit == u.mm and np.isnan(back["length"][1])
    assert names["plot"].read_bytes().startswith(b"\x89PNG")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out.ecsv", "out.json", "out.png"]


def test_nothing_is_left_when_one_output_fails(
    sample: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    argv = ["--json", str(tmp_path / "a.json"), "--plot", str(tmp_path / "a.docx")]
    assert cli.main(["measure", "sample", *argv]) == 2
    assert "Name it .png, .svg or .pdf." in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
    assert cli.main(["measure", "sample", "--json", str(tmp_path / "no" / "a.json")]) == 2
    assert "There is no folder" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("error", "code", "text"),
    [
        (errors.InputError("a.fits: wrong. Do this."), 2, "starassay: a.fits: wrong. Do this.\n"),
        (
            errors.CannotMeasureError("a.fits holds\nno stars."),
            2,
            "starassay: a.fits holds no stars.\n",
        ),
        (
            FileNotFoundError(2, "No such file or directory", "a.fits"),
            2,
            "The file a.fits cannot be",
        ),
        (MemoryError(), 2, "Not enough memory"),
        (errors.EngineError("fault"), 1, "starassay: fault\n"),
        (KeyError("x"), 1, "a fault of its own (KeyError"),
        (KeyboardInterrupt(), 130, "Interrupted"),
    ],
)
def test_trouble_is_one_line_and_an_exit_code(
    error: BaseException,
    code: int,
    text: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    raising(monkeypatch, error)
    assert cli.main(["measure", "sample"]) == code
    out, err = capsys.readouterr()
    assert out == "" and text in err and err.count("\n") == 1


def test_warnings_are_one_line_notes(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import warnings

    def run(setup: Setup) -> list[Part]:
        warnings.warn("the header is\nincomplete", errors.StarAssayWarning, stacklevel=1)
        warnings.warn("inner matter", DeprecationWarning, stacklevel=1)
        return [Part("sample", SAMPLE)]

    offering(monkeypatch, run)
    assert cli.main(["measure", "sample", "--quiet"]) == 0
    assert capsys.readouterr().err == "note: the header is incomplete\n"


@pytest.mark.parametrize(
    ("argv", "text"),
    [
        (
            ["frobnicate"],
            "'frobnicate' is not known. Choose one of run, init, measure, watch, demo",
        ),
        (["mesure", "sample"], "'mesure' is not known. Did you mean 'measure'? Choose one"),
        ([], "starassay: the following arguments are required: COMMAND."),
        (
            ["measure", "sample", "--tabel", "x"],
            "'--tabel x' is not known here. Did you mean '--table'?",
        ),
        (["measure", "sample", "--plot"], "measure sample: --plot: expected one argument."),
        (
            ["measure", "stars", "f.fits", "--threshold", "a"],
            "threshold = a cannot be read as a value in plain numbers.",
        ),
        (
            ["measure", "stars", "f.fits", "--gain", "1.5"],
            "gain = 1.5 cannot be read as a value in electron / adu.",
        ),
        (
            ["measure", "stars", "f.fits", "--gain", "1.5 mm"],
            "gain = 1.5 mm cannot be read as a value in electron / adu.",
        ),
        (
            ["measure", "color-focus", "f.fits"],
            "required: --dispersion, --aperture, --focal-length.",
        ),
        (
            ["measure", "stars", "f.fits", "--threshold", "1"],
            "threshold is 1; it must be between 2",
        ),
        (["measure", "sample", "--json", "-", "--table", "-"], "Only one of --json and --table"),
        (["notes", "zzz"], "No note's code begins with 'zzz'"),
    ],
)
def test_wrong_usage_is_one_line(
    argv: list[str],
    text: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    offering(monkeypatch, lambda setup: [Part("sample", SAMPLE)], **declared())
    assert cli.main(argv) == 2
    err = capsys.readouterr().err
    assert text in err and err.count("\n") == 1


@pytest.mark.parametrize(
    ("argv", "option", "value"),
    [
        (["--defocus", "-250um"], "defocus", -250 * u.um),
        (["--defocus", "-.25mm"], "defocus", -250 * u.um),
        (["--defocus", "-0.25 mm"], "defocus", -250 * u.um),
        (["--defocus=-250um"], "defocus", -250 * u.um),
        (["--defocus", "-1.5e2um", "--axis", "x"], "defocus", -150 * u.um),
        (["--positions", "-0.2mm", "-1um", "0um"], "positions", [-200.0, -1.0, 0.0] * u.um),
        (["--positions", "-200um", "--axis", "y"], "positions", [-200.0] * u.um),
        (["--band", "0.4um", "700nm"], "band", [400.0, 700.0] * u.nm),
    ],
)
def test_numbers_with_a_sign_and_a_unit_are_values(
    argv: list[str], option: str, value: Any
) -> None:
    """A minus sign begins a value, not an option, whatever stands behind the digits."""
    parser = cli.build_parser()
    needed = ["--aperture", "115mm", "--focal-length", "760mm"]
    needed += ["--dispersion", "0.6nm/pix", "0.9nm/pix"]
    frames = ["f.fits"] * (len(value) if np.ndim(value) and option == "positions" else 1)
    args = parser.parse_args(["measure", "color-focus", *frames, *needed, *argv])
    setup = measure.setup_of(args, declared()["color_focus"])
    assert np.all(u.isclose(setup.options[option], value, rtol=1e-12))
    assert setup.files["frames"] == (Path("f.fits"),) * len(frames)


@pytest.mark.parametrize("name", [m.command for m in declared().values()])
def test_help_explains_every_option(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """No option without a word about it, and an example that parses."""
    parser = cli.build_parser()
    known = next(m for m in declared().values() if m.command == name)
    args = parser.parse_args(known.example.split()[1:])
    one = parser
    for word in ("measure", name):
        one = next(a for a in one._actions if hasattr(a, "choices") and a.choices).choices[word]
    assert [a.dest for a in one._actions if not a.help] == []
    assert args._measurement is known and measure.setup_of(args, known).files


def sky(shape: tuple[int, ...] = (80, 90), kind: Any = np.uint16) -> np.ndarray:
    return np.random.default_rng(1).normal(500, 5, shape).astype(kind)


def broken(folder: Path) -> dict[str, Path]:
    """Files that cannot serve, each in its own way."""
    from astropy.io import fits

    def write(name: str, data: np.ndarray, **cards: Any) -> Path:
        hdu = fits.PrimaryHDU(data)
        hdu.header.update(cards)
        hdu.writeto(folder / name)
        return folder / name

    paths = {
        "nan": write("nan.fits", np.full((80, 90), np.nan, np.float32)),
        "saturated": write("saturated.fits", np.full((80, 90), 65535, np.uint16), SATURATE=65535),
        "cube": write("cube.fits", sky((3, 80, 90))),
    }
    whole = write("whole.fits", sky()).read_bytes()
    for name, content in {
        "empty": b"",
        "text": b"SIMPLE words, not a frame\n" * 400,
        "truncated": whole[: len(whole) - 2880 * 3],
        # The header promises ten times as many rows as follow.
        "lying": whole.replace(
            b"NAXIS2  =                   80", b"NAXIS2  =                  800"
        ),
    }.items():
        paths[name] = folder / f"{name}.fits"
        paths[name].write_bytes(content)
    assert paths["lying"].read_bytes() != whole
    paths["missing"] = folder / "missing.fits"
    return paths


@pytest.mark.parametrize(
    "trouble", ["nan", "saturated", "cube", "empty", "text", "truncated", "lying", "missing"]
)
def test_bad_frames_end_with_one_sentence_and_write_nothing(
    trouble: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = broken(tmp_path)[trouble]
    before = sorted(p.name for p in tmp_path.iterdir())
    argv = ["measure", "stars", str(path), "--json", str(tmp_path / "out.json")]
    assert cli.main([*argv, "--table", str(tmp_path / "out.ecsv")]) == 2
    out, err = capsys.readouterr()
    lines = [line for line in err.splitlines() if not line.startswith("note: ")]
    assert out == "" and len(lines) == 1, err
    assert path.name in lines[0] and "Traceback" not in err and len(lines[0]) > 40
    assert sorted(p.name for p in tmp_path.iterdir()) == before


@pytest.mark.parametrize("name", ["wavefront", "plate-scale", "color-focus", "stars"])
def test_every_measurement_takes_the_plane_it_asks_for(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A cube of noise: asked for a plane; with one, what is said is about its pixels."""
    from astropy.io import fits

    path = tmp_path / "cube.fits"
    fits.writeto(path, np.random.default_rng(3).normal(300, 10, (3, 90, 100)).astype(np.float32))
    scope = ["--aperture", "115mm", "--focal-length", "760mm"]
    files = [str(path)] * (2 if name == "wavefront" else 1)
    spread = ["--dispersion", "0.6nm/pix", "0.9nm/pix"]
    more = {"wavefront": [*scope, "--wavelength", "540nm"], "color-focus": [*scope, *spread]}.get(
        name, []
    )
    assert cli.main(["measure", name, *files, *more]) == 2
    assert "plane=0 to 2" in capsys.readouterr().err
    assert cli.main(["measure", name, *files, *more, "--plane", "1"]) == 2
    said = capsys.readouterr().err
    assert "plane" not in said.replace("cube.fits", "") and said.count("\n") == 1, said


def test_a_frame_without_stars_ends_with_two(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Sound input, nothing in it: that is said, and nothing is invented."""
    from astropy.io import fits

    fits.PrimaryHDU(sky()).writeto(tmp_path / "dark.fits")
    assert cli.main(["measure", "stars", str(tmp_path / "dark.fits"), "--json", "-"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and "No star was found" in err and "dark.fits" in err


def test_an_interrupt_ends_a_real_process_with_one_line(tmp_path: Path) -> None:
    """A signal to a process that waits inside the engine."""
    import signal
    import time

    code = (
        "import signal, sys, starassay._gateway as g, starassay._host as h, starassay.cli as c, starassay.cli.measure as m\n"
        "from starassay.measurements._declaring import Measurement as M\n"
        # A shell starts what runs in its background deaf to this signal, and children inherit that.
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "def run(setup):\n"
        # The runtime starts first: on a busy machine that can take longer than the pause below.
        "    h.about()\n"
        "    print('in', file=sys.stderr, flush=True)\n"
        "    g.call('gateway.wait', {'seconds': 60})\n"
        "m.declared = lambda only: {'wait': M('wait', 'Wait', 'Waits.', '', (), (), run)}\n"
        "sys.exit(c.main(['measure', 'wait']))\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code], stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert process.stderr is not None and process.stderr.readline() == "in\n"
    time.sleep(1.5)
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=20)
    assert process.returncode == 130
    assert err.splitlines() == ["Interrupted; nothing was written by halves."]


def night(folder: Path) -> list[Path]:
    """Three frames of one round field under a little other seeing."""
    from astropy.io import fits

    y, x = np.mgrid[0:200, 0:260]
    paths = []
    for k, sigma in enumerate((1.8, 1.9, 2.0)):
        rng = np.random.default_rng(5)
        image = np.random.default_rng(k).normal(400, 4, x.shape)
        for _ in range(16):
            cx, cy = rng.uniform(15, 245), rng.uniform(15, 185)
            image += 6000 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * sigma**2))
        paths.append(folder / f"field {k + 1}.fits")
        fits.PrimaryHDU(image.astype(np.float32)).writeto(paths[-1])
    return paths


def test_several_frames_are_one_table_with_their_mean(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    paths = [str(p) for p in night(tmp_path)]
    assert (
        cli.main(["measure", "stars", *paths, "--focal-length", "30in", "--pitch", "3.76um"]) == 0
    )
    out = capsys.readouterr().out.splitlines()
    start = out.index("Each by itself, and their mean:")
    head, *rows = out[start + 1 : start + 6]
    columns = re.split(r"\s{2,}", head.strip())
    at = columns.index("half-flux radius, median (arcsec)")
    cells = [re.split(r"\s{2,}", row.strip()) for row in rows[:4]]
    assert [row[0] for row in cells] == [
        "field 1.fits",
        "field 2.fits",
        "field 3.fits",
        "mean of 3",
    ]
    # Half-flux radius of a Gaussian: 1.1774 sigma, less the pixel's own 1/12; 206.265 x 3.76 / 762 arcsec a pixel.
    scale = 206.265 * 3.76 / 762
    found = [float(row[at].split("±")[0]) for row in cells]
    drawn = [1.1774 * np.sqrt(s**2 - 1 / 12) * scale for s in (1.8, 1.9, 2.0)]
    np.testing.assert_allclose(found[:3], drawn, rtol=0.02)
    assert found[3] == pytest.approx(np.mean(drawn), rel=0.02)


def test_several_pairs_stand_behind_their_names(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scope, names = starassay.juniper_115(), []
    for k in (1, 2):
        for frame, side in zip(
            starassay.draw_defocused_pair(scope, size=96, defocus=6.0, electrons=1e6, seed=k),
            ("in", "out"),
        ):
            names.append(str(tmp_path / f"{side} {k}.fits"))
            starassay.write_frame(names[-1], frame, {})
    common = "--aperture 115mm --focal-length 760mm --wavelength 540nm".split()
    both = ["--inside", names[0], names[2], "--outside", names[1], names[3]]
    assert cli.main(["measure", "wavefront", *both, *common]) == 0
    out = capsys.readouterr().out
    assert "2 pairs, chi squared" in out
    each = out[out.index("Each pair fitted alone") :].splitlines()[1:5]
    assert [line.split("  ")[1].strip() for line in each[1:]] == [
        *("in 1.fits", "in 2.fits", "all 2 together"),
    ]
    rms = [float(line.split()[-5]) for line in each[1:]]
    assert min(rms[:2]) - 0.5 <= rms[2] <= max(rms[:2]) + 0.5
    for wrong in (names[:1], names, [*names[:2], "--inside", names[2]]):
        assert cli.main(["measure", "wavefront", *wrong, *common]) == 2
        err = capsys.readouterr().err
        assert "INSIDE OUTSIDE, several as --inside FILE" in err and err.count("\n") == 1

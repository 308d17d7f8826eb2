"""The command line: outputs, exit codes, one sentence for each kind of trouble."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from astropy import units as u
from astropy.table import QTable

import starassay
from starassay import cli, errors
from starassay.cli import measure
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

    def summary(self) -> list[str]:
        return ["length 1.50 ± 0.10 mm"]


SAMPLE = Sample(
    notes=(Note("sample.rough", "caution", "a.fits", "Read with care."),),
    conditions={"length": Measured(1.5 * u.mm, 0.1 * u.mm)},
)


def kind(run: Any) -> SimpleNamespace:
    return SimpleNamespace(
        NAME="sample", HELP="A sample.", add_arguments=lambda parser: None, run=run
    )


@pytest.fixture
def sample(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(measure, "kinds", lambda: [kind(lambda args: SAMPLE)])


def raising(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def run(args: Any) -> Result:
        raise error

    monkeypatch.setattr(measure, "kinds", lambda: [kind(run)])


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

    def run(args: Any) -> Result:
        warnings.warn("the header is\nincomplete", errors.StarAssayWarning, stacklevel=1)
        warnings.warn("inner matter", DeprecationWarning, stacklevel=1)
        return SAMPLE

    monkeypatch.setattr(measure, "kinds", lambda: [kind(run)])
    assert cli.main(["measure", "sample", "--quiet"]) == 0
    assert capsys.readouterr().err == "note: the header is incomplete\n"


@pytest.mark.parametrize(
    ("argv", "text"),
    [
        (["frobnicate"], "invalid choice: 'frobnicate'"),
        ([], "required: COMMAND"),
        (["measure", "sample", "--json", "-", "--table", "-"], "Only one of --json and --table"),
        (["notes", "zzz"], "No note's code begins with 'zzz'"),
    ],
)
def test_wrong_usage_is_one_line(
    argv: list[str], text: str, sample: None, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(argv) == 2
    err = capsys.readouterr().err
    assert text in err and err.count("\n") == 1


def test_quantities_need_units() -> None:
    import argparse

    from starassay.cli._options import quantity

    assert quantity("mm")("11.5 cm") == 115 * u.mm
    for wrong in ("115", "115 s", "long"):
        with pytest.raises(argparse.ArgumentTypeError, match="number with its unit"):
            quantity("mm")(wrong)

"""README's commands and Python, run word for word on the demo's frames; its color focus is the report's."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from conftest import TOP, report_text
from starassay import cli

README = (TOP / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w*)\n(.*?)^```", README, flags=re.MULTILINE | re.DOTALL)
COMMANDS = [
    command.replace("\\\n", " \\\n")
    for kind, text in BLOCKS
    if kind == ""
    for command in re.split(r"\n(?=\S)", text.strip())
    if command.startswith("starassay")
]


@pytest.fixture(scope="module")
def night(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's frames under README's names, and `starassay` on PATH."""
    folder = tmp_path_factory.mktemp("night")
    frames = demo / "frames"
    for name, source in (
        ("field.fits", "field-1.fits"),
        ("inside.fits", "pair-1-inside.fits"),
        ("outside.fits", "pair-1-outside.fits"),
        ("lamp.fits", "lamp.fits"),
        *((p.name, p.name) for p in frames.glob("spectrum-*.fits")),
    ):
        shutil.copy(frames / source, folder / name)
    shutil.copy(demo / "campaign.toml", folder)
    (folder / "frames").symlink_to(frames)
    (folder / "night").mkdir()
    (folder / "tonight").mkdir()
    shutil.copy(frames / "pair-1-inside.fits", folder / "tonight")
    for path in [frames / "field-1.fits", *frames.glob("pair-*.fits")]:
        shutil.copy(path, folder / "night")
    tool = folder / "bin" / "starassay"
    tool.parent.mkdir()
    tool.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m starassay "$@"\n')
    tool.chmod(0o755)
    return folder


def run(command: str, folder: Path) -> str:
    """What a shell makes of it in that folder."""
    done = subprocess.run(
        ["bash", "-c", command],
        cwd=folder,
        env={
            **os.environ,
            "PATH": f"{folder / 'bin'}:{os.environ['PATH']}",
            "PYTHONPATH": str(Path(cli.__file__).parents[2]),
        },
        capture_output=True,
        text=True,
        timeout=600,
    )
    assert done.returncode == 0, (command, done.stderr)
    return done.stdout


def test_there_are_commands_to_run() -> None:
    kinds = [re.sub(r"\s+", " ", c).split("--")[0].split()[1:3] for c in COMMANDS]
    assert ["measure", "stars"] in kinds and ["measure", "wavefront"] in kinds
    assert ["measure", "color-focus"] in kinds and ["init", "night/"] in kinds
    assert ["run", "campaign.toml"] in kinds


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_runs_as_it_stands(command: str, night: Path, demo: Path) -> None:
    if " watch " in command:
        # It would wait for frames until Ctrl-C.
        command += " --earlier --count 1"
    out = run(command, night)
    assert len(out.splitlines()) > 2
    if "color-focus" in command:
        # The grating's geometry is in the command, and the figures are the report's, band and all.
        merit = next(line for line in out.splitlines() if "in-focus fraction" in line)
        curve = next(line for line in out.splitlines() if "range" in line)
        assert merit.startswith("From 400 to 700 nm")
        assert re.search(r"bins from \d+ nm to \d+ nm: range", curve)
        assert merit in report_text(demo) and curve in report_text(demo)


def test_the_python_runs_as_it_stands(night: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (text,) = [text for kind, text in BLOCKS if kind == "python"]
    monkeypatch.chdir(night)
    names: dict[str, object] = {}
    exec(compile(text, "README.md", "exec"), names)
    assert str(names["fit"].strehl).startswith("0.8")  # type: ignore[attr-defined]

"""What docs/install.md says of notebooks and of machines without a network, done as it is written there."""

from __future__ import annotations

import asyncio
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from starassay import cli

TOP = Path(__file__).resolve().parents[2]
PAGE = (TOP / "docs" / "install.md").read_text(encoding="utf-8")


def documented(words: str) -> list[str]:
    """The command of the page that holds some words, with this environment's Python."""
    (line,) = [
        text
        for block in re.findall(r"^```\n(.*?)^```", PAGE, flags=re.MULTILINE | re.DOTALL)
        for text in block.splitlines()
        if words in text
    ]
    argv = shlex.split(line)
    assert argv[0] == ".venv/bin/python"
    return [sys.executable, *argv[1:]]


def test_the_kernel_of_the_page_has_the_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Installed by the page's command, but for its place, and started by its name."""
    pytest.importorskip("ipykernel")
    nbclient, nbformat = pytest.importorskip("nbclient"), pytest.importorskip("nbformat")
    argv = documented("ipykernel install")
    at = argv.index("--sys-prefix")
    argv[at : at + 1] = ["--prefix", str(tmp_path)]
    subprocess.run(argv, check=True, capture_output=True, timeout=120)
    monkeypatch.setenv("JUPYTER_PATH", str(tmp_path / "share" / "jupyter"))
    monkeypatch.setenv("PYTHONPATH", str(Path(cli.__file__).parents[2]))
    spec = json.loads(
        (tmp_path / "share/jupyter/kernels/starassay/kernel.json").read_text(encoding="utf-8")
    )
    assert spec["display_name"] == "Python (StarAssay)" and "Python (StarAssay)" in PAGE
    assert Path(spec["argv"][0]) == Path(sys.executable)
    notebook = nbformat.v4.new_notebook()
    code = "import sys, starassay; print(sys.executable, starassay.about()['version'])"
    notebook.cells.append(nbformat.v4.new_code_cell(code))
    client = nbclient.NotebookClient(notebook, timeout=120, kernel_name="starassay")
    asyncio.run(client.async_execute())
    said = notebook.cells[0]["outputs"][0]["text"].split()
    assert Path(said[0]) == Path(sys.executable) and said[1] == starassay_version()


def starassay_version() -> str:
    import starassay

    return starassay.__version__


@pytest.mark.slow
def test_without_a_network_it_is_built_as_the_page_says(tmp_path: Path) -> None:
    """The plain command fails with the words of the page; the page's one installs a package that works."""
    source = tmp_path / "checkout"
    kept = shutil.ignore_patterns("bin", "obj", "_engine", "build", "*.egg-info", "__pycache__")
    for name in ("python", "src"):
        shutil.copytree(TOP / name, source / name, ignore=kept)
    for path in [*TOP.glob("Directory.*.props"), TOP / ".editorconfig", TOP / "LICENSE"]:
        shutil.copy(path, source)
    plain = [sys.executable, "-m", "pip", "install", "--no-index", "./python"]
    failed = subprocess.run(plain, cwd=source, capture_output=True, text=True, timeout=120)
    words = "Could not find a version that satisfies the requirement setuptools"
    assert failed.returncode != 0 and words in failed.stdout + failed.stderr and words in PAGE
    argv = documented("--no-build-isolation")
    place = tmp_path / "site"
    done = subprocess.run(
        [*argv, "--target", str(place), "--no-deps"],
        cwd=source,
        capture_output=True,
        text=True,
        timeout=500,
    )
    assert done.returncode == 0, done.stderr
    told = subprocess.run(
        [
            sys.executable,
            "-c",
            "import starassay; print(starassay.__file__, starassay.about()['version'])",
        ],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(place)},
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    assert Path(told[0]).is_relative_to(place) and told[1] == starassay_version()

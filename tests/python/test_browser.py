"""A panel in a real browser on a real Jupyter: keys and mouse move it, pixels and numbers follow, the console stays clean.

Only where the browser's parts have been fetched (see docs/lab.md); all four panels by `tests/browser/panel.py` and `lab.py`.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import starassay

TOP = Path(__file__).resolve().parents[2]
BUILD = TOP / "build"


def move(script: str, pictures: Path) -> None:
    """Run one of the scripts on the panel of aberrations."""
    if shutil.which("chromium") is None or shutil.which("node") is None:
        pytest.skip("needs chromium and node")
    if importlib.util.find_spec("notebook") is None:
        pytest.skip("needs jupyter-notebook")
    done = subprocess.run(
        [sys.executable, str(TOP / "tests" / "browser" / script), "--only", "aberrations"]
        + ["--pictures", str(pictures)],
        env={**os.environ, "PYTHONPATH": str(Path(starassay.__file__).parents[1])},
        capture_output=True,
        text=True,
        timeout=400,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "aberrations: " in done.stdout
    assert (pictures / "aberrations.png").stat().st_size > 50_000


def test_notebook(tmp_path: Path) -> None:
    if not (BUILD / "browser" / "node_modules" / "playwright-core").is_dir():
        pytest.skip("not prepared: npm install --prefix build/browser playwright-core")
    move("panel.py", tmp_path)


def test_jupyterlab(tmp_path: Path) -> None:
    if not (BUILD / "lab" / "application" / "static").is_dir():
        pytest.skip("not prepared: python tests/browser/lab.py --prepare")
    move("lab.py", tmp_path)

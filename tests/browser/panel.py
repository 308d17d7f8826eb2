"""Opens the panels in a real Jupyter Notebook and moves their controls by keys and mouse.

    npm install --prefix build/browser playwright-core
    PYTHONPATH=python python tests/browser/panel.py [--pictures FOLDER] [--only NAME]

Needs jupyter-notebook with jupyter-nbextension-jupyter-js-widgets, node, chromium, and the package on
PYTHONPATH: the kernel may be another interpreter than the one that runs this. Prints how many sheets a second reach the browser while a slider is
dragged; ends with 1 when pictures or numbers do not follow, or the browser's console holds an error.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from PIL import Image

from starassay import lab
from starassay.lab.panels import PAIRS, glasses_of

HERE = Path(__file__).resolve().parent
BUILD = HERE.parents[1] / "build"

#: By panel: the control that keys move and how often, and the one that the mouse drags.
PANELS = {
    "aberrations": {"keys": [2, 8], "mouse": 4},
    "color": {"keys": [1, 3], "mouse": 2},
    "field": {"keys": [1, 6], "mouse": 0},
    "seeing": {"keys": [1, 5], "mouse": 1},
}

#: Sheets that may come after the mouse has let go: one under way, one of the last place.
LATE = 2


def expected(name: str, values: list[Any]) -> str:
    """What must stand above the pictures when the controls show these values."""
    if name == "aberrations":
        *amounts, direction, obstruction, nm, away = map(float, values)
        sheet: Any = lab.draw_aberrations(
            **dict(zip(lab.aberration_sheet.MODES, amounts)),
            direction=direction * u.deg,
            obstruction=obstruction,
            wavelength=nm * u.nm,
            defocus_waves=away,
        )
    elif name == "color":
        sheet = lab.draw_color(glasses_of(values[0]), float(values[1]) * u.mm, float(values[2]))
    elif name == "field":
        focus, tilt_x, tilt_y, sag, astigmatism, coma, reducer = map(float, values)
        sheet = lab.draw_field(
            focus=focus * u.um,
            tilt_x=tilt_x * u.um,
            tilt_y=tilt_y * u.um,
            sag=sag * u.um,
            astigmatism=astigmatism * u.um,
            coma=coma * u.nm,
            reducer=reducer * u.mm,
        )
    else:
        aperture, seeing, nm, obstruction, coma, spherical = map(float, values)
        sheet = lab.draw_seeing(
            aperture=aperture * u.mm,
            seeing=seeing * u.arcsec,
            wavelength=nm * u.nm,
            obstruction=obstruction,
            coma=coma,
            spherical=spherical,
        )
    return words(" ".join(f"{n} {v}" for n, v in sheet.numbers))


def words(text: str) -> str:
    """A text with single blanks."""
    return " ".join(text.split())


#: What the controls show at first.
FIRST: dict[str, list[Any]] = {
    "aberrations": [0.0] * 8 + [550, 3],
    "color": [PAIRS[0], 1000, 10],
    "field": [0.0] * 7,
    "seeing": [115, 2, 550, 0, 0, 0],
}

#: What keys make of the control that they move: its step, so many times.
STEPS = {"aberrations": 0.01, "color": 50.0, "field": 10.0, "seeing": 0.1}


def faults(seen: dict[str, Any], folder: Path) -> list[str]:
    """What is wrong with one panel, in words; nothing when all is well."""
    name = seen["name"]
    which, times = PANELS[name]["keys"]  # type: ignore[misc]
    moved = list(FIRST[name])
    moved[which] += times * STEPS[name]
    found = [f"the browser's console: {error}" for error in seen["errors"]]
    for when, text, values in (
        ("at first", seen["before"], FIRST[name]),
        ("after the keys", seen["afterKeys"], moved),
        ("after the mouse", seen["afterMouse"], seen["values"]),
    ):
        if words(text) != expected(name, values):
            found.append(f"{when} '{words(text)}' stands there, not '{expected(name, values)}'")
    if seen["afterMouse"] == seen["afterKeys"]:
        found.append("the mouse moved nothing")
    if seen["late"] > LATE:
        found.append(f"{seen['late']} sheets came after the mouse had let go")
    shots = [
        np.asarray(Image.open(folder / f"{name}-{s}.png").convert("RGB")).astype(int)
        for s in ("before", "still", "keys", "mouse")
    ]
    # A picture between two pixels may be one wider.
    rows, columns = (min(s.shape[k] for s in shots) for k in (0, 1))
    shots = [s[:rows, :columns] for s in shots]
    changed = [float((np.abs(b - a).max(axis=2) > 8).mean()) for a, b in zip(shots, shots[1:])]
    seen["pixelsChanged"] = dict(zip(("nothing moved", "keys", "mouse"), changed))
    if changed[0] > 0 or min(changed[1:]) < 0.01:
        found.append(f"share of a picture's pixels that changed: {seen['pixelsChanged']}")
    return found


def notebook_of(name: str) -> dict[str, Any]:
    """A notebook that shows one panel."""
    source = f"from starassay import lab\nlab.{name}()"
    cell = {"cell_type": "code", "execution_count": None, "metadata": {}, "outputs": []}
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    return {
        "cells": [{**cell, "id": "panel", "source": source}],
        "metadata": {"kernelspec": kernel},
        "nbformat": 4,
        "nbformat_minor": 5,
    }


def free_port() -> int:
    """A port that nobody listens to."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def roots() -> str:
    """PYTHONPATH with whole paths: servers work in another folder."""
    return os.pathsep.join(
        str(Path(p).resolve()) for p in os.environ.get("PYTHONPATH", "").split(os.pathsep) if p
    )


def watch(
    kind: str,
    server: list[str],
    home: Path,
    environment: dict[str, str],
    names: list[str],
    pictures: Path,
    modules: Path,
) -> int:
    """Run a server and the browser; say what was seen, and give 1 when something is wrong.

    Parameters
    ----------
    kind : str
        "notebook" or "lab".
    server : list of str
        Its command; the port is added.
    home : Path
        Where notebooks and the server's own files go.
    environment : dict
        What the server has beside ours.
    names : list of str
        Of panels.
    pictures : Path
        Folder for the screenshots.
    modules : Path
        Where playwright-core is.
    """
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    node = shutil.which("node")
    if browser is None or node is None or not (modules / "playwright-core").is_dir():
        print("needs chromium, node and playwright-core; see --help", file=sys.stderr)
        return 2
    pictures.mkdir(parents=True, exist_ok=True)
    for name in names:
        text = json.dumps(notebook_of(name))
        (home / f"{name}.ipynb").write_text(text, encoding="utf-8")
    places = {
        "JUPYTER_CONFIG_DIR": home / "config",
        "JUPYTER_DATA_DIR": home / "data",
        "JUPYTER_RUNTIME_DIR": home / "runtime",
        "IPYTHONDIR": home / "ipython",
    }
    port = free_port()
    with open(home / "server.log", "w", encoding="utf-8") as log:
        running = subprocess.Popen(
            [*server, f"--port={port}"],
            cwd=home,
            env={**os.environ, **{n: str(p) for n, p in places.items()}, **environment},
            stdout=log,
            stderr=log,
        )
        try:
            _wait_for(f"http://127.0.0.1:{port}/api", running)
            script = [node, str(HERE / "panel.js"), f"http://127.0.0.1:{port}", browser]
            done = subprocess.run(
                [*script, str(pictures.resolve()), kind],
                input=json.dumps([{"name": name, **PANELS[name]} for name in names]),
                env={**os.environ, "NODE_PATH": str(modules)},
                capture_output=True,
                text=True,
                timeout=600,
                check=False,
            )
        finally:
            running.terminate()
            running.wait()
    if done.returncode:
        print(done.stderr, file=sys.stderr)
        return 1
    bad = False
    for seen in json.loads(done.stdout):
        wrong = faults(seen, pictures)
        bad = bad or bool(wrong)
        share = ", ".join(f"{k} {100 * v:.0f} %" for k, v in seen["pixelsChanged"].items())
        print(
            f"{seen['name']}: {seen['perSecond']:.1f} sheets a second, {seen['late']} after the mouse let go; "
            f"pixels of the first picture that changed: {share}"
        )
        for fault in wrong:
            print(f"  {fault}")
    return int(bad)


def _wait_for(address: str, running: subprocess.Popen[bytes], seconds: float = 60) -> None:
    """Wait until a server answers."""
    end = time.monotonic() + seconds
    while True:
        try:
            urllib.request.urlopen(address, timeout=5).close()
            return
        except OSError:
            if time.monotonic() > end or running.poll() is not None:
                raise
            time.sleep(0.3)


def options(about: str | None, folder: str) -> argparse.ArgumentParser:
    """What both hosts are asked with."""
    parser = argparse.ArgumentParser(
        description=about, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    where = BUILD / folder / "pictures"
    parser.add_argument("--pictures", type=Path, default=where, help="folder for the screenshots")
    parser.add_argument("--only", choices=list(PANELS), help="one panel instead of all")
    return parser


def main() -> int:
    """Look at the panels in Jupyter Notebook."""
    args = options(__doc__, "browser").parse_args()
    server = [sys.executable, "-m", "notebook", "--no-browser", "--allow-root", "--ip=127.0.0.1"]
    server += ["--port-retries=0", "--NotebookApp.token=", "--NotebookApp.password="]
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        profile = home / "ipython" / "profile_default"
        profile.mkdir(parents=True)
        # Else the first display says that the widgets' script is missing.
        (profile / "ipython_kernel_config.py").write_text(
            'c.IPKernelApp.extensions = ["ipywidgets"]\n'
        )
        names = [args.only] if args.only else list(PANELS)
        modules = BUILD / "browser" / "node_modules"
        return watch(
            "notebook", server, home, {"PYTHONPATH": roots()}, names, args.pictures, modules
        )


if __name__ == "__main__":
    raise SystemExit(main())

"""Opens a panel in a real Jupyter Notebook and moves its sliders by keys and mouse.

    npm install --prefix build/browser playwright-core
    python tests/browser/panel.py [--picture FILE]

Needs jupyter-notebook with jupyter-nbextension-jupyter-js-widgets, node, chromium, and the package in the
interpreter that runs it (or on PYTHONPATH). Prints how many sheets a second reach the browser while a slider is
dragged; ends with 1 when the pictures do not follow, or the browser's console holds an error.
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

HERE = Path(__file__).resolve().parent
MODULES = HERE.parents[1] / "build" / "browser" / "node_modules"
NOTEBOOK = {
    "cells": [
        {
            "cell_type": "code",
            "execution_count": None,
            "metadata": {},
            "outputs": [],
            "source": "from starassay import lab\nlab.aberrations()",
        }
    ],
    "metadata": {
        "kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}
    },
    "nbformat": 4,
    "nbformat_minor": 4,
}


def free_port() -> int:
    """A port that nobody listens to."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def main() -> int:
    """Run the server and the browser; say what was seen."""
    parser = argparse.ArgumentParser(description="A panel in a real notebook.")
    parser.add_argument("--picture", type=Path, default=Path("panel.png"), help="the screenshot")
    args = parser.parse_args()
    browser = shutil.which("chromium")
    if browser is None or shutil.which("node") is None or not MODULES.is_dir():
        print(f"needs chromium, node and playwright-core; {__doc__}", file=sys.stderr)
        return 2
    port = free_port()
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        (home / "panel.ipynb").write_text(json.dumps(NOTEBOOK), encoding="utf-8")
        profile = home / "ipython" / "profile_default"
        profile.mkdir(parents=True)
        # Else the first display says that the widgets' script is missing.
        (profile / "ipython_kernel_config.py").write_text(
            'c.IPKernelApp.extensions = ["ipywidgets"]\n'
        )
        places = {
            "JUPYTER_CONFIG_DIR": home / "config",
            "JUPYTER_DATA_DIR": home / "data",
            "JUPYTER_RUNTIME_DIR": home / "runtime",
            "IPYTHONDIR": home / "ipython",
        }
        # The server works in another folder.
        roots = [
            str(Path(p).resolve()) for p in os.environ.get("PYTHONPATH", "").split(os.pathsep) if p
        ]
        command = [
            sys.executable,
            "-m",
            "notebook",
            "--no-browser",
            "--allow-root",
            "--ip=127.0.0.1",
        ]
        command += [
            f"--port={port}",
            "--port-retries=0",
            "--NotebookApp.token=",
            "--NotebookApp.password=",
        ]
        server = subprocess.Popen(
            command,
            cwd=home,
            env={
                **os.environ,
                **{name: str(path) for name, path in places.items()},
                "PYTHONPATH": os.pathsep.join(roots),
            },
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        try:
            _wait_for(f"http://127.0.0.1:{port}/api")
            address = f"http://127.0.0.1:{port}/notebooks/panel.ipynb"
            done = subprocess.run(
                ["node", str(HERE / "panel.js"), address, browser, str(args.picture.resolve())],
                env={**os.environ, "NODE_PATH": str(MODULES)},
                capture_output=True,
                text=True,
                timeout=300,
                check=False,
            )
        finally:
            server.terminate()
            server.wait()
    if done.returncode:
        print(done.stderr, file=sys.stderr)
        return 1
    seen = json.loads(done.stdout)
    print(json.dumps(seen, indent=2))
    good = (
        "0.080 waves" in seen["afterKeys"]
        and seen["picturesChanged"] == 7
        and seen["afterMouse"] != seen["afterKeys"]
        and seen["late"] <= 2
        and not seen["errors"]
    )
    return 0 if good else 1


def _wait_for(address: str, seconds: float = 60) -> None:
    """Wait until a server answers."""
    end = time.monotonic() + seconds
    while True:
        try:
            urllib.request.urlopen(address, timeout=5).close()
            return
        except OSError:
            if time.monotonic() > end:
                raise
            time.sleep(0.3)


if __name__ == "__main__":
    raise SystemExit(main())

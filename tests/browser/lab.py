"""Opens the panels in a real JupyterLab with ipywidgets 8 and moves their controls by keys and mouse.

    python tests/browser/lab.py --prepare
    python tests/browser/lab.py [--pictures FOLDER] [--only NAME]

--prepare fills build/lab, and nothing else: it fetches JupyterLab and the manager of its widgets from npm (500 MB, two to four
minutes) and bundles them; the server from the Debian release that is installed; ipywidgets 8 with its kernel from Debian's next
release ("trixie"), for Debian 12 holds ipywidgets 6, which no manager for JupyterLab 4 speaks with. The packages are unpacked beside each
other, not installed. It needs Debian 12, apt, dpkg, npm and node; the test needs chromium, jupyter-notebook's libraries, and the package in the
interpreter that runs it (or on PYTHONPATH). Ends with 1 when pictures or numbers do not follow, or the browser's console holds an
error.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from panel import BUILD, HERE, PANELS, options, roots, watch

PLACE = BUILD / "lab"
APPLICATION = PLACE / "application"
LIBRARIES = Path("usr/lib/python3/dist-packages")
SERVER = PLACE / "server"
KERNEL = PLACE / "kernel"

#: What jupyter-notebook does not bring along.
SERVER_PACKAGES = ("python3-jupyter-server", "python3-jupyterlab-server", "python3-anyio")
SERVER_PACKAGES += ("python3-sniffio", "python3-json5", "python3-websocket")

#: From the next release; pure Python, which runs on this one's interpreter.
NEXT = "trixie"
KERNEL_PACKAGES = ("python3-ipywidgets", "python3-widgetsnbextension", "python3-jupyterlab-widgets")
KERNEL_PACKAGES += ("python3-ipykernel", "python3-comm", "python3-traitlets")


def prepared() -> bool:
    """Whether everything is there."""
    parts = (APPLICATION / "static" / "stdin.js", SERVER / LIBRARIES, KERNEL / LIBRARIES)
    return all(part.exists() for part in parts)


def prepare() -> None:
    """Fetch and build what the test needs."""
    PLACE.mkdir(parents=True, exist_ok=True)
    _unpack(SERVER, SERVER_PACKAGES, [])
    _unpack(KERNEL, KERNEL_PACKAGES, _next_release())
    shutil.copy(HERE / "lab" / "package.json", PLACE)
    quiet = ["--no-audit", "--no-fund", "--no-package-lock", "--ignore-scripts"]
    subprocess.run(["npm", "install", *quiet], cwd=PLACE, check=True)
    shutil.rmtree(APPLICATION, ignore_errors=True)
    script = HERE / "lab" / "build.js"
    subprocess.run(["node", str(script), str(APPLICATION)], cwd=PLACE, check=True)
    print(f"Ready in {PLACE}.")


def _next_release() -> list[str]:
    """Options with which apt sees Debian's next release, in folders of its own; its address is the one this machine has."""
    place = PLACE / "apt"
    for part in ("state/lists/partial", "cache/archives/partial"):
        (place / part).mkdir(parents=True, exist_ok=True)
    known = subprocess.run(
        [
            "apt-get",
            "indextargets",
            "--format",
            "$(SITE)",
            "Created-By: Packages",
            "Origin: Debian",
        ],
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    if not known:
        raise SystemExit("apt knows no Debian server: run 'apt-get update', then this again")
    signed = "/usr/share/keyrings/debian-archive-keyring.gpg"
    (place / "status").write_text("")
    (place / "sources.list").write_text(f"deb [signed-by={signed}] {known[0]} {NEXT} main\n")
    asked = []
    for name, value in {
        "Dir::Etc::sourcelist": place / "sources.list",
        "Dir::Etc::sourceparts": "/dev/null",
        "Dir::State": place / "state",
        "Dir::State::status": place / "status",
        "Dir::Cache": place / "cache",
    }.items():
        asked += ["-o", f"{name}={value}"]
    subprocess.run(["apt-get", *asked, "-qq", "update"], check=True)
    return asked


def _unpack(place: Path, packages: tuple[str, ...], asked: list[str]) -> None:
    """Unpack packages of Debian into a folder."""
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(["apt-get", *asked, "-qq", "download", *packages], cwd=folder, check=True)
        for package in sorted(Path(folder).glob("*.deb")):
            subprocess.run(["dpkg", "-x", str(package), str(place)], check=True)


def main() -> int:
    """Prepare, or look at the panels in JupyterLab."""
    parser = options(__doc__, "lab")
    parser.add_argument("--prepare", action="store_true", help="fetch and build what is needed")
    args = parser.parse_args()
    if args.prepare:
        prepare()
        return 0
    if not prepared():
        print("not prepared; run: python tests/browser/lab.py --prepare", file=sys.stderr)
        return 2
    server = [sys.executable, str(HERE / "lab" / "server.py"), str(APPLICATION), "--no-browser"]
    server += ["--allow-root", "--ip=127.0.0.1", "--port-retries=0"]
    server += ["--ServerApp.token=", "--ServerApp.password="]
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        kernel = home / "data" / "kernels" / "python3"
        kernel.mkdir(parents=True)
        start = {
            "argv": [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"],
            "display_name": "Python 3",
            "language": "python",
            "env": {"PYTHONPATH": os.pathsep.join([str(KERNEL / LIBRARIES), roots()])},
        }
        (kernel / "kernel.json").write_text(json.dumps(start), encoding="utf-8")
        names = [args.only] if args.only else list(PANELS)
        libraries = {"PYTHONPATH": str(SERVER / LIBRARIES)}
        return watch("lab", server, home, libraries, names, args.pictures, PLACE / "node_modules")


if __name__ == "__main__":
    raise SystemExit(main())

"""``starassay about``: versions, and whether the installation works."""

from __future__ import annotations

import argparse
import platform
import sys
from importlib import import_module
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

NAME = "about"
HELP = "Print versions and check the installation."

NEEDED = {"numpy": "1.22", "astropy": "5.0", "matplotlib": "3.5", "jinja2": "3.0", "tqdm": "4.60"}
USEFUL = ("ipywidgets", "photutils", "distributed")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """No options."""


def run(args: argparse.Namespace) -> int:
    """Print one line a part; exit code 1 when something needed is missing."""
    from .. import _host, errors
    from .._version import __version__
    from ._console import one_line

    sound = True
    print(f"StarAssay    {__version__}, face in {Path(__file__).parents[1]}")
    print(f"Python       {platform.python_version()} on {platform.platform()}")
    try:
        engine = _host.about()
        wide = engine["vector_bits"] or "no"
        print(f"engine       {engine['version']}, {engine['runtime']} {engine['architecture']}")
        print(
            f"             {engine['processors']} processors, {wide}-bit vectors, "
            f"{len(engine['tasks'])} tasks"
        )
    except errors.EngineUnavailableError as error:
        sound = False
        print(f"engine       NOT WORKING: {one_line(error)}")
    for name, least in NEEDED.items():
        found = _version_of(name)
        if found is None:
            print(f"{name:<12} MISSING: install {name} {least} or newer with your package manager")
        elif _parts(found) < _parts(least):
            print(f"{name:<12} {found} is TOO OLD: {least} or newer is needed")
        else:
            print(f"{name:<12} {found}")
            continue
        sound = False
    for name in USEFUL:
        print(f"{name:<12} {_version_of(name) or 'not installed (optional)'}")
    if sound:
        print("The installation works.")
        return 0
    print("The installation is not complete; see the lines in capitals.", file=sys.stderr)
    return 1


def _version_of(name: str) -> str | None:
    try:
        return version(name)
    except PackageNotFoundError:
        # Debian's packages carry no metadata now and then.
        try:
            return str(getattr(import_module(name), "__version__", "installed"))
        except ImportError:
            return None


def _parts(text: str) -> tuple[int, ...]:
    return tuple(int(p) for p in text.split(".")[:2] if p.isdigit())

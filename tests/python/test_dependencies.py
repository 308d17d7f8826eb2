"""What the package imports is what it declares: a package that happens to be on this machine is not on every one."""

from __future__ import annotations

import ast
import re
import sys
from pathlib import Path

# The sources, which the installed package need not be beside.
SOURCES = Path(__file__).resolve().parents[2] / "python"
FACE = SOURCES / "starassay"
PROJECT = (SOURCES / "pyproject.toml").read_text(encoding="utf-8")


def imported() -> dict[str, set[str]]:
    """Names of foreign packages, and the modules that import them."""
    found: dict[str, set[str]] = {}
    for path in FACE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [a.name for a in node.names]
            elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
                names = [node.module]
            for name in names:
                root = name.partition(".")[0]
                if root not in sys.stdlib_module_names and root != "starassay":
                    found.setdefault(root, set()).add(path.name)
    return found


def test_everything_imported_is_declared() -> None:
    block = re.search(r"^dependencies = \[(.*?)^\]", PROJECT, re.MULTILINE | re.DOTALL)
    assert block is not None
    declared = {re.split(r"[<>=;]", d)[0].strip() for d in re.findall(r'"([^"]+)"', block[1])}
    assert {"numpy", "astropy", "matplotlib"} <= declared
    # The .NET bridge comes with the package's own engine, cycler and Pillow with matplotlib; a panel says how to get ipywidgets.
    brought = {"clr", "System", "StarAssay", "cycler", "PIL"}
    assert 'notebook = ["ipywidgets' in PROJECT
    brought |= {"ipywidgets"}
    found = imported()
    assert set(found) - declared - brought == set(), found


def test_every_package_of_the_face_is_installed() -> None:
    """The wheel takes every folder with an __init__.py: each folder with modules must have one."""
    assert re.search(r'^include = \["starassay\*"\]', PROJECT, re.MULTILINE)
    folders = {p.parent for p in FACE.rglob("*.py") if "_engine" not in p.parts}
    assert len(folders) > 5
    assert [f for f in folders if not (f / "__init__.py").is_file()] == []

"""No import circle in the face: a module can be read after those that it imports."""

from __future__ import annotations

from pathlib import Path

import pytest
from _import_graph import circles, import_graph, path_back

FACE = Path(__file__).resolve().parents[2] / "python" / "starassay"

# Circles that still stand. Break them and strike them out; add none.
KNOWN: list[set[str]] = []
# The same with what is imported for type checkers alone.
KNOWN_TYPING: list[set[str]] = []


@pytest.mark.parametrize(
    ("typing_only", "known"), [(False, KNOWN), (True, KNOWN_TYPING)], ids=["run", "typing"]
)
def test_modules_import_one_way(typing_only: bool, known: list[set[str]]) -> None:
    graph = import_graph(FACE, typing_only=typing_only)
    assert len(graph) > 30 and sum(map(len, graph.values())) > 60
    new = [
        f"{path_back(graph, group)} (in all {', '.join(group)})"
        for group in circles(graph)
        if not any(set(group) <= old for old in known)
    ]
    assert not new, "modules import each other in a circle:\n" + "\n".join(new)


def write(folder: Path, **files: str) -> Path:
    """A package ``face`` with these modules; ``__`` in a name stands for a folder."""
    root = folder / "face"
    for name, text in {"__init__": "", **files}.items():
        path = root / (name if name == "__init__" else name.replace("__", "/", 1))
        path = path.with_suffix(".py")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    return root


@pytest.mark.parametrize(
    "back",
    [
        "from .a import x",
        "from . import a",
        "import face.a",
        "from face import a",
        "def f():\n    from .a import x",
        "class C:\n    def f(self):\n        if self:\n            import face.a as b",
        "from importlib import import_module\nm = import_module('.a', __package__)",
        "try:\n    from .a import x\nexcept ImportError:\n    pass",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    pass\nelse:\n    from . import a",
    ],
)
def test_every_way_back_is_a_circle(tmp_path: Path, back: str) -> None:
    graph = import_graph(write(tmp_path, a="from .b import y", b=back))
    assert circles(graph) == [("face.a", "face.b")]
    assert path_back(graph, ("face.a", "face.b")) == "face.a -> face.b -> face.a"


def test_type_checkers_imports_are_told_apart(tmp_path: Path) -> None:
    back = "import typing\nif typing.TYPE_CHECKING:\n    from .a import x"
    root = write(tmp_path, a="from .b import y", b=back)
    assert circles(import_graph(root)) == []
    assert circles(import_graph(root, typing_only=True)) == [("face.a", "face.b")]


def test_packages_and_long_circles(tmp_path: Path) -> None:
    root = write(
        tmp_path,
        a="from .room.c import z",
        b="from . import a",
        room____init__="",
        room__c="from ..b import y\nfrom .d import w",
        room__d="import numpy\nfrom ..other import q",
        other="",
    )
    assert circles(import_graph(root)) == [("face.a", "face.b", "face.room.c")]

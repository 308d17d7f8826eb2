"""What the face shows stands in one file: a change to it is meant, or it is a mistake."""

from __future__ import annotations

import difflib
from pathlib import Path
from types import ModuleType

import starassay
from _face_surface import surface

PAGE = Path(__file__).with_name("public_surface.txt")


def test_public_surface_is_the_one_written_down() -> None:
    now = surface(starassay)
    assert len(now) > 200
    before = PAGE.read_text(encoding="utf-8").splitlines()
    difference = "\n".join(
        difflib.unified_diff(before, now, "written down", "now", n=0, lineterm="")
    )
    assert not difference, (
        f"the face's public surface has changed:\n{difference}\n"
        "If that is meant, renew the file and commit it: python tests/face_surface.py"
    )


def test_every_kind_of_name_and_member_has_its_line() -> None:
    package = ModuleType("pretend")
    code = """
from __future__ import annotations
from dataclasses import dataclass

class Low:
    def shared(self): ...

@dataclass(frozen=True)
class Star(Low):
    x: float
    name: str = "one"
    def move(self, by: float, *, twice: bool = False) -> Star: ...
    @property
    def size(self) -> float: ...
    @classmethod
    def made(cls, x: int = 3): ...
    def _hidden(self): ...

def measure(frame, *more: int, limit: float | None = None, where=object()) -> Star: ...

LEVEL = 3
__all__ = ["LEVEL", "Star", "measure"]
"""
    package.__dict__["__name__"] = "pretend"
    import sys

    sys.modules["pretend"] = package
    try:
        exec(code, package.__dict__)
        assert surface(package) == [
            "LEVEL: int",
            'class Star(x: float, name: str = "one") -> None of Low',
            "  made(cls, x: int = 3) classmethod",
            "  move(self, by: float, *, twice: bool = False) -> Star",
            "  name: str",
            "  shared(self)",
            "  size -> float",
            "  x: float",
            "measure(frame, *more: int, limit: float | None = None, where=object) -> Star",
        ]
    finally:
        del sys.modules["pretend"]

"""The documentation is tested like code: links, examples, docstrings, the list of notes."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
import re
import subprocess
from pathlib import Path

import pytest

import starassay

TOP = Path(__file__).resolve().parents[2]
PAGES = sorted(
    p for p in [*TOP.glob("*.md"), *TOP.glob("docs/**/*.md"), *TOP.glob("examples/**/*.md")]
)
LINK = re.compile(r"!?\[[^\]]*\]\(([^)#\s]+)(#[^)\s]*)?\)")


def modules() -> list[str]:
    """Every module of the face by its full name."""
    found = pkgutil.walk_packages(starassay.__path__, "starassay.")
    return [m.name for m in found if "._engine" not in m.name]


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(TOP)))
def test_links_lead_somewhere(page: Path) -> None:
    dead = []
    for target, _ in LINK.findall(page.read_text(encoding="utf-8")):
        if re.match(r"[a-z]+:", target):
            continue
        if not (page.parent / target).exists():
            dead.append(target)
    assert not dead


@pytest.mark.parametrize("name", modules())
def test_docstring_examples_run(name: str) -> None:
    result = doctest.testmod(
        importlib.import_module(name), optionflags=doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS
    )
    assert result.failed == 0


def public_functions() -> list[str]:
    """Public functions and classes of the lazy name table, by full name."""
    return [
        f"{getattr(starassay, n).__module__}.{n}"
        for n in starassay.__all__
        if callable(getattr(starassay, n)) and not n.startswith("_")
    ]


@pytest.mark.parametrize("name", public_functions())
def test_docstrings_are_numpydoc(name: str) -> None:
    """Each public name says what it is, and documents every parameter it has (numpydoc's own checks)."""
    from numpydoc.validate import validate

    # GL08 no docstring, PR01 parameters missing, PR02 unknown parameters, PR10 missing type space,
    # SS03 summary ends without a period, RT03 return value without description
    wanted = {"GL08", "PR01", "PR02", "SS03", "RT03"}
    wrong = [e for e in validate(name)["errors"] if e[0] in wanted]
    # Dataclasses document their fields as attributes, which are their parameters.
    if isinstance(getattr(starassay, name.rsplit(".", 1)[1]), type):
        wrong = [e for e in wrong if e[0] not in {"PR01", "PR02"}]
    assert not wrong


def test_page_of_notes_is_the_engines_list() -> None:
    """docs/notes.md holds every note the engine can make, word for word."""
    page = (TOP / "docs" / "notes.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `([^`]+)` \| (\w+) \| (.+) \|$", page, flags=re.MULTILINE)
    legend = starassay.note_legend()
    expected = [(str(r["code"]), str(r["level"]), str(r["meaning"])) for r in legend]
    assert len(expected) > 10
    assert rows == expected, "make it again: python tests/docs_notes.py"


def test_no_file_holds_machine_paths() -> None:
    """Nothing tracked names a folder of one machine or a registry host."""
    listed = subprocess.run(
        ["git", "ls-files"], cwd=TOP, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    forbidden = re.compile(
        r"/(?:work|root)/|/tmp/bash|api\.nuget\.org|deb\.debian\.org|registry\.npmjs"
    )
    here = Path(__file__).relative_to(TOP).as_posix()
    found = []
    for name in listed:
        if name == here:
            continue
        try:
            text = (TOP / name).read_text(encoding="utf-8")
        except (UnicodeDecodeError, FileNotFoundError):
            continue
        if forbidden.search(text):
            found.append(name)
    assert not found

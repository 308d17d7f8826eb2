"""The documentation is tested like code: links, examples, docstrings, the list of notes."""

from __future__ import annotations

import ast
import dataclasses
import doctest
import importlib
import inspect
import pkgutil
import re
import shlex
import subprocess
from pathlib import Path
from typing import Any, get_type_hints

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


def snippets(kind: str) -> list[tuple[str, str]]:
    """(page, text) of every fenced block of a kind ("" has no word behind its fence)."""
    block = re.compile(rf"^```{kind}\n(.*?)^```", re.MULTILINE | re.DOTALL)
    return [
        (page.relative_to(TOP).as_posix(), text)
        for page in PAGES
        # A notebook's cells are run whole, in test_lab.
        if page.parent.name != "notebooks"
        for text in block.findall(page.read_text(encoding="utf-8"))
    ]


def test_python_on_the_pages_names_what_there_is() -> None:
    """Every starassay.name and keyword of a snippet exists; what a call returns has the attributes used."""
    checked = 0
    for page, text in snippets("python"):
        # Names that the pages use for a result without making it anew in each block.
        made: dict[str, type] = {
            "fit": starassay.WavefrontFit,
            "field": starassay.StarField,
            "curve": starassay.ColorFocusCurve,
            "frame": starassay.Frame,
        }
        tree = ast.parse(text)
        ours = {
            name.asname or name.name
            for node in ast.walk(tree)
            if isinstance(node, ast.Import)
            for name in node.names
            if name.name == "starassay"
        } | {"starassay"}

        def function_of(node: ast.AST) -> Any:
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and isinstance(node.func.value, ast.Name)
                and node.func.value.id in ours
            ):
                assert hasattr(starassay, node.func.attr), f"{page}: starassay.{node.func.attr}"
                return getattr(starassay, node.func.attr)
            return None

        for statement in tree.body:
            for node in ast.walk(statement):
                called = function_of(node)
                if called is not None:
                    assert isinstance(node, ast.Call)
                    inspect.signature(called).bind_partial(
                        *[None for _ in node.args], **{k.arg: None for k in node.keywords if k.arg}
                    )
                    checked += 1
                if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                    kind = made.get(node.value.id)
                    if kind is not None:
                        fields = {f.name for f in dataclasses.fields(kind)}
                        known = hasattr(kind, node.attr) or node.attr in fields
                        assert known, f"{page}: {node.value.id}.{node.attr}"
                        checked += 1
            if isinstance(statement, ast.Assign) and isinstance(statement.targets[0], ast.Name):
                called = function_of(statement.value)
                if called is not None:
                    kind = called if isinstance(called, type) else get_type_hints(called)["return"]
                    if dataclasses.is_dataclass(kind):
                        made[statement.targets[0].id] = kind
    assert checked > 30


def test_commands_on_the_pages_parse() -> None:
    """Every ``starassay ...`` line of the pages is understood by the command line."""
    from starassay.cli import build_parser

    lines = [
        (page, line.split("#")[0])
        for page, text in snippets("(?:sh)?")
        for line in text.replace("\\\n", " ").splitlines()
        if re.match(r"\s*(?:\.venv/bin/)?starassay ", line)
    ]
    inline = re.compile(r"`(starassay (?:measure|run|demo|notes|about)[^`]*)`")
    for page in PAGES:
        for text in inline.findall(page.read_text(encoding="utf-8")):
            words = " ".join(text.split())
            # A mention of a command is no command line, and three dots stand for more of the same.
            if words.count(" ") > 1:
                lines.append((page.relative_to(TOP).as_posix(), words.replace(" ...", "")))
    assert len(lines) >= 8
    for page, line in lines:
        argv = shlex.split(line)[1:]
        try:
            build_parser().parse_args(argv)
        except SystemExit:
            pytest.fail(f"{page}: {line}")

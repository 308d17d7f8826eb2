"""Writes what the face takes over from the engine: records, notes and their page, the campaign's keys.

Run ``python tests/make_records.py`` after a change to a record, a unit, a range or a note of the
engine; ``tests/python/test_records.py`` fails while the files are stale. The engine's own
documentation (the XML beside it) gives the texts.
"""

from __future__ import annotations

import json
import re
import sys
import textwrap
from pathlib import Path
from typing import Any

TOP = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(TOP / "tests"))

from campaign_page import campaign_page  # noqa: E402

FACE = TOP / "python" / "starassay"
WIDTH = 100
GENERATED = "Written by tests/make_records.py from the engine's own records; do not edit."

# Plain data of the engine that never reaches Python as a record of its own.
_SKIPPED = {"Frame"}


def describe() -> dict[str, Any]:
    """What the engine says of itself."""
    from starassay._host import gateway

    return json.loads(gateway().Describe())


def files(told: dict[str, Any]) -> dict[Path, str]:
    """Every generated file with its text."""
    campaign = TOP / "docs" / "campaign.md"
    return {
        FACE / "_records.py": records_module(told),
        TOP / "docs" / "notes.md": notes_page(told),
        campaign: campaign_page(campaign),
    }


def notes_page(told: dict[str, Any]) -> str:
    """docs/notes.md: the hand-written head, then a row a note."""
    page = (TOP / "docs" / "notes.md").read_text(encoding="utf-8")
    head = page[: re.search(r"^\| code", page, re.MULTILINE).start()]  # type: ignore[union-attr]
    rows = [f"| `{n['code']}` | {n['level']} | {n['meaning']} |" for n in told["notes"]]
    return head + "\n".join(["| code | level | meaning |", "|---|---|---|", *rows, ""])


def records_module(told: dict[str, Any]) -> str:
    """Requests as tables of fields, results as typed dataclasses."""
    records = told["records"]
    ins, outs = set(), set()

    def reach(name: str | None, into: set[str]) -> None:
        if name and name in records and name not in into and name not in _SKIPPED:
            into.add(name)
            for field in records[name]["fields"]:
                reach(field.get("record"), into)

    for task in told["tasks"]:
        reach(task["request"], ins)
        reach(task["result"], outs)
    parts = [
        f'"""The engine\'s records, with names, units, ranges and texts. {GENERATED}"""',
        "",
        "from __future__ import annotations",
        "",
        "import dataclasses",
        "from typing import Any, ClassVar",
        "",
        "import numpy as np",
        "from astropy import units as u",
        "",
        "from ._record import Field, QuantityKind, Record, Request",
        "from ._values import Measured, Note",
        "",
        "# fmt: off",
        "",
    ]
    for name in sorted(ins):
        parts.append(request(name, records[name]))
    parts.append("")
    for name in ordered(outs, records):
        parts.append(result(name, records[name], outs))
    parts.append("#: Every kind of note: code -> (level, meaning).")
    parts.append("NOTES: dict[str, tuple[str, str]] = {")
    parts += [f"    {n['code']!r}: ({n['level']!r}, {n['meaning']!r})," for n in told["notes"]]
    parts.append("}\n")
    parts.append("#: Numbers that a claim can be about, by name.")
    parts.append("QUANTITIES: dict[str, QuantityKind] = {")
    for q in told["quantities"]:
        values = [q[k] for k in ("name", "label", "unit", "area", "low", "high")]
        said = ", ".join(repr(v) for v in [*values, q["larger_is_better"], q["missing"]])
        parts.append(f"    {q['name']!r}: QuantityKind({said}),")
    parts.append("}\n")
    parts.append("#: Flags of the columns that hold bits: column -> bit -> (name, meaning).")
    parts.append("FLAGS: dict[str, dict[int, tuple[str, str]]] = {")
    for name in sorted(outs):
        for field in records[name]["fields"]:
            if "flags" in field:
                parts.append(f"    {name + '.' + field['name']!r}: {{")
                for f in field["flags"]:
                    parts.append(f"        {f['bit']}: ({f['name']!r}, {f['doc']!r}),")
                parts.append("    },")
    parts.append("}\n")
    parts.append("#: Measurements of the engine: area -> (title, task).")
    parts.append("MEASUREMENTS: dict[str, tuple[str, str]] = {")
    for m in told["measurements"]:
        parts.append(f"    {m['area']!r}: ({m['title']!r}, {m['task']!r}),")
    parts.append("}\n")
    return "\n".join(parts)


def request(name: str, record: dict[str, Any]) -> str:
    """One request as a table of its fields."""
    lines = [f"#: {first_sentence(record['doc'])}", f"{constant(name)} = Request("]
    for f in record["fields"]:
        said = [repr(f["name"]), repr(f["key"]), repr(f["unit"]), repr(f["kind"]), repr(f["doc"])]
        for key in ("default", "low", "high"):
            if f.get(key) is not None:
                said.append(f"{key}={f[key]!r}")
        if "choices" in f:
            said.append(f"choices={tuple(c['word'] for c in f['choices'])!r}")
        if f["required"]:
            said.append("required=True")
        lines.append(f"    Field({', '.join(said)}),")
    return "\n".join([*lines, ")", ""])


def constant(name: str) -> str:
    """StarRequest as STAR_REQUEST."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])", "_", name).upper()


def ordered(names: set[str], records: dict[str, Any]) -> list[str]:
    """Records after those that they hold."""
    done: list[str] = []

    def add(name: str) -> None:
        for field in records[name]["fields"]:
            inner = field.get("record")
            if inner in names and inner not in done and inner != name:
                add(inner)
        if name not in done:
            done.append(name)

    for name in sorted(names):
        add(name)
    return done


def result(name: str, record: dict[str, Any], known: set[str]) -> str:
    """One result as a typed dataclass."""
    lines = [
        "@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)",
        f"class {name}(Record):",
    ]
    doc = record["doc"] or name
    lines += docstring(doc, [(f["name"], kind_words(f), f["doc"]) for f in record["fields"]])
    for f in record["fields"]:
        lines.append(f"    {f['name']}: {annotation(f, known)}")
    lines.append("")
    lines.append("    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {")
    line = "       "
    for f in record["fields"]:
        of = f.get("record") if f.get("record") in known else None
        said = f" {f['name']!r}: ({f['key']!r}, {f['kind']!r}, {f['unit']!r}, {of}),"
        if len(line + said) > WIDTH:
            lines.append(line)
            line = "       "
        line += said
    return "\n".join([*lines, line, "    }", "", ""])


def docstring(doc: str, rows: list[tuple[str, str, str]]) -> list[str]:
    """numpydoc of a record."""
    first = first_sentence(doc)
    rest = doc[len(first) :].strip()
    lines = textwrap.wrap(first, WIDTH - 8, initial_indent='    """', subsequent_indent="    ")
    if rest:
        lines += [
            "",
            *textwrap.wrap(rest, WIDTH - 8, initial_indent="    ", subsequent_indent="    "),
        ]
    lines += ["", "    Attributes", "    ----------"]
    for name, kind, text in rows:
        lines.append(f"    {name} : {kind}")
        lines += textwrap.wrap(
            text or "See the engine.",
            WIDTH - 10,
            initial_indent="        ",
            subsequent_indent="        ",
        )
    return [*lines, '    """', ""]


def first_sentence(doc: str) -> str:
    """Up to the first full stop that ends a sentence."""
    found = re.match(r"(.*?[.:])(\s|$)", doc)
    return found[1] if found else doc


def kind_words(f: dict[str, Any]) -> str:
    """What an attribute is, for the reader."""
    kind, unit = f["kind"], f["unit"]
    if kind == "measured":
        return "Measured"
    if kind == "measured list":
        return "tuple of Measured"
    if kind.startswith("array"):
        rank = kind.split()[1]
        of = f"Quantity ({unit})" if unit else "ndarray"
        return of if rank == "1" else f"{of}, {rank} axes"
    if kind == "number":
        return f"Quantity ({unit})" if unit else "float"
    words = {"integer": "int", "flag": "bool", "text": "str", "texts": "tuple of str"}
    words |= {"notes": "tuple of Note", "note": "Note", "choices": "tuple of str"}
    if kind == "choice":
        return "{" + ", ".join(f'"{c["word"]}"' for c in f["choices"]) + "}"
    if kind == "record":
        return f.get("record", "dict")
    if kind == "records":
        return f"tuple of {f.get('record', 'dict')}"
    return words[kind]


def annotation(f: dict[str, Any], known: set[str]) -> str:
    """The type of an attribute."""
    kind, unit = f["kind"], f["unit"]
    of = f.get("record") if f.get("record") in known else "Any"
    if kind.startswith("array") or kind == "number":
        return "u.Quantity" if unit else "float" if kind == "number" else "np.ndarray"
    return {
        "measured": "Measured",
        "measured list": "tuple[Measured, ...]",
        "integer": "int",
        "flag": "bool",
        "text": "str",
        "choice": "str",
        "texts": "tuple[str, ...]",
        "choices": "tuple[str, ...]",
        "notes": "tuple[Note, ...]",
        "note": "Note",
        "record": f"{of}" if f["required"] or of == "Any" else f"{of} | None",
        "records": f"tuple[{of}, ...]",
    }[kind]


def main() -> int:
    """Write the files that differ and name them."""
    for path, text in files(describe()).items():
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")
            print(path.relative_to(TOP))
    return 0


if __name__ == "__main__":
    sys.exit(main())

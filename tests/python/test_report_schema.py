"""The published schema of a report's JSON files (docs/report.schema.json) against the demo's own, and against files that are wrong."""

from __future__ import annotations

import copy
import dataclasses
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from starassay import _records

jsonschema = pytest.importorskip("jsonschema")


@pytest.fixture(scope="module")
def validator(top: Path) -> Any:
    schema = json.loads((top / "docs" / "report.schema.json").read_text(encoding="utf-8"))
    kind = jsonschema.Draft202012Validator
    kind.check_schema(schema)
    return kind(schema)


def read(path: Path) -> dict[str, Any]:
    return json.loads(path.read_text(encoding="utf-8"))


def test_every_file_of_the_demo_keeps_to_it(demo: Path, validator: Any) -> None:
    report = demo / "report"
    files = [
        report / "decisions.json",
        report / "manifest.json",
        *(report / "results").glob("*.json"),
    ]
    assert len(files) >= 7
    for path in files:
        errors = [
            f"{'/'.join(map(str, e.path))}: {e.message}" for e in validator.iter_errors(read(path))
        ]
        assert not errors, (path.name, errors[:3])


def verdict(record: dict[str, Any]) -> None:
    record["decisions"][0]["verdict"] = "perhaps"


def bare(record: dict[str, Any]) -> None:
    for numbers in record["quantities"].values():
        for quantity in numbers.values():
            quantity["value"] = 1.0


def more(record: dict[str, Any]) -> None:
    record["decisions"][0]["remark"] = "one member more"


def without(record: dict[str, Any]) -> None:
    del record["decisions"][0]["probability"]


def certain(record: dict[str, Any]) -> None:
    record["decisions"][0]["probability"] = 1.2


@pytest.mark.parametrize("spoil", [verdict, bare, more, without, certain])
def test_what_is_wrong_is_refused(
    demo: Path, validator: Any, spoil: Callable[[dict[str, Any]], None]
) -> None:
    record = copy.deepcopy(read(demo / "report" / "decisions.json"))
    assert validator.is_valid(record)
    spoil(record)
    assert not validator.is_valid(record)


def test_its_lists_are_the_engines(validator: Any) -> None:
    parts = validator.schema["$defs"]
    assert set(parts["answer"]["properties"]["answer"]["enum"]) == set(answers())
    names = set(parts["quantity"]["required"])
    assert names == {f.name for f in dataclasses.fields(_records.Quantity)}


def answers() -> tuple[str, ...]:
    """As the generated record has them in its text."""
    text = next(
        line
        for line in (_records.OverallAnswer.__doc__ or "").splitlines()
        if line.strip().startswith("answer :")
    )
    return tuple(json.loads("[" + text.split("{", 1)[1].split("}", 1)[0] + "]"))

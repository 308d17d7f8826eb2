"""Every public name of ``starassay`` with its signature, one line for each name and member."""

from __future__ import annotations

import dataclasses
import inspect
import json
from collections.abc import Iterator
from types import ModuleType
from typing import Any

PLAIN = (str, int, float, bool, bytes, type(None))


def surface(package: ModuleType) -> list[str]:
    """The lines, in a fixed order."""
    lines = []
    for name in sorted(package.__all__):
        value = getattr(package, name)
        if inspect.isclass(value):
            lines += [head(name, value, package.__name__), *sorted(set(members(value, package)))]
        elif callable(value):
            lines.append(name + signature(value))
        else:
            lines.append(f"{name}: {type(value).__name__}")
    return lines


def head(name: str, cls: type, package: str) -> str:
    """``class Name(parameters) of Base``."""
    bases = [base.__name__ for base in cls.__bases__ if base is not object]
    tail = f" of {', '.join(bases)}" if bases else ""
    return f"class {name}{signature(cls) if own_init(cls, package) else ''}{tail}"


def own_init(cls: type, package: str) -> bool:
    """Whether the constructor is this package's, not Python's."""
    owner = next(base for base in cls.__mro__ if "__init__" in vars(base))
    return owner.__module__.split(".")[0] == package


def members(cls: type, package: ModuleType) -> Iterator[str]:
    """Fields, properties and methods without a leading underscore, inherited ones of the package too."""
    for base in cls.__mro__:
        if base.__module__.split(".")[0] != package.__name__:
            continue
        for name, kind in getattr(base, "__annotations__", {}).items():
            if not name.startswith("_"):
                yield f"  {name}: {plain(kind)}"
        for name, value in vars(base).items():
            if name.startswith("_"):
                continue
            if isinstance(value, (classmethod, staticmethod)):
                yield f"  {name}{signature(value.__func__)} {type(value).__name__}"
            elif isinstance(value, property) or hasattr(value, "__set_name__"):
                getter = getattr(value, "fget", getattr(value, "func", None))
                returns = getattr(getter, "__annotations__", {}).get("return", "")
                yield f"  {name} -> {plain(returns)}"
            elif inspect.isfunction(value):
                yield f"  {name}{signature(value)}"
    if dataclasses.is_dataclass(cls):
        for field in dataclasses.fields(cls):
            if not field.name.startswith("_"):
                yield f"  {field.name}: {plain(field.type)}"


def signature(value: Any) -> str:
    """Parameters with their types and defaults, and what comes back."""
    found = inspect.signature(value)
    parameters = [
        p.replace(default=Default(p.default)) if p.default is not p.empty else p
        for p in found.parameters.values()
    ]
    parts = [
        p.replace(annotation=plain(p.annotation)) if p.annotation is not p.empty else p
        for p in parameters
    ]
    returns = found.return_annotation
    found = found.replace(
        parameters=parts,
        return_annotation=plain(returns) if returns is not found.empty else returns,
    )
    return str(found).replace("'", "")


def plain(annotation: Any) -> str:
    """An annotation as it is written."""
    return (
        annotation
        if isinstance(annotation, str)
        else getattr(annotation, "__name__", str(annotation))
    )


class Default:
    """A default value that prints the same everywhere: what is no plain value by its type."""

    def __init__(self, value: Any):
        self.value = value

    def __repr__(self) -> str:
        # Quotation marks unlike those of annotations, which are taken off.
        if isinstance(self.value, str):
            return json.dumps(self.value)
        if isinstance(self.value, PLAIN):
            return repr(self.value)
        if isinstance(self.value, (tuple, list)) and all(isinstance(v, PLAIN) for v in self.value):
            return json.dumps(self.value).replace("[", "(").replace("]", ")")
        return type(self.value).__name__

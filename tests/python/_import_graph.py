"""Which module of a package imports which, read from the sources without running them."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

Graph = dict[str, set[str]]


def module_names(root: Path) -> dict[str, Path]:
    """Module name -> file, for a package in the folder ``root``."""
    names = {}
    for path in sorted(root.rglob("*.py")):
        parts = path.relative_to(root.parent).with_suffix("").parts
        names[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return names


def import_graph(root: Path, typing_only: bool = False) -> Graph:
    """Module -> modules of the same package that it imports.

    An import inside a function is an import, and so is ``import_module`` with a name written out.
    That importing a module runs its package's ``__init__`` first is not counted: every package
    that shows its modules' names would be a circle.

    Parameters
    ----------
    root : Path
        The package's folder.
    typing_only : bool
        Count what stands under ``if TYPE_CHECKING:``, too.
    """
    names = module_names(root)
    return {
        name: {
            found
            for wanted in _imports(ast.parse(path.read_text("utf-8")), name, path, typing_only)
            if (found := _module(wanted, names)) not in ("", name)
        }
        for name, path in names.items()
    }


def circles(graph: Graph) -> list[tuple[str, ...]]:
    """Groups of modules that import each other in a circle, each sorted (strong components)."""
    reach = {name: _reachable(graph, name) for name in graph}
    groups = {
        tuple(sorted({name} | {other for other in reach[name] if name in reach[other]}))
        for name in graph
        if name in reach[name]
    }
    return sorted(groups)


def path_back(graph: Graph, group: tuple[str, ...]) -> str:
    """One shortest circle through the group's first module, for a message."""
    start = group[0]
    queue: list[list[str]] = [[start]]
    seen = {start}
    while queue:
        way = queue.pop(0)
        for after in sorted(graph[way[-1]] & set(group)):
            if after == start:
                return " -> ".join([*way, start])
            if after not in seen:
                seen.add(after)
                queue.append([*way, after])
    raise ValueError(f"no circle through {start}")


def _reachable(graph: Graph, start: str) -> set[str]:
    found: set[str] = set()
    waiting = list(graph[start])
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting.extend(graph[name])
    return found


def _module(wanted: tuple[str, str], names: dict[str, Path]) -> str:
    """The module that holds what is imported; empty for other packages."""
    space, name = wanted
    inner = f"{space}.{name}" if space else name
    return inner if inner in names else space if space in names else ""


def _imports(
    tree: ast.AST, module: str, path: Path, typing_only: bool
) -> Iterator[tuple[str, str]]:
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.If) and _is_type_checking(node.test) and not typing_only:
            for other in node.orelse:
                yield from _imports(ast.Module([other], []), module, path, typing_only)
            continue
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, ""
                yield "", alias.name
        elif isinstance(node, ast.ImportFrom):
            space = _absolute("." * node.level + (node.module or ""), module, path)
            for alias in node.names:
                yield space, alias.name
        elif isinstance(node, ast.Call) and _is_import_module(node):
            first = node.args[0]
            if isinstance(first, ast.Constant) and isinstance(first.value, str):
                yield "", _absolute(first.value, module, path)
        yield from _imports(node, module, path, typing_only)


def _absolute(name: str, module: str, path: Path) -> str:
    """A name with leading dots, in full."""
    bare = name.lstrip(".")
    level = len(name) - len(bare)
    if level == 0:
        return bare
    parts = module.split(".")
    keep = len(parts) - level + (1 if path.name == "__init__.py" else 0)
    return ".".join([*parts[:keep], *([bare] if bare else [])])


def _is_type_checking(test: ast.expr) -> bool:
    return "TYPE_CHECKING" in (getattr(test, "id", ""), getattr(test, "attr", ""))


def _is_import_module(call: ast.Call) -> bool:
    name = getattr(call.func, "id", getattr(call.func, "attr", ""))
    return name in ("import_module", "__import__") and bool(call.args)

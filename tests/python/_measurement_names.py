"""Which shared files name a measurement: a new one should need none of them changed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path, PurePosixPath

ROOMS = "src/StarAssay.Engine/Measurements"


def measurements(files: Iterable[str]) -> list[str]:
    """Names of the folders of measurements: ``ColorFocus``, ``Wavefront``, ..."""
    start = ROOMS + "/"
    inside = (file[len(start) :] for file in files if file.startswith(start))
    return sorted({file.split("/")[0] for file in inside if "/" in file})


def words(name: str) -> list[str]:
    """``ColorFocus`` -> ``color``, ``focus``."""
    return [word.lower() for word in re.findall(r"[A-Z][a-z0-9]*", name)]


def is_own(file: str, name: str) -> bool:
    """Whether a path says that the file belongs to the measurement."""
    return "".join(words(name)) in re.sub(r"[^a-z0-9]", "", file.lower())


def own_names(texts: dict[str, str], name: str) -> set[str]:
    """Modules, classes and functions of its own files that carry its name and more."""
    defined = set()
    kinds = r"class|record|struct|enum|interface|def"
    for file, text in texts.items():
        if is_own(file, name):
            defined.add(PurePosixPath(file).stem)
            defined.update(re.findall(rf"\b(?:{kinds})\s+(?:struct\s+|class\s+)?(\w+)", text))
    joined = "".join(words(name))
    bare = {found: found.lower().replace("_", "") for found in defined}
    return {found for found in defined if joined in bare[found] and joined != bare[found]}


def naming(name: str, own: set[str]) -> re.Pattern[str]:
    """What counts as naming a measurement.

    A term of the trade in a sentence or a field's name does not. These do: a module path, a quoted
    name that is the measurement's or begins with it (dictionary keys, tasks, codes of notes), a
    class or function of its own files.
    """
    parts = words(name)
    snake, kebab, dots = "_".join(parts), "-".join(parts), "[_-]".join(parts)
    ways = [
        rf"\bMeasurements[./]{name}\b",
        rf"(?m:^\s*(?:from|import)\s.*\b{snake}\b)",
        rf"\bstarassay\.{snake}\b",
        rf"""["'](?:[\w.]*\.)?{dots}(?:[.:][\w.:-]*)?["']""",
        rf"""["'](?:python/)?(?:starassay[./])?{kebab}(?:\.py)?["']""",
        rf"""["']{' '.join(parts)}["']""",
        *(rf"\b{re.escape(found)}\b" for found in sorted(own)),
    ]
    return re.compile("|".join(ways))


def shared_files(
    texts: dict[str, str], name: str, resting: Iterable[str] = ()
) -> Iterator[tuple[str, str]]:
    """Each file that names the measurement though it is not its own, with what names it first.

    Files of the measurements `resting` on it are not shared: they are those of one measurement only.
    """
    pattern = naming(name, own_names(texts, name))
    own = (name, *resting)
    for file, text in sorted(texts.items()):
        if not any(is_own(file, one) for one in own) and (found := pattern.search(text)):
            yield file, found.group().strip()


def read_tracked(top: Path, listed: Iterable[str]) -> dict[str, str]:
    """Path -> text of those files that are text."""
    texts = {}
    for file in listed:
        try:
            texts[file] = (top / file).read_text(encoding="utf-8")
        except (UnicodeDecodeError, FileNotFoundError):
            continue
    return texts

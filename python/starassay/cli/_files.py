"""Files appear whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path

from ..errors import FileError


def write_whole(writers: Mapping[Path, Callable[[Path], object]]) -> None:
    """Write several files, each to a temporary name first; rename when all are whole.

    Parameters
    ----------
    writers : mapping of Path to callable
        The callable writes the file to the path that it is given, which has the suffix of
        the final one.
    """
    parts: dict[Path, Path] = {}
    try:
        for target, write in writers.items():
            if not target.parent.is_dir():
                raise FileError(
                    f"There is no folder {target.parent} for {target.name}. Make it first.",
                    code="file.folder",
                    subject=str(target),
                )
            part = target.with_name(f".{target.stem}.{os.getpid()}.part{target.suffix}")
            parts[target] = part
            write(part)
        for target, part in parts.items():
            os.replace(part, target)
    finally:
        for part in parts.values():
            part.unlink(missing_ok=True)

"""Files appear whole or not at all, and where none can be written is found before any work."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path

from .errors import FileError


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


def require_room(folder: Path, size: int, what: str, remedy: str) -> None:
    """Refuse a folder that cannot be written to or is full.

    Parameters
    ----------
    folder : Path
        Where something will be written.
    size : int
        Bytes that it may take.
    what, remedy : str
        For the sentence.
    """
    probe = folder / f".starassay.{os.getpid()}.probe"
    try:
        probe.write_bytes(b"\0" * 4096)
        free = shutil.disk_usage(folder).free
        reason = ""
    except OSError as error:
        free, reason = 0, error.strerror or str(error)
    finally:
        with suppress(OSError):
            probe.unlink(missing_ok=True)
    if not reason and free < size:
        reason = f"{free / 1e6:.0f} MB are free, and it may take {size / 1e6:.0f} MB"
    if reason:
        raise FileError(
            f"{what} cannot be written into {folder.resolve()}: {reason}. {remedy}",
            code="file.folder",
            subject=str(folder),
        )

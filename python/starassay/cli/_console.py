"""What the terminal shows: one line an error, one line a warning."""

from __future__ import annotations

import os
import sys
import traceback
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO

from .. import errors
from .._loaded import is_a

_OF_ASTROPY = "astropy.utils.exceptions.AstropyWarning"


def one_line(text: object) -> str:
    """`text` on one line."""
    return " ".join(str(text).split())


def explain(error: BaseException) -> str:
    """One line for the person at the telescope; ``STARASSAY_TRACE=1`` adds the trace."""
    if os.environ.get("STARASSAY_TRACE"):
        trace = "".join(traceback.format_exception(error))
        sys.stderr.write(trace + getattr(error, "trace", ""))
    if isinstance(error, errors.StarAssayError):
        return f"starassay: {one_line(error)}"
    if isinstance(error, OSError):
        where = f" {error.filename}" if error.filename else ""
        reason = error.strerror or one_line(error)
        return f"starassay: The file{where} cannot be used: {reason}. Check its name and whether it is whole."
    if isinstance(error, MemoryError):
        reason = one_line(error) or "Close other programs or use smaller frames."
        return f"starassay: Not enough memory. {reason}"
    return (
        f"starassay: a fault of its own ({type(error).__name__}: {one_line(error)}). "
        "Please report it with the output of the same command after 'export STARASSAY_TRACE=1'."
    )


@contextmanager
def notes_for_warnings() -> Iterator[None]:
    """Inside, a warning meant for the user is one line on standard error; others are not shown."""

    def show(
        message: Warning | str,
        category: type[Warning],
        filename: str,
        lineno: int,
        file: TextIO | None = None,
        line: str | None = None,
    ) -> None:
        if issubclass(category, errors.StarAssayWarning) or is_a(message, _OF_ASTROPY):
            print(f"note: {one_line(message)}", file=sys.stderr)

    with warnings.catch_warnings():
        warnings.simplefilter("default")
        shown: Any = show
        warnings.showwarning = shown
        yield

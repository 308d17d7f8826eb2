"""Ctrl-C at a moment when nothing may be torn apart: it waits until the moment has passed."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


@contextmanager
def held() -> Iterator[None]:
    """Inside, an interrupt waits; `KeyboardInterrupt` is raised at the end instead.

    The runtime's threads start with the signal blocked, so that only this thread ever gets it; and
    since the runtime may put a handler of its own in place while it starts, Python's is put back.
    In a thread other than the main one there is nothing to hold: Python raises in the main one.
    """
    blocks = hasattr(signal, "pthread_sigmask")
    main = threading.current_thread() is threading.main_thread()
    seen: list[int] = []

    def remember(number: int, _: Any) -> None:
        seen.append(number)

    earlier: Any = signal.getsignal(signal.SIGINT)
    # None: a handler that Python did not set and could not put back.
    main = main and earlier is not None
    mask: Any = None
    if main:
        signal.signal(signal.SIGINT, remember)
    if blocks:
        mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        if main:
            signal.signal(signal.SIGINT, remember)
        if mask is not None:
            # What waited arrives here, and is remembered.
            signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        if main:
            signal.signal(signal.SIGINT, earlier)
            if seen and callable(earlier):
                earlier(seen[0], None)


def was_interrupted(error: BaseException | None) -> bool:
    """Whether an interrupt is at the root of an error, however often it was wrapped on its way.

    Python itself wraps what happens while a class is made, an interrupt too, and so do some libraries.
    """
    seen: set[int] = set()
    while error is not None and id(error) not in seen:
        if isinstance(error, KeyboardInterrupt):
            return True
        seen.add(id(error))
        error = error.__cause__ or error.__context__
    return False

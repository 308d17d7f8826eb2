"""Draws the pictures of what is measured while the engine measures what comes next.

Python waits while the engine works, so that a second thread can draw meanwhile. Matplotlib allows that where it draws into memory only, and one
thread at a time: nothing else draws before `Ahead.finish`.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor

from ..results import Picture, Result


class Ahead:
    """Pictures by the results that they belong to."""

    def __init__(self) -> None:
        self._pool: ThreadPoolExecutor | None = None
        self._drawn: dict[int, tuple[Result, list[Future[str]]]] = {}

    def __enter__(self) -> Ahead:
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)

    def begin(self, result: Result) -> None:
        """Draw the pictures of a result as soon as the thread is free."""
        if self._pool is None:
            import matplotlib

            if matplotlib.get_backend().lower() != "agg":
                return  # windows and notebooks belong to the main thread
            self._pool = ThreadPoolExecutor(1, thread_name_prefix="drawing")
        sources = [self._pool.submit(picture.source) for picture in result.figures()]
        # The result is held, so that no other one gets its number.
        self._drawn[id(result)] = (result, sources)

    def finish(self) -> None:
        """Wait until nothing is being drawn."""
        for _, sources in self._drawn.values():
            for source in sources:
                source.exception()

    def source(self, result: Result, pictures: Sequence[Picture], number: int) -> str:
        """One of the pictures, drawn before or now.

        Parameters
        ----------
        result : Result
            Whose.
        pictures : sequence of Picture
            All of its pictures.
        number : int
            Which.
        """
        sources = self._drawn[id(result)][1] if id(result) in self._drawn else []
        if len(sources) != len(pictures):
            return pictures[number].source()
        return sources[number].result()

"""The one way into the engine: progress, interrupt and error translation live here."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, Protocol

import numpy as np

from . import _units, errors
from ._host import gateway

_SLICE_MS = 50
_DTYPES = frozenset("u1 i1 u2 i2 u4 i4 u8 i8 f4 f8 b1".split())


class HandedOver(Protocol):
    """What goes to the engine as a frame: pixels in place, and what is known of them."""

    @property
    def pixels(self) -> np.ndarray:
        """As stored."""

    @property
    def mask(self) -> np.ndarray | None:
        """True = do not use."""

    def engine_facts(self) -> dict[str, Any]:
        """What the engine is told beside the pixels."""


def _plain(value: Any) -> Any:
    """`value` as JSON can hold it: NaN and infinities by name, NumPy scalars as Python's."""
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    if isinstance(value, np.ndarray):
        return [_plain(v) for v in value.tolist()]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return "NaN" if math.isnan(value) else "Infinity" if value > 0 else "-Infinity"
    return value


def _describe(name: str, array: np.ndarray, *, writable: bool) -> dict[str, Any]:
    kind = array.dtype.kind
    if f"{kind}{array.dtype.itemsize}" not in _DTYPES:
        raise errors.InputError(
            f"'{name}' holds values of type {array.dtype}; integers or 32- or 64-bit floats are needed.",
            code="gateway.array",
            argument=name,
        )
    order = array.dtype.byteorder
    big = order == ">" or (order == "=" and np.little_endian is False)
    return {
        "name": name,
        "dtype": f"{kind}{array.dtype.itemsize}",
        "big_endian": bool(big),
        "shape": list(array.shape),
        "writable": writable,
    }


def call(
    task: str,
    request: Mapping[str, Any] | None = None,
    *,
    frames: Mapping[str, HandedOver] | None = None,
    arrays: Mapping[str, np.ndarray] | None = None,
    outputs: Mapping[str, np.ndarray] | None = None,
    threads: int = 0,
    progress: bool = False,
) -> dict[str, Any]:
    """Run one engine task to its end.

    Parameters
    ----------
    task : str
        Name of the task, for example ``"stars.measure"``.
    request : mapping
        Fields of the request record in snake_case; NaN allowed.
    frames : mapping of str to Frame
        Frames by the names the task asks for; their pixels are not copied.
    arrays : mapping of str to ndarray
        Read-only arrays, C-contiguous in native byte order (made so if they are not).
    outputs : mapping of str to ndarray
        C-contiguous arrays that the engine fills.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    dict
        The result record, keys in snake_case, arrays as ndarrays that Python owns.

    Raises
    ------
    StarAssayError
        The engine's error, translated.
    KeyboardInterrupt
        On an interrupt; the task has been stopped by then.
    """
    threads, progress = _units.integer(threads, "threads"), _units.flag(progress, "progress")
    if not 0 <= threads <= 4096:
        raise errors.InputError(
            f"threads is {threads}; give 0 for all processors, or how many.",
            code="gateway.threads",
            argument="threads",
        )
    entry = gateway()
    specs: list[dict[str, Any]] = []
    held: list[np.ndarray] = []
    for name, frame in (frames or {}).items():
        pixels = np.ascontiguousarray(frame.pixels)
        spec = _describe(name, pixels, writable=False)
        spec["frame"] = _plain(frame.engine_facts())
        specs.append(spec)
        held.append(pixels)
        if frame.mask is not None:
            mask = np.ascontiguousarray(frame.mask).view(np.uint8)
            specs[-1]["frame"]["mask"] = f"{name}.mask"
            specs.append(_describe(f"{name}.mask", mask, writable=False))
            held.append(mask)
    for name, array in (arrays or {}).items():
        array = np.ascontiguousarray(array, dtype=array.dtype.newbyteorder("="))
        specs.append(_describe(name, array, writable=False))
        held.append(array)
    for name, array in (outputs or {}).items():
        if not (array.flags.c_contiguous and array.flags.writeable and array.dtype.isnative):
            raise errors.InputError(
                f"The output '{name}' must be a writable C-contiguous array in native byte order.",
                code="gateway.array",
                argument=name,
            )
        specs.append(_describe(name, array, writable=True))
        held.append(array)
    text = json.dumps({"request": _plain(dict(request or {})), "arrays": specs}, allow_nan=False)
    try:
        job = entry.Start(task, text, held, threads)
    except Exception as error:  # a .NET exception, known to Python by its own class only
        if not hasattr(error, "StackTrace"):
            raise
        raise _translate(json.loads(entry.Explain(error))) from None
    try:
        _wait(job, progress)
        if job.Error is not None:
            raise _translate(json.loads(job.Error)) from None
        return _result(job)
    finally:
        job.Dispose()


#: Who is told how far a task is, beside its own bar.
_LISTENER: ContextVar[Callable[[float], None] | None] = ContextVar("listener", default=None)


@contextmanager
def told(listener: Callable[[float], None]) -> Iterator[None]:
    """Inside, each task's share that is done, 0 to 1, goes to `listener` some times a second."""
    token = _LISTENER.set(listener)
    try:
        yield
    finally:
        _LISTENER.reset(token)


def _wait(job: Any, progress: bool) -> None:
    bar = None
    listener = _LISTENER.get()
    try:
        while not job.Wait(_SLICE_MS):
            if listener is not None:
                listener(job.Fraction)
            if progress:
                if bar is None:
                    from tqdm.auto import tqdm

                    bar = tqdm(total=100, unit="%", leave=False)
                bar.set_description(job.Phrase, refresh=False)
                bar.update(round(100 * job.Fraction) - bar.n)
    except BaseException:
        # An interrupt: stop the task before Python goes on; its arrays are ours again then.
        job.Cancel()
        while not job.Wait(_SLICE_MS):
            pass
        raise
    finally:
        if bar is not None:
            bar.close()


def _result(job: Any) -> dict[str, Any]:
    """The record, its arrays in one block of memory: an array that is kept keeps them all."""
    block = np.empty(job.ArrayBytes, dtype=np.uint8)
    if block.size:
        job.CopyArrays(block)

    def arrays_in(node: dict[str, Any]) -> Any:
        if "$array" not in node:
            return node
        kind = node["dtype"] if node["dtype"] != "b1" else "?"
        return np.ndarray(node["shape"], dtype=kind, buffer=block, offset=node["offset"])

    return json.loads(job.Result, object_hook=arrays_in)


def _translate(facts: dict[str, Any]) -> BaseException:
    kinds: dict[str, type[errors.StarAssayError]] = {
        "input": errors.InputError,
        "cannot-measure": errors.CannotMeasureError,
        "internal": errors.EngineError,
    }
    kind = facts["kind"]
    if kind == "memory":
        return MemoryError(
            "The engine ran out of memory. Close other programs or use smaller frames."
        )
    if kind == "cancelled":
        return KeyboardInterrupt()
    message = facts["message"]
    if kind == "internal":
        message = (
            f"The engine met a fault of its own ({message}). Please report it with the text in "
            "this error's 'trace' attribute."
        )
    return kinds[kind](
        message,
        code=facts["code"],
        argument=facts.get("argument"),
        subject=facts.get("subject"),
        trace=facts.get("trace", ""),
    )

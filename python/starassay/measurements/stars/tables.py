"""The star tables of several frames, one after the other, for what is measured on all of them together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ...errors import CannotMeasureError
from .measuring import measure_stars
from .result import StarField


def stars_of(frame: Any, threads: int, **how: Any) -> StarField | None:
    """The stars of a frame without profile fits; None where it shows none.

    Parameters
    ----------
    frame : frame
        See `read_frame`.
    threads : int
        Worker threads.
    **how
        Further arguments of `measure_stars`.
    """
    try:
        return measure_stars(frame, fit_profiles="none", threads=threads, **how)
    except CannotMeasureError:
        return None


def stacked(
    fields: Sequence[StarField | None], names: Sequence[str]
) -> tuple[list[int], dict[str, np.ndarray]]:
    """Stars of each table, and the columns of all tables one after the other.

    Parameters
    ----------
    fields : sequence of StarField or None
        None has no stars.
    names : sequence of str
        Columns.

    Returns
    -------
    tuple
        Counts, and plain arrays by name.
    """
    columns = {
        name: np.concatenate(
            [np.empty(0) if f is None else np.asarray(f.columns[name], dtype=float) for f in fields]
        )
        for name in names
    }
    return [0 if f is None else len(f) for f in fields], columns

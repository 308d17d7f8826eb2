"""Pictures that are drawn while the engine measures: the same ones, their errors told, none left behind."""

from __future__ import annotations

import threading
from types import SimpleNamespace
from typing import Any

import matplotlib
import numpy as np
import pytest

from starassay.campaign.drawing import Ahead
from starassay.results import Picture


def plot(turns: float) -> Any:
    import matplotlib.pyplot as plt

    figure, ax = plt.subplots(figsize=(3, 2))
    ax.plot(np.sin(np.linspace(0, turns, 50)))
    return figure


def result_of(*pictures: Picture) -> Any:
    return SimpleNamespace(figures=lambda: list(pictures))


@pytest.fixture(autouse=True)
def in_memory() -> None:
    matplotlib.use("Agg")


def test_they_are_those_of_the_main_thread_to_the_last_bit() -> None:
    drawn_by: list[str] = []

    def traced(turns: float) -> Any:
        drawn_by.append(threading.current_thread().name)
        return plot(turns)

    results = [
        result_of(*(Picture(lambda t=t: traced(t), "", "") for t in (k, k + 1.5))) for k in (1, 4)
    ]
    with Ahead() as ahead:
        for result in results:
            ahead.begin(result)
        ahead.finish()
        assert len(drawn_by) == 4 and all(n.startswith("drawing") for n in drawn_by)
        ahead_of = [ahead.source(r, r.figures(), k) for r in results for k in (0, 1)]
        other = result_of(Picture(lambda: plot(3.0), "", ""))
        assert ahead.source(other, other.figures(), 0) == other.figures()[0].source()
    assert len(drawn_by) == 4
    assert ahead_of == [picture.source() for r in results for picture in r.figures()]


def test_what_goes_wrong_is_told_where_the_picture_is_wanted() -> None:
    def broken() -> Any:
        raise ValueError("no such color")

    result = result_of(Picture(broken, "", ""))
    with Ahead() as ahead:
        ahead.begin(result)
        ahead.finish()
        with pytest.raises(ValueError, match="no such color"):
            ahead.source(result, result.figures(), 0)


def test_an_interrupt_leaves_nothing_that_draws() -> None:
    begun, go_on, drawn = threading.Event(), threading.Event(), []

    def slow() -> Any:
        begun.set()
        go_on.wait(10)
        drawn.append(1)
        return plot(1.0)

    with pytest.raises(KeyboardInterrupt):
        with Ahead() as ahead:
            ahead.begin(result_of(*[Picture(slow, "", "")] * 5))
            assert begun.wait(10)
            threading.Timer(0.2, go_on.set).start()
            raise KeyboardInterrupt
    # The one that was being drawn came to its end, the four that waited were dropped.
    assert drawn == [1]
    assert not any(t.name.startswith("drawing") for t in threading.enumerate())


def test_windows_and_notebooks_keep_their_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    """Their backends allow figures in the main thread only."""
    monkeypatch.setattr(matplotlib, "get_backend", lambda: "module://some.inline")
    result = result_of(Picture(lambda: plot(2.0), "", ""))
    with Ahead() as ahead:
        ahead.begin(result)
        ahead.finish()
        assert not any(t.name.startswith("drawing") for t in threading.enumerate())
        assert ahead.source(result, result.figures(), 0).startswith("data:image/png;base64,")

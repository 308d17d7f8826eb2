"""The look of every figure: light, print friendly, readable by the color-blind."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

# Okabe and Ito's eight colors, chosen to be told apart with any kind of color vision:
# "Color Universal Design", 2008.
INK = "#1a1a1a"
BLUE = "#0072b2"
ORANGE = "#d55e00"
GREEN = "#009e73"
AMBER = "#e69f00"
SKY = "#56b4e9"
PINK = "#cc79a7"
GREY = "#7f7f7f"
CYCLE = (BLUE, ORANGE, GREEN, PINK, AMBER, SKY, INK)

SEQUENTIAL = "viridis"
DIVERGING = "RdBu_r"
IMAGE = "gray"

_RC: dict[str, Any] = {
    "figure.dpi": 110,
    "figure.facecolor": "white",
    "savefig.dpi": 160,
    "savefig.bbox": "tight",
    "font.family": "DejaVu Sans",
    "font.size": 10,
    "axes.titlesize": 11,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 10,
    "axes.edgecolor": "#4d4d4d",
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": False,
    "grid.color": "#d9d9d9",
    "grid.linewidth": 0.6,
    "xtick.direction": "out",
    "ytick.direction": "out",
    "legend.frameon": False,
    "legend.fontsize": 9,
    "lines.linewidth": 1.6,
    "image.origin": "lower",
    "image.interpolation": "nearest",
    "image.cmap": SEQUENTIAL,
}


@contextmanager
def figure_style() -> Iterator[None]:
    """Draw inside this context to get the house style without touching the user's own."""
    import matplotlib as mpl
    from cycler import cycler

    with mpl.rc_context({**_RC, "axes.prop_cycle": cycler(color=CYCLE)}):
        yield


def new_axes(ax: Any = None, **kwargs: Any) -> Any:
    """`ax`, or the axes of a new figure in the house style."""
    if ax is not None:
        return ax
    import matplotlib.pyplot as plt

    with figure_style():
        _, ax = plt.subplots(**kwargs)
    return ax


def show_pixels(pixels: Any, ax: Any, title: str) -> Any:
    """Draw an image between its 1st and 99th percentile; returns the axes."""
    import numpy as np

    with figure_style():
        ax = new_axes(ax, figsize=(5.2, 4.4), layout="constrained")
        low, high = np.nanpercentile(pixels, [1, 99])
        shown = ax.imshow(pixels, origin="lower", cmap=IMAGE, vmin=low, vmax=max(high, low + 1e-9))
        ax.figure.colorbar(shown, ax=ax, label="pixel value")
        ax.set(xlabel="x (pixel)", ylabel="y (pixel)", title=title)
    return ax

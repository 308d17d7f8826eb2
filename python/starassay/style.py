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


def as_screen_light(light: Any) -> Any:
    """Light from 0 to 1 as the value that makes a screen shine in proportion to it (sRGB, IEC 61966-2-1).

    Parameters
    ----------
    light : ndarray
        Clipped to 0 to 1.
    """
    import numpy as np

    clipped = np.clip(light, 0.0, 1.0)
    return np.where(
        clipped <= 0.0031308,
        12.92 * clipped,
        1.055 * np.maximum(clipped, 1e-9) ** (1 / 2.4) - 0.055,
    )


def entitle(ax: Any, text: str, **how: Any) -> None:
    """Give axes a title where they have none: one that the user has set stays, and a later one replaces this."""
    if not any(ax.get_title(loc=where) for where in ("left", "center", "right")):
        ax.set_title(text, **how)


def sensor_axes(ax: Any, size: tuple[int, int], pitch: float) -> tuple[Any, tuple[float, float]]:
    """Axes of a map over the sensor, in mm from its middle, in proportion.

    Parameters
    ----------
    ax : matplotlib axes or None
        Where to draw; None makes a new figure.
    size : tuple of int
        Columns and rows of the frame.
    pitch : float
        Of the pixels, um.

    Returns
    -------
    tuple
        The axes, and the sensor's width and height in mm.
    """
    wide, high = (n * pitch / 1000 for n in size)
    ax = new_axes(ax, figsize=(7.2, 1.5 + 5.6 * high / wide))
    ax.set(xlim=(-wide / 2, wide / 2), ylim=(-high / 2, high / 2), aspect="equal")
    ax.set(xlabel="x from the middle of the sensor (mm)", ylabel="y (mm)")
    return ax, (wide, high)


def sensor_bar(ax: Any, shown: Any, label: str, **how: Any) -> None:
    """A color bar beside a map over the sensor."""
    bar = ax.figure.colorbar(shown, ax=ax, pad=0.02, fraction=0.05, **how)
    bar.set_label(label)
    bar.outline.set_visible(False)


def round_length(value: float) -> float:
    """A length for a scale bar or a step of contours: 1, 2 or 5 times a power of ten, not above the value."""
    import numpy as np

    power = 10.0 ** np.floor(np.log10(max(value, 1e-9)))
    return float(max(k * power for k in (1, 2, 5) if k * power <= max(value, power)))


def bar_axes(ax: Any) -> Any:
    """Room for a color bar at the right of axes, as high as they are; it takes nothing from their width."""
    return ax.inset_axes((1.03, 0.0, 0.04, 1.0))


def show_pupil(ax: Any, values: Any, share: Any, ground: str = "white", **how: Any) -> Any:
    """Draw a map of the pupil with a smooth rim; returns the picture.

    Parameters
    ----------
    ax : matplotlib axes
        Where to draw.
    values : ndarray, shape (n, n)
        NaN outside.
    share : ndarray, shape (n, n)
        Open share of each sample.
    ground : str
        Color of what is closed.
    **how
        For `imshow`.
    """
    import numpy as np
    from matplotlib.patches import Circle

    filled, known = np.array(values, dtype=float), np.isfinite(values)
    # Values run on for a few samples beyond the rim, so that the circle cuts them and no steps are seen.
    for _ in range(3):
        near = np.stack(
            [np.roll(np.where(known, filled, np.nan), k, axis) for axis in (0, 1) for k in (-1, 1)]
        )
        count = np.isfinite(near).sum(axis=0)
        grown = ~known & (count > 0)
        filled[grown] = np.nansum(near, axis=0)[grown] / count[grown]
        known |= grown
    beyond = np.hypot(*np.meshgrid(*[(2 * np.arange(len(filled)) + 1) / len(filled) - 1] * 2)) > 0.9
    shown = ax.imshow(
        np.where(known, filled, 0.0),
        origin="lower",
        extent=(-1, 1, -1, 1),
        alpha=np.where(beyond & known, 1.0, share),
        interpolation="bilinear",
        **how,
    )
    ax.set_facecolor(ground)
    shown.set_clip_path(Circle((0, 0), 1, transform=ax.transData))
    ticks = (-1, -0.5, 0, 0.5, 1)
    ax.set(xlabel="pupil x (radius = 1)", ylabel="pupil y", xticks=ticks, yticks=ticks)
    return shown


def show_pixels(pixels: Any, ax: Any, title: str) -> Any:
    """Draw an image between its 1st and 99th percentile; returns the axes."""
    import numpy as np

    with figure_style():
        ax = new_axes(ax, figsize=(5.2, 4.4), layout="constrained")
        low, high = np.nanpercentile(pixels, [1, 99])
        shown = ax.imshow(pixels, origin="lower", cmap=IMAGE, vmin=low, vmax=max(high, low + 1e-9))
        ax.figure.colorbar(shown, ax=ax, label="pixel value")
        ax.set(xlabel="x (pixel)", ylabel="y (pixel)")
        entitle(ax, title)
    return ax

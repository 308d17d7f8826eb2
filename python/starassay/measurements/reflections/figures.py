"""Figures of a photo of reflections."""

from __future__ import annotations

from typing import Any

import numpy as np

from ... import style

#: Each circle differs by color and by stroke.
_STROKES = ("-", "--", "-.", ":")
_COLORS = (style.SKY, style.ORANGE, style.GREEN, style.PINK, style.AMBER, style.BLUE)


def draw_circles(found: Any) -> Any:
    """The photo with its circles, and their middles."""
    import matplotlib.pyplot as plt

    with style.figure_style():
        figure, axes = plt.subplots(
            1, 2, figsize=(11.4, 4.8), layout="constrained", width_ratios=(1.35, 1)
        )
        _photo(axes[0], found)
        _middles(axes[1], found)
        return figure


def _look(number: int) -> dict[str, Any]:
    k = number - 1
    return {"color": _COLORS[k % len(_COLORS)], "linestyle": _STROKES[k % len(_STROKES)]}


def _photo(ax: Any, found: Any) -> None:
    from matplotlib.patches import Ellipse

    rows, columns = found.picture.shape
    cell = float(found.picture_cell.value)
    extent = (-0.5, columns * cell - 0.5, -0.5, rows * cell - 0.5)
    ax.imshow(found.picture, cmap=style.IMAGE, vmin=0, vmax=1.1, extent=extent, origin="lower")
    for c in found.circles:
        look = _look(c.number)
        x, y = c.picture_x.value, c.picture_y.value
        long, short = c.picture_long.value, c.picture_short.value
        ax.add_patch(
            Ellipse(
                (x, y),
                2 * long,
                2 * short,
                angle=c.picture_angle.value,
                fill=False,
                edgecolor=look["color"],
                linestyle=look["linestyle"],
                linewidth=1.5,
            )
        )
        ax.plot(x, y, "+", color=look["color"], ms=9, mew=1.4)
        # Numbers go round, so that those of circles with one radius do not lie on each other.
        turn = np.deg2rad(60 - 37 * (c.number - 1))
        ax.annotate(
            str(c.number),
            (x + long * np.cos(turn), y + long * np.sin(turn)),
            color=style.INK,
            fontsize=9,
            ha="center",
            va="center",
            bbox={"boxstyle": "circle,pad=0.15", "fc": "white", "ec": look["color"]},
        )
    ax.set(xlim=extent[:2], ylim=extent[2:], xlabel="x (pixel)", ylabel="y (pixel)", aspect="equal")
    ax.set_title("Circles in the photo, from the largest")


def _middles(ax: Any, found: Any) -> None:
    base = found.objective or 1
    shown = [p for p in found.pairs if p.outer == base]
    radius = float(found.circles[base - 1].radius.value.value)
    turn = np.linspace(0, 2 * np.pi, 181)
    far = 0.05
    ax.axhline(0, color=style.GREY, lw=0.8)
    ax.axvline(0, color=style.GREY, lw=0.8)
    for p in shown:
        look = _look(p.inner)
        x, y = (100 * q.value.value / radius for q in (p.offset_x, p.offset_y))
        sx, sy = (100 * q.uncertainty.value / radius for q in (p.offset_x, p.offset_y))
        for share, width in ((0.68, 1.6), (0.95, 0.8)):
            # Two components: a share p lies within sqrt(-2 ln(1 - p)) standard deviations.
            reach = np.sqrt(-2 * np.log(1 - share))
            ax.plot(
                x + reach * sx * np.cos(turn),
                y + reach * sy * np.sin(turn),
                linewidth=width,
                color=look["color"],
            )
        ax.plot(x, y, "+", color=look["color"], ms=8, mew=1.6, label=found.called(p.inner))
        # What lies far aside belongs to no common middle and would hide the others.
        if max(abs(x), abs(y)) < 20 or p.inner in (found.spot, found.sight):
            far = max(far, abs(x) + 3 * sx, abs(y) + 3 * sy)
    far *= 1.2
    ax.set(xlim=(-far, far), ylim=(-far, far), aspect="equal")
    ax.set(
        xlabel="x from the middle (% of its radius)", ylabel="y from the middle (% of its radius)"
    )
    if shown:
        ax.legend(loc="best", fontsize=8)
        name = found.called(base)
        ax.set_title(f"Out of the middle of {name}")
    else:
        ax.set_title("No circle inside another")

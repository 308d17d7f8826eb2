"""Figures of an edge."""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u

from ... import style


def draw_edge_and_mtf(found: Any) -> Any:
    """The frame with its edge, edge and line spread, MTF."""
    import matplotlib.pyplot as plt

    with style.figure_style():
        figure, axes = plt.subplots(1, 3, figsize=(12.6, 4.0), layout="constrained")
        _frame(axes[0], found)
        _spread(axes[1], found)
        _mtf(axes[2], found)
        return figure


def _frame(ax: Any, found: Any) -> None:
    rows, columns = found.picture.shape
    cell = float(found.picture_cell.value)
    extent = (-0.5, columns * cell - 0.5, -0.5, rows * cell - 0.5)
    low, high = np.nanpercentile(found.picture, (0.5, 99.5))
    ax.imshow(found.picture, cmap=style.IMAGE, vmin=low, vmax=high, extent=extent, origin="lower")
    ax.plot(found.edge_x.value, found.edge_y.value, ".", color=style.ORANGE, ms=3)
    middle = len(found.edge_x) // 2
    turn = found.normal.to_value(u.rad)
    reach = 0.1 * max(rows, columns) * cell
    ax.annotate(
        "",
        (
            found.edge_x.value[middle] + reach * np.cos(turn),
            found.edge_y.value[middle] + reach * np.sin(turn),
        ),
        (found.edge_x.value[middle], found.edge_y.value[middle]),
        arrowprops={"arrowstyle": "-|>", "color": style.SKY, "lw": 1.6},
    )
    for ghost in found.ghosts:
        side = ghost.area.value
        ax.add_patch(
            plt_rectangle(ghost.x.value - side / 2, ghost.y.value - side / 2, side, style.AMBER)
        )
    ax.set(xlim=extent[:2], ylim=extent[2:], xlabel="x (pixel)", ylabel="y (pixel)")
    ax.set_title("The edge as followed")


def plt_rectangle(x: float, y: float, side: float, color: str) -> Any:
    """A square outline."""
    from matplotlib.patches import Rectangle

    return Rectangle((x, y), side, side, fill=False, edgecolor=color, linewidth=1.4)


def _spread(ax: Any, found: Any) -> None:
    reach = 4 * float((found.width.value / found.pitch).to_value(u.one)) + 2
    x = found.distance.value
    near = np.abs(x) < reach
    ax.plot(x[near], found.edge_spread[near], ".", color=style.BLUE, ms=4, label="edge spread")
    ax.plot(
        x[near & (x < 0)],
        found.surface_profile[near & (x < 0)],
        "--",
        color=style.GREY,
        label="the surface itself",
    )
    top = float(np.max(found.line_spread))
    ax.plot(
        x[near],
        0.5 * found.line_spread[near] / top,
        color=style.ORANGE,
        lw=1.2,
        label="line spread, half its height",
    )
    ax.axhline(0, color=style.GREY, lw=0.8)
    ax.set(
        xlabel="distance towards the dark (pixel)",
        ylabel="light over that of the bright side",
        ylim=(-0.12, 1.25),
    )
    ax.legend(loc="upper right", fontsize=8)
    ax.set_title(f"10 to 90 %: {found.width}")


def _mtf(ax: Any, found: Any) -> None:
    x = found.frequency_on_sensor.value
    shown = found.frequency.value <= 0.5
    ax.fill_between(
        x[shown],
        (found.mtf - found.mtf_uncertainty)[shown],
        (found.mtf + found.mtf_uncertainty)[shown],
        color=style.BLUE,
        alpha=0.25,
        lw=0,
    )
    curves = (
        (found.mtf, style.BLUE, "-", "as recorded"),
        (found.pixel_mtf, style.GREY, ":", "pixel alone"),
        (found.optics_mtf, style.ORANGE, "-", "pixel taken out"),
        (found.perfect_mtf, style.INK, "--", "perfect aperture"),
    )
    for curve, color, stroke, label in curves:
        if np.isfinite(curve[shown]).any():
            ax.plot(x[shown], curve[shown], color=color, ls=stroke, label=label)
    ax.axhline(0.5, color=style.GREY, lw=0.6)
    ax.set(
        xlabel="frequency (cycles per mm)",
        ylabel="MTF",
        ylim=(0, 1.05),
        xlim=(0, float(x[shown].max())),
    )
    ax.legend(loc="best", fontsize=8)
    ax.set_title("MTF along the normal")


def _two_or_five(value: float, _: Any) -> str:
    """The labels between decades."""
    return f"{value:.3g}" if f"{value:.0e}"[0] in "235" else ""


def draw_glare(found: Any, ax: Any) -> Any:
    """Light in the dark against the distance."""
    with style.figure_style():
        ax = style.new_axes(ax, figsize=(5.6, 4.0))
        away = (found.glare_radius * found.pixel_scale).to_value(u.arcmin)
        ax.errorbar(
            away,
            100 * found.glare,
            100 * found.glare_uncertainty,
            fmt=".",
            color=style.BLUE,
            capsize=2,
        )
        if np.isfinite(found.edge_glare.value):
            ax.plot(
                found.glare_distance.to_value(u.arcmin),
                100 * float(found.edge_glare.value),
                "o",
                mfc="none",
                mec=style.ORANGE,
                ms=10,
                label=f"{100 * float(found.edge_glare.value):.3g} % at the stated distance",
            )
            ax.legend(loc="best", fontsize=8)
        ax.set_xscale("log")
        ax.xaxis.set_major_formatter(lambda v, _: f"{v:g}")
        ax.xaxis.set_minor_formatter(_two_or_five)
        if np.min(found.glare) > 0:
            ax.set_yscale("log")
            ax.yaxis.set_major_formatter(lambda v, _: f"{v:g}")
            ax.yaxis.set_minor_formatter(_two_or_five)
        ax.set(
            xlabel="distance from the edge (arcmin)",
            ylabel="light over that of the bright side (%)",
        )
        ax.set_title("Glare")
    return ax

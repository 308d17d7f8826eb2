"""Figures of a star field."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...style import BLUE, GREY, INK, ORANGE, SEQUENTIAL, bar_axes, entitle, figure_style, new_axes


def draw_sizes(field: Any, ax: Any, quantity: str) -> Any:
    """Map of a star size over the field."""
    with figure_style():
        ny, nx = field.shape
        ax = new_axes(ax, figsize=(7.2, 1.2 + 6.0 * ny / nx))
        use = field.is_clean & np.isfinite(field.columns[quantity])
        x, y, v = field.columns["x"][use], field.columns["y"][use], field.columns[quantity][use]
        unit = field.unit_of(quantity)
        _frame_axes(ax, field.shape)
        if len(v) == 0:
            return _flagged(field, ax)
        low, high = np.percentile(v, [3, 97])
        shown = ""
        if len(v) > 600:
            x, y, v, _ = _binned(x, y, v, field.shape)
            shown = f"; {len(v)} dots = local means"
            size = 150_000 / len(v) / 3
        else:
            size = np.clip(12_000 / len(v), 14, 120)
        marks = ax.scatter(x, y, c=v, s=size, cmap=SEQUENTIAL, vmin=low, vmax=high, linewidths=0)
        bar = ax.figure.colorbar(marks, cax=bar_axes(ax))
        labels = {"hfr": "half-flux radius", "fwhm": "FWHM (Moffat)"}
        label = labels.get(quantity, quantity.replace("_", " "))
        bar.set_label(f"{label} ({unit})" if unit else label)
        _scale_bar(field, ax)
        bar.outline.set_visible(False)
        ax.plot(*field.axis.value, marker="+", color=INK, ms=10, mew=1.2)
        entitle(
            ax,
            f"{label[0].upper()}{label[1:]} over the field\n{_counted(field)}{shown}",
        )
        return ax


def draw_ellipticity(field: Any, ax: Any) -> Any:
    """Whiskers along the stars' long axes, colored by direction: radial or tangential."""
    with figure_style():
        ny, nx = field.shape
        ax = new_axes(ax, figsize=(7.2, 1.2 + 6.0 * ny / nx))
        _frame_axes(ax, field.shape)
        use = field.is_clean & np.isfinite(field.columns["radial_ellipticity"])
        x, y = field.columns["x"][use], field.columns["y"][use]
        radial, cross = (
            field.columns["radial_ellipticity"][use],
            field.columns["cross_ellipticity"][use],
        )
        if len(x) == 0:
            return _flagged(field, ax)
        dx, dy = x - field.axis[0].value, y - field.axis[1].value
        theta = np.arctan2(dy, dx)
        # Components along the frame's axes, so that neighbors can be averaged.
        e1 = radial * np.cos(2 * theta) - cross * np.sin(2 * theta)
        e2 = radial * np.sin(2 * theta) + cross * np.cos(2 * theta)
        averaged = len(x) > 250
        if averaged:
            bx, by, e1, n = _binned(x, y, e1, field.shape, cells=14)
            _, _, e2, _ = _binned(x, y, e2, field.shape, cells=14)
            x, y = bx, by
            theta = np.arctan2(y - field.axis[1].value, x - field.axis[0].value)
        size, angle = np.hypot(e1, e2), np.arctan2(e2, e1) / 2
        along = np.cos(2 * (angle - theta))
        reference = max(0.05, float(np.ceil(np.percentile(size, 90) * 20) / 20))
        length = 0.07 * max(nx, ny) / reference * size
        for kind, color, select in (
            ("radial", BLUE, along > 0.5),
            ("tangential", ORANGE, along < -0.5),
            ("neither", GREY, np.abs(along) <= 0.5),
        ):
            hx, hy = length * np.cos(angle) / 2, length * np.sin(angle) / 2
            segments = np.stack(
                [np.c_[x - hx, y - hy][select], np.c_[x + hx, y + hy][select]], axis=1
            )
            from matplotlib.collections import LineCollection

            ax.add_collection(
                LineCollection(list(segments), colors=color, linewidths=1.8, label=kind)
            )
        ax.plot(*field.axis.value, marker="+", color=INK, ms=10, mew=1.2)
        bar = 0.07 * max(nx, ny)
        ax.plot([0.03 * nx, 0.03 * nx + bar], [0.035 * ny] * 2, color=INK, lw=2.2, zorder=5)
        ax.text(
            0.035 * nx + bar,
            0.035 * ny,
            f"ellipticity {reference:g}",
            va="center",
            fontsize=9,
            zorder=5,
            bbox={"facecolor": "white", "alpha": 0.85, "edgecolor": "none", "pad": 1.5},
        )
        _scale_bar(field, ax)
        ax.legend(loc="upper right", bbox_to_anchor=(1.0, -0.1), ncol=3, handlelength=1.4)
        what = f"{len(x)} local means" if averaged else "one line each"
        entitle(ax, f"Long axes of the stars; {what}\n{_counted(field)}")
        return ax


def _flagged(field: Any, ax: Any) -> Any:
    """Where the stars stand that cannot be used, and why."""
    left_out = np.unique(field.flags)
    for flags, marker, color in zip(left_out, "os^vDPX*" * 8, (BLUE, ORANGE, GREY, INK) * 16):
        rows = np.flatnonzero(field.flags == flags)
        why = ", ".join(field.flag_names(rows[0])) or "too faint"
        ax.scatter(
            field.columns["x"][rows],
            field.columns["y"][rows],
            marker=marker,
            s=26,
            facecolors="none",
            edgecolors=color,
            label=f"{why} ({len(rows)})",
        )
    entitle(ax, f"No clean star; the {len(field)} flagged ones")
    if len(left_out):
        ax.legend(loc="upper left", bbox_to_anchor=(0, -0.12), ncol=2)
    return ax


def _counted(field: Any) -> str:
    scale = float(field.pixel_scale.value)
    on_sky = f"; {scale:.3g} arcsec/pix" if np.isfinite(scale) else ""
    return f"{field.clean_stars} clean stars of {len(field)}{on_sky}"


def _scale_bar(field: Any, ax: Any) -> None:
    """A bar of a round angle on the sky, where the scale is known."""
    scale = float(field.pixel_scale.value)
    if not np.isfinite(scale):
        return
    ny, nx = field.shape
    wanted = 0.2 * max(nx, ny) * scale
    steps = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 18000, 36000)
    angle = max((s for s in steps if s <= wanted), default=wanted)
    text = (
        f"{angle / 3600:g} deg"
        if angle >= 3600
        else f"{angle / 60:g} arcmin"
        if angle >= 60
        else f"{angle:.3g} arcsec"
    )
    right, low = 0.97 * nx, 0.035 * ny
    ax.plot([right - angle / scale, right], [low] * 2, color=INK, lw=2.2, zorder=5)
    ax.text(
        right,
        low + 0.02 * ny,
        text,
        ha="right",
        va="bottom",
        fontsize=9,
        zorder=5,
        bbox={"facecolor": "white", "alpha": 0.85, "edgecolor": "none", "pad": 1.5},
    )


def _frame_axes(ax: Any, shape: tuple[int, int]) -> None:
    ny, nx = shape
    ax.set_xlim(-0.5, nx - 0.5)
    ax.set_ylim(-0.5, ny - 0.5)
    ax.set_aspect("equal")
    ax.set_xlabel("x (pix)")
    ax.set_ylabel("y (pix)")
    for side in ("top", "right"):
        ax.spines[side].set_visible(True)


def _binned(
    x: np.ndarray, y: np.ndarray, v: np.ndarray, shape: tuple[int, int], cells: int = 24
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Means over square cells for drawing: places, means, counts of the cells with two stars or more."""
    ny, nx = shape
    side = max(nx, ny) / cells
    columns, rows = int(np.ceil(nx / side)), int(np.ceil(ny / side))
    index = (y // side).astype(int).clip(0, rows - 1) * columns + (x // side).astype(int).clip(
        0, columns - 1
    )
    n = np.bincount(index, minlength=columns * rows)
    keep = n >= 2
    mean = np.bincount(index, v, minlength=columns * rows)[keep] / n[keep]
    place = np.flatnonzero(keep)
    return (place % columns + 0.5) * side, (place // columns + 0.5) * side, mean, n[keep]

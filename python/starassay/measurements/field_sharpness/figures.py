"""Figures of the sharpness of the field."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...style import (
    AMBER,
    BLUE,
    GREY,
    INK,
    ORANGE,
    SEQUENTIAL,
    SKY,
    figure_style,
    new_axes,
    round_length,
    sensor_axes,
    sensor_bar,
)


def _mm(field: Any) -> tuple[np.ndarray, np.ndarray, float, float]:
    """Places of the map's columns and rows, and of the sensor's right and upper rim; mm from the middle."""
    wide, high = (n * field.pitch.value / 1000 for n in (field.width, field.height))
    rows, columns = field.fwhm_map.shape
    x, y = np.linspace(-wide / 2, wide / 2, columns), np.linspace(-high / 2, high / 2, rows)
    return x, y, wide / 2, high / 2


def _stars(field: Any) -> tuple[np.ndarray, np.ndarray]:
    """Places of the stars, mm from the middle."""
    step = field.pitch.value / 1000
    return (field.x.value - (field.width - 1) / 2) * step, (
        field.y.value - (field.height - 1) / 2
    ) * step


def draw_widths(field: Any, ax: Any) -> Any:
    """Map of the FWHM with the sharp circle and the sensor formats."""
    with figure_style():
        ax, _ = sensor_axes(ax, (field.width, field.height), field.pitch.value)
        x, y, right, top = _mm(field)
        widths, own = field.fwhm_map.value, field.star_fwhm.value
        sx, sy = _stars(field)
        told = np.isfinite(own)
        low, high = widths.min(), max(widths.max(), 1.1 * widths.min())
        how: dict[str, Any] = {"cmap": SEQUENTIAL, "vmin": low, "vmax": high}
        rim = (-right, right, -top, top)
        shade = ax.imshow(widths, origin="lower", extent=rim, interpolation="bilinear", **how)
        step = round_length((high - low) / 3)
        levels = np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step
        levels = levels[(levels > widths.min()) & (levels < widths.max())]
        if len(levels):
            lines = ax.contour(x, y, widths, levels=levels, colors="white", linewidths=0.8)
            ax.clabel(lines, fmt="%g", fontsize=8)
        ax.scatter(
            sx[told],
            sy[told],
            c=own[told],
            s=np.clip(6000 / max(told.sum(), 1), 8, 26),
            edgecolors="white",
            linewidths=0.4,
            **how,
        )
        if not field.sharp_everywhere and field.sharp_circle.value.value > 0:
            turn = np.linspace(0, 2 * np.pi, 181)
            radius = field.sharp_circle.value.value / 2
            ax.plot(radius * np.cos(turn), radius * np.sin(turn), color=INK, lw=3.2)
            ax.plot(radius * np.cos(turn), radius * np.sin(turn), color=AMBER, lw=1.6, ls="--")
        sensor_bar(ax, shade, "FWHM (um)")
        circle = (
            f"nowhere above {field.blur_limit.value:.3g} um"
            if field.sharp_everywhere
            else f"below {field.blur_limit.value:.3g} um within {field.sharp_circle}"
        )
        ax.set_title(
            f"FWHM {field.center_fwhm} in the middle, {field.corner_fwhm}\nin the corners; {circle}"
        )
        return ax


def draw_lengthening(field: Any, ax: Any) -> Any:
    """Whiskers of the smooth lengthening."""
    from matplotlib.collections import LineCollection

    with figure_style():
        x, y, right, top = _mm(field)
        ax = new_axes(ax, figsize=(5.2, 1.7 + 4.2 * top / right))
        ax.set(xlim=(-right, right), ylim=(-top, top), aspect="equal")
        ax.set(xlabel="x from the middle of the sensor (mm)", ylabel="y (mm)")
        for side in ("top", "right"):
            ax.spines[side].set_visible(True)
        # About square cells, half a cell from the rim.
        step = max(1, round(3 * right / top * (len(y) - 1) / (len(x) - 1)))
        columns, rows = np.arange(1, len(x), 3), np.arange(step // 2, len(y), step)
        gx, gy = (g.ravel() for g in np.meshgrid(x[columns], y[rows]))
        e1 = field.lengthening_map_x[np.ix_(rows, columns)].ravel()
        e2 = field.lengthening_map_xy[np.ix_(rows, columns)].ravel()
        noise = field.lengthening_map_uncertainty[np.ix_(rows, columns)].ravel()
        size, angle = np.hypot(e1, e2), np.arctan2(e2, e1) / 2
        along = np.cos(2 * (angle - np.arctan2(gy, gx)))
        reference = max(0.02, float(np.ceil(np.percentile(size, 95) * 50) / 50))
        bar = 0.085 * 2 * right
        half = bar / reference * size / 2
        sure = size > 2 * noise
        for kind, color, select in (
            ("radial", BLUE, sure & (along > 0.5)),
            ("tangential", ORANGE, sure & (along < -0.5)),
            ("neither", GREY, sure & (np.abs(along) <= 0.5)),
            ("within its uncertainty", "#c8c8c8", ~sure),
        ):
            if not select.any():
                continue
            dx, dy = half * np.cos(angle), half * np.sin(angle)
            lines = np.stack([np.c_[gx - dx, gy - dy], np.c_[gx + dx, gy + dy]], axis=1)[select]
            ax.add_collection(LineCollection(list(lines), colors=color, linewidths=2, label=kind))
        ax.plot(0, 0, marker="+", color=INK, ms=9, mew=1.2)
        ax.plot([0, bar], [1.06 * top] * 2, color=INK, lw=2.2, clip_on=False)
        ax.text(
            bar + 0.02 * right, 1.06 * top, f"ellipticity {reference:g}", va="center", fontsize=9
        )
        ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncol=2, handlelength=1.4)
        ax.set_title("Long axes of the stars", loc="left", pad=22)
        return ax


def draw_distance(field: Any, ax: Any) -> Any:
    """Stars and smooth field against the distance from the middle."""
    with figure_style():
        ax = new_axes(ax, figsize=(5.2, 3.8))
        x, y, right, top = _mm(field)
        sx, sy = _stars(field)
        distance = np.hypot(*np.meshgrid(x, y)).ravel()
        widths = field.fwhm_map.value.ravel()
        edges = np.linspace(0, np.hypot(right, top) * 1.0001, 15)
        ring = np.digitize(distance, edges) - 1
        rings = [k for k in range(len(edges) - 1) if (ring == k).any()]
        middle = np.array([distance[ring == k].mean() for k in rings])
        parts = [widths[ring == k] for k in rings]
        least, most = np.array([p.min() for p in parts]), np.array([p.max() for p in parts])
        mean = np.array([p.mean() for p in parts])
        ax.scatter(
            np.hypot(sx, sy), field.star_fwhm.value, s=9, color=GREY, linewidths=0, label="stars"
        )
        ax.fill_between(
            middle, least, most, color=SKY, alpha=0.45, linewidth=0, label="over the ring"
        )
        ax.plot(middle, mean, color=BLUE, label="mean of the smooth field")
        ax.axhline(field.blur_limit.value, color=ORANGE, ls="--", lw=1.2, label="limit")
        told = field.star_fwhm.value[np.isfinite(field.star_fwhm.value)]
        ax.set(
            xlim=(0, edges[-1]),
            ylim=(0, 1.15 * max(np.percentile(told, 98), widths.max(), field.blur_limit.value)),
        )
        ax.set(xlabel="distance from the middle (mm)", ylabel="FWHM (um)")
        if np.isfinite(field.pixel_scale.value):
            factor = float(field.pixel_scale.value) / field.pitch.value
            sky = ax.secondary_yaxis(
                "right", functions=(lambda v: v * factor, lambda v: v / factor)
            )
            sky.set_ylabel("arcsec")
        ax.legend(loc="lower right", fontsize=8)
        ax.set_title("From the middle to the corners")
        return ax


def draw_budget(field: Any, ax: Any) -> Any:
    """Widths of the parts, those of the middle and the corners apart by color."""
    with figure_style():
        shown = [p for p in field.budget if np.isfinite(p.on_sky.value.value)]
        ax = new_axes(ax, figsize=(5.6, 1.5 + 0.36 * len(shown)))
        colors = {"everywhere": GREY, "center": BLUE, "corners": ORANGE}
        for k, part in enumerate(reversed(shown)):
            value, error = part.on_sky.value.value, part.on_sky.uncertainty.value
            ax.barh(
                k,
                value,
                xerr=error if np.isfinite(error) else None,
                height=0.62,
                color=colors[part.place],
                ecolor=INK,
                capsize=2.5,
            )
            edge = value + (error if np.isfinite(error) else 0)
            ax.annotate(
                f"{value:.2f}",
                (edge, k),
                xytext=(5, 0),
                textcoords="offset points",
                va="center",
                fontsize=9,
            )
        names = [
            p.part if p.place == "everywhere" else f"{_NAMES.get(p.part, p.part)}, {p.place}"
            for p in shown
        ]
        ax.set_yticks(range(len(shown)), reversed(names))
        ax.set_xlim(0, 1.18 * max(p.on_sky.value.value for p in shown))
        ax.set_xlabel("FWHM (arcsec)")
        factor = field.pitch.value / float(field.pixel_scale.value)
        upper = ax.secondary_xaxis("top", functions=(lambda v: v * factor, lambda v: v / factor))
        upper.set_xlabel("on the sensor (um)")
        ax.spines["top"].set_visible(True)
        return ax


_NAMES = {"measured": "stars", "left": "left over", "field": "beyond the middle"}

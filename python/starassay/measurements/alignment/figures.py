"""Figures of an alignment."""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u

from ... import style


def draw_discs(found: Any) -> Any:
    """Every image with its circles, and the decentre by coma with its ellipses."""
    import matplotlib.pyplot as plt

    with style.figure_style():
        count = len(found.images)
        figure, axes = plt.subplots(
            1, count + 1, figsize=(3.9 * (count + 1), 4.2), layout="constrained"
        )
        for ax, image in zip(axes, found.images):
            _disc(ax, image)
        _vector(axes[-1], found)
        return figure


def _disc(ax: Any, image: Any) -> None:
    from matplotlib.patches import Circle, Ellipse

    rows, columns = image.observed.shape
    left, low = image.x0 - 0.5, image.y0 - 0.5
    extent = (left, left + columns * image.binning, low, low + rows * image.binning)
    top = float(np.percentile(image.model, 99.7))
    ax.imshow(
        image.observed,
        origin="lower",
        cmap=style.IMAGE,
        vmin=min(0.0, float(np.percentile(image.observed, 1))),
        vmax=top,
        extent=extent,
    )
    x, y, radius = image.outer_x.value, image.outer_y.value, image.outer_radius.value
    long, short = 2 * radius * (1 + image.outer_ellipticity), 2 * radius * (
        1 - image.outer_ellipticity
    )
    how = {"fill": False, "linewidth": 1.3}
    ax.add_patch(
        Ellipse((x, y), long, short, angle=image.outer_angle.value, edgecolor=style.SKY, **how)
    )
    ax.plot(x, y, "o", mfc="none", mec=style.SKY, ms=9, mew=1.3)
    ax.plot(x, y, ".", color=style.SKY, ms=4)
    sx, sy = image.shadow_x.value, image.shadow_y.value
    if image.shadow_radius.value > 0:
        ax.add_patch(
            Circle(
                (sx, sy), image.shadow_radius.value, edgecolor=style.AMBER, linestyle="--", **how
            )
        )
    ax.plot(sx, sy, "x", color=style.AMBER, ms=9, mew=1.8)
    room = 1.3 * radius
    ax.set(xlim=(x - room, x + room), ylim=(y - room, y + room), aspect="equal")
    ax.set(xlabel="x (pixel)", ylabel="y (pixel)")
    side = {"unknown": "side not known"}.get(image.side, f"{image.side} focus")
    ax.set_title(f"{side}, {abs(image.defocus_waves):.1f} waves")


def _vector(ax: Any, found: Any) -> None:
    blur = found.images[0].blur_radius.value
    pitch = float(
        (found.decentre_length.value / found.decentre_pixels.value).to_value(u.um / u.pix)
    )
    per = 100 / (blur * pitch)  # um -> per cent of the blur radius
    x, y = (q.value.to_value(u.um) * per for q in (found.coma_decentre_x, found.coma_decentre_y))
    sx, sy = (
        q.uncertainty.to_value(u.um) * per for q in (found.coma_decentre_x, found.coma_decentre_y)
    )
    turn = np.linspace(0, 2 * np.pi, 181)
    # Two components: a share p lies within sqrt(-2 ln(1 - p)) standard deviations.
    for share, width in ((0.68, 1.6), (0.95, 0.9)):
        reach = np.sqrt(-2 * np.log(1 - share))
        ax.plot(
            x + reach * sx * np.cos(turn),
            y + reach * sy * np.sin(turn),
            color=style.BLUE,
            linewidth=width,
            label=f"{100 * share:.0f} %",
        )
    far = max(1.25 * (np.hypot(x, y) + 2.5 * max(sx, sy)), 0.5)
    ax.axhline(0, color=style.GREY, linewidth=0.8)
    ax.axvline(0, color=style.GREY, linewidth=0.8)
    if found.coma_told:
        ax.annotate(
            "", (x, y), (0, 0), arrowprops={"arrowstyle": "-|>", "color": style.ORANGE, "lw": 2}
        )
    ax.plot(0, 0, "o", mfc="none", mec=style.INK, ms=9, mew=1.3)
    ax.set(xlim=(-far, far), ylim=(-far, far), aspect="equal")
    ax.set(xlabel="along x (% of the blur radius)", ylabel="along y (% of the blur radius)")
    ax.set_title(f"Decentre by coma {100 * float(found.coma_decentre.value):.2f} %")
    ax.legend(loc="best", fontsize=8)


def draw_rings(found: Any, ax: Any) -> Any:
    """Shift along the direction of coma against the radius."""
    with style.figure_style():
        ax = style.new_axes(ax, figsize=(5.6, 4.0))
        turn = np.deg2rad(found.coma_direction.value.to_value(u.deg))
        marks = {"outer edge": "o", "ring": ".", "shadow": "s"}
        named = set()
        ax.axhline(0, color=style.GREY, linewidth=0.8)
        for ring in found.rings:
            blur = found.images[ring.image].blur_radius.value
            edge = next(
                (r for r in found.rings if r.image == ring.image and r.kind == "outer edge"), None
            )
            shift, bar = along(ring, turn)
            zero = along(edge, turn)[0] if edge is not None else 0.0
            color = (style.BLUE, style.ORANGE)[ring.image]
            label = f"{ring.kind}, image {ring.image + 1}"
            ax.errorbar(
                float(ring.radius_share),
                100 * (shift - zero) / blur,
                100 * bar / blur,
                fmt=marks[ring.kind],
                color=color,
                ms=8 if ring.kind == "ring" else 6,
                capsize=2,
                label=None if label in named else label,
            )
            named.add(label)
        rho = np.linspace(0, 1, 60)
        inner = 0.0 if not np.isfinite(found.obstruction.value) else float(found.obstruction.value)
        size = 100 * float(found.coma_decentre.value) / (1 - inner**2)
        ax.plot(rho, size * (1 - rho**2), color=style.INK, linewidth=1.2, label="coma as fitted")
        ax.set(
            xlabel="radius (share of the blur radius)",
            ylabel="shift of its middle (% of the blur radius)",
        )
        ax.set_title(f"Edges and rings toward {np.rad2deg(turn):.0f} deg")
        ax.legend(loc="best", fontsize=8)
    return ax


def along(ring: Any, turn: float) -> tuple[float, float]:
    """Shift of a ring's middle along a direction, pixels, and its bar."""
    c, s = np.cos(turn), np.sin(turn)
    shift = ring.shift_x.value.value * c + ring.shift_y.value.value * s
    return shift, float(
        np.hypot(ring.shift_x.uncertainty.value * c, ring.shift_y.uncertainty.value * s)
    )

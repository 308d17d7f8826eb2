"""Figures of a color focus curve."""

from __future__ import annotations

from typing import Any

import numpy as np

from ... import style


@style.figure_style()
def draw_curve(curve: Any, ax: Any, theory: Any) -> Any:
    """Bins with error bars, the smooth curve with its 68 % band, the depth of focus behind."""
    ax = style.new_axes(ax, figsize=(8, 4.6))
    good = curve.used
    w = curve.wavelength.value
    if not curve.signs_decided:
        return _draw_sizes(curve, ax)
    depth = 2 * w[good] / 1000 * curve.focal_ratio**2
    ax.fill_between(w[good], -depth, depth, color="#e8e8e8", lw=0, label="depth of focus ±2λN²")
    ax.errorbar(
        w[good],
        curve.shift.value[good],
        curve.shift_uncertainty.value[good],
        fmt="o",
        ms=2.5,
        lw=0.7,
        color=style.GREY,
        label="bins",
    )
    ax.plot(w[good], curve.smooth.value[good], color=style.BLUE, label="smooth curve, 68 % band")
    ax.fill_between(
        w[good],
        (curve.smooth - curve.smooth_uncertainty).value[good],
        (curve.smooth + curve.smooth_uncertainty).value[good],
        color=style.BLUE,
        alpha=0.25,
        lw=0,
    )
    if theory is not None:
        x = theory.wavelength.value
        inside = (x >= w[good].min()) & (x <= w[good].max())
        ax.plot(x[inside], theory.shift.value[inside], "--", color=style.ORANGE)
        ax.lines[-1].set_label(theory.label)
    ax.axhline(0, color=style.GREY, lw=0.6)
    ax.set_xlabel("wavelength in air (nm)")
    ax.set_ylabel("best focus (µm), + = farther from the objective")
    assumed = any(n.code == "color-focus.sign-assumed" for n in curve.notes)
    kind = "single spectrum, sign assumed" if assumed else "single spectrum"
    kind = "focus run" if curve.from_focus_run else kind
    style.entitle(ax, f"Color focus at f/{curve.focal_ratio:.1f}, {kind}")
    ax.legend(loc="best")
    return ax


def _draw_sizes(curve: Any, ax: Any) -> Any:
    """What one spectrum shows when its signs are open: how far out of focus each color is."""
    good = curve.used
    w = curve.wavelength.value[good]
    size, error = curve.defocus_size.value[good], curve.defocus_size_uncertainty.value[good]
    depth = 2 * w / 1000 * curve.focal_ratio**2
    ax.fill_between(w, 0, depth, color="#e8e8e8", lw=0, label="depth of focus 2λN²")
    ax.plot(w, size, color=style.BLUE, label="size of the defocus, 68 % band")
    low, high = np.clip(size - error, 0, None), size + error
    ax.fill_between(w, low, high, color=style.BLUE, alpha=0.25, lw=0)
    ax.set_ylim(bottom=0)
    ax.set_xlabel("wavelength in air (nm)")
    ax.set_ylabel("out of focus by (µm), side not known")
    style.entitle(ax, f"Single spectrum at f/{curve.focal_ratio:.1f}: signs not decided")
    ax.legend(loc="best")
    return ax

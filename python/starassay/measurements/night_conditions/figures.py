"""The figure of a night."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import numpy as np

from ...style import AMBER, BLUE, GREEN, GREY, INK, ORANGE, SKY, entitle, figure_style, new_axes


def draw_course(night: Any, ax: Any) -> Any:
    """Width of each frame against time, with level and trend."""
    with figure_style():
        ax = new_axes(ax, figsize=(7.2, 4.2))
        time, width = night.time.value, night.reduced_fwhm.value
        bar = night.reduced_fwhm_uncertainty.value
        raw = night.fwhm.value
        ax.plot(time, raw, ".", color=GREY, ms=4, label="as measured")
        line, band = night.curve.value, night.curve_uncertainty.value
        ax.fill_between(
            night.curve_time.value, line - band, line + band, color=SKY, alpha=0.4, linewidth=0
        )
        ax.plot(night.curve_time.value, line, color=BLUE, label="level and trend")
        best, trailed = night.flagged("best"), night.flagged("trailed")
        how = {"ms": 6, "elinewidth": 1.0, "capsize": 0}
        for select, color, mark, label in (
            (~best & ~trailed, INK, "o", "at the zenith, 500 nm"),
            (best & ~trailed, GREEN, "s", "best fifth"),
            (trailed, ORANGE, "X", "trailed"),
        ):
            use = select & np.isfinite(width)
            if use.any():
                ax.errorbar(
                    time[use], width[use], bar[use], fmt=mark, color=color, label=label, **how
                )
        for k, moment in enumerate(time[night.flagged("refocused")]):
            ax.axvline(
                moment, color=AMBER, ls=":", lw=1.4, label="focuser moved" if k == 0 else None
            )
        shown = np.r_[width[np.isfinite(width)], raw[np.isfinite(raw)]]
        ax.set(
            ylim=(0, 1.12 * shown.max()), xlabel=f"hours from {night.start.replace('T', ' ')} UTC"
        )
        ax.set_ylabel("FWHM (arcsec)")
        _clock(night, ax)
        ax.legend(loc="lower left", ncol=3, fontsize=8)
        said = f"FWHM {night.zenith_fwhm} at the zenith;\nbest frames {night.best_fwhm} as taken"
        entitle(ax, said, pad=10)
        return ax


def _clock(night: Any, ax: Any) -> None:
    """Full hours, or parts of them, of universal time along the top."""
    start = datetime.fromisoformat(night.start)
    # The first time is the middle of the first exposure; half an exposure does not show.
    low, high = ax.get_xlim()
    step = next(
        m for m in (5, 10, 15, 30, 60, 120, 240, 24 * 60, 1e9) if (high - low) * 60 / m <= 8
    )
    midnight = start.replace(hour=0, minute=0, second=0)
    into = (start - midnight) / timedelta(minutes=1)
    ticks = np.arange(np.ceil((into + 60 * low) / step), (into + 60 * high) / step) * step
    upper = ax.secondary_xaxis("top")
    upper.set_xticks((ticks - into) / 60)
    upper.set_xticklabels(
        [(midnight + timedelta(minutes=float(m))).strftime("%H:%M") for m in ticks]
    )
    upper.set_xlabel("UTC")
    ax.spines["top"].set_visible(True)
    ax.set_xlim(low, high)

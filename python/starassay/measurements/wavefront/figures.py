"""Figures of a fitted wavefront."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from astropy import units as u

from ... import style


def mode_name(name: str) -> str:
    """Name of a mode to be read: "astigmatism 45" is an angle, so it gets its sign."""
    return re.sub(r"(\d)$", "\\1°", str(name))


def draw_map(fit: Any, ax: Any) -> Any:
    """The wavefront map with its scale in nm."""
    pupil = fit.pupil
    with style.figure_style():
        ax = style.new_axes(ax, figsize=(5.4, 4.6))
        style.entitle(
            ax,
            f"RMS {fit.rms}, Strehl {fit.strehl} at {fit.wavelength.to_value(u.nm):.0f} nm",
            fontsize=9,
        )
    return pupil.plot(ax)


def draw_coefficients(fit: Any, ax: Any) -> Any:
    """The coefficients with their standard uncertainties."""
    with style.figure_style():
        ax = style.new_axes(ax, figsize=(7.0, 3.4))
        x = np.arange(len(fit.noll))
        ax.axhline(0, color=style.GREY, linewidth=0.8)
        ax.bar(x, fit.coefficient.to_value(u.nm), color=style.SKY)
        ax.errorbar(
            x,
            fit.coefficient.to_value(u.nm),
            yerr=fit.uncertainty.to_value(u.nm),
            fmt="none",
            ecolor=style.INK,
            capsize=2,
            linewidth=1,
        )
        # So many that their numbers do not touch.
        step = 1 + len(x) // 24
        ax.set_xticks(x[::step])
        ax.set_xticklabels([str(n) for n in fit.noll[::step]], fontsize=8)
        ax.set(xlabel="Noll index", ylabel="coefficient (nm RMS)")
        _name_shapes(fit, ax)
    return ax


def _name_shapes(fit: Any, ax: Any) -> None:
    """Names of the shapes at the bars that stand out of their uncertainty, the eight largest at most."""
    value, sigma = fit.coefficient.to_value(u.nm), fit.uncertainty.to_value(u.nm)
    telling = np.flatnonzero(np.abs(value) > 2 * sigma)
    largest = telling[np.argsort(-np.abs(value[telling]))][:8]
    for k in largest:
        up = value[k] >= 0
        ax.annotate(
            mode_name(fit.mode[k]),
            (k, value[k] + (sigma[k] if up else -sigma[k])),
            xytext=(0, 3 if up else -3),
            textcoords="offset points",
            rotation=90,
            ha="center",
            va="bottom" if up else "top",
            fontsize=8,
        )
    low, high = ax.get_ylim()
    room = 0.8 * (high - low)
    ax.set_ylim(
        low - (room if any(value[largest] < 0) else 0),
        high + (room if any(value[largest] >= 0) else 0),
    )


def draw_images(fit: Any) -> Any:
    """Observed, model and residual of every image."""
    import matplotlib.pyplot as plt

    with style.figure_style():
        rows = len(fit.images)
        figure, axes = plt.subplots(
            rows, 3, figsize=(8.6, 2.9 * rows), squeeze=False, layout="constrained"
        )
        for row, image in zip(axes, fit.images):
            top = float(np.percentile(image.model, 99.9))
            low = float(np.min(image.model))
            side = "inside" if image.distance.value < 0 else "outside"
            away = abs(image.distance.value.to_value(u.mm))
            heading = f"{side}, {abs(image.defocus_waves):.1f} waves, {away:.3g} mm"
            titles = (heading, "model", "residual")
            shown = (
                np.where(image.masked, np.nan, image.observed),
                image.model,
                np.where(image.masked, np.nan, image.residual),
            )
            for k, ax in enumerate(row):
                last = k == 2
                picture = ax.imshow(
                    shown[k],
                    origin="lower",
                    cmap=style.DIVERGING if last else style.IMAGE,
                    vmin=-4 if last else low,
                    vmax=4 if last else top,
                )
                ax.set_title(titles[k], fontsize=9)
                ax.tick_params(labelsize=7)
                bar = figure.colorbar(picture, ax=ax, shrink=0.8)
                bar.ax.tick_params(labelsize=7)
                bar.set_label("standard deviations" if last else "electrons", fontsize=7)
            row[0].set_ylabel("pixel y", fontsize=8)
        for ax in axes[-1]:
            ax.set_xlabel("pixel x", fontsize=8)
    return figure


def draw_views(fit: Any) -> Any:
    """Focused image, MTF, encircled energy, Ronchigram, knife edge and interferogram."""
    return fit.pupil.plot_views()


def camera_discs(fit: Any) -> Any:
    """The first pair as the camera saw it, in light of an even disc, and half of each picture's width in radii of the disc; None where
    the pixels' pitch is not known."""
    pitches = [frame.get("pitch", "") for frame in fit.conditions.get("frames", [])[:2]]
    asked = fit.conditions["request"].get("pitch_um")
    discs = []
    for image, pitch in zip(fit.images[:2], pitches):
        if asked is None and not pitch:
            return None
        step = u.Quantity(pitch) if asked is None else asked * u.um
        radius = (
            abs(image.distance.value) / (2 * fit.focal_ratio) / (step * image.binning)
        ).to_value(u.one)
        seen = np.where(image.masked, np.nan, image.observed) - image.background.value.value
        # Pixels that do not count are left dark; the star stands where its light has its middle.
        light = (
            np.nan_to_num(seen)
            / image.flux.value.value
            * np.pi
            * radius**2
            * float(np.mean(fit.map_open) * 4 / np.pi)
        )
        discs.append((light, len(light) / (2 * radius)))
    return tuple(discs) if len(discs) == 2 else None

"""Figures of simulated frames."""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u

from .. import _units, style
from ..imaging.frames import read_frame


def plot_defocused_pair(inside: Any, outside: Any, *, title: str = "") -> Any:
    """Draw a star inside and outside of focus side by side, in the same grey.

    Parameters
    ----------
    inside, outside : path, CCDData, array or Frame
        As `draw_defocused_pair` gives them, or real ones; see `read_frame`.
    title : str
        Over both.

    Returns
    -------
    matplotlib figure
        Two images, with micrometers on the sensor where the pixel pitch is known.
    """
    import matplotlib.pyplot as plt

    _units.text(title, "title")
    frames = [read_frame(one) for one in (inside, outside)]
    data = [np.where(f.mask, np.nan, f.data) if f.mask is not None else f.data for f in frames]
    low = min(float(np.nanpercentile(d, 5)) for d in data)
    high = max(float(np.nanpercentile(d, 99.9)) for d in data)
    with style.figure_style():
        figure, axes = plt.subplots(1, 2, figsize=(8.6, 4.0), layout="constrained")
        for ax, frame, pixels, side in zip(axes, frames, data, ("inside", "outside")):
            ny, nx = pixels.shape
            pitch = 1.0 if frame.pitch is None else float(frame.pitch.to_value(u.um))
            unit = "pix" if frame.pitch is None else "µm on the sensor"
            shown = ax.imshow(
                pixels,
                cmap=style.IMAGE,
                vmin=low,
                vmax=max(high, low + 1e-9),
                extent=(-nx / 2 * pitch, nx / 2 * pitch, -ny / 2 * pitch, ny / 2 * pitch),
            )
            place = frame.focus_position
            at = ""
            if place is not None and place.unit.is_equivalent(u.mm):
                at = f", {place.to_value(u.mm):+.2f} mm"
            ax.set(xlabel=f"x ({unit})", ylabel=f"y ({unit})", title=f"{side} focus{at}")
        figure.colorbar(shown, ax=axes, shrink=0.85, label="adu")
        if title:
            figure.suptitle(title)
    return figure

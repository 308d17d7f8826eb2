"""Maps of the wavefront over the sensor."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...style import (
    BLUE,
    GREY,
    ORANGE,
    SEQUENTIAL,
    figure_style,
    round_length,
    sensor_axes,
    sensor_bar,
)
from .. import _sensor_maps

# The result, which draws with these functions: a module of its own kind would be a circle of imports.
WavefrontField = Any

# Arrows and sticks across the sensor.
_ACROSS = 9


def _lines(found: WavefrontField, ax: Any, law: Any, own: Any, heads: bool) -> Any:
    """Arrows or sticks of the law over those of the stars, a length of reference beside them."""
    ax, (wide, high) = sensor_axes(ax, (found.width, found.height), found.pitch.value)
    x, y = _sensor_maps.places(found, _ACROSS, max(3, round(_ACROSS * high / wide)), 0.06)
    at = law(x, y)
    largest = max(float(np.abs(at).max()), 1e-9)
    per_mm = largest / (0.95 * wide / _ACROSS)
    how: dict[str, Any] = {"angles": "xy", "scale_units": "xy", "scale": per_mm, "pivot": "mid"}
    head: dict[str, Any] = (
        {"headwidth": 4.5, "headlength": 5.0, "headaxislength": 4.5}
        if heads
        else {"headwidth": 0, "headlength": 0, "headaxislength": 0}
    )
    places = _sensor_maps.in_mm(found, found.x.value, found.width), _sensor_maps.in_mm(
        found, found.y.value, found.height
    )
    ax.quiver(*places, own.real, own.imag, color=GREY, width=0.003, **how, **head)
    drawn = ax.quiver(
        _sensor_maps.in_mm(found, x, found.width),
        _sensor_maps.in_mm(found, y, found.height),
        at.real,
        at.imag,
        color=BLUE,
        width=0.006,
        **how,
        **head,
    )
    key = round_length(largest)
    ax.quiverkey(drawn, 0.9, 1.04, key, f"{key:g} nm RMS", labelpos="W", color=BLUE)
    return ax


def coma(found: WavefrontField, ax: Any = None) -> Any:
    """Coma over the sensor as arrows that point where the flare of a star in focus points.

    Parameters
    ----------
    found : WavefrontField
        The result.
    ax : matplotlib axes, optional
        Where to draw.
    """
    with figure_style():
        # A ray lands at -2 N dW/du: the flare lies opposite to where the wave is ahead.
        own = -(found.coefficient[:, 3] + 1j * found.coefficient[:, 2]).value
        ax = _lines(found, ax, lambda x, y: -found.coma_at(x, y).value, own, heads=True)
        if np.isfinite(found.coma_node_x.value):
            ax.plot(
                found.coma_node_x.value.value,
                found.coma_node_y.value.value,
                "x",
                color=ORANGE,
                ms=9,
                mew=2,
            )
        ax.set_title("Coma", loc="left")
        return ax


def astigmatism(found: WavefrontField, ax: Any = None) -> Any:
    """Astigmatism over the sensor as sticks along the long side of a star a little outside of focus.

    Parameters
    ----------
    found : WavefrontField
        The result.
    ax : matplotlib axes, optional
        Where to draw.
    """

    def sticks(value: Any) -> Any:
        return np.abs(value) * np.exp(0.5j * np.angle(value))

    with figure_style():
        own = sticks((found.coefficient[:, 1] + 1j * found.coefficient[:, 0]).value)
        ax = _lines(
            found, ax, lambda x, y: sticks(found.astigmatism_at(x, y).value), own, heads=False
        )
        ax.plot(found.node_x.value, found.node_y.value, "x", color=ORANGE, ms=9, mew=2)
        ax.set_title("Astigmatism", loc="left")
        return ax


def rms(found: WavefrontField, ax: Any = None) -> Any:
    """Wavefront error over the sensor, with the place where it is best.

    Parameters
    ----------
    found : WavefrontField
        The result.
    ax : matplotlib axes, optional
        Where to draw.
    """
    with figure_style():
        x, y = _sensor_maps.places(found, 81, 61)
        values = found.rms_at(x, y).value
        ax, shade = _sensor_maps.draw_map(found, ax, values, cmap=SEQUENTIAL, vmin=0)
        _sensor_maps.draw_contours(
            found, ax, x, y, values, round_length(max(np.ptp(values), 1.0) / 4)
        )
        ax.plot(
            _sensor_maps.in_mm(found, found.best_x.value, found.width),
            _sensor_maps.in_mm(found, found.best_y.value, found.height),
            "x",
            color=ORANGE,
            ms=10,
            mew=2.5,
        )
        sensor_bar(ax, shade, f"wavefront error, RMS (nm at {found.wavelength.value:.0f} nm)")
        ax.set_title(f"Wavefront error with focus: {found.rms_sensor}")
        return ax

"""Maps of the wavefront over the sensor."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...style import (
    BLUE,
    DIVERGING,
    GREY,
    INK,
    ORANGE,
    SEQUENTIAL,
    figure_style,
    sensor_axes,
    sensor_bar,
)

# The result, which draws with these functions: a module of its own kind would be a circle of imports.
WavefrontField = Any

# Arrows and sticks across the sensor.
_ACROSS = 9

# Where the words about an edge stand: place as a share of the axes, alignment, rotation.
_EDGES: dict[str, tuple[float, float, float]] = {
    "right": (0.975, 0.5, 90.0),
    "left": (0.025, 0.5, 90.0),
    "upper": (0.5, 0.965, 0.0),
    "lower": (0.5, 0.035, 0.0),
}


def step_of(value: float) -> float:
    """A length of 1, 2 or 5 times a power of ten, not above the value."""
    power = 10.0 ** np.floor(np.log10(max(value, 1e-9)))
    return float(max(k * power for k in (1, 2, 5) if k * power <= max(value, power)))


def _mm(found: WavefrontField, pixels: Any, count: int) -> Any:
    return (np.asarray(pixels) - (count - 1) / 2) * found.pitch.value / 1000


def _grid(found: WavefrontField, across: int, up: int, inset: float) -> tuple[Any, Any]:
    """Columns and rows of places over the sensor."""
    x = np.linspace(inset, 1 - inset, across) * (found.width - 1)
    y = np.linspace(inset, 1 - inset, up) * (found.height - 1)
    columns, rows = np.meshgrid(x, y)
    return columns, rows


def _map(found: WavefrontField, ax: Any, values: Any, **how: Any) -> tuple[Any, Any]:
    ax, (wide, high) = sensor_axes(ax, (found.width, found.height), found.pitch.value)
    rim = (-wide / 2, wide / 2, -high / 2, high / 2)
    return ax, ax.imshow(values, origin="lower", extent=rim, interpolation="bilinear", **how)


def _contours(found: WavefrontField, ax: Any, x: Any, y: Any, values: Any, step: float) -> None:
    low, high = np.floor(values.min() / step), np.ceil(values.max() / step)
    lines = ax.contour(
        _mm(found, x, found.width),
        _mm(found, y, found.height),
        values,
        levels=np.arange(low, high + 1) * step,
        colors=INK,
        linewidths=0.7,
    )
    ax.clabel(lines, fmt="%g", fontsize=8)


def focus(found: WavefrontField, ax: Any = None) -> Any:
    """Best focus over the sensor, and which edge has to move by how much.

    Parameters
    ----------
    found : WavefrontField
        The result.
    ax : matplotlib axes, optional
        Where to draw.
    """
    with figure_style():
        x, y = _grid(found, 81, 61, 0.0)
        z = found.focus_at(x, y).value
        reach = max(np.abs(z).max(), found.depth_of_focus.value)
        how: dict[str, Any] = {"cmap": DIVERGING, "vmin": -reach, "vmax": reach}
        ax, shade = _map(found, ax, z, **how)
        _contours(found, ax, x, y, z, step_of(reach / 4))
        ax.scatter(
            _mm(found, found.x.value, found.width),
            _mm(found, found.y.value, found.height),
            c=found.star_focus.value,
            s=22,
            edgecolors=INK,
            linewidths=0.4,
            **how,
        )
        for side, shim in found.shims():
            at_x, at_y, turn = _EDGES[side]
            ax.text(
                at_x,
                at_y,
                f"too near: shim {shim:.0f} um",
                transform=ax.transAxes,
                ha="center",
                va="center",
                rotation=turn,
                fontsize=9,
                fontweight="bold",
                bbox={"facecolor": "white", "edgecolor": INK, "linewidth": 0.6, "pad": 2.0},
            )
        sensor_bar(ax, shade, "best focus, from that of the middle (um)")
        ax.set_title(
            f"Best focus: tilt {found.sensor_tilt}, corners {found.curvature_sag}\n"
            f"from the middle; depth of focus ±{found.depth_of_focus.value:.0f} um"
        )
        return ax


def _lines(found: WavefrontField, ax: Any, law: Any, own: Any, heads: bool) -> Any:
    """Arrows or sticks of the law over those of the stars, a length of reference beside them."""
    ax, (wide, high) = sensor_axes(ax, (found.width, found.height), found.pitch.value)
    x, y = _grid(found, _ACROSS, max(3, round(_ACROSS * high / wide)), 0.06)
    at = law(x, y)
    largest = max(float(np.abs(at).max()), 1e-9)
    per_mm = largest / (0.95 * wide / _ACROSS)
    how: dict[str, Any] = {"angles": "xy", "scale_units": "xy", "scale": per_mm, "pivot": "mid"}
    head: dict[str, Any] = (
        {"headwidth": 4.5, "headlength": 5.0, "headaxislength": 4.5}
        if heads
        else {"headwidth": 0, "headlength": 0, "headaxislength": 0}
    )
    places = _mm(found, found.x.value, found.width), _mm(found, found.y.value, found.height)
    ax.quiver(*places, own.real, own.imag, color=GREY, width=0.003, **how, **head)
    drawn = ax.quiver(
        _mm(found, x, found.width),
        _mm(found, y, found.height),
        at.real,
        at.imag,
        color=BLUE,
        width=0.006,
        **how,
        **head,
    )
    key = step_of(largest)
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
        x, y = _grid(found, 81, 61, 0.0)
        values = found.rms_at(x, y).value
        ax, shade = _map(found, ax, values, cmap=SEQUENTIAL, vmin=0)
        _contours(found, ax, x, y, values, step_of(max(np.ptp(values), 1.0) / 4))
        ax.plot(
            _mm(found, found.best_x.value, found.width),
            _mm(found, found.best_y.value, found.height),
            "x",
            color=ORANGE,
            ms=10,
            mew=2.5,
        )
        sensor_bar(ax, shade, f"wavefront error, RMS (nm at {found.wavelength.value:.0f} nm)")
        ax.set_title(f"Wavefront error with focus: {found.rms_sensor}")
        return ax

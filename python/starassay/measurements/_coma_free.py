"""Where coma vanishes on the sensor: words and a map, for every measurement that tells it."""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u

from .. import style
from ._ways import opposite, way
from ..style import BLUE, GREY, INK, ORANGE, round_length, sensor_axes

#: Two components: a share p lies within sqrt(-2 ln(1 - p)) standard deviations.
SHARES = (0.68, 0.95)


def place(point: Any) -> str:
    """What is told of the place, one sentence.

    Parameters
    ----------
    point : ComaFreePoint
        By stars alone or by theory.
    """
    if point.verdict == "told":
        toward = (
            f", toward {_angle(point)} ({way(point.direction.value)})"
            if np.isfinite(point.direction.value)
            else ""
        )
        return (
            f"The coma-free axis meets the sensor {mm(point.distance)} from its middle{toward}, at column {point.column} and row "
            f"{point.row}: {100 * point.share} % of the way to the corner."
        )
    least = ""
    if point.at_least > 0 * u.um:
        least = (
            f"at least {point.at_least.to_value(u.mm):.3g} mm from the middle (95 %), toward {_angle(point)} "
            f"({way(point.direction.value)})"
        )
        least += ", or as far the opposite way" if point.either_way else ""
    if point.verdict == "outside":
        return f"The coma-free axis passes beside the sensor: {least}. {point.reason}"
    if least:
        return f"Where the coma-free axis meets the sensor is not decided; {least}. {point.reason}"
    return f"Where the coma-free axis meets the sensor is not decided. {point.reason}"


def turning(point: Any, mirror_turn: Any = None) -> str:
    """Which way to turn until the place comes to the middle; empty where nothing stands out.

    Parameters
    ----------
    point : ComaFreePoint
        The one that is used.
    mirror_turn : Measured, optional
        Angle of a single paraboloid.
    """
    if point.verdict == "not-told":
        return ""
    if not np.isfinite(point.direction.value) or not (
        point.verdict == "outside" or point.distance.value > 2 * point.distance.uncertainty
    ):
        return "It lies in the middle within its bars: there is nothing to turn by these data."
    away = opposite(point.direction.value)
    toward = f"{away.value:.0f} deg in the image ({way(away)})"
    if mirror_turn is not None and np.isfinite(mirror_turn.value):
        return (
            f"Which way to turn: turn the main mirror by {mirror_turn} so that the stars move toward {toward}, away from that place, by "
            "twice its distance; it comes to the middle. Bring the field back with the mount and measure again."
        )
    if point.either_way:
        return (
            "Which way to turn: not told, since the sign of the growth is open. Turn one screw a little, bring the field back with the "
            "mount, measure again, and go on or back by what the coma in the middle does."
        )
    return (
        f"Which way to turn: the place has to come to the middle. For a mirror telescope the screw that moves the stars toward {toward}, away "
        "from it, makes it better (common practice, no source; for a paraboloid it follows from its coma); of a lens it is not told. Bring the "
        "field back with the mount and measure again; if the place went farther away, turn the other way."
    )


def row(name: str, point: Any) -> tuple[str, str, str, str]:
    """A row of a short table: whose, place, distance, growth.

    Parameters
    ----------
    name : str
        What it rests on.
    point : ComaFreePoint
        The place.
    """
    if point.verdict == "told":
        where, far = f"({mm(point.x)}, {mm(point.y)})", str(mm(point.distance))
    else:
        words = {"outside": "beside the sensor", "not-told": "not decided"}
        far = (
            f"at least {point.at_least.to_value(u.mm):.3g} mm" if point.at_least > 0 * u.um else "-"
        )
        where = words[point.verdict]
    return name, where, far, str(point.slope)


#: Above such rows.
HEAD = ("coma grows as", "place from the middle", "distance", "growth")


def mm(value: Any) -> Any:
    """A measured length in mm.

    Parameters
    ----------
    value : Measured
        In any length.
    """
    return value.to(u.mm)


def _angle(point: Any) -> str:
    return str(point.direction)


def draw(
    found: Any,
    point: Any,
    law: tuple[complex, float],
    stars: tuple[Any, Any, Any],
    ax: Any = None,
) -> Any:
    """The sensor with arrows of coma, the place without it and its ellipses.

    Parameters
    ----------
    found : Result
        With width, height and pitch.
    point : ComaFreePoint
        The place.
    law : tuple
        Noll 8 + i Noll 7 in the middle, nm, and its growth, nm per mm.
    stars : tuple of ndarray
        Places of the stars in mm from the middle, and their coma, complex, nm.
    ax : matplotlib axes, optional
        Where to draw.
    """
    with style.figure_style():
        ax, (wide, high) = sensor_axes(ax, (found.width, found.height), found.pitch.value)
        across, up = 7, max(3, round(7 * high / wide))
        x, y = np.meshgrid(
            wide * (np.linspace(0.1, 0.9, across) - 0.5),
            high * (np.linspace(0.1, 0.9, up) - 0.5),
        )
        at = -(law[0] + law[1] * (x + 1j * y))
        own = -np.asarray(stars[2])
        largest = max(float(np.abs(at).max()), float(np.abs(own).max(initial=0)), 1e-9)
        how: dict[str, Any] = {
            "angles": "xy",
            "scale_units": "xy",
            "scale": largest / (0.75 * wide / across),
            "pivot": "tail",
        }
        ax.quiver(x, y, at.real, at.imag, color=GREY, width=0.0035, alpha=0.75, **how)
        drawn = ax.quiver(stars[0], stars[1], own.real, own.imag, color=BLUE, width=0.005, **how)
        ax.plot(stars[0], stars[1], "o", color=BLUE, ms=3.5)
        key = round_length(largest)
        ax.quiverkey(drawn, 0.9, 1.04, key, f"{key:g} nm RMS", labelpos="W", color=BLUE)
        frame = [(-wide / 2, wide / 2), (-high / 2, high / 2)]
        ax.plot(0, 0, "+", color=INK, ms=11, mew=1.3)
        if point.verdict == "told":
            _ellipses(ax, point, frame)
        elif np.isfinite(point.direction.value) and point.at_least > 0 * u.um:
            _toward(ax, point, min(wide, high))
        ax.plot(
            *zip(*[(sx * wide / 2, sy * high / 2) for sx, sy in _CORNERS]),
            color=INK,
            linewidth=0.9,
        )
        room = 0.03 * wide
        ax.set(
            xlim=(frame[0][0] - room, frame[0][1] + room),
            ylim=(frame[1][0] - room, frame[1][1] + room),
        )
        ax.set_title(_title(point), loc="left")
        return ax


_CORNERS = ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))


def _title(point: Any) -> str:
    if point.verdict == "told":
        return f"No coma {mm(point.distance)} from the middle"
    if point.at_least > 0 * u.um:
        return f"No coma at least {point.at_least.to_value(u.mm):.3g} mm away"
    return "Place without coma: not decided"


def _ellipses(ax: Any, point: Any, frame: list[tuple[float, float]]) -> None:
    x, y = (float(v.value.to_value(u.mm)) for v in (point.x, point.y))
    long, short = (float(v.to_value(u.mm)) for v in (point.ellipse_long, point.ellipse_short))
    t, turn = np.linspace(0, 2 * np.pi, 181), float(point.ellipse_angle.to_value(u.rad))
    for share, width in zip(SHARES, (1.8, 1.0)):
        reach = np.sqrt(-2 * np.log(1 - share))
        e = (long * np.cos(t) + 1j * short * np.sin(t)) * reach * np.exp(1j * turn)
        ax.plot(x + e.real, y + e.imag, color=ORANGE, linewidth=width)
        frame[0] = (min(frame[0][0], (x + e.real).min()), max(frame[0][1], (x + e.real).max()))
        frame[1] = (min(frame[1][0], (y + e.imag).min()), max(frame[1][1], (y + e.imag).max()))
    ax.plot(x, y, "x", color=ORANGE, ms=9, mew=2)
    if 40 * long < frame[0][1] - frame[0][0]:
        _enlarged(ax, x, y, (long, short, turn))


def _enlarged(ax: Any, x: float, y: float, ellipse: tuple[float, float, float]) -> None:
    """Ellipses too small to be seen, in a corner of the sensor away from the place, in um."""
    corner = (0.76 if x < 0 else 0.05, 0.66 if y < 0 else 0.08)
    small = ax.inset_axes((*corner, 0.19, 0.26))
    long, short, turn = (1000 * ellipse[0], 1000 * ellipse[1], ellipse[2])
    t = np.linspace(0, 2 * np.pi, 181)
    for share, width in zip(SHARES, (1.8, 1.0)):
        reach = np.sqrt(-2 * np.log(1 - share))
        e = (long * np.cos(t) + 1j * short * np.sin(t)) * reach * np.exp(1j * turn)
        small.plot(e.real, e.imag, color=ORANGE, linewidth=width, label=f"{100 * share:.0f} %")
    small.plot(0, 0, "x", color=ORANGE, ms=7, mew=1.6)
    far = 3.4 * long
    small.set(xlim=(-far, far), ylim=(-far, far), aspect="equal")
    small.set_title("enlarged (um)", fontsize=8, fontweight="normal")
    small.tick_params(labelsize=7)


def _toward(ax: Any, point: Any, size: float) -> None:
    turn = float(point.direction.value.to_value(u.rad))
    for sign in (1, -1) if point.either_way else (1,):
        tip = (sign * 0.46 * size * np.cos(turn), sign * 0.46 * size * np.sin(turn))
        how = {"arrowstyle": "-|>", "color": ORANGE, "lw": 2.2, "linestyle": "--"}
        ax.annotate("", tip, (0, 0), arrowprops=how)

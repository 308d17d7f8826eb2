"""What measurements of best focus over the sensor share: the tilt and what cures it, the bowl, the map."""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u

from .._records import Quantity
from ..results import Measured, Remedy
from ..style import DIVERGING, INK, figure_style, round_length, sensor_bar
from . import _sensor_maps

# Where the words about an edge stand: place as a share of the axes, rotation.
_EDGES: dict[str, tuple[float, float, float]] = {
    "right": (0.975, 0.5, 90.0),
    "left": (0.025, 0.5, 90.0),
    "upper": (0.5, 0.965, 0.0),
    "lower": (0.5, 0.035, 0.0),
}


_WORTH = 0.1

# Ends of the names of quantities that a level sensor makes better.
_LEVELED = ("sensor_tilt", "focus_spread", "field_wavefront_rms")


class FocusPlane:
    """For results with a tilted bowl of best focus over the sensor."""

    tilt_across_width: Measured
    tilt_across_height: Measured
    sensor_tilt: Measured
    tilt_angle: Measured
    curvature_sag: Measured
    curvature_radius: Measured
    depth_of_focus: u.Quantity
    quantities: tuple[Quantity, ...]
    width: int
    height: int

    def field(self, x: Any, y: Any) -> tuple[Any, Any]:
        """Places as the bowl counts them: from the sensor's middle over half its diagonal.

        Parameters
        ----------
        x, y : array-like
            Columns and rows, from 0.

        Returns
        -------
        tuple of ndarray
            u to the right, v up.
        """
        half = 0.5 * np.hypot(self.width, self.height)
        across = (np.asarray(x, dtype=float) - (self.width - 1) / 2) / half
        return across, (np.asarray(y, dtype=float) - (self.height - 1) / 2) / half

    def shims(self) -> list[tuple[str, float]]:
        """Edges that have to move away from the objective against the opposite one, and by how much, um."""
        found = []
        for value, plus, minus in (
            (self.tilt_across_width, "right", "left"),
            (self.tilt_across_height, "upper", "lower"),
        ):
            if abs(value.value) > 2 * value.uncertainty:
                found.append((plus if value.value > 0 else minus, float(abs(value.value.value))))
        return found

    def cure(self) -> str:
        """Which edges have to move, in words."""
        parts = [f"the {side} edge {abs(value):.0f} um" for side, value in self.shims()]
        if not parts:
            return "not told from a level sensor"
        return f"to level it, move {' and '.join(parts)} farther from the objective"

    def remedies(self) -> list[Remedy]:
        """The shims that level the sensor."""
        tilt = self.sensor_tilt
        # A tenth of the depth of focus is not worth a shim (a judgment, no source).
        worth = tilt.value > _WORTH * self.depth_of_focus
        if not self.shims() or not tilt.value > 3 * tilt.uncertainty or not worth:
            return []
        return [
            Remedy(
                "the sensor's tilt",
                "user",
                tilt,
                f"Sensor tilt {tilt} from corner to corner ({self.tilt_angle}); {self.cure()}, by the screws meant for it "
                "or by shims between camera and adapter. The amounts are those at the sensor's edges: a shim farther "
                "from its middle is thicker in proportion. Right and upper are the image's: with the camera off the telescope "
                "and a card over one half of its opening, the darker side of a frame is that half. Measure again with the "
                "camera turned by half a turn: a tilt that stays with the tube is the focuser's.",
                mends=tuple(q.name for q in self.quantities if q.name.endswith(_LEVELED)),
                defocus=float(tilt.value.to_value("um")) / 2,
            )
        ]

    def plane_sentences(self) -> list[str]:
        """The tilt with what cures it, and the curvature."""
        bent = abs(self.curvature_sag.value) > 2 * self.curvature_sag.uncertainty
        towards = "away from" if self.curvature_sag.value > 0 else "towards"
        return [
            f"Sensor tilt {self.sensor_tilt} from corner to corner ({self.tilt_angle}); {self.cure()}.",
            f"Field curvature: the corners focus {self.curvature_sag} from the middle"
            + (
                f", bent {towards} the objective with a radius of {self.curvature_radius}."
                if bent
                else "; not told from flat."
            ),
        ]


def draw_focus(found: Any, law: Any, stars: tuple[Any, Any, Any], ax: Any = None) -> Any:
    """Best focus over the sensor, and which edge has to move by how much.

    Parameters
    ----------
    found : FocusPlane
        The result.
    law : callable
        Best focus from that of the middle, um, at columns and rows.
    stars : tuple of array-like
        Columns, rows and best focus from that of the middle, um, of single stars.
    ax : matplotlib axes, optional
        Where to draw; a new figure by default.

    Returns
    -------
    matplotlib axes
        What was drawn on.
    """
    with figure_style():
        x, y = _sensor_maps.places(found, 81, 61)
        z = law(x, y)
        reach = max(np.abs(z).max(), found.depth_of_focus.value)
        how: dict[str, Any] = {"cmap": DIVERGING, "vmin": -reach, "vmax": reach}
        ax, shade = _sensor_maps.draw_map(found, ax, z, **how)
        _sensor_maps.draw_contours(found, ax, x, y, z, round_length(reach / 4))
        ax.scatter(
            _sensor_maps.in_mm(found, stars[0], found.width),
            _sensor_maps.in_mm(found, stars[1], found.height),
            c=stars[2],
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

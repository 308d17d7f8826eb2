"""The focus surface, and how it tells itself."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from astropy.table import QTable

from ... import _records
from ...results import Picture, Result, Sheet
from ...style import (
    BLUE,
    DIVERGING,
    GREY,
    INK,
    ORANGE,
    figure_style,
    new_axes,
    round_length,
    sensor_axes,
    sensor_bar,
)


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class FocusSurface(Result, _records.FocusSurfaceResult):
    """Best focus over the sensor; its attributes are those of the engine's record."""

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        return f"Focus surface from {int((self.frame_stars > 0).sum())} frames"

    @property
    def table(self) -> QTable:
        """One row a star: place, its own best focus with uncertainty, and the surface there."""
        names = "x y star_focus star_focus_uncertainty surface".split()
        return QTable({name: getattr(self, name) for name in names})

    def at(self, x: Any, y: Any) -> Any:
        """The surface at pixels.

        Parameters
        ----------
        x, y : array-like
            Columns and rows, from 0.

        Returns
        -------
        Quantity
            Sensor position at which stars there are smallest.
        """
        half = 0.5 * np.hypot(self.width, self.height)
        across, up = (np.asarray(x, dtype=float) - (self.width - 1) / 2) / half, (
            np.asarray(y, dtype=float) - (self.height - 1) / 2
        ) / half
        c = self.coefficients
        return c[0] + c[1] * across + c[2] * up + c[3] * (across**2 + up**2)

    def sentences(self) -> list[str]:
        """Tilt with what cures it, curvature, and what of the sensor is sharp at once."""
        said = [
            f"Sensor tilt {self.sensor_tilt} from corner to corner ({self.tilt_angle}); {self._cure()}."
        ]
        bent = abs(self.curvature_sag.value) > 2 * self.curvature_sag.uncertainty
        towards = "away from" if self.curvature_sag.value > 0 else "towards"
        said.append(
            f"Field curvature: the corners focus {self.curvature_sag} from the middle"
            + (
                f", bent {towards} the objective with a radius of {self.curvature_radius}."
                if bent
                else "; not told from flat."
            )
        )
        level = round(100 * self.in_focus_share_level)
        said.append(
            f"With a depth of focus of {self.depth_of_focus.value:.0f} um to either side, "
            f"{100 * self.in_focus_share:.0f} % of the sensor are sharp at once, at {self.best_position.value:.0f} um; "
            f"{level} % with the tilt cured."
        )
        if np.isfinite(self.backlash.value):
            said.append(f"Backlash of the focuser {self.backlash}.")
        return said

    def _cure(self) -> str:
        """Which edges have to move, in words."""
        parts = []
        for value, plus, minus in (
            (self.tilt_across_width, "right", "left"),
            (self.tilt_across_height, "upper", "lower"),
        ):
            if abs(value.value) > 2 * value.uncertainty:
                side = plus if value.value > 0 else minus
                parts.append(f"the {side} edge {abs(value.value.value):.0f} um")
        if not parts:
            return "not told from a level sensor"
        return f"to level it, move {' and '.join(parts)} farther from the objective"

    def sheets(self) -> list[Sheet]:
        """Best focus in the middle and at the rim."""
        w, h = self.width - 1, self.height - 1
        middle = self.at(w / 2, h / 2)
        places = (
            ("middle", w / 2, h / 2),
            ("left edge", 0, h / 2),
            ("right edge", w, h / 2),
            ("lower edge", w / 2, 0),
            ("upper edge", w / 2, h),
            ("lower left", 0, 0),
            ("lower right", w, 0),
            ("upper left", 0, h),
            ("upper right", w, h),
        )
        rows = []
        for name, x, y in places:
            z = self.at(x, y)
            rows.append((name, f"{z.value:.0f}", f"{(z - middle).value:+.0f}"))
        head = ("place (x right, y up)", "best focus (um)", "from the middle (um)")
        return [Sheet("Best focus over the sensor", head, tuple(rows), 1)]

    def figures(self) -> list[Picture]:
        """The surface over the sensor, and the blur of the run."""
        return [
            Picture(
                self.plot,
                "Best focus over the sensor against that of the middle: lines are the surface, dots single stars. "
                "Warm colors focus farther from the objective.",
                f"Map of best focus: tilt {self.sensor_tilt}, corners {self.curvature_sag} from the middle",
            ),
            Picture(
                self.plot_run,
                "Half-flux radius of the stars in each frame, and the fit's.",
                f"Blur of {len(self.positions)} frames through focus, best at {self.best_focus}",
                "half",
            ),
        ]

    def plot(self, ax: Any = None) -> Any:
        """Best focus over the sensor.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        with figure_style():
            ax, (wide, high) = sensor_axes(ax, (self.width, self.height), self.pitch.value)
            columns, rows = np.linspace(0, self.width - 1, 81), np.linspace(0, self.height - 1, 61)
            middle = self.at((self.width - 1) / 2, (self.height - 1) / 2)
            z = (self.at(columns[None, :], rows[:, None]) - middle).value
            own = (self.star_focus - middle).value
            sure = np.isfinite(own) & (self.star_focus_uncertainty < 2 * self.depth_of_focus)
            reach = max(np.abs(z).max(), self.depth_of_focus.value)

            def mm(pixels: Any, count: int) -> Any:
                return (np.asarray(pixels) - (count - 1) / 2) * self.pitch.value / 1000

            x, y = mm(columns, self.width), mm(rows, self.height)
            how: dict[str, Any] = {"cmap": DIVERGING, "vmin": -reach, "vmax": reach}
            rim = (-wide / 2, wide / 2, -high / 2, high / 2)
            shade = ax.imshow(z, origin="lower", extent=rim, interpolation="bilinear", **how)
            step = round_length(reach / 4)
            levels = np.arange(-np.ceil(reach / step), np.ceil(reach / step) + 1) * step
            lines = ax.contour(x, y, z, levels=levels, colors=INK, linewidths=0.7)
            ax.clabel(lines, fmt="%g", fontsize=8)
            ax.scatter(
                mm(self.x.value[sure], self.width),
                mm(self.y.value[sure], self.height),
                c=own[sure],
                s=22,
                edgecolors=INK,
                linewidths=0.4,
                **how,
            )
            sensor_bar(ax, shade, "best focus, from that of the middle (um)")
            depth = self.depth_of_focus.value
            ax.set_title(
                f"Best focus: tilt {self.sensor_tilt}, corners {self.curvature_sag}\n"
                f"from the middle; depth of focus ±{depth:.0f} um"
            )
            return ax

    def plot_run(self, ax: Any = None) -> Any:
        """Blur of each frame against its position.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        with figure_style():
            ax = new_axes(ax, figsize=(5.0, 3.6))
            order = np.argsort(self.positions.value)
            where = self.positions.value[order]
            z = self.at(
                np.array([0, self.width - 1])[None, :], np.array([0, self.height - 1])[:, None]
            )
            low, high = (
                min(z.min(), self.best_focus.value).value,
                max(z.max(), self.best_focus.value).value,
            )
            ax.axvspan(
                low, high, color=GREY, alpha=0.25, linewidth=0, label="best focus, all places"
            )
            ax.axvline(self.best_focus.value.value, color=ORANGE, label="in the middle")
            ax.plot(where, self.frame_model.value[order], color=BLUE, label="fit")
            ax.plot(where, self.frame_hfr.value[order], "o", color=INK, label="median of the stars")
            ax.set(xlabel="position of the sensor (um)", ylabel="half-flux radius (um)")
            ax.set_ylim(bottom=0)
            ax.set_title("Blur through focus")
            ax.legend(loc="best", fontsize=8)
            return ax

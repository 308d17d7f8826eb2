"""Lateral color, and how it tells itself."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np

from ... import _records
from ...results import Picture, Result, Sheet
from ...style import (
    BLUE,
    GREEN,
    GREY,
    INK,
    ORANGE,
    CYCLE,
    figure_style,
    new_axes,
    round_length,
    sensor_axes,
)

if TYPE_CHECKING:
    from astropy.table import QTable

_COLORS = {"red": ORANGE, "r": ORANGE, "green": GREEN, "g": GREEN, "blue": BLUE, "b": BLUE}


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class LateralColor(Result, _records.LateralColorResult):
    """Lateral color; its attributes are those of the engine's record."""

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        return f"Lateral color, {', '.join(c.color for c in self.colors)}"

    @property
    def table(self) -> QTable:
        """One row a star and pair of colors: place and offset, constant and turn taken off."""
        from astropy.table import QTable

        names = "pair x y offset_x offset_y offset_uncertainty used".split()
        return QTable({name: getattr(self, name) for name in names})

    def sentences(self) -> list[str]:
        """The corners, each pair, and what shifts the whole image."""
        more = []
        if np.isfinite(self.lateral_color_angle.value.value):
            more.append(str(self.lateral_color_angle))
        if np.isfinite(self.airy_share):
            more.append(f"{100 * self.airy_share:.0f} % of the Airy disc's diameter")
        beside = f" ({', '.join(more)})" if more else ""
        said = [
            f"Lateral color at the corners of the sensor {self.lateral_color}{beside}, {self.worst_pair}."
        ]
        for pair in self.pairs:
            if abs(pair.corner.value) < 2 * pair.corner.uncertainty:
                said.append(
                    f"The image in {pair.color} is not told from that in {pair.against} in size "
                    f"({pair.corner} at the corners)."
                )
            else:
                word = "larger" if pair.corner.value > 0 else "smaller"
                said.append(
                    f"The image in {pair.color} is {word} than in {pair.against}: {pair.corner} at the corners, "
                    f"{pair.corner_in_pixels}, from {pair.stars} stars."
                )
        return said

    def sheets(self) -> list[Sheet]:
        """Each pair of colors, and the size of stars in each color."""
        rows = [
            (
                f"{p.color} - {p.against}",
                str(p.stars),
                _with(p.corner_in_pixels, 3),
                _with(p.scale_difference, 1),
                _with(p.third_order, 3),
                f"{_with(p.decenter_x, 3)}, {_with(p.decenter_y, 3)}",
                f"{_with(p.shift_x, 2)}, {_with(p.shift_y, 2)}",
            )
            for p in self.pairs
        ]
        head = (
            "colors",
            "stars",
            "corner (pix)",
            "scale (1e-6)",
            "of it third order (pix)",
            "decentered x, y (pix)",
            "shift x, y (pix)",
        )
        sizes = [
            (c.color, f"{c.wavelength.value:.0f}", str(c.stars), f"{c.hfr.value:.2f}")
            for c in self.colors
        ]
        return [
            Sheet("Offset of one color against another", head, tuple(rows), 1),
            Sheet(
                "Stars of each color",
                ("color", "wavelength (nm)", "stars", "half-flux radius (pix)"),
                tuple(sizes),
                1,
            ),
        ]

    def figures(self) -> list[Picture]:
        """The offsets over the sensor, and their radial part."""
        said = f"lateral color {self.lateral_color} at the corners"
        return [
            Picture(
                self.plot,
                f"Offset of each star, {self.worst_pair}, constant and turn taken off; arrows are enlarged as the "
                "bar says.",
                f"Arrows of star offsets over the sensor: {said}",
            ),
            Picture(
                self.plot_curve,
                "Difference of image height against the distance from the middle: stars in ten rings, fit and its "
                "standard uncertainty.",
                f"Radial offset of each pair of colors: {said}",
                "half",
            ),
        ]

    def plot(self, ax: Any = None) -> Any:
        """Offsets of the worst pair over the sensor.

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
            # Room for the arrows of stars at the rim.
            room_x, room_y = 0.64 * wide, 0.5 * high + 0.14 * wide
            ax.set(xlim=(-room_x, room_x), ylim=(-room_y, room_y))
            rim_x, rim_y = (
                np.array([-1, 1, 1, -1, -1]) * wide / 2,
                np.array([-1, -1, 1, 1, -1]) * high / 2,
            )
            ax.plot(rim_x, rim_y, color=GREY, lw=0.8)
            worst = [f"{p.color} against {p.against}" for p in self.pairs].index(self.worst_pair)
            use = (self.pair == worst) & (self.used > 0)
            x = (self.x.value[use] - (self.width - 1) / 2) * self.pitch.value / 1000
            y = (self.y.value[use] - (self.height - 1) / 2) * self.pitch.value / 1000
            dx, dy = self.offset_x.value[use], self.offset_y.value[use]
            size = round_length(float(np.percentile(np.hypot(dx, dy), 90)))
            scale = 0.08 * wide / size
            ax.quiver(
                x,
                y,
                dx * scale,
                dy * scale,
                angles="xy",
                scale_units="xy",
                scale=1,
                width=0.003,
                color=_COLORS.get(self.pairs[worst].color.lower(), BLUE),
            )
            ax.plot(0, 0, marker="+", color=INK, ms=10, mew=1.2)
            left, low = -0.5 * wide, -0.5 * high - 0.11 * wide
            ax.plot([left, left + 0.08 * wide], [low, low], color=INK, lw=2.2)
            ax.text(
                left + 0.09 * wide,
                low,
                f"{size:g} pix",
                va="center",
                fontsize=9,
                bbox={"facecolor": "white", "alpha": 0.85, "edgecolor": "none", "pad": 1.5},
            )
            ax.set_title(f"{self.worst_pair}: {self.lateral_color} at the corners")
            return ax

    def plot_curve(self, ax: Any = None) -> Any:
        """Radial part of every pair against the distance from the middle.

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
            pitch = self.pitch.value
            x, y = self.x.value - (self.width - 1) / 2, self.y.value - (self.height - 1) / 2
            r = np.hypot(x, y)
            along = (
                (self.offset_x.value * x + self.offset_y.value * y) / np.maximum(r, 1e-9) * pitch
            )
            rings = np.linspace(0, self.radius.value[-1], 11)
            for k, pair in enumerate(self.pairs):
                against = pair.against == self.pairs[0].against
                color = _COLORS.get(pair.color.lower(), CYCLE[k % len(CYCLE)]) if against else GREY
                line, bar = self.curve.value[k], self.curve_uncertainty.value[k]
                label = f"{pair.color} - {pair.against}"
                ax.plot(self.radius.value, line, color=color, label=label)
                ax.fill_between(
                    self.radius.value, line - bar, line + bar, color=color, alpha=0.2, linewidth=0
                )
                use = (self.pair == k) & (self.used > 0)
                where = np.digitize(r[use] * pitch / 1000, rings)
                for ring in np.unique(where):
                    inside = where == ring
                    if inside.sum() >= 3:
                        ax.plot(
                            np.mean(r[use][inside]) * pitch / 1000,
                            np.mean(along[use][inside]),
                            "o",
                            color=color,
                            ms=3.5,
                        )
            ax.axhline(0, color=GREY, linewidth=0.8)
            ax.set(xlabel="distance from the middle (mm)", ylabel="difference of image height (um)")
            ax.set_title("Lateral color")
            ax.legend(loc="best", fontsize=8)
            return ax


def _with(value: Any, digits: int) -> str:
    """Value and uncertainty without unit."""
    if not np.isfinite(value.value.value):
        return "-"
    return f"{value.value.value:+.{digits}f} ± {value.uncertainty.value:.{digits}f}"

"""The focus surface, and how it tells itself."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np

from ... import _records
from ...results import Picture, Result, Sheet
from ...style import BLUE, GREY, INK, ORANGE, figure_style, new_axes
from .._focus_plane import FocusPlane, draw_focus

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class FocusSurface(FocusPlane, Result, _records.FocusSurfaceResult):
    """Best focus over the sensor; its attributes are those of the engine's record."""

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        return f"Focus surface from {int((self.frame_stars > 0).sum())} frames"

    @property
    def table(self) -> QTable:
        """One row a star: place, its own best focus with uncertainty, and the surface there."""
        from astropy.table import QTable

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
        across, up = self.field(x, y)
        c = self.coefficients
        return c[0] + c[1] * across + c[2] * up + c[3] * (across**2 + up**2)

    def sentences(self) -> list[str]:
        """Tilt with what cures it, curvature, and what of the sensor is sharp at once."""
        said = self.plane_sentences()
        level = round(100 * self.in_focus_share_level)
        said.append(
            f"With a depth of focus of {self.depth_of_focus.value:.0f} um to either side, "
            f"{100 * self.in_focus_share:.0f} % of the sensor are sharp at once, at {round(float(self.best_position.value))} um; "
            f"{level} % with the tilt cured."
        )
        said.append(self.split_sentence())
        if np.isfinite(self.backlash.value):
            said.append(f"Backlash of the focuser {self.backlash}.")
        return said

    def split_sentence(self) -> str:
        """What parts tangential from sagittal focus."""
        split, middle = self.astigmatic_split, self.middle_split
        if not np.isfinite(split.value):
            return "Astigmatism: not told, too few stars have a shape."
        if abs(split.value) > 2 * split.uncertainty:
            side = "farther from" if split.value > 0 else "nearer to"
            said = f"Astigmatism: at the corners tangential focus lies {abs(split)} {side} the objective than sagittal"
        else:
            said = "Astigmatism that grows towards the corners: not told from none"
        if abs(middle.value) > 3 * middle.uncertainty:
            said += f"; in the middle of the sensor two foci lie {middle} apart"
        return said + "."

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
                "Warm colors focus farther from the objective; the edges that have to move away from it are marked.",
                f"Map of best focus: tilt {self.sensor_tilt}, corners {self.curvature_sag} from the middle",
            ),
            Picture(
                self.plot_run,
                "Half-flux radius of the stars in each frame, and the fit's.",
                f"Blur of {len(self.positions)} frames through focus, best at {self.best_focus}",
                "half",
            ),
            Picture(
                self.plot_split,
                "Tangential and sagittal focus from the middle outwards, tilt taken off; shaded one standard "
                "uncertainty, grey the depth of focus about the middle's.",
                f"At the corners tangential less sagittal focus {self.astigmatic_split}, their mean {self.curvature_sag}",
                "half",
            ),
        ]

    def plot(self, ax: Any = None) -> Any:
        """Best focus over the sensor, and which edge has to move.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        middle = self.at((self.width - 1) / 2, (self.height - 1) / 2)
        own = (self.star_focus - middle).value
        sure = np.isfinite(own) & (self.star_focus_uncertainty < 2 * self.depth_of_focus)
        stars = (self.x.value[sure], self.y.value[sure], own[sure])
        return draw_focus(self, lambda x, y: (self.at(x, y) - middle).value, stars, ax)

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

    def plot_split(self, ax: Any = None) -> Any:
        """Tangential and sagittal focus from the middle of the sensor to its corner.

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
            corner = 0.5 * np.hypot(self.width, self.height) * self.pitch.to_value("mm")
            share = np.linspace(0, 1, 61)
            sag, split = self.curvature_sag, self.astigmatic_split
            bar = np.hypot(sag.uncertainty.value, split.uncertainty.value / 2)
            depth = self.depth_of_focus.value
            ax.axhspan(-depth, depth, color=GREY, alpha=0.25, linewidth=0, label="depth of focus")
            for sign, name, color, style in (
                (1, "tangential", BLUE, "-"),
                (-1, "sagittal", ORANGE, "--"),
            ):
                z = (sag.value.value + sign * split.value.value / 2) * share**2
                band = bar * share**2
                ax.fill_between(corner * share, z - band, z + band, color=color, alpha=0.2, lw=0)
                ax.plot(corner * share, z, color=color, linestyle=style, label=name)
            ax.set(
                xlabel="distance from the middle of the sensor (mm)",
                ylabel="focus, from that of the middle (um)",
                xlim=(0, corner),
            )
            ax.set_title("Tangential and sagittal focus")
            ax.legend(loc="best", fontsize=8)
            return ax

"""Focal length, distortion and field of view, and how they tell themselves."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np

from ... import _records
from ...results import Picture, Result, Sheet
from ...style import BLUE, GREY, INK, ORANGE, SKY, entitle, figure_style, new_axes

if TYPE_CHECKING:
    from astropy.coordinates import SkyCoord
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class PlateScale(Result, _records.PlateScaleResult):
    """Focal length, distortion and field of view of a frame.

    Its attributes are those of the engine's record, and

    Attributes
    ----------
    name : str
        The frame's name.
    center : SkyCoord
        Direction of the middle of the frame.
    listed : int
        How many stars or positions there were before they were matched.
    """

    name: str = ""
    center: SkyCoord | None = None
    listed: int = 0

    @property
    def title(self) -> str:
        """Plate scale of which frame."""
        return f"Plate scale of {self.name}" if self.name else "Plate scale"

    @property
    def table(self) -> QTable:
        """One row a star: place, angle from the middle, residual, and whether it was used."""
        from astropy.table import QTable

        names = "x y star_angle x_residual y_residual star_distortion used".split()
        return QTable({name: getattr(self, name) for name in names})

    @property
    def distortion_table(self) -> QTable:
        """The distortion over the field."""
        from astropy.table import QTable

        names = "field_angle ideal_height distortion distortion_uncertainty".split()
        return QTable({name: getattr(self, name) for name in names})

    def sentences(self) -> list[str]:
        """Focal length with what follows from it, distortion, field of view."""
        where = f"{self.name}: " if self.name else ""
        random = next(q.random_part for q in self.quantities if q.name == "focal_length")
        share = 100 * random / self.focal_length.value.value
        follows = ""
        if np.isfinite(self.focal_ratio.value):
            follows += f", focal ratio {self.focal_ratio}"
        if np.isfinite(self.reducer_factor.value):
            follows += f", reducer factor {self.reducer_factor}"
        used = int(self.used.sum())
        source = (
            "the frame's celestial solution at" if self.source == "solution" else "positions of"
        )
        said = [
            f"{where}focal length {self.focal_length}{follows} ({source} {used} stars, which tell it to "
            f"{share:.2g} %; {self.pixel_scale} on the sky).",
            f"Field of view {self.field_of_view_width} x {self.field_of_view_height}, diagonal "
            f"{self.field_of_view_diagonal}; north {self.north_angle.value:.1f} deg from +x towards +y"
            f"{', mirrored' if self.mirrored else ''}.",
        ]
        if np.isfinite(self.distortion_edge.value):
            kind = "barrel" if self.distortion_edge.value < 0 else "pincushion"
            sure = abs(self.distortion_edge.value) > 2 * self.distortion_edge.uncertainty
            said.append(
                f"Distortion at the corner, {self.field_angle[-1]:.3g} from the middle: "
                f"{self.distortion_edge} ({kind if sure else 'not told from none'}); stars lie "
                f"{self.residual_rms.value:.2g} pix (RMS of one axis) from the fit."
            )
        return said

    def sheets(self) -> list[Sheet]:
        """Distortion at a few angles."""
        if not np.isfinite(self.distortion_edge.value):
            return []
        last = len(self.field_angle) - 1
        rows = [
            (
                f"{self.field_angle[k].value:.3f}",
                f"{self.ideal_height[k].value:.2f}",
                f"{self.distortion[k].value:+.3f}",
                f"{self.distortion_uncertainty[k].value:.3f}",
            )
            for k in (last // 4, last // 2, 3 * last // 4, last)
        ]
        head = ("angle (deg)", "ideal height (mm)", "distortion (%)", "uncertainty (%)")
        return [Sheet("Distortion over the field", head, tuple(rows), 0)]

    def figures(self) -> list[Picture]:
        """Distortion over the field, and where the stars lie beside the fit."""
        drawn = [
            Picture(
                self.plot_residuals,
                "Measured less fitted places of the stars, drawn larger as the bar says. What has a "
                "pattern is not in the model.",
                f"Residuals of the stars over the field, {self.residual_rms:.2g} RMS",
            )
        ]
        if np.isfinite(self.distortion_edge.value):
            drawn.insert(
                0,
                Picture(
                    self.plot,
                    "Distortion against the angle from the middle of the field, with its standard "
                    "uncertainty; dots are single stars.",
                    f"Distortion rising to {self.distortion_edge} at the corner",
                ),
            )
        return drawn

    def plot(self, ax: Any = None) -> Any:
        """Distortion against the field; the residuals where no distortion was fitted.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        if not np.isfinite(self.distortion_edge.value):
            return self.plot_residuals(ax)
        with figure_style():
            ax = new_axes(ax, figsize=(7.0, 4.0))
            angle, value = self.field_angle.value, self.distortion.value
            bar = self.distortion_uncertainty.value
            # Near the middle a pixel is many per cent of the height and says nothing.
            seen = self.used & (self.star_angle.value > 0.15 * angle[-1])
            ax.axhline(0, color=GREY, linewidth=0.8)
            ax.plot(
                self.star_angle.value[seen],
                self.star_distortion.value[seen],
                ".",
                color=SKY,
                markersize=4,
                label="single stars",
            )
            ax.fill_between(angle, value - bar, value + bar, color=BLUE, alpha=0.3, linewidth=0)
            ax.plot(angle, value, color=BLUE, label="fit and standard uncertainty")
            near = np.r_[value - bar, value + bar, 0.0]
            if seen.any():
                near = np.r_[near, np.percentile(self.star_distortion.value[seen], [2, 98])]
            room = 0.1 * (near.max() - near.min())
            ax.set(xlim=(0, angle[-1]), ylim=(near.min() - room, near.max() + room))
            ax.set(xlabel="angle from the middle of the field (deg)", ylabel="distortion (%)")
            entitle(ax, f"Distortion: {self.distortion_edge} at the corner")
            ax.legend(loc="best")
            return ax

    def plot_residuals(self, ax: Any = None) -> Any:
        """Measured less fitted places over the frame.

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
            frame = self.conditions["frames"][0]
            nx, ny = frame["width"], frame["height"]
            ax = new_axes(ax, figsize=(7.0, 1.2 + 6.0 * ny / nx))
            x, y = self.x.value, self.y.value
            dx, dy = self.x_residual.value, self.y_residual.value
            use = self.used
            usual = max(float(np.percentile(np.hypot(dx, dy)[use], 80)), 1e-6)
            # One significant digit for the bar's label.
            mark = float(f"{usual:.0e}")
            grow = 0.05 * max(nx, ny) / mark
            how: dict[str, Any] = {"angles": "xy", "scale_units": "xy", "scale": 1, "width": 0.002}
            ax.quiver(x[use], y[use], grow * dx[use], grow * dy[use], color=BLUE, **how)
            if not use.all():
                ax.plot(x[~use], y[~use], "x", color=ORANGE, label="left out")
                ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.11))
            ax.set(xlim=(-0.5, nx - 0.5), ylim=(-0.5, ny - 0.5), xlabel="x (pix)", ylabel="y (pix)")
            ax.set_aspect("equal")
            # Below the axes: inside, arrows would run through it.
            below = ax.get_xaxis_transform()
            bar = [(nx - 1) - grow * mark, nx - 1]
            ax.plot(bar, [-0.17] * 2, color=INK, linewidth=2, transform=below, clip_on=False)
            ax.text(
                bar[0] - 0.012 * nx,
                -0.17,
                f"{mark:g} pix",
                transform=below,
                ha="right",
                va="center",
            )
            entitle(ax, f"Measured less fitted places, {self.residual_rms.value:.2g} pix RMS")
            return ax

"""Evenness of light, and how it tells itself."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ... import _records
from ...results import Measured, Picture, Remedy, Result, Sheet
from ...style import (
    BLUE,
    GREY,
    INK,
    ORANGE,
    SEQUENTIAL,
    figure_style,
    new_axes,
    sensor_axes,
    sensor_bar,
)

if TYPE_CHECKING:
    from astropy.table import QTable

#: Shadows of dust that a table for people lists.
_MOST_DUST = 12

CORNERS = ("lower left", "lower right", "upper left", "upper right")


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class RelativeIllumination(Result, _records.RelativeIlluminationResult):
    """Relative illumination over the sensor; its attributes are those of the engine's record."""

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        return "Relative illumination"

    @property
    def table(self) -> QTable:
        """Illumination against the distance from the middle of the lit circle."""
        from astropy.table import QTable

        names = "radius profile measured_profile".split()
        return QTable({name: getattr(self, name) for name in names})

    @property
    def clipped(self) -> bool:
        """Whether a stop is seen that cuts the cone of light."""
        return bool(np.isfinite(self.clear_diameter.value))

    def sentences(self) -> list[str]:
        """Corners, image circle, what clips, slope."""
        worst = CORNERS[int(np.argmin([c.value.value for c in self.corners]))]
        said = [
            f"The darkest corner ({worst}) gets {_percent(self.corner_illumination)} of the light on the axis; oblique "
            f"incidence alone would leave {100 * self.natural_corner:.1f} %."
        ]
        if self.clipped:
            said.append(
                f"Image circle {self.image_circle90} with 90 % of the light, {self.image_circle75} with 75 %, "
                f"{self.image_circle50} with half of it; the whole cone reaches {self.fully_lit}."
            )
            said.append(
                f"What clips has a clear diameter of {self.clear_diameter} and stands about {self.stop_distance} before the "
                f"sensor, its middle {self.center_x} to the right and {self.center_y} above that of the sensor."
            )
        else:
            said.append("No stop that cuts the cone of light is seen within the frame.")
        said.append(
            f"Slope of the light {_percent(self.slope_x)} from left to right and {_percent(self.slope_y)} upwards, taken out."
        )
        return said + self._dust_sentences()

    def _dust_sentences(self) -> list[str]:
        """Where dust stands, by groups of like distance."""
        if not self.dust:
            return []
        groups = [[float(self.dust[0].distance.value.value)]]
        for last, ring in zip(self.dust, self.dust[1:]):
            away = float(ring.distance.value.value)
            bar = float(np.hypot(ring.distance.uncertainty, last.distance.uncertainty).value)
            # A glass has two faces and stands a little askew: a tenth of the distance is one place (a judgment, no source).
            if away - groups[-1][-1] > max(3 * bar, 0.1 * away):
                groups.append([])
            groups[-1].append(away)
        told = [
            f"{len(g)} at {g[0]:.3g}"
            + (f" to {g[-1]:.3g}" if f"{g[0]:.3g}" != f"{g[-1]:.3g}" else "")
            + " mm"
            for g in groups
        ]
        many = len(self.dust) > 1
        return [
            f"{len(self.dust)} shadow{'s' if many else ''} of dust: {', '.join(told)} before the sensor. Hold that against where cover glass, "
            "filter and reducer stand."
        ]

    def remedies(self) -> list[Remedy]:
        """How wide what clips has to be."""
        lost = self.natural_corner - self.corner_illumination.value.value
        if not self.clipped or not lost > 3 * self.corner_illumination.uncertainty.value:
            return []
        # Free at the circle that the whole cone reaches: clear = cone + circle * chief ray's share, which is 1 in front of the
        # sensor and less farther away; taken as 1 it asks for a little more than is needed.
        wide = float(np.hypot(self.width, self.height) * self.pitch.to_value("mm"))
        more = max(0.0, wide - float(self.fully_lit.value.to_value("mm")))
        needed = self.clear_diameter + Measured(more * u.mm, self.fully_lit.uncertainty)
        return [
            Remedy(
                "the adapter",
                "user",
                needed,
                f"What stands about {self.stop_distance} before the sensor clips: its clear diameter is "
                f"{self.clear_diameter}. For the whole cone of light in the corners it needs {needed}; look there for an "
                "adapter, a filter's mount or a nosepiece, and take a flat again.",
                mends=tuple(q.name for q in self.quantities),
                gain=f"The darkest corner gets {100 * self.natural_corner:.1f} % of the light in place of "
                f"{_percent(self.corner_illumination)}.",
            )
        ]

    def sheets(self) -> list[Sheet]:
        """The four corners, and dust."""
        rows = [
            (name, f"{100 * c.value.value:.1f}", f"{100 * c.uncertainty.value:.1f}")
            for name, c in zip(CORNERS, self.corners)
        ]
        head = ("corner (x right, y up)", "light (%)", "uncertainty (%)")
        shown = [
            Sheet(
                "Illumination of the corners over that on the axis",
                head,
                tuple(rows),
                1,
            )
        ]
        if self.dust:
            grains = [
                (
                    f"{r.x.value:.0f}",
                    f"{r.y.value:.0f}",
                    f"{r.diameter.value.value:.3f}",
                    f"{100 * r.depth.value.value:.1f}",
                    f"{r.distance.value.value:.3g}",
                    f"{r.distance.uncertainty.value:.2g}",
                )
                for r in self.dust[:_MOST_DUST]
            ]
            titles = (
                "x (px)",
                "y (px)",
                "diameter (mm)",
                "takes (%)",
                "distance (mm)",
                "uncertainty (mm)",
            )
            left = len(self.dust) - len(grains)
            more = f", {left} more in the results" if left else ""
            shown.append(Sheet(f"Shadows of dust, nearest first{more}", titles, tuple(grains), 0))
        return shown

    def figures(self) -> list[Picture]:
        """The field, and the fall of light with the distance."""
        return [
            Picture(
                self.plot,
                "Light over that on the axis, slope of the source taken out, in cells; lines are the fit."
                + (
                    " Circles are shadows of dust, with the distance of the dust from the sensor."
                    if self.dust
                    else ""
                ),
                f"Map of illumination, darkest corner {_percent(self.corner_illumination)}",
            ),
            Picture(
                self.plot_profile,
                "Illumination against the distance from the middle of the lit circle: cells and fit.",
                f"Illumination falling to {_percent(self.corner_illumination)} in the corner",
                "half",
            ),
        ]

    def plot(self, ax: Any = None) -> Any:
        """Illumination over the sensor.

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
            rows, columns = self.cells.shape
            cell = self.cell.value * self.pitch.value / 1000
            rim = (
                -wide / 2,
                columns * cell - wide / 2,
                -high / 2,
                rows * cell - high / 2,
            )
            low = float(np.nanpercentile(self.cells, 0.5))
            shade = ax.imshow(
                100 * self.cells,
                origin="lower",
                extent=rim,
                cmap=SEQUENTIAL,
                vmin=100 * min(low, 0.95),
                vmax=100,
            )
            if self.clipped:
                x, y = np.linspace(-wide / 2, wide / 2, 121), np.linspace(-high / 2, high / 2, 91)
                away = np.hypot(
                    x[None, :] - self.center_x.value.value,
                    y[:, None] - self.center_y.value.value,
                )
                fit = 100 * np.interp(away, self.radius.value, self.profile)
                levels = [v for v in (50, 75, 90, 95, 98) if fit.min() < v < fit.max()]
                if levels:
                    lines = ax.contour(x, y, fit, levels=levels, colors="white", linewidths=1.0)
                    ax.clabel(lines, fmt="%g %%", fontsize=8)
                ax.plot(
                    self.center_x.value,
                    self.center_y.value,
                    "+",
                    color=INK,
                    ms=10,
                    mew=1.4,
                )
            from matplotlib.patches import Circle

            for ring in self.dust:
                x = (ring.x.value - (self.width - 1) / 2) * self.pitch.value / 1000
                y = (ring.y.value - (self.height - 1) / 2) * self.pitch.value / 1000
                radius = ring.diameter.value.value / 2
                ax.add_patch(Circle((x, y), radius, fill=False, color=ORANGE, lw=1.4, clip_on=True))
                if len(self.dust) <= _MOST_DUST:
                    ax.annotate(
                        f"{ring.distance.value.value:.3g} mm",
                        (x, min(y + radius, 0.47 * high)),
                        xytext=(0, 3),
                        textcoords="offset points",
                        ha="center",
                        fontsize=8,
                        color=INK,
                        bbox={
                            "boxstyle": "round,pad=0.15",
                            "fc": "white",
                            "ec": "none",
                            "alpha": 0.8,
                        },
                    )
            sensor_bar(ax, shade, "light over that on the axis (%)", extend="min")
            ax.set_title(f"Illumination: darkest corner {_percent(self.corner_illumination)}")
            return ax

    def plot_profile(self, ax: Any = None) -> Any:
        """Illumination against the distance from the middle of the lit circle.

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
            ax.plot(
                self.radius,
                100 * self.measured_profile,
                "o",
                color=INK,
                ms=4,
                label="cells",
            )
            ax.plot(self.radius, 100 * self.profile, color=BLUE, label="fit")
            if self.clipped:
                for circle, style in (
                    (self.image_circle90, "--"),
                    (self.image_circle50, ":"),
                ):
                    radius = circle.value.value / 2
                    if radius < self.radius.value[-1]:
                        share = 90 if circle is self.image_circle90 else 50
                        ax.axvline(
                            radius,
                            color=ORANGE,
                            linestyle=style,
                            label=f"{share} % of the light",
                        )
            ax.axhline(100, color=GREY, linewidth=0.8)
            ax.set(xlabel="distance from the middle of the light (mm)", ylabel="light (%)")
            ax.set_ylim(min(95.0, 100 * float(np.nanmin(self.measured_profile)) - 2), 102)
            ax.set_title("Fall of light")
            ax.legend(loc="lower left", fontsize=8)
            return ax


def _percent(share: Any) -> str:
    value, bar = 100 * share.value.value, 100 * share.uncertainty.value
    digits = 1 if bar >= 0.095 else 2
    # What rounds to zero has no sign.
    return f"{round(float(value), digits) + 0.0:.{digits}f} ± {bar:.{digits}f} %"

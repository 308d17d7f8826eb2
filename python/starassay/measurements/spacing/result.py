"""The spacing, and how it tells itself."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np

from ... import _records
from ...results import Picture, Remedy, Result, Sheet
from ...style import BLUE, GREY, INK, ORANGE, figure_style, new_axes

if TYPE_CHECKING:
    from astropy.table import QTable


# The spacing bends the field, whichever measurement shows it.
_BOWL = ("curvature_sag", "focus_spread", "astigmatic_split", "field_curvature_sag")


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Spacing(Result, _records.SpacingResult):
    """The best distance between reducer or flattener and sensor; its attributes are those of the engine's record."""

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        many = len(self.distances)
        return "Spacing from one distance" if many == 1 else f"Spacing from {many} distances"

    @property
    def table(self) -> QTable:
        """One row a run: distance, sag with uncertainty, and the fit."""
        from astropy.table import QTable

        return QTable(
            {
                name: getattr(self, name)
                for name in "distances sags sag_uncertainties sag_model".split()
            }
        )

    @property
    def curve_table(self) -> QTable:
        """Sag of the corners and the blur that it makes, against the distance."""
        from astropy.table import QTable

        names = "curve_distance curve_sag curve_uncertainty corner_blur".split()
        return QTable({name: getattr(self, name) for name in names})

    def sentences(self) -> list[str]:
        """What to add or take away, how exact it has to be, and what is there now."""
        if len(self.distances) == 1:
            return self._one_distance()
        now = f"{self._now()}; the sag changes by {self.sag_slope}."
        if not self.decided:
            said = "The best spacing is not decided."
            if self.direction != "not-decided":
                larger = self.direction == "too-near"
                said += f" The distance has to become {'larger' if larger else 'smaller'}."
            return [said, now]
        return [self._change(), now, self._exactness()]

    def _one_distance(self) -> list[str]:
        """The same from one distance: the direction first."""
        what = {"too-near": "Too near", "too-far": "Too far"}.get(self.direction)
        if what is None:
            said = [f"Too near or too far: not decided from {self.present_distance:.2f} alone."]
        else:
            larger = self.direction == "too-near"
            said = [f"{what}: the distance has to become {'larger' if larger else 'smaller'}."]
        said.append(f"{self._now()}.")
        if np.isfinite(self.astigmatic_split.value):
            said.append(f"Tangential less sagittal focus there: {self.astigmatic_split}.")
        if self.decided:
            said += [
                f"By what was stated of the corrector: {self._change()}",
                self._exactness(),
            ]
        return said

    def _now(self) -> str:
        return f"At the present {self.present_distance:.2f} the corners focus {self.present_sag} from the middle"

    def _change(self) -> str:
        change = self.spacing_change
        if abs(change.value) < 2 * change.uncertainty:
            return f"Best spacing {self.best_spacing}: not told from the present {self.present_distance:.2f} (change {change})."
        verb = "add" if change.value > 0 else "take away"
        return f"Best spacing {self.best_spacing}: {verb} {abs(change)} between reducer or flattener and sensor."

    def _exactness(self) -> str:
        return (
            f"Corners stay within the depth of focus ({self.depth_of_focus.value:.0f} um to either side) as long as the "
            f"distance is right to {self.tolerance:.2f}."
        )

    def remedies(self) -> list[Remedy]:
        """What to add or to take away."""
        change = self.spacing_change
        if not self.decided or not abs(change.value) > 3 * change.uncertainty:
            return []
        verb = "Add" if change.value > 0 else "Take away"
        return [
            Remedy(
                "the spacing",
                "user",
                change,
                f"{verb} {abs(change)} between reducer or flattener and sensor, which is {self.best_spacing} in all: "
                f"now the corners focus {self.present_sag} from the middle. Refocus, check that the focuser still "
                "reaches, and measure the plate scale again.",
                mends=(*(q.name for q in self.quantities), *_BOWL),
                defocus=float(abs(self.present_sag.value.to_value("um"))),
            )
        ]

    def sheets(self) -> list[Sheet]:
        """Each run with the fit and what the corners get."""
        rows = [
            (
                f"{d:.2f}",
                f"{s:+.1f}",
                f"{b:.1f}",
                f"{f:+.1f}",
                f"{abs(f) / self.focal_ratio:.1f}",
            )
            for d, s, b, f in zip(
                *(
                    getattr(self, name).value
                    for name in "distances sags sag_uncertainties sag_model".split()
                )
            )
        ]
        head = (
            "distance (mm)",
            "sag of the corners (um)",
            "uncertainty (um)",
            "fit (um)",
            "corner's disc, middle in focus (um)",
        )
        return [Sheet("Field curvature at each distance", head, tuple(rows), 0)]

    def figures(self) -> list[Picture]:
        """Sag against distance."""
        told = f"best spacing {self.best_spacing}" if self.decided else "best spacing not decided"
        return [
            Picture(
                self.plot,
                "Best focus of the corners less that of the middle at each distance, with the fit and its standard "
                "uncertainty (from one distance: with the slope that was stated). Grey: within the depth of focus. With the "
                "middle in focus, a corner's star becomes a disc of the diameter on the right.",
                f"Sag of the corners against the distance: {told}",
            )
        ]

    def plot(self, ax: Any = None) -> Any:
        """Sag of the corners against the distance, with the blur that it makes on the right.

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
            ax = new_axes(ax, figsize=(6.4, 4.2))
            x, line, bar = (
                q.value for q in (self.curve_distance, self.curve_sag, self.curve_uncertainty)
            )
            one = len(self.distances) == 1
            depth = self.depth_of_focus.value
            ax.axhspan(
                -depth,
                depth,
                color=GREY,
                alpha=0.18,
                linewidth=0,
                label="depth of focus",
            )
            ax.axhline(0, color=GREY, linewidth=0.8)
            if x.size:
                ax.fill_between(x, line - bar, line + bar, color=BLUE, alpha=0.25, linewidth=0)
                label = "slope as stated" if one else "fit and its uncertainty"
                ax.plot(x, line, color=BLUE, label=label)
            else:
                # A point alone: half a millimeter to either side makes the axis.
                x = self.distances.value[0] + np.array([-0.5, 0.5])
            ax.errorbar(
                self.distances.value,
                self.sags.value,
                self.sag_uncertainties.value,
                fmt="o",
                color=INK,
                ms=5,
                capsize=3,
                label="focus run" if one else "focus runs",
            )
            ax.axvline(
                self.present_distance.value,
                color=INK,
                linestyle=":",
                linewidth=1.2,
                label="present",
            )
            if self.decided:
                best, sure = (
                    self.best_spacing.value.value,
                    self.best_spacing.uncertainty.value,
                )
                ax.axvspan(best - sure, best + sure, color=ORANGE, alpha=0.3, linewidth=0)
                ax.axvline(best, color=ORANGE, linestyle="--", label="best distance")
            ax.set(
                xlim=(x[0], x[-1]),
                xlabel="distance between reducer or flattener and sensor (mm)",
                ylabel="focus of corners less that of middle (um)",
            )
            title = f"Best spacing {self.best_spacing}" if self.decided else "Spacing: not decided"
            if one and self.direction != "not-decided" and not self.decided:
                title = f"Spacing: {self.direction.replace('-', ' ')}"
            ax.set_title(title)
            ratio = self.focal_ratio
            right = ax.secondary_yaxis(
                "right", functions=(lambda s: s / ratio, lambda b: b * ratio)
            )
            right.set_ylabel("corner's disc, middle in focus (um)")
            # A disc has no sign.
            right.yaxis.set_major_formatter(lambda v, _: f"{abs(v):g}")
            ax.legend(loc="best", fontsize=8)
            return ax

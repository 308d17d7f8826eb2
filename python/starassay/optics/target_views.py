"""What targets look like through a telescope beside perfect ones: pictures, light along a line, numbers, sentences."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from .. import _units, style
from .._values import short_repr

if TYPE_CHECKING:
    from astropy.table import QTable

_NAMES = ("this telescope", "perfect, same obstruction", "perfect, clear")
_LOOKS = ((style.BLUE, "-"), (style.ORANGE, "-."), (style.GREY, "--"))
# Where the light along a line leaves room.
_LEGEND = {"double star": "upper right", "planet": "lower center", "edge": "center right"}
# Between two pictures whose light differs nowhere by more nobody would see a difference.
_SAME = 0.01


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class TargetView:
    """A target through this telescope, through a perfect one with the same obstruction, and through a perfect clear one.

    Attributes
    ----------
    target : str
        "double star", "planet" or "edge".
    words : str
        What it is, with its size and the air.
    position : Quantity, shape (n,)
        Coordinate of the pictures' samples along either axis, arcsec; axes as on the sensor, x right, y up.
    own, perfect_obstructed, perfect : ndarray, shape (n, n)
        The pictures, in proportion to the light. 1 = top of the brighter star alone through the perfect clear aperture in the same
        air; middle of the planet's disc without belts; far on the bright side of the edge.
    along : Quantity, shape (m,)
        Place along the line of the profiles: from the brighter star to the fainter one; across the belts, 0.15 diameters beside the middle
        of the disc; across the edge.
    profiles : QTable
        Light along that line, columns own, perfect_obstructed, perfect.
    table : QTable
        number, unit, own, perfect_obstructed, perfect, words: what an observer could see, in numbers.
    seeing : Quantity
        FWHM of the long exposure at `wavelength`.
    wavelength : Quantity
        Mean of the light.
    center_ratio : float
        Strehl ratio of this light, still air.
    """

    target: str
    words: str
    position: u.Quantity
    own: np.ndarray
    perfect_obstructed: np.ndarray
    perfect: np.ndarray
    along: u.Quantity
    profiles: QTable
    table: QTable
    seeing: u.Quantity
    wavelength: u.Quantity
    center_ratio: float

    def __repr__(self) -> str:
        return short_repr(self)

    def number(self, name: str) -> tuple[float, float, float]:
        """One number through this telescope, the perfect one with the same obstruction, and the perfect clear one.

        Parameters
        ----------
        name : str
            From the table's first column.
        """
        known = list(self.table["number"])
        row = self.table[known.index(_units.choice(name, known, "name"))]
        return float(row["own"]), float(row["perfect_obstructed"]), float(row["perfect"])

    @property
    def obstructed(self) -> bool:
        """Whether an obstruction makes a difference to the picture."""
        return bool(np.max(np.abs(self.perfect_obstructed - self.perfect)) > _SAME)

    def sentences(self) -> list[str]:
        """What is seen, beside what perfect apertures show."""
        return [f"{self.words}: {getattr(self, '_' + self.target.replace(' ', '_'))()}"]

    def _beside(self, name: str, show: Any) -> str:
        own, same, clear = self.number(name)
        others = f"a perfect aperture {show(clear)}"
        if self.obstructed:
            others += f", one with this obstruction {show(same)}"
        return f"{show(own)} ({others})"

    def _double_star(self) -> str:
        def dip(value: float) -> str:
            return f"{100 * value:.0f} %" if value > 0 else "none"

        if max(self.number("dip")) <= 0:
            return "one star is seen and not two, through perfect apertures as well."
        return f"dip between the stars, below the fainter one's top: {self._beside('dip', dip)}."

    def _planet(self) -> str:
        # The belt that shows best, the one that shows least, and the spot.
        rows = [row for row in self.table if np.isfinite(row["own"])]
        belts = sorted((r for r in rows if r["number"] != "spot"), key=lambda r: -r["perfect"])
        told = [*belts[:1], *belts[1:][-1:], *(r for r in rows if r["number"] == "spot")]
        kept = [
            f"{row['words']} {self._beside(row['number'], lambda v: f'{100 * v:.0f} %')}"
            for row in told
        ]
        return "contrast that is left: " + "; ".join(kept) + "."

    def _edge(self) -> str:
        wide = self._beside("width_10_90", lambda v: f"{v:.2f} arcsec")
        glow = self._beside("light_5_arcsec_outside", lambda v: f"{100 * v:.2g} %")
        return f"from 90 to 10 % of the light within {wide}; 5 arcsec outside it is {glow} as bright as inside."

    def plot(self, axes: Any = None) -> Any:
        """Draw the pictures side by side, and the light along the line.

        Parameters
        ----------
        axes : sequence of matplotlib axes, optional
            One a picture and one for the profile; a new figure by default.

        Returns
        -------
        matplotlib figure
            What was drawn.
        """
        import matplotlib.pyplot as plt

        count = len(self._shown())
        with style.figure_style():
            if axes is None:
                figure, axes = plt.subplots(
                    1, count + 1, figsize=(2.9 * count + 3.6, 3.3), layout="constrained"
                )
                figure.suptitle(self.words, fontsize=10)
            self._draw(list(axes), titles=True, legend=True)
        return axes[0].figure

    def _shown(self) -> list[int]:
        return [0, 1, 2] if self.obstructed else [0, 2]

    def _draw(self, axes: list[Any], titles: bool, legend: bool) -> None:
        pictures = (self.own, self.perfect_obstructed, self.perfect)
        edge = float(self.position.value[-1])
        # Two stars can be brighter than one; all pictures have one scale.
        white = max(1.0, float(self.perfect.max()))
        for ax, k in zip(axes, self._shown()):
            ax.imshow(
                style.as_screen_light(pictures[k] / white),
                extent=(-edge, edge, -edge, edge),
                cmap=style.IMAGE,
                vmin=0,
                vmax=1,
                interpolation="bicubic",
            )
            ax.set(xlabel="x (arcsec)")
            if k == 0:
                ax.set(ylabel="y (arcsec)")
            if titles:
                style.entitle(ax, _NAMES[k], fontsize=10)
        last = axes[len(self._shown())]
        columns = ("own", "perfect_obstructed", "perfect")
        for k in self._shown():
            color, stroke = _LOOKS[k]
            label = _NAMES[k]
            last.plot(
                self.along.value, self.profiles[columns[k]], color=color, ls=stroke, label=label
            )
        what = {"double star": "from star to star", "planet": "across the belts"}
        last.set(
            xlabel=f"{what.get(self.target, 'across the edge')} (arcsec)",
            ylabel="light",
            xlim=(self.along.value[0], self.along.value[-1]),
            # Room for the legend above two stars; planet and edge leave some free.
            ylim=(0, 1.4 if self.target == "double star" and legend else None),
        )
        last.grid(True)
        if titles:
            style.entitle(last, "Light along a line", fontsize=10)
        if legend:
            last.legend(fontsize=7, loc=_LEGEND[self.target])


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class TargetSheet:
    """A double star, a planet and the Moon's edge through the same telescope and the same air.

    Attributes
    ----------
    double_star, planet, edge : TargetView
        Each by itself.
    """

    double_star: TargetView
    planet: TargetView
    edge: TargetView

    def __repr__(self) -> str:
        return short_repr(self)

    @property
    def views(self) -> tuple[TargetView, TargetView, TargetView]:
        """All three."""
        return self.double_star, self.planet, self.edge

    @property
    def table(self) -> QTable:
        """The numbers of all three, with the target in the first column."""
        from astropy.table import vstack

        parts = []
        for view in self.views:
            part = view.table.copy()
            part.add_column([view.target] * len(part), name="target", index=0)
            parts.append(part)
        return vstack(parts)

    def sentences(self) -> list[str]:
        """One for each target."""
        return [s for view in self.views for s in view.sentences()]

    def plot(self, title: str = "") -> Any:
        """Draw all of them on one sheet.

        Parameters
        ----------
        title : str
            Over the sheet.

        Returns
        -------
        matplotlib figure
            A row a target.
        """
        import matplotlib.pyplot as plt

        count = max(len(view._shown()) for view in self.views)
        with style.figure_style():
            figure, rows = plt.subplots(
                3, count + 1, figsize=(2.9 * count + 3.4, 9.2), layout="constrained"
            )
            for k, (row, view) in enumerate(zip(rows, self.views)):
                shown = len(view._shown())
                view._draw([*row[:shown], row[-1]], titles=k == 0, legend=k == 2)
                for ax in row[shown:-1]:
                    ax.set_axis_off()
            if title:
                figure.suptitle(_units.text(title, "title"))
        return figure

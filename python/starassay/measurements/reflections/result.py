"""A photo of reflections, and how it tells itself."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ... import _records
from ...results import Picture, Result, Sheet, column_words
from . import figures

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Reflections(Result, _records.ReflectionsResult):
    """Circles in a photo of reflections and how far they are out of one middle; its attributes are those of the engine's record.

    Attributes
    ----------
    name : str
        Of the photo.
    """

    name: str

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        return "Reflections" + (f" in {self.name}" if self.name else "")

    @property
    def table(self) -> QTable:
        """One row a circle against one round it: offset as a vector in pixels, its length as a share and in mm."""
        from astropy.table import QTable

        columns: dict[str, Any] = {}
        words = column_words(_records.ReflectionPair)
        for name in ("outer", "inner"):
            columns[name] = [int(getattr(p, name)) for p in self.pairs]
        for name in ("offset_x", "offset_y", "share", "on_objective"):
            values = [getattr(p, name) for p in self.pairs]
            unit = {"share": u.one, "on_objective": u.mm}.get(name, u.pix)
            columns[name] = u.Quantity([u.Quantity(v.value) for v in values], unit)
            columns[f"{name}_uncertainty"] = u.Quantity(
                [u.Quantity(v.uncertainty) for v in values], unit
            )
        columns["told"] = np.array([p.told for p in self.pairs], dtype=bool)
        table = QTable(columns)
        for name in table.colnames:
            base = name.removesuffix("_uncertainty")
            tail = " (standard uncertainty)" if base != name else ""
            table[name].info.description = words[base].rstrip(".") + tail + "."
        return table

    @property
    def circle_table(self) -> QTable:
        """One row a circle, largest first: middle and radius in the straightened picture, width of its edge, roughness."""
        from astropy.table import QTable

        names = "number axis_ratio oblique edge_width contrast covered clipped roughness".split()
        columns: dict[str, Any] = {}
        for name in ("x", "y", "radius"):
            values = [getattr(c, name) for c in self.circles]
            columns[name] = u.Quantity([v.value for v in values])
            columns[f"{name}_uncertainty"] = u.Quantity([v.uncertainty for v in values])
        for name in names:
            values = [getattr(c, name) for c in self.circles]
            columns[name] = u.Quantity(values) if isinstance(values[0], u.Quantity) else values
        table = QTable(columns)
        words = column_words(_records.ReflectionCircle)
        for name in table.colnames:
            base = name.removesuffix("_uncertainty")
            tail = " (standard uncertainty)" if base != name else ""
            table[name].info.description = words[base].rstrip(".") + tail + "."
        return table[["number", *[n for n in table.colnames if n != "number"]]]

    def called(self, number: int) -> str:
        """What a circle is, as far as it was said.

        Parameters
        ----------
        number : int
            Of the circle.
        """
        names = {
            self.objective: "the objective's edge",
            self.spot: "the dark spot",
            self.sight: "the focuser's end",
        }
        said = names.get(number) if number else None
        return f"{said} (circle {number})" if said else f"circle {number}"

    def sentences(self) -> list[str]:
        """What was found, what is out of the middle, tilts."""
        count = len(self.circles)
        said = [] if self.decided else ["Not decided: see the notes of doubt."]
        said.append(f"{count} circle{'s' if count > 1 else ''} found.")
        for pair in self._main():
            said.append(self._offset(pair))
        if np.isfinite(self.objective_tilt.value):
            said.append(
                f"The objective's axis is tilted by {self.objective_tilt} against the line from its middle to the hole."
            )
        if np.isfinite(self.focuser_aim.value):
            said.append(
                f"The focuser's axis misses the middle of the objective by {self.focuser_aim}."
            )
        if np.isfinite(self.axis_tilt.value):
            said.append(
                f"The focuser's axis stands {self.axis_tilt} off the objective's axis, both together."
            )
        return said

    def _main(self) -> list[Any]:
        """Pairs of which sentences speak: those of named circles, else all against the largest."""
        named = {self.objective, self.spot, self.sight} - {0}
        chosen = [p for p in self.pairs if {p.outer, p.inner} <= named] if len(named) > 1 else []
        return chosen or [p for p in self.pairs if p.outer == 1]

    def _offset(self, pair: Any) -> str:
        inner, outer = self.called(pair.inner), self.called(pair.outer)
        inner = inner[0].upper() + inner[1:]
        length = f" ({pair.on_objective})" if np.isfinite(pair.on_objective.value) else ""
        if not pair.told:
            most = float(pair.share.value) + 2.45 * float(pair.share.uncertainty)
            return (
                f"{inner} lies in the middle of {outer} within its bars: {pair.offset}{length}, below {100 * most:.2g} % of the radius "
                "at 95 %."
            )
        turn = float(pair.direction.value.to_value(u.deg))
        bar = max(float(pair.direction.uncertainty.to_value(u.deg)), 0.5)
        return (
            f"{inner} lies {pair.offset}{length}, {100 * pair.share} % of the radius, out of the middle of {outer}, toward "
            f"{turn:.0f} ± {bar:.0f} deg in the photo."
        )

    def sheets(self) -> list[Sheet]:
        """The circles, and each against those round it."""
        circles = [
            (
                str(c.number),
                f"{c.x.value.value:.3f} ± {c.x.uncertainty.value:.3f}",
                f"{c.y.value.value:.3f} ± {c.y.uncertainty.value:.3f}",
                f"{c.radius.value.value:.2f}",
                f"{c.axis_ratio:.4f}",
                "inside" if c.bright_inside else "outside",
                f"{c.edge_width.value:.1f}",
                f"{100 * c.covered:.0f}",
            )
            for c in self.circles
        ]
        head = (
            "circle",
            "middle x (pixel)",
            "middle y (pixel)",
            "radius",
            "short over long axis",
            "bright",
            "edge 10 to 90 % (pixel)",
            "of it used (%)",
        )
        sheets = [
            Sheet("Circles, from the largest, in the straightened picture", head, tuple(circles), 1)
        ]
        if self.pairs:
            rows = []
            for p in self.pairs:
                mm = str(p.on_objective) if np.isfinite(p.on_objective.value) else ""
                rows.append(
                    (
                        f"{p.inner} in {p.outer}",
                        f"{p.offset_x.value.value:+.3f} ± {p.offset_x.uncertainty.value:.3f}",
                        f"{p.offset_y.value.value:+.3f} ± {p.offset_y.uncertainty.value:.3f}",
                        f"{100 * float(p.share.value):.2f} ± {100 * float(p.share.uncertainty):.2f}",
                        mm,
                        "yes" if p.told else "no",
                    )
                )
            titles = (
                "circle",
                "out of the middle, x (pixel)",
                "y (pixel)",
                "of the radius (%)",
                "at the objective",
                "stands out",
            )
            sheets.append(Sheet("Out of the middle", titles, tuple(rows), 1))
        return sheets

    def figures(self) -> list[Picture]:
        """The photo with its circles, and the offsets with their bars."""
        return [
            Picture(
                self.plot,
                "Left: the photo (square root of its light) with the circles, numbered from the largest, and their middles. Right: middles against that of the "
                "objective's edge, else of the largest circle, with ellipses that hold them with 68 and 95 %. x to the right, y up, as one looks at the photo.",
                f"Photo with {len(self.circles)} circles and their middles",
            )
        ]

    def plot(self, _: Any = None) -> Any:
        """The photo with its circles, and how far they are out of one middle.

        Returns
        -------
        matplotlib figure
            What was drawn.
        """
        return figures.draw_circles(self)

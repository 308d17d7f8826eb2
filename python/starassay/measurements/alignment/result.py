"""The alignment, and how it tells itself."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ... import _records
from ...results import Measured, Picture, Result, Sheet, column_words
from .._ways import opposite, way
from . import figures

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Alignment(Result, _records.AlignmentResult):
    """How far rings and shadow are out of the middle, and why; its attributes are those of the engine's record."""

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        return f"Alignment from {'one image' if len(self.images) == 1 else 'both sides of focus'}"

    @property
    def table(self) -> QTable:
        """One row an image: defocus, circles of the edges, decentre."""
        from astropy.table import QTable

        names = "outer_x outer_y outer_radius shadow_x shadow_y shadow_radius blur_radius".split()
        columns: dict[str, Any] = {
            "image": [i.name for i in self.images],
            "defocus_waves": [i.defocus_waves for i in self.images],
        }
        for name in names:
            columns[name] = u.Quantity([getattr(i, name) for i in self.images])
        table = QTable(columns)
        words = {**column_words(_records.AlignmentImage), "image": "Name of the image."}
        for name in table.colnames:
            table[name].info.description = words[name]
        return table

    @property
    def ring_table(self) -> QTable:
        """One row an edge or ring: radius, middle from that of the outer edge, what the fit has there, its bright side."""
        from astropy.table import QTable

        def column(name: str) -> u.Quantity:
            return u.Quantity([getattr(ring, name).value for ring in self.rings])

        def bar(name: str) -> u.Quantity:
            return u.Quantity([getattr(ring, name).uncertainty for ring in self.rings])

        if not self.rings:
            return QTable()
        return QTable(
            {
                "image": [self.images[r.image].name for r in self.rings],
                "kind": [r.kind for r in self.rings],
                "radius": u.Quantity([r.radius for r in self.rings]),
                "shift_x": column("shift_x"),
                "shift_x_uncertainty": bar("shift_x"),
                "shift_y": column("shift_y"),
                "shift_y_uncertainty": bar("shift_y"),
                "expected_x": u.Quantity([r.expected_x for r in self.rings]),
                "expected_y": u.Quantity([r.expected_y for r in self.rings]),
                "brightness": column("brightness"),
                "bright_side": u.Quantity([r.bright for r in self.rings]),
            }
        )

    def sentences(self) -> list[str]:
        """The coma with its direction, what else moves the shadow, and which way to turn."""
        waves = float(self.coma.value / self.wavelength)
        said = [] if self.decided else ["Not decided: see the notes of doubt."]
        inner = "shadow" if np.isfinite(self.obstruction.value) else "innermost ring"
        if self.coma_told:
            said.append(
                f"Coma {self.coma} RMS ({waves:.3f} wave, Strehl ratio {self.coma_strehl:.2f} by itself): the {inner} is out of "
                f"the middle of the outer edge by {100 * self.coma_decentre} % of the blur radius toward {angle(self.coma_direction)} "
                f"in the image, {way(self.coma_direction.value)}."
            )
        else:
            most = 2.45 * float(self.coma.uncertainty.value) + float(self.coma.value.value)
            said.append(
                f"No coma stands out: {self.coma} RMS, below {most:.0f} nm at 95 %. The {inner} is in the middle of the outer "
                f"edge within {100 * self.coma_decentre} % of the blur radius."
            )
        first = self.images[0]
        said.append(
            f"In {first.name} the {inner} lies {self.decentre_pixels} ({self.decentre_length}) from the middle of the outer edge, all "
            f"causes together; the blur radius is {first.blur_radius:.1f}."
        )
        if self.offset_told:
            toward = np.arctan2(self.offset_y.value, self.offset_x.value).to(u.deg)
            size = np.hypot(self.offset_x.value, self.offset_y.value)
            bar = np.hypot(self.offset_x.uncertainty, self.offset_y.uncertainty) / np.sqrt(2)
            said.append(
                f"The obstruction itself stands {100 * Measured(size, bar)} % of the aperture's radius out of the middle, "
                f"toward {toward.value:.0f} deg in {first.name}. That is no coma: it turns over through focus, and screws that aim a "
                "mirror do not cure it."
            )
        return [*said, *self._turning()]

    def _turning(self) -> list[str]:
        """Which way to turn, in words."""
        if not self.coma_told:
            return []
        shadow = f"{self.coma_direction.value.value:.0f} deg in the image ({way(self.coma_direction.value)})"
        away = opposite(self.coma_direction.value)
        toward = f"{away.value:.0f} deg ({way(away)})"
        if np.isfinite(self.axis_distance.value):
            said = [
                f"Which way to turn: the axis of the paraboloid meets the sensor {self.axis_distance} from the star, toward {shadow}. "
                f"Turn the main mirror by {self.mirror_turn} so that the star moves away from there, toward {toward}, by twice that "
                "distance, which brings the axis to where the star stood. Bring the star back with the mount and measure again."
            ]
        elif np.isfinite(self.obstruction.value):
            said = [
                f"Which way to turn: the shadow is shifted toward {shadow}; the screw that moves the star the opposite way, toward "
                f"{toward}, makes it better (common practice, no source; for a paraboloid it follows from its coma). Bring the star "
                "back to the middle with the mount and measure again; if it got worse, turn the other way."
            ]
        else:
            said = [
                f"Which way to turn: not told for a lens, whose coma may point either way. Where the maker gives the owner screws, "
                f"turn so that the star moves toward {toward}, bring it back to the middle with the mount, measure again, and go on or "
                "back by what coma does."
            ]
        if np.isfinite(self.clock_hour):
            said.append(
                f"Looking along the tube to the sky, the side of the aperture toward which the shadow is shifted is at "
                f"{self.clock_hour:.1f} o'clock: there a hand throws its shadow where the ring is thin in the first image."
            )
        return said

    def sheets(self) -> list[Sheet]:
        """The circles of each image, then edges and rings one by one."""
        circles = [
            (
                i.name,
                f"{i.defocus_waves:+.2f}",
                f"{i.outer_x.value:.2f}, {i.outer_y.value:.2f}",
                f"{i.outer_radius.value:.2f}",
                f"{100 * i.outer_ellipticity:.1f}",
                f"{i.shadow_x.value:.2f}, {i.shadow_y.value:.2f}",
                f"{i.shadow_radius.value:.2f}",
            )
            for i in self.images
        ]
        head = (
            "image",
            "defocus (waves)",
            "outer edge x, y (pixel)",
            "radius",
            "elliptic (%)",
            "shadow x, y (pixel)",
            "radius",
        )
        rings = [
            (
                self.images[r.image].name,
                r.kind,
                f"{r.radius.value:.1f}",
                f"{r.shift_x.value.value:+.2f} ± {r.shift_x.uncertainty.value:.2f}",
                f"{r.shift_y.value.value:+.2f} ± {r.shift_y.uncertainty.value:.2f}",
                f"{r.expected_x.value:+.2f}, {r.expected_y.value:+.2f}",
                f"{100 * float(r.brightness.value):.1f} ± {100 * float(r.brightness.uncertainty):.1f}",
                f"{r.bright.value:.0f}",
            )
            for r in self.rings
        ]
        titles = (
            "image",
            "what",
            "radius (pixel)",
            "middle x (pixel)",
            "middle y (pixel)",
            "by the fit",
            "bright side (%)",
            "toward (deg)",
        )
        sheets = [Sheet("Circles of the disc", head, tuple(circles), 1)]
        if rings:
            sheets.append(
                Sheet(
                    "Edges and rings traced one by one, from the middle of the outer edge",
                    titles,
                    tuple(rings),
                    2,
                )
            )
        return sheets

    def figures(self) -> list[Picture]:
        """The disc with its circles, and the decentre against the radius."""
        told = f"coma {self.coma}" if self.coma_told else "no coma stands out"
        return [
            Picture(
                self.plot,
                "Each image with the outlines of the pupil as fitted, and the decentre by coma with the ellipses that hold it with "
                "68 and 95 %. Circle with a dot: middle of the outer edge; cross: middle of the shadow. x to the right, y up, as stored.",
                f"Defocused star with circles: {told}",
            ),
            Picture(
                self.plot_rings,
                "Middle of edges and rings from that of the outer edge along the direction of the coma, each traced by itself, and the "
                "law of coma, which goes with the square of the radius.",
                "Shift of edges and rings against their radius",
                "half",
            ),
        ]

    def plot(self, _: Any = None) -> Any:
        """The images with their circles, and the decentre with its ellipses.

        Returns
        -------
        matplotlib figure
            What was drawn.
        """
        return figures.draw_discs(self)

    def plot_rings(self, ax: Any = None) -> Any:
        """Where edges and rings have their middle, against the radius.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        return figures.draw_rings(self, ax)


def angle(value: Measured) -> str:
    """A direction with its bar."""
    return f"{value.value.value:.0f} ± {max(value.uncertainty.value, 0.5):.0f} deg"

"""An edge, and how it tells itself."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ... import _records
from ...results import Picture, Result, Sheet
from . import figures

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class EdgeContrast(Result, _records.EdgeContrastResult):
    """Edge spread, MTF and glare at a bright edge; its attributes are those of the engine's record.

    Attributes
    ----------
    name : str
        Of the frame.
    """

    name: str

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        return "Edge contrast" + (f" of {self.name}" if self.name else "")

    @property
    def frequency_on_sensor(self) -> u.Quantity:
        """The frequencies in cycles per millimeter on the sensor."""
        return (self.frequency / (self.pitch / u.pix)).to(1 / u.mm)

    @property
    def frequency_on_sky(self) -> u.Quantity:
        """The frequencies in cycles per arcsecond on the sky."""
        return (self.frequency / self.pixel_scale).to(1 / u.arcsec)

    @property
    def table(self) -> QTable:
        """MTF against frequency: as recorded, the pixel's own, with the pixel taken out, a perfect aperture's."""
        from astropy.table import QTable

        names = (
            "mtf mtf_uncertainty pixel_mtf seeing_mtf optics_mtf optics_mtf_uncertainty perfect_mtf"
        )
        table = QTable({"frequency": self.frequency})
        table["on_sensor"], table["on_sky"] = self.frequency_on_sensor, self.frequency_on_sky
        table["on_sensor"].info.description = "Frequency on the sensor."
        table["on_sky"].info.description = "Frequency on the sky."
        for name in names.split():
            table[name] = getattr(self, name)
        return table

    @property
    def glare_table(self) -> QTable:
        """Light in the dark over that of the bright side, against the distance from the edge."""
        from astropy.table import QTable

        return QTable(
            {
                "distance": self.glare_radius,
                "on_sky": (self.glare_radius * self.pixel_scale).to(u.arcmin),
                "glare": self.glare,
                "uncertainty": self.glare_uncertainty,
            }
        )

    def sentences(self) -> list[str]:
        """Width, frequency of half contrast, glare, ghosts."""
        said = [
            f"The edge is {self.width} wide from 10 to 90 % ({self.width_on_sky} on the sky), pixel included.",
            self._half(),
            f"As recorded the MTF is {self.mtf_quarter_nyquist} at a quarter and {self.mtf_half_nyquist} at half of the "
            f"pixels' Nyquist frequency; the pixel alone has {self.pixel_mtf[10]:.3f} and {self.pixel_mtf[20]:.3f}.",
        ]
        if np.isfinite(self.glare_index.value):
            said.append(
                f"Veiling glare index {100 * self.glare_index} %: light in the middle of the black patch over that round it."
            )
        elif np.isfinite(self.edge_glare.value):
            said.append(
                f"In the dark {self.glare_distance:.2g} from the edge there is {100 * self.edge_glare} % of the light of the bright side."
            )
        if self.ghosts:
            said.append(
                f"{len(self.ghosts)} patch{'es' if len(self.ghosts) > 1 else ''} of light in the dark that the distance from the edge does "
                "not explain."
            )
        return said

    def _half(self) -> str:
        """Where half of the contrast is left, beside a perfect aperture."""
        without = "pixel and given seeing" if np.nanmin(self.seeing_mtf) < 1 else "the pixel"
        if not np.isfinite(self.mtf50.value):
            return f"With {without} taken out the MTF stays above a half as far as it was measured."
        frequency = (self.mtf50.value * self.pitch).to_value(u.one)
        text = f"With {without} taken out half of the contrast is left at {self.mtf50}"
        if np.all(np.isnan(self.perfect_mtf)):
            return text + "."
        perfect = np.interp(frequency, self.frequency.value, self.perfect_mtf)
        return text + f"; a perfect aperture of this size would have {perfect:.2f} there."

    def sheets(self) -> list[Sheet]:
        """MTF at some frequencies, and ghosts."""
        rows = []
        for k in range(0, 41, 5):
            optics = (
                f"{self.optics_mtf[k]:.3f} ± {self.optics_mtf_uncertainty[k]:.3f}"
                if np.isfinite(self.optics_mtf[k])
                else ""
            )
            perfect = f"{self.perfect_mtf[k]:.3f}" if np.isfinite(self.perfect_mtf[k]) else ""
            rows.append(
                (
                    f"{self.frequency_on_sensor[k].value:.1f}",
                    f"{self.frequency_on_sky[k].value:.3f}",
                    f"{self.mtf[k]:.3f} ± {self.mtf_uncertainty[k]:.3f}",
                    f"{self.pixel_mtf[k]:.3f}",
                    optics,
                    perfect,
                )
            )
        head = (
            "cycles per mm",
            "cycles per arcsec",
            "as recorded",
            "pixel alone",
            "without the pixel",
            "perfect aperture",
        )
        sheets = [
            Sheet("MTF along the edge's normal, up to the Nyquist frequency", head, tuple(rows), 2)
        ]
        if self.ghosts:
            found = [
                (
                    f"{g.x.value:.0f}, {g.y.value:.0f}",
                    f"{g.distance.value:.0f}",
                    f"{g.area.value:.0f}",
                    f"{100 * g.level:.3f}",
                    f"{g.significance:.0f}",
                )
                for g in self.ghosts
            ]
            titles = (
                "x, y (pixel)",
                "from the edge",
                "size",
                "of the bright side (%)",
                "over its noise",
            )
            sheets.append(Sheet("Patches of light in the dark", titles, tuple(found), 2))
        return sheets

    def figures(self) -> list[Picture]:
        """The frame with its edge, the edge spread with the MTF, and the glare."""
        shown = [
            Picture(
                self.plot,
                "Left: the frame with the edge as followed. Middle: edge spread, and the line spread below. Right: MTF along the normal of the edge.",
                f"Frame, edge spread and MTF; the edge is {self.width} wide",
            )
        ]
        if len(self.glare):
            shown.append(
                Picture(
                    self.plot_glare,
                    "Light in the dark over that of the bright side, against the distance from the edge.",
                    "Glare against the distance from the edge",
                    "half",
                )
            )
        return shown

    def plot(self, _: Any = None) -> Any:
        """The frame with its edge, edge spread, MTF.

        Returns
        -------
        matplotlib figure
            What was drawn.
        """
        return figures.draw_edge_and_mtf(self)

    def plot_glare(self, ax: Any = None) -> Any:
        """Light in the dark against the distance from the edge.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        return figures.draw_glare(self, ax)

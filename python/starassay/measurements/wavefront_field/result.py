"""The wavefront over the field, and how it tells itself."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ... import _records
from ...results import Measured, Picture, Result, Sheet
from .. import _coma_free
from .._focus_plane import FocusPlane, draw_focus
from .._sensor_maps import in_mm
from . import figures as _figures

if TYPE_CHECKING:
    from astropy.table import QTable

# A vector or a term is told from nothing by so many of its standard uncertainties.
_TOLD = 3.0

#: Names of the modes of `coefficient`, Noll 5 to 11.
MODES = (
    "astigmatism 45",
    "astigmatism 0",
    "coma y",
    "coma x",
    "trefoil y",
    "trefoil x",
    "spherical",
)


def told(value: Measured) -> bool:
    """Whether a number stands out from nothing."""
    return bool(abs(value.value) > _TOLD * value.uncertainty)


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class WavefrontField(FocusPlane, Result, _records.WavefrontFieldResult):
    """Low modes of the wavefront over the sensor; its attributes are those of the engine's record."""

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        return f"Wavefront over the field from {len(self.x)} stars"

    @property
    def point(self) -> Any:
        """The place without coma that is used: by theory where that tells it, else by the stars alone."""
        theory = self.coma_free_by_theory
        return theory if theory is not None and theory.verdict != "not-told" else self.coma_free

    @property
    def table(self) -> QTable:
        """One row a star: place, best focus, and its modes in nm RMS with their photons' uncertainties."""
        from astropy.table import QTable

        table = QTable(
            {
                name: getattr(self, name)
                for name in "x y star_focus star_focus_uncertainty star_chi_squared".split()
            }
        )
        for k, mode in enumerate(MODES):
            name = f"noll_{k + 5}"
            table[name] = self.coefficient[:, k]
            table[f"{name}_uncertainty"] = self.coefficient_uncertainty[:, k]
            table[name].info.description = f"{mode}, RMS"
            table[f"{name}_uncertainty"].info.description = f"Of {mode}, by photons alone."
        return table

    def focus_at(self, x: Any, y: Any) -> Any:
        """Best focus at pixels from that in the middle of the sensor, growing away from the objective.

        Parameters
        ----------
        x, y : array-like
            Columns and rows, from 0.

        Returns
        -------
        Quantity
            Micrometers.
        """
        across, up = self.field(x, y)
        c = self.focus_terms
        return c[0] * across + c[1] * up + c[2] * (across**2 + up**2)

    def coma_at(self, x: Any, y: Any) -> Any:
        """Coma at pixels: Noll 8 + i Noll 7.

        Parameters
        ----------
        x, y : array-like
            Columns and rows, from 0.

        Returns
        -------
        Quantity
            Complex, nm RMS.
        """
        across, up = self.field(x, y)
        c = self.coma_terms
        return c[0] + 1j * c[1] + c[2] * (across + 1j * up)

    def astigmatism_at(self, x: Any, y: Any) -> Any:
        """Astigmatism at pixels: Noll 6 + i Noll 5.

        Parameters
        ----------
        x, y : array-like
            Columns and rows, from 0.

        Returns
        -------
        Quantity
            Complex, nm RMS.
        """
        across, up = self.field(x, y)
        h, b = across + 1j * up, self.astigmatism_terms
        return b[0] + 1j * b[1] + (b[2] + 1j * b[3]) * h + b[4] * h * h

    def rms_at(self, x: Any, y: Any, focused: bool = False) -> Any:
        """Wavefront error of focus and the modes up to Noll 11 at pixels by the laws.

        Parameters
        ----------
        x, y : array-like
            Columns and rows, from 0.
        focused : bool
            Focus each place by itself; else the sensor stands where the whole of it is best.

        Returns
        -------
        Quantity
            nm RMS.
        """
        square = np.abs(self.coma_at(x, y)) ** 2 + np.abs(self.astigmatism_at(x, y)) ** 2
        square = square + self.spherical.value**2
        square = square + self.trefoil_x.value**2 + self.trefoil_y.value**2
        if not focused:
            columns, rows = np.linspace(0, self.width - 1, 41), np.linspace(0, self.height - 1, 41)
            best = self.focus_at(columns[None, :], rows[:, None]).mean()
            # W020 = dz / (8 N^2), and rho^2 is 1 / (2 sqrt(3)) RMS.
            away = (self.focus_at(x, y) - best) / (8 * self.focal_ratio**2) / (2 * np.sqrt(3))
            square = square + away.to(u.nm) ** 2
        return np.sqrt(square)

    def sentences(self) -> list[str]:
        """Tilt with what cures it, curvature, the modes over the field, what they mean, where the sensor is best."""
        said = self.plane_sentences()
        said.append(
            f"Coma {self.coma_constant} in the middle of the sensor, {self.coma_linear} more at the corner; astigmatism "
            f"{self.astigmatism_constant} in the middle, growing with the field to {self.astigmatism_linear} and with its "
            f"square to {self.astigmatism_quadratic} at the corner; spherical aberration {self.spherical}, trefoil "
            f"{self.trefoil} (RMS, {self.wavelength:.0f})."
        )
        said.append(_coma_free.place(self.point))
        said += self.meaning()
        said.append(
            f"Over the whole sensor these errors are {self.rms_sensor} with focus at its best, "
            f"{self.rms_sensor_level:.0f} with the camera leveled; best at {self._place(self.best_x, self.best_y)}."
        )
        return said

    def meaning(self) -> list[str]:
        """What coma and astigmatism that do not vanish in the middle point to."""
        said = []
        coma, first = told(self.coma_constant), told(self.astigmatism_linear)
        same, constant = told(self.astigmatism_constant), told(self.trefoil)
        if coma and self._one_axis():
            said.append(
                "Coma and astigmatism have their middle at one place, "
                f"({self.coma_node_x}, {self.coma_node_y}) from the sensor's: the camera sits beside the optical axis, and "
                "the parts of the telescope are centered to each other."
            )
        elif coma and first:
            said.append(
                "Coma in the middle and astigmatism that grows in one direction point to a part of the telescope that is "
                "decentered or tilted against the others: collimate it."
            )
        elif coma:
            said.append(
                "Coma in the middle of the sensor: collimation is off, or the camera sits beside the optical axis."
            )
        if same and not self._one_axis() and not (coma and first):
            also = " and trefoil" if constant else ""
            said.append(
                f"Astigmatism{also} that is the same all over the field: glass or mirror squeezed or bent, by its cell or by "
                "cold, or figured so. Ease the screws of the cell (with care, and as its maker says) and measure again."
            )
        if not said and self.shims():
            said.append("No part stands out as decentered or squeezed: the tilt is the camera's.")
        return said

    def _one_axis(self) -> bool:
        """Whether coma's node and the middle of astigmatism's nodes are one place within their bars, and told."""
        if len(self.node_x) < 2 or not np.isfinite(self.coma_node_x.value):
            return False
        away = np.hypot(
            self.node_x.mean() - self.coma_node_x.value, self.node_y.mean() - self.coma_node_y.value
        )
        bar = np.hypot(self.coma_node_x.uncertainty, self.coma_node_y.uncertainty)
        return bool(away < 2 * np.hypot(bar, np.sqrt((self.node_uncertainty**2).mean())))

    def _place(self, x: Any, y: Any) -> str:
        across, up = self.field(x.value, y.value)
        names = [
            name
            for value, low, high in ((up, "lower", "upper"), (across, "left", "right"))
            for name in ((high,) if value > 0.25 else (low,) if value < -0.25 else ())
        ]
        part = "the middle" if not names else f"the {' '.join(names)} part"
        return f"({x.value:.0f}, {y.value:.0f}) pix, {part} of the sensor"

    def sheets(self) -> list[Sheet]:
        """All terms with their uncertainties and what they grow with."""
        rows = [
            ("best focus, right from left edge", str(self.tilt_across_width), "tilt of the camera"),
            (
                "best focus, upper from lower edge",
                str(self.tilt_across_height),
                "tilt of the camera",
            ),
            ("best focus, corner from middle", str(self.curvature_sag), "curvature of the field"),
            (
                "coma, the same everywhere",
                str(self.coma_constant),
                "collimation, camera off the axis",
            ),
            (
                "coma, growing, at the corner",
                str(self.coma_linear),
                "design of the optics, spacing",
            ),
            (
                "astigmatism, the same everywhere",
                str(self.astigmatism_constant),
                "squeezed or bent optics",
            ),
            (
                "astigmatism, growing, at the corner",
                str(self.astigmatism_linear),
                "decentered or tilted part",
            ),
            (
                "astigmatism, with the square, at the corner",
                str(self.astigmatism_quadratic),
                "design of the optics, spacing",
            ),
            ("spherical aberration", str(self.spherical), "figure, spacing"),
            ("trefoil", str(self.trefoil), "squeezed optics"),
        ]
        places = [_coma_free.row("by the stars alone", self.coma_free)]
        if self.coma_free_by_theory is not None:
            places.append(_coma_free.row("of a single paraboloid", self.coma_free_by_theory))
        return [
            Sheet("Terms over the field", ("term", "value", "points to"), tuple(rows), 1),
            Sheet("Place without coma", _coma_free.HEAD, tuple(places), 1),
        ]

    def figures(self) -> list[Picture]:
        """Best focus with the cure, coma, astigmatism, and the error over the sensor."""
        return [
            Picture(
                self.plot,
                "Best focus over the sensor from that of its middle: lines are the law, dots single stars. Warm colors focus "
                "farther from the objective; the edges that have to move away from it are marked.",
                f"Map of best focus: tilt {self.sensor_tilt}, corners {self.curvature_sag} from the middle",
            ),
            Picture(
                self.plot_coma,
                "Coma over the sensor: arrows point where the flare of a star in focus points. Gray: single stars.",
                f"Arrows of coma over the sensor, {self.coma_constant} in the middle",
                "half",
            ),
            Picture(
                self.plot_coma_free,
                "Where the coma-free axis meets the sensor: blue arrows point where the flare of each measured star points, gray ones are the "
                "law; the cross with ellipses that hold it with 68 and 95 %, or the way in which it "
                "lies where it passes beside the sensor; the plus is the middle.",
                f"Sensor with the place without coma: {_coma_free.place(self.point)}",
                "half",
            ),
            Picture(
                self.plot_astigmatism,
                "Astigmatism over the sensor: sticks lie along the long side of a star a little outside of focus. Gray: single "
                "stars; crosses: places without astigmatism.",
                f"Sticks of astigmatism over the sensor, {self.astigmatism_constant} in the middle",
                "half",
            ),
            Picture(
                self.plot_rms,
                "Wavefront error of focus, coma, astigmatism, spherical aberration and trefoil with the sensor where the whole "
                "of it is best; the cross is the best place.",
                f"Map of the wavefront error over the sensor, {self.rms_sensor} over the whole",
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
        stars = (self.x.value, self.y.value, self.star_focus.value)
        return draw_focus(self, lambda x, y: self.focus_at(x, y).value, stars, ax)

    def plot_coma(self, ax: Any = None) -> Any:
        """Coma over the sensor as arrows.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        return _figures.coma(self, ax)

    def plot_coma_free(self, ax: Any = None) -> Any:
        """The place without coma on the sensor, with its ellipses.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        law, half = self.coma_terms.value, float(np.hypot(self.width, self.height)) / 2
        per_mm = 1 / (half * float(self.pitch.to_value(u.mm)))
        if self.point is self.coma_free_by_theory:
            middle, slope = self.point.middle.value, self.point.slope.value.value
        else:
            middle, slope = law[:2], law[2] * per_mm
        # A ray lands at -2 N dW/du, which the drawing knows: the stars' own coma is handed over as it is.
        own = (self.coefficient[:, 3] + 1j * self.coefficient[:, 2]).to_value(u.nm)
        at = (in_mm(self, self.x.value, self.width), in_mm(self, self.y.value, self.height))
        return _coma_free.draw(self, self.point, (complex(*middle), float(slope)), (*at, own), ax)

    def plot_astigmatism(self, ax: Any = None) -> Any:
        """Astigmatism over the sensor as sticks, with its nodes.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        return _figures.astigmatism(self, ax)

    def plot_rms(self, ax: Any = None) -> Any:
        """Wavefront error over the sensor.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        return _figures.rms(self, ax)

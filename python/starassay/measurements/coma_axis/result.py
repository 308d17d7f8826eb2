"""The coma-free axis, and how it tells itself."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ... import _records
from ...results import Picture, Result, Sheet
from .. import _coma_free
from .._sensor_maps import in_mm

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ComaAxis(Result, _records.ComaAxisResult):
    """Where the coma-free axis meets the sensor; its attributes are those of the engine's record."""

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        return f"Coma-free axis from {len(self.star_x)} stars"

    @property
    def point(self) -> Any:
        """The place that is used: by theory where that holds, else by the stars alone."""
        return self.coma_free_by_theory if self.theory_used else self.coma_free

    @property
    def table(self) -> QTable:
        """One row a star: place, coma, what the law leaves of it."""
        from astropy.table import QTable

        names = (
            "star_x star_y star_coma_x star_coma_x_uncertainty star_coma_y star_coma_y_uncertainty "
            "residual_x residual_y"
        )
        return QTable({name: getattr(self, name) for name in names.split()})

    def sentences(self) -> list[str]:
        """The place, by the stars and by theory, the coma in the middle, and which way to turn."""
        said = [] if not self.doubts else ["Not decided: see the notes of doubt."]
        said.append(_coma_free.place(self.point))
        if self.theory_used:
            alone = _coma_free.place(self.coma_free)
            said.append(
                "That is with the growth of a single paraboloid's coma, "
                f"{self.coma_free_by_theory.slope}; by the stars alone: {alone[0].lower()}{alone[1:]}"
            )
        said.append(
            f"Coma in the middle of the sensor: {self.coma_middle_x} along x, {self.coma_middle_y} along y (RMS, "
            f"{self.wavelength:.0f}); over the sensor it grows by {self.coma_free.slope}."
        )
        turn = "" if self.doubts else _coma_free.turning(self.point, self.mirror_turn)
        return [*said, turn] if turn else said

    def sheets(self) -> list[Sheet]:
        """The place, and every star."""
        rows = [_coma_free.row("by the stars alone", self.coma_free)]
        if self.coma_free_by_theory is not None:
            rows.append(_coma_free.row("of a single paraboloid", self.coma_free_by_theory))
        stars = [
            (
                f"{self.star_x[k].value:.0f}, {self.star_y[k].value:.0f}",
                f"{self.star_coma_x[k].value:+.1f} ± {self.star_coma_x_uncertainty[k].value:.1f}",
                f"{self.star_coma_y[k].value:+.1f} ± {self.star_coma_y_uncertainty[k].value:.1f}",
                f"{self.residual_x[k].value:+.1f}, {self.residual_y[k].value:+.1f}",
            )
            for k in range(len(self.star_x))
        ]
        head = ("star (pix)", "coma x (nm)", "coma y (nm)", "off the law (nm)")
        return [
            Sheet("Place without coma", _coma_free.HEAD, tuple(rows), 1),
            Sheet("Stars", head, tuple(stars), 1),
        ]

    def figures(self) -> list[Picture]:
        """The sensor with the place."""
        return [
            Picture(
                self.plot,
                "The sensor: arrows point where the flare of a star in focus points, blue for the measured stars, gray by the law; the "
                "cross is the place without coma with ellipses that hold it with 68 and 95 %, the plus the middle.",
                f"Sensor with arrows of coma: {_coma_free.place(self.point)}",
            )
        ]

    def plot(self, ax: Any = None) -> Any:
        """The sensor with arrows of coma and the place without it.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        own = (self.star_coma_x + 1j * self.star_coma_y).to_value(u.nm)
        stars = (
            in_mm(self, self.star_x.value, self.width),
            in_mm(self, self.star_y.value, self.height),
            own,
        )
        law = np.asarray(self.law, dtype=float)
        if self.theory_used:
            point = self.coma_free_by_theory
            law = np.array([*point.middle.to_value(u.nm), point.slope.value.value])
        return _coma_free.draw(
            self, self.point, (complex(law[0], law[1]), float(law[2])), stars, ax
        )

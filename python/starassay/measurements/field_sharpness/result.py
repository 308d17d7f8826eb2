"""The sharpness of the field, and how it tells itself."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np

from ... import _records
from ...results import Picture, Remedy, Result, Sheet, format_measured
from . import figures

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class FieldSharpness(Result, _records.FieldSharpnessResult):
    """Sharpness over one frame; its attributes are those of the engine's record.

    Attributes
    ----------
    name : str
        The frame's name.
    """

    name: str = ""

    @property
    def title(self) -> str:
        """Of which frame."""
        return f"Field sharpness of {self.name}" if self.name else "Field sharpness"

    @property
    def table(self) -> QTable:
        """One row a star: place, widths, lengthening with its direction."""
        from astropy.table import QTable

        names = "x y star_fwhm star_hfr star_ellipticity star_direction".split()
        return QTable({name: getattr(self, name) for name in names})

    @property
    def format_table(self) -> QTable:
        """One row a sensor format: FWHM of its parts, half-flux radius and ellipticity of its corners."""
        from astropy.table import QTable

        parts = "center mid_field edge corner worst_corner corner_hfr corner_ellipticity".split()
        table = QTable({"format": [f.format for f in self.formats]})
        for name in parts:
            found = [getattr(f, name) for f in self.formats]
            table[name] = [m.value for m in found]
            table[f"{name}_uncertainty"] = [m.uncertainty for m in found]
        return table

    def verdict(self, cause: str) -> str:
        """Whether a cause is "present", "absent" or "not decided".

        Parameters
        ----------
        cause : str
            "tilt", "curvature", "astigmatism", "coma" or "trailing".
        """
        return next(c.verdict for c in self.causes if c.cause == cause)

    def sentences(self) -> list[str]:
        """Middle and corners, roundness, the sharp circle, and what the pattern means."""
        sky = np.isfinite(self.corner_fwhm_on_sky.value.value)
        middle = f"{self.center_fwhm}" + (f" = {self.center_fwhm_on_sky}" if sky else "")
        rim = f"{self.corner_fwhm}" + (f" = {self.corner_fwhm_on_sky}" if sky else "")
        said = [
            f"FWHM {middle} in the middle, {rim} in the corners of the frame ({self.corner_to_center} times).",
            f"Ellipticity in the corners {self.corner_ellipticity}; {self._split()}.",
            f"The FWHM stays under {self.blur_limit.value:.3g} um "
            + (
                "in the whole frame."
                if self.sharp_everywhere
                else f"within a circle of {self.sharp_circle} about the middle."
            ),
        ]
        for verdict, words in (
            ("present", "The pattern shows {}."),
            ("absent", "Not noticed: {}."),
            ("not decided", "Not decided by this frame: {}."),
        ):
            named = [c.cause for c in self.causes if c.verdict == verdict]
            if named:
                said.append(words.format(_listed(named)))
        said += [c.meaning for c in self.causes if c.verdict == "present"]
        return said

    def _split(self) -> str:
        """Radial or tangential, and what all stars share."""
        radial, shared = self.radial_lengthening, self.common_lengthening
        told = abs(radial.value) > 2 * radial.uncertainty
        word = (
            f"{'radial' if radial.value > 0 else 'tangential'} part there {abs(float(radial.value)):.3f} ± {float(radial.uncertainty):.3f}"
            if told
            else "neither radial nor tangential beyond its uncertainty"
        )
        common = (
            f"all stars share {shared} at {self.common_direction.value:+.0f} deg from +x"
            if shared.value > 2 * shared.uncertainty
            else "no direction common to all"
        )
        return f"{word}; {common}"

    def remedies(self) -> list[Remedy]:
        """The part of the frame that is sharp."""
        if self.sharp_everywhere or not np.isfinite(self.sharp_circle.value):
            return []
        return [
            Remedy(
                "a crop",
                "around",
                self.sharp_circle,
                f"The FWHM stays under {self.blur_limit:.3g} within a circle of {self.sharp_circle} about the middle: a "
                "crop to it is as sharp as this frame gets.",
            )
        ]

    def sheets(self) -> list[Sheet]:
        """Formats, causes, budget."""
        rows = [
            (
                f.format,
                *(_bare(m) for m in (f.center, f.mid_field, f.edge, f.corner, f.worst_corner)),
                _bare(f.corner_hfr),
                _bare(f.corner_ellipticity),
            )
            for f in self.formats
        ]
        head = (
            "sensor",
            "middle",
            "half-way",
            "edges",
            "corners",
            "worst corner",
            "HFR, corners",
            "ellipticity, corners",
        )
        causes = [
            (
                c.cause,
                c.verdict,
                f"{c.probability:.2f}",
                f"{100 * c.blur_share:.0f} %" if c.probability > 0.05 else "-",
                f"{c.lengthening:.2f}" if c.probability > 0.05 else "-",
            )
            for c in self.causes
        ]
        told = [
            Sheet("FWHM by sensor format about the middle (um)", head, tuple(rows), 1),
            Sheet(
                "Causes, weighed against the stars (share of the evidence; what it does at the rim if it is there)",
                ("cause", "verdict", "evidence", "of the blur", "lengthening"),
                tuple(causes),
                2,
            ),
        ]
        if self.budget:
            lines = [
                (
                    p.part if p.place == "everywhere" else f"{p.part}, {p.place}",
                    "" if p.known else "not given",
                    _bare(p.on_sky),
                    _bare(p.on_sensor),
                    f"{p.adds.value:.2f}" if np.isfinite(p.adds.value) else "-",
                )
                for p in self.budget
            ]
            told.append(
                Sheet(
                    "Sharpness budget: FWHM, computed through the pupil (left: what must be added to the known parts to "
                    "make the stars; field: what the corners have beyond the middle)",
                    ("part", "", "arcsec", "um", "adds (arcsec)"),
                    tuple(lines),
                    2,
                )
            )
        return told

    def figures(self) -> list[Picture]:
        """The width over the sensor, the lengthening, and the budget."""
        said = f"FWHM {self.center_fwhm} in the middle, {self.corner_fwhm} in the corners"
        shown = [
            Picture(
                self.plot,
                "FWHM over the sensor: lines are the smooth field, dots single stars, the dashed circle is that within "
                "which the stated limit is kept. x right, y up, as in the file.",
                f"Map of FWHM: {said}",
            ),
            Picture(
                self.plot_lengthening,
                "Smooth lengthening of the stars: long axes, enlarged as the bar says; blue towards the middle, orange "
                "across, grey neither.",
                f"Whiskers over the sensor: ellipticity {self.corner_ellipticity} in the corners",
                "half",
            ),
            Picture(
                self.plot_distance,
                "FWHM against the distance from the middle: stars, the smooth field's mean round the middle, and its least "
                "and largest.",
                f"FWHM from the middle to the corners: {said}",
                "half",
            ),
        ]
        if self.budget:
            shown.append(
                Picture(
                    self.plot_budget,
                    "Where the blur comes from: widths by themselves. They do not add up in squares; what is left is computed "
                    "through the pupil.",
                    "Bars of the sharpness budget in arcsec and um",
                    "half",
                )
            )
        return shown

    def plot(self, ax: Any = None) -> Any:
        """FWHM over the sensor.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        return figures.draw_widths(self, ax)

    def plot_lengthening(self, ax: Any = None) -> Any:
        """Long axes of the smooth field over the sensor.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        return figures.draw_lengthening(self, ax)

    def plot_distance(self, ax: Any = None) -> Any:
        """FWHM against the distance from the middle.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        return figures.draw_distance(self, ax)

    def plot_budget(self, ax: Any = None) -> Any:
        """The sharpness budget as bars.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        return figures.draw_budget(self, ax)


def _bare(measured: Any) -> str:
    """A number with its uncertainty, without its unit; a dash for none."""
    value, error = (float(getattr(v, "value", v)) for v in (measured.value, measured.uncertainty))
    if not np.isfinite(value):
        return "-"
    return format_measured(value, error) if np.isfinite(error) else f"{value:.2f}"


def _listed(words: list[str]) -> str:
    return ", ".join(words[:-1]) + (" and " if len(words) > 1 else "") + words[-1]

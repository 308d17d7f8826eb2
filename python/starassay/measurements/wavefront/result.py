"""The fitted wavefront with everything that must be known beside it."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ... import _records
from ...errors import CannotMeasureError
from ...optics.contrast import Contrast, compute_contrast
from ...optics.star_colors import StarColors, draw_star_colors
from ...optics.star_test import StarTest, draw_star_test
from ...optics.target_views import TargetSheet
from ...optics.targets import draw_targets
from ...optics.views import PupilMap
from ...results import Picture, Result, Sheet, format_measured
from ...style import new_axes
from . import course as _course, figures

if TYPE_CHECKING:
    from astropy.table import QTable

# How the engine's words about a mode begin when it does not stand out from its error.
_SILENT = "not told from zero by these images"


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class WavefrontFit(Result, _records.WavefrontFit):
    """The wavefront of a telescope from one or more pairs of defocused images.

    Its attributes are those of the engine's record: map and coefficients in nm, positive where the
    wave is ahead, axes as on the sensor (x right, y up).
    """

    @property
    def title(self) -> str:
        """At which wavelength."""
        return f"Wavefront at {self.wavelength:.4g}"

    @property
    def table(self) -> QTable:
        """Noll and OSA index, name, coefficient, uncertainties and plain words of each mode."""
        from astropy.table import QTable

        names = "noll osa mode coefficient uncertainty fit_uncertainty words".split()
        return QTable(
            {n: np.asarray(v) if isinstance(v := getattr(self, n), tuple) else v for n in names},
            meta={
                "sign": "positive where the wave is ahead; circle polynomials, RMS over the disc"
            },
        )

    @property
    def budget_table(self) -> QTable:
        """Where the uncertainty comes from, one row a source."""
        from astropy.table import QTable

        lines = self.budget
        return QTable(
            {
                "source": [b.source for b in lines],
                "kind": [b.kind for b in lines],
                "input": [b.input for b in lines],
                "map": u.Quantity([b.map for b in lines]) if lines else [] * u.nm,
                "rms": u.Quantity([b.rms for b in lines]) if lines else [] * u.nm,
                "strehl": [b.strehl for b in lines],
            }
        )

    @property
    def pupil(self) -> PupilMap:
        """The map as the functions of `starassay.optics.views` take it."""
        return PupilMap(self.map, self.focal_ratio, self.wavelength, self.map_open)

    def contrast(self, **how: Any) -> Contrast:
        """What is left of fine detail, beside perfect apertures.

        Parameters
        ----------
        **how
            Details, colors and passband as for `starassay.compute_contrast`.

        Returns
        -------
        Contrast
            At the fit's wavelength, or in the colors of the color focus.
        """
        return compute_contrast(self.pupil, self._aperture, **how)

    def targets(self, **how: Any) -> TargetSheet:
        """A double star, a planet and the Moon's edge through this telescope, beside perfect ones.

        Parameters
        ----------
        **how
            Separation, magnitudes, diameter, seeing, colors and passband as for `starassay.draw_targets`.

        Returns
        -------
        TargetSheet
            At the fit's wavelength, or in the colors of the color focus.
        """
        return draw_targets(self.pupil, self._aperture, **how)

    def star_test(self, defocus: float | None = None, **how: Any) -> StarTest:
        """Both patterns of a star at equal defocus, ring by ring, beside the first pair's own images.

        Parameters
        ----------
        defocus : float, optional
            To either side, in waves; without it the mean of what the first pair's images have.
        **how
            Seeing as for `starassay.draw_star_test`.

        Returns
        -------
        StarTest
            Of the fitted wavefront.
        """
        if defocus is None:
            own = np.mean([abs(image.defocus_waves) for image in self.images[:2]])
            defocus = float(np.clip(own, 1.0, 16.0))
        drawn = draw_star_test(self.pupil, self._aperture, defocus, **how)
        return dataclasses.replace(
            drawn,
            camera=figures.camera_discs(self),
            spread=(np.asarray(self.noll), self.covariance.to_value(u.nm**2)),
            decided=bool(self.decided),
        )

    def star_colors(self, colors: Any, **how: Any) -> StarColors:
        """What color a star shows in focus and to either side of it, through this wavefront and beside a perfect telescope.

        Parameters
        ----------
        colors : measured curve or mapping of float to Quantity
            Best focus against wavelength (nm) of the same telescope.
        **how
            Star, defocus, halo_radius and seeing as for `starassay.draw_star_colors`.

        Returns
        -------
        StarColors
            With uncertainties from the curve.
        """
        return draw_star_colors(self.pupil, self._aperture, colors, **how)

    @property
    def _aperture(self) -> u.Quantity:
        return self.conditions["request"]["aperture_mm"] * u.mm

    def optics(self) -> dict[str, Any]:
        """The pupil, its aperture, the seeing that the images show, and the star test where the fit may be used."""
        seeing = [s.value.to_value(u.arcsec) for s in self.seeing]
        return {
            "pupil": self.pupil,
            "aperture": self._aperture,
            "seeing": float(np.median(seeing)) * u.arcsec if seeing else None,
            "star_test": self.star_test if self.decided else None,
        }

    def sentences(self) -> list[str]:
        """RMS, PV and Strehl ratio, how well the model holds, and the second opinion."""
        nm = self.wavelength.to_value(u.nm)
        waves = self.rms.value.to_value(u.nm) / nm
        noise = f" (of it, about {self.pv_bias:.2g} from noise)" if self.pv_bias > 0 else ""
        alone = (
            f"; from the RMS alone {self.strehl_from_rms:.4f}"
            if np.isfinite(self.strehl_from_rms)
            else ""
        )
        pairs = len(self.images) // 2
        said = [
            f"RMS wavefront error {self.rms} ({waves:.4f} waves at {nm:.0f} nm), peak to valley "
            f"{self.pv}{noise}.",
            f"Strehl ratio {self.strehl} at {nm:.0f} nm{alone}.",
            f"{pairs} pair{'s' if pairs > 1 else ''}, chi squared {self.chi_squared:.3f} per degree of "
            f"freedom, modes to Noll {int(self.noll[-1])}.",
        ]
        other = self.second_opinion
        if other is not None:
            agrees = "agrees" if other.agrees else "does NOT agree"
            said.append(
                f"A second, independent method {agrees}: it differs by {other.difference.value:.1f} nm RMS, "
                f"where {other.expected.value:.1f} nm is to be expected."
            )
        if self.course is not None:
            said += _course.words(self.course)
        meanings: dict[str, list[str]] = {}
        for noll, words in zip(self.noll, self.words):
            if not words.startswith(_SILENT):
                meanings.setdefault(words, []).append(f"Noll {noll}")
        said += [f"{' and '.join(modes)}: {words}" for words, modes in meanings.items()]
        return said

    def advice(self) -> dict[str, Any]:
        """The modes."""
        numbers = zip(self.noll, self.coefficient.value, self.uncertainty.value)
        color = self.wavelength.to_value(u.nm)
        return {
            "modes": [
                {
                    "noll": int(n),
                    "coefficient_nm": float(c),
                    "uncertainty_nm": float(e),
                    "wavelength_nm": float(color),
                }
                for n, c, e in numbers
            ]
        }

    def sheets(self) -> list[Sheet]:
        """Coefficients that stand out, and the uncertainty budget."""
        rows, silent = [], 0
        for k, noll in enumerate(self.noll):
            if self.words[k].startswith(_SILENT) or noll > 22:
                silent += 1
                continue
            value = format_measured(
                self.coefficient[k].to_value(u.nm), self.uncertainty[k].to_value(u.nm)
            )
            rows.append((figures.mode_name(self.mode[k]), str(noll), str(self.osa[k]), value))
        more = f"; {silent} more are {_SILENT} or beyond Noll 22" if silent else ""
        sheets = [
            Sheet(
                f"Zernike coefficients, nm RMS{more}",
                ("shape", "Noll", "OSA/ANSI", "coefficient (nm)"),
                tuple(rows),
            )
        ]
        if len(self.pairs_alone) > 1:
            sheets.append(self._each_pair())
        if self.budget:
            sheets.append(
                Sheet(
                    "Where the uncertainty comes from (A: scatter of the data, B: other knowledge)",
                    ("source", "kind", "taken as", "map (nm)", "RMS (nm)", "Strehl"),
                    tuple(
                        (
                            b.source,
                            b.kind,
                            b.input,
                            _cell(b.map.value, 2),
                            _cell(b.rms.value, 2),
                            _cell(b.strehl, 4),
                        )
                        for b in self.budget
                    ),
                    words=3,
                )
            )
        return sheets

    def _each_pair(self) -> Sheet:
        """One row a pair fitted alone, and all of them together."""
        noll = [int(n) for n in self.noll]

        def size(coefficients: u.Quantity, *modes: int) -> str:
            parts = [coefficients[noll.index(n)].to_value(u.nm) for n in modes if n in noll]
            if len(parts) < len(modes):
                return "–"
            return f"{parts[0] if len(modes) == 1 else float(np.hypot(*parts)):.2f}"

        rows = [
            (name, one.coefficient, one.rms.to_value(u.nm), one.chi_squared)
            for name, one in zip([i.name for i in self.images[::2]], self.pairs_alone)
        ]
        together = f"all {len(rows)} together"
        rows.append((together, self.coefficient, self.rms.value.to_value(u.nm), self.chi_squared))
        return Sheet(
            "Each pair fitted alone, by its image inside focus, and all of them together (nm RMS)",
            ("pair", "RMS", "spherical", "coma", "astigmatism", "chi squared"),
            tuple(
                (name, f"{rms:.2f}", size(c, 11), size(c, 7, 8), size(c, 5, 6), f"{chi2:.3f}")
                for name, c, rms, chi2 in rows
            ),
        )

    def figures(self) -> list[Picture]:
        """Map, coefficients, images beside their model, and what the wavefront looks like."""
        first = dataclasses.replace(self, images=self.images[:2])

        def half() -> Any:
            # Both frames stand at the same height.
            ax = new_axes(figsize=(5.4, 4.6))
            ax.figure.subplots_adjust(left=0.15, right=0.82, bottom=0.13, top=0.92)
            return ax

        return [
            Picture(
                lambda: self.plot(half()),
                "Wavefront error over the pupil at best focus: positive where the wave is ahead. Axes as on "
                "the sensor, x to the right, y up.",
                f"Map of the wavefront error: RMS {self.rms}, peak to valley {self.pv}",
                "half",
            ),
            Picture(
                lambda: self.plot_coefficients(half()),
                "Zernike coefficients with their standard uncertainties, by Noll index.",
                f"Zernike coefficients as bars; the largest: {self._largest()}",
                "half",
            ),
            Picture(
                first.plot_images,
                "The first pair: what the camera saw, what the fitted telescope would give, and the "
                "difference in standard deviations.",
                f"Observed and modelled defocused images: chi squared {self.chi_squared:.2f} per degree of freedom",
            ),
            Picture(
                self.plot_views,
                "The same wavefront in other tests: focused image, MTF and encircled energy; Ronchigram, "
                "knife-edge shadow and interferogram.",
                f"Six views of the wavefront; Strehl ratio {self.strehl}",
            ),
            *(
                [
                    Picture(
                        self.plot_course,
                        "Low modes of each pair, fitted alone, through the night, with the bar of one pair; a line where a family changes by more than "
                        "chance. Solid: Noll 6, 8, 11, 10; open: Noll 5, 7, 9.",
                        f"Low modes against time: {_course.words(self.course)[0]}",
                    )
                ]
                if self.course is not None
                else []
            ),
        ]

    def plot_course(self, ax: Any = None) -> Any:
        """The low modes from pair to pair against time, with their steady change where it is told.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw.

        Returns
        -------
        matplotlib axes
            The axes drawn on.
        """
        if self.course is None:
            raise CannotMeasureError(
                "Nothing to follow: it takes three pairs or more of one night, a quarter of an hour apart or more, with times in their headers.",
                code="wavefront.no-course",
            )
        return _course.draw(self.course, ax)

    def _largest(self) -> str:
        """The three largest coefficients in words."""
        order = np.argsort(-np.abs(self.coefficient.value))[:3]
        return ", ".join(
            f"{figures.mode_name(self.mode[k])} "
            f"{format_measured(self.coefficient[k].to_value(u.nm), self.uncertainty[k].to_value(u.nm), 'nm')}"
            for k in order
        )

    def plot(self, ax: Any = None) -> Any:
        """The wavefront map with its scale in nm.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw.

        Returns
        -------
        matplotlib axes
            The axes drawn on.
        """
        return figures.draw_map(self, ax)

    def plot_coefficients(self, ax: Any = None) -> Any:
        """The coefficients with their standard uncertainties.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw.

        Returns
        -------
        matplotlib axes
            The axes drawn on.
        """
        return figures.draw_coefficients(self, ax)

    def plot_images(self) -> Any:
        """Observed, model and residual of every image.

        Returns
        -------
        matplotlib figure
            One row an image.
        """
        return figures.draw_images(self)

    def plot_views(self) -> Any:
        """Focused image, MTF, encircled energy, Ronchigram, knife edge and interferogram.

        Returns
        -------
        matplotlib figure
            Six views of the same wavefront.
        """
        return figures.draw_views(self)


def _cell(value: float, digits: int) -> str:
    return f"{value:.{digits}f}" if np.isfinite(value) else "–"

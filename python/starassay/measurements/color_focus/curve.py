"""The color focus curve: what a measurement of it gives."""

from __future__ import annotations

import dataclasses
import functools
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ... import _records, _units
from ...optics.star_colors import StarColors, draw_curve_colors
from ...optics.views import PupilMap
from ...results import Measured, Picture, Remedy, Result, Sheet, format_measured
from ...style import new_axes
from . import figures
from .merit import ColorMerit, weigh

if TYPE_CHECKING:
    from astropy.table import QTable


#: Spectral lines of the glass catalogs (ISO 7944 and the hydrogen lines), nm in air.
LINES = {
    "h (Hg)": 404.656,
    "g (Hg)": 435.834,
    "F (H)": 486.133,
    "e (Hg)": 546.074,
    "d (He)": 587.562,
    "C (H)": 656.275,
}


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ColorFocusCurve(Result, _records.ColorFocusResult):
    """Best focus against wavelength, zero at the reference; positive = farther from the objective.

    Its attributes are those of the engine's record: `shift` of each bin by itself, the `smooth`
    curve, for one spectrum the `defocus_size` without its sign, and the `band_merit` of the band that
    was asked for.
    """

    COLUMNS = {"wavelength": "Mean wavelength of the bin in air."}

    @classmethod
    def from_engine(cls, raw: Any, **more: Any) -> ColorFocusCurve:
        """Make one from what the gateway returned.

        Parameters
        ----------
        raw : mapping
            The engine's record.
        **more
            Attributes that go before the engine's.
        """
        merit = raw["band_merit"] and ColorMerit.from_engine(
            raw["band_merit"], notes=(), conditions={}
        )
        return super().from_engine(raw, band_merit=merit, **more)

    @property
    def table(self) -> QTable:
        """One row a bin."""
        from astropy.table import QTable

        names = "wavelength shift shift_uncertainty smooth smooth_uncertainty used relative_flux".split()
        return QTable(
            {name: getattr(self, name) for name in names},
            meta={"reference_nm": self.reference.value},
        )

    @property
    def lens(self) -> dict[float, u.Quantity]:
        """Focus by wavelength in nm, as simulators take a lens."""
        return dict(zip(self.wavelength.value[self.used].tolist(), self.smooth[self.used]))

    def optics(self) -> dict[str, Any]:
        """The focus of every color and what a star shows of it, where its signs are decided."""
        if not self.signs_decided or len(self.lens) < 2:
            return {}
        return {"colors": self.lens, "star_colors": self.star_colors}

    def star_colors(self, pupil: PupilMap | None = None, **how: Any) -> StarColors:
        """What color a star shows in focus and to either side of it.

        Parameters
        ----------
        pupil : PupilMap, optional
            The measured wavefront, ``fit.pupil``; a perfect one with this focal ratio and obstruction by default.
        **how
            Aperture (by default that of the focal length and ratio), star (by default the one that was measured, else 9600 K), defocus, halo_radius and
            seeing as for `starassay.draw_star_colors`.

        Returns
        -------
        StarColors
            With uncertainties from this curve.
        """
        return draw_curve_colors(self, pupil, stated=self.conditions.get("star"), **how)

    def at(self, wavelength: Any) -> u.Quantity:
        """Smooth curve at given wavelengths.

        Parameters
        ----------
        wavelength : Quantity or str
            Inside the measured range.

        Returns
        -------
        Quantity
            Shift in um; NaN outside the range.
        """
        x = _units.numbers(wavelength, "nm", "wavelength")
        good = self.used
        value = np.interp(
            x,
            self.wavelength.value[good],
            self.smooth.value[good],
            left=np.nan,
            right=np.nan,
        )
        return value * u.um

    def merit(
        self,
        band: Any = None,
        *,
        star: Any = "as-detected",
        focus: str = "best-strehl",
        halo_radius: Any = None,
        wanted_strehl: float = 0.8,
    ) -> ColorMerit:
        """Figures of merit in a band.

        Parameters
        ----------
        band : pair of Quantity, optional
            Passband with straight edges; 400 to 700 nm by default.
        star : str, Quantity or callable
            What the light is weighed with: "as-detected" (this star, atmosphere and camera as
            recorded), a temperature (black body through a silicon sensor), "flat", or a function
            that takes nm and gives photons times detector.
        focus : str
            "best-strehl", "best-in-focus", "least-blur" or "reference".
        halo_radius : Quantity, optional
            Beyond it light counts as halo; three Airy radii by default.
        wanted_strehl : float
            For the passband that is looked for.

        Returns
        -------
        ColorMerit
            With uncertainties from the bootstrap.
        """
        good = self.used
        return weigh(
            self.wavelength[good],
            self.smooth[good],
            star,
            detected=self.relative_flux[good],
            replicates=self.replicates[:, good],
            # Figures from signs that are not decided must say so themselves.
            notes=tuple(n for n in self.notes if n.code == "color-focus.sign-ambiguous"),
            band=band,
            focus=focus,
            halo_radius=halo_radius,
            wanted_strehl=wanted_strehl,
            focal_ratio=self.focal_ratio,
            focal_length=self.focal_length,
            obstruction=self.obstruction,
            reference=self.reference,
        )

    @property
    def title(self) -> str:
        """From what."""
        how = (
            f"a focus run of {len(self.positions)} spectra"
            if self.from_focus_run
            else "one spectrum"
        )
        return f"Color focus from {how}"

    @property
    def _left_in(self) -> str:
        """Says beside every range that the grating is still in it, where it is."""
        unknown = any(n.code == "color-focus.grating-geometry-unknown" for n in self.notes)
        return " with the grating's own focus error in it" if unknown else ""

    def sentences(self) -> list[str]:
        """What the curve and its figures of merit say, each with its band."""
        w = self.wavelength[self.used]
        zero = f"zero at {self.reference:.0f}, wavelengths in air"
        said = [
            (
                f"{self.title}, {int(self.used.sum())} bins from {w.min():.0f} to {w.max():.0f}: range "
                f"{self.focus_range}{self._left_in}, {zero}."
                if self.signs_decided
                else f"{self.title}: the signs are NOT DECIDED, so the size of the defocus is shown, without "
                f"sign. Its range from {w.min():.0f} to {w.max():.0f} is {self.focus_range}{self._left_in}."
            )
        ]
        if self.from_focus_run:
            said.append(f"Best focus of the reference wavelength at {self.reference_focus}.")
        merit = self.band_merit
        if merit is not None:
            low, high = merit.band.value
            said.append(
                f"From {low:.0f} to {high:.0f} nm, light as detected, sensor where the Strehl "
                f"ratio is best: in-focus fraction {merit.in_focus_fraction}, polychromatic Strehl ratio "
                f"{merit.polychromatic_strehl}, RMS blur {merit.rms_blur} ({merit.rms_blur_sky})."
            )
            edges = merit.best_band.value
            if np.isfinite(edges[0]) and (edges[0] > low + 1 or edges[1] < high - 1):
                said.append(
                    f"A filter that passes {edges[0]:.0f} to {edges[1]:.0f} nm would keep "
                    f"{100 * merit.best_band_light:.0f} % of that light at a Strehl ratio of "
                    f"{merit.best_band_strehl:.2f}."
                )
        return said

    def basis(self, quantity: str) -> str:
        """The band that a quantity is for.

        Parameters
        ----------
        quantity : str
            Name from the one list.
        """
        if quantity == "focus_range":
            w = self.wavelength[self.used].value
            return f"{w.min():.0f} to {w.max():.0f} nm"
        if self.band_merit is None:
            return ""
        low, high = self.band_merit.band.value
        return f"{low:.0f} to {high:.0f} nm"

    def remedies(self) -> list[Remedy]:
        """The filter that keeps out as little as possible, so that all that is left is in focus."""
        merit = self.band_merit
        # A twentieth of the light out of focus is worth a filter (a judgment, no source).
        if merit is None or not merit.in_focus_fraction.value.value < 0.95:
            return []
        sharp = np.flatnonzero(np.asarray(merit.cut_in_focus) > 1 - merit.light_step)
        low, high = merit.band.value
        if len(sharp) == 0:
            return self._band_filter()
        k = int(sharp[0])
        return [
            Remedy(
                "a filter",
                "around",
                Measured(merit.cut_on[k], np.nan * merit.cut_on.unit),
                f"Of the light between {low:.0f} and {high:.0f} nm {merit.in_focus_fraction} is in focus at once. A filter that keeps "
                f"out what lies below {merit.cut_on[k].value:.0f} nm leaves {100 * merit.cut_light[k]:.0f} % of it, all in focus. "
                "The lens stays as it is: no adjustment changes its colors.",
                gain=f"The polychromatic Strehl ratio of the color focus alone goes from {merit.polychromatic_strehl} to "
                f"{merit.cut_strehl[k]:.2f}.",
            )
        ]

    def _band_filter(self) -> list[Remedy]:
        """Where keeping out the violet alone does not bring all into focus: the band that holds the wanted Strehl ratio."""
        merit = self.band_merit
        assert merit is not None
        (low, high), edges = merit.band.value, merit.best_band.value
        if not np.isfinite(edges).all() or (edges[0] <= low + 1 and edges[1] >= high - 1):
            return []
        return [
            Remedy(
                "a filter",
                "around",
                Measured(merit.best_band[0], np.nan * merit.best_band.unit),
                f"Of the light between {low:.0f} and {high:.0f} nm {merit.in_focus_fraction} is in focus at once, and what is left "
                "without the violet is not either. A filter that passes "
                f"{edges[0]:.0f} to {edges[1]:.0f} nm keeps {100 * merit.best_band_light:.0f} % of it. The lens stays as it is: no "
                "adjustment changes its colors.",
                gain=f"The polychromatic Strehl ratio of the color focus alone goes from {merit.polychromatic_strehl} to "
                f"{merit.best_band_strehl:.2f}.",
            )
        ]

    def sheets(self) -> list[Sheet]:
        """The smooth curve, or the size of the defocus, at well-known lines."""
        w = self.wavelength.value
        rows = []
        for name, nm in LINES.items():
            if w[self.used].min() <= nm <= w[self.used].max():
                i = int(np.argmin(np.abs(w - nm)))
                shift, error = float(self.at(nm * u.nm)[0].value), float(
                    self.smooth_uncertainty[i].value
                )
                if not self.signs_decided:
                    shift = float(self.defocus_size[i].value)
                    error = float(self.defocus_size_uncertainty[i].value)
                depth = 2 * nm / 1000 * self.focal_ratio**2
                rows.append((name, f"{nm:.1f}", format_measured(shift, error), f"±{depth:.0f}"))
        if not rows:
            return []
        what = (
            f"Focus against that of {self.reference:.0f}, + is farther from the objective"
            if self.signs_decided
            else "Size of the defocus, without sign"
        )
        return [
            Sheet(
                what, ("line", "wavelength (nm)", "focus (µm)", "depth of focus (µm)"), tuple(rows)
            )
        ]

    def figures(self) -> list[Picture]:
        """The curve, and what cut-on filters would do."""
        drawn = [
            Picture(
                lambda: self.plot(new_axes(None, figsize=(5.4, 4.0))),
                "Best focus of every color against that of the reference wavelength: points are bins by "
                "themselves, the line is the smooth curve with its 68 % band, grey is the depth of focus.",
                f"Color focus curve, range {self.focus_range}{self._left_in}",
                "half",
            )
        ]
        merit = self.band_merit
        if isinstance(merit, ColorMerit):
            drawn.append(
                Picture(
                    functools.partial(_draw_merit, merit),
                    "What a filter that cuts on at each wavelength would do to sharpness and light. Only "
                    "color focus is in these figures: seeing and all other errors are not.",
                    _gain_and_loss(merit),
                    "half",
                )
            )
        return drawn

    def plot(self, ax: Any = None, *, theory: Any = None) -> Any:
        """Bins with error bars, the smooth curve with its 68 % band, the depth of focus behind.

        Parameters
        ----------
        ax : matplotlib axes, optional
            New ones by default.
        theory : LensTheory, optional
            Drawn over the measurement.

        Returns
        -------
        matplotlib axes
            Where it was drawn.
        """
        return figures.draw_curve(self, ax, theory)


def _gain_and_loss(merit: ColorMerit) -> str:
    """The cut-on figure in words: its two ends, with numbers."""
    cut = merit.cut
    first, last = (
        f"at {cut['cut_on'][k].to_value(u.nm):.0f} nm Strehl ratio {cut['strehl'][k]:.2f}, in-focus fraction "
        f"{cut['in_focus'][k]:.2f}, light kept {100 * cut['light'][k]:.0f} %"
        for k in (0, -1)
    )
    return f"Gain and loss by a cut-on filter: {first}; {last}"


def _draw_merit(merit: ColorMerit) -> Any:
    return merit.plot(new_axes(None, figsize=(5.4, 4.0)))

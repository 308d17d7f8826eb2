"""The color focus curve: what a measurement of it gives."""

from __future__ import annotations

import dataclasses
import functools
from typing import Any

import numpy as np
from astropy import units as u
from astropy.table import QTable

from ...results import Measured, Picture, Result, Sheet, format_measured
from ...style import new_axes
from . import figures
from .merit import ColorMerit, evaluate, light_of
from .units import NM


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
class ColorFocusCurve(Result):
    """Best focus against wavelength, zero at the reference; positive = farther from the objective.

    Attributes
    ----------
    wavelength : Quantity, shape (m,)
        Of each bin, nm in air.
    shift, shift_error : Quantity, shape (m,)
        Of each bin by itself, um; NaN where it could not be measured.
    used : ndarray of bool
        Bins that shaped the smooth curve.
    smooth, smooth_error : Quantity, shape (m,)
        Smooth curve and its standard uncertainty (k = 1).
    replicates : ndarray, shape (r, m)
        Bootstrap replicates of the smooth curve, um.
    relative_flux : ndarray, shape (m,)
        Detected light per nm, largest = 1.
    width, width_error : Quantity, shape (frames, m)
        Model-free half width (68.3 %) on the sensor and its uncertainty.
    seeing : Quantity, shape (frames,)
        FWHM at 550 nm on the sensor, with the telescope's steady blur.
    positions : Quantity, shape (frames,)
        Sensor positions of the run.
    reference_focus : Measured
        Focuser position of the reference wavelength's best focus.
    focus_range : Measured
        Longest minus shortest focus.
    instrument_blur : Measured
        RMS blur that all colors share: the spectrograph's.
    focal_ratio_from_blur : Measured
        At which the blur grew; a check of the scale.
    defocus_size, defocus_size_error : Quantity, shape (m,)
        Single spectrum: distance of each color's focus from the sensor without its sign, um; NaN
        for a focus run.
    sign_decided : ndarray of bool
        False where one spectrum does not tell on which side of the sensor a color focuses.
    signs_decided : bool
        False when open signs matter: then `defocus_size` is what was measured, `shift` and `smooth`
        are one of several curves that fit, and `focus_range` is that of the size.
    removed : Quantity, shape (m,)
        What was added back for the grating or a reference telescope.
    second_order_from : Quantity
        From where the second order overlaps; infinite when it does not.
    noise_scale : float
        Scatter of the profiles over the noise expected.
    from_focus_run : bool
        False for a single spectrum, whose overall sign is an assumption.
    band_merit : ColorMerit or None
        Figures of merit in the band that was asked for, light as detected.
    """

    wavelength: u.Quantity
    shift: u.Quantity
    shift_error: u.Quantity
    used: np.ndarray
    smooth: u.Quantity
    smooth_error: u.Quantity
    replicates: np.ndarray
    relative_flux: np.ndarray
    width: u.Quantity
    width_error: u.Quantity
    seeing: u.Quantity
    positions: u.Quantity
    reference_focus: Measured
    focus_range: Measured
    focal_ratio_from_blur: Measured
    instrument_blur: Measured
    defocus_size: u.Quantity
    defocus_size_error: u.Quantity
    sign_decided: np.ndarray
    signs_decided: bool
    removed: u.Quantity
    second_order_from: u.Quantity
    noise_scale: float
    from_focus_run: bool
    band_merit: ColorMerit | None = None

    @property
    def focal_ratio(self) -> float:
        """Focal length over aperture, as given."""
        return float(self.conditions["focal_ratio"])

    @property
    def table(self) -> QTable:
        """One row a bin."""
        return QTable(
            {
                "wavelength": self.wavelength,
                "shift": self.shift,
                "shift_error": self.shift_error,
                "smooth": self.smooth,
                "smooth_error": self.smooth_error,
                "used": self.used,
                "relative_flux": self.relative_flux,
            },
            meta={"reference_nm": self.conditions["reference_nm"]},
        )

    def at(self, wavelength: Any) -> u.Quantity:
        """Smooth curve at given wavelengths.

        Parameters
        ----------
        wavelength : Quantity or number in nm
            Inside the measured range.

        Returns
        -------
        Quantity
            Shift in um; NaN outside the range.
        """
        x = np.atleast_1d(u.Quantity(wavelength, None if hasattr(wavelength, "unit") else NM))
        good = self.used
        value = np.interp(
            x.to_value(NM),
            self.wavelength.value[good],
            self.smooth.value[good],
            left=np.nan,
            right=np.nan,
        )
        return value * u.um

    def merit(
        self,
        band: Any = (400, 700),
        *,
        star: Any = "as-detected",
        focus: str = "best-strehl",
        halo_radius: Any = None,
        wanted_strehl: float = 0.8,
    ) -> ColorMerit:
        """Figures of merit in a band.

        Parameters
        ----------
        band : pair of Quantity or numbers in nm
            Passband with straight edges.
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
        weight, light = light_of(star, self.wavelength.value, self.relative_flux)
        good = self.used
        return evaluate(
            self.wavelength.value[good],
            self.smooth.value[good],
            self.replicates[:, good],
            weight[good],
            light,
            self.conditions,
            band,
            focus,
            halo_radius,
            wanted_strehl,
            # Figures from signs that are not decided must say so themselves.
            notes=tuple(n for n in self.notes if n.code == "color-focus.sign-ambiguous"),
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
        zero = f"zero at {self.conditions['reference_nm']:.0f} nm, wavelengths in air"
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
            c = merit.conditions
            said.append(
                f"From {c['min_nm']:.0f} to {c['max_nm']:.0f} nm, light as detected, sensor where the Strehl "
                f"ratio is best: in-focus fraction {merit.in_focus_fraction}, polychromatic Strehl ratio "
                f"{merit.polychromatic_strehl}, RMS blur {merit.rms_blur} ({merit.rms_blur_sky})."
            )
            edges = merit.best_band.value
            if np.isfinite(edges[0]) and (edges[0] > c["min_nm"] + 1 or edges[1] < c["max_nm"] - 1):
                said.append(
                    f"A filter that passes {edges[0]:.0f} to {edges[1]:.0f} nm would keep "
                    f"{100 * merit.best_band_light:.0f} % of that light at a Strehl ratio of "
                    f"{merit.best_band_strehl:.2f}."
                )
        return said

    def sheets(self) -> list[Sheet]:
        """The smooth curve, or the size of the defocus, at well-known lines."""
        w = self.wavelength.value
        rows = []
        for name, nm in LINES.items():
            if w[self.used].min() <= nm <= w[self.used].max():
                i = int(np.argmin(np.abs(w - nm)))
                shift, error = float(self.at(nm * u.nm)[0].value), float(self.smooth_error[i].value)
                if not self.signs_decided:
                    shift = float(self.defocus_size[i].value)
                    error = float(self.defocus_size_error[i].value)
                depth = 2 * nm / 1000 * self.focal_ratio**2
                rows.append((name, f"{nm:.1f}", format_measured(shift, error), f"±{depth:.0f}"))
        if not rows:
            return []
        what = (
            f"Focus against that of {self.conditions['reference_nm']:.0f} nm, + is farther from the objective"
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
        if merit is not None:
            drawn.append(
                Picture(
                    functools.partial(_draw_merit, merit),
                    "What a filter that cuts on at each wavelength would do to sharpness and light. Only "
                    "color focus is in these figures: seeing and all other errors are not.",
                    "Gain and loss by a cut-on filter",
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


def _draw_merit(merit: ColorMerit) -> Any:
    return merit.plot(new_axes(None, figsize=(5.4, 4.0)))

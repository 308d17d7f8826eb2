"""The color focus curve: what a measurement of it gives."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from astropy import units as u
from astropy.table import QTable

from ...results import Measured, Result, format_measured
from . import figures
from .merit import ColorMerit, evaluate, light_of
from .units import NM


@dataclasses.dataclass(frozen=True, eq=False)
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
    defocus_size: u.Quantity
    defocus_size_error: u.Quantity
    sign_decided: np.ndarray
    signs_decided: bool
    removed: u.Quantity
    second_order_from: u.Quantity
    noise_scale: float
    from_focus_run: bool

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

    def summary(self) -> list[str]:
        """Lines for a terminal."""
        how = f"focus run of {len(self.positions)}" if self.from_focus_run else "single spectrum"
        head = (
            f"color focus from a {how}: {int(self.used.sum())} bins from "
            f"{self.wavelength[self.used].min():.0f} to {self.wavelength[self.used].max():.0f} (air), "
        )
        if self.signs_decided:
            zero = f"zero at {self.conditions['reference_nm']:.0f} nm"
            lines = [f"{head}range {self.focus_range}, {zero}"]
        else:
            lines = [
                f"{head}signs NOT DECIDED: sizes of the defocus, without sign, range {self.focus_range}"
            ]
        if self.from_focus_run:
            lines.append(f"best focus of the reference at {self.reference_focus}")
        for nm in (420, 450, 486, 550, 588, 656, 700):
            inside = self.wavelength.value[self.used]
            if inside.min() <= nm <= inside.max():
                i = int(np.argmin(np.abs(self.wavelength.value - nm)))
                value, error = float(self.at(nm)[0].value), float(self.smooth_error[i].value)
                if not self.signs_decided:
                    value = float(self.defocus_size[i].value)
                    error = float(self.defocus_size_error[i].value)
                lines.append(f"  {nm} nm: {format_measured(value, error, 'um')}")
        return lines

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

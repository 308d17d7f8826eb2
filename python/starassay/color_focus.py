"""How far each wavelength misses the common focus, from the spectrum of a star.

>>> import starassay
>>> scale = starassay.calibrate_wavelengths(
...     "lamp.fits", lamps=["Xe"], dispersion=(0.3, 0.6)
... )  # doctest: +SKIP
>>> curve = starassay.measure_color_focus(
...     run, positions=positions, wavelengths=scale, focal_ratio=7.0
... )  # doctest: +SKIP
>>> curve.merit().table, curve.plot()  # doctest: +SKIP

Shifts are positive where a color focuses farther from the objective than the reference wavelength.
Wavelengths are in standard air unless a name says otherwise.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from astropy import units as u
from astropy.table import QTable

from . import style
from ._gateway import call
from .errors import InputError
from .frames import Frame, read_frame
from .results import Measured, Note, Result, format_measured, notes_from_engine

_NM = u.nm
_PER_PIXEL = u.nm / u.pix


def _number(value: Any, unit: u.UnitBase, name: str) -> float:
    """`value` in `unit`; a bare number is taken to be in it, None is NaN."""
    if value is None:
        return float("nan")
    try:
        return float(u.Quantity(value, unit if not hasattr(value, "unit") else None).to_value(unit))
    except u.UnitConversionError as error:
        raise InputError(f"{name} must be in units of {unit}: {error}", argument=name) from None


def _numbers(values: Any, unit: u.UnitBase, name: str) -> list[float]:
    if values is None:
        return []
    if isinstance(values, u.Quantity):
        return [float(v) for v in np.atleast_1d(values.to_value(unit))]
    return [_number(v, unit, name) for v in values]


def _frames(source: Any) -> list[Frame]:
    if isinstance(source, (list, tuple)):
        return [read_frame(s) for s in source]
    return [read_frame(source)]


@dataclasses.dataclass(frozen=True, eq=False)
class Spectrum(Result):
    """A frame reduced to a trace, a flux and a profile for each bin.

    Attributes
    ----------
    trace : Quantity, shape (n,)
        Center across the dispersion at each column, pix.
    flux, flux_error, background : ndarray, shape (n,)
        Of each column, adu.
    in_line, masked : ndarray of bool, shape (n,)
        Columns in strong lines; columns left out for any reason.
    bin_column : ndarray, shape (m,)
        Mean column of each bin.
    width, width_error : Quantity, shape (m,)
        Half the range that holds 68.3 % of the profile, pix, and its standard uncertainty.
    signal_to_noise : ndarray, shape (m,)
        Of each bin.
    profile : ndarray, shape (m, rows)
        Profiles, adu.
    first_row : int
        Row of the first profile sample from the trace.
    first_column : int
        Column of the frame at which the arrays begin.
    gain : Quantity
        Given or estimated.
    """

    trace: u.Quantity
    flux: np.ndarray
    flux_error: np.ndarray
    background: np.ndarray
    in_line: np.ndarray
    masked: np.ndarray
    bin_column: np.ndarray
    width: u.Quantity
    width_error: u.Quantity
    signal_to_noise: np.ndarray
    profile: np.ndarray
    first_row: int
    first_column: int
    gain: u.Quantity

    @property
    def table(self) -> QTable:
        """Flux and trace of each column."""
        n = len(self.flux)
        return QTable(
            {
                "column": np.arange(self.first_column, self.first_column + n),
                "trace": self.trace,
                "flux": self.flux * u.adu,
                "flux_error": self.flux_error * u.adu,
                "background": self.background * u.adu,
                "masked": self.masked,
            }
        )

    def summary(self) -> list[str]:
        """Lines for a terminal."""
        return [
            f"{len(self.flux)} columns, trace from row {self.trace[0].value:.1f} to "
            f"{self.trace[-1].value:.1f}",
            f"half width (68 %) {np.nanmedian(self.width.value):.2f} pix at the middle, "
            f"gain {self.gain:.2f}",
        ]

    def plot(self, ax: Any = None) -> Any:
        """Flux of each column, masked ones pale; returns the matplotlib axes."""
        ax = style.new_axes(ax, figsize=(8, 3.2))
        x = self.first_column + np.arange(len(self.flux))
        ax.plot(x, self.flux, color=style.GREY, lw=0.7)
        ax.plot(x, np.where(self.masked, np.nan, self.flux), color=style.BLUE, lw=1.0)
        ax.set_xlabel("column (pix)")
        ax.set_ylabel("flux (adu)")
        ax.set_title("Spectrum; grey: left out")
        return ax


@dataclasses.dataclass(frozen=True, eq=False)
class WavelengthScale(Result):
    """Wavelength of every column.

    Attributes
    ----------
    wavelength : Quantity, shape (n,)
        nm, in standard air.
    line_column : ndarray
        Columns of the lines used.
    line_wavelength, residual : Quantity
        Published wavelength; measured minus published.
    unmatched_column : ndarray
        Lines seen that match nothing.
    rms, rms_columns : Quantity
        RMS residual corrected for the unknowns.
    log_false_alarm : float
        log10 of the chance that as many lines match by accident.
    medium : str
        "air".
    """

    wavelength: u.Quantity
    line_column: np.ndarray
    line_wavelength: u.Quantity
    residual: u.Quantity
    unmatched_column: np.ndarray
    rms: u.Quantity
    rms_columns: u.Quantity
    log_false_alarm: float
    medium: str

    @property
    def table(self) -> QTable:
        """The lines used."""
        return QTable(
            {
                "column": self.line_column * u.pix,
                "wavelength": self.line_wavelength,
                "residual": self.residual,
            }
        )

    def summary(self) -> list[str]:
        """Lines for a terminal."""
        return [
            f"{len(self.line_column)} lines, {self.wavelength[0]:.1f} to {self.wavelength[-1]:.1f} "
            f"in {self.medium}, residual {self.rms.to_value(u.nm):.3f} nm RMS "
            f"({self.rms_columns.value:.2f} columns)"
        ]

    def plot(self, ax: Any = None) -> Any:
        """Residuals of the lines; returns the matplotlib axes."""
        ax = style.new_axes(ax, figsize=(7, 3))
        ax.axhline(0, color=style.GREY, lw=0.8)
        ax.plot(self.line_wavelength.to_value(u.nm), self.residual.to_value(u.nm), "o", ms=4)
        ax.set_xlabel("wavelength in air (nm)")
        ax.set_ylabel("residual (nm)")
        ax.set_title(f"Wavelength scale: {self.rms.to_value(u.nm):.3f} nm RMS")
        return ax


@dataclasses.dataclass(frozen=True, eq=False)
class ColorMerit(Result):
    """Figures of merit of the color focus alone; seeing and other aberrations are left out.

    Attributes
    ----------
    in_focus_fraction, polychromatic_strehl, halo_fraction : Measured
        Shares of the light: within +-2 lambda N^2; Strehl ratio averaged over it; outside
        `halo_radius`.
    rms_blur, rms_blur_sky : Measured
        RMS radius of the geometric blur, um and arcsec.
    secondary_spectrum, focus_spread : Measured
        Mean focus of F and C minus d, and longest minus shortest, over the focal length.
    sensor : Quantity
        Where the sensor stands on the curve's scale.
    halo_radius : Quantity
        um.
    best_band : Quantity, shape (2,)
        Passband that keeps most light at the wanted Strehl ratio; NaN when none does.
    best_band_light, best_band_strehl : float
        What it keeps and reaches.
    cut : QTable
        What a filter that cuts on at each wavelength does.
    """

    in_focus_fraction: Measured
    polychromatic_strehl: Measured
    halo_fraction: Measured
    rms_blur: Measured
    rms_blur_sky: Measured
    secondary_spectrum: Measured
    focus_spread: Measured
    sensor: u.Quantity
    halo_radius: u.Quantity
    best_band: u.Quantity
    best_band_light: float
    best_band_strehl: float
    cut: QTable

    @property
    def table(self) -> QTable:
        """One row a figure."""
        names = (
            "in_focus_fraction polychromatic_strehl halo_fraction rms_blur rms_blur_sky "
            "secondary_spectrum focus_spread"
        ).split()
        values = [getattr(self, n) for n in names]
        return QTable(
            {
                "figure": names,
                "value": [float(v.value.value) for v in values],
                "uncertainty": [float(v.uncertainty.value) for v in values],
                "unit": [v.value.unit.to_string() for v in values],
            }
        )

    def summary(self) -> list[str]:
        """Lines for a terminal."""
        c = self.conditions
        lines = [
            f"{c['min_nm']:.0f} to {c['max_nm']:.0f} nm, {c['light']}, {c['focus']}: in-focus "
            f"fraction {self.in_focus_fraction}, polychromatic Strehl {self.polychromatic_strehl}",
            f"RMS blur {self.rms_blur} ({self.rms_blur_sky}), halo {self.halo_fraction}",
        ]
        if np.isfinite(self.best_band[0].value):
            lines.append(
                f"a passband of {self.best_band[0]:.0f} to {self.best_band[1]:.0f} keeps "
                f"{100 * self.best_band_light:.0f} % of the light at a Strehl ratio of "
                f"{self.best_band_strehl:.2f}"
            )
        return lines

    def plot(self, ax: Any = None) -> Any:
        """What a cut-on filter would do; returns the matplotlib axes."""
        ax = style.new_axes(ax, figsize=(7, 3.6))
        x = self.cut["cut_on"].to_value(u.nm)
        for name, color, label in (
            ("strehl", style.BLUE, "polychromatic Strehl"),
            ("in_focus", style.GREEN, "in-focus fraction"),
            ("light", style.GREY, "light kept"),
        ):
            ax.plot(x, self.cut[name], color=color, label=label)
        ax.set_ylim(0, 1.03)
        ax.set_xlabel("short-wave edge of the filter (nm)")
        ax.set_ylabel("share")
        ax.legend(loc="best")
        ax.set_title("What a cut-on filter would do")
        return ax


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
        x = np.atleast_1d(u.Quantity(wavelength, None if hasattr(wavelength, "unit") else _NM))
        good = self.used
        value = np.interp(
            x.to_value(_NM),
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
        weight, light = _light(star, self.wavelength.value, self.relative_flux)
        good = self.used
        return _merit(
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
        lines = [
            f"color focus from a {how}: {int(self.used.sum())} bins from "
            f"{self.wavelength[self.used].min():.0f} to {self.wavelength[self.used].max():.0f} "
            f"(air), range {self.focus_range}, zero at {self.conditions['reference_nm']:.0f} nm"
        ]
        if self.from_focus_run:
            lines.append(f"best focus of the reference at {self.reference_focus}")
        for nm in (420, 450, 486, 550, 588, 656, 700):
            inside = self.wavelength.value[self.used]
            if inside.min() <= nm <= inside.max():
                i = int(np.argmin(np.abs(self.wavelength.value - nm)))
                text = format_measured(
                    float(self.at(nm)[0].value), float(self.smooth_error[i].value), "um"
                )
                lines.append(f"  {nm} nm: {text}")
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
        ax = style.new_axes(ax, figsize=(8, 4.6))
        good = self.used
        w = self.wavelength.value
        depth = 2 * w[good] / 1000 * self.focal_ratio**2
        ax.fill_between(w[good], -depth, depth, color="#e8e8e8", lw=0, label="depth of focus ±2λN²")
        ax.errorbar(
            w[good],
            self.shift.value[good],
            self.shift_error.value[good],
            fmt="o",
            ms=2.5,
            lw=0.7,
            color=style.GREY,
            label="bins",
        )
        ax.plot(w[good], self.smooth.value[good], color=style.BLUE, label="smooth curve, 68 % band")
        ax.fill_between(
            w[good],
            (self.smooth - self.smooth_error).value[good],
            (self.smooth + self.smooth_error).value[good],
            color=style.BLUE,
            alpha=0.25,
            lw=0,
        )
        if theory is not None:
            x = theory.wavelength.to_value(_NM)
            inside = (x >= w[good].min()) & (x <= w[good].max())
            ax.plot(x[inside], theory.shift.to_value(u.um)[inside], "--", color=style.ORANGE)
            ax.lines[-1].set_label(theory.label)
        ax.axhline(0, color=style.GREY, lw=0.6)
        ax.set_xlabel("wavelength in air (nm)")
        ax.set_ylabel("best focus (um), + = farther from the objective")
        kind = "focus run" if self.from_focus_run else "single spectrum, sign assumed"
        ax.set_title(f"Color focus at f/{self.focal_ratio:.1f}, {kind}")
        ax.legend(loc="best")
        return ax


@dataclasses.dataclass(frozen=True, eq=False)
class LensTheory(Result):
    """Color focus curve of a thin lens from glass data.

    Attributes
    ----------
    wavelength, shift : Quantity
        nm in air; um, zero at the reference wavelength.
    glasses : tuple of str
        Glass of each element.
    powers : ndarray
        Of each element over that of the lens.
    index_d, abbe_number : ndarray
        Of each glass.
    """

    wavelength: u.Quantity
    shift: u.Quantity
    glasses: tuple[str, ...]
    powers: np.ndarray
    index_d: np.ndarray
    abbe_number: np.ndarray

    @property
    def label(self) -> str:
        """For legends."""
        return f"thin lens of {' + '.join(self.glasses)}"

    @property
    def table(self) -> QTable:
        """The curve."""
        return QTable({"wavelength": self.wavelength, "shift": self.shift})

    def merit(
        self,
        focal_ratio: float,
        band: Any = (400, 700),
        *,
        star: Any = 9600 * u.K,
        focus: str = "best-strehl",
        halo_radius: Any = None,
        wanted_strehl: float = 0.8,
    ) -> ColorMerit:
        """Figures of merit of the theory curve; options as in `ColorFocusCurve.merit`.

        Parameters
        ----------
        focal_ratio : float
            Focal length over aperture.
        band, star, focus, halo_radius, wanted_strehl
            See `ColorFocusCurve.merit`; "as-detected" light does not exist here.

        Returns
        -------
        ColorMerit
            Without uncertainties.
        """
        w = self.wavelength.to_value(_NM)
        weight, light = _light(star, w, None)
        conditions = {**self.conditions, "focal_ratio": focal_ratio, "obstruction": 0.0}
        return _merit(
            w,
            self.shift.to_value(u.um),
            None,
            weight,
            light,
            conditions,
            band,
            focus,
            halo_radius,
            wanted_strehl,
        )

    def summary(self) -> list[str]:
        """Lines for a terminal."""
        parts = ", ".join(
            f"{g} (Vd {v:.1f}, power {p:+.2f})"
            for g, v, p in zip(self.glasses, self.abbe_number, self.powers)
        )
        return [f"thin lens of {parts}"]

    def plot(self, ax: Any = None) -> Any:
        """The curve; returns the matplotlib axes."""
        ax = style.new_axes(ax, figsize=(7, 4))
        ax.plot(self.wavelength.to_value(_NM), self.shift.to_value(u.um), label=self.label)
        ax.axhline(0, color=style.GREY, lw=0.6)
        ax.set_xlabel("wavelength in air (nm)")
        ax.set_ylabel("focus shift (um), + = longer")
        ax.set_title("Color focus of a thin lens")
        ax.legend()
        return ax


@dataclasses.dataclass(frozen=True, eq=False)
class ColorComparison(Result):
    """Telescopes side by side, in depths of focus and arcseconds, same band and light.

    Attributes
    ----------
    names : tuple of str
        In order of merit, best polychromatic Strehl ratio first.
    merits : tuple of ColorMerit
        In the same order.
    curves : tuple of ColorFocusCurve
        In the same order.
    decided : ndarray of bool
        Whether each is better than the next by more than twice the uncertainty of the difference.
    """

    names: tuple[str, ...]
    merits: tuple[ColorMerit, ...]
    curves: tuple[ColorFocusCurve, ...]
    decided: np.ndarray

    @property
    def table(self) -> QTable:
        """One row a telescope."""
        m = self.merits
        return QTable(
            {
                "telescope": list(self.names),
                "strehl": [float(x.polychromatic_strehl.value) for x in m],
                "strehl_error": [float(x.polychromatic_strehl.uncertainty) for x in m],
                "in_focus": [float(x.in_focus_fraction.value) for x in m],
                "in_focus_error": [float(x.in_focus_fraction.uncertainty) for x in m],
                "rms_blur": u.Quantity([x.rms_blur.value for x in m]),
                "rms_blur_sky": u.Quantity([x.rms_blur_sky.value for x in m]),
                "halo": [float(x.halo_fraction.value) for x in m],
                "better_than_next": [*self.decided, False],
            }
        )

    def summary(self) -> list[str]:
        """Lines for a terminal."""
        lines = []
        for i, (name, m) in enumerate(zip(self.names, self.merits)):
            tail = ""
            if i < len(self.decided):
                tail = "" if self.decided[i] else " (not decided against the next)"
            lines.append(
                f"{i + 1}. {name}: Strehl {m.polychromatic_strehl}, in focus "
                f"{m.in_focus_fraction}, blur {m.rms_blur_sky}{tail}"
            )
        return lines

    def plot(self, ax: Any = None) -> Any:
        """Defocus in depths of focus against wavelength; returns the matplotlib axes."""
        ax = style.new_axes(ax, figsize=(8, 4.6))
        ax.axhspan(-1, 1, color="#e8e8e8", lw=0, label="depth of focus ±2λN²")
        reach = 1.0
        for name, merit, curve in zip(self.names, self.merits, self.curves):
            w = curve.wavelength.value[curve.used]
            unit = 2 * w / 1000 * curve.focal_ratio**2
            y = (curve.smooth.value[curve.used] - merit.sensor.to_value(u.um)) / unit
            band = (w >= merit.conditions["min_nm"]) & (w <= merit.conditions["max_nm"])
            reach = max(reach, float(np.percentile(np.abs(y[band]), 90)))
            ax.plot(
                w[band], y[band], label=f"{name} (Strehl {merit.polychromatic_strehl.value:.2f})"
            )
        if reach > 8:
            ax.set_yscale("symlog", linthresh=2)
        ax.set_xlabel("wavelength in air (nm)")
        ax.set_ylabel("defocus (depths of focus)")
        ax.set_title("Color focus, each at its own best focus")
        ax.legend(loc="best")
        return ax


def _light(star: Any, nm: np.ndarray, detected: np.ndarray | None) -> tuple[np.ndarray, str]:
    if callable(star):
        return np.asarray(star(nm), float), "light given by a function"
    if isinstance(star, str):
        if star == "flat":
            return np.ones_like(nm), "flat light"
        if star == "as-detected" and detected is not None:
            return np.asarray(detected, float), "light as detected"
        raise InputError(
            f"'{star}' is no light to weigh with. Give 'as-detected', 'flat', a temperature or a "
            "function.",
            argument="star",
        )
    kelvin = _number(star, u.K, "star")
    # Planck photons and silicon, the same shape as the simulator's star without lines.
    flux = nm**-4.0 / np.expm1(1.438776877e7 / (nm * kelvin))
    sensor = np.clip((nm - 370) / 60, 0, 1) * np.interp(
        nm, [370, 450, 550, 650, 750, 850, 1000], [0.5, 0.75, 0.9, 0.8, 0.6, 0.4, 0.1]
    )
    weight = flux * sensor
    return weight / weight.max(), f"black body of {kelvin:.0f} K on silicon"


def _merit(
    nm: np.ndarray,
    shift: np.ndarray,
    replicates: np.ndarray | None,
    weight: np.ndarray,
    light: str,
    conditions: Mapping[str, Any],
    band: Any,
    focus: str,
    halo_radius: Any,
    wanted_strehl: float,
    notes: tuple[Note, ...] = (),
) -> ColorMerit:
    low, high = sorted(_numbers(band, _NM, "band"))
    request = {
        "wavelength_nm": nm,
        "shift_um": shift,
        "weight": weight,
        "focal_ratio": conditions["focal_ratio"],
        "focal_length_mm": conditions["focal_length_mm"],
        "obstruction": conditions["obstruction"],
        "min_nm": low,
        "max_nm": high,
        "reference_nm": conditions["reference_nm"],
        "focus": focus,
        "halo_radius_um": _number(halo_radius, u.um, "halo_radius"),
        "wanted_strehl": wanted_strehl,
    }
    arrays = {}
    if replicates is not None:
        arrays["replicates"] = np.ascontiguousarray(replicates, float).ravel()
    r = call("color_focus.merit", request, arrays=arrays)
    return ColorMerit(
        notes=notes,
        conditions={
            "min_nm": low,
            "max_nm": high,
            "light": light,
            "focus": focus,
            "focal_ratio": conditions["focal_ratio"],
            "wanted_strehl": wanted_strehl,
        },
        in_focus_fraction=Measured.from_engine(r["in_focus_fraction"]),
        polychromatic_strehl=Measured.from_engine(r["polychromatic_strehl"]),
        halo_fraction=Measured.from_engine(r["halo_fraction"]),
        rms_blur=Measured.from_engine(r["rms_blur_um"]),
        rms_blur_sky=Measured.from_engine(r["rms_blur_arcsec"]),
        secondary_spectrum=Measured.from_engine(r["secondary_spectrum"]),
        focus_spread=Measured.from_engine(r["focus_spread"]),
        sensor=r["sensor_um"] * u.um,
        halo_radius=r["halo_radius_um"] * u.um,
        best_band=np.array([r["band_min_nm"], r["band_max_nm"]]) * _NM,
        best_band_light=float(r["band_light_kept"]),
        best_band_strehl=float(r["band_strehl"]),
        cut=QTable(
            {
                "cut_on": r["cut_nm"] * _NM,
                "strehl": r["cut_strehl"],
                "in_focus": r["cut_in_focus"],
                "light": r["cut_light"],
            }
        ),
    )


def _reduction(
    axis: str, row: Any, columns: Any, bins: int, half_window: int, line_depth: float
) -> dict[str, Any]:
    first, end = columns if columns is not None else (0, 0)
    return {
        "axis": axis,
        "trace_row": _number(row, u.pix, "row"),
        "first_column": int(first),
        "end_column": int(end),
        "bins": int(bins),
        "half_window": int(half_window),
        "line_depth": float(line_depth),
    }


def reduce_spectrum(
    frame: Any,
    *,
    axis: str = "x",
    row: Any = None,
    columns: tuple[int, int] | None = None,
    bins: int = 96,
    half_window: int = 0,
    line_depth: float = 0.1,
    threads: int = 0,
) -> Spectrum:
    """Reduce one frame: background, cosmic rays, trace, profiles, flux.

    Parameters
    ----------
    frame : path, HDUList, CCDData, Quantity, ndarray or Frame
        The spectrum, calibrated or raw.
    axis : {"x", "y"}
        Along which axis wavelengths run.
    row : Quantity or number in pixels, optional
        Near which row the wanted spectrum lies at mid frame; the brightest by default.
    columns : (int, int), optional
        First column and one past the last; the whole frame by default.
    bins : int
        Bins along the dispersion.
    half_window : int
        Half height of the profile window; 0 chooses it.
    line_depth : float
        Columns that depart from the continuum by more than this share are masked; 0 keeps all.
    threads : int
        Worker threads, 0 = all; never changes the result.

    Returns
    -------
    Spectrum
        Arrays over columns and bins.
    """
    f = read_frame(frame)
    request = _reduction(axis, row, columns, bins, half_window, line_depth)
    r = call("color_focus.reduce", request, frames={"frame": f}, threads=threads)
    return Spectrum(
        notes=(*f.notes, *notes_from_engine(r["notes"])),
        conditions={"frame": f.name, **request},
        trace=r["trace_y"] * u.pix,
        flux=r["flux"],
        flux_error=r["flux_error"],
        background=r["background"],
        in_line=r["in_line"],
        masked=r["column_masked"],
        bin_column=r["bin_column"],
        width=r["robust_width"] * u.pix,
        width_error=r["robust_width_error"] * u.pix,
        signal_to_noise=r["signal_to_noise"],
        profile=r["profile"],
        first_row=int(r["first_row"]),
        first_column=int(request["first_column"]),
        gain=r["gain_electrons_per_adu"] * u.electron / u.adu,
    )


def calibrate_wavelengths(
    source: Any,
    *,
    lamps: Sequence[str] = (),
    lines: Any = None,
    dispersion: Any,
    star: bool = False,
    limits: Any = (330, 1050),
    direction: int = 0,
    max_degree: int = 3,
    max_rms: Any = None,
    axis: str = "x",
    trace: Any = None,
    half_height: int = 4,
) -> WavelengthScale:
    """Find the wavelength of every column from a lamp frame or from a star's own lines.

    Parameters
    ----------
    source : frame, Spectrum or 1-D ndarray
        A lamp frame (its rows along `trace` are summed), a reduced star, or a ready flux.
    lamps : sequence of str
        Line lists: "Ne", "Ar", "Hg", "He", "Kr", "Xe", "Cd"; for a star "H" and "telluric".
    lines : Quantity or numbers in nm, optional
        Further lines, in air.
    dispersion : (Quantity, Quantity) or numbers in nm per pixel
        Rough dispersion, least and greatest; a prism's whole range.
    star : bool
        True when the lines are dark.
    limits : pair of Quantity or numbers in nm
        What can lie in the frame.
    direction : {-1, 0, 1}
        +1 when wavelengths grow with the column; 0 when not known.
    max_degree : int
        Highest degree of the polynomial; a prism needs 3 or 4.
    max_rms : float, optional
        Largest RMS residual, columns; 0.8 for a lamp, 2 for a star by default.
    axis : {"x", "y"}
        Along which axis of a lamp frame wavelengths run.
    trace : Spectrum or number, optional
        Where in the lamp frame to look: along a star's trace, or at a row; the middle by default.
    half_height : int
        Rows summed on each side of it.

    Returns
    -------
    WavelengthScale
        With residuals of every line; wavelengths in air.

    Raises
    ------
    CannotMeasureError
        When the lines do not match better than chance, or only poorly.
    """
    if isinstance(source, Spectrum):
        flux, offset, label = source.flux, source.first_column, str(source.conditions["frame"])
    elif isinstance(source, np.ndarray) and source.ndim == 1:
        flux, offset, label = np.asarray(source, float), 0, "flux"
    else:
        frame = read_frame(source)
        flux, offset, label = _lamp_flux(frame, axis, trace, half_height), 0, frame.name
    low, high = sorted(_numbers(dispersion, _PER_PIXEL, "dispersion"))
    lo_nm, hi_nm = sorted(_numbers(limits, _NM, "limits"))
    if star and not lamps and lines is None:
        lamps = ("H", "telluric")
    request = {
        "absorption": bool(star),
        "lamps": [str(name) for name in lamps],
        "lines_nm": _numbers(lines, _NM, "lines"),
        "min_dispersion": low,
        "max_dispersion": high,
        "min_nm": lo_nm,
        "max_nm": hi_nm,
        "direction": int(direction),
        "max_degree": int(max_degree),
        "max_rms_columns": _number(
            max_rms if max_rms is not None else (2.0 if star else 0.8), u.pix, "max_rms"
        ),
    }
    r = call("color_focus.calibrate", request, arrays={"flux": np.asarray(flux, np.float64)})
    if offset:
        # Extend the polynomial to the columns before the reduced part, so that column 0 is the frame's.
        n = len(flux)
        x = 2 * (np.arange(-offset, n)) / (n - 1) - 1
        wave = np.polynomial.polynomial.polyval(x, r["coefficients"])
    else:
        wave = r["wavelength_nm"]
    return WavelengthScale(
        notes=notes_from_engine(r["notes"]),
        conditions={"source": label, **request},
        wavelength=wave * _NM,
        line_column=r["line_column"] + offset,
        line_wavelength=r["line_nm"] * _NM,
        residual=r["residual_nm"] * _NM,
        unmatched_column=r["unmatched_column"] + offset,
        rms=r["rms_nm"] * _NM,
        rms_columns=r["rms_columns"] * u.pix,
        log_false_alarm=float(r["log_false_alarm"]),
        medium=r["medium"],
    )


def _lamp_flux(frame: Frame, axis: str, trace: Any, half: int) -> np.ndarray:
    data = frame.data if axis == "x" else frame.data.T
    if frame.mask is not None:
        mask = frame.mask if axis == "x" else frame.mask.T
        data = np.where(mask, np.nan, data)
    height, width = data.shape
    rows = np.full(width, height / 2.0)
    if isinstance(trace, Spectrum):
        first = trace.first_column
        rows = np.interp(np.arange(width), first + np.arange(len(trace.flux)), trace.trace.value)
    elif trace is not None:
        rows[:] = _number(trace, u.pix, "trace")
    base = np.clip(np.rint(rows).astype(int), half, height - 1 - half)
    stack = np.stack([data[base + k, np.arange(width)] for k in range(-half, half + 1)])
    # A median across the rows drops cosmic rays; a lamp line fills them all.
    return np.nan_to_num(np.nanmedian(stack, axis=0)).astype(float)


def measure_color_focus(
    frames: Any,
    *,
    wavelengths: Any,
    focal_ratio: float,
    positions: Any = None,
    focal_length: Any = None,
    obstruction: float = 0.0,
    pitch: Any = None,
    reference: Any = 550,
    band: Any = (380, 1000),
    disperser: str = "converging-grating",
    grating_lines: Any = None,
    grating_distance: Any = None,
    order_filter: bool = False,
    shortest_light: Any = None,
    instrument_blur: Any = 0.0,
    reference_curve: ColorFocusCurve | None = None,
    sign_hint: str = "none",
    axis: str = "x",
    row: Any = None,
    columns: tuple[int, int] | None = None,
    bins: int = 96,
    half_window: int = 0,
    line_depth: float = 0.1,
    replicates: int = 200,
    seed: int = 1,
    threads: int = 0,
    progress: bool = False,
) -> ColorFocusCurve:
    """Measure the focus of every color from one spectrum or a focus run of spectra.

    Parameters
    ----------
    frames : frame or sequence of frames
        One spectrum, or those of a focus run.
    wavelengths : WavelengthScale or Quantity
        Wavelength of every column of the first frame.
    focal_ratio : float
        Focal length over aperture.
    positions : Quantity or numbers in um, optional
        Sensor position of each frame of a run, growing away from the objective.
    focal_length : Quantity or number in mm, optional
        For figures in arcseconds.
    obstruction : float
        Ratio of the diameters of obstruction and aperture.
    pitch : Quantity or number in um, optional
        Pixel pitch; from the frame by default.
    reference : Quantity or number in nm
        Whose focus is the curve's zero.
    band : pair of Quantity or numbers in nm
        What is measured.
    disperser : {"converging-grating", "parallel-grating", "prism"}
        A grating in the converging beam bends its own focus surface.
    grating_lines : Quantity or number per mm, optional
        Grooves of that grating.
    grating_distance : Quantity or number in mm, optional
        Grating to sensor.
    order_filter : bool
        True when a filter keeps the second order out.
    shortest_light : Quantity or number in nm, optional
        Shortest wavelength that reaches the sensor; 380 nm by default.
    instrument_blur : Quantity or number in um
        RMS blur of camera and spectrograph themselves.
    reference_curve : ColorFocusCurve, optional
        Of a mirror telescope with the same spectrograph; it is subtracted.
    sign_hint : {"none", "blue-longer", "blue-shorter"}
        For a single spectrum: what is known of the sign.
    axis, row, columns, bins, half_window, line_depth
        As in `reduce_spectrum`.
    replicates : int
        Bootstrap replicates (at most 60 of them for a single spectrum).
    seed : int
        Of the bootstrap.
    threads : int
        Worker threads, 0 = all; never changes the result.
    progress : bool
        Show a bar.

    Returns
    -------
    ColorFocusCurve
        Positive = farther from the objective than the reference wavelength.

    Raises
    ------
    CannotMeasureError
        No star, no trace, a clipped or undispersed image, two spectra.

    Notes
    -----
    Profiles across the spectrum are fitted with the exact diffraction image of a defocused
    annular pupil, blurred by seeing (FWHM growing as wavelength^-0.2, each frame its own, each
    color free by 5 %), with flux, background and center free in each.
    """
    listed = _frames(frames)
    where = _numbers(positions, u.um, "positions")
    wave = wavelengths.wavelength if isinstance(wavelengths, WavelengthScale) else wavelengths
    reduction = _reduction(axis, row, columns, bins, half_window, line_depth)
    low, high = sorted(_numbers(band, _NM, "band"))
    curve = reference_curve
    request = {
        "focal_ratio": _number(focal_ratio, u.dimensionless_unscaled, "focal_ratio"),
        "focal_length_mm": _number(focal_length, u.mm, "focal_length"),
        "obstruction": float(obstruction),
        "pitch_um": _number(pitch, u.um, "pitch"),
        "position_um": where,
        "wavelength_nm": _numbers(wave, _NM, "wavelengths"),
        "reference_nm": _number(reference, _NM, "reference"),
        "min_nm": low,
        "max_nm": high,
        "disperser": disperser,
        "grating_lines_per_mm": _number(grating_lines, 1 / u.mm, "grating_lines"),
        "grating_distance_mm": _number(grating_distance, u.mm, "grating_distance"),
        "order_filter": bool(order_filter),
        "shortest_light_nm": _number(shortest_light, _NM, "shortest_light"),
        "instrument_blur_um": _number(instrument_blur, u.um, "instrument_blur"),
        "reference_curve_nm": [] if curve is None else curve.wavelength.value[curve.used],
        "reference_curve_um": [] if curve is None else curve.smooth.value[curve.used],
        "reference_curve_error_um": [] if curve is None else curve.smooth_error.value[curve.used],
        "sign_hint": sign_hint,
        "replicates": int(replicates),
        "seed": int(seed),
        "reduction": reduction,
    }
    r = call(
        "color_focus.measure",
        request,
        frames={f"frame{i}": f for i, f in enumerate(listed)},
        threads=threads,
        progress=progress,
    )
    frame_notes: dict[str, Note] = {}
    for f in listed:
        for note in f.notes:
            frame_notes.setdefault(note.code, note)
    keep = {k: v for k, v in request.items() if k not in ("wavelength_nm", "reduction")}
    return ColorFocusCurve(
        notes=(*notes_from_engine(r["notes"]), *frame_notes.values()),
        conditions={
            **{k: v for k, v in keep.items() if not k.startswith("reference_curve")},
            "reference_nm": r["reference_nm"],
            "frames": [f.name for f in listed],
            "medium": "air",
        },
        wavelength=r["wavelength_nm"] * _NM,
        shift=r["shift_um"] * u.um,
        shift_error=r["shift_error_um"] * u.um,
        used=r["used"],
        smooth=r["smooth_um"] * u.um,
        smooth_error=r["smooth_error_um"] * u.um,
        replicates=r["replicate_um"],
        relative_flux=r["relative_flux"],
        width=r["robust_width_um"] * u.um,
        width_error=r["robust_width_error_um"] * u.um,
        seeing=r["seeing_um"] * u.um,
        positions=r["position_um"] * u.um,
        reference_focus=Measured.from_engine(r["reference_focus"]),
        focus_range=Measured.from_engine(r["range"]),
        focal_ratio_from_blur=Measured.from_engine(r["focal_ratio_from_blur"]),
        removed=r["removed_um"] * u.um,
        second_order_from=r["second_order_from_nm"] * _NM,
        noise_scale=float(r["noise_scale"]),
        from_focus_run=bool(r["from_focus_run"]),
    )


def compare_color_focus(
    curves: Mapping[str, ColorFocusCurve],
    *,
    band: Any = (400, 700),
    star: Any = 9600 * u.K,
    focus: str = "best-strehl",
) -> ColorComparison:
    """Compare telescopes on one footing: same band, same light, each at its own best focus.

    Parameters
    ----------
    curves : mapping of str to ColorFocusCurve
        By the telescope's name.
    band : pair of Quantity or numbers in nm
        Passband.
    star : Quantity or callable
        Light to weigh with, the same for all (see `ColorFocusCurve.merit`).
    focus : str
        Focus choice.

    Returns
    -------
    ColorComparison
        Best first.
    """
    if len(curves) < 2:
        raise InputError("Give at least two telescopes to compare.", argument="curves")
    merits = {name: c.merit(band, star=star, focus=focus) for name, c in curves.items()}
    names = sorted(merits, key=lambda n: -float(merits[n].polychromatic_strehl.value))
    decided = []
    for a, b in zip(names, names[1:]):
        x, y = merits[a].polychromatic_strehl, merits[b].polychromatic_strehl
        sigma = float(np.hypot(x.uncertainty.value, y.uncertainty.value))
        decided.append(float(x.value - y.value) > 2 * sigma)
    return ColorComparison(
        notes=tuple(
            dataclasses.replace(note, text=f"{name}: {note.text}")
            for name in names
            for note in merits[name].notes
        ),
        conditions={"band": [float(v) for v in _numbers(band, _NM, "band")], "focus": focus},
        names=tuple(names),
        merits=tuple(merits[n] for n in names),
        curves=tuple(curves[n] for n in names),
        decided=np.array(decided),
    )


def lens_color_focus(
    glasses: Sequence[str],
    focal_length: Any,
    *,
    wavelengths: Any = None,
    powers: Sequence[float] = (),
    reference: Any = 550,
) -> LensTheory:
    """Compute the color focus curve of a thin lens of given glasses.

    Parameters
    ----------
    glasses : sequence of str
        One, two or three names from the catalog, front to back, for example ("N-BK7", "F2").
    focal_length : Quantity or number in mm
        Of the lens.
    wavelengths : Quantity or numbers in nm, optional
        380 to 900 nm by default.
    powers : sequence of float
        Power of each element; by default two glasses unite F and C, three F, C and g.
    reference : Quantity or number in nm
        Zero of the curve.

    Returns
    -------
    LensTheory
        Thickness, gaps and spherochromatism are left out; a real lens differs by some ten percent.
    """
    if wavelengths is None:
        wavelengths = np.arange(380.0, 901.0, 2.0)
    request = {
        "glasses": [str(g) for g in glasses],
        "powers": [float(p) for p in powers],
        "focal_length_mm": _number(focal_length, u.mm, "focal_length"),
        "wavelength_nm": _numbers(wavelengths, _NM, "wavelengths"),
        "reference_nm": _number(reference, _NM, "reference"),
    }
    r = call("color_focus.lens", request)
    return LensTheory(
        notes=(),
        conditions={k: v for k, v in request.items() if k != "wavelength_nm"},
        wavelength=r["wavelength_nm"] * _NM,
        shift=r["shift_um"] * u.um,
        glasses=tuple(glasses),
        powers=r["powers"],
        index_d=r["index_d"],
        abbe_number=r["abbe_number"],
    )


def draw_spectrum(
    curve: Any,
    *,
    wavelengths: Any,
    focal_ratio: float,
    focal_length: Any,
    sensor: Any = 0.0,
    height: int = 200,
    obstruction: float = 0.0,
    pitch: Any = 4.63,
    seeing: Any = 2.5,
    temperature: Any = 9600,
    balmer_depth: float = 0.5,
    electrons: float = 2e7,
    second_order: float = 0.0,
    grating_lines: Any = None,
    grating_distance: Any = None,
    tilt: float = 6.0,
    bow: float = 1.0,
    sky: float = 40.0,
    cosmic_rays: int = 10,
    lamps: Sequence[str] = (),
    seed: int = 1,
) -> Frame:
    """Draw the two-dimensional spectrum of a star, or of a lamp, through a lens.

    Parameters
    ----------
    curve : LensTheory, ColorFocusCurve or None
        The lens; None is a mirror.
    wavelengths : Quantity or numbers in nm
        Of each column.
    focal_ratio : float
        Focal length over aperture.
    focal_length : Quantity or number in mm
        Of the telescope.
    sensor : Quantity or number in um
        Place of the sensor on the curve's scale.
    height : int
        Rows.
    obstruction : float
        Central obstruction.
    pitch : Quantity or number in um
        Pixel pitch.
    seeing : Quantity or number in arcsec
        FWHM at 550 nm.
    temperature : Quantity or number in K
        Of the star.
    balmer_depth : float
        Depth of the hydrogen lines.
    electrons : float
        Of the whole first order.
    second_order : float
        Efficiency of the second order over the first.
    grating_lines, grating_distance : Quantity or number, optional
        Grooves per mm and distance in mm of a grating in the converging beam.
    tilt, bow : float
        Of the trace, pixels.
    sky : float
        Electrons a pixel.
    cosmic_rays : int
        Hits.
    lamps : sequence of str
        Draw these lamps instead of a star.
    seed : int
        Of the noise; negative draws none.

    Returns
    -------
    Frame
        float32 pixels in adu with gain, read noise and pitch set.
    """
    nm = _numbers(wavelengths, _NM, "wavelengths")
    if curve is None:
        curve_nm, curve_um = [300.0, 1100.0], [0.0, 0.0]
    elif isinstance(curve, ColorFocusCurve):
        curve_nm = [float(v) for v in curve.wavelength.value[curve.used]]
        curve_um = [float(v) for v in curve.smooth.value[curve.used]]
    else:
        curve_nm = [float(v) for v in curve.wavelength.to_value(_NM)]
        curve_um = [float(v) for v in curve.shift.to_value(u.um)]
    pixels = np.zeros((height, len(nm)), np.float32)
    request = {
        "width": len(nm),
        "height": height,
        "wavelength_nm": nm,
        "curve_nm": curve_nm,
        "curve_um": curve_um,
        "sensor_um": _number(sensor, u.um, "sensor"),
        "focal_ratio": float(focal_ratio),
        "focal_length_mm": _number(focal_length, u.mm, "focal_length"),
        "obstruction": float(obstruction),
        "pitch_um": _number(pitch, u.um, "pitch"),
        "seeing_arcsec": _number(seeing, u.arcsec, "seeing"),
        "temperature_k": _number(temperature, u.K, "temperature"),
        "balmer_depth": float(balmer_depth),
        "electrons": float(electrons),
        "second_order": float(second_order),
        "grating_lines_per_mm": _number(grating_lines, 1 / u.mm, "grating_lines"),
        "grating_distance_mm": _number(grating_distance, u.mm, "grating_distance"),
        "tilt_px": float(tilt),
        "bow_px": float(bow),
        "sky_electrons": float(sky),
        "cosmic_rays": int(cosmic_rays),
        "lamps": [str(name) for name in lamps],
        "seed": int(seed),
    }
    call("color_focus.draw", request, outputs={"pixels": pixels})
    return Frame(
        pixels,
        name="drawn lamp" if lamps else "drawn spectrum",
        gain=1 * u.electron / u.adu,
        read_noise=3 * u.electron,
        pitch=request["pitch_um"] * u.um,
        saturation=65535 * u.adu,
    )

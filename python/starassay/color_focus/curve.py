"""The color focus curve and its measurement."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from astropy import units as u
from astropy.table import QTable

from .. import style
from .._gateway import call
from ..color_planes import refuse_mosaic
from ..frames import Frame, read_frame
from ..results import Measured, Note, Result, format_measured, notes_from_engine
from .merit import ColorMerit, evaluate, light_of
from .spectrum import reduction_request
from .units import NM, number, numbers
from .wavelengths import WavelengthScale


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

    @style.figure_style()
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
        if not self.signs_decided:
            return self._plot_sizes(ax)
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
            x = theory.wavelength.to_value(NM)
            inside = (x >= w[good].min()) & (x <= w[good].max())
            ax.plot(x[inside], theory.shift.to_value(u.um)[inside], "--", color=style.ORANGE)
            ax.lines[-1].set_label(theory.label)
        ax.axhline(0, color=style.GREY, lw=0.6)
        ax.set_xlabel("wavelength in air (nm)")
        ax.set_ylabel("best focus (µm), + = farther from the objective")
        assumed = any(n.code == "color-focus.sign-assumed" for n in self.notes)
        kind = "single spectrum, sign assumed" if assumed else "single spectrum"
        kind = "focus run" if self.from_focus_run else kind
        ax.set_title(f"Color focus at f/{self.focal_ratio:.1f}, {kind}")
        ax.legend(loc="best")
        return ax

    def _plot_sizes(self, ax: Any) -> Any:
        """What one spectrum shows when its signs are open: how far out of focus each color is."""
        good = self.used
        w = self.wavelength.value[good]
        size, error = self.defocus_size.value[good], self.defocus_size_error.value[good]
        depth = 2 * w / 1000 * self.focal_ratio**2
        ax.fill_between(w, 0, depth, color="#e8e8e8", lw=0, label="depth of focus 2λN²")
        ax.plot(w, size, color=style.BLUE, label="size of the defocus, 68 % band")
        low, high = np.clip(size - error, 0, None), size + error
        ax.fill_between(w, low, high, color=style.BLUE, alpha=0.25, lw=0)
        ax.set_ylim(bottom=0)
        ax.set_xlabel("wavelength in air (nm)")
        ax.set_ylabel("out of focus by (µm), side not known")
        ax.set_title(f"Single spectrum at f/{self.focal_ratio:.1f}: signs not decided")
        ax.legend(loc="best")
        return ax


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
    defocus: Any = None,
    wavelength_error: Any = 0.2,
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
    defocus : Quantity or number in um, optional
        For a single spectrum taken out of focus on purpose: how far the sensor was set beyond the
        best focus (negative: before it), right to a third. It decides the signs.
    wavelength_error : Quantity or number in pixels
        Standard uncertainty of the wavelength scale as a whole.
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
    listed = read_frames(frames)
    for frame in listed:
        refuse_mosaic(frame, "a spectrum")
    where = numbers(positions, u.um, "positions")
    wave = wavelengths.wavelength if isinstance(wavelengths, WavelengthScale) else wavelengths
    reduction = reduction_request(axis, row, columns, bins, half_window, line_depth)
    low, high = sorted(numbers(band, NM, "band"))
    curve = reference_curve
    request = {
        "focal_ratio": number(focal_ratio, u.dimensionless_unscaled, "focal_ratio"),
        "focal_length_mm": number(focal_length, u.mm, "focal_length"),
        "obstruction": float(obstruction),
        "pitch_um": number(pitch, u.um, "pitch"),
        "position_um": where,
        "wavelength_nm": numbers(wave, NM, "wavelengths"),
        "reference_nm": number(reference, NM, "reference"),
        "min_nm": low,
        "max_nm": high,
        "disperser": disperser,
        "grating_lines_per_mm": number(grating_lines, 1 / u.mm, "grating_lines"),
        "grating_distance_mm": number(grating_distance, u.mm, "grating_distance"),
        "order_filter": bool(order_filter),
        "shortest_light_nm": number(shortest_light, NM, "shortest_light"),
        "instrument_blur_um": number(instrument_blur, u.um, "instrument_blur"),
        "reference_curve_nm": [] if curve is None else curve.wavelength.value[curve.used],
        "reference_curve_um": [] if curve is None else curve.smooth.value[curve.used],
        "reference_curve_error_um": [] if curve is None else curve.smooth_error.value[curve.used],
        "sign_hint": sign_hint,
        "defocus_hint_um": number(defocus, u.um, "defocus"),
        "wavelength_error_columns": number(wavelength_error, u.pix, "wavelength_error"),
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
        wavelength=r["wavelength_nm"] * NM,
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
        defocus_size=r["defocus_size_um"] * u.um,
        defocus_size_error=r["defocus_size_error_um"] * u.um,
        sign_decided=r["sign_decided"],
        signs_decided=bool(r["signs_decided"]),
        removed=r["removed_um"] * u.um,
        second_order_from=r["second_order_from_nm"] * NM,
        noise_scale=float(r["noise_scale"]),
        from_focus_run=bool(r["from_focus_run"]),
    )


def read_frames(source: Any) -> list[Frame]:
    if isinstance(source, (list, tuple)):
        return [read_frame(s) for s in source]
    return [read_frame(source)]

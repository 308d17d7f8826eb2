"""The wavefront of a telescope from images of a star inside and outside of focus."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any, Literal

import numpy as np
from astropy import units as u
from astropy.table import QTable

from . import _gateway, style
from .errors import InputError
from .frames import Frame, read_frame
from .results import Measured, Result, format_measured, notes_from_engine
from .telescope import Telescope
from .views import PupilMap

_ORIENTATIONS = ("direct", "flipped-x", "flipped-y", "rotated180")


@dataclasses.dataclass(frozen=True, eq=False)
class FittedImage:
    """One defocused image beside its model, on the pixels that the fit used.

    Attributes
    ----------
    name : str
        Of the frame.
    observed, model : ndarray
        Electrons; row 0 at the bottom.
    residual : ndarray
        (observed - model) in standard deviations; 0 where masked.
    masked : ndarray of bool
        True where the pixel did not count.
    distance : Measured
        Of the sensor from best focus, negative inside.
    defocus_waves : float
        The same as path difference at the edge, in waves.
    flux, background : Measured
        Electrons, and electrons a pixel.
    origin : tuple of int
        Frame column and row of the first pixel.
    binning : int
        Frame pixels along one pixel here.
    """

    name: str
    observed: np.ndarray
    model: np.ndarray
    residual: np.ndarray
    masked: np.ndarray
    distance: Measured
    defocus_waves: float
    flux: Measured
    background: Measured
    origin: tuple[int, int]
    binning: int


@dataclasses.dataclass(frozen=True, eq=False)
class WavefrontFit(Result):
    """The wavefront of a telescope from one or more pairs of defocused images.

    Attributes
    ----------
    modes : QTable
        One row a mode; the same as `table`.
    rms, pv, strehl : Quantity
        Over the open pupil at best focus; their standard uncertainties are `rms_measured` and so on.
    rms_measured, pv_measured, strehl_measured : Measured
        The same with standard uncertainties.
    pv_bias : Quantity
        How much noise still raises the PV on average.
    strehl_from_rms : float
        exp[-(2 pi RMS / wavelength)^2], for comparison; NaN above 0.1 wave.
    map, map_uncertainty : Quantity, shape (n, n)
        Wavefront at best focus, positive where the wave is ahead, axes as on the sensor
        (x right, y up); NaN outside the open pupil.
    open_share : ndarray, shape (n, n)
        Share of each sample that passes light.
    covariance : Quantity, shape (modes, modes)
        Of the coefficients, every part of the budget included.
    wavelength : Quantity
        Mean of the band.
    focal_ratio : float
        Focal length over aperture.
    seeing : tuple of Measured
        FWHM in each image.
    images : tuple of FittedImage
        Inside, outside, inside, ...
    budget : QTable
        Where the uncertainty comes from, in the manner of JCGM 100.
    second_opinion : dict or None
        What the independent linear method says.
    pairs_alone : tuple of dict
        Each pair fitted alone, when there are several.
    chi_squared : float
        Per degree of freedom; near 1 when the model holds.
    map_error : Quantity
        RMS error of the map that the fit's covariance predicts.
    decided : bool
        False when a note of doubt forbids using the numbers to decide.
    """

    modes: QTable
    rms_measured: Measured
    pv_measured: Measured
    strehl_measured: Measured
    pv_bias: u.Quantity
    strehl_from_rms: float
    map: u.Quantity
    map_uncertainty: u.Quantity
    open_share: np.ndarray
    covariance: u.Quantity
    wavelength: u.Quantity
    focal_ratio: float
    seeing: tuple[Measured, ...]
    images: tuple[FittedImage, ...]
    budget: QTable
    second_opinion: dict[str, Any] | None
    pairs_alone: tuple[dict[str, Any], ...]
    chi_squared: float
    map_error: u.Quantity
    decided: bool

    @property
    def table(self) -> QTable:
        """Noll and OSA index, name, coefficient, uncertainty and plain words of each mode."""
        return self.modes

    @property
    def rms(self) -> u.Quantity:
        """RMS wavefront error."""
        return self.rms_measured.value

    @property
    def pv(self) -> u.Quantity:
        """Peak to valley of the noise-filtered map."""
        return self.pv_measured.value

    @property
    def strehl(self) -> u.Quantity:
        """Strehl ratio from the pupil integral at `wavelength`."""
        return self.strehl_measured.value

    @property
    def pupil(self) -> PupilMap:
        """The map as the functions of `starassay.views` take it."""
        return PupilMap(self.map, self.focal_ratio, self.wavelength, self.open_share)

    def summary(self) -> list[str]:
        """A few lines for a terminal."""
        nm = self.wavelength.to_value(u.nm)
        waves = self.rms_measured.value.to_value(u.nm) / nm
        lines = [
            f"RMS wavefront error  {self.rms_measured}  ({waves:.4f} waves at {nm:.0f} nm)",
            f"peak to valley       {self.pv_measured}  (what noise still adds: {self.pv_bias:.2g})",
            f"Strehl ratio         {self.strehl_measured}  at {nm:.0f} nm"
            + (
                f"; from the RMS alone {self.strehl_from_rms:.4f}"
                if np.isfinite(self.strehl_from_rms)
                else ""
            ),
            f"chi squared          {self.chi_squared:.3f} per degree of freedom; "
            f"modes to Noll {int(self.modes['noll'][-1])}",
        ]
        for row in self.modes[: min(18, len(self.modes))]:
            value = format_measured(
                row["coefficient"].to_value(u.nm), row["uncertainty"].to_value(u.nm), "nm"
            )
            lines.append(
                f"  Noll {row['noll']:2d}  OSA {row['osa']:2d}  {row['name']:<26s}{value:>20s}  {row['words']}"
            )
        lines.append("The measurement is of this sample, these nights and this setup.")
        return lines

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
        with style.figure_style():
            ax = style.new_axes(ax, figsize=(5.4, 4.6))
            values = self.map.to_value(u.nm)
            top = max(float(np.nanmax(np.abs(values))), 1.0)
            picture = ax.imshow(
                values,
                origin="lower",
                extent=(-1, 1, -1, 1),
                cmap=style.DIVERGING,
                vmin=-top,
                vmax=top,
            )
            ticks = (-1, -0.5, 0, 0.5, 1)
            ax.set(xlabel="pupil x (radius = 1)", ylabel="pupil y", xticks=ticks, yticks=ticks)
            ax.set_title(
                f"RMS {self.rms_measured}, Strehl {self.strehl_measured} "
                f"at {self.wavelength.to_value(u.nm):.0f} nm",
                fontsize=9,
            )
            bar = ax.figure.colorbar(picture, ax=ax, shrink=0.85)
            bar.set_label("wavefront error (nm), + = wave ahead")
        return ax

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
        with style.figure_style():
            ax = style.new_axes(ax, figsize=(7.0, 3.4))
            x = np.arange(len(self.modes))
            ax.axhline(0, color=style.GREY, linewidth=0.8)
            ax.bar(x, self.modes["coefficient"].to_value(u.nm), color=style.SKY)
            ax.errorbar(
                x,
                self.modes["coefficient"].to_value(u.nm),
                yerr=self.modes["uncertainty"].to_value(u.nm),
                fmt="none",
                ecolor=style.INK,
                capsize=2,
                linewidth=1,
            )
            ax.set_xticks(x)
            ax.set_xticklabels([str(n) for n in self.modes["noll"]], fontsize=7)
            ax.set(xlabel="Noll index", ylabel="coefficient (nm RMS)")
        return ax

    def plot_images(self) -> Any:
        """Observed, model and residual of every image.

        Returns
        -------
        matplotlib figure
            One row an image.
        """
        import matplotlib.pyplot as plt

        with style.figure_style():
            rows = len(self.images)
            figure, axes = plt.subplots(
                rows, 3, figsize=(8.6, 2.9 * rows), squeeze=False, layout="constrained"
            )
            for row, image in zip(axes, self.images):
                top = float(np.percentile(image.model, 99.9))
                low = float(np.min(image.model))
                side = "inside" if image.distance.value < 0 else "outside"
                heading = f"{side}, {abs(image.defocus_waves):.1f} waves"
                titles = (heading, "model", "residual")
                shown = (
                    np.where(image.masked, np.nan, image.observed),
                    image.model,
                    np.where(image.masked, np.nan, image.residual),
                )
                for k, ax in enumerate(row):
                    last = k == 2
                    picture = ax.imshow(
                        shown[k],
                        origin="lower",
                        cmap=style.DIVERGING if last else style.IMAGE,
                        vmin=-4 if last else low,
                        vmax=4 if last else top,
                    )
                    ax.set_title(titles[k], fontsize=9)
                    ax.tick_params(labelsize=7)
                    bar = figure.colorbar(picture, ax=ax, shrink=0.8)
                    bar.ax.tick_params(labelsize=7)
                    bar.set_label("standard deviations" if last else "electrons", fontsize=7)
                row[0].set_ylabel("pixel y", fontsize=8)
            for ax in axes[-1]:
                ax.set_xlabel("pixel x", fontsize=8)
        return figure

    def plot_views(self) -> Any:
        """Focused image, MTF, encircled energy, Ronchigram, knife edge and interferogram.

        Returns
        -------
        matplotlib figure
            Six views of the same wavefront.
        """
        import matplotlib.pyplot as plt

        from . import views

        pupil = self.pupil
        focused = views.draw_focused_image(pupil)
        modulation = views.compute_modulation(pupil)
        n = self.focal_ratio
        wave = self.wavelength
        shift = 8 * n**2 * wave * 4
        with style.figure_style():
            figure, axes = plt.subplots(2, 3, figsize=(11.5, 7.0), layout="constrained")
            focused.plot(axes[0, 0])
            modulation.plot(axes[0, 1])
            modulation.plot_energy(axes[0, 2])
            views.draw_ronchigram(pupil, shift=shift).plot(axes[1, 0])
            views.draw_knife_edge(pupil).plot(axes[1, 1])
            views.draw_interferogram(pupil).plot(axes[1, 2])
        return figure


def fit_wavefront(
    inside: Any,
    outside: Any,
    telescope: Telescope,
    *,
    wavelength: u.Quantity | str | Sequence[u.Quantity],
    weights: Sequence[float] | None = None,
    pitch: u.Quantity | str | None = None,
    distances: Sequence[u.Quantity] | None = None,
    orientation: Literal["direct", "flipped-x", "flipped-y", "rotated180"] = "direct",
    seeing: u.Quantity | str | None = None,
    hold_seeing: bool = False,
    jitter: u.Quantity | str = 0 * u.arcsec,
    least_noll: int = 22,
    most_noll: int = 45,
    scale_uncertainty: float = 0.005,
    wavelength_uncertainty: float = 0.005,
    obstruction_uncertainty: float = 0.01,
    gain: u.Quantity | None = None,
    read_noise: u.Quantity | None = None,
    saturation: u.Quantity | None = None,
    threads: int = 0,
    progress: bool = False,
) -> WavefrontFit:
    """Fit the wavefront to images of a bright star inside and outside of focus.

    Parameters
    ----------
    inside, outside : image-like, or lists of them
        Path, `CCDData`, array or `Frame`, whole frames or crops; lists give several pairs that
        are fitted together.
    telescope : Telescope
        Aperture, focal length at the sensor, obstruction, vanes.
    wavelength : Quantity, or a sequence of them
        Middle of the narrow filter, or several wavelengths of its band.
    weights : sequence of float, optional
        Shares of the detected light at those wavelengths; equal by default.
    pitch : Quantity, optional
        Pixel pitch, binning included; the frames' own by default.
    distances : sequence of Quantity, optional
        Sensor positions from best focus (negative inside), one for each image in the order inside,
        outside, inside, ...; only compared with what the images show.
    orientation : str
        "direct", or how the view is flipped between pupil and sensor: "flipped-x" or
        "flipped-y" behind a diagonal, "rotated180".
    seeing : Quantity, optional
        FWHM; found by the fit when not given, a start when given.
    hold_seeing : bool
        Keep the seeing as given (0 for an artificial star indoors).
    jitter : Quantity
        RMS of guiding along each axis.
    least_noll, most_noll : int
        Fewest and most modes.
    scale_uncertainty, wavelength_uncertainty, obstruction_uncertainty : float
        Relative standard uncertainties of what is held fixed.
    gain, read_noise, saturation : Quantity, optional
        Where the headers are silent or wrong.
    threads : int
        Worker threads, 0 = one for each processor; never changes the result.
    progress : bool
        Show a bar.

    Returns
    -------
    WavefrontFit
        Coefficients, map, figures, budget and notes.

    Raises
    ------
    InputError
        The call can never work as given.
    CannotMeasureError
        The images do not hold the measurement.

    Notes
    -----
    Defocus is fitted for each image and left out of the wavefront, since the focuser sets it.
    See ``docs/wavefront.md`` for what is degenerate and what the pair breaks.

    Examples
    --------
    >>> import starassay
    >>> fit = starassay.fit_wavefront(  # doctest: +SKIP
    ...     "inside.fits", "outside.fits", starassay.Telescope("115 mm", "760 mm"), wavelength="540 nm"
    ... )
    >>> fit.table, fit.rms, fit.plot()  # doctest: +SKIP
    """
    if orientation not in _ORIENTATIONS:
        raise InputError(
            f"orientation is '{orientation}'; choose one of {', '.join(_ORIENTATIONS)}.",
            code="wavefront.orientation",
            argument="orientation",
        )
    facts = {"gain": gain, "read_noise": read_noise, "saturation": saturation}
    frames = _pairs(inside, outside, {k: v for k, v in facts.items() if v is not None})
    band = u.Quantity(wavelength).to(u.nm)
    request: dict[str, Any] = {
        "aperture_mm": telescope.aperture.to_value(u.mm),
        "focal_length_mm": telescope.focal_length.to_value(u.mm),
        "pupil": telescope.pupil_request(),
        "wavelengths_nm": np.atleast_1d(band.value),
        "weights": [] if weights is None else [float(w) for w in weights],
        "pitch_um": np.nan if pitch is None else u.Quantity(pitch).to_value(u.um),
        "distances_um": (
            [] if distances is None else [float(u.Quantity(d).to_value(u.um)) for d in distances]
        ),
        "orientation": orientation,
        "seeing_arcsec": np.nan if seeing is None else u.Quantity(seeing).to_value(u.arcsec),
        "hold_seeing": hold_seeing,
        "jitter_arcsec": u.Quantity(jitter).to_value(u.arcsec),
        "least_noll": least_noll,
        "most_noll": max(most_noll, least_noll),
        "known_to": {
            "scale": scale_uncertainty,
            "wavelength": wavelength_uncertainty,
            "obstruction": obstruction_uncertainty,
        },
    }
    record = _gateway.call(
        "wavefront.fit",
        request,
        frames={f"frame{k}": frame for k, frame in enumerate(frames)},
        threads=threads,
        progress=progress,
    )
    notes = [n for frame in frames for n in frame.notes]
    return _result(record, telescope, tuple(notes), request)


def _pairs(inside: Any, outside: Any, facts: dict[str, u.Quantity]) -> list[Frame]:
    first = list(inside) if isinstance(inside, (list, tuple)) else [inside]
    second = list(outside) if isinstance(outside, (list, tuple)) else [outside]
    if len(first) != len(second):
        raise InputError(
            f"{len(first)} images inside and {len(second)} outside of focus were given; "
            "pairs need as many of one as of the other.",
            code="wavefront.pairs",
            argument="outside",
        )
    return [read_frame(source, **facts) for pair in zip(first, second) for source in pair]


def _result(
    r: dict[str, Any], telescope: Telescope, notes: tuple[Any, ...], request: dict[str, Any]
) -> WavefrontFit:
    modes = QTable(
        {
            "noll": r["noll"],
            "osa": r["osa"],
            "name": r["name"],
            "coefficient": r["coefficient_nm"] * u.nm,
            "uncertainty": r["uncertainty_nm"] * u.nm,
            "fit_uncertainty": r["fit_uncertainty_nm"] * u.nm,
            "words": r["words"],
        },
        meta={"sign": "positive where the wave is ahead; circle polynomials, RMS over the disc"},
    )
    lines = r["budget"]
    budget = QTable(
        {
            "source": [b["source"] for b in lines],
            "kind": [b["kind"] for b in lines],
            "input": [b["input"] for b in lines],
            "map": [b["map_nm"] for b in lines] * u.nm,
            "rms": [b["rms_nm"] for b in lines] * u.nm,
            "strehl": [b["strehl"] for b in lines],
        }
    )
    images = tuple(
        FittedImage(
            i["name"],
            i["observed"],
            i["model"],
            i["residual"],
            i["masked"],
            Measured.from_engine(i["distance"]),
            i["defocus_waves"],
            Measured.from_engine(i["flux"]),
            Measured.from_engine(i["background"]),
            (i["x0"], i["y0"]),
            i["binning"],
        )
        for i in r["images"]
    )
    conditions = {
        "telescope": telescope.name,
        "wavelength": r["wavelength_nm"] * u.nm,
        "pairs": len(images) // 2,
        "points": r["points"],
        "iterations": r["iterations"],
        "request": request,
    }
    return WavefrontFit(
        notes=notes_from_engine(r["notes"]) + notes,
        conditions=conditions,
        modes=modes,
        rms_measured=Measured.from_engine(r["rms"]),
        pv_measured=Measured.from_engine(r["pv"]),
        strehl_measured=Measured.from_engine(r["strehl"]),
        pv_bias=r["pv_bias_nm"] * u.nm,
        strehl_from_rms=r["strehl_from_rms"],
        map=r["map_nm"] * u.nm,
        map_uncertainty=r["map_uncertainty_nm"] * u.nm,
        open_share=r["map_open"],
        covariance=r["covariance_nm2"] * u.nm**2,
        wavelength=r["wavelength_nm"] * u.nm,
        focal_ratio=r["focal_ratio"],
        seeing=tuple(Measured.from_engine(s) for s in r["seeing"]),
        images=images,
        budget=budget,
        second_opinion=r["second_opinion"],
        pairs_alone=tuple(r["pairs_alone"]),
        chi_squared=r["chi_squared"],
        map_error=r["map_error_nm"] * u.nm,
        decided=r["decided"],
    )

"""The fitted wavefront with everything that must be known beside it."""

from __future__ import annotations

import dataclasses
import re
from typing import Any

import numpy as np
from astropy import units as u
from astropy.table import QTable

from ...results import Measured, Result, format_measured
from ...optics.views import PupilMap
from . import figures


# How the engine's words about a mode begin when it does not stand out from its error.
_SILENT = "not told from zero by these images"


def mode_name(name: str) -> str:
    """Name of a mode to be read: "astigmatism 45" is an angle, so it gets its sign."""
    return re.sub(r"(\d)$", "\\1°", str(name))


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
        """The map as the functions of `starassay.optics.views` take it."""
        return PupilMap(self.map, self.focal_ratio, self.wavelength, self.open_share)

    def summary(self) -> list[str]:
        """A few lines for a terminal."""
        nm = self.wavelength.to_value(u.nm)
        waves = self.rms_measured.value.to_value(u.nm) / nm
        lines = [
            f"RMS wavefront error  {self.rms_measured}  ({waves:.4f} waves at {nm:.0f} nm)",
            f"peak to valley       {self.pv_measured}"
            + (f"  (of it, about {self.pv_bias:.2g} from noise)" if self.pv_bias > 0 else ""),
            f"Strehl ratio         {self.strehl_measured}  at {nm:.0f} nm"
            + (
                f"; from the RMS alone {self.strehl_from_rms:.4f}"
                if np.isfinite(self.strehl_from_rms)
                else ""
            ),
            f"chi squared          {self.chi_squared:.3f} per degree of freedom; "
            f"modes to Noll {int(self.modes['noll'][-1])}",
        ]
        meanings: dict[str, list[str]] = {}
        silent = 0
        for row in self.modes:
            words = str(row["words"])
            if words.startswith(_SILENT):
                silent += 1
                continue
            meanings.setdefault(words, []).append(f"Noll {row['noll']}")
            value = format_measured(
                row["coefficient"].to_value(u.nm), row["uncertainty"].to_value(u.nm), "nm"
            )
            lines.append(
                f"  {mode_name(row['name']):<26s}Noll {row['noll']:2d}  OSA {row['osa']:2d}{value:>20s}"
            )
        if silent:
            lines.append(f"  {silent} {'more ' if meanings else ''}modes are {_SILENT}")
        lines += [f"  {' and '.join(modes)}: {words}" for words, modes in meanings.items()]
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

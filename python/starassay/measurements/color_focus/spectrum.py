"""A frame of a spectrum reduced to trace, flux and profiles."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from astropy import units as u
from astropy.table import QTable

from ... import style
from ..._gateway import call
from ...imaging.color_planes import refuse_mosaic
from ...imaging.frames import read_frame
from ...results import Result, notes_from_engine
from .units import number


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
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

    def sentences(self) -> list[str]:
        """What was found."""
        return [
            f"{len(self.flux)} columns, trace from row {self.trace[0].value:.1f} to "
            f"{self.trace[-1].value:.1f}",
            f"half width (68 %) {np.nanmedian(self.width.value):.2f} pix at the middle, "
            f"gain {self.gain:.2f}",
        ]

    @style.figure_style()
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


def reduction_request(
    axis: str, row: Any, columns: Any, bins: int, half_window: int, line_depth: float
) -> dict[str, Any]:
    first, end = columns if columns is not None else (0, 0)
    return {
        "axis": axis,
        "trace_row": number(row, u.pix, "row"),
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
    refuse_mosaic(f, "a spectrum")
    request = reduction_request(axis, row, columns, bins, half_window, line_depth)
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

"""A frame of a spectrum reduced to trace, flux and profiles."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np

from ... import _records, style
from ..._gateway import call
from ...imaging.color_planes import refuse_mosaic
from ...imaging.frames import read_frame
from ...results import Result, notes_from_engine

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Spectrum(Result, _records.ReducedSpectrum):
    """A frame reduced to a trace, a flux and a profile for each bin.

    Its attributes are those of the engine's record; arrays over columns begin at `first_column`.
    """

    COLUMNS = {"column": "Column of the frame."}

    @property
    def table(self) -> QTable:
        """Flux and trace of each column."""
        from astropy.table import QTable

        names = "trace flux flux_uncertainty background masked".split()
        column = np.arange(self.first_column, self.first_column + len(self.flux))
        return QTable({"column": column, **{name: getattr(self, name) for name in names}})

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
        ax.plot(x, self.flux.value, color=style.GREY, lw=0.7)
        ax.plot(x, np.where(self.masked, np.nan, self.flux.value), color=style.BLUE, lw=1.0)
        ax.set_xlabel("column (pix)")
        ax.set_ylabel("flux (adu)")
        style.entitle(ax, "Spectrum; grey: left out")
        return ax


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
    request = _records.SPECTRUM_REQUEST.fill(
        axis=axis,
        row=row,
        columns=columns,
        bins=bins,
        half_window=half_window,
        line_depth=line_depth,
    )
    raw = call("color_focus.reduce", request, frames={"frame": f}, threads=threads)
    return Spectrum.from_engine(
        raw,
        notes=(*f.notes, *notes_from_engine(raw["notes"])),
        conditions={"frame": f.name, "request": request},
    )

"""Wavelength of every column, from a lamp or from the star itself."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ... import _records, _units, style
from ..._gateway import call
from ...imaging.frame import Frame
from ...imaging.frames import read_frame
from ...results import Result, notes_from_engine
from .spectrum import Spectrum

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class WavelengthScale(Result, _records.WavelengthSolution):
    """Wavelength of every column.

    Its attributes are those of the engine's record: `wavelength` and `uncertainty` of each column,
    `modes` in which the scale may be off, the lines that it rests on.
    """

    COLUMNS = {"column": "Column of the line.", "wavelength": "Published wavelength in air."}

    @property
    def table(self) -> QTable:
        """The lines used."""
        from astropy.table import QTable

        return QTable(
            {
                "column": self.line_column * u.pix,
                "wavelength": self.line_wavelength,
                "residual": self.residual,
            }
        )

    def sentences(self) -> list[str]:
        """What was found."""
        return [
            f"{len(self.line_column)} lines, {self.wavelength[0]:.1f} to {self.wavelength[-1]:.1f} "
            f"in {self.medium}, residual {self.rms.to_value(u.nm):.3f} nm RMS "
            f"({self.rms_columns.value:.2f} columns)"
        ]

    @style.figure_style()
    def plot(self, ax: Any = None) -> Any:
        """Residuals of the lines; returns the matplotlib axes."""
        ax = style.new_axes(ax, figsize=(7, 3))
        ax.axhline(0, color=style.GREY, lw=0.8)
        ax.plot(self.line_wavelength.to_value(u.nm), self.residual.to_value(u.nm), "o", ms=4)
        ax.set_xlabel("wavelength in air (nm)")
        ax.set_ylabel("residual (nm)")
        style.entitle(ax, f"Wavelength scale: {self.rms.to_value(u.nm):.3f} nm RMS")
        return ax


def calibrate_wavelengths(
    source: Any,
    *,
    lamps: Sequence[str] = (),
    lines: Any = None,
    dispersion: Any,
    star: bool = False,
    limits: Any = None,
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
    lines : Quantity, optional
        Further lines, in air.
    dispersion : pair of Quantity
        Rough dispersion, least and greatest, in nm per pixel; a prism's whole range.
    star : bool
        True when the lines are dark.
    limits : pair of Quantity, optional
        What can lie in the frame; 330 to 1050 nm by default.
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
        flux, offset, label = (
            source.flux.value,
            source.first_column,
            str(source.conditions["frame"]),
        )
    elif isinstance(source, np.ndarray) and source.ndim == 1:
        flux, offset, label = np.asarray(source, float), 0, "flux"
    else:
        frame = read_frame(source)
        flux, offset, label = lamp_flux(frame, axis, trace, half_height), 0, frame.name
    if _units.flag(star, "star") and not lamps and lines is None:
        lamps = ("H", "telluric")
    request = _records.WAVELENGTH_REQUEST.fill(
        absorption=star,
        lamps=lamps,
        lines=lines,
        dispersion=dispersion,
        limits=limits,
        direction=direction,
        max_degree=max_degree,
        max_rms=2.0 if star and max_rms is None else max_rms,
        first_column=offset,
    )
    raw = call("color_focus.calibrate", request, arrays={"flux": np.asarray(flux, np.float64)})
    return WavelengthScale.from_engine(
        raw,
        notes=notes_from_engine(raw["notes"]),
        conditions={"source": label, "request": request},
    )


def lamp_flux(frame: Frame, axis: str, trace: Any, half: int) -> np.ndarray:
    _units.choice(axis, ("x", "y"), "axis")
    half = _units.integer(half, "half_height")
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
        rows[:] = _units.number(trace, "pix", "trace")
    base = np.clip(np.rint(rows).astype(int), half, height - 1 - half)
    stack = np.stack([data[base + k, np.arange(width)] for k in range(-half, half + 1)])
    # A median across the rows drops cosmic rays; a lamp line fills them all.
    return np.nan_to_num(np.nanmedian(stack, axis=0)).astype(float)

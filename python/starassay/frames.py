"""Everything image-like becomes a `Frame` here, and nowhere else."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.io import fits
from astropy.nddata import CCDData
from astropy.wcs import WCS

from .results import Note


@dataclasses.dataclass(frozen=True, eq=False)
class Frame:
    """One image with what is known of the camera that took it.

    Attributes
    ----------
    pixels : ndarray, shape (ny, nx)
        As stored, any integer or float type in any byte order; physical value =
        zero + scale x stored.
    mask : ndarray of bool or None
        True = do not use.
    name : str
        File name or label, for messages.
    scale, zero, blank : float, float, int or None
        The file's BSCALE, BZERO and BLANK.
    saturation, gain, read_noise, pitch, exposure : Quantity or None
        adu, electron/adu, electron, um, s; None when not known.
    filter : str
        Name of the filter as the file gives it, or "".
    wcs : `~astropy.wcs.WCS` or None
        Celestial solution when present.
    meta : dict
        The header's cards.
    notes : tuple of Note
        What is missing or contradictory in the input.
    """

    pixels: np.ndarray
    mask: np.ndarray | None = None
    name: str = ""
    scale: float = 1.0
    zero: float = 0.0
    blank: int | None = None
    saturation: u.Quantity | None = None
    gain: u.Quantity | None = None
    read_noise: u.Quantity | None = None
    pitch: u.Quantity | None = None
    exposure: u.Quantity | None = None
    filter: str = ""
    wcs: WCS | None = None
    meta: dict[str, Any] = dataclasses.field(default_factory=dict)
    notes: tuple[Note, ...] = ()

    @property
    def shape(self) -> tuple[int, int]:
        """(ny, nx)."""
        return self.pixels.shape  # type: ignore[return-value]

    @property
    def data(self) -> np.ndarray:
        """Physical pixel values in adu as float32 in native order (a copy)."""
        data = self.pixels.astype(np.float32)
        if self.scale != 1.0 or self.zero != 0.0:
            data = (self.zero + self.scale * self.pixels.astype(np.float64)).astype(np.float32)
        if self.blank is not None:
            data[self.pixels == self.blank] = np.nan
        return data

    def engine_facts(self) -> dict[str, Any]:
        """What the engine is told beside the pixels; NaN = not known."""

        def number(value: u.Quantity | None, unit: u.UnitBase) -> float:
            return float("nan") if value is None else float(value.to_value(unit))

        return {
            "label": self.name,
            "scale": self.scale,
            "zero": self.zero,
            "blank": self.blank,
            "saturation_adu": number(self.saturation, u.adu),
            "gain_electrons_per_adu": number(self.gain, u.electron / u.adu),
            "read_noise_electrons": number(self.read_noise, u.electron),
            "pitch_um": number(self.pitch, u.um),
            "exposure_s": number(self.exposure, u.s),
        }


def read_frame(source: Any, *, name: str = "") -> Frame:
    """Make a `Frame` of a path, `CCDData`, `Quantity`, array or `Frame`.

    Parameters
    ----------
    source : path, HDUList, CCDData, Quantity, ndarray or Frame
        Where the pixels are.
    name : str
        Label for messages; the file name by default.
    """
    if isinstance(source, Frame):
        return source
    if isinstance(source, CCDData):
        return Frame(
            np.asarray(source.data),
            source.mask,
            name or "image",
            wcs=source.wcs,
            meta=dict(source.meta),
        )
    if isinstance(source, u.Quantity):
        return Frame(source.to_value(u.adu), name=name or "image")
    if isinstance(source, np.ndarray):
        return Frame(source, name=name or "image")
    with fits.open(Path(source), do_not_scale_image_data=True) as hdus:
        for hdu in hdus:
            if hdu.is_image and hdu.data is not None:
                header = hdu.header
                return Frame(
                    np.array(hdu.data),
                    name=name or Path(source).name,
                    scale=header.get("BSCALE", 1.0),
                    zero=header.get("BZERO", 0.0),
                    meta=dict(header),
                )
    raise ValueError(f"{source} holds no image.")

"""One image with what is known of the camera that took it."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ..errors import InputError
from ..results import Note
from .header_keywords import ELECTRON_PER_ADU
from .masks import either, fitting_mask, split_mask

if TYPE_CHECKING:
    from astropy.time import Time
    from astropy.wcs import WCS


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
        adu, electron/adu, electron, um (after binning), s; None when not known.
    filter : str
        Name of the filter as the file gives it, or "".
    wcs : `~astropy.wcs.WCS` or None
        Celestial solution when present.
    meta : dict
        The header's cards.
    notes : tuple of Note
        What is missing or contradictory in the input.
    time : `~astropy.time.Time` or None
        Start of the exposure.
    focus_position : Quantity or None
        Position of the focuser: a length when the header tells the step, else plain steps.
    binning : tuple of int
        (x, y).
    bayer : str
        Colors of the raw mosaic at [0, 0], [0, 1], [1, 0], [1, 1] of the array, for example
        "RGGB"; "" for a mono image.
    camera, telescope, object, image_type : str
        As the header names them, "" where it is silent.
    temperature : Quantity or None
        Of the sensor, deg_C.
    data_section, bias_section : tuple of slice or None
        Rows and columns of the lit part and of the overscan.
    path : Path or None
        The file it came from.
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
    time: Time | None = None
    focus_position: u.Quantity | None = None
    binning: tuple[int, int] = (1, 1)
    bayer: str = ""
    camera: str = ""
    telescope: str = ""
    object: str = ""
    image_type: str = ""
    temperature: u.Quantity | None = None
    data_section: tuple[slice, slice] | None = None
    bias_section: tuple[slice, slice] | None = None
    path: Path | None = None

    def __post_init__(self) -> None:
        pixels, grown = split_mask(self.pixels)
        if isinstance(pixels, u.Quantity):
            raise InputError(
                f"The pixels of {self.name or 'the frame'} have the unit {pixels.unit}; a Frame takes plain "
                "numbers in adu. Let read_frame make it, which reads units.",
                code="frame.unit",
                argument="pixels",
                subject=self.name,
            )
        object.__setattr__(self, "pixels", np.asarray(pixels))
        mask = either(grown, self.mask)
        if mask is not None:
            mask = fitting_mask(mask, self.pixels.shape, self.name or "the frame")
            object.__setattr__(self, "mask", mask)

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
            "gain_electrons_per_adu": number(self.gain, ELECTRON_PER_ADU),
            "read_noise_electrons": number(self.read_noise, u.electron),
            "pitch_um": number(self.pitch, u.um),
            "exposure_s": number(self.exposure, u.s),
        }

    def __repr__(self) -> str:
        facts = [f"{self.name!r}", f"{self.pixels.shape[1]} x {self.pixels.shape[0]} pixels"]
        for key in ("exposure", "filter", "gain", "read_noise", "saturation", "pitch", "bayer"):
            value = getattr(self, key)
            if value is not None and value != "":
                facts.append(f"{key} {value}")
        if self.notes:
            facts.append(f"{len(self.notes)} notes")
        return f"<Frame {', '.join(facts)}>"

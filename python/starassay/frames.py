"""Everything image-like becomes a `Frame` here, and nowhere else."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.time import Time
from astropy.wcs import WCS

from .errors import InputError
from .frame_pixels import fitting_mask, look_at, take_plane
from .frame_sources import OpenedImage, open_image
from .header_keywords import ELECTRON_PER_ADU
from .quantities import quantity
from .results import Note, say


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


_UNITS: dict[str, u.UnitBase] = {
    "saturation": u.adu,
    "gain": ELECTRON_PER_ADU,
    "read_noise": u.electron,
    "pitch": u.um,
    "exposure": u.s,
    "temperature": u.deg_C,
}
_TEXTS = ("filter", "bayer", "camera", "telescope", "object", "image_type")
_OTHERS = ("mask", "time", "focus_position", "binning", "wcs", "data_section", "bias_section")
_ASKED_FOR = ("exposure", "gain", "read_noise", "pitch")


def read_frame(
    source: Any,
    *,
    name: str = "",
    hdu: int | str | None = None,
    plane: int | None = None,
    **overrides: Any,
) -> Frame:
    """Make a `Frame` of a file, an Astropy object or an array.

    Pixels stay as they are stored, without a copy where possible (a plain file is mapped, not
    loaded); the engine decodes them. What the header is silent about stays None, and what is
    missing, contradictory or doubtful becomes a note.

    Parameters
    ----------
    source : path, HDUList, HDU, CCDData, NDData, Quantity, ndarray or Frame
        Where the pixels are. Files may be plain, gzip- or tile-compressed FITS.
    name : str
        Label for messages; the file name by default.
    hdu : int or str
        Which HDU of the file or list; the first that holds an image by default.
    plane : int
        Which plane of an image with three axes.
    **overrides
        Facts of the camera that go before the header's: any attribute of `Frame` such as ``gain``,
        ``pitch``, ``exposure`` (Quantity, or text with a unit), ``filter``, ``bayer``, ``mask``.

    Returns
    -------
    Frame
        The pixels and what is known of them.

    Raises
    ------
    FileError
        When a file is missing, not FITS, cut off, or holds no image.
    InputError
        When the source is no image with two axes, or an override cannot be understood.
    CannotMeasureError
        When no pixel holds a value, or all are saturated.

    Notes
    -----
    The engine looks once at all pixels: where they pile up at the bright end is the saturation
    level, and the four pixels of each 2 x 2 cell tell where a color mosaic has its greens.
    `docs/intake.md` lists the keywords that are understood.

    Examples
    --------
    >>> import numpy as np
    >>> from starassay import read_frame
    >>> frame = read_frame(np.arange(12, dtype=np.uint16).reshape(3, 4), gain="1.5 electron / adu")
    >>> frame.shape, frame.gain
    ((3, 4), <Quantity 1.5 electron / adu>)
    """
    unknown = set(overrides) - {*_UNITS, *_TEXTS, *_OTHERS}
    if unknown:
        known = ", ".join(sorted({*_UNITS, *_TEXTS, *_OTHERS}))
        raise InputError(
            f"read_frame has no option {sorted(unknown)[0]!r}. Its options are name, hdu, plane, {known}.",
            code="frame.option",
            argument=sorted(unknown)[0],
        )
    given = {key: _override(key, value) for key, value in overrides.items() if value is not None}
    if isinstance(source, Frame):
        frame = dataclasses.replace(source, **given)
        return dataclasses.replace(frame, name=name) if name else frame
    return _finish(open_image(source, name, hdu), plane, given)


def _override(key: str, value: Any) -> Any:
    """One option, brought to the unit and type of the `Frame`'s attribute."""
    if key in _UNITS:
        return quantity(value, _UNITS[key], key)
    if key in _TEXTS:
        return str(value)
    if key == "binning":
        pair = (value, value) if np.ndim(value) == 0 else tuple(value)
        return (int(pair[0]), int(pair[1]))
    if key == "focus_position":
        return value if isinstance(value, u.Quantity) else u.Quantity(value)
    if key == "time":
        return Time(value)
    return value


def _finish(opened: OpenedImage, plane: int | None, given: dict[str, Any]) -> Frame:
    """Lays the options over the header's facts, looks at the pixels, and says what is missing."""
    facts, name, notes = opened.facts, opened.name, opened.facts.notes
    pixels = take_plane(opened.pixels, plane, name, notes)
    values: dict[str, Any] = {
        f.name: getattr(facts, f.name) for f in dataclasses.fields(facts) if f.name != "notes"
    }
    values.update({"mask": opened.mask, "wcs": opened.wcs, **given})
    if values["mask"] is not None:
        values["mask"] = fitting_mask(values["mask"], pixels.shape, name)
    missing = [key.replace("_", " ") for key in _ASKED_FOR if values[key] is None]
    if missing and opened.meta:
        notes.append(
            say(
                "frame.facts-missing",
                f"The header does not give {', '.join(missing)}. Give what you know: "
                f"{missing[0].replace(' ', '_')}=... in Python, --{missing[0].replace(' ', '-')} on the "
                "command line.",
                name,
            )
        )
    frame = Frame(
        pixels,
        name=name,
        scale=opened.scale,
        zero=opened.zero,
        blank=opened.blank,
        meta=opened.meta,
        notes=tuple(notes),
        path=opened.path,
        **values,
    )
    return look_at(frame, given.keys())


def bounds(section: tuple[slice, slice] | None, shape: tuple[int, int]) -> list[int]:
    """[x0, x1, y0, y1] of a section, as the engine wants it."""
    if section is None:
        return []
    rows, columns = section
    y0, y1, _ = rows.indices(shape[0])
    x0, x1, _ = columns.indices(shape[1])
    return [x0, x1, y0, y1]

"""Everything image-like becomes a `Frame` here, and nowhere else."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.io import fits
from astropy.nddata import NDData
from astropy.time import Time
from astropy.wcs import WCS

from . import _gateway
from ._fits_files import StoredImage, quiet, read_stored, stored_scaling
from .errors import CannotMeasureError, InputError
from .header import Card, HeaderFacts, collect_cards, is_dark, read_header
from .header_keywords import ELECTRON_PER_ADU
from .results import Note, notes_from_engine, say


class UnitError(InputError, u.UnitsError):
    """A value has a unit that cannot be what was asked for; also Astropy's `UnitsError`."""


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
    if isinstance(source, (str, os.PathLike)):
        path = Path(source)
        stored = read_stored(path, hdu)
        frame = _from_stored(stored, name or path.name, plane, given, hdu)
        return dataclasses.replace(frame, path=path)
    if isinstance(source, fits.HDUList):
        return _from_hdu(_one_of(source, hdu, name), name, plane, given)
    if isinstance(source, (fits.PrimaryHDU, fits.ImageHDU, fits.CompImageHDU)):
        return _from_hdu(source, name, plane, given)
    if isinstance(source, NDData):
        return _from_nddata(source, name or "image", plane, given)
    if isinstance(source, u.Quantity):
        facts = HeaderFacts()
        _apply_unit(facts, source.unit, name or "image")
        return _finish(np.asarray(source.value), facts, name or "image", plane, given, meta={})
    if isinstance(source, np.ma.MaskedArray):
        given.setdefault("mask", np.ma.getmaskarray(source))
        return _finish(
            np.asarray(source.data), HeaderFacts(), name or "image", plane, given, meta={}
        )
    if isinstance(source, np.ndarray):
        return _finish(source, HeaderFacts(), name or "image", plane, given, meta={})
    raise InputError(
        f"An image cannot be made of a {type(source).__name__}. Give a path, HDUList, HDU, CCDData, "
        "NDData, Quantity or NumPy array.",
        code="frame.source",
        argument="source",
    )


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


def quantity(value: Any, unit: u.UnitBase, what: str) -> u.Quantity:
    """A value in `unit`, from a Quantity or a text with a unit.

    Parameters
    ----------
    value : Quantity or str
        For example ``"3.76 um"``.
    unit : Unit
        The unit to bring it to.
    what : str
        What it is, for the message.

    Raises
    ------
    UnitError
        When it has no unit, or one that does not fit.
    """
    try:
        made = u.Quantity(value)
        if unit == u.deg_C:
            return made.to(unit, u.temperature())
        return made.to(unit)
    except (TypeError, ValueError):
        shown = f"{value!s}" if isinstance(value, (str, u.Quantity, int, float)) else repr(value)
        raise UnitError(
            f"{what} = {shown} cannot be read as a value in {unit}. Write it with its unit, for example "
            f'{what}="3.5 {unit}".',
            code="input.unit",
            argument=what,
        ) from None


def _one_of(hdus: fits.HDUList, wanted: int | str | None, name: str) -> Any:
    """The HDU asked for, or the first with pixels."""
    if wanted is not None:
        try:
            return hdus[wanted]
        except (KeyError, IndexError):
            raise InputError(
                f"{name or 'The HDUList'} has no HDU {wanted!r}.",
                code="file.no-hdu",
                argument="hdu",
            ) from None
    for hdu in hdus:
        if hdu.is_image and hdu.header.get("NAXIS", 0) > 0:
            return hdu
    raise InputError(
        f"{name or hdus.filename() or 'The HDUList'} holds no image. Choose another file.",
        code="file.no-image",
        argument="source",
    )


def _from_hdu(hdu: Any, name: str, plane: int | None, given: dict[str, Any]) -> Frame:
    with quiet() as said:
        raw = bool(getattr(hdu, "_do_not_scale_image_data", False))
        if not getattr(hdu, "is_image", False) or hdu.data is None:
            raise InputError(
                f"{name or 'The HDU'} holds no image. Choose another HDU.",
                code="file.no-image",
                argument="source",
            )
        header = hdu.header.copy()
        scaling = stored_scaling(header, name or "The HDU") if raw else (1.0, 0.0, None)
        stored = StoredImage(np.asarray(hdu.data), *scaling, header)
    stored.warnings = said
    label = name or Path(str((hdu.fileinfo() or {}).get("file") and hdu._file.name or "image")).name
    return _from_stored(stored, label, plane, given, 0)


def _from_stored(
    stored: StoredImage, name: str, plane: int | None, given: dict[str, Any], wanted: Any
) -> Frame:
    facts = read_header(stored.header, subject=name)
    cards, _ = collect_cards(stored.header)
    unit = cards.get("BUNIT", [Card("", "")])[0].value
    _apply_unit(facts, unit if isinstance(unit, str) else "", name)
    if stored.images > 1 and wanted is None:
        facts.notes.append(
            say(
                "frame.several-images",
                f"The file holds {stored.images} images; HDU {stored.index} was taken. Choose another "
                "with hdu=....",
                name,
            )
        )
    if stored.extra_bytes:
        facts.notes.append(
            say(
                "frame.extra-bytes",
                f"{stored.extra_bytes} bytes follow the image that belong to nothing; compare "
                f"{' x '.join(map(str, stored.pixels.shape[::-1]))} pixels with what the camera gives.",
                name,
            )
        )
    wcs = _wcs(stored.header, facts.notes, name)
    return _finish(
        stored.pixels,
        facts,
        name,
        plane,
        given,
        meta={key: found[0].value for key, found in cards.items()},
        wcs=wcs,
        scaling=(stored.scale, stored.zero, stored.blank),
    )


def _from_nddata(source: NDData, name: str, plane: int | None, given: dict[str, Any]) -> Frame:
    header = source.meta if isinstance(source.meta, (Mapping, fits.Header)) else {}
    with quiet():
        facts = read_header(header, subject=name)
    if source.unit is not None:
        _apply_unit(facts, source.unit, name)
    if source.uncertainty is not None:
        facts.notes.append(
            say(
                "frame.uncertainty-ignored",
                f"The {source.uncertainty.uncertainty_type} uncertainty of the image was not used; give "
                "gain=... and read_noise=... instead.",
                name,
            )
        )
    if source.mask is not None:
        given.setdefault("mask", source.mask)
    wcs = source.wcs
    if wcs is not None and hasattr(wcs, "low_level_wcs"):
        wcs = wcs.low_level_wcs
    if not isinstance(wcs, WCS) or not wcs.has_celestial:
        wcs = None
    cards, _ = collect_cards(header)
    meta = {key: found[0].value for key, found in cards.items()}
    return _finish(np.asarray(source.data), facts, name, plane, given, meta=meta, wcs=wcs)


def _apply_unit(facts: HeaderFacts, unit: Any, name: str) -> None:
    """Pixels in electrons have gain 1; another unit than ADU is said."""
    if isinstance(unit, str):
        text = unit.strip().lower().rstrip("s")
        if text in ("", "adu", "count", "dn", "ct", "unknown"):
            return
        if text in ("electron", "e-", "e"):
            unit = u.electron
        else:
            facts.notes.append(
                say("frame.unit-unknown", f"The pixels' unit is {unit!r}; taken as ADU.", name)
            )
            return
    if unit in (u.adu, u.count, u.one, u.DN):
        return
    if unit == u.electron:
        if facts.gain is not None and facts.saturation is not None:
            facts.saturation = (facts.saturation * facts.gain).value * u.adu
        facts.gain = 1.0 * ELECTRON_PER_ADU
        return
    raise UnitError(
        f"The pixels of {name} are in {unit}; adu or electron is needed. Give the image as the camera "
        "wrote it.",
        code="frame.unit",
        argument="source",
        subject=name,
    )


def _wcs(header: fits.Header, notes: list[Note], name: str) -> WCS | None:
    """The celestial solution, made of the readable cards only."""
    if not isinstance(header.get("CTYPE1"), str) or "-" not in header["CTYPE1"]:
        return None
    clean = fits.Header()
    with quiet():
        for card in header.cards:
            try:
                if card.keyword not in ("COMMENT", "HISTORY", "") and len(card.keyword) <= 8:
                    clean.append((card.keyword, card.value), end=True)
            except Exception:  # a card that Astropy cannot parse
                continue
        try:
            wcs = WCS(clean, naxis=2)
            if wcs.has_celestial:
                scales = np.sqrt(np.abs(np.linalg.det(wcs.pixel_scale_matrix)))
                if np.isfinite(scales) and scales > 0:
                    return wcs
            reason = "they do not map to the sky"
        except Exception as error:
            reason = " ".join(str(error).split())[:120]
    notes.append(
        say("frame.wcs-unusable", f"The celestial coordinates were passed over: {reason}.", name)
    )
    return None


def _finish(
    pixels: np.ndarray,
    facts: HeaderFacts,
    name: str,
    plane: int | None,
    given: dict[str, Any],
    *,
    meta: dict[str, Any],
    wcs: WCS | None = None,
    scaling: tuple[float, float, int | None] = (1.0, 0.0, None),
) -> Frame:
    """Checks the pixels, lays the overrides over the header's facts, and says what is missing."""
    notes = facts.notes
    pixels = _two_axes(pixels, plane, name, notes)
    if pixels.dtype.kind not in "uifb" or pixels.dtype.itemsize > 8 or pixels.dtype == np.float16:
        raise InputError(
            f"The pixels of {name} are of type {pixels.dtype}; integers or 32- or 64-bit floats are "
            "needed. Convert them with .astype('float32').",
            code="frame.type",
            argument="source",
            subject=name,
        )
    if pixels.size * pixels.dtype.itemsize > 2**31 - 1:
        raise InputError(
            f"{name} holds {pixels.nbytes / 2**30:.3g} GiB; the largest that can be measured is 2 GiB. "
            "Cut it into parts.",
            code="frame.too-large",
            argument="source",
            subject=name,
        )
    values: dict[str, Any] = {
        f.name: getattr(facts, f.name) for f in dataclasses.fields(facts) if f.name != "notes"
    }
    values.update(given)
    if values.get("mask") is not None:
        values["mask"] = _mask(values["mask"], pixels.shape, name)
    missing = [key.replace("_", " ") for key in _ASKED_FOR if values[key] is None]
    if missing and meta:
        notes.append(
            say(
                "frame.facts-missing",
                f"The header does not give {', '.join(missing)}. Give what you know, for example "
                f"{missing[0].replace(' ', '_')}=....",
                name,
            )
        )
    values.setdefault("wcs", wcs)
    scale, zero, blank = scaling
    frame = Frame(
        pixels,
        name=name,
        scale=scale,
        zero=zero,
        blank=blank,
        meta=meta,
        notes=tuple(notes),
        **values,
    )
    return _looked_at(frame, given)


def _looked_at(frame: Frame, given: dict[str, Any]) -> Frame:
    """The frame with what the engine sees in its pixels: saturation, mosaic, doubts."""
    request = {"pattern": frame.bayer, "trust_pattern": "bayer" in given}
    report = _gateway.call("imaging.inspect", request, frames={"frame": frame})
    seen = report["inspection"]
    notes = [*frame.notes, *notes_from_engine(report["notes"])]
    # Of a large frame the engine looks at evenly spaced rows.
    about = "" if seen["row_step"] == 1 else "about "

    def add(code: str, text: str) -> None:
        notes.append(say(code, text, frame.name))

    if seen["used_count"] == 0:
        raise CannotMeasureError(
            f"No pixel of {frame.name} holds a value: all are NaN, blank or masked. Give another image.",
            code="frame.no-values",
            subject=frame.name,
        )
    if seen["not_finite_count"]:
        share = seen["not_finite_count"] / seen["pixel_count"]
        add(
            "frame.not-finite",
            f"{about}{seen['not_finite_count']} pixels ({share:.2%}) hold no number and count as masked.",
        )
    saturation = frame.saturation
    if np.isfinite(seen["pile_up_adu"]):
        pile = seen["pile_up_adu"] * u.adu
        if saturation is None:
            saturation = pile
            add(
                "frame.saturation-found",
                f"{about}{seen['pile_up_count']} pixels pile up at {pile.value:g} ADU, which was taken as the "
                "saturation level.",
            )
        elif pile < 0.99 * saturation and "saturation" not in given:
            add(
                "frame.saturation-contradicts",
                f"{about}{seen['pile_up_count']} pixels pile up at {pile.value:g} ADU, below the stated "
                f"saturation level of {saturation.value:g} ADU; the lower level was used.",
            )
            saturation = pile
    clipped = max(seen["pile_up_count"], seen["saturated_count"])
    constant = seen["minimum_adu"] == seen["maximum_adu"]
    if constant and seen["maximum_adu"] >= _full_scale(frame):
        clipped = seen["used_count"]
    share = clipped / seen["used_count"]
    if share > 0.995:
        raise CannotMeasureError(
            f"All pixels of {frame.name} are saturated ({seen['maximum_adu']:g} ADU). Expose shorter.",
            code="frame.all-saturated",
            subject=frame.name,
        )
    if share > 0.05:
        add("frame.mostly-saturated", f"{share:.0%} of the pixels are saturated. Expose shorter.")
    if constant and seen["pixel_count"] > 1:
        add("frame.constant", f"All pixels have the value {seen['maximum_adu']:g}.")
    excess = seen["bright_adu"] - seen["median_adu"]
    if (is_dark(frame.object) or is_dark(frame.image_type)) and excess > 20 * seen[
        "spread_adu"
    ] > 0:
        word = frame.object if is_dark(frame.object) else frame.image_type
        add(
            "frame.object-doubtful",
            f"The header calls it {word!r}, but a hundredth of the pixels is more than "
            f"{excess:.0f} ADU above the median: something was photographed.",
        )
    return dataclasses.replace(
        frame, saturation=saturation, bayer=report["pattern"], notes=tuple(notes)
    )


def _full_scale(frame: Frame) -> float:
    """Largest physical value that the pixels' type can hold; infinite for floats."""
    if frame.pixels.dtype.kind not in "ui":
        return np.inf
    limits = np.iinfo(frame.pixels.dtype)
    return frame.zero + max(frame.scale * limits.max, frame.scale * limits.min)


def _two_axes(pixels: np.ndarray, plane: int | None, name: str, notes: list[Note]) -> np.ndarray:
    while pixels.ndim > 3 and pixels.shape[0] == 1:
        pixels = pixels[0]
    if pixels.ndim == 3 and (plane is not None or pixels.shape[0] == 1):
        count, index = pixels.shape[0], plane or 0
        if not -count <= index < count:
            raise InputError(
                f"{name} has planes 0 to {count - 1}, no plane {index}.",
                code="frame.plane",
                argument="plane",
                subject=name,
            )
        if count > 1:
            notes.append(say("frame.plane-taken", f"Plane {index} of {count} was taken.", name))
        pixels = pixels[index]
    if pixels.ndim != 2:
        sizes = " x ".join(map(str, pixels.shape[::-1])) or "one number"
        cure = (
            f"Choose one of its {pixels.shape[0]} planes with plane=0 to {pixels.shape[0] - 1}."
            if pixels.ndim == 3
            else "Choose one plane of it."
        )
        raise InputError(
            f"{name} has {pixels.ndim} axes ({sizes}); an image with two is needed. {cure}",
            code="frame.dimensions",
            argument="source",
            subject=name,
        )
    if pixels.size == 0:
        raise InputError(
            f"{name} has no pixels ({pixels.shape[1]} x {pixels.shape[0]}). Give an image with a "
            "picture.",
            code="frame.empty",
            argument="source",
            subject=name,
        )
    return pixels


def _mask(mask: Any, shape: tuple[int, ...], name: str) -> np.ndarray:
    mask = np.asarray(mask)
    if mask.shape != shape:
        raise InputError(
            f"The mask of {name} has shape {mask.shape}, the image {shape}. Make the mask from this very "
            "image.",
            code="frame.mask-size",
            argument="mask",
            subject=name,
        )
    return np.ascontiguousarray(mask, dtype=bool)


def bounds(section: tuple[slice, slice] | None, shape: tuple[int, int]) -> list[int]:
    """[x0, x1, y0, y1] of a section, as the engine wants it."""
    if section is None:
        return []
    rows, columns = section
    y0, y1, _ = rows.indices(shape[0])
    x0, x1, _ = columns.indices(shape[1])
    return [x0, x1, y0, y1]

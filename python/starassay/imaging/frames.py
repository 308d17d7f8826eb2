"""Everything image-like becomes a `Frame` here, and nowhere else."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from astropy import units as u

from ..errors import InputError
from .frame import Frame
from .frame_pixels import look_at, take_plane
from .frame_sources import OpenedImage, open_image
from .header_keywords import ELECTRON_PER_ADU
from .masks import fitting_mask
from .._units import instance, integer, pair, quantity, text
from ..results import say


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
    text(name, "name")
    if hdu is not None and not isinstance(hdu, str):
        integer(hdu, "hdu")
    if plane is not None:
        integer(plane, "plane")
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
        if "mask" in given:
            given["mask"] = fitting_mask(given["mask"], source.shape, source.name)
        frame = dataclasses.replace(source, **given)
        return dataclasses.replace(frame, name=name) if name else frame
    return _finish(open_image(source, name, hdu), plane, given)


def _override(key: str, value: Any) -> Any:
    """One option, brought to the unit and type of the `Frame`'s attribute."""
    if key in _UNITS:
        return quantity(value, _UNITS[key], key)
    if key in _TEXTS:
        return text(value, key)
    if key == "binning":
        both = (value, value) if np.ndim(value) == 0 else pair(value, key)
        return (integer(both[0], key), integer(both[1], key))
    try:
        if key == "focus_position":
            return value if isinstance(value, u.Quantity) else u.Quantity(value)
        if key == "time":
            from astropy.time import Time

            return Time(value)
    except (TypeError, ValueError):
        example = "-250 um" if key == "focus_position" else "2026-03-14T20:30:00"
        raise InputError(
            f'{key} = {value!r} cannot be read. Write it like "{example}".',
            code="input.unit",
            argument=key,
        ) from None
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
        mask = np.asarray(values["mask"])
        if mask.ndim > 2 and mask.shape == opened.pixels.shape:
            mask = take_plane(mask, plane, name, [])
        values["mask"] = fitting_mask(mask, pixels.shape, name)
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
    rows, columns = (
        instance(s, slice, "section", "slice(0, 500)") for s in pair(section, "section")
    )
    y0, y1, _ = rows.indices(shape[0])
    x0, x1, _ = columns.indices(shape[1])
    return [x0, x1, y0, y1]

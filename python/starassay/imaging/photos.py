"""Photos of phones and cameras (JPEG, PNG) as frames of light; FITS files, arrays and frames pass through."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u

from ..errors import FileError
from .frame import Frame
from .frame_sources import open_image
from .frames import read_frame

#: What a pixel of a photo at full light becomes.
FULL = 65535.0
#: Codes of eight bits from which a pixel counts as clipped.
TOP = 254
# Luminance of the sRGB primaries (IEC 61966-2-1, ITU-R BT.709).
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
_STARTS = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")
# Exif 2.3 (CIPA DC-008): orientation, the sub-directory, focal length of the same angle of view on 35 mm film.
_EXIF_FOLDER, _EXIF_FILM = 0x8769, 0xA405
#: Diagonal of the picture on 35 mm film, mm: 36 x 24.
FILM_DIAGONAL = float(np.hypot(36, 24))


def read_photo(
    source: Any, *, hdu: int | str | None = None, plane: int | None = None
) -> tuple[Frame, u.Quantity | None]:
    """A photo as a frame of linear light, and the angle of view between its corners where the file tells it.

    Parameters
    ----------
    source : path, ndarray, Frame or image-like
        A JPEG or PNG file; an array with colors along its last axis; or whatever `starassay.read_frame` takes. Eight bits
        are decoded as sRGB (IEC 61966-2-1), other types are taken as linear. A FITS file with three planes is red, green, blue.
    hdu, plane : int or str, int
        As for `starassay.read_frame`.

    Returns
    -------
    frame : Frame
        Luminance; of a photo, x to the right and y up as it is looked at, 0 to 65535, what is clipped in green at the top.
    field_of_view : Quantity or None
        deg, by the focal length for 35 mm film that cameras write (Exif).

    Raises
    ------
    FileError
        When a photo cannot be opened.
    """
    if isinstance(source, (str, os.PathLike)) and _is_photo(Path(source)):
        return _from_file(Path(source))
    if isinstance(source, np.ndarray) and source.ndim == 3 and source.shape[2] in (3, 4):
        return _frame(_light(source[:, :, :3])[::-1], "photo"), None
    if plane is None and not isinstance(source, (Frame, np.ndarray)):
        opened = open_image(source, "", hdu)
        if opened.pixels.ndim == 3 and opened.pixels.shape[0] == 3:
            planes = np.moveaxis(np.asarray(opened.pixels), 0, 2).astype(np.float32)
            light = planes @ _LUMINANCE
            return read_frame(light, name=opened.name, bayer=""), None
    return read_frame(source, hdu=hdu, plane=plane), None


def _is_photo(path: Path) -> bool:
    try:
        with open(path, "rb") as stream:
            return stream.read(8).startswith(_STARTS)
    except OSError:
        return False  # the reader of FITS says what is wrong


def _from_file(path: Path) -> tuple[Frame, u.Quantity | None]:
    from PIL import Image, ImageOps

    try:
        with Image.open(path) as photo:
            film = photo.getexif().get_ifd(_EXIF_FOLDER).get(_EXIF_FILM, 0)
            upright = ImageOps.exif_transpose(photo)
            deep = upright.mode.startswith("I") or upright.mode == "F"
            pixels = np.asarray(upright if deep or upright.mode == "L" else upright.convert("RGB"))
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        raise FileError(
            f"{path.name} cannot be read as a photo: {error}. Copy it from the camera again.",
            code="file.unreadable",
            subject=path.name,
        ) from None
    field = 2 * np.degrees(np.arctan(FILM_DIAGONAL / 2 / film)) if film else None
    return (
        _frame(_light(pixels)[::-1], path.name, path),
        None if field is None else field * u.deg,
    )


def _light(pixels: np.ndarray) -> np.ndarray:
    """Linear luminance from 0 to `FULL`."""
    if pixels.dtype != np.uint8:
        light = pixels.astype(np.float32)
        light = light @ _LUMINANCE if light.ndim == 3 else light
        return light * np.float32(FULL / np.iinfo(np.uint16).max)
    code = np.arange(256) / 255
    table = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    linear = (FULL * table).astype(np.float32)[pixels]
    if pixels.ndim == 2:
        return np.where(pixels >= TOP, np.float32(FULL), linear)
    return np.where(pixels[:, :, 1] >= TOP, np.float32(FULL), linear @ _LUMINANCE)


def _frame(light: np.ndarray, name: str, path: Path | None = None) -> Frame:
    import dataclasses

    frame = read_frame(np.ascontiguousarray(light), name=name, bayer="", saturation=FULL * u.adu)
    return dataclasses.replace(frame, path=path)

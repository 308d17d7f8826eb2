"""Opening FITS files that come from anywhere: each failure is one readable sentence."""

from __future__ import annotations

import contextlib
import dataclasses
import gzip
import logging
import math
import mmap
import os
import threading
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from astropy.io import fits

from ..errors import FileError, InputError, StarAssayError

_BLOCK = 2880  # FITS 4.0, 3.1
_LARGEST = 2**31 - 1
_BITPIX = {8: ">u1", 16: ">i2", 32: ">i4", 64: ">i8", -32: ">f4", -64: ">f8"}
_COPY_AGAIN = "Copy it from the camera again."
_quiet_lock = threading.RLock()


@dataclasses.dataclass
class StoredImage:
    """Pixels as one HDU stores them.

    Attributes
    ----------
    pixels : ndarray
        Any number of axes; a view of the file where it can be.
    scale, zero, blank : float, float, int or None
        Physical value = zero + scale x stored; `blank` is the stored integer for "no value".
    header : Header
        The HDU's header.
    images : int
        How many images the file holds.
    index : int
        Which HDU this is.
    warnings : list of str
        What Astropy had to say about the header.
    extra_bytes : int
        Bytes after the last HDU that belong to nothing.
    """

    pixels: np.ndarray
    scale: float
    zero: float
    blank: int | None
    header: fits.Header
    images: int = 1
    index: int = 0
    warnings: list[str] = dataclasses.field(default_factory=list)
    extra_bytes: int = 0


@contextlib.contextmanager
def quiet() -> Iterator[list[str]]:
    """Gathers what libraries say instead of showing it; one thread at a time, since the filters are global."""
    said: list[str] = []
    # Astropy warns of some things and logs others, several lines each, to standard error.
    library = logging.getLogger("astropy")
    thread = threading.get_ident()

    def gather(record: logging.LogRecord) -> bool:
        if record.thread == thread and record.levelno < logging.ERROR:
            said.append(record.getMessage())
            return False
        return True

    with _quiet_lock, warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        library.addFilter(gather)
        try:
            yield said
        finally:
            library.removeFilter(gather)
            said.extend(str(w.message) for w in caught)


def read_stored(path: Path, hdu: int | str | None) -> StoredImage:
    """The image of a FITS file, not decoded.

    Parameters
    ----------
    path : Path
        Plain, gzip or tile-compressed FITS.
    hdu : int, str or None
        Which HDU; None = the first that holds an image.

    Raises
    ------
    FileError
        When the file is not there, not FITS, cut off, or its header cannot be true.
    """
    _require_file(path)
    with quiet() as said:
        try:
            # Our own stream, since Astropy leaves its file open when it meets a header it cannot read.
            with open(path, "rb") as stream:
                found = _only_image(path, stream) if hdu in (None, 0) else None
                if found is None:
                    stream.seek(0)
                    with fits.open(stream, memmap=False, do_not_scale_image_data=True) as hdus:
                        found = _from_hdus(path, hdus, hdu)
                found.warnings = said
                return found
        except StarAssayError:
            raise
        except MemoryError:
            raise
        except PermissionError:
            raise _denied(path) from None
        except (EOFError, gzip.BadGzipFile) as error:
            raise FileError(
                f"{path} is cut off or damaged inside its compression ({error}). {_COPY_AGAIN}",
                code="file.truncated",
                subject=str(path),
            ) from None
        except Exception as error:  # Astropy raises many kinds for files it cannot follow
            detail = " ".join(str(error).split()) or type(error).__name__
            raise FileError(
                f"{path} cannot be read as FITS ({detail[:200]}). {_COPY_AGAIN}",
                code="file.not-fits",
                subject=str(path),
            ) from None


def _denied(path: Path) -> FileError:
    return FileError(
        f"{path} may not be read by this user. Change its permissions or copy it.",
        code="file.permission",
        subject=str(path),
    )


def _require_file(path: Path) -> None:
    """Refuses what is no readable file that begins like FITS or one of the compressions."""

    def wrong(code: str, text: str) -> FileError:
        return FileError(f"{path} {text}", code=code, subject=str(path))

    try:
        if path.is_dir():
            raise wrong("file.directory", "is a folder; give one FITS file inside it.")
        if not path.exists():
            raise wrong("file.missing", "does not exist. Check the name and the folder.")
        if not path.is_file():
            raise wrong("file.not-fits", "is no ordinary file. Give a FITS file.")
        with open(path, "rb") as stream:
            head = stream.read(80)
    except PermissionError:
        raise _denied(path) from None
    if not head:
        raise wrong("file.empty", f"is empty (0 bytes). {_COPY_AGAIN}")
    compressed = head[:2] in (b"\x1f\x8b", b"BZ", b"PK", b"\x1f\x9d")
    if not compressed and not head.startswith(b"SIMPLE"):
        raise wrong(
            "file.not-fits",
            "is not FITS, whatever its name says: it does not begin with SIMPLE. Give the file that "
            "the camera program wrote, saved as FITS.",
        )


def _only_image(path: Path, stream: BinaryIO) -> StoredImage | None:
    """The image of a plain file that holds one and nothing else, as cameras write it.

    None for all others: they need what Astropy knows of extensions, and two milliseconds.
    """
    if stream.read(6) != b"SIMPLE":
        return None
    stream.seek(0)
    try:
        header = fits.Header.fromfile(stream)
    except (OSError, ValueError):
        return None
    offset = stream.tell()
    naxis = _card(header, "NAXIS", 0)
    if _card(header, "SIMPLE", False) is not True or "GROUPS" in header:
        return None
    if not isinstance(naxis, int) or naxis < 1:
        return None
    shape, bitpix = _declared(path, header)
    pixels, extra = _mapped(path, stream, offset, shape, bitpix)
    if offset + -(-pixels.nbytes // _BLOCK) * _BLOCK < os.fstat(stream.fileno()).st_size:
        return None
    return StoredImage(pixels, *stored_scaling(header, path), header, 1, 0, extra_bytes=extra)


def _from_hdus(path: Path, hdus: fits.HDUList, wanted: int | str | None) -> StoredImage:
    index = _choose(path, hdus, wanted)
    hdu = hdus[index]
    shape, bitpix = _declared(path, hdu.header)
    where = hdu.fileinfo() or {}
    plain = not isinstance(hdu, fits.CompImageHDU) and where.get("datLoc") is not None
    extra = 0
    if plain and _is_uncompressed(path):
        with open(path, "rb") as stream:
            pixels, extra = _mapped(path, stream, where["datLoc"], shape, bitpix)
    else:
        pixels = hdu.data
    if pixels is None or pixels.shape != shape:
        held = "none" if pixels is None else " x ".join(map(str, pixels.shape[::-1]))
        raise _lies(path, shape, f"pixels read: {held}")
    header = hdu.header
    stored = stored_scaling(header, path)
    return StoredImage(
        pixels, *stored, header.copy(), _count_images(hdus), index, extra_bytes=extra
    )


def stored_scaling(header: fits.Header, where: object = "") -> tuple[float, float, int | None]:
    """BSCALE, BZERO and BLANK, checked."""
    values = []
    for key, otherwise in (("BSCALE", 1.0), ("BZERO", 0.0)):
        value = _card(header, key, otherwise)
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not np.isfinite(value):
            raise FileError(
                f"{where} has {key} = {value!r} in its header, which is no number. Save the image "
                "again as FITS.",
                code="file.header",
                subject=str(where),
            )
        values.append(float(value))
    if values[0] == 0:
        raise FileError(
            f"{where} has BSCALE = 0 in its header, which makes all pixels equal. Save the image "
            "again as FITS.",
            code="file.header",
            subject=str(where),
        )
    blank = _card(header, "BLANK", None)
    integer = isinstance(blank, int) and not isinstance(blank, bool)
    if _card(header, "BITPIX", 16) < 0 or not integer:
        blank = None  # FITS 4.0, 4.4.2.5: BLANK is for integers alone
    return values[0], values[1], blank


def _card(header: fits.Header, key: str, otherwise: Any) -> Any:
    try:
        return header.get(key, otherwise)
    except Exception:  # a card that Astropy cannot parse
        return otherwise


def _is_uncompressed(path: Path) -> bool:
    with open(path, "rb") as stream:
        return stream.read(6) == b"SIMPLE"


def _choose(path: Path, hdus: fits.HDUList, wanted: int | str | None) -> int:
    if wanted is not None:
        try:
            index = hdus.index_of(wanted)
            hdu = hdus[index]
        except (KeyError, IndexError):
            names = ", ".join(f"{i} {h.name!r}" for i, h in enumerate(hdus))
            raise InputError(
                f"{path} has no HDU {wanted!r}; it holds {names}.",
                code="file.no-hdu",
                argument="hdu",
                subject=str(path),
            ) from None
        if not _holds_image(hdu):
            raise FileError(
                f"HDU {wanted!r} of {path} holds no image. Choose another with hdu=....",
                code="file.no-image",
                subject=str(path),
            )
        return int(index)
    for index, hdu in enumerate(hdus):
        if _holds_image(hdu):
            return index
    raise FileError(
        f"{path} holds no image, only a header{' and tables' if len(hdus) > 1 else ''}. Give the file "
        "with the picture.",
        code="file.no-image",
        subject=str(path),
    )


def _holds_image(hdu: Any) -> bool:
    if not getattr(hdu, "is_image", False):
        return False
    naxis = _card(hdu.header, "NAXIS", 0)
    return isinstance(naxis, int) and naxis > 0


def _count_images(hdus: fits.HDUList) -> int:
    return sum(_holds_image(h) for h in hdus)


def _declared(path: Path, header: fits.Header) -> tuple[tuple[int, ...], int]:
    """Shape and BITPIX that the header states, refused when they cannot be true."""
    naxis = _card(header, "NAXIS", 0)
    bitpix = _card(header, "BITPIX", None)
    sizes = [_card(header, f"NAXIS{i + 1}", None) for i in range(min(int(naxis), 999))]
    good = bitpix in _BITPIX and all(
        isinstance(n, int) and not isinstance(n, bool) and n >= 0 for n in sizes
    )
    if not good:
        raise FileError(
            f"{path} has a header that cannot be true (BITPIX = {bitpix!r}, sizes {sizes[:4]}). "
            f"{_COPY_AGAIN}",
            code="file.header",
            subject=str(path),
        )
    shape = tuple(int(n) for n in reversed(sizes))  # type: ignore[arg-type]
    count = 1
    for n in shape:
        count *= n
    if count == 0:
        raise FileError(
            f"{path} has an image without pixels ({' x '.join(map(str, sizes))}). Give a file with a "
            "picture.",
            code="file.no-pixels",
            subject=str(path),
        )
    size = count * abs(int(bitpix)) // 8
    if size > _LARGEST and len(shape) <= 2:
        raise FileError(
            f"{path} states an image of {' x '.join(map(str, sizes))} pixels, {size / 2**30:.3g} GiB; "
            "the largest that can be measured is 2 GiB. If that size is wrong, the header is damaged: "
            "copy the file again.",
            code="file.too-large",
            subject=str(path),
        )
    return shape, int(bitpix)


def _lies(path: Path, shape: tuple[int, ...], held: str) -> FileError:
    sizes = " x ".join(map(str, shape[::-1]))
    return FileError(
        f"{path} is cut off, or its header lies: {sizes} pixels are stated, {held}. {_COPY_AGAIN}",
        code="file.truncated",
        subject=str(path),
    )


def _mapped(
    path: Path, stream: BinaryIO, offset: int, shape: tuple[int, ...], bitpix: int
) -> tuple[np.ndarray, int]:
    """The pixels as a view of the file, and how many bytes after them belong to no HDU."""
    dtype = np.dtype(_BITPIX[bitpix])
    need = math.prod(shape) * dtype.itemsize
    size = os.fstat(stream.fileno()).st_size
    if offset + need > size:
        raise _lies(path, shape, f"{need} bytes needed, {max(0, size - offset)} there")
    view = mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ)
    pixels: np.ndarray = np.ndarray(shape, dtype, view, offset)
    end = offset + -(-need // _BLOCK) * _BLOCK
    extra = 0
    if size > end:
        head = view[end : end + 8]
        if head.strip(b"\0 ") and head != b"XTENSION":
            extra = size - end
    return pixels, extra

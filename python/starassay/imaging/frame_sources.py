"""Opens whatever an image is given as: pixels as stored, and what stands beside them."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u
from astropy.io import fits

from ._fits_files import StoredImage, quiet, read_stored, stored_scaling
from .._loaded import is_a
from ..errors import InputError
from .header import HeaderFacts, facts_of, read_header
from .header_cards import Card, collect_cards
from .header_keywords import ELECTRON_PER_ADU
from .masks import either, split_mask
from .._units import UnitError
from ..results import Note, say

if TYPE_CHECKING:
    from astropy.nddata import NDData
    from astropy.wcs import WCS


@dataclasses.dataclass
class OpenedImage:
    """Pixels with what their source says of them, before anyone has looked at them.

    Attributes
    ----------
    pixels : ndarray
        As stored, any number of axes.
    name : str
        For messages.
    facts : HeaderFacts
        What the header says, with the notes so far.
    meta : dict
        The header's cards.
    mask : ndarray or None
        The source's own mask; True = do not use.
    wcs : `~astropy.wcs.WCS` or None
        Celestial solution when present.
    scale, zero, blank : float, float, int or None
        The file's BSCALE, BZERO and BLANK.
    path : Path or None
        The file it came from.
    """

    pixels: np.ndarray
    name: str
    facts: HeaderFacts = dataclasses.field(default_factory=HeaderFacts)
    meta: dict[str, Any] = dataclasses.field(default_factory=dict)
    mask: np.ndarray | None = None
    wcs: WCS | None = None
    scale: float = 1.0
    zero: float = 0.0
    blank: int | None = None
    path: Path | None = None


def open_image(source: Any, name: str, hdu: int | str | None) -> OpenedImage:
    """Open a path, HDUList, HDU, CCDData, NDData, Quantity or array.

    Parameters
    ----------
    source : image-like
        Where the pixels are.
    name : str
        Label for messages; "" for the source's own.
    hdu : int, str or None
        Which HDU of a file or list.

    Returns
    -------
    OpenedImage
        Pixels as stored; a plain file is mapped, not loaded.
    """
    if isinstance(source, (str, os.PathLike)):
        path = Path(source)
        opened = _from_stored(read_stored(path, hdu), name or path.name, hdu)
        opened.path = path
        return opened
    if isinstance(source, fits.HDUList):
        return _from_hdu(_one_of(source, hdu, name), name)
    if isinstance(source, (fits.PrimaryHDU, fits.ImageHDU, fits.CompImageHDU)):
        return _from_hdu(source, name)
    if hdu is not None:
        raise InputError(
            f"hdu is {hdu!r}, but a {type(source).__name__} has no HDUs. Leave it out.",
            code="file.no-hdu",
            argument="hdu",
        )
    label = name or "image"
    if is_a(source, "astropy.nddata.NDData"):
        return _from_nddata(source, label)
    source, mask = split_mask(source)
    if isinstance(source, u.Quantity):
        opened = OpenedImage(np.asarray(source.value), label, mask=mask)
        _apply_unit(opened.facts, source.unit, label)
        return opened
    if isinstance(source, np.ndarray):
        return OpenedImage(np.asarray(source), label, mask=mask)
    raise InputError(
        f"An image cannot be made of a {type(source).__name__}. Give a path, HDUList, HDU, CCDData, "
        "NDData, Quantity or NumPy array.",
        code="frame.source",
        argument="source",
    )


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


def _from_hdu(hdu: Any, name: str) -> OpenedImage:
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
    return _from_stored(stored, label, 0)


def _from_stored(stored: StoredImage, name: str, wanted: int | str | None) -> OpenedImage:
    cards, broken = collect_cards(stored.header)
    facts = facts_of(cards, broken, subject=name)
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
    return OpenedImage(
        stored.pixels,
        name,
        facts,
        meta={key: found[0].value for key, found in cards.items()},
        wcs=_wcs(stored.header, facts.notes, name),
        scale=stored.scale,
        zero=stored.zero,
        blank=stored.blank,
    )


def _from_nddata(source: NDData, name: str) -> OpenedImage:
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
    wcs = source.wcs
    if wcs is not None and hasattr(wcs, "low_level_wcs"):
        wcs = wcs.low_level_wcs
    if not is_a(wcs, "astropy.wcs.WCS") or not wcs.has_celestial:
        wcs = None
    cards, _ = collect_cards(header)
    meta = {key: found[0].value for key, found in cards.items()}
    data, grown = split_mask(source.data)
    if isinstance(data, u.Quantity):
        _apply_unit(facts, data.unit, name)
        data = data.value
    return OpenedImage(np.asarray(data), name, facts, meta, either(grown, source.mask), wcs)


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
        facts.notes.append(
            say(
                "frame.electrons",
                "The pixels are in electrons: one adu of the results is one electron.",
                name,
            )
        )
        return
    raise UnitError(
        f"The pixels of {name} are in {unit}; adu or electron is needed. Give the image as the camera "
        "wrote it.",
        code="frame.unit",
        argument="source",
        subject=name,
    )


_UNNAMED = (
    "The header holds a distortion polynomial (SIP) that its CTYPE does not name; it was used. If the pixels "
    "were straightened already, take the cards A_ORDER and B_ORDER out."
)


def _name_distortion(header: fits.Header) -> bool:
    """Let CTYPE name the SIP polynomial that is there, as its convention asks; True where it did not.

    Astropy uses the polynomial either way, and logs twelve lines about it each time.
    """
    types = [header.get(f"CTYPE{k}") for k in (1, 2)]
    orders = [header.get(f"{letter}_ORDER") for letter in "AB"]
    if not all(isinstance(o, int) and o > 1 for o in orders):
        return False
    bare = [isinstance(t, str) and not t.endswith("-SIP") for t in types]
    for k, one in enumerate(types):
        if bare[k]:
            header[f"CTYPE{k + 1}"] = f"{one}-SIP"
    return any(bare)


def _wcs(header: fits.Header, notes: list[Note], name: str) -> WCS | None:
    """The celestial solution, made of the readable cards only."""
    kind = header.get("CTYPE1")
    if not isinstance(kind, str) or "-" not in kind:
        return None
    from astropy.wcs import WCS

    clean = fits.Header()
    with quiet():
        for card in header.cards:
            try:
                if card.keyword not in ("COMMENT", "HISTORY", "") and len(card.keyword) <= 8:
                    clean.append((card.keyword, card.value), end=True)
            except Exception:  # a card that Astropy cannot parse
                continue
        unnamed = _name_distortion(clean)
        try:
            wcs = WCS(clean, naxis=2)
            if wcs.has_celestial:
                scales = np.sqrt(np.abs(np.linalg.det(wcs.pixel_scale_matrix)))
                if np.isfinite(scales) and scales > 0:
                    if unnamed:
                        notes.append(say("frame.distortion-unnamed", _UNNAMED, name))
                    return wcs
            reason = "they do not map to the sky"
        except Exception as error:
            reason = " ".join(str(error).split())[:120]
    notes.append(
        say("frame.wcs-unusable", f"The celestial coordinates were passed over: {reason}.", name)
    )
    return None

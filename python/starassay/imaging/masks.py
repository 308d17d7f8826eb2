"""Masks as people hand them over: of booleans or flags, beside the pixels or grown into them."""

from __future__ import annotations

from typing import Any

import numpy as np

from .._loaded import is_a
from ..errors import InputError


def fitting_mask(mask: Any, shape: tuple[int, ...], name: str) -> np.ndarray:
    """A mask in the engine's type, checked against the image's shape.

    Parameters
    ----------
    mask : array-like
        True = do not use; of whole numbers (flags) any but 0 is true.
    shape : tuple of int
        Of the image.
    name : str
        Of the image, for the message.

    Returns
    -------
    ndarray of bool
        Rows after one another in memory.

    Raises
    ------
    InputError
        When it has another shape, or holds what is neither true nor false.
    """
    mask = np.asarray(mask)
    if mask.shape == ():
        # "No mask" of NumPy and Astropy: one value for all.
        mask = np.broadcast_to(mask, shape)
    if mask.shape != shape:
        raise InputError(
            f"The mask of {name} has shape {mask.shape}, the image {shape}. Make the mask from this very "
            "image.",
            code="frame.mask-size",
            argument="mask",
            subject=name,
        )
    if mask.dtype.kind not in "bui":
        raise InputError(
            f"The mask of {name} is of type {mask.dtype}; booleans are needed, True where a pixel must not "
            "be used, or whole-number flags, of which any but 0 says so.",
            code="frame.mask-type",
            argument="mask",
            subject=name,
        )
    return np.ascontiguousarray(mask != 0)


def split_mask(pixels: Any) -> tuple[Any, np.ndarray | None]:
    """Pixels without the mask that grew into them, and that mask.

    Parameters
    ----------
    pixels : array or Quantity
        Also `numpy.ma.MaskedArray` and `astropy.utils.masked.Masked`, with or without a unit.

    Returns
    -------
    pixels
        Array or Quantity.
    mask : ndarray or None
        True = do not use.
    """
    if isinstance(pixels, np.ma.MaskedArray):
        return np.asarray(pixels.data), np.ma.getmaskarray(pixels)
    if is_a(pixels, "astropy.utils.masked.Masked"):
        return pixels.unmasked, np.asarray(pixels.mask)
    return pixels, None


def either(first: np.ndarray | None, second: np.ndarray | None) -> np.ndarray | None:
    """What is masked by one of two masks.

    Parameters
    ----------
    first, second : ndarray or None
        None = nothing is masked.

    Returns
    -------
    ndarray or None
        Their union.
    """
    if first is None or second is None:
        return second if first is None else first
    return (np.asarray(first) != 0) | (np.asarray(second) != 0)

"""Masks and units that come with the pixels: honoured, or refused with a sentence. Truth: the mask put in."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from astropy import units as u
from astropy.nddata import CCDData, NDData
from astropy.utils.masked import Masked

import starassay
from starassay import errors

PIXELS = np.random.default_rng(5).normal(100.0, 3.0, (24, 32)).astype(np.float32)
MASK = np.zeros(PIXELS.shape, bool)
MASK[3:9, 5:20] = True
FLAGS = MASK.astype(np.int64) * 256


@pytest.mark.parametrize(
    "source",
    [
        Masked(PIXELS, MASK),
        Masked(PIXELS * u.adu, MASK),
        Masked(PIXELS * u.electron, MASK),
        np.ma.MaskedArray(PIXELS, MASK),
        CCDData(PIXELS, unit="adu", mask=MASK),
        CCDData(PIXELS, unit="adu", mask=FLAGS),
        NDData(PIXELS, mask=MASK.astype(np.uint8) * 4),
        NDData(np.ma.MaskedArray(PIXELS, MASK)),
        NDData(Masked(PIXELS * u.adu, MASK)),
    ],
    ids=lambda s: type(s).__name__,
)
def test_every_mask_is_honoured(source: Any) -> None:
    frame = starassay.read_frame(source)
    assert frame.mask is not None and frame.mask.dtype == bool
    assert np.array_equal(frame.mask, MASK)
    assert type(frame.pixels) is np.ndarray and np.array_equal(frame.pixels, PIXELS)


@pytest.mark.parametrize("mask", [MASK, FLAGS, FLAGS.astype(">i2"), FLAGS.astype(np.uint32)])
def test_a_mask_of_flags_masks_what_is_not_zero(mask: np.ndarray) -> None:
    """256 has a low byte of zero, and eight bytes are not eight pixels."""
    for frame in (
        starassay.read_frame(PIXELS, mask=mask),
        starassay.Frame(PIXELS, mask=mask),
        starassay.read_frame(starassay.Frame(PIXELS), mask=mask),
    ):
        assert frame.mask is not None and np.array_equal(frame.mask, MASK)


def test_no_mask_is_no_mask() -> None:
    frame = starassay.read_frame(np.ma.MaskedArray(PIXELS))
    assert frame.mask is None or not frame.mask.any()
    assert not starassay.read_frame(NDData(PIXELS, mask=np.ma.nomask)).mask.any()


def test_a_mask_that_is_none_is_refused() -> None:
    for make in (starassay.read_frame, starassay.Frame):
        with pytest.raises(errors.InputError, match="of type float64; booleans are needed"):
            make(PIXELS, mask=MASK.astype(float))
        with pytest.raises(errors.InputError, match="has shape"):
            make(PIXELS, mask=MASK[1:])


def test_a_mask_of_planes_follows_the_plane() -> None:
    cube = np.ma.MaskedArray(np.stack([PIXELS, PIXELS]), np.stack([~MASK, MASK]))
    frame = starassay.read_frame(cube, plane=1)
    assert np.array_equal(frame.mask, MASK)


def test_electrons_are_said() -> None:
    """Pixels in electrons give a gain of 1, and the reader is told what an adu then is."""
    for source in (PIXELS * u.electron, CCDData(PIXELS, unit="electron")):
        frame = starassay.read_frame(source)
        assert frame.gain == 1 * u.electron / u.adu
        assert "frame.electrons" in [n.code for n in frame.notes]
    with pytest.raises(errors.InputError, match="are in Jy; adu or electron is needed"):
        starassay.read_frame(PIXELS * u.Jy)
    with pytest.raises(
        errors.InputError, match="have the unit electron; a Frame takes plain numbers"
    ):
        starassay.Frame(PIXELS * u.electron)

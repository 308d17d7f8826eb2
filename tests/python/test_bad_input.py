"""Files and arrays that cannot be measured: one readable sentence that names the file and the cure."""

from __future__ import annotations

import gzip
import os
import tempfile
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.io import fits
from astropy.nddata import CCDData

import starassay
from starassay import read_frame
from starassay.errors import CannotMeasureError, FileError, InputError

GOOD = np.random.default_rng(1).normal(500, 9, (40, 50)).round().astype(np.uint16)


def refused(error: type[Exception], match: str, source: object, **options: object) -> str:
    """The message of the refusal; checked for shape: names the file, ends as a sentence, no trace."""
    with pytest.raises(error, match=match) as caught:
        read_frame(source, **options)
    text = str(caught.value)
    assert text.endswith(".") and "\n" not in text and "Traceback" not in text
    assert len(text) < 500
    if isinstance(source, Path):
        assert source.name in text
    return text


def good_file(path: Path, pixels: np.ndarray = GOOD) -> Path:
    """A sound FITS file."""
    fits.PrimaryHDU(pixels).writeto(path)
    return path


def raw_file(path: Path, cards: list[str], data: bytes = b"") -> Path:
    """A file of these header cards and bytes, as an untidy program might write it."""
    text = "".join(c.ljust(80) for c in [*cards, "END"])
    text += " " * (-len(text) % 2880)
    path.write_bytes(text.encode("ascii") + data)
    return path


def header(naxis1: object, naxis2: object, bitpix: object = 16, naxis: object = 2) -> list[str]:
    """Mandatory cards with any values."""
    return [
        "SIMPLE  =                    T",
        f"BITPIX  = {bitpix!s:>20}",
        f"NAXIS   = {naxis!s:>20}",
        f"NAXIS1  = {naxis1!s:>20}",
        f"NAXIS2  = {naxis2!s:>20}",
    ]


def test_a_missing_file(tmp_path: Path) -> None:
    refused(FileError, "does not exist. Check the name", tmp_path / "none.fits")
    with pytest.raises(OSError):
        read_frame(str(tmp_path / "none.fits"))


def test_a_folder(tmp_path: Path) -> None:
    refused(FileError, "is a folder; give one FITS file", tmp_path)


def test_an_empty_file(tmp_path: Path) -> None:
    path = tmp_path / "empty.fits"
    path.write_bytes(b"")
    refused(FileError, r"is empty \(0 bytes\)", path)


@pytest.mark.parametrize(
    "text", [b"x", b"Dear diary, tonight was clear.\n" * 200, b"\x89PNG\r\n\x1a\n"]
)
def test_text_or_picture_renamed(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "diary.fits"
    path.write_bytes(text)
    refused(FileError, "is not FITS, whatever its name says", path)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="needs to change users")
def test_a_file_of_somebody_else() -> None:
    with tempfile.TemporaryDirectory() as folder:
        os.chmod(folder, 0o755)
        path = good_file(Path(folder) / "mine.fits")
        path.chmod(0o600)
        starassay.about()
        os.seteuid(65534)
        try:
            refused(FileError, "may not be read by this user", path)
        finally:
            os.seteuid(0)


@pytest.mark.parametrize("share", [0.05, 0.5, 0.8])
def test_a_file_cut_off(tmp_path: Path, share: float) -> None:
    path = good_file(tmp_path / "cut.fits", np.zeros((200, 200), np.int16))
    whole = path.read_bytes()
    path.write_bytes(whole[: int(share * len(whole))])
    refused(FileError, "cut off, or its header lies: 200 x 200 pixels are stated", path)


def test_a_header_cut_off(tmp_path: Path) -> None:
    path = good_file(tmp_path / "head.fits")
    path.write_bytes(path.read_bytes()[:400])
    refused(FileError, "cannot be read as FITS|cut off", path)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9])
def test_a_gzip_file_cut_off_or_damaged(tmp_path: Path, share: float) -> None:
    path = good_file(tmp_path / "image.fits")
    packed = tmp_path / "image.fits.gz"
    whole = gzip.compress(path.read_bytes())
    packed.write_bytes(whole[: max(12, int(share * len(whole)))])
    refused(FileError, "cut off|cannot be read", packed)
    damaged = bytearray(whole)
    damaged[len(whole) // 2] ^= 0xFF
    packed.write_bytes(bytes(damaged))
    refused(FileError, "cut off|damaged|cannot be read", packed)


def test_a_compressed_image_cut_off(tmp_path: Path) -> None:
    path = tmp_path / "tiles.fits.fz"
    fits.CompImageHDU(GOOD.astype(np.int16)).writeto(path)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) - 2880])
    refused(FileError, "cut off|cannot be read", path)


@pytest.mark.parametrize(
    ("cards", "match"),
    [
        (header(4000, 3000), "4000 x 3000 pixels are stated, 24000000 bytes needed, 3200 there"),
        (header(-40, 40), "cannot be true|cannot be read"),
        (header("'forty'", 40), "cannot be true|cannot be read"),
        (header(40, 40, bitpix=17), "cannot be true|cannot be read"),
        (header(40, 40, naxis=998), "cannot be true|cannot be read|no image"),
        (header(40, 40, naxis=-2), "cannot be true|cannot be read|no image"),
        (header(0, 40), "without pixels"),
        (header(200_000, 200_000), "2 GiB"),
        ([*header(40, 40), "BSCALE  =                    0"], "BSCALE = 0"),
        ([*header(40, 40), "BZERO   = 'much    '"], "BZERO = 'much'"),
    ],
)
def test_headers_that_lie(tmp_path: Path, cards: list[str], match: str) -> None:
    refused(FileError, match, raw_file(tmp_path / "lie.fits", cards, b"\0" * 3200))


def test_a_header_that_states_too_little(tmp_path: Path) -> None:
    path = raw_file(tmp_path / "small.fits", header(10, 10), bytes(range(1, 201)) * 60)
    frame = read_frame(path)
    assert frame.shape == (10, 10)
    assert "frame.extra-bytes" in [n.code for n in frame.notes]


def test_no_image(tmp_path: Path) -> None:
    path = tmp_path / "table.fits"
    table = fits.BinTableHDU.from_columns([fits.Column("x", "E", array=[1.0, 2.0])])
    fits.HDUList([fits.PrimaryHDU(), table]).writeto(path)
    refused(FileError, "holds no image, only a header and tables", path)
    refused(FileError, "HDU 1 of .* holds no image", path, hdu=1)
    refused(InputError, "has no HDU 7; it holds 0 'PRIMARY'", path, hdu=7)
    with fits.open(path) as hdus, pytest.raises(InputError, match="holds no image"):
        read_frame(hdus)


def test_cubes(tmp_path: Path) -> None:
    path = good_file(tmp_path / "cube.fits", np.stack([GOOD, GOOD + 1, GOOD + 2]))
    refused(InputError, r"has 3 axes \(50 x 40 x 3\).*plane=0 to 2", path)
    assert read_frame(path, plane=1).data[0, 0] == GOOD[0, 0] + 1
    refused(InputError, "has planes 0 to 2, no plane 3", path, plane=3)
    assert read_frame(GOOD[None]).shape == GOOD.shape
    refused(InputError, "has 1 axes", np.arange(5))
    refused(InputError, "has 0 axes", np.array(3.0))


def test_pixels_without_values(tmp_path: Path) -> None:
    nothing = good_file(tmp_path / "nan.fits", np.full((30, 30), np.nan, np.float32))
    refused(CannotMeasureError, "No pixel of nan.fits holds a value", nothing)
    refused(CannotMeasureError, "No pixel", GOOD, mask=np.ones(GOOD.shape, bool))
    blank = fits.PrimaryHDU(np.full((9, 9), -1, np.int16))
    blank.header["BLANK"] = -1
    blank.writeto(tmp_path / "blank.fits")
    refused(CannotMeasureError, "No pixel of blank.fits", tmp_path / "blank.fits")


@pytest.mark.parametrize("dtype", ["u1", "i2", "u2", "i4"])
def test_all_saturated(tmp_path: Path, dtype: str) -> None:
    path = good_file(tmp_path / "white.fits", np.full((30, 30), np.iinfo(dtype).max, dtype))
    refused(CannotMeasureError, "All pixels of white.fits are saturated", path)


def test_all_above_the_stated_saturation() -> None:
    refused(CannotMeasureError, "saturated", GOOD + 1000.0, saturation=900 * u.adu)


def test_a_constant_image_is_doubted_not_refused() -> None:
    notes = read_frame(np.full((20, 20), 7, np.int16)).notes
    assert ("frame.constant", "doubt") in [(n.code, n.level) for n in notes]


@pytest.mark.parametrize("source", [None, 3, [[1, 2], [3, 4]], {"a": 1}])
def test_no_image_at_all(source: object) -> None:
    refused(InputError, "An image cannot be made of a", source)


@pytest.mark.parametrize("dtype", ["c16", "f2", "U1", "O"])
def test_types_that_are_no_pixels(dtype: str) -> None:
    refused(InputError, "are of type", np.zeros((3, 3), dtype))


def test_units_that_do_not_fit() -> None:
    with pytest.raises(u.UnitsError, match="are in Jy; adu or electron is needed"):
        read_frame(GOOD * u.Jy)
    with pytest.raises(InputError, match="are in Jy"):
        read_frame(CCDData(GOOD, unit=u.Jy))
    with pytest.raises(u.UnitsError, match="pitch = 3.0 s cannot be read"):
        read_frame(GOOD, pitch=3 * u.s)
    with pytest.raises(starassay.UnitError, match='Write it with its unit, for example "3.76 um"'):
        read_frame(GOOD, pitch=3.76)


def test_options_that_do_not_exist() -> None:
    refused(InputError, "has no option 'pixel_size'", GOOD, pixel_size=3)


def test_a_mask_of_another_size() -> None:
    refused(InputError, r"has shape \(3, 3\), the image \(40, 50\)", GOOD, mask=np.zeros((3, 3)))


def test_nothing_is_printed(tmp_path: Path, capfd: pytest.CaptureFixture) -> None:
    """Astropy's warnings on broken cards become notes, not lines on the screen."""
    cards = [*header(20, 20), "FILTER  = 'V       ", "EXPTIME = not a number", "ODD KEY     1"]
    frame = read_frame(raw_file(tmp_path / "odd.fits", cards, GOOD.tobytes()[: 2880 * 1]))
    assert frame.shape == (20, 20)
    assert any(n.code in ("frame.header-broken", "frame.fact-invalid") for n in frame.notes)
    shown = capfd.readouterr()
    assert shown.out == "" and shown.err == ""

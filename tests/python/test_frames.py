"""Intake: real headers, synonyms, contradictions, everything image-like."""

from __future__ import annotations

import gzip
import mmap
import pickle
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.io import fits
from astropy.nddata import CCDData, NDData, StdDevUncertainty
from astropy.time import Time
from astropy.wcs import WCS

import starassay
from starassay import read_frame
from starassay.imaging import _fits_files
from starassay.imaging.header import read_header
from starassay.imaging.header_keywords import SYNONYMS

PIXELS = np.random.default_rng(1).normal(500, 9, (40, 50)).round().astype(np.uint16)


def facts(*cards: tuple) -> tuple:
    """Facts and note codes of a header with these cards."""
    found = read_header(fits.Header([fits.Card(*c) for c in cards]), subject="test")
    return found, [n.code for n in found.notes]


def codes(frame: starassay.Frame) -> list[str]:
    """Codes of a frame's notes."""
    return [n.code for n in frame.notes]


# --- everything image-like


def sources(folder: Path) -> dict[str, object]:
    """The same picture in every form."""
    hdu = fits.PrimaryHDU(PIXELS)
    plain = folder / "a.fits"
    hdu.writeto(plain)
    packed = folder / "a.fit.gz"
    packed.write_bytes(gzip.compress(plain.read_bytes()))
    tiles = folder / "a.fits.fz"
    fits.HDUList([fits.PrimaryHDU(), fits.CompImageHDU(PIXELS, compression_type="RICE_1")]).writeto(
        tiles
    )
    extension = folder / "a.fts"
    fits.HDUList([fits.PrimaryHDU(), fits.ImageHDU(PIXELS, name="SCI")]).writeto(extension)
    return {
        "path": plain,
        "text": str(plain),
        "gzip": packed,
        "tiles": tiles,
        "extension": extension,
        "HDUList": fits.open(plain),
        "HDUList, raw": fits.open(plain, do_not_scale_image_data=True),
        "HDU": fits.ImageHDU(PIXELS),
        "tiles HDUList": fits.open(tiles),
        "CCDData": CCDData(PIXELS, unit="adu"),
        "NDData": NDData(PIXELS),
        "Quantity": PIXELS * u.adu,
        "array": PIXELS,
        "big-endian": PIXELS.astype(">u2"),
        "Fortran": np.asfortranarray(PIXELS),
        "floats": PIXELS.astype(np.float64),
        "masked array": np.ma.MaskedArray(PIXELS),
        "Frame": read_frame(PIXELS),
    }


def test_every_form_gives_the_same_physical_pixels(tmp_path: Path) -> None:
    for form, source in sources(tmp_path).items():
        frame = read_frame(source)
        np.testing.assert_array_equal(frame.data, PIXELS.astype(np.float32), err_msg=form)
        mean = starassay._gateway.call(
            "imaging.combine", {"method": "mean"}, frames={"frame0": frame}
        )
        np.testing.assert_array_equal(mean["pixels"], PIXELS, err_msg=form)
        if hasattr(source, "close"):
            source.close()


def test_a_plain_file_is_mapped_not_copied(tmp_path: Path) -> None:
    path = tmp_path / "a.fits"
    fits.PrimaryHDU(PIXELS).writeto(path)
    frame = read_frame(path)
    assert frame.pixels.dtype == np.dtype(">i2") and (frame.scale, frame.zero) == (1, 32768)
    base = frame.pixels
    while isinstance(base, np.ndarray):
        base = base.base
    assert isinstance(base, mmap.mmap)
    assert frame.path == path and frame.name == "a.fits"
    again = pickle.loads(pickle.dumps(frame))
    np.testing.assert_array_equal(again.data, frame.data)


@pytest.mark.parametrize(
    "trailing", [b"", bytes(2880), b"garbage " * 10], ids=["none", "zeros", "text"]
)
def test_the_short_way_into_a_file_says_what_the_long_way_says(
    tmp_path: Path, trailing: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.fits"
    hdu = fits.PrimaryHDU(PIXELS)
    hdu.header["EXPTIME"] = (30.0, "[s] exposure")
    hdu.header["OBJECT"] = "it's M 13"
    hdu.header["HIERARCH ESO DET NAME"] = "long keyword"
    hdu.header["LONGTEXT"] = "x" * 150
    hdu.header["COMMENT"] = "a remark"
    hdu.writeto(path)
    path.write_bytes(path.read_bytes() + trailing)
    short = _fits_files.read_stored(path, None)
    monkeypatch.setattr(_fits_files, "_only_image", lambda *_: None)
    long = _fits_files.read_stored(path, None)
    assert [c.image for c in short.header.cards] == [c.image for c in long.header.cards]
    assert np.array_equal(short.pixels, long.pixels) and short.pixels.dtype == long.pixels.dtype
    assert (short.scale, short.zero, short.blank) == (long.scale, long.zero, long.blank)
    assert (short.images, short.index) == (long.images, long.index)
    assert short.extra_bytes == long.extra_bytes


def test_the_short_way_is_for_files_with_one_image_alone(tmp_path: Path) -> None:
    path = tmp_path / "a.fits"
    two = fits.HDUList([fits.PrimaryHDU(PIXELS), fits.ImageHDU(PIXELS)])
    two.writeto(path)
    with open(path, "rb") as stream:
        assert _fits_files._only_image(path, stream) is None
    fits.PrimaryHDU(PIXELS).writeto(path, overwrite=True)
    with open(path, "rb") as stream:
        assert _fits_files._only_image(path, stream) is not None


def test_an_array_is_not_copied() -> None:
    assert read_frame(PIXELS).pixels is PIXELS
    assert np.shares_memory(read_frame(CCDData(PIXELS, unit="adu")).pixels, PIXELS)


@pytest.mark.parametrize("dtype", ["u1", "i2", "u2", "i4", "i8", "f4", "f8"])
def test_file_types_agree_with_astropy(tmp_path: Path, dtype: str) -> None:
    pixels = (PIXELS % 200).astype(dtype)
    fits.PrimaryHDU(pixels).writeto(tmp_path / "a.fits")
    np.testing.assert_array_equal(
        read_frame(tmp_path / "a.fits").data, fits.getdata(tmp_path / "a.fits").astype(np.float32)
    )


def test_scaled_pixels_and_blank_agree_with_astropy(tmp_path: Path) -> None:
    hdu = fits.PrimaryHDU(np.arange(400, dtype=np.int16).reshape(20, 20))
    hdu.header["BSCALE"], hdu.header["BZERO"], hdu.header["BLANK"] = 0.25, -3.0, 7
    hdu.writeto(tmp_path / "a.fits")
    frame = read_frame(tmp_path / "a.fits")
    np.testing.assert_allclose(frame.data, fits.getdata(tmp_path / "a.fits"), rtol=1e-6)
    assert "frame.not-finite" in codes(frame)


def test_extensions_are_chosen(tmp_path: Path) -> None:
    path = tmp_path / "a.fits"
    hdus = [
        fits.PrimaryHDU(),
        fits.ImageHDU(PIXELS, name="ONE"),
        fits.ImageHDU(PIXELS + 1, name="TWO"),
    ]
    fits.HDUList(hdus).writeto(path)
    assert "frame.several-images" in codes(read_frame(path))
    assert read_frame(path, hdu="TWO").data[0, 0] == PIXELS[0, 0] + 1
    assert "frame.several-images" not in codes(read_frame(path, hdu=1))


def test_ccddata_brings_mask_header_and_unit() -> None:
    mask = PIXELS > 520
    meta = fits.Header([("EXPTIME", 12.0), ("EGAIN", 1.7)])
    ccd = CCDData(
        PIXELS, unit="adu", mask=mask, meta=meta, uncertainty=StdDevUncertainty(PIXELS * 0.1)
    )
    frame = read_frame(ccd)
    np.testing.assert_array_equal(frame.mask, mask)
    assert frame.exposure == 12 * u.s and frame.gain == 1.7 * u.electron / u.adu
    assert "frame.uncertainty-ignored" in codes(frame)
    assert read_frame(CCDData(PIXELS, unit="electron")).gain.value == 1


def test_options_go_before_the_header(tmp_path: Path) -> None:
    hdu = fits.PrimaryHDU(
        PIXELS, fits.Header([("EXPTIME", 30.0), ("FILTER", "V"), ("XPIXSZ", 3.76)])
    )
    hdu.writeto(tmp_path / "a.fits")
    frame = read_frame(
        tmp_path / "a.fits", exposure="2 min", filter="Ha", pitch=5 * u.um, gain="0.8 electron/adu"
    )
    assert (frame.exposure, frame.filter) == (120 * u.s, "Ha")
    assert frame.pitch == 5 * u.um and frame.gain.value == 0.8
    assert read_frame(frame, exposure=1 * u.s).exposure == 1 * u.s
    assert read_frame(frame, name="other").name == "other"


# --- header cards


@pytest.mark.parametrize("fact", sorted(SYNONYMS))
def test_each_keyword_names_its_source(fact: str) -> None:
    for keyword in SYNONYMS[fact]:
        assert keyword.source and keyword.name == keyword.name.upper()


@pytest.mark.parametrize("keyword", [k.name for k in SYNONYMS["exposure"]])
def test_each_exposure_keyword_is_read(keyword: str) -> None:
    assert facts((keyword, 12.5))[0].exposure == 12.5 * u.s


def test_units_in_the_comment_go_first() -> None:
    found, _ = facts(
        ("CCDXPIXE", 2.6e-5, "[m] Size of pixels, in X"), ("TELFOCUS", 20.679, "[mm] Focus")
    )
    assert u.isclose(found.pitch, 26 * u.um) and u.isclose(found.focus_position, 20679 * u.um)
    assert facts(("EXPTIME", 2, "[min] exposure"))[0].exposure == 120 * u.s


@pytest.mark.parametrize(
    ("cards", "gain", "note"),
    [
        ([("GAIN", 100), ("EGAIN", 0.27)], 0.27, "frame.gain-setting"),
        ([("GAIN", 100)], None, "frame.gain-setting"),
        ([("GAIN", 1, "DCS GAIN INDEX")], None, "frame.gain-setting"),
        ([("GAIN", 1.9, "e-/ADU")], 1.9, None),
        ([("GAIN", 2, "[electrons/count] CCD Gain")], 2.0, None),
        ([("GAIN", 2.0, "gain in electrons per adu")], 2.0, None),
        ([("GAIN", 4.0, "ADU/e-")], 0.25, None),
        ([("GAIN", 1.37)], 1.37, "frame.gain-assumed"),
        ([("EGAIN", -1.0)], None, "frame.fact-invalid"),
        ([("EGAIN", 1.5), ("EPERDN", 2.5)], 1.5, "frame.fact-contradictory"),
        ([("EGAIN", "1.5 e-")], 1.5, None),
    ],
)
def test_gain_is_told_from_a_setting(cards: list, gain: float | None, note: str | None) -> None:
    found, said = facts(*cards)
    assert (None if found.gain is None else found.gain.value) == gain
    assert [c for c in said if "missing" not in c] == ([note] if note else [])


def test_read_noise_in_adu_needs_the_gain() -> None:
    assert facts(("EGAIN", 2.0), ("RDNOISE", 3.0, "ADU rms"))[0].read_noise == 6 * u.electron
    found, said = facts(("RDNOISE", 3.0, "ADU rms"))
    assert found.read_noise is None and said == ["frame.fact-invalid"]


def test_pitch_and_binning() -> None:
    found, said = facts(("XPIXSZ", 7.52), ("YPIXSZ", 7.52), ("XBINNING", 2), ("YBINNING", 2))
    assert found.pitch == 7.52 * u.um and found.binning == (2, 2) and said == ["frame.pitch-binned"]
    assert facts(("PIXSIZE1", 3.76), ("XBINNING", 2))[0].pitch == 7.52 * u.um
    found, said = facts(("XPIXSZ", 3.76), ("PIXSIZE1", 3.76), ("XBINNING", 2))
    assert said == ["frame.fact-contradictory"]
    assert facts(("XPIXSZ", 3.76), ("YPIXSZ", 4.8))[1] == ["frame.pixels-oblong"]
    assert facts(("CCDSUM", "2 2"))[0].binning == (2, 2)
    assert facts(("BINNING", "3x3"))[0].binning == (3, 3)
    assert facts(("XBINNING", 0))[1] == ["frame.fact-invalid"]


def test_exposure_zero_is_for_bias_frames_only() -> None:
    found, said = facts(("EXPTIME", 0.0), ("IMAGETYP", "Light Frame"))
    assert found.exposure is None and said == ["frame.fact-invalid"]
    found, said = facts(("EXPTIME", 0.0), ("IMAGETYP", "Bias Frame"))
    assert found.exposure == 0 * u.s and said == []
    assert facts(("EXPTIME", 10.0), ("EXPOSURE", 20.0))[1] == ["frame.fact-contradictory"]


def test_filters() -> None:
    assert facts(("FILTER1", "clear"), ("FILTER2", "R"))[0].filter == "R"
    assert facts(("FILTER1", "U"), ("FILTER2", "ND2"))[0].filter == "U + ND2"
    found, said = facts(("FILTER", "V"), ("FILTER1", "R"))
    assert found.filter == "V" and said == ["frame.fact-contradictory"]
    found, _ = facts(("FILTER", "RGGB"))
    assert (found.filter, found.bayer) == ("", "RGGB")


def test_bayer_offsets_move_the_pattern() -> None:
    assert facts(("BAYERPAT", "RGGB"))[0].bayer == "RGGB"
    assert facts(("BAYERPAT", "RGGB"), ("XBAYROFF", 1), ("YBAYROFF", 0))[0].bayer == "GRBG"
    assert facts(("BAYERPAT", "RGGB"), ("XBAYROFF", 0), ("YBAYROFF", 1))[0].bayer == "GBRG"
    assert facts(("BAYERPAT", "RGGB"), ("FILTER", "BGGR"))[1] == ["frame.fact-contradictory"]


def test_times() -> None:
    assert facts(("DATE-OBS", "2024-05-06T07:08:09.5"))[0].time == Time("2024-05-06T07:08:09.5")
    assert facts(("DATE-OBS", "26/10/92"))[0].time.isot.startswith("1992-10-26")
    assert (
        facts(("DATE-OBS", "2013-07-13"), ("UT", "00:57:33"))[0].time.isot
        == "2013-07-13T00:57:33.000"
    )
    assert facts(("MJD-OBS", 60000.5))[0].time.isot == "2023-02-25T12:00:00.000"
    found, said = facts(("DATE-OBS", "2024-05-06T07:08:09"), ("MJD-OBS", 60000.5))
    assert said == ["frame.fact-contradictory"]
    assert facts(("DATE-OBS", "last night"))[1] == ["frame.fact-invalid"]


def test_focus_temperature_and_empty_words() -> None:
    assert facts(("FOCUSPOS", 12345))[0].focus_position == 12345 * u.one
    found, _ = facts(("FOCUSPOS", 1000), ("FOCUSSSZ", 4.0))
    assert found.focus_position == 4000 * u.um
    assert facts(("CCD-TEMP", -10.0))[0].temperature == -10 * u.deg_C
    assert facts(("CCD-TEMP", -1000.0))[0].temperature is None
    assert facts(("TELESCOP", "na"), ("OBJECT", "  "))[0].telescope == ""


def test_sections_count_from_one_and_include_the_end() -> None:
    found, _ = facts(("DATASEC", "[1:2048,1:350]"), ("BIASSEC", "[ 2049 : 2112 , 1:350 ]"))
    assert found.data_section == (slice(0, 350), slice(0, 2048))
    assert found.bias_section == (slice(0, 350), slice(2048, 2112))
    assert facts(("DATASEC", "all of it"))[1] == ["frame.fact-invalid"]


def test_missing_facts_are_said_once(tmp_path: Path) -> None:
    fits.PrimaryHDU(PIXELS).writeto(tmp_path / "a.fits")
    (note,) = [n for n in read_frame(tmp_path / "a.fits").notes if n.code == "frame.facts-missing"]
    assert "exposure, gain, read noise, pitch" in note.text and note.subject == "a.fits"


# --- what the pixels say


def test_saturation_comes_from_the_pixels_or_the_header() -> None:
    star = PIXELS.astype(float)
    y, x = np.indices(star.shape)
    star += 9000 * np.exp(-((x - 25.0) ** 2 + (y - 20.0) ** 2) / 20)
    clipped = np.minimum(star, 4095).round().astype("u2")
    found = read_frame(clipped)
    assert found.saturation == 4095 * u.adu and "frame.saturation-found" in codes(found)
    assert read_frame(clipped, saturation=4000 * u.adu).saturation == 4000 * u.adu
    stated = read_frame(CCDData(clipped, unit="adu", meta={"SATURATE": 65535}))
    assert stated.saturation == 4095 * u.adu and "frame.saturation-contradicts" in codes(stated)
    assert read_frame(star).saturation is None


# --- real files (facts from their headers and the data folder's page)


def test_a_mosaic_whose_header_is_wrong(real_data: Path) -> None:
    """RGGB in the header, greens at (0,0) and (1,1) of the array: rows turned over gives GBRG."""
    for name in ("unsolved.fits", "solved.fits.fz"):
        frame = read_frame(real_data / "starfield-panoptes" / name)
        assert frame.bayer == "GBRG"
        assert "frame.bayer-contradicts" in codes(frame)
        # The camera clips below its 14 bits; the page names 11.4k to 13.6k ADU.
        assert frame.saturation == 13583 * u.adu
        assert frame.exposure == 120.4 * u.s and frame.filter == ""
    solved = frame
    assert isinstance(solved.wcs, WCS) and solved.wcs.has_celestial
    # The data folder's page says 10.33 arcsec a pixel; that is one axis, the other has 10.31.
    scales = sorted(3600 * np.sqrt((solved.wcs.pixel_scale_matrix**2).sum(axis=0)))
    assert scales == pytest.approx([10.31, 10.33], abs=0.005)
    np.testing.assert_array_equal(
        solved.data, fits.getdata(real_data / "starfield-panoptes" / "solved.fits.fz").astype("f4")
    )
    planes = starassay.split_bayer(solved)
    assert planes.offsets == {"red": (0, 1), "green1": (1, 1), "green2": (0, 0), "blue": (1, 0)}
    for name, (x, y) in planes.offsets.items():
        there = getattr(planes, name).wcs.all_pix2world([[10, 20], [300, 340]], 0)
        here = solved.wcs.all_pix2world([[20 + x, 40 + y], [600 + x, 680 + y]], 0)
        np.testing.assert_allclose(there, here, atol=1e-9)
    # The sky's greens agree to 2 ADU, red and blue differ by 40 (medians over the whole plane).
    level = {str(r["plane"]): r["median"].value for r in planes.table}
    assert abs(level["green1"] - level["green2"]) < 3 < 20 < abs(level["red"] - level["blue"])


def test_a_header_with_broken_cards(real_data: Path, capfd: pytest.CaptureFixture) -> None:
    frame = read_frame(real_data / "starfield-emmi" / "image.fits")
    assert frame.shape == (256, 256) and frame.exposure == 1200 * u.s
    assert u.isclose(frame.pitch, 19 * u.um)
    assert frame.time.isot == "1992-10-26T03:04:08.000"
    frame = read_frame(real_data / "flat-dfosc-saturated" / "badfitskeys.fits.gz")
    assert "frame.header-broken" in codes(frame) and "frame.mostly-saturated" in codes(frame)
    shown = capfd.readouterr()
    assert shown.out == "" and shown.err == ""


def test_a_spectrum_called_dark(real_data: Path) -> None:
    frame = read_frame(real_data / "spectra-dados" / "alpOri_01.fit.gz")
    assert frame.object == "Dark" and "frame.object-doubtful" in codes(frame)
    assert frame.pitch == 6.45 * u.um and frame.telescope == "" and frame.temperature is None


def test_an_observatory_frame(real_data: Path) -> None:
    frame = read_frame(real_data / "starfield-saao" / "a8280271.fits")
    assert frame.gain.value == 1.9 and frame.read_noise.value == 5.0
    assert frame.time.isot == "2013-07-13T00:57:33.000"  # DATE-OBS with UT
    assert frame.bias_section == (slice(0, 520), slice(3, 13))
    assert frame.temperature is None  # 180.2 is in kelvins, which the card does not say


def test_every_real_file_is_read(real_data: Path, capfd: pytest.CaptureFixture) -> None:
    paths = [p for p in sorted(real_data.glob("*/*.fit*")) if "stellar-flux" not in p.parts]
    assert len(paths) > 12
    for path in paths:
        frame = read_frame(path)
        if path.parent.name == "starfield-galaxy":
            # This frame's header holds no fact of the camera; that must be said.
            assert "frame.facts-missing" in [n.code for n in frame.notes]
            continue
        assert frame.exposure is not None and frame.time is not None, path
        assert "frame.looks-mosaic" not in codes(frame), path
    shown = capfd.readouterr()
    assert shown.out == "" and shown.err == ""


def test_the_page_lists_every_keyword(top: Path) -> None:
    """docs/intake.md holds a row for each synonym, with its source."""
    page = (top / "docs" / "intake.md").read_text(encoding="utf-8")
    for fact, keywords in SYNONYMS.items():
        for k in keywords:
            unit = "" if k.unit is None else str(k.unit) or "1"
            row = f"| {fact.replace('_', ' ')} | `{k.name}` | {unit} | {k.source} |"
            assert row in page, row

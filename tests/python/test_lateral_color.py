"""Lateral color: drawn fields with truth, NumPy's own fit beside it, a real mosaic, and what must be refused."""

from __future__ import annotations

import dataclasses
import pickle
import sys
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.io import fits

import starassay
from starassay import CannotMeasureError, InputError, measure_lateral_color
from starassay.cli import main

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "tests" / "accuracy")]

import lateral_color as accuracy  # noqa: E402


@pytest.fixture(scope="module")
def field() -> accuracy.Field:
    # Seeds here belong to neither the tuning nor the judging fields of docs/accuracy.md.
    return accuracy.draw(90_000)


@pytest.fixture(scope="module")
def color(field: accuracy.Field) -> starassay.LateralColor:
    return accuracy.measure(field)


def test_drawn_fields_hold_their_truth() -> None:
    # Four standard uncertainties, and 0.04 pixels: twice the bar, which 15 stars do not reach.
    for row in accuracy.run(6, 90_006):
        assert not row["refused"]
        assert abs(float(row["pull"])) < 4
        assert row["kind"] == "15 stars" or abs(float(row["error"])) < 0.04


def test_numpy_finds_the_same(color: starassay.LateralColor) -> None:
    """Weighted least squares by NumPy on the offsets of the stars behind the fit."""
    t = color.table
    ny, nx = accuracy.SHAPE
    for k, pair in enumerate(color.pairs):
        use = (t["pair"] == k) & (t["used"] > 0)
        half = np.hypot(nx, ny) / 2
        x, y = ((t[c].value[use] - (n - 1) / 2) / half for c, n in (("x", nx), ("y", ny)))
        r2, one, none = x**2 + y**2, np.ones(len(x)), np.zeros(len(x))
        rows = np.r_[
            np.c_[one, none, x, -y, r2 * x, r2 + 2 * x**2, 2 * x * y],
            np.c_[none, one, y, x, r2 * y, 2 * x * y, r2 + 2 * y**2],
        ]
        given = np.r_[t["offset_x"].value[use], t["offset_y"].value[use]]
        weight = np.tile(1 / t["offset_uncertainty"].value[use], 2)
        found = np.linalg.lstsq(rows * weight[:, None], given * weight, rcond=None)[0]
        corner = pair.corner_in_pixels
        # The engine weighs both axes of a star by themselves.
        assert found[2] + found[4] == pytest.approx(
            corner.value.value, abs=0.3 * corner.uncertainty.value
        )
        assert abs(found[3]) < 5 * corner.uncertainty.value


def test_the_result_tells_itself(color: starassay.LateralColor) -> None:
    said = color.sentences()
    assert "Lateral color at the corners" in said[0] and "against" in said[0]
    assert len(said) == 4
    assert pickle.loads(pickle.dumps(color)).lateral_color == color.lateral_color
    assert color.plot().get_xlabel().endswith("(mm)")
    assert color.plot_curve().get_ylabel().endswith("(um)")
    # Pairs close: blue against red is blue against green less red against green.
    red, blue, both = (p.corner_in_pixels.value.value for p in color.pairs)
    assert both == pytest.approx(blue - red, abs=0.03)


def test_command(field: accuracy.Field, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    hdu = fits.PrimaryHDU(np.round(field.frames[0]).astype(np.uint16))
    hdu.header.update({"XPIXSZ": 4.0, "BAYERPAT": "RGGB", "GAIN": 1.0})
    hdu.writeto(tmp_path / "mosaic.fits")
    given = ["--aperture=100mm", "--focal-length=600mm", "--altitude=40deg"]
    assert main(["measure", "lateral-color", str(tmp_path / "mosaic.fits"), *given]) == 0
    out = capsys.readouterr().out
    assert "Lateral color at the corners" in out and "arcsec" in out and "Airy disc" in out
    assert "Offset of one color against another" in out


def test_filters_are_named_and_alike_in_size() -> None:
    field = accuracy.draw(90_002)
    frames = [
        dataclasses.replace(starassay.read_frame(f, pitch=4 * u.um), filter=c)
        for f, c in zip(field.frames, "RGB")
    ]
    found = measure_lateral_color(frames)
    assert [c.color for c in found.colors] == ["R", "G", "B"]
    assert {p.against for p in found.pairs[:2]} == {"G"}
    assert [c.wavelength.value for c in found.colors] == [610, 530, 460]
    assert any("one after the other" in n.text for n in found.notes)
    with pytest.raises(InputError, match="differ in size"):
        measure_lateral_color([frames[0], field.frames[1][:-2]], pitch="4 um")
    with pytest.raises(InputError, match="name of its own"):
        measure_lateral_color([frames[0], frames[0]])
    with pytest.raises(InputError, match="the colors are R, G, B"):
        measure_lateral_color(frames, reference="green")


def test_what_is_lacking_is_said(field: accuracy.Field) -> None:
    with pytest.raises(InputError, match="no raw color mosaic"):
        measure_lateral_color(field.frames[0], pitch="4 um")
    mosaic = starassay.read_frame(field.frames[0], bayer="RGGB")
    with pytest.raises(InputError, match="pixel pitch"):
        measure_lateral_color(mosaic)
    with pytest.raises(InputError, match="measure each by itself"):
        measure_lateral_color([mosaic, mosaic], pitch="4 um")
    with pytest.raises(InputError, match="No frame"):
        measure_lateral_color([])
    empty = np.random.default_rng(1).normal(100, 3, (200, 200)).astype(np.float32)
    with pytest.raises(CannotMeasureError, match="Fewer than 6 stars"):
        measure_lateral_color(starassay.read_frame(empty, bayer="RGGB"), pitch="4 um")


def test_a_real_mosaic(real_data: Path) -> None:
    """Canon camera of PANOPTES, stars as sharp as its pixels: what is found must be unsure, and said to be so."""
    frame = real_data / "starfield-panoptes" / "unsolved.fits"
    found = measure_lateral_color(frame, pitch="4.3 um")
    assert all(p.corner_in_pixels.uncertainty.value > 0.1 for p in found.pairs)
    assert any("scatter by" in n.text for n in found.notes)

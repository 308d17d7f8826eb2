"""Edges: drawn ones with truth, an independent slanted-edge analysis by NumPy and SciPy, and what must be refused."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy import units as u
from astropy.io import fits
from scipy import ndimage, special

import starassay
from starassay import CannotMeasureError, InputError, SimulatedCamera, SimulatedSky, draw_edge
from starassay import measure_edge_contrast
from starassay.cli import main

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "tests" / "accuracy")]

import edge_contrast as accuracy  # noqa: E402

JUNIPER = starassay.SimulatedTelescope("Juniper", 115 * u.mm, 690 * u.mm)
CAMERA = SimulatedCamera(shape=(280, 360), hot_pixels=0, unevenness=0)
STILL = SimulatedSky(seeing=0 * u.arcsec)


def gaussian_edge(
    width: float, turn: float = 5.0, shape: tuple[int, int] = (240, 260)
) -> np.ndarray:
    """An edge blurred by a Gaussian of that sigma, pixel and all: closed form, with a noise of 2 ADU in 10000."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    c, s = np.cos(np.deg2rad(turn)), np.sin(np.deg2rad(turn))
    away = (x - shape[1] / 2) * c + (y - shape[0] / 2) * s
    noise = np.random.default_rng(1).normal(0, 2, shape)
    return (500 + 10_000 * special.ndtr(-away / width) + noise).astype(np.float32)


def noisy(pixels: np.ndarray) -> np.ndarray:
    """With a noise of 20 ADU."""
    return (pixels + np.random.default_rng(2).normal(0, 20, pixels.shape)).astype(np.float32)


def measured(pixels: Any, **how: Any) -> starassay.EdgeContrast:
    given = {"focal_length": "690 mm", "pitch": "3.76 um", "bias_level": "500 adu", **how}
    return measure_edge_contrast(pixels, **given)


@pytest.mark.parametrize("width", [0.8, 1.6, 3.0])
def test_a_gaussian_edge(width: float) -> None:
    """10 to 90 % is 2.56310 sigma, MTF50 0.187391 / sigma, MTF exp(-2 (pi s v)^2): closed forms."""
    edge = measured(gaussian_edge(width))
    assert edge.width.value.to_value(u.um) == pytest.approx(2.56310 * width * 3.76, rel=0.004)
    half = edge.recorded_mtf50.value.to_value(1 / u.mm) * 3.76e-3
    assert half == pytest.approx(0.187391 / width, rel=0.004)
    v = edge.frequency.value
    assert np.abs(edge.mtf - np.exp(-2 * (np.pi * width * v) ** 2))[:41].max() < 0.003
    # The pixel's own MTF at half of the Nyquist frequency: sin(pi v) / (pi v) = 0.90032 along a row (ISO 12233 in sense).
    assert edge.pixel_mtf[20] == pytest.approx(0.90032, abs=0.002)


@pytest.mark.parametrize("hole", [0.0, 0.33])
def test_a_perfect_aperture(hole: float) -> None:
    """10 to 90 % of a clear aperture is 1.33287 lambda N (from its MTF); annular MTF by O'Neill 1956."""
    slow = starassay.SimulatedTelescope("Reed", 60 * u.mm, 2400 * u.mm, obstruction=hole)
    camera = SimulatedCamera(shape=(360, 360), pitch=2.75 * u.um, hot_pixels=0, unevenness=0)
    frame, _ = draw_edge(slow, camera=camera, sky=STILL, bright=45_000 * u.electron)
    edge = measured(
        frame, focal_length="2400 mm", aperture="60 mm", obstruction=hole, pitch="2.75 um"
    )
    unit = 0.550 * 40  # lambda N, um
    if hole == 0:
        # The pixel, an eighth of it, adds half a per cent; the window cuts the tails.
        assert edge.width.value.to_value(u.um) == pytest.approx(1.33287 * unit, rel=0.01)
    cutoff = 2.75 / unit  # 0.125 cycles a pixel, so that the frequencies told are tenths of it
    table = {0.1: 0.8729, 0.2: 0.7471, 0.3: 0.6238, 0.4: 0.5046, 0.5: 0.3910, 0.6: 0.2848}
    if hole:
        table = {0.1: 0.8109, 0.2: 0.6280, 0.3: 0.4596, 0.4: 0.3610, 0.5: 0.3252, 0.6: 0.2893}
    for share, value in table.items():
        found = np.interp(share * cutoff, edge.frequency.value, edge.optics_mtf)
        assert found == pytest.approx(value, abs=0.012)
        perfect = np.interp(share * cutoff, edge.frequency.value, edge.perfect_mtf)
        assert perfect == pytest.approx(value, abs=0.004)


def slanted_edge(pixels: np.ndarray, frequency: np.ndarray) -> np.ndarray:
    """An independent slanted-edge MTF for an edge near the columns: a line through the rows' centroids, quarter-pixel bins,
    [-1/2 0 1/2], Hamming window, transform, derivative corrected (the steps of ISO 12233 in sense).
    """
    rows, columns = pixels.shape
    rise = np.gradient(ndimage.gaussian_filter1d(pixels.astype(float), 1.0, axis=1), axis=1)
    rise[:, :3] = rise[:, -3:] = 0
    rise[rise > 0.2 * rise.min()] = 0
    x = np.arange(columns)
    center = (rise * x).sum(axis=1) / rise.sum(axis=1)
    slope, start = np.polyfit(np.arange(rows), center, 1)
    away = (x[None, :] - start - slope * np.arange(rows)[:, None]) / np.hypot(1, slope)
    keep = np.abs(away) < 32
    index = np.floor(away[keep] * 4).astype(int) + 128
    edge = np.bincount(index, pixels[keep], 256) / np.bincount(index, minlength=256)
    line = np.convolve(edge, [-0.5, 0, 0.5], "same")[2:-2]
    at = (np.arange(256) - 127.5)[2:-2] / 4
    peak = at[np.argmax(np.abs(line))]
    line *= 0.54 + 0.46 * np.cos(np.pi * np.clip((at - peak) / 32, -1, 1))
    wave = np.exp(-2j * np.pi * np.outer(frequency, at))
    mtf = np.abs(wave @ line) / np.abs(line.sum())
    return mtf / np.sinc(frequency / 2)  # x / sin x, x = 2 pi v / 4


@pytest.mark.parametrize(("turn", "defocus"), [(5.0, 0.0), (-8.0, 0.3), (174.0, 0.2)])
def test_against_an_independent_analysis(turn: float, defocus: float) -> None:
    """Within 0.02 of the truth and 0.03 of NumPy and SciPy up to half of the Nyquist frequency."""
    frame, truth = draw_edge(
        JUNIPER,
        camera=CAMERA,
        sky=SimulatedSky(seeing=2 * u.arcsec),
        normal=turn * u.deg,
        defocus=defocus,
        seed=4,
    )
    edge = measured(frame)
    own = edge.mtf[:21]
    assert np.abs(own - np.array(truth["mtf"])[:21]).max() < 0.02
    pixels = np.asarray(frame.data, dtype=float)
    other = slanted_edge(
        pixels if abs(turn) < 90 else pixels[::-1, ::-1], edge.frequency.value[:21]
    )
    assert np.abs(own - other).max() < 0.03


def test_two_dimensional_scenes() -> None:
    """A limb with relief behind aberrations, and a black patch: drawn by NumPy, judged against its truth."""
    for row in accuracy.run(2, 90_003):
        assert not row["refused"]
        assert np.abs(row["mtf"][:21]).max() < 0.02
        for name in ("glare", "index"):
            assert np.isnan(row[name]) or abs(row[name]) < 0.10


def test_seeing_is_taken_out_where_it_is_given() -> None:
    frame, _ = draw_edge(JUNIPER, camera=CAMERA, sky=SimulatedSky(seeing=1.2 * u.arcsec), seed=6)
    still = np.array(draw_edge(JUNIPER, camera=CAMERA, sky=STILL, noise=False)[1]["optics_mtf"])
    edge = measured(frame, aperture="115 mm", seeing="1.2 arcsec")
    k = 15
    assert abs(edge.optics_mtf[k] - still[k]) < 2.5 * edge.optics_mtf_uncertainty[k]
    assert edge.perfect_mtf[k] == pytest.approx(still[k], abs=1e-3)
    assert measured(frame).mtf50.value < edge.mtf50.value


def test_glare_and_ghosts() -> None:
    """Half of a share e^-x of the light at x lengths from a straight edge, and a disc laid into the dark."""
    camera = SimulatedCamera(shape=(360, 480), hot_pixels=0, unevenness=0)
    frame, _ = draw_edge(
        JUNIPER, camera=camera, sky=STILL, glare=0.03, glare_reach=150, place=(150, 180), seed=2
    )
    edge = measured(frame)
    away = 60 / edge.pixel_scale.value
    # The perfect aperture's own wing beside it: 0.05 at 1.353 lambda N, falling as the reciprocal of the distance.
    wing = 0.05 * 1.353 * 0.55 * 6 / 3.76 / away
    expected = 0.03 * np.exp(-away / 150) / 2 + 0.97 * wing
    assert float(edge.edge_glare.value) == pytest.approx(expected, rel=0.10)
    assert not edge.ghosts and np.isnan(edge.glare_index.value)
    y, x = np.mgrid[:360, :480]
    ghost = np.asarray(frame.data) + 150 * (np.hypot(x - 380, y - 200) < 22)
    found = measured(ghost.astype(np.uint16)).ghosts
    assert len(found) == 1
    assert np.hypot(found[0].x.value - 380, found[0].y.value - 200) < 4
    assert float(found[0].level) == pytest.approx(150 / edge.bright.value, rel=0.15)


def test_a_color_mosaic_gives_what_its_greens_see() -> None:
    frame, truth = draw_edge(JUNIPER, camera=CAMERA, sky=STILL, normal=7 * u.deg, seed=3)
    pixels = np.asarray(frame.data).copy()
    pixels[::2, ::2] //= 2
    pixels[1::2, 1::2] //= 3
    edge = measured(starassay.read_frame(pixels, bayer="RGGB", name="mosaic"))
    assert np.abs(edge.mtf - np.array(truth["mtf"]))[:21].max() < 0.02


def test_what_cannot_be_measured_is_said() -> None:
    with pytest.raises(CannotMeasureError, match="no bright surface"):
        measured(np.random.default_rng(1).normal(500, 5, (200, 200)).astype(np.float32))
    y, x = np.mgrid[:240, :260]
    with pytest.raises(CannotMeasureError, match="lies so nearly along"):
        measured(noisy(500 + 9000 * special.ndtr((130.3 - x) / 1.2)))
    clipped = np.minimum(noisy(gaussian_edge(1.5)), 8000)
    with pytest.raises(CannotMeasureError, match="over-exposed"):
        measured(clipped)
    with pytest.raises(CannotMeasureError, match="neither a straight edge nor a round"):
        rough = ndimage.gaussian_filter(np.random.default_rng(5).normal(size=(240, 260)), 6)
        measured(noisy(500 + 9000 * (rough > 0)))
    with pytest.raises(InputError, match="belongs to the Moon"):
        measured(gaussian_edge(1.5), phase_angle="40 deg")
    with pytest.raises(InputError, match="pixel pitch"):
        measure_edge_contrast(gaussian_edge(1.5), focal_length="690 mm")


def test_doubts() -> None:
    """A jagged edge and one bent within its own width decide nothing; without a bias glare is not told."""
    y, x = np.mgrid[:240, :260]
    jag = np.random.default_rng(2).normal(0, 1.2, 240)
    jagged = 500 + 9000 * special.ndtr((130 + 0.1 * y + jag[:, None] - x) / 0.8)
    assert any("rough" in text for text in measured(noisy(jagged)).doubts)
    small = 500 + 9000 * special.ndtr((25 - np.hypot(x - 130.2, y - 119.7)) / 1.5)
    assert any("bends" in text for text in measured(noisy(small)).doubts)
    edge = measured(gaussian_edge(1.5), bias_level=None)
    assert np.isnan(edge.edge_glare.value) and not len(edge.glare)
    assert any(n.code == "edge-contrast.no-bias" for n in edge.notes)


def test_the_result_tells_itself() -> None:
    frame, _ = draw_edge(JUNIPER, camera=CAMERA, sky=STILL, glare=0.02, radius=800)
    edge = measured(frame, aperture="115 mm", subject="moon", phase_angle="30 deg")
    said = " ".join(edge.sentences())
    assert (
        "from 10 to 90 %" in said
        and "perfect aperture" in said
        and "of the light of the bright side" in said
    )
    assert any("certified filter" in n.text for n in edge.notes)
    assert edge.table["on_sensor"].unit == 1 / u.mm and len(edge.glare_table) > 5
    assert edge.frequency_on_sensor[40].value == pytest.approx(0.5 / 3.76e-3)
    assert edge.plot_glare().get_xlabel().endswith("(arcmin)")


def test_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    frame, _ = draw_edge(JUNIPER, camera=CAMERA, sky=STILL)
    starassay.write_frame(tmp_path / "limb.fits", frame, {})
    fits.PrimaryHDU(np.full(CAMERA.shape, 500, np.uint16)).writeto(tmp_path / "bias.fits")
    telescope = ["--aperture=115mm", "--focal-length=690mm", f"--bias={tmp_path / 'bias.fits'}"]
    moon = ["--subject=moon", "--phase-angle=40deg"]
    assert main(["measure", "edge-contrast", str(tmp_path / "limb.fits"), *telescope, *moon]) == 0
    out = capsys.readouterr().out
    assert "wide from 10 to 90 %" in out and "MTF along the edge's normal" in out

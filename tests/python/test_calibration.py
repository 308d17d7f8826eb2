"""Masters, calibration, cosmic rays, gain: against astropy.stats, NumPy and real frames."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.stats import mad_std, sigma_clip, sigma_clipped_stats
from scipy import ndimage

import starassay
from starassay import read_frame

RNG = np.random.default_rng(4)


@pytest.mark.parametrize(("count", "sigma"), [(3, 3.0), (9, 3.0), (16, 2.5)])
def test_the_clipped_mean_is_astropys(count: int, sigma: float) -> None:
    """`astropy.stats.sigma_clip` about the median with mad_std; floats, so that no spread is zero."""
    stack = RNG.normal(1000, 7, (count, 37, 41)).astype(np.float32)
    stack[RNG.random(stack.shape) < 0.02] += 400
    master = starassay.combine_frames(list(stack), clip_sigma=sigma, rounds=50, spread_floor=0)

    def spread(values: np.ndarray, axis: int) -> np.ndarray:
        return mad_std(values, axis=axis, ignore_nan=True)  # clipped values are NaN to it

    clipped = sigma_clip(
        stack.astype(float), sigma=sigma, maxiters=50, cenfunc="median", stdfunc=spread, axis=0
    )
    expected = clipped.mean(axis=0).filled(np.nan)
    same = master.counts == (~clipped.mask).sum(axis=0)
    # With two values left Astropy goes on clipping (its limit is then met by rounding); we stop.
    assert same.mean() > (0.99 if count > 3 else 0.9)
    np.testing.assert_allclose(master.frame.pixels[same], expected[same], rtol=2e-7)
    scatter = clipped.std(axis=0, ddof=1).filled(np.nan) / np.sqrt(master.counts)
    good = same & (master.counts > 1)
    np.testing.assert_allclose(master.uncertainty.value[good], scatter[good], rtol=2e-4)


@pytest.mark.parametrize("method", ["mean", "median"])
def test_mean_and_median_are_numpys(method: str) -> None:
    stack = RNG.normal(300, 20, (6, 23, 29)).astype(np.float32)
    master = starassay.combine_frames(list(stack), method=method)
    expected = getattr(np, method)(stack.astype(float), axis=0)
    np.testing.assert_allclose(master.frame.pixels, expected, rtol=1e-7)


def test_normalized_flats_have_a_median_of_one() -> None:
    shape = 1 + 0.3 * np.linspace(-1, 1, 60)[:, None] * np.ones(50)
    flats = [
        level * shape + RNG.normal(0, 30, shape.shape)
        for level in (9000, 15000, 20000, 12000, 9500)
    ]
    master = starassay.combine_frames(flats, normalize=True)
    assert np.median(master.frame.pixels) == pytest.approx(1, abs=1e-6)
    np.testing.assert_allclose(master.frame.pixels, shape / np.median(shape), atol=0.02)


def test_uncertainties_are_true() -> None:
    """Pulls of a calibrated frame about the truth: standard deviation 1 within its own error."""
    gain, read, ny, nx = 1.6, 6.0, 120, 140
    flat_true = 0.7 + 0.3 * np.linspace(0, 1, nx) * np.ones((ny, 1))
    flat_true /= np.median(flat_true)
    sky = 800.0

    def shot(electrons: np.ndarray | float) -> np.ndarray:
        photons = RNG.poisson(np.broadcast_to(electrons, (ny, nx)))
        return (300 + (photons + RNG.normal(0, read, (ny, nx))) / gain).astype(np.float32)

    bias = starassay.combine_frames([shot(0.0) for _ in range(9)])
    flats = [
        starassay.calibrate_frame(shot(flat_true * 20000 * gain), bias=bias).frame for _ in range(9)
    ]
    flat = starassay.combine_frames(flats, normalize=True)
    raw = read_frame(
        shot(flat_true * sky * gain), gain=gain * u.electron / u.adu, read_noise=read * u.electron
    )
    clean = starassay.calibrate_frame(raw, bias=bias, flat=flat)
    pulls = (clean.frame.pixels - sky) / clean.uncertainty.value
    # 16,800 pixels: 0.5 % error of the spread; variance from the counts themselves biases it by 0.1 %.
    assert np.std(pulls) == pytest.approx(1, abs=0.025)
    assert abs(np.mean(pulls)) < 0.03


def test_calibration_keeps_facts_and_marks_clipped_pixels() -> None:
    pixels = np.full((30, 30), 1300, np.float32)
    pixels[4, 5] = 4095
    frame = read_frame(pixels, saturation=4095 * u.adu, filter="V", exposure=3 * u.s)
    flat = np.full((30, 30), 100.0)
    flat[:, :10] = 5
    flat[0, 20] = 101
    bias = np.full((30, 30), 300.0)
    clean = starassay.calibrate_frame(frame, bias=bias, flat=flat)
    assert clean.frame.filter == "V" and clean.frame.mask[:, :10].all()
    assert clean.frame.saturation is None  # the clipped pixel lies in the masked part
    clean = starassay.calibrate_frame(frame, bias=bias)
    assert clean.frame.saturation == 3795 * u.adu


def test_an_overscan_must_be_known() -> None:
    with pytest.raises(starassay.InputError, match="states no overscan section"):
        starassay.calibrate_frame(RNG.normal(5, 1, (9, 9)), overscan=True)


def test_frames_of_two_sizes_are_refused() -> None:
    with pytest.raises(starassay.InputError, match="Use frames of one camera"):
        starassay.combine_frames([np.ones((4, 5)), np.ones((5, 4))])


def test_a_pattern_that_is_given_is_used() -> None:
    mosaic = RNG.normal(500, 5, (200, 220))
    mosaic[::2, ::2] += 50
    mosaic[1::2, 1::2] -= 50
    mosaic = mosaic.round().astype(">i2")
    planes = starassay.split_bayer(mosaic, pattern="RGGB")
    assert planes.pattern == "RGGB"
    np.testing.assert_array_equal(planes.red.pixels, mosaic[::2, ::2])
    np.testing.assert_array_equal(planes.green1.pixels, mosaic[::2, 1::2])
    np.testing.assert_array_equal(planes.green2.pixels, mosaic[1::2, ::2])
    np.testing.assert_array_equal(planes.blue.pixels, mosaic[1::2, 1::2])
    assert "frame.looks-mosaic" in [n.code for n in read_frame(mosaic).notes]
    with pytest.raises(starassay.InputError, match="pattern=..., for example 'RGGB'"):
        starassay.split_bayer(RNG.normal(500, 5, (50, 50)))


def test_bad_pixels_agree_with_scipys_median() -> None:
    dark = RNG.normal(50, 3, (80, 90)).astype(np.float32)
    hot = RNG.integers(0, 80, (2, 25))
    dark[hot[0], hot[1]] += 200
    found = starassay.find_bad_pixels(dark=dark)
    excess = dark - ndimage.median_filter(dark, size=5)
    inner = np.s_[2:-2, 2:-2]  # SciPy mirrors the edge, we leave it out
    center = np.median(excess)
    expected = excess - center > 8 * mad_std(excess)
    np.testing.assert_array_equal(found.mask[inner], expected[inner])
    assert found.counts["hot"] >= 20


def kast(folder: Path, *numbers: int) -> list[Path]:
    """Frames of the blue arm."""
    return [folder / "spectra-kast" / f"b{n}.fits.gz" for n in numbers]


def test_gain_of_a_real_camera(real_data: Path) -> None:
    section = (slice(40, 310), slice(1200, 1900))
    measured = starassay.measure_gain(
        kast(real_data, 11, 12), kast(real_data, 21, 22), section=section
    )
    # Data folder's page: 1.24 e-/ADU and 2.7 ADU by a direct estimate, which has no error bar and
    # two digits: 2 % is what such an estimate can differ by (a 1 % lamp drift changes it by that).
    assert measured.gain.value.value == pytest.approx(1.24, rel=0.02)
    assert measured.read_noise_adu.value.value == pytest.approx(2.7, abs=0.05)
    assert measured.gain.uncertainty.value < 0.01
    # The plain formula with NumPy on the same pixels, lamp drift taken out, no tiles.
    f1, f2, b1, b2 = (
        read_frame(p).data[section].astype(float)
        for p in (*kast(real_data, 11, 12), *kast(real_data, 21, 22))
    )
    bias = (b1 + b2) / 2
    ratio = (f1 - bias).sum() / (f2 - bias).sum()
    # White noise by its value over the local mean, since the flat is not even.
    weight = np.sqrt(ndimage.uniform_filter((f1 - bias), 31))
    scaled = ((f1 - bias) - ratio * (f2 - bias)) / weight
    read = sigma_clipped_stats(b1 - b2, sigma=5)[2] ** 2 / 2
    photon = sigma_clipped_stats(scaled, sigma=5)[2] ** 2 - (1 + ratio**2) * read * np.mean(
        1 / weight**2
    )
    assert measured.gain.value.value == pytest.approx((1 + ratio) / photon, rel=0.01)
    assert "frame.gain-setting" in [n.code for n in read_frame(kast(real_data, 11)[0]).notes]


def test_bias_masters_of_a_real_camera(real_data: Path) -> None:
    master = starassay.combine_frames(kast(real_data, 21, 22), method="mean")
    stack = np.mean([read_frame(p).data.astype(float) for p in kast(real_data, 21, 22)], axis=0)
    np.testing.assert_allclose(master.frame.pixels, stack, rtol=1e-7)


def test_cosmic_rays_of_a_real_frame(real_data: Path) -> None:
    """Seeing of about 9 pixels: stars are broad, hits are sharp; none of the bright stars is taken."""
    frame = read_frame(real_data / "starfield-saao" / "a8280271.fits")
    found = starassay.find_cosmic_rays(frame)
    assert 8 <= found.counts["hits"] <= 60
    smooth = ndimage.gaussian_filter(ndimage.median_filter(frame.data, 5), 3)
    labels, count = ndimage.label(smooth > np.median(smooth) + 60)
    assert count >= 2
    for place in ndimage.maximum_position(smooth, labels, range(1, count + 1)):
        y, x = place
        assert not found.mask[y - 2 : y + 3, x - 2 : x + 3].any()


def test_cosmic_rays_need_the_noise() -> None:
    with pytest.raises(starassay.InputError, match="Gain and read noise of image are needed"):
        starassay.find_cosmic_rays(RNG.normal(500, 5, (50, 50)))

"""Views of a wavefront against NumPy and SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from astropy import units as u
from scipy import special

import starassay

N = 160


def pupil(wavefront=None, obstruction: float = 0.0) -> starassay.PupilMap:
    """A clear or annular pupil at f/7 and 550 nm."""
    rho = (2 * np.arange(N) + 1 - N) / N
    x, y = np.meshgrid(rho, rho)
    fine = (2 * np.arange(8 * N) + 1 - 8 * N) / (8 * N)
    r = np.hypot(*np.meshgrid(fine, fine))
    share = ((r < 1) & (r >= obstruction)).reshape(N, 8, N, 8).mean(axis=(1, 3))
    w = np.zeros((N, N)) if wavefront is None else wavefront(x, y)
    w = np.where(share > 0, w, np.nan)
    return starassay.PupilMap(w * u.nm, 7.0, 550 * u.nm, share)


def test_focused_image_is_the_airy_pattern() -> None:
    """Airy 1835: [2 J1(x)/x]^2, with SciPy's Bessel function."""
    image = starassay.draw_focused_image(pupil(), half_width=4, samples=81)
    v = np.pi * image.position.to_value(u.um) / (0.55 * 7)
    v[40] = 1e-9
    expected = (2 * special.j1(v) / v) ** 2
    np.testing.assert_allclose(image.intensity[40], expected, atol=3e-4)  # 160-sample pupil
    assert image.center_ratio == pytest.approx(1, abs=1e-12)


def test_astigmatism_strehl_in_two_colors() -> None:
    """Mahajan 1982: astigmatism with a quarter wave PV has S = 0.902064; half the waves at twice the length."""
    quarter = pupil(lambda x, y: 0.125 * 550 * (x**2 - y**2))
    assert starassay.draw_focused_image(quarter).center_ratio == pytest.approx(0.902064, abs=5e-4)
    doubled = starassay.draw_focused_image(quarter.at_wavelength(1100 * u.nm)).center_ratio
    eighth = pupil(lambda x, y: 0.0625 * 550 * (x**2 - y**2))
    assert doubled == pytest.approx(starassay.draw_focused_image(eighth).center_ratio, abs=1e-9)


def test_modulation_agrees_with_numpy_autocorrelation() -> None:
    """The annulus with coma against NumPy's own transform of the same pupil."""
    coma = pupil(lambda x, y: 60 * np.sqrt(8) * (3 * (x**2 + y**2) - 2) * x, 0.33)
    result = starassay.compute_modulation(coma)
    w = np.nan_to_num(coma.wavefront.to_value(u.nm))
    field = np.zeros((2 * N, 2 * N), complex)
    field[:N, :N] = coma.amplitude * np.exp(-2j * np.pi * w / 550)
    otf = np.fft.ifft2(np.abs(np.fft.fft2(field)) ** 2)
    expected = np.abs(otf[0, : N + 1]) / coma.amplitude.sum()
    expected[0], expected[N] = 1, 0
    np.testing.assert_allclose(result.table["horizontal"], expected, atol=1e-9)
    assert np.all(result.table["horizontal"][20:140] <= result.table["perfect"][20:140] + 0.01)


def test_energy_rises_to_nearly_one() -> None:
    energy = starassay.compute_modulation(pupil(), largest_radius=30, radii=61).energy
    assert np.all(np.diff(energy["encircled"]) > -1e-4)
    # 1 - 2/(pi^2 r), the far tail of the Airy pattern (Born & Wolf ch. 8)
    assert energy["encircled"][-1] == pytest.approx(1 - 2 / (np.pi**2 * 30), abs=0.002)


def test_every_view_draws(tmp_path) -> None:
    import matplotlib.pyplot as plt

    sphere = pupil(
        lambda x, y: 40 * np.sqrt(5) * (6 * (x**2 + y**2) ** 2 - 6 * (x**2 + y**2) + 1)
    )
    views = [
        starassay.draw_focused_image(sphere),
        starassay.compute_modulation(sphere),
        starassay.draw_ronchigram(sphere),
        starassay.draw_knife_edge(sphere),
        starassay.draw_interferogram(sphere),
    ]
    for view in views:
        ax = view.plot()
        assert ax.get_title()
        assert ax.get_xlabel()
        plt.close(ax.figure)


def test_a_ruling_must_have_lines() -> None:
    with pytest.raises(starassay.InputError, match="lines/mm"):
        starassay.draw_ronchigram(pupil(), lines_per_mm=0)


def test_zernike_maps_are_the_circle_polynomials() -> None:
    """Noll 1976, table I: Z8 = sqrt(8) (3 r^3 - 2 r) cos t, Z11 = sqrt(5) (6 r^4 - 6 r^2 + 1), RMS over the disc."""
    made = starassay.PupilMap.from_zernike(
        {11: "20 nm"}, coma="60 nm", wavelength="540 nm", samples=128
    )
    rho = (2 * np.arange(128) + 1 - 128) / 128
    x, y = np.meshgrid(rho, rho)
    r2 = x**2 + y**2
    expected = 60 * np.sqrt(8) * (3 * r2 - 2) * x + 20 * np.sqrt(5) * (6 * r2**2 - 6 * r2 + 1)
    inside = np.isfinite(made.wavefront.value)
    np.testing.assert_allclose(made.wavefront.value[inside], expected[inside], atol=1e-9)
    # The disc's area, as whole as its rim samples say; RMS 60 and 20 nm in quadrature.
    assert made.amplitude.sum() * (2 / 128) ** 2 == pytest.approx(np.pi, rel=1e-9)
    assert made.rms.value == pytest.approx(np.hypot(60, 20), rel=2e-3)
    assert made.wavelength == 540 * u.nm


def test_zernike_maps_by_name_and_number_are_the_same() -> None:
    for name, noll in (
        *(("coma", 8), ("coma_x", 8), ("coma_y", 7), ("astigmatism", 6), ("astigmatism_45", 5)),
        *(("spherical", 11), ("trefoil", 10), ("secondary_spherical", 22), ("defocus", 4)),
    ):
        named = starassay.PupilMap.from_zernike(**{name: "30 nm"}, obstruction=0.2)
        numbered = starassay.PupilMap.from_zernike({noll: 30 * u.nm}, obstruction=0.2)
        assert np.array_equal(named.wavefront.value, numbered.wavefront.value, equal_nan=True)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        ({"comma": "3 nm"}, "'comma'.*coma_y, coma_x.*spherical"),
        ({"noll": {0: "3 nm"}}, "noll is 0"),
        ({"coma": 3}, "coma = 3 cannot be read"),
        ({"noll": [3]}, "noll"),
        ({"coma": "3 nm", "obstruction": 1.5}, "obstruction"),
        ({"coma": "3 nm", "samples": 4}, "samples"),
    ],
)
def test_a_wrong_aberration_is_said(call: dict, text: str) -> None:
    with pytest.raises(starassay.InputError, match=text):
        starassay.PupilMap.from_zernike(**call)

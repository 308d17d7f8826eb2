"""The pair simulator against closed forms: before it judges the fit, it is judged itself.

Values: J. W. Goodman, Introduction to Fourier Optics (transfer functions); Born & Wolf, Principles
of Optics (Airy pattern, defocus); V. N. Mahajan 1982, J. Opt. Soc. Am. 72, 1258 (Strehl ratios);
R. J. Noll 1976, J. Opt. Soc. Am. 66, 207 (Zernike terms, turbulence); D. L. Fried 1966, J. Opt.
Soc. Am. 56, 1372 (long exposure); R. Racine 1996, PASP 108, 699 (its FWHM); A. Tokovinin 2002,
PASP 114, 1156 (outer scale). Numbers were recomputed from the closed forms.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import special
from scipy.integrate import quad
from scipy.optimize import brentq

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "accuracy"))

from pairs import (  # noqa: E402
    Camera,
    Companion,
    Edge,
    PairSetup,
    PupilShape,
    Turbulence,
    Vane,
    draw_pair,
    expose,
    true_wavefront,
)
from pairs import diffraction, seeing, turbulence, zernike  # noqa: E402
from pairs.populations import easy_case, hard_case  # noqa: E402
from pairs.pupil import grid, transmission  # noqa: E402

PERFECT = PairSetup(
    finite_distance=False,
    aperture_mm=100.0,
    focal_length_mm=1000.0,
    wavelengths_nm=(550.0,),
    pixel_um=0.55,
    size_px=129,
    inside_um=0.0,
    outside_um=0.0,
    seeing_arcsec=0.0,
    background_e=0.0,
    flux_e=1.0,
)
UNIT_UM = 5.5  # wavelength times N


def _unpixelled(setup: PairSetup, sensor_um: float, samples: int = 256) -> np.ndarray:
    """Share of light in each pixel as the central density times the pixel's area."""
    spectrum = diffraction.star_spectrum(setup, sensor_um, 550.0, samples)
    period_px = samples * UNIT_UM / setup.pixel_um
    return diffraction.sample_pixels(spectrum, period_px, setup.size_px, (0.0, 0.0))


# ---------------------------------------------------------------- Zernike terms


def test_noll_and_osa_indices_follow_the_published_sequences():
    wanted = {0: [1], 1: [3, 2], 2: [5, 4, 6], 3: [9, 7, 8, 10], 4: [15, 13, 11, 12, 14]}
    wanted[5] = [21, 19, 17, 16, 18, 20]
    for n, indices in wanted.items():
        for place, index in enumerate(indices):
            assert zernike.noll_to_nm(index) == (n, 2 * place - n)
    pairs = {2: 2, 3: 1, 4: 4, 5: 3, 6: 5, 7: 7, 8: 8, 9: 6, 10: 9, 11: 12, 12: 13, 13: 11}
    for noll, osa in pairs.items():
        assert zernike.nm_to_osa(*zernike.noll_to_nm(noll)) == osa


def test_terms_are_orthonormal_over_the_disc():
    # Gauss-Legendre in rho^2 and equal steps in angle integrate these polynomials exactly.
    node, weight = np.polynomial.legendre.leggauss(24)
    rho = np.sqrt((node + 1) / 2)[:, None]
    angle = (np.arange(64) + 0.5)[None, :] * 2 * np.pi / 64
    x, y = rho * np.cos(angle), rho * np.sin(angle)
    mean = np.broadcast_to(weight[:, None] / 2 / 64, x.shape)
    basis = np.stack([zernike.zernike(j, x, y).ravel() for j in range(1, 67)])
    gram = (basis * mean.ravel()) @ basis.T
    assert np.max(np.abs(gram - np.eye(66))) < 1e-12


def test_named_terms_are_what_the_table_says():
    x, y = np.array([0.3, -0.5]), np.array([0.4, 0.2])
    rho, t = np.hypot(x, y), np.arctan2(y, x)
    assert np.allclose(zernike.zernike(7, x, y), np.sqrt(8) * (3 * rho**3 - 2 * rho) * np.sin(t))
    assert np.allclose(zernike.zernike(6, x, y), np.sqrt(6) * rho**2 * np.cos(2 * t))
    assert np.allclose(zernike.zernike(11, x, y), np.sqrt(5) * (6 * rho**4 - 6 * rho**2 + 1))
    assert np.allclose(zernike.zernike(9, x, y), np.sqrt(8) * rho**3 * np.sin(3 * t))


# ---------------------------------------------------------------- pupil


def test_open_area_is_exact_to_the_curvature_of_the_edge():
    shape = PupilShape(obstruction=0.35)
    area = transmission(shape, 128).mean() * 4.0
    assert area == pytest.approx(np.pi * (1 - 0.35**2), rel=2e-5)
    vane = PupilShape(obstruction=0.35, vanes=(Vane(25.0, 0.013),))
    lost = area - transmission(vane, 128).mean() * 4.0
    assert lost == pytest.approx(0.65 * 0.013, rel=5e-3)


# ---------------------------------------------------------------- diffraction


def test_airy_pattern():
    image = _unpixelled(PERFECT, 0.0)
    line = image[64, 64:]
    peak = np.pi / 4 * (0.55 / UNIT_UM) ** 2
    assert line[0] == pytest.approx(peak, rel=1e-3)
    r = np.arange(1, 65) * 0.55 / UNIT_UM
    airy = (2 * special.j1(np.pi * r) / (np.pi * r)) ** 2
    assert np.max(np.abs(line[1:] / line[0] - airy)) < 3e-4


@pytest.mark.parametrize("obstruction, at_half", [(0.0, 0.391002), (0.33, 0.3252), (0.5, 0.2236)])
def test_transfer_function_of_clear_and_annular_pupils(obstruction, at_half):
    setup = replace(PERFECT, shape=PupilShape(obstruction=obstruction))
    samples = 256
    line = diffraction.star_spectrum(setup, 0.0, 550.0, samples)[0].real
    assert line[samples // 2] == pytest.approx(at_half, abs=3e-4)
    v = np.arange(1, samples) / samples
    beyond = v > (1 + obstruction) / 2
    clear = 2 / np.pi * (np.arccos(v) - v * np.sqrt(1 - v * v))
    assert np.allclose(line[1:samples][beyond], clear[beyond] / (1 - obstruction**2), atol=3e-4)


@pytest.mark.parametrize("waves, strehl", [(0.25, 0.810569), (0.5, 0.405285), (1.5, 0.045032)])
def test_peak_under_defocus(waves, strehl):
    sensor_um = waves * 0.55 * 8 * 100
    peak = _unpixelled(PERFECT, sensor_um)[64, 64]
    assert peak / _unpixelled(PERFECT, 0.0)[64, 64] == pytest.approx(strehl, abs=3e-4)


@pytest.mark.parametrize(
    "coefficients, strehl",
    [
        ({11: 550.0 / (6 * np.sqrt(5))}, 0.800305),
        ({8: 0.375 * 550 / (3 * np.sqrt(8))}, 0.925567),
        ({6: 0.25 * 550 / (2 * np.sqrt(6))}, 0.902064),
    ],
)
def test_exact_strehl_at_a_quarter_wave(coefficients, strehl):
    setup = replace(PERFECT, coefficients_nm=coefficients)
    truth = true_wavefront(setup)
    assert truth.strehl == pytest.approx(strehl, abs=1e-4)
    # ... and the image itself says the same (peak at the origin: no tilt in these terms).
    peak = _unpixelled(setup, 0.0)[64, 64] / _unpixelled(PERFECT, 0.0)[64, 64]
    assert peak == pytest.approx(strehl, abs=1e-3)


def test_truth_of_an_annular_pupil_agrees_with_mahajan():
    # Balanced spherical aberration on an annulus: (1 - e^2)^2 / (6 sqrt 5) per unit of rho^4
    # (Mahajan 1981, J. Opt. Soc. Am. 71, 75); 0.0591857 at e = 0.33.
    setup = replace(PERFECT, shape=PupilShape(0.33), coefficients_nm={11: 100 / (6 * np.sqrt(5))})
    truth = true_wavefront(setup)
    assert truth.rms_best_focus_nm == pytest.approx(5.91857, rel=1e-3)
    assert truth.rms_nm > truth.rms_best_focus_nm


def test_pixel_integration_equals_the_sum_of_finer_pixels():
    fine = replace(PERFECT, pixel_um=1.1, size_px=60, coefficients_nm={7: 40.0, 6: 20.0})
    coarse = replace(fine, pixel_um=3.3, size_px=20)
    a = diffraction.expected_image(fine, 700.0, (0.6, -0.9))
    b = diffraction.expected_image(coarse, 700.0, (0.2, -0.3))
    summed = a.reshape(20, 3, 20, 3).sum(axis=(1, 3))
    assert np.max(np.abs(summed - b)) < 1e-6 * b.max()


def test_grid_is_fine_enough():
    setup = replace(
        PERFECT,
        pixel_um=5.0,
        size_px=96,
        seeing_arcsec=2.0,
        shape=PupilShape(0.35, vanes=(Vane(30.0, 0.02),)),
        coefficients_nm={7: 30.0, 11: 40.0},
    )
    sensor = 15 * 0.55 * 800
    samples = diffraction.pupil_samples(setup, sensor, 550.0)
    images = []
    for n in (samples, 2 * samples):
        spectrum = diffraction.star_spectrum(setup, sensor, 550.0, n)
        spectrum = spectrum * diffraction.blur_spectrum(setup, sensor, 550.0, n, 2 * n)
        images.append(
            diffraction.sample_pixels(spectrum, n * UNIT_UM / 5.0, setup.size_px, (0.0, 0.0))
        )
    # The one pixel on the axis (the bright spot) is the slowest to settle.
    assert np.max(np.abs(images[0] - images[1])) < 3e-3 * images[1].max()
    assert np.sqrt(np.mean((images[0] - images[1]) ** 2)) < 2e-4 * images[1].max()


# ---------------------------------------------------------------- defocus, signs, orientation


def test_defocused_disc_has_the_geometric_size():
    # Half-flux radius 0.35355 dz / N of a uniform disc (geometry).
    sensor = 20 * 0.55 * 800
    setup = replace(PERFECT, pixel_um=11.0, size_px=161)
    image = diffraction.expected_image(setup, sensor, (0.0, 0.0))
    y, x = np.indices(image.shape) - 80.0
    radius = np.hypot(x, y).ravel()
    order = np.argsort(radius)
    flux = np.cumsum(image.ravel()[order])
    half = np.interp(0.5, flux, radius[order]) * 11.0
    assert half == pytest.approx(0.35355 * sensor / 10.0, rel=0.01)


def test_edge_of_the_disc_lies_at_a_quarter_of_its_level():
    # 0.22 at 5 waves, 0.25 in the straight-edge limit (Born & Wolf, straight edge).
    sensor = 5 * 0.55 * 800
    image = _unpixelled(replace(PERFECT, size_px=401), sensor, 512)
    radius = sensor / 20.0 / 0.55
    mean = 1.0 / (np.pi * radius**2)
    angle = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    from scipy.ndimage import map_coordinates

    ring = map_coordinates(
        image, [200 + radius * np.sin(angle), 200 + radius * np.cos(angle)], order=3
    )
    assert ring.mean() / mean == pytest.approx(0.22, abs=0.02)


def test_undercorrection_has_a_bright_rim_inside_focus():
    setup = replace(PERFECT, coefficients_nm={11: 20.0}, pixel_um=4.0, size_px=160)
    sensor = 12 * 0.55 * 800
    y, x = np.indices((160, 160)) - 79.5
    ring = (np.hypot(x, y) * 4.0 / 20.0).astype(int)  # rings of 20 um; the disc ends at 264 um
    rim = {}
    for name, place in (("inside", -sensor), ("outside", sensor)):
        image = diffraction.expected_image(setup, place, (0.0, 0.0))
        level = np.bincount(ring.ravel(), image.ravel()) / np.bincount(ring.ravel())
        rim[name] = level[8:14].max() / level[:7].mean()
    assert rim["inside"] > 1.4
    assert rim["outside"] < 1.15


@pytest.mark.parametrize("sensor_waves", [-15.0, 15.0])
def test_image_is_where_the_rays_land_and_not_mirrored_or_turned(sensor_waves):
    errors = {5: 60.0, 7: 80.0, 10: 60.0, 11: 40.0, 16: 30.0}
    shape = PupilShape(obstruction=0.3, obstruction_centre=(0.1, 0.05), vanes=(Vane(70.0, 0.1),))
    setup = replace(
        PERFECT, pixel_um=11.0, size_px=96, coefficients_nm=errors, shape=shape, seeing_arcsec=1.5
    )
    sensor = sensor_waves * 0.55 * 800
    image = diffraction.expected_image(setup, sensor, (0.0, 0.0))
    x, y = grid(1200)
    open_share = transmission(shape, 1200)
    path = zernike.wavefront(errors, x, y) * 1e-3 + sensor / 800.0 * (x * x + y * y)
    slope_y, slope_x = np.gradient(path, 2.0 / 1200)
    land_x, land_y = (-20.0 * slope_x / 11.0, -20.0 * slope_y / 11.0)
    edges = np.arange(97) - 48.0
    rays, _, _ = np.histogram2d(
        land_y.ravel(), land_x.ravel(), bins=(edges, edges), weights=open_share.ravel()
    )
    from scipy.ndimage import gaussian_filter

    # Blur both beyond the diffraction rings, which rays do not have.
    image, rays = gaussian_filter(image, 1.5), gaussian_filter(rays, 1.6)

    def likeness(other: np.ndarray) -> float:
        return float(np.corrcoef(image.ravel(), other.ravel())[0, 1])

    right = likeness(rays)
    assert right > 0.97
    for wrong in (rays[::-1], rays[:, ::-1], rays[::-1, ::-1], rays.T):
        assert likeness(wrong) < right - 0.03


def test_finite_distance_keeps_the_disc_and_changes_the_diffraction():
    sensor = 15 * 0.55 * 800
    plain = replace(PERFECT, pixel_um=11.0, size_px=96)
    exact = replace(plain, finite_distance=True)
    assert diffraction.image_focal_ratio(exact, sensor) == pytest.approx(10.066)
    # The geometric disc is 8 W N' with W = dz / (8 N N'): dz / N in both.
    for setup in (plain, exact):
        ratio = diffraction.image_focal_ratio(setup, sensor)
        assert 8 * diffraction.defocus_nm(setup, sensor) * 1e-3 * ratio == pytest.approx(
            sensor / 10.0
        )
    a, b = (diffraction.expected_image(s, sensor, (0.0, 0.0)) for s in (plain, exact))
    assert 0 < np.abs(a - b).max() < 0.2 * a.max()


# ---------------------------------------------------------------- seeing


def test_kolmogorov_fwhm_and_outer_scale():
    def half_width(outer: float | None, r0: float, wavelength: float = 5e-7) -> float:
        r = np.linspace(0.0, 6.0 * r0, 6001)
        mtf = seeing.transfer(r, r0, outer)

        def level(angle: float) -> float:
            return float(np.trapz(mtf * special.j0(2 * np.pi * angle * r / wavelength) * r, r))

        return brentq(lambda a: level(a) / level(0.0) - 0.5, 0.1 * 5e-7 / r0, 1.2 * 5e-7 / r0)

    assert 2 * half_width(None, 0.1) * 0.1 / 5e-7 == pytest.approx(0.975863, abs=2e-5)
    # Tokovinin's fit, good to about a percent, as he says for r0 / L0 in this range (from memory).
    ratio = half_width(22.0, 0.1) / half_width(None, 0.1)
    assert ratio == pytest.approx(0.8246, rel=0.01)
    assert seeing.fried_length_m(1.0, 500.0) == pytest.approx(0.10064, abs=1e-4)
    assert seeing.KOLMOGOROV_CONSTANT == pytest.approx(6.883877, abs=1e-6)


def test_structure_function_with_outer_scale_has_the_right_ends():
    near = seeing.structure_function(np.array([1e-3]), 0.1, 1e4)
    assert near[0] == pytest.approx(6.883877 * 0.01 ** (5 / 3), rel=0.01)

    # Far away it is twice the variance of the von Karman spectrum.
    def ring(k: float) -> float:
        return 2 * np.pi * k * turbulence.SPECTRUM_CONSTANT * (k * k + 1 / 400.0) ** (-11 / 6)

    variance = quad(ring, 0, np.inf, limit=400)[0] * 0.1 ** (-5 / 3)
    far = seeing.structure_function(np.array([400.0]), 0.1, 20.0)
    assert far[0] == pytest.approx(2 * variance, rel=1e-3)
    assert turbulence.SPECTRUM_CONSTANT == pytest.approx(0.0228956, abs=1e-6)


def test_screens_hold_nolls_variance_in_every_order():
    # Variance of each mode by radial order n, (D / r0)^(5/3): Noll 1976, exact values.
    wanted = {2: 0.0232179, 3: 0.00619143, 4: 0.00245392}
    rng = np.random.default_rng(5)
    points = 32
    x, y = grid(points)
    disc = np.hypot(x, y) <= 1.0
    modes = {j: zernike.noll_to_nm(j)[0] for j in range(2, 16)}
    basis = np.stack([zernike.zernike(j, x, y)[disc] for j in range(1, 56)], axis=1)
    solve = np.linalg.pinv(basis)
    found: dict[int, list[float]] = {n: [] for n in wanted}
    for _ in range(12):
        for screen in turbulence.phase_screens(2, 1024, 1.0 / points, 1.0, None, rng):
            blocks = (
                screen.reshape(32, points, 32, points).swapaxes(1, 2).reshape(-1, points, points)
            )
            share = blocks[:, disc] @ solve.T
            for j, n in modes.items():
                if n in found:
                    found[n].append(float(np.mean(share[:, j - 1] ** 2)))
    for n, value in wanted.items():
        # 24 screens hold 24,000 apertures; those of one screen are not independent.
        assert np.mean(found[n]) == pytest.approx(value, rel=0.05), n


def test_summed_short_exposures_agree_with_the_long_exposure_transfer_function():
    setup = PairSetup(
        aperture_mm=100.0,
        focal_length_mm=1000.0,
        wavelengths_nm=(550.0,),
        pixel_um=11.0,
        size_px=72,
        inside_um=-6 * 440.0,
        outside_um=6 * 440.0,
        flux_e=1.0,
        background_e=0.0,
        seeing_arcsec=2.0,
        turbulence=Turbulence(
            exposure_s=12.0, outer_scale_m=2.0, winds_m_s=(10.0, 18.0, 25.0), step_s=0.02
        ),
    )
    moving = turbulence.exposed_image(setup, 2640.0, (0.0, 0.0), np.random.default_rng(3))
    mean = diffraction.expected_image(
        replace(setup, turbulence=None, outer_scale_m=2.0), 2640.0, (0.0, 0.0)
    )
    # A finite exposure leaves speckle, 0.3 % of the peak after 12 s, falling as its square root.
    speckle = np.sqrt(np.mean((moving - mean) ** 2))
    assert 0.0005 * mean.max() < speckle < 0.006 * mean.max()
    for arcsec in (1.3, 2.8):
        other = diffraction.expected_image(
            replace(setup, turbulence=None, seeing_arcsec=arcsec, outer_scale_m=2.0),
            2640.0,
            (0.0, 0.0),
        )
        assert np.mean((moving - mean) ** 2) < 0.6 * np.mean((moving - other) ** 2)
    # Light is neither lost nor made.
    assert moving.sum() == pytest.approx(mean.sum(), rel=0.003)


# ---------------------------------------------------------------- camera and the whole


def test_noise_has_the_mean_and_the_variance_it_should():
    camera = Camera(gain_e_per_adu=1.6, bias_adu=300.0, read_noise_e=4.0)
    adu = expose(np.full((400, 400), 900.0), camera, np.random.default_rng(8))
    assert adu.mean() == pytest.approx(300 + 900 / 1.6, abs=0.25)
    wanted = (900 + 16.0) / 1.6**2 + 1 / 12
    assert adu.var() == pytest.approx(wanted, rel=0.015)


def test_a_pair_repeats_and_carries_its_truth():
    setup = PairSetup(
        coefficients_nm={11: 20.0, 8: -15.0},
        companion=Companion(0.05, 20.0, -10.0),
        camera=Camera(clip_brightest=25, hot_pixels=3),
        declared_changes={"focal_length_mm": 850.0},
    )
    one, two = (draw_pair(setup, np.random.default_rng(4)) for _ in range(2))
    assert np.array_equal(one.inside, two.inside) and np.array_equal(one.outside, two.outside)
    assert one.declared.focal_length_mm == 850.0 and one.setup.focal_length_mm == 840.0
    clipped = sum(
        int((im >= one.declared.saturation_adu).sum()) for im in (one.inside, one.outside)
    )
    assert 10 <= clipped <= 60
    assert one.truth.rms_nm == pytest.approx(25.0, rel=1e-3)
    light = (one.inside - 500.0).sum() - 20.0 * 128**2
    assert light == pytest.approx(1.05e7, rel=0.03)


def test_a_turned_edge_is_in_the_map_and_in_the_coefficients():
    truth = true_wavefront(PairSetup(edge=Edge(100.0, 0.9)))
    assert np.nanmax(truth.map_nm) > 80.0
    assert truth.coefficients_nm[22] > 1.0 and 0.0 < truth.strehl < 1.0


def test_populations_stay_inside_the_stated_ranges():
    for number in range(60):
        case = easy_case(number)
        setup = case.setup
        assert 3e5 <= setup.flux_e <= 1e8 and 1.5 <= setup.seeing_arcsec <= 3.0
        assert 6.0 <= abs(setup.defocus_waves(setup.inside_um)) <= 20.0
        rms = np.sqrt(sum(v * v for v in setup.coefficients_nm.values()))
        assert 0.02 <= rms / setup.wavelength_nm <= 0.15
        assert setup.size_px <= 420
    kinds = {"edge", "zone", "modes", "focal", "obstruction", "vanes", "turbulence alone"}
    assert kinds <= set().union(*(hard_case(k).tags for k in range(7)))

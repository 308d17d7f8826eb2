"""Star test patterns against the closed form on the axis, SciPy's diffraction integral, and symmetries."""

from __future__ import annotations

from typing import Any

import matplotlib.pyplot as plt
import numpy as np
import pytest
from astropy import units as u
from scipy.special import j0

import starassay
from starassay import InputError, PupilMap

NM = 550.0


def pattern(waves: float, obstruction: float = 0.0, seeing: float = 0.0, **modes: Any) -> Any:
    pupil = PupilMap.from_zernike(
        wavelength=NM * u.nm, obstruction=obstruction, samples=256, **modes
    )
    return starassay.draw_star_test(pupil, "100 mm", waves, seeing=seeing * u.arcsec)


def integral(radius: np.ndarray, waves: float, e: float, spherical: float = 0.0) -> np.ndarray:
    """The image of a defocused pupil with so many waves of rho^4 - rho^2 (Born and Wolf, 8.8), by Gauss and Legendre; even disc = 1."""
    node, weight = np.polynomial.legendre.leggauss(400)
    rho = 0.5 * (1 - e) * node + 0.5 * (1 + e)
    phase = np.exp(-2j * np.pi * (waves * rho**2 + spherical * (rho**4 - rho**2)))
    # Radius in wavelength / D: the disc ends at 4 W.
    kernel = j0(np.pi * np.outer(4 * abs(waves) * radius, rho))
    amplitude = 2 * (kernel * (rho * phase)) @ (0.5 * (1 - e) * weight)
    return np.asarray(np.abs(amplitude) ** 2 * np.pi**2 / 4 * 16 * waves**2)


@pytest.mark.parametrize(("waves", "e"), [(2.5, 0), (3, 0), (4.5, 0), (2.5, 0.3), (3, 0.35)])
def test_middle_of_the_disc(waves: float, e: float) -> None:
    """On the axis the light goes with sin^2 (Born and Wolf, 8.8; annulus with W (1 - e^2)): 4 sin^2(pi W (1 - e^2)) of the even disc's."""
    test = pattern(waves, e)
    expected = 4 * np.sin(np.pi * waves * (1 - e**2)) ** 2
    assert integral(np.zeros(1), waves, e)[0] == pytest.approx(expected, abs=1e-9)
    # Of at most 4: the rim is drawn with 64 samples for each wave, the obstruction's edge with the pupil's own 256 in all.
    for side in ("inside", "outside", "perfect"):
        assert test.profiles[side][0] == pytest.approx(expected, abs=0.03 if e == 0 else 0.05), side


@pytest.mark.parametrize(("waves", "e"), [(3.0, 0.0), (4.0, 0.3)])
def test_rings_against_the_diffraction_integral(waves: float, e: float) -> None:
    """With spherical aberration: W = 6 sqrt(5) a (rho^4 - rho^2), of other sign against the defocus on the other side."""
    size = 25.0
    test = pattern(waves, e, spherical=size * u.nm)
    radius = np.asarray(test.profiles["radius"])
    for side, defocus in (("inside", -waves), ("outside", waves)):
        expected = integral(radius, defocus, e, 6 * np.sqrt(5) * size / NM)
        np.testing.assert_allclose(test.profiles[side], expected, atol=0.02 * expected.max())
        # Light and contrast of the rings between the same dark rings, of the closed form.
        for row in test.rings[1:-1]:
            near = (radius >= row["inner"]) & (radius <= row["outer"])
            mean = np.average(expected[near], weights=radius[near])
            assert row[side] == pytest.approx(mean, abs=0.02)
            reach = 0.25 * (row["outer"] - row["inner"])
            floor = np.mean(
                [expected[np.abs(radius - row[k]) <= reach].min() for k in ("inner", "outer")]
            )
            contrast = (expected[near].max() - floor) / (expected[near].max() + floor)
            assert row[f"{side}_contrast"] == pytest.approx(contrast, abs=0.02)
    # Undercorrected: the rim is bright inside of focus, the middle outside.
    assert test.rings[-1]["inside"] > test.rings[-1]["perfect"] > test.rings[-1]["outside"]
    assert test.rings[0]["inside"] < test.rings[0]["outside"]


def test_rings_lie_between_the_dark_rings_of_the_perfect_pattern() -> None:
    perfect = pattern(3)
    closed = integral(np.asarray(perfect.profiles["radius"]), 3, 0)
    for row in perfect.rings[:-1]:
        k = int(np.argmin(np.abs(perfect.profiles["radius"] - row["outer"])))
        assert closed[k] <= min(closed[k - 4], closed[k + 4])
    for name in ("inside", "outside"):
        np.testing.assert_allclose(perfect.rings[name], perfect.rings["perfect"], rtol=1e-9)
    assert "alike on both sides" in perfect.sentences()[-1]


def test_sides_change_places_with_the_sign() -> None:
    """W and -W exchange the sides; the pattern outside is turned by 180 degrees."""
    plus, minus = pattern(3, astigmatism="20 nm", coma_y="15 nm"), pattern(
        3, astigmatism="-20 nm", coma_y="-15 nm"
    )
    np.testing.assert_allclose(plus.inside, minus.outside[::-1, ::-1], atol=1e-9)
    # Astigmatism: long one way inside, the other way outside.
    grid = plus.position[None, :] ** 2 - plus.position[:, None] ** 2
    assert np.sign((plus.inside * grid).sum()) == -np.sign((plus.outside * grid).sum()) != 0


def test_seeing_fills_the_rings() -> None:
    """All light stays, contrast goes; the middle by the product with Kolmogorov's transfer in NumPy."""
    still, blurred = pattern(3), pattern(3, seeing=0.9)
    assert np.all(
        np.asarray(blurred.rings["inside_contrast"])[:-1]
        < np.asarray(still.rings["inside_contrast"])[: len(blurred.rings) - 1].max()
    )
    step = (still.position[1] - still.position[0]) * still.disc.value
    n = 1024
    x = (np.arange(n) - n // 2) * step
    r = np.hypot(*np.meshgrid(x, x)) / still.disc.value
    image = np.interp(
        r, np.linspace(0, 1.9, 1500), integral(np.linspace(0, 1.9, 1500), 3, 0), right=0
    )
    f = np.fft.fftfreq(n, step) * 180 * 3600 / np.pi
    r0 = 0.975863 * NM * 1e-9 / (0.9 / (180 * 3600 / np.pi))
    air = np.exp(-3.44 * (NM * 1e-9 * np.hypot(*np.meshgrid(f, f)) / r0) ** (5 / 3))
    seen = np.fft.ifft2(np.fft.fft2(np.fft.ifftshift(image)) * air).real
    assert blurred.profiles["inside"][0] == pytest.approx(seen[0, 0], abs=0.02)


def test_beside_the_cameras_own_images() -> None:
    scope = starassay.juniper_115()
    inside, outside, _ = starassay.draw_defocused_pair(scope, size=96, electrons=1e6, defocus=6.0)
    telescope = starassay.Telescope("115 mm", "760 mm")
    fit = starassay.fit_wavefront(inside, outside, telescope, wavelength="540 nm")
    test = fit.star_test(seeing=fit.seeing[0].value)
    assert test.defocus == pytest.approx(6.0, abs=0.1)
    assert test.camera is not None
    for (seen, half), name in zip(test.camera, ("inside", "outside")):
        # The camera's mean light over the disc is the drawn pattern's.
        x = (np.arange(len(seen)) - (len(seen) - 1) / 2) / (len(seen) / 2) * half
        over = np.hypot(*np.meshgrid(x, x)) < 0.7
        drawn = np.hypot(*np.meshgrid(test.position, test.position)) < 0.7
        assert seen[over].mean() == pytest.approx(getattr(test, name)[drawn].mean(), rel=0.03)
    figure = test.plot()
    assert len(figure.axes) == 6  # two rows of pictures, and the profile
    plt.close(figure)


@pytest.mark.parametrize(
    ("how", "text"), [({"defocus": 0.2}, "defocus"), ({"seeing": "19 arcsec"}, "seeing")]
)
def test_what_cannot_be_drawn_is_said(how: dict[str, Any], text: str) -> None:
    pupil = PupilMap.from_zernike(wavelength=NM * u.nm, samples=64)
    with pytest.raises(InputError, match=text):
        starassay.draw_star_test(pupil, "100 mm", **how)

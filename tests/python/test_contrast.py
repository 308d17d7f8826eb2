"""Contrast against perfect apertures: closed forms of clear, annular and defocused pupils, SciPy's integrals and Bessel functions."""

from __future__ import annotations

import numpy as np
import pytest
from astropy import units as u
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import j1

import starassay
from starassay import InputError, PupilMap, compute_contrast

ARCSEC = 180 * 3600 / np.pi
D, NM = 100.0, 550.0


def clear(v: float) -> float:
    """Goodman, Introduction to Fourier Optics: (2/pi)[arccos v - v sqrt(1 - v^2)]."""
    return float(2 / np.pi * (np.arccos(v) - v * np.sqrt(1 - v * v))) if v < 1 else 0.0


def details(*fractions: float) -> u.Quantity:
    """Sizes of detail at fractions of the cutoff."""
    return NM * 1e-6 / D * ARCSEC / np.array(fractions) * u.arcsec


def same_contrast(contrast: float, v: float) -> float:
    """Diameter of the perfect clear aperture with that contrast, in diameters of the telescope."""
    return float(brentq(lambda x: clear(v / x) - contrast, 1.0001 * v, 4))


def test_a_perfect_aperture_is_like_itself() -> None:
    v = (0.1, 0.3, 0.5, 0.7, 0.9)
    shown = compute_contrast(
        PupilMap.from_zernike(wavelength=NM * u.nm), D * u.mm, details=details(*v)
    )
    np.testing.assert_allclose(shown.table["perfect"], [clear(x) for x in v], atol=1e-9)
    np.testing.assert_allclose(
        shown.table["contrast"], [clear(x) for x in v], atol=2e-3
    )  # 256 samples across
    np.testing.assert_allclose(shown.table["equivalent"].value, D, rtol=4e-3)
    assert shown.center_ratio == pytest.approx(1, abs=1e-6)
    # Rayleigh 1879: 1.21967 wavelength / D; Sparrow by SciPy: where the image's second derivative vanishes, twice that radius; Dawes 116 / D.
    unit = NM * 1e-6 / D * ARCSEC

    def image(r: float) -> float:
        return float((2 * j1(np.pi * r) / (np.pi * r)) ** 2)

    bend = brentq(lambda r: image(r + 1e-4) - 2 * image(r) + image(r - 1e-4), 0.2, 0.8)
    assert shown.rayleigh.value == pytest.approx(1.219670 * unit, rel=1e-6)
    assert shown.sparrow.value == pytest.approx(2 * bend * unit, rel=1e-3)
    assert shown.own_sparrow.value == pytest.approx(shown.sparrow.value, rel=2e-3)
    assert shown.own_rayleigh.value == pytest.approx(shown.rayleigh.value, rel=2e-3)
    assert shown.dawes.value == pytest.approx(1.16)


def test_an_obstruction_takes_from_the_middle_and_gives_to_the_end() -> None:
    """O'Neill 1956 by the overlap of two annuli: 0.8109 ... at e = 0.33; beyond (1 + e)/2 that of the clear circle over 1 - e^2."""
    v, annular = (0.1, 0.2, 0.3, 0.5, 0.7, 0.8), (0.8109, 0.6280, 0.4596, 0.3252, 0.2111, 0.1168)
    pupil = PupilMap.from_zernike(wavelength=NM * u.nm, obstruction=0.33)
    shown = compute_contrast(pupil, D * u.mm, details=details(*v))
    np.testing.assert_allclose(shown.table["contrast"], annular, atol=2e-3)
    np.testing.assert_allclose(
        shown.table["perfect_obstructed"], shown.table["contrast"], atol=1e-9
    )
    expected = [D * same_contrast(c, x) for c, x in zip(annular, v)]
    # A change of the contrast by 0.002 moves the equivalent aperture by up to 1 %.
    np.testing.assert_allclose(shown.table["equivalent"].value, expected, rtol=0.01)
    assert shown.table["contrast"][-2] == pytest.approx(clear(0.7) / (1 - 0.33**2), abs=1e-3)
    assert expected[0] < 0.7 * D and expected[-1] > D
    # The core is slimmer: both separations are smaller than those of a clear aperture.
    assert shown.own_rayleigh < shown.rayleigh and shown.own_sparrow < shown.sparrow


def defocused(v: float, waves: float) -> float:
    """Hopkins 1955: the overlap of two displaced circles, weighted with the cosine of their difference."""
    return (
        4
        / np.pi
        * quad(lambda x: np.sqrt(1 - (x + v) ** 2) * np.cos(8 * np.pi * waves * v * x), 0, 1 - v)[0]
    )


def test_a_quarter_wave_of_defocus() -> None:
    """0.8389, 0.6586, ... of the table of checks, and the integral itself."""
    v, table = (0.1, 0.2, 0.5, 0.8), (0.8389, 0.6586, 0.2875, 0.0924)
    np.testing.assert_allclose([defocused(x, 0.25) for x in v], table, atol=1e-4)
    # W020 rho^2 has the RMS W020 / (2 sqrt 3).
    pupil = PupilMap.from_zernike({4: 0.25 * NM / (2 * np.sqrt(3)) * u.nm}, wavelength=NM * u.nm)
    shown = compute_contrast(pupil, D * u.mm, details=details(*v))
    np.testing.assert_allclose(shown.table["contrast"], table, atol=2e-3)
    expected = [D * same_contrast(c, x) for c, x in zip(table, v)]
    np.testing.assert_allclose(shown.table["equivalent"].value, expected, rtol=0.01)
    assert shown.center_ratio == pytest.approx(
        np.sinc(0.25) ** 2, abs=2e-3
    )  # Born and Wolf: 0.8106


def test_colors_each_at_its_defocus() -> None:
    """Two ends of the V band with a straight line of focus: SciPy's integral for every color, Bessell's shares, summed at one frequency."""
    pupil = PupilMap.from_zernike(wavelength=NM * u.nm, focal_ratio=8)
    slope = {500.0: -60 * u.um, 600.0: 60 * u.um}
    shown = compute_contrast(pupil, D * u.mm, details="2.5 arcsec", colors=slope, passband="V")
    waves = np.linspace(500, 600, 17)
    # Bessell 1990, PASP 102, 1181, table 2, as in the engine.
    engine = dict(
        zip(
            range(470, 710, 10),
            (
                0,
                0.030,
                0.163,
                0.458,
                0.780,
                0.967,
                1.0,
                0.973,
                0.898,
                0.792,
                0.684,
                0.574,
                0.461,
                0.359,
            ),
        )
    )
    share = np.interp(waves, list(engine), list(engine.values()))
    share /= share.sum()
    focus = np.interp(waves, [500, 600], [-60, 60])
    sensor = shown.sensor.to_value(u.um)
    assert shown.wavelength.value == pytest.approx(share @ waves)
    f = 1 / 2.5 * ARCSEC * 1e-6 / D  # over nm: fraction of the cutoff
    sums = [
        s * defocused(f * w, (sensor - z) * 1000 / (8 * 64) / w)
        for s, w, z in zip(share, waves, focus)
    ]
    assert shown.table["contrast"][0] == pytest.approx(sum(sums), abs=2e-3)
    assert shown.table["perfect"][0] == pytest.approx(
        sum(s * clear(f * w) for s, w in zip(share, waves)), abs=1e-6
    )
    # The brightest middle: no place a depth of focus to either side is brighter.

    def middle(at: float) -> float:
        return float(
            sum(
                s / w**2 * np.sinc((at - z) * 1000 / 512 / w) ** 2
                for s, w, z in zip(share, waves, focus)
            )
        )

    assert middle(sensor) >= max(middle(sensor + d) for d in (-10, -3, 3, 10)) - 1e-12


def test_it_tells_itself_and_refuses_in_clear_words() -> None:
    pupil = PupilMap.from_zernike(coma="60 nm", wavelength=NM * u.nm)
    shown = compute_contrast(pupil, "100 mm")
    assert len(shown.table) == 6 and "images like a perfect aperture of" in shown.sentences()[2]
    assert np.all(shown.table["worst"] <= shown.table["contrast"])
    figure = shown.plot()
    assert [ax.get_xlabel() for ax in figure.axes] == ["detail (arcsec from line to line)"] * 2
    for wrong in ({}, {500: "3 um"}, 7):
        with pytest.raises(InputError, match="two or more wavelengths"):
            compute_contrast(pupil, "100 mm", colors=wrong)
    with pytest.raises(InputError, match="aperture"):
        compute_contrast(pupil, "-1 mm")
    with pytest.raises(InputError):
        compute_contrast(pupil, "100 mm", details="0 arcsec")
    assert starassay.Contrast is type(shown)

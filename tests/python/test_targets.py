"""Drawn targets against NumPy's transform of the pupil, SciPy's convolution, Bessel functions and integrals."""

from __future__ import annotations

import functools
from functools import lru_cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import matplotlib.pyplot as plt
import numpy as np
import pytest
from astropy import units as u
from scipy.integrate import quad
from scipy.interpolate import RegularGridInterpolator
from scipy.optimize import brentq, minimize_scalar
from scipy.signal import fftconvolve
from scipy.special import j1

import starassay
from starassay import InputError, PupilMap, cli
from starassay.campaign.showing import shown, told

ARCSEC = 180 * 3600 / np.pi
D, NM = 100.0, 550.0
UNIT = NM * 1e-6 / D * ARCSEC


def airy(r: Any, e: float = 0.0) -> Any:
    """Born and Wolf, ch. 8: the annular image, r in wavelength / D."""
    x = np.pi * np.abs(np.asarray(r, dtype=float)) + 1e-9
    return ((2 * j1(x) / x - e * e * 2 * j1(e * x + 1e-12) / (e * x + 1e-12)) / (1 - e * e)) ** 2


def expected_dip(apart: float, fainter: float, e: float = 0.0) -> float:
    """Saddle between two images of the closed form, below the fainter one's top; separation in wavelength / D."""

    def light(x: float) -> float:
        return float(airy(x, e) + fainter * airy(x - apart, e))

    top = minimize_scalar(
        lambda x: -light(x), bounds=(0.75 * apart, 1.25 * apart), method="bounded"
    )
    low = minimize_scalar(light, bounds=(0.25 * apart, top.x), method="bounded")
    return 1 - low.fun / -top.fun


def perfect(obstruction: float = 0.0, **more: Any) -> PupilMap:
    return PupilMap.from_zernike(wavelength=NM * u.nm, obstruction=obstruction, samples=256, **more)


def test_rayleighs_dip() -> None:
    """Born and Wolf, 8.6.2: at Rayleigh's separation the saddle is 0.735 of the tops, a dip of 26.5 %; annuli by SciPy's Bessel functions."""
    view = starassay.draw_double_star(perfect(), D * u.mm, 1.219670 * UNIT * u.arcsec)
    own, _, clear = view.number("dip")
    assert clear == pytest.approx(0.265, abs=5e-4)
    assert clear == pytest.approx(expected_dip(1.219670, 1), abs=1e-4)
    assert own == pytest.approx(clear, abs=1e-3)  # 256 samples across
    assert view.number("star_top")[0] == pytest.approx(1, abs=1e-4) and view.center_ratio == 1
    # Dark ring of one star at the middle of the other.
    assert view.number("brighter_at_fainter")[2] == pytest.approx(0, abs=1e-4)
    for e, apart, magnitude in ((0.33, 1.1, 0.0), (0.33, 1.6, 2.0), (0.2, 2.0, 3.0)):
        view = starassay.draw_double_star(
            perfect(e), D * u.mm, apart * UNIT * u.arcsec, magnitudes=(5, 5 + magnitude)
        )
        fainter = 10 ** (-0.4 * magnitude)
        assert view.number("dip")[0] == pytest.approx(expected_dip(apart, fainter, e), abs=4e-3)
        assert view.number("dip")[0] == view.number("dip")[1]
        at = airy(apart, e) / fainter
        assert view.number("brighter_at_fainter")[0] == pytest.approx(at, abs=4e-3 / fainter)


def test_sparrows_separation_has_no_dip() -> None:
    """Sparrow 1916: 0.947 wavelength / D for a clear aperture; a tenth wider has a small dip, a tenth narrower none."""
    narrow, wide = (
        starassay.draw_double_star(perfect(), D * u.mm, s * 0.947 * UNIT * u.arcsec)
        for s in (0.9, 1.1)
    )
    assert narrow.number("dip") == (0, 0, 0) and np.isnan(narrow.number("tops_apart")[0])
    assert 0 < wide.number("dip")[0] < 0.1
    assert "one star is seen" in narrow.sentences()[0]


def annular_mtf(v: float, e: float) -> float:
    """Overlap of two annuli (O'Neill 1956)."""

    def lens(a: float, b: float, d: float) -> float:
        if d >= a + b:
            return 0.0
        if d <= abs(a - b):
            return np.pi * min(a, b) ** 2
        one = a * a * np.arccos((d * d + a * a - b * b) / (2 * d * a))
        two = b * b * np.arccos((d * d + b * b - a * a) / (2 * d * b))
        rest = (-d + a + b) * (d + a - b) * (d - a + b) * (d + a + b)
        return float(one + two - 0.5 * np.sqrt(max(rest, 0)))

    d = 2 * v
    whole = lens(1, 1, d) - (2 * lens(1, e, d) - lens(e, e, d) if e else 0)
    return whole / (np.pi * (1 - e * e))


def edge_light(x: float, e: float) -> float:
    """Light outside a straight edge, x in wavelength / D, by SciPy's integral over the closed transfer function."""
    return (
        0.5
        - quad(
            lambda v: annular_mtf(v, e) * np.sin(2 * np.pi * v * x) / (np.pi * v), 0, 1, limit=300
        )[0]
    )


def test_edge_of_perfect_apertures() -> None:
    """10 to 90 % within 1.33287, 5 to 95 % within 2.70704 wavelength / D (table of checks, from the MTF); annulus by SciPy."""
    view = starassay.draw_lunar_edge(perfect(0.33), D * u.mm, angle="30 deg")
    assert view.number("width_10_90")[2] == pytest.approx(1.33287 * UNIT, rel=1e-4)
    assert view.number("width_5_95")[2] == pytest.approx(2.70704 * UNIT, rel=1e-4)
    half = [brentq(lambda x, s=s: edge_light(x, 0.33) - s, -4, 4) for s in (0.9, 0.1)]
    assert view.number("width_10_90")[0] == pytest.approx((half[1] - half[0]) * UNIT, rel=3e-3)
    for k in (2, 5, 10):
        own, _, clear = view.number(f"light_{k}_arcsec_outside")
        assert clear == pytest.approx(edge_light(k / UNIT, 0), rel=5e-3)
        # The rim's samples are open by shares: at 256 across that lifts the far light by 2e-4 of all.
        assert own == pytest.approx(edge_light(k / UNIT, 0.33), abs=3e-4)
    # Bright where the direction comes from: the lower left.
    assert view.own[0, 0] > 0.9 and view.own[-1, -1] < 0.1


STEP = 0.1 * UNIT


@lru_cache(maxsize=8)
def point_image(e: float, coma: float, spherical: float, seeing: float) -> np.ndarray:
    """NumPy's own transform of the pupil, blurred by Kolmogorov's long exposure (Fried 1966, 3.44); steps of 0.1 wavelength / D, sum 1."""
    n = 128
    rho = (2 * np.arange(n) + 1 - n) / n
    fine = (2 * np.arange(8 * n) + 1 - 8 * n) / (8 * n)
    r = np.hypot(*np.meshgrid(fine, fine))
    share = ((r < 1) & (r >= e)).reshape(n, 8, n, 8).mean(axis=(1, 3))
    x, y = np.meshgrid(rho, rho)
    r2 = x * x + y * y
    w = coma * np.sqrt(8) * (3 * r2 - 2) * x + spherical * np.sqrt(5) * (6 * r2 * r2 - 6 * r2 + 1)
    field = np.zeros((10 * n, 10 * n), complex)
    field[:n, :n] = share * np.exp(-2j * np.pi * w / NM)
    # exp(-i pi x rho): the forward transform; a pixel is 1 / 10 wavelength / D.
    image = np.abs(np.fft.fft2(field)) ** 2
    if seeing > 0:
        f = np.fft.fftfreq(10 * n, STEP)
        r0 = 0.975863 * NM * 1e-9 / (seeing / ARCSEC)
        separation = NM * 1e-9 * np.hypot(*np.meshgrid(f, f)) * ARCSEC
        image = np.fft.ifft2(np.fft.fft2(image) * np.exp(-3.44 * (separation / r0) ** (5 / 3))).real
    image = np.fft.fftshift(image)
    middle, half = 5 * n, 400
    cut = image[middle - half : middle + half + 1, middle - half : middle + half + 1]
    return cut / image.sum()


BELTS = ((0.4, 0.2, 0.6), (-0.1, 0.06, 0.5), (-0.5, 0.1, 0.8))


@pytest.mark.parametrize("seeing", [0.0, 1.2])
def test_planet_against_scipys_convolution(seeing: float) -> None:
    """The same disc drawn in NumPy on a fine grid, convolved by SciPy with NumPy's image of a point."""
    size, flat, k = 18.0, 0.1, 0.8
    pupil = perfect(0.25, coma="45 nm", spherical="30 nm")
    how = {"flattening": flat, "limb_darkening": k, "belts": BELTS, "spot": "2 arcsec"}
    view = starassay.draw_planet(
        pupil, D * u.mm, size * u.arcsec, angle="25 deg", seeing=seeing * u.arcsec, **how
    )
    half = 12.0
    m = int(half / STEP)
    place = np.arange(-m, m + 1) * STEP
    sub = (np.arange(8) - 3.5) / 8 * STEP
    drawn = np.zeros((2 * m + 1, 2 * m + 1))
    turn = np.deg2rad(25)

    def disc(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        pole = 0.5 * size * (1 - flat)
        r2 = (x / (0.5 * size)) ** 2 + (y / pole) ** 2
        light = np.where(r2 < 1, np.maximum(1 - r2, 0) ** (k - 0.5), 0)
        for middle, width, bright in BELTS:
            light = np.where(np.abs(y / pole - middle) < width / 2, light * bright, light)
        return np.where(np.hypot(x, y) < 1, 0, light)

    for dx in sub:
        for dy in sub:
            x, y = np.meshgrid(place + dx, place + dy)
            drawn += (
                disc(x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn))
                / len(sub) ** 2
            )
    seen = fftconvolve(drawn, point_image(0.25, 45, 30, seeing), mode="same")
    at = RegularGridInterpolator((place, place), seen, method="cubic")
    where = view.position.to_value(u.arcsec)
    inner = np.abs(where) < 10
    x, y = np.meshgrid(where[inner], where[inner])
    expected = at((y, x))
    # The grid of the check ends 51 wavelength / D from a point, ours comes round beyond 24: 0.4 % of the light; the pupil has 256 samples.
    np.testing.assert_allclose(view.own[np.ix_(inner, inner)], expected, atol=6e-3)

    def contrast(light: Any, middle: float, width: float) -> float:
        pole = 0.5 * size * (1 - flat)

        def mean(m: float) -> float:
            x, y = np.meshgrid(
                0.5 * size * np.linspace(0.2, 0.4, 11),
                pole * (m + 0.1 * width * np.arange(-2, 3)),
            )
            return float(np.mean(light(x, y)))

        inside, beside = mean(middle), 0.5 * (mean(middle - width) + mean(middle + width))
        return (beside - inside) / (beside + inside)

    def image(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return at((x * np.sin(turn) + y * np.cos(turn), x * np.cos(turn) - y * np.sin(turn)))

    for b, (middle, width, _) in enumerate(BELTS):
        kept = contrast(image, middle, width) / contrast(disc, middle, width)
        assert view.number(f"belt_{b + 1}")[0] == pytest.approx(kept, abs=0.01), b
        assert view.number(f"belt_{b + 1}")[2] > view.number(f"belt_{b + 1}")[0]


def test_double_star_against_numpys_image_of_a_point() -> None:
    """Two of NumPy's images, with coma and seeing, added 1.8 arcsec apart; coma points where the focused image says."""
    pupil = perfect(0.25, coma="45 nm", spherical="30 nm")
    view = starassay.draw_double_star(
        pupil, D * u.mm, "1.8 arcsec", magnitudes=(5, 6), angle="40 deg", seeing="0.6 arcsec"
    )
    one = point_image(0.25, 45, 30, 0.6)
    place = (np.arange(len(one)) - len(one) // 2) * STEP
    at = RegularGridInterpolator((place, place), one, method="cubic")
    clear = RegularGridInterpolator((place, place), point_image(0, 0, 0, 0.6), method="cubic")
    where = view.position.to_value(u.arcsec)
    x, y = np.meshgrid(where, where)
    dx, dy = 0.9 * np.cos(np.deg2rad(40)), 0.9 * np.sin(np.deg2rad(40))
    expected = (at((y + dy, x + dx)) + 10**-0.4 * at((y - dy, x - dx))) / clear((0.0, 0.0))
    np.testing.assert_allclose(view.own, expected, atol=4e-3)
    still = starassay.draw_double_star(pupil, D * u.mm, "0.1 arcsec", magnitudes=(0, 12))
    focused = starassay.draw_focused_image(pupil, half_width=3, samples=61)
    column = still.own[:, np.argmax(still.own.max(axis=0))]
    assert np.argmax(column) == pytest.approx(len(column) // 2, abs=1)
    # Both have their light on the same side of the middle.
    sides = [
        np.sign(p[:, : len(p) // 2].sum() - p[:, len(p) // 2 + 1 :].sum())
        for p in (still.own, focused.intensity)
    ]
    assert sides[0] == sides[1] != 0


def test_colors_at_their_own_defocus() -> None:
    """Top of a star: [sin(pi W) / (pi W)]^2 of every color (Born and Wolf, 8.8), over the square of its wavelength; as `compute_contrast` has it."""
    pupil = PupilMap.from_zernike(wavelength=NM * u.nm, focal_ratio=8, samples=128)
    slope = {500.0: -60 * u.um, 600.0: 60 * u.um}
    view = starassay.draw_double_star(pupil, D * u.mm, "2 arcsec", colors=slope, passband="V")
    shown = starassay.compute_contrast(pupil, D * u.mm, colors=slope, passband="V")
    assert view.wavelength.value == pytest.approx(shown.wavelength.value)
    assert view.center_ratio == pytest.approx(shown.center_ratio, abs=2e-3)
    assert view.number("star_top")[0] == pytest.approx(shown.center_ratio, abs=2e-3)


def test_a_sheet_of_all_three_tells_itself() -> None:
    pupil = PupilMap.from_zernike(coma="60 nm", wavelength=NM * u.nm, samples=96)
    sheet = starassay.draw_targets(pupil, "100 mm", seeing="1 arcsec")
    assert len(sheet.sentences()) == 3 and len(sheet.table) == 4 + 6 + 5
    assert "through 1 arcsec of seeing" in sheet.sentences()[1]
    alone = starassay.draw_lunar_edge(pupil, "100 mm", seeing="1 arcsec")
    assert alone.number("width_10_90") == sheet.edge.number("width_10_90")
    for figure in (sheet.plot("All"), alone.plot()):
        assert all(ax.get_xlabel() for ax in figure.axes if ax.axison)
        plt.close(figure)
    # No obstruction: two pictures and the profile.
    assert len(alone.plot().axes) == 3
    plt.close("all")


def test_the_command_draws_from_a_record(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What it prints and writes is what the notebook's function gives for the same fit."""
    scope = starassay.juniper_115()
    inside, outside, _ = starassay.draw_defocused_pair(scope, size=64, electrons=1e6, defocus=4.0)
    telescope = starassay.Telescope("115 mm", "760 mm")
    fit = starassay.fit_wavefront(inside, outside, telescope, wavelength="540 nm")
    record, picture = tmp_path / "fit.json", tmp_path / "shown.png"
    fit.write_json(record)
    asked = ["show", str(record), "--double-star", "1.6arcsec", "5", "6", "--planet", "20arcsec"]
    assert cli.main([*asked, "--seeing", "0.5arcsec", "--plot", str(picture)]) == 0
    how = {"separation": "1.6 arcsec", "magnitudes": (5, 6), "diameter": "20 arcsec"}
    sheet = fit.targets(seeing="0.5 arcsec", **how)
    assert capsys.readouterr().out.splitlines() == sheet.sentences()
    assert picture.read_bytes().startswith(b"\x89PNG")
    asked = ["show", str(record), "--star-test", "2"]
    assert cli.main([*asked, "--plot", str(picture)]) == 0
    drawn = fit.star_test(2)
    said = drawn.words()
    assert capsys.readouterr().out.splitlines() == drawn.sentences() + said
    # The telescope has 18 nm of coma: seen and named, with its uncertainty from the record.
    assert any(line.startswith("Cause: coma") for line in said)
    assert cli.main([*asked, "--planet", "20arcsec"]) == 2
    assert "does not go with --star-test" in capsys.readouterr().err
    assert cli.main(["show", str(picture)]) == 2
    assert "is not the record of a measurement" in capsys.readouterr().err
    assert cli.main(["show", str(record), "--colors", str(record)]) == 2
    assert "is not the record of a color focus" in capsys.readouterr().err


def test_a_report_goes_on_where_nothing_can_be_drawn() -> None:
    """An aperture of 4 m holds more detail of a planet than a picture can: a sentence, no error."""
    pupil = PupilMap.from_zernike(wavelength=NM * u.nm, samples=64)
    optics = {"pupil": pupil, "aperture": 4000 * u.mm, "seeing": None}
    result = SimpleNamespace(optics=lambda: optics)
    piece = SimpleNamespace(result=result, aside=False, label="a pair")
    site = SimpleNamespace(site=SimpleNamespace(seeing=None))
    test = SimpleNamespace(own=True, pieces=[piece])
    part = told(shown(SimpleNamespace(tests=[test], campaign=site)))  # type: ignore[arg-type]
    assert part is not None and part["figures"] == []
    assert part["lines"][0].startswith("Not drawn: A disc of 44 arcsec")
    assert told(shown(SimpleNamespace(tests=[], campaign=site))) is None  # type: ignore[arg-type]


def test_a_report_shows_the_star_test_of_each_wavefront_that_is_not_in_doubt() -> None:
    """The one nearest to what the eye sees best comes first; one in doubt has none; one that cannot be drawn says so."""
    pieces = []
    for nm, label, test in ((656.0, "red", True), (NM, "green", True), (480.0, "in doubt", False)):
        pupil = PupilMap.from_zernike(spherical="40 nm", wavelength=nm * u.nm, samples=64)
        draw = functools.partial(starassay.draw_star_test, pupil, "100 mm", 2)
        optics = {"pupil": pupil, "aperture": 100 * u.mm, "star_test": draw if test else None}
        optics["seeing"] = 99 * u.arcsec if label == "red" else None
        result = SimpleNamespace(optics=lambda optics=optics: optics)
        pieces.append(SimpleNamespace(result=result, aside=False, label=label))
    site = SimpleNamespace(site=SimpleNamespace(seeing=0 * u.arcsec))
    outcome = SimpleNamespace(tests=[SimpleNamespace(own=True, pieces=pieces)], campaign=site)
    part = told(shown(outcome))  # type: ignore[arg-type]
    assert part is not None
    green, red = part["star_tests"]
    assert green["label"] == "green" and red["label"] == "red"
    # 40 nm undercorrected: bright rim inside of focus.
    assert green["lines"][0].startswith("The rim is brighter inside of focus than outside")
    assert "undercorrection" in green["figure"]["alt"]
    assert "2 waves of 550 nm" in green["figure"]["caption"]
    assert red["figure"] is None and red["lines"][0].startswith("Not drawn: ")


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda p: starassay.draw_double_star(p, "100 mm", "0 arcsec"), "separation"),
        (
            lambda p: starassay.draw_double_star(p, "100 mm", "1 arcsec", magnitudes=(1, 2, 3)),
            "two",
        ),
        (
            lambda p: starassay.draw_planet(p, "100 mm", belts=[(1, 2)]),
            "height, width and brightness",
        ),
        (lambda p: starassay.draw_planet(p, "2000 mm", "300 arcsec"), "Choose one below"),
        (lambda p: starassay.draw_planet(p, "100 mm", flattening=0.9), "flattening"),
        (lambda p: starassay.draw_lunar_edge(p, "100 mm", seeing="99 arcsec"), "seeing"),
    ],
)
def test_what_cannot_be_drawn_is_said(call: Any, text: str) -> None:
    with pytest.raises(InputError, match=text):
        call(PupilMap.from_zernike(wavelength=NM * u.nm, samples=64))

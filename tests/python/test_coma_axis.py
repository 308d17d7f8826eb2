"""Coma-free axis: rays off a paraboloid, least squares by SciPy, bounds by their definition, drawn frames, and what must be refused."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy import units as u
from astropy.io import fits
from scipy import stats
from scipy.integrate import trapezoid
from scipy.linalg import null_space
from scipy.optimize import brentq, least_squares

import starassay
from starassay import CannotMeasureError, InputError, Telescope, measure_coma_axis
from starassay import _records
from starassay._measure import measure
from starassay.cli import main
from starassay.measurements.coma_axis import places
from starassay.measurements.coma_axis.result import ComaAxis

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "accuracy"))

import _field_pairs  # noqa: E402

RATIO, FOCAL, PITCH, WAVE = 5.0, 750.0, 6.0, 540.0
SHAPE = (1460, 2200)
SCOPE = Telescope("150 mm", "750 mm", obstruction=0.3)
#: nm of Noll 8 for each mm from the axis of a paraboloid: W131 = d / (32 N^3), tangential coma 3 theta / (16 N^2) (handbook formula).
THEORY = -1e6 / (32 * RATIO**3 * 3 * np.sqrt(8))


def by_stars(places_mm: Any, coma: Any, sigma: float = 1.0, **more: Any) -> ComaAxis:
    """The engine's answer for stars whose coma (complex, nm) is given, all bars alike."""
    at, own = np.asarray(places_mm, complex), np.asarray(coma, complex)
    n = len(at)
    given: dict[str, Any] = {
        "x": (at.real * 1000 / PITCH + (SHAPE[1] - 1) / 2) * u.pix,
        "y": (at.imag * 1000 / PITCH + (SHAPE[0] - 1) / 2) * u.pix,
        "coma_x": own.real * u.nm,
        "coma_y": own.imag * u.nm,
        "variance_x": np.full(n, sigma**2) * u.nm**2,
        "variance_y": np.full(n, sigma**2) * u.nm**2,
        "covariance": np.zeros(n) * u.nm**2,
        "air": np.zeros(n) * u.nm,
        "together": True,
        "width": SHAPE[1],
        "height": SHAPE[0],
        "pitch": PITCH * u.um,
        "aperture": SCOPE.aperture,
        "focal_length": SCOPE.focal_length,
        "wavelength": WAVE * u.nm,
    }
    return measure("coma_axis", _records.COMA_AXIS_REQUEST, ComaAxis, [], given={**given, **more})


def averaged_law(at: Any, coma: Any, bars: Any) -> tuple[np.ndarray, np.ndarray]:
    """The law with a part of each star's own, by SciPy: combinations of stars that hold none of the law tell its size, which is integrated over."""
    one, zero, both = np.ones(len(at)), np.zeros(len(at)), np.r_[bars, bars]
    rows = np.r_[np.c_[one, zero, at.real], np.c_[zero, one, at.imag]]
    seen = np.r_[coma.real, coma.imag]
    free = null_space(rows.T)
    size = np.geomspace(1e-3, 300, 3000)
    log, values, covariances = [], [], []
    for t in size:
        variance = both**2 + t**2
        log.append(
            stats.multivariate_normal.logpdf(free.T @ seen, cov=(free.T * variance) @ free)
            + stats.halfcauchy.logpdf(t, scale=0.5)
        )
        covariances.append(np.linalg.inv((rows.T / variance) @ rows))
        values.append(covariances[-1] @ (rows.T / variance) @ seen)
    share = np.exp(np.array(log) - max(log))
    share /= trapezoid(share, size)
    mean = trapezoid(share[:, None] * np.array(values), size, axis=0)
    away = np.array(values) - mean
    every = np.array(covariances) + away[:, :, None] * away[:, None, :]
    return mean, trapezoid(share[:, None, None] * every, size, axis=0)


SPREAD = np.array([-5 - 3j, 5 - 3.5j, 4.5 + 3j, -4 + 3.6j, 0.3 - 0.2j, 2 + 1j])


def traced_coma(star_mm: complex, axis_mm: complex) -> complex:
    """Noll 8 + i Noll 7 in nm of a star beside the axis of a paraboloid, from rays: the mean ray of the zone rho lands 4 N W131 rho^2 away."""
    away = star_mm - axis_mm
    theta, along = abs(away) / FOCAL, away / abs(away)
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)

    def mean(rho: float) -> float:
        x, y = rho * 75 * np.cos(turn), rho * 75 * np.sin(turn)
        z = (x**2 + y**2) / (4 * FOCAL)
        into = np.array([np.sin(theta), 0.0, -np.cos(theta)])[:, None] + 0 * x
        normal = np.array([-x / (2 * FOCAL), -y / (2 * FOCAL), np.ones_like(x)])
        normal /= np.linalg.norm(normal, axis=0)
        out = into - 2 * np.sum(into * normal, axis=0) * normal
        return float(np.mean(x + out[0] * (FOCAL - z) / out[2]))

    # A ray lands at -2 N dW/du, so that the flare lies opposite to the coefficient.
    w131 = (mean(1.0) - mean(1e-6)) / (4 * RATIO)
    return complex(-w131 * 1e6 / (3 * np.sqrt(8)) * along)


@pytest.mark.parametrize("axis", [1.4 + 0.9j, -0.2 + 0.1j])
def test_rays_off_a_paraboloid_give_back_its_axis(axis: complex) -> None:
    coma = [traced_coma(p, axis) for p in SPREAD]
    found = by_stars(SPREAD, coma, sigma=0.5, paraboloid=True)
    for point in (found.coma_free, found.coma_free_by_theory):
        assert point.verdict == "told"
        at = complex(point.x.value.to_value(u.mm), point.y.value.to_value(u.mm))
        # Fifth order of an f/5 paraboloid: below 1 % of the distances traced here.
        assert abs(at - axis) < 0.02
    assert found.coma_free.slope.value.value == pytest.approx(THEORY, rel=0.01)
    assert found.theory_used
    # By how much to turn: distance over focal length.
    turn = abs(axis) / FOCAL * 180 * 60 / np.pi
    assert found.mirror_turn.value.to_value(u.arcmin) == pytest.approx(turn, rel=0.1)
    column = axis.real * 1000 / PITCH + (SHAPE[1] - 1) / 2
    assert found.coma_free.column.value.value == pytest.approx(column, abs=4)


def test_the_law_and_its_bars_are_scipys() -> None:
    """SciPy's least squares on the same stars, and a change of variables to the place itself."""
    rng = np.random.default_rng(13)
    bars = rng.uniform(0.5, 3, len(SPREAD))
    coma = (
        THEORY * (SPREAD - 1 - 0.5j)
        + bars * rng.normal(0, 1, len(SPREAD))
        + 1j * bars * rng.normal(0, 1, len(SPREAD))
    )
    found = by_stars(
        SPREAD, coma, variance_x=bars**2 * u.nm**2, variance_y=bars**2 * u.nm**2
    )

    def rest(p: np.ndarray) -> np.ndarray:
        # The place x, y and the growth.
        off = (coma - p[2] * (SPREAD - p[0] - 1j * p[1])) / bars
        return np.r_[off.real, off.imag]

    fit = least_squares(rest, [0, 0, -20], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert found.chi_squared == pytest.approx(2 * fit.cost, rel=1e-6)
    assert found.probability == pytest.approx(stats.chi2.sf(2 * fit.cost, 9), abs=1e-6)
    law, covariance = averaged_law(SPREAD, coma, bars)
    assert found.law == pytest.approx(law, abs=2e-3)
    # From the law to the place: a change of variables to first order.
    there = -law[:2] / law[2]
    slope = np.c_[-np.eye(2), -there] / law[2]
    place = slope @ covariance @ slope.T
    point = found.coma_free
    x, y = point.x, point.y
    assert [x.value.to_value(u.mm), y.value.to_value(u.mm)] == pytest.approx(there, abs=2e-4)
    bar = [x.uncertainty.to_value(u.mm), y.uncertainty.to_value(u.mm)]
    # 48 sizes there, 3000 here.
    assert bar == pytest.approx(np.sqrt(np.diag(place)), rel=3e-3)
    own = np.sqrt(np.linalg.eigvalsh(place))
    ellipse = [v.to_value(u.mm) for v in (point.ellipse_short, point.ellipse_long)]
    assert ellipse == pytest.approx(own, rel=3e-3)
    assert own[0] > np.sqrt(np.linalg.eigvalsh(np.linalg.inv(fit.jac.T @ fit.jac)[:2, :2]))[0]


def test_how_far_at_least_is_where_the_stars_still_allow_it() -> None:
    """A growth that is hardly told: the bound by its definition, chi squared along the direction of the coma in the middle."""
    rng = np.random.default_rng(8)
    at = np.array([-5 - 3j, 5 + 3j, -4 + 3j, 4 - 3j])
    coma = 40 + 25j - 2.0 * at + rng.normal(0, 4, 4) + 1j * rng.normal(0, 4, 4)
    found = by_stars(at, coma, sigma=4.0)
    point = found.coma_free
    assert point.verdict == "outside" and np.isnan(point.x.value) and not found.doubts
    c = found.law
    size, slope = np.hypot(c[0], c[1]), c[2]
    covariance = averaged_law(at, coma, np.full(4, 4.0))[1]
    k = stats.norm.ppf(0.95 if abs(slope) > 2 * np.sqrt(covariance[2, 2]) else 0.975)

    def off(r: float) -> float:
        # Coma along its direction in the middle, r mm that way.
        way = np.array([c[0] / size, c[1] / size, r])
        return float((size + r * slope) ** 2 - k**2 * (way @ covariance @ way))

    bound = brentq(off, 1e-6, 25 * np.sign(-slope) * 1.0) if slope < 0 else None
    assert bound is not None
    assert point.at_least.to_value(u.mm) == pytest.approx(bound, rel=5e-3)
    toward = np.degrees(np.arctan2(c[1], c[0]))
    assert point.direction.value.value == pytest.approx(toward, abs=1e-3)
    said = " ".join(found.sentences())
    assert "passes beside the sensor: at least" in said and "Which way to turn" in said


def test_what_is_said_of_a_corrected_field() -> None:
    rng = np.random.default_rng(2)
    noise = rng.normal(0, 2, 6) + 1j * rng.normal(0, 2, 6)
    found = by_stars(SPREAD, noise, sigma=2.0)
    assert found.coma_free.verdict == "not-told" and not found.decided
    assert "corrected field" in found.coma_free.reason
    said = " ".join(found.sentences())
    assert "is not decided" in said and "turn until" not in said
    # With a paraboloid's growth it is no paraboloid's.
    other = by_stars(SPREAD, noise, sigma=2.0, paraboloid=True)
    assert other.coma_free_by_theory.verdict == "not-told" and not other.theory_used
    assert "corrector" in other.coma_free_by_theory.reason
    assert any(n.code == "coma-axis.not-paraboloid" for n in other.notes)


def test_claims_about_the_distance() -> None:
    def verdict(found: ComaAxis) -> str:
        claim = starassay.Claim("axis in the middle", at_most=2 * u.mm)
        return starassay.judge(claim, "coma_free_distance", found.quantities).verdict

    rng = np.random.default_rng(4)

    def noise() -> Any:
        return rng.normal(0, 1, 6) + 1j * rng.normal(0, 1, 6)

    assert verdict(by_stars(SPREAD, THEORY * (SPREAD - 0.5) + noise())) == "met"
    assert verdict(by_stars(SPREAD, THEORY * (SPREAD - 4.0) + noise())) == "not met"
    # Only how far at least is told, and that is enough.
    assert verdict(by_stars(SPREAD, 60 + 0.0 * SPREAD + noise())) == "not met"
    assert verdict(by_stars(SPREAD, noise())) == "not decided"


def test_stars_off_the_law_are_a_doubt() -> None:
    # Coma that grows by a law of its own, as beside a corrector.
    found = by_stars(SPREAD, THEORY * (SPREAD - 1) + 6 * SPREAD.conj())
    assert [n.code for n in found.notes if n.level == "doubt"] == ["coma-axis.not-linear"]
    assert not found.decided and found.quantities[0].doubts


def test_one_star_far_off_is_left_out_and_named() -> None:
    rng = np.random.default_rng(7)
    coma = THEORY * (SPREAD - 1) + rng.normal(0, 1, 6) + 1j * rng.normal(0, 1, 6)
    coma[2] += 60
    found = by_stars(SPREAD, coma)
    said = [n for n in found.notes if n.code == "coma-axis.far-off"]
    assert found.decided and len(found.star_x) == 5 and len(said) == 1
    assert f"({found.width / 2 + 749.5:.0f}," in said[0].text and "60 nm" in said[0].text
    x = found.coma_free.x
    assert abs(x.value.to_value(u.mm) - 1) < 4 * x.uncertainty.to_value(u.mm)
    # Of four stars three tell the law hardly better than itself: none is left out.
    four = by_stars(SPREAD[:4], coma[:4])
    assert len(four.star_x) == 4 and not four.decided


def test_scatter_that_hurts_nobody_is_in_the_bars() -> None:
    rng = np.random.default_rng(5)
    few = THEORY * (SPREAD - 1) + rng.normal(0, 4, 6) + 1j * rng.normal(0, 4, 6)
    wide = by_stars(SPREAD, few, sigma=0.2)
    assert wide.decided and any(n.code == "coma-axis.scatter" for n in wide.notes)
    assert wide.quantities[0].degrees_of_freedom == 9


def test_which_stars_cannot_serve() -> None:
    with pytest.raises(CannotMeasureError, match="3 at different places"):
        by_stars(SPREAD[:2], SPREAD[:2])
    with pytest.raises(CannotMeasureError, match="one place"):
        by_stars(np.full(4, 1 + 1j), np.full(4, 10.0))
    image = np.zeros((200, 300))
    how: dict[str, Any] = {"wavelength": "540 nm", "pitch": 6 * u.um}
    for frames, more, text in (
        ([], {}, "give an image"),
        ([image] * 3, {"stars": [[1, 1]]}, "Leave stars out"),
        ([image] * 3, {"paired": True}, "are no pairs"),
        (image, {"stars": "here"}, "columns and rows"),
    ):
        with pytest.raises((InputError, CannotMeasureError), match=text):
            measure_coma_axis(frames, SCOPE, **how, **more)


def test_the_shift_between_frames_is_found() -> None:
    rng = np.random.default_rng(6)
    first = rng.uniform(0, 2000, (12, 2))
    second = np.r_[rng.uniform(0, 2000, (3, 2)), first[rng.permutation(12)] + [31.0, -18.5]]

    def discs(at: np.ndarray) -> places.Discs:
        return places.Discs(at, np.ones(len(at)), 40.0, np.zeros(len(at), bool))

    assert places.shift(discs(first), discs(second)) == pytest.approx([31.0, -18.5], abs=0.1)
    with pytest.raises(CannotMeasureError, match="same stars"):
        places.shift(discs(first), discs(rng.uniform(5000, 9000, (12, 2))))


AXIS = 1.4 + 0.9j
DRAWN = _field_pairs.Telescope(
    aperture_mm=150,
    focal_ratio=RATIO,
    obstruction=0.3,
    pitch_um=PITCH,
    shape=SHAPE,
    axis_mm=0j,
    tilt_um_per_mm=0j,
    bend_um_per_mm2=-0.5,
    astigmatism=(0.3, 0j, 3 + 0j),
    coma=(THEORY, -THEORY * AXIS),
    constant_nm={9: 2.0, 10: -3.0, 11: 5.0, **{k: 1.0 for k in range(12, 23)}},
)


@pytest.fixture(scope="module")
def image() -> np.ndarray:
    return _field_pairs.draw(5, "few stars", DRAWN, stars=14).inside


def test_a_drawn_frame_by_the_command(image: np.ndarray, tmp_path: Path, capsys: Any) -> None:
    """The whole way: stars found, one alignment each, the place within four of its bars; the picture drawn."""
    cards = fits.Header({"XPIXSZ": PITCH, "GAIN": 1.0, "EXPTIME": 30.0})
    fits.PrimaryHDU(image, cards).writeto(tmp_path / "inside.fits")
    frame = starassay.read_frame(tmp_path / "inside.fits", gain=1 * u.electron / u.adu)
    found = measure_coma_axis(
        frame, SCOPE, wavelength="540 nm", most_stars=4, paraboloid=True, read_noise=3 * u.electron
    )
    assert len(found.star_x) == 4 and found.theory_used and found.decided
    for value, truth in ((found.point.x, AXIS.real), (found.point.y, AXIS.imag)):
        error = value.value.to_value(u.mm) - truth
        assert abs(error) < 4 * value.uncertainty.to_value(u.mm) and abs(error) < 0.1
    assert len(found.table) == 4 and found.plot().get_title("left").startswith("No coma 1.6")
    # Named places, and the same by the command.
    where = [
        f"{v:.0f}" for star in found.table for v in (star["star_x"].value, star["star_y"].value)
    ]
    command = ["measure", "coma-axis", str(tmp_path / "inside.fits"), "--aperture", "150mm"]
    command += ["--focal-length", "750mm", "--obstruction", "0.3", "--wavelength", "540nm"]
    assert main([*command, "--stars", *where[:6]]) == 0
    assert "The coma-free axis meets the sensor" in capsys.readouterr().out

"""Wavefront over the field: a drawn pair with known truth, and general libraries beside it.

The pair is drawn by `tests/accuracy/_field_pairs.py`, which shares no code with the engine. Field dependence: nodal
aberration theory (Thompson 2005, J. Opt. Soc. Am. A 22, 1389, from memory).
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import SkyCoord
from scipy.optimize import least_squares

import starassay
from starassay import CannotMeasureError, InputError

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "accuracy"))

import _field_pairs  # noqa: E402
import coma_axis  # noqa: E402
from pairs.pupil import PupilShape  # noqa: E402
from pairs.setup import PairSetup  # noqa: E402

SCOPE = starassay.Telescope("100 mm", "600 mm")

#: Everything at once: a tilted camera, a decentered group, a squeezed lens, an axis beside the middle.
TRUE = _field_pairs.Telescope(
    aperture_mm=100,
    focal_ratio=6.0,
    obstruction=0.0,
    pitch_um=9.0,
    shape=(760, 1100),
    axis_mm=0.6 - 0.4j,
    tilt_um_per_mm=-9 + 5j,
    bend_um_per_mm2=-1.2,
    astigmatism=(1.5, 4 - 3j, 20 + 10j),
    coma=(9.0, 30 - 15j),
    constant_nm={9: 12.0, 10: -15.0, 11: 25.0, 12: 3.0, 22: -4.0},
)


def measure(first: np.ndarray, second: np.ndarray, **how: object) -> starassay.WavefrontField:
    given: dict = {"pitch": 9 * u.um, "gain": 1 * u.electron / u.adu, "read_noise": 3 * u.electron}
    return starassay.measure_wavefront_field(
        first, second, SCOPE, wavelength=540 * u.nm, **{**given, **how}
    )


@pytest.fixture(scope="module")
def pair() -> _field_pairs.FieldPair:
    return _field_pairs.draw(11, "tilted camera", TRUE, stars=22)


@pytest.fixture(scope="module")
def found(pair: _field_pairs.FieldPair) -> starassay.WavefrontField:
    return measure(pair.inside, pair.outside)


def test_every_term_is_the_drawn_one(found: starassay.WavefrontField) -> None:
    # 5 um of tilt and 5 % of coma and astigmatism are asked; of 22 stars four standard uncertainties hold the rest.
    for name, truth in TRUE.truth().items():
        value = getattr(found, name)
        error = abs(value.value.value - truth)
        assert error < 4 * value.uncertainty.value + 1e-9, name
        assert error < (5.0 if value.value.unit == u.um else max(2.0, 0.05 * abs(truth))), name
    assert found.decided and not found.doubts


def test_laws_at_places_are_the_drawn_wavefronts(found: starassay.WavefrontField) -> None:
    ny, nx = TRUE.shape
    for x, y in ((30.0, 700.0), (900.0, 100.0)):
        h = complex(x - (nx - 1) / 2, y - (ny - 1) / 2) * 0.009
        wave = TRUE.coefficients_nm(h)
        assert abs(found.coma_at(x, y).value - complex(wave[8], wave[7])) < 2
        assert abs(found.astigmatism_at(x, y).value - complex(wave[6], wave[5])) < 3
        away = TRUE.focus_um(h) - TRUE.focus_um(0)
        assert found.focus_at(x, y).value == pytest.approx(away, abs=3)
        focus = (
            away
            - np.mean(
                [
                    TRUE.focus_um(complex(a, b))
                    for a in np.linspace(-4.95, 4.95, 41)
                    for b in np.linspace(-3.42, 3.42, 41)
                ]
            )
            + TRUE.focus_um(0)
        )
        # Noll 4 of a defocus: W020 / (2 sqrt 3), W020 = dz / (8 N^2) (Welford).
        rho = focus * 1000 / (8 * 36) / (2 * np.sqrt(3))
        low = sum(wave[k] ** 2 for k in range(5, 12))
        assert found.rms_at(x, y).value == pytest.approx(np.sqrt(low + rho**2), abs=3)


def test_astigmatism_vanishes_at_its_nodes(found: starassay.WavefrontField) -> None:
    # Roots of the drawn polynomial by numpy.
    b2, b1, b0 = TRUE.astigmatism
    roots = np.roots([b2, b1, b0]) + TRUE.axis_mm
    nodes = found.node_x.value + 1j * found.node_y.value
    assert len(nodes) == 2
    for root in roots:
        k = int(np.argmin(abs(nodes - root)))
        assert abs(nodes[k] - root) < 6 * found.node_uncertainty.value[k]


def test_the_coma_free_axis_meets_the_sensor_where_it_was_drawn(
    found: starassay.WavefrontField,
) -> None:
    """c1 (h - axis) + c0 vanishes at axis - c0 / c1; the ellipse against a bootstrap over the stars by NumPy."""
    c1, c0 = TRUE.coma
    true = TRUE.axis_mm - c0 / c1
    point = found.coma_free
    assert point.verdict == "told" and found.point is point and not point.reason
    at = complex(point.x.value.to_value(u.mm), point.y.value.to_value(u.mm))
    bars = complex(point.x.uncertainty.to_value(u.mm), point.y.uncertainty.to_value(u.mm))
    assert abs((at - true).real) < 4 * bars.real and abs((at - true).imag) < 4 * bars.imag
    assert found.coma_node_x.value.value == pytest.approx(at.real)
    assert point.column.value.value == pytest.approx(at.real / 0.009 + (TRUE.shape[1] - 1) / 2)
    across, up = found.field(found.x.value, found.y.value)
    h = (across + 1j * up) * TRUE.half_mm
    own = found.coefficient.value[:, 3] + 1j * found.coefficient.value[:, 2]
    rng, nodes = np.random.default_rng(1), []
    for _ in range(400):
        k = rng.integers(0, len(h), len(h))
        one, zero = np.ones(len(k)), np.zeros(len(k))
        rows = np.r_[np.c_[one, zero, h[k].real], np.c_[zero, one, h[k].imag]]
        a, b, s = np.linalg.lstsq(rows, np.r_[own[k].real, own[k].imag], rcond=None)[0]
        nodes.append(-(a + 1j * b) / s)
    spread = np.cov(np.real(nodes), np.imag(nodes))
    # 400 draws of some twenty stars, and the air of 1 s that the bars hold beside the stars' scatter.
    for bar, scatter in zip((bars.real, bars.imag), np.sqrt(np.diag(spread))):
        assert 0.5 * scatter < bar < 5 * scatter
    claimed = {q.name: q for q in found.quantities}["field_coma_free_distance"]
    assert claimed.value.value.to_value(u.mm) == pytest.approx(abs(at), rel=0.01)
    # This lens is no paraboloid of f/6, whose coma would grow by -17 nm/mm.
    assert found.coma_free_by_theory is None
    assert "The coma-free axis meets the sensor" in " ".join(found.sentences())


def test_the_stars_are_those_drawn_by_astropys_matching(
    pair: _field_pairs.FieldPair, found: starassay.WavefrontField
) -> None:
    # Pixels as arcseconds near the equator, where the sphere is flat.
    def sky(x: np.ndarray, y: np.ndarray) -> SkyCoord:
        return SkyCoord(x * u.arcsec, y * u.arcsec)

    drawn = sky(pair.places[:, 0], pair.places[:, 1])
    number, away, _ = sky(found.x.value, found.y.value).match_to_catalog_sky(drawn)
    # Frames are shifted by up to 6 pixels each way, half of it in the mean; coma moves centers by a little.
    assert len(set(number)) == len(found.x) >= 15
    assert away.max() < 8 * u.arcsec


def test_the_laws_are_scipys_on_the_same_stars(found: starassay.WavefrontField) -> None:
    across, up = found.field(found.x.value, found.y.value)
    h = across + 1j * up
    own = found.coefficient.value[:, 3] + 1j * found.coefficient.value[:, 2]

    def rest(p: np.ndarray) -> np.ndarray:
        off = own - (p[0] + 1j * p[1] + p[2] * h)
        return np.r_[off.real, off.imag]

    spread = 1.4826 * np.median(np.abs(rest(found.coma_terms.value)))
    law = least_squares(rest, [0, 0, 0], loss="cauchy", f_scale=2.385 * spread)
    bars = [found.coma_constant_x, found.coma_constant_y, found.coma_linear]
    for value, bar in zip(law.x, bars):
        # Weights by photons and by two components at once differ from scipy's: within a bar.
        assert abs(value - bar.value.value) < bar.uncertainty.value + 0.05


def test_one_star_by_scipy_with_the_other_diffraction_code(
    pair: _field_pairs.FieldPair, found: starassay.WavefrontField
) -> None:
    # The brightest star is the first. Unknowns: Noll 5 to 8 and 11, both distances; places, light and the rest as drawn.
    k = int(np.argmin(np.hypot(*(pair.places - [found.x[0].value, found.y[0].value]).T)))
    ny, nx = TRUE.shape
    where = pair.places[k]
    h = complex(where[0] - (nx - 1) / 2, where[1] - (ny - 1) / 2) * 0.009
    size, drawn, data = 44, [], []
    at = found.x[0].value, found.y[0].value
    for frame, distance, seeing in zip(
        (pair.inside, pair.outside), pair.distances_um, pair.seeing_arcsec
    ):
        setup = PairSetup(
            aperture_mm=100,
            focal_length_mm=600,
            shape=PupilShape(),
            pixel_um=9.0,
            size_px=size,
            wavelengths_nm=(540.0,),
            seeing_arcsec=seeing,
        )
        drawn.append(_field_pairs._Images(setup, distance))
        x0, y0 = round(at[0]) - size // 2 + 1, round(at[1]) - size // 2 + 1
        data.append(frame[y0 : y0 + size, x0 : x0 + size] - 60.0)
    true = {**TRUE.constant_nm, **TRUE.coefficients_nm(h)}
    focus = [d - TRUE.focus_um(h) for d in pair.distances_um]
    modes = (5, 6, 7, 8, 11)

    def rest(p: np.ndarray) -> np.ndarray:
        wave = {**true, **dict(zip(modes, p[:5]))}
        parts = []
        for i in (0, 1):
            image = (
                p[11 + i] * 1e5 * drawn[i].at(p[5 + i] * 100, wave, (p[7 + 2 * i], p[8 + 2 * i]))
            )
            parts.append((data[i] - image) / np.sqrt(np.clip(data[i], 0, None) + 69.0))
        return np.concatenate(parts).ravel()

    begin = [
        *(true[m] for m in modes),
        *(f / 100 for f in focus),
        *np.zeros(4),
        *(d.sum() / 1e5 for d in data),
    ]
    fit = least_squares(
        rest, begin, max_nfev=6, x_scale=[10] * 5 + [0.1] * 2 + [0.5] * 4 + [0.1] * 2
    )
    noise = np.sqrt(np.diag(np.linalg.inv(fit.jac.T @ fit.jac)))
    for j, mode in enumerate(modes):
        own = found.coefficient.value[0, mode - 5]
        # The engine holds the seeing and Noll 12 to 22 of the bright stars, this fit those drawn.
        assert abs(fit.x[j] - own) < 4 * noise[j] + 1.0, mode


def test_an_exchanged_pair_turns_the_signs_that_it_must(
    pair: _field_pairs.FieldPair, found: starassay.WavefrontField
) -> None:
    other = measure(pair.outside, pair.inside)
    for name, sign in (
        ("tilt_across_width", -1),
        ("curvature_sag", -1),
        ("spherical", -1),
        ("astigmatism_quadratic", -1),
        ("coma_constant_x", 1),
        ("trefoil_x", 1),
    ):
        a, b = getattr(found, name), getattr(other, name)
        assert abs(b.value - sign * a.value) < 3 * a.uncertainty + 0.3 * a.value.unit, name


def test_both_frames_from_one_side_are_refused(pair: _field_pairs.FieldPair) -> None:
    noise = np.random.default_rng(1).normal(0, 3, pair.inside.shape).astype(np.float32)
    with pytest.raises(CannotMeasureError, match="same side of focus"):
        measure(pair.inside, np.roll(pair.inside, 3, axis=1) + noise)


def test_what_cannot_be_measured_is_said(pair: _field_pairs.FieldPair) -> None:
    with pytest.raises(CannotMeasureError, match="stars seen in both frames .* 10 are needed"):
        measure(pair.inside[:300, :500], pair.outside[:300, :500])
    with pytest.raises(InputError, match="differ in size"):
        measure(pair.inside[:300], pair.outside)
    with pytest.raises(InputError, match="pitch of the frames is not known"):
        measure(pair.inside, pair.outside, pitch=None)


def test_the_result_tells_what_to_do(found: starassay.WavefrontField) -> None:
    text = " ".join(found.sentences())
    # Best focus rises to the right (tilt -9 um/mm) and falls upwards.
    assert "move the right edge" in text and "lower edge" in text
    assert "collimate" in text and "decentered" in text
    assert len(found.table) == len(found.x) and found.table["noll_8"].unit == u.nm
    assert {q.name for q in found.quantities} >= {"field_sensor_tilt", "field_coma_constant"}
    for picture in found.figures():
        assert picture.draw() is not None and picture.caption


def test_a_wave_of_coma_toward_the_corners_leads_no_star_astray() -> None:
    """An f/5.2 paraboloid without a corrector, its axis 6 mm beside the middle: stars were found beside their discs' middles, and all fits ended beside the truth."""
    seed = 700_106
    drawn, axis = coma_axis.newtonian(seed)
    both = _field_pairs.draw(seed, "few stars", drawn, stars=20)
    length = drawn.aperture_mm * drawn.focal_ratio
    told = starassay.measure_wavefront_field(
        both.inside,
        both.outside,
        starassay.Telescope(drawn.aperture_mm * u.mm, length * u.mm, obstruction=drawn.obstruction),
        wavelength=_field_pairs.WAVELENGTH_NM * u.nm,
        pitch=drawn.pitch_um * u.um,
        gain=1 * u.electron / u.adu,
        read_noise=3 * u.electron,
    )
    assert told.decided and told.chi_squared < 1.2
    slope = told.coma_free.slope
    error = slope.value.value - drawn.coma[0].real
    # The place of a disc goes by its light, which coma moves in proportion: 0.5 % of the growth.
    assert abs(error) < 4 * slope.uncertainty.value + 0.005 * abs(drawn.coma[0])
    for value, truth in ((told.coma_free.x, axis.real), (told.coma_free.y, axis.imag)):
        off = value.value.to_value(u.mm) - truth
        assert abs(off) < 4 * value.uncertainty.to_value(u.mm) and abs(off) < 0.1

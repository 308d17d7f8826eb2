"""Several pairs and the table of uncertainties, each held against JCGM 100 and against fits made anew.

A line of the budget says what a wrong input would do. Here the input is made wrong and the fit made
again (JCGM 100:2008, 5.1.3, note 2: half the difference between x + u and x - u), and the change of
the map is worked out with Zernike polynomials that share no code with the engine. Clauses of JCGM 100
are named from memory.
"""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy import units as u

import starassay

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "accuracy"))

from pairs import Pair, PupilShape, draw_pair  # noqa: E402
from pairs.draw import flatten, weighted_rms  # noqa: E402
from pairs.pupil import grid, transmission  # noqa: E402
from pairs.zernike import wavefront  # noqa: E402
from test_wavefront import EXACT, UNEVEN, frame, uneven_setup  # noqa: E402

SHADE = PupilShape(obstruction=0.3)
SCOPE = starassay.Telescope("115 mm", "760 mm", 0.3, name="Juniper 115")
KNOWN_TO = 0.01
UNSURE = {
    **EXACT,
    "scale_uncertainty": KNOWN_TO,
    "wavelength_uncertainty": KNOWN_TO,
    "obstruction_uncertainty": KNOWN_TO,
}
# What may be wrong: name of its line, and how the fit is told so.
WRONG: dict[str, tuple[str, Callable[[float], dict[str, Any]]]] = {
    "scale": ("image scale", lambda factor: {"pitch": 3.76 * factor * u.um}),
    "wavelength": ("wavelength", lambda factor: {"wavelength": 540 * factor * u.nm}),
    "obstruction": ("central obstruction", lambda factor: {"obstruction": 0.3 * factor}),
}


def small_pair(seed: int, flux_e: float = 1e7, astigmatism: float = 14.0) -> Pair:
    """Some 4 waves to either side: few pixels, so that several fits take seconds."""
    setup = uneven_setup(
        shape=SHADE,
        coefficients_nm={**UNEVEN, 5: astigmatism},
        inside_um=-850.0,
        outside_um=800.0,
        size_px=72,
        flux_e=flux_e,
    )
    return draw_pair(setup, np.random.default_rng(seed))


def fit(drawn: list[Pair], obstruction: float = 0.3, **options: Any) -> starassay.WavefrontFit:
    """All pairs together, to Noll 22."""
    return starassay.fit_wavefront(
        [frame(p.inside, p, f"inside {k}") for k, p in enumerate(drawn)],
        [frame(p.outside, p, f"outside {k}") for k, p in enumerate(drawn)],
        dataclasses.replace(SCOPE, obstruction=obstruction),
        **{"wavelength": 540 * u.nm, "most_noll": 22, **options},
    )


def coefficients(found: starassay.WavefrontFit) -> np.ndarray:
    """In nm."""
    return np.asarray(found.table["coefficient"].to_value(u.nm))


def map_rms(values: np.ndarray) -> float:
    """RMS over the ring of light of coefficients from Noll 5 on, best focus taken out."""
    x, y = grid(96)
    light = transmission(SHADE, 96)
    path = wavefront({5 + k: float(v) for k, v in enumerate(values)}, x, y)
    return weighted_rms(flatten(path, light, x, y, terms=4), light)


def line(found: starassay.WavefrontFit, source: str) -> Any:
    """The one line of the budget that starts so."""
    rows = [row for row in found.budget_table if row["source"].startswith(source)]
    assert len(rows) == 1
    return rows[0]


def share_left(row: Any) -> float:
    """What the images leave open of an input, by the line's own words."""
    return float(row["input"].split("leave ")[1].split(" %")[0]) / 100


@pytest.fixture(scope="module")
def pair() -> Pair:
    """One pair for the budget, of so little light that a wrong input does not make the fit give each
    image its own seeing: what fits of unlike models differ by is no response to the input."""
    return small_pair(31, flux_e=1e6)


@pytest.fixture(scope="module")
def result(pair: Pair) -> starassay.WavefrontFit:
    """Its fit, with all inputs a little unsure."""
    return fit([pair], **UNSURE)


@pytest.mark.parametrize("what", sorted(WRONG))
def test_a_line_of_the_budget_is_what_a_wrong_input_does(
    what: str, pair: Pair, result: starassay.WavefrontFit
) -> None:
    """The same images, fitted with one input too large and too small by its standard uncertainty.

    The line is that times what the images leave open of the input.
    """
    source, told = WRONG[what]
    row = line(result, source)
    assert row["kind"] == "B" and row["input"].startswith("1 %")
    more, less = (fit([pair], **{**EXACT, **told(1 + e)}) for e in (KNOWN_TO, -KNOWN_TO))
    for other in (more, less):
        assert other.seeing[0].value == other.seeing[1].value
    moved = (coefficients(more) - coefficients(less)) / 2
    # Each image's scale follows from its distance at the start, which moves with the input and which
    # the line holds: 7 % of the wavelength's map and 10 % of its RMS, 2 % of the others.
    left = share_left(row)
    assert row["map"].to_value(u.nm) == pytest.approx(left * map_rms(moved), rel=0.12)
    rms = (map_rms(coefficients(more)) - map_rms(coefficients(less))) / 2
    assert abs(row["rms"].to_value(u.nm)) == pytest.approx(left * abs(rms), rel=0.12)


def test_parts_add_up_to_the_whole(result: starassay.WavefrontFit) -> None:
    """JCGM 100:2008, equation 10, for inputs that are independent: squares add.

    What the images say of scale, wavelength and obstruction they say of all three together, so these
    are no longer independent; equation 13 has the covariances, which are no larger than the parts.
    """
    parts = result.budget_table["map"].to_value(u.nm)
    # Photons, scale, wavelength, obstruction, and the air of an exposure that leaves next to nothing.
    assert np.sum(np.isfinite(parts)) == 5 and np.sum(parts > 1e-3) == 4
    light = result.map_open
    whole = np.average(np.nan_to_num(result.map_uncertainty.to_value(u.nm)) ** 2, weights=light)
    squares = np.sqrt(np.nansum(parts**2))
    assert np.sqrt(whole) == pytest.approx(squares, rel=0.1)
    # What has no number is named and does not count as nothing in silence.
    assert np.isnan(line(result, "tube not cooled")["map"].to_value(u.nm))


def test_inputs_known_exactly_have_no_line(pair: Pair, result: starassay.WavefrontFit) -> None:
    """Only the images' own noise is left, and it is the same as before."""
    exact = fit([pair], **EXACT)
    assert [row["kind"] for row in exact.budget_table if row["map"] > 1e-3 * u.nm] == ["A"]
    # The air of an exposure of 1e9 s adds 1e-4 nm to 0.1 and more: 1e-6 of them in quadrature.
    np.testing.assert_allclose(
        exact.table["uncertainty"].to_value(u.nm),
        result.table["fit_uncertainty"].to_value(u.nm),
        rtol=1e-5,
    )


@pytest.fixture(scope="module")
def changing() -> starassay.WavefrontFit:
    """Three pairs of a telescope whose astigmatism moves between them, as with a tilting mirror."""
    return fit(
        [small_pair(40 + k, astigmatism=14.0 + d) for k, d in enumerate((-5, 1, 4))], **EXACT
    )


def test_pairs_that_differ_widen_the_bars_and_are_said(changing: starassay.WavefrontFit) -> None:
    """JCGM 100:2008, 4.2.3: variance of the mean, s^2 / n, from the pairs fitted alone."""
    alone = np.array([a.coefficient.value for a in changing.pairs_alone])
    assert alone.shape == (3, len(changing.table))
    # Each pair shows its own astigmatism: photons leave some 0.3 nm.
    np.testing.assert_allclose(alone[:, 0], [9.0, 15.0, 18.0], atol=1.5)
    scatter = np.sqrt(sum(map_rms(a - alone.mean(axis=0)) ** 2 for a in alone) / 2 / 3)
    row = line(changing, "scatter of the pairs")
    assert row["kind"] == "A" and row["input"].startswith("3 pairs")
    photons = line(changing, "photons")["map"].to_value(u.nm)
    # By mode: those that scatter by less than photons promise keep the photons' bar.
    own = changing.table["fit_uncertainty"].to_value(u.nm)
    by_mode = np.maximum(np.std(alone, axis=0, ddof=1) / np.sqrt(3), own)
    np.testing.assert_allclose(changing.table["uncertainty"].to_value(u.nm), by_mode, rtol=1e-6)
    # Over the map: both lines in quadrature (equation 10).
    light = changing.map_open
    whole = np.average(np.nan_to_num(changing.map_uncertainty.to_value(u.nm)) ** 2, weights=light)
    assert np.hypot(row["map"].to_value(u.nm), photons) == pytest.approx(np.sqrt(whole), rel=1e-3)
    assert np.sqrt(whole) > 0.95 * scatter
    assert "wavefront.pairs-scatter" in {note.code for note in changing.notes}
    # The mean of 9, 15 and 18, by the bars of the mean of three.
    bar = changing.table["uncertainty"][0].to_value(u.nm)
    assert coefficients(changing)[0] == pytest.approx(14.0, abs=3 * bar)


def test_pairs_alone_are_those_pairs(changing: starassay.WavefrontFit) -> None:
    """The second pair in a fit by itself, which knows nothing of the others."""
    by_itself = fit([small_pair(41, astigmatism=15.0)], **EXACT)
    within = np.asarray(changing.pairs_alone[1].coefficient.value) - coefficients(by_itself)
    assert np.all(np.abs(within) < 0.3 * by_itself.table["fit_uncertainty"].to_value(u.nm))
    assert changing.pairs_alone[1].rms.value == pytest.approx(
        map_rms(coefficients(by_itself)), 0.02
    )


@pytest.mark.same_bits
def test_threads_change_no_bit_and_order_no_result() -> None:
    """Two pairs on one and on two threads, then given the other way round."""
    drawn = [small_pair(50), small_pair(51)]
    one, two = fit(drawn, threads=1), fit(drawn, threads=2)
    np.testing.assert_array_equal(coefficients(one), coefficients(two))
    np.testing.assert_array_equal(one.covariance.value, two.covariance.value)
    turned = fit(drawn[::-1], threads=2)
    bars = one.table["fit_uncertainty"].to_value(u.nm)
    assert np.all(np.abs(coefficients(turned) - coefficients(one)) < 0.05 * bars)
    names = [image.name for image in turned.images]
    assert names == ["inside 0", "outside 0", "inside 1", "outside 1"]

"""Decisions through the face; the rule itself is tested in the engine against JCGM 106 and JCGM 100."""

from __future__ import annotations

import math

import numpy as np
import pytest
from astropy import units as u
from scipy import stats

from starassay import Claim, Measured, advise, combine, compare, decide, errors


def measured(value: float, uncertainty: float, unit: str = "") -> Measured:
    return Measured(u.Quantity(value, unit), u.Quantity(uncertainty, unit))


@pytest.mark.parametrize("value", [0.92, 0.935, 0.95, 0.962, 0.98])
def test_probability_is_that_of_scipy(value: float) -> None:
    """scipy.stats.norm, and t with 3 degrees of freedom, give the probability and the guard band."""
    claim = Claim("Strehl", at_least=0.95 * u.one)
    for free, law in ((math.inf, stats.norm()), (3, stats.t(3))):
        d = decide(claim, measured(value, 0.01), degrees_of_freedom=free)
        assert d.probability == pytest.approx(law.sf((0.95 - value) / 0.01), abs=1e-9)
        assert d.guard_band.value == pytest.approx(law.ppf(0.95) * 0.01, rel=1e-9)
        p = d.probability
        expected = "met" if p >= 0.95 else "not met" if p <= 0.05 else "not decided"
        assert d.verdict == expected


def test_units_are_brought_together() -> None:
    claim = Claim("PV", at_most=0.135 * u.um)
    d = decide(claim, measured(100, 10, "nm"), random_part=8 * u.nm, count=2, counted="pairs")
    assert d.verdict == "met" and d.measured.value == 0.1 * u.um
    with pytest.raises(errors.InputError, match="'PV' is stated in 'um', but measured in 'arcsec'"):
        decide(claim, measured(1, 1, "arcsec"))


def test_a_claim_needs_a_limit() -> None:
    with pytest.raises(errors.InputError, match="'x' sets no limit"):
        decide(Claim("x"), measured(1, 1))


def test_table_summary_plot_and_record() -> None:
    d = decide(
        Claim("Strehl", at_least=0.95 * u.one), measured(0.955, 0.01), random_part=0.01 * u.one
    )
    assert d.verdict == "not decided" and "About" in d.next_test
    assert d.table["verdict"][0] == "not decided" and np.isnan(d.table["at_most"][0])
    assert d.summary()[0].startswith("Strehl: not decided. 0.955 ± 0.010 against at least 0.95")
    assert d.to_dict()["claim"]["at_least"] == {"value": 0.95, "unit": ""}
    # The dot is drawn at the value, and all of the 2-sigma bar lies inside the axes.
    ax = d.plot()
    low, high = ax.get_xlim()
    assert low < 0.955 - 0.02 and high > 0.955 + 0.02


def test_nothing_measured_is_not_decided() -> None:
    d = decide(Claim("x", at_most=1 * u.nm), None, missing_test="Do this.")
    assert d.verdict == "not decided" and d.next_test == "Do this." and np.isnan(d.probability)
    d.plot()


def test_mean_is_numpys_weighted_average() -> None:
    rng = np.random.default_rng(2)
    values, sigmas = rng.normal(10, 1, 6), rng.uniform(2, 3, 6)
    m = combine([measured(v, s, "nm") for v, s in zip(values, sigmas)], common=0.5 * u.nm)
    mean, weight = np.average(values, weights=sigmas**-2.0, returned=True)
    assert m.measured.value.value == pytest.approx(mean, rel=1e-12)
    assert m.birge_ratio < 1
    assert m.measured.uncertainty.value == pytest.approx(np.hypot(weight**-0.5, 0.5), rel=1e-12)


def test_comparison_names_the_better_one() -> None:
    first, second = ("Juniper 115", measured(35, 3, "nm")), (
        "Alder 100",
        measured(0.020, 0.004, "um"),
    )
    c = compare("RMS", first, second, larger_is_better=False)
    assert c.better == "Alder 100" and c.score == pytest.approx(1.5)
    assert compare("RMS", first, ("Alder 100", measured(33, 3, "nm"))).better == ""


def test_advice_has_a_figure_and_a_table() -> None:
    a = advise(
        {"aperture_mm": 115, "focal_length_mm": 760, "strehl": 0.9, "pixel_arcsec": 1.02}
        | {"star_fwhm_arcsec": 2.6, "star_fwhm_uncertainty": 0.05}
    )
    assert a.limited_by == "seeing and the rest"
    # The pixels are taken out of the stars' FWHM: they stand beside it, a square of 1.02 arcsec.
    total = np.sqrt(np.sum(a.table["fwhm"].value ** 2))
    pixel = 1.02 * 2.35482 / np.sqrt(12)
    assert total == pytest.approx(np.hypot(2.6, pixel), rel=1e-6)
    assert np.sum(a.table["share"]) == pytest.approx(1, rel=1e-12)
    labels = [t.get_text() for t in a.plot().get_yticklabels()]
    assert labels[-1] == "seeing and the rest"

"""How results feel in a notebook: one line each, columns that say what they hold, numbers to calculate with."""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy import units as u

import starassay
from starassay import Measured, UnitError

sys.path.insert(0, str(Path(__file__).parent))

from _result_checks import MAKERS  # noqa: E402


@pytest.fixture(scope="module")
def shown() -> dict[str, Any]:
    """Results of every kind that can be had quickly."""
    scope = starassay.juniper_115()
    inside, outside, _ = starassay.draw_defocused_pair(scope, size=96, electrons=1e6, defocus=6.0)
    camera = starassay.SimulatedCamera(shape=(300, 400))
    frame, _ = starassay.draw_star_field(scope, camera=camera, stars=40)
    fit = starassay.fit_wavefront(
        inside, outside, starassay.Telescope("115 mm", "760 mm"), wavelength="540 nm"
    )
    claim = starassay.Claim("Strehl ratio", at_least=0.9 * u.one)
    return {
        "fit": fit,
        "field": starassay.measure_stars(frame),
        "decision": starassay.judge(claim, "strehl", fit.quantities),
        **{name: make() for name, make in MAKERS.items()},
    }


def test_every_result_is_one_short_line(shown: dict[str, Any]) -> None:
    fit, field = shown["fit"], shown["field"]
    pupil = fit.pupil
    others = [
        *(pupil, starassay.draw_focused_image(pupil), starassay.compute_modulation(pupil)),
        *(starassay.draw_ronchigram(pupil), fit.images[0], fit.second_opinion, fit.budget[0]),
        *(field.zones[0], fit.quantities[0], fit.rms, starassay.read_frame(np.zeros((40, 40)))),
    ]
    for one in [*shown.values(), *others]:
        assert len(repr(one)) < 400 and "\n" not in repr(one), type(one)
    assert repr(fit.rms) == f"<Measured {fit.rms}>"


def test_every_column_says_what_it_holds(shown: dict[str, Any]) -> None:
    for result in shown.values():
        table = result.table
        bare = [name for name in table.colnames if not table[name].info.description]
        assert bare == [], type(result)
    assert "Half-flux radius" in shown["field"].table["hfr"].info.description


def test_descriptions_are_written_with_the_table(shown: dict[str, Any], tmp_path: Path) -> None:
    from astropy.table import QTable

    shown["fit"].table.write(tmp_path / "modes.ecsv")
    back = QTable.read(tmp_path / "modes.ecsv")
    assert "RMS over the full disc" in back["coefficient"].info.description


LENGTH = Measured(760 * u.mm, 2 * u.mm)
RATIO = Measured(0.9 * u.one, 0.01 * u.one)


@pytest.mark.parametrize(
    ("made", "value", "uncertainty"),
    [
        # Law of propagation of uncertainty, JCGM 100:2008 (GUM), 5.1.2, independent inputs.
        (2 * LENGTH, 1520 * u.mm, 4 * u.mm),
        (LENGTH / 2, 380 * u.mm, 1 * u.mm),
        (LENGTH + 1 * u.cm, 770 * u.mm, 2 * u.mm),
        (1 * u.cm - LENGTH, -750 * u.mm, 2 * u.mm),
        (LENGTH - LENGTH, 0 * u.mm, np.sqrt(8) * u.mm),
        (LENGTH * RATIO, 684 * u.mm, np.hypot(2 * 0.9, 760 * 0.01) * u.mm),
        (RATIO / LENGTH, 0.9 / 760 / u.mm, 0.9 / 760 * np.hypot(0.01 / 0.9, 2 / 760) / u.mm),
        (1 / LENGTH, 1 / 760 / u.mm, 2 / 760**2 / u.mm),
        (LENGTH**2, 760**2 * u.mm**2, 2 * 760 * 2 * u.mm**2),
        (LENGTH * u.s, 760 * u.mm * u.s, 2 * u.mm * u.s),
        (2 * u.s * LENGTH, 1520 * u.mm * u.s, 4 * u.mm * u.s),
        (np.float64(2) * LENGTH, 1520 * u.mm, 4 * u.mm),
        (-LENGTH, -760 * u.mm, 2 * u.mm),
        (abs(-LENGTH), 760 * u.mm, 2 * u.mm),
        (1 - RATIO, 0.1 * u.one, 0.01 * u.one),
        (LENGTH.to("cm"), 76 * u.cm, 0.2 * u.cm),
    ],
)
def test_measured_numbers_calculate(made: Any, value: Any, uncertainty: Any) -> None:
    assert isinstance(made, Measured)
    assert u.isclose(made.value, value, rtol=1e-12, atol=1e-12 * value.unit)
    assert u.isclose(made.uncertainty, uncertainty, rtol=1e-12)


def test_measured_numbers_convert_and_compare() -> None:
    assert float(RATIO) == 0.9 and LENGTH.to_value("m") == 0.76
    assert u.Quantity(LENGTH) == 760 * u.mm and u.Quantity(LENGTH, "cm").unit == u.cm
    assert LENGTH > 0.7 * u.m and LENGTH <= 760 * u.mm and not LENGTH < 76 * u.cm
    assert RATIO >= 0.9 and 0.8 < RATIO and RATIO >= RATIO
    assert f"{LENGTH:.1f}" == "760.0 ± 2.0 mm" and f"{RATIO}" == "0.900 ± 0.010"
    with pytest.raises(TypeError, match="has a unit"):
        float(LENGTH)
    for wrong in (lambda: LENGTH > 700, lambda: LENGTH + 1 * u.s, lambda: 3 - LENGTH):
        with pytest.raises(UnitError, match="units that do not fit"):
            wrong()
    with pytest.raises(TypeError):
        assert LENGTH + "1 mm"  # type: ignore[operator]


def test_measured_is_still_a_plain_record() -> None:
    twin = dataclasses.replace(LENGTH, uncertainty=3 * u.mm)
    assert twin != LENGTH and LENGTH == Measured(760 * u.mm, 2 * u.mm)

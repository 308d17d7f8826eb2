"""What is generated from the engine is fresh, and what is written by hand agrees with it."""

from __future__ import annotations

import importlib.util
import inspect
import pickle
import re
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from astropy import units as u

import starassay
from starassay import _records, errors
from starassay._record import Request
from starassay.measurements import declared
from starassay.measurements._declaring import IN_FILE


@pytest.fixture(scope="module")
def maker(top: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_records", top / "tests" / "make_records.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_generated_files_are_fresh(maker: ModuleType) -> None:
    """A change to a record of the engine shows here until the files are made again."""
    for path, text in maker.files(maker.describe()).items():
        assert path.read_text(encoding="utf-8") == text, "run: python tests/make_records.py"


def test_every_measurement_of_the_engine_has_a_door() -> None:
    """Command line and campaign know what the engine measures, by the same names."""
    assert set(declared()) == set(_records.MEASUREMENTS)
    areas = {kind.area for kind in _records.QUANTITIES.values()}
    assert areas <= set(declared())


#: Public function of each measurement with its request, and names that stand for others in it.
FUNCTIONS: dict[str, tuple[Any, Request]] = {
    "stars": (starassay.measure_stars, _records.STAR_REQUEST),
    "wavefront": (starassay.fit_wavefront, _records.WAVEFRONT_REQUEST),
    "color_focus": (starassay.measure_color_focus, _records.COLOR_FOCUS_REQUEST),
}


def plain(value: Any) -> Any:
    if isinstance(value, u.Quantity):
        return value.value
    return value


@pytest.mark.parametrize("area", sorted(FUNCTIONS))
def test_defaults_of_the_signature_are_the_engines(area: str) -> None:
    """A signature is written by hand, so that it can be read; its defaults must not drift away."""
    function, request = FUNCTIONS[area]
    compared = 0
    for name, parameter in inspect.signature(function).parameters.items():
        field = request.fields.get(name)
        if field is None or parameter.default is inspect.Parameter.empty:
            continue
        if parameter.default is not None and field.default is not None:
            assert plain(parameter.default) == field.default, name
            compared += 1
    assert compared >= 3


@pytest.mark.parametrize("area", sorted(FUNCTIONS))
def test_every_option_of_a_door_is_an_argument(area: str) -> None:
    """What can be said on the command line and in a campaign can be said in a notebook by one name."""
    function, _ = FUNCTIONS[area]
    names = set(inspect.signature(function).parameters)
    # Options that choose frames, or that are given to the steps before the measurement.
    steps = {
        "stars": {"hdu", "plane", "color", "other_telescope"},
        "wavefront": {"defocus"},
        "color_focus": {"dispersion", "lamps", "max_degree", "star"},
    }
    doors = {o.name for o in declared()[area].options} - {o.name for o in IN_FILE}
    assert doors - names - steps.get(area, set()) == set()


def test_the_reader_of_units_has_one_policy() -> None:
    """A bare number is refused where a unit is needed, by the name that was typed."""
    from starassay import _units

    assert _units.number("11.5 cm", "mm", "aperture") == 115
    assert _units.numbers(["-0.2 mm", 5 * u.um], "um", "positions") == pytest.approx([-200.0, 5.0])
    assert _units.number(3, "pix", "radius") == 3 and _units.number(100, "1 / mm", "lines") == 100
    for wrong in (115, "115", "115 s", "long", None.__class__, [1, 2]):
        with pytest.raises(errors.InputError, match="^aperture "):
            _units.number(wrong, "mm", "aperture")


def test_results_tell_themselves(tmp_path: Path) -> None:
    """Sentences, sheets, card, pickle and short repr, for a result made from a drawn frame."""
    y, x = np.mgrid[0:160, 0:200]
    sky = np.random.default_rng(1).normal(100, 3, x.shape)
    places = [(30.3 + 45 * i, 25.1 + 37 * j) for i in range(4) for j in range(4)]
    for cx, cy in places:
        sky += 3000 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * 1.6**2))
    field = starassay.measure_stars(sky.astype(np.float32))
    assert len(repr(field)) < 300 and "16 stars" in repr(field)
    card = field._repr_html_()
    assert "<img" in card and "alt='" in card and "16 stars" in card
    assert pickle.loads(pickle.dumps(field)) == field
    assert {q.name for q in field.quantities} >= {"star_ellipticity"}
    field.write_json(tmp_path / "field.json")
    assert re.search(r'"unit": "pix"', (tmp_path / "field.json").read_text(encoding="utf-8"))

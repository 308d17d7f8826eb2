"""What stands beside the pixels of a pair: order, telescope, mosaic. Only this can tell an exchanged pair."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from astropy import units as u

import starassay
from starassay.measurements.wavefront.figures import mode_name
from starassay.measurements.wavefront.setup import check_setup

SCOPE = starassay.Telescope("115 mm", "760 mm")


def image(name: str, at: u.Quantity | None = None, **facts: Any) -> starassay.Frame:
    return starassay.Frame(np.zeros((8, 8), np.uint16), name=name, focus_position=at, **facts)


@pytest.mark.parametrize(
    ("first", "second", "told"),
    [
        (image("a", -1.5 * u.mm), image("b", 1400 * u.um), ""),
        (image("a", 1400 * u.um), image("b", -1.5 * u.mm), "at 1400 um, that of b at -1500 um"),
        (
            image("a", 2200 * u.one),
            image("b", 1800 * u.one),
            "at step 2200, that of b at step 1800",
        ),
        # Steps and lengths cannot be compared, and silence says nothing.
        (image("a", 5000 * u.one), image("b", 3 * u.um), ""),
        (image("a"), image("b", 3 * u.um), ""),
        (image("star-outside.fits"), image("star-inside.fits"), "was given as the image inside"),
        (image("star-inside.fits"), image("star-outside.fits"), ""),
    ],
)
def test_an_exchanged_pair_is_told_by_what_stands_beside_it(
    first: starassay.Frame, second: starassay.Frame, told: str
) -> None:
    notes = check_setup([first, second], SCOPE)
    assert [n.code for n in notes] == (["wavefront.exchanged"] if told else [])
    assert all(told in n.text and n.level == "caution" for n in notes)


def test_a_focuser_that_did_not_move_is_a_doubt() -> None:
    """Both on one side, or a header that is never brought up to date: nothing must be decided by it."""
    notes = check_setup([image("a", 5000 * u.one), image("b", 5000 * u.one)], SCOPE)
    assert [(n.code, n.level) for n in notes] == [("wavefront.one-side", "doubt")]
    assert "of a and b both put the focuser at step 5000" in notes[0].text


def test_every_pair_is_looked_at() -> None:
    good = [image("a", 0 * u.um), image("b", 9 * u.um)]
    bad = [image("c", 9 * u.um), image("d", 0 * u.um)]
    assert [n.subject for n in check_setup([*good, *bad], SCOPE)] == ["c"]


@pytest.mark.parametrize(
    ("cards", "told"),
    [
        ({"APTDIA": 115.0, "FOCALLEN": 760.0}, []),
        ({"APTDIA": 113.0, "FOCALLEN": 775.0}, []),
        ({"APTDIA": 150.0}, ["states 150 mm as aperture (APTDIA), the call 115 mm"]),
        ({"FOCALLEN": 380}, ["states 380 mm as focal length (FOCALLEN), the call 760 mm"]),
        ({"APTDIA": 0.0, "FOCALLEN": "unknown"}, []),
    ],
)
def test_another_telescope_in_the_header_is_told(cards: dict[str, Any], told: list[str]) -> None:
    notes = check_setup([image("a", meta=cards), image("b")], SCOPE)
    assert [n.code for n in notes] == ["wavefront.header-differs"] * len(told)
    assert all(words in n.text for words, n in zip(told, notes))


def test_a_raw_mosaic_is_refused() -> None:
    """Neighbors that see different colors are no image of one wavelength."""
    for call in (
        lambda f: starassay.fit_wavefront(f, f, SCOPE, wavelength="540 nm"),
        lambda f: starassay.reduce_spectrum(f),
    ):
        with pytest.raises(starassay.InputError, match="a is a raw color mosaic .RGGB., but a "):
            call(image("a", bayer="RGGB"))


def test_angles_in_names_of_modes_have_their_sign() -> None:
    assert mode_name("astigmatism 45") == "astigmatism 45°"
    assert mode_name("quadrafoil 22.5") == "quadrafoil 22.5°"
    assert mode_name("order 5, frequency 5 sine") == "order 5, frequency 5 sine"

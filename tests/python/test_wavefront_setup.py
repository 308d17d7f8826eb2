"""What stands beside the pixels of a pair: order, telescope, mosaic. Only this can tell an exchanged pair."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from astropy import units as u
from astropy.nddata import CCDData
from astropy.time import Time

import starassay
from starassay.measurements.wavefront.figures import mode_name
from starassay.measurements.wavefront.setup import check_setup, check_way

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


AT, NEXT_NIGHT, LONG_AGO = (
    Time(f"{day}T22:00:00") for day in ("2026-03-01", "2026-03-02", "1999-03-01")
)
SOON = Time("2026-03-02T01:00:00")


@pytest.mark.parametrize(
    ("first", "second", "told"),
    [
        ({"time": AT}, {"time": SOON}, ""),
        ({"time": AT}, {"time": LONG_AGO}, "9862 days apart"),
        ({"time": NEXT_NIGHT}, {"time": AT}, "24 hours apart"),
        ({"camera": "A"}, {"camera": "B"}, "the camera of a is 'A', that of b 'B'"),
        ({"filter": "R"}, {"filter": "G"}, "the filter of a is 'R', that of b 'G'"),
        ({"filter": "R"}, {}, ""),
    ],
)
def test_images_of_two_nights_or_setups_are_doubted(
    first: dict[str, Any], second: dict[str, Any], told: str
) -> None:
    notes = check_setup([image("a", **first), image("b", **second)], SCOPE)
    assert [(n.code, n.level) for n in notes] == [("wavefront.not-one-pair", "doubt")] * bool(told)
    assert all(told in n.text for n in notes)


def test_a_filter_that_names_another_wavelength_is_a_doubt() -> None:
    pair = [image("a", filter="540 nm 10"), image("b", filter="540nm 10")]
    assert check_setup(pair, SCOPE, 545 * u.nm) == []
    notes = check_setup(pair, SCOPE, 605 * u.nm)
    assert {(n.code, n.level) for n in notes} == {("wavefront.header-differs", "doubt")}
    assert "'540 nm 10', the call a wavelength of 605 nm" in notes[0].text


def test_a_binned_frame_with_the_pixel_of_one_only_is_a_doubt() -> None:
    """XPIXSZ holds the binned pixel by its convention, but not all programs keep it."""
    cards = {"XPIXSZ": 3.76, "XBINNING": 2, "YBINNING": 2}
    frames = [
        starassay.read_frame(CCDData(np.arange(64.0).reshape(8, 8), unit="adu", meta=cards), name=n)
        for n in "ab"
    ]
    notes = check_setup(frames, SCOPE)
    assert [(n.code, n.level) for n in notes] == [("wavefront.binning-contradicts", "doubt")]
    assert "with 7.52 um binned" in notes[0].text
    # Who states the pitch has settled it.
    assert check_setup(frames, SCOPE, pitch=7.52 * u.um) == []


def test_images_of_different_pixels_are_a_doubt() -> None:
    pair = [image("a", binning=(1, 1)), image("b", binning=(2, 2))]
    assert [n.code for n in check_setup(pair, SCOPE)] == ["wavefront.binning-contradicts"]


def test_the_way_of_the_focuser_is_held_against_the_discs() -> None:
    raw = {"images": [{"distance": {"value": -1500.0}}, {"distance": {"value": 1450.0}}]}
    pair = [image("a", -1.48 * u.mm), image("b", 1.5 * u.mm)]
    assert check_way(pair, raw) == []
    pair[1] = image("b", 4.4 * u.mm)
    (note,) = check_way(pair, raw)
    assert (note.code, note.level) == ("wavefront.focuser-contradicts", "doubt")
    assert "moved by 5880 um between a and b, the discs say 2950 um" in note.text
    # Steps of unknown size say nothing.
    assert check_way([image("a", 100 * u.one), image("b", 900 * u.one)], raw) == []

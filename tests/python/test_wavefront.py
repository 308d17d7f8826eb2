"""The wavefront fit against truth: pairs drawn by a simulator that shares no code with the engine."""

from __future__ import annotations

import dataclasses
import json
import sys
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.io import fits

import starassay
from starassay.cli import main

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "accuracy"))

from pairs import Camera, Companion, Pair, PairSetup, PupilShape, draw_pair  # noqa: E402

SCOPE = starassay.Telescope("115 mm", "760 mm", name="Juniper 115")
# Every kind of symmetry and none: a mirrored, turned or transposed map cannot pass.
UNEVEN = {
    5: 14.0,
    6: -9.0,
    7: 12.0,
    8: 17.0,
    9: -8.0,
    10: 5.0,
    11: 20.0,
    12: 4.0,
    16: -3.0,
    22: 3.0,
}


NOTHING_BESIDE = dict(
    response_uncertainty=0.0,
    linearity_uncertainty=0.0,
    trail_uncertainty=0 * u.arcsec,
    shadow_place_uncertainty=0.0,
)
"""Camera, guiding and the secondary's place as they should be, known exactly."""

EXACT = dict(
    scale_uncertainty=0.0,
    wavelength_uncertainty=0.0,
    obstruction_uncertainty=0.0,
    **NOTHING_BESIDE,
)
"""All else as well."""


def uneven_setup(**changes: object) -> PairSetup:
    """A 115 mm f/6.6 refractor, 8 waves to either side, 10^7 electrons."""
    base = PairSetup(
        aperture_mm=115.0,
        focal_length_mm=760.0,
        coefficients_nm=UNEVEN,
        wavelengths_nm=(540.0,),
        weights=(1.0,),
        pixel_um=3.76,
        size_px=112,
        inside_um=-1500.0,
        outside_um=1400.0,
        flux_e=1e7,
        background_e=20.0,
        seeing_arcsec=2.0,
        camera=Camera(gain_e_per_adu=1.5, read_noise_e=3.0),
    )
    return dataclasses.replace(base, **changes)


def frame(pixels: np.ndarray, pair: Pair, name: str) -> starassay.Frame:
    """The image as a camera would give it."""
    d = pair.declared
    return starassay.Frame(
        np.ascontiguousarray(pixels, dtype=np.uint16),
        name=name,
        gain=d.gain_e_per_adu * u.electron / u.adu,
        read_noise=d.read_noise_e * u.electron,
        saturation=d.saturation_adu * u.adu,
        pitch=d.pixel_um * u.um,
        # Drawn without air: so long that turbulence leaves nothing. Not stated, it would count as 1 s.
        exposure=1e9 * u.s,
    )


def fit(
    pair: Pair,
    scope: starassay.Telescope = SCOPE,
    names: dict[str, str] = {"inside": "inside", "outside": "outside"},
    **options: object,
) -> starassay.WavefrontFit:
    """Fit a drawn pair, image scale and wavelength known exactly."""
    known = dict(scale_uncertainty=0.0, wavelength_uncertainty=0.0, obstruction_uncertainty=0.0)
    return starassay.fit_wavefront(
        frame(pair.inside, pair, names["inside"]),
        frame(pair.outside, pair, names["outside"]),
        scope,
        **{"wavelength": 540 * u.nm, **known, **options},
    )


@pytest.fixture(scope="module")
def pair() -> Pair:
    """One pair for most tests."""
    return draw_pair(uneven_setup(), np.random.default_rng(3))


@pytest.fixture(scope="module")
def result(pair: Pair) -> starassay.WavefrontFit:
    """Its fit."""
    return fit(pair)


def test_coefficients_come_back(result: starassay.WavefrontFit, pair: Pair) -> None:
    """Every coefficient within 4.5 of its own standard uncertainties, with its sign and place."""
    got = dict(zip(result.table["noll"], result.table["coefficient"].to_value(u.nm)))
    bar = dict(zip(result.table["noll"], result.table["uncertainty"].to_value(u.nm)))
    for noll in range(5, 23):
        assert got[noll] == pytest.approx(UNEVEN.get(noll, 0.0), abs=4.5 * bar[noll])
        assert bar[noll] < 3.0
    assert 0.9 < result.chi_squared < 1.12
    rms, sigma = result.rms.to_value(u.nm), result.rms.uncertainty.to_value(u.nm)
    assert rms == pytest.approx(pair.truth.rms_best_focus_nm, abs=4 * sigma)
    strehl = result.strehl
    assert strehl.value.value == pytest.approx(
        pair.truth.strehl_best_focus, abs=4 * strehl.uncertainty.value
    )
    assert result.decided


def test_second_opinion_agrees(result: starassay.WavefrontFit) -> None:
    """The linear method shares no pixel model with the fit."""
    assert result.second_opinion is not None
    assert result.second_opinion.agrees


@pytest.fixture(scope="module")
def fine_pair() -> Pair:
    """A figure with modes to Noll 36, which the data ask for."""
    fine = {25: 7.0, 28: -6.0, 30: 5.0, 33: 6.0, 36: -5.0}
    return draw_pair(uneven_setup(coefficients_nm={**UNEVEN, **fine}), np.random.default_rng(14))


def codes_of(found: starassay.WavefrontFit) -> set[str]:
    """Codes of the notes."""
    return {note.code for note in found.notes}


def test_second_opinion_agrees_on_fine_modes(fine_pair: Pair) -> None:
    """It takes as many modes as the fit; with fewer it would mistake the fine ones for low ones."""
    found = fit(fine_pair)
    assert found.second_opinion is not None
    assert found.second_opinion.agrees
    assert found.second_opinion.difference.value < 6.0
    assert not {"wavefront.methods-disagree", "wavefront.more-modes"} & codes_of(found)
    assert found.decided


def test_a_faint_second_star_is_seen_behind_fine_modes() -> None:
    """At first, modes beyond Noll 22 leave ten times what it leaves in the residuals."""
    fine = {25: 12.0, 28: -10.0, 30: 9.0, 33: 10.0, 36: -9.0}
    setup = uneven_setup(
        coefficients_nm={**UNEVEN, **fine},
        flux_e=3e6,
        companion=Companion(share=0.01, dx_px=-48.0, dy_px=14.0),
    )
    found = fit(draw_pair(setup, np.random.default_rng(6)))
    assert "wavefront.companion" in codes_of(found)
    assert 0.95 < found.chi_squared < 1.06
    assert found.decided


def test_a_fit_that_stops_too_early_is_said(fine_pair: Pair) -> None:
    """Missing modes go into those that are there; the linear method takes more and is not fooled."""
    found = fit(fine_pair, least_noll=15, most_noll=15)
    assert {"wavefront.misfit-large", "wavefront.methods-disagree"} & codes_of(found)
    assert not found.decided
    true = np.array([UNEVEN.get(j, 0.0) for j in range(5, 16)])
    assert found.second_opinion is not None
    linear = np.linalg.norm(found.second_opinion.coefficient.value - true)
    assert np.linalg.norm(found.table["coefficient"].to_value(u.nm) - true) > 8.0
    assert linear < 4.0


def test_modes_beyond_the_limit_are_said(fine_pair: Pair) -> None:
    """The finest order allowed is full, so finer ones are missed."""
    assert "wavefront.more-modes" in codes_of(fit(fine_pair, most_noll=28))


def test_each_image_has_the_scale_of_its_distance() -> None:
    """A slow telescope, 0.86 % more and less than at focus; one scale leaves chi squared 1.4."""
    distance = 8 * 8 * 0.54 * 15.0**2
    setup = uneven_setup(
        aperture_mm=60.0,
        focal_length_mm=900.0,
        pixel_um=9.26,
        inside_um=-distance,
        outside_um=distance,
        flux_e=6e7,
        seeing_arcsec=1.5,
        camera=Camera(gain_e_per_adu=5.0, read_noise_e=3.0),
    )
    drawn = draw_pair(setup, np.random.default_rng(21))
    found = fit(drawn, starassay.Telescope("60 mm", "900 mm", name="Juniper 60"))
    assert 0.95 < found.chi_squared < 1.06
    assert not {"wavefront.seeing-changed", "wavefront.misfit"} & codes_of(found)
    for image, true in zip(found.images, (-distance, distance)):
        bar = image.distance.uncertainty.to_value(u.um)
        # Counted as for an infinite distance it would be 67 um off.
        assert bar < 8.0
        assert image.distance.value.to_value(u.um) == pytest.approx(true, abs=4.5 * bar)


def test_several_pairs_show_their_scatter() -> None:
    """Pairs that differ by noise: each alone, their scatter in the budget, a smaller bar for all."""
    drawn = [draw_pair(uneven_setup(), np.random.default_rng(40 + k)) for k in range(3)]
    one = fit(drawn[0], most_noll=22, **EXACT)
    found = starassay.fit_wavefront(
        [frame(d.inside, d, f"inside {k}") for k, d in enumerate(drawn)],
        [frame(d.outside, d, f"outside {k}") for k, d in enumerate(drawn)],
        SCOPE,
        wavelength=540 * u.nm,
        most_noll=22,
        **EXACT,
    )
    assert len(found.pairs_alone) == 3
    got = np.array([a.coefficient.value for a in found.pairs_alone])
    by_mode = np.std(got, axis=0, ddof=1) / np.sqrt(3)
    own = found.table["fit_uncertainty"].to_value(u.nm)
    # Every mode by its own scatter where that is more than photons promise.
    bars = found.table["uncertainty"].to_value(u.nm)
    np.testing.assert_allclose(bars, np.maximum(by_mode, own), rtol=1e-6)
    assert any("scatter" in row["source"] for row in found.budget_table)
    alone, together = (np.hypot.reduce(f.table["uncertainty"].to_value(u.nm)) for f in (one, found))
    # Photons alone would give 0.58; a standard error from three is above in two modes of five, by half
    # in the mean.
    assert 0.57 < together / alone < 0.9
    assert found.second_opinion is not None and found.second_opinion.agrees


def test_one_and_a_half_waves_are_little_and_said() -> None:
    """Below the 3 waves that tell seeing from aberration, above the 1.2 that are refused."""
    near = draw_pair(
        uneven_setup(inside_um=-280.0, outside_um=280.0, size_px=64, flux_e=1e6),
        np.random.default_rng(1),
    )
    found = fit(near)
    assert "wavefront.little-defocus" in codes_of(found)
    error = found.table["coefficient"].to_value(u.nm)[:18] - [
        UNEVEN.get(j, 0.0) for j in range(5, 23)
    ]
    bars = found.table["uncertainty"].to_value(u.nm)[:18]
    # RMS of 18 pulls: 1 +- 0.17 when the bars are right.
    assert np.sqrt(np.mean((error / bars) ** 2)) < 1.6


@pytest.mark.parametrize("orientation", ["flipped-x", "flipped-y", "rotated180"])
def test_a_flipped_view_is_undone(
    orientation: str, pair: Pair, result: starassay.WavefrontFit
) -> None:
    """Behind a diagonal the declared orientation gives the same map."""
    turn = {"flipped-x": np.s_[:, ::-1], "flipped-y": np.s_[::-1], "rotated180": np.s_[::-1, ::-1]}
    seen = dataclasses.replace(
        pair, inside=pair.inside[turn[orientation]], outside=pair.outside[turn[orientation]]
    )
    again = fit(seen, orientation=orientation, most_noll=22)
    n = 18
    np.testing.assert_allclose(
        again.table["coefficient"][:n].to_value(u.nm),
        result.table["coefficient"][:n].to_value(u.nm),
        atol=2.0,  # the window is cut half a pixel differently; the bars are about 0.5 nm
    )


def test_an_undeclared_flip_shows(pair: Pair) -> None:
    """Without the declaration the map is mirrored: sine terms change sign, so the test above can fail."""
    seen = dataclasses.replace(pair, inside=pair.inside[:, ::-1], outside=pair.outside[:, ::-1])
    mirrored = fit(seen, most_noll=22)
    got = dict(zip(mirrored.table["noll"], mirrored.table["coefficient"].to_value(u.nm)))
    assert got[8] == pytest.approx(-17.0, abs=3)
    assert got[7] == pytest.approx(12.0, abs=3)
    assert got[5] == pytest.approx(-14.0, abs=3)


def test_hubble_primary_mirror_error() -> None:
    """Roddier & Roddier 1993, Appl. Opt. 32, 2992: -0.290 um RMS of spherical aberration, spread
    0.005 um; D 2.4 m, f/24, obstruction 0.33. The annular term as circle terms by projection."""
    e2 = 0.33**2
    # Mahajan's annular spherical term is sqrt5 6 rho^4 / (1 - e^2)^2 + lower orders; the circle's has 6 sqrt5 rho^4.
    circle = -290.0 / (1 - e2) ** 2
    setup = PairSetup(
        aperture_mm=2400.0,
        focal_length_mm=57600.0,
        shape=PupilShape(obstruction=0.33),
        coefficients_nm={11: circle},
        wavelengths_nm=(700.0,),
        weights=(1.0,),
        pixel_um=30.0,
        size_px=112,
        inside_um=-40000.0,
        outside_um=40000.0,
        flux_e=2e7,
        seeing_arcsec=0.0,
    )
    drawn = draw_pair(setup, np.random.default_rng(5))
    scope = starassay.Telescope("2400 mm", "57600 mm", 0.33)
    found = fit(drawn, scope, wavelength=700 * u.nm, seeing=0 * u.arcsec, hold_seeing=True)
    assert found.rms.to_value(u.nm) == pytest.approx(290.0, abs=5.0)
    row = found.table[found.table["noll"] == 11]
    assert row["coefficient"].to_value(u.nm)[0] * (1 - e2) ** 2 == pytest.approx(-290.0, abs=5.0)
    assert "overcorrected" in row["words"][0]


def test_same_image_twice(pair: Pair) -> None:
    """One image given as both."""
    same = dataclasses.replace(pair, outside=pair.inside)
    with pytest.raises(starassay.CannotMeasureError, match="very same pixels"):
        fit(same)


@pytest.mark.parametrize("flux", [1e7, 2e6, 6e5])
@pytest.mark.parametrize("side", ["inside", "outside"])
def test_both_on_one_side(flux: float, side: str) -> None:
    """Two exposures of one side, of bright and of faint stars: a fit that comes out of them looks good and is wrong."""
    drawn = [draw_pair(uneven_setup(flux_e=flux), np.random.default_rng(seed)) for seed in (8, 9)]
    first, second = (getattr(p, side) for p in drawn)
    with pytest.raises(starassay.CannotMeasureError, match="same side"):
        fit(dataclasses.replace(drawn[0], inside=first, outside=second))


def test_too_little_defocus() -> None:
    """A star near focus holds no ring to measure."""
    near = draw_pair(
        uneven_setup(inside_um=-90.0, outside_um=90.0, size_px=64), np.random.default_rng(1)
    )
    with pytest.raises(starassay.CannotMeasureError, match="Defocus by 5 to 10 waves"):
        fit(near)


def test_star_cut_by_the_edge(pair: Pair) -> None:
    """Half a disc."""
    cut = dataclasses.replace(pair, inside=np.ascontiguousarray(pair.inside[:, 52:]))
    with pytest.raises(starassay.CannotMeasureError, match="outside the frame"):
        fit(cut)


def test_saturated_ring() -> None:
    """Most of the disc clipped."""
    bright = draw_pair(uneven_setup(), np.random.default_rng(2))
    level = float(np.percentile(bright.inside, 70))
    clipped = dataclasses.replace(
        bright,
        inside=np.minimum(bright.inside, level),
        declared=dataclasses.replace(bright.declared, saturation_adu=level),
    )
    with pytest.raises(starassay.CannotMeasureError, match="saturated"):
        fit(clipped)


def test_hole_without_obstruction_and_wrong_distance_are_said() -> None:
    """A doughnut from a telescope declared clear, with distances that do not fit."""
    ring = draw_pair(uneven_setup(shape=PupilShape(obstruction=0.4)), np.random.default_rng(4))
    found = fit(ring, distances=[-1.2 * u.mm, 1.1 * u.mm], most_noll=22)
    codes = {note.code for note in found.notes}
    assert {"wavefront.hole", "wavefront.distance-contradicts"} <= codes
    assert not found.decided


def test_wrong_number_of_images(pair: Pair) -> None:
    """Lists of different length."""
    with pytest.raises(starassay.InputError, match="as many of one as of the other"):
        starassay.fit_wavefront([pair.inside], [], SCOPE, wavelength=540 * u.nm)


def test_result_is_plain_data(result: starassay.WavefrontFit) -> None:
    """Table, record and figures."""
    assert result.table.colnames[:4] == ["noll", "osa", "mode", "coefficient"]
    record = json.loads(json.dumps(result.to_dict()))
    assert record["noll"][0] == 5 and record["osa"][0] == 3
    assert any("RMS" in line for line in result.summary())
    assert result.plot().figure is not None
    assert len(result.plot_images().axes) == 12
    assert result.plot_coefficients().figure is not None
    assert len(result.plot_views().axes) >= 6


def test_command_line(tmp_path: Path, pair: Pair) -> None:
    """The command of the README, with the whole record as JSON."""
    for name, pixels in (("inside", pair.inside), ("outside", pair.outside)):
        header = fits.Header(
            {"EGAIN": 1.5, "XPIXSZ": 3.76, "YPIXSZ": 3.76, "EXPTIME": 20.0, "RDNOISE": 3.0}
        )
        fits.writeto(tmp_path / f"{name}.fits", pixels.astype(np.uint16), header)
    out = tmp_path / "record.json"
    arguments = [
        "measure",
        "wavefront",
        str(tmp_path / "inside.fits"),
        str(tmp_path / "outside.fits"),
    ]
    arguments += ["--aperture", "115 mm", "--focal-length", "760 mm", "--obstruction", "0"]
    arguments += ["--wavelength", "540 nm", "--json", str(out), "--quiet"]
    assert main(arguments) == 0
    record = json.loads(out.read_text(encoding="utf-8"))
    spherical = record["noll"].index(11)
    assert record["osa"][spherical] == 12
    assert record["coefficient"]["value"][spherical] == pytest.approx(20.0, abs=3.0)
    assert record["coefficient"]["unit"] == "nm"
    for key in ("rms", "pv", "strehl"):
        assert record[key]["uncertainty"] > 0


def test_a_bias_left_in_is_measured_and_harmless(
    pair: Pair, result: starassay.WavefrontFit
) -> None:
    """The bias comes back from level and noise of the sky; a wrong gain is told from it."""
    bias = pair.declared.bias_adu
    said = [note.text for note in result.notes if note.code == "wavefront.bias-in"]
    assert len(said) == 2
    for text in said:
        # 20 electrons of sky and 3 of read noise over some thousand pixels: good to a few per cent.
        assert float(text.split("about ")[1].split(" ADU")[0]) == pytest.approx(bias, rel=0.05)
    assert "wavefront.gain-doubtful" not in {note.code for note in result.notes}

    without = dataclasses.replace(
        pair, inside=np.maximum(pair.inside - bias, 0), outside=np.maximum(pair.outside - bias, 0)
    )
    found = fit(without)
    assert "wavefront.bias-in" not in {note.code for note in found.notes}
    moved = (found.table["coefficient"] - result.table["coefficient"]).to_value(u.nm)
    assert np.all(np.abs(moved) < 0.5 * result.table["uncertainty"].to_value(u.nm))

    wrong = dataclasses.replace(pair.declared, gain_e_per_adu=0.3)
    codes = {note.code for note in fit(dataclasses.replace(pair, declared=wrong)).notes}
    assert "wavefront.gain-doubtful" in codes


def test_an_exchanged_pair_turns_even_aberrations_and_nothing_else(
    result: starassay.WavefrontFit, pair: Pair
) -> None:
    """-W(-x, -y) inside focus looks like W outside: what the note on exchanged pairs says, measured."""
    names = {"inside": "star-outside", "outside": "star-inside"}
    swapped = dataclasses.replace(pair, inside=pair.outside, outside=pair.inside)
    other = fit(swapped, names=names)
    assert "wavefront.exchanged" in [n.code for n in other.notes]
    assert "wavefront.exchanged" not in [n.code for n in result.notes]
    bars = result.table["uncertainty"].to_value(u.nm)
    right, turned = (
        dict(zip(f.table["noll"], f.table["coefficient"].value)) for f in (result, other)
    )
    for noll, bar in zip(result.table["noll"], bars):
        sign = {5: -1, 6: -1, 11: -1, 7: 1, 8: 1, 9: 1, 10: 1}.get(int(noll))
        if sign is not None:
            # The same photons: what differs is the fit's own way, which must stay below their noise.
            assert turned[noll] == pytest.approx(sign * right[noll], abs=bar)
    assert float(other.strehl) == pytest.approx(float(result.strehl), abs=0.002)

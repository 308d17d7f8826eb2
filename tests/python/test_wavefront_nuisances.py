"""What camera, guiding and secondary do to a pair, put into images drawn by a simulator that shares no code with the engine.

Each effect is drawn as large as a careful user may meet it. With the effect declared as impossible the wavefront is wrong
by many bars or the model misfits; as it is measured by default it is right within them. The noise is the same in both.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy import units as u

import starassay

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "accuracy"))

from pairs import Pair, PupilShape, Vane, draw_pair  # noqa: E402
from test_wavefront import EXACT, NOTHING_BESIDE, UNEVEN, frame, uneven_setup  # noqa: E402

SCOPE = starassay.Telescope("115 mm", "760 mm", 0.3, name="Juniper 115")


def drawn(**changes: Any) -> Pair:
    """Four waves to either side, with much light."""
    setup = uneven_setup(
        shape=PupilShape(obstruction=0.3),
        inside_um=-850.0,
        outside_um=800.0,
        size_px=72,
        flux_e=3e7,
    )
    return draw_pair(replace(setup, **changes), np.random.default_rng(11))


def sloped(pair: Pair, share: float) -> Pair:
    """The response rises by that share over the width of the window, bias not."""
    bias = pair.declared.bias_adu
    slope = 1 + share * np.linspace(-0.5, 0.5, pair.inside.shape[1])
    return replace(
        pair,
        inside=(pair.inside - bias) * slope + bias,
        outside=(pair.outside - bias) * slope + bias,
    )


def bent(pair: Pair, share: float) -> Pair:
    """The brightest pixel of each image is too faint by that share."""
    bias = pair.declared.bias_adu

    def lower(image: np.ndarray) -> np.ndarray:
        light = image - bias
        return light * (1 - share * light / light.max()) + bias

    return replace(pair, inside=lower(pair.inside), outside=lower(pair.outside))


def fitted(pair: Pair, **options: Any) -> starassay.WavefrontFit:
    """By what is known of it."""
    return starassay.fit_wavefront(
        frame(pair.inside, pair, "inside"),
        frame(pair.outside, pair, "outside"),
        SCOPE,
        wavelength=540 * u.nm,
        most_noll=22,
        **options,
    )


def off(found: starassay.WavefrontFit, noll: int) -> float:
    """Error of a coefficient over its bar."""
    row = found.table[found.table["noll"] == noll][0]
    wrong = row["coefficient"].to_value(u.nm) - UNEVEN.get(noll, 0.0)
    return float(wrong / row["uncertainty"].to_value(u.nm))


def codes(found: starassay.WavefrontFit) -> list[str]:
    """Of its notes."""
    return [note.code for note in found.notes]


def test_a_response_that_slopes_is_no_coma() -> None:
    """4 % from edge to edge of the window, as far from the middle without a flat field."""
    pair = sloped(drawn(), 0.04)
    blind, found = fitted(pair, **NOTHING_BESIDE), fitted(pair)
    assert abs(off(blind, 8)) > 5
    assert abs(off(found, 8)) < 2.5
    assert "wavefront.uneven-response" not in codes(blind)
    row = next(r for r in found.budget_table if r["source"].startswith("evenness"))
    assert 0 < row["map"].to_value(u.nm) < 0.3


def test_a_slope_that_a_flat_field_should_have_taken_is_said() -> None:
    """5 % over the window are 3 % and more over the disc."""
    found = fitted(sloped(drawn(), 0.05))
    note = next(n for n in found.notes if n.code == "wavefront.uneven-response")
    assert "Flat-field" in note.text
    told = float(note.text.split(" by ")[1].split(" %")[0])
    disc = 850.0 * 115 / 760 / 3.76
    assert told == pytest.approx(5.0 * disc / 72, rel=0.15)


def test_a_shadow_off_the_middle_is_fitted() -> None:
    """3 % of the radius, as by the usual offset of a fast Newtonian's secondary."""
    shape = PupilShape(obstruction=0.3, obstruction_centre=(0.03, -0.01))
    pair = drawn(shape=shape)
    blind, found = fitted(pair, **NOTHING_BESIDE), fitted(pair)
    assert blind.chi_squared > 1.3
    assert found.chi_squared < 1.15
    assert max(abs(off(found, j)) for j in range(5, 12)) < 3
    note = next(n for n in found.notes if n.code == "wavefront.shadow-off-center")
    told = float(note.text.split(" stands ")[1].split(" %")[0])
    assert told == pytest.approx(100 * np.hypot(0.03, 0.01), abs=0.2)


def test_the_bars_hold_what_a_camera_that_is_not_linear_does() -> None:
    """Half a percent at the brightest pixel moves the modes by what its line says, and is not taken for something else."""
    pair = drawn()
    # With nothing else free to follow: what is moved is what the line speaks of.
    exactly = {k: v for k, v in EXACT.items() if not k.startswith("linearity")}
    straight, found = fitted(pair, **exactly), fitted(bent(pair, 0.005), **exactly)
    moved = np.sqrt(np.sum((found.table["coefficient"] - straight.table["coefficient"]) ** 2))
    row, told = (
        next(r for r in fit.budget_table if r["source"].startswith("linearity"))
        for fit in (straight, found)
    )
    left = float(row["input"].split("leave ")[1].split(" %")[0]) / 100
    # A map over the ring of light is not quite the sum over modes of the full disc.
    assert float(left * moved / row["map"]) == pytest.approx(1.0, abs=0.3)
    # Where the camera is bent, the images say so, and the line is no smaller than what that does.
    assert told["map"] > 0.5 * moved
    assert abs(found.strehl.value - straight.strehl.value) < 2 * found.strehl.uncertainty
    assert set(codes(found)) <= set(codes(straight))


@pytest.mark.parametrize("along, across", [(0.8, 0.0), (0.0, 0.8), (1.2, 0.1)])
def test_a_trail_is_told(along: float, across: float) -> None:
    """RMS in arcsec along x and y, in both images, as long as the seeing (2 arcsec FWHM) is wide."""
    blind = fitted(drawn(jitter_arcsec=(along, across)), **NOTHING_BESIDE)
    found = fitted(drawn(jitter_arcsec=(along, across)))
    assert blind.chi_squared > 1.3 and found.chi_squared < 1.05
    note = next(n for n in found.notes if n.code == "wavefront.trailed")
    told = float(note.text.split(" by ")[1].split(" arcsec")[0])
    assert told == pytest.approx(np.sqrt(abs(along**2 - across**2)), abs=0.06)
    assert max(abs(off(found, j)) for j in (5, 6)) < 3
    assert "wavefront.scale-contradicts" not in codes(found)
    assert "wavefront.methods-disagree" not in codes(found)


def test_nothing_is_said_of_a_good_pair() -> None:
    """And what is fitted beside the model hardly widens the bars; the camera's straight line is not fitted."""
    pair = drawn()
    fitted_ones = {k: v for k, v in NOTHING_BESIDE.items() if not k.startswith("linearity")}
    blind, found = fitted(pair, **fitted_ones), fitted(pair)
    for code in ("uneven-response", "not-linear", "trailed", "shadow-off-center"):
        assert f"wavefront.{code}" not in codes(found)
    for name in ("strehl", "rms"):
        without, with_them = (getattr(f, name).uncertainty for f in (blind, found))
        assert with_them < 1.3 * without
    assert max(abs(off(found, j)) for j in range(5, 12)) < 3


@pytest.mark.parametrize("count, width, turn", [(4, 0.02, 10.0), (3, 0.012, 65.0)])
def test_vanes_that_nobody_stated_are_found(count: int, width: float, turn: float) -> None:
    """As wide as one and two thirds of a percent of the aperture; the simulator's width is in radii."""
    vanes = tuple(Vane(turn + k * 360.0 / count, width) for k in range(count))
    pair = drawn(shape=PupilShape(obstruction=0.3, vanes=vanes), declared_changes={"vanes": ()})
    found = fitted(pair)
    assert found.chi_squared < 1.1
    note = next(n for n in found.notes if n.code == "wavefront.vanes-found")
    assert f"{count} vanes {100 * width / 2:.1f} %" in note.text
    told = [float(a) for a in note.text.split(", at ")[1].split(" degrees")[0].split(", ")]
    assert told == pytest.approx([v.angle_deg for v in vanes], abs=1)
    assert max(abs(off(found, j)) for j in range(5, 12)) < 3
    assert found.decided


def test_vanes_that_nobody_stated_do_not_pass_for_another_scale() -> None:
    """With focal length and wavelength off by one and a half standard uncertainties, both the same way: what is known to them
    is no contradiction, however much better a fit becomes that knows the vanes."""
    vanes = tuple(Vane(10.0 + 90.0 * k, 0.02) for k in range(4))
    pair = drawn(shape=PupilShape(obstruction=0.3, vanes=vanes), declared_changes={"vanes": ()})
    scope = starassay.Telescope("115 mm", "765.7 mm", 0.3, name="Juniper 115")
    frames = (frame(pair.inside, pair, "inside"), frame(pair.outside, pair, "outside"))
    found = starassay.fit_wavefront(*frames, scope, wavelength=544.05 * u.nm, most_noll=22)
    assert "wavefront.vanes-found" in codes(found)
    assert "wavefront.scale-contradicts" not in codes(found)
    assert found.decided and found.chi_squared < 1.1
    assert max(abs(off(found, j)) for j in range(5, 12)) < 3


def test_no_vanes_are_found_where_there_are_none() -> None:
    """Neither with a trail nor with a shadow off the middle, which misfit as well."""
    off_middle = PupilShape(obstruction=0.3, obstruction_centre=(0.03, -0.01))
    for pair in (drawn(), drawn(jitter_arcsec=(1.2, 0.1)), drawn(shape=off_middle)):
        assert "wavefront.vanes-found" not in codes(fitted(pair))


def test_inputs_that_are_a_little_off_follow_the_images() -> None:
    """Scale, wavelength and obstruction each stated wrong by their standard uncertainty, in the directions that add up."""
    pair = drawn()
    scope = starassay.Telescope("115 mm", "763.8 mm", 0.303, name="Juniper 115")
    options: dict[str, Any] = dict(wavelength=542.7 * u.nm, most_noll=22)
    frames = (frame(pair.inside, pair, "inside"), frame(pair.outside, pair, "outside"))
    held = starassay.fit_wavefront(*frames, scope, **options, **{**EXACT, **NOTHING_BESIDE})
    found = starassay.fit_wavefront(*frames, scope, **options)
    assert held.chi_squared > 1.1
    assert found.chi_squared < 1.02
    assert max(abs(off(found, j)) for j in range(5, 12)) < 3
    # By half a percent of a wave and of the scale that no image tells apart.
    true = np.sqrt(sum(v**2 for v in UNEVEN.values()))
    assert found.rms.uncertainty.to_value(u.nm) > 0.003 * true

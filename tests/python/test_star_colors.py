"""Colors of a star against published chromaticities, closed forms of diffraction, and the same drawn again."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import matplotlib.pyplot as plt
import numpy as np
import pytest
from astropy import units as u
from scipy.integrate import quad
from scipy.special import j0, j1

import starassay
from starassay import InputError, PupilMap, cli
from starassay.campaign.showing import shown, told
from starassay.optics import color_vision as vision
from starassay.optics.records import ColorRecord
from starassay.optics.star_color_table import TELLABLE
from starassay.optics.star_colors import draw_curve_colors

D, N = 100.0, 7.0
# An achromat: short in green, long in violet and red (invented).
NM = np.arange(395.0, 711.0, 15.0)
LENS = 3e13 * (1 / NM**2 - 1 / 540**2) ** 2
FLAT = {380.0: 0 * u.um, 780.0: 0 * u.um}


def pupil(e: float = 0.0, **modes: Any) -> PupilMap:
    return PupilMap.from_zernike(
        wavelength=550 * u.nm, focal_ratio=N, obstruction=e, samples=128, **modes
    )


def curve(focus: np.ndarray = LENS, off: Any = ()) -> ColorRecord:
    """A measured curve whose replicates lie so far off."""
    rows = np.stack([focus + one for one in off]) if len(off) else np.tile(focus, (2, 1))
    return ColorRecord(
        NM * u.nm,
        focus * u.um,
        rows.std(axis=0) * u.um,
        rows * u.um,
        np.ones(len(NM), dtype=bool),
        N,
        0.0,
        D * N * u.mm,
        "A0",
    )


def row(drawn: Any, place: str, part: str) -> Any:
    return next(r for r in drawn.table if (r["place"], r["part"]) == (place, part))


def engine(waves: list[float], focus: list[float], map_: PupilMap | None = None, **how: Any) -> Any:
    """What the engine says, without the face."""
    asked = {"kelvin": 6000.0, "defocus_um": 5 * 8 * N**2 * 0.55, "aperture_mm": D}
    return (map_ or pupil())._call(
        "views.star-colors", wavelengths_nm=waves, focus_um=focus, **{**asked, **how}
    )


def test_observer_against_the_published_fit() -> None:
    """Wyman, Sloan and Shirley 2013 (JCGT 2, 2), sums of Gaussians with two widths, which stay within 0.05 of the table."""

    def lobe(nm: np.ndarray, at: float, left: float, right: float) -> np.ndarray:
        return np.exp(-0.5 * ((nm - at) * np.where(nm < at, left, right)) ** 2)

    nm = np.arange(380.0, 781.0, 5.0)
    fit = (
        1.056 * lobe(nm, 599.8, 0.0264, 0.0323)
        + 0.362 * lobe(nm, 442.0, 0.0624, 0.0374)
        - 0.065 * lobe(nm, 501.1, 0.0490, 0.0382),
        0.821 * lobe(nm, 568.8, 0.0213, 0.0247) + 0.286 * lobe(nm, 530.9, 0.0613, 0.0322),
        1.217 * lobe(nm, 437.0, 0.0845, 0.0278) + 0.681 * lobe(nm, 459.0, 0.0385, 0.0725),
    )
    functions = np.asarray(vision._matching(6500.0)["functions"])
    for own, published in zip(functions, fit):
        np.testing.assert_allclose(own, published, atol=0.05)
        assert own.sum() == pytest.approx(published.sum(), rel=0.01)


@pytest.mark.parametrize("kelvin", [3000.0, 5000.0, 6504.0, 9600.0, 15000.0])
def test_black_bodies_lie_on_the_published_locus(kelvin: float) -> None:
    """Krystek 1985 (Color Res. Appl. 10, 38): u, v of the CIE 1960 diagram, good to 1e-4."""
    t = kelvin
    u_ = (0.860117757 + 1.54118254e-4 * t + 1.28641212e-7 * t**2) / (
        1 + 8.42420235e-4 * t + 7.08145163e-7 * t**2
    )
    v = (0.317398726 + 4.22806245e-5 * t + 4.20481691e-8 * t**2) / (
        1 - 2.89741816e-5 * t + 1.61456053e-7 * t**2
    )
    even = vision.even_chromaticity(vision.star_light(kelvin))
    # v' is 1.5 v.
    np.testing.assert_allclose(even, [u_, 1.5 * v], atol=3e-4)


def test_illuminant_a() -> None:
    """x 0.4476, y 0.4074 (ISO/CIE 11664-2): a black body of 2848 K with c2 = 14350 um K, which is 2855.5 K with today's."""
    at = vision.chromaticity(vision.star_light(2855.5))
    np.testing.assert_allclose(at, [0.4476, 0.4074], atol=3e-4)


def test_screen() -> None:
    """White, primaries (IEC 61966-2-1, chromaticities of ITU-R BT.709), and what a screen cannot show."""
    np.testing.assert_allclose(
        vision.as_screen_color(np.array([0.9505, 1.0, 1.0890])), [1, 1, 1], atol=1e-3
    )
    for channel, (x, y) in enumerate(((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))):
        shown_ = vision.as_screen_color(np.array([x / y, 1, (1 - x - y) / y]) * 0.05)
        # The standard's matrix has four decimals.
        assert np.argmax(shown_) == channel and np.sort(shown_)[1] < 0.02
    bright = vision.as_screen_color(np.array([[2.0, 1.6, 1.0], [20.0, 16.0, 10.0]]))
    assert bright.max() == pytest.approx(1) and bright[0] == pytest.approx(bright[1])
    violet = vision.as_screen_color(np.array([0.0143, 0.0004, 0.0679]))
    assert violet.min() >= 0 and violet[2] > violet[0] > violet[1]
    # D65 in the even diagram: published 0.1978, 0.4683.
    white = vision.even_chromaticity(np.array([0.95047, 1.0, 1.08883]))
    np.testing.assert_allclose(white, [0.1978, 0.4683], atol=1e-4)


@pytest.mark.parametrize(
    ("nm", "word"),
    [
        (436, "violet"),
        (470, "blue"),
        (546, "green"),
        (578, "yellow"),
        (589, "orange"),
        (650, "red"),
    ],
)
def test_words_for_hues(nm: float, word: str) -> None:
    """Lines of lamps from the white of D65, which everybody calls so; away from green it is purple."""
    white = np.array([0.1978, 0.4683])
    functions = np.asarray(vision._matching(6500.0)["functions"]).T
    waves = np.arange(380.0, 781.0, 5.0)
    line = np.array([np.interp(nm, waves, f) for f in functions.T])
    step = vision.even_chromaticity(line) - white
    assert vision.hue(step, white) == word
    if word == "green":
        assert vision.hue(-step, white) == "purple"


def test_types_of_stars() -> None:
    """The Sun's type and temperature (IAU 2015: 5772 K), Vega's, and a temperature itself."""
    assert vision.temperature("G2V").value == pytest.approx(5772, rel=0.01)
    assert vision.temperature("A0").value == pytest.approx(9650, rel=0.02)
    assert vision.temperature("A").value == vision.temperature("A5").value
    assert vision.temperature("5000 K") == 5000 * u.K
    for wrong in ("Alpha", "9600", "Z3", 9600):
        with pytest.raises((InputError, u.UnitsError)):
            vision.temperature(wrong)


def test_a_telescope_without_color_error_shows_none() -> None:
    """All colors at one focus: the perfect telescope itself, whatever the place of that focus."""
    at = {nm: 75 * u.um for nm in FLAT}
    drawn = starassay.draw_star_colors(pupil(0.3), D * u.mm, at)
    assert drawn.sensor.value == pytest.approx(75)
    np.testing.assert_allclose(drawn.focus, drawn.perfect_focus, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(drawn.outside, drawn.perfect_out, rtol=1e-9, atol=1e-12)
    # Without an error of its own the pattern inside is that outside, turned by 180 degrees.
    np.testing.assert_allclose(drawn.inside, drawn.outside[::-1, ::-1], rtol=1e-6, atol=1e-9)
    assert np.all(drawn.table["tint"] < 1e-9) and set(drawn.table["seen"]) == {"no"}
    assert not any("tinted" in line for line in drawn.sentences())
    # Diffraction itself is wider in red: the halo of a perfect telescope is redder than its middle.
    assert row(drawn, "in focus", "halo")["x"] > row(drawn, "in focus", "middle")["x"]


@pytest.mark.parametrize("e", [0.0, 0.3])
def test_light_of_each_color_in_focus(e: float) -> None:
    """1 - J0^2 - J1^2 within a radius (Rayleigh 1881), behind an obstruction the integral of the annular pattern."""
    waves = [440.0, 500.0, 550.0, 600.0, 660.0]
    r = engine(waves, [0.0] * 5, pupil(e))
    assert np.allclose(r["light"][::2][0, 0], r["perfect_light"][0])
    for row_, name in ((0, "airy_arcsec"), (1, "halo_arcsec")):
        for k, nm in enumerate(waves):
            edge = np.pi * r[name] / (nm * 1e-6 / D * np.rad2deg(1) * 3600)
            if e == 0:
                within = 1 - j0(edge) ** 2 - j1(edge) ** 2
            else:
                within = quad(
                    lambda v: 2 / (1 - e**2) * (j1(v) - e * j1(e * v)) ** 2 / v,
                    1e-9,
                    edge,
                    limit=200,
                )[0]
            expected = within if row_ == 0 else 1 - within
            # The pupil of 128 samples, its rim and its obstruction a sample wide.
            assert r["perfect_light"][row_, k] == pytest.approx(expected, abs=0.004)


def test_light_of_each_color_out_of_focus() -> None:
    """The diffraction integral of a defocused pupil (Born and Wolf, 8.8), by Gauss and Legendre over pupil and image."""
    waves, focus = [450.0, 550.0, 650.0], [60.0, 0.0, 30.0]
    r = engine(waves, focus)
    node, weight = np.polynomial.legendre.leggauss(300)
    rho, wr = 0.5 * node + 0.5, 0.5 * weight
    for row_, side in ((2, -1), (4, 1)):
        for k, nm in enumerate(waves):
            shift = r["sensor_um"] + side * 5 * 8 * N**2 * 0.55 - focus[k]
            defocus = shift * 1e3 / (8 * N**2) / nm
            unit = nm * 1e-6 / D * np.rad2deg(1) * 3600
            for part, edge in ((0, 0.5 * r["disc_arcsec"]), (1, r["disc_arcsec"])):
                place = (0.5 * node + 0.5) * edge / unit
                field = 2 * (
                    j0(np.pi * np.outer(place, rho))
                    @ (rho * wr * np.exp(-2j * np.pi * defocus * rho**2))
                )
                # All light: the integral of |field|^2 over the plane is 4 / pi in units of wavelength / D.
                within = (
                    np.pi**2 / 2 * (0.5 * weight * edge / unit) @ (place * np.abs(field) ** 2)
                )
                expected = within if part == 0 else 1 - within
                assert r["light"][row_ + part, 0, k] == pytest.approx(expected, abs=0.005)


def test_one_color_is_the_focused_image() -> None:
    """The picture of nearly one wavelength is what `draw_focused_image` draws, aberrations and all."""
    lens = pupil(coma="30 nm", spherical="25 nm", astigmatism_45="15 nm")
    r = engine([549.0, 551.0], [0.0, 0.0], lens)
    image = np.asarray(r["focus"])[1]
    unit = 550e-6 / D * np.rad2deg(1) * 3600
    half = r["position"][-1] / unit
    same = starassay.draw_focused_image(lens, half_width=half, samples=len(image))
    # Light per square arcsec: the middle of the perfect image is (pi / 4) / unit^2.
    np.testing.assert_allclose(image * unit**2 / (np.pi / 4), same.intensity, atol=0.01)


def test_no_light_is_lost() -> None:
    """X, Y and Z of the whole picture are those of the star but for what diffraction throws beyond it."""
    drawn = starassay.draw_star_colors(pupil(), D * u.mm, curve(), seeing="0.8 arcsec")
    star = vision.star_light(9600.0)
    for image, place in (
        (drawn.focus, drawn.position),
        (drawn.inside, drawn.wide_position),
        (drawn.outside, drawn.wide_position),
    ):
        step = place[1].value - place[0].value
        whole = image.sum(axis=(0, 1)) * step**2
        # The curve covers 395 to 710 nm, all but a hundredth of each.
        assert np.all(whole < 1.005 * star) and np.all(whole > 0.94 * star)
        # And what the table says lies in it does.
        x, y = np.meshgrid(place.value, place.value)
    inside = image[np.hypot(x, y) < 0.5 * drawn.disc.value].sum(axis=0) * step**2
    told_ = row(drawn, "outside focus", "middle")
    assert told_["light"] == pytest.approx(inside[1], rel=0.02)
    assert told_["x"] == pytest.approx(inside[0] / inside.sum(), abs=0.001)


def test_an_achromat_is_told_by_its_colors() -> None:
    """Violet focuses long: its disc is the larger one inside of focus and the smaller one outside; violet halo in focus."""
    drawn = starassay.draw_star_colors(pupil(), D * u.mm, curve())
    assert row(drawn, "in focus", "halo")["hue"] in ("violet", "blue")
    assert row(drawn, "inside focus", "edge")["hue"] in ("violet", "purple")
    assert "green" in row(drawn, "outside focus", "edge")["hue"]
    for place, part in (("in focus", "halo"), ("inside focus", "edge"), ("outside focus", "edge")):
        one = row(drawn, place, part)
        assert one["seen"] == "yes" and one["tint"] > TELLABLE
        # Distance by hand from x and y: u' = 4 x / (-2 x + 12 y + 3), v' = 9 y / (-2 x + 12 y + 3), ISO/CIE 11664-5.
        even = [
            np.array([4 * one[f"{p}x"], 9 * one[f"{p}y"]])
            / (-2 * one[f"{p}x"] + 12 * one[f"{p}y"] + 3)
            for p in ("", "perfect_")
        ]
        assert one["tint"] == pytest.approx(np.hypot(*(even[0] - even[1])), rel=1e-6)
    assert "The halo is tinted" in " ".join(drawn.sentences())
    figure = drawn.plot()
    assert len(figure.axes) == 9
    plt.close(figure)


def test_uncertainty_is_that_of_curves_drawn_again() -> None:
    """Replicates a depth of focus off in violet: their light and tint, each drawn by itself, and a scale 1 % larger."""
    off = 12.0 * np.exp(-(((NM - 430) / 40) ** 2))
    drawn = starassay.draw_star_colors(pupil(), D * u.mm, curve(off=(off, -off)))
    again = [
        starassay.draw_star_colors(pupil(), D * u.mm, curve(f))
        for f in (LENS + off, LENS - off, 1.01 * LENS)
    ]
    for name in ("light", "x", "y", "tint"):
        moved = np.stack([np.asarray(one.table[name] - drawn.table[name]) for one in again])
        expected = np.sqrt((moved[:2] ** 2).mean(axis=0) + moved[2] ** 2)
        told_ = np.asarray(drawn.table[f"{name}_uncertainty"])
        # A parabola through three places of each color's focus stands for the whole: good to a tenth where the part moves at all.
        np.testing.assert_allclose(told_, expected, rtol=0.12, atol=2e-4)
    assert drawn.known and np.all(drawn.table["tint_uncertainty"] > 0)


def test_an_eye_turns_to_focus() -> None:
    """A curve that is farther out as a whole shows the same; errors that all colors share are none."""
    drawn, moved = (
        starassay.draw_star_colors(pupil(), D * u.mm, curve(LENS + by, off=(1.0, -1.0)))
        for by in (0, 500)
    )
    assert moved.sensor.value - drawn.sensor.value == pytest.approx(500, abs=0.01)
    np.testing.assert_allclose(moved.table["tint"], drawn.table["tint"], atol=1e-5)
    scale = starassay.draw_star_colors(pupil(), D * u.mm, curve(off=(1e-9, -1e-9)))
    np.testing.assert_allclose(
        drawn.table["tint_uncertainty"], scale.table["tint_uncertainty"], rtol=0.02, atol=1e-6
    )


def test_what_cannot_be_told_is_said() -> None:
    few = {500.0: 0 * u.um, 600.0: 10 * u.um}
    with pytest.raises(InputError, match="covers 500 to 600 nm; 9. % of what"):
        starassay.draw_star_colors(pupil(), "100 mm", few)
    undecided = SimpleNamespace(lens=FLAT, signs_decided=False)
    with pytest.raises(InputError, match="not decided"):
        starassay.draw_star_colors(pupil(), "100 mm", undecided)
    far = {400.0: 20_000 * u.um, 550.0: 0 * u.um, 700.0: 0 * u.um}
    with pytest.raises(InputError, match="colors"):
        starassay.draw_star_colors(pupil(), "100 mm", far)
    for wrong in (
        {"defocus": 0.3},
        {"halo_radius": "0.1 arcsec"},
        {"star": "10 K"},
        {"seeing": "90 arcsec"},
    ):
        with pytest.raises(InputError):
            starassay.draw_star_colors(pupil(), "100 mm", FLAT, **wrong)  # type: ignore[arg-type]
    unknown = dataclasses.replace(curve(), focal_length=np.nan * u.mm)
    with pytest.raises(InputError, match="Give it: aperture"):
        draw_curve_colors(unknown)
    # Narrower wavelengths than an eye sees are named.
    part = {nm: 0 * u.um for nm in (420.0, 780.0)}
    assert "left out of both" in " ".join(
        starassay.draw_star_colors(pupil(), "100 mm", part).sentences()
    )


def record_of(one: ColorRecord, path: Path) -> Path:
    """As `measure color-focus --json` writes what is read of it."""
    content: dict[str, Any] = {
        name: {"value": getattr(one, name).value.tolist(), "unit": str(getattr(one, name).unit)}
        for name in ("wavelength", "smooth", "smooth_uncertainty", "replicates", "focal_length")
    }
    content |= {"used": one.used.tolist(), "focal_ratio": N, "obstruction": 0.0}
    content |= {"signs_decided": True, "conditions": {"star": one.star}}
    path.write_text(json.dumps(content), encoding="utf-8")
    return path


def test_the_command_shows_a_color_focus_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What it prints is what the notebook's function gives; other views need a wavefront."""
    known = curve(off=(np.full(len(NM), 2.0), np.full(len(NM), -2.0)))
    record, picture = record_of(known, tmp_path / "colors.json"), tmp_path / "shown.png"
    asked = ["show", str(record), "--star", "G2", "--star-colors", "3"]
    assert cli.main([*asked, "--plot", str(picture), "--table", str(tmp_path / "t.ecsv")]) == 0
    drawn = starassay.draw_star_colors(pupil(), D * u.mm, known, star="G2", defocus=3)
    assert capsys.readouterr().out.splitlines() == drawn.sentences()
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert (tmp_path / "t.ecsv").read_text().startswith("# %ECSV")
    for more in (["--planet", "20arcsec"], ["--star-test", "3"], ["--colors", str(record)]):
        assert cli.main(["show", str(record), *more]) == 2
        assert "does not go with the record of a color focus" in capsys.readouterr().err


def test_a_report_shows_the_colors_of_a_star() -> None:
    """From the color focus alone, and through the measured wavefront where there is one."""
    known = curve()

    def draw(pupil: PupilMap | None = None, **how: Any) -> Any:
        return draw_curve_colors(known, pupil, known.star, **how)

    site = SimpleNamespace(site=SimpleNamespace(seeing=0 * u.arcsec))

    def part(*optics: dict[str, Any]) -> Any:
        pieces = [
            SimpleNamespace(result=SimpleNamespace(optics=lambda o=o: o), aside=False, label="x")
            for o in optics
        ]
        outcome = SimpleNamespace(tests=[SimpleNamespace(own=True, pieces=pieces)], campaign=site)
        return told(shown(outcome))  # type: ignore[arg-type]

    colors = {"colors": known.lens, "star_colors": draw}
    alone = part(colors)
    assert alone["light"] == "" and alone["figures"] == [] and alone["star_tests"] == []
    assert alone["star_colors"]["lines"][1].startswith("In focus: ")
    assert "tinted" in alone["star_colors"]["figure"]["alt"]
    # So large that targets are not drawn, which would take longer.
    lens = {"pupil": pupil(spherical="60 nm"), "aperture": 4000 * u.mm, "seeing": None}
    both = part(colors, lens)
    assert both["star_colors"]["lines"] != alone["star_colors"]["lines"]
    assert both["light"].startswith("all colors")

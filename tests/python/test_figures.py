"""What figures say beside what they draw: counts, reasons, names; and lengths in inches."""

from __future__ import annotations

import base64
import struct
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from astropy import units as u
from matplotlib import pyplot as plt

import starassay
from starassay import Telescope, measure_stars


def sky(stars: int, amplitude: float, seed: int = 2) -> np.ndarray:
    """Round stars on a flat sky."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:300, 0:400]
    image = rng.normal(300, 5, x.shape)
    for _ in range(stars):
        cx, cy = rng.uniform(15, 385), rng.uniform(15, 285)
        image += amplitude * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * 1.8**2))
    return image.astype(np.float32)


@pytest.mark.parametrize("draw", ["plot", "plot_ellipticity"])
def test_a_field_without_a_clean_star_shows_the_flagged(draw: str) -> None:
    field = measure_stars(np.minimum(sky(12, 60_000), 30_000), outer_radius=60)
    assert field.clean_stars == 0 and len(field) > 0
    ax = getattr(field, draw)()
    drawn = sum(len(c.get_offsets()) for c in ax.collections)
    assert drawn == len(field)
    said = " ".join(t.get_text() for t in ax.get_legend().get_texts())
    assert field.flag_names(0)[0] in said


def test_a_map_says_what_its_dots_are() -> None:
    field = measure_stars(sky(10, 4000))
    title = field.plot().get_title()
    assert f"{field.clean_stars} clean stars" in title


@pytest.mark.parametrize(("text", "mm"), [("4.5 in", 114.3), ("8inch", 203.2), ("1e1 inches", 254)])
def test_inches_are_lengths(text: str, mm: float) -> None:
    """1 inch = 25.4 mm exactly (international yard and pound agreement, 1959)."""
    assert Telescope(text, "900 mm").aperture.to_value(u.mm) == pytest.approx(mm, rel=1e-15)


def test_inches_are_no_angles() -> None:
    with pytest.raises(starassay.UnitError, match="seeing"):
        starassay.draw_star_field(
            starassay.juniper_115(), sky=starassay.SimulatedSky(seeing="2 in")  # type: ignore[arg-type]
        )


def pupil() -> starassay.PupilMap:
    """A little coma behind a secondary mirror."""
    return starassay.PupilMap.from_zernike(coma="60 nm", obstruction=0.3, wavelength="540 nm")


def drawings() -> dict[str, Callable[[Any], Any]]:
    """Everything that draws on axes of the user's."""
    shown = pupil()
    field, empty = measure_stars(sky(10, 4000)), measure_stars(
        np.minimum(sky(12, 60_000), 30_000), outer_radius=60
    )
    strehl = starassay.Measured(0.97 * u.one, 0.01 * u.one)
    decision = starassay.decide(starassay.Claim("Strehl ratio", at_least=0.9 * u.one), strehl)
    modulation = starassay.compute_modulation(shown)
    frame = starassay.find_cosmic_rays(
        starassay.read_frame(sky(3, 4000), gain="1 electron/adu", read_noise="3 electron")
    )
    return {
        "map": shown.plot,
        "focused image": starassay.draw_focused_image(shown).plot,
        "MTF": modulation.plot,
        "energy": modulation.plot_energy,
        "Ronchi": starassay.draw_ronchigram(shown).plot,
        "fringes": starassay.draw_interferogram(shown).plot,
        "sizes": field.plot,
        "whiskers": field.plot_ellipticity,
        "flagged": empty.plot,
        "decision": decision.plot,
        "pixels": frame.plot,
    }


DRAWN = "map,focused image,MTF,energy,Ronchi,fringes,sizes,whiskers,flagged,decision,pixels".split(
    ","
)


@pytest.fixture(scope="module")
def drawn() -> dict[str, Callable[[Any], Any]]:
    return drawings()


@pytest.mark.parametrize("name", DRAWN)
def test_a_title_of_the_users_is_the_only_one(
    name: str, drawn: dict[str, Callable[[Any], Any]]
) -> None:
    """Set before or after, at whatever side: two titles would stand over each other."""
    for side in ("left", "center"):
        _, ax = plt.subplots()
        ax.set_title("mine", loc=side)
        drawn[name](ax)
        assert [t for k in ("left", "center", "right") if (t := ax.get_title(loc=k))] == ["mine"]
    ax = drawn[name](plt.subplots()[1])
    assert ax.get_title()
    ax.set_title("mine")
    assert [t for k in ("left", "center", "right") if (t := ax.get_title(loc=k))] == ["mine"]


def test_a_star_out_of_focus_is_not_called_focused() -> None:
    titles = [
        starassay.draw_focused_image(pupil(), shift=shift).plot().get_title()
        for shift in ("0 mm", "0.25 mm")
    ]
    assert titles == ["Star at focus", "Star +0.25 mm from focus"]


def test_the_edge_of_a_map_is_round() -> None:
    """Cut by a circle, not by samples: no step of the grid is seen at the rim."""
    ax = pupil().plot()
    (image,) = ax.get_images()
    rim = image.get_clip_path()
    assert rim is not None
    edge = ax.transData.inverted().transform(rim.get_fully_transformed_path().vertices)
    # Bezier points of a circle lie on it or a little outside.
    assert np.hypot(*edge.T).min() == pytest.approx(1, abs=1e-6)
    n = image.get_array().shape[0]
    x = (2 * np.arange(n) + 1) / n - 1
    radius = np.hypot(*np.meshgrid(x, x))
    # What the circle cuts is filled on both sides of it, and opaque.
    near = np.abs(radius - 1) < 2 / n
    assert np.isfinite(np.asarray(image.get_array())[near]).all()
    assert (image.get_alpha()[near] == 1).all()


def test_curves_are_told_apart_by_their_strokes() -> None:
    ax = starassay.compute_modulation(pupil()).plot()
    styles = [line.get_linestyle() for line in ax.lines]
    assert len(set(styles)) == len(styles) == 3


def test_maps_carry_a_scale_on_the_sky() -> None:
    """760 mm and 3.76 um: 206265 x 0.00376 / 760 = 1.02 arcsec a pixel."""
    frame = starassay.read_frame(sky(10, 4000), pitch="3.76 um")
    field = measure_stars(frame, focal_length="760 mm")
    for ax in (field.plot(), field.plot_ellipticity()):
        assert f"{field.clean_stars} clean stars of {len(field)}; 1.02 arcsec/pix" in ax.get_title()
        assert "1 arcmin" in [t.get_text() for t in ax.texts]
    assert "arcsec" not in measure_stars(sky(10, 4000)).plot().get_title()


def test_the_pictures_of_a_pair_stand_at_the_same_height() -> None:
    """The frames of sizes and whiskers lie at the same place in pictures of the same size."""
    field = measure_stars(sky(14, 4000))
    places, sizes = [], []
    for picture in field.figures():
        figure = picture.figure
        figure.canvas.draw()
        sizes.append(tuple(figure.get_size_inches()))
        places.append(figure.axes[0].get_position().bounds)
        raw = base64.b64decode(picture.source(dpi=100).partition("base64,")[2])
        assert struct.unpack(">II", raw[16:24]) == tuple(int(round(100 * s)) for s in sizes[-1])
    assert len(places) == 2 and sizes[0] == sizes[1]
    assert np.allclose(places[0], places[1], atol=1e-9)


def test_a_simulated_pair_is_drawn_with_its_scale() -> None:
    inside, outside, _ = starassay.draw_defocused_pair(starassay.juniper_115(), size=96)
    figure = starassay.plot_defocused_pair(inside, outside, title="Juniper 115")
    titles = [ax.get_title() for ax in figure.axes[:2]]
    assert titles == ["inside focus, -1.51 mm", "outside focus, +1.51 mm"]
    # 96 pixels of 3.76 um.
    assert np.allclose(np.diff(figure.axes[0].get_xlim()), 96 * 3.76)
    assert figure.axes[0].images[0].get_clim() == figure.axes[1].images[0].get_clim()


def test_one_call_draws_six_views() -> None:
    figure = pupil().plot_views("Coma of 60 nm")
    panels = [ax for ax in figure.axes if ax.get_title()]
    assert len(panels) == 6 and len({ax.get_title() for ax in panels}) == 6
    assert figure._suptitle.get_text() == "Coma of 60 nm"

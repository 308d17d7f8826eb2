"""What figures say beside what they draw: counts, reasons, names; and lengths in inches."""

from __future__ import annotations

import numpy as np
import pytest
from astropy import units as u

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
    title = field.plot().get_title(loc="left")
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

"""Photos of reflections: circles by SciPy beside the engine's, files as cameras write them, and what must not be sure."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy import units as u
from astropy.io import fits
from PIL import Image
from scipy import ndimage, optimize, special

import starassay
from starassay import CannotMeasureError, FileError, InputError, measure_reflections
from starassay.cli import main
from starassay.imaging.photos import FULL, read_photo

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "tests" / "accuracy")]

import reflections as accuracy  # noqa: E402

#: Middle, radius and step of circles, one inside the other: objective, plate, spot.
CIRCLES = ((161.3, 118.6, 100.0, 0.25), (163.0, 119.5, 62.0, 0.3), (166.2, 117.4, 17.0, -0.4))


WIDE_EDGE = ((160, 120, 95, 0.3), (160, 120, 60, 0.25), (160, 120, 57, 0.25), (160, 120, 20, -0.5))


def light(circles: Any = CIRCLES, blur: float = 1.0, shape: tuple[int, int] = (240, 320)) -> Any:
    """Edges blurred by a Gaussian, with a noise of 0.005 of full light."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    drawn = np.full(shape, 0.08)
    for cx, cy, r, step in circles:
        drawn = drawn + step * special.ndtr((r - np.hypot(x - cx, y - cy)) / blur)
    return np.clip(drawn + np.random.default_rng(4).normal(0, 0.005, shape), 0, 1)


def photo(circles: Any = CIRCLES, **how: Any) -> np.ndarray:
    """Eight bits of sRGB with three colors, the first row at the top, as files have it."""
    linear = light(circles, **how)
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.repeat(np.round(255 * code).astype(np.uint8)[::-1, :, None], 3, axis=2)


def circle_by_scipy(picture: np.ndarray, x: float, y: float, r: float) -> np.ndarray:
    """Half level along 180 rays by map_coordinates, and a circle through the crossings by least_squares."""
    turn = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    far = r + np.linspace(-8, 8, 161)
    smooth = ndimage.gaussian_filter(picture.astype(float), 1.0)
    rays = ndimage.map_coordinates(
        smooth,
        [y + np.outer(far, np.sin(turn)), x + np.outer(far, np.cos(turn))],
        order=3,
    )
    half = (rays[:20].mean(axis=0) + rays[-20:].mean(axis=0)) / 2
    above = (rays > half) == (rays[0] > half)
    at = far[np.argmin(above, axis=0)] - 0.05
    px, py = x + at * np.cos(turn), y + at * np.sin(turn)
    return optimize.least_squares(
        lambda p: np.hypot(px - p[0], py - p[1]) - p[2], [x, y, r], loss="soft_l1", f_scale=0.1
    ).x


def test_circles_against_scipy_and_truth() -> None:
    picture = np.round(60_000 * light()).astype(np.uint16)
    seen = measure_reflections(picture, distortion=0, field_of_view="2 deg")
    assert len(seen.circles) == 3
    for found, (x, y, r, _) in zip(seen.circles, CIRCLES):
        own = np.array([q.value.value for q in (found.x, found.y, found.radius)])
        assert np.abs(own - (x, y, r)).max() < 0.05
        assert np.abs(own - circle_by_scipy(picture, x, y, r)).max() < 0.08
        assert found.edge_width.value == pytest.approx(2.563, rel=0.1)  # 10 to 90 % of a Gaussian
    pair = seen.pairs[1]
    assert (pair.outer, pair.inner) == (1, 3) and pair.told
    assert float(pair.share.value) == pytest.approx(np.hypot(4.9, -1.2) / 100, abs=0.001)
    assert pair.direction.value.to_value(u.deg) == pytest.approx(
        np.degrees(np.arctan2(-1.2, 4.9)), abs=1.5
    )


def test_a_drawn_population() -> None:
    """A sample of the accuracy program: middles within 0.3 pixels where the camera is known, else within the bars."""
    for seed, kind in ((901, "linear"), (902, "jpeg"), (903, "phone"), (904, "vanes")):
        row = accuracy._row(*accuracy.draw(seed, kind), kind, seed)
        assert row["lost"] <= 1 and len(row["error"]) >= 4
        within = 3.5 * row["bar"] if kind == "phone" else np.maximum(0.3, 3.5 * row["bar"])
        assert np.all(np.abs(row["error"]) < within), (kind, row["error"], row["bar"])


@pytest.mark.parametrize("form", ["JPEG", "PNG"])
def test_files_as_cameras_write_them(tmp_path: Path, form: str) -> None:
    """Turned by the orientation that the file tells; its angle of view is that of the focal length on 35 mm film."""
    path = tmp_path / f"cap.{form.lower()}"
    image = Image.fromarray(photo())
    exif = Image.Exif()
    # A phone held upright: stored turned by a quarter (orientation 6: turn clockwise to look at it).
    exif[0x0112] = 6
    exif[0x8769] = {0xA405: 26}
    image.rotate(90, expand=True).save(
        path, form, exif=exif, **({"quality": 95} if form == "JPEG" else {})
    )
    frame, field = read_photo(path)
    assert frame.shape == (240, 320) and frame.saturation.value == FULL
    # 2 atan(21.633 / 26): the diagonal of 36 x 24 mm.
    assert field is not None and field.to_value(u.deg) == pytest.approx(79.524, abs=0.001)
    seen = measure_reflections(path)
    for found, (x, y, r, _) in zip(seen.circles, CIRCLES):
        assert found.picture_x.value == pytest.approx(x, abs=0.15)
        assert found.picture_y.value == pytest.approx(y, abs=0.15)
    assert not any(n.code == "reflections.field" for n in seen.notes)


def test_light_is_linear() -> None:
    """sRGB code 188 is half of full light (IEC 61966-2-1), and planes weigh as luminance."""
    ramp = np.repeat(np.linspace(0, 250, 80).astype(np.uint8)[None, :, None], 80, axis=0)
    grey = np.repeat(ramp, 3, axis=2)
    grey[5, 5] = 188
    frame, _ = read_photo(grey)
    assert float(frame.data[-6, 5]) / FULL == pytest.approx(0.5029, abs=0.001)
    blue = np.zeros((80, 80, 3), np.uint8)
    blue[:, :, 2:] = ramp
    # 250 / 255 decodes to 0.956.
    assert float(read_photo(blue)[0].data[5, -1]) / FULL == pytest.approx(0.0722 * 0.956, abs=0.001)


def test_fits_with_three_planes(tmp_path: Path) -> None:
    planes = np.stack([np.round(50_000 * light()).astype(np.uint16)] * 3)
    fits.PrimaryHDU(planes).writeto(tmp_path / "cap.fits")
    seen = measure_reflections(tmp_path / "cap.fits")
    assert [round(c.radius.value.value) for c in seen.circles] == [100, 62, 17]
    one = measure_reflections(tmp_path / "cap.fits", plane=1)
    assert len(one.circles) == 3


def test_what_is_not_known_of_the_camera_is_in_the_bars() -> None:
    aside = tuple((x + 40, y, r * 0.7, s) for x, y, r, s in CIRCLES)
    told = measure_reflections(photo(aside), distortion=0.0, field_of_view="5 deg")
    blind = measure_reflections(photo(aside))
    bars = [s.circles[0].x.uncertainty.value for s in (told, blind)]
    assert bars[1] > 2 * bars[0]
    assert {"reflections.distortion", "reflections.field"} <= {n.code for n in blind.notes}


@pytest.mark.parametrize(
    ("drawn", "code"),
    [
        (lambda: photo(CIRCLES[:1]), "reflections.one-circle"),
        (lambda: photo(((160, 120, 100, 1.6), (161, 121, 40, -1.4))), "reflections.clipped-most"),
        (
            lambda: photo(((160, 120, 95, 0.4), (160, 120, 24, -0.35)), blur=9.0),
            "reflections.blurred",
        ),
        # Two edges four pixels from each other, and two so near that they make one wide edge.
        (
            lambda: photo(
                ((160, 120, 95, 0.3), (160, 120, 60, 0.25), (160, 120, 56, 0.25)), blur=0.8
            ),
            "reflections.beside",
        ),
        (lambda: photo(WIDE_EDGE, blur=0.7), "reflections.beside"),
        # Squeezed to seven tenths: seen 45 deg from the side.
        (
            lambda: np.asarray(Image.fromarray(photo()).resize((320, 170))),
            "reflections.oblique",
        ),
    ],
)
def test_never_sure(drawn: Any, code: str) -> None:
    try:
        seen = measure_reflections(drawn(), objective=1)
    except CannotMeasureError as refused:
        assert code == "reflections.oblique" and "straight" in str(refused)
        return
    assert not seen.decided and "Not decided" in seen.sentences()[0]
    assert code in {n.code for n in seen.notes}
    assert all(q.doubts for q in seen.quantities)


def test_what_cannot_be_measured_is_said(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    with pytest.raises(CannotMeasureError, match="No circle was found"):
        measure_reflections(rng.normal(500, 20, (200, 300)).astype(np.float32))
    with pytest.raises(CannotMeasureError, match="evenly dark or bright"):
        measure_reflections(np.full((200, 300), 7, np.float32))
    with pytest.raises(InputError, match="spot is circle 9, but 3 were found"):
        measure_reflections(photo(), spot=9)
    with pytest.raises(InputError, match="different circles"):
        measure_reflections(photo(), objective=1, spot=1)
    (tmp_path / "cut.jpg").write_bytes(b"\xff\xd8\xff\xe0 and no more")
    with pytest.raises(FileError, match="cannot be read as a photo"):
        measure_reflections(tmp_path / "cut.jpg")
    bright = measure_reflections(photo(), objective=1, spot=2)
    assert any("is bright inside" in text for text in bright.doubts)


def test_tilts_and_the_result_tells_itself() -> None:
    seen = measure_reflections(
        photo(),
        objective=1,
        spot=3,
        objective_diameter="150 mm",
        objective_distance="740 mm",
        surface_radius="1500 mm",
        field_of_view="4 deg",
        distortion=0,
    )
    # (1 / R - 1 / D) times 4.9 pixels of 0.75 mm: closed form, tested against traced rays in ReflectionsTests.cs.
    expected = 4.9 * 0.75 * (1 / 1500 - 1 / 740) * 10800 / np.pi
    assert seen.objective_tilt_x.value.to_value(u.arcmin) == pytest.approx(expected, abs=0.15)
    said = " ".join(seen.sentences())
    assert "The dark spot (circle 3) lies" in said and "axis is tilted by" in said
    assert any("laser" in n.text and "lens cell" in n.text for n in seen.notes)
    assert seen.table["share"].info.description and len(seen.circle_table) == 3
    assert {q.name for q in seen.quantities} == {"spot_offset"}
    axes = seen.plot().axes
    assert "(pixel)" in axes[0].get_xlabel() and "% of its radius" in axes[1].get_xlabel()


def test_command_and_campaign(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Image.fromarray(photo()).save(tmp_path / "cap.jpg", quality=92)
    how = ["--objective=1", "--spot=3", "--objective-diameter=150mm"]
    assert main(["measure", "reflections", str(tmp_path / "cap.jpg"), *how]) == 0
    out = capsys.readouterr().out
    assert "3 circles found" in out and "out of the middle of the objective's edge" in out
    (tmp_path / "campaign.toml").write_text(
        '[campaign]\nname = "Reflections"\n\n[telescope]\nname = "Juniper 115"\naperture = "115 mm"\n'
        'focal_length = "690 mm"\n\n'
        '[[reflections]]\nphotos = ["cap.jpg"]\nobjective = 1\nspot = 3\n\n'
        '[[claims]]\nname = "Collimated"\nquantity = "spot_offset"\nat_most = 0.02\n',
        encoding="utf-8",
    )
    campaign = starassay.run_campaign(tmp_path / "campaign.toml")
    assert campaign is not None
    page = next((tmp_path / "report").glob("*.html")).read_text(encoding="utf-8")
    assert "Reflections" in page and "Collimated" in page

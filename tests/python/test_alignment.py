"""Alignment: stars drawn by NumPy's transform, circles fitted by SciPy, rays traced off a paraboloid, and what must be refused."""

from __future__ import annotations

import functools
import pickle
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.io import fits
from scipy import fft
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.optimize import brentq, least_squares

import starassay
from starassay import CannotMeasureError, InputError, Telescope, measure_alignment
from starassay.cli import main
from starassay.measurements._ways import opposite, way

HOLE, RATIO, PITCH, WAVE = 0.32, 6.0, 4.0, 540.0  # -, -, um, nm
SCOPE = Telescope("150 mm", "900 mm", obstruction=HOLE)
HOW = {"wavelength": "540 nm", "gain": 1 * u.electron / u.adu, "pitch": PITCH * u.um, "threads": 1}


def fine(
    waves: float,
    coma: tuple[float, float],
    size: int,
    across: int,
    blur: float,
    hole: float = HOLE,
    away: tuple[float, float] = (0.0, 0.0),
    finer: float = 0.0,
) -> np.ndarray:
    """A defocused star by NumPy's transform alone, W131 along x and y in waves, the pupil `across` samples wide, long exposure as a Gaussian.

    `finer`: coma of order 7 along x, waves RMS: 4 (35 r^7 - 60 r^5 + 30 r^3 - 4 r) cos t.

    A ray lands at -2 N grad W: the field is exp(+2 pi i W) and the transform exp(+i ...), as in docs/optics.md. A sample of the image is
    wavelength x N x across / size.
    """
    axis = (np.arange(size) - size // 2) * 2 / across
    x, y = np.meshgrid(axis, axis)
    r2 = x**2 + y**2
    open_share = np.clip((1 - np.sqrt(r2)) * across / 2 + 0.5, 0, 1)
    if hole:
        open_share -= np.clip((hole - np.hypot(x - away[0], y - away[1])) * across / 2 + 0.5, 0, 1)
    path = (waves + coma[0] * x + coma[1] * y) * r2
    path += finer * 4 * (35 * r2**3 - 60 * r2**2 + 30 * r2 - 4) * x
    field = open_share * np.exp(2j * np.pi * path)
    image = np.abs(fft.fftshift(fft.ifft2(fft.ifftshift(field)))) ** 2
    return gaussian_filter(image, blur) / image.sum()


@functools.lru_cache(maxsize=32)
def star(
    waves: float,
    coma: tuple[float, float] = (0.0, 0.0),
    hole: float = HOLE,
    away: tuple[float, float] = (0.0, 0.0),
    finer: float = 0.0,
) -> np.ndarray:
    """The same in 96 x 96 pixels of `PITCH`, three samples each."""
    size, over = 1024, 3
    across = round(size * PITCH / over / (WAVE * 1e-3 * RATIO))
    image = fine(waves, coma, size, across, 2.2, hole, away, finer)
    first = size // 2 - 48 * over - 1
    cut = image[first : first + 96 * over, first : first + 96 * over]
    return cut.reshape(96, over, 96, over).sum(axis=(1, 3))


def frame(image: np.ndarray, electrons: float = 2e6, seed: int = 1) -> starassay.Frame:
    """Photons, a sky of 100 electrons, read noise."""
    rng = np.random.default_rng(seed)
    drawn = rng.poisson(image * electrons + 100) + np.rint(rng.normal(0, 2, image.shape))
    return starassay.read_frame(
        drawn.clip(0).astype(np.uint16),
        gain=1 * u.electron / u.adu,
        read_noise="2 electron",
        pitch=PITCH * u.um,
        exposure="30 s",
    )


def circle(image: np.ndarray, near: float, share: float = 0.25) -> tuple[float, float, float]:
    """SciPy's least squares circle through the places, in 120 directions, where the image crosses a share of the level there."""
    middle = (image.shape[0] - 1) / 2
    points = []
    for turn in np.linspace(0, 2 * np.pi, 120, endpoint=False):
        r = np.linspace(0.5 * near, 1.5 * near, 400)
        x, y = middle + r * np.cos(turn), middle + r * np.sin(turn)
        line = map_coordinates(image, [y, x], order=1)
        # A ring that is brighter on one side must not pass for a wider one.
        level = share * np.median(line[line > 0.3 * line.max()])
        above = line > level
        crossing = np.flatnonzero(above[1:] != above[:-1])
        at = crossing[np.argmin(np.abs(r[crossing] - near))]
        part = (level - line[at]) / (line[at + 1] - line[at])
        radius = r[at] + part * (r[1] - r[0])
        points.append((radius * np.cos(turn), radius * np.sin(turn)))
    px, py = np.array(points).T
    fit = least_squares(lambda c: np.hypot(px - c[0], py - c[1]) - c[2], (0.0, 0.0, near))
    return tuple(fit.x)


def test_outlines_move_by_six_n_w131() -> None:
    """Circles through the edges of drawn discs, coma against none: the outline of rho moves by -6 N W131 rho^2, the mean ray by two thirds of it."""
    waves, w131, samples = 20.0, 0.35, 1536
    across = 380
    plain, moved = (fine(waves, (c, 0.0), samples, across, blur=5) for c in (0.0, w131))
    sample = WAVE * 1e-3 * RATIO * across / samples  # um
    radius, unit = (4 * RATIO * waves * WAVE * 1e-3 / sample, RATIO * w131 * WAVE * 1e-3 / sample)
    edge, shadow = (
        circle(moved, near)[0] - circle(plain, near)[0] for near in (radius, HOLE * radius)
    )
    # First order in W131 / W020, here 2 %, and the fringes along the edges, which brighten on one side: 3 to 5 % were seen; the mean rays' 4 N would be
    # 33 % away.
    assert edge == pytest.approx(-6 * unit, rel=0.08)
    assert shadow - edge == pytest.approx(6 * unit * (1 - HOLE**2), rel=0.08)
    # All light together lies at the mean of all rays: -4 N W131 (1 + e^2) / 2 by the mean of rho^2 over the ring.
    middle = np.arange(samples) - samples // 2
    light = (moved.sum(axis=0) @ middle) / moved.sum()
    assert light == pytest.approx(-4 * unit * (1 + HOLE**2) / 2, rel=0.02)


@pytest.mark.parametrize("sides", ["both", "inside", "outside"])
def test_a_star_drawn_by_numpy(sides: str) -> None:
    """Coma and an obstruction out of the middle are found as drawn, and told apart."""
    coma, away = (0.16, -0.09), (0.015, 0.02)
    drawn = {"inside": star(-7, coma, away=away), "outside": star(7, coma, away=away)}
    images = [frame(drawn[s], seed=k) for k, s in enumerate(drawn) if sides in ("both", s)]
    found = measure_alignment(images, SCOPE, side="unknown" if sides == "both" else sides, **HOW)
    for value, w131 in zip((found.coma_x, found.coma_y), coma):
        true = w131 * WAVE / (3 * np.sqrt(8))
        # Seeing was drawn as a Gaussian, the fit has Kolmogorov's: one per cent of the blur radius is 1.9 nm here.
        assert value.value.to_value(u.nm) == pytest.approx(true, abs=1.0)
        assert abs(value.value.to_value(u.nm) - true) < 4 * value.uncertainty.to_value(u.nm)
    upright = -1 if sides == "outside" else 1
    assert float(found.offset_x.value) == pytest.approx(upright * away[0], abs=0.006)
    assert float(found.offset_y.value) == pytest.approx(upright * away[1], abs=0.006)
    assert float(found.obstruction.value) == pytest.approx(HOLE, abs=0.012)
    assert found.coma_told and found.decided
    assert found.coma_direction.value.value == pytest.approx(
        np.degrees(np.arctan2(coma[1], coma[0])), abs=3
    )
    # Shadow less outer edge by rays: 6 N W131 (1 - e^2), and -4 N W020 times the offset, to a hundredth of the blur radius. (Circles through a
    # level of brightness miss that by 2 % at 7 waves; far out of focus they find it, see above.)
    image = found.images[0]
    radius, unit = image.blur_radius.value, RATIO * WAVE * 1e-3 / PITCH
    assert radius == pytest.approx(4 * unit * 7, rel=0.02)
    for inner, outer, w131, off in zip(
        (image.shadow_x, image.shadow_y), (image.outer_x, image.outer_y), coma, away
    ):
        rays = 6 * unit * w131 * (1 - HOLE**2) + upright * radius * off
        assert inner.value - outer.value == pytest.approx(rays, abs=0.01 * radius)
    # What was traced ring by ring is where the fit has it, to second order in the coma.
    edge = next(r for r in found.rings if r.kind == "outer edge")
    shadow = next(r for r in found.rings if r.kind == "shadow")
    traced = shadow.shift_x.value.value - edge.shift_x.value.value
    assert traced == pytest.approx(shadow.expected_x.value, abs=0.02 * radius)


def test_coma_of_order_7_is_not_taken_for_that_of_order_3() -> None:
    coma = (0.12, -0.05)
    images = [
        frame(star(w, coma, finer=0.02), electrons=8e6, seed=k) for k, w in enumerate((-7, 7))
    ]
    found = measure_alignment(images, SCOPE, **HOW)
    for value, w131 in zip((found.coma_x, found.coma_y), coma):
        off = value.value.to_value(u.nm) - w131 * WAVE / (3 * np.sqrt(8))
        # As with a star without such errors, of which one per cent of the blur radius is 1.9 nm.
        assert abs(off) < 1.0 and abs(off) < 3 * value.uncertainty.to_value(u.nm)


def test_bars_of_an_obstruction_hold_the_coma_that_air_leaves_in_each_image() -> None:
    """Coma of +d and -d in the two images moves the obstruction by a slope times d; with air of s in each its bar is s / sqrt 2 times that."""
    d = 0.03  # W131, waves

    def offset(of: float, wind: str = "0.3 m/s") -> tuple[float, starassay.Alignment]:
        images = [
            frame(star(w, (np.sign(-w) * of, 0.0)), 8e6, seed=k) for k, w in enumerate((-7, 7))
        ]
        # Hardly any air passes: its coma is far above what photons leave.
        found = measure_alignment(images, SCOPE, wind=wind, **HOW)
        return float(found.offset_x.value), found

    (moved, _), (still, found) = offset(d), offset(0.0)
    photons = float(offset(0.0, "100 m/s")[1].offset_x.uncertainty)
    slope = abs(moved - still) / (d * WAVE / (3 * np.sqrt(8)))  # of a nm
    # The mean of both images has the air's coma over the root of two.
    expected = np.hypot(slope * found.coma_air.to_value(u.nm), photons)
    assert float(found.offset_x.uncertainty) == pytest.approx(expected, rel=0.15)


def test_a_lens_without_an_obstruction() -> None:
    found = measure_alignment(
        [frame(star(-6, (0.1, 0.1), hole=0)), frame(star(6, (0.1, 0.1), hole=0), seed=2)],
        Telescope("150 mm", "900 mm"),
        **HOW,
    )
    assert found.coma.value.to_value(u.nm) == pytest.approx(
        np.hypot(0.1, 0.1) * WAVE / (3 * np.sqrt(8)), abs=1
    )
    assert np.isnan(found.offset_x.value) and np.isnan(found.obstruction.value)
    assert any(n.code == "alignment.unobstructed" for n in found.notes)
    assert "not told for a lens" in " ".join(found.sentences())


def test_rays_off_a_paraboloid_fix_sign_and_size() -> None:
    """Vector ray trace of a paraboloid: the shadow moves toward the axis, and W131 is h / (32 N^3)."""
    focal, aperture = 900.0, 150.0
    tilt = 0.004  # rad; the star's image lies at about +x, 3.6 mm from the axis
    means = []
    for rho in (HOLE, 1.0):
        turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
        x, y = rho * aperture / 2 * np.cos(turn), rho * aperture / 2 * np.sin(turn)
        z = (x**2 + y**2) / (4 * focal)
        # Light travels down from the star, toward +x; the mirror's vertex is the origin, its axis z.
        into = np.array([np.sin(tilt), 0.0, -np.cos(tilt)])[:, None] + 0 * x
        normal = np.array([-x / (2 * focal), -y / (2 * focal), np.ones_like(x)])
        normal /= np.linalg.norm(normal, axis=0)
        out = into - 2 * np.sum(into * normal, axis=0) * normal
        at = x + out[0] * (focal - z) / out[2], y + out[1] * (focal - z) / out[2]
        means.append(np.mean(at[0]))
    axis_to_star = np.mean(means)
    # The mean of the rays of rho moves by -4 N W131 rho^2.
    ratio = focal / aperture
    w131 = -(means[1] - means[0]) / (4 * ratio * (1 - HOLE**2))
    assert abs(axis_to_star) / (32 * ratio**3) == pytest.approx(abs(w131), rel=0.01)
    # Outer rays lie farther from the axis than inner ones: the shadow is shifted toward the axis.
    assert np.sign(means[0] - means[1]) == -np.sign(axis_to_star)
    # And the measurement says so of a star with that coma: shadow toward W131, distance 32 N^3 W131.
    waves = abs(w131) * 1e6 / WAVE * 0.1  # a tenth of the distance, for a disc that is still round
    found = measure_alignment(
        frame(star(-7, (waves, 0.0))), SCOPE, side="inside", paraboloid=True, **HOW
    )
    assert found.axis_distance.value.to_value(u.mm) == pytest.approx(
        0.1 * abs(axis_to_star), rel=0.05
    )
    assert found.mirror_turn.value.to_value(u.rad) == pytest.approx(0.1 * tilt, rel=0.05)
    assert way(found.coma_direction.value) == "to the right"
    said = " ".join(found.sentences())
    assert "Turn the main mirror by" in said and "away from there, toward" in said
    assert "(to the left), by twice that distance" in said


def traced(tilt: float, star: float) -> tuple[float, float]:
    """A paraboloid turned by `tilt` in its tube, starlight from `star` (rad): where the star lies on the sensor and shadow less outer edge, mm."""
    focal, aperture = 900.0, 150.0
    c, s = np.cos(tilt), np.sin(tilt)

    def middle(rho: float) -> float:
        turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
        x, y = rho * aperture / 2 * np.cos(turn), rho * aperture / 2 * np.sin(turn)
        # In the mirror's frame, whose axis leans toward +x of the tube; the stop lies at the mirror.
        begin = np.array([x * c, y, x * s])
        into = np.array([-np.sin(star - tilt), 0.0, -np.cos(star - tilt)])
        a = into[0] ** 2
        b = 2 * begin[0] * into[0] - 4 * focal * into[2]
        way_to = -2 * (begin[0] ** 2 + y**2 - 4 * focal * begin[2])
        way_to /= b + np.sqrt(b**2 - 4 * a * (begin[0] ** 2 + y**2 - 4 * focal * begin[2]))
        at = begin + way_to * into[:, None]
        normal = np.array([-at[0] / (2 * focal), -at[1] / (2 * focal), np.ones_like(x)])
        normal /= np.linalg.norm(normal, axis=0)
        out = into[:, None] - 2 * (into @ normal) * normal
        # Back into the tube, on to its focal plane.
        px, pz = at[0] * c + at[2] * s, at[2] * c - at[0] * s
        dx, dz = out[0] * c + out[2] * s, out[2] * c - out[0] * s
        return float(np.mean(px + dx * (focal - pz) / dz))

    return middle(1e-6), middle(HOLE) - middle(1.0)


def test_the_turn_that_is_advised_takes_the_coma_away() -> None:
    """Rays through the whole of it: star in the middle, the screw turned as said, the star brought back by the mount."""
    tilt = 0.0008

    def centered(mirror: float) -> float:
        return brentq(lambda star: traced(mirror, star)[0], -0.05, 0.05, xtol=1e-14)

    pointed = centered(tilt)
    _, shift = traced(tilt, pointed)
    assert shift > 0  # toward the axis, which meets the sensor at +x
    ratio = 6.0
    # The mean ray moves by 4 N W131 rho^2.
    waves = shift / (4 * ratio * (1 - HOLE**2)) * 1e6 / WAVE
    found = measure_alignment(
        frame(star(-7, (waves, 0.0))), SCOPE, side="inside", paraboloid=True, **HOW
    )
    assert found.axis_distance.value.to_value(u.mm) == pytest.approx(900 * tilt, rel=0.05)
    away = opposite(found.coma_direction.value)
    turn = found.mirror_turn.value.to_value(u.rad) * float(np.sign(np.cos(away)))
    moved, _ = traced(tilt + turn, pointed)
    assert moved == pytest.approx(
        2 * found.axis_distance.value.to_value(u.mm) * float(np.cos(away)), rel=0.01
    )
    _, left = traced(tilt + turn, centered(tilt + turn))
    assert abs(left) < 0.06 * shift  # as good as the distance is measured
    _, worse = traced(tilt - turn, centered(tilt - turn))
    assert worse == pytest.approx(2 * shift, rel=0.05)


def test_hours_on_a_clock() -> None:
    image = frame(star(-6, (0.15, 0.0)))
    for top, right, hour in (("90 deg", "180 deg", 9), ("180 deg", "90 deg", 6)):
        found = measure_alignment(image, SCOPE, side="inside", top=top, right=right, **HOW)
        assert found.clock_hour == pytest.approx(hour, abs=0.2)
        assert "o'clock" in " ".join(found.sentences())
    with pytest.raises(InputError, match="both top and right"):
        measure_alignment(image, SCOPE, top="90 deg", **HOW)
    with pytest.raises(InputError, match="170 degrees apart"):
        measure_alignment(image, SCOPE, top="90 deg", right="-80 deg", **HOW)


def test_the_result_tells_itself() -> None:
    found = measure_alignment([frame(star(-6)), frame(star(6), seed=4)], SCOPE, **HOW)
    assert not found.coma_told
    assert "No coma stands out" in " ".join(found.sentences())
    assert pickle.loads(pickle.dumps(found)).coma == found.coma
    assert len(found.table) == 2 and len(found.ring_table) == len(found.rings) > 3
    assert all(len(sheet.head) == len(sheet.rows[0]) for sheet in found.sheets())
    figure = found.plot()
    assert len(figure.axes) == 3 and figure.axes[0].get_xlabel() == "x (pixel)"
    assert found.plot_rings().get_ylabel().startswith("shift")
    assert {q.name for q in found.quantities} == {"decentre", "alignment_coma"}


def test_what_cannot_be_measured_is_said(tmp_path: Path) -> None:
    inside = frame(star(-6))
    with pytest.raises(CannotMeasureError, match="in focus or nearly so"):
        measure_alignment(frame(star(0.4)), SCOPE, **HOW)
    with pytest.raises(CannotMeasureError, match="outside the frame"):
        measure_alignment(frame(star(-6)[:, 36:]), SCOPE, **HOW)
    with pytest.raises(CannotMeasureError, match="saturated"):
        measure_alignment(inside, SCOPE, saturation=1200 * u.adu, **HOW)
    with pytest.raises(CannotMeasureError, match="very same pixels"):
        measure_alignment([inside, inside], SCOPE, **HOW)
    with pytest.raises(InputError, match="3 images"):
        measure_alignment([inside] * 3, SCOPE, **HOW)
    with pytest.raises(CannotMeasureError, match="No defocused star|no star|stands out"):
        measure_alignment(frame(np.zeros((96, 96))), SCOPE, **HOW)
    with pytest.raises(CannotMeasureError, match="same side of focus"):
        measure_alignment(
            [frame(star(-6, (0.1, 0), away=(0.05, 0))), frame(star(-7, (0.1, 0), away=(0.05, 0)))],
            SCOPE,
            **HOW,
        )


def test_doubts() -> None:
    hole = measure_alignment(frame(star(-6)), Telescope("150 mm", "900 mm"), **HOW)
    assert not hole.decided and any("obstruction was declared" in n.text for n in hole.notes)
    second = np.zeros((96, 96))
    second[:, 30:] = star(-6)[:, :-30]
    double = measure_alignment(frame(star(-6) + 0.06 * second), SCOPE, **HOW)
    assert {"alignment.neighbor", "alignment.other-light"} & {n.code for n in double.notes}


def test_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    paths = []
    for k, sign in enumerate((-1, 1)):
        paths.append(tmp_path / f"star-{k}.fits")
        hdu = fits.PrimaryHDU(
            np.asarray(frame(star(6 * sign, (0.15, 0.1)), seed=k).data).astype(np.uint16)
        )
        hdu.header.update({"XPIXSZ": PITCH, "EGAIN": 1.0, "EXPTIME": 30.0})
        hdu.writeto(paths[-1])
    common = [
        "--aperture=150mm",
        "--focal-length=900mm",
        "--obstruction=0.32",
        "--wavelength=540nm",
    ]
    assert main(["measure", "alignment", *map(str, paths), *common]) == 0
    said = capsys.readouterr().out
    assert "Which way to turn" in said and "Coma" in said
    assert main(["measure", "alignment", *map(str, paths), str(paths[0]), *common]) != 0

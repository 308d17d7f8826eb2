"""Focus surface: drawn runs with truth, SciPy's own fit beside it, and what must be refused."""

from __future__ import annotations

import pickle
import sys
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.io import fits
from scipy.optimize import curve_fit, least_squares

import starassay
from starassay import CannotMeasureError, InputError, measure_focus_surface
from starassay.cli import main

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "tests" / "accuracy")]

import _field_pairs  # noqa: E402
import _focus_runs  # noqa: E402


@pytest.fixture(scope="module")
def run() -> _focus_runs.FocusRun:
    # A seed that belongs to neither the tuning nor the judging runs of docs/accuracy.md.
    return _focus_runs.draw(700, shape=(700, 1000), stars=45, steps=7)


@pytest.fixture(scope="module")
def frames(run: _focus_runs.FocusRun) -> list[starassay.Frame]:
    how = {"gain": 1 * u.electron / u.adu, "pitch": run.pitch_um * u.um}
    return [starassay.read_frame(f, **how) for f in run.frames]


@pytest.fixture(scope="module")
def surface(run: _focus_runs.FocusRun, frames: list[starassay.Frame]) -> starassay.FocusSurface:
    return measure_focus_surface(
        frames,
        focal_ratio=run.focal_ratio,
        obstruction=run.obstruction,
        positions=run.positions_um * u.um,
    )


def truth(run: _focus_runs.FocusRun) -> tuple[float, float, float]:
    """Tilt across width and height, sag at the corner; um."""
    ny, nx = run.frames[0].shape
    step = run.pitch_um / 1000
    slope = run.tilt_um_per_mm
    return (
        slope[0] * nx * step,
        slope[1] * ny * step,
        run.curvature_um_per_mm2 * (nx**2 + ny**2) / 4 * step**2,
    )


def test_a_drawn_run_holds_its_truth(
    run: _focus_runs.FocusRun, surface: starassay.FocusSurface
) -> None:
    found = (surface.tilt_across_width, surface.tilt_across_height, surface.curvature_sag)
    for value, true in zip(found, truth(run)):
        off = abs(value.value.value - true)
        assert off < max(2.0, 0.03 * abs(true), 2 * value.uncertainty.value), (value, true)
        assert value.uncertainty.value < 0.3 * surface.depth_of_focus.value
    assert not surface.doubts


def test_parts_of_a_tilt_never_cancel_in_its_bar(surface: starassay.FocusSurface) -> None:
    """With few frames left out in turn the errors of both parts seemed to cancel: 1.61 +- 0.02 um of parts that were 0.3 um unsure each."""
    parts = (surface.tilt_across_width, surface.tilt_across_height)
    # The focuser's scale and what aberrations move are common to both and stay beside it.
    common = [0.01 * abs(p.value.value) for p in parts]
    shift = surface.aberration_shift.value
    own = [
        np.sqrt(max(p.uncertainty.value**2 - c**2 - shift**2, 0))
        for p, c in zip(parts, common)
    ]
    assert surface.sensor_tilt.uncertainty.value >= 0.999 * np.hypot(*own)


def test_coma_does_not_hide_astigmatism() -> None:
    """Even coma of 60 nm RMS turns blurred stars less: the split was a sixth too small, by more than its bar."""
    shape, pitch, ratio = (900, 1350), 9.0, 6.0
    half = np.hypot(*shape) / 2 * pitch / 1000
    telescope = _field_pairs.Telescope(
        aperture_mm=120.0,
        focal_ratio=ratio,
        obstruction=0.0,
        pitch_um=pitch,
        shape=shape,
        axis_mm=0j,
        tilt_um_per_mm=0j,
        bend_um_per_mm2=0.0,
        astigmatism=(100 / half**2, complex(60 / half), 0j),
        coma=(0.0, 60 + 0j),
        constant_nm=dict.fromkeys(range(9, 23), 0.0),
    )
    run = _focus_runs.draw_strong(703, stars=40, telescope=telescope)
    frames = [
        starassay.read_frame(f, gain=1 * u.electron / u.adu, pitch=pitch * u.um) for f in run.frames
    ]
    found = measure_focus_surface(
        frames, focal_ratio=ratio, positions=run.positions_um * u.um, wavelength=540 * u.nm
    )
    split = run.astigmatism_um_per_mm2 * half**2
    assert found.astigmatic_split.value.to_value(u.um) == pytest.approx(split, rel=0.05)
    # Stars are smallest beside the wavefront's focus, which is a plane without tilt: by a share of the depth of focus, which the bars hold.
    for value in (found.tilt_across_width, found.tilt_across_height, found.curvature_sag):
        assert abs(value.value.value) < min(2 * value.uncertainty.value, 10), value
    assert any("coma and astigmatism" in note.text for note in found.notes)


def test_scipy_finds_the_same_surface(
    run: _focus_runs.FocusRun, frames: list[starassay.Frame], surface: starassay.FocusSurface
) -> None:
    """Hyperbolas of single stars by scipy.optimize.curve_fit, a robust tilted bowl through their vertices."""
    fields = [starassay.measure_stars(f, outer_radius=12.0, fit_profiles="none") for f in frames]
    ny, nx = run.frames[0].shape
    half = np.hypot(nx, ny) / 2
    rows = []
    for x, y in zip(surface.x.value, surface.y.value):
        where, size = [], []
        for position, field in zip(run.positions_um, fields):
            # Frames lie within 6 pixels of each other, stars 70 apart.
            apart = np.hypot(field.columns["x"] - x, field.columns["y"] - y)
            at = int(apart.argmin())
            if apart[at] < 15:
                where.append(position)
                size.append(field.columns["hfr"][at] * run.pitch_um)
        if len(where) == len(fields):
            start = (where[int(np.argmin(size))], min(size), 0.3 / run.focal_ratio)
            (z, _, _), _ = curve_fit(
                lambda p, z, s, k: np.hypot(s, k * (p - z)), where, size, p0=start, maxfev=4000
            )
            rows.append(((x - (nx - 1) / 2) / half, (y - (ny - 1) / 2) / half, z))
    across, up, z = np.array(rows).T
    basis = np.c_[np.ones_like(z), across, up, across**2 + up**2]
    fit = least_squares(lambda c: basis @ c - z, np.r_[np.median(z), 0, 0, 0], loss="soft_l1")
    for k, bar in (
        (1, surface.tilt_across_width.uncertainty.value),
        (2, surface.tilt_across_height.uncertainty.value),
        (3, surface.curvature_sag.uncertainty.value),
    ):
        # Both stand on the same pixels; the hyperbola is the cruder curve (common practice, no source).
        assert abs(fit.x[k] - surface.coefficients[k].value) < max(4.0, 3 * bar)


def test_the_result_tells_itself(surface: starassay.FocusSurface) -> None:
    said = surface.sentences()
    assert "Sensor tilt" in said[0] and "farther from the objective" in said[0]
    assert "% of the sensor are sharp at once" in said[2]
    assert surface.table.colnames[0] == "x" and surface.table["star_focus"].unit == u.um
    assert pickle.loads(pickle.dumps(surface)).sensor_tilt == surface.sensor_tilt
    middle = surface.at((surface.width - 1) / 2, (surface.height - 1) / 2)
    assert middle.to_value(u.um) == pytest.approx(surface.best_focus.value.to_value(u.um))
    ax = surface.plot()
    assert "um" in ax.get_title() and ax.get_xlabel().endswith("(mm)")
    assert surface.plot_run().get_ylabel() == "half-flux radius (um)"
    assert "<img" in surface._repr_html_()


def test_command_and_campaign(
    run: _focus_runs.FocusRun, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    names = []
    for k, (pixels, position) in enumerate(zip(run.frames, run.positions_um)):
        hdu = fits.PrimaryHDU(np.clip(pixels, 0, 65535).astype(np.uint16))
        hdu.header["XPIXSZ"] = (run.pitch_um, "[um] pixel pitch")
        hdu.header["EGAIN"] = (1.0, "[electron/adu]")
        hdu.header["FOCUSPOS"] = (position, "[um] sensor position")
        hdu.header["EXPTIME"] = 5.0
        names.append(tmp_path / f"run-{k}.fits")
        hdu.writeto(names[-1])
    telescope = [f"--aperture={run.aperture_mm}mm"]
    telescope += [f"--focal-length={run.aperture_mm * run.focal_ratio}mm"]
    telescope += [f"--obstruction={run.obstruction}"]
    assert main(["measure", "focus-surface", *map(str, names), *telescope]) == 0
    out = capsys.readouterr().out
    assert "Sensor tilt" in out and "Best focus over the sensor" in out
    (tmp_path / "campaign.toml").write_text(
        f"""
[campaign]
name = "Loan"

[telescope]
name = "Juniper"
aperture = "{run.aperture_mm} mm"
focal_length = "{run.aperture_mm * run.focal_ratio} mm"
obstruction = {run.obstruction}

[[focus_surface]]
frames = ["run-*.fits"]

[[claims]]
quantity = "sensor_tilt"
name = "nearly level"
at_most = "2000 um"
""",
        encoding="utf-8",
    )
    code = main(["run", str(tmp_path / "campaign.toml"), "--out", str(tmp_path / "results")])
    out, wrong = capsys.readouterr()
    assert code == 0, wrong
    page = (tmp_path / "results" / "report.html").read_text(encoding="utf-8")
    assert "Focus surface" in page and "Sensor tilt" in page and "met" in out


def test_what_is_lacking_is_said(run: _focus_runs.FocusRun) -> None:
    frames = run.frames
    with pytest.raises(InputError, match="focus run needs five or more"):
        measure_focus_surface(frames[:1], focal_ratio=6, positions=[0] * u.um, pitch="6 um")
    with pytest.raises(InputError, match="positions"):
        measure_focus_surface(frames, focal_ratio=6, pitch="6 um")
    with pytest.raises(InputError, match="2 are given"):
        measure_focus_surface(frames, focal_ratio=6, pitch="6 um", positions=[0, 1] * u.um)
    with pytest.raises(InputError, match="pixel pitch"):
        measure_focus_surface(frames, focal_ratio=6, positions=run.positions_um * u.um)
    with pytest.raises(InputError, match="differ in size"):
        other = [*frames[:-1], frames[-1][:, :-10]]
        measure_focus_surface(other, focal_ratio=6, pitch="6 um", positions=run.positions_um * u.um)
    with pytest.raises(CannotMeasureError, match="five|5 or more|needs 5"):
        measure_focus_surface(
            frames[:3], focal_ratio=6, pitch="6 um", positions=run.positions_um[:3] * u.um
        )

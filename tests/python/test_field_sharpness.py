"""Field sharpness: drawn fields with truth, Astropy's own fits beside it, real frames, and what must be refused."""

from __future__ import annotations

import pickle
import sys
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.io import fits
from astropy.modeling import fitting, models

import starassay
from starassay import CannotMeasureError, InputError, measure_field_sharpness
from starassay.cli import main

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "tests" / "accuracy")]

import _sharp_fields  # noqa: E402


def frame_of(field: _sharp_fields.SharpField) -> starassay.Frame:
    how = {"gain": 1 * u.electron / u.adu, "pitch": field.instrument.pitch_um * u.um}
    return starassay.read_frame(field.frame, **how)


def focal_length(field: _sharp_fields.SharpField) -> u.Quantity:
    return field.instrument.aperture_mm * field.instrument.focal_ratio * u.mm


@pytest.fixture(scope="module")
def coma() -> _sharp_fields.SharpField:
    # A seed that belongs to neither the tuning nor the judging fields of docs/accuracy.md.
    return _sharp_fields.draw("coma", 900, shape=(700, 1000))


@pytest.fixture(scope="module")
def found(coma: _sharp_fields.SharpField) -> starassay.FieldSharpness:
    return measure_field_sharpness(
        frame_of(coma),
        focal_length=focal_length(coma),
        aperture=coma.instrument.aperture_mm * u.mm,
        seeing=coma.instrument.seeing_arcsec * u.arcsec,
        seeing_uncertainty="0.1 arcsec",
    )


def test_a_drawn_field_holds_its_truth(
    coma: _sharp_fields.SharpField, found: starassay.FieldSharpness
) -> None:
    corner = np.mean([coma.fwhm(z) for z in coma.corners])
    center = coma.fwhm(0j)
    assert abs(found.center_fwhm.value.value - center) < 0.02 * center
    assert abs(found.corner_fwhm.value.value - corner) < max(
        0.03 * corner, 2 * found.corner_fwhm.uncertainty.value
    )
    round_off = np.sqrt(np.mean([abs(coma.shape(z)) ** 2 for z in coma.corners]))
    off = abs(float(found.corner_ellipticity.value) - round_off)
    assert off < max(0.01, 2.5 * float(found.corner_ellipticity.uncertainty))
    assert found.verdict("coma") == "present"
    assert float(found.radial_lengthening.value) > 0
    assert "present" not in {found.verdict(c) for c in ("tilt", "trailing", "curvature")}
    assert not found.doubts


def test_astropy_finds_the_same_field(
    coma: _sharp_fields.SharpField, found: starassay.FieldSharpness
) -> None:
    """Elliptical Gaussians fitted to the recorded stars by astropy.modeling, a plane and r^2 through them by numpy.linalg.lstsq."""
    ny, nx = coma.frame.shape
    half, fit = np.hypot(nx, ny) / 2, fitting.LevMarLSQFitter()
    y, x = np.mgrid[0:15, 0:15]
    rows = []
    for sx, sy in zip(found.x.value, found.y.value):
        ix, iy = int(round(sx)) - 7, int(round(sy)) - 7
        if not (0 <= ix < nx - 15 and 0 <= iy < ny - 15):
            continue
        stamp = coma.frame[iy : iy + 15, ix : ix + 15].astype(float) - 120
        # Sigmas of 1.8 pixels are about those of the stars; the angle starts where it is not stuck at zero.
        start = models.Gaussian2D(stamp.max(), sx - ix, sy - iy, 1.9, 1.7, 0.3)
        star = fit(start, x, y, stamp, maxiter=300)
        a2, b2 = star.x_stddev.value**2, star.y_stddev.value**2
        # The pixel adds 1/12 to each (Sheppard's correction).
        square = (a2 + b2) / 2 - 1 / 12
        turned = (a2 - b2) / (a2 + b2 - 1 / 6) * np.exp(2j * star.theta.value)
        z = complex(sx - (nx - 1) / 2, sy - (ny - 1) / 2) / half
        rows.append((z, square, turned))
    z, square, turned = (np.array(column) for column in zip(*rows))
    keep = np.abs(square - np.median(square)) < 0.6 * np.median(square)
    z, square, turned = z[keep], square[keep], turned[keep]
    assert len(z) > 60
    basis = np.c_[np.ones(len(z)), z.real, z.imag, np.abs(z) ** 2]
    c = np.linalg.lstsq(basis, square, rcond=None)[0]
    # Gaussians over whole stars and widths at half of the height are not the same width, so ratios are compared.
    ratio = np.sqrt((c[0] + c[3]) / c[0])
    assert ratio == pytest.approx(float(found.corner_to_center.value), abs=0.06)
    radial = (turned * np.exp(-2j * np.angle(z))).real
    slope = (radial * np.abs(z) ** 2).sum() / (np.abs(z) ** 4).sum()
    # (a^2 - b^2) / (a^2 + b^2) is 1 - b/a to first order.
    assert slope == pytest.approx(float(found.radial_lengthening.value), abs=0.04)


def test_trailing_is_told_apart() -> None:
    field = _sharp_fields.draw("trailing", 900, shape=(700, 1000))
    found = measure_field_sharpness(frame_of(field), focal_length=focal_length(field))
    assert found.verdict("trailing") == "present"
    assert not {"tilt", "curvature"} & {c.cause for c in found.causes if c.verdict == "present"}
    way = np.degrees(np.arctan2(field.faults.trail[1], field.faults.trail[0]))
    apart = (found.common_direction.value - way + 90) % 180 - 90
    assert abs(apart) < 6
    assert any(n.code == "field-sharpness.trailing" for n in found.notes)


def test_the_result_tells_itself(found: starassay.FieldSharpness) -> None:
    said = found.sentences()
    assert "in the middle" in said[0] and "arcsec" in said[0] and "um" in said[0]
    assert "radial part" in said[1] and any(s.startswith("The pattern shows") for s in said)
    assert found.table["star_fwhm"].unit == u.um
    assert found.format_table["corner"].unit == u.um
    assert pickle.loads(pickle.dumps(found)).corner_fwhm == found.corner_fwhm
    assert found.plot().get_xlabel().endswith("(mm)")
    assert "um" in found.plot_distance().get_ylabel()
    assert found.plot_budget().get_xlabel() == "FWHM (arcsec)"
    assert found.plot_lengthening().get_title(loc="left")
    assert "<img" in found._repr_html_()
    parts = {(p.part, p.place): p for p in found.budget}
    diffraction = parts["diffraction", "everywhere"].on_sky.value
    # 1.028994 wavelength / aperture (Born and Wolf, ch. 8).
    width = 1.028994 * 550e-9 / (found.conditions["request"]["aperture_mm"] * 1e-3) * u.rad
    assert diffraction.to_value(u.arcsec) == pytest.approx(width.to_value(u.arcsec), rel=0.005)
    left = parts["left", "corners"].on_sky
    assert left.value > parts["left", "center"].on_sky.value


def test_the_limit_may_be_an_angle(coma: _sharp_fields.SharpField) -> None:
    small = {"focal_length": focal_length(coma), "threads": 1}
    scale = coma.instrument.pitch_um / focal_length(coma).to_value(u.um) * 206264.806
    found = measure_field_sharpness(frame_of(coma), blur_limit=3 * u.arcsec, **small)
    assert found.blur_limit.to_value(u.um) == pytest.approx(
        3 / scale * coma.instrument.pitch_um, rel=1e-6
    )
    with pytest.raises(InputError, match="scale of the frame is not known"):
        measure_field_sharpness(frame_of(coma), blur_limit="3 arcsec")


def test_a_real_frame_of_galaxies_decides_nothing(real_data: Path) -> None:
    """256 x 256 pixels of stars and galaxies (ESO EMMI; the data's README names source and licence)."""
    found = measure_field_sharpness(real_data / "starfield-emmi" / "image.fits", pitch="24 um")
    assert {c.verdict for c in found.causes} == {"not decided"}
    codes = {n.code for n in found.notes}
    assert {"field-sharpness.few-stars", "field-sharpness.corners-empty"} <= codes
    assert found.corner_fwhm.uncertainty > 0.3 * found.corner_fwhm.value
    clean = starassay.measure_stars(real_data / "starfield-emmi" / "image.fits").median_profile_fwhm
    assert (
        abs(found.center_fwhm.value - clean.value * 24 * u.um / u.pix)
        < 3 * found.center_fwhm.uncertainty
    )


@pytest.mark.parametrize(
    "name",
    [
        "starfield-saao/a8280271.fits",
        "starfield-panoptes/unsolved.fits",
    ],
)
def test_real_frames_without_a_field_are_refused(real_data: Path, name: str) -> None:
    """Three bright stars; stars of one pixel."""
    with pytest.raises(CannotMeasureError, match="12 are needed"):
        measure_field_sharpness(real_data / name, pitch="24 um")


def test_a_galaxy_that_fills_the_frame_decides_nothing(real_data: Path) -> None:
    """M 51, a scanned plate (the data's README names source and licence): few clean stars among hundreds of knots.

    How many is near the least that a field needs, and rounding can decide it (docs/stars.md): refused, or nothing decided.
    """
    try:
        found = measure_field_sharpness(
            real_data / "starfield-galaxy" / "m51.fits.gz", pitch="24 um"
        )
    except CannotMeasureError as refusal:
        assert "12 are needed" in str(refusal)
        return
    assert {c.verdict for c in found.causes} == {"not decided"}
    assert "stars.no-one-size" in {n.code for n in found.notes if n.level == "doubt"}
    assert found.corner_fwhm.uncertainty > 0.3 * found.corner_fwhm.value


def test_command_and_campaign(
    coma: _sharp_fields.SharpField, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    hdu = fits.PrimaryHDU(np.clip(coma.frame, 0, 65535).astype(np.uint16))
    hdu.header["XPIXSZ"] = (coma.instrument.pitch_um, "[um] pixel pitch")
    hdu.header["EGAIN"] = (1.0, "[electron/adu]")
    name = tmp_path / "field.fits"
    hdu.writeto(name)
    aperture, length = coma.instrument.aperture_mm, focal_length(coma).value
    scope = [f"--aperture={aperture}mm", f"--focal-length={length}mm", "--seeing=2arcsec"]
    assert main(["measure", "field-sharpness", str(name), *scope]) == 0
    out = capsys.readouterr().out
    assert "Sharpness budget" in out and "coma" in out
    (tmp_path / "campaign.toml").write_text(
        f"""
[campaign]
name = "Loan"

[telescope]
name = "Juniper"
aperture = "{aperture} mm"
focal_length = "{length} mm"

[[field_sharpness]]
frames = ["field.fits"]

[[claims]]
quantity = "corner_to_center"
name = "even field"
at_most = 1.01

[[claims]]
quantity = "corner_fwhm_on_sky"
name = "sharp corners"
at_most = "60 arcsec"
""",
        encoding="utf-8",
    )
    code = main(["run", str(tmp_path / "campaign.toml"), "--out", str(tmp_path / "results")])
    out, wrong = capsys.readouterr()
    assert code == 0, wrong
    page = (tmp_path / "results" / "report.html").read_text(encoding="utf-8")
    assert "Field sharpness" in page and "NOT MET" in out


def test_what_is_lacking_is_said() -> None:
    with pytest.raises(InputError, match="pixel pitch"):
        measure_field_sharpness(np.random.default_rng(1).normal(100, 3, (200, 200)) + star_grid())
    with pytest.raises(CannotMeasureError, match="are needed"):
        frame = np.random.default_rng(1).normal(100, 3, (200, 200)) + star_grid()
        measure_field_sharpness(frame, pitch="4 um")


def star_grid() -> np.ndarray:
    """Four stars."""
    y, x = np.mgrid[0:200, 0:200]
    image = np.zeros(x.shape)
    for cx, cy in ((50, 50), (150, 50), (50, 150), (150, 150)):
        image += 2000 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * 1.8**2))
    return image

"""What Astropy says about a header becomes a note or nothing; the true cause of a cut disc comes first."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.io import fits
from astropy.wcs import WCS

import starassay
from starassay import cli
from starassay.results import by_gravity


def solved(path: Path, ctype: str) -> Path:
    """A few stars under a solution with a distortion polynomial of 2 pixels at the corners."""
    rng = np.random.default_rng(4)
    y, x = np.mgrid[0:200, 0:260]
    sky = rng.normal(300, 4, x.shape)
    for _ in range(16):
        cx, cy = rng.uniform(12, 248), rng.uniform(12, 188)
        sky += 6000 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * 1.9**2))
    header = fits.Header()
    for k, kind in enumerate((f"RA---TAN{ctype}", f"DEC--TAN{ctype}")):
        header[f"CTYPE{k + 1}"], header[f"CRPIX{k + 1}"] = kind, 100.0
        header[f"CRVAL{k + 1}"] = (80.0, 20.0)[k]
        header[f"CD{k + 1}_{k + 1}"] = (-1, 1)[k] * 3e-4
    header["A_ORDER"] = header["B_ORDER"] = 2
    header["A_2_0"] = header["B_0_2"] = 1e-4
    fits.PrimaryHDU(sky.astype(np.float32), header).writeto(path)
    return path


def test_a_distortion_that_ctype_does_not_name_is_used_and_is_a_note(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    bare, named = solved(tmp_path / "bare.fits", ""), solved(tmp_path / "named.fits", "-SIP")
    assert cli.main(["measure", "stars", str(bare), "--table", str(tmp_path / "a.ecsv")]) == 0
    out, err = capfd.readouterr()
    assert err == "" and out.count("distortion polynomial") == 1
    fields = [starassay.measure_stars(path) for path in (bare, named)]
    assert [sum(n.code == "frame.distortion-unnamed" for n in f.notes) for f in fields] == [1, 0]
    # Astropy, told the name, gives the same places on the sky.
    place = np.c_[fields[1].columns["x"], fields[1].columns["y"]]
    sky = WCS(fits.getheader(named)).all_pix2world(place, 0)
    assert np.abs(fields[0].table["ra"].to_value(u.deg) - sky[:, 0]).max() < 1e-10
    capfd.readouterr()


@pytest.mark.parametrize("cut", [66, 72])
def test_a_disc_cut_by_the_frame_is_what_is_said_first(cut: int) -> None:
    """3.5 and 7.3 % of the disc lie outside: said before all else, and the methods do not fall out."""
    inside, outside, truth = starassay.draw_defocused_pair(
        starassay.juniper_115(), size=192, electrons=1e7, defocus=10.0, seed=3
    )
    fit = starassay.fit_wavefront(
        *(starassay.read_frame(f.data[:, cut:], exposure="20 s") for f in (inside, outside)),
        starassay.Telescope("115 mm", "760 mm"),
        wavelength="540 nm",
        pitch="3.76 um",
    )
    assert by_gravity(fit.notes)[0].code == "wavefront.star-cut"
    assert "lies outside the frame" in by_gravity(fit.notes)[0].text
    assert fit.doubts == ()
    assert abs(float(fit.strehl) - truth["strehl_ratio"]) < 3 * fit.strehl.uncertainty.value

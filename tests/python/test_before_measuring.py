"""What can be known before the work: a folder that takes no files; and after it: exit codes and true reasons."""

from __future__ import annotations

import shlex
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

from starassay import cli
from starassay._files import require_room
from starassay.errors import FileError

SETUP = """
[campaign]
name = "Two nights"
[telescope]
name = "Fir 100"
aperture = "100 mm"
focal_length = "700 mm"
"""


def field(path: Path) -> Path:
    """A few round stars, without any word on the camera."""
    y, x = np.mgrid[0:160, 0:200]
    rng = np.random.default_rng(5)
    sky = rng.normal(400, 4, x.shape)
    for _ in range(14):
        cx, cy = rng.uniform(20, 180), rng.uniform(20, 140)
        sky += 4000 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * 1.9**2))
    fits.PrimaryHDU(sky.astype(np.float32)).writeto(path)
    return path


def test_a_folder_that_is_read_only_or_full(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be written into .*MB are free.*Go elsewhere."):
        require_room(tmp_path, 10**18, "the report", "Go elsewhere.")
    gone = Path("/proc")
    with pytest.raises(FileError, match="cannot be written into"):
        require_room(gone, 1, "the report", "Go elsewhere.")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["/proc/out.json", "none/out.json"])
def test_nothing_is_measured_for_a_file_that_cannot_be_written(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    frame = field(tmp_path / "field.fits")
    monkeypatch.setattr(
        "starassay.measurements.stars.measuring.measure", lambda *a, **k: pytest.fail("measured")
    )
    assert cli.main(["measure", "stars", str(frame), "--json", name]) == 2
    out, err = capsys.readouterr()
    assert out == "" and len(err.splitlines()) == 1 and Path(name).name in err


def test_the_true_reason_comes_first_and_a_failed_test_has_its_code(
    tmp_path: Path, capsys: pytest.CaptureFixture
) -> None:
    field(tmp_path / "field.fits")
    (tmp_path / "campaign.toml").write_text(
        SETUP
        + """
[[stars]]
name = "Field"
frames = ["field.fits"]
[[wavefront]]
name = "Pair"
wavelength = "540 nm"
inside = ["field.fits"]
outside = ["field.fits"]
[[claims]]
quantity = "star_fwhm"
at_most = "5 arcsec"
[[claims]]
quantity = "strehl"
at_least = 0.5
"""
    )
    assert cli.main(["run", str(tmp_path), "--quiet"]) == cli.INCOMPLETE == 3
    page = (tmp_path / "report" / "report.html").read_text(encoding="utf-8")
    assert "pixel pitch is not known" in page and "under [camera]" in page
    assert "is listed, but could not be measured" in page and "the very same pixels" in page
    assert "list it under" not in page


def test_a_printed_command_quotes_a_name_with_spaces(
    tmp_path: Path, capsys: pytest.CaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("starassay.simulation.demo.draw_demo", lambda *a, **k: None)
    folder = tmp_path / "my nights"
    assert cli.main(["demo", str(folder)]) == 0
    words = shlex.split(capsys.readouterr().out)
    assert words[words.index("run") + 1] == str(folder)

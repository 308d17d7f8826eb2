"""What can be known before the work: a folder that takes no files; and after it: exit codes and true reasons."""

from __future__ import annotations

import json
import shlex
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

import starassay
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


def test_bulk_goes_beside_the_record_compressed(tmp_path: Path) -> None:
    """Maps and images of a wavefront were 15 MB of text; they are a file of arrays beside a short record."""
    scope = starassay.juniper_115()
    inside, outside, _ = starassay.draw_defocused_pair(scope, size=96, electrons=1e6, defocus=6.0)
    fit = starassay.fit_wavefront(
        inside, outside, starassay.Telescope("115 mm", "760 mm"), wavelength="540 nm"
    )
    fit.write_json(tmp_path / "fit.json")
    record = json.loads((tmp_path / "fit.json").read_text(encoding="utf-8"))
    assert (tmp_path / "fit.json").stat().st_size < 60_000
    where = record["map"]["value"]
    assert where["file"] == "fit.npz" and record["map"]["unit"] == "nm"
    with np.load(tmp_path / where["file"]) as arrays:
        assert np.array_equal(arrays[where["array"]], fit.map.value, equal_nan=True)
        assert where["shape"] == list(fit.map.shape)
        images = [image["observed"]["array"] for image in record["images"]]
        assert np.array_equal(arrays[images[1]], fit.images[1].observed)
    first = (tmp_path / "fit.npz").read_bytes()
    fit.write_json(tmp_path / "fit.json")
    assert (tmp_path / "fit.npz").read_bytes() == first
    # The command writes the same two files, and the whole record to a pipe.
    for frame, name in ((inside, "inside"), (outside, "outside")):
        starassay.write_frame(tmp_path / f"{name}.fits", frame, {})
    argv = ["measure", "wavefront", *(str(tmp_path / f"{n}.fits") for n in ("inside", "outside"))]
    argv += "--aperture 115mm --focal-length 760mm --wavelength 540nm --quiet".split()
    assert cli.main([*argv, "--json", str(tmp_path / "again.json")]) == 0
    assert (tmp_path / "again.npz").stat().st_size < 2_000_000
    assert not list(tmp_path.glob(".*"))


def test_the_bar_of_a_campaign_moves_while_something_is_measured(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By shares of a step, forwards only, to the end."""
    seen: list[float] = []

    class Bar:
        n = 0.0

        def __init__(self, total: float, **_: object) -> None:
            self.total = total

        def update(self, more: float) -> None:
            assert more >= 0
            self.n += more
            seen.append(self.n / self.total)

        def set_description_str(self, *_: object, **__: object) -> None:
            pass

        def close(self) -> None:
            pass

    monkeypatch.setattr("tqdm.auto.tqdm", Bar)
    inside, outside, _ = starassay.draw_defocused_pair(starassay.juniper_115(), size=96)
    for frame, name in ((inside, "inside"), (outside, "outside")):
        starassay.write_frame(tmp_path / f"{name}.fits", frame, {})
    (tmp_path / "campaign.toml").write_text(
        SETUP.replace("700 mm", "661 mm")
        + '[[wavefront]]\nname = "Pair"\nwavelength = "540 nm"\n'
        + 'inside = ["inside.fits"]\noutside = ["outside.fits"]\n'
    )
    starassay.run_campaign(tmp_path, progress=True)
    assert seen == sorted(seen) and seen[-1] > 0.7
    # Two frames are two of five steps: places between are shares of steps.
    assert len({round(s, 3) for s in seen}) > 8

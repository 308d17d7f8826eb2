"""The draft of a campaign: what frames show at a glance, what belongs together, and that it runs once filled in.

Truth: what was drawn here, the demo's own campaign file, and what the README of the real data says of each file.
"""

from __future__ import annotations

import dataclasses
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

from starassay import cli, read_campaign, run_campaign
from starassay.campaign.starting import ASK, begin_campaign
from starassay.errors import FileError, InputError
from starassay.imaging.glances import glance
from starassay.results import Picture

NY, NX = 240, 320


def write(folder: Path, name: str, light: np.ndarray, seed: int, **cards: object) -> None:
    rng = np.random.default_rng(seed)
    pixels = rng.poisson(np.clip(light, 0, None) + 300.0) + rng.normal(500, 5, light.shape)
    hdu = fits.PrimaryHDU(np.clip(pixels, 0, 65535).astype(np.uint16))
    for key, value in {"XPIXSZ": 3.76, "EGAIN": 1.0, "TELESCOP": "Juniper 115", **cards}.items():
        hdu.header[key.replace("_", "-")] = value
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    hdu.writeto(folder / name)


def grid(ny: int = NY, nx: int = NX) -> tuple[np.ndarray, np.ndarray]:
    y, x = np.indices((ny, nx), dtype=float)
    return y, x


def stars(seed: int, sigma: float = 1.5) -> np.ndarray:
    rng = np.random.default_rng(seed)
    y, x = grid()
    light = np.zeros((NY, NX))
    for _ in range(40):
        at, flux = rng.uniform((5, 5), (NY - 5, NX - 5)), 10 ** rng.uniform(3.5, 5)
        r2 = (y - at[0]) ** 2 + (x - at[1]) ** 2
        light += flux / (2 * np.pi * sigma**2) * np.exp(-r2 / (2 * sigma**2))
    return light


def disc(radius: float, hole: float) -> np.ndarray:
    y, x = grid()
    r = np.hypot(y - 118.4, x - 161.3)
    return np.where((r < radius) & (r >= hole), 900.0, 0.0)


def trace(middle: float) -> np.ndarray:
    y, x = grid(120, 480)
    return 2000 * np.exp(-((x - 240) ** 2) / 2e4) * np.exp(-((y - middle) ** 2) / 18)


def lamp() -> np.ndarray:
    y, x = grid(120, 480)
    return sum(3000 * np.exp(-((x - at) ** 2) / 6) for at in (60, 100, 180, 310, 420)) + 0 * y


def vignetted() -> np.ndarray:
    y, x = grid()
    return 20000 * (1 - 0.3 * ((y - 120) ** 2 + (x - 160) ** 2) / 160**2)


def mixed(folder: Path) -> None:
    """Sixty frames of a night, in two folders, named by number only."""
    for k in range(12):
        name = "L" if k < 6 else "R"
        write(folder, f"night/{k:03d}.fits", stars(k), k, OBJECT="NGC 7000", FILTER=name)
    for k in range(9):
        cards = {"OBJECT": "M 39", "FILTER": "L", "FOCUSPOS": 5000 + 40 * k}
        write(folder, f"night/{20 + k:03d}.fits", stars(99, 1 + 0.4 * abs(k - 4)), 30 + k, **cards)
    for k in range(8):
        cards = {"OBJECT": "Vega", "FILTER": "N540", "FOCUSPOS": 4000 if k % 2 else 6000}
        write(folder, f"night/{40 + k:03d}.fits", disc(24 + k % 2, 8), 50 + k, **cards)
    for k in range(5):
        write(folder, f"night/{60 + k:03d}.fits", trace(58 + k), 60 + k, OBJECT="Deneb")
    for k in range(2):
        write(folder, f"night/{70 + k:03d}.fits", lamp(), 70 + k)
    for k in range(12):
        name = "LRB"[k % 3]
        write(
            folder, f"flats/{k:03d}.fits", vignetted(), 80 + k, IMAGETYP="Flat Field", FILTER=name
        )
    for k in range(6):
        write(folder, f"flats/{20 + k:03d}.fits", np.zeros((NY, NX)), 95 + k, IMAGETYP="Bias Frame")
    for k in range(6):
        write(folder, f"flats/{30 + k:03d}.fits", np.zeros((120, 480)), 105 + k, IMAGETYP="Dark")


def fill(path: Path, **answers: str) -> None:
    """Put an answer at every marked place, by its key."""
    lines = path.read_text(encoding="utf-8").splitlines()
    for k, line in enumerate(lines):
        if ASK in line:
            key = line.split(" = ")[0]
            lines[k] = f"{key} = {answers[key]}"
    path.write_text("\n".join(lines), encoding="utf-8")


def test_sixty_mixed_frames_are_grouped_as_they_were_taken(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mixed(tmp_path)
    assert len(list(tmp_path.rglob("*.fits"))) == 60
    assert cli.main(["init", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert re.findall(r"Left out: (night/\S+):", out) == ["night/071.fits"]  # a second lamp
    assert "Focus surface: Focus run, M 39, L (9 files)" in out
    fill(
        tmp_path / "campaign.toml",
        aperture='"115 mm"',
        focal_length='"760 mm"',
        wavelength='"540 nm"',
        focuser_step='"2 um"',
        dispersion='["0.6 nm/pix", "0.9 nm/pix"]',
        lamps='["Hg", "Ne"]',
        positions='["-200 um", "-100 um", "0 um", "100 um", "200 um"]',
    )
    campaign = read_campaign(tmp_path)
    found = {
        (test.kind, test.filter.name if test.filter else ""): {
            role: [p.relative_to(tmp_path.resolve()).as_posix() for p in files]
            for role, files in test.files.items()
        }
        for test in campaign.tests
    }
    numbered = "night/{:03d}.fits".format
    assert found.pop(("stars", "L")) == {"frames": [numbered(k) for k in range(6)]}
    assert found.pop(("stars", "R")) == {"frames": [numbered(k) for k in range(6, 12)]}
    assert found.pop(("field_sharpness", "L")) == {"frames": [numbered(0)]}
    assert found.pop(("field_sharpness", "R")) == {"frames": [numbered(6)]}
    assert found.pop(("focus_surface", "L")) == {"frames": [numbered(20 + k) for k in range(9)]}
    assert found.pop(("wavefront", "N540")) == {
        "inside": [numbered(k) for k in range(41, 48, 2)],
        "outside": [numbered(k) for k in range(40, 48, 2)],
    }
    assert found.pop(("color_focus", "")) == {
        "frames": [numbered(60 + k) for k in range(5)],
        "lamp": [numbered(70)],
    }
    assert found.pop(("lateral_color", "")) == {"frames": [numbered(0), numbered(6)]}
    flats = [test for test in campaign.tests if test.kind == "relative_illumination"]
    assert [len(test.files["frames"]) for test in flats] == [4, 4, 4]
    assert all(len(test.files["bias"]) == 1 for test in flats)
    assert {kind for kind, _ in found} == {"relative_illumination"}


#: By the README beside the real data.
REAL = {
    "starfield-panoptes/unsolved.fits": "dots",
    "starfield-panoptes/solved.fits.fz": "dots",
    "starfield-emmi/image.fits": "dots",
    "starfield-galaxy/m51.fits.gz": "dots",
    "starfield-saao/a8280271.fits": "dots",
    "spectra-sprat/v_s_20180810_27_1_0_0.fits.gz": "trace",
    "spectra-sprat/v_e_20180810_12_1_0_0.fits.gz": "trace",
    "spectra-sprat/v_a_20180810_13_1_0_1.fits.gz": "lines",
    "spectra-sprat/v_dark_1.fits.gz": "dark",
    "spectra-kast/b24.fits.gz": "trace",
    "spectra-kast/b1.fits.gz": "lines",
    "spectra-kast/b11.fits.gz": "even",
    "spectra-kast/b21.fits.gz": "dark",
    "spectra-dados/alpOri_01.fit.gz": "trace",
    "lamp-emmi/HeAr_gr2_extr.fits.gz": "lines",
    "flat-not-alfosc/NOT-flat-binned2x2.fits.gz": "even",
    "flat-dfosc-saturated/badfitskeys.fits.gz": "even",
}


def test_own_and_real_frames_in_one_folder(
    tmp_path: Path, real_data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """43 drawn ones and the 17 real ones: the same groups as apart, and what can be measured of them is."""
    mixed(tmp_path)
    # As many as there are real ones go, a whole kind or the last of one.
    for name in (
        *(f"night/{k:03d}" for k in range(2, 12)),
        *(f"flats/{k:03d}" for k in range(31, 36)),
    ):
        (tmp_path / f"{name}.fits").unlink()
    for name in ("flats/024", "flats/025"):
        (tmp_path / f"{name}.fits").unlink()
    (tmp_path / "real").mkdir()
    for name in REAL:
        shutil.copy(real_data / name, tmp_path / "real" / name.replace("/", "-"))
    begun = begin_campaign(tmp_path)
    assert len(list(tmp_path.rglob("*.fi*"))) == 60
    fill(
        begun.path,
        aperture='"115 mm"',
        focal_length='"760 mm"',
        wavelength='"540 nm"',
        focuser_step='"2 um"',
        dispersion='["0.6 nm/pix", "0.9 nm/pix"]',
        lamps='["Hg", "Ne"]',
        positions='["-200 um", "-100 um", "0 um", "100 um", "200 um"]',
    )
    campaign = read_campaign(tmp_path)
    names = [test.name for test in campaign.tests]
    assert len(set(names)) == len(names) and not any("  " in name for name in names)
    # No group mixes what was drawn with what was not, nor one observatory with another.
    for test in campaign.tests:
        homes = {
            "-".join(p.name.split("-")[:2]) if p.parent.name == "real" else ""
            for group in test.files.values()
            for p in group
        }
        assert len(homes) == 1, test.name
    served = {p.name for test in campaign.tests for group in test.files.values() for p in group}
    for name, shows in REAL.items():
        if shows in ("dots", "trace", "even"):
            assert name.replace("/", "-") in served
    # Frames that do not say their pitch, beside others that do: told where they stand, before anything fails.
    text = begun.path.read_text(encoding="utf-8")
    entry = text[text.index('"real/flat-not-alfosc') - 400 :]
    assert "do not say the pitch" in entry[: entry.index("real/flat-not-alfosc")]
    # What is measured in a moment, one of a kind; the others have tests of their own.
    wanted = ("Focus run, M 39, L", "Flats, L", "Star field, rf0420")
    chosen = tuple(test for test in campaign.tests if test.name in wanted)
    monkeypatch.setattr(Picture, "source", lambda self, **_: "data:image/png;base64,")
    outcome = run_campaign(dataclasses.replace(campaign, tests=chosen))
    assert [test.test.name for test in outcome.tests] == list(wanted) and not outcome.failed


@pytest.mark.parametrize("name", sorted(REAL))
def test_real_frames_are_told_apart(name: str, real_data: Path) -> None:
    seen = glance(real_data / name)
    assert seen.shows == REAL[name]
    assert seen.solved == (
        name in ("starfield-panoptes/solved.fits.fz", "flat-dfosc-saturated/badfitskeys.fits.gz")
    )


def test_the_disc_is_as_wide_as_it_was_drawn(tmp_path: Path) -> None:
    write(tmp_path, "a.fits", disc(30, 9), 1)
    assert glance(tmp_path / "a.fits").width == pytest.approx(60, abs=4)


def test_the_draft_of_the_demo_runs_and_says_what_the_demos_own_file_says(
    demo: Path, tmp_path: Path
) -> None:
    """The field and the pairs; the demo's own campaign file is the reference."""
    (tmp_path / "frames").mkdir()
    for path in [demo / "frames/field-1.fits", *(demo / "frames").glob("pair-*.fits")]:
        shutil.copy(path, tmp_path / "frames")
    begun = begin_campaign(tmp_path)
    assert [area for area, _ in begun.entries] == ["field_sharpness", "stars", "wavefront"]
    assert begun.left_out == {}
    text = begun.path.read_text(encoding="utf-8")
    assert [k for k, line in enumerate(text.splitlines(), 1) if ASK in line] == list(begun.asks)
    fill(begun.path, aperture='"115 mm"', focal_length='"760 mm"', wavelength='"540 nm"')
    drafted, own = read_campaign(tmp_path), read_campaign(demo)
    pair, of_own = (next(t for t in c.tests if t.kind == "wavefront") for c in (drafted, own))
    for role in ("inside", "outside"):
        assert [p.name for p in pair.files[role]] == [p.name for p in of_own.files[role]]
    outcome = run_campaign(drafted)
    assert not outcome.failed and (tmp_path / "report" / "report.html").exists()


def test_a_campaign_file_is_never_written_over(tmp_path: Path) -> None:
    write(tmp_path, "a.fits", stars(1), 1)
    (tmp_path / "campaign.toml").write_text("mine")
    with pytest.raises(FileError, match="is there already and was left as it is"):
        begin_campaign(tmp_path)
    assert (tmp_path / "campaign.toml").read_text() == "mine"


def test_a_folder_without_frames_and_frames_without_use_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(InputError, match="There is no FITS file in"):
        begin_campaign(tmp_path)
    write(tmp_path, "bias.fits", np.zeros((NY, NX)), 1, IMAGETYP="Bias Frame")
    assert cli.main(["init", str(tmp_path)]) == 2
    said = capsys.readouterr().err
    assert re.search(r"None of the 1 files .* bias\.fits, for one: a frame without light", said)
    assert not (tmp_path / "campaign.toml").exists()


def test_a_broken_file_is_left_out_by_name(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(tmp_path, "a.fits", stars(1), 1)
    (tmp_path / "half.fits").write_bytes((tmp_path / "a.fits").read_bytes()[:4000])
    assert cli.main(["init", str(tmp_path)]) == 0
    assert re.search(r"Left out: half\.fits: ", capsys.readouterr().out)

"""The campaign file: what is read, and what each mistake is told. Truth: the file's own text."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.io import fits

from starassay import errors
from starassay.campaign import read_campaign

GOOD = """
[campaign]
name = "A night"

[telescope]
name = "Juniper 115"
aperture = "115 mm"
focal_length = "76 cm"

[filters.green]
wavelength = "540 nm"

[[stars]]
frames = ["a.fits", "b-*.fits"]

[[wavefront]]
filter = "green"
pairs = [["in.fits", "out.fits"]]

[[claims]]
name = "Strehl"
quantity = "strehl"
at_least = 0.95
wavelength = "5400 angstrom"

[[requirements]]
quantity = "star_fwhm"
at_most = "3 arcsec"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("a.fits", "b-2.fits", "b-1.fits", "in.fits", "out.fits"):
        (tmp_path / name).touch()
    return tmp_path


def write(folder: Path, text: str) -> Path:
    path = folder / "campaign.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_everything_arrives_with_units(folder: Path) -> None:
    write(folder, GOOD)
    c = read_campaign(folder)
    assert c.telescope.focal_length == 760 * u.mm and c.telescope.focal_ratio == pytest.approx(
        6.6087, 1e-4
    )
    assert [p.name for p in c.tests[0].frames] == ["a.fits", "b-1.fits", "b-2.fits"]
    assert c.tests[0].name == "Star field 1"
    assert [p.name for p in c.tests[1].frames] == ["in.fits", "out.fits"]
    assert c.tests[1].filter is not None and c.tests[1].filter.wavelength == 540 * u.nm
    strehl, fwhm = c.claims
    assert strehl.claim.at_least == 0.95 * u.one and u.isclose(strehl.wavelength, 540 * u.nm)
    assert fwhm.claim.requirement and fwhm.claim.name == "star FWHM, median"
    assert c.risk == 0.05 and len(c.frames) == 5


def test_the_demo_file_is_read_when_its_frames_are_there(top: Path, tmp_path: Path) -> None:
    write(tmp_path, (top / "examples/lending-library/campaign.toml").read_text(encoding="utf-8"))
    with pytest.raises(errors.CampaignError, match=r"line \d+, stars\[1\]\.frames: no file fits"):
        read_campaign(tmp_path)
    (tmp_path / "frames").mkdir()
    spectra = [*(f"spectrum-{k}.fits" for k in range(1, 6)), "lamp.fits"]
    for name in ("field-1.fits", "pair-1-inside.fits", "pair-1-outside.fits", *spectra):
        (tmp_path / "frames" / name).touch()
    c = read_campaign(tmp_path)
    assert [x.claim.requirement for x in c.claims] == [False, False, False, False, True, True]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('aperture = "115 mm"', 'apperture = "115 mm"', r"line 7, telescope\.apperture: .*Did you mean 'aperture'\?"),
        ('aperture = "115 mm"', "", r"line 5, telescope\.aperture: this key is missing\. Add it to \[telescope\]"),
        ('focal_length = "76 cm"', 'focal_length = "76 cm"\nfocal_lenght = 1', r"line 9, telescope\.focal_lenght: .*Did you mean 'focal_length'\?"),
        ('"115 mm"', "115", r"line 7, telescope\.aperture: aperture = 115 cannot be read as a value in mm\. Write it with its unit, for example \"115 mm\""),
        ('"115 mm"', '"115 s"', r"line 7, telescope\.aperture: aperture = 115 s cannot be read"),
        ('"115 mm"', '"-115 mm"', r"line 7, .* must be greater than zero"),
        ('"115 mm"', '"nan mm"', r"line 7, .* is not one finite number"),
        ('"76 cm"', '"76 mm"', r"line 8, telescope\.focal_length: 76 mm over an aperture of 115 mm"),
        ('"a.fits"', '"aa.fits"', r"line 14, stars\[1\]\.frames: there is no file .*aa\.fits\. Did you mean 'a\.fits'\?"),
        ('"b-*.fits"', '"c-*.fits"', r"line 14, stars\[1\]\.frames: no file fits 'c-\*\.fits'"),
        ('["a.fits", "b-*.fits"]', "[]", r"the list is empty"),
        ('filter = "green"', 'filter = "greeen"', r"line 17, wavefront\[1\]\.filter: 'greeen' is not known; did you mean 'green'\?"),
        ('filter = "green"', "", r"wavefront\[1\]\.filter: a wavefront needs the wavelength"),
        ('[["in.fits", "out.fits"]]', '["in.fits", "out.fits"]', r"write a list of pairs"),
        ('pairs = [["in.fits", "out.fits"]]', 'inside = "in.fits"\noutside = ["out.fits", "in.fits"]', r"wavefront\[1\]\.outside: 1 frames inside focus, but 2 outside"),
        ('quantity = "strehl"', 'quantity = "strell"', r"line 22, claims\[1\]\.quantity: 'strell' is not known; did you mean 'strehl'\?"),
        ("at_least = 0.95", "", r"claims\[1\]\.at_least: no limit is given"),
        ("at_least = 0.95", 'at_least = "0.95"', r"claims\[1\]\.at_least: '0\.95' is not a number"),
        ("at_least = 0.95", "at_least = 0.95\nat_most = 0.9", r"is not below at_most"),
        ('"3 arcsec"', '"3 mm"', r"line 28, requirements\[1\]\.at_most: at_most = 3 mm cannot be read"),
        ('quantity = "strehl"', 'quantity = "strehl"\ntest = "Wavefront 2"', r"claims\[1\]\.test: 'Wavefront 2' is not known; did you mean 'Wavefront 1'"),
        ("[[stars]]", "[[star]]", r"line 13, star: this key is not known here\. Did you mean 'stars'\?"),
        ("[[stars]]", "[stars]", r"stars: write each of them under its own \[\[stars\]\]"),
        ('name = "A night"', "name = A night", r"not valid TOML: .*line 3"),
        ('name = "A night"', "name = 7", r"line 3, campaign\.name: 7 is not a text"),
        ('name = "Juniper 115"', 'name = "Juniper 115"\nobstruction = 1.5', r"line 7, telescope\.obstruction: 1\.5 is out of range"),
        ('name = "Juniper 115"', 'name = "Juniper 115"\ndesign = "refraktor"', r"did you mean 'refractor'"),
    ],
)  # fmt: skip
def test_each_mistake_names_file_line_and_key(
    folder: Path, old: str, new: str, message: str
) -> None:
    assert GOOD.count(old) >= 1
    path = write(folder, GOOD.replace(old, new, 1))
    with pytest.raises(errors.CampaignError, match=message) as caught:
        read_campaign(path)
    assert str(path) in str(caught.value)


def test_no_tests_and_no_file_are_said(folder: Path) -> None:
    head = GOOD.split("[[stars]]")[0]
    with pytest.raises(errors.CampaignError, match="no test is described"):
        read_campaign(write(folder, head))
    with pytest.raises(errors.FileError, match="There is no campaign file"):
        read_campaign(folder / "other.toml")
    (folder / "campaign.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(errors.CampaignError, match="not a text file in UTF-8"):
        read_campaign(folder)


def test_environment_fills_in_folders(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(folder, GOOD.replace('"a.fits"', '"${FIELD_FOLDER}/a.fits"'))
    monkeypatch.delenv("FIELD_FOLDER", raising=False)
    with pytest.raises(errors.CampaignError, match="environment variable FIELD_FOLDER is not set"):
        read_campaign(path)
    monkeypatch.setenv("FIELD_FOLDER", str(folder))
    assert read_campaign(path).tests[0].frames[0] == folder / "a.fits"
    path = write(folder, GOOD.replace('"a.fits"', '"${NOT_SET_AT_ALL:-.}/a.fits"'))
    assert read_campaign(path).tests[0].frames[0].name == "a.fits"


SPECTRA = """
[[color_focus]]
frames = ["a.fits", "b-1.fits"]
positions = ["-200 um", "0.1 mm"]
dispersion = ["0.3 nm/pix", "0.5 nm/pix"]
defocus = "-250 um"
grating_lines = 100
grating_distance = "5 cm"
"""


def test_spectra_are_read_with_their_units(tmp_path: Path) -> None:
    for name in ("a.fits", "b-1.fits"):
        (tmp_path / name).touch()
    head = GOOD[: GOOD.index("[filters.green]")]
    (tmp_path / "campaign.toml").write_text(head + SPECTRA, encoding="utf-8")
    facts = read_campaign(tmp_path / "campaign.toml").tests[0].options
    assert facts["positions"].to_value(u.um).tolist() == pytest.approx([-200, 100])
    assert facts["dispersion"].value.tolist() == pytest.approx([0.3, 0.5])
    assert facts["defocus"] == -250 * u.um and facts["grating_distance"] == 50 * u.mm


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            'positions = ["-200 um", "0.1 mm"]',
            "",
            "2 frames need 2 sensor positions, none are given",
        ),
        (
            'positions = ["-200 um", "0.1 mm"]',
            "positions = [1, 2]",
            "positions = 1 cannot be read as a value in um",
        ),
        ('["0.3 nm/pix", "0.5 nm/pix"]', '["0.5 nm/pix", "0.3 nm/pix"]', "the smaller first"),
        ("grating_lines = 100", "order_filter = 1", "order_filter is 1; give True or False"),
        ("grating_lines = 100", 'lamp = "none.fits"', "there is no file"),
        ("grating_lines = 100", 'disperser = "prisma"', "Did you mean 'prism'"),
    ],
)
def test_mistakes_in_spectra_are_told(tmp_path: Path, old: str, new: str, words: str) -> None:
    for name in ("a.fits", "b-1.fits"):
        (tmp_path / name).touch()
    head = GOOD[: GOOD.index("[filters.green]")]
    text = head + SPECTRA.replace(old, new)
    (tmp_path / "campaign.toml").write_text(text, encoding="utf-8")
    with pytest.raises(errors.CampaignError, match=words):
        read_campaign(tmp_path / "campaign.toml")


@pytest.mark.parametrize(
    ("places", "comment", "extra", "words"),
    [
        ((-200, 100), "[um] focuser", "", None),
        ((-200, None), "[um] focuser", "", "2 frames need 2 sensor positions, none are given"),
        ((5000, 5100), "focuser", "", "b-1.fits|a.fits has the focuser at 5000 steps"),
        ((5000, 5100), "focuser", 'focuser_step = "2.5 um"', None),
    ],
)
def test_positions_that_headers_lack_are_told_before_measuring(
    tmp_path: Path, places: tuple, comment: str, extra: str, words: str | None
) -> None:
    for name, place in zip(("a.fits", "b-1.fits"), places):
        hdu = fits.PrimaryHDU(np.zeros((4, 4), np.int16))
        if place is not None:
            hdu.header["FOCUSPOS"] = (place, comment)
        hdu.writeto(tmp_path / name)
    spectra = SPECTRA.replace('positions = ["-200 um", "0.1 mm"]', extra)
    path = write(tmp_path, GOOD[: GOOD.index("[filters.green]")] + spectra)
    if words is None:
        assert "positions" not in read_campaign(path).tests[0].options
        return
    with pytest.raises(errors.CampaignError, match=words):
        read_campaign(path)


def test_lamps_of_the_campaign_are_the_engines() -> None:
    """The words that a campaign file may use are those that the engine names when it knows one not."""
    import numpy as np

    import starassay
    from starassay.measurements.color_focus.declaration import LINES

    with pytest.raises(errors.InputError) as caught:
        starassay.calibrate_wavelengths(
            np.ones(100), lamps=["Xx"], dispersion=(0.3, 0.6) * u.nm / u.pix
        )
    known = str(caught.value).partition("Known are ")[2].partition(";")[0]
    assert tuple(known.split(", ")) == LINES


def test_an_unknown_lamp_is_told_before_anything_is_measured(folder: Path) -> None:
    spectrum = """
[[color_focus]]
frames = "a.fits"
dispersion = ["0.3 nm/pix", "0.5 nm/pix"]
lamps = ["Hgg"]
"""
    write(folder, GOOD + spectrum)
    with pytest.raises(
        errors.CampaignError, match=r"lamps is 'Hgg'\. Did you mean 'Hg'\? Choose one of Ne, Ar"
    ):
        read_campaign(folder)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("at_least = 0.95", "at_least = 90", "claims[1].at_least: 90 is out of range"),
        ('wavelength = "540 nm"', 'wavelength = "540 mm"', "green.wavelength: '540 mm' cannot be"),
        (
            'aperture = "115 mm"',
            'aperture = "-1 mm"',
            "telescope.aperture: '-1 mm' must be greater",
        ),
        ('aperture = "115 mm"', 'aperture = "1.15 mm"', "telescope.aperture: '1.15 mm' cannot be"),
        ('at_most = "3 arcsec"', 'at_most = "-3 arcsec"', "at_most: '-3 arcsec' cannot be"),
    ],
)
def test_what_cannot_be_is_told_before_anything_is_measured(
    folder: Path, old: str, new: str, told: str
) -> None:
    assert old in GOOD
    write(folder, GOOD.replace(old, new))
    with pytest.raises(errors.CampaignError) as caught:
        read_campaign(folder)
    assert told in str(caught.value) and ", line " in str(caught.value)


def test_all_that_is_wrong_is_told_at_once(folder: Path) -> None:
    text = GOOD.replace("at_least = 0.95", "at_least = 90").replace('"540 nm"', '"540 mm"')
    text = text.replace('aperture = "115 mm"', 'aperture = "115"').replace("a.fits", "c.fits")
    write(folder, text)
    with pytest.raises(errors.CampaignError) as caught:
        read_campaign(folder)
    said = str(caught.value)
    assert said.startswith("4 things are wrong:\n") and said.count("campaign.toml, line ") == 4
    for part in (
        "telescope.aperture",
        "filters.green.wavelength",
        "stars[1].frames",
        "claims[1].at",
    ):
        assert part in said

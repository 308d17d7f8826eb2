"""Report folders compared: real ones before and after an adjustment, and made ones under unlike conditions."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from astropy import units as u

import starassay
from starassay import cli, errors
from starassay.campaign.comparing import ReportComparison
from starassay.simulation.files import write_frame

CAMPAIGN = """
[campaign]
name = "{name}"

[telescope]
name = "Juniper 115"
sample = "library number 7"
aperture = "115 mm"
focal_length = "760 mm"

[camera]
pitch = "3.76 um"

[filters.narrow]
wavelength = "540 nm"

[site]
temperature = "8 deg_C"

[[wavefront]]
name = "Bright star"
inside = "inside.fits"
outside = "outside.fits"
filter = "narrow"
"""


def run_one(folder: Path, name: str, astigmatism: float, start: str) -> Path:
    """A campaign of one pair, run; its report folder."""
    folder.mkdir()
    scope = starassay.SimulatedTelescope(
        "Juniper 115", 115 * u.mm, 760 * u.mm, wavefront={6: astigmatism * u.nm, 11: 8 * u.nm}
    )
    inside, outside, truth = starassay.draw_defocused_pair(
        scope, size=144, electrons=6e6, exposure=30 * u.s, start=start
    )
    write_frame(folder / "inside.fits", inside, truth)
    write_frame(folder / "outside.fits", outside, truth)
    (folder / "campaign.toml").write_text(CAMPAIGN.format(name=name), encoding="utf-8")
    return starassay.run_campaign(folder).folder


@pytest.fixture(scope="module")
def reports(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Reports before and after the astigmatism was taken out."""
    top = tmp_path_factory.mktemp("reports")
    return (
        run_one(top / "spring", "As it came", 30.0, "2026-03-14T20:30:00"),
        run_one(top / "autumn", "After turning the diagonal", 6.0, "2026-10-02T20:30:00"),
    )


@pytest.fixture(scope="module")
def compared(reports: tuple[Path, Path]) -> ReportComparison:
    return starassay.compare_reports(reports)


def changed(report: Path, folder: Path, **changes: Any) -> Path:
    """A copy of a report whose quantities say something else."""
    shutil.copytree(report, folder)
    path = folder / "decisions.json"
    record = json.loads(path.read_text(encoding="utf-8"))
    for quantity in record["quantities"]["Bright star"].values():
        quantity.update(changes)
    path.write_text(json.dumps(record), encoding="utf-8")
    return folder


def test_the_adjustment_is_found_with_its_size(compared: ReportComparison) -> None:
    rows = {r.quantity: r.result for r in compared.rows}
    astigmatism = rows["astigmatism"]
    # Drawn: 30 and 6 nm RMS.
    away = float(astigmatism.difference.value.value) + 24.0
    assert abs(away) < 3 * float(astigmatism.difference.uncertainty.value)
    assert astigmatism.ranking == "second" and rows["strehl"].ranking == "second"
    # Spherical aberration was left alone.
    assert rows["spherical"].ranking == "not-told-apart"


def test_common_parts_cancel_for_one_telescope(
    compared: ReportComparison, reports: tuple[Path, Path]
) -> None:
    first, second = (f.quantities["spherical"] for f in compared.folders)
    apart = float((first.value.uncertainty**2 + second.value.uncertainty**2).value) ** 0.5
    row = next(r for r in compared.rows if r.quantity == "spherical")
    assert float(row.result.difference.uncertainty.value) < apart


def test_labels_tell_what_differs(compared: ReportComparison) -> None:
    assert [f.label for f in compared.folders] == [
        "2026-03-14",
        "2026-10-02",
    ]
    assert compared.title == "Juniper 115, before and after"


def test_seeing_is_no_property_of_the_telescope(compared: ReportComparison) -> None:
    row = next(r for r in compared.rows if r.quantity == "seeing")
    assert not row.result.comparable and "says nothing about a telescope" in row.result.reason


def test_another_wavelength_and_a_doubt_are_not_compared(
    reports: tuple[Path, Path], tmp_path: Path
) -> None:
    red = changed(reports[1], tmp_path / "red", wavelength={"value": 633.0, "unit": "nm"})
    found = starassay.compare_reports([reports[0], red])
    strehl = next(r for r in found.rows if r.quantity == "strehl").result
    assert not strehl.comparable and "540 nm" in strehl.reason and "633 nm" in strehl.reason
    doubted = changed(reports[1], tmp_path / "doubted", doubts=["The ring was clipped."])
    found = starassay.compare_reports([reports[0], doubted])
    assert not any(r.result.comparable for r in found.rows)
    assert all("The ring was clipped." in r.result.reason for r in found.rows)


def test_page_and_text_say_the_same(
    reports: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page, table = tmp_path / "both.html", tmp_path / "both.ecsv"
    folders = [str(r) for r in reports]
    assert cli.main(["compare", *folders, "--page", str(page), "--table", str(table)]) == 0
    text, html = capsys.readouterr().out, page.read_text(encoding="utf-8")
    for said in ("2026-10-02 better", "not told apart", "before and after"):
        assert said in text and said in html
    assert "http" not in html and "alt=" in html and table.exists()


def test_three_folders_are_held_against_the_first(
    reports: tuple[Path, Path], tmp_path: Path
) -> None:
    third = changed(reports[1], tmp_path / "third")
    found = starassay.compare_reports([*reports, third])
    assert {r.first for r in found.rows} == {found.folders[0].label}
    assert len({f.label for f in found.folders}) == 3 and len(found.sheets()) == 2


def test_nonsense_is_refused(reports: tuple[Path, Path], tmp_path: Path) -> None:
    with pytest.raises(errors.InputError, match="two or more different ones"):
        starassay.compare_reports([reports[0], reports[0]])
    with pytest.raises(errors.FileError, match="is no report folder"):
        starassay.compare_reports([reports[0], tmp_path])

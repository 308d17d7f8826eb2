"""A campaign that is run again: what changed is measured, the rest is kept, and nothing differs from a fresh run."""

from __future__ import annotations

import dataclasses
import json
import os
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import SkyCoord
from astropy.io import fits
from astropy.wcs import WCS, WCSCOMPARE_ANCILLARY, Sip

from starassay import cli, errors, read_campaign, run_campaign
from starassay.campaign import keeping, report
from starassay.campaign.exact import NotExact, from_exact, to_exact
from starassay.campaign.outcome import Outcome
from starassay.results import Measured, Picture

TEXT = """
[campaign]
name = "Twice"
[telescope]
name = "Juniper 115"
aperture = "115 mm"
focal_length = "760 mm"
[camera]
pitch = "3.76 um"
[[stars]]
name = "First night"
frames = ["a.fits", "b.fits"]
[[stars]]
name = "Second night"
frames = ["c.fits"]
threshold = 6.0
[[requirements]]
quantity = "star_ellipticity"
at_most = 0.3
"""


def draw(path: Path, seed: int) -> None:
    """A few round stars."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:200, 0:260]
    image = rng.normal(300, 5, x.shape)
    for _ in range(15):
        cx, cy = rng.uniform(15, 245), rng.uniform(15, 185)
        image += 4000 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * 1.8**2))
    fits.PrimaryHDU(image.astype(np.float32)).writeto(path, overwrite=True)


@pytest.fixture(scope="module")
def drawn() -> Iterator[None]:
    """Pictures by their words alone: drawing takes ten times as long as all the rest."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            Picture, "source", lambda self, **_: f"data:image/png;base64,{hash(self.alt)}"
        )
        patch.setattr(report, "_judgment", lambda j: {"css": j.decision.verdict, **NO_WORDS})
        yield


NO_WORDS = dict.fromkeys(
    "verdict mark name quantity range source value figure alt probability reason next_test".split(),
    "",
)


@pytest.fixture
def folder(tmp_path: Path, drawn: None) -> Path:
    """A small campaign that was not run yet."""
    return make(tmp_path)


@pytest.fixture(scope="module")
def once(tmp_path_factory: pytest.TempPathFactory, drawn: None) -> Path:
    """The same after it was run once."""
    folder = make(tmp_path_factory.mktemp("once"))
    assert counts(run_campaign(folder)) == ALL
    return folder


@pytest.fixture
def done(once: Path, tmp_path: Path) -> Path:
    """A copy of it: what was measured stays valid where the campaign is moved to."""
    return Path(shutil.copytree(once, tmp_path, dirs_exist_ok=True))


def make(tmp_path: Path) -> Path:
    """A small campaign that was not run yet."""
    for seed, name in enumerate("abc"):
        draw(tmp_path / f"{name}.fits", seed)
    (tmp_path / "campaign.toml").write_text(TEXT, encoding="utf-8")
    return tmp_path


def counts(outcome: Outcome) -> list[tuple[int, int]]:
    """Measured and kept, by entry."""
    return [(t.measured, t.kept) for t in outcome.tests]


def written(report: Path) -> dict[str, bytes]:
    """Every file of a report; the time at which it was made taken out."""
    files = {p.relative_to(report).as_posix(): p for p in report.rglob("*") if p.is_file()}
    found = {name: path.read_bytes() for name, path in files.items() if name != "manifest.json"}
    page = found["report.html"].decode()
    found["report.html"] = re.sub(r"\d\d? \w+ 20\d\d(, \d\d:\d\d UTC)?", "", page).encode()
    return found


def change(folder: Path, old: str, new: str) -> None:
    """One setting of the campaign file."""
    assert TEXT.count(old) == 1
    (folder / "campaign.toml").write_text(TEXT.replace(old, new), encoding="utf-8")


def other_pixels(folder: Path) -> None:
    """The same length, one pixel changed, and the time of change put back."""
    path = folder / "b.fits"
    stamp = path.stat()
    data = bytearray(path.read_bytes())
    data[2880 + 4 * 1000 : 2880 + 4 * 1000 + 4] = np.array(305.0, ">f4").tobytes()
    path.write_bytes(data)
    os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))


ALL = [(2, 0), (1, 0)]


@pytest.mark.parametrize(
    ("what", "expected"),
    [
        (lambda f: os.utime(f / "a.fits"), [(0, 2), (0, 1)]),
        (lambda f: change(f, "at_most = 0.3", "at_most = 0.2"), [(0, 2), (0, 1)]),
        (lambda f: draw(f / "c.fits", 9), [(0, 2), (1, 0)]),
        (lambda f: change(f, "threshold = 6.0", "threshold = 6.5"), [(0, 2), (1, 0)]),
        (lambda f: change(f, '"Second night"', '"Another night"'), [(0, 2), (1, 0)]),
        (lambda f: change(f, '"760 mm"', '"761 mm"'), ALL),
        (lambda f: change(f, '"3.76 um"', '"3.8 um"'), ALL),
    ],
)
def test_what_changed_is_measured_again_and_nothing_else(
    done: Path, what: Callable[[Path], object], expected: list[tuple[int, int]]
) -> None:
    what(done)
    again = run_campaign(done)
    assert counts(again) == expected and not again.remark
    assert [p.name for p in done.iterdir() if p.name.startswith(".")] == []


def test_what_was_kept_is_what_would_be_measured(done: Path) -> None:
    """To the last bit, in every file."""
    other_pixels(done)
    assert counts(run_campaign(done)) == [(1, 1), (0, 1)]
    assert counts(run_campaign(done, out=done / "fresh")) == ALL
    assert written(done / "report") == written(done / "fresh")


@pytest.mark.parametrize(
    ("key", "word"),
    [
        ("starassay", "was made by StarAssay 0.0.9"),
        ("code", "another build"),
    ],
)
def test_another_program_measures_everything_again(
    folder: Path, monkeypatch: pytest.MonkeyPatch, key: str, word: str
) -> None:
    with monkeypatch.context() as earlier:
        made = {**keeping.program(), key: "0.0.9"}
        earlier.setattr(keeping, "program", lambda: made)
        run_campaign(folder)
    again = run_campaign(folder)
    assert counts(again) == ALL and word in again.remark
    assert any("Everything is measured again." in line for line in again.summary())
    assert counts(run_campaign(folder)) == [(0, 2), (0, 1)]


def test_the_checksum_of_the_program_follows_its_code(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = keeping._code()
    (tmp_path / "Other.dll").write_bytes(b"another engine")
    monkeypatch.setenv("STARASSAY_ENGINE", str(tmp_path))
    keeping._code.cache_clear()
    assert keeping._code() != before
    keeping._code.cache_clear()


def test_after_an_interrupt_it_goes_on(tmp_path: Path) -> None:
    """With real pictures."""
    folder = make(tmp_path)

    def stop(phrase: str) -> None:
        if phrase.startswith("Second night"):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_campaign(folder, report=stop)
    assert not (folder / "report").exists()
    again = run_campaign(folder)
    assert counts(again) == [(0, 2), (1, 0)]
    run_campaign(folder, out=folder / "fresh")
    assert written(folder / "report") == written(folder / "fresh")
    assert not [p for p in folder.iterdir() if p.name.startswith(".")]


def test_after_an_interrupt_while_it_draws_nothing_is_measured(done: Path) -> None:
    earlier = written(done / "report")
    change(done, "threshold = 6.0", "threshold = 6.5")

    def stop(phrase: str) -> None:
        if phrase.startswith("writing"):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_campaign(done, report=stop)
    # The earlier report still stands whole.
    assert written(done / "report") == earlier
    assert counts(run_campaign(done)) == [(0, 2), (0, 1)]


def test_the_command_says_that_it_can_go_on(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("starassay.campaign.run_campaign", stop)
    assert cli.main(["run", str(folder)]) == 130
    assert capsys.readouterr().err.splitlines() == [
        "What was measured so far is kept; the same command goes on from there.",
        "Interrupted; nothing was written by halves.",
    ]


def cut(path: Path) -> None:
    """The file ends early."""
    path.write_bytes(path.read_bytes()[:-40])


def empty(path: Path) -> None:
    """JSON, but no record."""
    path.write_text("[]", encoding="utf-8")


@pytest.mark.parametrize("harm", [cut, empty])
def test_a_damaged_record_measures_everything_again(
    done: Path, harm: Callable[[Path], None], capsys: pytest.CaptureFixture[str]
) -> None:
    harm(done / "report" / "measured" / "record.json")
    assert cli.main(["run", str(done)]) == 0
    assert "record.json in measured, the record of what was measured before, is damaged." in (
        capsys.readouterr().out
    )
    assert counts(run_campaign(done)) == [(0, 2), (0, 1)]


@pytest.mark.parametrize("harm", [cut, Path.unlink])
def test_a_damaged_part_is_measured_again(done: Path, harm: Callable[[Path], None]) -> None:
    fresh = written(done / "report")
    record = json.loads((done / "report/measured/record.json").read_text(encoding="utf-8"))
    (second,) = [m for m in record["measured"] if m["from"]["test"] == "Second night"]
    harm(done / "report" / "measured" / second["parts"]["file"])
    again = run_campaign(done)
    assert counts(again) == [(0, 2), (1, 0)]
    assert "damaged or gone; it is measured again" in again.remark
    assert written(done / "report").keys() == fresh.keys()


def test_fresh_uses_nothing_from_before(done: Path) -> None:
    assert counts(run_campaign(done, fresh=True)) == ALL


def _with(folder: Path, entry: int, measure: Callable[[Any, Any], Any]) -> Any:
    """The campaign with one measurement done by `measure(setup, the real one)`."""
    campaign = read_campaign(folder)
    tests = list(campaign.tests)
    real = tests[entry].measurement
    other = dataclasses.replace(real, measure=lambda setup: measure(setup, real.measure))
    tests[entry] = dataclasses.replace(tests[entry], measurement=other)
    return dataclasses.replace(campaign, tests=tuple(tests))


def test_a_frame_that_changes_while_it_is_measured_is_not_kept(folder: Path) -> None:
    def slow(setup: Any, real: Any) -> Any:
        parts = real(setup)
        draw(setup.files["frames"][0], 12)
        return parts

    assert counts(run_campaign(_with(folder, 1, slow))) == ALL
    assert counts(run_campaign(folder)) == [(0, 2), (1, 0)]


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (errors.CannotMeasureError("c.fits shows no star."), "c.fits shows no star."),
        (ValueError("odd"), "c.fits: a fault of StarAssay's own (ValueError: odd). Please report"),
        (MemoryError(), "c.fits: not enough memory. Close other programs"),
    ],
)
def test_a_failing_measurement_does_not_stop_the_others(
    folder: Path, error: Exception, said: str
) -> None:
    def fail(setup: Any, real: Any) -> Any:
        raise error

    outcome = run_campaign(_with(folder, 1, fail))
    first, second = outcome.tests
    assert counts(outcome) == [(2, 0), (0, 0)]
    assert len(first.pieces) == 2 and not first.failures
    assert outcome.failed and second.failures[0].startswith(said)
    assert said in re.sub("&#39;", "'", outcome.report.read_text(encoding="utf-8"))
    # A failure is never kept: the next run tries again, and the rest is not measured twice.
    assert counts(run_campaign(folder)) == [(0, 2), (1, 0)]


def test_an_interrupt_that_a_library_wrapped_stops_the_campaign(folder: Path) -> None:
    def stop(setup: Any, real: Any) -> Any:
        try:
            raise KeyboardInterrupt
        except KeyboardInterrupt:
            raise RuntimeError("half a class")  # noqa: B904

    with pytest.raises(RuntimeError, match="half a class"):
        run_campaign(_with(folder, 1, stop))
    assert counts(run_campaign(folder)) == [(0, 2), (1, 0)]


def test_json_for_machines(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "c.fits").write_bytes(b"no image")
    assert cli.main(["run", str(folder), "--json"]) == 3
    caught = capsys.readouterr()
    record = json.loads(caught.out)
    assert record["format"] == "starassay-run-1"
    assert Path(record["report"]).is_file()
    assert [d["verdict"] for d in record["decisions"]] == ["met"]
    first, second = record["tests"]
    assert (first["measured"], first["kept"], first["failures"]) == (2, 0, [])
    assert first["quantities"]["star_ellipticity"]["value"]["value"] < 0.3
    assert "c.fits" in second["failures"][0] and second["results"] == []
    assert caught.err == ""


def solution() -> WCS:
    """A solved frame's, distortion included, with numbers that need all their digits."""
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN-SIP", "DEC--TAN-SIP"]
    wcs.wcs.crpix, wcs.wcs.crval = [1 / 3, 200.1], [83.0 + 1 / 7, 12.5]
    wcs.wcs.cd = [[-2.8e-4 / 3, 1e-7 / 3], [1e-7 / 7, 2.8e-4 / 3]]
    a = np.zeros((3, 3))
    a[0, 2] = 1e-6 / 3
    wcs.sip = Sip(a, a.T.copy(), None, None, [1 / 3, 200.1])
    wcs.pixel_shape = (260, 200)
    wcs.wcs.set()
    return wcs


def dated() -> WCS:
    """A solution as a camera's program writes it: dates beside it, steps and a turn in place of a matrix."""
    header = fits.Header()
    header["CTYPE1"], header["CTYPE2"] = "RA---TAN", "DEC--TAN"
    header["CRPIX1"], header["CRPIX2"] = 570.5, 380.5
    header["CRVAL1"], header["CRVAL2"] = 303.0, 38.0 + 1 / 3
    header["CDELT1"], header["CDELT2"] = -4.3631e-4, 4.3631e-4
    header["PC1_2"], header["PC2_1"] = -1e-3 / 3, 1e-3 / 3
    header["MJD-OBS"] = 61323.840972
    header["DATE-OBS"], header["TIMESYS"] = "2026-10-10T20:11:00", "UTC"
    header["RADESYS"], header["EQUINOX"] = "FK5", 2000.0
    return WCS(header, fix=False)


@pytest.mark.parametrize(
    "value",
    [
        None,
        True,
        1.0 / 3,
        -0.0,
        float("nan"),
        float("-inf"),
        "±",
        [1, (2, [3.5])],
        {"a": 1, 2: ("b",)},
        1e-300 * u.nm,
        np.float32(0.1),
        np.array([[1, 2], [3, 4]], ">i2"),
        np.array(["a", "bc"]),
        np.array([1.5, np.nan]) * u.um / u.mm,
        Measured(1 * u.one, np.nan * u.one),
        Path("a/b.fits"),
        SkyCoord(83.1 * u.deg, 12.7 * u.deg),
        solution(),
        dated(),
    ],
    ids=lambda v: type(v).__name__,
)
def test_values_come_back_to_the_last_bit(value: Any) -> None:
    arrays: dict[str, np.ndarray] = {}
    text = json.dumps(to_exact(value, arrays), allow_nan=False)
    back = from_exact(json.loads(text), arrays)
    assert type(back) is type(value)
    again: dict[str, np.ndarray] = {}
    assert json.dumps(to_exact(back, again), allow_nan=False) == text
    assert [a.tobytes() for a in again.values()] == [a.tobytes() for a in arrays.values()]
    if isinstance(value, WCS):
        # Astropy's own comparison, dates left out, and the sky of a corner pixel.
        assert back.wcs.compare(value.wcs, WCSCOMPARE_ANCILLARY)
        assert back.all_pix2world(259.0, 3.0, 0) == value.all_pix2world(259.0, 3.0, 0)
        assert back.wcs.radesys == value.wcs.radesys


@pytest.mark.parametrize(
    "value", [object(), {1, 2}, np.array([object()]), fits.Header(), 3 + 4j, [print]]
)
def test_what_would_not_come_back_is_not_kept(value: Any) -> None:
    with pytest.raises(NotExact):
        to_exact(value, {})


@pytest.mark.parametrize(
    "plain",
    [
        {"$": "record", "class": "subprocess:Popen", "fields": {"args": "true"}},
        {"$": "record", "class": "starassay.cli:main", "fields": {"argv": []}},
        {"$": "record", "class": "starassay._files:os.system", "fields": {"command": "true"}},
        {"$": "record", "class": "starassay.results:Measured", "fields": {"value": 1}},
        {"$": "run"},
        {"no": "kind"},
    ],
)
def test_a_record_that_asks_for_anything_else_is_refused(plain: Any) -> None:
    with pytest.raises(NotExact):
        from_exact(plain, {})

"""Watching a folder: files that are not whole, broken or written again, what is said of a turn, the page, Ctrl-C."""

from __future__ import annotations

import dataclasses
import os
import re
import signal
import subprocess
import sys
import threading
import time
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy import units as u
from astropy.io import fits
from scipy import stats

import starassay
from starassay import CannotMeasureError, FileError, InputError
from starassay.cli import main
from starassay.measurements import declared
from starassay.measurements._declaring import Measurement, Part, Role, Setup
from starassay.measurements._watching import Glimpse, Sight, Watch
from starassay.results import Measured
from starassay.watching.newcomers import Newcomers
from starassay.watching.progress import (
    Mean,
    Point,
    Scatter,
    compare,
    forecast,
    is_change,
    mean_of,
    scatter_of,
)
from starassay.watching.session import Reading, Session
from starassay.watching.watcher import FolderWatch, watched

EXACT = Scatter(1.0, np.nan, np.inf)


def point(*values: float, bar: float = 1.0) -> Point:
    return Point(np.array(values), np.full(len(values), bar))


def mean(*values: float, bar: float = 1.0, freedom: float = np.inf) -> Mean:
    return Mean(np.array(values), np.full(len(values), bar), 1, freedom)


# A measurement of our own for the tests: the mean level of a frame, which costs nothing.


def look(found: Any, frame: Any) -> Sight:
    level = float(np.mean(frame.data[4:, 4:]))
    bar = float(frame.data[0, 0])
    value = Measured(level * u.adu, bar * u.adu)
    return Sight(
        (value,), f"level {value}", ("plain",), Glimpse(frame.data, 0, 0, 1, f"{level:.0f} adu")
    )


def measure(setup: Setup) -> list[Part]:
    frame = setup.read(setup.files["frames"][0])
    if np.mean(frame.data[4:, 4:]) < 4:
        raise CannotMeasureError(f"{frame.name} is black. Open the shutter.")
    return [Part(frame.name, None)]  # type: ignore[arg-type]


LEVEL = Measurement(
    area="level",
    title="Level",
    help="Mean level.",
    example="starassay measure level a.fits",
    roles=(Role("frames", "frames"),),
    options=(),
    measure=measure,
    watch=Watch(
        number="level",
        unit="adu",
        turned="a lamp",
        look=look,
        steer=lambda values, bars: "Dim the lamp.",
        trial=lambda setup: np.full((32, 32), 7, np.uint16),
        steady=True,
        caution="Lamps are hot.",
    ),
)


def content(level: int, bar: int = 10, **cards: Any) -> bytes:
    """A FITS file of an even frame; its first pixel says the bar."""
    pixels = np.full((40, 50), level, np.uint16)
    # An even frame would pass for a saturated one.
    pixels[::2, ::2] += 2
    pixels[1::2, 1::2] -= 2
    pixels[0, 0] = bar
    hdu = fits.PrimaryHDU(pixels, fits.Header({"EXPTIME": 0.001, **cards}))
    from io import BytesIO

    held = BytesIO()
    hdu.writeto(held)
    return held.getvalue()


def put(path: Path, data: bytes, age: float = 5.0) -> None:
    """A file that was written some seconds ago."""
    path.write_bytes(data)
    os.utime(path, (time.time() - age,) * 2)


@pytest.fixture
def night(tmp_path: Path) -> Any:
    made = []

    def begin(**how: Any) -> FolderWatch:
        made.append(FolderWatch(tmp_path, LEVEL, Setup(files={}), **how))
        return made[-1]

    yield begin
    for one in made:
        one.close()


def seen(watch: FolderWatch, looks: int = 2) -> list[Reading]:
    return [reading for _ in range(looks) for reading in watch.look()]


# Files


def test_frames_that_are_there_are_passed_over_or_measured(tmp_path: Path, night: Any) -> None:
    put(tmp_path / "old.fits", content(100))
    later = night()
    assert later.passed_over == 1 and seen(later) == []
    put(tmp_path / "new.FIT", content(120))
    put(tmp_path / "notes.txt", b"no frame")
    put(tmp_path / ".hidden.fits", content(1))
    assert [r.name for r in seen(later)] == ["new.FIT"]
    assert [r.name for r in seen(night(earlier=True))] == ["old.fits", "new.FIT"]


def test_a_file_that_grows_is_waited_for(tmp_path: Path, night: Any) -> None:
    """In pieces, each look between two of them, as a slow camera or a network writes it; then whole."""
    watch, data = night(), content(300)
    path = tmp_path / "a.fits"
    with path.open("wb", buffering=0) as stream:
        for k in range(0, len(data), 2000):
            stream.write(data[k : k + 2000])
            assert list(watch.look()) == []
    first = list(watch.look())
    assert [r.name for r in first or seen(watch, 1)] == ["a.fits"]


def test_a_writer_that_pauses_is_waited_for_and_told_of_once(tmp_path: Path, night: Any) -> None:
    watch, data = night(), content(300)
    path = tmp_path / "a.fits"
    put(path, data[:4000])
    assert seen(watch, 4) == []
    assert watch.told.take() == ["a.fits is not whole yet; waiting for it."]
    put(path, data, age=3)
    (reading,) = seen(watch)
    assert reading.counts and reading.sight is not None and watch.told.take() == []


@pytest.mark.parametrize("beginning", [b"", b"SIMPLE  =", content(300)[:4000]])
def test_a_file_that_is_never_whole_is_a_line_in_the_end(
    beginning: bytes, tmp_path: Path, night: Any
) -> None:
    watch = night(patience=0.2)
    put(tmp_path / "a.fits", beginning)
    assert seen(watch, 1) == []
    time.sleep(0.3)
    readings = seen(watch, 4)
    assert [r.trouble for r in readings] == [f"not whole after 0.2 s: {len(beginning)} bytes"]
    put(tmp_path / "b.fits", content(5))
    assert [r.name for r in seen(watch)] == ["b.fits"]


def test_bad_frames_are_lines_and_no_end(tmp_path: Path, night: Any) -> None:
    watch = night(patience=0.05)
    put(tmp_path / "1.fits", content(3), age=9)
    put(tmp_path / "2.fits", b"no FITS at all" * 400, age=8)
    put(tmp_path / "3.fits", content(77), age=7)
    time.sleep(0.1)
    readings = seen(watch, 1)
    time.sleep(0.1)
    readings += seen(watch, 2)
    found = {r.name: r for r in readings}
    assert sorted(found) == ["1.fits", "2.fits", "3.fits"]
    assert found["1.fits"].trouble == "1.fits is black. Open the shutter."
    assert "not whole" in found["2.fits"].trouble and found["3.fits"].counts
    page = watch.page.read_text(encoding="utf-8")
    assert "1.fits is black. Open the shutter." in page and "2 not measured" in watch.summary()


def test_a_file_written_again_is_measured_again(tmp_path: Path, night: Any) -> None:
    """The same exposure: the last form counts. Another exposure under the same name, as a preview has it: both do."""
    watch, path = night(), tmp_path / "a.fits"
    stamp = {"DATE-OBS": "2026-11-27T22:00:00"}
    put(path, content(100, **stamp))
    seen(watch)
    put(path, content(140, **stamp), age=4)
    (again,) = seen(watch)
    assert again.counts and [r.counts for r in watch.session] == [False, True]
    put(path, content(160, **{"DATE-OBS": "2026-11-27T22:00:09"}), age=3)
    seen(watch)
    assert [r.counts for r in watch.session] == [False, True, True]
    np.testing.assert_allclose(watch.session.means()[0].values, 150, atol=1)


def test_an_earlier_file_written_again_is_found_too(
    tmp_path: Path, night: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from starassay.watching import newcomers

    watch = night()
    for k in range(3):
        put(tmp_path / f"{k}.fits", content(100 + k), age=9 - k)
    assert len(seen(watch)) == 3
    put(tmp_path / "0.fits", content(55), age=2)
    assert seen(watch) == []
    monkeypatch.setattr(newcomers, "AGAIN", 0.0)
    assert [r.name for r in seen(watch)] == ["0.fits"]


def test_no_file_is_read_that_changes_meanwhile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A mapped file that is shortened would end the process with a bus error: a copy is measured, and it must be of one state."""
    from starassay.watching import newcomers

    path, there = tmp_path / "a.fits", tmp_path / "there"
    there.mkdir()
    files = Newcomers(tmp_path, False)
    put(path, content(100))
    (one,) = files.look()

    def slow(source: Path, target: Path) -> None:
        target.write_bytes(source.read_bytes())
        put(source, content(200), age=1)

    monkeypatch.setattr(newcomers.shutil, "copyfile", slow)
    assert files.copy(one, there) is None and not one.ready


def test_a_folder_that_goes_away_is_waited_for(tmp_path: Path, night: Any) -> None:
    folder = tmp_path / "share"
    folder.mkdir()
    watch = FolderWatch(folder, LEVEL, Setup(files={}), page=tmp_path / "p.html")
    folder.rename(tmp_path / "gone")
    assert seen(watch, 3) == []
    (said,) = watch.told.take()
    assert "cannot be read" in said and "waiting" in said
    (tmp_path / "gone").rename(folder)
    put(folder / "a.fits", content(9))
    assert [r.name for r in seen(watch)] == ["a.fits"] and "is back" in watch.told.take()[0]
    watch.close()


# Turns


def test_a_turn_begins_a_group_and_the_page_says_what_it_did(tmp_path: Path, night: Any) -> None:
    watch = night()
    for k, level in enumerate((200, 203)):
        put(tmp_path / f"{k}.fits", content(level), age=9 - k)
    first = seen(watch)
    assert [r.change for r in first] == [None, None]
    watch.turn("red  lamp")
    list(watch.look())
    put(tmp_path / "3.fits", content(120), age=0)
    time.sleep(0.05)
    (after,) = seen(watch, 3)
    assert after.group == 1 and after.change is not None
    # JCGM 100:2008, 5.1.2: the difference of a mean of two (10/sqrt 2) and one (10) has a bar of 12.2.
    assert after.change.verdict == "better" and after.change.less == pytest.approx(81.5, abs=1)
    assert after.change.bar == pytest.approx(12.25, rel=0.03)
    page = watch.page.read_text(encoding="utf-8")
    assert "red lamp" in page and '<p class="verdict better">better</p>' in page


def test_a_frame_exposed_while_turning_is_not_counted(tmp_path: Path, night: Any) -> None:
    watch = night()
    put(tmp_path / "0.fits", content(200))
    seen(watch)
    watch.turn()
    list(watch.look())
    time.sleep(0.05)
    put(tmp_path / "1.fits", content(120, EXPTIME=20.0), age=0)
    (reading,) = seen(watch, 3)
    assert not reading.counts and reading.trouble == "not counted: it was exposed while you turned"


def test_what_was_seen_before_the_key_belongs_before_the_turn(tmp_path: Path, night: Any) -> None:
    """A frame waits while another is measured; then Enter is pressed: the frame is from before."""
    watch = night()
    put(tmp_path / "0.fits", content(200), age=0.3)
    assert list(watch.look()) == []
    watch.turn()
    (reading,) = list(watch.look())
    assert reading.group == 0 and reading.counts


def test_without_a_key_a_change_beyond_the_bars_begins_a_group(tmp_path: Path, night: Any) -> None:
    watch = night(by_change=True)
    for k, level in enumerate((200, 206, 195, 190, 80, 84)):
        put(tmp_path / f"{k}.fits", content(level), age=9 - k)
    assert [r.group for r in seen(watch)] == [0, 0, 0, 0, 1, 1]
    assert watch.session.groups[-1].note == "seen as a change beyond the bars"


def test_two_turns_without_a_frame_are_one_group() -> None:
    session = Session(LEVEL.watch)  # type: ignore[arg-type]
    session.add(Reading(0, "a", 0))
    assert session.turn("upper") and not session.turn("left")
    assert [g.note for g in session.groups] == ["", "upper; left"]


# Better, worse, not decided yet


@pytest.mark.parametrize(
    ("less", "verdict"), [(4.0, "better"), (-4.0, "worse"), (1.5, "not decided yet")]
)
def test_one_number_is_decided_as_two_normal_means_are(less: float, verdict: str) -> None:
    """P(now < before) of two independent normal numbers, JCGM 101:2008; SciPy's normal distribution."""
    found = compare(mean(20.0, bar=1.0), mean(20.0 - less, bar=0.75))
    assert found.verdict == verdict
    # 20,000 draws tell a chance to 0.35 % (one standard deviation) at most.
    assert found.chance == pytest.approx(stats.norm.cdf(less / 1.25), abs=0.012)
    assert found.less == pytest.approx(less, abs=0.05) and found.bar == pytest.approx(
        1.25, rel=0.03
    )


@pytest.mark.parametrize("freedom", [1, 2, 4, 9])
def test_few_frames_decide_by_students_distribution(freedom: int) -> None:
    found = compare(mean(5.0, freedom=freedom), mean(1.0, freedom=freedom))
    # Both bars come from one scale with this many degrees of freedom (JCGM 100:2008, G.3): SciPy's Student distribution.
    assert found.chance == pytest.approx(stats.t.cdf(4 / np.sqrt(2), freedom), abs=0.012)
    assert (found.verdict == "better") == (stats.t.cdf(4 / np.sqrt(2), freedom) > 0.975)


def test_arrows_are_compared_by_their_lengths() -> None:
    """SciPy's Rice distribution: the length of a draw about an arrow."""
    before, now = mean(6.0, 2.0), mean(-1.0, 1.0)
    draws = [
        stats.rice.rvs(np.hypot(*m.values), size=200_000, random_state=k)
        for k, m in enumerate((before, now))
    ]
    found = compare(before, now)
    assert found.chance == pytest.approx(np.mean(draws[0] > draws[1]), abs=0.01)
    # An arrow that only turned round is no better and no worse.
    assert compare(mean(6.0, 2.0), mean(-2.0, 6.0)).verdict == "not decided yet"


def test_nothing_is_decided_as_long_as_no_scatter_is_known() -> None:
    """The half-flux radius of two frames: their bars say nothing of the air between them."""
    groups = [[point(1.6, bar=0.002)], [point(1.4, bar=0.002)]]
    scatter = scatter_of(groups, steady=False)
    assert scatter.freedom == 0
    found = compare(*(mean_of(g, scatter) for g in groups))
    assert found.verdict == "not decided yet" and np.isnan(found.chance)
    groups[0] += [point(1.5, bar=0.002), point(1.58, bar=0.002)]
    scatter = scatter_of(groups, steady=False)
    share = np.std([1.6, 1.5, 1.58], ddof=1) / np.mean([1.6, 1.5, 1.58])
    assert scatter.share == pytest.approx(share) and scatter.freedom == 2
    assert mean_of(groups[0], scatter).bar == pytest.approx(
        share * np.mean([1.6, 1.5, 1.58]) / np.sqrt(3)
    )


def test_means_are_weighted_and_widened_by_misfit() -> None:
    """Weighted mean and its bar times the Birge ratio (Birge 1932, Phys. Rev. 40, 207)."""
    values, bars = np.array([10.0, 14.0, 9.0]), np.array([1.0, 2.0, 0.5])
    points = [Point(np.array([v]), np.array([b])) for v, b in zip(values, bars)]
    scatter = scatter_of([points], steady=True)
    weights = 1 / bars**2
    center = np.average(values, weights=weights)
    birge = np.sqrt(np.sum(weights * (values - center) ** 2) / 2)
    assert birge > 1 and scatter.factor == pytest.approx(birge) and scatter.freedom == 2
    found = mean_of(points, scatter)
    assert found.size == pytest.approx(center)
    assert found.bar == pytest.approx(birge / np.sqrt(weights.sum()))
    quiet = scatter_of([[point(1.0), point(1.1)]], steady=True)
    assert (quiet.factor, quiet.freedom) == (1.0, np.inf)


def test_words_are_seldom_wrong_when_nothing_changed() -> None:
    """At one look 5 % by both words; 120 draws, five standard deviations."""
    rng = np.random.default_rng(5)
    for steady, parts in ((True, 2), (False, 1)):
        wrong = 0
        for _ in range(120):
            groups = [
                [
                    Point(9 + rng.normal(0, 1, parts), np.full(parts, 1.0 if steady else 0.1))
                    for _ in range(4)
                ]
                for _ in range(2)
            ]
            scatter = scatter_of(groups, steady)
            wrong += compare(*(mean_of(g, scatter) for g in groups)).verdict != "not decided yet"
        assert wrong < 120 * (0.05 + 5 * np.sqrt(0.05 * 0.95 / 120)), (steady, wrong)


def test_a_change_is_seen_only_beyond_the_bars() -> None:
    some = [point(10.0, 0.0), point(10.5, 0.4), point(9.6, -0.2)]
    assert not is_change(some, EXACT, point(11.5, 1.0))
    assert is_change(some, EXACT, point(10.0, 5.0)) and not is_change([], EXACT, point(99.0, 9.0))
    # Where frames tell their scatter, three degrees of freedom are the least.
    few = scatter_of([[point(1.0), point(1.01)]], steady=False)
    assert not is_change([point(1.0)], few, point(5.0))


def test_the_next_turn_is_forecast_from_the_last() -> None:
    """The foot of the perpendicular from zero on the line along which the turn went."""
    found = forecast(mean(60.0, 30.0), mean(40.0, 30.0))
    assert found is not None
    assert found.times == pytest.approx(2.0) and found.left == pytest.approx(30.0)
    back = forecast(mean(40.0, 30.0), mean(60.0, 30.0))
    assert back is not None and back.times == pytest.approx(-3.0)
    assert forecast(mean(60.0, 30.0), mean(58.5, 30.0)) is None
    assert forecast(mean(9.0), mean(3.0)) is None


# The page


class Outline(HTMLParser):
    """Tags and texts of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def test_the_page_needs_nothing_and_says_its_pictures_in_numbers(
    tmp_path: Path, night: Any
) -> None:
    watch = night()
    for k, level in enumerate((200, 203)):
        put(tmp_path / f"{k} <b>.fits", content(level), age=9 - k)
    seen(watch)
    text = watch.page.read_text(encoding="utf-8")
    outline = Outline()
    outline.feed(text)
    tags = [tag for tag, _ in outline.tags]
    assert (
        "script" not in tags and "link" not in tags and "http:" not in text and "https:" not in text
    )
    assert "<b>" not in text and "1 &lt;b&gt;.fits" in text
    sources = [a.get("href") or a.get("src") for tag, a in outline.tags if tag in ("image", "img")]
    assert sources and all(s is not None and s.startswith("data:image/png") for s in sources)
    labels = [a.get("aria-label") for tag, a in outline.tags if tag == "svg"]
    assert labels and all(label and re.search(r"\d", label) for label in labels)
    refreshed = ("meta", {"http-equiv": "refresh", "content": "2"})
    assert refreshed in outline.tags and "Lamps are hot." in text and "Sun" in text
    assert len(text) < 60_000
    watch.close()
    ended = watch.page.read_text(encoding="utf-8")
    assert "http-equiv" not in ended and "Ended at" in ended


def test_the_page_is_whole_whenever_it_is_read(tmp_path: Path, night: Any) -> None:
    """Read all the while that it is written a hundred times; nothing else is left in the folder."""
    watch = night()
    put(tmp_path / "0.fits", content(200))
    seen(watch)
    torn: list[str] = []
    looks = [0]
    over = threading.Event()

    def read() -> None:
        while not over.is_set():
            text = watch.page.read_text(encoding="utf-8")
            looks[0] += 1
            if not (text.startswith("<!DOCTYPE") and text.endswith("</html>\n")):
                torn.append(text[-40:])

    reader = threading.Thread(target=read)
    reader.start()
    for _ in range(100):
        watch._write_page()
    over.set()
    reader.join()
    assert looks[0] > 20 and torn == []
    assert sorted(p.name for p in tmp_path.iterdir()) == ["0.fits", "watch-level.html"]


def test_a_page_that_cannot_be_written_is_said_once_and_no_end(
    tmp_path: Path, night: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from starassay.watching import watcher

    watch = night()

    def full(writers: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(watcher, "write_whole", full)
    for k in range(3):
        put(tmp_path / f"{k}.fits", content(100 + k), age=9 - k)
    assert len(seen(watch)) == 3
    (said,) = watch.told.take()
    assert "No space left" in said and "going on without it" in said


# What can be watched, and how it is said to be wrong


def test_what_can_be_watched_says_so_itself() -> None:
    kinds = watched()
    assert set(kinds) >= {"alignment", "stars", "field_sharpness"}
    for one in kinds.values():
        assert one.watch is not None and one.watch.caution and one.roles[0].many
    assert all(one.watch is None for name, one in declared().items() if name not in kinds)


def test_alignment_points_where_the_star_has_to_go() -> None:
    """A star drawn by NumPy with coma along x and y: the arrow is opposite to the decentre, with the length of the coefficient."""
    from test_alignment import HOW, SCOPE, frame, star

    found = starassay.measure_alignment(frame(star(-7.0, (0.12, -0.2))), SCOPE, **HOW)
    watch = declared()["alignment"].watch
    assert watch is not None
    sight = watch.look(found, None)
    values = np.array([p.value.to_value("nm") for p in sight.point])
    assert np.hypot(*values) == pytest.approx(found.coma.value.to_value("nm"))
    toward = np.rad2deg(np.arctan2(values[1], values[0]))
    shadow = found.coma_direction.value.to_value("deg")
    assert abs(toward - shadow) == pytest.approx(180)
    # W131 as drawn over 3 sqrt 8: 540 nm x 0.2332 / 8.485.
    assert np.hypot(*values) == pytest.approx(
        540 * np.hypot(0.12, 0.2) / (3 * np.sqrt(8)), rel=0.06
    )
    assert toward == pytest.approx(np.rad2deg(np.arctan2(0.2, -0.12)), abs=3)
    said = watch.steer(values, np.array([1.0, 1.0]))
    assert f"toward {toward:.0f} deg" in said and "nothing to turn" in watch.steer(
        values, 50 + 0 * values
    )
    assert sight.glimpse is not None and {m.kind for m in sight.glimpse.marks} == {
        "circle",
        "dot",
        "cross",
    }


def test_stars_through_the_open_door(tmp_path: Path) -> None:
    """The whole way with a real measurement: a Gaussian field, its half-flux radius on the page."""
    trial = declared()["stars"].watch.trial(None)  # type: ignore[union-attr]
    with starassay.watch_folder(tmp_path, "stars", pitch="3.76 um") as frames:
        put(tmp_path / "field.fits", b"")
        fits.PrimaryHDU(trial).writeto(tmp_path / "field.fits", overwrite=True)
        for reading in frames:
            break
    assert reading.sight is not None and reading.counts
    # Half-flux radius of a Gaussian, 1.1774 sigma, less the pixel's own 1/12.
    expected = 1.1774 * np.sqrt(4 - 1 / 12)
    assert reading.sight.point[0].value.value == pytest.approx(expected, rel=0.02)
    text = frames.page.read_text(encoding="utf-8")
    assert "half-flux radius" in text and "data:image/png" in text


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"measure": "plate_scale"}, "what can be watched is"),
        ({"measure": "stars", "sharpness": 3}, "no option 'sharpness'"),
        ({"measure": "alignment", "wavelength": "540 nm"}, "needs the telescope"),
        ({"measure": "stars", "pitch": "3 kg"}, "pitch"),
        ({"measure": "stars", "folder": "nowhere"}, "no folder"),
        ({"measure": "stars", "page": "no/such/page.html"}, "cannot be the page"),
    ],
)
def test_wrong_calls_are_refused_before_anything_is_waited_for(
    how: dict[str, Any], said: str, tmp_path: Path
) -> None:
    arguments = {"folder": tmp_path, **how}
    with pytest.raises((InputError, FileError), match=said):
        starassay.watch_folder(**arguments)


# The command


def test_the_command_takes_what_measure_takes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["watch", str(tmp_path), "--measure", "moon"]) == 2
    assert "alignment, field-sharpness, stars" in capsys.readouterr().err
    assert main(["watch", str(tmp_path), "--measure=alignment", "--wavelength", "540nm"]) == 2
    assert "--aperture" in capsys.readouterr().err
    assert main(["watch", str(tmp_path), "--measure", "stars", "--wavelength", "540nm"]) == 2
    assert "not known here" in capsys.readouterr().err
    assert main(["watch", str(tmp_path / "no"), "--measure", "stars"]) == 2
    assert "There is no folder" in capsys.readouterr().err
    assert main(["watch", str(tmp_path), "--measure", "stars", "--count", "0"]) == 2
    assert "--count" in capsys.readouterr().err


def start(folder: Path, *more: str) -> subprocess.Popen[str]:
    code = (
        "import signal, sys\n"
        # A shell starts what runs in its background deaf to this signal, and children inherit that.
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "from starassay.__main__ import entry\n"
        "sys.exit(entry())\n"
    )
    command = [sys.executable, "-u", "-c", code, "watch", str(folder), "--measure", "stars", *more]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, text=True)


def until(process: subprocess.Popen[str], words: str) -> list[str]:
    """Lines up to the one with these words."""
    assert process.stdout is not None
    lines = []
    while not lines or words not in lines[-1]:
        text = process.stdout.readline()
        assert text, (lines, process.stderr.read() if process.stderr else "")
        lines.append(text.rstrip("\n"))
    return lines


def test_a_night_in_a_process_of_its_own(tmp_path: Path) -> None:
    """A frame, a broken one, the Enter key, another frame, Ctrl-C: one line each, and 130."""
    trial = declared()["stars"].watch.trial(None)  # type: ignore[union-attr]
    process = start(tmp_path, "--turns", "enter", "--patience", "0.3")
    greeting = "\n".join(until(process, "Sun"))
    assert (
        "watch-stars.html" in greeting and "Press Enter" in greeting and "Ctrl-C ends" in greeting
    )
    fits.PrimaryHDU(trial).writeto(tmp_path / "a.fits")
    assert "half-flux radius" in until(process, "a.fits")[-1]
    (tmp_path / "bad.fits").write_bytes(b"SIMPLE  =")
    assert "not whole after" in until(process, "not measured")[-1]
    assert process.stdin is not None
    process.stdin.write("in by a hair\n")
    process.stdin.flush()
    assert until(process, "turned")[-1] == "---  turned: in by a hair"
    fits.PrimaryHDU(trial + 1).writeto(tmp_path / "b.fits")
    assert "not decided yet" in until(process, "b.fits")[-1]
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert process.returncode == 130 and err == ""
    (last,) = [line for line in out.splitlines() if line]
    assert last.startswith("2 frames counted, 1 not measured, 1 turn: half-flux radius")
    assert "Ended at" in (tmp_path / "watch-stars.html").read_text(encoding="utf-8")
    assert sorted(p.suffix for p in tmp_path.iterdir()) == [".fits"] * 3 + [".html"]


def test_a_number_of_frames_ends_it_with_zero(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    trial = declared()["stars"].watch.trial(None)  # type: ignore[union-attr]
    for k in range(2):
        fits.PrimaryHDU(trial + k).writeto(tmp_path / f"{k}.fits")
    how = ["--measure", "stars", "--earlier", "--count", "2", "--turns", "changes"]
    assert main(["watch", str(tmp_path), *how]) == 0
    out = capsys.readouterr().out.splitlines()
    assert [line[:12] for line in out[-3:-1]] == ["  1  0.fits ", "  2  1.fits "]
    assert out[-1].startswith("2 frames counted: half-flux radius")


def test_readings_are_records() -> None:
    reading = Reading(3, "a.fits", 1)
    assert dataclasses.replace(reading, number=4).number == 4 and not reading.counts

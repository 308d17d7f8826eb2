"""The classroom: numbers against published values, pictures against the pixels they must have, panels that move, a page that works."""

from __future__ import annotations

import asyncio
import base64
import inspect
import io
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from PIL import Image

import starassay
from starassay import cli, lab
from starassay.lab.aberration_sheet import MODES
from starassay.lab.exercise import SIGNS

TOP = Path(__file__).resolve().parents[2]


def pictures(html: str) -> list[np.ndarray]:
    """The pictures of a sheet, as pixels."""
    found = re.findall(r"data:image/png;base64,([A-Za-z0-9+/=]+)", html)
    return [
        np.asarray(Image.open(io.BytesIO(base64.b64decode(f))).convert("RGB")).astype(float)
        for f in found
    ]


def click(button: object) -> None:
    """As the browser tells it; old versions of the library have no other way."""
    button._handle_button_msg(button, {"event": "click"}, [])  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "name, rms, strehl",
    [
        # A quarter wave from peak to valley: Mahajan 1982, J. Opt. Soc. Am. 72, 1258; exact pupil integrals.
        ("defocus", 0.072169, 0.810569),
        ("spherical", 0.074536, 0.800305),
        ("astigmatism", 0.051031, 0.902064),
    ],
)
def test_quarter_waves(name: str, rms: float, strehl: float) -> None:
    sheet = lab.draw_aberrations(**{name: rms})
    # 96 samples across draw the rim in steps.
    assert sheet.strehl_ratio == pytest.approx(strehl, abs=0.002)
    assert sheet.rms.to_value(u.nm) == pytest.approx(550 * rms, rel=0.01)
    assert f"{strehl:.2f}"[:3] in dict(sheet.numbers)["Strehl ratio"]


def test_first_dark_ring_and_contrast() -> None:
    """Airy's first dark ring at 1.2197 lambda N; MTF of a clear aperture at half its cutoff 0.391 (Born and Wolf, 8.5 and 9)."""
    views = lab.draw_aberrations(focal_ratio=10.0).views
    row = views["focused"].reshape(views["points"], -1)[views["points"] // 2]
    x = np.linspace(-5, 5, len(row))
    inside = (x > 0.8) & (x < 1.7)
    assert x[inside][np.argmin(row[inside])] == pytest.approx(1.2197, abs=0.06)
    assert np.interp(0.5, views["frequency"], views["perfect_mtf"]) == pytest.approx(
        0.391002, abs=0.003
    )


def test_pictures_are_what_was_drawn() -> None:
    still, coma = pictures(lab.draw_aberrations().html()), pictures(
        lab.draw_aberrations(coma=0.1).html()
    )
    assert len(still) == 7
    inside = still[2].mean(axis=2)
    # The perfect star out of focus is the same left and right; with coma light gathers on one side.
    assert np.abs(inside - inside[:, ::-1]).max() <= 2
    lopsided = coma[2].mean(axis=2)
    assert abs(lopsided[:, :64].sum() / lopsided[:, 64:].sum() - 1) > 0.05
    # Turned by 90 degrees what lay along x lies along y, upwards in the picture.
    up = pictures(lab.draw_aberrations(coma=0.1, direction=90 * u.deg).html())[2].mean(axis=2)
    np.testing.assert_allclose(up, np.rot90(lopsided), atol=3)


def test_from_a_measured_telescope() -> None:
    measured = starassay.PupilMap.from_zernike(
        coma="40 nm", wavelength="540 nm", focal_ratio=6.0, obstruction=0.2, samples=128
    )
    alone = lab.draw_aberrations(measured)
    assert alone.rms.to_value(u.nm) == pytest.approx(measured.rms.to_value(u.nm), rel=1e-3)
    # Taken away again, nothing is left.
    assert lab.draw_aberrations(measured, coma=-40 / 540).rms < 0.01 * u.nm


def test_colors_are_the_handbooks() -> None:
    """Crown and flint: F = C 0.4996 mm a meter longer than d (Conrady; Kingslake; exact thin lens), g 2.2259; ED pair 0.0318 shorter."""
    classic = lab.draw_color(("N-BK7", "F2"), 1000 * u.mm, 10.0)
    assert classic.secondary_spectrum.to_value(u.um) == pytest.approx(499.6, abs=1)
    assert classic.shift_at("g").to_value(u.um) == pytest.approx(2225.9, abs=1)
    assert "1/2002" in dict(classic.numbers)["that is"]
    better = lab.draw_color(("S-FPL53", "N-BK7"), 1000 * u.mm, 10.0)
    assert better.secondary_spectrum.to_value(u.um) == pytest.approx(-31.8, abs=1)


def test_field_shows_what_is_wrong() -> None:
    tilted = lab.draw_field(tilt_x=200 * u.um)
    assert np.ptp(tilted.defocus.to_value(u.um)) == pytest.approx(200)
    assert tilted.defocus.to_value(u.um)[6] == pytest.approx(100)
    # The middle column stays sharp, the outer ones do not.
    middles = tilted.images[:, 24, 24].reshape(5, 7)
    assert (middles[:, 3] > 0.99).all() and (middles[:, [0, 6]] < 0.05).all()
    near = lab.draw_field(reducer=1 * u.mm)
    assert near.defocus.to_value(u.um).max() == pytest.approx(60)


def test_seeing_hides_quality() -> None:
    good = lab.draw_seeing(seeing="0 arcsec", aperture="115 mm")
    # 1.02899 lambda / D (Born and Wolf, 8.5).
    assert good.fwhm.to_value(u.arcsec) == pytest.approx(
        1.02899 * 550e-6 / 115 * 206264.8, rel=0.02
    )
    poor = [lab.draw_seeing(seeing=s * u.arcsec, coma=0.1) for s in (0, 1, 2, 4)]
    # Without air the center's share is the Strehl ratio of 0.1 waves RMS of coma, to the place of its brightest point.
    assert poor[0].center_share == pytest.approx(
        lab.draw_aberrations(coma=0.1).strehl_ratio, abs=0.02
    )
    assert list(np.sort([p.center_share for p in poor])) == [p.center_share for p in poor]
    assert poor[-1].center_share > 0.8


def test_a_star_is_seen_to_grow() -> None:
    """Area of a picture's pixels above half of the brightest is that of a circle as wide as the sheet says."""
    for seeing in (0.0, 1.0, 3.0):
        drawn = lab.draw_seeing(seeing=seeing * u.arcsec)
        data = re.search(r"data:image/png;base64,([A-Za-z0-9+/=]+)", drawn.html())
        shades = np.asarray(Image.open(io.BytesIO(base64.b64decode(data[1]))))
        pixels = np.count_nonzero(shades >= 1 + 254 * np.sqrt(0.5))
        width = np.sqrt(4 * pixels / np.pi) * 10 / shades.shape[0]
        # A pixel is 0.08 arcseconds.
        assert width == pytest.approx(drawn.fwhm.to_value(u.arcsec), abs=0.05)


def test_what_the_exercises_say_of_both_sides_is_so() -> None:
    """Even faults change sides with their sign, odd ones do not: |FT(exp i(W + d))| of -W and -d at -x is the same (any text on Fourier optics)."""
    for name, even in (
        ("astigmatism", True),
        ("spherical", True),
        ("coma", False),
        ("trefoil", False),
    ):
        drawn = lab.draw_aberrations(**{name: 0.08}, direction=20 * u.deg).views
        opposite = lab.draw_aberrations(**{name: -0.08}, direction=20 * u.deg).views
        top = drawn["inside"].max()
        same = np.abs(drawn["inside"] - drawn["outside"]).max() < 1e-3 * top
        assert same != even, name
        assert (np.abs(opposite["inside"] - drawn["outside"]).max() < 1e-3 * top) == even, name


def test_exercises_mark() -> None:
    answers = {lab.Exercise(k).answer for k in range(40)}
    assert answers == set(SIGNS)
    one = lab.Exercise(3)
    assert lab.Exercise(3).answer == one.answer
    right, words = one.mark(one.answer)
    assert right and words.startswith("Right: ")
    other = next(name for name in SIGNS if name != one.answer)
    wrong, words = one.mark(other)
    assert not wrong and f"Not {other}" in words and one.answer in words
    # What is shown before does not tell.
    assert one.answer not in one.html() and "Strehl" not in one.html()


@pytest.mark.parametrize(
    "call, words",
    [
        (lambda: lab.draw_aberrations(comma=0.1), "no aberration 'comma'"),
        (lambda: lab.draw_aberrations("telescope"), "no measured telescope"),
        (lambda: lab.draw_aberrations(coma="much"), "coma"),
        (lambda: lab.draw_aberrations(defocus_waves=90.0), "defocus_waves"),
        (lambda: lab.draw_aberrations().html(("halo",)), "no picture 'halo'"),
        (lambda: lab.draw_color(("N-BK7", "butter")), "butter"),
        (lambda: lab.draw_field(tilt_x="50 mm"), "too far out of focus"),
        (lambda: lab.draw_seeing(seeing="15 arcsec", aperture="300 mm"), "too wide"),
        (lambda: lab.Exercise(-1), "numbers begin with 0"),
        (lambda: lab.Exercise(1).mark("luck"), "none of"),
    ],
)
def test_errors_are_sentences(call: object, words: str) -> None:
    with pytest.raises(starassay.InputError, match=words):
        call()  # type: ignore[operator]


def test_every_wrong_argument_is_a_sentence(tmp_path: Path) -> None:
    """Things that nothing here takes, one at a time, for every argument of every function."""
    walked = 0
    for function in (lab.draw_aberrations, lab.draw_color, lab.draw_field, lab.draw_seeing):
        for name in inspect.signature(function).parameters:
            key = "coma" if name == "waves" else name
            for wrong in ("no-such-thing", 7 * u.kg, object(), [object()]):
                with pytest.raises(starassay.StarAssayError):
                    function(**{key: wrong})
                walked += 1
    for wrong in (7 * u.kg, object(), tmp_path / "nowhere" / "lab.html"):
        with pytest.raises(starassay.StarAssayError):
            lab.write_page(wrong)
    assert walked > 80


def test_panels_follow_their_sliders() -> None:
    pytest.importorskip("ipywidgets")
    for make, name, value in (
        (lab.aberrations, "coma", 0.1),
        (lab.color, "focal_ratio", 5.0),
        (lab.field, "tilt_x", 100.0),
        (lab.seeing, "seeing", 3.0),
    ):
        panel = make()
        before = panel.shown.value
        panel.controls[name].value = value
        assert panel.shown.value != before and "sa-sheet" in panel.shown.value
    panel = lab.guess(3)
    panel.answer.value = lab.Exercise(3).answer
    click(panel.check)
    assert "✓" in panel.told.value and "Strehl" in panel.shown.value
    click(panel.following)
    assert "Exercise 4" in panel.told.value and "Strehl" not in panel.shown.value


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page, by the command."""
    path = tmp_path_factory.mktemp("lab") / "lab.html"
    assert cli.main(["lab", "--export", str(path)]) == 0
    return path


def test_page_is_whole_and_alone(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    assert page.stat().st_size < 15e6
    # Nothing is fetched: addresses are data, or the name space of SVG.
    assert not re.findall(r"(?:src|href)=[\"'](?!data:)", text)
    parts = json.loads(re.search(r'id="data">(.*?)</script>', text, re.S)[1])
    assert [p["title"] for p in parts] == ["Aberrations", "Color", "Field", "Seeing", "Exercises"]
    assert len(parts[0]["sheets"]) == len(MODES) * len(parts[0]["choices"][1][1])
    assert sum(len(group[1]) for group in parts[2]["groups"]) == len(parts[2]["sheets"])
    assert all('role="img" aria-label="' in s for s in parts[0]["sheets"])


def test_page_moves_in_a_browser(page: Path, tmp_path: Path) -> None:
    """Sliders, choices and exercises by events, as mouse and keys make them; what then stands in the page."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        pytest.skip("needs chromium")
    trial = """<script>
    const seen = []; const note = () => seen.push(byId("sheet").innerHTML.length + ":" + byId("sheet").textContent.slice(0, 60));
    window.addEventListener("error", event => seen.push("error " + event.message));
    note();
    const range = document.querySelector("input[type=range]"); range.value = 8; range.dispatchEvent(new Event("input")); note();
    [...document.querySelectorAll("#parts button")].forEach(button => { button.click(); note(); });
    [...document.querySelectorAll("button")].find(b => b.textContent === "Mark it").click(); note();
    document.body.innerHTML = "<pre id=seen>" + JSON.stringify(seen) + "</pre>";
    </script></body>"""
    copy = tmp_path / "trial.html"
    copy.write_text(page.read_text(encoding="utf-8").replace("</body>", trial), encoding="utf-8")
    done = subprocess.run(
        [browser, "--headless", "--no-sandbox", "--disable-gpu", "--dump-dom", copy.as_uri()],
        capture_output=True,
        text=True,
        timeout=120,
        cwd=tmp_path,
        check=False,
    )
    seen = json.loads(re.search(r"<pre id=.?seen.?>(.*?)</pre>", done.stdout, re.S)[1])
    assert len(seen) == 8 and not any("error" in s for s in seen)
    assert len(set(seen)) >= 7, seen
    assert "0.100 waves" in seen[0] and "0.200 waves" in seen[1] and "Strehl" in seen[-1]


NOTEBOOKS = sorted(p.stem for p in (TOP / "examples" / "classroom").glob("*.ipynb"))


def test_every_notebook_is_listed() -> None:
    page = (TOP / "docs" / "lab.md").read_text(encoding="utf-8")
    assert len(NOTEBOOKS) == 9
    assert all(f"examples/classroom/{name}.ipynb" in page for name in NOTEBOOKS)


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_the_page_is_the_notebooks(name: str) -> None:
    """Every cell stands on the page that `python tests/render_notebooks.py` wrote, and every picture that it names is there."""
    folder = TOP / "docs" / "notebooks"
    page = (folder / f"{name}.md").read_text(encoding="utf-8")
    cells = json.loads((TOP / "examples" / "classroom" / f"{name}.ipynb").read_text())["cells"]
    for cell in cells:
        text = re.sub(r"\(([a-z-]+)\.ipynb\)", r"(\1.md)", "".join(cell["source"])).strip()
        lines = [line.rstrip() for line in text.splitlines()]
        assert re.sub(r"\n{3,}", "\n\n", "\n".join(lines)) in page
    named = set(re.findall(rf"{name}-[0-9-]+\.(?:png|svg)", page))
    assert named == {p.name for p in folder.glob(f"{name}-*")} and named


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_notebooks_run(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each from start to end; their own assertions compare with published values."""
    nbformat, nbclient = pytest.importorskip("nbformat"), pytest.importorskip("nbclient")
    monkeypatch.setenv("PYTHONPATH", str(Path(cli.__file__).parents[2]))
    path = TOP / "examples" / "classroom" / f"{name}.ipynb"
    notebook = nbformat.read(path, as_version=4)
    assert not any(c.get("outputs") for c in notebook.cells), "store no output"
    client = nbclient.NotebookClient(notebook, timeout=120, kernel_name="python3")
    # The oldest client knows no widgets of the oldest library; panels are moved by the test above.
    client.comm_open_handlers = {}
    asyncio.run(client.async_execute())
    shown = [o for c in notebook.cells for o in c.get("outputs", [])]
    data = [o.get("data", {}) for o in shown]
    drawn = ["image/png" in d or re.search("<svg|<img", d.get("text/html", "")) for d in data]
    assert any(drawn), "no picture"
    assert "Worksheet" in "".join(c.source for c in notebook.cells)
    assert not any(o["output_type"] == "error" for o in shown)


def test_no_widgets_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "ipywidgets", None)
    with pytest.raises(starassay.InputError, match="starassay lab --export"):
        lab.aberrations()

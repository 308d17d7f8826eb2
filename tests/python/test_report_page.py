"""The demo's report in a browser: like frames folded, nothing of weight out of sight, and axe-core's rules of accessible pages (WCAG 2).

axe-core comes from npm: ``npm install --prefix build/browser axe-core``; without it or Chromium that test is visibly skipped.
"""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from starassay.campaign.report import LIKE, _each, _heavy
from starassay.results import Note

TOP = Path(__file__).resolve().parents[2]
AXE = TOP / "build" / "browser" / "node_modules" / "axe-core" / "axe.min.js"


def in_browser(report: Path, script: str, folder: Path) -> Any:
    """What a script says of a page, by way of a <pre> that it leaves; it calls `say` with it."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        pytest.skip("needs chromium")
    end = (
        "<script>const say = what => { document.body.innerHTML = '<pre id=said></pre>'; "
        "document.getElementById('said').textContent = JSON.stringify(what); };</script>"
    )
    copy = folder / "trial.html"
    page = report.read_text(encoding="utf-8")
    copy.write_text(
        page.replace("</body>", f"{end}<script>{script}</script></body>"), encoding="utf-8"
    )
    done = subprocess.run(
        [
            *(browser, "--headless", "--no-sandbox", "--disable-gpu"),
            *("--virtual-time-budget=60000", "--dump-dom", copy.as_uri()),
        ],
        capture_output=True,
        text=True,
        timeout=120,
        cwd=folder,
        check=False,
    )
    said = re.search(r"<pre id=.?said.?>(.*?)</pre>", done.stdout, re.S)
    assert said is not None, done.stderr[-500:]
    return json.loads(html.unescape(said[1]))


def test_the_report_breaks_no_rule_of_accessible_pages(demo: Path, tmp_path: Path) -> None:
    """Contrast, text alternatives, headings, tables and the rest of axe-core's rules, folded parts opened."""
    if not AXE.exists():
        pytest.skip("needs axe-core: npm install --prefix build/browser axe-core")
    script = AXE.read_text(encoding="utf-8") + (
        "\ndocument.querySelectorAll('details').forEach(d => { d.open = true; });"
        "axe.run(document).then(r => say({passed: r.passes.map(p => p.id), broken: r.violations.map(v => "
        "[v.id, v.nodes.length, v.nodes[0].html.slice(0, 200)])}));"
    )
    said = in_browser(demo / "report" / "report.html", script, tmp_path)
    assert said["broken"] == []
    assert {"color-contrast", "image-alt", "heading-order"} <= set(said["passed"])


def test_like_frames_are_one_table_and_one_picture(demo: Path, tmp_path: Path) -> None:
    """Three frames of one field: the first stands in full, the others are folded, and no table is cut by its own page."""
    said = in_browser(
        demo / "report" / "report.html",
        "const test = document.getElementById('test-1');"
        "say({folded: [...test.querySelectorAll('details.folded summary')].map(s => s.textContent),"
        " rows: [...test.querySelectorAll('table')].find(t => t.caption && t.caption.textContent.startsWith('Each')).tBodies[0].rows.length,"
        " open: [...test.querySelectorAll('img')].filter(i => !i.closest('details')).length,"
        " all: test.querySelectorAll('img').length, wide: document.documentElement.scrollWidth - innerWidth});",
        tmp_path,
    )
    assert said["folded"] == ["field-2.fits", "field-3.fits"] and said["rows"] == 3
    assert 0 < said["open"] == said["all"] / 3
    assert said["wide"] <= 0


def test_what_is_folded_keeps_its_cautions_in_sight() -> None:
    def piece(level: str) -> Any:
        note = Note("stars.saturated", level, "", "Clipped.")
        return SimpleNamespace(label="a", result=SimpleNamespace(quantities=(), notes=(note,)))

    pieces = [piece("info"), piece("caution"), piece("doubt")]
    assert [n.level for n in _heavy(pieces)] == ["caution", "doubt"]
    assert _each(pieces[: LIKE - 1]) is None and _each(pieces) is not None

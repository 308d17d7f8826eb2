"""What every test shares: real data when it is there, no windows, the top folder."""

from __future__ import annotations

import html
import os
import re
import signal
from collections.abc import Iterator
from pathlib import Path

import matplotlib
import pytest

matplotlib.use("Agg")

# A shell starts what runs in its background deaf to this signal, and some tests send it.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

TOP = Path(__file__).resolve().parents[2]


def data_folder() -> Path:
    """Folder of the real trial data: ``STARASSAY_DATA``, else ``../shared/data`` beside the checkout."""
    override = os.environ.get("STARASSAY_DATA")
    return Path(override) if override else TOP.parent / "shared" / "data"


@pytest.fixture(scope="session")
def real_data() -> Path:
    """The folder of real trial data; the test is skipped, visibly, when it is not there."""
    folder = data_folder()
    if not folder.is_dir():
        pytest.skip(f"no real data at {folder} (set STARASSAY_DATA)")
    return folder


@pytest.fixture(scope="session")
def top() -> Path:
    """Top folder of the checkout."""
    return TOP


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's folder, drawn and run."""
    from starassay import draw_demo, run_campaign

    folder = tmp_path_factory.mktemp("demo")
    draw_demo(folder)
    run_campaign(folder)
    return folder


def report_text(folder: Path) -> str:
    """Text of a campaign's report, with units and blanks as a terminal has them."""
    page = (folder / "report" / "report.html").read_text(encoding="utf-8")
    text = html.unescape(re.sub(r"<[^>]*>", "\n", page))
    return text.replace("\u00a0", " ").replace(" µm", " um")


@pytest.fixture(autouse=True)
def close_figures() -> Iterator[None]:
    """Close what a test has drawn: matplotlib warns of many open figures, and warnings fail."""
    yield
    from matplotlib import pyplot

    pyplot.close("all")

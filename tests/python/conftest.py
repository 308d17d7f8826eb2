"""What every test shares: real data when it is there, no windows, the top folder."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import matplotlib
import pytest

matplotlib.use("Agg")

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


@pytest.fixture(autouse=True)
def close_figures() -> Iterator[None]:
    """Close what a test has drawn: matplotlib warns of many open figures, and warnings fail."""
    yield
    from matplotlib import pyplot

    pyplot.close("all")

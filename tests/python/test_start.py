"""What a command loads before it does something: waits that a user feels are spent there."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

import starassay
from starassay import _host
from starassay._loaded import is_a

#: Libraries that take a tenth of a second and more to load.
HEAVY = ("numpy", "astropy.units", "astropy.table", "astropy.wcs", "astropy.time", "matplotlib")


def loaded_after(code: str) -> set[str]:
    """Which of `HEAVY` a fresh process has loaded after some code."""
    tell = "import sys; print(*(m for m in sys.modules), file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\n{tell}"], capture_output=True, text=True, check=True
    )
    return set(HEAVY) & set(done.stderr.split())


@pytest.mark.parametrize(
    ("words", "may"),
    [
        (["--help"], set()),
        (["about"], set()),
        (["run", "--help"], {"numpy", "astropy.units"}),
        (["measure", "stars", "--help"], {"numpy", "astropy.units"}),
    ],
)
def test_a_command_loads_only_what_it_needs(words: list[str], may: set[str]) -> None:
    assert loaded_after(f"from starassay.cli import main; main({words!r})") <= may


def test_measuring_stars_loads_neither_tables_nor_celestial_solutions(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """The frame has neither a solution nor a time, and nobody asked for a table."""
    from astropy.io import fits

    y, x = np.mgrid[0:200, 0:200]
    pixels = np.random.default_rng(1).normal(1000, 5, x.shape)
    for k in range(16):
        cx, cy = 25 + 50 * (k % 4), 25 + 50 * (k // 4)
        pixels += 4000 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / 5)
    path = tmp_path / "stars.fits"
    fits.PrimaryHDU(pixels.astype(np.float32)).writeto(path)
    code = f"from starassay.cli import main; assert main(['measure', 'stars', {str(path)!r}]) == 0"
    assert loaded_after(code) == {"numpy", "astropy.units"}


def test_a_rehearsal_changes_no_result() -> None:
    """Neither one that has ended nor one that is stopped by the measurement, nor one for a name that nobody knows."""
    rng = np.random.default_rng(2)
    y, x = np.mgrid[0:160, 0:160]
    sky = rng.normal(300, 4, x.shape)
    for cx, cy in rng.uniform(15, 145, (12, 2)):
        sky += 3000 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / 6)
    frame = sky.astype(np.float32)
    before = starassay.measure_stars(frame)
    for area in ("stars", "wavefront", "nothing"):
        _host.gateway().Rehearse(area)
        after = starassay.measure_stars(frame)
        for name in before.table.colnames:
            np.testing.assert_array_equal(after.table[name], before.table[name])


def test_classes_that_nobody_loaded_have_no_instances() -> None:
    from astropy.table import QTable

    assert is_a(QTable(), "astropy.table.Table") and not is_a(1, "astropy.table.Table")
    assert not is_a(1, "no.such.Module") and not is_a(1, "astropy.table.NoSuchClass")

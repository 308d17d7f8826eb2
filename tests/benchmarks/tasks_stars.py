"""Finding and measuring every star of a field, beside sep and photutils."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import photutils
import sep
from _bench import Row
from _fields import Field, draw_field
from astropy.io import fits
from astropy.table import QTable
from scipy.spatial import cKDTree

import starassay


def sep_stars(pixels: np.ndarray) -> dict[str, np.ndarray]:
    """Background, detection against one threshold, half-flux radius and windowed centroid with sep.

    This is sep's cheaper mode: a scalar threshold instead of a map of the noise.
    """
    data = pixels.astype(np.float32)
    background = sep.Background(data, bw=64, bh=64)
    background.subfrom(data)
    found = sep.extract(data, 5.0, err=background.globalrms)
    radius, _ = sep.flux_radius(data, found["x"], found["y"], 6.0 * found["a"], 0.5, subpix=5)
    x, y, _ = sep.winpos(data, found["x"], found["y"], np.maximum(2.0 / 2.35 * radius, 0.5))
    return {"x": x, "y": y, "hfr": radius, "ellipticity": 1 - found["b"] / found["a"]}


def photutils_stars(pixels: np.ndarray) -> dict[str, np.ndarray]:
    """The same steps with photutils, but for deblending: background mesh, segmentation, catalog.

    Its deblending needs one more library, and would only make it slower.
    """
    from photutils.background import Background2D, MedianBackground
    from photutils.segmentation import SourceCatalog, detect_sources

    data = pixels.astype(np.float32)
    background = Background2D(data, 64, filter_size=3, bkg_estimator=MedianBackground())
    data = data - background.background.astype(np.float32)
    segments = detect_sources(data, 5 * background.background_rms, npixels=5)
    catalog = SourceCatalog(data, segments)
    return {
        "x": catalog.xcentroid,
        "y": catalog.ycentroid,
        "hfr": catalog.fluxfrac_radius(0.5).value,
        "ellipticity": catalog.ellipticity.value,
    }


def our_table(result: Any) -> dict[str, np.ndarray]:
    """The columns that both sides have."""
    table: QTable = result.table
    return {
        "x": table["x"].value,
        "y": table["y"].value,
        "hfr": table["hfr"].value,
        "ellipticity": np.asarray(table["ellipticity"]),
    }


def compare(field: Field) -> Any:
    """A judge of (ours, theirs) on the true stars that both found, bright and unclipped."""
    bright = (field.flux > 2e4) & (field.flux < 3e5)

    def judge(ours: Any, theirs: dict[str, np.ndarray]) -> str:
        mine = our_table(ours)
        tree_ours = cKDTree(np.c_[mine["x"], mine["y"]])
        tree_theirs = cKDTree(np.c_[theirs["x"], theirs["y"]])
        truth = np.c_[field.x, field.y][bright]
        d1, i1 = tree_ours.query(truth, distance_upper_bound=2.0)
        d2, i2 = tree_theirs.query(truth, distance_upper_bound=2.0)
        both = np.isfinite(d1) & np.isfinite(d2)
        dx1 = mine["x"][i1[both]] - truth[both, 0]
        dx2 = theirs["x"][i2[both]] - truth[both, 0]
        hfr = mine["hfr"][i1[both]] / theirs["hfr"][i2[both]] - 1

        def spread(v: np.ndarray) -> float:
            return 1.4826 * float(np.median(np.abs(v - np.median(v))))

        return (
            f"{both.sum()} of {bright.sum()} bright stars in both; x off by {spread(dx1):.4f} px "
            f"(peer {spread(dx2):.4f}); HFR ours/peer {100 * float(np.median(hfr)):+.1f} %"
        )

    return judge


def rows(quick: bool) -> Iterator[Row]:
    """Every comparison of this module."""
    shape, stars = ((2048, 3072), 600) if quick else ((6388, 9576), 5800)
    size = f"{shape[0] * shape[1] / 1e6:.0f} Mpx"
    field = draw_field(shape, stars)
    frame = starassay.read_frame(field.pixels, name="bench")
    sep_name, phot_name = (
        f"sep {sep.__version__}, one threshold",
        f"photutils {photutils.__version__}, no deblending",
    )
    for threads, bar in ((2, 50.0), (1, 25.0)):
        yield Row(
            f"stars, {size} float32, {stars} stars, {threads} thread{'s' if threads > 1 else ''}",
            sep_name,
            lambda: sep_stars(field.pixels),
            lambda threads=threads: starassay.measure_stars(
                frame, fit_profiles="none", threads=threads
            ),
            compare(field),
            bar,
        )
    yield Row(
        f"the same with a Moffat fit of every unsaturated star, {size}, 2 threads",
        sep_name + " (no fit)",
        lambda: sep_stars(field.pixels),
        lambda: starassay.measure_stars(frame, fit_profiles="all", threads=2),
        compare(field),
        30.0,
    )
    if not quick:
        yield Row(
            f"stars, {size} float32, 2 threads",
            phot_name,
            lambda: photutils_stars(field.pixels),
            lambda: starassay.measure_stars(frame, fit_profiles="none", threads=2),
            compare(field),
            peer_repeats=1,
        )
    shape, stars = ((2048, 3072), 600) if quick else ((4000, 6000), 2300)
    size = f"{shape[0] * shape[1] / 1e6:.0f} Mpx"
    small = draw_field(shape, stars, dtype="uint16")
    small_frame = starassay.read_frame(small.pixels, name="bench")
    yield Row(
        f"stars, {size} uint16, {stars} stars, 2 threads",
        sep_name,
        lambda: sep_stars(small.pixels),
        lambda: starassay.measure_stars(small_frame, fit_profiles="none", threads=2),
        compare(small),
        50.0,
    )
    with tempfile.TemporaryDirectory() as folder:
        yield from file_rows(Path(folder), small, size, sep_name)


def file_rows(folder: Path, field: Field, size: str, sep_name: str) -> Iterator[Row]:
    """From a file on disk, its pages in memory, to the table."""
    plain = folder / "plain.fits"
    packed = folder / "packed.fits.fz"
    fits.PrimaryHDU(field.pixels).writeto(plain)
    fits.HDUList(
        [fits.PrimaryHDU(), fits.CompImageHDU(field.pixels, compression_type="RICE_1")]
    ).writeto(packed)

    def theirs(path: Path) -> dict[str, np.ndarray]:
        with fits.open(path) as hdus:
            return sep_stars(next(h.data for h in hdus if h.data is not None))

    for path, kind, bar in ((plain, "plain", 25.0), (packed, "Rice-compressed", None)):
        yield Row(
            f"file to table, {size} uint16 with BZERO, {kind}, 2 threads",
            f"astropy.io.fits + {sep_name}",
            lambda path=path: theirs(path),
            lambda path=path: starassay.measure_stars(path, fit_profiles="none", threads=2),
            compare(field),
            bar,
        )

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
    return {
        "x": x,
        "y": y,
        "hfr": radius,
        "outer": 6.0 * found["a"],
        "ellipticity": 1 - found["b"] / found["a"],
    }


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
        "outer": 2.5 * (catalog.kron_radius * catalog.semimajor_sigma).value,
        "ellipticity": catalog.ellipticity.value,
    }


def our_table(result: Any) -> dict[str, np.ndarray]:
    """The columns that both sides have; ellipticities with their noise, as the peers give them."""
    table: QTable = result.table
    return {
        "x": table["x"].value,
        "y": table["y"].value,
        "hfr": table["hfr"].value,
        "outer": np.full(len(table), result.outer_radius.value),
        "ellipticity": np.hypot(table["radial_ellipticity"], table["cross_ellipticity"]),
    }


def spread(values: np.ndarray) -> float:
    """Robust standard deviation."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def compare(field: Field) -> Any:
    """A judge of (ours, theirs) against the drawn truth, on unclipped stars that both found.

    Each side's half-flux radius is held against the drawn light within the outer circle that this
    side uses. All stars are drawn round.
    """
    wanted = (field.snr > 50) & (field.flux < 3e5)
    truth = np.c_[field.x, field.y][wanted]

    def figures(found: dict[str, np.ndarray], index: np.ndarray, use: np.ndarray) -> list[float]:
        row = index[use]
        hfr = found["hfr"][row] / field.half_flux_radius(found["outer"][row]) - 1
        return [
            spread(found["x"][row] - truth[use, 0]),
            100 * float(np.median(hfr)),
            100 * spread(hfr),
            float(np.nanmedian(found["ellipticity"][row])),
        ]

    def judge(ours: Any, theirs: dict[str, np.ndarray]) -> str:
        mine = our_table(ours)
        near = []
        for side in (mine, theirs):
            tree = cKDTree(np.c_[side["x"], side["y"]])
            near.append(tree.query(truth, distance_upper_bound=2.0))
        both = np.isfinite(near[0][0]) & np.isfinite(near[1][0])
        x1, bias1, scatter1, e1 = figures(mine, near[0][1], both)
        x2, bias2, scatter2, e2 = figures(theirs, near[1][1], both)
        return (
            f"{both.sum()} of {wanted.sum()} stars of SNR > 50 in both; against the truth, ours and peer: "
            f"x scatters by {x1:.4f} and {x2:.4f} px; HFR off by {bias1:+.1f} and {bias2:+.1f} %, "
            f"scatters by {scatter1:.1f} and {scatter2:.1f} %; ellipticity (drawn 0) {e1:.3f} and {e2:.3f}"
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
    for threads, bars in ((2, {512: 60.0, 256: 50.0}), (1, {512: 35.0, 256: 35.0})):
        yield Row(
            f"stars, {size} float32, {stars} stars, {threads} thread{'s' if threads > 1 else ''}",
            sep_name,
            lambda: sep_stars(field.pixels),
            lambda threads=threads: starassay.measure_stars(
                frame, fit_profiles="none", threads=threads
            ),
            compare(field),
            bars,
        )
    yield Row(
        f"the same with a Moffat fit of every unsaturated star, {size}, 2 threads",
        sep_name + " (no fit)",
        lambda: sep_stars(field.pixels),
        lambda: starassay.measure_stars(frame, fit_profiles="all", threads=2),
        compare(field),
        {512: 35.0, 256: 30.0},
    )
    if not quick and starassay.about()["vector_bits"] == 512:
        # A slow peer: once is enough.
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
        {512: 50.0, 256: 50.0},
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

    for path, kind, bars in (
        (plain, "plain", {512: 28.0, 256: 28.0}),
        (packed, "Rice-compressed", {}),
    ):
        yield Row(
            f"file to table, {size} uint16 with BZERO, {kind}, 2 threads",
            f"astropy.io.fits + {sep_name}",
            lambda path=path: theirs(path),
            lambda path=path: starassay.measure_stars(path, fit_profiles="none", threads=2),
            compare(field),
            bars,
        )

"""Pixels not to use: hot and dead ones from darks and flats, cosmic rays from a single frame.

>>> import starassay
>>> bad = starassay.find_bad_pixels(dark="dark.fits")  # doctest: +SKIP
>>> hits = starassay.find_cosmic_rays("field.fits")  # doctest: +SKIP
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import _units
from .._gateway import call
from .calibration import MasterFrame
from .frames import read_frame
from ..results import Result, notes_from_engine
from ..style import show_pixels

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class PixelMask(Result):
    """Pixels not to use.

    Attributes
    ----------
    mask : ndarray of bool, shape (ny, nx)
        True = do not use.
    counts : dict
        How many of each kind.
    """

    mask: np.ndarray
    counts: dict[str, int]

    COLUMNS = {
        "kind": "What is wrong with the pixels.",
        "count": "How many there are.",
    }

    @property
    def table(self) -> QTable:
        """Kind and number."""
        from astropy.table import QTable

        return QTable({"kind": list(self.counts), "count": list(self.counts.values())})

    def plot(self, ax: Any = None) -> Any:
        """The mask as an image; returns the matplotlib axes."""
        return show_pixels(self.mask.astype(float), ax, f"{int(self.mask.sum())} pixels masked")

    def sentences(self) -> list[str]:
        """What was found."""
        return [f"{kind}: {count}" for kind, count in self.counts.items()]


def find_bad_pixels(
    *, dark: Any = None, flat: Any = None, hot_sigma: float = 8.0, dead_share: float = 0.5
) -> PixelMask:
    """Find hot pixels in a dark, dead and oversensitive ones in a flat.

    Parameters
    ----------
    dark, flat : path, Frame, MasterFrame or anything `read_frame` takes
        At least one of them, best a master.
    hot_sigma : float
        A pixel this many standard deviations above the median of its 5 x 5 neighbors is hot.
    dead_share : float
        A pixel below this share of its neighbors, or above 2 minus it, is bad.

    Returns
    -------
    PixelMask
        True = bad.
    """
    given = {"dark": dark, "flat": flat}
    frames = {
        k: v.frame if isinstance(v, MasterFrame) else read_frame(v)
        for k, v in given.items()
        if v is not None
    }
    request = {
        "hot_sigma": _units.number(hot_sigma, "", "hot_sigma"),
        "dead_share": _units.number(dead_share, "", "dead_share"),
    }
    record = call("imaging.bad-pixels", request, frames=frames)
    counts = {"hot": record["hot_count"], "dead": record["dead_count"]}
    return PixelMask(
        notes=(),
        conditions={**{k: f.name for k, f in frames.items()}, **request},
        mask=record["mask"],
        counts=counts,
    )


def find_cosmic_rays(
    frame: Any,
    *,
    significance: float = 4.5,
    contrast: float = 5.0,
    neighbor_share: float = 0.3,
    rounds: int = 4,
    progress: bool = False,
) -> PixelMask:
    """Find cosmic rays in a single frame by their sharp edges.

    Parameters
    ----------
    frame : path, Frame or anything `read_frame` takes
        With gain and read noise known.
    significance : float
        How many standard deviations sharper than its surroundings a pixel must be.
    contrast : float
        Sharpness over the fine structure of a star; raise it when stars are undersampled.
    neighbor_share : float
        Share of `significance` that a neighbor of a hit needs.
    rounds : int
        Rounds at most.
    progress : bool
        Show a bar.

    Returns
    -------
    PixelMask
        True = hit; counts of pixels and of separate hits.

    Notes
    -----
    Laplacian edges, van Dokkum 2001, PASP 113, 1420 (doi:10.1086/323894). Stars sharper than about
    1.5 pixels FWHM cannot be told from hits.
    """
    image = read_frame(frame)
    request = {
        "significance": _units.number(significance, "", "significance"),
        "contrast": _units.number(contrast, "", "contrast"),
        "neighbor_share": _units.number(neighbor_share, "", "neighbor_share"),
        "rounds": _units.integer(rounds, "rounds"),
    }
    record = call("imaging.cosmic-rays", request, frames={"frame": image}, progress=progress)
    return PixelMask(
        notes=notes_from_engine(record["notes"]),
        conditions={"frame": image.name, **request, "rounds_used": record["rounds"]},
        mask=record["mask"],
        counts={"hits": record["hit_count"], "pixels": record["pixel_count"]},
    )

"""Gain and read noise of a camera from two flats and two bias frames.

>>> import starassay
>>> measured = starassay.measure_gain(["flat1.fits", "flat2.fits"], ["bias1.fits", "bias2.fits"])  # doctest: +SKIP
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from astropy import units as u

from .. import style
from .. import _units
from .._gateway import call
from ..errors import InputError
from .frames import bounds, read_frame
from ..results import Measured, Result, notes_from_engine

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class GainMeasurement(Result):
    """Gain and read noise.

    Attributes
    ----------
    gain : Measured
        electron/adu.
    read_noise, read_noise_adu : Measured
        electron, and the same in adu.
    signal, variance : Quantity
        Of each tile: flat above bias, and its photon variance.
    flat_ratio : float
        Light of the second flat over that of the first.
    reduced_chi2 : float
        Scatter of the tiles about one gain, over what their noise allows.
    """

    gain: Measured
    read_noise: Measured
    read_noise_adu: Measured
    signal: u.Quantity
    variance: u.Quantity
    flat_ratio: float
    reduced_chi2: float

    @property
    def table(self) -> QTable:
        """Signal and variance of the tiles."""
        from astropy.table import QTable

        return QTable({"signal": self.signal, "variance": self.variance})

    def plot(self, ax: Any = None) -> Any:
        """Variance against signal with the line of the gain; returns the matplotlib axes."""
        with style.figure_style():
            ax = style.new_axes(ax, figsize=(5.2, 3.8), layout="constrained")
            ax.plot(self.signal.value, self.variance.value, "o", ms=3, label="tiles")
            top = float(self.signal.value.max())
            slope = self.gain.value.value
            ax.plot([0, top], [0, top / slope], color=style.ORANGE, label=str(self.gain))
            ax.set(xlabel="flat above bias (ADU)", ylabel="photon variance (ADU$^2$)")
            ax.legend()
        return ax

    def sentences(self) -> list[str]:
        """What was found."""
        return [f"gain {self.gain}", f"read noise {self.read_noise} ({self.read_noise_adu})"]


def measure_gain(
    flats: Sequence[Any],
    biases: Sequence[Any],
    *,
    section: tuple[slice, slice] | None = None,
    tile_size: int = 32,
) -> GainMeasurement:
    """Measure gain and read noise from two flats and two bias frames.

    Parameters
    ----------
    flats, biases : sequence of two paths, Frames or anything `read_frame` takes
        Two flats of the same light, a third to a half of saturation, and two bias frames.
    section : tuple of slice
        Rows and columns to use, as for an array; the frame's lit part by default.
    tile_size : int
        Side of the tiles in pixels.

    Returns
    -------
    GainMeasurement
        Gain and read noise with standard uncertainties.

    Notes
    -----
    Photon transfer: Janesick, Scientific Charge-Coupled Devices (2001); Howell, Handbook of CCD
    Astronomy (2006), section 4.3.
    """
    flats, biases = _units.several(flats, "flats"), _units.several(biases, "biases")
    if len(flats) != 2 or len(biases) != 2:
        raise InputError(
            f"{len(flats)} flats and {len(biases)} bias frames were given; two of each are needed.",
            code="gain.frames",
            argument="flats" if len(flats) != 2 else "biases",
        )
    frames = {f"flat{i}": read_frame(f) for i, f in enumerate(flats)}
    frames |= {f"bias{i}": read_frame(f) for i, f in enumerate(biases)}
    first = frames["flat0"]
    request = {
        "section": bounds(first.data_section if section is None else section, first.shape),
        "tile_size": _units.integer(tile_size, "tile_size"),
    }
    record = call("imaging.gain", request, frames=frames)
    return GainMeasurement(
        notes=notes_from_engine(record["notes"]),
        conditions={**{k: f.name for k, f in frames.items()}, **request},
        gain=Measured.from_engine(record["gain"]),
        read_noise=Measured.from_engine(record["read_noise"]),
        read_noise_adu=Measured.from_engine(record["read_noise_adu"]),
        signal=record["signal_adu"] * u.adu,
        variance=record["variance_adu2"] * u.adu**2,
        flat_ratio=record["flat_ratio"],
        reduced_chi2=record["reduced_chi2"],
    )

"""Bias, dark and flat: masters from several frames, and frames without their traces.

>>> import starassay
>>> master = starassay.combine_frames(["bias1.fits", "bias2.fits"])  # doctest: +SKIP
>>> clean = starassay.calibrate_frame("field.fits", bias=master)  # doctest: +SKIP
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from .. import _units
from .._gateway import call
from ..errors import InputError
from .frame import Frame
from .frames import bounds, read_frame
from ..results import Result, notes_from_engine
from ..style import show_pixels

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class MasterFrame(Result):
    """Several frames in one.

    Attributes
    ----------
    frame : Frame
        The combined pixels, float32; NaN where no frame has a value.
    uncertainty : Quantity, shape (ny, nx)
        Standard error from the scatter between the frames; NaN where one value is left.
    counts : ndarray of int16
        Values that went into each pixel.
    levels : Quantity
        Median of each frame.
    rejected_share : float
        Share of the values that were left out.
    """

    frame: Frame
    uncertainty: u.Quantity
    counts: np.ndarray
    levels: u.Quantity
    rejected_share: float

    COLUMNS = {
        "frame": "Number of the frame, in the order given.",
        "median": "Median level of the frame.",
    }

    @property
    def table(self) -> QTable:
        """The median of each frame."""
        from astropy.table import QTable

        return QTable({"frame": np.arange(len(self.levels)), "median": self.levels})

    def plot(self, ax: Any = None) -> Any:
        """The combined image; returns the matplotlib axes."""
        return show_pixels(self.frame.pixels, ax, f"Master of {len(self.levels)} frames")

    def sentences(self) -> list[str]:
        """What was found."""
        return [
            f"{len(self.levels)} frames combined, {self.rejected_share:.2%} of the values left out",
            f"median level {np.nanmedian(self.frame.pixels):.6g}, "
            f"median uncertainty {np.nanmedian(self.uncertainty):.3g}",
        ]


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class CalibratedFrame(Result):
    """A frame without bias, dark and flat.

    Attributes
    ----------
    frame : Frame
        Calibrated pixels, with mask and with the level above which a pixel may have been clipped.
    uncertainty : Quantity or None
        Standard uncertainty of each pixel; None when gain or read noise is not known.
    overscan : Quantity or None
        Level taken off for the overscan.
    dark_factor : float
        Factor on the dark; NaN without a dark.
    """

    frame: Frame
    uncertainty: u.Quantity | None
    overscan: u.Quantity | None
    dark_factor: float

    COLUMNS = {
        "masked_pixels": "Pixels that are not to be used.",
    }

    @property
    def table(self) -> QTable:
        """What was done, in one row."""
        from astropy.table import QTable

        mask = self.frame.mask
        return QTable(
            {
                "overscan": [np.nan if self.overscan is None else self.overscan.value] * u.adu,
                "dark_factor": [self.dark_factor],
                "masked_pixels": [0 if mask is None else int(mask.sum())],
            }
        )

    def plot(self, ax: Any = None) -> Any:
        """The calibrated image; returns the matplotlib axes."""
        return show_pixels(self.frame.pixels, ax, self.frame.name)

    def sentences(self) -> list[str]:
        """What was found."""
        lines = [f"{self.frame.name}: {int(self.table['masked_pixels'][0])} pixels masked"]
        if self.overscan is not None:
            lines.append(f"overscan {self.overscan:.2f}")
        return lines


def combine_frames(
    frames: Sequence[Any],
    *,
    method: str = "clipped-mean",
    clip_sigma: float = 4.0,
    rounds: int = 5,
    spread_floor: float = 0.5,
    normalize: bool = False,
    progress: bool = False,
) -> MasterFrame:
    """Combine bias, dark or flat frames into a master.

    Parameters
    ----------
    frames : sequence of paths, Frames or anything `read_frame` takes
        Frames of one camera and size.
    method : {"clipped-mean", "median", "mean"}
        The clipped mean leaves out what lies far from the median of its pixel.
    clip_sigma : float
        How far, in standard deviations (from the median absolute deviation).
    rounds : int
        Rounds of clipping at most.
    spread_floor : float
        The spread of a pixel counts as at least this share of its row's typical spread, since a
        handful of whole numbers can agree by chance.
    normalize : bool
        Divide each frame by its median first and bring the result to a median of 1: for flats.
    progress : bool
        Show a bar.

    Returns
    -------
    MasterFrame
        Pixels, standard error and count of each.
    """
    read = [read_frame(f) for f in _units.several(frames, "frames")]
    request = {
        "method": _units.choice(method, ("clipped-mean", "median", "mean"), "method"),
        "clip_sigma": _units.number(clip_sigma, "", "clip_sigma"),
        "rounds": _units.integer(rounds, "rounds"),
        "spread_floor": _units.number(spread_floor, "", "spread_floor"),
        "normalize": _units.flag(normalize, "normalize"),
    }
    record = call(
        "imaging.combine",
        request,
        frames={f"frame{i}": f for i, f in enumerate(read)},
        progress=progress,
    )
    pixels = record["pixels"]
    empty = ~np.isfinite(pixels)
    unit = u.one if normalize else u.adu
    exposures = {f.exposure.value if f.exposure is not None else None for f in read}
    frame = dataclasses.replace(
        read[0],
        pixels=pixels,
        mask=empty if empty.any() else None,
        name=f"master of {len(read)} frames",
        scale=1.0,
        zero=0.0,
        blank=None,
        read_noise=None,
        saturation=None,
        exposure=read[0].exposure if len(exposures) == 1 else None,
        notes=(),
        path=None,
    )
    return MasterFrame(
        notes=notes_from_engine(record["notes"]),
        conditions={"frames": [f.name for f in read], **request},
        frame=frame,
        uncertainty=record["uncertainty"] * unit,
        counts=record["counts"],
        levels=record["levels"] * u.adu,
        rejected_share=record["rejected_share"],
    )


def calibrate_frame(
    frame: Any,
    *,
    bias: Any = None,
    dark: Any = None,
    flat: Any = None,
    overscan: bool = False,
    dark_has_bias: bool = True,
    flat_floor: float = 0.1,
) -> CalibratedFrame:
    """Take overscan, bias, dark and flat out of a frame.

    Parameters
    ----------
    frame : path, Frame or anything `read_frame` takes
        The image as taken.
    bias, dark, flat : MasterFrame, path, Frame or anything `read_frame` takes
        The masters; leave out what you have not. The dark is scaled by exposure. The flat may have
        any level.
    overscan : bool
        Take off the median of the frame's `bias_section`; the masters must then be without it too.
    dark_has_bias : bool
        True when the dark still contains the bias, as a raw dark does.
    flat_floor : float
        Pixels where the flat is below this share of its median are masked.

    Returns
    -------
    CalibratedFrame
        Pixels in adu, their uncertainty when gain and read noise are known, and the mask.
    """
    image = read_frame(frame)
    frames = {"frame": image}
    arrays = {}
    for name, master in (("bias", bias), ("dark", dark), ("flat", flat)):
        if master is None:
            continue
        if isinstance(master, MasterFrame):
            frames[name] = master.frame
            arrays[f"{name}_uncertainty"] = master.uncertainty.value
        else:
            frames[name] = read_frame(master)
    if _units.flag(overscan, "overscan") and image.bias_section is None:
        raise InputError(
            f"{image.name} states no overscan section. Give bias_section=... to read_frame.",
            code="calibration.overscan",
            argument="overscan",
        )
    exposure = frames["dark"].exposure if "dark" in frames else None
    request = {
        "dark_exposure_s": float("nan") if exposure is None else exposure.to_value(u.s),
        "dark_has_bias": _units.flag(dark_has_bias, "dark_has_bias"),
        "overscan": bounds(image.bias_section, image.shape) if overscan else [],
        "lit_part": bounds(image.data_section, image.shape),
        "flat_floor": _units.number(flat_floor, "", "flat_floor"),
    }
    record = call("imaging.calibrate", request, frames=frames, arrays=arrays)
    saturation = record["saturation_adu"]
    mask = record["mask"]
    calibrated = dataclasses.replace(
        image,
        pixels=record["pixels"],
        mask=mask if mask.any() else None,
        scale=1.0,
        zero=0.0,
        blank=None,
        saturation=saturation * u.adu if np.isfinite(saturation) else None,
    )
    level = record["overscan_adu"]
    return CalibratedFrame(
        notes=(*image.notes, *notes_from_engine(record["notes"])),
        conditions={
            **{k: v.name for k, v in frames.items()},
            "dark_has_bias": dark_has_bias,
            "flat_floor": flat_floor,
        },
        frame=calibrated,
        uncertainty=record["uncertainty"] * u.adu if record["uncertainty"].size else None,
        overscan=level * u.adu if np.isfinite(level) else None,
        dark_factor=record["dark_factor"],
    )

"""Bias, dark, flat, bad pixels, cosmic rays, color planes, gain: before anything is measured.

>>> import starassay
>>> master = starassay.combine_frames(["bias1.fits", "bias2.fits"])  # doctest: +SKIP
>>> clean = starassay.calibrate_frame("field.fits", bias=master)  # doctest: +SKIP
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
from astropy import units as u
from astropy.table import QTable
from astropy.wcs import WCS, Sip

from ._fits_files import quiet
from ._gateway import call
from .errors import InputError
from .frames import Frame, read_frame
from .results import Measured, Result, notes_from_engine


@dataclasses.dataclass(frozen=True, eq=False)
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

    @property
    def table(self) -> QTable:
        """The median of each frame."""
        return QTable({"frame": np.arange(len(self.levels)), "median": self.levels})

    def plot(self, ax: Any = None) -> Any:
        """The combined image; returns the matplotlib axes."""
        return _show(self.frame.pixels, ax, f"Master of {len(self.levels)} frames")

    def summary(self) -> list[str]:
        """Lines for a terminal."""
        return [
            f"{len(self.levels)} frames combined, {self.rejected_share:.2%} of the values left out",
            f"median level {np.nanmedian(self.frame.pixels):.6g}, "
            f"median uncertainty {np.nanmedian(self.uncertainty):.3g}",
        ]


@dataclasses.dataclass(frozen=True, eq=False)
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

    @property
    def table(self) -> QTable:
        """What was done, in one row."""
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
        return _show(self.frame.pixels, ax, self.frame.name)

    def summary(self) -> list[str]:
        """Lines for a terminal."""
        lines = [f"{self.frame.name}: {int(self.table['masked_pixels'][0])} pixels masked"]
        if self.overscan is not None:
            lines.append(f"overscan {self.overscan:.2f}")
        return lines


@dataclasses.dataclass(frozen=True, eq=False)
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

    @property
    def table(self) -> QTable:
        """Kind and number."""
        return QTable({"kind": list(self.counts), "count": list(self.counts.values())})

    def plot(self, ax: Any = None) -> Any:
        """The mask as an image; returns the matplotlib axes."""
        return _show(self.mask.astype(float), ax, f"{int(self.mask.sum())} pixels masked")

    def summary(self) -> list[str]:
        """Lines for a terminal."""
        return [f"{kind}: {count}" for kind, count in self.counts.items()]


@dataclasses.dataclass(frozen=True, eq=False)
class ColorPlanes(Result):
    """The four planes of a color mosaic.

    Attributes
    ----------
    red, green1, green2, blue : Frame
        Every second pixel of every second row; green1 lies in the red rows. The pitch is twice the
        mosaic's.
    pattern : str
        The pattern used, which may differ from the stated one (a note says so).
    offsets : dict
        (x, y) of each plane's first pixel in the mosaic: pixel (i, j) of a plane lies at
        (2 i + x, 2 j + y).
    """

    red: Frame
    green1: Frame
    green2: Frame
    blue: Frame
    pattern: str
    offsets: dict[str, tuple[int, int]]

    @property
    def table(self) -> QTable:
        """Median of each plane."""
        frames = {n: getattr(self, n) for n in self.offsets}
        return QTable(
            {
                "plane": list(frames),
                "x": [self.offsets[n][0] for n in frames],
                "y": [self.offsets[n][1] for n in frames],
                "median": [float(np.nanmedian(f.data)) for f in frames.values()] * u.adu,
            }
        )

    def plot(self, ax: Any = None) -> Any:
        """The first green plane; returns the matplotlib axes."""
        return _show(self.green1.data, ax, f"green of {self.pattern}")

    def summary(self) -> list[str]:
        """Lines for a terminal."""
        return [f"{r['plane']}: median {r['median']:.1f}" for r in self.table]


@dataclasses.dataclass(frozen=True, eq=False)
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
        return QTable({"signal": self.signal, "variance": self.variance})

    def plot(self, ax: Any = None) -> Any:
        """Variance against signal with the line of the gain; returns the matplotlib axes."""
        if ax is None:
            import matplotlib.pyplot as plt

            _, ax = plt.subplots(figsize=(5.2, 3.8), layout="constrained")
        ax.plot(self.signal.value, self.variance.value, "o", ms=3, color="#0072B2", label="tiles")
        top = float(self.signal.value.max())
        ax.plot(
            [0, top], [0, top / self.gain.value.value], "-", color="#D55E00", label=str(self.gain)
        )
        ax.set_xlabel("flat above bias (ADU)")
        ax.set_ylabel("photon variance (ADU$^2$)")
        ax.legend(frameon=False)
        return ax

    def summary(self) -> list[str]:
        """Lines for a terminal."""
        return [f"gain {self.gain}", f"read noise {self.read_noise} ({self.read_noise_adu})"]


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
    read = [read_frame(f) for f in frames]
    request = {
        "method": method,
        "clip_sigma": clip_sigma,
        "rounds": rounds,
        "spread_floor": spread_floor,
        "normalize": normalize,
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
    if overscan and image.bias_section is None:
        raise InputError(
            f"{image.name} states no overscan section. Give bias_section=... to read_frame.",
            code="calibration.overscan",
            argument="overscan",
        )
    exposure = frames["dark"].exposure if "dark" in frames else None
    request = {
        "dark_exposure_s": float("nan") if exposure is None else exposure.to_value(u.s),
        "dark_has_bias": dark_has_bias,
        "overscan": _section(image.bias_section, image.shape) if overscan else [],
        "lit_part": _section(image.data_section, image.shape),
        "flat_floor": flat_floor,
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
    request = {"hot_sigma": hot_sigma, "dead_share": dead_share}
    record = call("imaging.bad-pixels", request, frames=frames)
    counts = {"hot": record["hot_count"], "dead": record["dead_count"]}
    return PixelMask(
        (), {**{k: f.name for k, f in frames.items()}, **request}, record["mask"], counts
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
        "significance": significance,
        "contrast": contrast,
        "neighbor_share": neighbor_share,
        "rounds": rounds,
    }
    record = call("imaging.cosmic-rays", request, frames={"frame": image}, progress=progress)
    return PixelMask(
        notes_from_engine(record["notes"]),
        {"frame": image.name, **request, "rounds_used": record["rounds"]},
        record["mask"],
        {"hits": record["hit_count"], "pixels": record["pixel_count"]},
    )


def split_bayer(frame: Any, *, pattern: str | None = None) -> ColorPlanes:
    """Split a raw color mosaic into its four planes.

    Parameters
    ----------
    frame : path, Frame or anything `read_frame` takes
        The mosaic.
    pattern : str
        Colors at [0, 0], [0, 1], [1, 0], [1, 1], for example "RGGB"; from the header by default,
        where it is checked against the pixels. A pattern given here is used as given.

    Returns
    -------
    ColorPlanes
        Four frames with the stored pixels.
    """
    image = read_frame(frame)
    used = pattern or image.bayer
    if not used:
        raise InputError(
            f"{image.name} does not state a color mosaic. Give pattern=..., for example 'RGGB'.",
            code="bayer.pattern",
            argument="pattern",
            subject=image.name,
        )
    record = call(
        "imaging.split-bayer",
        {"pattern": used, "trust_pattern": True},
        frames={"frame": image},
    )
    names = {"R": "red", "G1": "green1", "G2": "green2", "B": "blue"}
    planes, offsets = {}, {}
    for plane in record["planes"]:
        name = names[plane["color"]]
        x, y = plane["offset_x"], plane["offset_y"]
        pixels = plane["bytes"].view(image.pixels.dtype).reshape(plane["height"], plane["width"])
        offsets[name] = (x, y)
        planes[name] = dataclasses.replace(
            image,
            pixels=pixels,
            mask=None if image.mask is None else image.mask[y::2, x::2],
            name=f"{image.name} {name}",
            pitch=None if image.pitch is None else 2 * image.pitch,
            bayer="",
            wcs=None if image.wcs is None else _every_second(image.wcs, x, y),
            data_section=None,
            bias_section=None,
        )
    notes = [n for n in image.notes if n.code.startswith("frame.bayer")] if pattern is None else []
    if pattern is not None:
        notes += notes_from_engine(record["notes"])
    return ColorPlanes(
        notes=tuple(notes),
        conditions={"frame": image.name, "mosaic": record["evidence"]},
        pattern=record["pattern"],
        offsets=offsets,
        **planes,
    )


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
    if len(flats) != 2 or len(biases) != 2:
        raise InputError(
            f"{len(flats)} flats and {len(biases)} bias frames were given; two of each are needed.",
            code="gain.frames",
            argument="flats",
        )
    frames = {f"flat{i}": read_frame(f) for i, f in enumerate(flats)}
    frames |= {f"bias{i}": read_frame(f) for i, f in enumerate(biases)}
    first = frames["flat0"]
    request = {
        "section": _section(section or first.data_section, first.shape),
        "tile_size": tile_size,
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


def _every_second(wcs: WCS, x: int, y: int) -> WCS:
    """The celestial solution on every second pixel, the first at (x, y).

    Astropy's own slicing with a step is for binned pixels, and leaves SIP polynomials as they are;
    in pixels twice as large a term of order n is 2^(n - 1) times as large.
    """
    with quiet():
        half = wcs.deepcopy()
        half.wcs.crpix = (np.asarray(wcs.wcs.crpix) - 1 - np.array([x, y])) / 2 + 1
        if wcs.wcs.has_cd():
            half.wcs.cd = 2 * np.asarray(wcs.wcs.cd)
        else:
            half.wcs.cdelt = 2 * np.asarray(wcs.wcs.cdelt)
        if wcs.sip is not None:

            def grown(terms: np.ndarray | None) -> np.ndarray | None:
                if terms is None:
                    return None
                p, q = np.indices(terms.shape)
                return np.asarray(terms * 2.0 ** (p + q - 1))

            sip = wcs.sip
            half.sip = Sip(*map(grown, (sip.a, sip.b, sip.ap, sip.bp)), half.wcs.crpix)
        half.wcs.set()
    return half


def _section(section: tuple[slice, slice] | None, shape: tuple[int, int]) -> list[int]:
    """[x0, x1, y0, y1] of a section, as the engine wants it."""
    if section is None:
        return []
    rows, columns = section
    y0, y1, _ = rows.indices(shape[0])
    x0, x1, _ = columns.indices(shape[1])
    return [x0, x1, y0, y1]


def _show(pixels: np.ndarray, ax: Any, title: str) -> Any:
    if ax is None:
        import matplotlib.pyplot as plt

        _, ax = plt.subplots(figsize=(5.2, 4.4), layout="constrained")
    low, high = np.nanpercentile(pixels, [1, 99])
    shown = ax.imshow(pixels, origin="lower", cmap="gray", vmin=low, vmax=max(high, low + 1e-9))
    ax.figure.colorbar(shown, ax=ax, label="pixel value")
    ax.set_xlabel("x (pixel)")
    ax.set_ylabel("y (pixel)")
    ax.set_title(title)
    return ax

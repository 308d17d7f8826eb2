"""Find and measure every star of a frame: place, size, shape, flags, and how they vary over the field."""

from __future__ import annotations

import dataclasses
from functools import cached_property
from typing import Any

import numpy as np
from astropy import units as u
from astropy.table import QTable
from astropy.wcs import WCS
from astropy.wcs.utils import proj_plane_pixel_scales

from ..._gateway import call
from ...imaging.frame import Frame
from ...imaging.frames import read_frame
from ..._units import quantity
from ...results import Measured, Note, Result, notes_from_engine
from ...style import BLUE, GREY, INK, ORANGE, SEQUENTIAL, figure_style, new_axes

#: Bits of the column ``flags``, with what each says.
FLAGS = {
    1: ("saturated", "clipped pixels: flux too low, size too large"),
    2: ("edge", "the star's outer circle runs over the frame's edge"),
    4: (
        "blended",
        "another star within the outer circle; its light was taken out as well as could be",
    ),
    8: ("cosmic ray", "sharper than the optics can draw: a cosmic-ray hit or hot pixel"),
    16: (
        "not a star",
        "clearly larger than the stars around it: galaxy, knot, trail or close pair",
    ),
    32: ("undersampled", "FWHM below 1.5 pixels: size ruled by the pixels"),
    64: ("bad pixels", "masked or missing pixels, filled from the other side of the star"),
    128: ("no shape", "no stable ellipse found; shape is not given"),
}
_NOT_CLEAN = 1 | 2 | 4 | 8 | 16 | 64 | 128

# column, key in the engine's record, unit
_COLUMNS: tuple[tuple[str, str, u.UnitBase | None], ...] = (
    ("x", "x", u.pix),
    ("y", "y", u.pix),
    ("x_uncertainty", "x_uncertainty", u.pix),
    ("y_uncertainty", "y_uncertainty", u.pix),
    ("flux", "flux", u.adu),
    ("flux_uncertainty", "flux_uncertainty", u.adu),
    ("peak", "peak", u.adu),
    ("sky", "sky", u.adu),
    ("sky_noise", "sky_noise", u.adu),
    ("snr", "snr", None),
    ("hfr", "hfr", u.pix),
    ("hfr_uncertainty", "hfr_uncertainty", u.pix),
    ("hfr_recorded", "hfr_recorded", u.pix),
    ("fwhm", "fwhm", u.pix),
    ("fwhm_uncertainty", "fwhm_uncertainty", u.pix),
    ("moffat_beta", "moffat_beta", None),
    ("ellipticity", "ellipticity", None),
    ("ellipticity_uncertainty", "ellipticity_uncertainty", None),
    ("position_angle", "position_angle_deg", u.deg),
    ("radial_ellipticity", "radial_ellipticity", None),
    ("cross_ellipticity", "cross_ellipticity", None),
    ("sigma_major", "sigma_major", u.pix),
    ("sigma_minor", "sigma_minor", u.pix),
    ("axis_distance", "axis_distance_px", u.pix),
    ("flags", "flags", None),
)


@dataclasses.dataclass(frozen=True)
class Zone:
    """Clean stars of one part of the field.

    Attributes
    ----------
    zone : str
        "center", "middle", "edge" (by distance from the optical axis), or one of the corners
        "bottom-left", "bottom-right", "top-left", "top-right" (y up), which belong to the edge too.
    stars : int
        How many.
    hfr, fwhm : Measured
        Medians.
    ellipticity : Measured
        Root mean square of 1 - b/a, the stars' noise taken out of the sum.
    radial_ellipticity : Measured
        Mean component along the line to the axis; negative is tangential.
    """

    zone: str
    stars: int
    hfr: Measured
    fwhm: Measured
    ellipticity: Measured
    radial_ellipticity: Measured


@dataclasses.dataclass(frozen=True, eq=False)
class StarField(Result):
    """All stars of a frame, brightest first.

    Attributes
    ----------
    columns : dict of str to ndarray
        One array a quantity, without units; `table` has them with units.
    shape : tuple of int
        (ny, nx) of the frame.
    hfr, fwhm : Measured
        Medians of the clean stars.
    ellipticity : Measured
        Root mean square of the clean stars' 1 - b/a, their noise taken out of the sum.
    clean_stars : int
        How many stars are behind the medians: unflagged (undersampled ones count), SNR above 10.
    zones : tuple of Zone
        The same by part of the field.
    outer_radius : Quantity
        Radius of the circle that counts as the whole star, in pixels. Half-flux radii refer to it.
    snr_radius : Quantity
        Radius of the circle of the signal-to-noise ratio, in pixels.
    axis : tuple of float
        (x, y) of the optical axis used.
    sky, sky_noise : Quantity
        Medians of the sky's level and of the noise of a sky pixel.
    noise_correlation : float
        Noise of the smoothed sky over that of independent pixels; above 1 in resampled frames.
    name : str
        The frame's name.
    wcs : WCS or None
        The frame's celestial solution.
    """

    columns: dict[str, np.ndarray]
    shape: tuple[int, int]
    hfr: Measured
    fwhm: Measured
    ellipticity: Measured
    clean_stars: int
    zones: tuple[Zone, ...]
    outer_radius: u.Quantity
    snr_radius: u.Quantity
    axis: tuple[float, float]
    sky: u.Quantity
    sky_noise: u.Quantity
    noise_correlation: float
    name: str = ""
    wcs: WCS | None = None

    def __len__(self) -> int:
        return len(self.columns["x"])

    @property
    def is_clean(self) -> np.ndarray:
        """Which rows of the table are behind the medians, shape (n,)."""
        return ((self.columns["flags"] & _NOT_CLEAN) == 0) & (self.columns["snr"] > 10)

    @property
    def is_star(self) -> np.ndarray:
        """Which rows are stars: neither cosmic ray nor extended, shape (n,)."""
        return (self.columns["flags"] & (8 | 16)) == 0

    @cached_property
    def pixel_scale(self) -> u.Quantity | None:
        """Angle of a pixel at the middle of the frame from the WCS, arcsec per pixel, or None."""
        if self.wcs is None:
            return None
        return np.mean(proj_plane_pixel_scales(self.wcs.celestial)) * 3600 * u.arcsec / u.pix

    @cached_property
    def table(self) -> QTable:
        """One row a star, brightest first: positions with units, and ``ra``, ``dec`` with a WCS."""
        table = QTable()
        for name, _, unit in _COLUMNS:
            values = self.columns[name]
            table[name] = values if unit is None else u.Quantity(values, unit, copy=False)
        if self.wcs is not None:
            lon, lat = self.wcs.celestial.all_pix2world(self.columns["x"], self.columns["y"], 0)
            table["ra"] = lon * u.deg
            table["dec"] = lat * u.deg
        table.meta.update(
            {
                "frame": self.name,
                "outer_radius_pix": float(self.outer_radius.value),
                "flags": {bit: name for bit, (name, _) in FLAGS.items()},
                "notes": [str(n) for n in self.notes],
                **self.conditions,
            }
        )
        return table

    @property
    def zone_table(self) -> QTable:
        """The zones as a table, one row a zone."""
        table = QTable(
            {"zone": [z.zone for z in self.zones], "stars": [z.stars for z in self.zones]}
        )
        for name in ("hfr", "fwhm", "ellipticity", "radial_ellipticity"):
            found = [getattr(z, name) for z in self.zones]
            table[name] = u.Quantity([m.value for m in found])
            table[f"{name}_uncertainty"] = u.Quantity([m.uncertainty for m in found])
        return table

    def flag_names(self, row: int) -> list[str]:
        """Names of the flags of one row of the table.

        Parameters
        ----------
        row : int
            Row of the table.
        """
        flags = int(self.columns["flags"][row])
        return [name for bit, (name, _) in FLAGS.items() if flags & bit]

    def summary(self) -> list[str]:
        """A few lines for a terminal."""
        hits = int(((self.columns["flags"] & 8) != 0).sum())
        lines = [
            f"{self.name}: {int(self.is_star.sum())} stars, {self.clean_stars} clean"
            + (f"; {hits} taken for cosmic rays or hot pixels" if hits else ""),
            f"half-flux radius {self.hfr} (median; light within {self.outer_radius:.0f})",
            f"FWHM {self.fwhm} (Moffat, median)",
            f"ellipticity {self.ellipticity} (root mean square, noise taken out)",
        ]
        if self.pixel_scale is not None and np.isfinite(self.hfr.value):
            lines[1] += f" = {(self.hfr.value * self.pixel_scale).to(u.arcsec):.2f}"
        lines += [f"  {'zone':13}{'stars':>6}  {'HFR':>19}  {'FWHM':>19}  {'ellipticity':>15}"]
        for z in self.zones:
            lines.append(
                f"  {z.zone:13}{z.stars:6}  {str(z.hfr):>19}  {str(z.fwhm):>19}  {str(z.ellipticity):>15}"
            )
        return lines

    def plot(self, ax: Any = None, *, quantity: str = "hfr") -> Any:
        """Map of a star size over the field.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.
        quantity : str
            Column to show: "hfr", "fwhm", "ellipticity", "radial_ellipticity", ...

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        with figure_style():
            ny, nx = self.shape
            ax = new_axes(ax, figsize=(7.2, 1.2 + 6.0 * ny / nx))
            use = self.is_clean & np.isfinite(self.columns[quantity])
            x, y, v = self.columns["x"][use], self.columns["y"][use], self.columns[quantity][use]
            unit = {name: unit for name, _, unit in _COLUMNS}[quantity]
            _frame_axes(ax, self.shape)
            if len(v) == 0:
                ax.text(0.5, 0.5, "no clean stars", transform=ax.transAxes, ha="center", color=GREY)
                return ax
            low, high = np.percentile(v, [3, 97])
            if len(v) > 600:
                x, y, v, _ = _binned(x, y, v, self.shape)
                size = 150_000 / len(v) / 3
            else:
                size = np.clip(12_000 / len(v), 14, 120)
            marks = ax.scatter(
                x, y, c=v, s=size, cmap=SEQUENTIAL, vmin=low, vmax=high, linewidths=0
            )
            bar = ax.figure.colorbar(marks, ax=ax, pad=0.02, fraction=0.05)
            labels = {"hfr": "half-flux radius", "fwhm": "FWHM (Moffat)"}
            label = labels.get(quantity, quantity.replace("_", " "))
            bar.set_label(f"{label} ({unit})" if unit is not None else label)
            bar.outline.set_visible(False)
            ax.plot(*self.axis, marker="+", color=INK, ms=10, mew=1.2)
            ax.set_title(f"{label[0].upper()}{label[1:]} over the field, {self.clean_stars} stars")
            return ax

    def plot_ellipticity(self, ax: Any = None) -> Any:
        """Whiskers along the stars' long axes, colored by direction: radial or tangential.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        with figure_style():
            ny, nx = self.shape
            ax = new_axes(ax, figsize=(7.2, 1.2 + 6.0 * ny / nx))
            _frame_axes(ax, self.shape)
            use = self.is_clean & np.isfinite(self.columns["radial_ellipticity"])
            x, y = self.columns["x"][use], self.columns["y"][use]
            radial, cross = (
                self.columns["radial_ellipticity"][use],
                self.columns["cross_ellipticity"][use],
            )
            if len(x) == 0:
                ax.text(0.5, 0.5, "no clean stars", transform=ax.transAxes, ha="center", color=GREY)
                return ax
            dx, dy = x - self.axis[0], y - self.axis[1]
            theta = np.arctan2(dy, dx)
            # Components along the frame's axes, so that neighbors can be averaged.
            e1 = radial * np.cos(2 * theta) - cross * np.sin(2 * theta)
            e2 = radial * np.sin(2 * theta) + cross * np.cos(2 * theta)
            averaged = len(x) > 250
            if averaged:
                bx, by, e1, n = _binned(x, y, e1, self.shape, cells=14)
                _, _, e2, _ = _binned(x, y, e2, self.shape, cells=14)
                x, y = bx, by
                theta = np.arctan2(y - self.axis[1], x - self.axis[0])
            size, angle = np.hypot(e1, e2), np.arctan2(e2, e1) / 2
            along = np.cos(2 * (angle - theta))
            reference = max(0.05, float(np.ceil(np.percentile(size, 90) * 20) / 20))
            length = 0.07 * max(nx, ny) / reference * size
            for kind, color, select in (
                ("radial", BLUE, along > 0.5),
                ("tangential", ORANGE, along < -0.5),
                ("neither", GREY, np.abs(along) <= 0.5),
            ):
                hx, hy = length * np.cos(angle) / 2, length * np.sin(angle) / 2
                segments = np.stack(
                    [np.c_[x - hx, y - hy][select], np.c_[x + hx, y + hy][select]], axis=1
                )
                from matplotlib.collections import LineCollection

                ax.add_collection(
                    LineCollection(list(segments), colors=color, linewidths=1.8, label=kind)
                )
            ax.plot(*self.axis, marker="+", color=INK, ms=10, mew=1.2)
            bar = 0.07 * max(nx, ny)
            ax.plot([0.03 * nx, 0.03 * nx + bar], [0.035 * ny] * 2, color=INK, lw=2.2, zorder=5)
            ax.text(
                0.035 * nx + bar,
                0.035 * ny,
                f"ellipticity {reference:g}",
                va="center",
                fontsize=9,
                zorder=5,
                bbox={"facecolor": "white", "alpha": 0.85, "edgecolor": "none", "pad": 1.5},
            )
            ax.legend(loc="upper right", bbox_to_anchor=(1.0, -0.1), ncol=3, handlelength=1.4)
            what = "local means" if averaged else "each star"
            ax.set_title(f"Long axes of the stars ({what}), {self.clean_stars} stars")
            return ax


def measure_stars(
    frame: Any,
    *,
    threshold: float = 5.0,
    outer_radius: u.Quantity | float | None = None,
    fit_profiles: str = "bright",
    cell_size: int = 64,
    axis: tuple[float, float] | None = None,
    mask: np.ndarray | None = None,
    threads: int = 0,
    progress: bool = False,
) -> StarField:
    """Find every star of a frame and measure place, size and shape.

    Parameters
    ----------
    frame : path, HDUList, CCDData, Quantity, ndarray or Frame
        The image; see `read_frame`.
    threshold : float
        How far a peak of the smoothed frame must rise above the noise there, in standard
        deviations.
    outer_radius : Quantity or float, optional
        Radius of the circle that counts as the whole star, in pixels; by default three times the
        frame's usual half-flux radius, at least 5. Half-flux radii refer to it: state it with them.
    fit_profiles : {"bright", "all", "none"}
        Which stars get a pixel-integrated Moffat profile, and so a FWHM: the 500 brightest
        unclipped ones, every unclipped one, or none.
    cell_size : int
        Side of the cells on which the sky is measured, in pixels.
    axis : tuple of float, optional
        (x, y) of the optical axis in pixels; the middle of the frame by default.
    mask : ndarray of bool, optional
        True = do not use; replaces the frame's own.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    StarField
        The stars, brightest first, with medians, zones and notes.

    Raises
    ------
    InputError
        When an option makes no sense or the frame is no image.
    CannotMeasureError
        When the frame holds no usable pixels or no noise (saturated, empty).

    Notes
    -----
    ``hfr`` is the radius of the circle round the star's center that holds half of the light within
    ``outer_radius``, with the blur that the pixels add taken out; ``hfr_recorded`` is the same on the
    recorded pixels taken as uniform squares. Ellipticities are 1 - b/a of Gaussian-weighted moments,
    without the pixels' blur and the noise's bias. Pixels that are NaN or masked are not used.

    Examples
    --------
    >>> import numpy as np
    >>> from starassay import measure_stars
    >>> y, x = np.mgrid[0:120, 0:160]
    >>> sky = np.random.default_rng(1).normal(100, 3, x.shape)
    >>> variance = 1.5**2 + 1 / 12  # what pixels see of a star with sigma 1.5
    >>> for cx, cy in [(40.3, 60.1), (110.7, 45.0), (80.2, 95.4)]:
    ...     sky += 2000 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * variance))
    >>> field = measure_stars(sky.astype(np.float32))
    >>> len(field), bool(abs(field.hfr.value.value - 1.5 * 1.1774) < 0.02)
    (3, True)
    """
    source = read_frame(frame)
    if mask is not None:
        source = read_frame(source, mask=mask)
    radius = float("nan") if outer_radius is None else _pixels(outer_radius)
    request = {
        "detection_threshold": threshold,
        "outer_radius_px": radius,
        "fit_profiles": fit_profiles,
        "cell_size": cell_size,
        "axis_x": float("nan") if axis is None else axis[0],
        "axis_y": float("nan") if axis is None else axis[1],
    }
    record = call(
        "stars.measure", request, frames={"frame": source}, threads=threads, progress=progress
    )
    return _from_engine(record, source, request)


def _pixels(value: Any) -> float:
    return (
        float(quantity(value, u.pix, "outer_radius").value)
        if hasattr(value, "unit")
        else float(value)
    )


def _from_engine(record: dict[str, Any], frame: Frame, request: dict[str, Any]) -> StarField:
    notes: tuple[Note, ...] = notes_from_engine(record["notes"]) + frame.notes
    zones = tuple(
        Zone(
            z["zone"],
            z["stars"],
            *(
                Measured.from_engine(z[k])
                for k in ("hfr", "fwhm", "ellipticity", "radial_ellipticity")
            ),
        )
        for z in record["zones"]
    )
    return StarField(
        notes=notes,
        conditions={
            "exposure_s": None if frame.exposure is None else float(frame.exposure.value),
            "filter": frame.filter,
            "request": request,
        },
        columns={name: record[key] for name, key, _ in _COLUMNS},
        shape=(record["height"], record["width"]),
        hfr=Measured.from_engine(record["median_hfr"]),
        fwhm=Measured.from_engine(record["median_fwhm"]),
        ellipticity=Measured.from_engine(record["typical_ellipticity"]),
        clean_stars=record["clean_stars"],
        zones=zones,
        outer_radius=record["outer_radius_px"] * u.pix,
        snr_radius=record["snr_radius_px"] * u.pix,
        axis=(record["axis_x"], record["axis_y"]),
        sky=record["median_sky"] * u.adu,
        sky_noise=record["median_sky_noise"] * u.adu,
        noise_correlation=record["noise_correlation"],
        name=frame.name,
        wcs=frame.wcs,
    )


def _frame_axes(ax: Any, shape: tuple[int, int]) -> None:
    ny, nx = shape
    ax.set_xlim(-0.5, nx - 0.5)
    ax.set_ylim(-0.5, ny - 0.5)
    ax.set_aspect("equal")
    ax.set_xlabel("x (pix)")
    ax.set_ylabel("y (pix)")
    for side in ("top", "right"):
        ax.spines[side].set_visible(True)


def _binned(
    x: np.ndarray, y: np.ndarray, v: np.ndarray, shape: tuple[int, int], cells: int = 24
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Means over square cells for drawing: places, means, counts of the cells with two stars or more."""
    ny, nx = shape
    side = max(nx, ny) / cells
    columns, rows = int(np.ceil(nx / side)), int(np.ceil(ny / side))
    index = (y // side).astype(int).clip(0, rows - 1) * columns + (x // side).astype(int).clip(
        0, columns - 1
    )
    n = np.bincount(index, minlength=columns * rows)
    keep = n >= 2
    mean = np.bincount(index, v, minlength=columns * rows)[keep] / n[keep]
    place = np.flatnonzero(keep)
    return (place % columns + 0.5) * side, (place // columns + 0.5) * side, mean, n[keep]

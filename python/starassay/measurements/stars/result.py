"""All stars of a frame, and what they say about the field."""

from __future__ import annotations

import dataclasses
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ... import _records
from ..._records import QUANTITIES
from ...results import Measured, Picture, Result, Sheet, format_measured
from ...style import new_axes
from . import figures

if TYPE_CHECKING:
    from astropy.table import QTable
    from astropy.wcs import WCS

#: Bits of the column ``flags``: name, and what each says.
FLAGS = _records.FLAGS["StarField.flags"]

#: Fewer clean stars than this say something about themselves, not about the field.
LEAST_STARS = 10

_NOT_CLEAN = sum(
    bit for bit, (name, _) in FLAGS.items() if name not in ("undersampled", "flat-topped")
)
_NOT_A_STAR = sum(bit for bit, (name, _) in FLAGS.items() if name in ("cosmic ray", "not a star"))
_HIT = next(bit for bit, (name, _) in FLAGS.items() if name == "cosmic ray")


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class StarField(Result, _records.StarField):
    """All stars of a frame, brightest first: one array a column, medians, zones.

    Its attributes are those of the engine's record; one array holds a number a star.

    Attributes
    ----------
    name : str
        The frame's name.
    wcs : WCS or None
        The frame's celestial solution.
    """

    name: str = ""
    wcs: WCS | None = None

    def __len__(self) -> int:
        return len(self.x)

    COLUMNS = {
        "flags": "Sum of the bits of what is wrong with the star; meta holds their names.",
        "ra": "Right ascension by the frame's celestial solution.",
        "dec": "Declination by the frame's celestial solution.",
    }

    @property
    def title(self) -> str:
        """Stars of which frame."""
        return f"Stars of {self.name}" if self.name else "Stars"

    @property
    def shape(self) -> tuple[int, int]:
        """(ny, nx) of the frame."""
        return (self.height, self.width)

    @cached_property
    def columns(self) -> dict[str, np.ndarray]:
        """Every column of `table` as a plain array in its own unit."""
        n = len(self)
        return {
            name: np.asarray(getattr(getattr(self, name), "value", getattr(self, name)))
            for name, (_, kind, _, _) in self._FIELDS.items()
            if kind.startswith("array 1") and name != "axis" and len(getattr(self, name)) == n
        }

    def unit_of(self, column: str) -> str:
        """Unit of a column, "" for a pure number.

        Parameters
        ----------
        column : str
            Name of a column of `table`.
        """
        return self._FIELDS[column][2]

    @property
    def is_clean(self) -> np.ndarray:
        """Which rows of the table are behind the medians, shape (n,)."""
        return ((self.flags & _NOT_CLEAN) == 0) & (self.snr > 10)

    @property
    def is_star(self) -> np.ndarray:
        """Which rows are stars: neither cosmic ray nor extended, shape (n,)."""
        return (self.flags & _NOT_A_STAR) == 0

    @cached_property
    def table(self) -> QTable:
        """One row a star, brightest first: positions with units, and ``ra``, ``dec`` with a WCS."""
        from astropy.table import QTable

        table = QTable({name: getattr(self, name) for name in self.columns})
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
        from astropy.table import QTable

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
        flags = int(self.flags[row])
        return [name for bit, (name, _) in FLAGS.items() if flags & bit]

    def why_not(self, quantity: str) -> tuple[str, str] | None:
        """Angles need a scale, all numbers need clean stars.

        Parameters
        ----------
        quantity : str
            Name from the one list.
        """
        kind = QUANTITIES[quantity]
        if self.clean_stars == 0:
            return (
                f"none of its {int(self.is_star.sum())} stars is clean.",
                "The notes of the test say what spoils them.",
            )
        if kind.unit == "arcsec" and not np.isfinite(self.pixel_scale.value):
            return (
                f"in pixels only: the pixel pitch is not known, so the {kind.label} has no angle.",
                'State it in the campaign file: pitch = "3.76 um" under [camera].',
            )
        return None

    def sentences(self) -> list[str]:
        """How many stars, their medians, and what cannot be said."""
        stars, hits = int(self.is_star.sum()), int(((self.flags & _HIT) != 0).sum())
        where = f"{self.name}: " if self.name else ""
        taken = f"; {hits} taken for cosmic rays or hot pixels" if hits else ""
        if self.clean_stars == 0:
            return [
                f"{where}{stars} stars, none of them clean{taken}: nothing can be said about the optics."
            ]
        size = f"Half-flux radius {self.median_hfr} (median; light within {self.outer_radius:.0f})"
        width = f"FWHM {self.median_fwhm} (fitted Moffat profiles, median)"
        # On the sky with the scale's own uncertainty, as claims take it.
        on_sky = {q.name: q.value for q in self.quantities}
        if "star_hfr" in on_sky:
            size += f" = {on_sky['star_hfr']} at {self.pixel_scale.value:.3g} arcsec a pixel"
        if "star_fwhm" in on_sky:
            width += f" = {on_sky['star_fwhm']}"
        width += f", {self.median_profile_fwhm} (the stars' own profiles at half of their height)"
        said = [
            f"{where}{stars} stars, {self.clean_stars} clean{taken}.",
            f"{size}, {width}, ellipticity {self.typical_ellipticity} (root mean square, noise taken out).",
        ]
        if self.clean_stars < LEAST_STARS:
            said.append(
                f"Too few clean stars ({self.clean_stars}, at least {LEAST_STARS} are needed) for a "
                "statement about the field."
            )
        return said

    def advice(self) -> dict[str, Any]:
        """The side of a pixel on the sky."""
        scale = float(self.pixel_scale.value)
        return {"pixel_scale_arcsec_per_px": scale} if np.isfinite(scale) else {}

    def sheets(self) -> list[Sheet]:
        """The zones of the field; where stars are few, the brightest objects."""
        if self.clean_stars < LEAST_STARS:
            return [self._brightest()] if len(self) else []
        rows = [
            (
                z.zone,
                str(z.stars),
                *(_bare(m) for m in (z.hfr, z.fwhm, z.ellipticity, z.radial_ellipticity)),
            )
            for z in self.zones
            if z.stars
        ]
        return [
            Sheet(
                "By part of the field (medians; ellipticity: root mean square without noise; "
                "radial part: mean, negative is tangential)",
                ("zone", "stars", "HFR (pix)", "FWHM (pix)", "ellipticity", "radial part"),
                tuple(rows),
            )
        ]

    def _brightest(self, count: int = 8) -> Sheet:
        def cell(name: str, row: int) -> str:
            return format_measured(
                self.columns[name][row], self.columns[f"{name}_uncertainty"][row]
            )

        rows = [
            (
                str(i + 1),
                f"{self.x[i].value:.1f}",
                f"{self.y[i].value:.1f}",
                f"{self.snr[i]:.0f}",
                cell("hfr", i),
                cell("fwhm", i),
                ", ".join(self.flag_names(i)) or "clean",
            )
            for i in range(min(len(self), count))
        ]
        head = ("no.", "x", "y", "SNR", "HFR (pix)", "FWHM (pix)", "flags")
        return Sheet("The brightest objects", head, tuple(rows))

    def figures(self) -> list[Picture]:
        """Sharpness over the field and the stars' long axes, side by side."""
        if self.clean_stars < 3:
            return []
        ny, nx = self.shape

        def half() -> Any:
            # Letters can be read at half the width of a page, and both frames stand at the same height.
            high = 1.5 + 4.0 * ny / nx
            ax = new_axes(figsize=(5.4, high))
            ax.figure.subplots_adjust(
                left=0.13, right=0.83, bottom=0.95 / high, top=1 - 0.55 / high
            )
            return ax

        def whiskers() -> Any:
            ax = self.plot_ellipticity(half())
            if ax.get_legend() is not None:
                # Clear of the axis' label on small axes.
                ax.legend(loc="upper right", bbox_to_anchor=(1.0, -0.17), ncol=3, handlelength=1.4)
            return ax

        return [
            Picture(
                lambda: self.plot(half()),
                "Half-flux radius of each clean star. x to the right, y up, as in the file; + is the middle.",
                f"Map of star sizes over the field: median half-flux radius {self.median_hfr}",
                "half",
            ),
            Picture(
                whiskers,
                "Long axes of the stars: blue points to the middle of the field, orange runs round it.",
                f"Whiskers of star shapes over the field: ellipticity {self.typical_ellipticity}",
                "half",
            ),
        ]

    def plot(self, ax: Any = None, *, column: str = "hfr") -> Any:
        """Map of a star size over the field.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.
        column : str
            Column to show: "hfr", "fwhm", "ellipticity", "radial_ellipticity", ...

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        return figures.draw_sizes(self, ax, column)

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
        return figures.draw_ellipticity(self, ax)


def _bare(measured: Measured) -> str:
    return format_measured(measured.value.value, measured.uncertainty.value)

"""The bundled list of bright stars: facts of the Yale Bright Star Catalogue, to V = 4.0."""

from __future__ import annotations

import csv
import dataclasses
import functools
from collections.abc import Sequence
from importlib import resources

import numpy as np
from astropy import units as u
from astropy.coordinates import SkyCoord

#: Lowest temperature of each class and the one above: what the catalogue's spectral types stand for there.
_CLASSES = (("B", 10_001), ("A", 7500), ("F", 6000), ("G", 5150), ("K", 3700), ("M", 0))


@dataclasses.dataclass(frozen=True)
class Star:
    """A star of the list.

    Attributes
    ----------
    name : str
        Proper name, else that of Bayer or Flamsteed.
    hr : int
        Number in the Yale Bright Star Catalogue.
    constellation : str
        In three letters.
    ra, dec : float
        Degrees, J2000, without proper motion: good to a few minutes of arc, which is enough to find it.
    v : float
        Visual magnitude.
    kelvin : float
        Temperature that its spectral type stands for.
    close_double : bool
        Whether a companion within some 30 arcsec is bright enough to trouble a defocused image.
    """

    name: str
    hr: int
    constellation: str
    ra: float
    dec: float
    v: float
    kelvin: float
    close_double: bool

    @property
    def spectral_class(self) -> str:
        """Letter of the spectral class, by temperature."""
        return next(letter for letter, low in _CLASSES if self.kelvin >= low)

    @property
    def full_name(self) -> str:
        """Name with the number that finds it in any chart."""
        own = f"HR {self.hr}"
        return self.name if self.name == own else f"{self.name} ({own})"


@functools.lru_cache(maxsize=1)
def bright_stars() -> tuple[Star, ...]:
    """Every star of the list, by its number."""
    text = resources.files(__package__).joinpath("bright_stars.csv").read_text(encoding="utf-8")
    return tuple(
        Star(
            row["name"],
            int(row["hr"]),
            row["constellation"],
            float(row["ra"]),
            float(row["dec"]),
            float(row["v"]),
            float(row["kelvin"]),
            row["close_double"] == "1",
        )
        for row in csv.DictReader(text.splitlines())
    )


def places(stars: Sequence[Star]) -> SkyCoord:
    """Where stars stand, for Astropy."""
    return SkyCoord(
        np.array([s.ra for s in stars]) * u.deg, np.array([s.dec for s in stars]) * u.deg
    )

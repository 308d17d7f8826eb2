"""How a measurement says beforehand what it needs from a night."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from astropy import units as u

from ..optics.telescope import Telescope

#: What a measurement looks at.
STAR, SPECTRUM, FIELD, TWILIGHT = "single star", "spectral star", "rich field", "twilight sky"


@dataclasses.dataclass(frozen=True)
class SimulatedQuantity:
    """What simulated nights would measure.

    Attributes
    ----------
    truth : float
        What was assumed to be true, in the quantity's unit.
    values, uncertainties : ndarray, shape (counts, nights)
        What the nights measure and state: one row for each count from 1; NaN where a doubt stands against it.
    """

    truth: float
    values: np.ndarray
    uncertainties: np.ndarray


@dataclasses.dataclass(frozen=True)
class Situation:
    """Telescope, star, exposure and air of frames that are still to be taken.

    Attributes
    ----------
    telescope : Telescope
        What gathers the light.
    pitch, gain, read_noise, wavelength, defocus, exposure, seeing : Quantity
        Camera, filter and what the plan chose; seeing at the star's altitude and the wavelength.
    electrons : float
        Of the star in one image.
    wavefront : dict of int to float
        Noll number to nm RMS: what is assumed of the telescope.
    most : int
        Largest count that is thought of.
    """

    telescope: Telescope
    pitch: u.Quantity
    gain: u.Quantity
    read_noise: u.Quantity
    wavelength: u.Quantity
    defocus: u.Quantity
    exposure: u.Quantity
    seeing: u.Quantity
    electrons: float
    wavefront: Mapping[int, float]
    most: int


@dataclasses.dataclass(frozen=True)
class Limit:
    """A limit that a claim sets, in the quantity's own unit; infinite where it sets none."""

    quantity: str
    low: float
    high: float


@dataclasses.dataclass(frozen=True)
class Recipe:
    """What a measurement needs from a night.

    Attributes
    ----------
    target : str
        `STAR`, `SPECTRUM`, `FIELD` or `TWILIGHT`.
    order : int
        Its place in the night: small comes first.
    count : int
        How many pairs or frames, where nothing computes it.
    counted : str
        What is counted, in the plural.
    images : int
        Images for each that is counted.
    instructions : str
        What to do, a few sentences.
    reason : str
        Where the count comes from.
    setup : float
        Minutes to set up.
    exposure : float
        Seconds that one image should take at least, so that the seeing averages.
    longest : float
        Seconds that one image should take at most.
    wanted : float
        Electrons of the star that are wanted in an image.
    level : float
        Share of full well that the brightest pixel may reach.
    narrow : bool
        Whether it needs a narrow filter.
    defocus_waves : float
        Defocus to either side in waves of W020; 0 = in focus.
    assume : callable or None
        From the claims' limits, the wavelength in nm and a Strehl ratio (None = by the claims) to the wavefront
        that is assumed: Noll number to nm RMS.
    simulate : callable or None
        From a `Situation` to what nights would give, by quantity, and to sentences on what went wrong.
    """

    target: str
    order: int
    count: int
    counted: str
    instructions: str
    reason: str
    images: int = 1
    setup: float = 10.0
    exposure: float = 20.0
    longest: float = 60.0
    wanted: float = 1e7
    level: float = 0.5
    narrow: bool = False
    defocus_waves: float = 0.0
    assume: Callable[[Sequence[Limit], float, float | None], dict[int, float]] | None = None
    simulate: Callable[[Situation], tuple[dict[str, SimulatedQuantity], list[str]]] | None = None

    def shows(self, words: Mapping[str, Any]) -> str:
        """The instructions with what the plan found put in.

        Parameters
        ----------
        words : mapping
            By the names in braces.
        """
        return self.instructions.format(**words)

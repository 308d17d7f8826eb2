"""Guess the aberration: one that is not told, its pictures, and what to look for."""

from __future__ import annotations

import dataclasses

import numpy as np
from astropy import units as u

from .. import _units
from ..errors import InputError
from .aberration_sheet import AberrationSheet, draw_aberrations

#: What can be hidden, and where one sees it.
SIGNS = {
    "nothing": "Both stars out of focus have the same even rings, and the lines behind the ruling are straight.",
    "astigmatism": "Both stars out of focus are stretched, and the direction turns by a right angle from inside to outside; "
    "in focus it is a cross.",
    "coma": "The star in focus has its rings on one side only, and both stars out of focus are brighter on the same side.",
    "trefoil": "The stars out of focus have three corners, which point the same way inside and outside.",
    "spherical": "The rings stay round, but one side of focus has a bright rim and the other a bright middle; the lines "
    "behind the ruling bend, all in the same way.",
}

#: Pictures that do not give it away by a map or a number.
SHOWN = ("focused", "inside", "outside", "ronchigram")

LEAST, MOST = 0.06, 0.12


@dataclasses.dataclass(frozen=True, eq=False)
class Exercise:
    """One exercise; the same number gives the same one.

    Attributes
    ----------
    number : int
        Which.
    """

    number: int

    def __post_init__(self) -> None:
        object.__setattr__(self, "number", _units.integer(self.number, "number"))
        if self.number < 0:
            raise InputError(
                f"There is no exercise {self.number}; numbers begin with 0.",
                code="lab.exercise",
                argument="number",
            )

    @property
    def answer(self) -> str:
        """What is hidden."""
        return self._drawn()[0]

    @property
    def sheet(self) -> AberrationSheet:
        """Its sheet; show it with ``html(SHOWN, telling=False)``."""
        name, amount, direction = self._drawn()
        waves = {} if name == "nothing" else {name: amount}
        return draw_aberrations(direction=direction * u.deg, **waves)

    def html(self) -> str:
        """The pictures, without anything that tells."""
        return self.sheet.html(SHOWN, telling=False)

    def mark(self, guess: str) -> tuple[bool, str]:
        """Mark a guess.

        Parameters
        ----------
        guess : str
            One of `SIGNS`.

        Returns
        -------
        bool, str
            Whether it is right, and where one sees it.
        """
        if guess not in SIGNS:
            raise InputError(
                f"'{guess}' is none of {', '.join(SIGNS)}.", code="lab.guess", argument="guess"
            )
        name, amount, _ = self._drawn()
        what = name if name == "nothing" else f"{name}, {amount:+.2f} waves RMS"
        if guess == name:
            return True, f"Right: {what}. {SIGNS[name]}"
        return False, f"Not {guess}: it is {what}. {SIGNS[name]}"

    def _drawn(self) -> tuple[str, float, float]:
        rng = np.random.default_rng(self.number)
        name = str(rng.choice(list(SIGNS)))
        amount = float(rng.choice([-1, 1]) * rng.uniform(LEAST, MOST))
        return name, amount, float(rng.uniform(0, 360))

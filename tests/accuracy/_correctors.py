"""Invented doublets with two-element correctors behind them, traced surface by surface: field curvature and astigmatism against the distance.

Meridional ray through the middle of the objective, tangential and sagittal focus along it by Coddington's equations (Welford,
"Aberrations of Optical Systems", from memory). Shares nothing with the engine.
"""

from __future__ import annotations

import functools

import numpy as np
from scipy.optimize import brentq, least_squares

#: Refractive indices that elements are drawn from, near those of crown, flint and dense glasses at 550 nm (from memory).
GLASSES = (1.518, 1.624, 1.724)

#: A surface: place of its vertex (mm), curvature (1/mm), index behind it.
Surface = tuple[float, float, float]


def foci(surfaces: list[Surface], angle: float) -> tuple[float, float, float, float]:
    """Sagittal and tangential focus of a ray through the middle of the first surface, its height at the former, mm, and its slope.

    Parameters
    ----------
    surfaces : list of Surface
        In the order of the light; the first vertex is the origin and the stop.
    angle : float
        Of the ray to the axis, rad.
    """
    z = y = 0.0
    n, u, sagittal, tangential = 1.0, angle, 0.0, 0.0
    for vertex, c, behind in surfaces:
        along, across, off = np.cos(u), np.sin(u), z - vertex
        b = c * (off * along + y * across) - along
        d = c * (off * off + y * y) - 2 * off
        path = d / (np.sqrt(b * b - c * d) - b)
        # Vergences n/s are carried to the next surface.
        sagittal, tangential = (v / (1 - path * v / n) for v in (sagittal, tangential))
        z, y = z + path * along, y + path * across
        normal = np.arcsin(c * y)
        before, after = u + normal, np.arcsin(n * np.sin(u + normal) / behind)
        power = c * (behind * np.cos(after) - n * np.cos(before))
        sagittal += power
        tangential = (tangential * np.cos(before) ** 2 + power) / np.cos(after) ** 2
        u, n = after - normal, behind
    s, t = z + np.cos(u) * n / sagittal, z + np.cos(u) * n / tangential
    return s, t, y + np.tan(u) * (s - z), float(np.tan(u))


def field(surfaces: list[Surface], height: float) -> tuple[float, float, float]:
    """Sag (mean of both foci less the axial focus), split (tangential less sagittal), um, and focal length, mm.

    Parameters
    ----------
    surfaces : list of Surface
        As in `foci`.
    height : float
        On the sensor, mm.
    """
    focus = foci(surfaces, 1e-6)[0]

    def off(angle: float) -> float:
        s, _, y, steep = foci(surfaces, angle)
        return y + steep * (focus - s) - height

    angle = brentq(off, 1e-5, 0.12)
    s, t, *_ = foci(surfaces, angle)
    return 500 * (s + t - 2 * focus), 1000 * (t - s), height / np.tan(angle)


class Telescope:
    """A doublet with a corrector that is flat and free of astigmatism at one distance.

    Parameters
    ----------
    seed : int
        Of all that is drawn: focal length 400 to 700 mm, distance 50 to 75 mm, a flattener or a reducer of 0.8, its glasses and airspace.
    height : float
        Of the corner, mm.
    """

    def __init__(self, seed: int, height: float) -> None:
        rng = np.random.default_rng(seed)
        self.height = height
        self.focal_length, self.distance = rng.uniform(400, 700), rng.uniform(50, 75)
        crown, flint, v1, v2 = (
            GLASSES[0],
            GLASSES[1],
            64.0,
            36.0,
        )  # Abbe numbers, from memory
        c2 = -0.5 * v1 / (v1 - v2) / self.focal_length / (crown - 1)
        c3 = c2 + v2 / (v1 - v2) / self.focal_length / (flint - 1)
        thick = 0.012 * self.focal_length
        self.objective: list[Surface] = [
            (0.0, -c2, crown),
            (thick, c2, flint),
            (1.6 * thick, c3, 1.0),
        ]
        self.kind = ("flattener", "reducer")[int(rng.integers(2))]
        scale = {"flattener": 1.0, "reducer": 0.8}[self.kind] * rng.uniform(0.97, 1.03)
        a, b = rng.uniform(3, 6, 2)
        gap = rng.uniform(0.5, 25)
        first, second = rng.choice(GLASSES, 2)

        def corrector(p: np.ndarray) -> list[Surface]:
            c = p / 100
            return [
                (0.0, c[0], first),
                (a, c[1], 1.0),
                (a + gap, c[2], second),
                (a + gap + b, c[3], 1.0),
            ]

        def misses(p: np.ndarray) -> np.ndarray:
            self.corrector = corrector(p)
            sag, split, focal = self._field(self.distance)
            all_of = np.array([sag / 20, split / 20, 60 * (focal / self.focal_length - scale)])
            return np.r_[np.where(np.isfinite(all_of), all_of, 30.0), 0.15 * p]

        with np.errstate(all="ignore"):
            for _ in range(8):
                found = least_squares(
                    misses, rng.uniform(-1.2, 1.2, 4), max_nfev=40, diff_step=1e-4
                )
                self.corrector = corrector(found.x)
                self.good = bool(np.all(np.abs(found.fun[:3]) < (0.3, 0.3, 2.5)) and self._steady())
                if self.good:
                    break

    def sag_and_split(self, distance: float) -> tuple[float, float]:
        """Both at a distance from corrector to sensor, um.

        Parameters
        ----------
        distance : float
            From the last vertex, mm.
        """
        return self._field(distance)[:2]

    @functools.cached_property
    def slope(self) -> float:
        """Change of the sag with the distance at the right one, um / mm."""
        ends = [self.sag_and_split(self.distance + d)[0] for d in (-0.5, 0.5)]
        return ends[1] - ends[0]

    @functools.cached_property
    def flat(self) -> float:
        """Distance without sag, mm."""
        return float(
            brentq(
                lambda d: self.sag_and_split(d)[0],
                self.distance - 4,
                self.distance + 4,
            )
        )

    def _field(self, distance: float) -> tuple[float, float, float]:
        try:
            return field(self._at(distance), self.height)
        except ValueError:
            return np.nan, np.nan, np.nan

    def _steady(self) -> bool:
        sags = np.array([self.sag_and_split(self.distance + d)[0] for d in np.arange(-6, 7, 1.0)])
        steps = np.diff(sags)
        return bool(np.all(np.isfinite(sags)) and np.all(steps * steps[0] > 0))

    def _at(self, distance: float) -> list[Surface]:
        """The whole, the corrector where the light comes to focus that far behind it."""
        last = self.corrector[-1][0]
        bare = foci(self.objective, 1e-6)[0]

        def put(at: float) -> list[Surface]:
            return [*self.objective, *((at + z, c, n) for z, c, n in self.corrector)]

        def miss(at: float) -> float:
            return foci(put(at), 1e-6)[0] - at - last - distance

        places = bare - last - np.linspace(2.5, 0.4, 12) * distance
        values = [miss(p) for p in places]
        for k, (left, right) in enumerate(zip(values, values[1:])):
            if left * right < 0 and max(abs(left), abs(right)) < 4 * distance:
                return put(brentq(miss, places[k], places[k + 1]))
        raise ValueError("no focus there")


def telescopes(count: int, seed: int, height: float) -> list[Telescope]:
    """The first so many that can be made, from a seed on.

    Parameters
    ----------
    count, seed : int
        How many, from which seed.
    height : float
        Of the corner, mm.
    """
    made: list[Telescope] = []
    while len(made) < count:
        one = Telescope(seed, height)
        made += [one] if one.good else []
        seed += 1
    return made

"""Means of the frames between two turns, and whether one is smaller than another: only when the data say so.

Propagation of distributions as in JCGM 101:2008: the means are drawn from normal distributions, or from Student's where
their scale had to be estimated from few frames (its 6.4.9), and the sizes of the draws are compared.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

#: Chance of being smaller (or larger) from which on "better" (or "worse") is said: 95 % between both ends.
SURE = 0.975
DRAWS = 20_000
# A frame that lies farther out than chance allows once in 1,000 frames (in one and in two numbers, normal) is a change.
_CHANGE = {1: 3.29**2, 2: 13.8}
#: So many frames must have told their scatter before a change can be seen where the bars do not hold it.
_LEAST_FREEDOM = 3


@dataclasses.dataclass(frozen=True)
class Point:
    """One frame's number, or the two parts of its arrow.

    Attributes
    ----------
    values, bars : ndarray, shape (1,) or (2,)
        In the watch's unit; standard uncertainties.
    """

    values: np.ndarray
    bars: np.ndarray


@dataclasses.dataclass(frozen=True)
class Mean:
    """Mean of some frames.

    Attributes
    ----------
    values, bars : ndarray
        As of a `Point`.
    count : int
        Frames.
    freedom : float
        Degrees of freedom behind the bars: infinite where the frames' own bars hold, 0 where nothing tells how far
        frames scatter.
    """

    values: np.ndarray
    bars: np.ndarray
    count: int
    freedom: float

    @property
    def size(self) -> float:
        """The number itself, or the length of the arrow."""
        return float(self.values[0]) if len(self.values) == 1 else float(np.hypot(*self.values))

    @property
    def bar(self) -> float:
        """Standard uncertainty of `size`, along the arrow."""
        if len(self.values) == 1 or self.size == 0:
            return float(np.max(self.bars))
        return float(np.hypot(*(self.values / self.size * self.bars)))


@dataclasses.dataclass(frozen=True)
class Scatter:
    """How far frames between two turns lie apart, learned from all of them.

    Attributes
    ----------
    factor : float
        On the frames' own bars, at least 1; for steady bars.
    share : float
        Relative standard deviation of a frame; for others. NaN as long as no two frames stand between two turns.
    freedom : float
        Degrees of freedom.
    """

    factor: float
    share: float
    freedom: float


def scatter_of(groups: Sequence[Sequence[Point]], steady: bool) -> Scatter:
    """Scatter within groups of frames, all together.

    Parameters
    ----------
    groups : sequence of sequence of Point
        Frames between two turns.
    steady : bool
        Whether the bars hold what changes from frame to frame.
    """
    total, freedom = 0.0, 0
    for points in groups:
        if len(points) < 2:
            continue
        values = np.array([p.values for p in points])
        bars = np.array([p.bars for p in points])
        weights = 1 / bars**2 if steady else np.ones_like(values)
        mean = (weights * values).sum(axis=0) / weights.sum(axis=0)
        scale = bars if steady else np.maximum(np.abs(mean), 1e-300)
        total += float((((values - mean) / scale) ** 2).sum())
        freedom += values.size - values.shape[1]
    if not freedom:
        return Scatter(1.0, np.nan, np.inf if steady else 0.0)
    spread = float(np.sqrt(total / freedom))
    if steady:
        # Bars that hold are kept; wider ones are as sure as the frames are many.
        return Scatter(max(1.0, spread), np.nan, np.inf if spread <= 1 else float(freedom))
    return Scatter(1.0, spread, float(freedom))


def mean_of(points: Sequence[Point], scatter: Scatter) -> Mean:
    """Mean of the frames between two turns.

    Parameters
    ----------
    points : sequence of Point
        At least one.
    scatter : Scatter
        Of all frames.
    """
    values = np.array([p.values for p in points])
    bars = np.array([p.bars for p in points])
    count = len(points)
    if np.isnan(scatter.share):
        weights = 1 / bars**2
        mean = (weights * values).sum(axis=0) / weights.sum(axis=0)
        return Mean(mean, scatter.factor / np.sqrt(weights.sum(axis=0)), count, scatter.freedom)
    mean = values.mean(axis=0)
    own = np.sqrt((bars**2).sum(axis=0)) / count
    seen = scatter.share * np.abs(mean) / np.sqrt(count)
    return Mean(mean, np.maximum(own, seen), count, scatter.freedom)


@dataclasses.dataclass(frozen=True)
class Change:
    """From one mean to a later one.

    Attributes
    ----------
    verdict : str
        "better", "worse" or "not decided yet".
    chance : float
        That the later one is smaller.
    less, bar : float
        By how much it is smaller, and the standard uncertainty of that, of both means.
    """

    verdict: str
    chance: float
    less: float
    bar: float


@lru_cache(maxsize=4)
def _normal(parts: int) -> tuple[np.ndarray, np.ndarray]:
    """The same draws each time, so that the same frames give the same words."""
    rng = np.random.default_rng(101)
    return rng.standard_normal((2, DRAWS, parts)), rng.standard_normal((DRAWS, 64))


def compare(before: Mean, now: Mean) -> Change:
    """Whether the later mean is smaller.

    Parameters
    ----------
    before, now : Mean
        Of the frames before and after a turn, with bars from the same scatter.
    """
    freedom = min(before.freedom, now.freedom)
    if freedom <= 0:
        return Change("not decided yet", np.nan, before.size - now.size, np.nan)
    draws, squares = _normal(len(before.values))
    stretch: np.ndarray | float = 1.0
    if freedom <= squares.shape[1]:
        # Student's t: one scale for both, since it was learned from all frames together.
        chi = (squares[:, : int(freedom)] ** 2).sum(axis=1)
        stretch = np.sqrt(int(freedom) / chi)[:, np.newaxis]
    sizes = [
        _size(mean.values + stretch * mean.bars * normal)
        for mean, normal in zip((before, now), draws)
    ]
    less = sizes[0] - sizes[1]
    chance = float(np.mean(less > 0))
    low, middle, high = np.quantile(less, (0.1587, 0.5, 0.8413))
    verdict = "better" if chance >= SURE else "worse" if chance <= 1 - SURE else "not decided yet"
    return Change(verdict, chance, float(middle), float(high - low) / 2)


def _size(values: np.ndarray) -> np.ndarray:
    return values[:, 0] if values.shape[1] == 1 else np.hypot(values[:, 0], values[:, 1])


def is_change(points: Sequence[Point], scatter: Scatter, point: Point) -> bool:
    """Whether a frame lies farther from those before it than their bars allow: somebody has turned something.

    Parameters
    ----------
    points : sequence of Point
        Frames since the last turn; with none nothing can have changed.
    scatter : Scatter
        Of all frames before.
    point : Point
        The new one.
    """
    if not points or scatter.freedom < _LEAST_FREEDOM:
        return False
    mean, new = mean_of(points, scatter), mean_of([point], scatter)
    pull = (new.values - mean.values) ** 2 / (new.bars**2 + mean.bars**2)
    return bool(pull.sum() > _CHANGE[len(pull)])


@dataclasses.dataclass(frozen=True)
class Forecast:
    """What the same turn again would do.

    Attributes
    ----------
    times : float
        How many times more, negative for back.
    left : float
        Size of what it cannot take away.
    gain : float
        Share of what is there now that it takes away.
    """

    times: float
    left: float
    gain: float


def forecast(before: Mean, now: Mean) -> Forecast | None:
    """How often the last turn has to be made again; None where it did not move the arrow beyond three of its bars.

    Parameters
    ----------
    before, now : Mean
        Of an arrow, before and after a turn.
    """
    step, bars = now.values - before.values, np.hypot(now.bars, before.bars)
    if len(step) < 2 or not np.isfinite(bars).all() or np.sum((step / bars) ** 2) < 13.8:
        return None
    times = -float(now.values @ step) / float(step @ step)
    left = float(np.hypot(*(now.values + times * step)))
    return Forecast(times, left, 1 - left / now.size if now.size > 0 else 0.0)

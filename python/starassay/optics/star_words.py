"""What somebody at the eyepiece sees in a star test, in words, and what causes it."""

from __future__ import annotations

import dataclasses
from functools import lru_cache
from typing import Any, Protocol

import numpy as np
from astropy import units as u

from .. import _gateway
from .._values import short_repr
from .views import PupilMap

#: What an eye tells apart, as contrast (bright - dark) / (bright + dark) or as (long - short) / (long + short) of a
#: shape (common practice, no source).
VISIBLE = 0.02
# In standard uncertainties. Six looks are judged at once: at three, chance alone would say something of one telescope in twenty.
_SURE = 4.0
_ROUND = (11, 22, 37)
_SHAPES = {"oval": (6, 5), "lopsided": (8, 7), "lobes": (10, 9)}
_MODES = tuple(range(1, 23)) + (37,)
# Radii from which an edge may be turned. What no model of one cause has: a share of the error, and figure that every optic has, nm (judgments, no source).
_EDGES = (0.8, 0.85, 0.9, 0.94)
_OTHER, _FIGURE = 0.05, 2.0
# How much better one cause has to explain the light than the other: difference of chi squared, and share of the error left over.
_BETTER, _LEFT = 9.0, 0.4
_CAUSES = {
    "undercorrection": "undercorrection, edge rays focus nearer to the objective; figure of the optics or a wrong spacing of the elements, "
    "and a tube still cooling imitates it",
    "overcorrection": "overcorrection, edge rays focus farther from the objective; figure of the optics or a wrong spacing of the elements, "
    "and a tube still cooling imitates it",
    "edge turned down": "an edge turned down, the wave lags in its outermost zone; the figure of the optics",
    "edge turned up": "an edge turned up, the wave is ahead in its outermost zone; the figure of the optics",
    "astigmatism": "astigmatism; strained or pinched optics, a tilted element, or a star off the middle of the field. "
    "Not decided which: an axis that turns with the optics is theirs",
    "coma": "coma; usually collimation, a tilted or shifted element, or a star off the middle of the field. Not decided which",
    "trefoil": "trefoil; usually a cell that pinches at three points",
}


class Patterns(Protocol):
    """What is looked at of a star test; see `starassay.StarTest`."""

    @property
    def pupil(self) -> PupilMap:
        """The wavefront."""

    @property
    def spread(self) -> tuple[np.ndarray, np.ndarray] | None:
        """Noll numbers and covariance in nm^2, where a fit knows them."""

    @property
    def decided(self) -> bool:
        """Whether the fit may be put into words."""

    @property
    def defocus(self) -> float:
        """Waves to either side."""

    @property
    def wavelength(self) -> u.Quantity:
        """Of the light."""

    @property
    def seeing(self) -> u.Quantity:
        """FWHM of the air's blur."""

    @property
    def disc(self) -> u.Quantity:
        """Radius of the disc of light on the sky."""

    @property
    def rings(self) -> Any:
        """The patterns ring by ring."""


@dataclasses.dataclass(frozen=True, repr=False)
class StarTestWord:
    """One thing that an eye sees in a star test, and its cause.

    Attributes
    ----------
    look : str
        What it is about: rim, inner rings, filled, oval, lopsided or lobes.
    sentence : str
        In words.
    value, uncertainty : float
        Its size and standard uncertainty. Of the light, (inside - outside) / (inside + outside); filled: contrast of the rings inside less that
        outside; oval and lobes: (long - short) / (long + short) of the outline; lopsided: (bright - dark) / (bright + dark) across the disc.
    cause : str
        undercorrection, overcorrection, edge turned down, edge turned up, astigmatism, coma, trefoil; empty where the data do not tell.
    """

    look: str
    sentence: str
    value: float
    uncertainty: float
    cause: str

    def __repr__(self) -> str:
        return short_repr(self)


def describe(test: Patterns) -> tuple[list[StarTestWord], list[str]]:
    """What an eye sees beyond doubt, and what the data leave open.

    Parameters
    ----------
    test : Patterns
        Both patterns with the pupil, and the covariance of the fit where there is one.

    Returns
    -------
    seen : list of StarTestWord
        Each larger than `VISIBLE` and than four standard uncertainties.
    open : list of str
        Looks that are not beyond doubt but might be visible: within two standard uncertainties.
    """
    project = _Projection(test.pupil)
    nm, known, covariance = _coefficients(test, project)
    index = {noll: k for k, noll in enumerate(_MODES)}
    rings = {name: np.asarray(test.rings[name]) for name in test.rings.colnames}
    numbers = _round_numbers(
        rings["inner"],
        rings["outer"],
        np.stack([rings["inside"], rings["outside"]]),
        np.stack([rings["inside_contrast"], rings["outside_contrast"]]),
    )
    at = [index[n] for n in _ROUND]
    block = covariance[np.ix_(at, at)]
    slopes = _slopes_of(test) if block.any() else {}
    seen, open_ = [], []

    def judge(look: str, size: float, sigma: float) -> bool:
        sure = abs(size) > VISIBLE and abs(size) > _SURE * sigma
        if not sure and sigma > 0 and abs(size) + 2 * sigma > VISIBLE and abs(size) < _SURE * sigma:
            open_.append(look)
        return sure

    cause = _round_cause(test, project, nm[at], block, [n in known for n in _ROUND])
    for look, value in numbers.items():
        slope = slopes.get(look, np.zeros(len(at)))
        sigma = float(np.sqrt(slope @ block @ slope))
        if judge(look, value, sigma):
            seen.append(StarTestWord(look, _round_words(look, value, sigma), value, sigma, cause))
    waves = test.defocus * test.wavelength.to_value(u.nm)
    for look, (c, s) in _SHAPES.items():
        pair = nm[[index[c], index[s]]]
        scale = {"oval": np.sqrt(6), "lopsided": 12 * np.sqrt(8), "lobes": 1.5 * np.sqrt(8)}[
            look
        ] / waves
        size = float(np.hypot(*pair))
        along = pair / size if size > 0 else np.array([1.0, 0.0])
        both = covariance[np.ix_([index[c], index[s]], [index[c], index[s]])]
        sigma = float(scale * np.sqrt(along @ both @ along))
        if judge(look, float(scale) * size, sigma):
            value = float(scale) * size
            angle = float(np.rad2deg(np.arctan2(pair[1], pair[0])))
            name = {"oval": "astigmatism", "lopsided": "coma", "lobes": "trefoil"}[look]
            seen.append(
                StarTestWord(look, _shape_words(look, value, sigma, angle), value, sigma, name)
            )
    return seen, open_


def sentences(test: Patterns) -> list[str]:
    """The words one by one, each group followed by its cause."""
    if not test.decided:
        return [
            "Not described: the fit's notes say why its numbers are in doubt. See to them first."
        ]
    seen, open_ = describe(test)
    said: list[str] = []
    if not seen and not open_:
        said.append(
            "Both sides look alike, round and even: an eye sees no difference (2 % or more)."
        )
    for k, word in enumerate(seen):
        said.append(word.sentence)
        last = k == len(seen) - 1 or seen[k + 1].cause != word.cause
        if last and word.cause:
            said.append(f"Cause: {_CAUSES[word.cause]}.")
        elif last:
            side = "under" if _tends_under(word) else "over"
            said.append(
                f"Cause not decided: {side}correction, a turned edge, a zone, or several of them."
            )
    if open_:
        said.append(
            "Not decided by these images, an eye might see it: "
            + ", ".join(_OPEN[o] for o in open_)
            + "."
        )
    return said


_OPEN = {
    "rim": "whether the rim is as bright inside as outside",
    "inner rings": "whether the inner rings are",
    "filled": "whether the rings stand out alike on both sides",
    "oval": "whether the rings are oval",
    "lopsided": "whether they are lopsided",
    "lobes": "whether they have three lobes",
}


def _tends_under(word: StarTestWord) -> bool:
    """Undercorrection: rim bright and rings clear inside, inner rings bright outside."""
    return (word.value > 0) != (word.look == "inner rings")


def _round_words(look: str, value: float, sigma: float) -> str:
    side, other = ("inside", "outside") if value > 0 else ("outside", "inside")
    if look == "filled":
        return f"The rings are filled {other} of focus and stand out {side}: contrast {_number(abs(value), sigma)} less."
    ratio = (1 + abs(value)) / (1 - abs(value))
    spread = 2 * sigma / (1 - abs(value)) ** 2
    what = "The rim is" if look == "rim" else "The inner rings are"
    return f"{what} brighter {side} of focus than {other}: {_number(ratio, spread)} times."


def _number(value: float, sigma: float) -> str:
    """Two decimals, more where the uncertainty is smaller than those."""
    digits = 2 if not sigma > 0 else int(np.clip(np.ceil(-np.log10(sigma)), 2, 4))
    return f"{value:.{digits}f} ± {sigma:.{digits}f}"


def _shape_words(look: str, value: float, sigma: float, angle: float) -> str:
    """Directions from the laws of rays: a ray lands at -(2 W rho + grad W), so the picture outside is the pupil turned by 180 degrees."""
    size = f"{100 * value:.0f} ± {100 * sigma:.1f} %"
    if look == "oval":
        axis = 0.5 * angle
        return (
            f"The rings are oval and turn by 90 degrees through focus: long axis at {(axis + 90) % 180:.0f} deg inside, "
            f"{axis % 180:.0f} deg outside, half the axes' difference {size} of their mean."
        )
    if look == "lopsided":
        return (
            f"The rings are lopsided: brighter and closer together towards {angle % 360:.0f} deg on both sides of focus, the light by {size} "
            "from its mean at that rim."
        )
    corner = (angle / 3 + 60) % 120
    return (
        f"The rings are three-cornered, on both sides of focus alike: corners at {corner:.0f}, {corner + 120:.0f} and {corner + 240:.0f} deg, "
        f"{size} of the radius."
    )


def _round_numbers(
    inner: np.ndarray, outer: np.ndarray, light: np.ndarray, contrast: np.ndarray
) -> dict[str, float]:
    """Light of rim and inner rings, and contrast, as differences between both sides (rows inside, outside); 0 for a perfect telescope."""
    inside, outside = light
    numbers = {"rim": float((inside[-1] - outside[-1]) / (inside[-1] + outside[-1]))}
    if len(inside) > 2:
        # The spot in the middle is too small to be compared. Areas weigh.
        area = (outer**2 - inner**2)[1:-1]
        i, o = float(area @ inside[1:-1]), float(area @ outside[1:-1])
        numbers["inner rings"] = (i - o) / (i + o)
        numbers["filled"] = float(np.mean(contrast[0][1:]) - np.mean(contrast[1][1:]))
    return numbers


@lru_cache(maxsize=128)
def _mode(noll: int, samples: int) -> np.ndarray:
    """A circle polynomial, nm for 1 nm RMS; zero outside."""
    if noll == 1:
        return np.ones((samples, samples))
    pupil = PupilMap.from_zernike({noll: 1 * u.nm}, samples=samples)
    return np.nan_to_num(pupil.wavefront.to_value(u.nm))


class _Projection:
    """Coefficients of `_MODES` by least squares over what is open of a pupil."""

    def __init__(self, pupil: PupilMap) -> None:
        n = len(pupil.wavefront)
        basis = np.stack([_mode(k, n).ravel() for k in _MODES], axis=1)
        self._weighted = (basis * pupil._open.ravel()[:, None]).T
        self._gram = self._weighted @ basis

    def of(self, *maps: np.ndarray) -> np.ndarray:
        """A column for each map."""
        columns = [self._weighted @ values.ravel() for values in maps]
        return np.asarray(np.linalg.solve(self._gram, np.stack(columns, axis=1)))


def _coefficients(test: Patterns, project: _Projection) -> tuple[np.ndarray, set[int], np.ndarray]:
    """Coefficients (nm), which of them the data know, and their covariance (nm^2)."""
    pupil = test.pupil
    nm = project.of(np.nan_to_num(pupil.wavefront.to_value(u.nm)))[:, 0]
    if test.spread is None:
        return nm, set(_MODES), np.zeros((len(_MODES), len(_MODES)))
    noll, covariance = test.spread
    # Beyond Noll 45 the fit's modes are rings and fine structure, which these few hardly share.
    kept = [k for k, n in enumerate(noll) if n <= 45]
    n = len(pupil.wavefront)
    turn = project.of(*(_mode(int(noll[k]), n) for k in kept))
    return nm, {int(n) for n in noll}, turn @ covariance[np.ix_(kept, kept)] @ turn.T


@lru_cache(maxsize=8)
def _slopes(
    obstruction: float,
    waves: float,
    blur: float,
    inner: tuple[float, ...],
    outer: tuple[float, ...],
) -> dict[str, np.ndarray]:
    """Derivative of `_round_numbers` by the round coefficients in waves, about a perfect telescope without vanes; seeing in radii of the disc,
    rings between these dark ones."""
    small = 0.02
    r = _gateway.call(
        "views.round-rings",
        {
            "obstruction": obstruction,
            "defocus_waves": waves,
            "seeing_of_disc": blur,
            "noll": list(_ROUND),
            "error_waves": small,
            "ring_inner": list(inner),
            "ring_outer": list(outer),
        },
    )
    light, contrast = np.asarray(r["ring_light"]), np.asarray(r["ring_contrast"])
    edges = np.array(inner), np.array(outer)
    rows = [_round_numbers(*edges, light[k : k + 2], contrast[k : k + 2]) for k in (0, 2, 4)]
    return {look: np.array([row[look] for row in rows]) / small for look in rows[0]}


def _slopes_of(test: Patterns) -> dict[str, np.ndarray]:
    """The same by nm, for this test."""
    # Shares that are not open: rounded, so that tests of one telescope share their slopes.
    n = len(test.pupil.wavefront)
    shut = 1 - test.pupil._open.sum() / (np.pi * n**2 / 4)
    obstruction = round(float(np.sqrt(max(shut, 0))), 2)
    blur = float((test.seeing / test.disc).to_value(""))
    inner, outer = (tuple(float(r) for r in test.rings[name]) for name in ("inner", "outer"))
    slopes = _slopes(
        obstruction if obstruction > 0.03 else 0.0,
        round(test.defocus, 1),
        round(blur, 2),
        inner,
        outer,
    )
    nm = test.wavelength.to_value(u.nm)
    return {look: slope / nm for look, slope in slopes.items()}


def _round_cause(
    test: Patterns,
    project: _Projection,
    nm: np.ndarray,
    covariance: np.ndarray,
    known: list[bool],
) -> str:
    """Which one cause explains the round part: a smooth error (Noll 11 alone) or a turned edge; empty when the data do not tell."""
    if sum(known) < 2:
        return ""
    n = len(test.pupil.wavefront)
    place = (2 * np.arange(n) + 1 - n) / n
    rho = np.hypot(*np.meshgrid(place, place))
    turned = project.of(*(np.maximum((rho - s) / (1 - s), 0) ** 2 for s in _EDGES))
    edges = list(turned[[_MODES.index(k) for k in _ROUND]].T)
    size = float(np.linalg.norm(nm[known]))
    floor = _FIGURE**2 + (_OTHER * size) ** 2
    inverse = np.linalg.inv(covariance[np.ix_(known, known)] + floor * np.eye(sum(known)))

    def best(shapes: list[np.ndarray]) -> tuple[float, float, float]:
        found = []
        for shape in shapes:
            t = shape[known]
            amplitude = float(t @ inverse @ nm[known] / (t @ inverse @ t))
            rest = nm[known] - amplitude * t
            found.append(
                (float(rest @ inverse @ rest), amplitude, float(np.linalg.norm(rest)) / size)
            )
        return min(found)

    if size == 0:
        return ""
    smooth, edge = best([np.array([1.0, 0.0, 0.0])]), best(edges)
    if min(smooth, edge)[2] > _LEFT or abs(smooth[0] - edge[0]) < _BETTER:
        return ""
    if smooth < edge:
        return "undercorrection" if smooth[1] > 0 else "overcorrection"
    return "edge turned up" if edge[1] > 0 else "edge turned down"

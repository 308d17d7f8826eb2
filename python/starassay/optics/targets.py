"""Real targets through a telescope beside perfect ones: a double star, a planet's disc, the Moon's edge."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from .. import _units, style
from .._values import short_repr
from ..errors import InputError
from .light import light_request
from .views import PupilMap

if TYPE_CHECKING:
    from astropy.table import QTable

# Drawn after Jupiter, no map of it: height of the middle above the equator and width, in polar radii, and brightness.
BELTS = (
    (0.64, 0.03, 0.85),
    (0.45, 0.06, 0.8),
    (0.2, 0.16, 0.7),
    (-0.25, 0.18, 0.7),
    (-0.52, 0.05, 0.8),
)
_NAMES = ("this telescope", "perfect, same obstruction", "perfect, clear")
_LOOKS = ((style.BLUE, "-"), (style.ORANGE, "-."), (style.GREY, "--"))
# Where the light along a line leaves room.
_LEGEND = {"double star": "upper right", "planet": "lower center", "edge": "center right"}
# Between two pictures whose light differs nowhere by more nobody would see a difference.
_SAME = 0.01


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class TargetView:
    """A target through this telescope, through a perfect one with the same obstruction, and through a perfect clear one.

    Attributes
    ----------
    target : str
        "double star", "planet" or "edge".
    words : str
        What it is, with its size and the air.
    position : Quantity, shape (n,)
        Coordinate of the pictures' samples along either axis, arcsec; axes as on the sensor, x right, y up.
    own, perfect_obstructed, perfect : ndarray, shape (n, n)
        The pictures, in proportion to the light. 1 = top of the brighter star alone through the perfect clear aperture in the same
        air; middle of the planet's disc without belts; far on the bright side of the edge.
    along : Quantity, shape (m,)
        Place along the line of the profiles: from the brighter star to the fainter one; across the belts, 0.15 diameters beside the middle
        of the disc; across the edge.
    profiles : QTable
        Light along that line, columns own, perfect_obstructed, perfect.
    table : QTable
        number, unit, own, perfect_obstructed, perfect, words: what an observer could see, in numbers.
    seeing : Quantity
        FWHM of the long exposure at `wavelength`.
    wavelength : Quantity
        Mean of the light.
    center_ratio : float
        Strehl ratio of this light, still air.
    """

    target: str
    words: str
    position: u.Quantity
    own: np.ndarray
    perfect_obstructed: np.ndarray
    perfect: np.ndarray
    along: u.Quantity
    profiles: QTable
    table: QTable
    seeing: u.Quantity
    wavelength: u.Quantity
    center_ratio: float

    def __repr__(self) -> str:
        return short_repr(self)

    def number(self, name: str) -> tuple[float, float, float]:
        """One number through this telescope, the perfect one with the same obstruction, and the perfect clear one.

        Parameters
        ----------
        name : str
            From the table's first column.
        """
        known = list(self.table["number"])
        row = self.table[known.index(_units.choice(name, known, "name"))]
        return float(row["own"]), float(row["perfect_obstructed"]), float(row["perfect"])

    @property
    def obstructed(self) -> bool:
        """Whether an obstruction makes a difference to the picture."""
        return bool(np.max(np.abs(self.perfect_obstructed - self.perfect)) > _SAME)

    def sentences(self) -> list[str]:
        """What is seen, beside what perfect apertures show."""
        return [f"{self.words}: {getattr(self, '_' + self.target.replace(' ', '_'))()}"]

    def _beside(self, name: str, show: Any) -> str:
        own, same, clear = self.number(name)
        others = f"a perfect aperture {show(clear)}"
        if self.obstructed:
            others += f", one with this obstruction {show(same)}"
        return f"{show(own)} ({others})"

    def _double_star(self) -> str:
        def dip(value: float) -> str:
            return f"{100 * value:.0f} %" if value > 0 else "none"

        if max(self.number("dip")) <= 0:
            return "one star is seen and not two, through perfect apertures as well."
        return f"dip between the stars, below the fainter one's top: {self._beside('dip', dip)}."

    def _planet(self) -> str:
        # The belt that shows best, the one that shows least, and the spot.
        rows = [row for row in self.table if np.isfinite(row["own"])]
        belts = sorted((r for r in rows if r["number"] != "spot"), key=lambda r: -r["perfect"])
        told = [*belts[:1], *belts[1:][-1:], *(r for r in rows if r["number"] == "spot")]
        kept = [
            f"{row['words']} {self._beside(row['number'], lambda v: f'{100 * v:.0f} %')}"
            for row in told
        ]
        return "contrast that is left: " + "; ".join(kept) + "."

    def _edge(self) -> str:
        wide = self._beside("width_10_90", lambda v: f"{v:.2f} arcsec")
        glow = self._beside("light_5_arcsec_outside", lambda v: f"{100 * v:.2g} %")
        return f"from 90 to 10 % of the light within {wide}; 5 arcsec outside it is {glow} as bright as inside."

    def plot(self, axes: Any = None) -> Any:
        """Draw the pictures side by side, and the light along the line.

        Parameters
        ----------
        axes : sequence of matplotlib axes, optional
            One a picture and one for the profile; a new figure by default.

        Returns
        -------
        matplotlib figure
            What was drawn.
        """
        import matplotlib.pyplot as plt

        count = len(self._shown())
        with style.figure_style():
            if axes is None:
                figure, axes = plt.subplots(
                    1, count + 1, figsize=(2.9 * count + 3.6, 3.3), layout="constrained"
                )
                figure.suptitle(self.words, fontsize=10)
            self._draw(list(axes), titles=True, legend=True)
        return axes[0].figure

    def _shown(self) -> list[int]:
        return [0, 1, 2] if self.obstructed else [0, 2]

    def _draw(self, axes: list[Any], titles: bool, legend: bool) -> None:
        pictures = (self.own, self.perfect_obstructed, self.perfect)
        edge = float(self.position.value[-1])
        # Two stars can be brighter than one; all pictures have one scale.
        white = max(1.0, float(self.perfect.max()))
        for ax, k in zip(axes, self._shown()):
            ax.imshow(
                style.as_screen_light(pictures[k] / white),
                extent=(-edge, edge, -edge, edge),
                cmap=style.IMAGE,
                vmin=0,
                vmax=1,
                interpolation="bicubic",
            )
            ax.set(xlabel="x (arcsec)")
            if k == 0:
                ax.set(ylabel="y (arcsec)")
            if titles:
                style.entitle(ax, _NAMES[k], fontsize=10)
        last = axes[len(self._shown())]
        columns = ("own", "perfect_obstructed", "perfect")
        for k in self._shown():
            color, stroke = _LOOKS[k]
            label = _NAMES[k]
            last.plot(
                self.along.value, self.profiles[columns[k]], color=color, ls=stroke, label=label
            )
        what = {"double star": "from star to star", "planet": "across the belts"}
        last.set(
            xlabel=f"{what.get(self.target, 'across the edge')} (arcsec)",
            ylabel="light",
            xlim=(self.along.value[0], self.along.value[-1]),
            # Room for the legend above two stars; planet and edge leave some free.
            ylim=(0, 1.4 if self.target == "double star" and legend else None),
        )
        last.grid(True)
        if titles:
            style.entitle(last, "Light along a line", fontsize=10)
        if legend:
            last.legend(fontsize=7, loc=_LEGEND[self.target])


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class TargetSheet:
    """A double star, a planet and the Moon's edge through the same telescope and the same air.

    Attributes
    ----------
    double_star, planet, edge : TargetView
        Each by itself.
    """

    double_star: TargetView
    planet: TargetView
    edge: TargetView

    def __repr__(self) -> str:
        return short_repr(self)

    @property
    def views(self) -> tuple[TargetView, TargetView, TargetView]:
        """All three."""
        return self.double_star, self.planet, self.edge

    @property
    def table(self) -> QTable:
        """The numbers of all three, with the target in the first column."""
        from astropy.table import vstack

        parts = []
        for view in self.views:
            part = view.table.copy()
            part.add_column([view.target] * len(part), name="target", index=0)
            parts.append(part)
        return vstack(parts)

    def sentences(self) -> list[str]:
        """One for each target."""
        return [s for view in self.views for s in view.sentences()]

    def plot(self, title: str = "") -> Any:
        """Draw all of them on one sheet.

        Parameters
        ----------
        title : str
            Over the sheet.

        Returns
        -------
        matplotlib figure
            A row a target.
        """
        import matplotlib.pyplot as plt

        count = max(len(view._shown()) for view in self.views)
        with style.figure_style():
            figure, rows = plt.subplots(
                3, count + 1, figsize=(2.9 * count + 3.4, 9.2), layout="constrained"
            )
            for k, (row, view) in enumerate(zip(rows, self.views)):
                shown = len(view._shown())
                view._draw([*row[:shown], row[-1]], titles=k == 0, legend=k == 2)
                for ax in row[shown:-1]:
                    ax.set_axis_off()
            if title:
                figure.suptitle(_units.text(title, "title"))
        return figure


def draw_double_star(
    pupil: PupilMap,
    aperture: u.Quantity | str,
    separation: u.Quantity | str,
    *,
    magnitudes: tuple[float, float] = (6.0, 6.0),
    angle: u.Quantity | str = 0 * u.deg,
    seeing: u.Quantity | str = 0 * u.arcsec,
    colors: Any = None,
    passband: str = "V(lambda)",
) -> TargetView:
    """Draw two stars through a telescope, beside perfect ones.

    Parameters
    ----------
    pupil : PupilMap
        The wavefront with its obstruction, for example ``fit.pupil``.
    aperture : Quantity or str
        Diameter of the aperture.
    separation : Quantity or str
        Of the stars.
    magnitudes : (float, float)
        Of both stars; only their difference counts, the picture shows the brighter one white.
    angle : Quantity or str
        Direction from the brighter to the fainter star, from +x towards +y.
    seeing : Quantity or str
        FWHM of a long exposure at the mean wavelength; 0 = still air.
    colors : measured curve or mapping of float to Quantity, optional
        Best focus against wavelength (nm), as for `compute_contrast`.
    passband : str
        With `colors`: "V(lambda)", "B", "V" or "R".

    Returns
    -------
    TargetView
        Numbers: ``dip`` = how far the light between the stars falls below the fainter one's top (0: no two tops), ``star_top``
        = light in the top of one star, perfect clear aperture = 1, ``brighter_at_fainter`` = light of the brighter star at the fainter
        one's place, over the latter's own, ``tops_apart`` = distance of the tops (NaN where there are no two).

    Examples
    --------
    >>> from starassay import PupilMap, draw_double_star
    >>> pupil = PupilMap.from_zernike(wavelength="550 nm", obstruction=0.3)
    >>> pair = draw_double_star(pupil, "150 mm", "0.9 arcsec")
    >>> print(pair.sentences()[0])
    Two stars of 6.0 and 6.0 mag, 0.9 arcsec apart, in still air: dip between the stars, below the fainter one's top: 31 % (a perfect aperture 23 %, one with this obstruction 31 %).
    """
    return _draw(
        pupil,
        aperture,
        seeing,
        light_request(colors, passband),
        _stars(separation, magnitudes, angle),
    )


def draw_planet(
    pupil: PupilMap,
    aperture: u.Quantity | str,
    diameter: u.Quantity | str = 44 * u.arcsec,
    *,
    flattening: float = 0.065,
    limb_darkening: float = 0.95,
    belts: Sequence[tuple[float, float, float]] = BELTS,
    spot: u.Quantity | str = 1.2 * u.arcsec,
    angle: u.Quantity | str = 0 * u.deg,
    seeing: u.Quantity | str = 0 * u.arcsec,
    colors: Any = None,
    passband: str = "V(lambda)",
) -> TargetView:
    """Draw a planet's disc through a telescope, beside perfect ones.

    Parameters
    ----------
    pupil, aperture
        As for `draw_double_star`.
    diameter : Quantity or str
        Equatorial diameter as it appears.
    flattening : float
        1 - polar over equatorial diameter.
    limb_darkening : float
        Minnaert's exponent: 0.5 = an even disc, 1 = Lambert's law.
    belts : sequence of (float, float, float)
        Of each the height of its middle above the middle of the disc and its width, in polar radii, and its brightness, 1 beside
        it. Without it five belts, drawn after Jupiter and no map of it.
    spot : Quantity or str
        Diameter of a black spot in the middle, as a moon's shadow makes it; 0 = none.
    angle : Quantity or str
        Direction of the belts, from +x towards +y.
    seeing, colors, passband
        As for `draw_double_star`.

    Returns
    -------
    TargetView
        Numbers: the share that is left of the contrast of each belt (``belt_1`` ...) and of the ``spot``. Contrast is (beside - inside) /
        (beside + inside), of means over the middle of the belt and a whole width to either side of it.
    """
    return _draw(
        pupil,
        aperture,
        seeing,
        light_request(colors, passband),
        _disc(diameter, flattening, limb_darkening, belts, spot, angle),
    )


def draw_lunar_edge(
    pupil: PupilMap,
    aperture: u.Quantity | str,
    *,
    angle: u.Quantity | str = 0 * u.deg,
    seeing: u.Quantity | str = 0 * u.arcsec,
    colors: Any = None,
    passband: str = "V(lambda)",
) -> TargetView:
    """Draw the bright edge of the Moon through a telescope, beside perfect ones.

    Parameters
    ----------
    pupil, aperture
        As for `draw_double_star`.
    angle : Quantity or str
        Direction from the bright to the dark side, from +x towards +y.
    seeing, colors, passband
        As for `draw_double_star`.

    Returns
    -------
    TargetView
        Numbers: ``width_10_90`` and ``width_5_95`` between these shares of the light (arcsec), and the light 2, 5 and 10 arcsec outside
        the place of half the light. The edge is straight and even: the Moon's own relief and roundness are not in it.
    """
    return _draw(pupil, aperture, seeing, light_request(colors, passband), _edge(angle))


def draw_targets(
    pupil: PupilMap,
    aperture: u.Quantity | str,
    *,
    separation: u.Quantity | str | None = None,
    magnitudes: tuple[float, float] = (6.0, 6.0),
    diameter: u.Quantity | str = 44 * u.arcsec,
    seeing: u.Quantity | str = 0 * u.arcsec,
    colors: Any = None,
    passband: str = "V(lambda)",
) -> TargetSheet:
    """Draw a double star, a planet and the Moon's edge through a telescope, beside perfect ones.

    Parameters
    ----------
    pupil, aperture
        As for `draw_double_star`.
    separation : Quantity or str, optional
        Of the stars; Rayleigh's for this aperture by default.
    magnitudes : (float, float)
        Of the stars.
    diameter : Quantity or str
        Of the planet.
    seeing, colors, passband
        As for `draw_double_star`.

    Returns
    -------
    TargetSheet
        All three, with the other settings of their own functions' defaults.
    """
    airs = [_units.quantity(seeing, u.arcsec, "seeing")]
    return draw_sheets(pupil, aperture, airs, separation, magnitudes, diameter, colors, passband)[0]


def draw_sheets(
    pupil: Any,
    aperture: Any,
    airs: Sequence[u.Quantity],
    separation: Any = None,
    magnitudes: Any = (6.0, 6.0),
    diameter: Any = 44 * u.arcsec,
    colors: Any = None,
    passband: str = "V(lambda)",
) -> list[TargetSheet]:
    """One sheet for each seeing, as `draw_targets` has it; quicker than one after the other.

    Parameters
    ----------
    airs : sequence of Quantity
        FWHM of long exposures; 0 = still air.
    pupil, aperture, separation, magnitudes, diameter, colors, passband
        As for `draw_targets`.
    """
    pupil = _units.instance(pupil, PupilMap, "pupil", "the pupil of a fit")
    light = light_request(colors, passband)
    if separation is None:
        wide = _units.quantity(aperture, u.mm, "aperture")
        separation = u.Quantity(
            float(
                f"{(1.219670 * pupil.wavelength / wide).to_value(u.one) * u.rad.to(u.arcsec):.3g}"
            ),
            u.arcsec,
        )
    parts = (
        _stars(separation, magnitudes, 0 * u.deg),
        _disc(diameter, 0.065, 0.95, BELTS, 1.2 * u.arcsec, 0 * u.deg),
        _edge(0 * u.deg),
    )
    return [
        TargetSheet(one["double star"], one["planet"], one["edge"])
        for one in _draw_airs(pupil, aperture, airs, light, *parts)
    ]


@dataclasses.dataclass(frozen=True)
class _Target:
    """What the engine is asked for, and how it is called."""

    name: str
    key: str
    request: dict[str, Any]
    words: str
    rows: tuple[tuple[str, str], ...]


def _stars(separation: Any, magnitudes: Any, angle: Any) -> _Target:
    first, second = (
        _units.number(m, "", "magnitudes") for m in _units.pair(magnitudes, "magnitudes")
    )
    apart = _units.number(separation, u.arcsec, "separation")
    request = {
        "separation_arcsec": apart,
        "fainter_by_mag": abs(second - first),
        "angle_deg": _units.number(angle, u.deg, "angle"),
    }
    rows = (
        ("", "dip between the stars"),
        ("", "light in the top of one star"),
        ("", "light of the brighter star at the fainter one's place, over the latter's own"),
        ("arcsec", "distance of the tops"),
    )
    words = f"Two stars of {min(first, second):.1f} and {max(first, second):.1f} mag, {apart:.3g} arcsec apart"
    return _Target("double star", "double_star", {"double_star": request}, words, rows)


def _disc(
    diameter: Any, flattening: Any, limb_darkening: Any, belts: Any, spot: Any, angle: Any
) -> _Target:
    listed = []
    for belt in _units.several(belts, "belts"):
        parts = [_units.number(v, "", "belts") for v in _units.several(belt, "belts")]
        if len(parts) != 3:
            raise InputError(
                f"belts holds one of {len(parts)} numbers; give height, width and brightness of each.",
                argument="belts",
            )
        listed.append(dict(zip(("middle", "width", "brightness"), parts)))
    size = _units.number(diameter, u.arcsec, "diameter")
    flat = _units.number(flattening, "", "flattening")
    dot = _units.number(spot, u.arcsec, "spot")
    request = {
        "diameter_arcsec": size,
        "flattening": flat,
        "limb_darkening": _units.number(limb_darkening, "", "limb_darkening"),
        "belts": listed,
        "spot_arcsec": dot,
        "angle_deg": _units.number(angle, u.deg, "angle"),
    }
    wide = [f"belt of {0.5 * size * (1 - flat) * b['width']:.2g} arcsec" for b in listed]
    rows = [("", words) for words in (*wide, f"black spot of {dot:.2g} arcsec")]
    words = f"Planet of {size:.3g} arcsec"
    return _Target("planet", "planet", {"planet": request}, words, tuple(rows))


def _edge(angle: Any) -> _Target:
    rows = (
        ("arcsec", "width from 10 to 90 % of the light"),
        ("arcsec", "width from 5 to 95 %"),
        *(("", f"light {a} arcsec outside, inside = 1") for a in (2, 5, 10)),
    )
    request = {"edge_angle_deg": _units.number(angle, u.deg, "angle")}
    return _Target("edge", "edge", request, "Edge of the Moon", rows)


def _draw(
    pupil: Any, aperture: Any, seeing: Any, light: dict[str, Any], target: _Target
) -> TargetView:
    """One view."""
    air = _units.quantity(seeing, u.arcsec, "seeing")
    return _draw_airs(pupil, aperture, [air], light, target)[0][target.name]


def _draw_airs(
    pupil: Any, aperture: Any, airs: Sequence[u.Quantity], light: dict[str, Any], *targets: _Target
) -> list[dict[str, TargetView]]:
    """The engine's views by name of the target, for each seeing."""
    pupil = _units.instance(pupil, PupilMap, "pupil", "the pupil of a fit")
    asked = {key: value for target in targets for key, value in target.request.items()}
    r = pupil._call(
        "views.targets",
        aperture_mm=_units.number(aperture, u.mm, "aperture"),
        seeing_arcsec=[_units.number(air, u.arcsec, "seeing") for air in airs],
        **light,
        **asked,
    )
    return [
        {target.name: _view(target, drawn[target.key], air, r) for target in targets}
        for air, drawn in zip(airs, r["views"])
    ]


def _view(target: _Target, drawn: Any, air: u.Quantity, whole: Any) -> TargetView:
    from astropy.table import QTable

    through = f"through {air.value:.2g} arcsec of seeing" if air.value > 0 else "in still air"
    columns = ("own", "perfect_obstructed", "perfect")
    numbers = np.asarray(drawn["numbers"])
    return TargetView(
        target.name,
        f"{target.words}, {through}",
        drawn["position_arcsec"] * u.arcsec,
        drawn["own"],
        drawn["obstructed"],
        drawn["clear"],
        drawn["along_arcsec"] * u.arcsec,
        QTable(dict(zip(columns, np.asarray(drawn["profiles"])))),
        QTable(
            {
                "number": list(drawn["names"]),
                "unit": [unit for unit, _ in target.rows],
                **{name: list(numbers[:, k]) for k, name in enumerate(columns)},
                "words": [words for _, words in target.rows],
            }
        ),
        air,
        whole["mean_wavelength_nm"] * u.nm,
        float(whole["center_ratio"]),
    )

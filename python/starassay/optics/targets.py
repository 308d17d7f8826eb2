"""Real targets through a telescope beside perfect ones: a double star, a planet's disc, the Moon's edge."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
from astropy import units as u

from .. import _units
from ..errors import InputError
from .light import light_request
from .target_views import TargetSheet, TargetView
from .views import PupilMap

# Drawn after Jupiter, no map of it: height of the middle above the equator and width, in polar radii, and brightness.
BELTS = (
    (0.64, 0.03, 0.85),
    (0.45, 0.06, 0.8),
    (0.2, 0.16, 0.7),
    (-0.25, 0.18, 0.7),
    (-0.52, 0.05, 0.8),
)


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

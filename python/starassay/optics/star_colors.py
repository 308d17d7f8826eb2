"""What color a star shows in focus and to either side of it, through a telescope and through a perfect achromatic one."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from astropy import units as u

from .. import _units, style
from .._values import format_measured, short_repr
from ..errors import InputError
from .color_vision import as_screen_color, even_chromaticity, spectral_type, temperature
from .light import color_points
from .star_color_table import PARTS, PLACES, TELLABLE, VISIBLE, color_table, spread_of
from .views import PupilMap

if TYPE_CHECKING:
    from astropy.table import QTable

# In whose waves the defocus is told.
_WAVE_NM = 550.0
# Wavelengths of the sums.
_COUNT = 25
# What the star's light may lack of X, Y or Z before colors are not told any more; what is mentioned.
_MISSING, _MENTIONED = 0.2, 0.01
_MARKS = ("o", "v", "^")
# Brightness of the second picture in focus, so that faint light is seen.
_LIFTED = 30


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class StarColors:
    """A star's colors in focus and to either side, beside those through a perfect telescope with all colors in focus.

    Attributes
    ----------
    focus, inside, outside : ndarray, shape (n, n, 3)
        X, Y, Z (CIE 1931) per square arcsec, the whole star's Y = 1; axes as on the sensor, x right, y up.
    perfect_focus, perfect_out : ndarray, shape (n, n, 3)
        The same through the perfect telescope; out of focus it is the same on both sides.
    position, wide_position : Quantity, shape (n,)
        Coordinate of the samples along either axis in focus, and out of focus.
    table : QTable
        A row for each place ("in focus", "inside focus", "outside focus") and part: in focus the middle (inside Airy's first dark ring) and the halo (beyond
        `halo_radius`), out of focus the middle (inside half of the disc's radius) and the edge (beyond the disc). light = share of the star's Y in it, x, y,
        tint = distance from the perfect telescope's same part in the u'v' diagram, apart = distance of halo or edge from the middle, each with
        its standard uncertainty; perfect_light, perfect_x, perfect_y, perfect_apart; hue = plain word for the tint; seen = "yes", "no" or
        "not decided".
    star : Quantity
        Temperature of the black body.
    aperture, wavelength : Quantity
        Diameter; mean wavelength of the light as an eye weighs it.
    sensor : Quantity
        Place of focus on the scale of the color focus: where the star's middle is brightest.
    airy_radius, halo_radius, disc : Quantity
        Radius of Airy's first dark ring; beyond which light counts as halo; of the disc out of focus.
    defocus : float
        To either side, waves of 550 nm.
    seeing : Quantity
        FWHM of the long exposure.
    left_out : float
        Largest share of the star's X, Y or Z at wavelengths that the color focus does not cover.
    known : bool
        Whether the color focus came with uncertainties.
    """

    focus: np.ndarray
    inside: np.ndarray
    outside: np.ndarray
    perfect_focus: np.ndarray
    perfect_out: np.ndarray
    position: u.Quantity
    wide_position: u.Quantity
    table: QTable
    star: u.Quantity
    aperture: u.Quantity
    wavelength: u.Quantity
    sensor: u.Quantity
    airy_radius: u.Quantity
    halo_radius: u.Quantity
    disc: u.Quantity
    defocus: float
    seeing: u.Quantity
    left_out: float
    known: bool

    def __repr__(self) -> str:
        return short_repr(self)

    def sentences(self) -> list[str]:
        """Light and color of the halo and of both discs, where an eye can tell them from a perfect telescope's, and what is not in it."""
        air = (
            f"through {self.seeing.value:.2g} arcsec of seeing"
            if self.seeing.value > 0
            else "in still air"
        )
        said = [
            f"A star of {self.star.value:.0f} K, {air}, beside a perfect telescope with all colors in focus:"
        ]
        for place in PLACES:
            middle, halo = (row for row in self.table if row["place"] == place)
            focused = place == "in focus"
            name = "In focus" if focused else f"{self.defocus:.3g} waves {place}"
            where = (
                f"farther than {self.halo_radius.value:.2g} arcsec from the middle"
                if focused
                else "beyond the disc"
            )
            said.append(
                f"{name}: {_percent(halo)} of the light is {where} (perfect {100 * halo['perfect_light']:.1f} %). {_color(halo)} {_color(middle)} "
                f"Both are {_three(halo['apart'], halo['apart_uncertainty'])} apart (perfect {halo['perfect_apart']:.3f})."
            )
        if self.left_out > _MENTIONED:
            said.append(
                f"Up to {100 * self.left_out:.0f} % of the star's X, Y or Z lies beyond the wavelengths that were measured, and is left out of both telescopes."
            )
        said.append(
            "Not in it: spherical aberration that changes with color, the eye's own color error, the air's dispersion, and that faint light looks grey."
        )
        return said

    def plot(self) -> Any:
        """Draw the star in focus and to either side, this telescope above the perfect one, and the colors in the u'v' diagram.

        Returns
        -------
        matplotlib figure
            What was drawn.
        """
        import matplotlib.pyplot as plt

        columns = (
            ("in focus", self.focus, self.perfect_focus, self.position, 1),
            (
                f"{_LIFTED} times as bright",
                self.focus,
                self.perfect_focus,
                self.position,
                _LIFTED,
            ),
            ("inside focus", self.inside, self.perfect_out, self.wide_position, 1),
            ("outside focus", self.outside, self.perfect_out, self.wide_position, 1),
        )
        with style.figure_style():
            figure = plt.figure(figsize=(10.6, 4.6))
            grid = figure.add_gridspec(
                2, 4, left=0.075, right=0.72, bottom=0.11, top=0.93, wspace=0.26, hspace=0.06
            )
            for k, (title, own, perfect, position, lifted) in enumerate(columns):
                edge = float(position.value[-1])
                # One scale for both telescopes: the brightest of a quiet place is white.
                white = float(max(own[..., 1].max(), perfect[..., 1].max())) / lifted
                for row, image in enumerate((own, perfect)):
                    ax = figure.add_subplot(grid[row, k])
                    ax.imshow(
                        as_screen_color(image / white),
                        extent=(-edge, edge, -edge, edge),
                        interpolation="bilinear",
                    )
                    ax.tick_params(labelsize=8, labelbottom=row == 1)
                    ax.locator_params(nbins=4)
                    if row == 0:
                        style.entitle(ax, title, fontsize=9)
                    else:
                        ax.set_xlabel("x (arcsec)", fontsize=9)
                    if k == 0:
                        who = "this telescope" if row == 0 else "perfect, no color error"
                        ax.set_ylabel(f"{who}\ny (arcsec)", fontsize=9)
            self._diagram(figure.add_axes((0.795, 0.11, 0.195, 0.82)))
        return figure

    def _diagram(self, ax: Any) -> None:
        """Middle and halo of each place, and where a perfect telescope has them."""
        for place, parts, mark in zip(PLACES, PARTS, _MARKS):
            rows = [row for row in self.table if row["place"] == place]
            for row, color, part in zip(rows, (style.ORANGE, style.BLUE), parts):
                at, perfect = (_even(row["x"], row["y"]), _even(row["perfect_x"], row["perfect_y"]))
                ax.plot(*perfect, mark, mfc="none", mec=color, ms=7)
                ax.plot(*at, mark, color=color, ms=7, label=f"{place}: {part}")
        # Equal steps on both axes in the box there is: room for the legend above, for the scale below.
        box = ax.get_window_extent()
        (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
        tall = max(1.75 * (high - low), 1.3 * (right - left) * box.height / box.width, 6 * TELLABLE)
        wide = tall * box.width / box.height
        bottom, start = low - 0.12 * tall, 0.5 * (left + right - wide)
        ax.set(xlim=(start, start + wide), ylim=(bottom, bottom + tall))
        x, y = start + 0.05 * wide, bottom + 0.03 * tall
        ax.plot([x, x + TELLABLE], [y, y], color=style.INK, lw=2)
        ax.annotate("told by an eye", (x, y), xytext=(0, 4), textcoords="offset points", fontsize=7)
        ax.set_xlabel("u' (CIE 1976)", fontsize=9)
        ax.set_ylabel("v'", fontsize=9)
        ax.tick_params(labelsize=8)
        ax.locator_params(nbins=5)
        ax.grid(True)
        ax.legend(fontsize=7, loc="upper left", title="open: perfect telescope", title_fontsize=7)
        style.entitle(ax, "Colors", fontsize=9)


def draw_star_colors(
    pupil: PupilMap,
    aperture: u.Quantity | str,
    colors: Any,
    *,
    star: u.Quantity | str = 9600 * u.K,
    defocus: float = 5.0,
    halo_radius: u.Quantity | str | None = None,
    seeing: u.Quantity | str = 0 * u.arcsec,
) -> StarColors:
    """Draw a star in its colors in focus, inside and outside of it, and say what an eye can tell of them.

    Parameters
    ----------
    pupil : PupilMap
        The wavefront with its obstruction, for example ``fit.pupil``; its optical path is the same in all colors.
    aperture : Quantity or str
        Diameter of the aperture.
    colors : measured curve or mapping of float to Quantity
        Best focus against wavelength (nm). A measured curve brings its uncertainty; a mapping counts as known.
    star : Quantity or str
        Temperature of the star, or its spectral type ("A0", "G2V"); its light is a black body's.
    defocus : float
        To either side, in waves of 550 nm (1 to 16).
    halo_radius : Quantity or str, optional
        Radius beyond which light in focus counts as halo; three times that of Airy's first dark ring by default.
    seeing : Quantity or str
        FWHM of a long exposure at the mean wavelength; 0 = still air.

    Returns
    -------
    StarColors
        Pictures and numbers, beside those of a perfect telescope with all colors in focus.

    Raises
    ------
    InputError
        When the color focus has fewer than two wavelengths or lacks more than a fifth of the star's X, Y or Z, or its colors are too far out of
        focus to be drawn.

    Examples
    --------
    >>> from astropy import units as u
    >>> from starassay import PupilMap, draw_star_colors
    >>> lens = {400: 300 * u.um, 440: 120 * u.um, 486: 25 * u.um, 550: 0 * u.um, 656: 35 * u.um, 700: 55 * u.um}
    >>> shown = draw_star_colors(PupilMap.from_zernike(focal_ratio=6.6), "115 mm", lens)
    >>> row = shown.table[3]
    >>> str(row["place"]), str(row["part"]), str(row["hue"]), str(row["seen"])
    ('inside focus', 'edge', 'violet', 'yes')
    """
    pupil = _units.instance(pupil, PupilMap, "pupil", "the pupil of a fit")
    diameter = _units.quantity(aperture, u.mm, "aperture")
    kelvin = temperature(star)
    air = _units.quantity(seeing, u.arcsec, "seeing")
    waves = _units.number(defocus, "", "defocus")
    if not 1 <= waves <= 16:
        raise InputError(f"defocus is {waves:g} waves; give 1 to 16.", argument="defocus")
    if not getattr(colors, "signs_decided", True):
        raise InputError(
            "The signs of this color focus are not decided, so it does not say where the colors focus. Measure it from a focus run.",
            argument="colors",
        )
    nm, focus = color_points(colors, _COUNT)
    spread = spread_of(colors, nm, focus)
    request: dict[str, Any] = {
        "aperture_mm": float(diameter.value),
        "wavelengths_nm": [float(w) for w in nm],
        "focus_um": [float(f) for f in focus],
        "kelvin": float(kelvin.value),
        "defocus_um": waves * 8 * pupil.focal_ratio**2 * _WAVE_NM * 1e-3,
        "seeing_arcsec": float(air.value),
    }
    if halo_radius is not None:
        request["halo_arcsec"] = _units.number(halo_radius, u.arcsec, "halo_radius")
    if spread is not None:
        # As far as the errors go, and never so near that differences drown in rounding.
        depth = 2 * nm * 1e-3 * pupil.focal_ratio**2
        request["step_um"] = np.maximum(spread.std(axis=0), 0.02 * depth).tolist()
    r = pupil._call("views.star-colors", **request)
    missing = float(r["left_out"])
    if missing > _MISSING:
        raise InputError(
            f"The color focus covers {nm[0]:.0f} to {nm[-1]:.0f} nm; {100 * missing:.0f} % of what the eye's blue, green or red sense gets from this star lies "
            "beyond, so its color would be wrong. Measure at least 420 to 680 nm.",
            argument="colors",
        )
    table = color_table(r, focus, spread, np.asarray(request.get("step_um", np.zeros(len(nm)))))
    focused, inside, outside, perfect, away = (
        _last(r[name]) for name in "focus inside outside perfect_focus perfect_out".split()
    )
    return StarColors(
        focused,
        inside,
        outside,
        perfect,
        away,
        np.asarray(r["position"]) * u.arcsec,
        np.asarray(r["wide_position"]) * u.arcsec,
        table,
        kelvin,
        diameter,
        r["mean_wavelength_nm"] * u.nm,
        r["sensor_um"] * u.um,
        r["airy_arcsec"] * u.arcsec,
        r["halo_arcsec"] * u.arcsec,
        r["disc_arcsec"] * u.arcsec,
        waves,
        air,
        missing,
        spread is not None,
    )


class MeasuredColors(Protocol):
    """What is needed of a measured color focus, or of its record."""

    @property
    def focal_ratio(self) -> float:
        """Focal length over aperture."""

    @property
    def focal_length(self) -> u.Quantity:
        """NaN = not known."""

    @property
    def obstruction(self) -> float:
        """Ratio of the diameters of obstruction and aperture."""


def draw_curve_colors(
    curve: MeasuredColors, pupil: PupilMap | None = None, stated: str | None = None, **how: Any
) -> StarColors:
    """The same from a measured color focus, which says what its telescope is.

    Parameters
    ----------
    curve : MeasuredColors
        With curve and uncertainties.
    pupil : PupilMap, optional
        A perfect one by default.
    stated : str, optional
        Spectral type of the star as the measurement was told it.
    **how
        As for `draw_star_colors`.
    """
    if pupil is None:
        pupil = PupilMap.from_zernike(
            focal_ratio=curve.focal_ratio, obstruction=curve.obstruction, samples=128
        )
    aperture = how.pop("aperture", curve.focal_length / curve.focal_ratio)
    if isinstance(aperture, u.Quantity) and np.isnan(aperture.value):
        raise InputError(
            "The color focus was measured without a focal length, so the aperture is not known. Give it: aperture.",
            argument="aperture",
        )
    if "star" not in how and stated and spectral_type(stated):
        how["star"] = stated
    return draw_star_colors(pupil, aperture, curve, **how)


def _last(planes: Any) -> np.ndarray:
    """X, Y, Z as the last axis."""
    return np.moveaxis(np.asarray(planes), 0, -1)


def _even(x: float, y: float) -> tuple[float, float]:
    """u', v' from x, y."""
    at = even_chromaticity(np.array([x, y, 1 - x - y]))
    return float(at[0]), float(at[1])


def _percent(row: Any) -> str:
    """Light in percent; its uncertainty where a tenth shows it."""
    value, error = 100 * row["light"], 100 * row["light_uncertainty"]
    return f"{format_measured(value, error) if error > 0.05 else f'{value:.1f}'} %"


def _three(value: float, error: float) -> str:
    """Distance in the u'v' diagram; its uncertainty where a thousandth shows it."""
    return format_measured(value, error) if error > 0.0005 else f"{value:.3f}"


def _color(row: Any) -> str:
    """A part's color beside the perfect telescope's."""
    part, tint = f"The {row['part']}", _three(row["tint"], row["tint_uncertainty"])
    if max(row["light"], row["perfect_light"]) < VISIBLE:
        return f"{part} holds too little light for a color."
    if row["seen"] == "no":
        return f"{part} has no color of its own that an eye tells ({tint} in u'v', told from {TELLABLE})."
    if row["seen"] == "not decided":
        return f"{part} may be tinted {row['hue']}: not decided ({format_measured(row['tint'], row['tint_uncertainty'])} in u'v', told from {TELLABLE})."
    return f"{part} is tinted {row['hue']} (x {row['x']:.3f}, y {row['y']:.3f}; {tint} in u'v' from the perfect one's)."

"""A star as far inside of focus as outside: both patterns, ring by ring, beside the perfect one and what the camera saw."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from .. import _units, style
from .._values import short_repr
from .star_words import StarTestWord, describe, sentences
from .views import PupilMap

if TYPE_CHECKING:
    from astropy.table import QTable

_SIDES = ("inside", "outside", "perfect")
_LOOKS = ((style.BLUE, "-"), (style.ORANGE, "-."), (style.GREY, "--"))
# An eye that looks from one side to the other takes rings that differ by less for equally bright (a judgment, no source).
_ALIKE = 0.1


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class StarTest:
    """Patterns at equal defocus inside and outside of focus, and that of a perfect telescope of the same pupil.

    Lengths are shares of the disc's geometric radius; light 1 is the same light spread evenly over the disc.

    Attributes
    ----------
    inside, outside, perfect : ndarray, shape (n, n)
        Patterns, axes as on the sensor, x right, y up; the perfect one is the same on both sides.
    position : ndarray, shape (n,)
        Coordinate of their samples along either axis.
    profiles : QTable
        radius, inside, outside, perfect: mean over directions.
    rings : QTable
        A row each, from the middle outwards: ring, radius (where the perfect one is brightest), inner and outer (its dark rings), light between the dark rings to either
        side (inside, outside, perfect), contrast (bright - dark) / (bright + dark) of each (inside_contrast, ...).
    defocus : float
        To either side, waves.
    shift : Quantity
        The same as a distance of the screen from focus.
    disc : Quantity
        Geometric radius of the disc, arcsec.
    seeing, wavelength : Quantity
        FWHM of the long exposure, and the one of the light.
    pupil : PupilMap
        The wavefront.
    aperture : Quantity
        Its diameter.
    camera : tuple of (ndarray, float), or None
        What the camera saw inside and outside, in the same light, and half the picture's width in radii of the disc; its own
        distances from focus and its own seeing.
    spread : tuple of (ndarray, ndarray), or None
        Noll numbers and covariance (nm^2) of the fit's coefficients; None: the wavefront counts as known.
    decided : bool
        False where the fit's notes of doubt forbid using it.
    """

    inside: np.ndarray
    outside: np.ndarray
    perfect: np.ndarray
    position: np.ndarray
    profiles: QTable
    rings: QTable
    defocus: float
    shift: u.Quantity
    disc: u.Quantity
    seeing: u.Quantity
    wavelength: u.Quantity
    pupil: PupilMap
    aperture: u.Quantity
    camera: tuple[tuple[np.ndarray, float], tuple[np.ndarray, float]] | None = None
    spread: tuple[np.ndarray, np.ndarray] | None = None
    decided: bool = True

    def __repr__(self) -> str:
        return short_repr(self)

    @property
    def table(self) -> QTable:
        """The rings."""
        return self.rings

    def sentences(self) -> list[str]:
        """How bright each ring is on either side, and how much the rings stand out."""
        air = (
            f"through {self.seeing.value:.2g} arcsec of seeing"
            if self.seeing.value > 0
            else "in still air"
        )
        said = [
            f"{self.defocus:.3g} waves of {self.wavelength.to_value(u.nm):.0f} nm to either side of focus "
            f"({self.shift.to_value(u.mm):.3g} mm), {air}: {len(self.rings)} "
            f"bright ring{'' if len(self.rings) == 1 else 's'} from the middle outwards."
        ]
        for k, row in enumerate(self.rings):
            name = "Outermost ring" if k == len(self.rings) - 1 else f"Ring {row['ring']}"
            ratio = row["inside"] / row["outside"]
            if abs(np.log(ratio)) < np.log(1 + _ALIKE):
                told = "alike on both sides"
            else:
                side = "inside" if ratio > 1 else "outside"
                told = f"{max(ratio, 1 / ratio):.2g} times as bright {side}"
            said.append(
                f"{name}: {told} (inside {row['inside']:.2f}, outside {row['outside']:.2f}, perfect {row['perfect']:.2f}); "
                f"contrast {row['inside_contrast']:.2f}, {row['outside_contrast']:.2f}, {row['perfect_contrast']:.2f}."
            )
        return said

    def words(self) -> list[str]:
        """What an eye sees on both sides, with causes: differences of 2 % or more that stand out from the fit's uncertainty.

        Returns
        -------
        list of str
            What is seen, each group followed by its cause, and what the data leave open.

        Examples
        --------
        >>> from starassay import PupilMap, draw_star_test
        >>> pupil = PupilMap.from_zernike(astigmatism="80 nm")
        >>> draw_star_test(pupil, "100 mm", 2).words()[0].split(":")[0]
        'The rings are oval and turn by 90 degrees through focus'
        """
        return sentences(self)

    def seen(self) -> list[StarTestWord]:
        """The same one by one, with size, standard uncertainty and cause.

        Returns
        -------
        list of StarTestWord
            What is seen beyond doubt; empty where `decided` is false.
        """
        return describe(self)[0] if self.decided else []

    def plot(self) -> Any:
        """Draw both patterns beside the perfect one, what the camera saw, and the light over the radius.

        Returns
        -------
        matplotlib figure
            What was drawn.
        """
        import matplotlib.pyplot as plt

        rows = 2 if self.camera is not None else 1
        # One scale for all pictures: the brightest ring is white. The small spot in the middle would leave the rings dark.
        rings = self.profiles[self.profiles["radius"] > 0.1]
        white = float(max(rings[name].max() for name in _SIDES))
        edge = float(self.position[-1])
        with style.figure_style():
            # Pictures share their axes and stand where they are put: a layout that is sought costs more than the drawing.
            figure = plt.figure(figsize=(10.6, 0.3 + 2.62 * rows))
            low, high = 0.5 / (0.3 + 2.62 * rows), 1 - 0.3 / (0.3 + 2.62 * rows)
            grid = figure.add_gridspec(
                rows, 3, left=0.045, right=0.735, bottom=low, top=high, wspace=0.06, hspace=0.14
            )
            axes = [[figure.add_subplot(grid[j, k]) for k in range(3 - j)] for j in range(rows)]
            for ax, name in zip(axes[0], _SIDES):
                _show(ax, getattr(self, name), edge, edge, white)
                title = "perfect, both sides" if name == "perfect" else f"{name} focus"
                style.entitle(ax, title, fontsize=10)
            if self.camera is not None:
                for ax, (image, half), name in zip(axes[1], self.camera, _SIDES):
                    _show(ax, image, half, edge, white)
                    style.entitle(ax, f"the camera, {name} focus", fontsize=10)
            for row in axes:
                row[0].set(ylabel="y (disc = 1)")
                for ax in row[1:]:
                    ax.tick_params(labelleft=False)
            for k in range(3):
                lowest = [row[k] for row in axes if len(row) > k]
                lowest[-1].set(xlabel="x (disc = 1)")
                for ax in lowest[:-1]:
                    ax.tick_params(labelbottom=False)
            last = figure.add_subplot(
                figure.add_gridspec(
                    rows, 1, left=0.79, right=0.99, bottom=low, top=high, hspace=0.14
                )[0]
            )
            for name, (color, stroke) in zip(_SIDES, _LOOKS):
                last.plot(
                    self.profiles["radius"],
                    self.profiles[name],
                    color=color,
                    ls=stroke,
                    label=name,
                )
            last.set(
                xlabel="radius (disc = 1)",
                ylabel="light (even disc = 1)",
                xlim=(0, edge),
                ylim=(0, None),
            )
            last.grid(True)
            last.legend(fontsize=7)
            style.entitle(last, "Mean over directions", fontsize=10)
        return figure


def _show(ax: Any, image: np.ndarray, half: float, edge: float, white: float) -> None:
    ax.imshow(
        style.as_screen_light(image / white),
        extent=(-half, half, -half, half),
        cmap=style.IMAGE,
        vmin=0,
        vmax=1,
        interpolation="bilinear",
    )
    ax.set_facecolor("black")
    ticks = (-1, 0, 1)
    ax.set(xlim=(-edge, edge), ylim=(-edge, edge), xticks=ticks, yticks=ticks)


def draw_star_test(
    pupil: PupilMap,
    aperture: u.Quantity | str,
    defocus: float = 5.0,
    *,
    seeing: u.Quantity | str = 0 * u.arcsec,
) -> StarTest:
    """Draw a star as far inside of focus as outside, with the light and contrast of each ring.

    Parameters
    ----------
    pupil : PupilMap
        The wavefront with its obstruction, for example ``fit.pupil``.
    aperture : Quantity or str
        Diameter of the aperture.
    defocus : float
        To either side, in waves (1 to 16).
    seeing : Quantity or str
        FWHM of a long exposure at the pupil's wavelength; 0 = still air.

    Returns
    -------
    StarTest
        Both patterns, the perfect one, and the rings.

    Examples
    --------
    >>> from starassay import PupilMap, draw_star_test
    >>> test = draw_star_test(PupilMap.from_zernike(spherical="40 nm", wavelength="550 nm"), "100 mm")
    >>> outermost = test.rings[-1]
    >>> bool(outermost["inside"] > outermost["outside"])  # undercorrected: the rim is bright inside of focus
    True
    """
    from astropy.table import QTable

    pupil = _units.instance(pupil, PupilMap, "pupil", "the pupil of a fit")
    waves = _units.number(defocus, "", "defocus")
    air = _units.quantity(seeing, u.arcsec, "seeing")
    r = pupil._call(
        "views.star-test",
        aperture_mm=_units.number(aperture, u.mm, "aperture"),
        defocus_waves=waves,
        seeing_arcsec=_units.number(air, u.arcsec, "seeing"),
    )
    light, contrast = np.asarray(r["ring_light"]), np.asarray(r["ring_contrast"])
    rings = QTable(
        {
            "ring": np.arange(1, light.shape[1] + 1),
            "radius": np.asarray(r["ring_radius"]),
            "inner": np.asarray(r["ring_inner"]),
            "outer": np.asarray(r["ring_outer"]),
            **{name: light[k] for k, name in enumerate(_SIDES)},
            **{f"{name}_contrast": contrast[k] for k, name in enumerate(_SIDES)},
        }
    )
    profiles = QTable(
        {
            "radius": np.asarray(r["radius"]),
            **dict(zip(_SIDES, np.asarray(r["profiles"]))),
        }
    )
    return StarTest(
        r["inside"],
        r["outside"],
        r["perfect"],
        r["position"],
        profiles,
        rings,
        waves,
        r["shift_um"] * u.um,
        r["disc_arcsec"] * u.arcsec,
        air,
        pupil.wavelength,
        pupil,
        _units.quantity(aperture, u.mm, "aperture"),
    )

"""What a telescope shows: contrast against a perfect aperture of the same and of a smaller diameter, and two stars told apart."""

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

# Detail of the table where none is asked for, as multiples of Rayleigh's separation.
_DETAILS = (1.0, 1.5, 2.0, 3.0, 5.0, 8.0)


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class Contrast:
    """Contrast at each detail beside that of perfect apertures, and the separations of two equal stars.

    Attributes
    ----------
    table : QTable
        detail (arcsec from one bright line to the next), contrast, worst (direction), perfect (clear, same diameter),
        perfect_obstructed, equivalent (diameter of the perfect clear aperture with this contrast; NaN where there is none).
    curve : QTable
        The same at 60 details, for drawing.
    aperture : Quantity
        Diameter of the telescope.
    wavelength : Quantity
        Mean of the light.
    center_ratio : float
        Light in the middle of a star's image over that of the perfect aperture with the same obstruction: the Strehl ratio of
        this light.
    sensor : Quantity
        Where the image was taken, on the scale of the color focus: where a star's middle is brightest.
    rayleigh, sparrow, dawes : Quantity
        Separations of a perfect clear aperture of this diameter: to the first dark ring; where the saddle between two equal
        stars vanishes; Dawes' rule of 116 mm arcsec.
    own_rayleigh, own_sparrow : Quantity
        Where this telescope shows two equal stars with the saddle that Rayleigh's criterion gives a perfect one, and where the
        saddle vanishes; averaged over directions, NaN where its image shows none.
    """

    table: QTable
    curve: QTable
    aperture: u.Quantity
    wavelength: u.Quantity
    center_ratio: float
    sensor: u.Quantity
    rayleigh: u.Quantity
    sparrow: u.Quantity
    dawes: u.Quantity
    own_rayleigh: u.Quantity
    own_sparrow: u.Quantity

    def __repr__(self) -> str:
        return short_repr(self)

    def sentences(self) -> list[str]:
        """Contrast and equivalent aperture at each detail, and two stars."""
        said = [
            f"Detail of {row['detail'].value:.2g} arcsec: contrast {row['contrast']:.3f}, a perfect clear aperture of "
            f"{self.aperture.value:.0f} mm gives {row['perfect']:.3f}; {self._like(row['equivalent'])}."
            for row in self.table
        ]
        own = [
            "not at any separation" if np.isnan(q.value) else f"at {q.value:.2f} arcsec"
            for q in (self.own_rayleigh, self.own_sparrow)
        ]
        return [
            *said,
            f"Two equal stars at {self.wavelength.value:.0f} nm: with the saddle of Rayleigh's criterion {own[0]} (a perfect aperture "
            f"{self.rayleigh.value:.2f}), with no saddle any more {own[1]} (perfect {self.sparrow.value:.2f}, Sparrow); Dawes' rule says "
            f"{self.dawes.value:.2f}. Before seeing.",
        ]

    def _like(self, equivalent: u.Quantity) -> str:
        if np.isnan(equivalent.value):
            return "nothing of it is left"
        return f"images like a perfect aperture of {equivalent.value:.0f} mm at this detail"

    def plot(self, axes: Any = None) -> Any:
        """Draw contrast and equivalent aperture against the size of detail.

        Parameters
        ----------
        axes : pair of matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib figure
            What was drawn.
        """
        import matplotlib.pyplot as plt

        with style.figure_style():
            if axes is None:
                _, axes = plt.subplots(1, 2, figsize=(9.6, 4.0), layout="constrained")
            left, right = axes
            detail = self.curve["detail"].value
            looks = (
                ("perfect", style.GREY, "--", "perfect, clear"),
                ("perfect_obstructed", style.SKY, ":", "perfect, same obstruction"),
                ("contrast", style.BLUE, "-", "this telescope"),
                ("worst", style.ORANGE, "-.", "its worst direction"),
            )
            for name, color, stroke, label in looks:
                left.plot(detail, self.curve[name], color=color, ls=stroke, label=label)
            left.set(ylabel="contrast transfer", ylim=(0, 1.02))
            left.legend(loc="lower right", fontsize=8)
            style.entitle(left, f"Contrast at {self.wavelength.value:.0f} nm, before seeing")
            right.plot(
                detail, self.curve["equivalent"].value, color=style.BLUE, label="this telescope"
            )
            right.axhline(self.aperture.value, color=style.GREY, ls="--", label="its aperture")
            right.set(ylabel="diameter (mm)", ylim=(0, None))
            right.legend(loc="lower right", fontsize=8)
            style.entitle(right, "Perfect clear aperture with the same contrast")
            for ax in axes:
                ax.set_xscale("log")
                ax.set(
                    xlim=(detail.min(), detail.max()), xlabel="detail (arcsec from line to line)"
                )
                ax.xaxis.set_major_formatter(lambda v, _: f"{v:g}")
                ax.xaxis.set_minor_formatter(
                    lambda v, _: f"{v:g}" if f"{v:g}".strip("0.")[0] in "25" else ""
                )
                ax.grid(True)
        return left.figure


def compute_contrast(
    pupil: PupilMap,
    aperture: u.Quantity | str,
    *,
    details: u.Quantity | Sequence[str] | str | None = None,
    colors: Any = None,
    passband: str = "V(lambda)",
) -> Contrast:
    """Compute what a telescope shows of fine detail, beside perfect apertures.

    Parameters
    ----------
    pupil : PupilMap
        The wavefront with its obstruction, for example ``fit.pupil``.
    aperture : Quantity or str
        Diameter of the aperture.
    details : Quantity or sequence of str, optional
        Sizes of detail, from one bright line to the next; by default 1 to 8 times Rayleigh's separation.
    colors : measured curve or mapping of float to Quantity, optional
        Best focus against wavelength (nm): the contrast is then that of all colors of the passband together, each at its own
        defocus, with the optical path of the pupil the same in all of them.
    passband : str
        With `colors`: "V(lambda)" (the eye by day), "B", "V" or "R", of light that is equally strong at all wavelengths.

    Returns
    -------
    Contrast
        Contrast, perfect apertures with the same contrast, separations of two stars.

    Raises
    ------
    InputError
        When the color focus has fewer than two wavelengths, or the passband is not known.

    Notes
    -----
    The transfer functions of the colors are added at the same frequency on the sky. The sensor, or the eye, stands where a star's
    middle is brightest. Seeing is not in it.

    Examples
    --------
    >>> from starassay import PupilMap, compute_contrast
    >>> pupil = PupilMap.from_zernike(spherical="40 nm", wavelength="550 nm", obstruction=0.3)
    >>> shown = compute_contrast(pupil, "150 mm", details="2 arcsec")
    >>> print(shown.sentences()[0])
    Detail of 2 arcsec: contrast 0.340, a perfect clear aperture of 150 mm gives 0.530; images like a perfect aperture of 104 mm at this detail.
    """
    from astropy.table import QTable

    pupil = _units.instance(pupil, PupilMap, "pupil", "the pupil of a fit")
    diameter = _units.quantity(aperture, u.mm, "aperture")
    if not (diameter.isscalar and diameter.value > 0):
        raise InputError(f"aperture is {diameter}; give a length above zero.", argument="aperture")
    unit = (1.219670 * pupil.wavelength / diameter).to_value(u.one) * u.rad
    wanted = (
        np.multiply(_DETAILS, unit.to_value(u.arcsec))
        if details is None
        else np.atleast_1d(_units.numbers(details, u.arcsec, "details"))
    )
    fine = np.geomspace(0.8, 20, 60) * unit.to_value(u.arcsec)
    light = light_request(colors, passband)
    r = pupil._call(
        "views.contrast",
        aperture_mm=float(diameter.value),
        detail_arcsec=[float(d) for d in (*wanted, *fine)],
        **light,
    )
    columns = {
        "detail": r["detail_arcsec"] * u.arcsec,
        "contrast": r["contrast"],
        "worst": r["least_contrast"],
        "perfect": r["clear_contrast"],
        "perfect_obstructed": r["obstructed_contrast"],
        "equivalent": r["equivalent_aperture_mm"] * u.mm,
    }
    whole = QTable(columns)
    return Contrast(
        whole[: len(wanted)],
        whole[len(wanted) :],
        diameter,
        r["mean_wavelength_nm"] * u.nm,
        r["center_ratio"],
        r["sensor_um"] * u.um,
        *(
            r[f"{name}_arcsec"] * u.arcsec
            for name in "rayleigh sparrow dawes own_rayleigh own_sparrow".split()
        ),
    )

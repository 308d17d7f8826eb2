"""Color focus of thin lenses of published glass."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
from astropy import units as u
from astropy.table import QTable

from ... import style
from ..._gateway import call
from ...results import Result
from .merit import ColorMerit, evaluate, light_of
from .units import NM, number, numbers


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class LensTheory(Result):
    """Color focus curve of a thin lens from glass data.

    Attributes
    ----------
    wavelength, shift : Quantity
        nm in air; um, zero at the reference wavelength.
    glasses : tuple of str
        Glass of each element.
    powers : ndarray
        Of each element over that of the lens.
    index_d, abbe_number : ndarray
        Of each glass.
    """

    wavelength: u.Quantity
    shift: u.Quantity
    glasses: tuple[str, ...]
    powers: np.ndarray
    index_d: np.ndarray
    abbe_number: np.ndarray

    @property
    def label(self) -> str:
        """For legends."""
        return f"thin lens of {' + '.join(self.glasses)}"

    @property
    def table(self) -> QTable:
        """The curve."""
        return QTable({"wavelength": self.wavelength, "shift": self.shift})

    def merit(
        self,
        focal_ratio: float,
        band: Any = (400, 700),
        *,
        star: Any = 9600 * u.K,
        focus: str = "best-strehl",
        halo_radius: Any = None,
        wanted_strehl: float = 0.8,
    ) -> ColorMerit:
        """Figures of merit of the theory curve; options as in `ColorFocusCurve.merit`.

        Parameters
        ----------
        focal_ratio : float
            Focal length over aperture.
        band, star, focus, halo_radius, wanted_strehl
            See `ColorFocusCurve.merit`; "as-detected" light does not exist here.

        Returns
        -------
        ColorMerit
            Without uncertainties.
        """
        w = self.wavelength.to_value(NM)
        weight, light = light_of(star, w, None)
        conditions = {**self.conditions, "focal_ratio": focal_ratio, "obstruction": 0.0}
        return evaluate(
            w,
            self.shift.to_value(u.um),
            None,
            weight,
            light,
            conditions,
            band,
            focus,
            halo_radius,
            wanted_strehl,
        )

    def sentences(self) -> list[str]:
        """What was found."""
        parts = ", ".join(
            f"{g} (Vd {v:.1f}, power {p:+.2f})"
            for g, v, p in zip(self.glasses, self.abbe_number, self.powers)
        )
        return [f"thin lens of {parts}"]

    @style.figure_style()
    def plot(self, ax: Any = None) -> Any:
        """The curve; returns the matplotlib axes."""
        ax = style.new_axes(ax, figsize=(7, 4))
        ax.plot(self.wavelength.to_value(NM), self.shift.to_value(u.um), label=self.label)
        ax.axhline(0, color=style.GREY, lw=0.6)
        ax.set_xlabel("wavelength in air (nm)")
        ax.set_ylabel("focus shift (µm), + = longer")
        ax.set_title("Color focus of a thin lens")
        ax.legend()
        return ax


def lens_color_focus(
    glasses: Sequence[str],
    focal_length: Any,
    *,
    wavelengths: Any = None,
    powers: Sequence[float] = (),
    reference: Any = 550,
) -> LensTheory:
    """Compute the color focus curve of a thin lens of given glasses.

    Parameters
    ----------
    glasses : sequence of str
        One, two or three names from the catalog, front to back, for example ("N-BK7", "F2").
    focal_length : Quantity or number in mm
        Of the lens.
    wavelengths : Quantity or numbers in nm, optional
        380 to 900 nm by default.
    powers : sequence of float
        Power of each element; by default two glasses unite F and C, three F, C and g.
    reference : Quantity or number in nm
        Zero of the curve.

    Returns
    -------
    LensTheory
        Thickness, gaps and spherochromatism are left out; a real lens differs by some ten percent.
    """
    if wavelengths is None:
        wavelengths = np.arange(380.0, 901.0, 2.0)
    request = {
        "glasses": [str(g) for g in glasses],
        "powers": [float(p) for p in powers],
        "focal_length_mm": number(focal_length, u.mm, "focal_length"),
        "wavelength_nm": numbers(wavelengths, NM, "wavelengths"),
        "reference_nm": number(reference, NM, "reference"),
    }
    r = call("color_focus.lens", request)
    return LensTheory(
        notes=(),
        conditions={k: v for k, v in request.items() if k != "wavelength_nm"},
        wavelength=r["wavelength_nm"] * NM,
        shift=r["shift_um"] * u.um,
        glasses=tuple(glasses),
        powers=r["powers"],
        index_d=r["index_d"],
        abbe_number=r["abbe_number"],
    )

"""Color focus of thin lenses of published glass."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from astropy import units as u

from ... import _records, style
from ..._gateway import call
from ...results import Result
from .merit import ColorMerit, weigh

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class LensTheory(Result, _records.LensColorResult):
    """Color focus curve of a thin lens from glass data.

    Its attributes are those of the engine's record: `wavelength` in air, `shift` zero at the
    reference wavelength, power, index and Abbe number of each glass.
    """

    @property
    def label(self) -> str:
        """For legends."""
        return f"thin lens of {' + '.join(self.glasses)}"

    @property
    def lens(self) -> dict[float, u.Quantity]:
        """Focus by wavelength in nm, as simulators take a lens."""
        return dict(zip(self.wavelength.value.tolist(), self.shift))

    @property
    def table(self) -> QTable:
        """The curve."""
        from astropy.table import QTable

        return QTable({"wavelength": self.wavelength, "shift": self.shift})

    def merit(
        self,
        focal_ratio: float,
        band: Any = None,
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
        return weigh(
            self.wavelength,
            self.shift,
            star,
            band=band,
            focus=focus,
            halo_radius=halo_radius,
            wanted_strehl=wanted_strehl,
            focal_ratio=focal_ratio,
            focal_length=self.focal_length,
            reference=self.reference,
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
        ax.plot(self.wavelength.value, self.shift.value, label=self.label)
        ax.axhline(0, color=style.GREY, lw=0.6)
        ax.set_xlabel("wavelength in air (nm)")
        ax.set_ylabel("focus shift (µm), + = longer")
        style.entitle(ax, "Color focus of a thin lens")
        ax.legend()
        return ax


def lens_color_focus(
    glasses: Sequence[str],
    focal_length: Any,
    *,
    wavelengths: Any = None,
    powers: Sequence[float] = (),
    reference: Any = None,
) -> LensTheory:
    """Compute the color focus curve of a thin lens of given glasses.

    Parameters
    ----------
    glasses : sequence of str
        One, two or three names from the catalog, front to back, for example ("N-BK7", "F2").
    focal_length : Quantity or str
        Of the lens.
    wavelengths : Quantity, optional
        380 to 900 nm by default.
    powers : sequence of float
        Power of each element; by default two glasses unite F and C, three F, C and g.
    reference : Quantity, optional
        Zero of the curve; 550 nm by default.

    Returns
    -------
    LensTheory
        Thickness, gaps and spherochromatism are left out; a real lens differs by some ten percent.
    """
    request = _records.LENS_COLOR_REQUEST.fill(
        glasses=glasses,
        powers=powers,
        focal_length=focal_length,
        wavelengths=wavelengths,
        reference=reference,
    )
    return LensTheory.from_engine(
        call("color_focus.lens", request), notes=(), conditions={"request": request}
    )

"""One sheet of a lens of chosen glasses: where each color comes to focus, and what that does to a star."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np
from astropy import units as u

from .. import _units, style
from ..measurements.color_focus import LensTheory, lens_color_focus
from . import _pictures

#: Air wavelengths of Fraunhofer's lines, nm (as catalogs of glass name them).
LINES = {"g": 435.834, "F": 486.133, "e": 546.074, "d": 587.562, "C": 656.273}

WAVELENGTHS = np.unique(np.concatenate([np.arange(420, 701, 4.0), list(LINES.values())]))


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class ColorSheet:
    """A lens and its color focus curve.

    Attributes
    ----------
    lens : LensTheory
        The curve of the thin lens; zero at d.
    focal_ratio : float
        Focal length over aperture.
    """

    lens: LensTheory
    focal_ratio: float

    def __repr__(self) -> str:
        return f"<ColorSheet: {', '.join(f'{n} {v}' for n, v in self.numbers)}>"

    def shift_at(self, line: str) -> u.Quantity:
        """Focus of a Fraunhofer line against that of d; positive = longer."""
        return (
            float(np.interp(LINES[line], self.lens.wavelength.value, self.lens.shift.value)) * u.um
        )

    @property
    def secondary_spectrum(self) -> u.Quantity:
        """Focus of F against that of d: for an achromat, which unites F and C, its secondary spectrum."""
        return self.shift_at("F")

    @property
    def depth(self) -> u.Quantity:
        """Half the depth of focus at d, 2 wavelength N^2: a quarter wave at the rim."""
        return 2 * LINES["d"] * 1e-3 * self.focal_ratio**2 * u.um

    @property
    def numbers(self) -> list[tuple[str, str]]:
        """What stands above the curve."""
        focal = self.lens.focal_length.to_value(u.um)
        spread = self.secondary_spectrum.value
        share = f"1/{focal / abs(spread):.0f} of the focal length" if spread else "nothing"
        blue = self.shift_at("g").value
        return [
            ("F and C from d:", f"{spread:+.0f} and {self.shift_at('C').value:+.0f} µm"),
            ("that is", share),
            ("g (violet):", f"{blue:+.0f} µm, a disc of {abs(blue) / self.focal_ratio:.0f} µm"),
        ]

    def html(self) -> str:
        """The sheet as a piece of HTML."""
        wave, shift = self.lens.wavelength.value, self.lens.shift.value
        depth = self.depth.value
        low, high = min(float(shift.min()), -2 * depth), max(float(shift.max()), 2 * depth)
        room = 0.06 * (high - low)
        blur = np.abs(shift) / self.focal_ratio
        airy = 2.44 * wave / 1000 * self.focal_ratio
        told = (
            f"Focus against wavelength: F {self.shift_at('F').value:+.0f}, e {self.shift_at('e').value:+.0f}, "
            f"g {self.shift_at('g').value:+.0f} micrometers from d"
        )
        cards = [
            _pictures.curves(
                "Color focus",
                told,
                [("focus", wave, shift, style.BLUE, "")],
                "wavelength in air (nm)",
                "longer focus (µm)",
                x_range=(420, 700),
                y_range=(low - room, high + room),
                band=(-depth, depth),
                size=(420, 260),
                caption="shaded: a quarter wave of defocus at the rim; zero at d, 588 nm",
            ),
            _pictures.curves(
                "Disc of each color when d is in focus",
                f"Diameter of the disc: {np.interp(LINES['g'], wave, blur):.0f} micrometers at 436 nanometers; "
                f"Airy disc there {np.interp(LINES['g'], wave, airy):.0f}",
                [
                    ("defocus alone", wave, blur, style.ORANGE, ""),
                    ("Airy disc", wave, airy, style.GREY, "5 3"),
                ],
                "wavelength in air (nm)",
                "diameter (µm)",
                x_range=(420, 700),
                # Room for the names.
                y_range=(0, 1.3 * float(max(blur.max(), airy.max()))),
                size=(420, 260),
                caption="a blue star bloats where the disc is larger than Airy's",
            ),
        ]
        told_lens = (
            f"Thin lenses in contact of {' and '.join(self.lens.glasses)}, powers "
            f"{' and '.join(f'{p:+.2f}' for p in self.lens.powers)}. Thickness, gaps and spherical aberration of each "
            "color are left out."
        )
        return _pictures.sheet(self.numbers, cards, told_lens)

    def _repr_html_(self) -> str:
        return _pictures.STYLE + self.html()


def draw_color(
    glasses: Sequence[str] = ("N-BK7", "F2"),
    focal_length: u.Quantity | str = 1000 * u.mm,
    focal_ratio: float = 10.0,
) -> ColorSheet:
    """Draw where the colors of a lens come to focus.

    Parameters
    ----------
    glasses : sequence of str
        One, two or three names from the catalog; two unite F and C, three F, C and g.
    focal_length : Quantity or str
        Of the lens.
    focal_ratio : float
        Focal length over aperture.

    Returns
    -------
    ColorSheet
        Curve, discs and numbers.
    """
    lens = lens_color_focus(
        glasses, focal_length, wavelengths=WAVELENGTHS * u.nm, reference=LINES["d"] * u.nm
    )
    return ColorSheet(lens, _units.number(focal_ratio, "", "focal_ratio"))

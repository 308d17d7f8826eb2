"""One sheet of a star through the air: what the seeing leaves of a telescope's quality."""

from __future__ import annotations

import dataclasses

import numpy as np
from astropy import units as u

from .. import _units
from ..optics.views import PupilMap
from . import _pictures
from .aberration_sheet import SAMPLES, noll_terms

#: Width of a picture on the sky, and its pixels along a side.
FIELD_ARCSEC = 10.0
PIXELS = 128


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class SeeingSheet:
    """A long exposure of a star, beside that of a perfect telescope through the same air.

    Attributes
    ----------
    pupil : PupilMap
        The wavefront.
    aperture, seeing : Quantity
        Diameter; full width at half maximum of a large telescope's long exposure.
    fwhm, perfect_fwhm : Quantity
        Of this image, and of the perfect telescope's.
    aperture_over_r0 : float
        Aperture over Fried's length.
    image, perfect_image : ndarray, shape (m, m)
        1 = center of the perfect image without seeing.
    half_width : Quantity
        Half the width of a picture.
    """

    pupil: PupilMap
    aperture: u.Quantity
    seeing: u.Quantity
    fwhm: u.Quantity
    perfect_fwhm: u.Quantity
    aperture_over_r0: float
    image: np.ndarray
    perfect_image: np.ndarray
    half_width: u.Quantity

    def __repr__(self) -> str:
        return f"<SeeingSheet: {', '.join(f'{n} {v}' for n, v in self.numbers)}>"

    @property
    def center_share(self) -> float:
        """Brightest point over that of the perfect telescope through the same air."""
        return float(self.image.max() / self.perfect_image.max())

    @property
    def numbers(self) -> list[tuple[str, str]]:
        """What stands above the pictures."""
        wider = 100 * (self.fwhm / self.perfect_fwhm - 1).to_value("")
        return [
            ("FWHM", f"{self.fwhm.to_value(u.arcsec):.2f}″"),
            ("perfect telescope", f"{self.perfect_fwhm.to_value(u.arcsec):.2f}″"),
            ("wider by", f"{max(0.0, wider):.0f} %"),
            ("center, share of a perfect one's brightness", f"{100 * self.center_share:.0f} %"),
            ("aperture over r0", f"{self.aperture_over_r0:.1f}"),
        ]

    def html(self) -> str:
        """The sheet as a piece of HTML."""
        # The same field for any seeing, so that a star is seen to grow.
        seen = min(FIELD_ARCSEC / 2, self.half_width.to_value(u.arcsec))
        cards = [
            self._picture("This telescope", self.image, self.fwhm, seen),
            self._picture("A perfect one", self.perfect_image, self.perfect_fwhm, seen),
        ]
        told = (
            f"{self.aperture.to_value(u.mm):.0f} mm through seeing of {self.seeing.to_value(u.arcsec):.1f}″ at "
            f"{self.pupil.wavelength.to_value(u.nm):.0f} nm, a long exposure. Both pictures have "
            "their own white; shades are the square root of brightness."
        )
        return _pictures.sheet(self.numbers, cards, told)

    def _repr_html_(self) -> str:
        return _pictures.STYLE + self.html()

    def _picture(self, title: str, image: np.ndarray, fwhm: u.Quantity, seen: float) -> str:
        from PIL import Image

        half, m = self.half_width.to_value(u.arcsec), image.shape[0]
        # Four samples of a wavelength over the aperture: between them a cubic is good to a shade of color.
        keep = m / 2 * seen / half
        part = Image.fromarray(image.astype(np.float32)).resize(
            (PIXELS, PIXELS),
            Image.BICUBIC,
            box=(m / 2 - keep, m / 2 - keep, m / 2 + keep, m / 2 + keep),
        )
        shades = np.maximum(np.asarray(part), 0)
        width = fwhm.to_value(u.arcsec)
        bar = float(_pictures._nice(4 * 0.6 * seen))
        return _pictures.picture(
            title,
            f"{title}: star {width:.2f} arcseconds wide at half of its height",
            _pictures.png(np.sqrt(shades / shades.max()), 0, 1, "magma"),
            _pictures.ring(width / 2 / seen * _pictures.SIDE / 2)
            + _pictures.scale_bar(bar / seen * _pictures.SIDE / 2, f"{bar:.3g}″"),
            f"ring: width at half height, {width:.2f}″",
        )


def draw_seeing(
    *,
    aperture: u.Quantity | str = 115 * u.mm,
    seeing: u.Quantity | str = 2 * u.arcsec,
    wavelength: u.Quantity | str = 550 * u.nm,
    obstruction: float = 0.0,
    **waves: float,
) -> SeeingSheet:
    """Draw a star through the air.

    Parameters
    ----------
    aperture : Quantity or str
        Diameter of the telescope.
    seeing : Quantity or str
        Full width at half maximum of a large telescope's long exposure, at this wavelength.
    wavelength : Quantity or str
        Of the light.
    obstruction : float
        Diameter of the central obstruction over the aperture.
    **waves : float
        Amounts of aberrations in waves RMS, as for `draw_aberrations`.

    Returns
    -------
    SeeingSheet
        Pictures and numbers.
    """
    nm = _units.number(wavelength, u.nm, "wavelength")
    terms = noll_terms({k: _units.number(v, "", k) for k, v in waves.items()}, 0.0, nm)
    wide = _units.quantity(aperture, u.mm, "aperture")
    air = _units.quantity(seeing, u.arcsec, "seeing")
    pupil = PupilMap.from_zernike(
        {n: c * u.nm for n, c in terms.items()},
        wavelength=nm * u.nm,
        obstruction=obstruction,
        samples=SAMPLES,
    )
    drawn = pupil._call(
        "views.seeing",
        aperture_mm=wide.to_value(u.mm),
        seeing_fwhm_arcsec=air.to_value(u.arcsec),
    )
    side = drawn["points"]
    return SeeingSheet(
        pupil,
        wide,
        air,
        drawn["fwhm_arcsec"] * u.arcsec,
        drawn["perfect_fwhm_arcsec"] * u.arcsec,
        drawn["aperture_over_r0"],
        drawn["image"].reshape(side, side),
        drawn["perfect_image"].reshape(side, side),
        drawn["half_width_arcsec"] * u.arcsec,
    )

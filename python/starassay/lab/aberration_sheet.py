"""One sheet of a wavefront: what it is, and what it does to a star, a ruling, a knife edge, fringes and contrast."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

import numpy as np
from astropy import units as u

from .. import _units, style
from ..errors import InputError
from ..optics.views import PupilMap
from . import _pictures

#: Samples across the pupil, and along each side of a star's picture.
SAMPLES = 96
POINTS = 128

#: By name of a slider: frequency of its direction, and the Noll numbers of its parts along and across it.
MODES: dict[str, tuple[int, int, int]] = {
    "defocus": (0, 4, 0),
    "astigmatism": (2, 6, 5),
    "coma": (1, 8, 7),
    "trefoil": (3, 10, 9),
    "spherical": (0, 11, 0),
    "secondary_spherical": (0, 22, 0),
}

#: Pictures by name; an exercise shows some of them.
PICTURES = (
    "map",
    "focused",
    "inside",
    "outside",
    "ronchigram",
    "knife_edge",
    "interferogram",
    "mtf",
    "encircled_energy",
)


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class AberrationSheet:
    """All pictures of one wavefront.

    Attributes
    ----------
    pupil : PupilMap
        The wavefront.
    defocus_waves : float
        Defocus of the two stars out of focus, waves at the rim.
    views : dict
        What the engine drew: arrays and numbers by name.
    """

    pupil: PupilMap
    defocus_waves: float
    views: dict[str, Any]

    def __repr__(self) -> str:
        return f"<AberrationSheet: {', '.join(f'{n} {v}' for n, v in self.numbers)}>"

    @property
    def strehl_ratio(self) -> float:
        """Center of the best image over that of a perfect telescope."""
        return float(self.views["strehl_ratio"])

    @property
    def rms(self) -> u.Quantity:
        """Root mean square of the wavefront error."""
        return self.views["rms_nm"] * u.nm

    @property
    def peak_to_valley(self) -> u.Quantity:
        """Largest less smallest wavefront error."""
        return self.views["peak_to_valley_nm"] * u.nm

    @property
    def numbers(self) -> list[tuple[str, str]]:
        """What stands above the pictures."""
        nm = self.pupil.wavelength.to_value(u.nm)
        waves = self.views["rms_nm"] / nm, self.views["peak_to_valley_nm"] / nm
        return [
            ("RMS", f"{waves[0]:.3f} waves"),
            ("peak to valley", f"{waves[1]:.2f} waves"),
            ("Strehl ratio", f"{self.strehl_ratio:.3f}"),
            ("at", f"{nm:.0f} nm, f/{self.pupil.focal_ratio:g}"),
        ]

    def html(self, pictures: tuple[str, ...] = PICTURES, *, telling: bool = True) -> str:
        """The sheet as a piece of HTML.

        Parameters
        ----------
        pictures : tuple of str
            Which, by name; all by default.
        telling : bool
            Whether the numbers stand above; an exercise keeps them back.
        """
        for name in pictures:
            if name not in PICTURES:
                raise InputError(
                    f"There is no picture '{name}'. Choose of {', '.join(PICTURES)}.",
                    code="lab.picture",
                    argument="pictures",
                )
        cards = [getattr(self, f"_{name}")() for name in pictures]
        return _pictures.sheet(self.numbers if telling else [], cards)

    def _repr_html_(self) -> str:
        return _pictures.STYLE + self.html()

    def _square(self, name: str) -> np.ndarray:
        side = self.views["samples" if name in ON_PUPIL else "points"]
        return self.views[name].reshape(side, side)

    @property
    def _unit_um(self) -> float:
        """Wavelength x focal ratio."""
        return float(self.pupil.wavelength.to_value(u.um) * self.pupil.focal_ratio)

    def _map(self) -> str:
        values = self._square("wavefront_nm") / self.pupil.wavelength.to_value(u.nm)
        top = max(0.05, float(np.nanmax(np.abs(values))))
        return _pictures.picture(
            "Wavefront",
            f"Map of the wavefront error over the pupil, from {np.nanmin(values):.2f} to {np.nanmax(values):.2f} waves",
            _pictures.png(values, -top, top, style.DIVERGING),
            _pictures.color_bar(style.DIVERGING, f"−{top:.2f}", f"+{top:.2f}"),
            "waves; + = the wave is ahead",
            foot=20,
        )

    def _focused(self) -> str:
        half = 5.0
        shown = np.log10(np.maximum(self._square("focused"), 1e-4))
        bar = _round_length(half * self._unit_um)
        return _pictures.picture(
            "Star in focus",
            f"Image of a star in focus; its center has {self.strehl_ratio:.2f} of a perfect one's brightness. "
            f"The Airy disc's radius is {1.22 * self._unit_um:.2f} micrometers",
            _pictures.png(shown, -4, 0, "magma"),
            _pictures.ring(1.2197 / half * _pictures.SIDE / 2)
            + _pictures.scale_bar(
                bar / self._unit_um / half * _pictures.SIDE / 2, _pictures.length_text(bar)
            ),
            "brightness to 1/10 000; ring: the Airy disc",
        )

    def _inside(self) -> str:
        return self._out_of_focus("inside", "Star inside focus", "nearer to the objective")

    def _outside(self) -> str:
        return self._out_of_focus("outside", "Star outside focus", "farther from the objective")

    def _out_of_focus(self, name: str, title: str, where: str) -> str:
        half = float(self.views["pair_half_width_lambda_n"])
        values = np.sqrt(self._square(name))
        # Both share a scale, so that light that changes sides is seen to.
        top = float(np.sqrt(max(self.views["inside"].max(), self.views["outside"].max())))
        away = 8 * self.pupil.focal_ratio**2 * self.defocus_waves
        away_um = away * self.pupil.wavelength.to_value(u.um)
        bar = _round_length(half * self._unit_um)
        return _pictures.picture(
            title,
            f"Image of a star {away_um / 1000:.2f} millimeters {where}",
            _pictures.png(values, 0, top, style.IMAGE),
            _pictures.scale_bar(
                bar / self._unit_um / half * _pictures.SIDE / 2, _pictures.length_text(bar)
            ),
            f"{_pictures.length_text(away_um)} {where}",
        )

    def _ronchigram(self) -> str:
        return _pictures.picture(
            "Ronchi test",
            "Ronchi test: the pupil seen behind a ruling beyond the focus",
            _pictures.png(self._square("ronchigram"), 0, 1.2, style.IMAGE),
            caption="ruling of 4 line pairs, 2 waves outside focus",
        )

    def _knife_edge(self) -> str:
        return _pictures.picture(
            "Knife edge",
            "Knife-edge test: the pupil with a knife in the focus, coming from the left",
            _pictures.png(self._square("knife_edge"), 0, 1, style.IMAGE),
            caption="knife at focus, from the left",
        )

    def _interferogram(self) -> str:
        return _pictures.picture(
            "Fringes",
            "Interferogram: fringes against a perfect wave tilted by five fringes",
            _pictures.png(self._square("interferogram"), 0, 1, style.IMAGE),
            caption="against a perfect wave; one fringe is one wave",
        )

    def _mtf(self) -> str:
        v = self.views
        cut = 1000 / self._unit_um
        x = v["frequency"] * cut
        half = np.interp(0.5, v["frequency"], v["horizontal_mtf"])
        return _pictures.curves(
            "Contrast (MTF)",
            f"Contrast of detail of half the finest size: {half:.2f}, of a perfect telescope "
            f"{np.interp(0.5, v['frequency'], v['perfect_mtf']):.2f}",
            [
                ("perfect", x, v["perfect_mtf"], style.GREY, "5 3"),
                ("along x", x, v["horizontal_mtf"], style.BLUE, ""),
                ("along y", x, v["vertical_mtf"], style.ORANGE, "7 7"),
            ],
            "cycles per mm on the sensor",
            "contrast",
            x_range=(0, cut),
            y_range=(0, 1),
            caption="1 = black stays black and white stays white",
        )

    def _encircled_energy(self) -> str:
        v = self.views
        x = v["radius_lambda_n"] * self._unit_um
        inside = float(np.interp(1.2197, v["radius_lambda_n"], v["encircled_energy"]))
        return _pictures.curves(
            "Light within a radius",
            f"{100 * inside:.0f} percent of the light lie within the Airy disc",
            [
                ("perfect", x, v["perfect_energy"], style.GREY, "5 3"),
                ("this one", x, v["encircled_energy"], style.BLUE, ""),
            ],
            "radius on the sensor (µm)",
            "share of the light",
            x_range=(0, float(x[-1])),
            y_range=(0, 1),
            caption=f"{100 * inside:.0f} % within the Airy disc",
            legend_below=True,
        )


#: Pictures that stand on the pupil's samples; the others on the star's points.
ON_PUPIL = frozenset({"wavefront_nm", "ronchigram", "knife_edge", "interferogram"})


def _round_length(half: float) -> float:
    """A round length of about a third of the picture's width."""
    return float(_pictures._nice(4 * 0.6 * half))


def noll_terms(
    waves: Mapping[str, float], direction: float, wavelength_nm: float
) -> dict[int, float]:
    """Coefficients in nm by Noll number from amounts in waves RMS and a direction in degrees."""
    terms: dict[int, float] = {}
    for name, amount in waves.items():
        if name not in MODES:
            raise InputError(
                f"There is no aberration '{name}'. Choose of {', '.join(MODES)}.",
                code="lab.aberration",
                argument=name,
            )
        times, along, across = MODES[name]
        turned = np.deg2rad(direction * times)
        terms[along] = amount * wavelength_nm * float(np.cos(turned))
        if across:
            terms[across] = amount * wavelength_nm * float(np.sin(turned))
    return terms


def draw_aberrations(
    start: Any = None,
    *,
    direction: u.Quantity | str = 0 * u.deg,
    obstruction: float = 0.0,
    focal_ratio: float = 7.0,
    wavelength: u.Quantity | str = 550 * u.nm,
    defocus_waves: float = 3.0,
    **waves: float,
) -> AberrationSheet:
    """Draw the sheet of a wavefront.

    Parameters
    ----------
    start : PupilMap or a fit that holds one, optional
        A measured telescope, to which the aberrations are added; its own obstruction, focal ratio and
        wavelength hold then.
    direction : Quantity or str
        In which astigmatism, coma and trefoil lie, from +x towards +y.
    obstruction : float
        Diameter of the central obstruction over the aperture.
    focal_ratio : float
        Focal length over aperture.
    wavelength : Quantity or str
        Of the light.
    defocus_waves : float
        Defocus of the two stars out of focus, waves at the rim.
    **waves : float
        Amounts in waves RMS: ``defocus``, ``astigmatism``, ``coma``, ``trefoil``, ``spherical``,
        ``secondary_spherical``; positive where the wave is ahead.

    Returns
    -------
    AberrationSheet
        Pictures, curves and numbers.
    """
    angle = _units.number(direction, u.deg, "direction")
    amounts = {name: _units.number(value, "", name) for name, value in waves.items()}
    base = getattr(start, "pupil", start)
    if base is not None and not isinstance(base, PupilMap):
        raise InputError(
            "start is no measured telescope. Give a wavefront fit or a PupilMap.",
            code="lab.start",
            argument="start",
        )
    nm = (
        base.wavelength.to_value(u.nm)
        if base is not None
        else _units.number(wavelength, u.nm, "wavelength")
    )
    terms = noll_terms(amounts, angle, nm)
    pupil = PupilMap.from_zernike(
        {n: c * u.nm for n, c in terms.items()},
        focal_ratio=focal_ratio if base is None else base.focal_ratio,
        wavelength=nm * u.nm,
        obstruction=obstruction if base is None else 0.0,
        samples=SAMPLES if base is None else base.wavefront.shape[0],
    )
    if base is not None:
        pupil = dataclasses.replace(
            base,
            wavefront=base.wavefront + np.nan_to_num(pupil.wavefront.value) * pupil.wavefront.unit,
        )
    away = _units.number(defocus_waves, "", "defocus_waves")
    views = pupil._call("views.quick", defocus_waves=away, points=POINTS, tilt_x_fringes=5.0)
    return AberrationSheet(pupil, away, views)

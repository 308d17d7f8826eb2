"""What a wavefront looks like: focused image, MTF, encircled energy, Ronchi and knife-edge tests, fringes.

Every function takes the same pupil map, so a fit, a simulation and a classroom slider share them.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

import numpy as np
from astropy import units as u

from .. import _gateway, _units, style
from .._values import short_repr
from ..errors import InputError
from .pictures import FocusedImage, Modulation, PupilView


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class PupilMap:
    """A wavefront on a square grid over the aperture.

    Attributes
    ----------
    wavefront : Quantity, shape (n, n)
        Error as a length, positive where the wave is ahead; row 0 at the bottom; NaN outside.
        Sample k lies at (2 k + 1 - n) / n of the aperture's radius.
    focal_ratio : float
        Focal length over aperture.
    wavelength : Quantity
        Wavelength at which the views are drawn. The optical path stays the same, its number of
        waves changes.
    amplitude : ndarray, shape (n, n), or None
        Share of each sample that is open; None = 1 wherever the wavefront is not NaN.
    """

    wavefront: u.Quantity
    focal_ratio: float
    wavelength: u.Quantity
    amplitude: np.ndarray | None = None

    def __repr__(self) -> str:
        return short_repr(self)

    @classmethod
    def from_zernike(
        cls,
        noll: Mapping[int, u.Quantity | str] | None = None,
        *,
        focal_ratio: float = 7.0,
        wavelength: u.Quantity | str = 550 * u.nm,
        obstruction: float = 0.0,
        samples: int = 256,
        **modes: u.Quantity | str,
    ) -> PupilMap:
        """The map of a few aberrations.

        Parameters
        ----------
        noll : mapping of int to Quantity, optional
            Coefficients by Noll number.
        focal_ratio : float
            Focal length over aperture.
        wavelength : Quantity or str
            At which the views are drawn.
        obstruction : float
            Diameter of the central obstruction over the aperture.
        samples : int
            Across the pupil.
        **modes : Quantity or str
            Coefficients by name: ``spherical``, ``coma_y``, ``astigmatism_45``, ``secondary_spherical`` and so
            on; ``coma``, ``astigmatism`` or ``trefoil`` alone is the part along x. RMS over the full disc,
            positive where the wave is ahead.

        Returns
        -------
        PupilMap
            For every view.

        Raises
        ------
        InputError
            When no aberration has such a name or number.

        Examples
        --------
        >>> from starassay import PupilMap, draw_focused_image
        >>> pupil = PupilMap.from_zernike(coma="60 nm", spherical="20 nm", wavelength="540 nm")
        >>> 0.55 < draw_focused_image(pupil).center_ratio < 0.65  # exp(-(2 pi 63.2 / 540)^2) = 0.58
        True
        """
        terms = _units.items({} if noll is None else noll, "noll")
        r = _gateway.call(
            "views.pupil",
            {
                "noll_terms": [_units.integer(n, "noll") for n in terms],
                "names": list(modes),
                "coefficients_nm": [_units.number(c, u.nm, f"noll {n}") for n, c in terms.items()]
                + [_units.number(c, u.nm, name) for name, c in modes.items()],
                "focal_ratio": _units.number(focal_ratio, "", "focal_ratio"),
                "wavelength_nm": _units.number(wavelength, u.nm, "wavelength"),
                "pupil": {"obstruction": _units.number(obstruction, "", "obstruction")},
                "samples": _units.integer(samples, "samples"),
            },
        )
        return cls(
            r["wavefront_nm"] * u.nm, r["focal_ratio"], r["wavelength_nm"] * u.nm, r["amplitude"]
        )

    @property
    def rms(self) -> u.Quantity:
        """Root mean square of the error over what is open, its mean taken out."""
        share = self._open
        values = np.nan_to_num(self.wavefront.to_value(u.nm))
        mean = np.average(values, weights=share)
        return float(np.sqrt(np.average((values - mean) ** 2, weights=share))) * u.nm

    @property
    def _open(self) -> np.ndarray:
        inside = np.isfinite(self.wavefront.value)
        return inside * 1.0 if self.amplitude is None else np.where(inside, self.amplitude, 0.0)

    def plot(self, ax: Any = None) -> Any:
        """Draw the map with its scale in nm; returns the axes."""
        with style.figure_style():
            ax = style.new_axes(ax, figsize=(5.4, 4.6))
            values = self.wavefront.to_value(u.nm)
            top = max(float(np.nanmax(np.abs(values))), 1.0)
            shown = style.show_pupil(
                ax, values, self._open, cmap=style.DIVERGING, vmin=-top, vmax=top
            )
            at = f"at {self.wavelength.to_value(u.nm):.0f} nm"
            style.entitle(ax, f"RMS {self.rms.value:.3g} nm {at}")
            bar = ax.figure.colorbar(shown, cax=style.bar_axes(ax))
            bar.set_label("wavefront error (nm), + = wave ahead")
        return ax

    def plot_views(self, title: str = "") -> Any:
        """Draw six views: focused image, MTF, encircled energy, Ronchigram, knife edge, interferogram.

        Parameters
        ----------
        title : str
            Over the sheet.

        Returns
        -------
        matplotlib figure
            All of them.
        """
        import matplotlib.pyplot as plt

        # Eight depths of focus from it a ruling shows a few lines.
        shift = 32 * self.focal_ratio**2 * self.wavelength
        modulation = compute_modulation(self)
        with style.figure_style():
            figure, axes = plt.subplots(2, 3, figsize=(11.5, 7.4), layout="constrained")
            figure.get_layout_engine().set(h_pad=0.12, w_pad=0.08)
            draw_focused_image(self).plot(axes[0, 0])
            modulation.plot(axes[0, 1])
            modulation.plot_energy(axes[0, 2])
            draw_ronchigram(self, shift=shift).plot(axes[1, 0])
            draw_knife_edge(self).plot(axes[1, 1])
            draw_interferogram(self).plot(axes[1, 2])
            if title:
                figure.suptitle(_units.text(title, "title"))
        return figure

    def at_wavelength(self, wavelength: u.Quantity | str) -> PupilMap:
        """The same optical path seen in another color."""
        return dataclasses.replace(self, wavelength=_units.quantity(wavelength, u.nm, "wavelength"))

    def _call(self, task: str, **request: Any) -> dict[str, Any]:
        arrays = {"wavefront_nm": np.asarray(self.wavefront.to_value(u.nm), dtype=np.float64)}
        if self.amplitude is not None:
            arrays["amplitude"] = np.asarray(self.amplitude, dtype=np.float64)
        facts = {
            "focal_ratio": float(self.focal_ratio),
            "wavelength_nm": self.wavelength.to_value(u.nm),
        }
        return _gateway.call(task, {**facts, **request}, arrays=arrays)


def _pupil(pupil: Any) -> PupilMap:
    """A pupil map, and nothing else."""
    return _units.instance(pupil, PupilMap, "pupil", "the pupil of a fit")


def draw_focused_image(
    pupil: PupilMap,
    *,
    half_width: float = 5.0,
    samples: int = 129,
    shift: u.Quantity | str = 0 * u.um,
) -> FocusedImage:
    """Draw the image of a star at (or near) focus.

    Parameters
    ----------
    pupil : PupilMap
        The wavefront.
    half_width : float
        Half the picture's width in wavelength x focal ratio.
    samples : int
        Samples along each side.
    shift : Quantity
        Position of the screen, positive away from the objective.

    Returns
    -------
    FocusedImage
        Intensity on the sensor, before seeing and pixels.
    """
    r = _pupil(pupil)._call(
        "views.focused-image",
        half_width_lambda_n=_units.number(half_width, "", "half_width"),
        samples=_units.integer(samples, "samples"),
        shift_um=_units.number(shift, u.um, "shift"),
    )
    return FocusedImage(
        r["intensity"],
        r["position_um"] * u.um,
        r["airy_radius_um"] * u.um,
        r["center_ratio"],
        _units.quantity(shift, u.um, "shift"),
    )


def compute_modulation(
    pupil: PupilMap, *, largest_radius: float = 10.0, radii: int = 101
) -> Modulation:
    """Compute MTF and encircled energy from the pupil's autocorrelation.

    Parameters
    ----------
    pupil : PupilMap
        The wavefront.
    largest_radius : float
        Of the encircled energy, in wavelength x focal ratio.
    radii : int
        How many radii.

    Returns
    -------
    Modulation
        Both curves beside those of a perfect telescope with the same obstruction.
    """
    from astropy.table import QTable

    largest_radius = _units.number(largest_radius, "", "largest_radius")
    radii = _units.integer(radii, "radii")
    both = [
        _pupil(pupil)._call(
            "views.modulation", half_width_lambda_n=largest_radius, samples=radii, perfect=perfect
        )
        for perfect in (False, True)
    ]
    own, perfect = both
    table = QTable(
        {
            "frequency": own["frequency"],
            "per_mm": own["frequency_per_mm"] / u.mm,
            "horizontal": own["horizontal_mtf"],
            "vertical": own["vertical_mtf"],
            "mean": own["mean_mtf"],
            "perfect": perfect["mean_mtf"],
        }
    )
    energy = QTable(
        {
            "radius": own["radius_um"] * u.um,
            "encircled": own["encircled_energy"],
            "perfect": perfect["encircled_energy"],
        }
    )
    return Modulation(table, energy)


def draw_ronchigram(
    pupil: PupilMap,
    *,
    lines_per_mm: float = 10.0,
    shift: u.Quantity | str = -4 * u.mm,
    angle: u.Quantity | str = 0 * u.deg,
) -> PupilView:
    """Draw the pupil behind a Ronchi ruling near focus, by wave optics.

    Parameters
    ----------
    pupil : PupilMap
        The wavefront.
    lines_per_mm : float
        Line pairs of the ruling in a millimetre.
    shift : Quantity
        Position of the ruling, positive away from the objective.
    angle : Quantity
        Direction across the lines, from +x towards +y.

    Returns
    -------
    PupilView
        Brightness over the pupil.
    """
    lines_per_mm = _units.number(lines_per_mm, "1 / mm", "lines_per_mm")
    if not lines_per_mm > 0:
        raise InputError(
            f"A ruling of {lines_per_mm} lines/mm cannot be; give a positive number.",
            code="views.ruling",
            argument="lines_per_mm",
        )
    at = _units.quantity(shift, u.um, "shift")
    r = _pupil(pupil)._call(
        "views.shadow",
        mask="ruling",
        period_um=1000 / lines_per_mm,
        shift_um=at.to_value(u.um),
        angle_deg=_units.number(angle, u.deg, "angle"),
    )
    return PupilView(
        r["brightness"], f"Ronchi, {lines_per_mm:g} lines/mm, {at.to_value(u.mm):+.2f} mm"
    )


def draw_knife_edge(
    pupil: PupilMap,
    *,
    position: u.Quantity | str = 0 * u.um,
    shift: u.Quantity | str = 0 * u.um,
    angle: u.Quantity | str = 0 * u.deg,
) -> PupilView:
    """Draw the pupil with a knife edge near focus, by wave optics.

    Parameters
    ----------
    pupil : PupilMap
        The wavefront.
    position : Quantity
        Coordinate of the edge; what lies below it is covered.
    shift : Quantity
        Position of the knife along the axis, positive away from the objective.
    angle : Quantity
        Direction across the edge, from +x towards +y; 0: the knife comes from the left.

    Returns
    -------
    PupilView
        Brightness over the pupil.
    """
    at = _units.quantity(shift, u.um, "shift")
    edge = _units.quantity(position, u.um, "position")
    r = _pupil(pupil)._call(
        "views.shadow",
        mask="knife",
        position_um=edge.to_value(u.um),
        shift_um=at.to_value(u.um),
        angle_deg=_units.number(angle, u.deg, "angle"),
    )
    return PupilView(
        r["brightness"], f"Knife edge at {edge.to_value(u.um):+.1f} µm, {at.to_value(u.mm):+.2f} mm"
    )


def draw_interferogram(
    pupil: PupilMap, *, tilt: tuple[float, float] = (5.0, 0.0), passes: int = 1
) -> PupilView:
    """Draw the fringes of this wavefront against a perfect tilted wave.

    Parameters
    ----------
    pupil : PupilMap
        The wavefront.
    tilt : (float, float)
        Fringes of tilt across the pupil along x and y.
    passes : int
        1: a fringe is one wave; 2: double pass, a fringe is half a wave.

    Returns
    -------
    PupilView
        Brightness 0 to 1, NaN outside.
    """
    x, y = _units.pair(tilt, "tilt")
    r = _pupil(pupil)._call(
        "views.interferogram",
        tilt_x_fringes=_units.number(x, "", "tilt"),
        tilt_y_fringes=_units.number(y, "", "tilt"),
        passes=_units.integer(passes, "passes"),
    )
    fringe = "one wave" if passes == 1 else "half a wave"
    return PupilView(
        r["brightness"], f"Fringes, {fringe} each, {pupil.wavelength.to_value(u.nm):.0f} nm"
    )

"""Invented telescopes, cameras, skies and passbands to draw frames with.

>>> telescope = juniper_115()
>>> telescope.name, round(telescope.focal_ratio, 2)
('Juniper 115', 6.61)
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from astropy import units as u

from .._units import integer, items, number, pair, pairs, text
from ..errors import InputError


def _columns(unit: str, ordered: bool, **given: Any) -> tuple[list[Any], list[float]]:
    """Keys and values of the one mapping given, by its name; the keys in ascending order on request."""
    ((name, mapping),) = given.items()
    keys = list(items(mapping, name))
    keys = sorted(keys) if ordered else keys
    return keys, [number(mapping[key], unit, name) for key in keys]


def _same_keys(**given: Any) -> None:
    """Raise where the second of two mappings is given for other keys than the first."""
    (first, one), (second, other) = given.items()
    if items(other, second) and sorted(other) != sorted(items(one, first)):
        raise InputError(
            f"{second} must name the wavelengths of {first}. Give both for the same ones.",
            code="simulation.wavelengths",
            argument=second,
        )


@dataclasses.dataclass(frozen=True)
class FieldErrors:
    """Errors that change over the field, and the sensor's tilt.

    Attributes
    ----------
    axis : tuple of Quantity
        Where the optical axis meets the sensor, from its middle (x, y).
    tilt : tuple of Quantity
        How much farther from the objective the sensor lies per length to the right and upwards.
    curvature : Quantity
        Best focus is displaced by this times the squared distance from the axis; negative =
        towards the objective.
    astigmatism : Quantity
        Tangential less sagittal focus, times the squared distance.
    coma : Quantity
        RMS of coma along the field radius per distance from the axis.
    distortion : Quantity
        k in h (1 + k h^2); positive = pincushion.
    """

    axis: tuple[u.Quantity, u.Quantity] = (0 * u.mm, 0 * u.mm)
    tilt: tuple[u.Quantity, u.Quantity] = (0 * u.um / u.mm, 0 * u.um / u.mm)
    curvature: u.Quantity = 0 * u.um / u.mm**2
    astigmatism: u.Quantity = 0 * u.um / u.mm**2
    coma: u.Quantity = 0 * u.nm / u.mm
    distortion: u.Quantity = 0 / u.mm**2

    def request(self) -> dict[str, float]:
        """The engine's record."""
        return {
            "axis_x_mm": number(pair(self.axis, "axis")[0], "mm", "axis"),
            "axis_y_mm": number(pair(self.axis, "axis")[1], "mm", "axis"),
            "tilt_x_um_per_mm": number(pair(self.tilt, "tilt")[0], "um/mm", "tilt"),
            "tilt_y_um_per_mm": number(pair(self.tilt, "tilt")[1], "um/mm", "tilt"),
            "curvature_um_per_mm2": number(self.curvature, "um/mm2", "curvature"),
            "astigmatism_um_per_mm2": number(self.astigmatism, "um/mm2", "astigmatism"),
            "coma_nm_per_mm": number(self.coma, "nm/mm", "coma"),
            "distortion_per_mm2": number(self.distortion, "1/mm2", "distortion"),
        }


@dataclasses.dataclass(frozen=True)
class SimulatedTelescope:
    """A telescope to draw frames for.

    Attributes
    ----------
    name : str
        What the header calls it.
    aperture, focal_length : Quantity
        Free aperture and focal length.
    obstruction : float
        Central obstruction, ratio of diameters.
    obstruction_offset : tuple of float
        Where the obstruction's center lies from that of the aperture, along x and y, in radii of the aperture.
    vanes : tuple of (Quantity, float)
        Direction (from +x towards +y) and width (as a share of the aperture) of each vane.
    wavefront : mapping of int to Quantity
        Noll number to RMS coefficient, the same all over the field; positive where the wave is ahead.
    field : FieldErrors
        What changes over the field.
    color_focus : mapping of float to Quantity
        Wavelength in nm to focus, positive away from the objective.
    lateral_color : mapping of float to float
        Wavelength in nm to image scale in parts per million; the wavelengths of `color_focus`.
    stops : tuple of (Quantity, Quantity)
        Free diameter and distance before the sensor of each stop that may cut the light.
    """

    name: str
    aperture: u.Quantity
    focal_length: u.Quantity
    obstruction: float = 0.0
    obstruction_offset: tuple[float, float] = (0.0, 0.0)
    vanes: tuple[tuple[u.Quantity, float], ...] = ()
    wavefront: Mapping[int, u.Quantity] = dataclasses.field(default_factory=dict)
    field: FieldErrors = FieldErrors()
    color_focus: Mapping[float, u.Quantity] = dataclasses.field(default_factory=dict)
    lateral_color: Mapping[float, float] = dataclasses.field(default_factory=dict)
    stops: tuple[tuple[u.Quantity, u.Quantity], ...] = ()

    @property
    def focal_ratio(self) -> float:
        """Focal length over aperture."""
        return number(self.focal_length, "mm", "focal_length") / number(
            self.aperture, "mm", "aperture"
        )

    def request(self) -> dict[str, Any]:
        """The engine's record."""
        waves, focus = _columns("um", True, color_focus=self.color_focus)
        terms, coefficients = _columns("nm", False, wavefront=self.wavefront)
        offset = pair(self.obstruction_offset, "obstruction_offset")
        _same_keys(color_focus=self.color_focus, lateral_color=self.lateral_color)
        return {
            "aperture_mm": number(self.aperture, "mm", "aperture"),
            "focal_length_mm": number(self.focal_length, "mm", "focal_length"),
            "obstruction": number(self.obstruction, "", "obstruction"),
            "obstruction_x": number(offset[0], "", "obstruction_offset"),
            "obstruction_y": number(offset[1], "", "obstruction_offset"),
            "vanes": [
                {"angle_deg": number(a, "deg", "vanes"), "width_fraction": number(w, "", "vanes")}
                for a, w in pairs(self.vanes, "vanes")
            ],
            "noll_terms": [integer(n, "Noll number") for n in terms],
            "coefficients_nm": coefficients,
            "field": self.field.request(),
            "color_wavelengths_nm": waves,
            "color_focus_um": focus,
            "lateral_color_ppm": [
                float(self.lateral_color[w]) for w in waves if self.lateral_color
            ],
            "stops": [
                {
                    "clear_diameter_mm": number(c, "mm", "stops"),
                    "distance_mm": number(s, "mm", "stops"),
                }
                for c, s in pairs(self.stops, "stops")
            ],
        }


@dataclasses.dataclass(frozen=True)
class SimulatedCamera:
    """A camera to draw frames for.

    Attributes
    ----------
    name : str
        What the header calls it.
    shape : tuple of int
        Rows and columns.
    pitch, gain, read_noise, full_well, dark_current : Quantity
        Pixel pitch, electrons per adu, RMS electrons, electrons, electrons a second.
    bias : Quantity
        Level of an unexposed pixel.
    bits : int
        Bits of the converter.
    hot_pixels : float
        Share of hot pixels.
    unevenness : float
        RMS of the pixels' sensitivity.
    mosaic : str
        Colors of the pixels at (0,0), (1,0), (0,1), (1,1), such as "RGGB"; "" = none.
    efficiency : mapping of float to float
        Wavelength in nm to quantum efficiency; empty = 1.
    pattern_seed : int
        Seed of what stays from frame to frame: hot pixels, unevenness.
    """

    name: str = "Lantern mono"
    shape: tuple[int, int] = (1400, 2100)
    pitch: u.Quantity = 3.76 * u.um
    gain: u.Quantity = 0.8 * u.electron / u.adu
    read_noise: u.Quantity = 1.8 * u.electron
    full_well: u.Quantity = 50_000 * u.electron
    dark_current: u.Quantity = 0.01 * u.electron / u.s
    bias: u.Quantity = 500 * u.adu
    bits: int = 16
    hot_pixels: float = 2e-5
    unevenness: float = 0.005
    mosaic: str = ""
    efficiency: Mapping[float, float] = dataclasses.field(
        default_factory=lambda: {400: 0.60, 470: 0.85, 550: 0.90, 650: 0.75, 750: 0.55}
    )
    pattern_seed: int = 1

    def request(self, shape: tuple[int, int] | None = None) -> dict[str, Any]:
        """The engine's record, for the whole sensor or a part of `shape`."""
        rows, columns = (integer(n, "shape") for n in pair(shape or self.shape, "shape"))
        return {
            "width": columns,
            "height": rows,
            "pitch_um": number(self.pitch, "um", "pitch"),
            "gain_electrons_per_adu": number(self.gain, "electron/adu", "gain"),
            "read_noise_electrons": number(self.read_noise, "electron", "read_noise"),
            "full_well_electrons": number(self.full_well, "electron", "full_well"),
            "bias_adu": number(self.bias, "adu", "bias"),
            "bits": integer(self.bits, "bits"),
            "dark_electrons_per_s": number(self.dark_current, "electron/s", "dark_current"),
            "hot_pixel_share": number(self.hot_pixels, "", "hot_pixels"),
            "unevenness_rms": number(self.unevenness, "", "unevenness"),
            "pattern_seed": integer(self.pattern_seed, "pattern_seed"),
            "mosaic": text(self.mosaic, "mosaic"),
            "efficiency_wavelengths_nm": sorted(items(self.efficiency, "efficiency")),
            "efficiency": [
                number(self.efficiency[w], "", "efficiency") for w in sorted(self.efficiency)
            ],
        }


@dataclasses.dataclass(frozen=True)
class SimulatedSky:
    """The air and the pointing.

    Attributes
    ----------
    seeing : Quantity
        FWHM at 500 nm as the exposure saw it.
    background : Quantity
        Electrons a second and pixel.
    gradient : tuple of float
        Change of the background from edge to edge along x and y, as a share of it.
    zenith_distance, zenith_direction : Quantity
        For atmospheric dispersion; direction on the sensor from +x towards +y.
    drift : tuple of Quantity
        Trail during the exposure along x and y.
    jitter : Quantity
        RMS of fast motion per axis.
    """

    seeing: u.Quantity = 2.0 * u.arcsec
    background: u.Quantity = 2.0 * u.electron / u.s
    gradient: tuple[float, float] = (0.0, 0.0)
    zenith_distance: u.Quantity = 0 * u.deg
    zenith_direction: u.Quantity = 90 * u.deg
    drift: tuple[u.Quantity, u.Quantity] = (0 * u.arcsec, 0 * u.arcsec)
    jitter: u.Quantity = 0 * u.arcsec

    def request(self) -> dict[str, float]:
        """The engine's record."""
        return {
            "seeing_fwhm_arcsec": number(self.seeing, "arcsec", "seeing"),
            "background_electrons_per_s": number(self.background, "electron/s", "background"),
            "gradient_x": number(pair(self.gradient, "gradient")[0], "", "gradient"),
            "gradient_y": number(pair(self.gradient, "gradient")[1], "", "gradient"),
            "zenith_distance_deg": number(self.zenith_distance, "deg", "zenith_distance"),
            "zenith_direction_deg": number(self.zenith_direction, "deg", "zenith_direction"),
            "drift_x_arcsec": number(pair(self.drift, "drift")[0], "arcsec", "drift"),
            "drift_y_arcsec": number(pair(self.drift, "drift")[1], "arcsec", "drift"),
            "jitter_arcsec": number(self.jitter, "arcsec", "jitter"),
        }


@dataclasses.dataclass(frozen=True)
class Passband:
    """A filter and the kind of star seen through it.

    Attributes
    ----------
    name : str
        What the header calls it.
    low, high : Quantity
        Edges.
    samples : int
        Wavelengths drawn between them.
    flux_share : float
        Light of a star in it, as a share of the stated rate.
    star_temperature : Quantity
        Planck's law at this temperature gives the weights.
    """

    name: str
    low: u.Quantity
    high: u.Quantity
    samples: int = 3
    flux_share: float = 1.0
    star_temperature: u.Quantity = 9500 * u.K

    def request(self, color: str = "") -> dict[str, Any]:
        """The engine's record; `color` is the mosaic color it belongs to."""
        return {
            "color": color,
            "low_nm": number(self.low, "nm", "low"),
            "high_nm": number(self.high, "nm", "high"),
            "samples": integer(self.samples, "samples"),
            "flux_share": number(self.flux_share, "", "flux_share"),
            "star_temperature_k": number(self.star_temperature, "K", "star_temperature"),
        }


PASSBANDS: Mapping[str, Passband] = {
    "L": Passband("L", 400 * u.nm, 700 * u.nm, samples=5),
    "R": Passband("R", 600 * u.nm, 690 * u.nm, flux_share=0.30),
    "G": Passband("G", 500 * u.nm, 580 * u.nm, flux_share=0.33),
    "B": Passband("B", 410 * u.nm, 500 * u.nm, flux_share=0.37),
    "N540": Passband("N540", 535 * u.nm, 545 * u.nm, samples=1, flux_share=0.04),
}
"""Filters of the scenario: broad ones and a narrow one for the wavefront."""


def juniper_115() -> SimulatedTelescope:
    """The demo's first instrument, invented: a 115 mm f/6.6 refractor with ordinary faults.

    Returns
    -------
    SimulatedTelescope
        A little undercorrected, slightly astigmatic and decentered, curved field, blue out of focus,
        cut by its adapter towards the corners.
    """
    return SimulatedTelescope(
        name="Juniper 115",
        aperture=115 * u.mm,
        focal_length=760 * u.mm,
        wavefront={
            5: 8 * u.nm,
            6: -14 * u.nm,
            7: 10 * u.nm,
            8: 18 * u.nm,
            10: 9 * u.nm,
            11: 24 * u.nm,
        },
        field=FieldErrors(
            tilt=(4.0 * u.um / u.mm, -2.5 * u.um / u.mm),
            curvature=-1.6 * u.um / u.mm**2,
            astigmatism=-0.7 * u.um / u.mm**2,
            coma=2.0 * u.nm / u.mm,
            distortion=2e-6 / u.mm**2,
        ),
        color_focus={
            405: 190 * u.um,
            436: 95 * u.um,
            486: 22 * u.um,
            546: 0 * u.um,
            588: 4 * u.um,
            656: 30 * u.um,
            707: 58 * u.um,
        },
        lateral_color={405: -160, 436: -100, 486: -45, 546: 0, 588: 25, 656: 60, 707: 80},
        stops=((20 * u.mm, 60 * u.mm),),
    )


def alder_100() -> SimulatedTelescope:
    """The demo's second instrument, invented: a 100 mm f/7 refractor that is nearly as good as can be.

    Returns
    -------
    SimulatedTelescope
        Small wavefront error, little color, gentle field curvature, no tilt.
    """
    return SimulatedTelescope(
        name="Alder 100",
        aperture=100 * u.mm,
        focal_length=700 * u.mm,
        wavefront={6: 6 * u.nm, 8: 5 * u.nm, 11: -9 * u.nm},
        field=FieldErrors(curvature=-0.9 * u.um / u.mm**2, coma=1.0 * u.nm / u.mm),
        color_focus={
            405: 45 * u.um,
            436: 18 * u.um,
            486: 4 * u.um,
            546: 0 * u.um,
            588: 1 * u.um,
            656: 8 * u.um,
            707: 15 * u.um,
        },
        lateral_color={405: -30, 436: -20, 486: -8, 546: 0, 588: 4, 656: 10, 707: 14},
    )

"""What is simulated (`PairSetup`), what the user would tell the fit (`Declared`), what is true
(`Truth`) and the pair that carries all three (`Pair`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from .pupil import PupilShape, Vane

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Edge:
    """A turned edge: amplitude_nm * ((rho - start) / (1 - start))**2 beyond rho = start.

    Positive = the wave is ahead at the rim. Its mean is not removed.
    """

    amplitude_nm: float
    start: float


@dataclass(frozen=True)
class Zone:
    """A ring-shaped zone: amplitude_nm * exp(-((rho - radius) / width)**2)."""

    amplitude_nm: float
    radius: float
    width: float


@dataclass(frozen=True)
class PrintThrough:
    """Cells of a ribbed mirror showing in its figure: three waves at 60 degrees, a hexagonal pattern.

    amplitude_nm times the mean of cos(2 pi u / period) along angle, angle + 60 and angle + 120
    degrees; `period` in radii of the pupil.
    """

    amplitude_nm: float
    period: float
    angle_deg: float = 0.0


@dataclass(frozen=True)
class Pinch:
    """A lens or mirror squeezed by its pads: amplitude_nm * rho^power * cos(pads * (angle - angle0))."""

    amplitude_nm: float
    pads: int = 3
    power: float = 4.0
    angle_deg: float = 0.0


@dataclass(frozen=True)
class Plume:
    """Warm air in the tube: a tongue amplitude_nm deep from the middle to the rim, `width` wide (Gaussian)."""

    amplitude_nm: float
    width: float
    angle_deg: float = 90.0


@dataclass(frozen=True)
class Companion:
    """A second star: share of the main star's light, offset on the sensor in pixels."""

    share: float
    dx_px: float
    dy_px: float


@dataclass(frozen=True)
class Turbulence:
    """Moving turbulence for a finite exposure; frozen layers with a von Karman spectrum.

    Parameters
    ----------
    exposure_s
        Length of each exposure.
    outer_scale_m
        Outer scale.
    winds_m_s
        Speed of each layer; the layers share the strength equally.
    step_s
        Time between short exposures that are summed.
    """

    exposure_s: float = 20.0
    outer_scale_m: float = 20.0
    winds_m_s: tuple[float, ...] = (4.0, 9.0, 15.0)
    step_s: float = 0.006


@dataclass(frozen=True)
class Camera:
    """The detector and what it does to the electrons.

    `clip_brightest` > 0 lowers the saturation level so that about so many pixels of the two images
    together are clipped.
    """

    gain_e_per_adu: float = 1.0
    bias_adu: float = 500.0
    read_noise_e: float = 2.0
    saturation_adu: float = 65535.0
    clip_brightest: int = 0
    hot_pixels: int = 0
    cosmic_rays: int = 0


@dataclass(frozen=True)
class PairSetup:
    """One telescope, one star, two exposures.

    `declared_changes` holds what the user gets wrong, by the names of `Declared`.

    Parameters
    ----------
    aperture_mm, focal_length_mm
        Diameter of the entrance pupil and true focal length.
    shape
        Obstruction, vanes and vignetting edge.
    coefficients_nm
        Wavefront error, Noll index -> RMS nm over the full disc. Terms 1 to 3 shift nothing
        that is measured, term 4 shifts both defocus distances: leave them out.
    edge, zone, print_through, pinch, plume
        Errors that no short Zernike series can express.
    wavelengths_nm, weights
        The passband as a few wavelengths with their shares of detected light.
    pixel_um, size_px
        Pixel pitch and side of the square image.
    inside_um, outside_um
        Sensor position of the two images from best focus: negative is nearer to the objective.
    inside_centre_px, outside_centre_px
        Where the star falls, as an offset (x, y) from the middle of the image.
    flux_e
        Electrons of the star in each image, all of them, inside the frame or not.
    background_e
        Sky and dark electrons a pixel.
    seeing_arcsec
        FWHM of the Kolmogorov long-exposure image at the mean wavelength, without telescope;
        0 for none.
    outer_scale_m
        Outer scale of that seeing; None for Kolmogorov. Not used when `turbulence` is given.
    jitter_arcsec
        RMS guiding error along x and y.
    sensor_tilt_deg
        Tilt of the sensor along x: the sensor lies farther out where x is larger.
    finite_distance
        True lets the focal ratio of each image grow with the sensor's distance, as it does:
        N (1 + dz / f). False is the small-angle model in which both images share N.
    turbulence
        Moving layers instead of the long-exposure mean.
    """

    aperture_mm: float = 120.0
    focal_length_mm: float = 840.0
    shape: PupilShape = field(default_factory=PupilShape)
    coefficients_nm: Mapping[int, float] = field(default_factory=dict)
    edge: Edge | None = None
    zone: Zone | None = None
    print_through: PrintThrough | None = None
    pinch: Pinch | None = None
    plume: Plume | None = None
    wavelengths_nm: tuple[float, ...] = (540.0,)
    weights: tuple[float, ...] = (1.0,)
    pixel_um: float = 3.76
    size_px: int = 128
    inside_um: float = -1500.0
    outside_um: float = 1500.0
    inside_centre_px: tuple[float, float] = (0.0, 0.0)
    outside_centre_px: tuple[float, float] = (0.0, 0.0)
    flux_e: float = 1e7
    background_e: float = 20.0
    seeing_arcsec: float = 2.0
    outer_scale_m: float | None = None
    jitter_arcsec: tuple[float, float] = (0.0, 0.0)
    sensor_tilt_deg: float = 0.0
    companion: Companion | None = None
    finite_distance: bool = True
    turbulence: Turbulence | None = None
    camera: Camera = field(default_factory=Camera)
    declared_changes: Mapping[str, object] = field(default_factory=dict)

    @property
    def fine(self) -> bool:
        """True when the wavefront holds more than its coefficients."""
        parts = (self.edge, self.zone, self.print_through, self.pinch, self.plume)
        return any(part is not None for part in parts)

    @property
    def focal_ratio(self) -> float:
        """Focal length over aperture."""
        return self.focal_length_mm / self.aperture_mm

    @property
    def wavelength_nm(self) -> float:
        """Mean wavelength, weighted by detected light."""
        return float(np.average(self.wavelengths_nm, weights=self.weights))

    def defocus_waves(self, sensor_um: float) -> float:
        """Defocus W020 = dz / (8 N^2) in waves at the mean wavelength."""
        return sensor_um * 1e3 / (8.0 * self.focal_ratio**2) / self.wavelength_nm


@dataclass(frozen=True)
class Declared:
    """What the user tells the fit; differs from the truth by `PairSetup.declared_changes`."""

    aperture_mm: float
    focal_length_mm: float
    obstruction: float
    vanes: tuple[Vane, ...]
    wavelengths_nm: tuple[float, ...]
    weights: tuple[float, ...]
    pixel_um: float
    inside_um: float
    outside_um: float
    gain_e_per_adu: float
    read_noise_e: float
    bias_adu: float
    saturation_adu: float


@dataclass(frozen=True)
class Truth:
    """The true wavefront.

    Parameters
    ----------
    coefficients_nm
        Noll index -> nm, as put in; with an edge or a zone, the least-squares share of those over
        the open pupil is added (Noll 4 to 45).
    x, y
        Pupil coordinates of the map, in units of the pupil's radius.
    map_nm
        Wavefront error on the grid, NaN where the pupil is shut; includes edge and zone.
    transmission
        Share of each grid cell that is open.
    rms_nm, strehl
        Over the open pupil, piston and tilt removed.
    rms_best_focus_nm, strehl_best_focus
        The same with defocus removed as well (least squares over the open pupil).
    r0_m
        Fried's length at the mean wavelength; NaN without seeing.
    """

    coefficients_nm: Mapping[int, float]
    x: Array
    y: Array
    map_nm: Array
    transmission: Array
    rms_nm: float
    strehl: float
    rms_best_focus_nm: float
    strehl_best_focus: float
    r0_m: float


@dataclass(frozen=True)
class Pair:
    """Two images in ADU (row 0 at the bottom, y up), what was declared and what is true."""

    inside: Array
    outside: Array
    declared: Declared
    truth: Truth
    setup: PairSetup

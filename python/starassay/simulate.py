"""Frames of invented telescopes with known truth: for the demo, the classroom and the tests.

The engine draws them (`docs/simulation.md`); this module turns Astropy's quantities into its requests
and its arrays into `~astropy.nddata.CCDData` with honest headers.

>>> from astropy import units as u
>>> telescope = juniper_115()
>>> telescope.name, round(telescope.focal_ratio, 2)
('Juniper 115', 6.61)
>>> frame, truth = draw_star_field(
...     telescope, stars=20, camera=SimulatedCamera(shape=(96, 128)), seed=3
... )  # doctest: +SKIP
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.coordinates import SkyCoord
from astropy.io import fits
from astropy.nddata import CCDData
from astropy.table import QTable
from astropy.time import Time
from astropy.wcs import WCS

from . import _gateway
from .results import json_text, notes_from_engine, to_plain

_FIRST_LIGHT = "2026-03-14T20:30:00"


def _moment(start: str | datetime | Time, minutes: float = 0.0) -> datetime:
    """A start time some minutes later; plain `datetime`, which needs no table of leap seconds."""
    text = start.isot if isinstance(start, Time) else start
    moment = datetime.fromisoformat(text) if isinstance(text, str) else text
    return moment + timedelta(minutes=minutes)


def _in(value: u.Quantity | float, unit: str) -> float:
    """The number in a unit; a plain number is taken to be in it already."""
    return float(value.to_value(unit) if isinstance(value, u.Quantity) else value)


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
            "axis_x_mm": _in(self.axis[0], "mm"),
            "axis_y_mm": _in(self.axis[1], "mm"),
            "tilt_x_um_per_mm": _in(self.tilt[0], "um/mm"),
            "tilt_y_um_per_mm": _in(self.tilt[1], "um/mm"),
            "curvature_um_per_mm2": _in(self.curvature, "um/mm2"),
            "astigmatism_um_per_mm2": _in(self.astigmatism, "um/mm2"),
            "coma_nm_per_mm": _in(self.coma, "nm/mm"),
            "distortion_per_mm2": _in(self.distortion, "1/mm2"),
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
    vanes: tuple[tuple[u.Quantity, float], ...] = ()
    wavefront: Mapping[int, u.Quantity] = dataclasses.field(default_factory=dict)
    field: FieldErrors = FieldErrors()
    color_focus: Mapping[float, u.Quantity] = dataclasses.field(default_factory=dict)
    lateral_color: Mapping[float, float] = dataclasses.field(default_factory=dict)
    stops: tuple[tuple[u.Quantity, u.Quantity], ...] = ()

    @property
    def focal_ratio(self) -> float:
        """Focal length over aperture."""
        return float((self.focal_length / self.aperture).to_value(u.one))

    def request(self) -> dict[str, Any]:
        """The engine's record."""
        waves = sorted(self.color_focus)
        if self.lateral_color and sorted(self.lateral_color) != waves:
            raise ValueError(
                "lateral_color must name the wavelengths of color_focus. Give both for the same ones."
            )
        return {
            "aperture_mm": _in(self.aperture, "mm"),
            "focal_length_mm": _in(self.focal_length, "mm"),
            "obstruction": self.obstruction,
            "vanes": [{"angle_deg": _in(a, "deg"), "width_fraction": w} for a, w in self.vanes],
            "noll_terms": list(self.wavefront),
            "coefficients_nm": [_in(c, "nm") for c in self.wavefront.values()],
            "field": self.field.request(),
            "color_wavelengths_nm": waves,
            "color_focus_um": [_in(self.color_focus[w], "um") for w in waves],
            "lateral_color_ppm": [
                float(self.lateral_color[w]) for w in waves if self.lateral_color
            ],
            "stops": [
                {"clear_diameter_mm": _in(c, "mm"), "distance_mm": _in(s, "mm")}
                for c, s in self.stops
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
        rows, columns = shape or self.shape
        return {
            "width": columns,
            "height": rows,
            "pitch_um": _in(self.pitch, "um"),
            "gain_electrons_per_adu": _in(self.gain, "electron/adu"),
            "read_noise_electrons": _in(self.read_noise, "electron"),
            "full_well_electrons": _in(self.full_well, "electron"),
            "bias_adu": _in(self.bias, "adu"),
            "bits": self.bits,
            "dark_electrons_per_s": _in(self.dark_current, "electron/s"),
            "hot_pixel_share": self.hot_pixels,
            "unevenness_rms": self.unevenness,
            "pattern_seed": self.pattern_seed,
            "mosaic": self.mosaic,
            "efficiency_wavelengths_nm": sorted(self.efficiency),
            "efficiency": [self.efficiency[w] for w in sorted(self.efficiency)],
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
            "seeing_fwhm_arcsec": _in(self.seeing, "arcsec"),
            "background_electrons_per_s": _in(self.background, "electron/s"),
            "gradient_x": self.gradient[0],
            "gradient_y": self.gradient[1],
            "zenith_distance_deg": _in(self.zenith_distance, "deg"),
            "zenith_direction_deg": _in(self.zenith_direction, "deg"),
            "drift_x_arcsec": _in(self.drift[0], "arcsec"),
            "drift_y_arcsec": _in(self.drift[1], "arcsec"),
            "jitter_arcsec": _in(self.jitter, "arcsec"),
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
            "low_nm": _in(self.low, "nm"),
            "high_nm": _in(self.high, "nm"),
            "samples": self.samples,
            "flux_share": self.flux_share,
            "star_temperature_k": _in(self.star_temperature, "K"),
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


def draw_star_field(
    telescope: SimulatedTelescope,
    *,
    camera: SimulatedCamera | None = None,
    sky: SimulatedSky | None = None,
    passband: str | Passband | Mapping[str, Passband] = "L",
    stars: int | QTable = 400,
    exposure: u.Quantity = 10 * u.s,
    focus_position: u.Quantity = 0 * u.um,
    rates: tuple[float, float] = (300.0, 3e5),
    separation: float = 0.0,
    cosmic_rays: int = 0,
    seed: int = 1,
    star_seed: int | None = None,
    center: SkyCoord | None = None,
    start: str | datetime | Time = _FIRST_LIGHT,
    nodes: tuple[int, int] = (0, 0),
    progress: bool = False,
) -> tuple[CCDData, QTable]:
    """Draw a frame full of stars.

    Parameters
    ----------
    telescope : SimulatedTelescope
        What gathers the light.
    camera : SimulatedCamera
        What records it.
    sky : SimulatedSky
        What blurs it.
    passband : str, Passband or mapping of str to Passband
        A name of `PASSBANDS`, a passband, or for a mosaic one for each of "R", "G", "B" (the
        named ones by default).
    stars : int or QTable
        How many random stars, or a table with columns ``x``, ``y`` (pixels of a perfect
        telescope) and ``rate`` (electrons a second).
    exposure : Quantity
        Exposure time.
    focus_position : Quantity
        Sensor against the focus on the axis, positive outside.
    rates : tuple of float
        Faintest and brightest random star, electrons a second.
    separation : float
        Least distance of random stars in pixels.
    cosmic_rays : int
        Hits in the frame.
    seed, star_seed : int
        Seeds of the noise and of the star places (the same as `seed` by default).
    center : SkyCoord
        Sky position of the middle; gives the frame a WCS.
    start : str, datetime or Time
        Start of the exposure for the header.
    nodes : tuple of int
        Points along x and y where the star's image is computed; 0 = as many as are needed.
    progress : bool
        Show a bar.

    Returns
    -------
    frame : CCDData
        Numbers the camera writes, with a FITS header.
    truth : QTable
        One row a star; `meta` holds the rest.
    """
    camera = camera or SimulatedCamera()
    sky = sky or SimulatedSky()
    bands, label = _bands(passband, camera)
    request: dict[str, Any] = {
        "telescope": telescope.request(),
        "sky": sky.request(),
        "detector": camera.request(),
        "passbands": bands,
        "exposure_s": _in(exposure, "s"),
        "focus_position_um": _in(focus_position, "um"),
        "faintest_rate": rates[0],
        "brightest_rate": rates[1],
        "separation_pix": separation,
        "cosmic_rays": cosmic_rays,
        "seed": seed,
        "star_seed": seed if star_seed is None else star_seed,
        "nodes_x": nodes[0],
        "nodes_y": nodes[1],
    }
    if isinstance(stars, int):
        request["random_stars"] = stars
    else:
        request["x"] = [float(v) for v in u.Quantity(stars["x"]).value]
        request["y"] = [float(v) for v in u.Quantity(stars["y"]).value]
        request["electron_rates"] = [float(v) for v in u.Quantity(stars["rate"]).value]
    image = np.empty(camera.shape, np.uint16)
    truth = _gateway.call(
        "simulation.star-field", request, outputs={"image": image}, progress=progress
    )
    header = _header(telescope, camera, label, exposure, focus_position, start, seed)
    header["IMAGETYP"] = ("LIGHT", "star field")
    header["SATURATE"] = (truth["saturation_adu"], "[adu] level where pixels are clipped")
    wcs = None if center is None else _wcs(telescope, camera, center)
    table = QTable(
        {
            "x": truth["x"] * u.pix,
            "y": truth["y"] * u.pix,
            "centroid_x": truth["centroid_x"] * u.pix,
            "centroid_y": truth["centroid_y"] * u.pix,
            "ideal_x": truth["ideal_x"] * u.pix,
            "ideal_y": truth["ideal_y"] * u.pix,
            "electrons": truth["electrons"] * u.electron,
            "defocus": truth["defocus_um"] * u.um,
            "half_flux_radius": truth["half_flux_radius_pix"] * u.pix,
            "illumination": truth["illumination"] * u.one,
        },
        meta={
            "telescope": telescope.name,
            "passband": label,
            "wavelength_nm": truth["wavelength_nm"],
            "seeing_arcsec": _in(sky.seeing, "arcsec"),
            "focus_position_um": _in(focus_position, "um"),
            "stamp_share": truth["stamp_share"],
            "stamp_pix": truth["stamp_pix"],
            "saturation_adu": truth["saturation_adu"],
            "seed": seed,
            "notes": [str(n) for n in notes_from_engine(truth["notes"])],
        },
    )
    return CCDData(image, unit=u.adu, meta=header, wcs=wcs), table


def draw_focus_run(
    telescope: SimulatedTelescope,
    positions: u.Quantity | Sequence[float],
    *,
    seeing_scatter: float = 0.05,
    seed: int = 1,
    start: str | datetime | Time = _FIRST_LIGHT,
    **options: Any,
) -> list[tuple[CCDData, QTable]]:
    """Draw the same field at several focuser positions.

    Parameters
    ----------
    telescope : SimulatedTelescope
        What gathers the light.
    positions : Quantity
        Sensor positions against the focus on the axis; plain numbers are micrometers.
    seeing_scatter : float
        The seeing changes from frame to frame by this RMS share.
    seed : int
        Seed of stars, seeing and noise.
    start : str, datetime or Time
        Start of the first exposure; a minute between frames.
    **options : dict
        Passed to `draw_star_field`.

    Returns
    -------
    list of (CCDData, QTable)
        One frame with its truth for each position.
    """
    sky = options.pop("sky", None) or SimulatedSky()
    generator = np.random.default_rng(seed)
    frames = []
    for k, position in enumerate(u.Quantity(positions, u.um)):
        seeing = sky.seeing * math.exp(seeing_scatter * generator.standard_normal())
        frames.append(
            draw_star_field(
                telescope,
                sky=dataclasses.replace(sky, seeing=seeing),
                focus_position=position,
                seed=seed * 1000 + k,
                star_seed=options.get("star_seed", seed),
                start=_moment(start, k),
                **{key: value for key, value in options.items() if key != "star_seed"},
            )
        )
    return frames


def draw_defocused_pair(
    telescope: SimulatedTelescope,
    *,
    camera: SimulatedCamera | None = None,
    sky: SimulatedSky | None = None,
    passband: str | Passband = "N540",
    defocus: u.Quantity | float = 8.0,
    size: int = 128,
    electrons: float = 1e7,
    exposure: u.Quantity = 20 * u.s,
    offsets: tuple[tuple[float, float], tuple[float, float]] = ((0.0, 0.0), (0.0, 0.0)),
    field_position: tuple[u.Quantity, u.Quantity] = (0 * u.mm, 0 * u.mm),
    cosmic_rays: int = 0,
    seed: int = 1,
    start: str | datetime | Time = _FIRST_LIGHT,
) -> tuple[CCDData, CCDData, dict[str, Any]]:
    """Draw one star inside and outside focus, for the wavefront.

    Parameters
    ----------
    telescope : SimulatedTelescope
        What gathers the light.
    camera : SimulatedCamera
        What records it; the frames are squares of `size` pixels of it.
    sky : SimulatedSky
        What blurs it.
    passband : str or Passband
        A name of `PASSBANDS` or a passband.
    defocus : Quantity or float
        Shift of the sensor to either side, or waves of W020 at 540 nm.
    size : int
        Pixels along each side.
    electrons : float
        Light of the star in each exposure.
    exposure : Quantity
        Exposure time of each frame.
    offsets : tuple of tuple of float
        Place of the star from the middle pixel in each frame.
    field_position : tuple of Quantity
        Where on the sensor the star stands, from its middle.
    cosmic_rays : int
        Hits in each frame.
    seed : int
        Seed of the noise.
    start : str, datetime or Time
        Start of the first exposure.

    Returns
    -------
    inside : CCDData
        The frame with the sensor nearer to the objective.
    outside : CCDData
        The frame with the sensor farther away.
    truth : dict
        Wavefront, RMS, Strehl ratio, and what belongs to each frame under "inside", "outside".
    """
    camera = camera or SimulatedCamera()
    sky = sky or SimulatedSky()
    band = PASSBANDS[passband] if isinstance(passband, str) else passband
    if isinstance(defocus, u.Quantity):
        shift = _in(defocus, "um")
    else:
        shift = float(defocus) * 0.54 * 8 * telescope.focal_ratio**2
    frames: list[CCDData] = []
    facts: list[dict[str, Any]] = []
    for k, sign in enumerate((-1, 1)):
        image = np.empty((size, size), np.uint16)
        request = {
            "telescope": telescope.request(),
            "sky": sky.request(),
            "detector": camera.request((size, size)),
            "passband": band.request(),
            "electrons": electrons,
            "exposure_s": _in(exposure, "s"),
            "focus_position_um": sign * shift,
            "offset_x_pix": offsets[k][0],
            "offset_y_pix": offsets[k][1],
            "field_x_mm": _in(field_position[0], "mm"),
            "field_y_mm": _in(field_position[1], "mm"),
            "seed": 2 * seed + k,
            "cosmic_rays": cosmic_rays,
        }
        facts.append(_gateway.call("simulation.single-star", request, outputs={"image": image}))
        header = _header(
            telescope,
            camera,
            band.name,
            exposure,
            sign * shift * u.um,
            _moment(start, 2 * k),
            seed,
        )
        header["IMAGETYP"] = ("LIGHT", "defocused star")
        header["SATURATE"] = (facts[-1]["saturation_adu"], "[adu] level where pixels are clipped")
        frames.append(CCDData(image, unit=u.adu, meta=header))
    for fact in facts:
        fact["notes"] = [str(n) for n in notes_from_engine(fact["notes"])]
    own = (
        "defocus_um",
        "defocus_waves",
        "share",
        "half_flux_radius_pix",
        "saturation_adu",
        "notes",
    )
    truth: dict[str, Any] = {key: value for key, value in facts[0].items() if key not in own}
    truth["telescope"] = telescope.name
    truth["obstruction"] = telescope.obstruction
    truth["inside"] = {key: facts[0][key] for key in own}
    truth["outside"] = {key: facts[1][key] for key in own}
    return frames[0], frames[1], truth


def draw_flat(
    telescope: SimulatedTelescope,
    *,
    camera: SimulatedCamera | None = None,
    level: u.Quantity = 25_000 * u.electron,
    exposure: u.Quantity = 1 * u.s,
    gradient: tuple[float, float] = (0.0, 0.0),
    dust: Iterable[tuple[float, float, u.Quantity, float]] = (),
    filter_name: str = "L",
    cosmic_rays: int = 0,
    seed: int = 1,
    start: str | datetime | Time = _FIRST_LIGHT,
) -> tuple[CCDData, dict[str, Any]]:
    """Draw a flat field; with no light, a dark or bias frame.

    Parameters
    ----------
    telescope : SimulatedTelescope
        Its stops and the cosine law shape the light.
    camera : SimulatedCamera
        What records it.
    level : Quantity
        Expected electrons on the axis; 0 = shutter closed.
    exposure : Quantity
        Exposure time, for the dark current.
    gradient : tuple of float
        Unevenness of the source along x and y, from edge to edge.
    dust : iterable of (float, float, Quantity, float)
        x, y in pixels, distance before the sensor, share of light taken.
    filter_name : str
        For the header.
    cosmic_rays : int
        Hits in the frame.
    seed : int
        Seed of the noise.
    start : str, datetime or Time
        Start of the exposure for the header.

    Returns
    -------
    frame : CCDData
        Numbers the camera writes, with a FITS header.
    truth : dict
        Illumination of the corners, half-light radius, width of the dust shadows.
    """
    camera = camera or SimulatedCamera()
    image = np.empty(camera.shape, np.uint16)
    request = {
        "telescope": telescope.request(),
        "detector": camera.request(),
        "level_electrons": _in(level, "electron"),
        "exposure_s": _in(exposure, "s"),
        "gradient_x": gradient[0],
        "gradient_y": gradient[1],
        "dust": [
            {"x": x, "y": y, "distance_mm": _in(d, "mm"), "depth": depth} for x, y, d, depth in dust
        ],
        "seed": seed,
        "cosmic_rays": cosmic_rays,
    }
    truth = _gateway.call("simulation.flat", request, outputs={"image": image})
    header = _header(telescope, camera, filter_name, exposure, 0 * u.um, start, seed)
    dark = _in(level, "electron") == 0
    kind = "FLAT" if not dark else "BIAS" if _in(exposure, "s") == 0 else "DARK"
    header["IMAGETYP"] = (kind, "kind of frame")
    header["SATURATE"] = (truth["saturation_adu"], "[adu] level where pixels are clipped")
    truth["telescope"] = telescope.name
    return CCDData(image, unit=u.adu, meta=header), truth


def write_frame(path: str | Path, frame: CCDData, truth: QTable | Mapping[str, Any]) -> Path:
    """Write a drawn frame as FITS and its truth beside it.

    Parameters
    ----------
    path : str or Path
        Where the FITS file goes; the truth gets the same name with ``.truth.ecsv`` or
        ``.truth.json``.
    frame : CCDData
        A drawn frame.
    truth : QTable or mapping
        What was drawn.

    Returns
    -------
    Path
        The FITS file.
    """
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    header = fits.Header(frame.meta, copy=True)
    if frame.wcs is not None:
        header.update(frame.wcs.to_header())
    fits.PrimaryHDU(np.asarray(frame.data), header).writeto(path, overwrite=True)
    beside = path.with_name(path.stem + ".truth")
    if isinstance(truth, QTable):
        truth.write(beside.with_name(beside.name + ".ecsv"), format="ascii.ecsv", overwrite=True)
    else:
        beside.with_name(beside.name + ".json").write_text(
            json_text(to_plain(dict(truth))), encoding="utf-8"
        )
    return path


def write_campaign_frames(
    folder: str | Path,
    telescope: SimulatedTelescope,
    *,
    camera: SimulatedCamera | None = None,
    sky: SimulatedSky | None = None,
    stars: int = 500,
    seed: int = 1,
    progress: bool = False,
) -> dict[str, list[Path]]:
    """Draw and write the frames of a whole campaign, each with its truth.

    Parameters
    ----------
    folder : str or Path
        Where they go.
    telescope : SimulatedTelescope
        What the campaign tests.
    camera : SimulatedCamera
        What records the frames.
    sky : SimulatedSky
        The night.
    stars : int
        Stars in each field.
    seed : int
        Seed of everything; the same seed writes the same pixels.
    progress : bool
        Show a bar.

    Returns
    -------
    dict of str to list of Path
        By test: "bias", "dark", "flat", "field", "focus_run", "pair" (inside, outside),
        "filters" (R, G, B).
    """
    target = Path(folder)
    camera = camera or SimulatedCamera()
    night = sky or SimulatedSky()
    written: dict[str, list[Path]] = {}
    center = SkyCoord("05h32m00s +12d30m00s")
    base = _moment(_FIRST_LIGHT)

    def keep(kind: str, name: str, frame: CCDData, truth: QTable | Mapping[str, Any]) -> None:
        written.setdefault(kind, []).append(write_frame(target / name, frame, truth))

    steps: list[Any] = []
    for k in range(5):
        steps.append(lambda k=k: _calibration("bias", k, 0, 0))
        steps.append(lambda k=k: _calibration("dark", k, 0, 10))
        steps.append(lambda k=k: _calibration("flat", k, 25_000, 2))

    def _calibration(kind: str, k: int, level: float, seconds: float) -> None:
        frame, truth = draw_flat(
            telescope,
            camera=camera,
            level=level * u.electron,
            exposure=seconds * u.s,
            seed=seed * 100_000 + {"bias": 0, "dark": 100, "flat": 200}[kind] + k,
            start=_moment(base, k - 60),
        )
        keep(kind, f"{kind}_{k + 1:02d}.fits", frame, truth)

    def _field(kind: str, name: str, offset: float, **options: Any) -> None:
        frame, truth = draw_star_field(
            telescope,
            camera=camera,
            stars=stars,
            center=center,
            star_seed=seed,
            separation=12,
            start=_moment(base, offset),
            sky=night,
            **options,
        )
        keep(kind, name, frame, truth)

    steps.append(lambda: _field("field", "field_L.fits", 0, seed=seed * 100_000 + 300))
    half_depth = 2 * 0.55 * telescope.focal_ratio**2
    for k, step in enumerate(np.arange(-6, 7, 1.5)):
        position = float(np.round(step * half_depth, 1)) * u.um
        steps.append(
            lambda k=k, position=position: _field(
                "focus_run",
                f"focus_{k + 1:02d}.fits",
                10 + k,
                passband="G",
                focus_position=position,
                seed=seed * 100_000 + 400 + k,
            )
        )
    for k, name in enumerate("RGB"):
        steps.append(
            lambda k=k, name=name: _field(
                "filters",
                f"field_{name}.fits",
                30 + k,
                passband=name,
                seed=seed * 100_000 + 500 + k,
            )
        )

    def _pair() -> None:
        inside, outside, truth = draw_defocused_pair(
            telescope, camera=camera, sky=night, seed=seed * 100_000 + 600, start=_moment(base, 45)
        )
        keep("pair", "star_inside.fits", inside, truth)
        keep("pair", "star_outside.fits", outside, truth)

    steps.append(_pair)
    from tqdm.auto import tqdm

    for step_function in tqdm(
        steps, disable=not progress, unit="frame", desc="drawing", leave=False
    ):
        step_function()
    return written


def _bands(
    passband: str | Passband | Mapping[str, Passband], camera: SimulatedCamera
) -> tuple[list[dict[str, Any]], str]:
    """Requests of the passbands, and the name for the header."""
    if camera.mosaic:
        colors = passband if isinstance(passband, Mapping) else PASSBANDS
        return [colors[c].request(c) for c in sorted(set(camera.mosaic))], "none"
    if isinstance(passband, Mapping):
        raise ValueError(
            "Several passbands need a camera with a mosaic. Give one, or set camera.mosaic."
        )
    band = PASSBANDS[passband] if isinstance(passband, str) else passband
    return [band.request()], band.name


def _header(
    telescope: SimulatedTelescope,
    camera: SimulatedCamera,
    label: str,
    exposure: u.Quantity,
    focus_position: u.Quantity,
    start: str | datetime | Time,
    seed: int,
) -> fits.Header:
    """Cards of a drawn frame, in the keywords that real cameras' programs write."""
    header = fits.Header()
    header["OBJECT"] = ("simulated", "drawn, not observed")
    header["TELESCOP"] = (telescope.name, "invented instrument")
    header["INSTRUME"] = (camera.name, "invented camera")
    header["APTDIA"] = (_in(telescope.aperture, "mm"), "[mm] aperture")
    header["FOCALLEN"] = (_in(telescope.focal_length, "mm"), "[mm] focal length")
    header["DATE-OBS"] = (_moment(start).isoformat(), "start of the exposure")
    header["TIMESYS"] = "UTC"
    header["EXPTIME"] = (_in(exposure, "s"), "[s] exposure")
    header["FILTER"] = (label, "filter")
    header["EGAIN"] = (_in(camera.gain, "electron/adu"), "[electron/adu] conversion factor")
    header["GAIN"] = (_in(camera.gain, "electron/adu"), "[electron/adu] conversion factor")
    header["RDNOISE"] = (_in(camera.read_noise, "electron"), "[electron] read noise")
    header["XPIXSZ"] = (_in(camera.pitch, "um"), "[um] pixel pitch")
    header["YPIXSZ"] = (_in(camera.pitch, "um"), "[um] pixel pitch")
    header["XBINNING"] = 1
    header["YBINNING"] = 1
    header["FOCUSPOS"] = (round(_in(focus_position, "um"), 3), "[um] grows away from the objective")
    header["FOCUSSSZ"] = (1.0, "[um] one step of the focuser")
    if camera.mosaic:
        header["BAYERPAT"] = (camera.mosaic, "colors of the first two stored rows")
    header["SIMSEED"] = (seed, "seed of the simulated noise")
    return header


def _wcs(telescope: SimulatedTelescope, camera: SimulatedCamera, center: SkyCoord) -> WCS:
    """Gnomonic projection about the middle, north up, east left."""
    scale = math.degrees(_in(camera.pitch, "mm") / _in(telescope.focal_length, "mm"))
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crpix = [(camera.shape[1] + 1) / 2, (camera.shape[0] + 1) / 2]
    wcs.wcs.cdelt = [-scale, scale]
    wcs.wcs.crval = [center.ra.deg, center.dec.deg]
    wcs.wcs.radesys = "ICRS"
    return wcs

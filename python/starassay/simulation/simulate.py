"""Frames of invented telescopes with known truth: for the demo, the classroom and the tests.

The engine draws them (`docs/simulation.md`); this module turns Astropy's quantities into its requests
and its arrays into `~astropy.nddata.CCDData` with honest headers.

>>> from starassay import SimulatedCamera, juniper_115
>>> frame, truth = draw_star_field(
...     juniper_115(), stars=20, camera=SimulatedCamera(shape=(96, 128)), seed=3
... )  # doctest: +SKIP
"""

from __future__ import annotations

import dataclasses
import inspect
import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from astropy import units as u
from astropy.coordinates import SkyCoord
from astropy.io import fits
from astropy.nddata import CCDData
from astropy.table import QTable, Table
from astropy.time import Time
from astropy.wcs import WCS

from .. import _gateway
from .._units import choice, flag, instance, integer, number, numbers, pair, quantity, several, text
from ..errors import InputError
from .instruments import (
    PASSBANDS,
    Passband,
    SimulatedCamera,
    SimulatedSky,
    SimulatedTelescope,
)
from ..results import notes_from_engine

FIRST_LIGHT = "2026-03-14T20:30:00"


def moment(start: str | datetime | Time, minutes: float = 0.0) -> datetime:
    """A start time some minutes later; plain `datetime`, which needs no table of leap seconds."""
    text = start.isot if isinstance(start, Time) else start
    try:
        begin = datetime.fromisoformat(text) if isinstance(text, str) else text
        return begin + timedelta(minutes=minutes)
    except (TypeError, ValueError, OverflowError):
        raise InputError(
            f'start is {start!r}; write it like "{FIRST_LIGHT}".',
            code="simulation.start",
            argument="start",
        ) from None


def instruments_of(
    telescope: Any, camera: Any, sky: Any
) -> tuple[SimulatedTelescope, SimulatedCamera, SimulatedSky]:
    """What is drawn with, the usual camera and sky where none are given."""
    return (
        instance(telescope, SimulatedTelescope, "telescope", "juniper_115()"),
        SimulatedCamera()
        if camera is None
        else instance(camera, SimulatedCamera, "camera", "SimulatedCamera(shape=(900, 1200))"),
        SimulatedSky()
        if sky is None
        else instance(sky, SimulatedSky, "sky", "SimulatedSky(seeing=2 * u.arcsec)"),
    )


def _band(passband: Any) -> Passband:
    """A passband, by its name or as it is."""
    if isinstance(passband, Passband):
        return passband
    return PASSBANDS[choice(passband, tuple(PASSBANDS), "passband")]


def _speck(one: Any) -> list[Any]:
    """x, y, distance and depth of a speck of dust."""
    listed = several(one, "dust")
    if len(listed) != 4:
        raise InputError(
            f"dust holds {len(listed)} values for a speck; give x, y, distance and depth.",
            code="simulation.dust",
            argument="dust",
        )
    return listed


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
    start: str | datetime | Time = FIRST_LIGHT,
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
    telescope, camera, sky = instruments_of(telescope, camera, sky)
    bands, label = _bands(passband, camera)
    moment(start)
    flag(progress, "progress")
    if center is not None:
        instance(center, SkyCoord, "center", "SkyCoord('05h32m +12d30m')")
    request: dict[str, Any] = {
        "telescope": telescope.request(),
        "sky": sky.request(),
        "detector": camera.request(),
        "passbands": bands,
        "exposure_s": number(exposure, "s", "exposure"),
        "focus_position_um": number(focus_position, "um", "focus_position"),
        "faintest_rate": number(pair(rates, "rates")[0], "", "rates"),
        "brightest_rate": number(pair(rates, "rates")[1], "", "rates"),
        "separation_pix": number(separation, "pix", "separation"),
        "cosmic_rays": integer(cosmic_rays, "cosmic_rays"),
        "seed": integer(seed, "seed"),
        "star_seed": integer(seed if star_seed is None else star_seed, "star_seed"),
        "nodes_x": integer(pair(nodes, "nodes")[0], "nodes"),
        "nodes_y": integer(pair(nodes, "nodes")[1], "nodes"),
    }
    if isinstance(stars, Table):
        lacking = {"x", "y", "rate"} - set(stars.colnames)
        if lacking:
            raise InputError(
                f"stars lacks the column {sorted(lacking)[0]!r}; it needs x, y and rate.",
                code="simulation.stars",
                argument="stars",
            )
        request["x"] = numbers(stars["x"], "pix", "stars")
        request["y"] = numbers(stars["y"], "pix", "stars")
        request["electron_rates"] = [float(v) for v in u.Quantity(stars["rate"]).value]
    else:
        request["random_stars"] = integer(stars, "stars")
    image = np.empty(camera.shape, np.uint16)
    truth = _gateway.call(
        "simulation.star-field", request, outputs={"image": image}, progress=progress
    )
    header = frame_header(telescope, camera, label, exposure, focus_position, start, seed)
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
            "seeing_arcsec": number(sky.seeing, "arcsec", "seeing"),
            "focus_position_um": number(focus_position, "um", "focus_position"),
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
    start: str | datetime | Time = FIRST_LIGHT,
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
    telescope, _, sky = instruments_of(telescope, None, options.pop("sky", None))
    unknown = set(options) - set(inspect.signature(draw_star_field).parameters)
    if unknown:
        raise InputError(
            f"draw_focus_run has no option {sorted(unknown)[0]!r}; its options are those of draw_star_field.",
            code="simulation.option",
            argument=sorted(unknown)[0],
        )
    scatter, seed = number(seeing_scatter, "", "seeing_scatter"), integer(seed, "seed")
    seeing_now = quantity(sky.seeing, u.arcsec, "seeing")
    places = positions
    if not isinstance(positions, (u.Quantity, str)):
        listed = several(positions, "positions")
        bare = not any(isinstance(p, (u.Quantity, str)) for p in listed)
        places = [number(p, "", "positions") for p in listed] * u.um if bare else listed
    shifts = numbers(places, u.um, "positions")
    generator = np.random.default_rng(seed)
    frames = []
    for k, position in enumerate(shifts):
        seeing = seeing_now * math.exp(scatter * generator.standard_normal())
        frames.append(
            draw_star_field(
                telescope,
                sky=dataclasses.replace(sky, seeing=seeing),
                focus_position=position * u.um,
                seed=seed * 1000 + k,
                star_seed=options.get("star_seed", seed),
                start=moment(start, k),
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
    start: str | datetime | Time = FIRST_LIGHT,
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
    telescope, camera, sky = instruments_of(telescope, camera, sky)
    band = _band(passband)
    places = [pair(one, "offsets") for one in pair(offsets, "offsets")]
    size = integer(size, "size")
    moment(start)
    if not 1 <= size <= 20_000:
        raise InputError(f"size is {size}; give the side of the frame in pixels.", argument="size")
    if isinstance(defocus, (u.Quantity, str)):
        shift = number(defocus, "um", "defocus")
    else:
        shift = number(defocus, "", "defocus") * 0.54 * 8 * telescope.focal_ratio**2
    frames: list[CCDData] = []
    facts: list[dict[str, Any]] = []
    for k, sign in enumerate((-1, 1)):
        image = np.empty((size, size), np.uint16)
        request = {
            "telescope": telescope.request(),
            "sky": sky.request(),
            "detector": camera.request((size, size)),
            "passband": band.request(),
            "electrons": number(electrons, "electron", "electrons")
            if isinstance(electrons, u.Quantity)
            else number(electrons, "", "electrons"),
            "exposure_s": number(exposure, "s", "exposure"),
            "focus_position_um": sign * shift,
            "offset_x_pix": number(places[k][0], "pix", "offsets"),
            "offset_y_pix": number(places[k][1], "pix", "offsets"),
            "field_x_mm": number(pair(field_position, "field_position")[0], "mm", "field_position"),
            "field_y_mm": number(pair(field_position, "field_position")[1], "mm", "field_position"),
            "seed": 2 * integer(seed, "seed") + k,
            "cosmic_rays": integer(cosmic_rays, "cosmic_rays"),
        }
        facts.append(_gateway.call("simulation.single-star", request, outputs={"image": image}))
        header = frame_header(
            telescope,
            camera,
            band.name,
            exposure,
            sign * shift * u.um,
            moment(start, 2 * k),
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
    start: str | datetime | Time = FIRST_LIGHT,
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
    telescope, camera, _ = instruments_of(telescope, camera, None)
    moment(start)
    text(filter_name, "filter_name")
    image = np.empty(camera.shape, np.uint16)
    request = {
        "telescope": telescope.request(),
        "detector": camera.request(),
        "level_electrons": number(level, "electron", "level"),
        "exposure_s": number(exposure, "s", "exposure"),
        "gradient_x": number(pair(gradient, "gradient")[0], "", "gradient"),
        "gradient_y": number(pair(gradient, "gradient")[1], "", "gradient"),
        "dust": [
            {
                "x": number(x, "pix", "dust"),
                "y": number(y, "pix", "dust"),
                "distance_mm": number(d, "mm", "dust"),
                "depth": number(depth, "", "dust"),
            }
            for x, y, d, depth in map(_speck, several(dust, "dust"))
        ],
        "seed": integer(seed, "seed"),
        "cosmic_rays": integer(cosmic_rays, "cosmic_rays"),
    }
    truth = _gateway.call("simulation.flat", request, outputs={"image": image})
    header = frame_header(telescope, camera, filter_name, exposure, 0 * u.um, start, seed)
    dark = number(level, "electron", "level") == 0
    kind = "FLAT" if not dark else "BIAS" if number(exposure, "s", "exposure") == 0 else "DARK"
    header["IMAGETYP"] = (kind, "kind of frame")
    header["SATURATE"] = (truth["saturation_adu"], "[adu] level where pixels are clipped")
    truth["telescope"] = telescope.name
    return CCDData(image, unit=u.adu, meta=header), truth


def _bands(
    passband: str | Passband | Mapping[str, Passband], camera: SimulatedCamera
) -> tuple[list[dict[str, Any]], str]:
    """Requests of the passbands, and the name for the header."""
    if camera.mosaic:
        colors = passband if isinstance(passband, Mapping) else PASSBANDS
        if not isinstance(passband, (str, Mapping)):
            _band(passband)
        for c in sorted(set(camera.mosaic)):
            choice(c, tuple(colors), "mosaic")
        return [colors[c].request(c) for c in sorted(set(camera.mosaic))], "none"
    if isinstance(passband, Mapping):
        raise InputError(
            "Several passbands need a camera with a mosaic. Give one, or set camera.mosaic.",
            code="simulation.passband",
            argument="passband",
        )
    band = _band(passband)
    return [band.request()], band.name


def frame_header(
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
    header["APTDIA"] = (number(telescope.aperture, "mm", "aperture"), "[mm] aperture")
    header["FOCALLEN"] = (number(telescope.focal_length, "mm", "focal_length"), "[mm] focal length")
    header["DATE-OBS"] = (moment(start).isoformat(), "start of the exposure")
    header["TIMESYS"] = "UTC"
    header["EXPTIME"] = (number(exposure, "s", "exposure"), "[s] exposure")
    header["FILTER"] = (label, "filter")
    header["EGAIN"] = (
        number(camera.gain, "electron/adu", "gain"),
        "[electron/adu] conversion factor",
    )
    header["GAIN"] = (
        number(camera.gain, "electron/adu", "gain"),
        "[electron/adu] conversion factor",
    )
    header["RDNOISE"] = (
        number(camera.read_noise, "electron", "read_noise"),
        "[electron] read noise",
    )
    header["XPIXSZ"] = (number(camera.pitch, "um", "pitch"), "[um] pixel pitch")
    header["YPIXSZ"] = (number(camera.pitch, "um", "pitch"), "[um] pixel pitch")
    header["XBINNING"] = 1
    header["YBINNING"] = 1
    header["FOCUSPOS"] = (
        round(number(focus_position, "um", "focus_position"), 3),
        "[um] grows away from the objective",
    )
    header["FOCUSSSZ"] = (1.0, "[um] one step of the focuser")
    if camera.mosaic:
        header["BAYERPAT"] = (camera.mosaic, "colors of the first two stored rows")
    header["SIMSEED"] = (seed, "seed of the simulated noise")
    return header


def _wcs(telescope: SimulatedTelescope, camera: SimulatedCamera, center: SkyCoord) -> WCS:
    """Gnomonic projection about the middle, north up, east left."""
    scale = math.degrees(
        number(camera.pitch, "mm", "pitch") / number(telescope.focal_length, "mm", "focal_length")
    )
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crpix = [(camera.shape[1] + 1) / 2, (camera.shape[0] + 1) / 2]
    wcs.wcs.cdelt = [-scale, scale]
    wcs.wcs.crval = [center.ra.deg, center.dec.deg]
    wcs.wcs.radesys = "ICRS"
    return wcs

"""Star fields and focus runs of invented telescopes with known truth: for the demo, the classroom and the tests.

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
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np
from astropy import units as u
from astropy.coordinates import SkyCoord
from astropy.nddata import CCDData
from astropy.table import QTable, Table
from astropy.time import Time
from astropy.wcs import WCS

from .. import _gateway
from .._units import choice, flag, instance, integer, number, numbers, pair, quantity, several
from ..errors import InputError
from .headers import FIRST_LIGHT, band_of, frame_header, instruments_of, moment
from .instruments import PASSBANDS, Passband, SimulatedCamera, SimulatedSky, SimulatedTelescope
from ..results import notes_from_engine


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


def _bands(
    passband: str | Passband | Mapping[str, Passband], camera: SimulatedCamera
) -> tuple[list[dict[str, Any]], str]:
    """Requests of the passbands, and the name for the header."""
    if camera.mosaic:
        colors = passband if isinstance(passband, Mapping) else PASSBANDS
        if not isinstance(passband, (str, Mapping)):
            band_of(passband)
        for c in sorted(set(camera.mosaic)):
            choice(c, tuple(colors), "mosaic")
        return [colors[c].request(c) for c in sorted(set(camera.mosaic))], "none"
    if isinstance(passband, Mapping):
        raise InputError(
            "Several passbands need a camera with a mosaic. Give one, or set camera.mosaic.",
            code="simulation.passband",
            argument="passband",
        )
    band = band_of(passband)
    return [band.request()], band.name


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

"""What all drawn frames share: their start, what they are drawn with, and honest headers."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from astropy import units as u
from astropy.io import fits
from astropy.time import Time

from .._units import choice, instance, number
from ..errors import InputError
from .instruments import PASSBANDS, Passband, SimulatedCamera, SimulatedSky, SimulatedTelescope

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


def band_of(passband: Any) -> Passband:
    """A passband, by its name or as it is."""
    if isinstance(passband, Passband):
        return passband
    return PASSBANDS[choice(passband, tuple(PASSBANDS), "passband")]


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

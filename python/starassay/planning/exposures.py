"""What a star gives through a telescope: the engine's answer with units (`StarExposure` in the engine)."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

from astropy import units as u

from .. import _gateway, _records
from ..optics.telescope import Telescope

#: Exposures that cameras are set to, seconds.
_SETTINGS = (
    *(0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 3.0, 5.0, 8.0, 10.0, 15.0),
    *(20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 90.0, 120.0, 180.0, 240.0, 300.0),
)


@dataclasses.dataclass(frozen=True)
class Setup:
    """What stands behind every exposure of a plan.

    Attributes
    ----------
    telescope : Telescope
        What gathers the light.
    pitch, gain, read_noise, well : Quantity
        Of the camera; `well` is what a pixel holds before it clips.
    efficiency : float
        Electrons for a photon at the objective: optics, filter and detector.
    seeing : Quantity
        FWHM in the zenith at 500 nm.
    """

    telescope: Telescope
    pitch: u.Quantity
    gain: u.Quantity
    read_noise: u.Quantity
    well: u.Quantity
    efficiency: float
    seeing: u.Quantity

    def star(
        self,
        v: float,
        kelvin: float,
        altitude: float,
        wavelength: u.Quantity,
        width: u.Quantity,
        *,
        level: float,
        wanted: float,
        waves: float = 0.0,
        dispersion: u.Quantity | None = None,
        wavefront: Mapping[int, float] | None = None,
    ) -> _records.StarExposure:
        """What a star gives.

        Parameters
        ----------
        v, kelvin, altitude : float
            Magnitude, temperature, degrees above the horizon.
        wavelength, width : Quantity
            Of the filter.
        level : float
            Share of the full well that the brightest pixel may reach.
        wanted : float
            Electrons that an image is to hold.
        waves : float
            Defocus.
        dispersion : Quantity, optional
            For a spectrum without a slit.
        wavefront : mapping of int to float
            Noll number to nm.
        """
        request = {
            "aperture_mm": self.telescope.aperture.to_value(u.mm),
            "focal_length_mm": self.telescope.focal_length.to_value(u.mm),
            "pupil": self.telescope.pupil_request(),
            "noll": list(wavefront or ()),
            "coefficients_nm": list((wavefront or {}).values()),
            "pitch_um": self.pitch.to_value(u.um),
            "magnitude": v,
            "temperature_kelvin": kelvin,
            "wavelength_nm": wavelength.to_value(u.nm),
            "bandwidth_nm": width.to_value(u.nm),
            "efficiency": self.efficiency,
            "altitude_deg": altitude,
            "seeing_arcsec": self.seeing.to_value(u.arcsec),
            "level_electrons": level * self.well.to_value(u.electron),
            "wanted_electrons": wanted,
            "defocus_waves": waves,
            "dispersion_nm_per_px": 0.0
            if dispersion is None
            else dispersion.to_value(u.nm / u.pix),
        }
        return _records.StarExposure.from_engine(_gateway.call("optics.star-exposure", request))


def camera_setting(wanted: float, most: float | None = None) -> float:
    """The usual setting for so many seconds: the next longer one where that may be, else the longest that may be.

    Parameters
    ----------
    wanted : float
        Seconds that are wanted.
    most : float, optional
        Seconds that it may take; no more than is wanted by default.
    """
    most = wanted if most is None else most
    allowed = [s for s in _SETTINGS if s <= most * 1.0001] or [_SETTINGS[0]]
    return min((s for s in allowed if s >= wanted * 0.9999), default=allowed[-1])

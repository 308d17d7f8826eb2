"""How long the Moon's limb may be exposed (`Moonlight` in the engine)."""

from __future__ import annotations

from astropy import units as u

from .. import _gateway
from .exposures import Setup


def limb_exposure(setup: Setup, lit: float, level: float = 0.7) -> float:
    """Seconds until the bright limb reaches a share of the full well, without a filter.

    Parameters
    ----------
    setup : Setup
        Telescope and camera.
    lit : float
        Lit share of the disc.
    level : float
        Share of the full well.
    """
    record = _gateway.call(
        "optics.moon-limb",
        {
            "aperture_mm": setup.telescope.aperture.to_value(u.mm),
            "focal_length_mm": setup.telescope.focal_length.to_value(u.mm),
            "obstruction": setup.telescope.obstruction,
            "pitch_um": setup.pitch.to_value(u.um),
            "efficiency": setup.efficiency,
            "level_electrons": level * setup.well.to_value(u.electron),
            "lit_share": lit,
        },
    )
    return float(record["longest_s"])

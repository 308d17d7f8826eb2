"""Pairs that are still to be taken: what they need, and what they would decide."""

from __future__ import annotations

import math
from collections.abc import Sequence

from astropy import units as u

from ... import _gateway
from .._planning import STAR, Limit, Recipe, SimulatedQuantity, Situation

#: Strehl ratio that is assumed when no claim says how good the telescope is to be.
_USUAL_STREHL = 0.97


def assume(limits: Sequence[Limit], wavelength_nm: float, strehl: float | None) -> dict[int, float]:
    """Astigmatism, coma and spherical aberration in equal parts, as large as a Strehl ratio allows.

    Parameters
    ----------
    limits : sequence of Limit
        Of the claims: without a Strehl ratio the telescope is taken to lie half as far from perfect as the
        strictest of them allows.
    wavelength_nm : float
        At which the Strehl ratio holds.
    strehl : float or None
        The assumed one.
    """
    # Inverted from the exponential law, which is within 0.001 of the exact ratio above 0.8 (Mahajan 1982).
    waves = wavelength_nm / (2 * math.pi)
    if strehl is not None:
        rms = waves * math.sqrt(-math.log(strehl))
    else:
        allowed = [
            waves * math.sqrt(-math.log(1 - (1 - x.low) / 2))
            for x in limits
            if x.quantity == "strehl" and 0 < x.low < 1
        ]
        allowed += [
            x.high / 2 for x in limits if x.quantity == "wavefront_rms" and math.isfinite(x.high)
        ]
        allowed += [
            x.high / 2 * math.sqrt(3)
            for x in limits
            if x.quantity in ("spherical", "coma", "astigmatism") and math.isfinite(x.high)
        ]
        rms = min(allowed, default=waves * math.sqrt(-math.log(_USUAL_STREHL)))
    each = rms / math.sqrt(3)
    return {6: -each, 8: each, 11: each}


def simulate(situation: Situation) -> tuple[dict[str, SimulatedQuantity], list[str]]:
    """Nights from the covariance of fits to drawn pairs (`wavefront.plan` of the engine).

    Parameters
    ----------
    situation : Situation
        What is planned.
    """
    s = situation
    found = _gateway.call(
        "wavefront.plan",
        {
            "aperture_mm": s.telescope.aperture.to_value(u.mm),
            "focal_length_mm": s.telescope.focal_length.to_value(u.mm),
            "pupil": s.telescope.pupil_request(),
            "wavelength_nm": s.wavelength.to_value(u.nm),
            "noll": list(s.wavefront),
            "coefficients_nm": list(s.wavefront.values()),
            "pitch_um": s.pitch.to_value(u.um),
            "gain_electrons_per_adu": s.gain.to_value(u.electron / u.adu),
            "read_noise_electrons": s.read_noise.to_value(u.electron),
            "defocus_um": s.defocus.to_value(u.um),
            "light_electrons": s.electrons,
            "exposure_s": s.exposure.to_value(u.s),
            "seeing_arcsec": s.seeing.to_value(u.arcsec),
            "most_pairs": s.most,
            "draws": 3,
            "nights": 300,
        },
    )
    doubts = []
    if found["doubted"]:
        doubts.append(
            f"{found['doubted']} of {found['draws']} pairs drawn for the plan were in doubt and would decide nothing: "
            f"{found['doubts'][0]}"
        )
    return {
        q["name"]: SimulatedQuantity(q["truth"], q["values"], q["uncertainties"])
        for q in found["quantities"]
    }, doubts


RECIPE = Recipe(
    target=STAR,
    order=30,
    count=3,
    counted="pairs",
    images=2,
    instructions=(
        "Focus on {name}, then move the sensor {defocus} inwards, take {exposure}; {defocus} outwards from focus, take "
        "{exposure}. That is one pair; do it {count} times, focus in between. Discs are {blur} pixels wide. Stay on "
        "the axis, guide or track, and give the focuser's readings to the headers."
    ),
    reason="three or more, since their scatter alone shows what the air wrote into the result",
    exposure=20.0,
    longest=60.0,
    wanted=1e7,
    level=0.5,
    narrow=True,
    defocus_waves=7.0,
    assume=assume,
    simulate=simulate,
)

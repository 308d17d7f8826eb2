"""What the doors know of this measurement."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..._records import KNOWN_TO, MEASUREMENTS, WAVEFRONT_REQUEST
from ...imaging.glances import Glance
from .._declaring import IN_FILE, Measurement, Option, Part, Role, Setup, in_file, options
from .._drafting import Draft, paths, titled, together
from .planning import RECIPE

_INSIDE = "star with the sensor nearer to the objective than best focus"
_OUTSIDE = "the same star with the sensor farther away, one for each inside"


def measure(setup: Setup) -> list[Part]:
    """All pairs of an entry in one fit, which also fits each pair alone."""
    from . import fit_wavefront

    assert setup.telescope is not None
    given = dict(setup.options)
    how = in_file(given)
    defocus = given.pop("defocus", None)
    if defocus is not None and "distances" not in given:
        given["distances"] = [-defocus, defocus] * len(setup.files["inside"])
    fit = fit_wavefront(
        setup.frames("inside", **how),
        setup.frames("outside", **how),
        setup.telescope,
        wavelength=given.pop("wavelength"),
        threads=setup.threads,
        progress=setup.progress,
        **given,
    )
    pairs = len(fit.images) // 2
    return [Part(f"{pairs} pair{'s' if pairs > 1 else ''} at {fit.wavelength:.4g}", fit)]


def draft(glances: Sequence[Glance]) -> list[Draft]:
    """Stars out of focus, as many from inside as from outside; sides by name, else by the focuser."""
    found = []
    for discs in together(glances, "disc"):
        inside, outside, how = _sides(discs)
        pairs = min(len(inside), len(outside))
        if pairs == 0:
            continue
        files = {"inside": paths(inside[:pairs]), "outside": paths(outside[:pairs])}
        remarks = [how] if how else []
        if len(inside) != len(outside):
            remarks.append(
                f"{abs(len(inside) - len(outside))} frame(s) without a partner were left out."
            )
        found.append(
            Draft(
                titled("Star inside and outside of focus", discs),
                files,
                discs[0].facts.filter,
                remarks=tuple(remarks),
            )
        )
    return found


def _sides(discs: Sequence[Glance]) -> tuple[list[Glance], list[Glance], str]:
    """Frames from inside and from outside of focus, and how that was told; "" when their names say it."""
    inside = [one for one in discs if "inside" in one.words or "intra" in one.words]
    outside = [one for one in discs if "outside" in one.words or "extra" in one.words]
    if len(inside) + len(outside) == len(discs) and inside and outside:
        return inside, outside, ""
    places = [one.facts.focus_position for one in discs]
    if all(place is not None for place in places):
        at = np.array([place.value for place in places if place is not None])
        low = at < (at.min() + at.max()) / 2
        return (
            [one for one, is_low in zip(discs, low) if is_low],
            [one for one, is_low in zip(discs, low) if not is_low],
            "The smaller focuser readings were taken for inside: check that they grow away from the objective.",
        )
    return (
        list(discs[::2]),
        list(discs[1::2]),
        "Neither names nor headers say which frames are from inside focus: taken in turns, inside first. Check it.",
    )


MEASUREMENT = Measurement(
    area="wavefront",
    title=MEASUREMENTS["wavefront"][0],
    help="Zernike coefficients, RMS, PV and Strehl ratio from a star inside and outside of focus.",
    example=(
        "starassay measure wavefront inside.fits outside.fits "
        "--aperture 115mm --focal-length 760mm --wavelength 540nm"
    ),
    roles=(Role("inside", _INSIDE), Role("outside", _OUTSIDE)),
    options=options(
        WAVEFRONT_REQUEST,
        "wavelength weights pitch distances orientation seeing hold_seeing jitter least_noll most_noll",
        Option(
            "wavelength",
            "numbers",
            "middle of the narrow filter, or several wavelengths of its band",
            "nm",
            required=True,
            repeat=True,
        ),
        Option(
            "defocus",
            "number",
            "how far the sensor was moved to either side of best focus; compared with what the images show",
            "mm",
            low=0.0,
        ),
        *(
            Option.of(KNOWN_TO[name], name=f"{name}_uncertainty")
            for name in (
                *("scale", "wavelength", "obstruction", "vane_width", "band"),
                *("response", "linearity", "trail", "shadow_place"),
            )
        ),
        *IN_FILE,
    ),
    measure=measure,
    draft=draft,
    recipe=RECIPE,
    telescope="aperture focal_length [obstruction] [vanes]",
    light="wavelength",
    light_needed=True,
    pairs=True,
    words={
        "Wavefront error": (
            "Path difference of the light at the exit pupil against a perfect sphere, in "
            "nm; positive where the wave is ahead. RMS is its root mean square over the "
            "pupil, PV the distance from the lowest to the highest point. Neither can be "
            "had from the other."
        ),
        "Strehl ratio": (
            "Peak of a star's image over that of a perfect telescope of the same pupil, "
            "at a stated wavelength: 1 is perfect, 0.80 is commonly called diffraction "
            "limited."
        ),
        "Zernike coefficient": (
            "Size of one standard shape of the wavefront error, in nm RMS. Two numberings "
            "are in use (OSA/ANSI and Noll); both are given."
        ),
        "Inside, outside focus": (
            "The sensor nearer to, or farther from, the objective than best focus."
        ),
    },
    caveat=(
        "The wavefront holds at its wavelength, on the axis, at the temperature of that "
        "night. It is that of the whole train: objective, focuser, adapters, filter and "
        "the air in the tube."
    ),
)

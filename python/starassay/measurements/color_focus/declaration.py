"""What the doors know of this measurement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from astropy import units as u

from ..._records import COLOR_FOCUS_REQUEST, MEASUREMENTS
from ...imaging.glances import Glance
from ...imaging.focus_positions import positions_complaint
from .._declaring import (
    FOCUS_RUN,
    IN_FILE,
    Measurement,
    Option,
    Part,
    Role,
    Setup,
    in_file,
    options,
)
from .._drafting import Draft, paths, step_asked, titled, together
from .planning import RECIPE

#: Band of the figures of merit where none is named.
BAND = [400, 700] * u.nm

#: Lamps and lines that wavelengths can be taken from.
LINES = ("Ne", "Ar", "Hg", "He", "Kr", "Cd", "Xe", "H", "telluric")


def measure(setup: Setup) -> list[Part]:
    """Wavelengths from the lamp or the star's own lines, then the curve of all spectra together."""
    from . import calibrate_wavelengths, measure_color_focus, reduce_spectrum

    assert setup.telescope is not None
    given: dict[str, Any] = dict(setup.options)
    how = in_file(given)
    frames = setup.frames("frames", **how)
    axis = given.pop("axis", "auto")
    if axis == "auto":
        # A spectrum is longer than it is high.
        axis = "x" if frames[0].shape[1] >= frames[0].shape[0] else "y"
    scale_options = {key: given.pop(key) for key in ("dispersion", "max_degree") if key in given}
    lamps, star = given.pop("lamps", ["Ne"]), given.pop("star", None)
    spectrum = reduce_spectrum(frames[0], axis=axis, row=given.get("row"), line_depth=0.0)
    given.setdefault("band", BAND)
    if "limits" not in given:
        # A little more than is asked for, so that its ends are no ends of the curve.
        given["limits"] = given["band"] + [-10, 20] * u.nm
    lamp = setup.frames("lamp", **how)
    if lamp:
        scale = calibrate_wavelengths(
            lamp[0], lamps=lamps, axis=axis, trace=spectrum, **scale_options
        )
    else:
        scale = calibrate_wavelengths(spectrum, star=True, **scale_options)
    curve = measure_color_focus(
        frames,
        wavelengths=scale,
        focal_ratio=setup.telescope.focal_ratio,
        focal_length=setup.telescope.focal_length,
        obstruction=setup.telescope.obstruction,
        axis=axis,
        threads=setup.threads,
        progress=setup.progress,
        **given,
    )
    curve.conditions["star"] = star
    curve.conditions["lines"] = len(scale.line_column)
    curve.conditions["scale_rms"] = scale.rms
    return [Part(f"{len(frames)} spectra" if len(frames) > 1 else frames[0].name, curve)]


def check(
    files: Mapping[str, Sequence[Path]], options: Mapping[str, Any]
) -> tuple[str, str] | None:
    """One position a frame, from the options or from the headers, and ranges the right way round."""
    # A single spectrum needs no position.
    if len(files["frames"]) > 1 or "positions" in options:
        if complaint := positions_complaint(files["frames"], options):
            return complaint
    for name in ("dispersion", "band", "limits"):
        if name in options and not 0 < options[name][0] < options[name][1]:
            return name, "give the two ends of the range, the smaller first."
    return None


def draft(glances: Sequence[Glance]) -> list[Draft]:
    """Spectra of each star, with the lamp that was taken nearest to them."""
    found = []
    for spectra in together(glances, "trace"):
        lamps = [x for x in glances if x.shows == "lines" and x.shape == spectra[0].shape]
        files = {"frames": paths(spectra)} | ({"lamp": paths(lamps[:1])} if lamps else {})
        asks = {"dispersion": 'least and greatest, such as ["0.6 nm/pix", "0.9 nm/pix"]'}
        if lamps:
            asks["lamps"] = 'elements of the lamp, such as ["Hg", "Ne"]'
        if len(spectra) > 1 and any(one.facts.focus_position is None for one in spectra):
            asks["positions"] = (
                "sensor position of each, growing away from the objective, such as "
                '["-200 um", "0 um", "200 um"]'
            )
        else:
            asks |= step_asked(spectra)
        found.append(Draft(titled("Spectra", spectra), files, asks=asks))
    return found


MEASUREMENT = Measurement(
    area="color_focus",
    title=MEASUREMENTS["color_focus"][0],
    help="Focus of every color from one spectrum of a star or a focus run of them.",
    example=(
        "starassay measure color-focus s-1.fits s-2.fits s-3.fits --positions -200um 0um 200um "
        "--aperture 115mm --focal-length 760mm --lamp lamp.fits --lamps Hg Ne "
        "--dispersion 0.6nm/pix 0.9nm/pix --grating-lines 100/mm --grating-distance 50mm"
    ),
    roles=(
        Role("frames", "spectra of a star: one, or those of a focus run"),
        Role("lamp", "a lamp through the same setup (default: the star's own lines)", False, True),
    ),
    options=options(
        COLOR_FOCUS_REQUEST,
        "positions defocus sign_hint reference limits band disperser grating_lines grating_distance "
        "order_filter shortest_light instrument_blur replicates seed",
        *IN_FILE,
        *FOCUS_RUN,
        Option(
            "defocus",
            "number",
            "how far one spectrum was set out of focus on purpose: positive when the sensor was moved "
            "away from the objective",
            "um",
        ),
        Option("limits", "numbers", "wavelengths to measure", "nm", 2),
        Option(
            "band",
            "numbers",
            "wavelengths for which figures of merit are given (default 400nm 700nm)",
            "nm",
            2,
        ),
        Option(
            "dispersion",
            "numbers",
            "rough dispersion, least and greatest",
            "nm / pix",
            2,
            required=True,
        ),
        Option("lamps", "texts", "elements of the lamp, such as Hg Ne", choices=LINES),
        Option("max_degree", "integer", "highest degree of the wavelength polynomial"),
        Option(
            "axis",
            "choice",
            "axis of the frame along which wavelengths run",
            choices=("x", "y", "auto"),
            default="auto",
        ),
        Option(
            "row",
            "number",
            "where the wanted spectrum crosses the middle of the frame (default: the brightest)",
            "pix",
        ),
        Option("star", "text", "spectral type of the star, for the report"),
    ),
    measure=measure,
    draft=draft,
    recipe=RECIPE,
    check=check,
    telescope="aperture focal_length [obstruction]",
    words={
        "Color focus curve": (
            "Best-focus position against wavelength, zero at the reference wavelength."
        ),
        "In-focus fraction": (
            "Share of a star's detected light whose defocus stays within two wavelengths "
            "times the squared focal ratio."
        ),
    },
    caution=(
        "Calibration lamps.",
        "Discharge lamps run on high voltage: enclosed, rated supply; disconnect before touching. Mercury "
        "tubes emit ultraviolet; keep them housed and below eye height.",
    ),
)

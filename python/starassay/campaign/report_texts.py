"""The standing texts of a report: its words, how far it goes, and the cautions that apply."""

from __future__ import annotations

from .outcome import Outcome

_GLOSSARY = {
    "wavefront": {
        "Wavefront error": "Path difference of the light at the exit pupil against a perfect sphere, in nm; positive "
        "where the wave is ahead. RMS is its root mean square over the pupil, PV the distance from the lowest to the "
        "highest point. Neither can be had from the other.",
        "Strehl ratio": "Peak of a star's image over that of a perfect telescope of the same pupil, at a stated "
        "wavelength: 1 is perfect, 0.80 is commonly called diffraction limited.",
        "Zernike coefficient": "Size of one standard shape of the wavefront error, in nm RMS. Two numberings are in "
        "use (OSA/ANSI and Noll); both are given.",
        "Inside, outside focus": "The sensor nearer to, or farther from, the objective than best focus.",
    },
    "stars": {
        "FWHM": "Full width of a star's profile at half of its height, from a fitted Moffat profile.",
        "HFR": "Half-flux radius: radius of the circle round a star's center that holds half of its light.",
        "Ellipticity": "1 - b/a of the star's shape: 0 is round. Radial means drawn out along the line to the "
        "middle of the field, tangential across it.",
    },
    "color_focus": {
        "Color focus curve": "Best-focus position against wavelength, zero at the reference wavelength.",
        "In-focus fraction": "Share of a star's detected light whose defocus stays within two wavelengths times the "
        "squared focal ratio.",
    },
    "": {
        "Standard uncertainty": "The ± after a value: about two thirds of true values lie within it, 95 % within twice it.",
        "Guard band": "Distance from a limit within which the measurement cannot tell the sides apart at the agreed risk.",
        "Claim, requirement": "What the maker or seller states; what the user needs.",
    },
}


def caveats(outcome: Outcome) -> list[str]:
    """How far the report goes."""
    scope, kinds = outcome.campaign.telescope, _kinds(outcome)
    lines = [
        f"This is one sample of the {scope.name}"
        + (f" ({scope.sample})" if scope.sample else "")
        + ", under the stated conditions. It is no verdict on the model or its maker.",
        "The uncertainties cover what the measurements and the campaign file know of. A wrong entry in that file "
        "(aperture, focal length, pixel pitch, filter) is not covered.",
    ]
    if "wavefront" in kinds:
        lines.append(
            "The wavefront holds at its wavelength, on the axis, at the temperature of that night. It is that of the "
            "whole train: objective, focuser, adapters, filter and the air in the tube."
        )
    if "stars" in kinds:
        lines.append(
            "Star sizes contain the seeing and tracking of the night; they say how sharp the images were, not how "
            "sharp the optics are."
        )
    return lines


def cautions(outcome: Outcome) -> list[tuple[str, str]]:
    """Those that apply to what was done or is advised; docs/cautions.md has all of them."""
    steps, kinds = outcome.advice.steps, _kinds(outcome)
    found = [
        (
            "The Sun.",
            "Never point the telescope or its finder at or near the Sun without a certified filter that covers the full "
            "aperture in front. Leave no telescope uncovered in daylight.",
        )
    ]
    if any(s["about"] in ("coma", "astigmatism") for s in steps):
        found.append(
            (
                "Collimation lasers.",
                "Class 2 or less; follow the label. Look at the target, never into the beam nor at its reflection "
                "through an eyepiece.",
            )
        )
    if any(
        s["hands"] == "optician" or s["about"] in ("trefoil", "spherical aberration") for s in steps
    ):
        found.append(
            (
                "Lens cells.",
                "A cell is the maker's or a qualified optician's to open. Opening one to improve a result loses the "
                "centering and, usually, the warranty.",
            )
        )
    if "color_focus" in kinds:
        found.append(
            (
                "Calibration lamps.",
                "Discharge lamps run on high voltage: enclosed, rated supply; disconnect before touching. Mercury tubes "
                "emit ultraviolet; keep them housed and below eye height.",
            )
        )
    return [*found, ("Local rules", "and licensed practice come first.")]


def glossary(outcome: Outcome) -> list[tuple[str, str]]:
    """The words that the report uses, with their meaning."""
    words = {k: v for kind in [*_kinds(outcome), ""] for k, v in _GLOSSARY[kind].items()}
    return sorted(words.items(), key=lambda item: item[0].lower())


def _kinds(outcome: Outcome) -> set[str]:
    return {t.test.kind for t in outcome.tests}

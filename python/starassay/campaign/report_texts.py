"""The standing texts of a report: its words, how far it goes, and the cautions that apply."""

from __future__ import annotations

from ..measurements._declaring import Measurement
from .outcome import Outcome

_WORDS = {
    "Standard uncertainty": "The ± after a value: about two thirds of true values lie within it, 95 % within twice it.",
    "Guard band": "Distance from a limit within which the measurement cannot tell the sides apart at the agreed risk.",
    "Claim, requirement": "What the maker or seller states; what the user needs.",
}


def caveats(outcome: Outcome) -> list[str]:
    """How far the report goes."""
    scope = outcome.campaign.telescope
    lines = [
        f"This is one sample of the {scope.name}"
        + (f" ({scope.sample})" if scope.sample else "")
        + ", under the stated conditions. It is no verdict on the model or its maker.",
        "The uncertainties cover what the measurements and the campaign file know of. A wrong entry in that file "
        "(aperture, focal length, pixel pitch, filter) is not covered.",
    ]
    lines += [m.caveat for m in _measured(outcome) if m.caveat]
    return lines


def cautions(outcome: Outcome) -> list[tuple[str, str]]:
    """Those that apply to what was done or is advised; docs/cautions.md has all of them."""
    steps = outcome.advice.steps
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
    found += [(m.caution[0], m.caution[1]) for m in _measured(outcome) if m.caution]
    return [*found, ("Local rules", "and licensed practice come first.")]


def glossary(outcome: Outcome) -> list[tuple[str, str]]:
    """The words that the report uses, with their meaning."""
    words = {k: v for m in _measured(outcome) for k, v in m.words.items()} | _WORDS
    return sorted(words.items(), key=lambda item: item[0].lower())


def _measured(outcome: Outcome) -> list[Measurement]:
    return list({t.test.kind: t.test.measurement for t in outcome.tests}.values())

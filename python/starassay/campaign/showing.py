"""The report's part on what the telescope shows: a double star, a planet and the Moon's edge, drawn from what was measured."""

from __future__ import annotations

from typing import Any

from astropy import units as u

from ..errors import StarAssayError
from ..optics.target_views import TargetSheet
from ..optics.targets import draw_sheets
from ..results import Picture
from .outcome import Outcome

# The eye sees best here by day; of several wavefronts the one nearest to it is drawn.
_EYE_NM = 550.0


def shown(outcome: Outcome) -> dict[str, Any] | None:
    """Views and sentences, once in still air and once through the seeing; None where no wavefront was measured.

    Parameters
    ----------
    outcome : Outcome
        A campaign that was run.
    """
    known = [
        piece.result.optics()
        for test in outcome.tests
        if test.own
        for piece in test.pieces
        if not piece.aside
    ]
    pupils = [one for one in known if "pupil" in one]
    if not pupils:
        return None
    best = min(pupils, key=lambda one: abs(one["pupil"].wavelength.to_value(u.nm) - _EYE_NM))
    colors = next((one["colors"] for one in known if "colors" in one), None)
    site = outcome.campaign.site.seeing
    seeing = site if site is not None else best["seeing"]
    airs = [0 * u.arcsec]
    if seeing is not None and seeing.value > 0:
        airs.append(seeing.to(u.arcsec))
    light = _light(best["pupil"].wavelength, colors)
    try:
        sheets = draw_sheets(best["pupil"], best["aperture"], airs, colors=colors)
    except StarAssayError as error:
        # A very large aperture, or colors very far from focus: the measurements are told all the same.
        return {"light": light, "seeing": "", "lines": [f"Not drawn: {error}"], "sheets": []}
    return {
        "light": light,
        "seeing": "" if len(sheets) < 2 else _source(site is not None, seeing),
        "lines": [line for sheet in sheets for line in sheet.sentences()],
        "sheets": sheets,
    }


def told(views: dict[str, Any] | None) -> dict[str, Any] | None:
    """The same with the pictures drawn, for the page.

    Parameters
    ----------
    views : dict or None
        From `shown`.
    """
    if views is None:
        return None
    return {**views, "figures": [_figure(sheet) for sheet in views["sheets"]]}


def _figure(sheet: TargetSheet) -> dict[str, str]:
    seeing = sheet.planet.seeing
    air = f"Through {seeing.value:.2g} arcsec of seeing" if seeing.value > 0 else "In still air"
    caption = (
        f"{air}: two equal stars at Rayleigh's separation, a planet drawn after Jupiter, the Moon's edge. Brightness in "
        "proportion to the light."
    )
    alt = " ".join(sheet.sentences())
    image = Picture(sheet.plot, caption, alt).source()
    return {"image": image, "caption": caption, "alt": alt}


def _light(wavelength: u.Quantity, colors: Any) -> str:
    if colors is None:
        return f"light of {wavelength.to_value(u.nm):.0f} nm alone"
    return "all colors that an eye sees by day, each at its measured focus"


def _source(stated: bool, seeing: u.Quantity) -> str:
    how = "as stated for the place" if stated else "as the defocused images show it"
    return f"{seeing.to_value(u.arcsec):.2g} arcsec, {how}"

"""The report's part on what the telescope shows: real targets and star tests, drawn from what was measured."""

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
    """Views and sentences, once in still air and once through the seeing; None where neither a wavefront nor a color focus was measured.

    Parameters
    ----------
    outcome : Outcome
        A campaign that was run.
    """
    known: list[dict[str, Any]] = [
        {"label": piece.label, **piece.result.optics()}
        for test in outcome.tests
        if test.own
        for piece in test.pieces
        if not piece.aside
    ]
    pupils = [one for one in known if "pupil" in one]
    measured: dict[str, Any] = next((one for one in known if "colors" in one), {})
    best = None
    if pupils:
        best = min(pupils, key=lambda one: abs(one["pupil"].wavelength.to_value(u.nm) - _EYE_NM))
    told: dict[str, Any] = {"light": "", "seeing": "", "lines": [], "sheets": [], "star_tests": []}
    told["star_colors"] = _star_colors(measured.get("star_colors"), best)
    if best is None:
        return told if told["star_colors"] else None
    told["light"] = _light(best["pupil"].wavelength, measured.get("colors"))
    # The one that the targets are drawn from comes first.
    tests = [_star_test(one) for one in (best, *(p for p in pupils if p is not best))]
    told["star_tests"] = [test for test in tests if test is not None]
    site = outcome.campaign.site.seeing
    seeing = site if site is not None else best["seeing"]
    airs = [0 * u.arcsec]
    if seeing is not None and seeing.value > 0:
        airs.append(seeing.to(u.arcsec))
    try:
        sheets = draw_sheets(best["pupil"], best["aperture"], airs, colors=measured.get("colors"))
    except StarAssayError as error:
        # A very large aperture, or colors very far from focus: the measurements are told all the same.
        return {**told, "lines": [f"Not drawn: {error}"]}
    if len(sheets) > 1:
        told["seeing"] = _source(site is not None, seeing)
    lines = [line for sheet in sheets for line in sheet.sentences()]
    return {**told, "lines": lines, "sheets": sheets}


def _star_colors(draw: Any, best: dict[str, Any] | None) -> dict[str, Any] | None:
    """Colors of a star through the measured wavefront, or through a telescope that is perfect but for its color focus; in still air."""
    if draw is None:
        return None
    how = {} if best is None else {"pupil": best["pupil"], "aperture": best["aperture"]}
    try:
        drawn = draw(**how)
    except StarAssayError as error:
        return {"lines": [f"Not drawn: {error}"], "drawn": None}
    return {"lines": drawn.sentences(), "drawn": drawn}


def _star_test(known: dict[str, Any]) -> dict[str, Any] | None:
    """Both sides of focus as the pair's own images have them, in words; None where the fit is in doubt."""
    draw = known.get("star_test")
    if draw is None:
        return None
    seeing = known["seeing"]
    how = {} if seeing is None else {"seeing": seeing}
    try:
        test = draw(**how)
        return {"label": known["label"], "lines": test.words(), "test": test}
    except StarAssayError as error:
        return {"label": known["label"], "lines": [f"Not drawn: {error}"], "test": None}


def told(views: dict[str, Any] | None) -> dict[str, Any] | None:
    """The same with the pictures drawn, for the page.

    Parameters
    ----------
    views : dict or None
        From `shown`.
    """
    if views is None:
        return None
    tests = [{**one, "figure": _rings(one)} for one in views["star_tests"]]
    return {
        **views,
        "figures": [_figure(sheet) for sheet in views["sheets"]],
        "star_tests": tests,
        "star_colors": _hues(views["star_colors"]),
    }


def _hues(known: dict[str, Any] | None) -> dict[str, Any] | None:
    """The picture of a star's colors."""
    if known is None or known["drawn"] is None:
        return known
    drawn = known["drawn"]
    caption = (
        f"A star of {drawn.star.value:.0f} K in its colors, in focus and {drawn.defocus:.3g} waves to either side, above a perfect telescope with all colors in "
        "focus. Right: the colors in a diagram in which equal distances look about equal."
    )
    alt = " ".join(known["lines"])
    image = Picture(drawn.plot, caption, alt).source(dpi=110)
    return {**known, "figure": {"image": image, "caption": caption, "alt": alt}}


def _rings(known: dict[str, Any]) -> dict[str, str] | None:
    """The picture of a star test."""
    test = known["test"]
    if test is None:
        return None
    beside = "" if test.camera is None else "; below it what the camera saw"
    caption = (
        f"A star {test.defocus:.2g} waves of {test.wavelength.to_value(u.nm):.0f} nm inside and outside of focus, through "
        f"{test.seeing.to_value(u.arcsec):.2g} arcsec of seeing, beside the perfect pattern{beside}."
    )
    alt = " ".join(known["lines"])
    image = Picture(test.plot, caption, alt).source(dpi=110)
    return {"image": image, "caption": caption, "alt": alt}


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

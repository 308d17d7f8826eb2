"""One page with sliders that needs no Jupyter, no network and no program: its pictures are drawn ahead."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u

from .. import _units
from .._files import require_room, write_whole
from . import _pictures
from .aberration_sheet import MODES, draw_aberrations
from .color_sheet import draw_color
from .exercise import SIGNS, Exercise
from .field_sheet import draw_field
from .panels import PAIRS, glasses_of
from .seeing_sheet import draw_seeing

#: Amounts of an aberration, waves RMS.
AMOUNTS = np.round(np.linspace(-0.2, 0.2, 9), 3)
RATIOS = (5.0, 7.0, 10.0, 15.0)
APERTURES = (80.0, 115.0, 200.0)
SEEING = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
SPHERICAL = 0.1
EXERCISES = 10

#: Bytes that a page may take.
LARGEST = 15_000_000
FIELD: dict[str, tuple[str, str, tuple[float, ...]]] = {
    "focus": ("focus (µm)", "um", (-150, -100, -50, 0, 50, 100, 150)),
    "tilt_x": ("tilt, right edge (µm)", "um", (-200, -100, 0, 100, 200)),
    "sag": ("sag at the corner (µm)", "um", (-200, -100, 0, 100, 200)),
    "astigmatism": ("astigmatism (µm)", "um", (-150, -75, 0, 75, 150)),
    "coma": ("coma at the corner (nm)", "nm", (-150, -75, 0, 75, 150)),
    "reducer": ("reducer too near (mm)", "mm", (-3, -2, -1, 0, 1, 2, 3)),
}


def write_page(file: str | Path, *, progress: Callable[[float], None] | None = None) -> Path:
    """Write the page.

    Parameters
    ----------
    file : path
        Where it goes; what stands there is replaced.
    progress : callable, optional
        Told the share that is done.

    Returns
    -------
    Path
        The page: a few megabytes in one file.
    """
    path = _units.path_of(file, "file")
    require_room(path.resolve().parent, LARGEST, "the page", "choose another folder")
    pages = [_aberration_part(), _color_part(), _field_part(), _seeing_part(), _exercise_part()]
    done, parts = 0, []
    whole = sum(len(p["tries"]) for p in pages)
    for part in pages:
        steps = []
        for draw in part.pop("tries"):
            steps.append(draw())
            done += 1
            if progress is not None:
                progress(done / whole)
        parts.append({**part, "sheets": steps})
    text = json.dumps(parts, ensure_ascii=False).replace("</", "<\\/")
    page = _TEMPLATE.read_text(encoding="utf-8").replace("@STYLE@", _pictures.STYLE)
    whole_text = page.replace("@PARTS@", text)
    write_whole({path: lambda part: part.write_text(whole_text, encoding="utf-8")})
    return path


def _aberration_part() -> dict[str, Any]:
    """Each aberration by itself, and how much of it."""

    def sheet(name: str, amount: float) -> Callable[[], str]:
        return lambda: draw_aberrations(**{name: float(amount)}).html()

    return {
        "title": "Aberrations",
        "asks": "What does an aberration do to a star, inside and outside of focus?",
        "choices": [["aberration", [n.replace("_", " ") for n in MODES], 2, "choose"]]
        + [["amount (waves RMS)", [f"{a:+.2f}" for a in AMOUNTS], 6, "slide"]],
        "tries": [sheet(name, amount) for name in MODES for amount in AMOUNTS],
    }


def _color_part() -> dict[str, Any]:
    """Pairs of glass, and focal ratios."""

    def sheet(pair: str, ratio: float) -> Callable[[], str]:
        return lambda: draw_color(glasses_of(pair), 1000 * u.mm, ratio).html()

    return {
        "title": "Color",
        "asks": "Why do blue stars bloat in a lens, and what do better glasses change?",
        "choices": [
            ["glasses", list(PAIRS), 0, "choose"],
            ["focal ratio", [f"f/{r:g}" for r in RATIOS], 2, "slide"],
        ],
        "tries": [sheet(pair, ratio) for pair in PAIRS for ratio in RATIOS],
    }


def _field_part() -> dict[str, Any]:
    """Each fault by itself."""
    tries, groups = [], []
    for name, (label, unit, values) in FIELD.items():
        groups.append([label, [f"{v:+g}" for v in values], len(values) // 2])
        for value in values:
            tries.append(lambda n=name, v=value, q=unit: draw_field(**{n: v * u.Unit(q)}).html())
    return {
        "title": "Field",
        "asks": "Is it the tilt, the curvature or the spacing?",
        "groups": groups,
        "tries": tries,
    }


def _seeing_part() -> dict[str, Any]:
    """Apertures, and seeing."""

    def sheet(aperture: float, seeing: float) -> Callable[[], str]:
        return lambda: draw_seeing(
            aperture=aperture * u.mm, seeing=seeing * u.arcsec, spherical=SPHERICAL
        ).html()

    return {
        "title": "Seeing",
        "asks": f"What does the air leave of a telescope with {SPHERICAL} waves RMS of spherical aberration?",
        "choices": [
            ["aperture", [f"{a:.0f} mm" for a in APERTURES], 1, "choose"],
            ["seeing, FWHM (arcsec)", [f"{s:g}" for s in SEEING], 4, "slide"],
        ],
        "tries": [sheet(a, s) for a in APERTURES for s in SEEING],
    }


def _exercise_part() -> dict[str, Any]:
    """Exercises with their answers."""

    def both(number: int) -> Callable[[], list[str]]:
        def draw() -> list[str]:
            one = Exercise(number)
            return [one.html(), one.sheet.html(), one.answer, one.mark(one.answer)[1]]

        return draw

    return {
        "title": "Exercises",
        "asks": "What is wrong with this telescope?",
        "answers": list(SIGNS),
        "signs": SIGNS,
        "tries": [both(number) for number in range(EXERCISES)],
    }


_TEMPLATE = Path(__file__).parents[1] / "templates" / "lab-page.html"

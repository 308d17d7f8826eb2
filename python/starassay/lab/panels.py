"""Panels with sliders for Jupyter Notebook and JupyterLab.

Everything that changes stands in one piece of HTML, so a move of a slider is one message. A browser sends the next position only
when the last one has been taken, and what is drawn is always the newest: nothing queues up while a slider is dragged.
"""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Callable
from typing import Any

from astropy import units as u

from ..errors import InputError
from . import _pictures
from .aberration_sheet import MODES, draw_aberrations
from .color_sheet import draw_color
from .exercise import SIGNS, Exercise
from .field_sheet import draw_field
from .seeing_sheet import draw_seeing

#: Pairs of glass a class starts with: the classic crown and flint, and an ED pair.
PAIRS = ("N-BK7 + F2", "S-FPL53 + N-BK7", "S-FPL51 + N-KZFS4", "N-BK7 alone")


#: The sheets' style, once in a panel: inside what changes, the browser would style the whole page anew with each sheet. When it
#: has been loaded it asks JupyterLab, which takes arrow keys for itself, to leave the keys to whichever control has the focus.
_STYLE = _pictures.STYLE.replace(
    "<style>",
    "<style onload=\"this.closest('.widget-vbox').addEventListener('focusin', "
    "event => event.target.setAttribute('data-lm-suppress-shortcuts', 'true'))\">",
)

#: Characters that a sheet takes at least. What a computer sends to itself goes in segments of 65 483 bytes, and a shorter one waits,
#: some 40 ms, until the browser has acknowledged the one before (Nagle's algorithm, RFC 896; delayed acknowledgment, RFC 1122).
_LEAST = 67_000


def _widgets() -> Any:
    """The library, or a sentence about how to get it."""
    import warnings

    try:
        with warnings.catch_warnings():
            # Old versions call what traitlets has given up.
            warnings.simplefilter("ignore")
            import ipywidgets
    except ImportError:
        raise InputError(
            "The panels need ipywidgets (apt install python3-ipywidgets, or pip install ipywidgets). Without it, "
            "'starassay lab --export page.html' writes a page with sliders.",
            code="lab.no-widgets",
        ) from None
    return ipywidgets


def _slider(label: str, low: float, high: float, step: float, value: float = 0.0) -> Any:
    widgets = _widgets()
    return widgets.FloatSlider(
        value=value,
        min=low,
        max=high,
        step=step,
        description=label,
        readout_format=".2f" if step < 0.1 else ".1f" if step < 1 else ".0f",
        style={"description_width": "175px"},
        layout=widgets.Layout(width="430px"),
    )


def _loop_of_a_message() -> asyncio.AbstractEventLoop | None:
    """The kernel's loop while it handles a widget's message; None in a cell, and without a kernel."""
    try:
        loop = asyncio.get_running_loop()
        kernel = sys.modules["IPython"].get_ipython().kernel
        kind = kernel.get_parent("shell")["header"]["msg_type"]
    except (RuntimeError, AttributeError, KeyError, TypeError):
        return None
    return loop if kind == "comm_msg" else None


def _panel(controls: dict[str, Any], draw: Callable[..., Any], also: list[Any]) -> Any:
    """Controls above, what they draw below; an error of ours stands there as its sentence."""
    widgets = _widgets()
    shown = widgets.HTML(layout=widgets.Layout(width="100%"))
    waiting = False

    def update() -> None:
        nonlocal waiting
        waiting = False
        try:
            shown.value = draw(**{k: c.value for k, c in controls.items()}).html().ljust(_LEAST)
        except InputError as error:
            shown.value = f"<p><b>{error}</b></p>"

    def moved(_: Any) -> None:
        """Draw at once; after a message of the browser as soon as it has been taken, so that the next one is on its way meanwhile."""
        nonlocal waiting
        loop = _loop_of_a_message()
        if loop is None:
            update()
        elif not waiting:
            waiting = True
            loop.call_soon(update)

    reset = widgets.Button(description="Start again", tooltip="All sliders back to where they were")
    first = {name: control.value for name, control in controls.items()}

    def again(_: Any) -> None:
        for name, control in controls.items():
            control.value = first[name]

    reset.on_click(again)
    for control in controls.values():
        control.observe(moved, names="value")
    update()
    rows = list(controls.values())
    half = (len(rows) + 1) // 2
    columns = widgets.HBox([widgets.VBox(rows[:half]), widgets.VBox([*rows[half:], *also, reset])])
    box = widgets.VBox([widgets.HTML(_STYLE), columns, shown])
    box.controls, box.shown = controls, shown
    return box


def aberrations(start: Any = None, *, focal_ratio: float = 7.0) -> Any:
    """Show what aberrations do, under sliders.

    Parameters
    ----------
    start : PupilMap or a fit that holds one, optional
        A measured telescope, to which the sliders add.
    focal_ratio : float
        Focal length over aperture, without a measured one.

    Returns
    -------
    ipywidgets.VBox
        Show it as the last line of a cell. ``controls`` holds its sliders by name.
    """
    names = {
        "defocus": "defocus (waves)",
        "astigmatism": "astigmatism (waves)",
        "coma": "coma (waves)",
        "trefoil": "trefoil (waves)",
        "spherical": "spherical (waves)",
        "secondary_spherical": "secondary spherical",
    }
    controls = {name: _slider(names[name], -0.25, 0.25, 0.01) for name in MODES}
    controls["direction"] = _slider("direction (degrees)", 0, 360, 5)
    if start is None:
        controls["obstruction"] = _slider("obstruction (share)", 0, 0.45, 0.05)
        controls["wavelength"] = _slider("wavelength (nm)", 400, 700, 10, 550)
    controls["defocus_waves"] = _slider("pair out of focus by", 1, 6, 0.5, 3)

    def draw(direction: float, wavelength: float | None = None, **rest: float) -> Any:
        light = {} if wavelength is None else {"wavelength": wavelength * u.nm}
        return draw_aberrations(
            start, direction=direction * u.deg, focal_ratio=focal_ratio, **light, **rest
        )

    return _panel(controls, draw, [])


def color() -> Any:
    """Show where the colors of a lens come to focus, for chosen glasses.

    Returns
    -------
    ipywidgets.VBox
        Show it as the last line of a cell.
    """
    widgets = _widgets()
    pair = widgets.Dropdown(
        options=list(PAIRS), description="glasses", style={"description_width": "175px"}
    )
    controls = {
        "glasses": pair,
        "focal_length": _slider("focal length (mm)", 300, 2000, 50, 1000),
        "focal_ratio": _slider("focal ratio", 4, 20, 0.5, 10),
    }

    def draw(glasses: str, focal_length: float, focal_ratio: float) -> Any:
        return draw_color(glasses_of(glasses), focal_length * u.mm, focal_ratio)

    return _panel(controls, draw, [])


def glasses_of(words: str) -> list[str]:
    """Names of glass from what the panel offers."""
    return [name.removesuffix(" alone").strip() for name in words.split("+")]


def field() -> Any:
    """Show stars over a sensor: tilt, curvature, spacing, astigmatism and coma under sliders.

    Returns
    -------
    ipywidgets.VBox
        Show it as the last line of a cell.
    """
    controls = {
        "focus": _slider("focus (µm)", -200, 200, 5),
        "tilt_x": _slider("tilt, right edge (µm)", -300, 300, 10),
        "tilt_y": _slider("tilt, upper edge (µm)", -300, 300, 10),
        "sag": _slider("sag at the corner (µm)", -300, 300, 10),
        "astigmatism": _slider("astigmatism (µm)", -200, 200, 10),
        "coma": _slider("coma at the corner (nm)", -200, 200, 10),
        "reducer": _slider("reducer too near (mm)", -3, 3, 0.25),
    }

    def draw(coma: float, reducer: float, **rest: float) -> Any:
        return draw_field(
            coma=coma * u.nm, reducer=reducer * u.mm, **{k: v * u.um for k, v in rest.items()}
        )

    return _panel(controls, draw, [])


def seeing() -> Any:
    """Show what the air leaves of a telescope's quality, under sliders.

    Returns
    -------
    ipywidgets.VBox
        Show it as the last line of a cell.
    """
    controls = {
        "aperture": _slider("aperture (mm)", 60, 300, 5, 115),
        "seeing": _slider("seeing, FWHM (arcsec)", 0, 4, 0.1, 2),
        "wavelength": _slider("wavelength (nm)", 400, 700, 10, 550),
        "obstruction": _slider("obstruction (share)", 0, 0.45, 0.05),
        "coma": _slider("coma (waves)", -0.25, 0.25, 0.01),
        "spherical": _slider("spherical (waves)", -0.25, 0.25, 0.01),
    }

    def draw(aperture: float, seeing: float, wavelength: float, **rest: float) -> Any:
        return draw_seeing(
            aperture=aperture * u.mm, seeing=seeing * u.arcsec, wavelength=wavelength * u.nm, **rest
        )

    return _panel(controls, draw, [])


def guess(number: int = 0) -> Any:
    """Show an exercise: guess the aberration.

    Parameters
    ----------
    number : int
        The first exercise; the same number gives the same one.

    Returns
    -------
    ipywidgets.VBox
        Show it as the last line of a cell.
    """
    widgets = _widgets()
    shown, told = widgets.HTML(), widgets.HTML()
    answer = widgets.Dropdown(options=list(SIGNS), description="it is")
    check = widgets.Button(description="Mark it")
    following = widgets.Button(description="Next one")
    state = {"exercise": Exercise(number)}

    def show() -> None:
        shown.value = state["exercise"].html()
        told.value = f"Exercise {state['exercise'].number}: what is wrong with this telescope?"

    def mark(_: Any) -> None:
        right, words = state["exercise"].mark(answer.value)
        sheet = state["exercise"].sheet
        told.value = f"<b>{'✓' if right else '✗'} {words}</b>"
        shown.value = sheet.html()

    def step(_: Any) -> None:
        state["exercise"] = Exercise(state["exercise"].number + 1)
        show()

    check.on_click(mark)
    following.on_click(step)
    show()
    row = widgets.HBox([answer, check, following])
    box = widgets.VBox([widgets.HTML(_STYLE), told, row, shown])
    box.answer, box.check, box.following, box.shown, box.told = (
        answer,
        check,
        following,
        shown,
        told,
    )
    return box

"""How the wavefront changed from pair to pair: words and a picture."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...style import BLUE, GREEN, GREY, ORANGE, PINK, figure_style, new_axes

_COLORS = {
    "astigmatism": BLUE,
    "coma": ORANGE,
    "spherical aberration": GREEN,
    "trefoil": PINK,
}


def words(course: Any) -> list[str]:
    """What changed, in sentences.

    Parameters
    ----------
    course : WavefrontCourse
        Of a fit.
    """
    span = f"{course.time[-1].value:.1f} h"
    told = [f for f in course.families if f.told]
    if told:
        said = [f"Over {span} {', '.join(f'{f.name} changed by {f.change}' for f in told)}."]
    else:
        largest = max(f.change.uncertainty.value for f in course.families)
        said = [
            f"Over {span} no low mode changed steadily beyond chance (bars up to {largest:.2g} nm / h)."
        ]
    if course.focus_moves:
        said.append(f"Best focus moved by {course.focus_drift}.")
    if course.unsteady:
        said.append(
            f"Astigmatism and coma scatter by {course.scatter:.1f} from pair to pair; photons and seeing leave {course.expected_scatter:.1f}."
        )
    return said


def draw(course: Any, ax: Any = None) -> Any:
    """Components of the families against time.

    Parameters
    ----------
    course : WavefrontCourse
        Of a fit.
    ax : matplotlib axes, optional
        Where to draw.
    """
    with figure_style():
        ax = new_axes(ax, figsize=(7.2, 4.4))
        hours = course.time.value
        ax.axhline(0, color=GREY, linewidth=0.8)
        for number, family in enumerate(course.families):
            color = _COLORS[family.name]
            # Beside each other, so that bars of the same pair are seen.
            at = hours + (number - 1.5) * 0.006 * max(hours[-1], 0.1)
            for k, (values, change) in enumerate(
                ((family.x.value, family.change_x), (family.y.value, family.change_y))
            ):
                if not np.all(np.isfinite(values)):
                    continue
                ax.errorbar(
                    at,
                    values,
                    family.bar.value,
                    fmt="os^D"[number],
                    color=color,
                    mfc=color if k == 0 else "white",
                    ms=6,
                    capsize=2,
                    linewidth=1,
                    label=family.name if k == 0 else None,
                )
                if family.told:
                    line = values.mean() + change.value.value * (hours - hours.mean())
                    ax.plot(hours, line, color=color, linewidth=1.5)
        ax.set(xlabel="time from the first pair (h)", ylabel="coefficient of one pair (nm RMS)")
        told = [f"{f.name} {f.change}" for f in course.families if f.told]
        ax.set_title("; ".join(told) if told else "No steady change told", fontsize=10)
        ax.legend(loc="best", fontsize=8)
    return ax

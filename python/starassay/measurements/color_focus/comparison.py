"""Telescopes side by side."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ... import _units, style
from ...errors import InputError
from ...results import Result
from .curve import ColorFocusCurve
from .merit import ColorMerit

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ColorComparison(Result):
    """Telescopes side by side, in depths of focus and arcseconds, same band and light.

    Attributes
    ----------
    names : tuple of str
        In order of merit, best polychromatic Strehl ratio first.
    merits : tuple of ColorMerit
        In the same order.
    curves : tuple of ColorFocusCurve
        In the same order.
    decided : ndarray of bool
        Whether each is better than the next by more than twice the uncertainty of the difference.
    """

    names: tuple[str, ...]
    merits: tuple[ColorMerit, ...]
    curves: tuple[ColorFocusCurve, ...]
    decided: np.ndarray

    @property
    def table(self) -> QTable:
        """One row a telescope."""
        from astropy.table import QTable

        m = self.merits
        return QTable(
            {
                "telescope": list(self.names),
                "strehl": [float(x.polychromatic_strehl.value) for x in m],
                "strehl_uncertainty": [float(x.polychromatic_strehl.uncertainty) for x in m],
                "in_focus": [float(x.in_focus_fraction.value) for x in m],
                "in_focus_uncertainty": [float(x.in_focus_fraction.uncertainty) for x in m],
                "rms_blur": u.Quantity([x.rms_blur.value for x in m]),
                "rms_blur_sky": u.Quantity([x.rms_blur_sky.value for x in m]),
                "halo": [float(x.halo_fraction.value) for x in m],
                "better_than_next": [*self.decided, False],
            }
        )

    def sentences(self) -> list[str]:
        """What was found."""
        lines = []
        for i, (name, m) in enumerate(zip(self.names, self.merits)):
            tail = ""
            if i < len(self.decided):
                tail = "" if self.decided[i] else " (not decided against the next)"
            lines.append(
                f"{i + 1}. {name}: Strehl {m.polychromatic_strehl}, in focus "
                f"{m.in_focus_fraction}, blur {m.rms_blur_sky}{tail}"
            )
        return lines

    @style.figure_style()
    def plot(self, ax: Any = None) -> Any:
        """Defocus in depths of focus against wavelength; returns the matplotlib axes."""
        ax = style.new_axes(ax, figsize=(8, 4.6))
        ax.axhspan(-1, 1, color="#e8e8e8", lw=0, label="depth of focus ±2λN²")
        reach = 1.0
        for name, merit, curve in zip(self.names, self.merits, self.curves):
            w = curve.wavelength.value[curve.used]
            unit = 2 * w / 1000 * curve.focal_ratio**2
            y = (curve.smooth.value[curve.used] - merit.sensor.to_value(u.um)) / unit
            low, high = merit.band.value
            band = (w >= low) & (w <= high)
            reach = max(reach, float(np.percentile(np.abs(y[band]), 90)))
            ax.plot(
                w[band], y[band], label=f"{name} (Strehl {merit.polychromatic_strehl.value:.2f})"
            )
        if reach > 8:
            ax.set_yscale("symlog", linthresh=2)
        ax.set_xlabel("wavelength in air (nm)")
        ax.set_ylabel("defocus (depths of focus)")
        style.entitle(ax, "Color focus, each at its own best focus")
        ax.legend(loc="best")
        return ax


def compare_color_focus(
    curves: Mapping[str, ColorFocusCurve],
    *,
    band: Any = None,
    star: Any = 9600 * u.K,
    focus: str = "best-strehl",
) -> ColorComparison:
    """Compare telescopes on one footing: same band, same light, each at its own best focus.

    Parameters
    ----------
    curves : mapping of str to ColorFocusCurve
        By the telescope's name.
    band : pair of Quantity, optional
        Passband; 400 to 700 nm by default.
    star : Quantity or callable
        Light to weigh with, the same for all (see `ColorFocusCurve.merit`).
    focus : str
        Focus choice.

    Returns
    -------
    ColorComparison
        Best first.
    """
    if not isinstance(curves, Mapping) or len(curves) < 2:
        raise InputError("Give at least two telescopes to compare.", argument="curves")
    for curve in curves.values():
        _units.instance(curve, ColorFocusCurve, "curves", "measure_color_focus(frames, ...)")
    merits = {name: c.merit(band, star=star, focus=focus) for name, c in curves.items()}
    names = sorted(merits, key=lambda n: -float(merits[n].polychromatic_strehl.value))
    decided = []
    for a, b in zip(names, names[1:]):
        x, y = merits[a].polychromatic_strehl, merits[b].polychromatic_strehl
        sigma = float(np.hypot(x.uncertainty.value, y.uncertainty.value))
        decided.append(float(x.value - y.value) > 2 * sigma)
    return ColorComparison(
        notes=tuple(
            dataclasses.replace(note, text=f"{name}: {note.text}")
            for name in names
            for note in merits[name].notes
        ),
        conditions={"band": merits[names[0]].band, "focus": focus},
        names=tuple(names),
        merits=tuple(merits[n] for n in names),
        curves=tuple(curves[n] for n in names),
        decided=np.array(decided),
    )

"""Figures of merit of a curve in a band, for a given light."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ... import _records, _units, style
from ..._gateway import call
from ...results import Note, Result

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ColorMerit(Result, _records.MeritResult):
    """Figures of merit of the color focus alone; seeing and other aberrations are left out.

    Its attributes are those of the engine's record, and

    Attributes
    ----------
    light : str
        What the colors are weighed with.
    """

    light: str = "light as detected"

    @property
    def cut(self) -> QTable:
        """What a filter that cuts on at each wavelength does."""
        from astropy.table import QTable

        names = {"cut_on": "cut_on", "strehl": "cut_strehl", "in_focus": "cut_in_focus"}
        return QTable({k: getattr(self, v) for k, v in {**names, "light": "cut_light"}.items()})

    @property
    def table(self) -> QTable:
        """One row a figure."""
        from astropy.table import QTable

        names = (
            "in_focus_fraction polychromatic_strehl halo_fraction rms_blur rms_blur_sky "
            "secondary_spectrum focus_spread"
        ).split()
        values = [getattr(self, n) for n in names]
        return QTable(
            {
                "figure": names,
                "value": [float(v.value.value) for v in values],
                "uncertainty": [float(v.uncertainty.value) for v in values],
                "unit": [v.value.unit.to_string() for v in values],
            }
        )

    def sentences(self) -> list[str]:
        """What was found."""
        low, high = self.band.value
        lines = [
            f"{low:.0f} to {high:.0f} nm, {self.light}, {self.focus}: in-focus "
            f"fraction {self.in_focus_fraction}, polychromatic Strehl {self.polychromatic_strehl}",
            f"RMS blur {self.rms_blur} ({self.rms_blur_sky}), halo {self.halo_fraction}",
        ]
        if np.isfinite(self.best_band[0].value):
            lines.append(
                f"a passband of {self.best_band[0]:.0f} to {self.best_band[1]:.0f} keeps "
                f"{100 * self.best_band_light:.0f} % of the light at a Strehl ratio of "
                f"{self.best_band_strehl:.2f}"
            )
        return lines

    @style.figure_style()
    def plot(self, ax: Any = None) -> Any:
        """What a cut-on filter would do; returns the matplotlib axes."""
        ax = style.new_axes(ax, figsize=(7, 3.6))
        x = self.cut["cut_on"].to_value(u.nm)
        # Told apart by their strokes too: not everybody sees or prints the colors.
        for name, color, stroke, label in (
            ("strehl", style.BLUE, "-", "polychromatic Strehl"),
            ("in_focus", style.GREEN, "--", "in-focus fraction"),
            ("light", style.GREY, ":", "light kept"),
        ):
            ax.plot(x, self.cut[name], color=color, ls=stroke, label=label)
        ax.set_ylim(0, 1.03)
        ax.set_xlabel("short-wave edge of the filter (nm)")
        ax.set_ylabel("share")
        ax.legend(loc="best")
        style.entitle(ax, "What a cut-on filter would do")
        return ax


def weigh(
    wavelength: u.Quantity,
    shift: u.Quantity,
    star: Any,
    *,
    detected: np.ndarray | None = None,
    replicates: u.Quantity | None = None,
    notes: tuple[Note, ...] = (),
    **given: Any,
) -> ColorMerit:
    """Figures of merit of a curve.

    Parameters
    ----------
    wavelength, shift : Quantity
        The curve.
    star : str, Quantity or callable
        See `ColorFocusCurve.merit`.
    detected : ndarray, optional
        Light as detected, where it is known.
    replicates : Quantity, optional
        Of the curve, for uncertainties.
    notes : tuple of Note
        What must be said with the figures.
    **given
        Further fields of the engine's request.

    Returns
    -------
    ColorMerit
        In the band that was asked for.
    """
    if callable(star):
        given["weight"], light = star(wavelength.to_value(u.nm)), "light given by a function"
    elif isinstance(star, str) and star == "as-detected" and detected is not None:
        given["weight"], light = detected, "light as detected"
    elif isinstance(star, str) and star == "flat":
        light = "flat light"
    else:
        given["light"] = _units.quantity(star, "K", "star")
        light = f"black body of {given['light'].value:.0f} K on silicon"
    request = _records.MERIT_REQUEST.fill(wavelength=wavelength, shift=shift, **given)
    spread = (
        {}
        if replicates is None
        else {"replicates": np.ascontiguousarray(replicates.value, float).ravel()}
    )
    raw = call("color_focus.merit", request, arrays=spread)
    return ColorMerit.from_engine(raw, notes=notes, conditions={"request": request}, light=light)

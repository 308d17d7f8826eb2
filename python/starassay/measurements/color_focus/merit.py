"""Figures of merit of a curve in a band, for a given light."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

import numpy as np
from astropy import units as u
from astropy.table import QTable

from ... import style
from ..._gateway import call
from ...errors import InputError
from ...results import Measured, Note, Result
from .units import NM, number, numbers


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ColorMerit(Result):
    """Figures of merit of the color focus alone; seeing and other aberrations are left out.

    Attributes
    ----------
    in_focus_fraction, polychromatic_strehl, halo_fraction : Measured
        Shares of the light: within +-2 lambda N^2; Strehl ratio averaged over it; outside
        `halo_radius`.
    rms_blur, rms_blur_sky : Measured
        RMS radius of the geometric blur, um and arcsec.
    secondary_spectrum, focus_spread : Measured
        Mean focus of F and C minus d, and longest minus shortest, over the focal length.
    sensor : Quantity
        Where the sensor stands on the curve's scale.
    halo_radius : Quantity
        um.
    best_band : Quantity, shape (2,)
        Passband that keeps most light at the wanted Strehl ratio; NaN when none does.
    best_band_light, best_band_strehl : float
        What it keeps and reaches.
    cut : QTable
        What a filter that cuts on at each wavelength does.
    """

    in_focus_fraction: Measured
    polychromatic_strehl: Measured
    halo_fraction: Measured
    rms_blur: Measured
    rms_blur_sky: Measured
    secondary_spectrum: Measured
    focus_spread: Measured
    sensor: u.Quantity
    halo_radius: u.Quantity
    best_band: u.Quantity
    best_band_light: float
    best_band_strehl: float
    cut: QTable

    @property
    def table(self) -> QTable:
        """One row a figure."""
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
        c = self.conditions
        lines = [
            f"{c['min_nm']:.0f} to {c['max_nm']:.0f} nm, {c['light']}, {c['focus']}: in-focus "
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
        for name, color, label in (
            ("strehl", style.BLUE, "polychromatic Strehl"),
            ("in_focus", style.GREEN, "in-focus fraction"),
            ("light", style.GREY, "light kept"),
        ):
            ax.plot(x, self.cut[name], color=color, label=label)
        ax.set_ylim(0, 1.03)
        ax.set_xlabel("short-wave edge of the filter (nm)")
        ax.set_ylabel("share")
        ax.legend(loc="best")
        ax.set_title("What a cut-on filter would do")
        return ax


def light_of(star: Any, nm: np.ndarray, detected: np.ndarray | None) -> tuple[np.ndarray, str]:
    if callable(star):
        return np.asarray(star(nm), float), "light given by a function"
    if isinstance(star, str):
        if star == "flat":
            return np.ones_like(nm), "flat light"
        if star == "as-detected" and detected is not None:
            return np.asarray(detected, float), "light as detected"
        raise InputError(
            f"'{star}' is no light to weigh with. Give 'as-detected', 'flat', a temperature or a "
            "function.",
            argument="star",
        )
    kelvin = number(star, u.K, "star")
    # Planck photons and silicon, the same shape as the simulator's star without lines.
    flux = nm**-4.0 / np.expm1(1.438776877e7 / (nm * kelvin))
    sensor = np.clip((nm - 370) / 60, 0, 1) * np.interp(
        nm, [370, 450, 550, 650, 750, 850, 1000], [0.5, 0.75, 0.9, 0.8, 0.6, 0.4, 0.1]
    )
    weight = flux * sensor
    return weight / weight.max(), f"black body of {kelvin:.0f} K on silicon"


def evaluate(
    nm: np.ndarray,
    shift: np.ndarray,
    replicates: np.ndarray | None,
    weight: np.ndarray,
    light: str,
    conditions: Mapping[str, Any],
    band: Any,
    focus: str,
    halo_radius: Any,
    wanted_strehl: float,
    notes: tuple[Note, ...] = (),
) -> ColorMerit:
    low, high = sorted(numbers(band, NM, "band"))
    request = {
        "wavelength_nm": nm,
        "shift_um": shift,
        "weight": weight,
        "focal_ratio": conditions["focal_ratio"],
        "focal_length_mm": conditions["focal_length_mm"],
        "obstruction": conditions["obstruction"],
        "min_nm": low,
        "max_nm": high,
        "reference_nm": conditions["reference_nm"],
        "focus": focus,
        "halo_radius_um": number(halo_radius, u.um, "halo_radius"),
        "wanted_strehl": wanted_strehl,
    }
    arrays = {}
    if replicates is not None:
        arrays["replicates"] = np.ascontiguousarray(replicates, float).ravel()
    r = call("color_focus.merit", request, arrays=arrays)
    return merit_of(r, conditions, low, high, light, focus, wanted_strehl, notes)


def merit_of(
    r: Mapping[str, Any],
    conditions: Mapping[str, Any],
    low: float,
    high: float,
    light: str = "light as detected",
    focus: str = "best-strehl",
    wanted_strehl: float = 0.8,
    notes: tuple[Note, ...] = (),
) -> ColorMerit:
    return ColorMerit(
        notes=notes,
        conditions={
            "min_nm": low,
            "max_nm": high,
            "light": light,
            "focus": focus,
            "focal_ratio": conditions["focal_ratio"],
            "wanted_strehl": wanted_strehl,
        },
        in_focus_fraction=Measured.from_engine(r["in_focus_fraction"]),
        polychromatic_strehl=Measured.from_engine(r["polychromatic_strehl"]),
        halo_fraction=Measured.from_engine(r["halo_fraction"]),
        rms_blur=Measured.from_engine(r["rms_blur_um"]),
        rms_blur_sky=Measured.from_engine(r["rms_blur_sky"]),
        secondary_spectrum=Measured.from_engine(r["secondary_spectrum"]),
        focus_spread=Measured.from_engine(r["focus_spread"]),
        sensor=r["sensor_um"] * u.um,
        halo_radius=r["halo_radius_um"] * u.um,
        best_band=np.array([r["band_min_nm"], r["band_max_nm"]]) * NM,
        best_band_light=float(r["band_light_kept"]),
        best_band_strehl=float(r["band_strehl"]),
        cut=QTable(
            {
                "cut_on": r["cut_nm"] * NM,
                "strehl": r["cut_strehl"],
                "in_focus": r["cut_in_focus"],
                "light": r["cut_light"],
            }
        ),
    )

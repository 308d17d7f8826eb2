"""Spectra of a campaign: the focus of every color."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ..imaging.frame import Frame
from ..imaging.frames import read_frame
from ..results import Note, format_measured
from ..style import figure_style, new_axes
from .description import Campaign, Test
from .facts import doubts_of, frame_facts, numbers_of, slug_of
from .outcome import TestOutcome
from .parts import Part, Picture, Value

if TYPE_CHECKING:
    from ..measurements.color_focus import ColorFocusCurve, ColorMerit

BAND = (400.0, 700.0)


class ColorFocusKind:
    """[[color_focus]]: all spectra of an entry together; several are a focus run."""

    def groups(self, test: Test) -> list[tuple[Path, ...]]:
        """All frames together."""
        return [test.frames]

    def measure(self, campaign: Campaign, test: Test, frames: tuple[Path, ...]) -> list[Part]:
        """Wavelengths from the lamp or the star's own lines, then the curve."""
        from ..measurements.color_focus import (
            calibrate_wavelengths,
            measure_color_focus,
            reduce_spectrum,
        )

        read = [read_frame(path, **campaign.camera.overrides()) for path in frames]
        facts, scope = test.facts, campaign.telescope
        axis = _axis(read[0], facts["dispersion_axis"])
        star = reduce_spectrum(read[0], axis=axis, line_depth=0.0)
        if "lamp" in facts:
            scale = calibrate_wavelengths(
                read_frame(facts["lamp"], **campaign.camera.overrides()),
                lamps=facts["lamps"],
                dispersion=facts["dispersion"],
                axis=axis,
                trace=star,
            )
        else:
            scale = calibrate_wavelengths(star, star=True, dispersion=facts["dispersion"])
        low, high = facts["band"]
        curve = measure_color_focus(
            read,
            wavelengths=scale,
            focal_ratio=scope.focal_ratio,
            focal_length=scope.focal_length,
            obstruction=scope.obstruction,
            positions=facts.get("positions"),
            defocus=facts.get("defocus"),
            disperser=facts["disperser"],
            grating_lines=facts.get("grating_lines"),
            grating_distance=facts.get("grating_distance"),
            order_filter=facts["order_filter"],
            # A little more than is asked for, so that its ends are no ends of the curve.
            band=(low - 10, high + 20),
            axis=axis,
        )
        told = {
            **frame_facts(read[0]),
            "spectra": len(read),
            "star": facts.get("star") or None,
            "merit": curve.merit((low, high)),
            "scale": scale,
        }
        label = f"{len(read)} spectra" if len(read) > 1 else read[0].name
        return [Part(label, slug_of("color-focus", test.name), curve, told)]

    def values(
        self, campaign: Campaign, test: Test, parts: Sequence[Part]
    ) -> tuple[dict[str, Value], list[Note]]:
        """In-focus fraction and range of the curve."""
        curve: ColorFocusCurve = parts[0].result  # type: ignore[assignment]
        merit: ColorMerit = parts[0].facts["merit"]
        doubts = doubts_of(curve.notes)

        def value(measured: Any) -> Value:
            return Value(
                measured, None, count=parts[0].facts["spectra"], counted="spectra", doubts=doubts
            )

        return {
            "in_focus_fraction": value(merit.in_focus_fraction),
            "focus_range": value(curve.focus_range),
        }, []

    def advice(self, campaign: Campaign, outcome: TestOutcome) -> dict[str, Any]:
        """Nothing that the advice asks for."""
        return {}

    def numbers(self, outcome: TestOutcome) -> list[dict[str, str]]:
        """In-focus fraction and range."""
        return numbers_of(outcome.values)

    def lines(self, part: Part) -> list[str]:
        """What the curve and its figures of merit say."""
        curve: ColorFocusCurve = part.result  # type: ignore[assignment]
        merit: ColorMerit = part.facts["merit"]
        scale, c = part.facts["scale"], merit.conditions
        how = (
            f"A focus run of {len(curve.positions)} spectra"
            if curve.from_focus_run
            else "One spectrum"
        )
        star = f" of a star of type {part.facts['star']}" if part.facts["star"] else ""
        lines = [
            f"{how}{star}; wavelengths in air from {len(scale.line_column)} lines, "
            f"{scale.rms.to_value(u.nm):.2f} nm RMS. Range {curve.focus_range}."
            if curve.signs_decided
            else f"{how}{star}: the signs are not decided, so the size of the defocus is shown. "
            f"Its range is {curve.focus_range}.",
            f"From {c['min_nm']:.0f} to {c['max_nm']:.0f} nm, light as detected, sensor where the Strehl ratio "
            f"is best: in-focus fraction {merit.in_focus_fraction}, polychromatic Strehl ratio "
            f"{merit.polychromatic_strehl}, RMS blur {merit.rms_blur_sky}.",
        ]
        edges = merit.best_band.value
        if np.isfinite(edges[0]) and (edges[0] > c["min_nm"] + 1 or edges[1] < c["max_nm"] - 1):
            lines.append(
                f"A filter that passes {edges[0]:.0f} to {edges[1]:.0f} nm would "
                f"keep {100 * merit.best_band_light:.0f} % of that light at a Strehl ratio of "
                f"{merit.best_band_strehl:.2f}."
            )
        return lines

    def figures(self, part: Part) -> list[Picture]:
        """The curve, and what cut-on filters would do."""
        curve: ColorFocusCurve = part.result  # type: ignore[assignment]
        merit: ColorMerit = part.facts["merit"]
        with figure_style():
            return [
                Picture(
                    curve.plot(new_axes(None, figsize=(5.4, 4.0))).figure,
                    "Best focus of every color against that of the reference wavelength: points are bins by themselves, "
                    "the line is the smooth curve with its 68 % band, grey is the depth of focus.",
                    "Color focus curve",
                    "half",
                ),
                Picture(
                    merit.plot(new_axes(None, figsize=(5.4, 4.0))).figure,
                    "What a filter that cuts on at each wavelength would do to sharpness and light. Only color focus is "
                    "in these figures: seeing and all other errors are not.",
                    "Gain and loss by a cut-on filter",
                    "half",
                ),
            ]

    def tables(self, part: Part) -> list[dict[str, Any]]:
        """The smooth curve at well-known lines."""
        curve: ColorFocusCurve = part.result  # type: ignore[assignment]
        w = curve.wavelength.value
        rows = []
        for name, nm in _LINES.items():
            if w[curve.used].min() <= nm <= w[curve.used].max():
                i = int(np.argmin(np.abs(w - nm)))
                shift = float(curve.at(nm)[0].value)
                error = float(curve.smooth_error[i].value)
                depth = 2 * nm / 1000 * curve.focal_ratio**2
                rows.append([name, f"{nm:.1f}", format_measured(shift, error), f"±{depth:.0f}"])
        if not curve.signs_decided or not rows:
            return []
        return [
            {
                "caption": f"Focus against that of {curve.conditions['reference_nm']:.0f} nm, + is farther from the objective",
                "head": ["line", "wavelength (nm)", "focus (µm)", "depth of focus (µm)"],
                "rows": rows,
            }
        ]


# Spectral lines of the glass catalogs (ISO 7944 and the hydrogen lines), nm in air.
_LINES = {
    "h (Hg)": 404.656,
    "g (Hg)": 435.834,
    "F (H)": 486.133,
    "e (Hg)": 546.074,
    "d (He)": 587.562,
    "C (H)": 656.275,
}


def _axis(frame: Frame, stated: str) -> str:
    """The axis along which wavelengths run; the longer one when it is not stated."""
    if stated != "auto":
        return stated
    return "x" if frame.shape[1] >= frame.shape[0] else "y"

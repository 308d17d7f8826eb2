"""Defocused pairs of a campaign: wavefront, Strehl ratio, aberrations."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u

from ..decisions.advice import advise
from ..imaging.frames import read_frame
from ..results import Measured, Note, format_measured
from ..style import figure_style, new_axes
from ..measurements.wavefront.result import mode_name
from .description import Campaign, Test
from .facts import doubts_of, frame_facts, numbers_of, slug_of
from .outcome import TestOutcome
from .parts import Part, Picture, Value


class WavefrontKind:
    """[[wavefront]]: all pairs of an entry in one fit, which also fits each pair alone."""

    def groups(self, test: Test) -> list[tuple[Path, ...]]:
        """All pairs together."""
        return [test.frames]

    def measure(self, campaign: Campaign, test: Test, frames: tuple[Path, ...]) -> list[Part]:
        """One fit."""
        from ..optics.telescope import Telescope
        from ..measurements.wavefront import fit_wavefront

        assert test.filter is not None
        read = [read_frame(path, **campaign.camera.overrides()) for path in frames]
        scope = campaign.telescope
        fit = fit_wavefront(
            read[0::2],
            read[1::2],
            Telescope(
                aperture=scope.aperture,
                focal_length=scope.focal_length,
                obstruction=scope.obstruction,
                name=scope.name,
            ),
            wavelength=test.filter.wavelength,
            orientation=campaign.camera.orientation,  # type: ignore[arg-type]
        )
        facts = {**frame_facts(read[0]), "pairs": len(read) // 2}
        label = f"{len(read) // 2} pair{'s' if len(read) > 2 else ''} at {test.filter.wavelength:g}"
        return [Part(label, slug_of("wavefront", test.name), fit, facts)]

    def values(
        self, campaign: Campaign, test: Test, parts: Sequence[Part]
    ) -> tuple[dict[str, Value], list[Note]]:
        """RMS, PV, Strehl ratio and the families of aberration."""
        fit: Any = parts[0].result
        pairs = parts[0].facts["pairs"]
        doubts = doubts_of(fit.notes)

        def value(measured: Measured, random: float) -> Value:
            # Only what the scatter of the data gives (kind A) averages out over more pairs.
            part = random * measured.value.unit if math.isfinite(random) else None
            return Value(measured, part, math.inf, pairs, "pairs", fit.wavelength, doubts)

        def kind_a(key: str) -> float:
            parts = [float(u.Quantity(b[key]).value) for b in fit.budget if str(b["kind"]) == "A"]
            return math.hypot(*parts) if parts else math.nan

        values = {
            "strehl": value(fit.strehl_measured, kind_a("strehl")),
            "wavefront_rms": value(fit.rms_measured, kind_a("rms")),
            "wavefront_pv": value(fit.pv_measured, math.nan),
        }
        families = {f["name"]: f["rms"] for f in advise(_modes(campaign, fit)).families}
        for name in _MODES:
            if name in families:
                values[name] = value(families[name], _family_random(fit, name))
        return values, []

    def advice(self, campaign: Campaign, outcome: TestOutcome) -> dict[str, Any]:
        """Modes, Strehl ratio and the seeing that the fit found."""
        fit: Any = outcome.parts[0].result
        found = {**_modes(campaign, fit), "strehl": float(u.Quantity(fit.strehl).to_value(u.one))}
        seeing = [s for s in fit.seeing if np.isfinite(s.value) and s.value > 0]
        if seeing:
            sizes = np.array([s.value.to_value(u.arcsec) for s in seeing])
            own = math.sqrt(sum(s.uncertainty.to_value(u.arcsec) ** 2 for s in seeing)) / len(
                seeing
            )
            found["seeing_fwhm_arcsec"] = float(sizes.mean())
            # Seeing changes between exposures: its scatter is what one night's value is good to.
            found["seeing_fwhm_uncertainty"] = max(
                own, float(sizes.std(ddof=1)) if len(sizes) > 1 else own
            )
        return found

    def numbers(self, outcome: TestOutcome) -> list[dict[str, str]]:
        """What the fit gives to the claims."""
        return numbers_of(outcome.values)

    def lines(self, part: Part) -> list[str]:
        """RMS, PV and Strehl ratio, how well the model holds, and the second opinion."""
        fit: Any = part.result
        lines = [
            f"RMS {fit.rms_measured}, peak to valley {fit.pv_measured}, Strehl ratio {fit.strehl_measured} at "
            f"{fit.wavelength:.4g}. Chi squared per degree of freedom {fit.chi_squared:.2f}."
        ]
        other = fit.second_opinion
        if other is not None:
            agrees = "agrees" if other["agrees"] else "does NOT agree"
            lines.append(
                f"A second, independent method {agrees}: it differs by {other['difference_nm']:.1f} nm RMS, where "
                f"{other['expected_nm']:.1f} nm is to be expected."
            )
        return lines

    def figures(self, part: Part) -> list[Picture]:
        """Map, coefficients, images beside their model, and what the wavefront looks like."""
        fit: Any = part.result
        with figure_style():
            return [
                Picture(
                    fit.plot().figure,
                    "Wavefront error over the pupil at best focus: positive where the wave is ahead. Axes as on the "
                    "sensor, x to the right, y up.",
                    "Map of the wavefront error",
                    "half",
                ),
                Picture(
                    fit.plot_coefficients(new_axes(figsize=(5.4, 4.4))).figure,
                    "Zernike coefficients with their standard uncertainties, by Noll index.",
                    "Zernike coefficients as bars",
                    "half",
                ),
                Picture(
                    _first_pair(fit),
                    "The first pair: what the camera saw, what the fitted telescope would give, and the difference in "
                    "standard deviations.",
                    "Observed and modelled defocused images",
                ),
                Picture(
                    fit.plot_views(),
                    "The same wavefront in other tests: focused image, MTF and encircled energy; Ronchigram, knife-edge "
                    "shadow and interferogram.",
                    "Six views of the wavefront",
                ),
            ]

    def tables(self, part: Part) -> list[dict[str, Any]]:
        """Coefficients and the uncertainty budget."""
        fit: Any = part.result
        modes = [
            [
                mode_name(row["name"]),
                int(row["noll"]),
                int(row["osa"]),
                format_measured(
                    row["coefficient"].to_value(u.nm), row["uncertainty"].to_value(u.nm)
                ),
            ]
            for row in fit.modes
            if row["noll"] <= 22
        ]
        budget = [
            [
                str(b["source"]),
                str(b["kind"]),
                str(b["input"]),
                f"{b['map'].to_value(u.nm):.2f}",
                f"{b['rms'].to_value(u.nm):.2f}",
                f"{b['strehl']:.4f}",
            ]
            for b in fit.budget
        ]
        tables: list[dict[str, Any]] = [
            {
                "caption": "Zernike coefficients, nm RMS (up to Noll 22; all of them in the table file)",
                "head": ["shape", "Noll", "OSA/ANSI", "coefficient (nm)"],
                "rows": modes,
            }
        ]
        if budget:
            tables.append(
                {
                    "caption": "Where the uncertainty comes from (A: scatter of the data, B: other knowledge)",
                    "words": 3,
                    "head": ["source", "kind", "taken as", "map (nm)", "RMS (nm)", "Strehl"],
                    "rows": [["–" if cell == "nan" else cell for cell in row] for row in budget],
                }
            )
        return tables


_MODES = {"spherical": (11,), "coma": (7, 8), "astigmatism": (5, 6)}


def _family_random(fit: Any, name: str) -> float:
    """What photons and misfit give to the uncertainty of a family's root sum square, nm."""
    rows = np.isin(fit.modes["noll"], _MODES[name])
    c = fit.modes["coefficient"][rows].to_value(u.nm)
    own = fit.modes["fit_uncertainty"][rows].to_value(u.nm)
    size = float(np.sqrt(np.sum(c**2)))
    return float(np.sqrt(np.sum((c * own) ** 2))) / size if size > 0 else math.nan


def _first_pair(fit: Any) -> Any:
    """The images of the first pair only: one is enough to see whether the model holds."""
    return dataclasses.replace(fit, images=fit.images[:2]).plot_images()


def _modes(campaign: Campaign, fit: Any) -> dict[str, Any]:
    return {
        "design": campaign.telescope.design,
        "aperture_mm": campaign.telescope.aperture.to_value(u.mm),
        "focal_length_mm": campaign.telescope.focal_length.to_value(u.mm),
        "wavelength_nm": fit.wavelength.to_value(u.nm),
        "noll": [int(n) for n in fit.modes["noll"]],
        "coefficients_nm": fit.modes["coefficient"].to_value(u.nm).tolist(),
        "uncertainties_nm": fit.modes["uncertainty"].to_value(u.nm).tolist(),
    }

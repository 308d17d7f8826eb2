"""Star fields of a campaign: sharpness and roundness over the field."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ..imaging.frame import Frame
from ..imaging.frames import read_frame
from ..decisions.means import combine
from ..results import Measured, Note, format_measured
from ..style import figure_style, new_axes
from .description import Campaign, Test
from .facts import NOMINAL_SCALE, doubts_of, frame_facts, numbers_of, pixel_scale, slug_of
from .outcome import TestOutcome
from .parts import Part, Picture, Value
from .quantities import QUANTITIES

if TYPE_CHECKING:
    from ..measurements.stars import StarField

# Fewer clean stars than this say something about themselves, not about the field.
LEAST_STARS = 10


class StarsKind:
    """[[stars]]: each frame by itself; the color planes of a raw mosaic each by itself."""

    def groups(self, test: Test) -> list[tuple[Path, ...]]:
        """One frame at a time."""
        return [(path,) for path in test.frames]

    def measure(self, campaign: Campaign, test: Test, frames: tuple[Path, ...]) -> list[Part]:
        """Star fields of one frame, one for each color of a mosaic."""
        from ..measurements.stars import measure_stars

        frame = read_frame(frames[0], **campaign.camera.overrides())
        foreign = "other_telescope" in test.facts
        parts = []
        for color, plane in color_planes(frame):
            field = measure_stars(plane, outer_radius=test.facts.get("outer_radius"))
            scale, from_sky = pixel_scale(
                plane, None if foreign else campaign.telescope.focal_length
            )
            facts = {
                **frame_facts(plane),
                "color": color,
                "scale": scale,
                "scale_from_sky": from_sky,
            }
            label = frame.name + (f", {color} plane" if color else "")
            parts.append(Part(label, slug_of("stars", test.name, frame.name, color), field, facts))
        return parts

    def values(
        self, campaign: Campaign, test: Test, parts: Sequence[Part]
    ) -> tuple[dict[str, Value], list[Note]]:
        """Medians over the frames; of a mosaic, those of its green planes."""
        used = [p for p in parts if p.facts["color"] in ("", "green")]
        good = [p for p in used if p.result.clean_stars >= LEAST_STARS]  # type: ignore[attr-defined]
        notes: list[Note] = []
        values: dict[str, Value] = {}
        doubts = doubts_of([n for p in good for n in p.result.notes])
        if not good:
            return values, notes

        def mean(key: str, found: list[Measured], *, common: u.Quantity | None = None) -> None:
            whole = [m for m in found if np.isfinite(m.value) and m.uncertainty > 0]
            if whole:
                made = combine(whole, common=common)
                notes.extend(
                    dataclasses.replace(n, subject=QUANTITIES[key].label) for n in made.notes
                )
                values[key] = Value(
                    made.measured,
                    made.random_part,
                    made.degrees_of_freedom,
                    made.count,
                    "frames",
                    None if test.filter is None else test.filter.wavelength,
                    doubts,
                )

        fields = [p.result for p in good]
        for key, name in (("star_fwhm", "fwhm"), ("star_hfr", "hfr")):
            sizes = [
                on_sky(getattr(f, name), p.facts["scale"])
                for p, f in zip(good, fields)
                if p.facts["scale"] is not None
            ]
            if sizes:
                # Pitch and focal length are nominal unless the sky gave the scale; all frames share them.
                nominal = not all(p.facts["scale_from_sky"] for p in good)
                size = float(np.nanmean([s.value.value for s in sizes])) * u.arcsec
                mean(key, sizes, common=NOMINAL_SCALE * size if nominal else None)
        mean("star_ellipticity", [f.ellipticity for f in fields])  # type: ignore[attr-defined]
        mean("corner_ratio", [r for f in fields if (r := edge_over_center(f)) is not None])
        return values, notes

    def advice(self, campaign: Campaign, outcome: TestOutcome) -> dict[str, Any]:
        """The stars' width and the pixels' size on the sky."""
        fwhm = outcome.values.get("star_fwhm")
        if "other_telescope" in outcome.test.facts:
            return {}
        scales = [p.facts["scale"] for p in outcome.parts if p.facts["scale"] is not None]
        scale = scales[0] if scales else None
        found: dict[str, Any] = {}
        if fwhm is not None and scale is not None:
            found = {
                "star_fwhm_arcsec": fwhm.measured.value.to_value(u.arcsec),
                "star_fwhm_uncertainty": fwhm.measured.uncertainty.to_value(u.arcsec),
                "pixel_arcsec": scale.to_value(u.arcsec),
            }
            if outcome.test.filter is not None:
                found["field_wavelength_nm"] = outcome.test.filter.wavelength.to_value(u.nm)
        return found

    def numbers(self, outcome: TestOutcome) -> list[dict[str, str]]:
        """Medians over the frames."""
        return numbers_of(outcome.values)

    def lines(self, part: Part) -> list[str]:
        """How many stars, and the medians."""
        field: StarField = part.result  # type: ignore[assignment]
        scale = part.facts["scale"]
        stars = int(field.is_star.sum())
        if field.clean_stars == 0:
            return [f"{stars} stars, none of them clean: nothing can be said about the optics."]
        text = (
            f"{stars} stars, {field.clean_stars} of them clean. Median half-flux radius {field.hfr}"
        )
        text += f" within {field.outer_radius:.0f}, FWHM {field.fwhm}"
        if scale is not None:
            text += f" ({on_sky(field.fwhm, scale)} at {scale.value:.3g} arcsec a pixel)"
        lines = [text + f", ellipticity {field.ellipticity}."]
        if field.clean_stars < LEAST_STARS:
            lines.append(
                f"Too few clean stars ({field.clean_stars}, at least {LEAST_STARS} are needed) for a statement "
                "about the field; the frame is left out of the medians above."
            )
        return lines

    def figures(self, part: Part) -> list[Picture]:
        """Sharpness over the field and the stars' long axes, side by side."""
        field: StarField = part.result  # type: ignore[assignment]
        if field.clean_stars < 3:
            return []
        with figure_style():
            return [
                Picture(
                    field.plot(_half_page(field)).figure,
                    "Half-flux radius of each clean star. x to the right, y up, as in the file; + is the middle.",
                    "Map of star sizes over the field",
                    "half",
                ),
                Picture(
                    _whiskers(field).figure,
                    "Long axes of the stars: blue points to the middle of the field, orange runs round it.",
                    "Whiskers of star shapes over the field",
                    "half",
                ),
            ]

    def tables(self, part: Part) -> list[dict[str, Any]]:
        """The zones of the field."""
        field: StarField = part.result  # type: ignore[assignment]
        if field.clean_stars < LEAST_STARS:
            return [_brightest(field)] if len(field) else []
        rows = [
            [
                z.zone,
                z.stars,
                _bare(z.hfr),
                _bare(z.fwhm),
                _bare(z.ellipticity),
                _bare(z.radial_ellipticity),
            ]
            for z in field.zones
            if z.stars
        ]
        return [
            {
                "caption": "By part of the field (medians; ellipticity: root mean square without noise; radial part: mean, negative is tangential)",
                "head": ["zone", "stars", "HFR (pix)", "FWHM (pix)", "ellipticity", "radial part"],
                "rows": rows,
            }
        ]


def _half_page(field: StarField) -> Any:
    """Axes whose letters can be read at half the width of a page; both figures get the same height."""
    ny, nx = field.shape
    return new_axes(figsize=(5.4, 1.4 + 4.0 * ny / nx))


def _whiskers(field: StarField) -> Any:
    """The long axes, with the legend clear of the axis' label on small axes."""
    ax = field.plot_ellipticity(_half_page(field))
    if ax.get_legend() is not None:
        ax.legend(loc="upper right", bbox_to_anchor=(1.0, -0.17), ncol=3, handlelength=1.4)
    return ax


def color_planes(frame: Frame) -> list[tuple[str, Frame]]:
    """The frame, or the color planes of a raw mosaic by name (the first green stands for both)."""
    if not frame.bayer:
        return [("", frame)]
    from ..imaging.color_planes import split_bayer

    planes = split_bayer(frame)
    named = [("red", planes.red), ("green", planes.green1), ("blue", planes.blue)]
    # What the mosaic's own check found goes with each plane.
    known = {n.text for n in frame.notes}
    fresh = tuple(n for n in planes.notes if n.text not in known)
    return [
        (color, dataclasses.replace(plane, notes=plane.notes + fresh)) for color, plane in named
    ]


def on_sky(measured: Measured, scale: u.Quantity) -> Measured:
    """A size in pixels as an angle."""
    factor = scale / u.pix
    return Measured(
        (measured.value * factor).to(u.arcsec), (measured.uncertainty * factor).to(u.arcsec)
    )


def edge_over_center(field: Any) -> Measured | None:
    """Half-flux radius at the edge over that at the center, where both have enough stars."""
    zones = {z.zone: z for z in field.zones}
    edge, center = zones.get("edge"), zones.get("center")
    if edge is None or center is None or min(edge.stars, center.stars) < LEAST_STARS:
        return None
    ratio = float(edge.hfr.value / center.hfr.value)
    spread = math.hypot(
        float(edge.hfr.uncertainty / edge.hfr.value),
        float(center.hfr.uncertainty / center.hfr.value),
    )
    return Measured(ratio * u.one, ratio * spread * u.one)


def _bare(measured: Measured) -> str:
    return format_measured(measured.value.value, measured.uncertainty.value)


def _brightest(field: StarField, count: int = 8) -> dict[str, Any]:
    rows = []
    for i in range(min(len(field), count)):
        c = field.columns
        rows.append(
            [
                i + 1,
                f"{c['x'][i]:.1f}",
                f"{c['y'][i]:.1f}",
                f"{c['snr'][i]:.0f}",
                _bare(Measured(c["hfr"][i] * u.pix, c["hfr_uncertainty"][i] * u.pix)),
                _bare(Measured(c["fwhm"][i] * u.pix, c["fwhm_uncertainty"][i] * u.pix)),
                ", ".join(field.flag_names(i)) or "clean",
            ]
        )
    return {
        "caption": "The brightest objects",
        "head": ["no.", "x", "y", "SNR", "HFR (pix)", "FWHM (pix)", "flags"],
        "rows": rows,
    }

"""The conditions of a night, and how they tell themselves."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np

from ... import _records
from ...results import Picture, Result, Sheet, format_measured
from . import figures

if TYPE_CHECKING:
    from astropy.table import QTable

#: Bits of the column ``flags``: name, and what each says.
FLAGS = _records.FLAGS["NightConditionsResult.flags"]

#: Lengthening from which on a star is noticed to be no disc (common practice, no source).
_NOTICED = 0.1


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class NightConditions(Result, _records.NightConditionsResult):
    """Conditions of a night; its attributes are those of the engine's record, frames in order of time.

    Attributes
    ----------
    names : tuple of str
        Of the frames.
    start, end : str
        When the first and the last exposure began, UTC.
    """

    names: tuple[str, ...] = ()
    start: str = ""
    end: str = ""

    COLUMNS = {
        "name": "The frame's name.",
        "flags": "Sum of the bits of what is said of the frame; meta holds their names.",
    }

    @property
    def title(self) -> str:
        """Of which night."""
        return f"Night conditions, {self.start[:10]}"

    @property
    def table(self) -> QTable:
        """One row a frame: time, width as measured and reduced, airmass, lengthening, focuser, flags."""
        from astropy.table import QTable

        names = (
            "time fwhm fwhm_uncertainty reduced_fwhm reduced_fwhm_uncertainty airmass ellipticity "
            "ellipticity_uncertainty angle focus stars flags"
        ).split()
        table = QTable({"name": list(self.names), **{name: getattr(self, name) for name in names}})
        table.meta.update(
            {
                "start": self.start,
                "flags": {bit: name for bit, (name, _) in FLAGS.items()},
                "notes": [str(n) for n in self.notes],
            }
        )
        return table

    @property
    def best_names(self) -> tuple[str, ...]:
        """Frames of the best fifth, best first: those to measure the optics on."""
        return tuple(self.names[k] for k in self.best_frames)

    def flagged(self, name: str) -> np.ndarray:
        """Which frames carry a flag.

        Parameters
        ----------
        name : str
            "best", "trailed", "refocused", "few stars" or "no airmass".
        """
        bit = next(bit for bit, (word, _) in FLAGS.items() if word == name)
        return (self.flags & bit) != 0

    def sentences(self) -> list[str]:
        """Level, best frames, trend, what is the mount's."""
        used = np.isfinite(self.reduced_fwhm.value)
        hours = float(np.ptp(self.time.value[used]))
        reduced = (
            "at the zenith and 500 nm" if np.isfinite(self.airmass[used]).any() else "at 500 nm"
        )
        said = [
            f"FWHM {self.zenith_fwhm} {reduced}, typical of these {hours:.1f} h with optics, focus and mount in it; half of "
            f"{used.sum()} frames lie between {self.lower_quartile.value:.2f} and {self.upper_quartile.value:.2f} arcsec.",
            f"The best fifth of the frames show {self.best_fwhm} as taken: the optics are no worse than that. "
            f"The night's median frame shows {self.median_fwhm}, as if {self.added_fwhm} of air came on top.",
            self._course(),
            self._mount(),
        ]
        best = self.best_names
        said.append(
            f"Measure the optics on the best frames: {', '.join(best[:5])}"
            + (f" and {len(best) - 5} more." if len(best) > 5 else ".")
        )
        return said

    def _course(self) -> str:
        if not np.isfinite(self.trend.value.value):
            return f"Single frames scatter by {self.frame_scatter.value:.0f} %; too few or too short for a trend."
        verdict = {
            "rising": "the stars grow",
            "falling": "the stars shrink",
            "not decided": "not told from the wandering of the air",
        }[self.trend_verdict]
        return (
            f"Trend {self.trend}: {verdict}. Frames scatter by {self.frame_scatter.value:.0f} % about it; since neighbors are "
            f"alike, they are worth {self.independent_frames:.0f} independent ones."
        )

    def _mount(self) -> str:
        trailed = int(self.flagged("trailed").sum())
        one = (
            f"{trailed} frames are trailed"
            if trailed > 1
            else "one frame is trailed"
            if trailed
            else "no frame is trailed"
        )
        steady = self.steady_ellipticity
        shared = (
            f"ellipticity {steady} at {self.steady_angle.value:.0f} deg through the night (optics or a steady drift)"
            if steady.value > 3 * steady.uncertainty
            else f"no ellipticity through the night (below {3 * float(steady.uncertainty):.2f})"
        )
        return f"All stars share {shared}; single frames differ by {self.changing_ellipticity:.2f}, {one} (wind, tracking)."

    def sheets(self) -> list[Sheet]:
        """Focus through the night, where it is told."""
        rows = []
        unit = "um" if self.focus_is_length else "steps"
        for name, value in (
            (f"best focus with time ({unit}/h)", self.focus_drift),
            (f"best focus with temperature ({unit}/K)", self.focus_drift_with_temperature),
            ("growth from one refocusing to the next (arcsec)", self.focus_growth),
            ("drift that makes stars grow so, either way (um/h)", self.growth_drift),
            ("time constant of the cooling (h)", self.cooling_time),
        ):
            if np.isfinite(value.value.value):
                rows.append((name, format_measured(value.value.value, value.uncertainty.value)))
        return [Sheet("Focus through the night", ("what", "value"), tuple(rows))] if rows else []

    def figures(self) -> list[Picture]:
        """Width against time."""
        return [
            Picture(
                self.plot,
                "FWHM of each frame, reduced to the zenith and 500 nm, with its standard uncertainty; level and trend with "
                "theirs. Dotted: the focuser was moved.",
                f"FWHM against time: {self.zenith_fwhm} at the zenith, trend {self.trend}",
            )
        ]

    def plot(self, ax: Any = None) -> Any:
        """Width against time, with level and trend.

        Parameters
        ----------
        ax : matplotlib axes, optional
            Where to draw; a new figure by default.

        Returns
        -------
        matplotlib axes
            What was drawn on.
        """
        return figures.draw_course(self, ax)

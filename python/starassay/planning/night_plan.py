"""A planned night: steps in order, what they promise, what was assumed; as text, table, picture and page."""

from __future__ import annotations

import dataclasses
import math
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.table import QTable

from ..results import Picture, Result, Sheet

#: What hurts people or telescopes at night; docs/cautions.md has all of them.
CAUTIONS = (
    (
        "The Sun.",
        "Never point the telescope or its finder at or near the Sun without a certified filter that covers the full "
        "aperture in front. Before sunset and after sunrise keep both capped; twilight flats only when the Sun is below "
        "the horizon, pointing away from where it went down.",
    ),
    (
        "The Moon.",
        "It harms no camera, but a bright Moon in the eyepiece costs your night vision: look at the screen.",
    ),
    (
        "Dew.",
        "Use a dew shield and gentle heating, look at the front lens or corrector between the steps, and never wipe a wet "
        "optic. Keep mains supplies dry and off the grass.",
    ),
    (
        "Cooling.",
        "Put the tube out, uncapped and level, an hour or more before the first star: a warm tube writes into every image.",
    ),
    (
        "Lens cells and mirrors.",
        "Adjust only the screws meant for users; a cell is the maker's or a qualified optician's to open.",
    ),
    (
        "Darkness and loads.",
        "Balance before you unclamp, keep cables out of the way, and carry above about 10 kg by two.",
    ),
    ("Local rules", "and licensed practice come first."),
)

_NO = math.nan


@dataclasses.dataclass(frozen=True)
class Step:
    """One step of the night.

    Attributes
    ----------
    area : str
        The measurement it serves; "" for none.
    title : str
        Its title.
    target : str
        Star, field, or what else to point at.
    begin : str
        UTC, as ISO text.
    minutes : float
        How long it takes.
    count : int
        How many are to be taken.
    counted : str
        What is counted.
    instructions, reason : str
        What to do; where the count comes from.
    right_ascension, declination : str
        J2000.
    magnitude : float
        V.
    spectral_class : str
        Letter, by temperature.
    altitude : Quantity
        In the middle of the step, refraction left out.
    airmass : float
        There.
    seeing : Quantity
        FWHM there, at the filter's wavelength.
    dispersion : Quantity
        Length of the spectrum that the air makes between the filter's edges.
    filter : str
        In words.
    exposure : Quantity
        Of one image.
    longest : Quantity
        After which the brightest pixel exceeds its level.
    electrons : Quantity
        Of the star in one image.
    defocus : Quantity
        To either side.
    focuser_steps : float
        The same in steps of the focuser; NaN when its step is not known.
    blur : Quantity
        Geometric diameter of the disc; in focus the FWHM.
    """

    area: str
    title: str
    target: str
    begin: str
    minutes: float
    count: int
    counted: str
    instructions: str
    reason: str
    right_ascension: str = ""
    declination: str = ""
    magnitude: float = _NO
    spectral_class: str = ""
    altitude: u.Quantity = _NO * u.deg
    airmass: float = _NO
    seeing: u.Quantity = _NO * u.arcsec
    dispersion: u.Quantity = _NO * u.arcsec
    filter: str = ""
    exposure: u.Quantity = _NO * u.s
    longest: u.Quantity = _NO * u.s
    electrons: u.Quantity = _NO * u.electron
    defocus: u.Quantity = 0 * u.mm
    focuser_steps: float = _NO
    blur: u.Quantity = _NO * u.pix


@dataclasses.dataclass(frozen=True)
class Promise:
    """How many pairs decide a claim.

    Attributes
    ----------
    claim, quantity : str
        Which.
    needed : int
        Least count that decides it with the wanted share of nights; 0 = none that was tried, or not computed.
    reached : float
        The share that is promised.
    sentence : str
        What may be said: never more than was computed.
    right, wrong : tuple of float
        Share of simulated nights that decided it rightly and wrongly, by the count from 1.
    """

    claim: str
    quantity: str
    needed: int
    reached: float
    sentence: str
    right: tuple[float, ...] = ()
    wrong: tuple[float, ...] = ()


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class NightPlan(Result):
    """A planned night.

    Attributes
    ----------
    name, telescope : str
        Of the campaign.
    night : str
        Date of the evening.
    site : str
        Latitude, longitude, height.
    clock : float
        Hours of the local clock ahead of UTC.
    sunset, sunrise : str
        UTC, as ISO texts.
    dark : tuple of str
        Begin and end of the darkest part of the night, UTC.
    twilight : float
        How many degrees the Sun is below the horizon by then, at least.
    moon_lit : float
        Lit share of the Moon at midnight.
    moon_up : tuple of str
        From when to when it is up between sunset and sunrise, UTC; empty when it is not.
    steps : tuple of Step
        In the order of the night.
    promises : tuple of Promise
        For every claim.
    assumptions, remarks : tuple of str
        What was assumed; what does not work out.
    chance : float
        The share of nights that was wanted.
    """

    name: str
    telescope: str
    night: str
    site: str
    clock: float
    sunset: str
    sunrise: str
    dark: tuple[str, str]
    twilight: float
    moon_lit: float
    moon_up: tuple[str, ...]
    steps: tuple[Step, ...]
    promises: tuple[Promise, ...]
    assumptions: tuple[str, ...]
    remarks: tuple[str, ...]
    chance: float

    COLUMNS = {"order": "Place in the night, from 1."}

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        return f"Night plan for {self.telescope}, {self.night}"

    @property
    def table(self) -> QTable:
        """One row a step, times in UTC."""
        of = self.steps
        return QTable(
            {
                "order": np.arange(1, len(of) + 1),
                "begin": [s.begin for s in of],
                "minutes": [s.minutes for s in of] * u.min,
                "title": [s.title for s in of],
                "target": [s.target for s in of],
                "right_ascension": [s.right_ascension for s in of],
                "declination": [s.declination for s in of],
                "magnitude": [s.magnitude for s in of] * u.mag,
                "spectral_class": [s.spectral_class for s in of],
                "altitude": u.Quantity([s.altitude for s in of]),
                "airmass": [s.airmass for s in of],
                "seeing": u.Quantity([s.seeing for s in of]),
                "dispersion": u.Quantity([s.dispersion for s in of]),
                "filter": [s.filter for s in of],
                "count": [s.count for s in of],
                "counted": [s.counted for s in of],
                "exposure": u.Quantity([s.exposure for s in of]),
                "longest": u.Quantity([s.longest for s in of]),
                "electrons": u.Quantity([s.electrons for s in of]),
                "defocus": u.Quantity([s.defocus for s in of]),
                "focuser_steps": [s.focuser_steps for s in of],
                "blur": u.Quantity([s.blur for s in of]),
            },
            meta={"title": self.title, "site": self.site},
        )

    def at(self, utc: str) -> str:
        """A moment as the clock on the wall shows it.

        Parameters
        ----------
        utc : str
            ISO text.
        """
        return f"{datetime.fromisoformat(utc) + timedelta(hours=self.clock):%H:%M}"

    @property
    def clock_words(self) -> str:
        """Which clock the times are of."""
        return "UTC" if not self.clock else f"local time, UTC{self.clock:+g} h"

    def sentences(self) -> list[str]:
        """The night, the promises, and what does not work out."""
        kind = {18: "dark", 12: "dark but for the last twilight", 6: "never fully dark"}
        lines = [
            f"Night of {self.night} at {self.site}; times are {self.clock_words}. Sunset {self.at(self.sunset)}, "
            f"{kind[round(self.twilight)]} from {self.at(self.dark[0])} to {self.at(self.dark[1])}, sunrise "
            f"{self.at(self.sunrise)}.",
            f"The Moon is {100 * self.moon_lit:.0f} % lit"
            + (
                f", up from {self.at(self.moon_up[0])} to {self.at(self.moon_up[1])}."
                if self.moon_up
                else " and not up at night."
            ),
        ]
        lines += [p.sentence for p in self.promises]
        return lines + [f"Mind: {remark}" for remark in self.remarks]

    def summary(self) -> list[str]:
        """Lines for a terminal, and for a sheet of paper beside the mount."""
        lines = [self.title, "", *self.sentences()]
        for k, s in enumerate(self.steps, 1):
            lines += ["", f"{k}. {self.at(s.begin)}  {s.title}: {s.target}"]
            lines += [f"   {words}" for words in (facts(s), s.instructions) if words]
            lines.append(f"   About {s.minutes:.0f} minutes. How many: {s.reason}.")
        lines += ["", "Assumed: " + "; ".join(self.assumptions) + "."]
        lines += [
            "Exposures are good to a factor of 1.5: take one frame and look at its brightest pixel first."
        ]
        lines += [""] + [f"{head} {text}" for head, text in CAUTIONS]
        return lines

    def sheets(self) -> list[Sheet]:
        """The order of work as a table."""
        rows = tuple(
            (
                self.at(s.begin),
                s.title,
                s.target,
                _or_dash(s.altitude.value, "{:.0f}°"),
                _or_dash(s.exposure.value, "{:g} s"),
                f"{s.count} {s.counted}",
            )
            for s in self.steps
        )
        head = ("begin", "what", "target", "altitude", "exposure", "take")
        return [Sheet(f"Order of work ({self.clock_words})", head, rows, words=3)]

    def plot(self, ax: Any = None) -> Any:
        """The steps over the night: altitude against time."""
        from ..style import BLUE, GREY, INK, entitle, figure_style, new_axes

        def hour(utc: str) -> float:
            since = datetime.fromisoformat(utc) - datetime.fromisoformat(f"{self.night}T00:00")
            return since.total_seconds() / 3600 + self.clock

        with figure_style():
            ax = new_axes(ax, figsize=(7.4, 3.4), layout="constrained")
            ax.axvspan(hour(self.dark[0]), hour(self.dark[1]), color="#e4e8ec", lw=0, zorder=0)
            if self.moon_up:
                ax.plot(
                    [hour(t) for t in self.moon_up], [4, 4], color=GREY, lw=4, solid_capstyle="butt"
                )
                ax.text(hour(self.moon_up[0]), 6, "Moon is up", fontsize=7, color=INK)
            for k, s in enumerate(self.steps, 1):
                height = s.altitude.value if np.isfinite(s.altitude.value) else 85.0
                begin = hour(s.begin)
                ax.plot(
                    [begin, begin + s.minutes / 60],
                    [height] * 2,
                    color=BLUE,
                    lw=5,
                    solid_capstyle="butt",
                )
                ax.text(begin, height + 2, f"{k}", fontsize=8, color=INK)
            last = max((hour(s.begin) + s.minutes / 60 for s in self.steps), default=0.0)
            until = min(hour(self.sunrise), max(last, hour(self.sunset) + 4) + 2)
            ax.set(
                xlim=(hour(self.sunset), until),
                ylim=(0, 95),
                xlabel=f"hour ({self.clock_words})",
                ylabel="altitude (degrees)",
            )
            ticks = np.arange(math.ceil(hour(self.sunset)), until + 1e-9, 1)
            ax.set_xticks(ticks, [f"{int(t % 24):02d}" for t in ticks])
            entitle(ax, f"{self.telescope}, night of {self.night}")
        return ax

    def figures(self) -> list[Picture]:
        """The night in one picture."""
        steps = ", ".join(
            f"{k}: {s.target} at {self.at(s.begin)}" for k, s in enumerate(self.steps, 1)
        )
        return [
            Picture(
                self.plot,
                "Altitude of each step's target; grey is the darkest part of the night, numbers are those of the steps.",
                f"Steps over the night: {steps}.",
            )
        ]

    def page(self) -> str:
        """The plan as one HTML page that prints on A4 and asks for nothing from the network."""
        from ..campaign.pages import environment_with_style, kept_together

        environment, css = environment_with_style()
        picture = self.figures()[0]
        text = environment.get_template("night-plan.html.j2").render(
            css=css,
            plan=self,
            said=self.sentences(),
            facts=facts,
            image=picture.source(),
            picture=picture,
            cautions=CAUTIONS,
        )
        return kept_together(text)

    def write_page(self, path: str | Path) -> None:
        """Write the page.

        Parameters
        ----------
        path : path
            The HTML file.
        """
        Path(path).write_text(self.page(), encoding="utf-8")


def facts(step: Step) -> str:
    """Where the target stands, and what the frames will look like, in one line."""
    parts = []
    if step.right_ascension:
        parts.append(f"{step.right_ascension}, {step.declination} (J2000)")
    if np.isfinite(step.magnitude):
        parts.append(f"V {step.magnitude:.1f}, class {step.spectral_class}")
    if np.isfinite(step.altitude.value):
        high = f"{step.altitude.value:.0f}° high"
        if np.isfinite(step.airmass):
            high += f", seeing {step.seeing.value:.1f} arcsec there"
        parts.append(high)
    if step.filter:
        parts.append(f"filter: {step.filter}")
    if np.isfinite(step.exposure.value):
        clips = (
            f" (its level is reached after {step.longest.value:.0f} s)"
            if np.isfinite(step.longest.value)
            else ""
        )
        parts.append(f"{step.count} {step.counted} of {step.exposure.value:g} s{clips}")
    if step.defocus.value > 0:
        own = f", {step.focuser_steps:.0f} steps" if np.isfinite(step.focuser_steps) else ""
        parts.append(
            f"defocus {step.defocus.to_value(u.mm):.2f} mm{own}, discs of {step.blur.value:.0f} pixels"
        )
    if np.isfinite(step.dispersion.value) and step.dispersion.value > 0.05:
        parts.append(
            f"the air draws the star out by {step.dispersion.value:.1f} arcsec in that band"
        )
    return "; ".join(parts) + ("." if parts else "")


def _or_dash(value: float, form: str) -> str:
    return form.format(value) if np.isfinite(value) else "–"

"""One plan while it is made: its steps one after the other, their stars and exposures, and what they promise."""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Sequence

import numpy as np
from astropy import units as u
from astropy.coordinates import SkyCoord
from astropy.time import Time

from .. import _records
from .._records import QUANTITIES
from ..campaign.description import Campaign, ClaimEntry, FilterEntry
from ..errors import CannotMeasureError, InputError
from ..measurements import declared
from ..measurements._declaring import Measurement
from ..measurements._planning import FIELD, SPECTRUM, TWILIGHT, Recipe, Situation
from .bright_stars import Star, places
from .choosing import choose_field, choose_star
from .exposures import Setup, camera_setting
from .filters import choose_filter, width_of, words_of
from .moonlight import limb_exposure
from .night_plan import NightPlan, Promise, Step
from .night_sky import CIVIL, NAUTICAL, NightSky
from .promises import limit_of, promises_of, unpromised

_USUAL_WELL = 30_000 * u.electron
_USUAL_DISPERSION = 1.0 * u.nm / u.pix
_GRATING_SHARE = 0.3
_OVERHEAD_S = 30.0
_COOLING_MIN = 60.0
_MOST = 6


@dataclasses.dataclass(frozen=True)
class Asked:
    """Plain options, checked."""

    efficiency: float
    horizon: float
    step_um: float | None
    strehl: float | None
    chance: float

    def check(self) -> None:
        for name, value, low, high in (
            ("efficiency", self.efficiency, 0.01, 1.0),
            ("horizon", self.horizon, 10.0, 80.0),
            ("focuser_step", self.step_um, 0.001, 10_000.0),
            ("strehl", self.strehl, 0.3, 0.9999),
            ("chance", self.chance, 0.5, 0.99),
        ):
            if value is not None and not low <= value <= high:
                raise InputError(
                    f"{name} is {value:g}; it must be between {low:g} and {high:g}.", argument=name
                )


@dataclasses.dataclass(frozen=True)
class _Target:
    """What a step points at: a star or a field, what it gives, and for how long.

    `clipped`: V of the stars that clip in a field; `rate`: electrons a second of a star.
    """

    star: Star | None
    name: str
    place: SkyCoord
    altitude: float
    given: _records.StarExposure
    exposure: float
    clipped: float = math.nan
    rate: float = math.nan


class Planner:
    """One plan while it is made."""

    def __init__(
        self, campaign: Campaign, asked: Asked, sky: NightSky, seeing: tuple[u.Quantity, str]
    ) -> None:
        self.campaign, self.asked, self.sky = campaign, asked, sky
        self.assumptions: list[str] = []
        self.remarks: list[str] = []
        camera = campaign.camera
        if camera.pitch is None:
            raise InputError(
                f"{campaign.path} does not say the pixel pitch, and no frame's header can yet. Add it under [camera], "
                'such as pitch = "3.76 um".',
                argument="pitch",
            )
        gain = camera.gain or 1.0 * u.electron / u.adu
        well = (
            _USUAL_WELL if camera.saturation is None else (camera.saturation * gain).to(u.electron)
        )
        if camera.saturation is None or camera.gain is None:
            self.assumptions.append(
                f"a pixel holds {well.value:,.0f} electrons".replace(",", " ")
                + (
                    " (usual for small pixels; say gain and saturation under [camera])"
                    if camera.saturation is None
                    else " (gain taken as 1 electron per ADU; say it under [camera])"
                )
            )
        self.setup = Setup(
            campaign.telescope.optics,
            camera.pitch.to(u.um),
            gain,
            camera.read_noise or 3.0 * u.electron,
            well,
            asked.efficiency,
            seeing[0],
        )
        self.assumptions += [
            f"seeing {seeing[0].value:g} arcsec in the zenith at 500 nm ({seeing[1]})",
            f"{100 * asked.efficiency:.0f} electrons for 100 photons at the objective",
        ]

    def plan(self, night: str, hours: float) -> NightPlan:
        """Every step, one after the other, then the promises."""
        depth, dark_from, dark_to = self.sky.darkest()
        begin, end = self.sky.below(NAUTICAL if depth < CIVIL else CIVIL)
        sunset, sunrise = self.sky.below(-0.83)
        begin = max(begin, sunset + _COOLING_MIN * u.min)
        steps: list[Step] = []
        promises: list[Promise] = []
        now = begin
        for measurement in self._wanted():
            recipe = measurement.recipe
            assert recipe is not None
            if recipe.target == TWILIGHT:
                steps.append(self._twilight(measurement, recipe))
                continue
            if recipe.target == FIELD:
                now = max(now, dark_from)
            try:
                step, made = self._step(measurement, recipe, now)
            except CannotMeasureError as error:
                self.remarks.append(f"{measurement.title}: {error}")
                continue
            steps.append(step)
            promises += made
            now = now + step.minutes * u.min
        if now > end:
            late = (now - end).to_value(u.min)
            self.remarks.append(
                f"The whole order takes {late:.0f} minutes longer than the night: leave the last steps for another one."
            )
        moon = self._moon(steps)
        if moon is not None:
            steps.append(moon)
        promises += unpromised(self.campaign.claims, promises)
        return NightPlan(
            notes=(),
            conditions={},
            name=self.campaign.name,
            telescope=self.campaign.telescope.name,
            night=night,
            site=(
                f"{self.sky.site.lat.deg:.3f}, {self.sky.site.lon.deg:.3f}, "
                f"{self.sky.site.height.to_value(u.m):.0f} m"
            ),
            clock=hours,
            sunset=sunset.isot[:16],
            sunrise=sunrise.isot[:16],
            dark=(dark_from.isot[:16], dark_to.isot[:16]),
            twilight=-depth,
            moon_lit=self.sky.moon_lit,
            moon_up=tuple(t.isot[:16] for t in self.sky.moon_up() or ()),
            steps=tuple(sorted(steps, key=lambda s: s.begin)),
            promises=tuple(promises),
            assumptions=tuple(self.assumptions),
            remarks=tuple(self.remarks),
            chance=self.asked.chance,
        )

    def _wanted(self) -> list[Measurement]:
        """What entries and claims ask for, else everything, in the order of a night."""
        known = {k: m for k, m in declared().items() if m.recipe is not None}
        areas = {t.kind for t in self.campaign.tests}
        areas |= {QUANTITIES[c.quantity].area for c in self.campaign.claims}
        chosen = [m for k, m in known.items() if not areas or k in areas]
        return sorted(chosen, key=lambda m: m.recipe.order if m.recipe else 0)

    # ---- one step

    def _twilight(self, measurement: Measurement, recipe: Recipe) -> Step:
        """Flats while the Sun is 3 to 8 degrees below the horizon, on the side of the night that comes first."""
        begin, end = self.sky.below(-3.0)[0], self.sky.below(CIVIL)[0] + 10 * u.min
        words = {"count": recipe.count}
        return Step(
            area=measurement.area,
            title=measurement.title,
            target="even sky near the zenith",
            begin=begin.isot[:16],
            minutes=float((end - begin).to_value(u.min)),
            count=recipe.count,
            counted=recipe.counted,
            instructions=recipe.shows(words),
            reason=recipe.reason,
        )

    def _step(
        self, measurement: Measurement, recipe: Recipe, now: Time
    ) -> tuple[Step, list[Promise]]:
        """A step on a star or a field, and what it promises."""
        light, assumed = choose_filter(self.campaign, measurement, recipe)
        self.assumptions += assumed
        claims = [
            c for c in self.campaign.claims if QUANTITIES[c.quantity].area == measurement.area
        ]
        wavefront = self._assumed(recipe, claims, light)
        # The middle of the step, as long as it is roughly.
        each = recipe.images * (recipe.exposure + _OVERHEAD_S)
        middle = now + (recipe.setup + recipe.count * each / 60) / 2 * u.min
        waves = self._waves(recipe, light.wavelength)
        if recipe.target == FIELD:
            at = self._on_field(recipe, light, middle)
        else:
            at = self._on_star(recipe, light, middle, waves, wavefront)
        given, exposure = at.given, at.exposure
        promises: list[Promise] = []
        count = recipe.count
        if recipe.simulate is not None and at.star is not None:
            promises = self._promises(recipe, given, light, wavefront, exposure, claims)
            count = max([recipe.count, *(p.needed for p in promises)])
        depth = 2 * light.wavelength.to_value(u.um) * self.setup.telescope.focal_ratio**2
        words = {
            "name": at.name,
            "count": count,
            "exposure": f"{exposure:g} s",
            "defocus": self._way(given.defocus.to_value(u.um)),
            "blur": f"{given.blur.value:.0f}",
            "focus_step": self._way(2 * depth),
            "faintest_clipped": f"{at.clipped:.0f}",
            "dispersion": f"{given.dispersion.value:.1f} arcsec",
        }
        minutes = recipe.setup + count * recipe.images * (exposure + _OVERHEAD_S) / 60
        return (
            Step(
                area=measurement.area,
                title=measurement.title,
                target=at.name,
                begin=now.isot[:16],
                minutes=minutes,
                count=count,
                counted=recipe.counted,
                instructions=recipe.shows(words),
                reason=recipe.reason,
                right_ascension=at.place.ra.to_string(u.hour, sep=" ", precision=0, pad=True),
                declination=at.place.dec.to_string(sep=" ", precision=0, pad=True, alwayssign=True),
                magnitude=math.nan if at.star is None else at.star.v,
                spectral_class="" if at.star is None else at.star.spectral_class,
                altitude=at.altitude * u.deg,
                airmass=given.airmass,
                seeing=given.seeing,
                dispersion=given.dispersion,
                filter=words_of(light),
                exposure=exposure * u.s,
                longest=given.longest if at.star is not None else math.nan * u.s,
                electrons=at.rate * exposure * u.electron,
                defocus=given.defocus.to(u.mm),
                focuser_steps=(
                    math.nan
                    if self.asked.step_um is None or not waves
                    else given.defocus.to_value(u.um) / self.asked.step_um
                ),
                blur=given.blur,
            ),
            promises,
        )

    def _assumed(
        self, recipe: Recipe, claims: Sequence[ClaimEntry], light: FilterEntry
    ) -> dict[int, float]:
        """The wavefront that the telescope is taken to have, where the recipe asks for one."""
        if recipe.assume is None:
            return {}
        wavefront = recipe.assume(
            [limit_of(c) for c in claims], light.wavelength.to_value(u.nm), self.asked.strehl
        )
        rms = math.sqrt(sum(c * c for c in wavefront.values()))
        self.assumptions.append(
            f"a telescope with a wavefront error of {rms:.0f} nm RMS, in low orders (say another Strehl ratio if you "
            "know better)"
        )
        return wavefront

    def _on_field(self, recipe: Recipe, light: FilterEntry, when: Time) -> _Target:
        """A rich field, and which stars clip in it."""
        name, place, altitude = choose_field(self.sky, when, self.asked.horizon)
        given = self.setup.star(
            9.0, 6000, altitude, light.wavelength, width_of(light), level=recipe.level, wanted=0.0
        )
        exposure = camera_setting(recipe.exposure)
        clipped = 9.0 - 2.5 * math.log10(given.longest.to_value(u.s) / exposure)
        return _Target(None, name, place, altitude, given, exposure, clipped=clipped)

    def _on_star(
        self,
        recipe: Recipe,
        light: FilterEntry,
        when: Time,
        waves: float,
        wavefront: dict[int, float],
    ) -> _Target:
        """A bright star, out of focus by so many waves."""
        dispersion = self._dispersion if recipe.target == SPECTRUM else None
        share = _GRATING_SHARE if dispersion is not None else 1.0
        setup = dataclasses.replace(self.setup, efficiency=self.setup.efficiency * share)

        def seen(star: Star, altitude: float) -> _records.StarExposure:
            return setup.star(
                star.v,
                star.kelvin,
                altitude,
                light.wavelength,
                width_of(light),
                level=recipe.level,
                wanted=recipe.wanted,
                waves=waves,
                dispersion=dispersion,
                wavefront=wavefront,
            )

        star, altitude, given, said = choose_star(self.sky, when, recipe, seen, self.asked.horizon)
        if said:
            self.remarks.append(said)
        rate = given.electron_rate.to_value(u.electron / u.s)
        exposure = self._exposure(recipe, given)
        return _Target(
            star, star.full_name, places([star])[0], altitude, given, exposure, rate=rate
        )

    def _waves(self, recipe: Recipe, wavelength: u.Quantity) -> float:
        """Defocus in waves: as the recipe has it, more where the seeing would else fill the disc (a sixth of it), 10 at most."""
        if not recipe.defocus_waves:
            return 0.0
        across = 8 * wavelength / self.setup.telescope.aperture * u.rad
        need = 6 * float((self.setup.seeing / across).to_value(u.one))
        return float(np.clip(need, recipe.defocus_waves, max(10.0, recipe.defocus_waves)))

    @functools.cached_property
    def _dispersion(self) -> u.Quantity:
        """Of the spectrum: the middle of what an entry says, else a usual one."""
        for test in self.campaign.tests:
            said = test.options.get("dispersion")
            if said is not None:
                return u.Quantity(np.mean(u.Quantity(said).to(u.nm / u.pix)))
        self.assumptions.append(
            f"a dispersion of {_USUAL_DISPERSION.value:g} nm a pixel, and {100 * _GRATING_SHARE:.0f} % of the light in the spectrum"
        )
        return _USUAL_DISPERSION

    def _exposure(self, recipe: Recipe, given: _records.StarExposure) -> float:
        """Long enough for the air and the light, short enough for the brightest pixel."""
        want = min(max(recipe.exposure, given.light.to_value(u.s)), recipe.longest)
        return camera_setting(want, min(recipe.longest, given.longest.to_value(u.s)))

    def _way(self, um: float) -> str:
        """A way of the focuser, in mm or um and in its steps."""
        text = f"{um / 1000:.2f} mm" if um >= 300 else f"{um:.0f} um"
        if self.asked.step_um is not None:
            text += f" ({um / self.asked.step_um:.0f} steps)"
        return text

    def _promises(
        self,
        recipe: Recipe,
        given: _records.StarExposure,
        light: FilterEntry,
        wavefront: dict[int, float],
        exposure: float,
        claims: Sequence[ClaimEntry],
    ) -> list[Promise]:
        """How many pairs decide each claim, from simulated nights."""
        if not claims:
            return []
        assert recipe.simulate is not None
        rate = given.electron_rate.to_value(u.electron / u.s)
        situation = Situation(
            telescope=self.setup.telescope,
            pitch=self.setup.pitch,
            gain=self.setup.gain,
            read_noise=self.setup.read_noise,
            wavelength=light.wavelength,
            defocus=given.defocus,
            exposure=exposure * u.s,
            seeing=given.seeing,
            electrons=rate * exposure,
            wavefront=wavefront,
            most=_MOST,
        )
        try:
            simulated, said = recipe.simulate(situation)
        except CannotMeasureError as error:
            self.remarks.append(f"Frames like these cannot be measured: {error}")
            return []
        self.remarks += said
        return promises_of(
            claims,
            simulated,
            light,
            f"{recipe.counted} of {exposure:g} s",
            risk=self.campaign.risk,
            chance=self.asked.chance,
        )

    # ---- the Moon

    def _moon(self, steps: Sequence[Step]) -> Step | None:
        """The lit limb, when the Moon stands high enough in the dark; for glare and edge contrast."""
        high = self.sky.moon_up(25.0)
        if high is None or not 0.05 < self.sky.moon_lit < 0.995:
            return None
        k = int(np.argmax(np.where(self.sky.sun < CIVIL, self.sky.moon, -90.0)))
        when = self.sky.times[k]
        if not high[0] <= when <= high[1]:
            return None
        seconds = camera_setting(limb_exposure(self.setup, self.sky.moon_lit))
        return Step(
            area="",
            title="The Moon's limb",
            target="lit limb of the Moon",
            begin=when.isot[:16],
            minutes=10.0,
            count=5,
            counted="frames",
            instructions=(
                f"The limb through the middle of the frame, 5 frames of about {seconds:g} s, its brightest part at 0.7 of full "
                "well or less; then 5 with the Moon just outside the frame, for stray light. Any time while it is up serves."
            ),
            reason="common practice, no source",
            altitude=float(self.sky.moon[k]) * u.deg,
            exposure=seconds * u.s,
        )

"""What a campaign file says, with units: one class for each table of the file."""

from __future__ import annotations

import dataclasses
import math
from datetime import date
from pathlib import Path
from typing import Any

from astropy import units as u

from ..decisions.deciding import Claim
from ..measurements._declaring import Measurement
from ..optics.telescope import Telescope, Vane


@dataclasses.dataclass(frozen=True)
class TelescopeEntry:
    """[telescope]: name, sample, design, aperture, focal_length, obstruction, vanes, note."""

    name: str
    sample: str
    design: str
    aperture: u.Quantity
    focal_length: u.Quantity
    obstruction: float
    vanes: tuple[Vane, ...]
    note: str

    @property
    def optics(self) -> Telescope:
        """What passes light, for the measurements."""
        return Telescope(
            self.aperture, self.focal_length, self.obstruction, self.vanes, name=self.name
        )

    @property
    def focal_ratio(self) -> float:
        """Focal length over aperture."""
        return self.optics.focal_ratio


@dataclasses.dataclass(frozen=True)
class CameraEntry:
    """[camera]: what goes before the frames' headers; None = as the header says."""

    name: str
    pitch: u.Quantity | None
    gain: u.Quantity | None
    read_noise: u.Quantity | None
    saturation: u.Quantity | None
    bayer: str
    orientation: str

    def overrides(self) -> dict[str, Any]:
        """Options for `read_frame`."""
        known = {
            "pitch": self.pitch,
            "gain": self.gain,
            "read_noise": self.read_noise,
            "saturation": self.saturation,
            "bayer": self.bayer or None,
        }
        return {key: value for key, value in known.items() if value is not None}


@dataclasses.dataclass(frozen=True)
class FilterEntry:
    """[filters.NAME]: central wavelength and width."""

    name: str
    wavelength: u.Quantity
    width: u.Quantity | None


@dataclasses.dataclass(frozen=True)
class SiteEntry:
    """[site]: place, observer, seeing with its uncertainty, temperature, note."""

    place: str
    observer: str
    seeing: u.Quantity | None
    seeing_uncertainty: u.Quantity | None
    temperature: u.Quantity | None
    note: str


@dataclasses.dataclass(frozen=True)
class Test:
    """One entry of a measurement: [[stars]], [[wavefront]], ...

    Attributes
    ----------
    measurement : Measurement
        What is measured, as it declares itself.
    name : str
        Title in the report.
    files : dict of str to tuple of Path
        Frames by their role.
    filter : FilterEntry or None
        The filter used.
    options : dict
        What the entry says to the measurement, with units.
    """

    measurement: Measurement
    name: str
    files: dict[str, tuple[Path, ...]]
    filter: FilterEntry | None
    options: dict[str, Any]

    __test__ = False  # not for pytest

    @property
    def kind(self) -> str:
        """The measurement's one name."""
        return self.measurement.area

    @property
    def frames(self) -> tuple[Path, ...]:
        """Every file once; of several roles that belong together one after the other."""
        return tuple(dict.fromkeys(path for files in self.files.values() for path in files))


@dataclasses.dataclass(frozen=True)
class ClaimEntry:
    """One entry of [[claims]] or [[requirements]]."""

    claim: Claim
    quantity: str
    wavelength: u.Quantity | None
    test: str
    source: str
    welcome: bool = False


@dataclasses.dataclass(frozen=True)
class DecisionEntry:
    """[decision]: accepted risk; until when it can be returned; what either mistake costs (NaN = not stated)."""

    risk: float = 0.05
    return_by: date | None = None
    cost_of_keeping: float = math.nan
    cost_of_returning: float = math.nan


@dataclasses.dataclass(frozen=True)
class Campaign:
    """A campaign file, read and checked.

    Attributes
    ----------
    path : Path
        The file.
    text : str
        Its text, for the record.
    name, summary : str
        Title of the report and a sentence below it.
    telescope, camera, site : TelescopeEntry, CameraEntry, SiteEntry
        What was used where.
    filters : dict of str to FilterEntry
        By name.
    tests : tuple of Test
        In the order stars, wavefront, color focus.
    claims : tuple of ClaimEntry
        Claims first, then requirements.
    decision : DecisionEntry
        Accepted risk, return date, costs of the mistakes.
    """

    path: Path
    text: str
    name: str
    summary: str
    telescope: TelescopeEntry
    camera: CameraEntry
    site: SiteEntry
    filters: dict[str, FilterEntry]
    tests: tuple[Test, ...]
    claims: tuple[ClaimEntry, ...]
    decision: DecisionEntry

    @property
    def risk(self) -> float:
        """Accepted probability of a wrong "met" or "not met"."""
        return self.decision.risk

    @property
    def frames(self) -> tuple[Path, ...]:
        """Every file once, in the order of the tests."""
        return tuple(dict.fromkeys(path for test in self.tests for path in test.frames))

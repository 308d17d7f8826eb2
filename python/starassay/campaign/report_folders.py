"""Reads a report folder back, as far as a comparison needs it."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from astropy import units as u

from .. import _units
from .._records import QUANTITIES, Quantity
from .._toml import tomllib
from .._values import Measured
from ..errors import FileError
from .folder import MANIFEST

_DECISIONS = "decisions.json"


@dataclasses.dataclass(frozen=True)
class Folder:
    """What a report folder says, for a comparison.

    Attributes
    ----------
    path : Path
        The folder.
    telescope, sample, campaign, place : str
        From the campaign's text.
    nights : tuple of str
        First and last date of the frames; empty when no header has one.
    setup : tuple
        What is common to all measurements made with it: aperture, focal length, obstruction, pitch.
    temperature : float
        In degrees Celsius as stated; NaN when it is not.
    quantities : dict of str to Quantity
        Of the telescope itself; the first test that gives one counts.
    basis : dict of str to str
        What a quantity is for beside its wavelength.
    diagonals : dict of str to float
        Diagonal of the sensor behind each quantity, mm.
    label : str
        What it is called in the comparison.
    """

    path: Path
    telescope: str
    sample: str
    campaign: str
    place: str
    nights: tuple[str, ...]
    setup: tuple[Any, ...]
    temperature: float
    quantities: dict[str, Quantity]
    basis: dict[str, str]
    diagonals: dict[str, float]
    label: str = ""

    @property
    def night_words(self) -> str:
        """Its nights as one text."""
        return " to ".join(dict.fromkeys(self.nights)) or "date not in the headers"


def read_folder(path: Path) -> Folder:
    """What a report folder holds for a comparison.

    Parameters
    ----------
    path : Path
        The folder.
    """
    try:
        manifest = json.loads((path / MANIFEST).read_text(encoding="utf-8"))
        decisions = json.loads((path / _DECISIONS).read_text(encoding="utf-8"))
        campaign = tomllib.loads(manifest["campaign"]["text"])
        telescope, camera = campaign["telescope"], campaign.get("camera", {})
        listed = manifest["tests"], decisions["quantities"]
    except (OSError, ValueError, KeyError, TypeError):
        raise FileError(
            f"{path} is no report folder, or not a whole one. Name one that 'starassay run' has written, such as "
            f"{path / 'report'}.",
            code="compare.folder",
            subject=str(path),
        ) from None
    foreign = {
        e.get("name")
        for entries in campaign.values()
        if isinstance(entries, list)
        for e in entries
        if isinstance(e, dict) and "other_telescope" in e
    }
    quantities: dict[str, Quantity] = {}
    basis: dict[str, str] = {}
    diagonals: dict[str, float] = {}
    nights: set[str] = set()
    for test in listed[0]:
        if test["name"] in foreign:
            continue
        frames = list(_frames(path, test["results"]))
        nights |= {f["start"][:10] for f in frames if f.get("start")}
        for name, plain in listed[1].get(test["name"], {}).items():
            if name in QUANTITIES and name not in quantities:
                quantities[name] = _quantity(plain)
                basis[name] = decisions.get("basis", {}).get(test["name"], {}).get(name, "")
                diagonals[name] = _diagonal(frames, camera.get("pitch"))
    site = campaign.get("site", {})
    if "seeing" not in quantities and "seeing" in site:
        quantities["seeing"] = _stated_seeing(site)
    keys = ("aperture", "focal_length", "obstruction", "vanes")
    return Folder(
        path,
        telescope["name"],
        telescope.get("sample", ""),
        campaign["campaign"]["name"],
        site.get("place", ""),
        tuple(sorted(nights)[:: max(1, len(nights) - 1)]),
        (*(str(telescope.get(k)) for k in keys), str(camera.get("pitch")), str(camera.get("name"))),
        _celsius(site.get("temperature")),
        quantities,
        basis,
        diagonals,
    )


def _frames(folder: Path, slugs: Iterable[str]) -> Iterable[dict[str, Any]]:
    """What the results of a test say of their frames."""
    for slug in slugs:
        try:
            record = json.loads((folder / "results" / f"{slug}.json").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            continue
        yield from record.get("conditions", {}).get("frames", [])


def _quantity(plain: dict[str, Any]) -> Quantity:
    """A quantity as the folder has it."""

    def number(value: Any, otherwise: float = math.nan) -> float:
        value = value.get("value") if isinstance(value, dict) else value
        return otherwise if value is None else float(value)

    kind = QUANTITIES[plain["name"]]
    unit = u.Unit(kind.unit)
    value = plain["value"]
    return Quantity(
        name=plain["name"],
        value=Measured(number(value["value"]) * unit, number(value["uncertainty"]) * unit),
        random_part=number(plain["random_part"]),
        common_part=number(plain["common_part"]),
        may_be_less=number(plain["may_be_less"], 0.0),
        may_be_more=number(plain["may_be_more"], 0.0),
        degrees_of_freedom=number(plain["degrees_of_freedom"], math.inf),
        count=int(plain["count"]),
        counted=plain["counted"],
        wavelength=number(plain["wavelength"]) * u.nm,
        doubts=tuple(plain["doubts"]),
    )


def _stated_seeing(site: dict[str, Any]) -> Quantity:
    """The seeing that the observer states; without an uncertainty it is taken as good to a fifth."""
    value = _units.quantity(site["seeing"], u.arcsec, "seeing")
    bar = site.get("seeing_uncertainty")
    bar = value / 5 if bar is None else _units.quantity(bar, u.arcsec, "seeing_uncertainty")
    return Quantity(
        name="seeing",
        value=Measured(value, bar),
        random_part=math.nan,
        common_part=math.nan,
        may_be_less=0.0,
        may_be_more=0.0,
        degrees_of_freedom=math.inf,
        count=1,
        counted="nights",
        wavelength=math.nan * u.nm,
        doubts=(),
    )


def _diagonal(frames: Sequence[dict[str, Any]], stated: str | None) -> float:
    """Diagonal of the frames, mm; NaN when their pitch is not known or they differ."""
    found = set()
    for f in frames:
        pitch = stated or f.get("pitch")
        if pitch is None:
            return math.nan
        um = _units.number(pitch, u.um, "pitch")
        found.add(round(math.hypot(f["width"], f["height"]) * um / 1000, 2))
    return found.pop() if len(found) == 1 else math.nan


def _celsius(text: str | None) -> float:
    return math.nan if text is None else float(_units.number(text, u.deg_C, "temperature"))


def labelled(folders: Sequence[Folder]) -> list[Folder]:
    """Each with a label of its own: telescope, then its sample, its nights, its folder, as far as needed."""
    # One telescope in two states is told by its nights alone.
    one = len({(f.telescope, f.sample) for f in folders}) == 1
    makers = (
        "{f.telescope}",
        "{f.telescope}, {f.sample}",
        "{f.night_words}" if one else "{f.telescope}, {f.night_words}",
        "{f.telescope} ({f.campaign})",
        "{f.telescope} ({f.path})",
    )
    for make in makers:
        labels = [make.format(f=f) for f in folders]
        if len(set(labels)) == len(labels):
            break
    return [dataclasses.replace(f, label=label) for f, label in zip(folders, labels)]


__all__ = ["Folder", "labelled", "read_folder"]

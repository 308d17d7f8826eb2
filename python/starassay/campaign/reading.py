"""Reads and checks a campaign file, before anything is measured.

docs/campaign.md shows every key. Each complaint names file, line and key and says what to do.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from pathlib import Path

from astropy import units as u

from .. import _records, _units
from .._records import QUANTITIES
from .._toml import Complaints, Table, TomlFile
from ..decisions.deciding import Claim
from ..measurements import declared
from ..measurements._declaring import TELESCOPE, Measurement, Option
from ..optics.telescope import read_vanes
from .description import (
    CameraEntry,
    Campaign,
    ClaimEntry,
    DecisionEntry,
    FilterEntry,
    SiteEntry,
    TelescopeEntry,
    Test,
)


FILE_NAME = "campaign.toml"
DESIGNS = _records.ADVICE_REQUEST["design"].choices
ORIENTATIONS = _records.WAVEFRONT_REQUEST["orientation"].choices


def read_campaign(path: str | Path, *, frames: bool = True) -> Campaign:
    """Read and check a campaign file.

    Parameters
    ----------
    path : path
        The file, or the folder that holds ``campaign.toml``.
    frames : bool
        False while none were taken yet: entries need no files, and there may be no entries.

    Returns
    -------
    Campaign
        Everything in it, with units.

    Raises
    ------
    FileError
        When there is no such file.
    CampaignError
        When something in it is wrong; the message names file, line and key.
    """
    path = _units.path_of(path, "path")
    frames = _units.flag(frames, "frames")
    file = TomlFile(path / FILE_NAME if path.is_dir() else path)
    top = file.table()
    measurements = declared()
    wrong = Complaints()
    known = [
        *("campaign", "telescope", "camera", "filters", "site"),
        *("claims", "requirements", "decision"),
        *measurements,
    ]
    for key in top.values:
        wrong.gather(lambda: Table(file, {key: top.values[key]}, ()).only(known))
    head = wrong.gather(lambda: _head(top.sub("campaign", needed=True)))
    telescope = wrong.gather(lambda: _telescope(top.sub("telescope", needed=True)))
    camera = wrong.gather(lambda: _camera(top.sub("camera")))
    site = wrong.gather(lambda: _site(top.sub("site")))
    filters = wrong.gather(lambda: _filters(top.sub("filters")))
    read: list[Test | None] = []
    for key in top.values:
        if key not in measurements:
            continue
        for entry in wrong.gather(lambda: top.tables(key)) or []:
            # A filter that is wrong itself has been told; its entries are not told again.
            if filters is not None or not isinstance(entry.values.get("filter"), str):
                read.append(
                    wrong.gather(lambda: _test(measurements[key], entry, filters or {}, frames))
                )
    listed = any(key in measurements for key in top.values)
    if frames and not read and (not wrong.errors or not listed):
        wrong.gather(lambda: _no_test(file, measurements))
    tests = tuple(t for t in read if t is not None)
    # A claim may name a test that could not be read: then only what is left of the claim is looked at.
    among = None if len(tests) < len(read) or wrong.errors or not frames else tests
    claims = [
        wrong.gather(lambda: _claim(entry, key == "requirements", among))
        for key in ("claims", "requirements")
        for entry in wrong.gather(lambda: top.tables(key)) or []
    ]
    decision = wrong.gather(lambda: _decision(top.sub("decision")))
    wrong.raise_all()
    assert head is not None and telescope is not None
    assert camera is not None and site is not None and filters is not None
    assert decision is not None
    return Campaign(
        path=file.path,
        text=file.text,
        name=head[0],
        summary=head[1],
        telescope=telescope,
        camera=camera,
        site=site,
        filters=filters,
        tests=tests,
        claims=tuple(c for c in claims if c is not None),
        decision=decision,
    )


def _head(t: Table) -> tuple[str, str]:
    t.only(["name", "summary"])
    return t.text("name"), t.text("summary", "")


def _decision(t: Table) -> DecisionEntry:
    t.only(["risk", "return_by", "cost_of_keeping", "cost_of_returning"])
    costs = [key for key in ("cost_of_keeping", "cost_of_returning") if key in t.values]
    if len(costs) == 1:
        raise t.fail(costs[0], "one cost alone decides nothing. Give both, in one currency.")
    said = t.values.get("return_by")
    by = None
    if said is not None:
        try:
            by = date.fromisoformat(str(said))
        except ValueError:
            raise t.fail("return_by", f'{said!r} is no date. Write it like "2026-12-20".') from None
    return DecisionEntry(
        t.number("risk", 0.05, low=1e-6, high=0.4),
        by,
        *(
            t.number(key, math.nan, low=0.0, high=1e12) if costs else math.nan
            for key in ("cost_of_keeping", "cost_of_returning")
        ),
    )


def _no_test(file: TomlFile, measurements: Mapping[str, Measurement]) -> None:
    raise file.fail(
        (next(iter(measurements)),),
        f"no test is described. List frames under {', '.join(f'[[{m}]]' for m in measurements)}.",
    )


def _telescope(t: Table) -> TelescopeEntry:
    t.only(["name", "sample", "design", *TELESCOPE, "note"])
    # The ranges are the engine's own, which would refuse them in the middle of the work.
    aperture = t.quantity("aperture", "mm", needed=True, low=5.0, high=20000.0)
    focal = t.quantity("focal_length", "mm", needed=True, low=10.0, high=500000.0)
    assert aperture is not None and focal is not None
    if not 1.0 <= float(focal / aperture) <= 100:
        raise t.fail(
            "focal_length",
            f"{focal:g} over an aperture of {aperture:g} is f/{float(focal / aperture):.3g}, "
            "which no telescope has. Check both and their units.",
        )
    return TelescopeEntry(
        t.text("name"),
        t.text("sample", ""),
        t.choice("design", DESIGNS, "unknown"),
        aperture,
        focal,
        t.number("obstruction", 0.0, low=0.0, high=0.9),
        t.tried("vanes", lambda: read_vanes(t.option(TELESCOPE["vanes"]))),
        t.text("note", ""),
    )


def _camera(t: Table) -> CameraEntry:
    t.only(["name", "pitch", "gain", "read_noise", "saturation", "bayer", "orientation"])
    bayer = t.text("bayer", "").upper()
    if bayer and sorted(bayer) != sorted("RGGB"):
        raise t.fail("bayer", f"'{bayer}' is no Bayer pattern. Write for example \"RGGB\".")
    return CameraEntry(
        t.text("name", ""),
        t.quantity("pitch", "um", low=0.1, high=1000.0),
        t.quantity("gain", "electron / adu"),
        t.quantity("read_noise", "electron"),
        t.quantity("saturation", "adu"),
        bayer,
        t.choice("orientation", ORIENTATIONS, "direct"),
    )


def _filters(t: Table) -> dict[str, FilterEntry]:
    found = {}
    for name in t.values:
        one = t.sub(name)
        one.only(["wavelength", "width"])
        wavelength = one.quantity("wavelength", "nm", needed=True, low=200.0, high=20000.0)
        assert wavelength is not None
        found[name] = FilterEntry(name, wavelength, one.quantity("width", "nm"))
    return found


def _site(t: Table) -> SiteEntry:
    t.only(["place", "observer", "seeing", "seeing_uncertainty", "temperature", "note"])
    return SiteEntry(
        t.text("place", ""),
        t.text("observer", ""),
        t.quantity("seeing", "arcsec"),
        t.quantity("seeing_uncertainty", "arcsec"),
        t.quantity("temperature", "deg_C", positive=False),
        t.text("note", ""),
    )


def _test(one: Measurement, t: Table, filters: dict[str, FilterEntry], frames: bool) -> Test:
    """An entry of a measurement: its files by role (none while `frames` is False), and what it declares as options."""
    light = [one.light] if one.light else []
    roles = [r.name for r in one.roles] + (["pairs"] if one.pairs else [])
    own = [o for o in one.options if o.name not in light]
    t.only(["name", "filter", *roles, *light, *(o.name for o in own)])
    chosen = t.text("filter", "")
    if chosen and chosen not in filters:
        t.choice("filter", list(filters) or ["one that [filters.NAME] describes"], "")
    known = filters.get(chosen)
    files: dict[str, tuple[Path, ...]] = {}
    if frames:
        files = _pairs(t, one) if "pairs" in t.values and one.pairs else _files(t, one)
    said = {o.name: value for o in own if (value := t.option(o)) is not None}
    for name in light:
        said_light = t.option(Option(name, "numbers", "", "nm", low=200.0, high=20000.0))
        if said_light is not None:
            said[name] = said_light
        elif known is not None:
            said[name] = known.wavelength
        elif one.light_needed:
            raise t.fail(
                "filter",
                f"a {one.title.lower()} needs the wavelength it was taken at. Describe the filter under "
                "[filters.NAME] and give its name here.",
            )
    wrong = one.complaint(files, said) if frames else None
    if wrong is not None:
        raise t.fail(*wrong)
    return Test(one, t.text("name", f"{one.title} {t.place[-1] + 1}"), files, known, said)


def _files(t: Table, one: Measurement) -> dict[str, tuple[Path, ...]]:
    files = {}
    for role in one.roles:
        if role.optional and role.name not in t.values:
            continue
        files[role.name] = tuple(t.paths(role.name))
    if one.pairs:
        first, second = (r.name for r in one.roles)
        if len(files[first]) != len(files[second]):
            raise t.fail(
                second,
                f"{len(files[first])} frames {first} focus, but {len(files[second])} {second}. "
                "Give one for each.",
            )
    return files


def _pairs(t: Table, one: Measurement) -> dict[str, tuple[Path, ...]]:
    first, second = (r.name for r in one.roles)
    if first in t.values or second in t.values:
        raise t.fail("pairs", f"give either pairs, or {first} and {second}, not both.")
    pairs = t.values["pairs"]
    if not isinstance(pairs, list) or not all(isinstance(p, list) and len(p) == 2 for p in pairs):
        raise t.fail("pairs", 'write a list of pairs: [["in-1.fits", "out-1.fits"], ...].')
    if not pairs:
        raise t.fail("pairs", "the list is empty. Name at least one pair.")
    found = [[t.existing("pairs", t.path("pairs", name)) for name in pair] for pair in pairs]
    return {first: tuple(p[0] for p in found), second: tuple(p[1] for p in found)}


def _claim(t: Table, requirement: bool, tests: tuple[Test, ...] | None) -> ClaimEntry:
    """A claim or requirement; `tests` is None while not all tests could be read."""
    t.only(["name", "quantity", "at_least", "at_most", "wavelength", "test", "source", "welcome"])
    quantity = t.choice("quantity", list(QUANTITIES), "")
    kind = QUANTITIES[quantity]

    def limit(key: str) -> u.Quantity | None:
        if key not in t.values:
            return None
        if kind.unit:
            return t.quantity(key, kind.unit, positive=False, low=kind.low, high=kind.high)
        low, high = kind.low, kind.high
        return (
            t.number(key, 0.0, low=-1e6 if low is None else low, high=1e6 if high is None else high)
            * u.one
        )

    low, high = limit("at_least"), limit("at_most")
    if low is None and high is None:
        raise t.fail("at_least", "no limit is given. Add at_least, at_most or both.")
    if low is not None and high is not None and low >= high:
        raise t.fail("at_least", f"{low} is not below at_most = {high}. Exchange them.")
    test = t.text("test", "")
    names = [x.name for x in tests or () if x.kind == kind.area]
    if test and tests is not None and test not in names:
        t.choice("test", names or [f"one under [[{kind.area}]]"], "")
    return ClaimEntry(
        Claim(t.text("name", kind.label), low, high, requirement),
        quantity,
        t.quantity("wavelength", "nm"),
        test,
        t.text("source", ""),
        t.flag("welcome", False),
    )

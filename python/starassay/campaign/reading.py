"""Reads and checks a campaign file, before anything is measured.

docs/campaign.md shows every key. Each complaint names file, line and key and says what to do.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from astropy import units as u

from .._toml import Table, TomlFile
from ..decisions.deciding import Claim
from .description import (
    CameraEntry,
    Campaign,
    ClaimEntry,
    FilterEntry,
    SiteEntry,
    TelescopeEntry,
    Test,
)
from .quantities import QUANTITIES

FILE_NAME = "campaign.toml"
LAMPS = ("Ne", "Ar", "Hg", "He", "Kr", "Cd", "Xe", "H", "telluric")
DESIGNS = ("unknown", "refractor", "newtonian", "compound")
ORIENTATIONS = ("direct", "flipped-x", "flipped-y", "rotated180")


def read_campaign(path: str | Path) -> Campaign:
    """Read and check a campaign file.

    Parameters
    ----------
    path : path
        The file, or the folder that holds ``campaign.toml``.

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
    path = Path(path)
    file = TomlFile(path / FILE_NAME if path.is_dir() else path)
    top = file.table()
    top.only(
        [
            *("campaign", "telescope", "camera", "filters", "site", "stars", "wavefront"),
            *("color_focus", "claims", "requirements", "decision"),
        ]
    )
    head = top.sub("campaign", needed=True)
    head.only(["name", "summary"])
    filters = _filters(top.sub("filters"))
    tests = tuple(
        _test(kind, entry, filters)
        for kind in ("stars", "wavefront", "color_focus")
        for entry in top.tables(kind)
    )
    if not tests:
        raise file.fail(
            ("stars",),
            "no test is described. List frames under [[stars]], [[wavefront]] or [[color_focus]].",
        )
    decision = top.sub("decision")
    decision.only(["risk"])
    claims = [_claim(entry, False, tests) for entry in top.tables("claims")]
    claims += [_claim(entry, True, tests) for entry in top.tables("requirements")]
    return Campaign(
        path=file.path,
        text=file.text,
        name=head.text("name"),
        summary=head.text("summary", ""),
        telescope=_telescope(top.sub("telescope", needed=True)),
        camera=_camera(top.sub("camera")),
        site=_site(top.sub("site")),
        filters=filters,
        tests=tests,
        claims=tuple(claims),
        risk=decision.number("risk", 0.05, low=1e-6, high=0.4),
    )


def _telescope(t: Table) -> TelescopeEntry:
    t.only(["name", "sample", "design", "aperture", "focal_length", "obstruction", "note"])
    aperture, focal = t.quantity("aperture", "mm", needed=True), t.quantity(
        "focal_length", "mm", needed=True
    )
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
        t.text("note", ""),
    )


def _camera(t: Table) -> CameraEntry:
    t.only(["name", "pitch", "gain", "read_noise", "saturation", "bayer", "orientation"])
    bayer = t.text("bayer", "").upper()
    if bayer and sorted(bayer) != sorted("RGGB"):
        raise t.fail("bayer", f"'{bayer}' is no Bayer pattern. Write for example \"RGGB\".")
    return CameraEntry(
        t.text("name", ""),
        t.quantity("pitch", "um"),
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
        wavelength = one.quantity("wavelength", "nm", needed=True)
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


_KEYS: dict[str, tuple[str, ...]] = {
    "stars": ("frames", "outer_radius", "other_telescope"),
    "wavefront": ("pairs", "inside", "outside", "defocus"),
    "color_focus": (
        *("frames", "positions", "defocus", "lamp", "lamps", "dispersion", "star", "band"),
        *("dispersion_axis", "disperser", "grating_lines", "grating_distance", "order_filter"),
    ),
}


def _test(kind: str, t: Table, filters: dict[str, FilterEntry]) -> Test:
    t.only(["name", "filter", *_KEYS[kind]])
    chosen = t.text("filter", "")
    if chosen and chosen not in filters:
        t.choice("filter", list(filters) or ["one that [filters.NAME] describes"], "")
    facts: dict[str, Any] = {}
    if kind == "wavefront":
        frames = _pairs(t)
        facts["defocus"] = t.quantity("defocus", "mm")
        if not chosen:
            raise t.fail(
                "filter",
                "a wavefront needs the wavelength it was taken at. Describe the filter under "
                "[filters.NAME] and give its name here.",
            )
    else:
        frames = t.paths("frames")
    if kind == "stars":
        facts["outer_radius"] = t.quantity("outer_radius", "pix")
        facts["other_telescope"] = t.text("other_telescope", "") or None
    if kind == "color_focus":
        facts |= _spectra(t, len(frames))
    title = {"stars": "Star field", "wavefront": "Wavefront", "color_focus": "Color focus"}[kind]
    number = t.place[-1] + 1
    return Test(
        kind,
        t.text("name", f"{title} {number}"),
        tuple(frames),
        filters.get(chosen),
        {k: v for k, v in facts.items() if v is not None},
    )


def _spectra(t: Table, frames: int) -> dict[str, Any]:
    """What [[color_focus]] says beside its frames."""
    facts: dict[str, Any] = {"positions": t.quantities("positions", "um")}
    given = 0 if facts["positions"] is None else facts["positions"].size
    if frames > 1 and given != frames:
        raise t.fail(
            "positions",
            f"{frames} frames need {frames} sensor positions, {given} are given. Write one for each, in the "
            "order of the frames, growing away from the objective.",
        )
    facts["defocus"] = t.quantity("defocus", "um", positive=False)
    lamp = t.values.get("lamp")
    facts["lamp"] = None if lamp is None else t.existing("lamp", t.path("lamp", lamp))
    lamps = t.values.get("lamps", ["Ne"])
    if not isinstance(lamps, list) or not all(isinstance(name, str) for name in lamps):
        raise t.fail("lamps", 'name the elements of the lamp in a list, such as ["Hg", "Ne"].')
    for name in lamps:
        if name not in LAMPS:
            raise t.fail("lamps", f"no lamp '{name}' is known. Known are {', '.join(LAMPS)}.")
    facts["lamps"] = lamps
    rough = t.quantities("dispersion", "nm")
    if rough is None or rough.size != 2 or not 0 < rough[0] < rough[1]:
        raise t.fail(
            "dispersion",
            'give the rough dispersion, nanometers a pixel, least and greatest: ["0.3 nm", "0.5 nm"].',
        )
    facts["dispersion"] = tuple(rough.to_value(u.nm))
    band = t.quantities("band", "nm")
    if band is not None and (band.size != 2 or not 300 < band[0].value < band[1].value):
        raise t.fail("band", 'give the two ends of the band: ["400 nm", "700 nm"].')
    facts["band"] = (400.0, 700.0) if band is None else tuple(band.to_value(u.nm))
    facts["star"] = t.text("star", "")
    facts["dispersion_axis"] = t.choice("dispersion_axis", ("x", "y", "auto"), "auto")
    facts["disperser"] = t.choice(
        "disperser", ("converging-grating", "parallel-grating", "prism"), "converging-grating"
    )
    if "grating_lines" in t.values:
        facts["grating_lines"] = t.number("grating_lines", 0.0, low=10, high=3000)
    facts["grating_distance"] = t.quantity("grating_distance", "mm")
    facts["order_filter"] = t.flag("order_filter", False)
    return facts


def _pairs(t: Table) -> list[Path]:
    if "pairs" in t.values:
        if "inside" in t.values or "outside" in t.values:
            raise t.fail("pairs", "give either pairs, or inside and outside, not both.")
        pairs = t.values["pairs"]
        if not isinstance(pairs, list) or not all(
            isinstance(p, list) and len(p) == 2 for p in pairs
        ):
            raise t.fail("pairs", 'write a list of pairs: [["in-1.fits", "out-1.fits"], ...].')
        if not pairs:
            raise t.fail("pairs", "the list is empty. Name at least one pair.")
        return [t.existing("pairs", t.path("pairs", name)) for pair in pairs for name in pair]
    inside, outside = t.paths("inside"), t.paths("outside")
    if len(inside) != len(outside):
        raise t.fail(
            "outside",
            f"{len(inside)} frames inside focus, but {len(outside)} outside. Give one for each.",
        )
    return [path for pair in zip(inside, outside) for path in pair]


def _claim(t: Table, requirement: bool, tests: tuple[Test, ...]) -> ClaimEntry:
    t.only(["name", "quantity", "at_least", "at_most", "wavelength", "test", "source"])
    quantity = t.choice("quantity", list(QUANTITIES), "")
    kind = QUANTITIES[quantity]

    def limit(key: str) -> u.Quantity | None:
        if key not in t.values:
            return None
        if kind.unit:
            return t.quantity(key, kind.unit, positive=False)
        return t.number(key, 0.0, low=-1e6, high=1e6) * u.one

    low, high = limit("at_least"), limit("at_most")
    if low is None and high is None:
        raise t.fail("at_least", "no limit is given. Add at_least, at_most or both.")
    if low is not None and high is not None and low >= high:
        raise t.fail("at_least", f"{low} is not below at_most = {high}. Exchange them.")
    test = t.text("test", "")
    names = [x.name for x in tests if x.kind == kind.test]
    if test and test not in names:
        t.choice("test", names or [f"one under [[{kind.test}]]"], "")
    return ClaimEntry(
        Claim(t.text("name", kind.label), low, high, requirement),
        quantity,
        t.quantity("wavelength", "nm"),
        test,
        t.text("source", ""),
    )

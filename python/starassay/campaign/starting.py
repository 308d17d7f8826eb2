"""Drafts a campaign file from a folder of frames: what they show, what belongs together, what is still to be said."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from astropy import units as u

from .._units import flag, path_of
from ..errors import FileError, InputError, StarAssayError
from ..imaging.glances import Glance, glance
from ..measurements import declared
from ..measurements._declaring import Measurement
from ..measurements._drafting import Draft
from .reading import FILE_NAME

#: What stands behind every place that a person must fill in.
ASK = "# FILL IN: "
_ENDINGS = (".fits", ".fit", ".fts", ".fits.gz", ".fit.gz", ".fits.fz")


@dataclasses.dataclass(frozen=True)
class Beginning:
    """A draft and how it came about.

    Attributes
    ----------
    path : Path
        The campaign file that was written.
    entries : tuple of (str, Draft)
        Each with the measurement's one name.
    left_out : dict of Path to str
        Files that no entry uses, with the reason.
    asks : tuple of int
        Lines of the file where something is to be filled in.
    """

    path: Path
    entries: tuple[tuple[str, Draft], ...]
    left_out: dict[Path, str]
    asks: tuple[int, ...]


def begin_campaign(folder: str | Path, *, progress: bool = False) -> Beginning:
    """Look at every FITS file of a folder and write a draft ``campaign.toml`` into it.

    Parameters
    ----------
    folder : path
        With frames, also in folders below it.
    progress : bool
        Show a bar.

    Returns
    -------
    Beginning
        What was written, what was left out, and where something is to be filled in.

    Raises
    ------
    FileError
        When there is a campaign file already.
    InputError
        When there are no frames, or none that a measurement can use.
    """
    from tqdm.auto import tqdm

    folder = path_of(folder, "folder")
    flag(progress, "progress")
    target = folder / FILE_NAME
    if target.exists():
        raise FileError(
            f"{target} is there already and was left as it is. Move it away to have a new draft.",
            code="campaign.exists",
            subject=str(target),
        )
    files = frames_below(folder)
    if not files:
        raise InputError(
            f"There is no FITS file in {folder} or below it. Name the folder with the night's frames.",
            argument="folder",
        )
    seen: list[Glance] = []
    left_out: dict[Path, str] = {}
    for path in tqdm(files, desc="looking at frames", disable=None if progress else True):
        try:
            seen.append(glance(path))
        except (StarAssayError, OSError, ValueError) as error:
            left_out[path] = str(error).splitlines()[0].replace(str(path), "it")
    entries = [
        (one, draft)
        for one in declared().values()
        if one.draft is not None
        for draft in one.draft(seen)
    ]
    used = {path for _, draft in entries for path in draft.frames}
    left_out |= {one.path: _why(one) for one in seen if one.path not in used}
    if not entries:
        first, reason = next(iter(left_out.items()))
        raise InputError(
            f"None of the {len(files)} files in {folder} can be used; {first.name}, for one: {reason}",
            argument="folder",
        )
    text = campaign_draft(folder, seen, entries)
    target.write_text(text, encoding="utf-8")
    asks = tuple(k for k, line in enumerate(text.splitlines(), 1) if ASK in line)
    return Beginning(target, tuple((one.area, draft) for one, draft in entries), left_out, asks)


def frames_below(folder: Path) -> list[Path]:
    """FITS files of a folder and those below it; hidden folders and reports are passed over."""
    found = []
    for path in sorted(folder.rglob("*")):
        below = path.relative_to(folder).parts[:-1]
        if any(part.startswith(".") or part == "report" for part in below):
            continue
        if path.name.lower().endswith(_ENDINGS) and path.is_file():
            found.append(path)
    return found


def campaign_draft(
    folder: Path, seen: Sequence[Glance], entries: Sequence[tuple[Measurement, Draft]]
) -> str:
    """The text of the draft.

    Parameters
    ----------
    folder : Path
        Where the file will stand; paths are relative to it.
    seen : sequence of Glance
        All frames, for what their headers share.
    entries : sequence of (Measurement, Draft)
        The proposed entries.
    """
    facts = [one.facts for one in seen]
    needs = {name for one, _ in entries for name, needed in one.facts().items() if needed}
    out = [
        f"# A draft from the headers and looks of {len(seen)} frames. Confirm it, and fill in what is marked.",
        "# docs/campaign.md shows all that can be said.",
        "",
        "[campaign]",
        f"name = {_text(folder.resolve().name)}",
        "",
        "[telescope]",
        f"name = {_text(_common(f.telescope for f in facts) or 'telescope')}",
        f'aperture = ""  {ASK}free aperture, such as "115 mm"',
        f'focal_length = ""  {ASK}at the sensor, reducer or flattener included, such as "760 mm"',
    ]
    if "obstruction" in {name for one, _ in entries for name in one.facts()}:
        out.append("obstruction = 0.0  # diameter of a central obstruction over the aperture")
    out += ["", "[camera]"]
    if camera := _common(f.camera for f in facts):
        out.append(f"name = {_text(camera)}")
    if needs and all(f.pitch is None for f in facts):
        out.append(f'pitch = ""  {ASK}of the pixels, after binning, such as "3.76 um"')
    if all(f.gain is None for f in facts):
        out.append(
            '# gain = "0.8 electron / adu"    # the headers do not say it; bars are wider without'
        )
    names = dict.fromkeys(draft.filter for one, draft in entries if one.light)
    for name in names:
        out += ["", f"[filters.{_key(name or 'unnamed')}]"]
        out.append(f'wavelength = ""  {ASK}middle of the filter, such as "540 nm"')
    for (one, draft), title in zip(entries, _apart([draft.title for _, draft in entries])):
        out += ["", f"[[{one.area}]]", f"name = {_text(title)}"]
        out += [f"# {remark}" for remark in (*draft.remarks, *_other_camera(draft, seen))]
        for role in one.roles:
            if role.name in draft.files:
                out += _files(role.name, draft.files[role.name], folder, role.many)
        if one.light:
            out.append(f"filter = {_text(draft.filter or 'unnamed')}")
        out += [f"{key} = {_value(value)}" for key, value in draft.keys.items()]
        out += [f'{key} = ""  {ASK}{what}' for key, what in draft.asks.items()]
    out += [
        "",
        "# What the maker claims and what you need, for example:",
        "# [[claims]]",
        '# name = "Diffraction limited"',
        '# quantity = "strehl"',
        "# at_least = 0.80",
        '# wavelength = "540 nm"',
        "",
    ]
    return "\n".join(out)


def _apart(titles: Sequence[str]) -> list[str]:
    """The titles in one line each, with a number where one comes again."""
    plain = [" ".join(title.split()) for title in titles]
    counts = [plain[: k + 1].count(title) for k, title in enumerate(plain)]
    return [title if n == 1 else f"{title} ({n})" for title, n in zip(plain, counts)]


def _other_camera(draft: Draft, seen: Sequence[Glance]) -> list[str]:
    """What to do about frames whose headers are silent on the pitch that others state: it cannot be asked for all of them at once."""
    silent = {one.path for one in seen if one.facts.pitch is None}
    if len(silent) == len(seen) or not silent.intersection(draft.frames):
        return []
    return [
        "The headers do not say the pitch of the pixels, those of other frames here do. A campaign is one telescope with one camera:",
        "move frames of another camera into a folder of their own, where the draft asks for it.",
    ]


def _why(one: Glance) -> str:
    """Why a frame that could be read serves nothing."""
    return {
        "dark": "a frame without light that nothing here needs",
        "nothing": "no star, spectrum or even light is seen in it",
        "lines": "a lamp, of which an entry takes one, of its spectrum's size",
        "disc": "a star out of focus without a partner on the other side",
        "dots": "its stars serve none of the entries",
    }.get(one.shows, "it serves none of the entries")


def _common(texts: Iterable[str]) -> str:
    """The one text that all say who say any; "" when they differ."""
    said = {text for text in texts if text}
    return said.pop() if len(said) == 1 else ""


def _files(role: str, paths: Sequence[Path], folder: Path, many: bool) -> list[str]:
    names = [_text(path.relative_to(folder).as_posix()) for path in paths]
    if not many or len(names) == 1:
        return [f"{role} = {names[0]}"]
    if len(names) < 4 and sum(map(len, names)) < 80:
        return [f"{role} = [{', '.join(names)}]"]
    return [f"{role} = [", *(f"    {name}," for name in names), "]"]


def _value(value: Any) -> str:
    if isinstance(value, u.Quantity):
        return _text(f"{value.value:g} {value.unit}")
    return json.dumps(value, ensure_ascii=False)


def _text(text: str) -> str:
    """A TOML basic string: JSON's escapes are among its own."""
    return json.dumps(text, ensure_ascii=False)


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _text(name)

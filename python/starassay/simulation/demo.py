"""The demo campaign: frames of an invented telescope, drawn by the engine's own simulator, with their truth.

The scenario is a small club's lending library; telescopes, cameras, leaflets and people are invented. As a whole it is
three campaigns: the Juniper 115 as it is, the same with its reducer on a tilted camera, and the Alder 100 beside it.
"""

from __future__ import annotations

import dataclasses
import os
import shutil
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

from .._units import flag, path_of
from ..campaign.reading import FILE_NAME
from ..errors import FileError
from ..results import json_text, to_plain
from .demo_frames import draw_fields, draw_pairs, draw_spectra
from .demo_limb import draw_limb
from .demo_night import NIGHT_FRAMES, draw_night
from .demo_photo import draw_photo
from .demo_reducer import REDUCER_FRAMES, draw_reducer
from .instruments import alder_100, juniper_115

FRAMES = "frames"
TRUTH = "truth.json"
FIELDS, PAIRS = 3, 4
SENSOR_UM = (-375, -225, -75, 75, 225)
_SEED = 115


@dataclasses.dataclass(frozen=True)
class DemoCampaign:
    """One campaign of the demo.

    Attributes
    ----------
    folder : str
        Its folder in the whole demo.
    template : str
        File of its campaign text.
    frames : int
        How many are drawn, for the bar.
    draw : callable
        Writes the frames into a folder, tells of each, and returns the truth.
    """

    folder: str
    template: str
    frames: int
    draw: Callable[[Path, Callable[[], object]], dict[str, Any]]


def draw_demo(folder: str | Path, *, whole: bool = False, progress: bool = False) -> Path:
    """Draw the demo campaign into a folder.

    Parameters
    ----------
    folder : path
        Campaign folder, made when it is not there. A campaign file in it is kept; the folder
        ``frames`` in it is replaced only when it was drawn by this function.
    whole : bool
        Draw three campaigns into folders of it: ``juniper-115``, ``juniper-115-reducer`` and ``alder-100``.
    progress : bool
        Show a bar.

    Returns
    -------
    Path
        The campaign file, of three the first.

    Raises
    ------
    FileError
        When ``frames`` holds something else.
    """
    folder = path_of(folder, "folder")
    whole = flag(whole, "whole")
    flag(progress, "progress")
    from tqdm.auto import tqdm

    places = {folder / c.folder: c for c in CAMPAIGNS} if whole else {folder: CAMPAIGNS[0]}
    for place in places:
        _require_drawn(place / FRAMES)
    drawn = sum(c.frames for c in places.values())
    with tqdm(total=drawn, unit="frame", desc="drawing", leave=False, disable=not progress) as bar:
        written = [draw_campaign(one, place, bar.update) for place, one in places.items()]
    return written[0]


def draw_campaign(
    one: DemoCampaign, folder: Path, tell: Callable[[], object] = lambda: None
) -> Path:
    """Draw one campaign of the demo; returns its campaign file.

    Parameters
    ----------
    one : DemoCampaign
        Which.
    folder : Path
        Campaign folder.
    tell : callable
        Is told of each frame.
    """
    target = folder / FRAMES
    _require_drawn(target)
    folder.mkdir(parents=True, exist_ok=True)
    part = folder / f".{FRAMES}.{os.getpid()}.part"
    shutil.rmtree(part, ignore_errors=True)
    part.mkdir()
    try:
        truth = one.draw(part, tell)
        (part / TRUTH).write_text(json_text(to_plain(truth)), encoding="utf-8")
        if target.exists():
            shutil.rmtree(target)
        os.replace(part, target)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    campaign = folder / FILE_NAME
    if not campaign.exists():
        campaign.write_text(campaign_text(one.template), encoding="utf-8")
    return campaign


def _require_drawn(frames: Path) -> None:
    if frames.exists() and not (frames / TRUTH).is_file():
        raise FileError(
            f"{frames} exists and was not drawn by the demo. Name another folder.",
            code="demo.folder",
            subject=str(frames),
        )


def campaign_text(template: str = "demo-campaign.toml") -> str:
    """Text of a campaign file of the demo.

    Parameters
    ----------
    template : str
        Its file.
    """
    return (files("starassay") / "templates" / template).read_text(encoding="utf-8")


def _draw_juniper(folder: Path, tell: Callable[[], object]) -> dict[str, Any]:
    scope, rng = juniper_115(), np.random.default_rng(_SEED)
    return {
        "telescope": scope.name,
        "fields": draw_fields(folder, scope, FIELDS, rng, _SEED, tell),
        "pairs": draw_pairs(folder, scope, PAIRS, rng, _SEED + 10, tell),
        **draw_spectra(folder, scope, SENSOR_UM, rng, _SEED + 20, tell),
    }


def _draw_alder(folder: Path, tell: Callable[[], object]) -> dict[str, Any]:
    scope, rng = alder_100(), np.random.default_rng(_SEED + 1)
    return {
        "telescope": scope.name,
        "fields": draw_fields(folder, scope, 1, rng, _SEED + 100, tell),
        "pairs": draw_pairs(folder, scope, 2, rng, _SEED + 110, tell),
        **draw_spectra(folder, scope, SENSOR_UM, rng, _SEED + 120, tell),
        "photo": draw_photo(folder, _SEED + 130, tell),
        "limb": draw_limb(folder, scope, _SEED + 140, tell),
        "night": draw_night(folder, scope, _SEED + 150, tell),
    }


#: The campaigns of the whole demo, the quick one first.
CAMPAIGNS = (
    DemoCampaign(
        "juniper-115",
        "demo-campaign.toml",
        FIELDS + PAIRS + len(SENSOR_UM) + 1,
        _draw_juniper,
    ),
    DemoCampaign("juniper-115-reducer", "demo-reducer.toml", REDUCER_FRAMES, draw_reducer),
    DemoCampaign(
        "alder-100",
        "demo-alder.toml",
        1 + 2 + len(SENSOR_UM) + 2 + 2 + NIGHT_FRAMES,
        _draw_alder,
    ),
)

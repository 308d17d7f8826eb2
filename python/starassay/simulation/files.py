"""Drawn frames as files: one with its truth beside it, or those of a whole campaign."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.coordinates import SkyCoord
from astropy.io import fits
from astropy.nddata import CCDData
from astropy.table import QTable

from .._units import flag, instance, integer, path_of
from ..results import json_text, to_plain
from .defocused_pairs import draw_defocused_pair
from .flats import draw_flat
from .headers import FIRST_LIGHT, instruments_of, moment
from .instruments import SimulatedCamera, SimulatedSky, SimulatedTelescope
from .star_fields import draw_star_field


def write_frame(path: str | Path, frame: CCDData, truth: QTable | Mapping[str, Any]) -> Path:
    """Write a drawn frame as FITS and its truth beside it.

    Parameters
    ----------
    path : str or Path
        Where the FITS file goes; the truth gets the same name with ``.truth.ecsv`` or
        ``.truth.json``.
    frame : CCDData
        A drawn frame.
    truth : QTable or mapping
        What was drawn.

    Returns
    -------
    Path
        The FITS file.
    """
    path = path_of(path, "path")
    instance(frame, CCDData, "frame", "one of draw_star_field(...)")
    if not isinstance(truth, (QTable, Mapping)):
        instance(truth, dict, "truth", "what was drawn with the frame")
    path.parent.mkdir(parents=True, exist_ok=True)
    header = fits.Header(frame.meta, copy=True)
    if frame.wcs is not None:
        header.update(frame.wcs.to_header())
    fits.PrimaryHDU(np.asarray(frame.data), header).writeto(path, overwrite=True)
    beside = path.with_name(path.stem + ".truth")
    if isinstance(truth, QTable):
        truth.write(beside.with_name(beside.name + ".ecsv"), format="ascii.ecsv", overwrite=True)
    else:
        beside.with_name(beside.name + ".json").write_text(
            json_text(to_plain(dict(truth))), encoding="utf-8"
        )
    return path


def write_campaign_frames(
    folder: str | Path,
    telescope: SimulatedTelescope,
    *,
    camera: SimulatedCamera | None = None,
    sky: SimulatedSky | None = None,
    stars: int = 500,
    seed: int = 1,
    progress: bool = False,
) -> dict[str, list[Path]]:
    """Draw and write the frames of a whole campaign, each with its truth.

    Parameters
    ----------
    folder : str or Path
        Where they go.
    telescope : SimulatedTelescope
        What the campaign tests.
    camera : SimulatedCamera
        What records the frames.
    sky : SimulatedSky
        The night.
    stars : int
        Stars in each field.
    seed : int
        Seed of everything; the same seed writes the same pixels.
    progress : bool
        Show a bar.

    Returns
    -------
    dict of str to list of Path
        By test: "bias", "dark", "flat", "field", "focus_run", "pair" (inside, outside),
        "filters" (R, G, B).
    """
    target = path_of(folder, "folder")
    telescope, camera, night = instruments_of(telescope, camera, sky)
    stars, seed = integer(stars, "stars"), integer(seed, "seed")
    flag(progress, "progress")
    written: dict[str, list[Path]] = {}
    center = SkyCoord("05h32m00s +12d30m00s")
    base = moment(FIRST_LIGHT)

    def keep(kind: str, name: str, frame: CCDData, truth: QTable | Mapping[str, Any]) -> None:
        written.setdefault(kind, []).append(write_frame(target / name, frame, truth))

    steps: list[Any] = []
    for k in range(5):
        steps.append(lambda k=k: _calibration("bias", k, 0, 0))
        steps.append(lambda k=k: _calibration("dark", k, 0, 10))
        steps.append(lambda k=k: _calibration("flat", k, 25_000, 2))

    def _calibration(kind: str, k: int, level: float, seconds: float) -> None:
        frame, truth = draw_flat(
            telescope,
            camera=camera,
            level=level * u.electron,
            exposure=seconds * u.s,
            seed=seed * 100_000 + {"bias": 0, "dark": 100, "flat": 200}[kind] + k,
            start=moment(base, k - 60),
        )
        keep(kind, f"{kind}_{k + 1:02d}.fits", frame, truth)

    def _field(kind: str, name: str, offset: float, **options: Any) -> None:
        frame, truth = draw_star_field(
            telescope,
            camera=camera,
            stars=stars,
            center=center,
            star_seed=seed,
            separation=12,
            start=moment(base, offset),
            sky=night,
            **options,
        )
        keep(kind, name, frame, truth)

    steps.append(lambda: _field("field", "field_L.fits", 0, seed=seed * 100_000 + 300))
    half_depth = 2 * 0.55 * telescope.focal_ratio**2
    for k, step in enumerate(np.arange(-6, 7, 1.5)):
        position = float(np.round(step * half_depth, 1)) * u.um
        steps.append(
            lambda k=k, position=position: _field(
                "focus_run",
                f"focus_{k + 1:02d}.fits",
                10 + k,
                passband="G",
                focus_position=position,
                seed=seed * 100_000 + 400 + k,
            )
        )
    for k, name in enumerate("RGB"):
        steps.append(
            lambda k=k, name=name: _field(
                "filters",
                f"field_{name}.fits",
                30 + k,
                passband=name,
                seed=seed * 100_000 + 500 + k,
            )
        )

    def _pair() -> None:
        inside, outside, truth = draw_defocused_pair(
            telescope, camera=camera, sky=night, seed=seed * 100_000 + 600, start=moment(base, 45)
        )
        keep("pair", "star_inside.fits", inside, truth)
        keep("pair", "star_outside.fits", outside, truth)

    steps.append(_pair)
    from tqdm.auto import tqdm

    for step_function in tqdm(
        steps, disable=not progress, unit="frame", desc="drawing", leave=False
    ):
        step_function()
    return written

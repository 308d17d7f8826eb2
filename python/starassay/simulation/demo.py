"""The demo campaign: frames of an invented telescope, drawn by the engine's own simulator, with their truth.

The scenario is a small club's lending library; telescope, camera, leaflet and people are invented.
"""

from __future__ import annotations

import os
import shutil
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.io import fits

from .._units import flag, path_of
from ..campaign.reading import FILE_NAME
from ..errors import FileError
from ..imaging.frame import Frame
from ..results import json_text, to_plain

FRAMES = "frames"
TRUTH = "truth.json"
FIELDS, PAIRS = 3, 4
# The club's grating: 100 lines/mm, 50 mm before the sensor, which shortens the focus of 546 nm by 75 um.
LINES_PER_MM, DISTANCE_MM = 100, 50
SENSOR_UM = (-375, -225, -75, 75, 225)
_SEED = 115


def draw_demo(folder: str | Path, *, progress: bool = False) -> Path:
    """Draw the demo campaign into a folder.

    Parameters
    ----------
    folder : path
        Campaign folder, made when it is not there. A campaign file in it is kept; the folder
        ``frames`` in it is replaced only when it was drawn by this function.
    progress : bool
        Show a bar.

    Returns
    -------
    Path
        The campaign file.

    Raises
    ------
    FileError
        When ``frames`` holds something else.
    """
    folder = path_of(folder, "folder")
    flag(progress, "progress")
    target = folder / FRAMES
    if target.exists() and not (target / TRUTH).is_file():
        raise FileError(
            f"{target} exists and was not drawn by the demo. Name another folder.",
            code="demo.folder",
            subject=str(target),
        )
    folder.mkdir(parents=True, exist_ok=True)
    part = folder / f".{FRAMES}.{os.getpid()}.part"
    shutil.rmtree(part, ignore_errors=True)
    part.mkdir()
    try:
        _draw(part, progress)
        if target.exists():
            shutil.rmtree(target)
        os.replace(part, target)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    campaign = folder / FILE_NAME
    if not campaign.exists():
        campaign.write_text(campaign_text(), encoding="utf-8")
    return campaign


def campaign_text() -> str:
    """Text of the demo's campaign file."""
    return (files("starassay") / "templates" / "demo-campaign.toml").read_text(encoding="utf-8")


def _draw(folder: Path, progress: bool) -> None:
    from tqdm.auto import tqdm

    from .simulate import draw_defocused_pair, draw_star_field
    from .instruments import SimulatedSky, juniper_115
    from .spectra import draw_spectrum

    scope = juniper_115()
    rng = np.random.default_rng(_SEED)
    truth: dict[str, Any] = {"telescope": scope.name, "fields": [], "pairs": [], "spectra": []}
    with tqdm(
        total=FIELDS + PAIRS + len(SENSOR_UM) + 1,
        unit="frame",
        desc="drawing",
        leave=False,
        disable=not progress,
    ) as bar:
        for k in range(FIELDS):
            seeing = 2.0 * float(np.exp(0.04 * rng.standard_normal())) * u.arcsec
            frame, stars = draw_star_field(
                scope,
                sky=SimulatedSky(seeing=seeing),
                passband="G",
                stars=420,
                exposure=20 * u.s,
                focus_position=-12 * u.um,
                rates=(200.0, 6e4),
                separation=12.0,
                cosmic_rays=12,
                seed=_SEED + k,
                star_seed=_SEED,
                start=f"2026-10-03T20:{10 + k:02d}:00",
            )
            _write(frame, folder / f"field-{k + 1}.fits")
            stars.write(folder / f"field-{k + 1}-truth.ecsv", format="ascii.ecsv")
            truth["fields"].append({"frame": f"field-{k + 1}.fits", "seeing": to_plain(seeing)})
            bar.update()
        for k in range(PAIRS):
            seeing = 2.0 * float(np.exp(0.06 * rng.standard_normal())) * u.arcsec
            inside, outside, facts = draw_defocused_pair(
                scope,
                sky=SimulatedSky(seeing=seeing),
                passband="N540",
                defocus=8.0,
                size=128,
                electrons=1e6,
                exposure=20 * u.s,
                offsets=(_place(rng), _place(rng)),
                seed=_SEED + 10 + k,
                start=f"2026-10-04T20:{10 + 2 * k:02d}:00",
            )
            _write(inside, folder / f"pair-{k + 1}-inside.fits")
            _write(outside, folder / f"pair-{k + 1}-outside.fits")
            truth["pairs"].append({"pair": k + 1, "seeing": to_plain(seeing), **to_plain(facts)})
            bar.update()
        optics: dict[str, Any] = {
            "wavelengths": (385 + 0.752 * np.arange(480))
            * u.nm,  # (3.76 um / 50 mm) / (100 lines/mm)
            "focal_ratio": scope.focal_ratio,
            "focal_length": scope.focal_length,
            "pitch": 3.76 * u.um,
            "height": 110,
            "grating_lines": LINES_PER_MM,
            "grating_distance": DISTANCE_MM * u.mm,
        }
        for k, sensor in enumerate(SENSOR_UM):
            seeing = 2.0 * float(np.exp(0.06 * rng.standard_normal())) * u.arcsec
            spectrum = draw_spectrum(
                scope.color_focus,
                sensor=sensor * u.um,
                seeing=seeing,
                seed=_SEED + 20 + k,
                **optics,
            )
            _write_spectrum(spectrum, folder / f"spectrum-{k + 1}.fits")
            truth["spectra"].append({"sensor_um": sensor, "seeing": to_plain(seeing)})
            bar.update()
        lamp = draw_spectrum(None, lamps=("Hg", "Ne"), seed=_SEED + 30, **optics)
        _write_spectrum(lamp, folder / "lamp.fits")
        truth["color_focus_um"] = {
            str(nm): focus.to_value(u.um) for nm, focus in scope.color_focus.items()
        }
        bar.update()
    (folder / TRUTH).write_text(json_text(truth), encoding="utf-8")


def _place(rng: np.random.Generator) -> tuple[float, float]:
    """A hand-guided star is never in the very middle."""
    x, y = rng.uniform(-2, 2, 2)
    return float(x), float(y)


def _write(frame: Any, path: Path) -> None:
    frame.to_hdu(hdu_mask=None, hdu_uncertainty=None).writeto(path)


def _write_spectrum(frame: Frame, path: Path) -> None:
    """Pixels as the camera's converter gives them, whole numbers, with what is known of the camera."""
    assert frame.gain is not None and frame.read_noise is not None and frame.pitch is not None
    header = fits.Header()
    header["INSTRUME"] = ("simulated", "drawn by the demo")
    header["EGAIN"] = (float(frame.gain.value), "electrons per adu")
    header["RDNOISE"] = (float(frame.read_noise.value), "electrons")
    header["XPIXSZ"] = (float(frame.pitch.value), "um")
    header["SATURATE"] = (65535, "adu")
    header["EXPTIME"] = (30.0, "s")
    header["DATE-OBS"] = "2026-10-04T21:30:00"
    whole = np.clip(np.rint(frame.pixels), 0, 65535).astype(np.uint16)
    fits.PrimaryHDU(whole, header).writeto(path)

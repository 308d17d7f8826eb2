"""Frames of a telescope of the demo, drawn and written with what is true of each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u
from astropy.io import fits

from ..imaging.frame import Frame
from .instruments import SimulatedCamera, SimulatedSky, SimulatedTelescope
from .defocused_pairs import draw_defocused_pair
from .star_fields import draw_star_field
from .spectra import draw_spectrum

# The club's grating: 100 lines/mm, 50 mm before the sensor, which shortens the focus of 546 nm by 75 um.
LINES_PER_MM, DISTANCE_MM = 100, 50


def seeing_of(rng: np.random.Generator, scatter: float) -> u.Quantity:
    """The seeing of one exposure of a night of 2 arcsec."""
    return 2.0 * float(np.exp(scatter * rng.standard_normal())) * u.arcsec


def draw_fields(
    folder: Path,
    scope: SimulatedTelescope,
    count: int,
    rng: np.random.Generator,
    seed: int,
    tell: Callable[[], object],
) -> list[dict[str, Any]]:
    """Exposures of one star field, focused for its middle distance; what is true of each.

    Parameters
    ----------
    folder : Path
        Where they go.
    scope : SimulatedTelescope
        What gathers the light.
    count : int
        How many.
    rng : Generator
        For the seeing.
    seed : int
        Of stars and noise.
    tell : callable
        Is told of each frame.
    """
    truth = []
    for k in range(count):
        seeing = seeing_of(rng, 0.04)
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
            seed=seed + k,
            star_seed=seed,
            start=f"2026-10-03T20:{10 + k:02d}:00",
        )
        write(frame, folder / f"field-{k + 1}.fits")
        stars.write(folder / f"field-{k + 1}-truth.ecsv", format="ascii.ecsv")
        truth.append({"frame": f"field-{k + 1}.fits", "seeing": seeing})
        tell()
    return truth


def draw_pairs(
    folder: Path,
    scope: SimulatedTelescope,
    count: int,
    rng: np.random.Generator,
    seed: int,
    tell: Callable[[], object],
    camera: SimulatedCamera | None = None,
) -> list[dict[str, Any]]:
    """A bright star on either side of focus, again and again; what is true of each pair.

    Parameters
    ----------
    folder, scope, count, rng, seed, tell
        As in `draw_fields`.
    camera : SimulatedCamera
        What records them.
    """
    truth = []
    for k in range(count):
        seeing = seeing_of(rng, 0.06)
        inside, outside, facts = draw_defocused_pair(
            scope,
            camera=camera,
            sky=SimulatedSky(seeing=seeing),
            passband="N540",
            defocus=8.0,
            size=128,
            electrons=1e6,
            exposure=20 * u.s,
            offsets=(_place(rng), _place(rng)),
            seed=seed + k,
            start=f"2026-10-04T20:{10 + 2 * k:02d}:00",
        )
        write(inside, folder / f"pair-{k + 1}-inside.fits")
        write(outside, folder / f"pair-{k + 1}-outside.fits")
        truth.append({"pair": k + 1, "seeing": seeing, **facts})
        tell()
    return truth


def draw_spectra(
    folder: Path,
    scope: SimulatedTelescope,
    sensor_um: Sequence[float],
    rng: np.random.Generator,
    seed: int,
    tell: Callable[[], object],
) -> dict[str, Any]:
    """A focus run of spectra of a star and a lamp; what is true of them.

    Parameters
    ----------
    folder, scope, rng, seed, tell
        As in `draw_fields`.
    sensor_um : sequence of float
        Where the sensor stood.
    """
    optics: dict[str, Any] = {
        "wavelengths": (385 + 0.752 * np.arange(480)) * u.nm,  # (3.76 um / 50 mm) / (100 lines/mm)
        "focal_ratio": scope.focal_ratio,
        "focal_length": scope.focal_length,
        "pitch": 3.76 * u.um,
        "height": 110,
        "grating_lines": LINES_PER_MM,
        "grating_distance": DISTANCE_MM * u.mm,
    }
    truth = []
    for k, sensor in enumerate(sensor_um):
        seeing = seeing_of(rng, 0.06)
        spectrum = draw_spectrum(
            scope.color_focus, sensor=sensor * u.um, seeing=seeing, seed=seed + k, **optics
        )
        _write_spectrum(spectrum, folder / f"spectrum-{k + 1}.fits")
        truth.append({"sensor_um": sensor, "seeing": seeing})
        tell()
    lamp = draw_spectrum(None, lamps=("Hg", "Ne"), seed=seed + 10, **optics)
    _write_spectrum(lamp, folder / "lamp.fits")
    tell()
    curve = {str(nm): focus.to_value(u.um) for nm, focus in scope.color_focus.items()}
    return {"spectra": truth, "color_focus_um": curve}


def _place(rng: np.random.Generator) -> tuple[float, float]:
    """A hand-guided star is never in the very middle."""
    x, y = rng.uniform(-2, 2, 2)
    return float(x), float(y)


def write(frame: Any, path: Path) -> None:
    """A drawn frame as a file."""
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

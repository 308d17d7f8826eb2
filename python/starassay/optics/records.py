"""Reads from the records of measurements what drawn views need."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u

from ..errors import FileError
from .views import PupilMap


def read_pupil(path: Path) -> tuple[PupilMap, u.Quantity]:
    """Pupil and aperture from the record of a wavefront.

    Parameters
    ----------
    path : Path
        The JSON file; its arrays lie beside it.
    """
    record = _read(path)
    try:
        pupil = PupilMap(
            _array(path, record["map"]["value"]) * u.Unit(record["map"]["unit"]),
            float(record["focal_ratio"]),
            u.Quantity(record["wavelength"]["value"], record["wavelength"]["unit"]),
            _array(path, record["map_open"]),
        )
        return pupil, float(record["conditions"]["request"]["aperture_mm"]) * u.mm
    except (KeyError, TypeError, ValueError):
        raise _other(path, "a wavefront", "starassay measure wavefront ... --json FILE") from None


def read_spread(path: Path) -> tuple[tuple[np.ndarray, np.ndarray], bool]:
    """Noll numbers and covariance (nm^2) of the coefficients from the record of a wavefront, and whether the fit may be used.

    Parameters
    ----------
    path : Path
        The JSON file.
    """
    record = _read(path)
    try:
        unit = u.Unit(record["covariance"]["unit"])
        covariance = _array(path, record["covariance"]["value"]) * unit
        noll = _array(path, record["noll"]).astype(int)
        return (noll, covariance.to_value(u.nm**2)), bool(record["decided"])
    except (KeyError, TypeError, ValueError):
        raise _other(path, "a wavefront", "starassay measure wavefront ... --json FILE") from None


def read_colors(path: Path) -> dict[float, u.Quantity]:
    """Focus by wavelength (nm) from the record of a color focus.

    Parameters
    ----------
    path : Path
        The JSON file.
    """
    record = _read(path)
    try:
        decided = bool(record["signs_decided"])
        used = np.asarray(_array(path, record["used"]), dtype=bool)
        nm = _array(path, record["wavelength"]["value"])[used]
        focus = _array(path, record["smooth"]["value"])[used]
        unit = u.Unit(record["smooth"]["unit"])
    except (KeyError, TypeError, ValueError, IndexError):
        raise _other(
            path, "a color focus", "starassay measure color-focus ... --json FILE"
        ) from None
    if not decided:
        raise FileError(
            f"The signs of the curve in {path.name} are not decided, so it does not say where the colors focus. Measure it from a focus run.",
            code="file.record",
            subject=str(path),
        )
    return dict(zip(nm.tolist(), focus * unit))


def _array(path: Path, value: Any) -> np.ndarray:
    """An array of a record, from the file beside it where it is large."""
    if isinstance(value, dict):
        with np.load(path.with_name(value["file"])) as beside:
            return np.asarray(beside[value["array"]], dtype=float)
    return np.array([np.nan if v is None else v for v in value], dtype=float)


def _read(path: Path) -> dict[str, Any]:
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise FileError(
            f"{path} cannot be read: {error.strerror or error}.",
            code="file.record",
            subject=str(path),
        ) from None
    except ValueError:
        record = None
    if not isinstance(record, dict):
        raise _other(path, "a measurement", "starassay measure ... --json FILE")
    return record


def _other(path: Path, what: str, how: str) -> FileError:
    return FileError(
        f"{path.name} is not the record of {what}. '{how}' writes one.",
        code="file.record",
        subject=str(path),
    )

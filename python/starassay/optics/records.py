"""Reads from the records of measurements what drawn views need."""

from __future__ import annotations

import dataclasses
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


@dataclasses.dataclass(frozen=True, eq=False)
class ColorRecord:
    """What a color focus left behind, as the drawing functions take it.

    Attributes
    ----------
    wavelength, smooth, smooth_uncertainty : Quantity
        The curve.
    replicates : Quantity
        Bootstrap replicates of it, a row each.
    used : ndarray
        False where a bin was left out.
    focal_ratio, obstruction : float
        Of the telescope, as it was measured.
    focal_length : Quantity
        NaN = not known.
    star : str
        Spectral type, where it was said.
    """

    wavelength: u.Quantity
    smooth: u.Quantity
    smooth_uncertainty: u.Quantity
    replicates: u.Quantity
    used: np.ndarray
    focal_ratio: float
    obstruction: float
    focal_length: u.Quantity
    star: str

    @property
    def lens(self) -> dict[float, u.Quantity]:
        """Focus by wavelength in nm."""
        return dict(zip(self.wavelength.value[self.used].tolist(), self.smooth[self.used]))


def is_color_focus(path: Path) -> bool:
    """Whether a file is the record of a color focus.

    Parameters
    ----------
    path : Path
        The JSON file.
    """
    return "signs_decided" in _read(path)


def read_colors(path: Path) -> ColorRecord:
    """Curve and uncertainty from the record of a color focus.

    Parameters
    ----------
    path : Path
        The JSON file; its arrays lie beside it.
    """
    record = _read(path)

    def quantity(name: str) -> u.Quantity:
        return _array(path, record[name]["value"]) * u.Unit(record[name]["unit"])

    try:
        decided = bool(record["signs_decided"])
        length = record["focal_length"]
        known = ColorRecord(
            quantity("wavelength"),
            quantity("smooth"),
            quantity("smooth_uncertainty"),
            quantity("replicates"),
            np.asarray(_array(path, record["used"]), dtype=bool),
            float(record["focal_ratio"]),
            float(record["obstruction"]),
            (np.nan if length["value"] is None else float(length["value"]))
            * u.Unit(length["unit"]),
            str(record["conditions"].get("star") or ""),
        )
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
    return known


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

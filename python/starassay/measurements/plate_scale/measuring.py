"""Measures the plate scale: brings stars and sky positions together, Astropy does the geometry."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from ... import _records
from ..._measure import measure
from ..._units import flag, number
from ...errors import CannotMeasureError, FileError, InputError
from ...imaging.frame import Frame
from ...imaging.frames import read_frame
from ..stars import measure_stars
from .result import PlateScale

if TYPE_CHECKING:
    from astropy.coordinates import SkyCoord
    from astropy.table import Table

#: How well a solution places a star, in pixels, where nobody says (common practice, no source).
SOLUTION_SCATTER = 0.2

_NEEDED = (
    "Solve the frame, so that its header holds a WCS; or give positions: a table with ra and dec "
    "of its stars, and with x and y of each where the frame has no WCS."
)


def measure_plate_scale(
    frame: Any,
    *,
    positions: Any = None,
    nominal_focal_length: u.Quantity | str | None = None,
    aperture: u.Quantity | str | None = None,
    pitch: u.Quantity | str | None = None,
    pitch_uncertainty: u.Quantity | str | None = None,
    match_radius: u.Quantity | float = 4.0,
    threads: int = 0,
    progress: bool = False,
) -> PlateScale:
    """Measure focal length, reducer factor, focal ratio, distortion and field of view.

    Parameters
    ----------
    frame : path, HDUList, CCDData, Quantity, ndarray or Frame
        A star field; see `read_frame`.
    positions : Table or path, optional
        Sky positions of its stars: columns ``ra`` and ``dec`` (degrees where they have no unit), at the
        epoch of the frame. With ``x`` and ``y`` (pixels from 0) each goes to the measured star nearest
        to that place; without, to the one nearest to where the frame's WCS puts it. With
        ``x_uncertainty`` and ``y_uncertainty`` too, places are taken as they are. Without a table the
        frame's WCS gives the geometry.
    nominal_focal_length : Quantity or str, optional
        As stated for the telescope alone; gives the reducer factor.
    aperture : Quantity or str, optional
        Of the objective; gives the focal ratio. Taken as known to 0.5 %.
    pitch : Quantity or str, optional
        Of the pixels, binning included; that of the frame by default.
    pitch_uncertainty : Quantity or str, optional
        Its standard uncertainty; 0.1 % by default.
    match_radius : Quantity or float
        How far from its place a star may be found, pixels.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    PlateScale
        Focal length and what follows from it, distortion over the field, residuals of the stars.

    Raises
    ------
    InputError
        When the pitch is not known, or the table lacks a column.
    CannotMeasureError
        When the frame has neither WCS nor sky positions, or stars and positions do not agree.

    Notes
    -----
    Distortion is (h - h0) / h0 in per cent, with h0 = f tan w the ideal height of an object at
    infinity in the direction w (ISO 9039), f the focal length at the middle of the frame.

    Examples
    --------
    >>> import numpy as np
    >>> from astropy import units as u
    >>> from astropy.wcs import WCS
    >>> from astropy.table import Table
    >>> from starassay import measure_plate_scale
    >>> wcs = WCS(naxis=2)
    >>> wcs.wcs.ctype, wcs.wcs.crval, wcs.wcs.crpix = ["RA---TAN", "DEC--TAN"], [80, 20], [501, 401]
    >>> wcs.wcs.cdelt = [-2 / 3600, 2 / 3600]
    >>> x, y = np.random.default_rng(1).uniform(0, 800, (2, 40))
    >>> ra, dec = wcs.wcs_pix2world(x, y, 0)
    >>> stars = Table({"x": x, "y": y, "ra": ra, "dec": dec})
    >>> stars["x_uncertainty"] = stars["y_uncertainty"] = 0.02
    >>> scale = measure_plate_scale(np.zeros((801, 1001)), positions=stars, pitch=4 * u.um)
    >>> bool(abs(scale.focal_length.value / (4e-3 * 206264.806 / 2 * u.mm) - 1) < 1e-7)
    True
    """
    flag(progress, "progress")
    source = read_frame(frame)
    if pitch is None:
        pitch = source.pitch
    if pitch is None:
        raise InputError(
            f"The pixel pitch of {source.name or 'the frame'} is not known. Give pitch, for example "
            '"3.76 um"; without it the scale is an angle a pixel, no focal length.',
            code="plate-scale.pitch",
            argument="pitch",
        )
    listed = None if positions is None else _table(positions)
    radius = number(match_radius, u.pix, "match_radius")
    sky, places, count = _stars(source, listed, radius, threads, progress)
    ny, nx = source.shape
    center = _middle(source, sky)
    given = {
        "width": nx,
        "height": ny,
        "pitch": pitch,
        "pitch_uncertainty": pitch_uncertainty,
        "nominal_focal_length": nominal_focal_length,
        "aperture": aperture,
        "source": "solution" if listed is None else "list",
    }
    for _ in range(4):
        xi, eta = gnomonic(sky, center)
        result = measure(
            "plate_scale",
            _records.PLATE_SCALE_REQUEST,
            PlateScale,
            source,
            given=given,
            arrays={**places, "xi": xi, "eta": eta},
            threads=threads,
            name=source.name,
            center=center,
            listed=count,
        )
        if np.hypot(result.center_xi, result.center_eta) < 1e-7:
            break
        # The plane has to touch the sky in the middle of the frame, which the fit has just told.
        center = _from_plane(result.center_xi, result.center_eta, center)
    return result


def gnomonic(sky: SkyCoord, center: SkyCoord) -> tuple[np.ndarray, np.ndarray]:
    """Coordinates in the plane that touches the sky, towards east and north, as tangents.

    Parameters
    ----------
    sky : SkyCoord
        Directions.
    center : SkyCoord
        Where the plane touches.
    """
    seen = sky.transform_to(center.skyoffset_frame()).cartesian
    if np.any(seen.x.value < 0.05):
        raise CannotMeasureError(
            "Some sky positions lie 87 degrees or more from the middle of the field; no plane image "
            "shows both. Check that ra and dec are in degrees and belong to this frame.",
            code="plate-scale.behind",
        )
    plane = [np.ascontiguousarray((c / seen.x).value, dtype=float) for c in (seen.y, seen.z)]
    return plane[0], plane[1]


def _from_plane(xi: float, eta: float, center: SkyCoord) -> SkyCoord:
    from astropy.coordinates import SkyCoord

    lon = np.arctan(xi)
    lat = np.arctan(eta * np.cos(lon))
    offset = SkyCoord(lon * u.rad, lat * u.rad, frame=center.skyoffset_frame())
    return offset.transform_to(center.frame)


def _middle(source: Frame, sky: SkyCoord) -> SkyCoord:
    """The middle of the frame by its solution, else the stars' mean direction."""
    from astropy.coordinates import SkyCoord, UnitSphericalRepresentation

    if source.wcs is not None:
        ny, nx = source.shape
        lon, lat = source.wcs.celestial.all_pix2world((nx - 1) / 2, (ny - 1) / 2, 0)
        return SkyCoord(float(lon) * u.deg, float(lat) * u.deg)
    mean = sky.cartesian.mean().represent_as(UnitSphericalRepresentation)
    return SkyCoord(mean.lon, mean.lat)


def _table(positions: Any) -> Table:
    from astropy.table import QTable, Table

    if isinstance(positions, (str, Path)):
        try:
            positions = QTable.read(positions)
        except Exception as error:
            raise FileError(
                f"{positions} cannot be read as a table ({error}). Write it as ECSV, CSV or FITS with "
                "columns ra and dec.",
                code="plate-scale.positions",
            ) from error
    if not isinstance(positions, Table):
        try:
            positions = QTable(positions)
        except Exception as error:
            raise InputError(
                f"positions is a {type(positions).__name__} that is no table ({' '.join(str(error).split())[:80]}). "
                "Give a table or the name of its file, with columns ra and dec.",
                code="plate-scale.positions",
                argument="positions",
            ) from error
    missing = [name for name in ("ra", "dec") if name not in positions.colnames]
    if missing:
        raise InputError(
            f"positions has no column {' and '.join(missing)}; it has "
            f"{', '.join(positions.colnames)}. Name the columns ra, dec and, for places, x, y.",
            code="plate-scale.columns",
            argument="positions",
        )
    return positions


def _column(table: Table, name: str, unit: u.UnitBase) -> np.ndarray:
    """A column as plain numbers; what is masked is NaN."""
    column = table[name]
    bare = getattr(column, "unit", None) is None
    values = np.ma.filled(np.ma.asarray(column, dtype=float), np.nan) if bare else column
    return np.asarray(u.Quantity(values, unit if bare else column.unit).to_value(unit), dtype=float)


def _stars(
    source: Frame, listed: Table | None, radius: float, threads: int, progress: bool
) -> tuple[SkyCoord, dict[str, np.ndarray], int]:
    """Directions, places with uncertainties, and how many positions there were."""
    from astropy.coordinates import SkyCoord

    placed = listed is not None and {"x", "y"} <= set(listed.colnames)
    if source.wcs is None and not placed:
        what = "positions without x and y" if listed is not None else "no sky positions"
        raise CannotMeasureError(
            f"{source.name or 'The frame'} has no celestial solution (WCS), and {what}. {_NEEDED}",
            code="plate-scale.no-geometry",
            subject=source.name,
        )
    names = ("x", "y", "x_uncertainty", "y_uncertainty")
    if listed is not None and placed and set(names) <= set(listed.colnames):
        columns = {name: _column(listed, name, u.pix) for name in names}
        ra, dec = (_column(listed, name, u.deg) for name in ("ra", "dec"))
        sound = np.isfinite([ra, dec, columns["x"], columns["y"]]).all(axis=0)
        places = {name: np.ascontiguousarray(c[sound]) for name, c in columns.items()}
        return SkyCoord(ra[sound] * u.deg, dec[sound] * u.deg), places, len(listed)

    field = measure_stars(source, fit_profiles="none", threads=threads, progress=progress)
    # Not clipped, not cut, no neighbor: their centers are as good as their uncertainties say.
    good = field.is_clean & np.isfinite(field.x_uncertainty.value + field.y_uncertainty.value)
    found = {name: np.ascontiguousarray(field.columns[name][good]) for name in names}
    if listed is None:
        assert source.wcs is not None
        lon, lat = source.wcs.celestial.all_pix2world(found["x"], found["y"], 0)
        for name in names[2:]:
            found[name] = np.hypot(found[name], SOLUTION_SCATTER)
        return SkyCoord(lon * u.deg, lat * u.deg), found, len(lon)

    ra, dec = (_column(listed, name, u.deg) for name in ("ra", "dec"))
    if placed:
        x, y = (_column(listed, name, u.pix) for name in ("x", "y"))
    else:
        assert source.wcs is not None
        x, y = source.wcs.celestial.all_world2pix(ra, dec, 0, quiet=True)
    row, star = _match(x, y, found["x"], found["y"], radius)
    row, star = (k[np.isfinite(ra[row]) & np.isfinite(dec[row])] for k in (row, star))
    places = {name: np.ascontiguousarray(column[star]) for name, column in found.items()}
    return SkyCoord(ra[row] * u.deg, dec[row] * u.deg), places, len(listed)


def _match(
    x: np.ndarray, y: np.ndarray, to_x: np.ndarray, to_y: np.ndarray, radius: float
) -> tuple[np.ndarray, np.ndarray]:
    """Rows of both lists that are each other's nearest within the radius."""
    rows = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    if not len(rows) or not len(to_x):
        return np.empty(0, int), np.empty(0, int)
    here, there = np.c_[x[rows], y[rows]], np.c_[to_x, to_y]
    distance, star = _nearest(here, there)
    _, back = _nearest(there, here)
    keep = (distance <= radius) & (back[np.minimum(star, len(there) - 1)] == np.arange(len(rows)))
    return rows[keep], star[keep]


def _nearest(points: np.ndarray, others: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distance to the nearest of the others and its row, for each point; blocks keep the memory small."""
    distance, row = np.empty(len(points)), np.empty(len(points), int)
    for k in range(0, len(points), 256):
        apart = np.hypot(*(points[k : k + 256, None, :] - others[None, :, :]).transpose(2, 0, 1))
        row[k : k + 256] = apart.argmin(axis=1)
        distance[k : k + 256] = apart.min(axis=1)
    return distance, row

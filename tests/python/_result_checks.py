"""What every result type must stand: pickle, copy, print, compare, JSON, no live .NET object.

Add a function that makes your result to `MAKERS`; `test_gateway.py` runs the checks on each.
"""

from __future__ import annotations

import copy
import dataclasses
import json
import pickle
from collections.abc import Callable

import matplotlib.pyplot as plt
import numpy as np
from astropy import units as u
from astropy.table import QTable
from astropy.wcs import WCS
from scipy.ndimage import gaussian_filter

import starassay
from starassay.results import Result, json_text


def _frames(count: int, level: float = 500.0) -> list[starassay.Frame]:
    rng = np.random.default_rng(7)
    return [
        starassay.read_frame(
            rng.normal(level, 4, (96, 128)).round().astype(np.uint16),
            gain=2.0 * u.electron / u.adu,
            read_noise=8 * u.electron,
        )
        for _ in range(count)
    ]


def _planes() -> Result:
    mosaic = np.random.default_rng(3).normal(500, 5, (200, 200))
    mosaic[::2, ::2] += 60
    mosaic[1::2, 1::2] -= 60
    return starassay.split_bayer(starassay.read_frame(mosaic.round().astype("u2"), bayer="RGGB"))


def _gain() -> Result:
    rng = np.random.default_rng(5)
    flats = [(500 + rng.poisson(20000, (128, 128)) / 2).astype(np.float32) for _ in range(2)]
    biases = [(500 + rng.normal(0, 3, (128, 128))).astype(np.float32) for _ in range(2)]
    return starassay.measure_gain(flats, biases)


def _plate_scale() -> Result:
    """Forty stars at exact places under a gnomonic solution of 2 arcsec a pixel."""
    wcs = WCS(naxis=2)
    wcs.wcs.ctype, wcs.wcs.crval, wcs.wcs.crpix = ["RA---TAN", "DEC--TAN"], [80, 20], [501, 401]
    wcs.wcs.cdelt = [-2 / 3600, 2 / 3600]
    x, y = np.random.default_rng(1).uniform(0, 800, (2, 40))
    ra, dec = wcs.wcs_pix2world(x, y, 0)
    stars = QTable({"x": x, "y": y, "ra": ra, "dec": dec})
    stars["x_uncertainty"] = stars["y_uncertainty"] = 0.02
    frame = np.zeros((801, 1001), np.float32)
    return starassay.measure_plate_scale(frame, positions=stars, pitch=4 * u.um)


def focus_run() -> list[starassay.Frame]:
    """Thirty stars through focus: blurred discs of an f/6 cone on pixels of 7 um, 80 um from frame to frame."""
    rng = np.random.default_rng(4)
    rows, columns = np.meshgrid(np.arange(40, 240, 40), np.arange(40, 280, 40), indexing="ij")
    places = np.c_[columns.ravel(), rows.ravel()] + rng.uniform(-8, 8, (rows.size, 2))
    y, x = np.mgrid[0:240, 0:320]
    frames = []
    for defocus in (-160, -80, 0, 80, 160):
        radius = abs(defocus) / 12 / 7
        image = np.zeros(x.shape)
        for k, (cx, cy) in enumerate(places):
            disc = (np.hypot(x - cx, y - cy) < max(radius, 1.0)).astype(float)
            image += (4 + k % 7) * 1e4 * disc / disc.sum()
        pixels = rng.poisson(gaussian_filter(image, 1.5) + 100).astype(np.uint16)
        how = {"pitch": 7 * u.um, "gain": 1 * u.electron / u.adu}
        frames.append(starassay.read_frame(pixels, **how))
    return frames


def _focus_surface() -> Result:
    places = [-160, -80, 0, 80, 160] * u.um
    return starassay.measure_focus_surface(focus_run(), focal_ratio=6, positions=places)


def _field_sharpness() -> Result:
    """Thirty stars in focus, with a budget."""
    how = {"focal_length": 690 * u.mm, "aperture": 115 * u.mm, "seeing": 4 * u.arcsec}
    return starassay.measure_field_sharpness(focus_run()[2], **how)


def _spacing() -> Result:
    """Two runs of one surface: not decided, which a result has to tell as well."""
    surface = _focus_surface()
    return starassay.measure_spacing([surface] * 2, distances=[54, 56] * u.mm, focal_ratio=6)


def small_flat() -> np.ndarray:
    """A flat whose light falls off to the corners."""
    y, x = np.mgrid[-1:1:120j, -1:1:160j]
    return np.random.default_rng(6).poisson(9000 * (1 - 0.2 * (x**2 + y**2) ** 2) + 500)


def _relative_illumination() -> Result:
    pixels = small_flat().astype(np.uint16)
    how = {"focal_ratio": 6, "focal_length": "690 mm", "pitch": "50 um", "bias_level": "500 adu"}
    return starassay.measure_relative_illumination(pixels, **how)


def small_mosaic() -> starassay.Frame:
    """Forty-eight stars on an RGGB mosaic, the image in red a thousandth smaller."""
    rng = np.random.default_rng(8)
    rows, columns = np.meshgrid(np.arange(20, 240, 36), np.arange(20, 300, 36), indexing="ij")
    places = np.c_[columns.ravel(), rows.ravel()] + rng.uniform(-6, 6, (rows.size, 2))
    y, x = np.mgrid[0:240, 0:320]
    image = np.full(x.shape, 100.0)
    for k, (cx, cy) in enumerate(places):
        for color, scale in ((0, 0.999), (1, 1.0)):
            px, py = (cx - 159.5) * scale + 159.5, (cy - 119.5) * scale + 119.5
            star = (2 + k % 5) * 1500 * np.exp(-((x - px) ** 2 + (y - py) ** 2) / (2 * 2.0**2))
            red = (x % 2 == 0) & (y % 2 == 0)
            image += np.where(red == (color == 0), star, 0)
    how = {"pitch": 4 * u.um, "gain": 1 * u.electron / u.adu, "bayer": "RGGB"}
    return starassay.read_frame(rng.poisson(image).astype(np.uint16), **how)


def _alignment() -> Result:
    """A drawn ring, which is no star's: a result with doubts has to tell itself as well."""
    y, x = np.mgrid[-40:40, -40:40] + 0.5
    r = np.hypot(x, y)
    disc = 2000 / (1 + np.exp((r - 20) / 0.8)) - 2000 / (1 + np.exp((r - 6) / 0.8))
    pixels = np.random.default_rng(9).poisson(disc + 100).astype(np.uint16)
    frame = starassay.read_frame(pixels, gain=1 * u.electron / u.adu, pitch=4 * u.um)
    scope = starassay.Telescope("150 mm", "900 mm", obstruction=0.3)
    return starassay.measure_alignment(frame, scope, wavelength="540 nm")


def small_field_pair() -> tuple[starassay.Frame, starassay.Frame]:
    """Twelve copies of one star inside and outside of focus: a telescope without field errors."""
    scope = starassay.SimulatedTelescope("Wren", 60 * u.mm, 300 * u.mm)
    camera = starassay.SimulatedCamera(shape=(48, 48), pitch=4 * u.um)
    inside, outside, _ = starassay.draw_defocused_pair(scope, camera=camera, size=48, defocus=5.0)
    rng = np.random.default_rng(9)
    frames = []
    for image in (inside, outside):
        star = np.asarray(image.data, dtype=float)
        star = (star - np.median(star)) * 1e6 / (star - np.median(star)).sum()
        sky = np.full((3 * 56, 4 * 56), 50.0)
        for k in range(12):
            y, x = 4 + 56 * (k // 4) + k % 3, 4 + 56 * (k % 4) + k % 2
            sky[y : y + 48, x : x + 48] += np.clip(star, 0, None)
        how = {"pitch": 4 * u.um, "gain": 1 * u.electron / u.adu}
        frames.append(starassay.read_frame(rng.poisson(sky).astype(np.uint16), **how))
    return frames[0], frames[1]


def _coma_axis() -> Result:
    """Three of them by their own discs: coma that does not grow, which a result has to tell as well."""
    scope = starassay.Telescope("60 mm", "300 mm")
    frame = small_field_pair()[0]
    return starassay.measure_coma_axis(frame, scope, wavelength="540 nm", most_stars=3)


def _wavefront_field() -> Result:
    scope = starassay.Telescope("60 mm", "300 mm")
    return starassay.measure_wavefront_field(*small_field_pair(), scope, wavelength=540 * u.nm)


def small_edge() -> starassay.Frame:
    """A slanted edge, blurred, with noise and a little light in the dark."""
    y, x = np.mgrid[0:120, 0:160]
    away = (x - 80) * np.cos(0.12) + (y - 60) * np.sin(0.12)
    step = 0.5 * (1 - np.tanh(away / 1.8)) + 0.02
    pixels = np.random.default_rng(2).poisson(8000 * step) + 500
    return starassay.read_frame(pixels.astype(np.uint16), pitch=4 * u.um, name="edge")


def _edge_contrast() -> Result:
    how = {"focal_length": "700 mm", "aperture": "100 mm", "bias_level": "500 adu"}
    return starassay.measure_edge_contrast(small_edge(), **how)


def small_photo() -> np.ndarray:
    """A bright plate with its dark spot, for what is measured in photos of reflections."""
    y, x = np.mgrid[:160, :200]
    plate, spot = (np.hypot(x - 100, y - 80) < 60), (np.hypot(x - 102, y - 81) < 15)
    drawn = gaussian_filter(40.0 + 120.0 * plate - 110.0 * spot, 1.0)
    return (drawn + np.random.default_rng(3).normal(0, 2, drawn.shape)).astype(np.float32)


MAKERS: dict[str, Callable[[], Result]] = {
    "MasterFrame": lambda: starassay.combine_frames(_frames(5)),
    "CalibratedFrame": lambda: starassay.calibrate_frame(_frames(1)[0], bias=_frames(1, 100)[0]),
    "PixelMask": lambda: starassay.find_cosmic_rays(_frames(1)[0]),
    "ColorPlanes": _planes,
    "GainMeasurement": _gain,
    "PlateScale": _plate_scale,
    "EdgeContrast": _edge_contrast,
    "Reflections": lambda: starassay.measure_reflections(small_photo(), objective=1, spot=2),
    "FieldSharpness": _field_sharpness,
    "FocusSurface": _focus_surface,
    "RelativeIllumination": _relative_illumination,
    "LateralColor": lambda: starassay.measure_lateral_color(small_mosaic()),
    "NightConditions": lambda: starassay.measure_night_conditions(
        focus_run()[1:4],
        focal_length="690 mm",
        times=[f"2026-10-04T2{k}:00:00" for k in range(3)],
        airmasses=[1.0, 1.1, 1.2],
    ),
    "Spacing": _spacing,
    "Alignment": _alignment,
    "ComaAxis": _coma_axis,
    "WavefrontField": _wavefront_field,
}


def check_result(result: Result) -> None:
    """The checks, for one result."""
    for twin in (pickle.loads(pickle.dumps(result)), copy.copy(result), copy.deepcopy(result)):
        assert type(twin) is type(result)
        assert twin == result
    assert repr(result) and str(result)
    assert isinstance(result.table, QTable) and len(result.table) > 0
    lines = result.summary()
    assert lines and all(isinstance(line, str) for line in lines)
    record = result.to_dict()
    assert json.loads(json_text(record))["kind"] == type(result).__name__
    assert result != object()
    assert all(isinstance(note, starassay.Note) for note in result.notes)
    ax = result.plot()
    assert ax.figure is not None
    plt.close("all")
    _no_live_objects(result)


def _no_live_objects(value: object) -> None:
    kind = type(value)
    assert not kind.__module__.startswith(("System", "StarAssay.")), kind
    if isinstance(value, dict):
        for item in value.values():
            _no_live_objects(item)
    elif isinstance(value, (list, tuple)):
        for item in value:
            _no_live_objects(item)
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        # Not what belongs to the class, such as the table of its fields.
        for field in dataclasses.fields(value):
            _no_live_objects(getattr(value, field.name))

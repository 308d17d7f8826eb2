"""Every wrong argument of every public function ends in the error family, and is named as it was typed.

The functions come from the public list, their arguments from their signatures: a new function or
argument is walked through without being added here.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy import units as u

import starassay
from _result_checks import focus_run, small_edge, small_field_pair, small_flat, small_mosaic
from _result_checks import small_photo
from test_plate_scale import listed, solution
from starassay import Claim, Measured, PupilMap, SimulatedCamera, StarAssayError, Telescope

#: Nothing takes these: no text of that name exists, no unit fits, no list is empty of meaning.
MAPPING = {"a": object()}
WRONG = ("no-such-thing", 7 * u.kg, object(), [object()], MAPPING)
#: Arguments that are free text, paths or anything at all, where some of the above are right.
FREE = {
    ("decide", "counted"): ("no-such-thing",),
    ("decide", "other_conditions"): ("no-such-thing",),
    ("decide", "missing_test"): ("no-such-thing",),
    ("draw_flat", "filter_name"): ("no-such-thing",),
    ("compare", "quantity"): ("no-such-thing",),
    ("read_frame", "name"): ("no-such-thing",),
    ("plot_defocused_pair", "title"): ("no-such-thing",),
    # Folders and files that are made.
    ("draw_demo", "folder"): ("no-such-thing",),
    ("write_frame", "path"): ("no-such-thing",),
    # Whatever was drawn.
    ("write_frame", "truth"): (MAPPING,),
    ("write_campaign_frames", "folder"): ("no-such-thing",),
    ("watch_folder", "page"): ("no-such-thing",),
}
#: Takes no arguments, or a whole record that the engine checks by itself.
RECORD = {"advise"}
RNG = np.random.default_rng(3)


def functions() -> dict[str, Callable[..., Any]]:
    """Every public function."""
    return {n: o for n in starassay._NAMES if inspect.isfunction(o := getattr(starassay, n))}


def frame(level: float = 500, seed: int = 1) -> np.ndarray:
    """Noise round a level."""
    return np.random.default_rng(seed).normal(level, 9, (96, 96)).round().astype(np.uint16)


def sound(folder: Path) -> dict[str, dict[str, Any]]:
    """For each function a call that works, so that only the argument under test is wrong."""
    scope = starassay.juniper_115()
    camera = SimulatedCamera(shape=(64, 64))
    y, x = np.mgrid[-1:1:32j, -1:1:32j]
    pupil = PupilMap(np.where(x**2 + y**2 < 1, 20 * x, np.nan) * u.nm, 6.6, 540 * u.nm)
    value = Measured(0.97 * u.one, 0.01 * u.one)
    claim = Claim("Strehl ratio", at_least=0.9 * u.one)
    mosaic = starassay.read_frame(frame(), bayer="RGGB")
    planned = folder / "planned.toml"
    planned.write_text(
        '[campaign]\nname = "a"\n[telescope]\nname = "b"\naperture = "115 mm"\nfocal_length = "760 mm"\n'
        '[camera]\npitch = "3.76 um"\n',
        encoding="utf-8",
    )
    inside, outside, _ = starassay.draw_defocused_pair(scope, size=64)
    nm = (400 + 2.5 * np.arange(120)) * u.nm
    optics = {"wavelengths": nm, "focal_ratio": 7.0, "focal_length": 700 * u.mm}
    lens = starassay.lens_color_focus(["N-BK7", "F2"], 700 * u.mm)
    spectra = [
        starassay.draw_spectrum(lens, sensor=p * u.um, height=64, seed=k, **optics)
        for k, p in enumerate((-300, 0, 300))
    ]
    known = {"wavelengths": nm, "focal_ratio": 7.0, "bins": 24, "replicates": 20}
    run = {"frames": spectra, "positions": [-300, 0, 300] * u.um, **known}
    curve = starassay.measure_color_focus(**run, disperser="prism", focal_length="700 mm")
    return {
        "lens_color_focus": {"glasses": ["N-BK7"], "focal_length": 700 * u.mm},
        "draw_spectrum": {"lens": lens, "height": 40, **optics},
        "reduce_spectrum": {"frame": spectra[1]},
        "calibrate_wavelengths": {
            "source": starassay.draw_spectrum(None, lamps=["Ne", "Hg"], height=40, **optics),
            "lamps": ["Ne", "Hg"],
            "dispersion": (2, 3) * u.nm / u.pix,
        },
        "measure_color_focus": run,
        "compare_color_focus": {"curves": {"a": curve, "b": curve}, "band": (420, 650) * u.nm},
        "combine": {"values": [value]},
        "compare": {"quantity": "strehl", "first": ("a", value), "second": ("b", value)},
        "decide": {"claim": claim, "measured": value},
        "judge": {"claim": claim, "quantity": "strehl", "measured": []},
        "draw_star_field": {"telescope": scope, "camera": camera, "stars": 3},
        "draw_focus_run": {
            "telescope": scope,
            "positions": [0] * u.um,
            "camera": camera,
            "stars": 2,
        },
        "draw_defocused_pair": {"telescope": scope, "size": 64},
        "draw_flat": {"telescope": scope, "camera": camera},
        "draw_edge": {"telescope": scope, "camera": camera},
        "draw_demo": {"folder": folder},
        "write_frame": {"path": folder / "a.fits", "frame": inside, "truth": {}},
        "write_campaign_frames": {"folder": folder, "telescope": scope},
        "begin_campaign": {"folder": folder},
        "watch_folder": {"folder": folder, "measure": "stars"},
        "read_campaign": {"path": folder},
        "run_campaign": {"campaign": folder},
        "compare_reports": {"folders": [folder, folder / "other"]},
        "plan_night": {"campaign": planned, "night": "2026-12-11", "site": "48.1, 11.6, 520 m"},
        "read_frame": {"source": frame()},
        "calibrate_frame": {"frame": frame(), "bias": frame(100, 2)},
        "combine_frames": {"frames": [frame(), frame(seed=2), frame(seed=3)]},
        "find_bad_pixels": {"dark": frame()},
        "find_cosmic_rays": {
            "frame": starassay.read_frame(frame(), gain="1 electron/adu", read_noise="3 electron")
        },
        "measure_gain": {
            "flats": [frame(9000), frame(9000, 4)],
            "biases": [frame(100), frame(100, 5)],
        },
        "split_bayer": {"frame": mosaic},
        "measure_stars": {"frame": frame()},
        "fit_wavefront": {
            "inside": inside,
            "outside": outside,
            "telescope": Telescope("115 mm", "760 mm"),
            "wavelength": "540 nm",
        },
        "measure_alignment": {
            "frames": [inside, outside],
            "telescope": Telescope("115 mm", "760 mm"),
            "wavelength": "540 nm",
        },
        "measure_coma_axis": {
            "frames": small_field_pair()[0],
            "telescope": Telescope("60 mm", "300 mm"),
            "wavelength": "540 nm",
            "most_stars": 3,
        },
        "measure_plate_scale": {
            "frame": np.zeros((801, 1001), np.float32),
            "positions": listed(solution()),
            "pitch": "4 um",
        },
        "measure_relative_illumination": {
            "frames": small_flat().astype(np.uint16),
            "focal_ratio": 6,
            "focal_length": "690 mm",
            "pitch": "50 um",
            "bias_level": "500 adu",
        },
        "measure_edge_contrast": {
            "frame": small_edge(),
            "focal_length": "700 mm",
            "subject": "moon",
            "bias_level": "500 adu",
        },
        "measure_reflections": {"photo": small_photo(), "objective": 1, "spot": 2},
        "measure_lateral_color": {"frames": small_mosaic()},
        "measure_field_sharpness": {"frame": focus_run()[2], "focal_length": "690 mm"},
        "measure_night_conditions": {
            "frames": focus_run()[1:4],
            "focal_length": "690 mm",
            "times": ["2026-10-04T20:00:00", "2026-10-04T21:00:00", "2026-10-04T22:00:00"],
        },
        "measure_focus_surface": {
            "frames": focus_run(),
            "focal_ratio": 6,
            "positions": [-160, -80, 0, 80, 160] * u.um,
        },
        "measure_spacing": {
            "frames": focus_run() * 2,
            "distances": ([54] * 5 + [56] * 5) * u.mm,
            "focal_ratio": 6,
            "positions": ([-160, -80, 0, 80, 160] * 2) * u.um,
        },
        "measure_wavefront_field": {
            "inside": small_field_pair()[0],
            "outside": small_field_pair()[1],
            "telescope": Telescope("60 mm", "300 mm"),
            "wavelength": "540 nm",
        },
        "plot_defocused_pair": {"inside": inside, "outside": outside},
        "draw_focused_image": {"pupil": pupil},
        "compute_modulation": {"pupil": pupil},
        "compute_contrast": {"pupil": pupil, "aperture": "100 mm"},
        "draw_ronchigram": {"pupil": pupil},
        "draw_double_star": {"pupil": pupil, "aperture": "100 mm", "separation": "2 arcsec"},
        "draw_planet": {"pupil": pupil, "aperture": "100 mm", "diameter": "9 arcsec"},
        "draw_lunar_edge": {"pupil": pupil, "aperture": "100 mm"},
        "draw_star_colors": {
            "pupil": pupil,
            "aperture": "100 mm",
            "colors": {390: "0 um", 720: "0 um"},
            "defocus": 2,
        },
        "draw_star_test": {"pupil": pupil, "aperture": "100 mm", "defocus": 2},
        "draw_targets": {"pupil": pupil, "aperture": "100 mm", "diameter": "9 arcsec"},
        "draw_knife_edge": {"pupil": pupil},
        "draw_interferogram": {"pupil": pupil},
    }


def cases() -> Iterator[tuple[str, str]]:
    """Function and argument, from the signatures."""
    for name, function in functions().items():
        if name in RECORD:
            continue
        for argument, how in inspect.signature(function).parameters.items():
            if how.kind is not inspect.Parameter.VAR_KEYWORD:
                yield name, argument


@pytest.fixture(scope="module")
def calls(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    return sound(tmp_path_factory.mktemp("walk"))


def test_every_function_is_walked_through(calls: dict[str, dict[str, Any]]) -> None:
    """A new function needs a sound call here, or the walk below would prove nothing for it."""
    walked = {name for name, _ in cases()}
    assert walked - set(calls) == set()


@pytest.mark.parametrize(("name", "argument"), list(cases()))
def test_a_wrong_argument(name: str, argument: str, calls: dict[str, dict[str, Any]]) -> None:
    function = functions()[name]
    for wrong in WRONG:
        if any(wrong is free for free in FREE.get((name, argument), ())):
            continue
        with pytest.raises(StarAssayError) as caught:
            function(**{**calls[name], argument: wrong})
        said = str(caught.value)
        assert "\n" not in said and said.endswith((".", '"')), said
        # What was typed: its name, or for files and frames the thing itself.
        assert (
            argument in said
            or caught.value.argument in (argument, "source")
            or isinstance(caught.value, (starassay.FileError, starassay.CampaignError))
        ), (wrong, said)

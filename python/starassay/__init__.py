"""StarAssay: test the optics of a telescope from its own images.

>>> import starassay
>>> field = starassay.measure_stars("field.fits")  # doctest: +SKIP
>>> field.table, field.plot()  # doctest: +SKIP

Names are loaded at first use, so that importing is quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

from ._version import __version__

# public name -> module that holds it; one line each
_NAMES = {
    "about": "._gateway",
    "FieldErrors": ".simulated_instruments",
    "Passband": ".simulated_instruments",
    "SimulatedCamera": ".simulated_instruments",
    "SimulatedSky": ".simulated_instruments",
    "SimulatedTelescope": ".simulated_instruments",
    "alder_100": ".simulated_instruments",
    "draw_defocused_pair": ".simulate",
    "draw_flat": ".simulate",
    "draw_focus_run": ".simulate",
    "draw_star_field": ".simulate",
    "juniper_115": ".simulated_instruments",
    "write_campaign_frames": ".simulated_files",
    "write_frame": ".simulated_files",
    "note_legend": ".results",
    "Advice": ".advice",
    "Campaign": ".campaign",
    "Claim": ".decisions",
    "Comparison": ".comparisons",
    "Decision": ".decisions",
    "advise": ".advice",
    "combine": ".means",
    "draw_demo": ".demo",
    "compare": ".comparisons",
    "decide": ".decisions",
    "read_campaign": ".campaign",
    "run_campaign": ".campaign",
    "ColorComparison": ".color_focus",
    "ColorFocusCurve": ".color_focus",
    "ColorMerit": ".color_focus",
    "LensTheory": ".color_focus",
    "Spectrum": ".color_focus",
    "WavelengthScale": ".color_focus",
    "calibrate_wavelengths": ".color_focus",
    "compare_color_focus": ".color_focus",
    "draw_spectrum": ".color_focus",
    "lens_color_focus": ".color_focus",
    "measure_color_focus": ".color_focus",
    "reduce_spectrum": ".color_focus",
    "Measured": ".results",
    "Note": ".results",
    "Result": ".results",
    "Frame": ".frames",
    "read_frame": ".frames",
    "UnitError": ".quantities",
    "calibrate_frame": ".calibration",
    "combine_frames": ".calibration",
    "find_bad_pixels": ".bad_pixels",
    "find_cosmic_rays": ".bad_pixels",
    "measure_gain": ".gain",
    "split_bayer": ".color_planes",
    "StarField": ".stars",
    "Zone": ".stars",
    "measure_stars": ".stars",
    "FocusedImage": ".views",
    "Modulation": ".views",
    "PupilMap": ".views",
    "PupilView": ".views",
    "compute_modulation": ".views",
    "draw_focused_image": ".views",
    "draw_interferogram": ".views",
    "draw_knife_edge": ".views",
    "draw_ronchigram": ".views",
    "Telescope": ".telescope",
    "Vane": ".telescope",
    "WavefrontFit": ".wavefront",
    "fit_wavefront": ".wavefront",
    "CampaignError": ".errors",
    "CannotMeasureError": ".errors",
    "EngineError": ".errors",
    "EngineUnavailableError": ".errors",
    "FileError": ".errors",
    "InputError": ".errors",
    "StarAssayError": ".errors",
    "StarAssayWarning": ".errors",
}

__all__ = ["__version__", *_NAMES]


def __getattr__(name: str) -> Any:
    if name in _NAMES:
        value = getattr(import_module(_NAMES[name], __name__), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'starassay' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted(__all__)

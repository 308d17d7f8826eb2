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
    "about": "._host",
    "FieldErrors": ".simulation.instruments",
    "Passband": ".simulation.instruments",
    "SimulatedCamera": ".simulation.instruments",
    "SimulatedSky": ".simulation.instruments",
    "SimulatedTelescope": ".simulation.instruments",
    "alder_100": ".simulation.instruments",
    "draw_defocused_pair": ".simulation.defocused_pairs",
    "draw_edge": ".simulation.edges",
    "draw_flat": ".simulation.flats",
    "draw_focus_run": ".simulation.star_fields",
    "draw_star_field": ".simulation.star_fields",
    "plot_defocused_pair": ".simulation.figures",
    "juniper_115": ".simulation.instruments",
    "write_campaign_frames": ".simulation.files",
    "write_frame": ".simulation.files",
    "note_legend": ".results",
    "Advice": ".decisions.advice",
    "Campaign": ".campaign",
    "Claim": ".decisions.deciding",
    "Comparison": ".decisions.comparisons",
    "Decision": ".decisions.deciding",
    "advise": ".decisions.advice",
    "combine": ".decisions.means",
    "draw_demo": ".simulation.demo",
    "compare": ".decisions.comparisons",
    "decide": ".decisions.deciding",
    "read_campaign": ".campaign",
    "run_campaign": ".campaign",
    "ReportComparison": ".campaign.comparing",
    "compare_reports": ".campaign.comparing",
    "begin_campaign": ".campaign",
    "ColorComparison": ".measurements.color_focus",
    "ColorFocusCurve": ".measurements.color_focus",
    "ColorMerit": ".measurements.color_focus",
    "LensTheory": ".measurements.color_focus",
    "Spectrum": ".measurements.color_focus",
    "WavelengthScale": ".measurements.color_focus",
    "calibrate_wavelengths": ".measurements.color_focus",
    "compare_color_focus": ".measurements.color_focus",
    "draw_spectrum": ".simulation.spectra",
    "lens_color_focus": ".measurements.color_focus",
    "measure_color_focus": ".measurements.color_focus",
    "reduce_spectrum": ".measurements.color_focus",
    "Measured": ".results",
    "Note": ".results",
    "Result": ".results",
    "NightPlan": ".planning",
    "plan_night": ".planning",
    "Frame": ".imaging.frame",
    "read_frame": ".imaging.frames",
    "UnitError": "._units",
    "calibrate_frame": ".imaging.calibration",
    "combine_frames": ".imaging.calibration",
    "find_bad_pixels": ".imaging.bad_pixels",
    "find_cosmic_rays": ".imaging.bad_pixels",
    "measure_gain": ".imaging.gain",
    "split_bayer": ".imaging.color_planes",
    "Alignment": ".measurements.alignment",
    "measure_alignment": ".measurements.alignment",
    "ComaAxis": ".measurements.coma_axis",
    "measure_coma_axis": ".measurements.coma_axis",
    "Reflections": ".measurements.reflections",
    "measure_reflections": ".measurements.reflections",
    "EdgeContrast": ".measurements.edge_contrast",
    "measure_edge_contrast": ".measurements.edge_contrast",
    "FieldSharpness": ".measurements.field_sharpness",
    "FocusSurface": ".measurements.focus_surface",
    "RelativeIllumination": ".measurements.relative_illumination",
    "LateralColor": ".measurements.lateral_color",
    "NightConditions": ".measurements.night_conditions",
    "PlateScale": ".measurements.plate_scale",
    "Spacing": ".measurements.spacing",
    "measure_field_sharpness": ".measurements.field_sharpness",
    "measure_focus_surface": ".measurements.focus_surface",
    "measure_relative_illumination": ".measurements.relative_illumination",
    "measure_lateral_color": ".measurements.lateral_color",
    "measure_night_conditions": ".measurements.night_conditions",
    "measure_plate_scale": ".measurements.plate_scale",
    "measure_spacing": ".measurements.spacing",
    "measure_wavefront_field": ".measurements.wavefront_field",
    "StarField": ".measurements.stars",
    "Quantity": "._records",
    "judge": ".decisions.deciding",
    "measure_stars": ".measurements.stars",
    "Contrast": ".optics.contrast",
    "compute_contrast": ".optics.contrast",
    "TargetSheet": ".optics.target_views",
    "TargetView": ".optics.target_views",
    "draw_double_star": ".optics.targets",
    "draw_lunar_edge": ".optics.targets",
    "draw_planet": ".optics.targets",
    "draw_targets": ".optics.targets",
    "StarColors": ".optics.star_colors",
    "StarTest": ".optics.star_test",
    "StarTestWord": ".optics.star_words",
    "draw_star_colors": ".optics.star_colors",
    "draw_star_test": ".optics.star_test",
    "FocusedImage": ".optics.pictures",
    "Modulation": ".optics.pictures",
    "PupilMap": ".optics.views",
    "PupilView": ".optics.pictures",
    "compute_modulation": ".optics.views",
    "draw_focused_image": ".optics.views",
    "draw_interferogram": ".optics.views",
    "draw_knife_edge": ".optics.views",
    "draw_ronchigram": ".optics.views",
    "Telescope": ".optics.telescope",
    "Vane": ".optics.telescope",
    "WavefrontField": ".measurements.wavefront_field",
    "WavefrontFit": ".measurements.wavefront",
    "fit_wavefront": ".measurements.wavefront",
    "FolderWatch": ".watching",
    "Reading": ".watching",
    "watch_folder": ".watching",
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

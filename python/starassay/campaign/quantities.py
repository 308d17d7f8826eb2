"""What a claim can be about, and the test that measures it."""

from __future__ import annotations

import dataclasses


@dataclasses.dataclass(frozen=True)
class QuantityKind:
    """A quantity that a claim can be about.

    Attributes
    ----------
    label : str
        Its name in sentences.
    unit : str
        Unit of the right kind.
    test : str
        The table of the campaign file that measures it.
    missing : str
        What to do to get it, one sentence.
    """

    label: str
    unit: str
    test: str
    missing: str


_PAIR = "Take a bright star inside and outside focus through a narrow filter and list it under [[wavefront]]."
_FIELD = "Take a well-focused star field and list it under [[stars]]."
_SPECTRUM = "Take the spectrum of an A, F or G star and list it under [[color_focus]]."
QUANTITIES = {
    "strehl": QuantityKind("Strehl ratio", "", "wavefront", _PAIR),
    "wavefront_rms": QuantityKind("wavefront error, RMS", "nm", "wavefront", _PAIR),
    "wavefront_pv": QuantityKind("wavefront error, PV", "nm", "wavefront", _PAIR),
    "spherical": QuantityKind("spherical aberration, RMS", "nm", "wavefront", _PAIR),
    "coma": QuantityKind("coma, RMS", "nm", "wavefront", _PAIR),
    "astigmatism": QuantityKind("astigmatism, RMS", "nm", "wavefront", _PAIR),
    "star_fwhm": QuantityKind("star FWHM, median", "arcsec", "stars", _FIELD),
    "star_hfr": QuantityKind("half-flux radius, median", "arcsec", "stars", _FIELD),
    "star_ellipticity": QuantityKind("star ellipticity, typical", "", "stars", _FIELD),
    "corner_ratio": QuantityKind("half-flux radius, edge over center", "", "stars", _FIELD),
    "in_focus_fraction": QuantityKind(
        "in-focus fraction of the light", "", "color_focus", _SPECTRUM
    ),
    "focus_range": QuantityKind("range of the color focus curve", "um", "color_focus", _SPECTRUM),
}

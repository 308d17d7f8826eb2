"""Wavelength scales from lamps and stars: published lines, real spectra, what does not match."""

from __future__ import annotations

import dataclasses
import sys
import warnings
from pathlib import Path

import numpy as np
import pytest
from _color_frames import PER_PIXEL, as_frame
from astropy import units as u

from starassay import draw_spectrum
from starassay.measurements import color_focus as cf
from starassay.errors import CannotMeasureError, InputError
from starassay.measurements.color_focus.wavelengths import lamp_flux
from starassay.imaging.frames import read_frame

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "accuracy"))

import _color_judging  # noqa: E402  (the accuracy programs' simulators)


def test_wavelengths_from_a_lamp_and_what_does_not_match() -> None:
    scale = 390 + 0.42 * np.arange(1100) + 1e-5 * np.arange(1100) ** 2
    lamp = draw_spectrum(
        None,
        wavelengths=scale * u.nm,
        focal_ratio=7,
        focal_length=700 * u.mm,
        lamps=["Ne", "Ar"],
        height=60,
    )
    found = cf.calibrate_wavelengths(lamp, lamps=["Ne", "Ar"], dispersion=(0.3, 0.6) * PER_PIXEL)
    lines = (scale > 585) & (scale < 840)
    assert np.abs(found.wavelength.value - scale)[lines].max() < 0.2
    assert found.rms_columns.value < 0.3
    flipped = cf.calibrate_wavelengths(
        np.ascontiguousarray(lamp.data[30, ::-1]).astype(float),
        lamps=["Ne", "Ar"],
        dispersion=(0.3, 0.6) * PER_PIXEL,
    )
    assert flipped.wavelength[0] > flipped.wavelength[-1]
    with pytest.raises(CannotMeasureError, match="does not match"):
        cf.calibrate_wavelengths(lamp, lamps=["Xe"], dispersion=(0.3, 0.6) * PER_PIXEL)
    with pytest.raises(InputError, match="No lamp 'Unobtainium'"):
        cf.calibrate_wavelengths(lamp, lamps=["Unobtainium"], dispersion=(0.3, 0.6) * PER_PIXEL)


def test_wavelengths_of_a_prism_from_a_lamp() -> None:
    # Hartmann's dispersion formula: lambda = l0 + c / (x0 - x); dispersion grows threefold.
    x = np.arange(1200)
    scale = 180 + 480000 / (2200 - x)
    lamp = draw_spectrum(
        None,
        wavelengths=scale * u.nm,
        focal_ratio=7,
        focal_length=700 * u.mm,
        lamps=["Hg", "He", "Ne", "Ar"],
        height=60,
    )
    found = cf.calibrate_wavelengths(
        lamp, lamps=["Hg", "He", "Ne", "Ar"], dispersion=(0.08, 0.6) * PER_PIXEL, max_degree=4
    )
    # Where lines were matched the scale is right; beyond them the result says that it extrapolates.
    low, high = found.line_column.min(), found.line_column.max()
    inside = (x >= low) & (x <= high)
    assert len(found.line_column) >= 15
    assert np.abs(found.wavelength.value - scale)[inside].max() < 0.6
    if high - low < 0.7 * x.size:
        assert "wavelength.extrapolated" in {n.code for n in found.notes}


def test_wavelengths_from_hydrogen_lines() -> None:
    scale = 380 + 0.35 * np.arange(1150)
    star = draw_spectrum(
        None,
        wavelengths=scale * u.nm,
        focal_ratio=7,
        focal_length=700 * u.mm,
        height=90,
        electrons=4e7,
    )
    spectrum = cf.reduce_spectrum(star, line_depth=0)
    found = cf.calibrate_wavelengths(spectrum, star=True, dispersion=(0.28, 0.42) * PER_PIXEL)
    assert "wavelength.from-star" in {n.code for n in found.notes}
    middle = (scale > 410) & (scale < 690)
    assert np.abs(found.wavelength.value - scale)[middle].max() < 1.0


def test_blends_of_a_lamp_do_not_bend_the_scale() -> None:
    # Neon and argon through a wide slit, drawn by the judging simulator with a seed that it does not judge with.
    off = []
    for seed, gases in ((4301, ("Ne", "Ar")), (4302, ("Hg", "He")), (4303, ("Ne", "He"))):
        setup = _color_judging.drawn_setup("apochromat", seed)
        scale = cf.calibrate_wavelengths(
            _color_judging.lamp(setup, gases, seed),
            lamps=gases,
            dispersion=(0.8 * setup.nm_per_px, 1.25 * setup.nm_per_px) * PER_PIXEL,
        )
        use = (setup.wave > 405) & (setup.wave < 700)
        error = (scale.wavelength.value - setup.wave)[use] / setup.nm_per_px
        off.append(np.sqrt(np.mean(error**2)))
        assert np.sqrt(np.mean((error * setup.nm_per_px / scale.uncertainty.value[use]) ** 2)) < 2.5
    # With every blend given to one of its lines: 0.17 columns in the median, 1.6 at worst.
    assert np.median(off) < 0.08 and max(off) < 0.4


def test_a_gas_that_was_not_named_is_told() -> None:
    setup = _color_judging.drawn_setup("apochromat", 4310)
    both = _color_judging.lamp(setup, ("Ne", "Hg"), 4310)
    rough = (0.8 * setup.nm_per_px, 1.25 * setup.nm_per_px) * PER_PIXEL
    codes = {n.code for n in cf.calibrate_wavelengths(both, lamps=["Ne"], dispersion=rough).notes}
    assert "wavelength.lines-left-over" in codes


@pytest.mark.parametrize("seed", [11, 12, 13, 14])
def test_an_a_or_f_star_calibrates_itself(seed: int) -> None:
    setup = dataclasses.replace(
        _color_judging.drawn_setup("apochromat", 4400 + seed), slit=True, electrons=1e7
    )
    pixels = _color_judging.expose(_color_judging.light(setup, 0.0), seed)
    star = cf.reduce_spectrum(as_frame(pixels, saturation=1e6 * u.adu), line_depth=0)
    rough = (0.8 * setup.nm_per_px, 1.25 * setup.nm_per_px) * PER_PIXEL
    scale = cf.calibrate_wavelengths(star, star=True, dispersion=rough)
    use = (setup.wave > 405) & (setup.wave < 690)
    assert np.abs(scale.wavelength.value - setup.wave)[use].max() < 1.0 * setup.nm_per_px


def test_kast_arc_and_trace(real_data: Path) -> None:
    specreduce = pytest.importorskip("specreduce.tracing")
    from astropy.modeling.models import Polynomial1D

    path = real_data / "spectra-kast" / "b24.fits.gz"
    star = cf.reduce_spectrum(path, columns=(0, 2048), line_depth=0)
    # "trace tilt about 6 px over the chip" (notes on the data)
    assert abs(star.trace[0].value - star.trace[-1].value) == pytest.approx(6.5, abs=1.0)
    image = read_frame(path).data[:, :2048].astype(float)
    image = image - np.median(image, axis=0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its fitter warns that a polynomial is linear
        theirs = specreduce.FitTrace(
            image[:, 200:],
            bins=40,
            guess=170,
            window=20,
            trace_model=Polynomial1D(3),
            peak_method="centroid",
        ).trace
    # Its two ways of finding the peak differ by 1 pixel from each other, ours lies between: the
    # shape is compared with it, the place with plain centroids below.
    assert np.std(np.asarray(theirs) - star.trace.value[200:]) < 0.1
    rows = np.arange(150, 190)
    for x in range(200, 2000, 200):
        part = image[150:190, x : x + 40].mean(axis=1)
        center = (part * rows).sum() / part.sum()
        assert star.trace.value[x + 20] == pytest.approx(center, abs=0.15)
    scale = cf.calibrate_wavelengths(
        real_data / "spectra-kast" / "b1.fits.gz",
        lamps=["He", "Hg", "Cd"],
        dispersion=(0.08, 0.13) * PER_PIXEL,
        trace=star,
        limits=(320, 570) * u.nm,
    )
    assert len(scale.line_column) >= 12
    assert scale.rms_columns.value < 0.3
    # Grism 600/4310: 1.02 angstrom a pixel (instrument manual, from memory).
    assert np.diff(scale.wavelength.value).mean() == pytest.approx(0.102, rel=0.05)


def test_sprat_xenon_lamp(real_data: Path) -> None:
    from astropy.nddata import StdDevUncertainty
    from scipy.ndimage import percentile_filter
    from specutils import Spectrum1D
    from specutils.fitting import find_lines_threshold

    folder = real_data / "spectra-sprat"
    star = cf.reduce_spectrum(folder / "v_s_20180810_27_1_0_0.fits.gz", line_depth=0)
    scale = cf.calibrate_wavelengths(
        folder / "v_a_20180810_13_1_0_1.fits.gz",
        lamps=["Xe"],
        dispersion=(0.38, 0.56) * PER_PIXEL,
        trace=star,
    )
    # Stated: 402 to 796 nm, 0.47 nm a pixel.
    nm = scale.wavelength.value
    assert np.diff(nm)[(nm[1:] > 450) & (nm[1:] < 800)].mean() == pytest.approx(0.464, rel=0.03)
    assert len(scale.line_column) >= 18
    assert scale.rms_columns.value < 0.6
    # Telluric A band (head 759.4 nm, Fraunhofer) seen where the scale says.
    band = (nm > 752) & (nm < 772)
    dip = nm[band][np.argmin(star.flux.value[band])]
    assert dip == pytest.approx(760.6, abs=1.5)
    # specutils finds the lines that we used within a column.
    flux = lamp_flux(read_frame(folder / "v_a_20180810_13_1_0_1.fits.gz"), "x", star, 4)
    flux = flux - percentile_filter(flux, 25, 61)
    spectrum = Spectrum1D(flux=flux * u.adu, spectral_axis=np.arange(flux.size) * u.pix)
    spectrum.uncertainty = StdDevUncertainty(np.full(flux.size, 20.0))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = find_lines_threshold(spectrum, noise_factor=5)
    centers = theirs["line_center"].to_value(u.pix)
    nearest = np.array([np.abs(centers - c).min() for c in scale.line_column])
    assert np.median(nearest) < 1.0
    with pytest.raises(CannotMeasureError, match="does not match"):
        cf.calibrate_wavelengths(
            folder / "v_a_20180810_13_1_0_1.fits.gz",
            lamps=["Hg"],
            dispersion=(0.38, 0.56) * PER_PIXEL,
            trace=star,
        )


def test_amateur_spectrum_with_wrong_header(real_data: Path) -> None:
    star = cf.reduce_spectrum(real_data / "spectra-dados" / "alpOri_01.fit.gz")
    # "broad trace, 22-26 px FWHM, widest at the left end": FWHM of a Gaussian = 2.355 half widths
    fwhm = 2.355 * star.width.value
    assert 20 < np.nanmedian(fwhm) < 28
    assert np.nanmean(fwhm[:10]) > np.nanmean(fwhm[-10:])

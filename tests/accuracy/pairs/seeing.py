"""Long-exposure seeing: structure functions and what they do to the transfer function.

Sources: Fried 1966, J. Opt. Soc. Am. 56, 1372 (long-exposure transfer function
exp(-D(r) / 2) with D(r) = 6.88 (r / r0)**(5/3)); the constant in full is 2 (24/5 Gamma(6/5))**(5/6).
Finite outer scale: von Karman spectrum, structure function in the form that Tokovinin 2002,
PASP 114, 1156 uses (form from memory; its small-distance limit and its variance are tested).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import gamma, kv

Array = NDArray[np.float64]

KOLMOGOROV_CONSTANT = 2.0 * (24.0 / 5.0 * gamma(6.0 / 5.0)) ** (5.0 / 6.0)
"""6.883877: phase structure function at r = r0, in rad^2."""

FWHM_TIMES_R0 = 0.975863
"""FWHM of the Kolmogorov long-exposure image in units of wavelength / r0 (check value: Racine 1996,
PASP 108, 699, quotes 0.98; recomputed from the transfer function by the tests)."""

ARCSEC = np.pi / 180.0 / 3600.0


def fried_length_m(fwhm_arcsec: float, wavelength_nm: float) -> float:
    """Fried's length in metres from the Kolmogorov FWHM at that wavelength."""
    return FWHM_TIMES_R0 * wavelength_nm * 1e-9 / (fwhm_arcsec * ARCSEC)


def fried_length_at(r0_m: float, from_nm: float, to_nm: float) -> float:
    """Fried's length at another wavelength (grows as wavelength to the power 6/5)."""
    return r0_m * (to_nm / from_nm) ** 1.2


def structure_function(distance_m: Array, r0_m: float, outer_scale_m: float | None = None) -> Array:
    """Phase structure function in rad^2; Kolmogorov when there is no outer scale."""
    r = np.asarray(distance_m, dtype=float)
    if outer_scale_m is None:
        return KOLMOGOROV_CONSTANT * (r / r0_m) ** (5.0 / 3.0)
    scale = (
        2.0 ** (1.0 / 6.0)
        * gamma(11.0 / 6.0)
        / np.pi ** (8.0 / 3.0)
        * (24.0 / 5.0 * gamma(6.0 / 5.0)) ** (5.0 / 6.0)
    )
    z = 2.0 * np.pi * np.maximum(r, 1e-12 * outer_scale_m) / outer_scale_m
    bracket = gamma(5.0 / 6.0) / 2.0 ** (1.0 / 6.0) - z ** (5.0 / 6.0) * kv(5.0 / 6.0, z)
    value = scale * (outer_scale_m / r0_m) ** (5.0 / 3.0) * bracket
    return np.where(r > 0.0, np.maximum(value, 0.0), 0.0)


def transfer(distance_m: Array, r0_m: float, outer_scale_m: float | None = None) -> Array:
    """Long-exposure transfer function at a distance in the pupil."""
    return np.exp(-0.5 * structure_function(distance_m, r0_m, outer_scale_m))

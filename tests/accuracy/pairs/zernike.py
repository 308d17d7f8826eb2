"""Zernike polynomials with Noll's index and normalisation.

Source: R. J. Noll 1976, "Zernike polynomials and atmospheric turbulence", J. Opt. Soc. Am. 66,
207: the mean of the square of every polynomial over the unit disc is 1; ordered by n, then by
abs(m); even index = cosine, odd index = sine.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import comb

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def noll_to_nm(index: int) -> tuple[int, int]:
    """Return (n, m) of a Noll index, m > 0 for cosine and m < 0 for sine terms."""
    if index < 1:
        raise ValueError(f"Noll's index starts at 1, not {index}")
    n = 0
    first = 1
    while index >= first + n + 1:
        first += n + 1
        n += 1
    place = index - first
    m = 2 * ((place + 1) // 2) if n % 2 == 0 else 2 * (place // 2) + 1
    return n, (m if index % 2 == 0 else -m)


def nm_to_osa(n: int, m: int) -> int:
    """Return the OSA/ANSI single index of (n, m)."""
    return (n * (n + 2) + m) // 2


def zernike(index: int, x: Array, y: Array) -> Array:
    """Evaluate one polynomial at pupil coordinates in units of the pupil's radius.

    Written as (x + iy)**abs(m) times a polynomial in rho**2, so the centre needs no special case.
    """
    n, m = noll_to_nm(index)
    order = abs(m)
    square = x * x + y * y
    radial = np.zeros_like(square)
    # R(rho) / rho**order, highest power first (Horner in rho**2).
    for k in range((n - order) // 2 + 1):
        factor = (-1) ** k * comb(n - k, k) * comb(n - 2 * k, (n - order) // 2 - k)
        radial = radial * square + factor
    if order == 0:
        return np.sqrt(n + 1.0) * radial
    power = (x + 1j * y) ** order
    return np.sqrt(2.0 * (n + 1.0)) * radial * (power.real if m > 0 else power.imag)


def wavefront(coefficients: Mapping[int, float], x: Array, y: Array) -> Array:
    """Sum of Noll terms at (x, y), in the unit of the coefficients."""
    total = np.zeros(np.broadcast(x, y).shape)
    for index, value in coefficients.items():
        if value != 0.0:
            total = total + value * zernike(index, x, y)
    return total

"""An independent simulator of defocused star-image pairs.

It exists to judge the wavefront fit, so it shares no code with it: plain NumPy and SciPy in double
precision, its own Zernike polynomials, its own pupil, its own path from pupil to pixels (a Fourier
series summed at the pixel centres, exact for any focal ratio and pixel).

    >>> import numpy as np
    >>> from pairs import PairSetup, draw_pair
    >>> pair = draw_pair(PairSetup(coefficients_nm={11: 20.0}), np.random.default_rng(1))
    >>> pair.inside, pair.outside      # images in ADU, row 0 at the bottom
    >>> pair.declared                  # what a user would tell the fit
    >>> pair.truth.map_nm, pair.truth.strehl

Signs and axes
--------------
x to the right, y up (row index grows with y), pupil axes parallel to the sensor's. W is positive
where the wave is ahead of the reference sphere. A ray from pupil point (u, v) (units of the radius)
lands at -2 N dW/d(u, v), with the defocus term W = dz (u^2 + v^2) / (8 N^2), dz the sensor's
position from best focus, positive away from the objective. So inside focus the image shows the
pupil upright, outside focus turned by 180 degrees, and positive Noll 11 (undercorrection) makes a
bright rim inside focus.

Seeing is given as the FWHM of the Kolmogorov long-exposure image at the mean wavelength; Fried's
length grows as wavelength^(6/5) within the band.

Parts
-----
setup        what is simulated, declared, true
zernike      Noll's polynomials
pupil        aperture with soft edges
seeing       structure functions and long-exposure transfer functions
diffraction  from pupil to pixels
turbulence   finite exposures through moving layers
draw         noise, camera, truth: `draw_pair`
populations  the easy and hard sets and the traps: for tuning
tuning       faults that the claims are tuned on, drawn in a second
judging      faults that judge them: other telescopes, seeds and kinds, never looked at while tuning
"""

from .draw import draw_pair, expose, flatten, strehl_ratio, true_wavefront, weighted_rms
from .pupil import PupilShape, Vane
from .setup import (
    Camera,
    Companion,
    Declared,
    Edge,
    Pair,
    PairSetup,
    Pinch,
    Plume,
    PrintThrough,
    Truth,
    Turbulence,
    Zone,
)

__all__ = [
    "Camera",
    "Companion",
    "Declared",
    "Edge",
    "Pair",
    "PairSetup",
    "Pinch",
    "Plume",
    "PrintThrough",
    "PupilShape",
    "Truth",
    "Turbulence",
    "Vane",
    "Zone",
    "draw_pair",
    "expose",
    "flatten",
    "strehl_ratio",
    "true_wavefront",
    "weighted_rms",
]

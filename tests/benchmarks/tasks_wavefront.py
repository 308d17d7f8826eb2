"""The wavefront fit beside SciPy and hand-tuned NumPy: same images, variances, start and final cost."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import scipy
from _bench import Row
from peers import wavefront_scipy as peer

from starassay import _gateway


def ours(problem: peer.Problem, threads: int) -> dict[str, Any]:
    """The engine's bare fit from the peer's start: 33 modes and 2 defocus distances instead of 34 modes."""
    setup = problem.setup
    theta = peer.start(problem)
    middle = (peer.SIZE - 1) / 2 - peer.SIZE // 2
    request = {
        "window": peer.SIZE,
        "aperture_mm": setup.aperture_mm,
        "focal_length_mm": setup.focal_length_mm,
        "pitch_um": setup.pixel_um,
        "pupil": {"obstruction": setup.shape.obstruction},
        "wavelengths_nm": list(setup.wavelengths_nm),
        "weights": list(setup.weights),
        "distances_um": [setup.inside_um, setup.outside_um],
        "places_px": [float(v) + middle for v in theta[34:38]],
        "flux": [1e6 * float(v) for v in theta[38:40]],
        "background": [float(v) for v in theta[40:42]],
        "seeing_arcsec": float(theta[42]),
        "gaussian": problem.kernel == "gaussian",
        "last_noll": 37,
    }
    arrays = {
        "electrons": problem.images.astype(np.float32),
        "variance": problem.variance.astype(np.float32),
    }
    return _gateway.call("wavefront.refine", request, arrays=arrays, threads=threads)


def agree(ours_found: dict[str, Any], theirs_found: peer.PeerFit) -> str:
    """Final costs, and the largest difference of a coefficient in units of its own uncertainty."""
    sigma = np.sqrt(np.diag(ours_found["covariance_nm2"]))
    theirs_nm = theirs_found.modes_nm[1:]
    worst = np.max(np.abs(ours_found["coefficient_nm"] - theirs_nm) / sigma)
    return (
        f"cost {0.5 * ours_found['cost']:.1f} and {theirs_found.cost:.1f}; "
        f"coefficients within {worst:.2f} sigma"
    )


def rows(quick: bool) -> Iterator[Row]:
    """Both models, one and two threads, both peers; the quick run takes one model."""
    for kernel in ("gaussian",) if quick else ("gaussian", "kolmogorov"):
        problem = peer.make_problem(kernel)
        waves = len(problem.setup.wavelengths_nm)
        task = (
            f"wavefront fit, 2 x 128 x 128, 34 modes, covariance; {kernel}, {waves} wavelength(s)"
        )
        for threads, bar in ((2, 70.0), (1, 30.0)):
            yield Row(
                task=f"{task}; {threads} thread(s)",
                peer=f"scipy {scipy.__version__} least_squares, analytic Jacobian, double",
                theirs=lambda p=problem: peer.fit_least_squares(p),
                ours=lambda p=problem, t=threads: ours(p, t),
                agree=agree,
                bar=bar,
                peer_repeats=2,
            )
        yield Row(
            task=f"{task}; 2 threads",
            peer=f"numpy {np.__version__} float32, adjoint, quasi-Newton, tuned by hand",
            theirs=lambda p=problem: peer.fit_float32(p),
            ours=lambda p=problem: ours(p, 2),
            agree=agree,
            bar=15.0,
            peer_repeats=3,
        )

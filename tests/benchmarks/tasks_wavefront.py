"""The wavefront fit beside SciPy and hand-tuned NumPy: same images, variances, start and final cost; and the whole measurement."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import scipy
from _bench import Row
from astropy import units as u
from peers import wavefront_scipy as peer

import starassay
from starassay import _gateway

#: Ratios to reach, by kernel: two threads and one against SciPy, two against NumPy by hand; each by the width of the vectors.
BARS: dict[str, tuple[dict[int, float], dict[int, float], dict[int, float]]] = {
    "gaussian": ({512: 70.0, 256: 55.0}, {512: 50.0, 256: 35.0}, {512: 18.0, 256: 15.0}),
    "kolmogorov": ({512: 100.0, 256: 75.0}, {512: 65.0, 256: 45.0}, {512: 36.0, 256: 25.0}),
}


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
        both, one, by_hand = BARS[kernel]
        for threads, bars in ((2, both), (1, one)):
            yield Row(
                task=f"{task}; {threads} thread(s)",
                peer=f"scipy {scipy.__version__} least_squares, analytic Jacobian, double",
                theirs=lambda p=problem: peer.fit_least_squares(p),
                ours=lambda p=problem, t=threads: ours(p, t),
                agree=agree,
                bars=bars,
                peer_repeats=2,
            )
        yield Row(
            task=f"{task}; 2 threads",
            peer=f"numpy {np.__version__} float32, adjoint, quasi-Newton, tuned by hand",
            theirs=lambda p=problem: peer.fit_float32(p),
            ours=lambda p=problem: ours(p, 2),
            agree=agree,
            bars=by_hand,
            peer_repeats=3,
        )
    yield from whole_measurement()


def whole_measurement(side: int = 1024) -> Iterator[Row]:
    """What a user waits for: two frames, in which the star is found, the fit chosen, judged and given its bars.

    The peer makes one fit of the two cutouts from a good start, and nothing else; its frames are those of the table's first rows
    with sky and noise all round.

    Parameters
    ----------
    side : int
        Side of the frames in pixels.
    """
    problem = peer.make_problem("gaussian")
    setup, camera = problem.setup, problem.setup.camera
    rng = np.random.default_rng(2)
    frames = []
    for cutout in problem.images:
        pixels = rng.poisson(setup.background_e, (side, side)) + rng.normal(
            0, camera.read_noise_e, (side, side)
        )
        first = (side - peer.SIZE) // 2
        pixels[first : first + peer.SIZE, first : first + peer.SIZE] = cutout
        frames.append(
            starassay.read_frame(
                pixels.astype(np.float32),
                name="bench",
                gain=1 * u.electron / u.adu,
                read_noise=camera.read_noise_e * u.electron,
                pitch=setup.pixel_um * u.um,
            )
        )
    telescope = starassay.Telescope(
        setup.aperture_mm * u.mm, setup.focal_length_mm * u.mm, obstruction=setup.shape.obstruction
    )

    def measured(threads: int) -> Any:
        return starassay.fit_wavefront(*frames, telescope, wavelength=540 * u.nm, threads=threads)

    def agree_whole(fit: Any, theirs: peer.PeerFit) -> str:
        # The modes that both have; theirs begin with defocus, which ours gives as two distances.
        shared = {int(n): k for k, n in enumerate(fit.noll) if int(n) in peer.MODES[1:]}
        mine = fit.coefficient.to_value(u.nm)
        far = [mine[k] - theirs.modes_nm[n - peer.MODES[0]] for n, k in shared.items()]
        return (
            f"{len(shared)} modes in both, {np.std(far):.2f} nm apart (RMS); decided: {fit.decided}"
        )

    for threads in (2, 1):
        yield Row(
            f"whole wavefront measurement, 2 x {side} x {side}; {threads} thread(s)",
            f"scipy {scipy.__version__} least_squares on the cutouts, one fit and nothing else",
            lambda: peer.fit_least_squares(problem),
            lambda threads=threads: measured(threads),
            agree_whole,
            peer_repeats=2,
        )

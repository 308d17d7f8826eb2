"""The wavefront fit with NumPy and SciPy: the peer of the engine's fit.

The task: two defocused star images of 128 x 128 pixels, a pupil of 256 x 256 samples on a grid of
512, 43 unknowns: Noll 4 to 37 (34), shift of each image (4), flux (2), background (2), seeing (1).
Fixed weights, sum of squares of weighted residuals, covariance from the last Jacobian.

Two models:

``gaussian``
    One wavelength. Blur, sub-pixel shift and pixel integration are one banded matrix on each side
    of the intensity.
``kolmogorov``
    Several wavelengths. The kernel does not separate: the intensity's spectrum is multiplied by the
    transfer functions and summed as a Fourier series at the pixel centres.

Two solvers:

``fit_least_squares``
    `scipy.optimize.least_squares` (MINPACK's Levenberg-Marquardt) with an analytic Jacobian in
    double precision. The transforms are pruned: 256 samples go in and 256 come out of the grid of
    512, and run on all cores.
``fit_float32``
    The best that we could tune by hand: single precision, adjoint gradient (two transforms for each
    image instead of one for each mode), a quasi-Newton solver of our own that starts from J^T J, and
    one exact Jacobian at the end for the covariance.

Both use the same model code; `python wavefront_scipy.py` checks the derivatives and prints times.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import fft, linalg, optimize, sparse, special

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "accuracy"))

from pairs import Camera, PairSetup, PupilShape  # noqa: E402
from pairs import diffraction, pupil, seeing, zernike  # noqa: E402

PUPIL = 256
GRID = 512
SIZE = 128
MODES = tuple(range(4, 38))
UNKNOWNS = len(MODES) + 9

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Problem:
    """Data and what is known about them.

    Attributes
    ----------
    images : array (2, 128, 128)
        Electrons, background included; inside focus first.
    variance : array (2, 128, 128)
        Fixed variances of the pixels.
    transmission : array (256, 256)
        Open share of each pupil cell.
    kernel : str
        ``gaussian`` or ``kolmogorov``.
    setup : PairSetup
        Geometry: aperture, focal length, wavelengths, pixel, sensor positions.
    """

    images: Array
    variance: Array
    transmission: Array
    kernel: str
    setup: PairSetup


@dataclass
class PeerFit:
    """What a peer found."""

    unknowns: Array
    cost: float
    covariance: Array
    evaluations: int
    jacobians: int

    @property
    def modes_nm(self) -> Array:
        """Noll 4 to 37 in nm."""
        return self.unknowns[: len(MODES)]


def make_problem(kernel: str = "gaussian", seed: int = 1, flux_e: float = 1e7) -> Problem:
    """Draw the images that both sides get: 0.07 waves RMS, 8 waves of defocus, 33 % obstructed."""
    rng = np.random.default_rng(seed)
    raw = {j: rng.normal() / (zernike.noll_to_nm(j)[0] + 1.0) ** 1.5 for j in MODES[1:]}
    size = np.sqrt(sum(v * v for v in raw.values()))
    waves = (540.0,) if kernel == "gaussian" else (525.0, 540.0, 555.0)
    defocus_um = 8.0 * 0.54 * 8.0 * 49.0
    setup = PairSetup(
        aperture_mm=120.0,
        focal_length_mm=840.0,
        shape=PupilShape(obstruction=0.33),
        coefficients_nm={j: 0.07 * 540.0 * v / size for j, v in raw.items()},
        wavelengths_nm=waves,
        weights=(1.0,) * len(waves),
        pixel_um=3.76,
        size_px=SIZE,
        inside_um=-defocus_um,
        outside_um=defocus_um,
        inside_centre_px=(0.4, -0.7),
        outside_centre_px=(-0.9, 0.3),
        flux_e=flux_e,
        background_e=20.0,
        seeing_arcsec=2.0,
        camera=Camera(read_noise_e=3.0),
    )
    means = []
    for sensor_um, centre in (
        (setup.inside_um, setup.inside_centre_px),
        (setup.outside_um, setup.outside_centre_px),
    ):
        if kernel == "gaussian":
            sigma = setup.seeing_arcsec / 2.354820
            blurred = PairSetup(
                **{**setup.__dict__, "seeing_arcsec": 0.0, "jitter_arcsec": (sigma, sigma)}
            )
            means.append(diffraction.expected_image(blurred, sensor_um, centre))
        else:
            means.append(diffraction.expected_image(setup, sensor_um, centre))
    mean = np.stack(means)
    images = rng.poisson(mean) + rng.normal(0.0, setup.camera.read_noise_e, mean.shape)
    return Problem(
        images=images,
        variance=mean + setup.camera.read_noise_e**2,
        transmission=pupil.transmission(setup.shape, PUPIL),
        kernel=kernel,
        setup=setup,
    )


def start(problem: Problem) -> Array:
    """Start without help: perfect optics, moments of the images, nominal seeing."""
    theta = np.zeros(UNKNOWNS)
    rows = np.arange(SIZE) - (SIZE - 1) / 2
    for k, image in enumerate(problem.images):
        background = np.median(np.concatenate([image[:6].ravel(), image[-6:].ravel()]))
        light = image - background
        total = light.sum()
        theta[34 + 2 * k] = (light.sum(axis=0) * rows).sum() / total
        theta[35 + 2 * k] = (light.sum(axis=1) * rows).sum() / total
        theta[38 + k] = total / 1e6
        theta[40 + k] = background
    theta[42] = 1.7
    return theta


class _Chirp:
    """Fourier series at evenly spaced points as three transforms (Bluestein's way).

    y[j] = sum over q of x[q] exp(2 pi i (place + j) q / period) along one axis. Quicker than a dense
    matrix product unless NumPy has a tuned BLAS, and level with it then.
    """

    def __init__(
        self, q: Array, count: int, place: float, period: float, weight: Array, kind: type
    ) -> None:
        angle = 2.0 * np.pi / period
        first = int(q[0])
        self.before, self.after = q.size, count
        self.length = fft.next_fast_len(q.size + count - 1)
        j = np.arange(count)
        lags = np.arange(-first - q.size + 1, count - first)
        wave = np.zeros(self.length, dtype=complex)
        wave[(lags + first) % self.length] = np.exp(-0.5j * angle * lags**2)
        self.middle = fft.fft(wave).astype(kind)
        self.pre = (weight * np.exp(1j * angle * (place * q + 0.5 * q * q))).astype(kind)
        self.post = np.exp(0.5j * angle * j * j).astype(kind)

    def apply(self, x: NDArray, axis: int) -> NDArray:
        """Sum the series along an axis (-1 or -2)."""
        return self._run(x, self.pre, self.middle, self.post, self.after, axis)

    def adjoint(self, y: NDArray, axis: int) -> NDArray:
        """Conjugate transpose of `apply`."""
        return self._run(
            y, self.post.conj(), self.middle.conj(), self.pre.conj(), self.before, axis
        )

    def _run(
        self, x: NDArray, pre: NDArray, middle: NDArray, post: NDArray, keep: int, axis: int
    ) -> NDArray:
        if axis == -2:
            pre, middle, post = pre[:, None], middle[:, None], post[:, None]
        spectrum = fft.fft(x * pre, self.length, axis=axis, workers=2)
        spectrum *= middle
        result = fft.ifft(spectrum, axis=axis, workers=2, overwrite_x=True)
        return (result[..., :keep] if axis == -1 else result[..., :keep, :]) * post


class Model:
    """Images and their derivatives, in double or single precision.

    Unknowns: 34 modes (nm), x and y shift of each image (pixels), flux of each (1e6 electrons),
    background of each (electrons), seeing FWHM (arcsec).
    """

    def __init__(self, problem: Problem, dtype: type, pupil_samples: int = PUPIL) -> None:
        setup = problem.setup
        self.problem, self.dtype = problem, dtype
        self.complex = np.complex128 if dtype is np.float64 else np.complex64
        self.n = pupil_samples
        self.grid = 2 * pupil_samples
        x, y = pupil.grid(self.n)
        # Beyond the disc the polynomials only cost time.
        open_share = (
            problem.transmission if self.n == PUPIL else pupil.transmission(setup.shape, self.n)
        )
        self.basis = np.stack([zernike.zernike(j, x, y) for j in MODES]).astype(dtype)
        self.flat = np.ascontiguousarray(self.basis.reshape(len(MODES), -1))
        self.root_weight = np.sqrt(1.0 / problem.variance).astype(dtype)
        self.data = (problem.images * np.sqrt(1.0 / problem.variance)).astype(dtype)
        # i**(j + k) moves the middle of the image to the middle of the pruned output.
        turn = np.exp(0.5j * np.pi * np.arange(self.n))
        amplitude = open_share * np.outer(turn, turn)
        amplitude /= self.grid * np.sqrt(open_share.sum())
        self.sensors = (setup.inside_um, setup.outside_um)
        self.waves = setup.wavelengths_nm
        self.shares = np.asarray(setup.weights) / np.sum(setup.weights)
        self.fields = [
            [
                (
                    amplitude
                    * np.exp(
                        -2j * np.pi / wave * diffraction.defocus_nm(setup, sensor) * (x * x + y * y)
                    )
                ).astype(self.complex)
                for wave in self.waves
            ]
            for sensor in self.sensors
        ]
        self.workers = 2

    # ------------------------------------------------------------ pruned transforms

    def forward(self, fields: NDArray[np.complexfloating]) -> NDArray[np.complexfloating]:
        """(..., n, n) pupil samples to the (..., n, n) middle of the grid."""
        n, m, w = self.n, self.grid, self.workers
        half = fft.fft(fields, m, axis=-1, workers=w)[..., :n]
        return fft.fft(half, m, axis=-2, workers=w)[..., :n, :]

    def backward(self, images: NDArray[np.complexfloating]) -> NDArray[np.complexfloating]:
        """Adjoint of `forward`."""
        n, m, w = self.n, self.grid, self.workers
        half = fft.ifft(images, m, axis=-1, norm="forward", workers=w)[..., :n]
        return fft.ifft(half, m, axis=-2, norm="forward", workers=w)[..., :n, :]

    # ------------------------------------------------------------ kernels

    def _banded(self, shift: float, fwhm: float, wave: float) -> tuple[sparse.csr_matrix, ...]:
        """Matrix from fine samples to pixels; its derivatives by shift (px) and by seeing."""
        setup = self.problem.setup
        step = wave * 1e-3 * setup.focal_ratio / 2.0 / setup.pixel_um
        scale = seeing.ARCSEC * setup.focal_length_mm * 1e3 / setup.pixel_um / 2.354820
        sigma = fwhm * scale
        edges = np.arange(SIZE + 1) - SIZE / 2
        z = (edges[:, None] - shift - (np.arange(self.n) - self.n // 2)[None, :] * step) / sigma
        bell = np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
        value = np.diff(special.ndtr(z), axis=0)
        by_shift = -np.diff(bell, axis=0) / sigma
        by_seeing = -np.diff(bell * z, axis=0) * scale / sigma
        # Beyond eight sigma of the blur there is nothing: rows of a dozen entries, not of 256.
        return tuple(
            sparse.csr_matrix(np.where(np.abs(a) > 1e-12, a, 0.0).astype(self.dtype))
            for a in (value, by_shift, by_seeing)
        )

    def _series(self, shift: tuple[float, float], fwhm: float, wave: float) -> tuple:
        """Fourier series at the pixel centres: y and x series, transfer, d(transfer)."""
        setup = self.problem.setup
        n = self.n
        period = n / 2 * wave * 1e-3 * setup.focal_ratio / setup.pixel_um
        qy, qx = np.arange(-(n // 2), n // 2), np.arange(n // 2 + 1)
        # The star sits in the middle of the pruned grid, half a period from its first sample.
        place = -(SIZE - 1) / 2 + period / 2
        double = np.where((qx == 0) | (2 * qx == n), 1.0, 2.0) / period**2
        up = _Chirp(qy, SIZE, place - shift[1], period, np.ones(n), self.complex)
        along = _Chirp(qx, SIZE, place - shift[0], period, double, self.complex)
        # One step of this grid's frequency is two pupil samples of lag.
        lag = np.hypot(qx[None, :], qy[:, None]) * 2.0 / n * setup.aperture_mm * 1e-3
        r0 = seeing.fried_length_m(fwhm, setup.wavelength_nm)
        r0 = seeing.fried_length_at(r0, setup.wavelength_nm, wave)
        exponent = -0.5 * seeing.KOLMOGOROV_CONSTANT * (lag / r0) ** (5.0 / 3.0)
        transfer = np.exp(exponent) * np.sinc(qx / period)[None, :] * np.sinc(qy / period)[:, None]
        by_seeing = transfer * exponent * (5.0 / 3.0) / fwhm
        return up, along, transfer.astype(self.dtype), by_seeing.astype(self.dtype)

    def _spectrum(self, intensity: NDArray) -> NDArray:
        return fft.fftshift(fft.rfft2(intensity, workers=self.workers), axes=-2)

    # ------------------------------------------------------------ model

    def _light(
        self, theta: Array, k: int
    ) -> list[tuple[NDArray[np.complexfloating], NDArray[np.complexfloating], NDArray]]:
        """Pupil field, image field and intensity at each wavelength of image k."""
        path = (self.flat.T @ theta[:34].astype(self.dtype)).reshape(self.n, self.n)
        result = []
        for wave, fixed in zip(self.waves, self.fields[k]):
            phase = path * self.dtype(-2.0 * np.pi / wave)
            pupil_field = np.empty(phase.shape, dtype=self.complex)
            np.cos(phase, out=pupil_field.real)
            np.sin(phase, out=pupil_field.imag)
            pupil_field *= fixed
            image_field = self.forward(pupil_field)
            intensity = image_field.real**2 + image_field.imag**2
            result.append((pupil_field, image_field, intensity))
        return result

    def _pixels(self, intensity: NDArray, kernel: tuple) -> NDArray:
        if self.problem.kernel == "gaussian":
            left, right = kernel[0][0], kernel[1][0]
            if intensity.ndim == 2:
                return (right @ (left @ intensity).T).T
            return np.stack([(right @ (left @ one).T).T for one in intensity])
        up, along, transfer, _ = kernel
        spectrum = self._spectrum(intensity) * transfer
        return along.apply(up.apply(spectrum, -2), -1).real

    def _kernel(self, theta: Array, k: int, wave: float) -> tuple:
        if self.problem.kernel == "gaussian":
            return (
                self._banded(theta[35 + 2 * k], theta[42], wave),
                self._banded(theta[34 + 2 * k], theta[42], wave),
            )
        return self._series((theta[34 + 2 * k], theta[35 + 2 * k]), theta[42], wave)

    def _geometry(
        self, kernel: tuple, intensity: NDArray, wave: float
    ) -> tuple[NDArray, NDArray, NDArray, NDArray]:
        """Pixels and their derivatives by x shift, y shift and seeing, for unit flux."""
        if self.problem.kernel == "gaussian":
            (ly, ly_shift, ly_seeing), (lx, lx_shift, lx_seeing) = kernel
            rows = (ly @ intensity).T
            return (
                (lx @ rows).T,
                (lx_shift @ rows).T,
                (lx @ (ly_shift @ intensity).T).T,
                (lx_seeing @ rows).T + (lx @ (ly_seeing @ intensity).T).T,
            )
        up, along, transfer, by_seeing = kernel
        n = self.n
        period = n / 2 * wave * 1e-3 * self.problem.setup.focal_ratio / self.problem.setup.pixel_um
        plain = self._spectrum(intensity)
        spectrum = plain * transfer
        factor = self.complex(-2j * np.pi / period)
        by_x = factor * np.arange(n // 2 + 1, dtype=self.dtype)[None, :]
        by_y = factor * np.arange(-(n // 2), n // 2, dtype=self.dtype)[:, None]
        half = up.apply(spectrum, -2)
        return (
            along.apply(half, -1).real,
            along.apply(half * by_x, -1).real,
            along.apply(up.apply(spectrum * by_y, -2), -1).real,
            along.apply(up.apply(plain * by_seeing, -2), -1).real,
        )

    def residuals(self, theta: Array) -> Array:
        """Weighted residuals, model minus data."""
        result = np.empty((2, SIZE, SIZE), dtype=self.dtype)
        for k in range(2):
            total: NDArray = np.zeros((SIZE, SIZE), dtype=self.dtype)
            for (_, _, intensity), wave, share in zip(
                self._light(theta, k), self.waves, self.shares
            ):
                total += self.dtype(share) * self._pixels(intensity, self._kernel(theta, k, wave))
            model = total * self.dtype(theta[38 + k] * 1e6) + self.dtype(theta[40 + k])
            result[k] = model * self.root_weight[k] - self.data[k]
        return result.ravel()

    def jacobian(self, theta: Array, block: int = 1) -> Array:
        """Derivatives of the residuals: (32768, 43)."""
        result = np.zeros((UNKNOWNS, 2, SIZE, SIZE), dtype=self.dtype)
        for k in range(2):
            flux = theta[38 + k] * 1e6
            for (pupil_field, image_field, intensity), wave, share in zip(
                self._light(theta, k), self.waves, self.shares
            ):
                kernel = self._kernel(theta, k, wave)
                conjugate = image_field.conj() * self.complex(4.0 * np.pi / wave * flux * share)
                for first in range(0, len(MODES), block):
                    part = self.forward(pupil_field * self.basis[first : first + block])
                    change = part.real * conjugate.imag + part.imag * conjugate.real
                    result[first : first + len(part), k] += self._pixels(change, kernel)
                pixels, by_x, by_y, by_seeing = self._geometry(kernel, intensity, wave)
                scale = self.dtype(flux * share)
                result[34 + 2 * k, k] += scale * by_x
                result[35 + 2 * k, k] += scale * by_y
                result[42, k] += scale * by_seeing
                result[38 + k, k] += self.dtype(1e6 * share) * pixels
            result[40 + k, k] = 1.0
        result *= self.root_weight
        return result.reshape(UNKNOWNS, -1).T

    def cost_and_gradient(self, theta: Array) -> tuple[float, Array]:
        """Half the sum of squares and its gradient by the adjoint of the model."""
        cost = 0.0
        gradient = np.zeros(UNKNOWNS)
        by_path: NDArray = np.zeros((self.n, self.n), dtype=self.dtype)
        for k in range(2):
            flux = theta[38 + k] * 1e6
            light = self._light(theta, k)
            total: NDArray = np.zeros((SIZE, SIZE), dtype=self.dtype)
            parts = []
            for (_, _, intensity), wave, share in zip(light, self.waves, self.shares):
                kernel = self._kernel(theta, k, wave)
                parts.append((kernel, self._geometry(kernel, intensity, wave)))
                total += self.dtype(share) * parts[-1][1][0]
            model = total * self.dtype(flux) + self.dtype(theta[40 + k])
            residual = model * self.root_weight[k] - self.data[k]
            cost += 0.5 * float(np.einsum("ij,ij->", residual, residual, dtype=np.float64))
            pull = residual * self.root_weight[k]
            gradient[38 + k] = 1e6 * float(np.vdot(pull, total))
            gradient[40 + k] = float(pull.sum(dtype=np.float64))
            for (pupil_field, image_field, _), (kernel, geometry), wave, share in zip(
                light, parts, self.waves, self.shares
            ):
                scale = flux * share
                for place, derivative in zip((34 + 2 * k, 35 + 2 * k, 42), geometry[1:]):
                    gradient[place] += scale * float(np.vdot(pull, derivative))
                fine = self._spread(pull, kernel)
                back = self.backward(image_field * fine)
                by_path += self.dtype(4.0 * np.pi / wave * scale) * (
                    pupil_field.imag * back.real - pupil_field.real * back.imag
                )
        gradient[:34] = self.flat @ by_path.ravel()
        return cost, gradient

    def _spread(self, pull: NDArray, kernel: tuple) -> NDArray:
        """Adjoint of `_pixels`."""
        if self.problem.kernel == "gaussian":
            return (kernel[1][0].T @ (kernel[0][0].T @ pull).T).T
        up, along, transfer, _ = kernel
        n = self.n
        spectrum = up.adjoint(along.adjoint(pull, -1), -2) * transfer
        # The x series doubles every column that stands for its mirror too; the inverse real
        # transform does that doubling itself, so halve it here.
        spectrum[:, 1 : n // 2] *= self.dtype(0.5)
        spectrum = fft.ifftshift(spectrum, axes=-2)
        return fft.irfft2(spectrum, (n, n), norm="forward", workers=self.workers)


# ---------------------------------------------------------------- solvers


def fit_least_squares(problem: Problem, theta: Array | None = None) -> PeerFit:
    """`scipy.optimize.least_squares` with the analytic Jacobian, double precision."""
    model = Model(problem, np.float64)
    first = start(problem) if theta is None else theta
    found = optimize.least_squares(
        model.residuals,
        first,
        jac=model.jacobian,
        method="lm",
        x_scale="jac",
        ftol=1e-8,
        xtol=1e-8,
        gtol=1e-8,
    )
    covariance = linalg.inv(found.jac.T @ found.jac)
    return PeerFit(found.x, float(found.cost), covariance, found.nfev, found.njev)


@dataclass
class _QuasiNewton:
    """BFGS on the inverse Hessian, started from J^T J."""

    inverse: Array
    used: int = field(default=0)

    def update(self, step: Array, change: Array) -> None:
        curvature = float(step @ change)
        if curvature <= 1e-12 * float(np.linalg.norm(step) * np.linalg.norm(change)):
            return
        v = self.inverse @ change
        self.inverse += (
            (1.0 + float(change @ v) / curvature) * np.outer(step, step)
            - np.outer(v, step)
            - np.outer(step, v)
        ) / curvature
        self.used += 1


def fit_float32(problem: Problem, theta: Array | None = None) -> PeerFit:
    """Single precision, adjoint gradient, quasi-Newton from the J^T J of a half-size pupil."""
    coarse, model = Model(problem, np.float32, PUPIL // 2), Model(problem, np.float32)
    if problem.setup.pixel_um * SIZE > 1.02 * PUPIL / 4 * 0.54 * problem.setup.focal_ratio:
        coarse = model  # half the pupil samples span too narrow a field for these images
    x = (start(problem) if theta is None else theta).copy()
    jacobians = 1
    jacobian = coarse.jacobian(x)
    hessian = (jacobian.T @ jacobian).astype(np.float64)
    damping = 1e-3 * np.diag(np.diag(hessian))
    solver = _QuasiNewton(linalg.inv(hessian + damping))
    cost, gradient = model.cost_and_gradient(x)
    evaluations = 1
    quiet = 0
    for _ in range(80):
        step = -solver.inverse @ gradient
        slope = float(gradient @ step)
        length = 1.0
        while True:
            trial = x + length * step
            trial_cost, trial_gradient = model.cost_and_gradient(trial)
            evaluations += 1
            if trial_cost <= cost + 1e-4 * length * slope or length < 1e-3:
                break
            length *= max(
                0.1, min(0.5, -0.5 * slope * length / (trial_cost - cost - slope * length))
            )
        if length < 1e-3:
            break
        solver.update(trial - x, trial_gradient - gradient)
        saved = cost - trial_cost
        x, cost, gradient = trial, trial_cost, trial_gradient
        # A hundredth of a unit of chi^2: the unknowns are then within a tenth of their errors.
        quiet = quiet + 1 if saved < 0.01 else 0
        if quiet >= 2:
            break
    jacobian = model.jacobian(x)
    jacobians += 1
    covariance = linalg.inv((jacobian.T @ jacobian).astype(np.float64))
    return PeerFit(x, cost, covariance, evaluations, jacobians)


def _check_derivatives(problem: Problem) -> float:
    """Largest relative difference of the analytic derivatives from central differences."""
    model = Model(problem, np.float64)
    theta = start(problem)
    theta[:34] = np.random.default_rng(3).normal(0.0, 8.0, 34)
    jacobian = model.jacobian(theta)
    worst = 0.0
    for j in range(UNKNOWNS):
        h = 1e-3 * max(abs(theta[j]), 1.0)
        up, down = theta.copy(), theta.copy()
        up[j] += h
        down[j] -= h
        numeric = (model.residuals(up) - model.residuals(down)) / (2 * h)
        scale = np.abs(numeric).max()
        worst = max(worst, float(np.abs(numeric - jacobian[:, j]).max() / scale))
    cost, gradient = model.cost_and_gradient(theta)
    residual = model.residuals(theta)
    exact = jacobian.T @ residual
    adjoint = float(np.max(np.abs(exact - gradient) / (np.abs(exact) + 1e-9 * np.abs(exact).max())))
    if not np.isclose(cost, 0.5 * residual @ residual, rtol=1e-10):
        raise AssertionError("cost and residuals disagree")
    return max(worst, adjoint)


def main() -> None:
    """Check derivatives, fit with both solvers, print times."""
    for kernel in ("gaussian", "kolmogorov"):
        problem = make_problem(kernel)
        print(kernel, "derivatives agree to", f"{_check_derivatives(problem):.1e}")
        truth = np.array([problem.setup.coefficients_nm.get(j, 0.0) for j in MODES])
        for name, fit in (("least_squares", fit_least_squares), ("float32", fit_float32)):
            times = []
            for _ in range(3):
                begun = time.perf_counter()
                found = fit(problem)
                times.append(time.perf_counter() - begun)
            error = np.sqrt(np.sum((found.modes_nm - truth)[1:] ** 2))
            expected = np.sqrt(np.trace(found.covariance[1:34, 1:34]))
            print(
                f"  {name}: {min(times) * 1e3:.0f} ms, cost {found.cost:.2f} "
                f"(chi2/N {2 * found.cost / (2 * SIZE * SIZE - UNKNOWNS):.4f}), "
                f"{found.evaluations} evaluations, {found.jacobians} Jacobians, "
                f"error {error:.3f} nm, predicted {expected:.3f} nm"
            )


if __name__ == "__main__":
    main()

"""The linear wavefront method against pairs drawn by the independent simulator in tests/accuracy."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from starassay import _gateway

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "accuracy"))

from pairs import Camera, PairSetup, PupilShape, draw_pair  # noqa: E402


def estimate(
    setup: PairSetup, seed: int, *, blur_factor: float = 1.0, last_noll: int = 22
) -> tuple[dict, np.ndarray]:
    """The estimate from one drawn pair, and the true coefficients from Noll 5 on in nm."""
    pair = draw_pair(setup, np.random.default_rng(seed))
    arrays = {}
    gain = float(pair.declared.gain_e_per_adu)
    for name, image in (("inside", pair.inside), ("outside", pair.outside)):
        rim = np.concatenate([image[:3].ravel(), image[-3:].ravel()])
        electrons = (image - np.median(rim)) * gain
        arrays[name] = electrons.astype(np.float32)
        arrays[name + "_variance"] = np.maximum(electrons, 25.0).astype(np.float32)
    pixel_arcsec = 206265 * setup.pixel_um / (setup.focal_length_mm * 1000)
    result = _gateway.call(
        "wavefront.second-opinion",
        {
            "inside_um": setup.inside_um,
            "outside_um": setup.outside_um,
            "pupil": {"obstruction": setup.shape.obstruction},
            "focal_ratio": setup.focal_ratio,
            "pitch_um": setup.pixel_um,
            "wavelength_nm": setup.wavelengths_nm[0],
            "last_noll": last_noll,
            "blur_fwhm_pixels": blur_factor * setup.seeing_arcsec / pixel_arcsec,
        },
        arrays=arrays,
    )
    truth = np.array([setup.coefficients_nm.get(j, 0.0) for j in range(5, last_noll + 1)])
    return result, truth


def pair_setup(
    coefficients: dict[int, float], waves: float = 8.0, obstruction: float = 0.0
) -> PairSetup:
    """A 120 mm f/7 telescope with that many waves of defocus on either side."""
    base = PairSetup()
    defocus = 8 * base.focal_ratio**2 * 0.54 * waves
    size = 2 * int(1.6 * defocus / base.focal_ratio / base.pixel_um)
    return PairSetup(
        coefficients_nm=coefficients,
        shape=PupilShape(obstruction=obstruction),
        inside_um=-defocus,
        outside_um=defocus,
        size_px=size,
        flux_e=2e7,
        seeing_arcsec=2.0,
    )


# 10 % of the coefficient or 1.5 nm: what the method reached in trials, and far below the 0.3 of the
# response that ray optics alone would lose at the pupil's edge.
@pytest.mark.parametrize(
    ("noll", "nm"),
    [(11, 20.0), (11, -20.0), (8, 30.0), (7, -25.0), (6, 30.0), (5, 20.0), (9, 20.0), (22, 12.0)],
)
def test_one_mode_comes_back_with_its_sign(noll: int, nm: float) -> None:
    result, truth = estimate(pair_setup({noll: nm}), seed=noll)
    found = result["coefficient_nm"][1:]
    assert result["converged"]
    np.testing.assert_allclose(found, truth, atol=max(0.06 * abs(nm), 1.0))


@pytest.mark.parametrize(("waves", "obstruction"), [(6.0, 0.0), (10.0, 0.35), (16.0, 0.0)])
def test_a_mixture_comes_back_within_its_error_bars(waves: float, obstruction: float) -> None:
    rng = np.random.default_rng(int(10 * waves))
    mixture = {j: float(rng.normal(0, 12 if j < 9 else 6)) for j in range(5, 23)}
    result, truth = estimate(pair_setup(mixture, waves, obstruction), seed=3)
    pulls = (result["coefficient_nm"][1:] - truth) / result["uncertainty_nm"][1:]
    # RMS of 18 pulls: 1 +- 0.17 if the bars are right; 1.6 is more than three of those.
    assert np.sqrt(np.mean(pulls**2)) < 1.6
    assert np.hypot.reduce(result["coefficient_nm"][1:] - truth) < 0.08 * np.hypot.reduce(truth)


def test_modes_up_to_the_last_one_do_not_leak_into_lower_ones() -> None:
    rng = np.random.default_rng(36)
    mixture = {j: float(rng.normal(0, 8 if j < 23 else 4)) for j in range(5, 37)}
    setup = pair_setup(mixture, 10.0, 0.35)
    short, truth = estimate(setup, seed=8)
    whole, all_truth = estimate(setup, seed=8, last_noll=36)
    # Stopped short, the missing modes come back as lower ones, about as large as they are.
    missing = np.linalg.norm(all_truth[18:])
    assert np.linalg.norm(short["coefficient_nm"][1:] - truth) > 0.4 * missing
    pulls = (whole["coefficient_nm"][1:] - all_truth) / whole["uncertainty_nm"][1:]
    assert np.sqrt(np.mean(pulls**2)) < 1.6
    assert np.linalg.norm(whole["coefficient_nm"][1:] - all_truth) < 0.05 * np.linalg.norm(truth)


def test_the_wings_of_the_seeing_are_counted() -> None:
    # Seeing a sixth of the disc's radius, hardly any noise: a Gaussian instead of
    # Kolmogorov's image would be 3 % off.
    setup = PairSetup(
        **{
            **pair_setup({5: 25.0, 7: 30.0, 11: 30.0}).__dict__,
            "flux_e": 1e9,
            "camera": Camera(gain_e_per_adu=60.0),
        }
    )
    result, truth = estimate(setup, seed=2, last_noll=28)
    assert np.linalg.norm(result["coefficient_nm"][1:] - truth) < 0.02 * np.linalg.norm(truth)


def test_the_seeing_hardly_matters() -> None:
    right, _ = estimate(pair_setup({11: 20.0, 8: 15.0}), seed=1)
    wrong, _ = estimate(pair_setup({11: 20.0, 8: 15.0}), seed=1, blur_factor=0.7)
    np.testing.assert_allclose(right["coefficient_nm"][1:], wrong["coefficient_nm"][1:], atol=1.0)


def test_uncertainties_follow_the_light() -> None:
    bright, _ = estimate(pair_setup({}), seed=1)
    faint_setup = pair_setup({})
    faint = PairSetup(**{**faint_setup.__dict__, "flux_e": 2e6})
    dim, _ = estimate(faint, seed=1)
    ratio = np.median(dim["uncertainty_nm"] / bright["uncertainty_nm"])
    assert 3.0 < ratio < 5.0  # photons alone: 3.16; the sky beyond the disc adds at the faint end

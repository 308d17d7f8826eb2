"""The simulator from Python: against SciPy, Astropy's models and photutils, and as files that read back."""

from __future__ import annotations

import dataclasses
import warnings
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import SkyCoord
from astropy.io import fits
from astropy.modeling.functional_models import AiryDisk2D
from astropy.table import QTable
from scipy import ndimage, special

import starassay as sa
from starassay import _gateway

CAMERA = sa.SimulatedCamera(shape=(120, 160), hot_pixels=0.0, unevenness=0.0)
PERFECT = sa.SimulatedTelescope("Alder 100", 100 * u.mm, 700 * u.mm)


def expected(
    telescope: sa.SimulatedTelescope, camera: sa.SimulatedCamera, **options: object
) -> tuple[np.ndarray, dict]:
    """Noise-free electrons of a star field."""
    image = np.empty(camera.shape, np.float32)
    request = {
        "telescope": telescope.request(),
        "detector": camera.request(),
        "exposure_s": 1.0,
        **options,
    }
    truth = _gateway.call("simulation.star-field-expected", request, outputs={"image": image})
    return image, truth


def one_wavelength(nm: float) -> list[dict]:
    return [sa.Passband("line", nm * u.nm, nm * u.nm, samples=1).request()]


def test_focused_star_is_astropys_airy_disk() -> None:
    """Astropy's AiryDisk2D, integrated over pixels on an 11 x 11 sub-grid, at f/7 and 550 nm."""
    camera = dataclasses.replace(CAMERA, pitch=1.0 * u.um)
    image, _ = expected(
        PERFECT,
        camera,
        sky=sa.SimulatedSky(seeing=0 * u.arcsec, background=0 * u.electron / u.s).request(),
        passbands=one_wavelength(550),
        x=[80.3],
        y=[60.6],
        electron_rates=[1e6],
        stamp_pix=96,
    )
    lambda_n = 0.55 * 7
    radius = special.jn_zeros(1, 1)[0] / np.pi * lambda_n
    sub = (np.arange(11) - 5) / 11
    y, x = np.mgrid[45:77, 65:97]
    model = AiryDisk2D(amplitude=np.pi / 4 / lambda_n**2 * 1e6, x_0=80.3, y_0=60.6, radius=radius)
    reference = np.mean([model(x + dx, y + dy) for dx in sub for dy in sub], axis=0)
    drawn = image[45:77, 65:97]
    assert np.max(np.abs(drawn - reference)) < 0.003 * reference.max()


def test_long_exposure_profile_follows_scipys_hankel_integral() -> None:
    """Product of Fried's and the telescope's transfer functions, back-transformed with SciPy's J0."""
    camera = dataclasses.replace(CAMERA, pitch=1.0 * u.um)
    image, _ = expected(
        PERFECT,
        camera,
        sky=sa.SimulatedSky(seeing=1.5 * u.arcsec, background=0 * u.electron / u.s).request(),
        passbands=one_wavelength(500),
        x=[80.0],
        y=[60.0],
        electron_rates=[1.0],
        stamp_pix=112,
    )
    lambda_n = 0.5 * 7
    r0 = 0.975863 * 500e-9 / np.radians(1.5 / 3600)
    nodes, weights = np.polynomial.legendre.leggauss(400)
    v = (nodes + 1) / 2
    telescope = 2 / np.pi * (np.arccos(v) - v * np.sqrt(1 - v**2))
    air = np.exp(-3.441939 * (v * 0.1 / r0) ** (5 / 3))
    f = v / lambda_n
    r = np.arange(0, 25.0)
    # The pixel's own blur at these radii is that of a 1 um box, small beside 6 um: taken to second order.
    box = np.sinc(f / np.sqrt(2)) ** 2
    kernel = special.j0(2 * np.pi * f[None, :] * r[:, None])
    profile = 2 * np.pi * (kernel * (telescope * air * box * f)[None, :]) @ weights / 2 / lambda_n
    drawn = image[60, 80:105]
    assert np.max(np.abs(drawn / profile[0] - profile / profile[0])) < 0.004


@pytest.mark.parametrize(("waves", "obstruction"), [(5.0, 0.0), (8.0, 0.33)])
def test_defocused_star_matches_scipys_diffraction_integral(
    waves: float, obstruction: float
) -> None:
    """Ring profile of a defocused star against the one-dimensional Hankel integral."""
    telescope = dataclasses.replace(PERFECT, obstruction=obstruction)
    camera = dataclasses.replace(
        CAMERA, read_noise=0 * u.electron, gain=0.5 * u.electron / u.adu, bits=16
    )
    inside, outside, truth = sa.draw_defocused_pair(
        telescope,
        camera=camera,
        sky=sa.SimulatedSky(seeing=1.0 * u.arcsec, background=0 * u.electron / u.s),
        defocus=waves,
        size=96,
        electrons=4e6,
    )
    # Electrons within circles: pure geometry and diffraction, blurred little by the seeing. Compare encircled light with
    # that of the unblurred pattern at the disc's edge and half-way.
    lambda_n = 0.54 * 7
    nodes, weights = np.polynomial.legendre.leggauss(500)
    s = obstruction**2 + (1 - obstruction**2) * (nodes + 1) / 2
    r = np.linspace(0, 4 * waves * 1.6, 3000)
    field = (
        np.exp(2j * np.pi * waves * s)[None, :]
        * special.j0(np.pi * r[:, None] * np.sqrt(s)[None, :])
    ) @ (weights / 2)
    intensity = np.abs(field) ** 2 * np.pi / 4 * (1 - obstruction**2)
    encircled = np.cumsum(intensity * 2 * np.pi * r) * (r[1] - r[0])
    y, x = np.mgrid[:96, :96]
    radius = np.hypot(x - 48, y - 48) * 3.76 / lambda_n
    for frame in (inside, outside):
        electrons = (np.asarray(frame.data, float) - 500) * 0.5
        for share in (0.6, 0.85, 1.0, 1.25):
            limit = 4 * waves * share
            drawn = electrons[radius < limit].sum() / 4e6
            # Pixels cut by the circle are taken whole or not at all: one in 2 pi r of the ring's light.
            assert drawn == pytest.approx(np.interp(limit, r, encircled), abs=0.02)
    assert truth["strehl_ratio"] == pytest.approx(1, abs=1e-9)
    assert truth["rms_nm"] == pytest.approx(0, abs=1e-9)


def test_truth_of_a_field_is_what_scipy_measures() -> None:
    """Centers of mass of bright, well separated stars lie where the truth says."""
    telescope = dataclasses.replace(
        PERFECT, wavefront={8: 40 * u.nm}, field=sa.FieldErrors(distortion=1e-3 / u.mm**2)
    )
    camera = dataclasses.replace(CAMERA, shape=(300, 400), read_noise=1 * u.electron)
    frame, truth = sa.draw_star_field(
        telescope,
        camera=camera,
        sky=sa.SimulatedSky(seeing=1.5 * u.arcsec, background=0 * u.electron / u.s),
        stars=25,
        rates=(2e4, 4e4),
        separation=45,
        passband="N540",
        seed=5,
    )
    data = (np.asarray(frame.data, float) - 500) * 0.8
    inner = (
        (truth["x"].value > 25)
        & (truth["x"].value < 375)
        & (truth["y"].value > 25)
        & (truth["y"].value < 275)
    )
    assert inner.sum() > 8
    errors = []
    for row in truth[inner]:
        cx, cy = int(round(row["x"].value)), int(round(row["y"].value))
        cut = data[cy - 12 : cy + 13, cx - 12 : cx + 13]
        my, mx = ndimage.center_of_mass(cut)
        errors.append(
            (mx + cx - 12 - row["centroid_x"].value, my + cy - 12 - row["centroid_y"].value)
        )
        assert row["electrons"].value * 0.93 < cut.sum() < row["electrons"].value * 1.02
    # The cut at 12 pixels loses wings unevenly by a few hundredths of a pixel.
    assert np.max(np.abs(np.mean(errors, axis=0))) < 0.03
    assert np.max(np.abs(errors)) < 0.08
    moved = np.hypot(truth["x"] - truth["ideal_x"], truth["y"] - truth["ideal_y"]).value
    h = np.hypot(truth["ideal_x"].value - 199.5, truth["ideal_y"].value - 149.5)
    assert moved == pytest.approx(1e-3 * (h * 3.76e-3) ** 2 * h, abs=1e-9)


def test_focus_run_has_its_minimum_at_focus_and_grows_as_geometry_says() -> None:
    """Half-flux radius of a uniform disc: dz / (2 sqrt2 N)."""
    positions = np.array([-2000.0, -150.0, 0.0, 150.0, 2000.0]) * u.um
    run = sa.draw_focus_run(
        PERFECT,
        positions,
        camera=CAMERA,
        sky=sa.SimulatedSky(seeing=1.0 * u.arcsec),
        stars=6,
        passband="G",
        seed=4,
    )
    radii = [float(np.mean(t["half_flux_radius"].value)) for _, t in run]
    assert np.argmin(radii) == 2
    assert radii[0] > radii[1] and radii[4] > radii[3]
    # 9.4 waves: diffraction and seeing move it by a percent or two.
    assert radii[4] == pytest.approx(2000 / (2 * np.sqrt(2) * 7) / 3.76, rel=0.03)
    assert [f.meta["FOCUSPOS"] for f, _ in run] == positions.value.tolist()
    stars = [t["ideal_x"].value.tolist() for _, t in run]
    assert all(s == stars[0] for s in stars)


def test_flat_falls_with_the_cosine_and_the_stop() -> None:
    telescope = dataclasses.replace(PERFECT, stops=((6 * u.mm, 20 * u.mm),))
    camera = dataclasses.replace(CAMERA, shape=(200, 3000))
    frame, truth = sa.draw_flat(telescope, camera=camera, level=30_000 * u.electron, seed=2)
    profile = (np.asarray(frame.data, float).mean(axis=0) - 500) * 0.8 / 30_000
    assert profile[1450:1550].mean() == pytest.approx(1, abs=0.002)
    assert profile[:10].mean() == pytest.approx(np.mean(truth["corner_illumination"]), abs=0.01)
    # Half of the light is left where the stop's rim halves the footprint, near c / 2.
    assert truth["half_light_radius_mm"] == pytest.approx(3.0 / (1 - 20 / 700), rel=0.1)


@pytest.mark.same_bits
def test_same_seed_same_pixels_and_threads_do_not_matter() -> None:
    frames = [
        sa.draw_star_field(sa.juniper_115(), camera=CAMERA, stars=10, seed=9, nodes=(2, 2))[0]
    ]
    frames.append(
        sa.draw_star_field(sa.juniper_115(), camera=CAMERA, stars=10, seed=9, nodes=(2, 2))[0]
    )
    other = sa.draw_star_field(sa.juniper_115(), camera=CAMERA, stars=10, seed=10, nodes=(2, 2))[0]
    assert np.array_equal(frames[0].data, frames[1].data)
    assert not np.array_equal(frames[0].data, other.data)


def test_frames_read_back_with_what_the_camera_knows(tmp_path: Path) -> None:
    frame, truth = sa.draw_star_field(
        sa.alder_100(),
        camera=CAMERA,
        stars=5,
        seed=1,
        focus_position=12 * u.um,
        center=SkyCoord(83 * u.deg, 12 * u.deg),
        nodes=(1, 1),
    )
    path = sa.write_frame(tmp_path / "new" / "field.fits", frame, truth)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        read = sa.read_frame(path)
    assert read.shape == (120, 160)
    assert read.gain.to_value(u.electron / u.adu) == pytest.approx(0.8)
    assert read.read_noise.to_value(u.electron) == pytest.approx(1.8)
    assert read.pitch.to_value(u.um) == pytest.approx(3.76)
    assert read.saturation.to_value(u.adu) == truth.meta["saturation_adu"]
    assert read.filter == "L"
    scale = np.sqrt(np.abs(np.linalg.det(read.wcs.pixel_scale_matrix))) * 3600
    assert scale == pytest.approx(206264.806 * 3.76e-3 / 700, rel=1e-6)
    assert np.array_equal(read.data, frame.data.astype(np.float32))
    with fits.open(path) as hdus:
        assert hdus[0].header["FOCUSPOS"] == 12
        assert hdus[0].data.dtype == np.uint16
    table = QTable.read(path.with_name("field.truth.ecsv"))
    assert table["x"].unit == u.pix and len(table) == 5


def test_mosaic_frames_carry_their_pattern() -> None:
    camera = dataclasses.replace(CAMERA, mosaic="RGGB")
    frame, _ = sa.draw_star_field(sa.juniper_115(), camera=camera, stars=4, seed=2, nodes=(1, 1))
    assert frame.meta["BAYERPAT"] == "RGGB"
    with pytest.raises(ValueError, match="mosaic"):
        sa.draw_star_field(
            sa.juniper_115(),
            camera=CAMERA,
            stars=4,
            passband={"R": sa.simulation.instruments.PASSBANDS["R"]},
        )


def test_bad_requests_say_what_to_do() -> None:
    with pytest.raises(sa.InputError, match="obstruction"):
        sa.draw_flat(dataclasses.replace(PERFECT, obstruction=1.2), camera=CAMERA)
    with pytest.raises(sa.InputError, match="mosaic"):
        sa.draw_flat(PERFECT, camera=dataclasses.replace(CAMERA, mosaic="RGQB"))
    with pytest.raises(ValueError, match="lateral_color"):
        dataclasses.replace(PERFECT, lateral_color={500: 1.0}).request()


def test_whole_campaign_is_written_once_and_again_the_same(tmp_path: Path) -> None:
    camera = sa.SimulatedCamera(shape=(90, 120))
    first = sa.write_campaign_frames(
        tmp_path / "a", sa.juniper_115(), camera=camera, stars=5, seed=3
    )
    assert {k: len(v) for k, v in first.items()} == {
        "bias": 5,
        "dark": 5,
        "flat": 5,
        "field": 1,
        "focus_run": 9,
        "filters": 3,
        "pair": 2,
    }
    for paths in first.values():
        for path in paths:
            assert path.exists()
            assert list(path.parent.glob(path.stem + ".truth.*"))
    bias = fits.getdata(first["bias"][0]).astype(float)
    assert bias.mean() == pytest.approx(500, abs=0.5)
    assert bias.std() * 0.8 == pytest.approx(np.hypot(1.8, 0.8 / np.sqrt(12)), rel=0.05)


def test_every_good_star_of_an_aberrated_field_gets_a_width() -> None:
    """Profiles that are no Moffats (aberrations, diffraction) are fitted all the same."""
    frame, truth = sa.draw_star_field(
        sa.juniper_115(),
        camera=dataclasses.replace(CAMERA, shape=(600, 600)),
        stars=40,
        rates=(2e4, 3e5),
        separation=60,
        passband="N540",
        seed=11,
    )
    field = sa.measure_stars(frame)
    good = field.is_clean & (field.table["snr"] > 50)
    assert good.sum() > 25
    assert np.all(np.isfinite(field.table["fwhm"][good].value))

"""Measures the wavefront over the field: accepts, converts, calls the engine."""

from __future__ import annotations

from typing import Any

from astropy import units as u

from ... import _records, _units
from ..._measure import measure
from ...imaging.frames import read_frame
from ...imaging.one_camera import known_pitch, same_size
from ...optics.telescope import Telescope
from ..wavefront.setup import check_setup
from .result import WavefrontField


def measure_wavefront_field(
    inside: Any,
    outside: Any,
    telescope: Telescope,
    *,
    wavelength: u.Quantity | str,
    pitch: u.Quantity | str | None = None,
    paraboloid: bool = False,
    most_stars: int = 150,
    scale_uncertainty: float = 0.005,
    gain: u.Quantity | None = None,
    read_noise: u.Quantity | None = None,
    saturation: u.Quantity | None = None,
    threads: int = 0,
    progress: bool = False,
) -> WavefrontField:
    """Measure the low modes of the wavefront over the field from one defocused pair of a star field.

    Parameters
    ----------
    inside, outside : image-like
        Path, `CCDData`, array or `Frame`: the sensor nearer to the objective than best focus, and farther
        away, 5 to 8 waves each.
    telescope : Telescope
        Aperture, focal length at the sensor, obstruction, vanes.
    wavelength : Quantity or str
        Middle of the filter.
    pitch : Quantity or str, optional
        Of the pixels, binning included; that of the frames by default.
    paraboloid : bool
        The objective is a single paraboloid without a corrector (Newtonian): the growth of its coma over
        the field is known, and tells the place without coma sooner.
    most_stars : int
        Most stars that are fitted, the brightest ones.
    scale_uncertainty : float
        Relative standard uncertainty of pixel pitch times focal ratio: every distance from focus goes with it.
    gain, read_noise, saturation : Quantity, optional
        Where the headers are silent or wrong.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    progress : bool
        Show a bar while it runs.

    Returns
    -------
    WavefrontField
        Tilt and curvature of best focus, coma, astigmatism with its nodes, spherical aberration and trefoil over the
        sensor, and the modes of every star.

    Raises
    ------
    InputError
        When the pitch is not known or the frames differ in size.
    CannotMeasureError
        When too few stars serve, with too little defocus, or both frames from one side of focus.

    Notes
    -----
    Every star that is whole, alone and unclipped in both frames gets a wavefront of its own, up to Noll 11, by the
    model of `fit_wavefront`; seeing and finer modes are those of the brightest stars. Laws of third order, whose
    middle may lie anywhere (Thompson 2005, J. Opt. Soc. Am. A 22, 1389, from memory), are fitted to the stars; their
    scatter about them makes the uncertainties.

    Examples
    --------
    >>> import starassay
    >>> scope = starassay.Telescope("115 mm", "760 mm")
    >>> field = starassay.measure_wavefront_field(  # doctest: +SKIP
    ...     "inside.fits", "outside.fits", scope, wavelength="540 nm"
    ... )
    >>> field.sentences()  # doctest: +SKIP
    """
    _units.instance(telescope, Telescope, "telescope", 'Telescope("115 mm", "760 mm")')
    facts = {"gain": gain, "read_noise": read_noise, "saturation": saturation}
    known = {name: value for name, value in facts.items() if value is not None}
    frames = [read_frame(source, **known) for source in (inside, outside)]
    same_size([frame.shape for frame in frames], "one pair of one camera")
    length = _units.quantity(wavelength, "nm", "wavelength")
    size = known_pitch(pitch, [frame.pitch for frame in frames], "the frames")
    return measure(
        "wavefront_field",
        _records.WAVEFRONT_FIELD_REQUEST,
        WavefrontField,
        frames,
        given={
            "aperture": telescope.aperture,
            "focal_length": telescope.focal_length,
            "wavelength": length,
            "pitch": size,
            "paraboloid": paraboloid,
            "most_stars": _units.integer(most_stars, "most_stars"),
            "scale_uncertainty": _units.number(scale_uncertainty, "", "scale_uncertainty"),
        },
        engine={"pupil": telescope.pupil_request()},
        notes=check_setup(frames, telescope, length, size),
        threads=threads,
        progress=progress,
    )

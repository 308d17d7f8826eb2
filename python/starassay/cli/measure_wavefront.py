"""``starassay measure wavefront INSIDE OUTSIDE``: the wavefront from a pair of defocused images."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from ._options import quantity

if TYPE_CHECKING:
    from ..results import Result

NAME = "wavefront"
HELP = "Zernike coefficients, RMS, PV and Strehl ratio from a star inside and outside of focus."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The pair, the telescope and the light."""
    parser.add_argument("inside", metavar="INSIDE", help="FITS file, sensor nearer the objective")
    parser.add_argument("outside", metavar="OUTSIDE", help="FITS file, sensor farther away")
    scope = parser.add_argument_group("telescope and light")
    scope.add_argument("--aperture", type=quantity("mm"), required=True, metavar='"115 mm"')
    scope.add_argument("--focal-length", type=quantity("mm"), required=True, metavar='"760 mm"')
    scope.add_argument(
        "--obstruction",
        type=float,
        default=0.0,
        metavar="RATIO",
        help="diameter of the central obstruction over the aperture (default 0)",
    )
    scope.add_argument("--wavelength", type=quantity("nm"), required=True, metavar='"540 nm"')
    scope.add_argument(
        "--orientation",
        choices=("direct", "flipped-x", "flipped-y", "rotated180"),
        default="direct",
        help="how the view is flipped between pupil and sensor (default direct)",
    )
    scope.add_argument("--seeing", type=quantity("arcsec"), metavar='"2 arcsec"', help="a start")
    camera = parser.add_argument_group("camera, where the header is silent or wrong")
    camera.add_argument("--pitch", type=quantity("um"), metavar='"3.76 um"')
    camera.add_argument("--gain", type=quantity("electron / adu"), metavar='"1.5 electron/adu"')
    camera.add_argument("--read-noise", type=quantity("electron"), metavar='"3 electron"')
    camera.add_argument("--saturation", type=quantity("adu"), metavar='"60000 adu"')


def run(args: argparse.Namespace) -> Result:
    """Measure."""
    from ..telescope import Telescope
    from ..wavefront import fit_wavefront

    return fit_wavefront(
        args.inside,
        args.outside,
        Telescope(args.aperture, args.focal_length, args.obstruction),
        wavelength=args.wavelength,
        orientation=args.orientation,
        seeing=args.seeing,
        pitch=args.pitch,
        gain=args.gain,
        read_noise=args.read_noise,
        saturation=args.saturation,
    )

"""``starassay measure wavefront INSIDE OUTSIDE``: the wavefront from a pair of defocused images."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from ._options import add_camera_facts, camera_facts, quantity

if TYPE_CHECKING:
    from ..results import Result

NAME = "wavefront"
HELP = "Zernike coefficients, RMS, PV and Strehl ratio from a star inside and outside of focus."
EXAMPLE = (
    "starassay measure wavefront inside.fits outside.fits "
    "--aperture 115mm --focal-length 760mm --wavelength 540nm"
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The pair, the telescope and the light."""
    parser.add_argument(
        "inside", metavar="INSIDE", help="FITS file, sensor nearer to the objective than best focus"
    )
    parser.add_argument("outside", metavar="OUTSIDE", help="FITS file, sensor farther away")
    scope = parser.add_argument_group("telescope and light")
    scope.add_argument(
        "--aperture",
        type=quantity("mm"),
        required=True,
        metavar="DIAMETER",
        help="of the objective, such as 115mm",
    )
    scope.add_argument(
        "--focal-length",
        type=quantity("mm"),
        required=True,
        metavar="LENGTH",
        help="at the sensor, reducer or flattener included, such as 760mm",
    )
    scope.add_argument(
        "--wavelength",
        type=quantity("nm"),
        required=True,
        metavar="LENGTH",
        help="middle of the narrow filter, such as 540nm",
    )
    scope.add_argument(
        "--obstruction",
        type=float,
        default=0.0,
        metavar="RATIO",
        help="diameter of the central obstruction over the aperture (default 0)",
    )
    scope.add_argument(
        "--orientation",
        choices=("direct", "flipped-x", "flipped-y", "rotated180"),
        default="direct",
        help="how the view is flipped between pupil and sensor (default direct)",
    )
    scope.add_argument(
        "--seeing",
        type=quantity("arcsec"),
        metavar="ANGLE",
        help='FWHM to start from, such as "2 arcsec"; the fit finds it (default: from the images)',
    )
    add_camera_facts(parser)


def run(args: argparse.Namespace) -> Result:
    """Measure."""
    from ..imaging.frames import read_frame
    from ..optics.telescope import Telescope
    from ..measurements.wavefront import fit_wavefront

    facts = camera_facts(args)
    return fit_wavefront(
        read_frame(args.inside, **facts),
        read_frame(args.outside, **facts),
        Telescope(args.aperture, args.focal_length, args.obstruction),
        wavelength=args.wavelength,
        orientation=args.orientation,
        seeing=args.seeing,
    )

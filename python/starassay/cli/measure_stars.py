"""``starassay measure stars FILE``: every star of a frame."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from ._options import quantity

if TYPE_CHECKING:
    from ..results import Result

NAME = "stars"
HELP = "Find every star of a frame: place, half-flux radius, FWHM, ellipticity, flags."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The frame and how to look at it."""
    parser.add_argument("frame", metavar="FILE", help="FITS file, plain, gzip or tile-compressed")
    parser.add_argument(
        "--threshold",
        type=float,
        default=5.0,
        metavar="N",
        help="standard deviations that a peak must rise above the noise (default 5)",
    )
    parser.add_argument(
        "--outer-radius",
        type=float,
        metavar="PIXELS",
        help="radius of the circle that counts as the whole star (default: 3 x the usual half-flux radius)",
    )
    parser.add_argument(
        "--fit",
        choices=("bright", "all", "none"),
        default="bright",
        help="which stars get a Moffat profile and so a FWHM (default: the 500 brightest)",
    )
    parser.add_argument(
        "--axis",
        nargs=2,
        type=float,
        metavar=("X", "Y"),
        help="optical axis in pixels (default: the middle)",
    )
    parser.add_argument("--hdu", help="which HDU of the file (default: the first with an image)")
    facts = parser.add_argument_group("camera, where the header is silent or wrong")
    facts.add_argument("--gain", type=quantity("electron / adu"), metavar='"1.5 electron/adu"')
    facts.add_argument("--read-noise", type=quantity("electron"), metavar='"3 electron"')
    facts.add_argument("--saturation", type=quantity("adu"), metavar='"60000 adu"')


def run(args: argparse.Namespace) -> Result:
    """Measure."""
    from ..frames import read_frame
    from ..stars import measure_stars

    hdu = int(args.hdu) if args.hdu is not None and args.hdu.lstrip("-").isdigit() else args.hdu
    frame = read_frame(
        args.frame, hdu=hdu, gain=args.gain, read_noise=args.read_noise, saturation=args.saturation
    )
    return measure_stars(
        frame,
        threshold=args.threshold,
        outer_radius=args.outer_radius,
        fit_profiles=args.fit,
        axis=(args.axis[0], args.axis[1]) if args.axis else None,
    )

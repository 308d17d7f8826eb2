"""``starassay measure stars FILE``: every star of a frame."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from ._options import add_camera_facts, camera_facts

if TYPE_CHECKING:
    from ..results import Result

NAME = "stars"
HELP = "Find every star of a frame: place, half-flux radius, FWHM, ellipticity, flags."
EXAMPLE = "starassay measure stars field.fits --plot field.png --table field.ecsv"


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
    parser.add_argument(
        "--plane", type=int, metavar="N", help="which plane of a file with several, from 0"
    )
    parser.add_argument(
        "--color",
        choices=("red", "green", "blue"),
        default="green",
        help="which pixels of a raw color mosaic (default green)",
    )
    add_camera_facts(parser)


def run(args: argparse.Namespace) -> Result:
    """Measure."""
    from ..imaging.color_planes import split_bayer
    from ..imaging.frames import read_frame
    from ..measurements.stars import measure_stars

    hdu = int(args.hdu) if args.hdu is not None and args.hdu.lstrip("-").isdigit() else args.hdu
    frame = read_frame(args.frame, hdu=hdu, plane=args.plane, **camera_facts(args))
    if frame.bayer:
        planes = split_bayer(frame)
        frame = {"red": planes.red, "green": planes.green1, "blue": planes.blue}[args.color]
    return measure_stars(
        frame,
        threshold=args.threshold,
        outer_radius=args.outer_radius,
        fit_profiles=args.fit,
        axis=(args.axis[0], args.axis[1]) if args.axis else None,
    )

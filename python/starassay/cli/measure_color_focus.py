"""``starassay measure color-focus``."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from ._options import quantity

if TYPE_CHECKING:
    from ..results import Result

NAME = "color-focus"
HELP = "Focus of every color from one spectrum of a star or a focus run of them."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this kind."""
    parser.add_argument("frames", nargs="+", help="spectra: one, or those of a focus run")
    parser.add_argument("--focal-ratio", type=float, required=True, help="focal length / aperture")
    parser.add_argument("--focal-length", type=quantity("mm"), help='for arcseconds, as "700 mm"')
    parser.add_argument("--obstruction", type=float, default=0.0, help="ratio of diameters")
    parser.add_argument("--pitch", type=quantity("um"), help='pixel pitch, as "3.8 um"')
    parser.add_argument(
        "--positions", nargs="+", type=float, help="sensor position of each frame, um"
    )
    scale = parser.add_argument_group("wavelengths")
    scale.add_argument("--lamp", help="lamp frame; without one the star's hydrogen lines serve")
    scale.add_argument("--lamps", nargs="+", default=["Ne"], help="elements of the lamp")
    scale.add_argument(
        "--dispersion", nargs=2, type=float, required=True, help="rough, least and greatest, nm/pix"
    )
    scale.add_argument("--band", nargs=2, type=float, default=[380, 1000], help="nm")
    scale.add_argument("--reference", type=float, default=550, help="zero of the curve, nm")
    parser.add_argument(
        "--disperser",
        choices=["converging-grating", "parallel-grating", "prism"],
        default="converging-grating",
        help="what spreads the light",
    )
    parser.add_argument("--grating-lines", type=float, help="grooves per mm")
    parser.add_argument("--grating-distance", type=quantity("mm"), help="grating to sensor")
    parser.add_argument("--order-filter", action="store_true", help="no second order comes through")
    parser.add_argument(
        "--sign-hint", choices=["none", "blue-longer", "blue-shorter"], default="none"
    )
    parser.add_argument(
        "--defocus", type=quantity("um"), help="one spectrum set out of focus on purpose, as 250um"
    )
    parser.add_argument("--row", type=float, help="row of the wanted spectrum at mid frame")
    parser.add_argument("--axis", choices=["x", "y"], default="x", help="wavelengths run along")


def run(args: argparse.Namespace) -> Result:
    """Calibrate, measure."""
    from ..color_focus import calibrate_wavelengths, measure_color_focus, reduce_spectrum

    star = reduce_spectrum(args.frames[0], axis=args.axis, row=args.row, line_depth=0.0)
    if args.lamp:
        scale = calibrate_wavelengths(
            args.lamp, lamps=args.lamps, dispersion=args.dispersion, axis=args.axis, trace=star
        )
    else:
        scale = calibrate_wavelengths(star, star=True, dispersion=args.dispersion)
    return measure_color_focus(
        args.frames,
        wavelengths=scale,
        positions=args.positions,
        focal_ratio=args.focal_ratio,
        focal_length=args.focal_length,
        obstruction=args.obstruction,
        pitch=args.pitch,
        reference=args.reference,
        band=args.band,
        disperser=args.disperser,
        grating_lines=args.grating_lines,
        grating_distance=args.grating_distance,
        order_filter=args.order_filter,
        sign_hint=args.sign_hint,
        defocus=args.defocus,
        axis=args.axis,
        row=args.row,
    )

"""``starassay measure color-focus FRAMES``: best focus against wavelength."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from ._options import add_camera_facts, camera_facts, number_in, quantity

if TYPE_CHECKING:
    from ..results import Result

NAME = "color-focus"
HELP = "Focus of every color from one spectrum of a star or a focus run of them."
EXAMPLE = (
    "starassay measure color-focus spectrum-*.fits --positions -200um 0um 200um "
    "--focal-ratio 6.6 --lamp lamp.fits --lamps Hg Ne --dispersion 0.6 0.9"
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The spectra, their wavelengths, the telescope and what spreads the light."""
    parser.add_argument(
        "frames", nargs="+", metavar="FILE", help="spectra: one, or those of a focus run"
    )
    parser.add_argument(
        "--positions",
        nargs="+",
        type=number_in("um"),
        metavar="UM",
        help="sensor position of each frame of a run, um, growing away from the objective",
    )
    parser.add_argument(
        "--defocus",
        type=quantity("um"),
        metavar="LENGTH",
        help="how far one spectrum was set out of focus on purpose, such as 250um: "
        "positive when the sensor was moved away from the objective",
    )
    parser.add_argument(
        "--sign-hint",
        choices=("none", "blue-longer", "blue-shorter"),
        default="none",
        help="where the violet end focuses, if one spectrum is to be signed without a defocus",
    )
    scope = parser.add_argument_group("telescope")
    scope.add_argument(
        "--focal-ratio",
        type=float,
        required=True,
        metavar="N",
        help="focal length over aperture, such as 6.6",
    )
    scope.add_argument(
        "--focal-length",
        type=quantity("mm"),
        metavar="LENGTH",
        help="such as 760mm, for blur in arcseconds",
    )
    scope.add_argument(
        "--obstruction",
        type=float,
        default=0.0,
        metavar="RATIO",
        help="diameter of the central obstruction over the aperture (default 0)",
    )
    scale = parser.add_argument_group("wavelengths")
    scale.add_argument(
        "--lamp",
        metavar="FILE",
        help="frame of a lamp through the same setup (default: the star's own hydrogen lines)",
    )
    scale.add_argument(
        "--lamps",
        nargs="+",
        default=["Ne"],
        metavar="ELEMENT",
        help="elements of the lamp, such as Hg Ne (default Ne)",
    )
    scale.add_argument(
        "--dispersion",
        nargs=2,
        type=float,
        required=True,
        metavar=("LEAST", "GREATEST"),
        help="rough dispersion, nm a pixel",
    )
    scale.add_argument(
        "--band",
        nargs=2,
        type=number_in("nm"),
        default=[380.0, 1000.0],
        metavar=("FROM", "TO"),
        help="wavelengths to measure, nm (default 380 1000)",
    )
    scale.add_argument(
        "--reference",
        type=number_in("nm"),
        default=550.0,
        metavar="NM",
        help="wavelength at which the curve is zero, nm (default 550)",
    )
    light = parser.add_argument_group("what spreads the light, and where")
    light.add_argument(
        "--disperser",
        choices=("converging-grating", "parallel-grating", "prism"),
        default="converging-grating",
        help="default: a grating in the converging beam, before the camera",
    )
    light.add_argument("--grating-lines", type=float, metavar="N", help="grooves a mm")
    light.add_argument(
        "--grating-distance",
        type=quantity("mm"),
        metavar="LENGTH",
        help="from the grating to the sensor, such as 50mm",
    )
    light.add_argument(
        "--order-filter",
        action="store_true",
        help="a filter keeps the second diffraction order out",
    )
    light.add_argument(
        "--axis",
        choices=("x", "y"),
        default="x",
        help="axis of the frame along which wavelengths run (default x)",
    )
    light.add_argument(
        "--row",
        type=float,
        metavar="PIXEL",
        help="where the wanted spectrum crosses the middle of the frame (default: the brightest)",
    )
    add_camera_facts(parser)


def run(args: argparse.Namespace) -> Result:
    """Calibrate, measure."""
    from ..measurements.color_focus import (
        calibrate_wavelengths,
        measure_color_focus,
        reduce_spectrum,
    )
    from ..imaging.frames import read_frame

    frames = [read_frame(path, **camera_facts(args)) for path in args.frames]
    star = reduce_spectrum(frames[0], axis=args.axis, row=args.row, line_depth=0.0)
    if args.lamp:
        scale = calibrate_wavelengths(
            args.lamp, lamps=args.lamps, dispersion=args.dispersion, axis=args.axis, trace=star
        )
    else:
        scale = calibrate_wavelengths(star, star=True, dispersion=args.dispersion)
    return measure_color_focus(
        frames,
        wavelengths=scale,
        positions=args.positions,
        focal_ratio=args.focal_ratio,
        focal_length=args.focal_length,
        obstruction=args.obstruction,
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

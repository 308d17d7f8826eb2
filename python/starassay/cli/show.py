"""``starassay show``: what a measured telescope shows of a double star, a planet, the Moon's edge and a star's colors."""

from __future__ import annotations

import argparse
import dataclasses
from pathlib import Path
from typing import Any

NAME = "show"
NEEDS = ("starassay.optics.targets",)
HELP = "Draw a double star, a planet, the Moon's edge, a star test or a star's colors through a measured telescope, beside perfect ones."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The record, what is looked at, and where the picture goes."""
    parser.epilog = "example: starassay show wavefront.json --seeing 1.5arcsec --double-star 1.4arcsec 5.2 6.0 --plot shown.png"
    parser.add_argument(
        "record",
        type=Path,
        metavar="RECORD",
        help="of a wavefront: what 'starassay measure wavefront ... --json FILE' wrote, or such a file from the results of a report; "
        "of a color focus alone for a star's colors through an otherwise perfect telescope",
    )
    parser.add_argument(
        "--colors",
        type=Path,
        metavar="RECORD",
        help="of the color focus of the same telescope: all colors that an eye sees, each at its own focus",
    )
    parser.add_argument(
        "--seeing", metavar="ANGLE", help="FWHM of a long exposure (default: still air)"
    )
    parser.add_argument(
        "--double-star",
        nargs=3,
        metavar=("ANGLE", "MAG", "MAG"),
        help="separation and magnitudes (default: two equal stars at Rayleigh's separation)",
    )
    parser.add_argument(
        "--planet", metavar="ANGLE", help="diameter of the planet (default 44arcsec)"
    )
    parser.add_argument(
        "--star-test",
        type=float,
        metavar="WAVES",
        help="instead of targets: a star so many waves inside and outside of focus, ring by ring and in words with causes",
    )
    parser.add_argument(
        "--star-colors",
        type=float,
        metavar="WAVES",
        help="instead of targets: a star's colors in focus and so many waves to either side (with a color focus alone: 5)",
    )
    parser.add_argument(
        "--star",
        metavar="STAR",
        help="with --star-colors: its temperature or spectral type, such as 9600K or A0 (default: the one that was measured, else 9600K)",
    )
    parser.add_argument("--plot", metavar="FILE", help="draw the sheet (PNG, SVG or PDF)")
    parser.add_argument("--table", metavar="FILE", help="write the numbers as ECSV")


def run(args: argparse.Namespace) -> int:
    """Draw, print the sentences, write what was asked for."""
    from ..optics.records import is_color_focus, read_colors, read_pupil
    from ..optics.targets import draw_targets
    from ._outputs import require_targets

    require_targets(table=args.table, plot=args.plot)
    alone = is_color_focus(args.record)
    if alone or args.star_colors is not None:
        return _put_out(_star_colors(args, alone), args)
    if args.star is not None:
        raise _together("--star", "needs --star-colors, which draws one star", "star")
    pupil, aperture = read_pupil(args.record)
    how: dict[str, Any] = {}
    if args.star_test is not None:
        return _put_out(_star_test(args, pupil, aperture), args)
    if args.colors is not None:
        how["colors"] = read_colors(args.colors)
    if args.seeing is not None:
        how["seeing"] = args.seeing
    if args.double_star is not None:
        separation, *magnitudes = args.double_star
        how |= {"separation": separation, "magnitudes": magnitudes}
    if args.planet is not None:
        how["diameter"] = args.planet
    sheet = draw_targets(pupil, aperture, **how)
    return _put_out(sheet, args)


def _together(option: str, why: str, argument: str) -> Exception:
    """The error for options that do not go together."""
    from ..errors import InputError

    return InputError(f"{option} {why}.", code="input.together", argument=argument)


def _star_colors(args: argparse.Namespace, alone: bool) -> Any:
    """One star in its colors, from the record of a color focus alone or from both records."""
    from ..optics.records import read_colors, read_pupil
    from ..optics.star_colors import draw_curve_colors

    for name in ("double_star", "planet", "star_test") + (("colors",) if alone else ()):
        if getattr(args, name) is not None:
            what = "the record of a color focus alone" if alone else "--star-colors"
            option = f"--{name.replace('_', '-')}"
            raise _together(
                option, f"does not go with {what}, which shows the colors of one star", name
            )
    how = {
        name: getattr(args, name) for name in ("star", "seeing") if getattr(args, name) is not None
    }
    if args.star_colors is not None:
        how["defocus"] = args.star_colors
    if alone:
        curve = read_colors(args.record)
        return draw_curve_colors(curve, stated=curve.star, **how)
    if args.colors is None:
        raise _together(
            "--star-colors", "needs the color focus as well: --colors RECORD", "star_colors"
        )
    curve = read_colors(args.colors)
    pupil, aperture = read_pupil(args.record)
    return draw_curve_colors(curve, pupil, curve.star, aperture=aperture, **how)


def _star_test(args: argparse.Namespace, pupil: Any, aperture: Any) -> Any:
    """The patterns on both sides of focus; what is said of targets does not go with them."""
    from ..optics.records import read_spread
    from ..optics.star_test import draw_star_test

    for name in ("colors", "double_star", "planet"):
        if getattr(args, name) is not None:
            why = "does not go with --star-test, which draws one star in one color. Leave one of them out"
            raise _together(f"--{name.replace('_', '-')}", why, name)
    drawn = draw_star_test(
        pupil, aperture, args.star_test, **({} if args.seeing is None else {"seeing": args.seeing})
    )
    spread, decided = read_spread(args.record)
    return dataclasses.replace(drawn, spread=spread, decided=decided)


def _put_out(sheet: Any, args: argparse.Namespace) -> int:
    """Print the sentences, write picture and table."""
    from .._files import write_whole
    from ._outputs import save_figure

    for line in sheet.sentences():
        print(line)
    if args.star_test is not None and args.star_colors is None:
        for line in sheet.words():
            print(line)
    writers: dict[Path, Any] = {}
    if args.table:
        writers[Path(args.table)] = lambda path: sheet.table.write(path, format="ascii.ecsv")
    if args.plot:
        writers[Path(args.plot)] = lambda path: save_figure(sheet.plot, path)
    write_whole(writers)
    return 0

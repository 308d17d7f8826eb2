"""``starassay measure KIND``: one measurement, one command.

The kinds are the measurements that declare themselves (`starassay.measurements`): what each takes
and what can be said to it stands there, and comes from the engine's own request.

Every kind gets ``--json``, ``--table``, ``--plot`` and ``--quiet`` from here.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from collections.abc import Iterable
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..measurements import declared
from ..measurements._declaring import CAMERA, TELESCOPE, Measurement, Option, Part, Setup
from .._files import require_room, write_whole

if TYPE_CHECKING:
    from ..results import Result

NAME = "measure"
HELP = "Make one measurement of one or a few frames."
FIGURES = (".png", ".svg", ".pdf")
# The record of a wavefront with its images is the largest file.
ROOM = 20_000_000
_METAVARS = {
    "mm": "LENGTH",
    "um": "LENGTH",
    "nm": "WAVELENGTH",
    "arcsec": "ANGLE",
    "pix": "PIXELS",
    "s": "TIME",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """One subcommand a measurement, with the options that all share."""
    chosen = parser.add_subparsers(title="kinds", metavar="KIND", required=True)
    for one in declared().values():
        sub = chosen.add_parser(
            one.command, help=one.help, description=one.help, epilog=f"example: {one.example}"
        )
        _add_files(sub, one)
        for option in one.options:
            _add_option(sub, option)
        scope = sub.add_argument_group("telescope")
        for name, needed in one.facts().items():
            _add_option(scope, TELESCOPE[name], needed=needed)
        camera = sub.add_argument_group("camera, where the header is silent or wrong")
        for option in CAMERA.values():
            if option.name not in {o.name for o in one.options}:
                _add_option(camera, option)
        out = sub.add_argument_group("output")
        out.add_argument(
            "--json",
            metavar="FILE",
            help="write the whole result record, maps and images beside it as .npz; '-' for standard output",
        )
        out.add_argument(
            "--table", metavar="FILE", help="write the table as ECSV; '-' for standard output"
        )
        out.add_argument("--plot", metavar="FILE", help="draw the result (PNG, SVG or PDF)")
        out.add_argument("--quiet", action="store_true", help="print no summary and no notes")
        sub.set_defaults(_measurement=one)


def _add_files(parser: argparse.ArgumentParser, one: Measurement) -> None:
    """The files of the first roles stand alone, those that can be left out behind their name."""
    needed = [r for r in one.roles if not r.optional]
    for role in needed:
        # One pair stands as two files; several follow their names, so that none can be mistaken.
        how: dict[str, Any] = {"nargs": "+"} if role.many and len(needed) == 1 else {}
        parser.add_argument(role.name, metavar=role.name.upper(), help=role.help, **how)
    for role in one.roles:
        if role.optional:
            parser.add_argument(f"--{role.name}", metavar="FILE", help=role.help)


def _add_option(parser: Any, option: Option, needed: bool | None = None) -> None:
    """One option; values are read later, by the one reader, so that complaints are the same everywhere."""
    name = f"--{option.name.replace('_', '-')}"
    required = option.required if needed is None else needed
    text = option.help.replace("%", "%%")
    if option.kind == "flag":
        parser.add_argument(name, action="store_true", default=None, help=text)
        return
    if option.default not in (None, "", False) and "default" not in text:
        text += f" (default {option.default})"
    how: dict[str, Any] = {"help": text, "required": required}
    if option.repeat:
        how["action"] = "append"
    elif option.kind in ("numbers", "texts"):
        how["nargs"] = option.count or "+"
    if option.choices and option.kind == "choice":
        how["choices"] = option.choices
    else:
        how["metavar"] = _METAVARS.get(option.unit, option.name.rpartition("_")[2].upper())
    parser.add_argument(name, **how)


def _said(args: argparse.Namespace, options: Iterable[Option]) -> dict[str, Any]:
    """What was given of some options, with units."""
    given = {o: getattr(args, o.name, None) for o in options}
    return {o.name: o.read(value) for o, value in given.items() if value is not None}


def setup_of(args: argparse.Namespace, one: Measurement) -> Setup:
    """The command line as the measurement takes it."""
    from ..optics.telescope import Telescope, read_vanes

    files: dict[str, tuple[Path, ...]] = {}
    for role in one.roles:
        value = getattr(args, role.name)
        if value is not None:
            files[role.name] = tuple(
                Path(v) for v in (value if isinstance(value, list) else [value])
            )
    options = _said(args, one.options)
    wrong = one.complaint(files, options)
    if wrong is not None:
        from ..errors import InputError

        raise InputError(f"--{wrong[0].replace('_', '-')}: {wrong[1]}", argument=wrong[0])
    facts = _said(args, (TELESCOPE[name] for name in one.facts()))
    telescope = None
    if "aperture" in facts and "focal_length" in facts:
        vanes = read_vanes(facts.pop("vanes", None))
        telescope = Telescope(**facts, vanes=vanes)
    own = {o.name for o in one.options}
    return Setup(
        files=files,
        options={
            **options,
            # Without an aperture a focal length is an option like others.
            **({} if telescope else facts),
        },
        telescope=telescope,
        camera=_said(args, (o for o in CAMERA.values() if o.name not in own)),
        progress=not args.quiet and sys.stderr.isatty(),
    )


def run(args: argparse.Namespace) -> int:
    """Measure, write what was asked for, print a short table and the notes."""
    from ..results import by_gravity

    if args.json == "-" and args.table == "-":
        print(
            "starassay: Only one of --json and --table can go to standard output; "
            "give the other a file name.",
            file=sys.stderr,
        )
        return 2
    one: Measurement = args._measurement
    setup = setup_of(args, one)
    _require_targets(args)
    parts: list[Part] = []
    for files in one.groups(setup.files):
        parts += one.measure(dataclasses.replace(setup, files=files))
    results = [part.result for part in parts]
    write_results(results, json=args.json, table=args.table, plot=args.plot)
    to_stdout = "-" in (args.json, args.table)
    if not args.quiet:
        # Standard output may be a pipe that wants the record and nothing else.
        stream = sys.stderr if to_stdout else sys.stdout
        for part in parts:
            if len(parts) > 1:
                print(f"== {part.label}", file=stream)
            for line in part.result.summary():
                print(line, file=stream)
            for note in by_gravity(part.result.notes):
                print(note, file=stream)
        if len(parts) > 1:
            for line in _means(parts):
                print(line, file=stream)
    return 0


def _require_targets(args: argparse.Namespace) -> None:
    """What cannot be written is said before anything is measured."""
    from ..errors import FileError, InputError

    for name in (args.json, args.table, args.plot):
        if not name or name == "-":
            continue
        path = Path(name)
        if not path.parent.is_dir():
            raise FileError(
                f"There is no folder {path.parent} for {path.name}. Make it first.",
                code="file.folder",
                subject=name,
            )
        if path.is_dir():
            raise FileError(
                f"{path} is a folder. Name a file in it.", code="file.folder", subject=name
            )
        require_room(path.parent, ROOM, path.name, "Name another folder.")
    if args.plot and Path(args.plot).suffix.lower() not in FIGURES:
        raise InputError(
            f"A figure cannot be written as '{Path(args.plot).suffix}'. Name it .png, .svg or .pdf.",
            code="file.figure",
            argument="plot",
        )


def _means(parts: list[Part]) -> list[str]:
    """The mean of every quantity over several results."""
    from .._records import QUANTITIES
    from ..decisions.means import combine_quantities

    found, notes = combine_quantities([p.result.quantities for p in parts if not p.aside])
    lines = [f"== mean of {len(parts)}"] if found else []
    lines += [f"{QUANTITIES[name].label}: {q.value}" for name, q in found.items()]
    return lines + [str(n) for n in notes]


def write_results(
    results: list[Result], *, json: str | None, table: str | None, plot: str | None
) -> None:
    """Write record, table and figure of each; of several each gets its number in the name."""
    for k, result in enumerate(results):

        def numbered(name: str | None, k: int = k) -> str | None:
            if name is None or name == "-" or len(results) == 1:
                return name
            path = Path(name)
            return str(path.with_name(f"{path.stem}-{k + 1}{path.suffix}"))

        write_outputs(result, json=numbered(json), table=numbered(table), plot=numbered(plot))


def write_outputs(result: Result, *, json: str | None, table: str | None, plot: str | None) -> None:
    """Write record, table and figure; all of the files or none."""
    from ..results import BULK, json_text, write_bulk

    writers: dict[Path, Any] = {}
    if json and json != "-":
        beside = Path(json).with_suffix(BULK)
        text, bulk = result.json_parts(beside.name)
        writers[Path(json)] = lambda path: path.write_text(text, encoding="utf-8")
        if bulk:
            writers[beside] = lambda path: write_bulk(path, bulk)
    if table and table != "-":
        rows = result.table
        writers[Path(table)] = lambda path: rows.write(path, format="ascii.ecsv")
    if plot:
        writers[Path(plot)] = lambda path: _draw(result, path)
    write_whole(writers)
    if json == "-":
        sys.stdout.write(json_text(result.to_dict()))
    if table == "-":
        buffer = StringIO()
        result.table.write(buffer, format="ascii.ecsv")
        sys.stdout.write(buffer.getvalue())


def _draw(result: Result, path: Path) -> None:
    import matplotlib

    # No window: this is a file.
    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    from ..style import figure_style

    with figure_style():
        drawn = result.plot()
        while hasattr(drawn, "__len__") and not hasattr(drawn, "figure"):
            drawn = drawn.ravel()[0] if hasattr(drawn, "ravel") else drawn[0]
        figure = drawn.figure if hasattr(drawn, "figure") and drawn.figure else drawn
        figure.savefig(path)
        plt.close(figure)

"""``starassay measure KIND``: one measurement, one command.

A kind is one module ``starassay.cli.measure_<kind>`` that offers

``NAME``
    the word on the command line, for example ``"stars"``;
``HELP``
    one sentence;
``EXAMPLE``
    a whole command;
``add_arguments(parser)``
    its own options (`starassay.cli._options.quantity` reads ``"115 mm"``);
``run(args) -> Result``
    the measurement. Heavy imports belong inside it, so that ``--help`` is quick.

Every kind gets ``--json``, ``--table``, ``--plot`` and ``--quiet`` from here.
"""

from __future__ import annotations

import argparse
import pkgutil
import sys
from importlib import import_module
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ._files import write_whole

if TYPE_CHECKING:
    from ..results import Result

NAME = "measure"
HELP = "Make one measurement of one or a few frames."
_PREFIX = "measure_"
_GRAVITY = {"doubt": 0, "caution": 1, "info": 2}


def kinds() -> list[Any]:
    """The modules of all kinds, by name."""
    package = import_module(__package__)
    names = [m.name for m in pkgutil.iter_modules(package.__path__) if m.name.startswith(_PREFIX)]
    return [import_module(f"{__package__}.{name}") for name in sorted(names)]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """One subcommand a kind, with the options that all share."""
    chosen = parser.add_subparsers(title="kinds", metavar="KIND", required=True)
    for module in kinds():
        one = chosen.add_parser(
            module.NAME,
            help=module.HELP,
            description=module.HELP,
            epilog=f"example: {module.EXAMPLE}",
        )
        module.add_arguments(one)
        out = one.add_argument_group("output")
        out.add_argument(
            "--json", metavar="FILE", help="write the whole result record; '-' for standard output"
        )
        out.add_argument(
            "--table", metavar="FILE", help="write the table as ECSV; '-' for standard output"
        )
        out.add_argument("--plot", metavar="FILE", help="draw the result (PNG, SVG or PDF)")
        out.add_argument("--quiet", action="store_true", help="print no summary and no notes")
        one.set_defaults(_measure=module.run)


def run(args: argparse.Namespace) -> int:
    """Measure, write what was asked for, print a short table and the notes."""
    if args.json == "-" and args.table == "-":
        print(
            "starassay: Only one of --json and --table can go to standard output; "
            "give the other a file name.",
            file=sys.stderr,
        )
        return 2
    result: Result = args._measure(args)
    write_outputs(result, json=args.json, table=args.table, plot=args.plot)
    to_stdout = "-" in (args.json, args.table)
    if not args.quiet:
        # Standard output may be a pipe that wants the record and nothing else.
        stream = sys.stderr if to_stdout else sys.stdout
        for line in result.summary():
            print(line, file=stream)
        for note in sorted(result.notes, key=lambda n: _GRAVITY.get(n.level, 3)):
            print(note, file=stream)
    return 0


def write_outputs(result: Result, *, json: str | None, table: str | None, plot: str | None) -> None:
    """Write record, table and figure; all of the files or none."""
    from ..results import json_text

    writers: dict[Path, Any] = {}
    if json and json != "-":
        text = json_text(result.to_dict())
        writers[Path(json)] = lambda path: path.write_text(text, encoding="utf-8")
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

    from ..errors import InputError
    from ..style import figure_style

    if path.suffix.lower() not in (".png", ".svg", ".pdf"):
        raise InputError(
            f"A figure cannot be written as '{path.suffix}'. Name it .png, .svg or .pdf.",
            code="file.figure",
        )
    with figure_style():
        drawn = result.plot()
        while hasattr(drawn, "__len__") and not hasattr(drawn, "figure"):
            drawn = drawn.ravel()[0] if hasattr(drawn, "ravel") else drawn[0]
        figure = drawn.figure if hasattr(drawn, "figure") and drawn.figure else drawn
        figure.savefig(path)
        plt.close(figure)

"""The command ``starassay``.

Each command is one module with ``NAME``, ``HELP``, ``add_arguments(parser)``, ``run(args) -> int`` and,
where that loads libraries, ``NEEDS`` with the modules that do; the kinds of measurement declare themselves
(see `starassay.measurements`).

Exit codes: 0 done; 1 a fault of ours, or .NET is missing; 2 the input cannot serve (one sentence on
standard error says what is wrong, where, and what to do) and nothing was written; 3 the campaign was
run and its report written, but a frame or pair could not be measured; 130 interrupted. What a verdict
says changes no exit code.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from typing import Any

from .. import errors
from .._interrupts import held, was_interrupted
from .._version import __version__
from ._console import explain, notes_for_warnings
from ._parser import BAD_INPUT, Parser

DONE, FAULT, INCOMPLETE, INTERRUPTED = 0, 1, 3, 130


def build_parser() -> argparse.ArgumentParser:
    """The parser of the whole command line; what a command takes is added when it is called for."""
    from . import about, compare, demo, init, lab, measure, notes, plan, run, show, watch

    parser = Parser(
        prog="starassay",
        description="Test the optics of a telescope from its own images.",
        epilog="Exit codes: 0 done, 1 a fault of ours, 2 the input cannot serve, 3 a campaign's test failed, "
        "130 interrupted. Never point a telescope at or near the Sun without a certified full-aperture "
        "filter.",
    )
    parser.add_argument("--version", action="version", version=f"starassay {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for module in (run, init, measure, watch, demo, show, lab, plan, compare, notes, about):
        one = commands.add_parser(module.NAME, help=module.HELP, description=module.HELP)
        one.grow = _taking(one, module)
        one.set_defaults(_run=module.run, _needs=getattr(module, "NEEDS", ()))
    return parser


def _taking(parser: Parser, module: Any) -> Callable[[Sequence[str]], None]:
    """Adds a command's arguments: most load libraries, of which the other commands need none."""
    return lambda words: module.add_arguments(parser)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments without the program's name; those of the process by default.

    Returns
    -------
    int
        The exit code.
    """
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show "±" shall show "?" rather than end with an error.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        # Many libraries cannot be interrupted while they load: an interrupt waits until all are there.
        with held():
            args = build_parser().parse_args(argv)
            for needed in args._needs:
                import_module(needed)
        with notes_for_warnings():
            return int(args._run(args))
    except SystemExit as stop:
        return int(stop.code or 0)
    except BrokenPipeError:
        # The reader of a pipe went away, as "head" does; that is no error.
        sys.stderr.close()
        return DONE
    except (Exception, KeyboardInterrupt) as error:
        return _ended_by(error)


def _ended_by(error: BaseException) -> int:
    """Say in one line what ended the command, the trace on request; the exit code for it."""
    if was_interrupted(error):
        print("Interrupted; nothing was written by halves.", file=sys.stderr)
        return INTERRUPTED
    print(explain(error), file=sys.stderr)
    ours = isinstance(error, (errors.EngineError, errors.EngineUnavailableError))
    bad_input = isinstance(error, (errors.StarAssayError, OSError, MemoryError)) and not ours
    return BAD_INPUT if bad_input else FAULT

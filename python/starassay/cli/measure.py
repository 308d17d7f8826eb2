"""``starassay measure KIND``: one measurement, one command.

The kinds are the measurements that declare themselves (`starassay.measurements`): what each takes
and what can be said to it stands there, and comes from the engine's own request.

Every kind gets ``--json``, ``--table``, ``--plot`` and ``--quiet`` from here.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from collections.abc import Iterable, Sequence
from contextlib import suppress
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..measurements import NAMES, declared
from .._files import write_whole
from ._outputs import require_targets, save_figure

if TYPE_CHECKING:
    from ..measurements._declaring import Measurement, Option, Part, Setup
    from ._parser import Parser
    from ..results import Measured, Note, Result, Sheet

NAME = "measure"
HELP = "Make one measurement of one or a few frames."
#: Where the files of one pair stand.
TOGETHER = "one_pair"
_METAVARS = {
    "mm": "LENGTH",
    "um": "LENGTH",
    "nm": "WAVELENGTH",
    "arcsec": "ANGLE",
    "pix": "PIXELS",
    "s": "TIME",
}


def add_arguments(parser: Parser) -> None:
    """One subcommand a measurement; where the words name one, only that one."""
    chosen = parser.add_subparsers(title="kinds", metavar="KIND", required=True)

    def grow(words: Sequence[str]) -> None:
        named = words[0].replace("-", "_") if words else ""
        if named in NAMES and not {"-h", "--help"} & set(words):
            _get_ready(named)
        for one in declared(named).values():
            sub = chosen.add_parser(
                one.command, help=one.help, description=one.help, epilog=f"example: {one.example}"
            )
            _add_files(sub, one)
            add_options(sub, one)
            _add_output(sub)
            sub.set_defaults(_measurement=one)

    parser.grow = grow


def _get_ready(area: str) -> None:
    """Start the engine, which gets ready for the measurement while Python loads its libraries."""
    from .._host import gateway
    from ..errors import EngineUnavailableError

    # An engine that is missing is said where it is needed: what was typed may be wrong before that.
    with suppress(EngineUnavailableError):
        gateway().Rehearse(area)


def _add_output(parser: argparse.ArgumentParser) -> None:
    """What can be written of any result."""
    out = parser.add_argument_group("output")
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


def add_options(parser: argparse.ArgumentParser, one: Measurement) -> None:
    """What can be said to a measurement beside its files."""
    from ..measurements._declaring import CAMERA, TELESCOPE

    for option in one.options:
        _add_option(parser, option)
    scope = parser.add_argument_group("telescope")
    for name, needed in one.facts().items():
        _add_option(scope, TELESCOPE[name], needed=needed)
    camera = parser.add_argument_group("camera, where the header is silent or wrong")
    for option in CAMERA.values():
        if option.name not in {o.name for o in one.options}:
            _add_option(camera, option)


def _add_files(parser: argparse.ArgumentParser, one: Measurement) -> None:
    """The files of the first roles stand alone, those that can be left out behind their name."""
    needed = [r for r in one.roles if not r.optional]
    if len(needed) > 1 and all(role.many for role in needed):
        # One pair stands as two files; several follow their names, so that none can be mistaken.
        names = " ".join(role.name.upper() for role in needed)
        parser.add_argument(
            TOGETHER, nargs="*", metavar=names, help="; ".join(role.help for role in needed)
        )
        for role in needed:
            parser.add_argument(
                f"--{role.name}", nargs="+", metavar="FILE", help=f"several: {role.help}"
            )
        needed = []
    for role in needed:
        how: dict[str, Any] = {"nargs": "+"} if role.many else {}
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
    files: dict[str, tuple[Path, ...]] = {}
    stated = _together(args, one)
    for role in one.roles:
        value = stated.get(role.name, getattr(args, role.name))
        if value is not None:
            files[role.name] = tuple(
                Path(v) for v in (value if isinstance(value, list) else [value])
            )
    return setup_with(args, one, files, progress=not args.quiet and sys.stderr.isatty())


def setup_with(
    args: argparse.Namespace,
    one: Measurement,
    files: dict[str, tuple[Path, ...]],
    progress: bool = False,
) -> Setup:
    """The options of a command line with files that come from elsewhere."""
    from ..measurements._declaring import CAMERA, TELESCOPE, Setup
    from ..optics.telescope import Telescope, read_vanes

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
        progress=progress,
    )


def _together(args: argparse.Namespace, one: Measurement) -> dict[str, Any]:
    """The files of one pair that stand alone, by role; several stand behind their names."""
    if not hasattr(args, TOGETHER):
        return {}
    from ..errors import InputError

    roles = [r.name for r in one.roles if not r.optional]
    alone, named = getattr(args, TOGETHER), [r for r in roles if getattr(args, r) is not None]
    if len(alone) == len(roles) and not named:
        return dict(zip(roles, alone))
    if not alone and len(named) == len(roles):
        return {}
    first, second = roles[0], roles[-1]
    raise InputError(
        f"{len(alone)} file{' stands' if len(alone) == 1 else 's stand'} alone{' beside those that are named' if named else ''}. Give one pair as "
        f"{first.upper()} {second.upper()}, several as --{first} FILE FILE ... --{second} FILE FILE ...",
        code="input.pair",
        argument=first,
    )


def run(args: argparse.Namespace) -> int:
    """Measure, write what was asked for, print a short table and the notes."""
    if args.json == "-" and args.table == "-":
        print(
            "starassay: Only one of --json and --table can go to standard output; "
            "give the other a file name.",
            file=sys.stderr,
        )
        return 2
    one: Measurement = args._measurement
    setup = setup_of(args, one)
    require_targets(json=args.json, table=args.table, plot=args.plot)
    parts: list[Part] = []
    for files in one.groups(setup.files):
        parts += one.measure(dataclasses.replace(setup, files=files))
    results = [part.result for part in parts]
    write_results(results, json=args.json, table=args.table, plot=args.plot)
    to_stdout = "-" in (args.json, args.table)
    if not args.quiet:
        # Standard output may be a pipe that wants the record and nothing else.
        stream = sys.stderr if to_stdout else sys.stdout
        for line in _lines(parts):
            print(line, file=stream)
    return 0


def _lines(parts: list[Part]) -> list[str]:
    """One result in full; of several the sentences of each, then one row each and their mean."""
    from ..results import by_gravity

    if len(parts) == 1:
        result = parts[0].result
        return [*result.summary(), *map(str, by_gravity(result.notes))]
    lines = []
    for part in parts:
        lines += [f"== {part.label}", *part.result.sentences()]
    sheet, notes = rows_and_mean(parts)
    lines += ["", f"{sheet.caption}:", *sheet.lines(), ""]
    # What all frames share is said once.
    said = dict.fromkeys([*notes, *(n for part in parts for n in part.result.notes)])
    return lines + [str(n) for n in by_gravity(tuple(said))]


def rows_and_mean(parts: Sequence[Part]) -> tuple[Sheet, tuple[Note, ...]]:
    """Every quantity of several results: a row each, the mean below; and what the mean has to say.

    Parameters
    ----------
    parts : sequence of Part
        What was measured; those aside are shown, but not in the mean.
    """
    from .._records import QUANTITIES
    from ..decisions.means import combine_quantities
    from ..results import Sheet, format_measured

    counted = [p.result.quantities for p in parts if not p.aside]
    found, notes = combine_quantities(counted)
    rows = [(p.label, {q.name: q.value for q in p.result.quantities}) for p in parts]
    names = list(dict.fromkeys(name for _, row in rows for name in row))
    rows.append((f"mean of {len(counted)}", {name: q.value for name, q in found.items()}))

    def cell(value: Measured | None) -> str:
        if value is None:
            return "–"
        return format_measured(value.value.value, value.uncertainty.value)

    units = {n: next(str(row[n].unit) for _, row in rows if n in row) for n in names}
    head = [QUANTITIES[n].label + (f" ({units[n]})" if units[n] else "") for n in names]
    return (
        Sheet(
            "Each by itself, and their mean",
            ("frame", *head),
            tuple((label, *(cell(row.get(n)) for n in names)) for label, row in rows),
        ),
        notes,
    )


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
        writers[Path(plot)] = lambda path: save_figure(result.plot, path)
    write_whole(writers)
    if json == "-":
        sys.stdout.write(json_text(result.to_dict()))
    if table == "-":
        buffer = StringIO()
        result.table.write(buffer, format="ascii.ecsv")
        sys.stdout.write(buffer.getvalue())

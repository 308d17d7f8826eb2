"""``starassay watch FOLDER --measure KIND``: each new frame measured as the camera writes it, while somebody turns screws.

What can be said to a kind is what ``starassay measure KIND`` takes; which kinds there are, the measurements declare
themselves.
"""

from __future__ import annotations

import argparse
import queue
import sys
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .._interrupts import held, was_interrupted

if TYPE_CHECKING:
    from ..watching import FolderWatch

NAME = "watch"
HELP = "Measure each new frame of a folder while you turn screws, and keep one page beside the frames up to date."
NEEDS = ("starassay.watching",)
_KIND = "--measure"
# As `starassay.cli.INTERRUPTED`: it is how a watch ends, and scripts shall know that it was the key.
_INTERRUPTED = 130


def add_arguments(parser: Any) -> None:
    """The folder and the kind; the kind's own options come with it."""
    from ..watching.watcher import PATIENCE, watched
    from .measure import add_options

    kinds = {one.command: one for one in watched().values()}
    parser.add_argument("folder", type=Path, help="folder that the camera writes into")
    parser.add_argument(
        _KIND,
        required=True,
        choices=sorted(kinds),
        metavar="KIND",
        help=f"what is measured: {', '.join(sorted(kinds))}; with --help behind it its options are shown",
    )
    parser.add_argument(
        "--page",
        type=Path,
        metavar="FILE",
        help="the page (default: watch-KIND.html in the folder)",
    )
    parser.add_argument(
        "--earlier",
        action="store_true",
        help="measure frames that are in the folder already, too",
    )
    parser.add_argument(
        "--turns",
        choices=("enter", "changes"),
        help=(
            "how a turn is known: by the Enter key, with a few words before it if you like, or by a change beyond the bars "
            "(default: enter in a terminal, else changes)"
        ),
    )
    parser.add_argument(
        "--count", type=int, metavar="N", help="end after so many frames (default: with Ctrl-C)"
    )
    parser.add_argument(
        "--patience",
        type=float,
        default=PATIENCE,
        metavar="SECONDS",
        help="how long an unfinished file may stand still (default: %(default)g)",
    )

    def grow(words: Sequence[str]) -> None:
        kind = _kind_in(words)
        if kind in kinds:
            add_options(parser, kinds[kind])

    parser.grow = grow
    parser.set_defaults(_kinds=kinds)


def _kind_in(words: Sequence[str]) -> str:
    """What stands behind --measure."""
    for k, word in enumerate(words):
        if word.startswith(f"{_KIND}="):
            return word.partition("=")[2]
        if word == _KIND and k + 1 < len(words):
            return words[k + 1]
    return ""


def run(args: argparse.Namespace) -> int:
    """Watch until Ctrl-C or the last frame; one line a frame, one at the end."""
    from ..errors import InputError
    from ..watching import FolderWatch
    from .measure import setup_with

    one = args._kinds[args.measure]
    if args.count is not None and args.count < 1:
        raise InputError(f"--count is {args.count}; give at least 1.", argument="count")
    if not args.patience > 0:
        raise InputError(f"--patience is {args.patience:g}; give seconds.", argument="patience")
    by_key = args.turns == "enter" or (args.turns is None and sys.stdin.isatty())
    # What the checks of the measurement ask about files holds for one new frame.
    setup = setup_with(args, one, {one.roles[0].name: (args.folder / "frame.fits",)})
    _say(f"Getting ready to measure {one.title.lower()} ...")
    watch: FolderWatch | None = None
    code = 0
    try:
        watch = FolderWatch(
            args.folder,
            one,
            setup,
            page=args.page,
            earlier=args.earlier,
            by_change=not by_key,
            patience=args.patience,
        )
        for text in _greeting(watch, by_key):
            _say(text)
        _follow(watch, _Keys() if by_key else None, args.count)
    except BaseException as error:
        if watch is None or not was_interrupted(error):
            raise
        code = _INTERRUPTED
    # A second Ctrl-C waits until the page says that it is over.
    with held():
        watch.close()
        _say(f"\n{watch.summary()} Page: {watch.page}" if code else watch.summary())
    return code


def _follow(watch: FolderWatch, keys: _Keys | None, count: int | None) -> None:
    """One line a frame."""
    from ..watching.words import line

    seen = 0
    for reading in _readings(watch, keys):
        if reading is not None:
            seen += 1
            _say(line(reading, watch.watch.unit))
        for text in watch.told.take():
            _say(f"     {text}")
        if count is not None and seen >= count:
            return


def _readings(watch: FolderWatch, keys: _Keys | None) -> Iterator[Any]:
    """Readings as they come; None after each look, so that what was told meanwhile is shown."""
    import time

    from ..watching.watcher import POLL

    groups = 0
    while True:
        began = time.monotonic()
        for reading in watch.look():
            if reading.group > groups and keys is None:
                _say(f"---  turn {reading.group}, {watch.session.groups[-1].note}")
            groups = reading.group
            yield reading
        yield None
        for note in keys.take() if keys is not None else ():
            watch.turn(note)
            _say(f"---  turned{': ' + note if note else ''}")
        time.sleep(max(0.0, POLL - (time.monotonic() - began)))


def _greeting(watch: FolderWatch, by_key: bool) -> list[str]:
    """Where the page is, and how to go on."""
    said = [f"Watching {watch.folder}. Open {watch.page}; it loads itself."]
    if watch.passed_over:
        there = watch.passed_over
        said.append(
            f"{there} frame{' is' if there == 1 else 's are'} there already and passed over; --earlier measures them."
        )
    said.append(
        f"Press Enter when you have turned {watch.watch.turned}, with a word before it if you like. Ctrl-C ends."
        if by_key
        else "A frame that differs by more than the bars begins a new group. Ctrl-C ends."
    )
    said.append(f"Caution: {watch.watch.caution} Never point a telescope at or near the Sun.")
    return said


class _Keys:
    """Lines typed in the terminal, read aside so that nobody waits for them."""

    def __init__(self) -> None:
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        for text in sys.stdin:
            self._lines.put(text.strip())

    def take(self) -> list[str]:
        """What was typed since the last time; each line is a turn."""
        found = []
        while not self._lines.empty():
            found.append(self._lines.get())
        return found


def _say(text: str) -> None:
    print(text, flush=True)

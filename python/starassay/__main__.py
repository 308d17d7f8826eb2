"""``python -m starassay`` is the command ``starassay``; the installed command starts here too."""

import signal
import sys
from typing import Any


def _send_again(lost: Any) -> None:
    """An interrupt that came inside a callback, where Python can only print it: it comes again a moment later."""
    if isinstance(lost.exc_value, KeyboardInterrupt) and hasattr(signal, "setitimer"):
        signal.signal(signal.SIGALRM, lambda *_: signal.raise_signal(signal.SIGINT))
        signal.setitimer(signal.ITIMER_REAL, 0.001)
    else:
        sys.__unraisablehook__(lost)


def entry() -> int:
    """Run the command line; an interrupt at any moment ends it with one line and code 130.

    Until the libraries are loaded an interrupt waits, since many of them cannot be interrupted while
    they load; and once the work is done it no longer matters.
    """
    sys.unraisablehook = _send_again
    try:
        try:
            from ._interrupts import held

            with held():
                from .cli import main

                # What the commands need is loaded while nothing can break.
                from . import _host  # noqa: F401
            code = main()
        finally:
            # One that comes before this line has run is still told below, as the others are.
            signal.signal(signal.SIGINT, signal.SIG_IGN)
    except KeyboardInterrupt:
        print("Interrupted; nothing was written by halves.", file=sys.stderr)
        code = 130
    return code


if __name__ == "__main__":
    sys.exit(entry())

"""``python -m starassay`` is the command ``starassay``; the installed command starts here too."""

import signal
import sys


def entry() -> int:
    """Run the command line; an interrupt at any moment ends it with one line and code 130.

    Until the libraries are loaded an interrupt waits, since many of them cannot be interrupted while
    they load; and once the work is done it no longer matters.
    """
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

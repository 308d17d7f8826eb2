"""Ctrl-C while the runtime starts: one line and code 130, never a trace, never a crash."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
import time

import pytest

from starassay import cli
from starassay.cli import about
from starassay._interrupts import held

# A few keep the suite quick; the slow test makes as many as STARASSAY_TRIES says, with other delays
# for each STARASSAY_SEED, so that a thousand can be made in slices.
FEW = 24
MANY = int(os.environ.get("STARASSAY_TRIES", "60"))
SEED = int(os.environ.get("STARASSAY_SEED", "14"))
_CODE = (
    "import signal, sys\n"
    # A shell starts what runs in its background deaf to this signal, and children inherit that.
    "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
    "from starassay.__main__ import entry\n"
    "sys.argv = ['starassay', 'about']\n"
    "try:\n"
    "    print('in', file=sys.stderr, flush=True)\n"
    "    code = entry()\n"
    # Between two of the lines above and below this test's own process may be hit, not ours.
    "except KeyboardInterrupt:\n"
    "    code = 99\n"
    "sys.exit(code)\n"
)


def start() -> subprocess.Popen[str]:
    """A process that has begun to run the command line."""
    process = subprocess.Popen(
        [sys.executable, "-c", _CODE], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stderr is not None and process.stderr.readline() == "in\n"
    return process


def interrupt(tries: int, seed: int) -> list[int]:
    """Exit codes of as many tries, with delays drawn over the time that the whole command takes here."""
    began = time.monotonic()
    whole = start()
    whole.communicate(timeout=120)
    length = time.monotonic() - began
    assert whole.returncode == 0
    rng = random.Random(seed)
    codes = []
    for k in range(tries):
        process = start()
        time.sleep(rng.uniform(0, 0.9 * length))
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=120)
        assert process.returncode in (0, 130), (k, err)
        expected = ["Interrupted; nothing was written by halves."]
        assert err.splitlines() == (expected if process.returncode == 130 else []), (k, err)
        codes.append(process.returncode)
    return codes


def test_an_interrupt_at_any_moment_of_the_start_is_one_line() -> None:
    assert 130 in interrupt(FEW, 13)


_IN_A_CALLBACK = (
    "import signal, sys, weakref\n"
    "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
    "import starassay.cli, starassay.__main__ as command\n"
    "class Thing: pass\n"
    "def main():\n"
    "    thing = Thing()\n"
    "    seen = weakref.ref(thing, lambda _: signal.raise_signal(signal.SIGINT))\n"
    "    del thing\n"
    "    for _ in range(10**9): pass\n"
    "    return 0\n"
    "starassay.cli.main = main\n"
    "sys.exit(command.entry())\n"
)


def test_an_interrupt_inside_a_callback_is_not_lost() -> None:
    """Python prints what a weak reference's callback raises and goes on; libraries have many while they load."""
    done = subprocess.run([sys.executable, "-c", _IN_A_CALLBACK], capture_output=True, text=True)
    assert done.returncode == 130, done.stderr
    assert done.stderr.splitlines() == ["Interrupted; nothing was written by halves."]


@pytest.mark.slow
def test_many_interrupts() -> None:
    """One of 1,000 that ends in a trace or a crash is too many."""
    codes = interrupt(MANY, SEED)
    print(f"{len(codes)} tries: {codes.count(130)} interrupted, {codes.count(0)} done before")
    assert len(codes) == MANY and 130 in codes


_WAITS = """
import os, signal
signal.signal(signal.SIGINT, signal.default_int_handler)
from starassay import cli
from starassay.cli import about
from starassay._interrupts import held
done = []
try:
    with held():
        os.kill(os.getpid(), signal.SIGINT)
        done.append("inside")
    done.append("behind")
except KeyboardInterrupt:
    done.append("raised")
assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
print(done)
"""


def test_what_waits_is_raised_at_the_end() -> None:
    """In a process of its own: a signal goes to any thread that does not block it, and the engine's
    threads, once it runs in this process, may take it later than the test looks."""
    done = subprocess.run(
        [sys.executable, "-c", _WAITS], capture_output=True, text=True, timeout=120, check=True
    )
    assert done.stdout == "['inside', 'raised']\n"


def test_nothing_is_raised_when_nobody_interrupts() -> None:
    before = signal.getsignal(signal.SIGINT)
    with held():
        pass
    assert signal.getsignal(signal.SIGINT) is before
    assert signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, [])


class _Torn:
    def __set_name__(self, owner: type, name: str) -> None:
        raise KeyboardInterrupt


def _while_a_class_is_made(_: object) -> None:
    """Python makes a RuntimeError of an interrupt here, as the lazy import of a library can."""
    type("Made", (), {"part": _Torn()})


def _behind_an_error(_: object) -> None:
    try:
        raise KeyboardInterrupt
    except KeyboardInterrupt:
        raise ImportError("half a module")  # noqa: B904


@pytest.mark.parametrize("work", [_while_a_class_is_made, _behind_an_error])
def test_a_wrapped_interrupt_is_an_interrupt(
    work: object, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(about, "run", work)
    assert cli.main(["about"]) == cli.INTERRUPTED
    assert capsys.readouterr().err == "Interrupted; nothing was written by halves.\n"


def test_a_fault_is_no_interrupt(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fails(_: object) -> None:
        raise RuntimeError("of its own")

    monkeypatch.setattr(about, "run", fails)
    assert cli.main(["about"]) == cli.FAULT
    assert "of its own" in capsys.readouterr().err


def test_another_thread_may_start_the_runtime() -> None:
    seen = []

    def work() -> None:
        with held():
            seen.append(signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, []))

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert seen == [True]

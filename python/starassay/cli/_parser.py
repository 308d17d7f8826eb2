"""The parser of the command line: takes negative lengths as values, complains in one sentence."""

from __future__ import annotations

import argparse
import difflib
import re
import sys
from collections.abc import Callable, Sequence
from typing import Any, NoReturn

BAD_INPUT = 2


class Parser(argparse.ArgumentParser):
    """A parser that reads ``--defocus -250um`` as it is meant, and whose complaint is one line."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        # argparse takes "-250" for a value, but "-250um" for an option. No option of ours begins
        # with a digit, so what does is a value, whatever follows it.
        self._negative_number_matcher = re.compile(r"^-\.?\d")
        #: Called once with the words before they are read: adds what they can say, which may hang on one of them.
        self.grow: Callable[[Sequence[str]], None] | None = None

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """As the base class has it, but the command itself complains about what it does not know."""
        words = sys.argv[1:] if args is None else list(args)
        while self.grow is not None:
            grow, self.grow = self.grow, None
            grow(words)
        known, unknown = super().parse_known_args(args, namespace)
        if unknown:
            word = unknown[0].partition("=")[0]
            hint = near(word, list(self._option_string_actions))
            self.error(f"'{' '.join(unknown)}' is not known here. {hint}".rstrip())
        return known, unknown

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        """A word that is none of those allowed, with the nearest one."""
        if action.choices is not None and value not in action.choices:
            known = [str(word) for word in action.choices]
            self.error(
                f"'{value}' is not known. {near(str(value), known)}Choose one of {', '.join(known)}."
            )

    def error(self, message: str) -> NoReturn:
        """Print what is wrong, where and what to do, and end with exit code 2."""
        sentence = message.removeprefix("argument ").rstrip(".")
        print(f"{self.prog}: {sentence}. See '{self.prog} --help'.", file=sys.stderr)
        raise SystemExit(BAD_INPUT)


def near(word: str, known: list[str]) -> str:
    """A guess at what was meant, as a sentence; "" when nothing is near."""
    close = difflib.get_close_matches(word, known, n=1)
    return f"Did you mean '{close[0]}'? " if close else ""

"""The parser of the command line: takes negative lengths as values, complains in one sentence."""

from __future__ import annotations

import argparse
import difflib
import re
import sys
from typing import Any, NoReturn

BAD_INPUT = 2

_MISSING = re.compile(r"the following arguments are required: (.*)")
_NO_VALUE = re.compile(r"argument ([^:]*): expected (.*) arguments?$")
_CHOICE = re.compile(r"argument ([^:]*): invalid choice: '(.*)' \(choose from (.*)\)")
_NUMBER = re.compile(r"argument ([^:]*): invalid (float|int) value: '(.*)'")
_UNKNOWN = re.compile(r"unrecognized arguments: (.*)")
_COUNTS = {"one": "a value", "at least one": "at least one value"}


class Parser(argparse.ArgumentParser):
    """A parser that reads ``--defocus -250um`` as it is meant, and whose complaint is one line."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        # argparse takes "-250" for a value, but "-250um" for an option. No option of ours begins
        # with a digit, so what does is a value, whatever follows it.
        self._negative_number_matcher = re.compile(r"^-\.?\d")

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """As the base class has it, but the command itself complains about what it does not know."""
        known, unknown = super().parse_known_args(args, namespace)
        if unknown:
            self.error(f"unrecognized arguments: {' '.join(unknown)}")
        return known, unknown

    def error(self, message: str) -> NoReturn:
        """Print what is wrong, where and what to do, and end with exit code 2."""
        print(f"{self.prog}: {self._sentence(message)} See '{self.prog} --help'.", file=sys.stderr)
        raise SystemExit(BAD_INPUT)

    @property
    def _choices(self) -> dict[str, str]:
        """What stands for a command, with the commands there are."""
        return {
            str(action.metavar): f"{action.metavar} ({', '.join(action.choices)})"
            for action in self._actions
            if isinstance(action, argparse._SubParsersAction)
        }

    def _sentence(self, message: str) -> str:
        """The module's own complaint in our words."""
        if found := _MISSING.fullmatch(message):
            words = [self._choices.get(name, name) for name in found[1].split(", ")]
            return f"{' and '.join(words)} {'is' if len(words) == 1 else 'are'} missing."
        if found := _NO_VALUE.fullmatch(message):
            return f"{found[1]} needs {_COUNTS.get(found[2], f'{found[2]} values')} after it."
        if found := _CHOICE.fullmatch(message):
            known = re.findall(r"[\w.-]+", found[3])
            return f"'{found[2]}' is not known. {_near(found[2], known)}Choose one of {', '.join(known)}."
        if found := _NUMBER.fullmatch(message):
            return f"{found[1]}: '{found[3]}' is not a number."
        if found := _UNKNOWN.fullmatch(message):
            word = found[1].split()[0]
            hint = _near(word.partition("=")[0], list(self._option_string_actions))
            return f"'{found[1]}' is not known here. {hint}".rstrip()
        return f"{message.removeprefix('argument ').rstrip('.')}."


def _near(word: str, known: list[str]) -> str:
    """A guess at what was meant."""
    close = difflib.get_close_matches(word, known, n=1)
    return f"Did you mean '{close[0]}'? " if close else ""

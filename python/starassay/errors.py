"""Errors of the face. Every engine error arrives as one of these.

Which one when:

* `InputError`: the call can never work as given (shape, range, contradiction); also a `ValueError`.
* `CannotMeasureError`: the input is sound but does not hold the measurement (no stars, saturated).
* `FileError`: a file cannot be read as what it should be; also an `OSError`.
* `CampaignError`: the campaign description is wrong; names file, line and key; also a `ValueError`.
* `EngineUnavailableError`: .NET or the engine is missing or does not fit.
* `EngineError`: a fault of ours; its report is welcome.

What leaves a usable number is a note on the result, never an error; what a script may
silence is a `StarAssayWarning`.
"""

from __future__ import annotations


class StarAssayError(Exception):
    """Base of all errors.

    Attributes
    ----------
    code : str
        Stable name of the case, "area.what".
    argument, subject : str or None
        The field that is wrong; the file or star it speaks of.
    trace : str
        The engine's stack trace, for a bug report.
    """

    def __init__(
        self,
        message: str,
        *,
        code: str = "",
        argument: str | None = None,
        subject: str | None = None,
        trace: str = "",
    ) -> None:
        super().__init__(message)
        self.code = code
        self.argument = argument
        self.subject = subject
        self.trace = trace


class InputError(StarAssayError, ValueError):
    """The call can never work as given."""


class CannotMeasureError(StarAssayError):
    """The input does not hold the measurement that was asked for."""


class FileError(StarAssayError, OSError):
    """A file cannot be read as what it should be."""

    def __str__(self) -> str:
        return str(self.args[0])


class CampaignError(StarAssayError, ValueError):
    """The campaign description is wrong."""


class EngineUnavailableError(StarAssayError, RuntimeError):
    """.NET or the engine is missing or does not fit."""


class EngineError(StarAssayError, RuntimeError):
    """A fault inside the engine."""


class StarAssayWarning(UserWarning):
    """Something worth knowing that a script may silence."""

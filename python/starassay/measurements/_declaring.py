"""How a measurement declares itself to the doors: the command line and the campaign.

A measurement is one package here with a module ``declaration`` that holds ``MEASUREMENT``. The
doors find it by themselves; what it takes stands once, on the engine's request.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from astropy import units as u

from .. import _units
from .._record import Field, Request
from ..errors import InputError
from ..imaging.frame import Frame
from ..imaging.frames import read_frame
from ..imaging.glances import Glance
from ..optics.telescope import Telescope
from ..results import Result
from ._drafting import Draft
from ._planning import Recipe
from ._watching import Watch


@dataclasses.dataclass(frozen=True)
class Role:
    """Files that a measurement takes.

    Attributes
    ----------
    name : str
        Key in a campaign file, argument of a command.
    help : str
        What they show.
    many : bool
        Whether there can be several.
    optional : bool
        Whether the measurement can do without.
    """

    name: str
    help: str
    many: bool = True
    optional: bool = False


@dataclasses.dataclass(frozen=True)
class Option:
    """One thing that can be said to a measurement, by the same name at every door.

    Attributes
    ----------
    name, unit, help : str
        As in the engine's request.
    kind : str
        "number", "integer", "flag", "text", "choice", "numbers", "texts".
    count : int
        For "numbers": how many; 0 = any number.
    choices : tuple of str
        Allowed words.
    default : object
        What holds when it is not given.
    low, high : float or None
        Allowed range.
    required : bool
        Whether it must be given.
    repeat : bool
        For several values of which there is mostly one: the option is given again for each.
    """

    name: str
    kind: str
    help: str
    unit: str = ""
    count: int = 0
    choices: tuple[str, ...] = ()
    default: Any = None
    low: float | None = None
    high: float | None = None
    required: bool = False
    repeat: bool = False

    @classmethod
    def of(cls, field: Field, **other: Any) -> Option:
        """The option of a field of the engine's request.

        Parameters
        ----------
        field : Field
            The declared field.
        **other
            What is to be said otherwise.
        """
        kind = "numbers" if field.kind.startswith("array") else field.kind
        said = {
            "name": field.name,
            "kind": kind,
            "help": plain_help(field.help),
            "unit": field.unit,
            "choices": field.choices,
            "default": field.default,
            "low": field.low,
            "high": field.high,
            "required": field.required,
        }
        return cls(**{**said, **other})

    def read(self, value: Any) -> Any:
        """What was typed (a text or a number, or a list of them) as the measurement takes it.

        Parameters
        ----------
        value : object
            From a command line or a campaign file.

        Returns
        -------
        object
            A Quantity where the option has a unit; numbers, words, lists.

        Raises
        ------
        InputError
            With the option's name, the value and what would do.
        """
        if self.kind == "flag":
            return _units.flag(value, self.name)
        if self.kind == "choice":
            return _units.choice(value, self.choices, self.name)
        if self.kind == "integer":
            return int(self._within(_units.integer(_number(value), self.name)))
        if self.kind == "number":
            return self._united(self._within(_units.number(value, self.unit, self.name)))
        if self.kind in ("texts", "numbers"):
            values = value if isinstance(value, (list, tuple)) else [value]
            if self.count and len(values) != self.count:
                raise InputError(
                    f"{self.name} has {len(values)} values; give {self.count}.",
                    code="input.count",
                    argument=self.name,
                )
            if self.kind == "texts":
                return [self._word(v) for v in values]
            read = [self._within(v) for v in _units.numbers(values, self.unit, self.name)]
            return self._united(read)
        return self._word(value)

    def _word(self, value: Any) -> str:
        if self.choices:
            return _units.choice(value, self.choices, self.name)
        if not isinstance(value, str) or not value:
            raise InputError(
                f"{self.name} is {value!r}; give a text.", code="input.text", argument=self.name
            )
        return value

    def _united(self, value: Any) -> Any:
        return value if _units.needs_no_unit(self.unit) else u.Quantity(value, self.unit)

    def _within(self, value: float) -> float:
        low, high = self.low, self.high
        if (
            not np.isfinite(value)
            or (low is not None and value < low)
            or (high is not None and value > high)
        ):
            span = (
                f"between {low:g} and {high:g}"
                if low is not None and high is not None
                else "finite"
                if low is None and high is None
                else f"at least {low:g}"
                if high is None
                else f"at most {high:g}"
            )
            unit = f" {self.unit}" if self.unit else ""
            raise InputError(
                f"{self.name} is {value:g}{unit}; it must be {span}{unit}.",
                code="input.range",
                argument=self.name,
            )
        return value


def _number(value: Any) -> Any:
    """A text from a command line as a number, where it is one."""
    try:
        return float(value) if isinstance(value, str) else value
    except ValueError:
        return value


def options(request: Request, names: str, *more: Option) -> tuple[Option, ...]:
    """Options of some fields of a request, then those that only the face knows.

    Parameters
    ----------
    request : Request
        The engine's.
    names : str
        Names of fields, separated by blanks.
    *more : Option
        Further ones; one with a name that is in `names` goes before it.
    """
    own = {o.name: o for o in more}
    declared = [own.pop(n) if n in own else Option.of(request[n]) for n in names.split()]
    return (*declared, *own.values())


def plain_help(text: str) -> str:
    """A field's text for those who type: what the engine calls NaN or empty is what holds otherwise."""
    text = re.sub(r"[;,] (NaN|empty)( or NaN| or 0)?( =|:)? ", "; otherwise ", text)
    return text.rstrip(".")


#: Where the sensor stood in the frames of a focus run.
FOCUS_RUN = (
    Option(
        "positions",
        "numbers",
        "sensor position of each frame of a run, growing away from the objective (default: the headers')",
        "um",
    ),
    Option(
        "focuser_step",
        "number",
        "how far one step of the focuser moves the sensor, for headers that count steps",
        "um",
    ),
)

#: Which image of a file that holds several: every measurement that reads frames has these.
IN_FILE = (
    Option("hdu", "text", "which HDU of the file (default: the first with an image)"),
    Option("plane", "integer", "which plane of a file with several, from 0"),
)


def in_file(given: dict[str, Any]) -> dict[str, Any]:
    """Takes the options of `IN_FILE` out of what was given, for `Setup.read`.

    Parameters
    ----------
    given : dict
        Options by name; shortened.
    """
    return {option.name: given.pop(option.name) for option in IN_FILE if option.name in given}


@dataclasses.dataclass(frozen=True)
class Setup:
    """What a door hands to a measurement.

    Attributes
    ----------
    files : dict of str to tuple of Path
        By role.
    options : dict
        By name, with units; what was not given is missing.
    telescope : Telescope or None
        Aperture, focal length, obstruction, vanes.
    camera : dict
        What goes before the frames' headers, for `starassay.read_frame`.
    threads : int
        Worker threads, 0 = one for each processor.
    progress : bool
        Show a bar.
    """

    files: Mapping[str, Sequence[Path]]
    options: Mapping[str, Any] = dataclasses.field(default_factory=dict)
    telescope: Telescope | None = None
    camera: Mapping[str, Any] = dataclasses.field(default_factory=dict)
    threads: int = 0
    progress: bool = False

    def read(self, path: str | Path, **how: Any) -> Frame:
        """A frame of this camera."""
        return read_frame(path, **{**self.camera, **how})

    def frames(self, role: str, **how: Any) -> list[Frame]:
        """All frames of a role."""
        return [self.read(path, **how) for path in self.files.get(role, ())]


@dataclasses.dataclass(frozen=True)
class Part:
    """One result with the frames that it came from.

    Attributes
    ----------
    label : str
        Frame or pair it belongs to.
    result : Result
        The measurement.
    aside : bool
        True when it is shown, but not taken into the entry's numbers (a further color, another telescope).
    """

    label: str
    result: Result
    aside: bool = False


@dataclasses.dataclass(frozen=True)
class Measurement:
    """One measurement as the doors see it.

    Attributes
    ----------
    area : str
        Its one name: ``[[area]]`` in a campaign, ``starassay measure area``.
    title, help : str
        In a few words, and one sentence.
    example : str
        A whole command.
    roles : tuple of Role
        Files it takes.
    options : tuple of Option
        What can be said to it.
    measure : callable
        From a `Setup` to its parts.
    telescope : str
        Facts of the telescope that it needs, and in brackets those that it can use.
    light : str
        Option that the filter of a campaign's entry fills in with its wavelength; "" for none.
    light_needed : bool
        Whether an entry without a filter cannot be measured.
    together : bool
        Whether all files of an entry are one measurement; else each of the first role by itself.
    pairs : bool
        Whether its two roles may be written as ``pairs = [[..., ...], ...]`` in a campaign.
    check : callable or None
        From files by role and options to the name of what is wrong and a sentence about it, before
        anything is measured; None when nothing is.
    draft : callable or None
        From all frames of a folder at a glance to the entries that this measurement would make of them.
    recipe : Recipe or None
        What it needs from a night that is still to come.
    watch : Watch or None
        What of it can be watched, frame by frame, while somebody turns screws. The frames are those of its first role.
    words : dict of str to str
        Terms that its report uses, with their meaning.
    caveat : str
        How far it goes; a sentence for reports.
    caution : tuple of str
        Title and text where taking the frames can hurt; empty for none.
    """

    area: str
    title: str
    help: str
    example: str
    roles: tuple[Role, ...]
    options: tuple[Option, ...]
    measure: Callable[[Setup], list[Part]]
    telescope: str = ""
    light: str = ""
    light_needed: bool = False
    together: bool = True
    pairs: bool = False
    check: Callable[
        [Mapping[str, Sequence[Path]], Mapping[str, Any]], tuple[str, str] | None
    ] | None = None
    draft: Callable[[Sequence[Glance]], list[Draft]] | None = None
    recipe: Recipe | None = None
    watch: Watch | None = None
    words: Mapping[str, str] = dataclasses.field(default_factory=dict)
    caveat: str = ""
    caution: tuple[str, ...] = ()

    @property
    def command(self) -> str:
        """Its word on the command line."""
        return self.area.replace("_", "-")

    def complaint(
        self, files: Mapping[str, Sequence[Path]], options: Mapping[str, Any]
    ) -> tuple[str, str] | None:
        """What contradicts itself, by name and in a sentence; None when nothing does."""
        return None if self.check is None else self.check(files, options)

    def groups(self, files: Mapping[str, Sequence[Path]]) -> list[dict[str, Sequence[Path]]]:
        """What is measured together: all files, or each of the first role by itself."""
        if self.together:
            return [dict(files)]
        first = self.roles[0].name
        return [{**files, first: (path,)} for path in files[first]]

    def facts(self) -> dict[str, bool]:
        """Facts of the telescope: name -> whether it is needed."""
        return {word.strip("[]"): not word.startswith("[") for word in self.telescope.split()}


#: What is known of a telescope, for the doors; the campaign has it under [telescope].
TELESCOPE = {
    "aperture": Option("aperture", "number", "diameter of the objective", "mm"),
    "focal_length": Option(
        "focal_length", "number", "at the sensor, reducer or flattener included", "mm"
    ),
    "obstruction": Option(
        "obstruction",
        "number",
        "diameter of the central obstruction over the aperture",
        low=0.0,
        high=0.9,
        default=0.0,
    ),
    "vanes": Option(
        "vanes",
        "texts",
        "vanes of the secondary mirror, each as its direction from +x towards +y and its width, "
        'such as "45 deg 2 mm"',
    ),
}

#: What is known of a camera where the header is silent or wrong; the campaign has it under [camera].
CAMERA = {
    "pitch": Option("pitch", "number", "pixel pitch, binning included", "um"),
    "gain": Option("gain", "number", "electrons for one ADU", "electron / adu"),
    "read_noise": Option("read_noise", "number", "read noise of a pixel", "electron"),
    "saturation": Option("saturation", "number", "level where pixels are clipped", "adu"),
    "exposure": Option("exposure", "number", "exposure time", "s"),
}

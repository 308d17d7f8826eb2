"""What comes back from a measurement: a result that tells itself, in a terminal, a notebook, a report."""

from __future__ import annotations

import base64
import dataclasses
import functools
import html
import inspect
import io
import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from ._records import NOTES, Quantity
from ._values import (
    Measured,
    Note,
    format_measured,
    json_text,
    notes_from_engine,
    to_plain,
)

if TYPE_CHECKING:
    from astropy.table import QTable

__all__ = [
    "Measured",
    "Note",
    "Picture",
    "Remedy",
    "Result",
    "Sheet",
    "format_measured",
    "json_text",
    "note_legend",
    "notes_from_engine",
    "say",
    "to_plain",
]

# Where matplotlib begins axes whose margins nobody has set.
_LEFT = 0.125

#: Ending of the file that holds a record's large arrays.
BULK = ".npz"

GRAVITY = {"doubt": 0, "caution": 1, "info": 2}


def say(code: str, text: str, subject: str = "") -> Note:
    """A note of a kind from the engine's one list, made on the Python side.

    Parameters
    ----------
    code : str
        Name from the list; an unknown one is a `KeyError`.
    text, subject : str
        As in `Note`.
    """
    return Note(code, NOTES[code][0], subject, text)


@dataclasses.dataclass(frozen=True)
class Picture:
    """A picture of a result, drawn when it is wanted.

    Attributes
    ----------
    draw : callable
        Makes the matplotlib figure.
    caption, alt : str
        What stands below it, and in its place for those who do not see it.
    width : str
        "" for the whole width of a page, "half", "narrow".
    """

    draw: Callable[[], Any]
    caption: str
    alt: str
    width: str = ""

    @property
    def figure(self) -> Any:
        """The matplotlib figure, new each time."""
        from .style import figure_style

        with figure_style():
            drawn = self.draw()
        return getattr(drawn, "figure", None) or drawn

    def source(self, dpi: int = 150) -> str:
        """The picture as the source of an <img>; those of half a page keep their margins, so that pairs align.

        Parameters
        ----------
        dpi : int
            Dots an inch.
        """
        drawn = self.figure
        own = drawn.subplotpars.left != _LEFT
        if self.width == "half" and not own and drawn.get_layout_engine() is None:
            drawn.set_layout_engine("constrained")
        return figure_source(drawn, dpi=dpi, trim=self.width != "half")


@dataclasses.dataclass(frozen=True)
class Sheet:
    """A short table for people, every cell a text.

    Attributes
    ----------
    caption : str
        What it shows.
    head : tuple of str
        Titles of the columns.
    rows : tuple of tuple of str
        Cells.
    words : int
        How many columns from the left hold words rather than numbers.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: int = 1

    def lines(self) -> list[str]:
        """The table as lines of a terminal."""
        rows = [self.head, *self.rows]
        wide = [max(len(row[k]) for row in rows) for k in range(len(self.head))]
        return [
            "  "
            + "  ".join(
                cell.ljust(w) if k < self.words else cell.rjust(w)
                for k, (cell, w) in enumerate(zip(row, wide))
            ).rstrip()
            for row in rows
        ]


@dataclasses.dataclass(frozen=True)
class Remedy:
    """What can be done about something that a measurement found.

    Attributes
    ----------
    about : str
        What is adjusted, in a word or two: "the spacing".
    hands : str
        Who does it: "user", "optician", "nobody"; "around" where nothing is mended, but one can live with it.
    amount : Measured
        By how much.
    text : str
        What to do, by how much, and how to check it.
    mends : tuple of str
        Quantities that it changes.
    defocus : float
        Defocus of the corners that goes, um, the middle being in focus; NaN where it is of another kind.
    gain : str
        What else it gains, a sentence; "" for nothing.
    """

    about: str
    hands: str
    amount: Measured
    text: str
    mends: tuple[str, ...] = ()
    defocus: float = np.nan
    gain: str = ""


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True)
class Result:
    """Base of every measurement's result: plain data that copies, pickles, prints and tells itself.

    Attributes
    ----------
    notes : tuple of Note
        What the reader must know, as the measurement met it.
    conditions : dict
        Frames, wavelength, passband, request, versions.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    """

    notes: tuple[Note, ...]
    conditions: dict[str, Any]
    quantities: tuple[Quantity, ...] = ()

    #: What the columns of `table` hold that are no attributes.
    COLUMNS: ClassVar[Mapping[str, str]] = {
        "value": "The number.",
        "uncertainty": "Standard uncertainty (k = 1).",
        "unit": "Unit of the number.",
    }

    def __init_subclass__(cls, **other: Any) -> None:
        super().__init_subclass__(**other)
        own = cls.__dict__.get("table")
        if isinstance(own, property) and own.fget is not None:
            setattr(cls, "table", property(described(own.fget), doc=own.__doc__))
        elif isinstance(own, functools.cached_property):
            own.func = described(own.func)

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        return type(self).__name__

    @property
    def table(self) -> QTable:
        """The numbers as a table with units."""
        raise NotImplementedError

    def plot(self, ax: Any = None) -> Any:
        """The result as a picture; returns the matplotlib axes."""
        raise NotImplementedError

    def sentences(self) -> list[str]:
        """What was found, in a few sentences with numbers, units and conditions; without the notes."""
        return []

    def sheets(self) -> list[Sheet]:
        """Short tables for people."""
        return []

    def figures(self) -> list[Picture]:
        """The pictures that show the result, most telling first."""
        return [Picture(self.plot, self.title, self.title)]

    def summary(self) -> list[str]:
        """Lines for a terminal: the sentences, then the short tables; without the notes."""
        lines = list(self.sentences())
        for sheet in self.sheets():
            lines += ["", f"{sheet.caption}:", *sheet.lines()]
        return lines

    def advice(self) -> dict[str, Any]:
        """What it contributes to the advice beside its quantities, as the engine's request has it."""
        return {}

    def optics(self) -> dict[str, Any]:
        """What it knows of the telescope for drawn views: ``pupil`` with its ``aperture``, ``seeing``, ``colors``; {} for nothing."""
        return {}

    def remedies(self) -> list[Remedy]:
        """What can be done about what was found; only where it stands out of its uncertainty."""
        return []

    def basis(self, quantity: str) -> str:
        """What a quantity is for, beside its wavelength: a band, for example; "" when there is nothing to say.

        Parameters
        ----------
        quantity : str
            Name from the one list.
        """
        return ""

    def why_not(self, quantity: str) -> tuple[str, str] | None:
        """Why it does not give a quantity that its kind can give, and what to do; None = it cannot say.

        Parameters
        ----------
        quantity : str
            Name from the one list.
        """
        return None

    @property
    def doubts(self) -> tuple[str, ...]:
        """Texts of the notes that forbid a decision."""
        return tuple(n.text for n in self.notes if n.level == "doubt")

    def to_dict(self) -> dict[str, Any]:
        """The whole record as plain types: numbers with units beside them, arrays as lists."""
        fields = {f.name: getattr(self, f.name) for f in dataclasses.fields(self)}
        return {"kind": type(self).__name__, **{k: to_plain(v) for k, v in fields.items()}}

    def write_json(self, path: str | Path) -> None:
        """Write the record as JSON; maps and images go beside it, compressed.

        NaN becomes null, since JSON has no NaN. An array of more than a few thousand numbers stands in a file of
        the same name that ends in ``.npz`` (`numpy.load` reads it), and its place holds
        ``{"file": ..., "array": ..., "shape": ...}``.

        Parameters
        ----------
        path : str or Path
            The file.
        """
        path = Path(path)
        text, bulk = self.json_parts(path.with_suffix(BULK).name)
        path.write_text(text, encoding="utf-8")
        if bulk:
            write_bulk(path.with_suffix(BULK), bulk)

    def json_parts(self, name: str) -> tuple[str, dict[str, np.ndarray]]:
        """The record as JSON text, and the arrays that are too large for it.

        Parameters
        ----------
        name : str
            Of the file that will hold the arrays.
        """
        bulk: dict[str, np.ndarray] = {}
        fields = {f.name: getattr(self, f.name) for f in dataclasses.fields(self)}
        plain = {k: to_plain(v, aside=(name, k, bulk)) for k, v in fields.items()}
        return json_text({"kind": type(self).__name__, **plain}), bulk

    def __eq__(self, other: object) -> bool:
        return type(self) is type(other) and self.to_dict() == other.to_dict()  # type: ignore[attr-defined]

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        said = self.sentences()
        heavy = sorted({n.level for n in self.notes if n.level != "info"}, key=GRAVITY.__getitem__)
        tail = "".join(
            f", {count} {level}{'s' if count > 1 else ''}"
            for level in heavy
            if (count := sum(n.level == level for n in self.notes))
        )
        return f"<{type(self).__name__}: {(said[0] if said else self.title).rstrip('.')}{tail}>"

    def _repr_html_(self) -> str:
        """The card of a notebook: key sentences, the first picture, short tables, notes."""
        parts = [f"<strong>{html.escape(self.title)}</strong>"]
        parts += [f"<p style='margin:.3em 0'>{html.escape(s)}</p>" for s in self.sentences()]
        for picture in self.figures()[:1]:
            parts.append(
                f"<img style='max-width:32em' alt='{html.escape(picture.alt, quote=True)}' "
                f"src='{picture.source(dpi=90)}'>"
            )
        parts += [_sheet_html(sheet) for sheet in self.sheets()]
        parts += [
            f"<p style='margin:.3em 0'><em>{n.level}</em> {html.escape(n.text)}</p>"
            for n in sorted(self.notes, key=lambda n: GRAVITY.get(n.level, 3))
            if n.level != "info"
        ]
        return "<div style='max-width:46em'>" + "".join(parts) + "</div>"


def described(make: Callable[[Any], QTable]) -> Callable[[Any], QTable]:
    """A function that makes a result's table, with the description of each column that has none.

    Columns are called like the attributes that they come from, and so is what they hold.
    """

    @functools.wraps(make)
    def made(result: Any) -> QTable:
        table = make(result)
        kind: Any = type(result)
        words = column_words(kind)
        for name in table.colnames:
            if not table[name].info.description and name in words:
                table[name].info.description = words[name]
        return table

    return made


@functools.lru_cache(maxsize=None)
def column_words(kind: type) -> Mapping[str, str]:
    """What each attribute of a class holds, from the docstrings of the class and its bases."""
    words: dict[str, str] = {}
    for base in reversed(kind.__mro__):
        text = inspect.cleandoc(base.__dict__.get("__doc__") or "")
        _, _, attributes = text.partition("Attributes\n----------\n")
        for names, said in re.findall(
            r"^(\w[\w, ]*) : .*\n((?:    .*\n?)+)", attributes, re.MULTILINE
        ):
            words.update(dict.fromkeys(names.split(", "), " ".join(said.split())))
        words.update(base.__dict__.get("COLUMNS", {}))
    return words


def _sheet_html(sheet: Sheet) -> str:
    def row(cells: Sequence[str], tag: str) -> str:
        return "<tr>" + "".join(f"<{tag}>{html.escape(c)}</{tag}>" for c in cells) + "</tr>"

    body = "".join(row(r, "td") for r in sheet.rows)
    return (
        f"<table><caption style='text-align:left'>{html.escape(sheet.caption)}</caption>"
        f"<thead>{row(sheet.head, 'th')}</thead><tbody>{body}</tbody></table>"
    )


def figure_source(figure: Any, form: str = "png", dpi: int = 150, trim: bool = True) -> str:
    """A matplotlib figure as the source of an <img>; the figure is closed."""
    import matplotlib as mpl
    import matplotlib.pyplot as plt

    buffer = io.BytesIO()
    # No date inside and names that do not change, so that the same results make the same page.
    metadata = {"Date": None} if form == "svg" else {"Software": None}
    # The house's style trims; None would mean the style's own word here.
    box = "tight" if trim else figure.bbox_inches
    with mpl.rc_context({"svg.hashsalt": "starassay"}):
        figure.savefig(buffer, format=form, dpi=dpi, bbox_inches=box, metadata=metadata)
    plt.close(figure)
    kind = "image/svg+xml" if form == "svg" else "image/png"
    return f"data:{kind};base64,{base64.b64encode(buffer.getvalue()).decode()}"


def write_bulk(path: Path, arrays: Mapping[str, np.ndarray]) -> None:
    """Arrays by name into one compressed file, the same bytes for the same arrays."""
    with path.open("wb") as stream:
        np.savez_compressed(stream, **arrays)  # type: ignore[arg-type]


def by_gravity(notes: Sequence[Note]) -> list[Note]:
    """Notes with the heaviest first."""
    return sorted(notes, key=lambda n: GRAVITY.get(n.level, 3))


def note_legend() -> QTable:
    """Every kind of note the engine can make: code, level, meaning."""
    from astropy.table import QTable

    return QTable(
        {
            "code": list(NOTES),
            "level": [level for level, _ in NOTES.values()],
            "meaning": [meaning for _, meaning in NOTES.values()],
        }
    )

"""Compares what two or more report folders hold: before and after an adjustment, loan against own telescope."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from astropy.table import QTable

from .. import _gateway, _units
from .._records import QUANTITIES, QuantityComparison
from .._values import Measured, format_measured
from ..decisions.deciding import raw_quantity
from ..errors import InputError
from ..results import Picture, Result, Sheet
from .report_folders import Folder, labelled, read_folder

#: Temperatures farther apart than this are said: glass and cells change with it (a judgment, no source).
_LIKE_TEMPERATURE = 8.0


@dataclasses.dataclass(frozen=True)
class Row:
    """One quantity of a folder against the first folder.

    Attributes
    ----------
    quantity : str
        Its name.
    first, second : str
        Labels of the folders.
    result : QuantityComparison
        The difference, or why there is none.
    """

    quantity: str
    first: str
    second: str
    result: QuantityComparison


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ReportComparison(Result):
    """Two or more report folders on the same footing.

    Attributes
    ----------
    folders : tuple of Folder
        The first is the one that the others are held against.
    rows : tuple of Row
        Every quantity that both have, folder by folder.
    alone : tuple of str
        Sentences on what only one of them has.
    unlike : tuple of str
        Sentences on conditions that differ.
    """

    folders: tuple[Folder, ...]
    rows: tuple[Row, ...]
    alone: tuple[str, ...]
    unlike: tuple[str, ...]

    COLUMNS = {
        "difference": "Second less first.",
        "score": "Difference over twice its standard uncertainty: beyond 1 they are told apart.",
        "verdict": "Which is the better one, or why that is not said.",
    }

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        same = len({(f.telescope, f.sample) for f in self.folders}) == 1
        return (
            f"{self.folders[0].telescope}, before and after"
            if same
            else " and ".join(dict.fromkeys(f.telescope for f in self.folders))
        )

    @property
    def table(self) -> QTable:
        """One row a quantity and folder."""
        of = self.rows
        by = {f.label: f for f in self.folders}

        def value(row: Row, label: str) -> Measured:
            return by[label].quantities[row.quantity].value

        return QTable(
            {
                "quantity": [r.quantity for r in of],
                "first": [r.first for r in of],
                "first_value": [value(r, r.first).value.value for r in of],
                "first_uncertainty": [value(r, r.first).uncertainty.value for r in of],
                "second": [r.second for r in of],
                "second_value": [value(r, r.second).value.value for r in of],
                "second_uncertainty": [value(r, r.second).uncertainty.value for r in of],
                "difference": [r.result.difference.value.value for r in of],
                "uncertainty": [r.result.difference.uncertainty.value for r in of],
                "unit": [QUANTITIES[r.quantity].unit for r in of],
                "score": [r.result.score for r in of],
                "verdict": [verdict(r) for r in of],
                "reason": [r.result.reason for r in of],
            }
        )

    def sentences(self) -> list[str]:
        """Who is compared, how many numbers differ, and every difference."""
        first = self.folders[0]
        lines = [
            ", ".join(
                dict.fromkeys(
                    filter(
                        None, (f"{f.label}: {f.campaign}", _other(f.night_words, f.label), f.place)
                    )
                )
            )
            + "."
            for f in self.folders
        ]
        for other in self.folders[1:]:
            rows = [r for r in self.rows if r.second == other.label]
            counts = {
                f"better with {other.label}": f"{other.label} better",
                f"better with {first.label}": f"{first.label} better",
                "different": "different",
                "not told apart": "not told apart",
                "not compared": "not compared",
            }
            said = [
                f"{n} {'is' if n == 1 else 'are'} {words}"
                for words, word in counts.items()
                if (n := sum(verdict(r) == word for r in rows))
            ]
            lines.append(
                f"Of {len(rows)} numbers of {other.label} and {first.label}, {', '.join(said)}."
                if rows
                else f"{other.label} and {first.label} have no number in common."
            )
        lines += [r.result.reason for r in self.rows if r.result.differ]
        return lines + [*self.unlike]

    def sheets(self) -> list[Sheet]:
        """A table for each folder that is held against the first, then why numbers are not compared."""
        made = []
        for other in self.folders[1:]:
            rows = [r for r in self.rows if r.second == other.label]
            cells = tuple(self._cells(r) for r in rows)
            head = ("quantity", self.folders[0].label, other.label, "difference", "verdict")
            made.append(Sheet(f"{other.label} against {self.folders[0].label}", head, cells))
        return made

    def _cells(self, row: Row) -> tuple[str, ...]:
        by = {f.label: f for f in self.folders}
        d = row.result.difference
        unit = QUANTITIES[row.quantity].unit
        return (
            QUANTITIES[row.quantity].label,
            str(by[row.first].quantities[row.quantity].value),
            str(by[row.second].quantities[row.quantity].value),
            format_measured(float(d.value.value), float(d.uncertainty.value), unit)
            if row.result.comparable
            else "–",
            verdict(row),
        )

    def summary(self) -> list[str]:
        """Lines for a terminal."""
        lines = [self.title, "", *super().summary()]
        reasons = [r.result.reason for r in self.rows if not r.result.comparable]
        if reasons:
            lines += ["", "Not compared:", *(f"  {reason}" for reason in dict.fromkeys(reasons))]
        return lines + ([""] + list(self.alone) if self.alone else [])

    def plot(self, ax: Any = None) -> Any:
        """Scores of all differences: to the right the second is larger; beyond the lines they are told apart."""
        from ..style import BLUE, GREY, INK, ORANGE, entitle, figure_style, new_axes

        shown = [r for r in self.rows if r.result.comparable][::-1]
        with figure_style():
            ax = new_axes(ax, figsize=(7.2, 1.4 + 0.32 * max(1, len(shown))), layout="constrained")
            several = len(self.folders) > 2
            for k, r in enumerate(shown):
                told = r.result.differ
                score = float(np.clip(r.result.score, -5, 5))
                ax.plot([0, score], [k, k], color=ORANGE if told else GREY, lw=2)
                ax.plot(
                    [score], [k], marker="o" if told else "s", color=ORANGE if told else BLUE, ms=6
                )
            for x in (-1, 1):
                ax.axvline(x, color=INK, lw=0.9, ls="--")
            ax.axvline(0, color=INK, lw=0.8)
            names = [
                QUANTITIES[r.quantity].label + (f", {r.second}" if several else "") for r in shown
            ]
            ax.set_yticks(range(len(shown)), names, fontsize=8)
            ax.set(
                xlim=(-5.4, 5.4),
                ylim=(-0.8, max(len(shown), 1) - 0.2),
                xlabel="difference over twice its uncertainty, second less first (cut at 5)",
            )
            entitle(ax, "Circles: told apart; squares: not", fontsize=9)
        return ax

    def figures(self) -> list[Picture]:
        """All differences in one picture."""
        words = "; ".join(
            f"{QUANTITIES[r.quantity].label} {r.result.score:+.1f}"
            for r in self.rows
            if r.result.comparable
        )
        return [
            Picture(
                self.plot,
                "Difference of each number over twice its standard uncertainty; beyond the dashed lines they are told apart.",
                f"Scores: {words or 'nothing could be compared'}.",
            )
        ]

    def page(self) -> str:
        """The comparison as one HTML page that prints on A4 and asks for nothing from the network."""
        from .pages import environment_with_style, kept_together

        environment, css = environment_with_style()
        picture = self.figures()[0]
        text = environment.get_template("comparison.html.j2").render(
            css=css,
            comparison=self,
            sheets=self.sheets(),
            reasons=list(
                dict.fromkeys(r.result.reason for r in self.rows if not r.result.comparable)
            ),
            picture=picture,
            image=picture.source(),
        )
        return kept_together(text)

    def write_page(self, path: str | Path) -> None:
        """Write the page.

        Parameters
        ----------
        path : path
            The HTML file.
        """
        _units.path_of(path, "path").write_text(self.page(), encoding="utf-8")


def verdict(row: Row) -> str:
    """A row's outcome in a few words.

    Parameters
    ----------
    row : Row
        Of a comparison.
    """
    if not row.result.comparable:
        return "not compared"
    if row.result.ranking == "first":
        return f"{row.first} better"
    if row.result.ranking == "second":
        return f"{row.second} better"
    return "different" if row.result.differ else "not told apart"


def compare_reports(folders: Sequence[str | Path]) -> ReportComparison:
    """Hold the numbers of report folders against those of the first one.

    Parameters
    ----------
    folders : sequence of path
        Two or more folders that ``starassay run`` has written: of one telescope before and after an
        adjustment, or of several telescopes.

    Returns
    -------
    ReportComparison
        Differences with uncertainty, and what cannot be compared, with the reason.

    Raises
    ------
    InputError
        With fewer than two folders, or one twice.
    FileError
        When a folder is no report.
    """
    paths = [_units.path_of(p, "folders") for p in _units.several(folders, "folders")]
    if len(paths) < 2 or len({p.resolve() for p in paths}) < len(paths):
        raise InputError(
            f"folders names {len({p.resolve() for p in paths})} report folder(s); a comparison needs two or more "
            "different ones.",
            code="compare.folders",
            argument="folders",
        )
    read = labelled([read_folder(p) for p in paths])
    first = read[0]
    rows = [
        Row(name, first.label, other.label, _compared(name, first, other))
        for other in read[1:]
        for name in QUANTITIES
        if name in first.quantities and name in other.quantities
    ]
    return ReportComparison(
        notes=(),
        conditions={"folders": [str(p) for p in paths]},
        folders=tuple(read),
        rows=tuple(rows),
        alone=tuple(_alone(read)),
        unlike=tuple(_unlike(first, read[1:])),
    )


def _compared(name: str, first: Folder, second: Folder) -> QuantityComparison:
    """One quantity of two folders by the engine's rule."""

    def side(f: Folder) -> dict[str, Any]:
        seeing = f.quantities.get("seeing")
        return {
            "name": f.label,
            "quantity": raw_quantity(f.quantities[name]),
            "seeing": None if seeing is None or seeing.doubts else raw_quantity(seeing),
            "diagonal_mm": f.diagonals.get(name, math.nan),
            "basis": f.basis.get(name, ""),
        }

    same = (first.telescope, first.sample, first.setup) == (
        second.telescope,
        second.sample,
        second.setup,
    )
    record = _gateway.call(
        "decisions.compare-quantities",
        {"first": side(first), "second": side(second), "same_setup": same},
    )
    return QuantityComparison.from_engine(record)


def _other(text: str, label: str) -> str:
    """A text, unless the label says it already."""
    return "" if text in label else text


def _alone(folders: Sequence[Folder]) -> Iterable[str]:
    """What not all of them have."""
    everywhere = set.intersection(*(set(f.quantities) for f in folders))
    for f in folders:
        own = [QUANTITIES[n].label for n in QUANTITIES if n in f.quantities and n not in everywhere]
        if own:
            yield f"Not in every folder, but in that of {f.label}: {'; '.join(own)}."


def _unlike(first: Folder, others: Sequence[Folder]) -> Iterable[str]:
    """Conditions that differ and that no number knows of."""
    for f in others:
        if abs(f.temperature - first.temperature) > _LIKE_TEMPERATURE:
            yield (
                f"It was {first.temperature:.0f} °C for {first.label} and {f.temperature:.0f} °C for {f.label}: glass and "
                "cells change with temperature, and no uncertainty holds that."
            )
        if f.telescope == first.telescope and f.setup[:4] != first.setup[:4]:
            yield (
                f"The campaign files give {first.label} and {f.label} another aperture, focal length, obstruction or vanes: "
                "check that both are right."
            )


__all__ = ["ReportComparison", "Row", "compare_reports"]

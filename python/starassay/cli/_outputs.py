"""Files that a command was asked to write: checked before anything is done, figures drawn without a window."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from .._files import require_room
from ..errors import FileError, InputError

FIGURES = (".png", ".svg", ".pdf")
# The record of a wavefront with its images is the largest file.
ROOM = 20_000_000


def require_targets(
    *, json: str | None = None, table: str | None = None, plot: str | None = None
) -> None:
    """Say what cannot be written before anything is measured; '-' is standard output."""
    for name in (json, table, plot):
        if not name or name == "-":
            continue
        path = Path(name)
        if not path.parent.is_dir():
            raise FileError(
                f"There is no folder {path.parent} for {path.name}. Make it first.",
                code="file.folder",
                subject=name,
            )
        if path.is_dir():
            raise FileError(
                f"{path} is a folder. Name a file in it.", code="file.folder", subject=name
            )
        require_room(path.parent, ROOM, path.name, "Name another folder.")
    if plot and Path(plot).suffix.lower() not in FIGURES:
        raise InputError(
            f"A figure cannot be written as '{Path(plot).suffix}'. Name it .png, .svg or .pdf.",
            code="file.figure",
            argument="plot",
        )


def save_figure(plot: Callable[[], Any], path: Path) -> None:
    """Draw into a file what `plot` returns: a figure, axes, or arrays of axes."""
    import matplotlib

    # No window: this is a file.
    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    from ..style import figure_style

    with figure_style():
        drawn = plot()
        while hasattr(drawn, "__len__") and not hasattr(drawn, "figure"):
            drawn = drawn.ravel()[0] if hasattr(drawn, "ravel") else drawn[0]
        figure = drawn.figure if hasattr(drawn, "figure") and drawn.figure else drawn
        figure.savefig(path)
        plt.close(figure)

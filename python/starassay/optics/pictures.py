"""What the views of a wavefront give back: arrays with their scales, and how each is drawn."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
from astropy import units as u

from .. import style
from .._values import short_repr

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class FocusedImage:
    """The image of a star at focus, without seeing and pixels.

    Attributes
    ----------
    intensity : ndarray, shape (m, m)
        1 = center of the perfect telescope's image.
    position : Quantity, shape (m,)
        Coordinate of the samples along either axis on the sensor.
    airy_radius : Quantity
        First dark ring of a clear perfect aperture.
    center_ratio : float
        Intensity in the center: the Strehl ratio when the map holds no tilt.
    shift : Quantity
        Position of the screen, positive away from the objective.
    """

    intensity: np.ndarray
    position: u.Quantity
    airy_radius: u.Quantity
    center_ratio: float
    shift: u.Quantity = 0 * u.um

    def __repr__(self) -> str:
        return short_repr(self)

    def plot(self, ax: Any = None) -> Any:
        """Draw the image on a logarithmic scale with the Airy disc's ring; returns the axes."""
        from matplotlib.colors import LogNorm
        from matplotlib.patches import Circle

        with style.figure_style():
            ax = style.new_axes(ax, figsize=(4.6, 4.0))
            edge = self.position.to_value(u.um)[-1]
            shown = ax.imshow(
                np.maximum(self.intensity, 1e-4),
                extent=(-edge, edge, -edge, edge),
                norm=LogNorm(1e-4, 1),
                cmap="magma",
                interpolation="bilinear",
            )
            ax.add_patch(
                Circle(
                    (0, 0), self.airy_radius.to_value(u.um), fill=False, ec="white", ls="--", lw=1
                )
            )
            ax.set(xlabel="x on the sensor (µm)", ylabel="y (µm)")
            at = self.shift.to_value(u.mm)
            style.entitle(ax, f"Star {at:+.2f} mm from focus" if at else "Star at focus")
            ax.figure.colorbar(shown, cax=style.bar_axes(ax), label="intensity, perfect center = 1")
        return ax


def _beside_perfect(
    x: np.ndarray,
    perfect: np.ndarray,
    curves: dict[str, np.ndarray],
    ax: Any,
    title: str,
    **words: str,
) -> Any:
    """Shares from 0 to 1 against x, the perfect telescope's dashed behind them."""
    with style.figure_style():
        ax = style.new_axes(ax, figsize=(5.4, 3.8))
        ax.plot(x, perfect, color=style.GREY, ls="--", label="perfect, same obstruction")
        # Told apart by their strokes too: not everybody sees or prints the colors.
        looks = ((style.BLUE, "-"), (style.ORANGE, "-."))
        for (label, curve), (color, stroke) in zip(curves.items(), looks, strict=False):
            ax.plot(x, curve, color=color, ls=stroke, label=label)
        style.entitle(ax, title)
        ax.set(ylim=(0, 1.02), xlim=(0, x[-1]), **words)
        ax.grid(True)
        ax.legend()
    return ax


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class Modulation:
    """Transfer of contrast and encircled energy, beside the perfect telescope's.

    Attributes
    ----------
    table : QTable
        frequency (share of the cutoff), per_mm, horizontal, vertical, mean, perfect.
    energy : QTable
        radius (um), encircled, perfect: share of the light inside the radius.
    """

    table: QTable
    energy: QTable

    def __repr__(self) -> str:
        return short_repr(self)

    def plot(self, ax: Any = None) -> Any:
        """Draw the MTF curves; returns the axes."""
        return _beside_perfect(
            self.table["per_mm"].value,
            self.table["perfect"],
            {
                "detail along x": self.table["horizontal"],
                "detail along y": self.table["vertical"],
            },
            ax,
            xlabel="spatial frequency on the sensor (cycles/mm)",
            ylabel="contrast transfer (MTF)",
            title="Contrast transfer",
        )

    def plot_energy(self, ax: Any = None) -> Any:
        """Draw the encircled energy; returns the axes."""
        return _beside_perfect(
            self.energy["radius"].value,
            self.energy["perfect"],
            {"this telescope": self.energy["encircled"]},
            ax,
            xlabel="radius on the sensor (µm)",
            ylabel="share of the light inside",
            title="Encircled energy",
        )


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class PupilView:
    """A picture of the pupil: shadows or fringes.

    Attributes
    ----------
    brightness : ndarray, shape (n, n)
        1 = the pupil with nothing in the way (shadows), or the brightest fringe; NaN or 0 outside.
    title : str
        What it is, with its settings.
    """

    brightness: np.ndarray
    title: str

    def __repr__(self) -> str:
        return short_repr(self)

    def plot(self, ax: Any = None) -> Any:
        """Draw the pupil upright, as projected on the sky side's x and y; returns the axes."""
        with style.figure_style():
            ax = style.new_axes(ax, figsize=(4.0, 4.0))
            top = max(1.0, float(np.nanpercentile(self.brightness, 99.5)))
            dark = np.isfinite(self.brightness) & (self.brightness > 0)
            style.show_pupil(
                ax, self.brightness, dark * 1.0, cmap=style.IMAGE, vmin=0, vmax=top, ground="black"
            )
            style.entitle(ax, self.title)
        return ax

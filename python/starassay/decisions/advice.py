"""What limits the images, and what to adjust by how much in which direction."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from astropy import units as u

from .. import _gateway
from ..results import Measured, Result, notes_from_engine

if TYPE_CHECKING:
    from astropy.table import QTable


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Advice(Result):
    """What limits the images and what to do about it.

    Attributes
    ----------
    limited_by : str
        "seeing", "optics", "diffraction", "pixels", "the rest", or "" when it cannot be said.
    limit : str
        One sentence.
    blur : tuple of dict
        name, fwhm (Measured), share, meaning: parts of the stars' blur, largest first.
    families : tuple of dict
        name, rms (Measured), share, direction (Measured): parts of the wavefront error.
    steps : tuple of dict
        about, hands ("user", "around", "optician", "nobody"), amount, direction (Measured), text; in a campaign also
        claims, gain and test.
    """

    limited_by: str
    limit: str
    blur: tuple[dict[str, Any], ...]
    families: tuple[dict[str, Any], ...]
    steps: tuple[dict[str, Any], ...]

    COLUMNS = {
        "part": "Cause of the blur.",
        "fwhm": "Its own full width at half maximum.",
        "share": "Its share of the squared blur.",
    }

    @property
    def table(self) -> QTable:
        """Parts of the blur."""
        from astropy.table import QTable

        return QTable(
            {
                "part": [b["name"] for b in self.blur],
                "fwhm": u.Quantity([b["fwhm"].value.value for b in self.blur], u.arcsec),
                "share": [b["share"] for b in self.blur],
            }
        )

    def sentences(self) -> list[str]:
        """The limit, then each step."""
        return [self.limit, *(s["text"] for s in self.steps)]

    def plot(self, ax: Any = None) -> Any:
        """Parts of the blur as bars."""
        from ..style import BLUE, new_axes

        ax = new_axes(ax, figsize=(5.2, 0.45 * len(self.blur) + 0.9))
        names = [b["name"] for b in self.blur][::-1]
        widths = [b["fwhm"].value.value for b in self.blur][::-1]
        ax.barh(names, widths, color=BLUE, height=0.55)
        for i, (width, part) in enumerate(zip(widths, self.blur[::-1])):
            ax.annotate(
                f'{width:.2f}"  ({100 * part["share"]:.0f} %)',
                (width, i),
                xytext=(5, 0),
                textcoords="offset points",
                va="center",
            )
        ax.set(xlabel="own width, FWHM (arcsec); share of the squared width")
        ax.set_xlim(0, max([*widths, 1e-3]) * 1.32)
        ax.tick_params(axis="y", length=0)
        ax.spines["left"].set_visible(False)
        return ax


def advise(request: Mapping[str, Any]) -> Advice:
    """What limits the images, and what to adjust by how much in which direction.

    Parameters
    ----------
    request : mapping
        Fields of the engine's advice request: ``aperture_mm`` and ``focal_length_mm``; further
        ``design``, ``wavelength_nm``, ``strehl``, ``noll``, ``coefficients_nm``,
        ``uncertainties_nm``, ``star_fwhm_arcsec``, ``seeing_fwhm_arcsec``, ``pixel_arcsec``, ...

    Returns
    -------
    Advice
        Limits, parts and steps.
    """
    record = _gateway.call("decisions.advise", request)
    return Advice(
        notes=notes_from_engine(record["notes"]),
        conditions={"request": dict(request)},
        limited_by=record["limited_by"],
        limit=record["limit"],
        blur=tuple(
            {
                "name": b["name"],
                "fwhm": Measured.from_engine(b["fwhm_arcsec"]),
                "share": b["share"],
                "meaning": b["meaning"],
            }
            for b in record["blur"]
        ),
        families=tuple(
            {
                "name": f["name"],
                "rms": Measured.from_engine(f["rms"]),
                "share": f["share"],
                "direction": Measured.from_engine(f["direction_deg"]),
            }
            for f in record["families"]
        ),
        steps=tuple(
            {
                "about": a["about"],
                "hands": a["hands"],
                "amount": Measured.from_engine(a["amount"]),
                "direction": Measured.from_engine(a["direction_deg"]),
                "text": a["text"],
            }
            for a in record["advice"]
        ),
    )

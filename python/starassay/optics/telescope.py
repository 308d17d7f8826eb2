"""A telescope as a measurement must know it: aperture, focal length, what stands in the light."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from typing import Any

import numpy as np
from astropy import units as u

from .. import _units
from ..errors import InputError


@dataclasses.dataclass(frozen=True)
class Vane:
    """One straight vane that holds the secondary mirror, from the center to the edge.

    Attributes
    ----------
    angle : Quantity
        Direction from the center, from +x towards +y.
    width : Quantity
        Its width.
    """

    angle: u.Quantity
    width: u.Quantity


def read_vanes(texts: Sequence[str] | None) -> tuple[Vane, ...]:
    """Vanes from texts, each a direction and a width: ``"45 deg 2 mm"``.

    Parameters
    ----------
    texts : sequence of str or None
        One for each vane.

    Returns
    -------
    tuple of Vane
        In the same order.

    Raises
    ------
    InputError
        When a text holds anything else.
    """
    found = []
    for text in texts or ():
        parts = re.fullmatch(r"\s*(-?[\d.]+\s*[a-z]+)[\s,]+([\d.]+\s*[a-z]+)\s*", text)
        if parts is None:
            raise InputError(
                f"vanes: '{text}' is not a direction and a width. Write for example \"45 deg 2 mm\".",
                code="telescope.vanes",
                argument="vanes",
            )
        found.append(
            Vane(
                _units.quantity(parts[1], u.deg, "vanes"), _units.quantity(parts[2], u.mm, "vanes")
            )
        )
    return tuple(found)


@dataclasses.dataclass(frozen=True)
class Telescope:
    """What passes light, and how far behind it the sensor stands.

    Attributes
    ----------
    aperture : Quantity or str
        Diameter of the entrance pupil, for example ``"115 mm"``.
    focal_length : Quantity or str
        At the sensor, reducer or flattener included.
    obstruction : float
        Diameter of the central obstruction over the aperture, 0 for a refractor.
    vanes : tuple of Vane
        Vanes of the secondary mirror.
    name : str
        For captions.

    Examples
    --------
    >>> from starassay import Telescope
    >>> Telescope("115 mm", "760 mm").focal_ratio  # doctest: +FLOAT_CMP
    6.608695652173913
    """

    aperture: u.Quantity
    focal_length: u.Quantity
    obstruction: float = 0.0
    vanes: tuple[Vane, ...] = ()
    name: str = ""

    def __post_init__(self) -> None:
        for key in ("aperture", "focal_length"):
            value = _units.quantity(getattr(self, key), u.mm, key)
            if not (value.isscalar and np.isfinite(value.value) and value.value > 0):
                raise InputError(
                    f"{key} is {value}; it must be a length above zero.",
                    code="telescope.length",
                    argument=key,
                )
            object.__setattr__(self, key, value)
        obstruction = _units.number(self.obstruction, "", "obstruction")
        if not 0 <= obstruction < 1:
            raise InputError(
                f"obstruction is {obstruction:g}; it is a ratio of diameters, from 0 to below 1.",
                code="telescope.obstruction",
                argument="obstruction",
            )
        object.__setattr__(self, "obstruction", obstruction)

    @property
    def focal_ratio(self) -> float:
        """Focal length over aperture."""
        return float(self.focal_length / self.aperture)

    def pupil_request(self) -> dict[str, Any]:
        """The pupil as the engine's record has it."""
        return {
            "obstruction": self.obstruction,
            "vanes": [
                {
                    "angle_deg": float(u.Quantity(v.angle).to_value(u.deg)),
                    "width_fraction": float((u.Quantity(v.width) / self.aperture).to_value(u.one)),
                }
                for v in self.vanes
            ],
        }

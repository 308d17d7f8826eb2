"""A telescope as a measurement must know it: aperture, focal length, what stands in the light."""

from __future__ import annotations

import dataclasses
from typing import Any

from astropy import units as u

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
            try:
                value = u.Quantity(getattr(self, key)).to(u.mm)
            except (u.UnitsError, TypeError, ValueError):
                raise InputError(
                    f"{key} is {getattr(self, key)!r}; give a length with its unit, like '115 mm'.",
                    code="telescope.length",
                    argument=key,
                ) from None
            object.__setattr__(self, key, value)
        object.__setattr__(self, "obstruction", float(self.obstruction))

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

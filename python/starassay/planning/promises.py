"""What a plan promises: how many images decide each claim, from nights simulated beforehand."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from astropy import units as u

from .. import _gateway
from .._records import QUANTITIES
from ..campaign.description import ClaimEntry, FilterEntry
from ..measurements._planning import Limit, SimulatedQuantity
from .night_plan import Promise


def promises_of(
    claims: Sequence[ClaimEntry],
    simulated: Mapping[str, SimulatedQuantity],
    light: FilterEntry,
    counted: str,
    *,
    risk: float,
    chance: float,
) -> list[Promise]:
    """How many images decide each claim, from simulated nights.

    Parameters
    ----------
    claims : sequence of ClaimEntry
        On what the nights measure.
    simulated : mapping of str to SimulatedQuantity
        What the nights gave, by quantity.
    light : FilterEntry
        The filter of the frames.
    counted : str
        What is counted, such as ``"pairs of 20 s"``.
    risk : float
        Agreed risk of a wrong verdict.
    chance : float
        Share of nights that shall decide.
    """
    found: list[Promise] = []
    for c in claims:
        kind = QUANTITIES[c.quantity]
        other = c.wavelength is not None and abs(float(c.wavelength / light.wavelength) - 1) > 0.02
        if other:
            assert c.wavelength is not None
            found.append(
                Promise(
                    c.claim.name,
                    c.quantity,
                    0,
                    0.0,
                    f"'{c.claim.name}' is stated at {c.wavelength.to_value(u.nm):g} nm; frames at "
                    f"{light.wavelength.to_value(u.nm):g} nm decide nothing about it. Take a filter for it.",
                )
            )
        elif c.quantity in simulated:
            s = simulated[c.quantity]
            factor = u.Unit(kind.unit).to(c.claim.unit)
            record = _gateway.call(
                "decisions.chance",
                {
                    "claim": c.claim.request(),
                    "truth": s.truth * factor,
                    "unit_factor": factor,
                    "rows": len(s.values),
                    "risk": risk,
                    "wanted": chance,
                    "counted": counted,
                },
                arrays={
                    "values": np.ravel(s.values),
                    "uncertainties": np.ravel(s.uncertainties),
                },
            )
            found.append(
                Promise(
                    c.claim.name,
                    c.quantity,
                    record["needed"],
                    record["reached"],
                    record["sentence"],
                    tuple(map(float, record["right"])),
                    tuple(map(float, record["wrong"])),
                )
            )
    return found


def unpromised(claims: Sequence[ClaimEntry], made: Sequence[Promise]) -> list[Promise]:
    """Claims that nothing simulates beforehand: that is said, and no more.

    Parameters
    ----------
    claims : sequence of ClaimEntry
        All of the campaign.
    made : sequence of Promise
        What was promised.
    """
    named = {(p.claim, p.quantity) for p in made}
    return [
        Promise(
            c.claim.name,
            c.quantity,
            0,
            0.0,
            f"'{c.claim.name}': nothing is promised, since this is not simulated beforehand. Take the frames below; the report "
            "says how many more would decide it.",
        )
        for c in claims
        if (c.claim.name, c.quantity) not in named
    ]


def limit_of(entry: ClaimEntry) -> Limit:
    """A claim's limits in the quantity's own unit.

    Parameters
    ----------
    entry : ClaimEntry
        Of a campaign.
    """
    unit = QUANTITIES[entry.quantity].unit

    def plain(value: u.Quantity | None, otherwise: float) -> float:
        return otherwise if value is None else float(u.Quantity(value).to_value(unit))

    return Limit(
        entry.quantity,
        plain(entry.claim.at_least, -math.inf),
        plain(entry.claim.at_most, math.inf),
    )


__all__ = ["limit_of", "promises_of", "unpromised"]

"""Directions in an image, in words."""

from __future__ import annotations

from astropy import units as u

_WAYS = (
    "to the right",
    "up and to the right",
    "up",
    "up and to the left",
    "to the left",
    "down and to the left",
    "down",
    "down and to the right",
)


def way(direction: u.Quantity) -> str:
    """A direction in the image in words, to an eighth of a turn.

    Parameters
    ----------
    direction : Quantity
        From +x (right) towards +y (up).
    """
    return _WAYS[round(float(direction.to_value(u.deg)) / 45) % 8]


def opposite(direction: u.Quantity) -> u.Quantity:
    """The other way, from -180 to 180 degrees.

    Parameters
    ----------
    direction : Quantity
        From +x (right) towards +y (up).
    """
    return (direction.to_value(u.deg) % 360 - 180) * u.deg

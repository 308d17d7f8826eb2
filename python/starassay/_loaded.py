"""Asks for a value's class without loading what defines it: a class that nobody has loaded has no instances."""

from __future__ import annotations

import sys
from typing import Any


def is_a(value: Any, name: str) -> bool:
    """Whether a value is of a class that may never have been loaded.

    Parameters
    ----------
    value : object
        Anything.
    name : str
        The class with its module, "astropy.table.Table". Tables, celestial solutions and times take longer to
        load than most frames to measure.
    """
    module, _, own = name.rpartition(".")
    return isinstance(value, getattr(sys.modules.get(module), own, ()))

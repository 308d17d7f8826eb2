"""One package a measurement, by the names of the engine's folders."""

from __future__ import annotations

import functools
import pkgutil
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ._declaring import Measurement


@functools.lru_cache(maxsize=1)
def declared() -> dict[str, Measurement]:
    """Every measurement by its one name: the packages here that hold a module ``declaration``."""
    found = {}
    for module in pkgutil.iter_modules(__path__):
        if module.ispkg:
            one = import_module(f"{__name__}.{module.name}.declaration").MEASUREMENT
            found[one.area] = one
    return dict(sorted(found.items(), key=lambda item: item[0]))

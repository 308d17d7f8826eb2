"""One package a measurement, by the names of the engine's folders."""

from __future__ import annotations

import functools
import pkgutil
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ._declaring import Measurement

#: The measurements' names.
NAMES = tuple(sorted(module.name for module in pkgutil.iter_modules(__path__) if module.ispkg))


@functools.lru_cache
def declared(only: str = "") -> dict[str, Measurement]:
    """Every measurement by its one name: the packages here that hold a module ``declaration``.

    Parameters
    ----------
    only : str
        Name of the one that is asked for; where there is no such one, all are given. To load all of them takes
        longer than many a measurement.
    """
    wanted = (only,) if only in NAMES else NAMES
    loaded = (import_module(f"{__name__}.{name}.declaration").MEASUREMENT for name in wanted)
    return {one.area: one for one in loaded}

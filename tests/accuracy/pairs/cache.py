"""Keep drawn pairs on disk: the hard ones take a quarter of a minute each.

The file's name holds a digest of the whole setup, so a changed population is drawn afresh.
"""

from __future__ import annotations

import hashlib
import os
from dataclasses import replace
from pathlib import Path

import numpy as np

from .draw import declare, draw_pair, true_wavefront
from .populations import Case
from .setup import Pair


def drawn(case: Case, folder: Path | None) -> Pair:
    """Draw a case, or read it back when the folder has it."""
    if folder is None:
        return draw_pair(case.setup, case.generator())
    digest = hashlib.sha256(repr((case.number, case.setup)).encode()).hexdigest()[:20]
    path = folder / f"{digest}.npz"
    if not path.exists():
        pair = draw_pair(case.setup, case.generator())
        folder.mkdir(parents=True, exist_ok=True)
        partial = folder / f"{digest}.{os.getpid()}.npz"
        np.savez_compressed(
            partial,
            inside=pair.inside,
            outside=pair.outside,
            saturation=pair.declared.saturation_adu,
        )
        partial.replace(path)
        return pair
    with np.load(path) as stored:
        saturation = float(stored["saturation"])
        inside, outside = stored["inside"], stored["outside"]
    facts = replace(declare(case.setup), saturation_adu=saturation)
    return Pair(inside, outside, facts, true_wavefront(case.setup), case.setup)

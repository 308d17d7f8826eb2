"""Files that have just been written, found by looking again and again, so that it works on network folders too."""

from __future__ import annotations

import dataclasses
import os
import shutil
import time
from pathlib import Path

ENDINGS = (".fits", ".fit", ".fts", ".fits.gz", ".fit.gz", ".fts.gz", ".fits.fz")
#: A file that has not changed for so long, seconds, needs no second look.
SETTLED = 1.0
#: Files that were measured already are looked at again so often, seconds; the last of them each time.
AGAIN = 5.0


@dataclasses.dataclass(frozen=True)
class Stamp:
    """Size, time of the last change, and which file of that name it is."""

    size: int
    changed: int
    file: int


@dataclasses.dataclass
class Newcomer:
    """A file that is not measured yet.

    Attributes
    ----------
    path : Path
        The file.
    stamp : Stamp
        As it was at the last look.
    came : float
        When it was first seen, seconds of the clock; not before the look at the folder that did not see it.
    ready : float
        When it was found unchanged since a look before; 0 as long as it is not.
    tried : Stamp or None
        What was tried in vain: the file as it was when it was not whole yet.
    again : bool
        Whether a file of that name was measured before.
    """

    path: Path
    stamp: Stamp
    came: float
    ready: float = 0.0
    tried: Stamp | None = None
    again: bool = False


class Newcomers:
    """New and changed frames of one folder.

    Parameters
    ----------
    folder : Path
        Where the camera writes.
    earlier : bool
        Whether files that are there already count as new.
    """

    def __init__(self, folder: Path, earlier: bool) -> None:
        self.folder = folder
        self.known: dict[str, Stamp] = {}
        self.waiting: dict[str, Newcomer] = {}
        self._last = ""
        self._looked = 0.0 if earlier else time.time()
        self._checked = time.monotonic()
        self.passed_over = 0
        if not earlier:
            self.known = {name: stamp for name, stamp in self._list(True)}
            self.passed_over = len(self.known)

    def _list(self, all_of_them: bool) -> list[tuple[str, Stamp]]:
        """Names and stamps; of those measured already only the last one unless all are asked for."""
        found = []
        with os.scandir(self.folder) as entries:
            for entry in entries:
                name = entry.name
                if name.startswith(".") or not name.lower().endswith(ENDINGS):
                    continue
                done = name in self.known and name not in self.waiting and name != self._last
                if done and not all_of_them:
                    continue
                try:
                    # Not the entry's own: on some systems it is what the folder remembers, not what the file is.
                    status = os.stat(entry.path)
                except OSError:
                    # Renamed or removed since it was listed.
                    continue
                found.append((name, Stamp(status.st_size, status.st_mtime_ns, status.st_ino)))
        return found

    def look(self) -> list[Newcomer]:
        """Look at the folder; the files that are ready, in order of their times."""
        now, before = time.time(), self._looked
        all_of_them = time.monotonic() - self._checked > AGAIN
        if all_of_them:
            self._checked = time.monotonic()
        listed = dict(self._list(all_of_them))
        self._looked = now
        for name in [n for n in self.waiting if n not in listed]:
            # Taken away before it was whole.
            del self.waiting[name]
        for name, stamp in listed.items():
            if self.known.get(name) == stamp:
                continue
            one = self.waiting.get(name)
            if one is None:
                # Between the look that did not see it and this one; its own clock may be another's.
                came = min(max(stamp.changed * 1e-9, before), now)
                one = Newcomer(self.folder / name, stamp, came, again=name in self.known)
                self.waiting[name] = one
                if now - stamp.changed * 1e-9 > SETTLED:
                    one.ready = now
            elif one.stamp != stamp:
                one.stamp, one.ready = stamp, 0.0
            elif not one.ready:
                one.ready = now
        ready = [
            one
            for one in self.waiting.values()
            if one.ready and one.stamp.size and one.tried != one.stamp
        ]
        return sorted(ready, key=lambda one: (one.stamp.changed, one.path.name))

    def stale(self, seconds: float) -> list[Newcomer]:
        """Files that were not whole when they were tried and have not changed for so long."""
        now = time.time()
        return [
            one
            for one in self.waiting.values()
            if one.ready
            and now - one.ready > seconds
            and (one.tried is not None or not one.stamp.size)
        ]

    def copy(self, one: Newcomer, folder: Path) -> Path | None:
        """A copy that no writer can pull from under the measurement; None when the file changed meanwhile.

        A file that is shortened while it is mapped ends the whole process, so it is never mapped where it lies.
        """
        target = folder / one.path.name
        try:
            shutil.copyfile(one.path, target)
            status = os.stat(one.path)
        except OSError:
            # Gone or locked: the next look tells.
            one.ready = 0.0
            return None
        if Stamp(status.st_size, status.st_mtime_ns, status.st_ino) != one.stamp:
            one.ready = 0.0
            return None
        return target

    def done(self, one: Newcomer) -> None:
        """A file is dealt with, as it is now."""
        self.waiting.pop(one.path.name, None)
        self.known[one.path.name] = one.stamp
        self._last = one.path.name

"""Watches a folder: measures each frame as the camera writes it, and keeps one page beside the frames up to date."""

from __future__ import annotations

import contextlib
import dataclasses
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any

from .. import _units, errors
from .._files import require_room, write_whole
from .._host import gateway
from ..imaging.frame import Frame
from ..imaging.frames import read_frame
from ..measurements import declared
from ..measurements._declaring import CAMERA, Measurement, Setup
from ..measurements._watching import Sight
from ..optics.telescope import Telescope
from .newcomers import Newcomer, Newcomers
from .page import page_text
from .session import Reading, Session
from .words import Told, summary

#: Seconds between two looks at the folder, and how long an unfinished file is waited for.
POLL, PATIENCE = 0.05, 30.0
# What a file that is still being written looks like.
_UNFINISHED = ("file.truncated", "file.empty", "file.not-fits")
_ROOM = 2_000_000
# The runtime compiles what is called often a second time: so many trials until the first frame is as quick as the others.
_TRIALS = 3


@dataclasses.dataclass(frozen=True)
class _Remembering(Setup):
    """Hands frames to the measurement and remembers the last one."""

    seen: list[Frame] = dataclasses.field(default_factory=list)

    def read(self, path: str | Path, **how: Any) -> Frame:
        frame = super().read(path, **how)
        self.seen[:] = [frame]
        return frame


def watched() -> dict[str, Measurement]:
    """The measurements that can be watched, by their one name."""
    return {name: one for name, one in declared().items() if one.watch is not None}


def watch_folder(
    folder: str | Path,
    measure: str,
    *,
    telescope: Telescope | None = None,
    page: str | Path | None = None,
    earlier: bool = False,
    by_change: bool = False,
    threads: int = 0,
    **options: Any,
) -> FolderWatch:
    """Watch a folder: measure each frame as the camera writes it.

    Parameters
    ----------
    folder : str or Path
        Where the camera writes. It is looked at twenty times a second; network folders will do.
    measure : str
        What is measured, by its name: a measurement that can be watched, as "stars" can.
    telescope : Telescope, optional
        Where the measurement needs one.
    page : str or Path, optional
        The page that is kept up to date; ``watch-KIND.html`` in the folder by default.
    earlier : bool
        Whether frames that are there already are measured too.
    by_change : bool
        Whether a frame that differs by more than the bars allow begins a new group; else `FolderWatch.turn` does.
    threads : int
        Worker threads, 0 = one for each processor. Never changes the result.
    **options
        What the measurement takes, and ``pitch``, ``gain``, ``read_noise``, ``saturation``, ``exposure`` where the
        headers are silent or wrong.

    Returns
    -------
    FolderWatch
        Iterating over it waits for frames and gives a `Reading` each, until it is closed or interrupted.

    Raises
    ------
    InputError
        When an option is wrong, or the measurement cannot be watched.
    FileError
        When there is no such folder, or the page cannot be written.

    Examples
    --------
    >>> import starassay
    >>> with starassay.watch_folder("tonight", "stars", pitch="3.76 um") as watch:  # doctest: +SKIP
    ...     for reading in watch:
    ...         print(reading.name, reading.change)
    """
    name = _units.text(measure, "measure").replace("-", "_")
    one = watched().get(name)
    if one is None:
        raise errors.InputError(
            f"measure is {measure!r}; what can be watched is {', '.join(watched())}.",
            code="watch.kind",
            argument="measure",
        )
    if telescope is not None:
        _units.instance(telescope, Telescope, "telescope", 'Telescope("150 mm", "750 mm")')
    own = {option.name: option for option in one.options}
    facts = one.facts()
    unknown = sorted(set(options) - {*own, *CAMERA, *facts})
    if unknown:
        raise errors.InputError(
            f"{name} has no option {unknown[0]!r}. Its options are {', '.join([*own, *CAMERA])}.",
            code="watch.option",
            argument=unknown[0],
        )
    if telescope is None and any(facts.values()):
        raise errors.InputError(
            f'{name} needs the telescope: telescope=Telescope("150 mm", "750 mm").',
            code="watch.telescope",
            argument="telescope",
        )
    needed = [o.name for o in own.values() if o.required and options.get(o.name) is None]
    if needed:
        raise errors.InputError(
            f"{name} needs {needed[0]}: {own[needed[0]].help}.",
            code="watch.option",
            argument=needed[0],
        )
    given = {key: value for key, value in options.items() if value is not None}
    setup = Setup(
        files={},
        # What the measurement has under this name goes to it, the rest to the frames.
        options={
            k: own[k].read(v) if k in own else v for k, v in given.items() if k in own or k in facts
        },
        telescope=telescope,
        camera={k: CAMERA[k].read(v) for k, v in given.items() if k in CAMERA and k not in own},
        threads=_units.integer(threads, "threads"),
    )
    return FolderWatch(
        _units.path_of(folder, "folder"),
        one,
        setup,
        page=None if page is None else _units.path_of(page, "page"),
        earlier=_units.flag(earlier, "earlier"),
        by_change=_units.flag(by_change, "by_change"),
    )


class FolderWatch:
    """A folder under watch: an iterator over readings, a page, and a word when something was turned.

    Made by `watch_folder`.

    Parameters
    ----------
    folder : Path
        Where the camera writes.
    measurement : Measurement
        What is measured.
    setup : Setup
        What is said to it; without files.
    page : Path, optional
        The page.
    earlier, by_change : bool
        As in `watch_folder`.
    patience : float
        Seconds that a file which does not grow may be unfinished.

    Attributes
    ----------
    page : Path
        The page that is kept up to date.
    session : Session
        Frames and groups so far.
    """

    def __init__(
        self,
        folder: Path,
        measurement: Measurement,
        setup: Setup,
        *,
        page: Path | None = None,
        earlier: bool = False,
        by_change: bool = False,
        patience: float = PATIENCE,
    ) -> None:
        assert measurement.watch is not None
        self.folder, self.measurement, self.watch = folder, measurement, measurement.watch
        self.by_change, self.patience = by_change, patience
        if not folder.is_dir():
            raise errors.FileError(
                f"There is no folder {folder}. Give the one that the camera writes into.",
                code="file.folder",
                subject=str(folder),
            )
        self.page = page or folder / f"watch-{measurement.command}.html"
        if not self.page.parent.is_dir() or self.page.is_dir():
            raise errors.FileError(
                f"{self.page} cannot be the page: name a file in a folder that is there.",
                code="file.folder",
                subject=str(self.page),
            )
        require_room(
            self.page.parent, _ROOM, "The page", "Name another place for it with page (--page)."
        )
        self.session = Session(self.watch)
        self.closed = False
        #: What is to be said beside the readings, each once: files that are waited for, a folder that went away.
        self.told = Told()
        self._setup = _Remembering(
            **{f.name: getattr(setup, f.name) for f in dataclasses.fields(Setup)}
        )
        self._turns: list[tuple[float, str]] = []
        self._turned = 0.0
        self._times: dict[str, Any] = {}
        self._copies = tempfile.TemporaryDirectory(prefix="starassay-watch-")
        try:
            gateway()
            self._warm()
            self._newcomers = Newcomers(folder, earlier)
            self._write_page()
        except BaseException:
            self._copies.cleanup()
            raise

    def turn(self, note: str = "") -> None:
        """Something was turned just now: frames exposed from here on are a new group.

        Parameters
        ----------
        note : str
            What was turned, for the page.
        """
        self._turns.append((time.time(), " ".join(_units.text(note, "note").split())))

    def close(self) -> None:
        """End: the page says so and loads itself no more."""
        if not self.closed:
            self.closed = True
            self._copies.cleanup()
            self._write_page()

    def __enter__(self) -> FolderWatch:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def passed_over(self) -> int:
        """Frames that were in the folder already and are not measured."""
        return self._newcomers.passed_over

    def summary(self) -> str:
        """The whole watch in one line."""
        return summary(self.session)

    def __iter__(self) -> Iterator[Reading]:
        while not self.closed:
            began = time.monotonic()
            yield from self.look()
            time.sleep(max(0.0, POLL - (time.monotonic() - began)))

    def look(self) -> Iterator[Reading]:
        """Look at the folder once and measure what is ready."""
        try:
            ready = self._newcomers.look()
        except OSError as error:
            self.told.once(
                "folder", f"{self.folder} cannot be read ({error.strerror}); waiting for it."
            )
            return
        self.told.forget("folder", f"{self.folder} is back.")
        for one in ready:
            reading = self._measure(one)
            if reading is not None:
                yield reading
        for one in self._newcomers.stale(self.patience):
            self._newcomers.done(one)
            text = f"not whole after {self.patience:g} s: {one.stamp.size} bytes"
            yield self._keep(Reading(0, one.path.name, 0, trouble=text), one)
        self._take_turns(time.time())

    def _measure(self, one: Newcomer) -> Reading | None:
        """One file measured; None when it has to be waited for."""
        copy = self._newcomers.copy(one, Path(self._copies.name))
        if copy is None:
            return None
        sight, trouble = None, ""
        try:
            sight = self._sight(copy)
        except (errors.EngineError, errors.EngineUnavailableError):
            raise
        except (errors.StarAssayError, OSError, MemoryError) as error:
            if getattr(error, "code", "") in _UNFINISHED:
                # The writer may only pause: the next change or the end of patience tells.
                one.tried = one.stamp
                self.told.once(one.path.name, f"{one.path.name} is not whole yet; waiting for it.")
                return None
            folder = str(copy.parent) + "/"
            trouble = " ".join(str(error).replace(folder, "").split()) or type(error).__name__
        finally:
            with contextlib.suppress(OSError):
                copy.unlink()
        self._newcomers.done(one)
        self._take_turns(one.came)
        frame = self._setup.seen[0] if self._setup.seen else None
        if sight is not None:
            trouble = self._aside(sight, frame, one)
            if self.by_change and not trouble and self.session.looks_turned(sight):
                self.session.turn("seen as a change beyond the bars")
        name = one.path.name
        when = getattr(frame, "time", None) if sight is not None else None
        again = one.again and name in self._times and when is not None
        if again and self._times[name] == when:
            self._forget(name)
        self._times[name] = when
        return self._keep(Reading(0, name, 0, sight=sight, trouble=trouble), one)

    def _sight(self, path: Path) -> Sight:
        """What a file says."""
        role = self.measurement.roles[0].name
        self._setup.seen.clear()
        setup = dataclasses.replace(self._setup, files={role: (path,)})
        parts = self.measurement.measure(setup)
        # The first that counts: of a color mosaic the green pixels.
        part = next((p for p in parts if not p.aside), parts[0])
        return self.watch.look(part.result, self._setup.seen[0] if self._setup.seen else None)

    def _aside(self, sight: Sight, frame: Frame | None, one: Newcomer) -> str:
        """Why a frame is not counted; "" when it is."""
        if sight.doubts:
            return f"not counted: {sight.doubts[0]}"
        exposure = getattr(frame, "exposure", None)
        if (
            exposure is not None
            and one.came - float(exposure.to_value("s")) < self._turned < one.came
        ):
            return "not counted: it was exposed while you turned"
        if not all(p.value.isscalar and _finite(p) for p in sight.point):
            return f"not counted: no {self.watch.number} was found"
        return ""

    def _take_turns(self, until: float) -> None:
        """Turns that were made before a time."""
        turned = False
        while self._turns and self._turns[0][0] <= until:
            self._turned, note = self._turns.pop(0)
            turned |= self.session.turn(note)
        if turned:
            self._write_page()

    def _forget(self, name: str) -> None:
        """A file of the same exposure, written again: only its last form counts."""
        for reading in reversed(list(self.session)):
            if reading.name == name and reading.counts:
                self.session.replace(
                    dataclasses.replace(reading, trouble="not counted: it was written again")
                )
                return

    def _keep(self, reading: Reading, one: Newcomer) -> Reading:
        """Take a reading in, show it, say how long that took."""
        kept = self.session.add(reading)
        self.told.drop(reading.name)
        self._write_page()
        # From when nothing more was written, as far as the file's own time is of this clock.
        whole = min(max(one.stamp.changed * 1e-9, one.came), one.ready or time.time())
        kept = dataclasses.replace(kept, seconds=time.time() - whole)
        self.session.replace(kept)
        return kept

    def _write_page(self) -> None:
        text = page_text(self.measurement, self.session, self.folder, ended=self.closed)
        try:
            write_whole({self.page: lambda part: part.write_text(text, encoding="utf-8")})
        except OSError as error:
            self.told.once("page", f"{self.page} cannot be written ({error}); going on without it.")
        else:
            self.told.forget("page", f"{self.page} is written again.")

    def _warm(self) -> None:
        """Measure something small until the engine is as quick as it gets."""
        setup = self._setup
        pixels = self.watch.trial(setup)
        known: dict[str, Any] = {
            "gain": "1 electron / adu",
            "read_noise": "3 electron",
            "pitch": "4 um",
            "exposure": "1 s",
        }
        frame = read_frame(pixels, name="trial", **{**known, **setup.camera})
        given: dict[str, Any] = {f.name: getattr(setup, f.name) for f in dataclasses.fields(Setup)}
        given["files"] = {self.measurement.roles[0].name: (frame,)}
        # Places and sizes in pixels belong to the camera's frames, not to this one.
        in_pixels = {o.name for o in self.measurement.options if o.unit == "pix"}
        given["options"] = {k: v for k, v in setup.options.items() if k not in in_pixels}
        trial = _Trial(**given)
        for _ in range(_TRIALS):
            # What a made-up frame says is no matter, and neither is that it says nothing.
            with contextlib.suppress(errors.CannotMeasureError):
                parts = self.measurement.measure(trial)
                self.watch.look(parts[0].result, frame)


@dataclasses.dataclass(frozen=True)
class _Trial(Setup):
    """Hands over a frame that is in memory."""

    def read(self, path: Any, **how: Any) -> Frame:
        return read_frame(path)


def _finite(value: Any) -> bool:
    import numpy as np

    return bool(np.isfinite(value.value.value) and np.isfinite(value.uncertainty.value))

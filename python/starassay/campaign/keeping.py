"""What was measured from what, so that a campaign that is run again measures only what changed.

Beside the report lies a folder ``measured``: one file ``record.json`` that lists what went into every measurement
(SHA-256 of each file, options, telescope, camera), what it was made with (the whole program by its checksum, the
libraries, the processor's vectors), and the names and checksums of the files that hold what came out. While a campaign
runs, the record grows in a folder of its own beside the report, so that an interrupt loses nothing that was finished.

A result is taken from there only when everything agrees. Anything doubtful is measured again, and where nothing can
be kept (a full disk, a second run that tidies up) the campaign is measured all the same.
"""

from __future__ import annotations

import functools
import hashlib
import io
import json
import os
import platform
import shutil
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np

from .. import _host
from .._files import write_whole
from .._version import __version__
from ..measurements._declaring import Measurement, Part, Setup
from ..results import json_text
from .exact import NotExact, from_exact, to_exact

FOLDER = "measured"
RECORD = "record.json"
FORMAT = "starassay-measured-1"


class Checksums:
    """SHA-256 of files, each read once as long as its size and its time of change stay."""

    def __init__(self) -> None:
        self._known: dict[Path, tuple[tuple[int, int], str]] = {}

    def of(self, path: Path) -> str:
        """Checksum of a file, in hexadecimal."""
        stamp = _stamp(path)
        known = self._known.get(path)
        if known is None or known[0] != stamp:
            self._known[path] = known = (stamp, checksum(path))
        return known[1]

    def unchanged(self, path: Path) -> bool:
        """Whether a file is as it was when it was last read here."""
        known = self._known.get(path)
        return known is not None and known[0] == _stamp(path)


def _stamp(path: Path) -> tuple[int, int]:
    state = path.stat()
    return state.st_size, state.st_mtime_ns


def checksum(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal."""
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        for block in iter(lambda: stream.read(1 << 20), b""):
            digest.update(block)
    return digest.hexdigest()


@functools.lru_cache(maxsize=1)
def _code() -> str:
    """Checksum of everything that can change a number or a picture: the face's modules and the engine."""
    face = Path(__file__).resolve().parents[1]
    digest = hashlib.sha256()
    for path in sorted([*face.rglob("*.py"), *_host.engine_folder().glob("*.dll")]):
        digest.update(f"{path.name} {checksum(path)}\n".encode())
    return digest.hexdigest()


def program() -> dict[str, Any]:
    """What a result depends on beside its input: versions, code, and the width of the vectors."""
    import astropy
    import matplotlib

    engine = _host.about()
    return {
        "starassay": __version__,
        "engine": engine["version"],
        "code": _code(),
        "runtime": engine["runtime"],
        "architecture": engine["architecture"],
        "vector_bits": engine["vector_bits"],
        "python": platform.python_version(),
        "numpy": np.__version__,
        "astropy": astropy.__version__,
        "matplotlib": matplotlib.__version__,
    }


class Kept:
    """Results that were kept from earlier runs, and those of this one.

    Parameters
    ----------
    report : Path
        The report folder.
    base : Path
        Folder of the campaign; names of files are written down from there.
    sums : Checksums
        Of the frames.
    fresh : bool
        Whether nothing earlier is used.
    """

    def __init__(self, report: Path, base: Path, sums: Checksums, *, fresh: bool = False) -> None:
        self._base = base.resolve()
        self._sums = sums
        self._program = program()
        self._journal = report.with_name(f".{report.name}.{FOLDER}")
        self._entries: dict[str, dict[str, Any]] = {}
        self._used: dict[str, dict[str, Any]] = {}
        #: A sentence when there was a record that could not be used; "" otherwise.
        self.word = ""
        if fresh:
            shutil.rmtree(self._journal, ignore_errors=True)
        else:
            for folder in (report / FOLDER, self._journal):
                self._read(folder)

    def _read(self, folder: Path) -> None:
        path = folder / RECORD
        try:
            record = json.loads(path.read_text(encoding="utf-8"))
            if record["format"] != FORMAT:
                raise ValueError("another format")
            if record["program"] != self._program:
                made = str(record["program"]["starassay"])
                other = (
                    "" if made == __version__ else f" by StarAssay {made}; this is {__version__}"
                )
                self.word = (
                    f"What was measured before was made{other or ' with another build of the program or its libraries'}. "
                    "Everything is measured again."
                )
                return
            entries = {
                str(_name(entry["from"])): {
                    "from": dict(entry["from"]),
                    "parts": dict(entry["parts"]),
                    "pictures": {str(k): dict(v) for k, v in entry["pictures"].items()},
                    "folder": folder,
                }
                for entry in record["measured"]
            }
        except FileNotFoundError:
            return
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            self.word = (
                f"{path.name} in {folder.name}, the record of what was measured before, is damaged. "
                "Everything is measured again."
            )
            return
        self._entries |= entries

    def facts(self, measurement: Measurement, test: str, setup: Setup) -> dict[str, Any] | None:
        """All that goes into a measurement, as plain JSON; None when that cannot be written down.

        Parameters
        ----------
        measurement : Measurement
            What is measured.
        test : str
            Name of its entry.
        setup : Setup
            What it is handed.
        """
        arrays: dict[str, np.ndarray] = {}
        try:
            said = {
                "options": to_exact(dict(setup.options), arrays),
                "telescope": to_exact(setup.telescope, arrays),
                "camera": to_exact(dict(setup.camera), arrays),
            }
        except NotExact:
            return None
        return {
            "measurement": measurement.area,
            "test": test,
            "files": [
                {
                    "role": role,
                    "name": os.path.relpath(path.resolve(), self._base),
                    "sha256": self._sums.of(path),
                }
                for role, paths in setup.files.items()
                for path in paths
            ],
            **said,
            "values": {
                name: [str(a.dtype), list(a.shape), hashlib.sha256(a.tobytes()).hexdigest()]
                for name, a in arrays.items()
            },
        }

    def find(self, facts: Mapping[str, Any]) -> list[Part] | None:
        """The parts that came of the same facts before; None when there are none, or when they are in doubt."""
        name = _name(facts)
        entry = self._entries.get(name)
        if entry is None or entry["from"] != facts:
            return None
        try:
            plain, arrays = _load(entry["folder"], entry["parts"])
            parts = [Part(*from_exact(one, arrays)) for one in plain]
        except (OSError, ValueError, KeyError, TypeError, NotExact):
            self.word = (
                "A part of what was measured before is damaged or gone; it is measured again."
            )
            return None
        self._used[name] = entry
        return parts

    def keep(self, facts: Mapping[str, Any], setup: Setup, parts: Sequence[Part]) -> None:
        """Keep what was measured just now, unless a file changed meanwhile or a result would not come back the same."""
        arrays: dict[str, np.ndarray] = {}
        try:
            plain = [to_exact((p.label, p.result, p.aside), arrays) for p in parts]
            again: dict[str, np.ndarray] = {}
            same = [to_exact(from_exact(one, arrays), again) for one in plain] == plain
        except NotExact:
            return
        files = (path for paths in setup.files.values() for path in paths)
        if not same or not all(self._sums.unchanged(path) for path in files):
            return
        name = _name(facts)
        with suppress(OSError):
            self._journal.mkdir(exist_ok=True)
            stored = _store(self._journal, name[:16], plain, arrays)
            entry = {
                "from": dict(facts),
                "parts": stored,
                "pictures": {},
                "folder": self._journal,
            }
            self._enter(name, entry)

    def pictures(self, facts: Mapping[str, Any] | None, part: int) -> list[str] | None:
        """The pictures of a part as they were drawn before; None when they were not kept."""
        entry = self._used.get(_name(facts)) if facts is not None else None
        if entry is None or str(part) not in entry["pictures"]:
            return None
        try:
            return list(_load(entry["folder"], entry["pictures"][str(part)])[0])
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def keep_pictures(
        self, facts: Mapping[str, Any] | None, part: int, sources: Sequence[str]
    ) -> None:
        """Keep the pictures of a part whose result is kept."""
        name = "" if facts is None else _name(facts)
        if name not in self._used:
            return
        with suppress(OSError):
            self._journal.mkdir(exist_ok=True)
            entry = self._moved(self._used[name], self._journal)
            stored = _store(self._journal, f"{name[:16]}-{part}-pictures", list(sources), {})
            entry["pictures"][str(part)] = stored
            self._enter(name, entry)

    def _enter(self, name: str, entry: dict[str, Any]) -> None:
        self._used[name] = self._entries[name] = entry
        listed = [e for e in self._entries.values() if e["folder"] == self._journal]
        self._write(self._journal, listed)

    def _write(self, folder: Path, entries: Sequence[Mapping[str, Any]]) -> None:
        record = {
            "format": FORMAT,
            "program": self._program,
            "measured": [{k: v for k, v in e.items() if k != "folder"} for e in entries],
        }
        text = json_text(record)
        write_whole({folder / RECORD: lambda path: path.write_text(text, encoding="utf-8")})

    def _moved(self, entry: dict[str, Any], folder: Path) -> dict[str, Any]:
        """An entry with its files in another folder, linked where that can be done."""
        if entry["folder"] == folder:
            return entry
        for stored in (entry["parts"], *entry["pictures"].values()):
            for name in (stored["file"], stored.get("arrays")):
                if name and not (folder / name).exists():
                    try:
                        os.link(entry["folder"] / name, folder / name)
                    except OSError:
                        shutil.copyfile(entry["folder"] / name, folder / name)
        return {**entry, "pictures": dict(entry["pictures"]), "folder": folder}

    def hand_over(self, report: Path) -> None:
        """Lay what this run used into a report folder that is being written.

        Parameters
        ----------
        report : Path
            Its temporary name.
        """
        folder = report / FOLDER
        folder.mkdir()
        moved = []
        for entry in self._used.values():
            with suppress(OSError):
                moved.append(self._moved(entry, folder))
        self._write(folder, moved)

    def done(self) -> None:
        """The report stands: what was kept on the way lies in it."""
        shutil.rmtree(self._journal, ignore_errors=True)


def _name(facts: Mapping[str, Any]) -> str:
    """Name of a measurement by all that goes into it."""
    return hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()


def _store(folder: Path, name: str, plain: Any, arrays: Mapping[str, np.ndarray]) -> dict[str, str]:
    """Write a value and its arrays; their names and checksums."""
    text = json.dumps(plain, allow_nan=False, ensure_ascii=False).encode()
    writers = {folder / f"{name}.json": lambda path: path.write_bytes(text)}
    stored = {"file": f"{name}.json", "sha256": hashlib.sha256(text).hexdigest()}
    if arrays:
        buffer = io.BytesIO()
        np.savez_compressed(buffer, **arrays)  # type: ignore[arg-type]
        block = buffer.getvalue()
        writers[folder / f"{name}.npz"] = lambda path: path.write_bytes(block)
        stored |= {"arrays": f"{name}.npz", "arrays_sha256": hashlib.sha256(block).hexdigest()}
    write_whole(writers)
    return stored


def _load(folder: Path, stored: Mapping[str, str]) -> tuple[Any, dict[str, np.ndarray]]:
    """What `_store` wrote, when its bytes are still the same."""

    def whole(name: str, digest: str) -> bytes:
        if Path(name).name != name:
            raise ValueError("a file elsewhere")
        data = (folder / name).read_bytes()
        if hashlib.sha256(data).hexdigest() != digest:
            raise ValueError(f"{name} has changed")
        return data

    plain = json.loads(whole(stored["file"], stored["sha256"]))
    if "arrays" not in stored:
        return plain, {}
    block = io.BytesIO(whole(stored["arrays"], stored["arrays_sha256"]))
    with np.load(block, allow_pickle=False) as found:
        return plain, {name: found[name] for name in found.files}

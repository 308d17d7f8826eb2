"""Starts .NET inside this Python process and loads the engine, once.

The runtime's own hosting library (``hostfxr``) is asked through ctypes; pythonnet's
assembly, which the package carries, then makes ``import clr`` work. A process that
already runs pythonnet is joined, not started again.
"""

from __future__ import annotations

import ctypes
import glob
import json
import os
import shutil
import sys
import threading
from pathlib import Path
from types import ModuleType
from typing import Any

from ._interrupts import held
from ._version import __version__
from .errors import EngineUnavailableError

_lock = threading.Lock()
_gateway: Any = None
_pid: int | None = None
_INSTALL = (
    "Install the .NET 10 runtime (https://dotnet.microsoft.com/download) and, "
    "if it is not on PATH, set DOTNET_ROOT to its folder."
)


def engine_folder() -> Path:
    """Folder of the engine's assemblies; ``STARASSAY_ENGINE`` overrides the packaged one."""
    override = os.environ.get("STARASSAY_ENGINE")
    return Path(override).resolve() if override else Path(__file__).parent / "_engine"


def _dotnet_roots() -> list[Path]:
    roots = []
    for name in (
        "DOTNET_ROOT",
        f"DOTNET_ROOT_{os.uname().machine.upper()}" if hasattr(os, "uname") else "",
    ):
        if name and os.environ.get(name):
            roots.append(Path(os.environ[name]))
    location = Path("/etc/dotnet/install_location")
    if location.is_file():
        roots.append(Path(location.read_text().strip()))
    found = shutil.which("dotnet")
    if found:
        roots.append(Path(found).resolve().parent)
    if sys.platform == "win32":
        roots.append(Path(os.environ.get("ProgramFiles", r"C:\Program Files")) / "dotnet")
    elif sys.platform == "darwin":
        roots.append(Path("/usr/local/share/dotnet"))
    roots += [Path("/usr/share/dotnet"), Path("/usr/lib/dotnet"), Path.home() / ".dotnet"]
    return roots


def _hostfxr() -> Path:
    name = {"win32": "hostfxr.dll", "darwin": "libhostfxr.dylib"}.get(sys.platform, "libhostfxr.so")
    for root in _dotnet_roots():
        versions = glob.glob(str(root / "host" / "fxr" / "*" / name))
        if versions:

            def order(path: str) -> list[int]:
                parts = Path(path).parent.name.split("-")[0].split(".")
                return [int(p) for p in parts if p.isdigit()]

            return Path(max(versions, key=order))
    raise EngineUnavailableError("No .NET runtime was found on this machine. " + _INSTALL)


def _start_runtime(folder: Path) -> None:
    wide = sys.platform == "win32"
    char_t: Any = ctypes.c_wchar_p if wide else ctypes.c_char_p

    def text(value: object) -> Any:
        return str(value) if wide else str(value).encode()

    fxr = ctypes.CDLL(str(_hostfxr()))
    context = ctypes.c_void_p()
    initialize = fxr.hostfxr_initialize_for_runtime_config
    initialize.argtypes = [char_t, ctypes.c_void_p, ctypes.POINTER(ctypes.c_void_p)]
    status = initialize(
        text(folder / "StarAssay.Bridge.runtimeconfig.json"), None, ctypes.byref(context)
    )
    if status not in (0, 1, 2) or not context.value:
        raise EngineUnavailableError(
            f".NET was found, but could not be started (status 0x{status & 0xFFFFFFFF:08x}): "
            "most likely it is older than version 10. " + _INSTALL
        )
    try:
        load_function = ctypes.c_void_p()
        get_delegate = fxr.hostfxr_get_runtime_delegate
        get_delegate.argtypes = [ctypes.c_void_p, ctypes.c_int, ctypes.POINTER(ctypes.c_void_p)]
        # 5 = load an assembly and get a function pointer
        status = get_delegate(context, 5, ctypes.byref(load_function))
        if status != 0 or not load_function.value:
            raise EngineUnavailableError(
                f".NET gave no loader (status 0x{status & 0xFFFFFFFF:08x})."
            )
    finally:
        fxr.hostfxr_close.argtypes = [ctypes.c_void_p]
        fxr.hostfxr_close(context)
    load = ctypes.CFUNCTYPE(
        ctypes.c_int,
        char_t,
        char_t,
        char_t,
        char_t,
        ctypes.c_void_p,
        ctypes.POINTER(ctypes.c_void_p),
    )(load_function.value)
    entry = ctypes.c_void_p()
    status = load(
        text(folder / "Python.Runtime.dll"),
        text("Python.Runtime.Loader, Python.Runtime"),
        text("Initialize"),
        None,
        None,
        ctypes.byref(entry),
    )
    if status != 0 or not entry.value:
        raise EngineUnavailableError(
            f"The bridge's assembly could not be loaded (status 0x{status & 0xFFFFFFFF:08x}). "
            "Install StarAssay again."
        )
    # An empty text, not a null pointer: "look for Python's library in this process".
    call = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_char_p, ctypes.c_int)(entry.value)
    if call(b"", 0) != 0:
        raise EngineUnavailableError("pythonnet refused to start in this Python.")


def _clr(folder: Path) -> ModuleType:
    if "clr" not in sys.modules:
        _start_runtime(folder)
    import clr  # type: ignore[import-not-found]

    return clr


def gateway() -> Any:
    """The engine's gateway class, started at first use.

    Raises
    ------
    EngineUnavailableError
        When .NET or the engine is missing, their versions differ, or this process was
        forked from one that had the engine loaded.
    """
    global _gateway, _pid
    if _gateway is not None:
        if _pid != os.getpid():
            raise EngineUnavailableError(
                "The engine was loaded before this process was forked, and .NET does not survive "
                "a fork. Start workers with multiprocessing.get_context('spawn')."
            )
        return _gateway
    # An interrupt while the runtime starts would tear it apart: it waits for the end of this.
    with held(), _lock:
        if _gateway is None:
            _gateway = _load(engine_folder())
            _pid = os.getpid()
        return _gateway


def _load(folder: Path) -> Any:
    """The gateway class of the engine in a folder."""
    if not (folder / "StarAssay.Bridge.dll").is_file():
        raise EngineUnavailableError(
            f"The engine is missing from {folder}. Install the package with "
            "'pip install ./python', which builds it."
        )
    clr = _clr(folder)
    clr.AddReference(str(folder / "StarAssay.Bridge.dll"))
    from StarAssay.Bridge import Gateway  # type: ignore[import-not-found]

    if Gateway.Version != __version__:
        raise EngineUnavailableError(
            f"The engine in {folder} is version {Gateway.Version}, the Python face in "
            f"{Path(__file__).parent} is {__version__}. Install StarAssay again so that they match."
        )
    return Gateway


def about() -> dict[str, Any]:
    """Versions, processors, vector width, tasks and the list of notes, as the engine states them."""
    return json.loads(gateway().About())

"""The crossing between Python and the engine: types, memory, interrupts, processes, threads, errors."""

from __future__ import annotations

import ast
import gc
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

import starassay
from _result_checks import MAKERS, check_result
from starassay import _gateway, _host, errors
from starassay.imaging.frame import Frame

# FITS 4.0, table 8: BITPIX 8, 16, 32, 64, -32, -64; and the types NumPy makes of them.
TYPES = ["u1", "i1", "u2", "i2", "u4", "i4", "u8", "i8", "f4", "f8"]
SHAPES = [(1, 1), (1, 7), (5, 3), (17, 31), (64, 64)]
LAYOUTS: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "C": np.ascontiguousarray,
    "Fortran": np.asfortranarray,
    "strided": lambda a: np.repeat(np.repeat(a, 2, 0), 3, 1)[::2, ::3],
    "reversed": lambda a: np.ascontiguousarray(a[::-1, ::-1])[::-1, ::-1],
    "read-only": lambda a: _frozen(a),
}
PYTHON = str(Path(starassay.__file__).resolve().parents[1])
HERE = str(Path(__file__).resolve().parent)


def _frozen(array: np.ndarray) -> np.ndarray:
    array = array.copy()
    array.setflags(write=False)
    return array


def echo(pixels: np.ndarray, **facts: object) -> dict:
    """What the engine understood of these pixels."""
    return _gateway.call("gateway.echo", frames={"frame": Frame(pixels, name="test", **facts)})


def environment() -> dict[str, str]:
    """Variables for a child process that imports this very package."""
    return {**os.environ, "PYTHONPATH": os.pathsep.join([PYTHON, HERE])}


def child(script: str, **options: object) -> subprocess.CompletedProcess:
    """Runs a script in a fresh Python."""
    return subprocess.run(
        [sys.executable, "-c", script],
        env=environment(),
        capture_output=True,
        text=True,
        timeout=120,
        **options,  # type: ignore[call-overload]
    )


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("order", "<>")
@pytest.mark.parametrize("kind", TYPES)
def test_pixels_arrive_as_they_are(kind: str, order: str, layout: str) -> None:
    dtype = np.dtype(kind).newbyteorder(order)
    rng = np.random.default_rng(2)
    for shape in SHAPES:
        count = shape[0] * shape[1]
        plain = np.frombuffer(rng.bytes(count * dtype.itemsize), dtype).reshape(shape)
        if plain.dtype.kind == "f":  # any bits would make NaN, which compare to nothing
            plain = rng.normal(0, 1e3, shape).astype(dtype)
        pixels = LAYOUTS[layout](plain)
        assert pixels.dtype == dtype
        before = sys.getrefcount(pixels)
        answer = echo(pixels)
        assert sys.getrefcount(pixels) == before
        assert (answer["height"], answer["width"]) == shape
        assert answer["big_endian"] == (order == ">" and dtype.itemsize > 1)
        back = np.frombuffer(answer["bytes"].tobytes(), dtype).reshape(shape)
        np.testing.assert_array_equal(back, pixels)


def test_a_contiguous_array_is_not_copied() -> None:
    pixels = np.zeros((4, 4), ">i2")
    assert np.ascontiguousarray(pixels) is pixels  # what call() hands over
    mapped = np.broadcast_to(np.int16(3), (4, 4))
    assert set(echo(mapped)["bytes"].view("<i2")) == {3}


@pytest.mark.parametrize("shape", [(0, 0), (0, 5), (5, 0)])
def test_an_empty_image_is_refused(shape: tuple[int, int]) -> None:
    with pytest.raises(errors.InputError, match="no pixels"):
        echo(np.zeros(shape, np.float32))


@pytest.mark.parametrize("shape", [(3,), (2, 3, 4)])
def test_an_image_has_two_axes(shape: tuple[int, ...]) -> None:
    with pytest.raises(errors.InputError, match=f"has {len(shape)} axes"):
        echo(np.zeros(shape, np.float32))


@pytest.mark.parametrize("dtype", ["c8", "f2", "U3", "O", "M8[s]"])
def test_types_that_are_no_pixels_are_refused(dtype: str) -> None:
    with pytest.raises(errors.InputError, match="32- or 64-bit floats"):
        echo(np.zeros((2, 2), dtype))


def test_outputs_must_be_writable_contiguous_native() -> None:
    for bad in (_frozen(np.zeros(4, "f4")), np.zeros(8, "f4")[::2], np.zeros(4, ">f4")):
        with pytest.raises(errors.InputError, match="writable C-contiguous"):
            _gateway.call("gateway.wait", {"seconds": 0}, outputs={"out": bad})


def test_references_are_given_back_after_errors_too() -> None:
    pixels = np.zeros((8, 8), np.float32)
    before = sys.getrefcount(pixels)
    for _ in range(20):
        with pytest.raises(errors.InputError):
            _gateway.call("no.task", frames={"frame": Frame(pixels)})
        with pytest.raises(errors.InputError):
            _gateway.call("gateway.wait", {"nonsense": 1}, frames={"frame": Frame(pixels)})
    gc.collect()
    assert sys.getrefcount(pixels) == before


def _resident_mib() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="memory is read from /proc")
def test_nothing_leaks_over_ten_thousand_calls() -> None:
    # 16 KiB in and 16 KiB back a call: a leak of either would show as 156 MiB.
    pixels = np.zeros((64, 64), np.float32)
    for _ in range(1500):
        echo(pixels)
    gc.collect()
    before = _resident_mib()
    for _ in range(10_000):
        echo(pixels)
    gc.collect()
    assert _resident_mib() - before < 50


def _interrupt_after(seconds: float) -> threading.Timer:
    timer = threading.Timer(seconds, os.kill, (os.getpid(), signal.SIGINT))
    timer.start()
    return timer


@pytest.mark.skipif(os.name == "nt", reason="POSIX signals")
def test_an_interrupt_ends_a_task_and_leaves_the_session_usable() -> None:
    echo(np.zeros((2, 2), np.float32))
    timer = _interrupt_after(0.3)
    started = time.perf_counter()
    with pytest.raises(KeyboardInterrupt):
        _gateway.call("gateway.wait", {"seconds": 60})
    # 0.3 s before the signal, then the promised half second.
    assert time.perf_counter() - started < 0.8
    timer.join()
    assert _gateway.call("gateway.wait", {"seconds": 0.01})["seconds"] == 0.01


@pytest.mark.skipif(os.name == "nt", reason="POSIX signals")
def test_an_interrupt_from_outside_ends_a_script() -> None:
    script = """
import time, starassay
from starassay import _gateway
_gateway.call("gateway.wait", {"seconds": 0})
print("ready", flush=True)
try:
    _gateway.call("gateway.wait", {"seconds": 60})
except KeyboardInterrupt:
    print(f"stopped at {time.time()}", flush=True)
print("usable", _gateway.call("gateway.wait", {"seconds": 0})["seconds"])
"""
    with subprocess.Popen(
        [sys.executable, "-c", script], env=environment(), stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        time.sleep(0.3)
        sent = time.time()
        process.send_signal(signal.SIGINT)
        words = process.stdout.readline().split()
        assert words[:2] == ["stopped", "at"]
        assert float(words[2]) - sent < 0.5
        assert process.stdout.readline() == "usable 0\n"
    assert process.returncode == 0


@pytest.mark.slow
def test_a_notebook_interrupt_ends_a_task(tmp_path: Path) -> None:
    """The kernel is asked through jupyter_client, as the notebook's stop button does."""
    script = f"""
import time
from jupyter_client.manager import KernelManager
manager = KernelManager(kernel_cmd=[{sys.executable!r}, "-m", "ipykernel_launcher", "-f", "{{connection_file}}"])
manager.start_kernel()
client = manager.client()
client.start_channels()
try:
    client.wait_for_ready(timeout=60)
    def reply(message):
        while True:
            answer = client.get_shell_msg(timeout=60)
            if answer["parent_header"].get("msg_id") == message:
                return answer["content"]
    def run(code):
        return reply(client.execute(code))
    first = run("from starassay import _gateway; _gateway.call('gateway.wait', {{'seconds': 0}})")
    assert first["status"] == "ok", first
    # The time is taken in the kernel: drawing the traceback is IPython's own affair.
    long = client.execute(
        "import time\\ntry:\\n    _gateway.call('gateway.wait', {{'seconds': 60}})\\n"
        "except KeyboardInterrupt:\\n    stopped = time.time()\\n    raise",
        stop_on_error=False)  # or the kernel throws away what is asked next
    time.sleep(1.0)
    sent = time.time()
    manager.interrupt_kernel()
    answer = reply(long)
    after = run(f"late = stopped - {{sent}}; assert 0 < late < 0.5, late\\n"
                "assert _gateway.call('gateway.wait', {{'seconds': 0}})['seconds'] == 0")
    print(after.get("evalue", ""))
    print(answer["status"], answer.get("ename"), after["status"])
finally:
    client.stop_channels()
    manager.shutdown_kernel(now=True)
"""
    env = {**environment(), "JUPYTER_RUNTIME_DIR": str(tmp_path), "IPYTHONDIR": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", script],
        env=env,
        capture_output=True,
        text=True,
        timeout=180,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert done.stdout.splitlines()[-1] == "error KeyboardInterrupt ok", done.stdout


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork here")
def test_a_forked_process_is_told_to_spawn() -> None:
    script = """
import os, sys, starassay
from starassay import _gateway, _host
_host.about()
pid = os.fork()
if pid == 0:
    try:
        _gateway.call("gateway.wait", {"seconds": 0})
        os._exit(1)
    except starassay.EngineUnavailableError as error:
        os.write(1, str(error).encode())
        os._exit(0)
sys.exit(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]))
"""
    done = child(script)
    assert done.returncode == 0, done.stderr
    assert "fork" in done.stdout and "get_context('spawn')" in done.stdout


def _spawned(level: int) -> float:
    """Runs in a worker process."""
    return float(echo(np.full((3, 3), level, np.float32))["bytes"].view(np.float32).sum())


def test_spawned_workers_measure() -> None:
    echo(np.zeros((2, 2), np.float32))  # the parent has the engine loaded
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        assert pool.map(_spawned, range(4)) == [0, 9, 18, 27]


@pytest.mark.slow
def test_dask_workers_measure(tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    (tmp_path / "dask_job.py").write_text(
        """
import numpy as np
import starassay

def level(value):
    frames = [np.full((16, 16), value + i, np.float32) for i in range(3)]
    master = starassay.combine_frames(frames, method="mean")
    return float(master.frame.pixels.mean()), type(master).__name__

def refuse(value):
    return starassay.read_frame(np.zeros((2, 2, 2)))

if __name__ == "__main__":
    import dask
    from distributed import Client, LocalCluster
    dask.config.set({"distributed.worker.multiprocessing-method": "spawn"})
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None,
                      host="127.0.0.1") as cluster, Client(cluster) as client:
        print(client.gather(client.map(level, [1.0, 10.0])))
        error = client.submit(refuse, 1).exception()
        print(type(error).__name__, error)
        master = client.submit(starassay.combine_frames, [np.ones((4, 4), np.float32)] * 2).result()
        print(type(master).__name__, master.frame.pixels.sum())
"""
    )
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "dask_job.py"],
        cwd=tmp_path,
        env={**environment(), "PYTHONPATH": os.pathsep.join([PYTHON, str(tmp_path)])},
        capture_output=True,
        text=True,
        timeout=180,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    values, error, master = done.stdout.splitlines()[-3:]
    assert values == "[(2.0, 'MasterFrame'), (11.0, 'MasterFrame')]"
    assert error.startswith("InputError") and "has 3 axes" in error
    assert master == "MasterFrame 16.0"


@pytest.mark.same_bits
def test_eight_threads_get_the_same_bits() -> None:
    rng = np.random.default_rng(11)
    frames = {f"frame{i}": Frame(rng.normal(500, 9, (61, 83))) for i in range(6)}

    def run(threads: int) -> bytes:
        record = _gateway.call("imaging.combine", frames=frames, threads=threads)
        return b"".join(record[k].tobytes() for k in ("pixels", "uncertainty", "counts"))

    first = run(1)
    with ThreadPoolExecutor(8) as pool:
        assert set(pool.map(run, [1, 2, 3, 4, 5, 0, 0, 0] * 3)) == {first}


def test_two_threads_can_start_the_engine_together() -> None:
    script = """
import threading
from starassay import _host
found = []
threads = [threading.Thread(target=lambda: found.append(_host.about()["version"])) for _ in range(8)]
[t.start() for t in threads]; [t.join() for t in threads]
print(len(found), len(set(found)))
"""
    done = child(script)
    assert done.stdout.split() == ["8", "1"], done.stderr


def test_engine_errors_arrive_as_ours() -> None:
    with pytest.raises(errors.InputError, match="no task named 'stars.guess'") as caught:
        _gateway.call("stars.guess")
    error = caught.value
    assert isinstance(error, ValueError)
    assert error.code == "gateway.task" and error.argument == "task"
    assert error.__cause__ is None and error.__suppress_context__
    assert "StarAssay.Bridge" in error.trace
    with pytest.raises(errors.CannotMeasureError, match="copies"):
        rng = np.random.default_rng(1)
        flat = rng.normal(9000, 60, (128, 128))
        starassay.measure_gain([flat, flat], list(rng.normal(900, 3, (2, 128, 128))))


def test_an_unknown_key_names_itself() -> None:
    with pytest.raises(errors.InputError, match="secnods"):
        _gateway.call("gateway.wait", {"seconds": 0, "secnods": 1})


def test_a_fault_of_ours_asks_for_a_report() -> None:
    with pytest.raises(errors.EngineError, match="Please report it") as caught:
        _gateway.call("gateway.wait", {"seconds": 1e300})  # more than a TimeSpan holds
    assert "OverflowException" in caught.value.trace


def test_not_a_number_crosses_both_ways() -> None:
    answer = echo(np.zeros((2, 2), np.float32))
    assert np.isnan(answer["gain"])
    assert _gateway._plain({"a": np.float64("nan"), "b": (np.inf, -np.inf)}) == {
        "a": "NaN",
        "b": ["Infinity", "-Infinity"],
    }


def test_another_version_is_refused_by_name() -> None:
    script = """
import starassay._host as host
host.__version__ = "9.9.9"
host.gateway()
"""
    done = child(script)
    assert done.returncode != 0
    last = done.stderr.strip().splitlines()[-1]
    assert "EngineUnavailableError" in last and "9.9.9" in last and starassay.__version__ in last
    assert "Install StarAssay again" in last


def test_a_missing_engine_says_what_to_do(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", "import starassay; starassay.about()"],
        env={**environment(), "STARASSAY_ENGINE": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert "The engine is missing from" in done.stderr and "pip install" in done.stderr


def test_a_missing_runtime_says_what_to_install() -> None:
    script = """
import starassay._host as host
from pathlib import Path
host._dotnet_roots = lambda: [Path("/nowhere")]
host.gateway()
"""
    done = child(script)
    assert "No .NET runtime was found" in done.stderr and "DOTNET_ROOT" in done.stderr


def _described() -> dict[str, dict[str, list[str] | None]]:
    """Classes of the stub: methods with their parameters, properties with None."""
    tree = ast.parse((Path(starassay.__file__).parent / "_bridge.pyi").read_text())
    found: dict[str, dict[str, list[str] | None]] = {}
    for node in tree.body:
        if isinstance(node, ast.ClassDef):
            members: dict[str, list[str] | None] = {}
            for item in node.body:
                if isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name):
                    members[item.target.id] = None
                elif isinstance(item, ast.FunctionDef):
                    names = [
                        f"{a.arg}: {ast.unparse(a.annotation)}"
                        for a in item.args.args
                        if a.annotation is not None
                    ]
                    returns = ast.unparse(item.returns) if item.returns else "None"
                    members[item.name] = [*names, returns]
            found[node.name] = members
    return found


def test_the_stub_is_the_assembly() -> None:
    gateway = _host.gateway()
    import clr

    words = {
        "String": "str",
        "Int32": "int",
        "Boolean": "bool",
        "Double": "float",
        "Void": "None",
        "PyObject": "object",
        "Exception": "object",
        "Job": "Job",
    }
    described = _described()
    types = {t.Name: t for t in clr.GetClrType(gateway).Assembly.GetTypes()}
    for name, members in described.items():
        kind = types[name]
        real: dict[str, list[str] | None] = {
            p.Name: None for p in kind.GetProperties() if p.DeclaringType.Name == name
        }
        for method in kind.GetMethods():
            if method.DeclaringType.Name == name and not method.IsSpecialName:
                arguments = [
                    f"{p.Name}: {words[p.ParameterType.Name]}" for p in method.GetParameters()
                ]
                real[method.Name] = [*arguments, words[method.ReturnType.Name]]
        assert real == members, name


@pytest.mark.parametrize("kind", MAKERS)
def test_results_are_plain_data(kind: str) -> None:
    result = MAKERS[kind]()
    assert type(result).__name__ == kind
    check_result(result)


def test_about_lists_tasks_and_the_description_notes() -> None:
    """What the engine offers; the face's own list of notes is made from its description."""
    facts = starassay.about()
    assert facts["version"] == starassay.__version__
    offered = {"gateway.echo", "imaging.inspect", "stars.measure", "wavefront.measure"}
    assert offered <= set(facts["tasks"])
    assert json.dumps(facts)
    notes = json.loads(_host.gateway().Describe())["notes"]
    codes = [n["code"] for n in notes]
    assert codes == sorted(set(codes)) and len(codes) > 50
    assert all(n["level"] in ("info", "caution", "doubt") for n in notes)


def test_progress_moves_and_ends(capsys: pytest.CaptureFixture) -> None:
    _gateway.call("gateway.wait", {"seconds": 2}, progress=True)
    shown = capsys.readouterr().err
    assert "waiting" in shown and "%" in shown

"""How many shared files of ``src`` and ``python`` name a given measurement: two at most.

Shared are all files but those in a measurement's own folders or with its name in their path, and those of a
measurement that is made of its results (`RESTING`).
Generated files count. More than two, and the next measurement will have to touch them as well.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from _measurement_names import is_own, measurements, read_tracked, shared_files

TOP = Path(__file__).resolve().parents[2]
MOST = 2

# Measurements made of another's results, which their own files have to name: who -> on whom.
RESTING = {"Spacing": "FocusSurface", "ComaAxis": "Alignment"}

# The classroom's sheet of a lens is drawn by the theory that stands beside the measurement: sheet -> whose.
SHEETS = {"ColorSheet": "ColorFocus"}


def texts() -> dict[str, str]:
    """All files of the engine, the bridge and the face."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "src", "python"],
        cwd=TOP,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.splitlines()
    return read_tracked(TOP, listed)


def test_few_shared_files_name_a_measurement() -> None:
    files = texts()
    rooms = measurements(files)
    assert len(files) > 200 and {"ColorFocus", "Wavefront"} <= set(rooms)
    assert {*RESTING, *RESTING.values()} <= set(rooms)
    above = []
    for name in rooms:
        resting = [who for who, on in (RESTING | SHEETS).items() if on == name]
        found = list(shared_files(files, name, resting))
        print(name, len(found), found)
        if len(found) > MOST:
            above += [f"{name} is named in {len(found)} shared files, not {MOST}:"]
            above += [f"  {file}: {what}" for file, what in found]
    assert not above, "\n".join(above)


OWN = {
    "src/StarAssay.Engine/Measurements/ColorFocus/Curve/OpenSigns.cs": "class OpenSigns",
    "src/StarAssay.Engine/Measurements/ColorFocus/Run.cs": "public record ColorFocusResult",
    "python/starassay/cli/measure_color_focus.py": "def measure_color_focus(frames): ...",
}


@pytest.mark.parametrize(
    "text",
    [
        "using StarAssay.Engine.Measurements.ColorFocus;",
        "from .color_focus import Spectrum",
        "from starassay.measurements import color_focus",
        "import starassay.color_focus as cf",
        "from . import demo, measure_color_focus",
        'NAMES = {"Spectrum": ".color_focus"}',
        '[EngineTask("color-focus.measure")]',
        "table['color_focus']",
        'kind == "color focus"',
        "ColorFocusResult Make() => null;",
        "result = measure_color_focus(frames)",
    ],
)
def test_each_way_to_name_it_counts(text: str) -> None:
    found = list(shared_files({**OWN, "python/starassay/results.py": text}, "ColorFocus"))
    assert [file for file, _ in found] == ["python/starassay/results.py"]


@pytest.mark.parametrize(
    "text",
    [
        "# the color focus of a lens",
        "color_focus_um = lens.ColorFocusUm",
        'message = "The color focus was not measured"',
        "class OpenSignsElsewhere: ...",
    ],
)
def test_terms_of_the_trade_do_not_count(text: str) -> None:
    assert not list(shared_files({**OWN, "python/starassay/results.py": text}, "ColorFocus"))


def test_own_files_are_told_by_their_path() -> None:
    assert all(is_own(file, "ColorFocus") for file in OWN)
    assert is_own("src/StarAssay.Bridge/Tasks/ColorFocusTasks.cs", "ColorFocus")
    assert not is_own("src/StarAssay.Engine/Optics/Color.cs", "ColorFocus")
    assert not is_own("python/starassay/_records.py", "Wavefront")

"""What the doors know of this measurement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..._records import FOCUS_SURFACE_REQUEST, MEASUREMENTS
from ...imaging.glances import Glance
from ...imaging.focus_positions import positions_complaint
from .._declaring import FOCUS_RUN, Measurement, Part, Role, Setup, options
from .._drafting import Draft, focus_runs, paths, step_asked, titled
from .planning import RECIPE


def measure(setup: Setup) -> list[Part]:
    """All frames together."""
    from . import measure_focus_surface

    assert setup.telescope is not None
    frames = [setup.read(path) for path in setup.files["frames"]]
    found = measure_focus_surface(
        frames,
        focal_ratio=setup.telescope.focal_ratio,
        obstruction=setup.telescope.obstruction,
        threads=setup.threads,
        progress=setup.progress,
        **setup.options,
    )
    return [Part(f"{len(frames)} frames", found)]


def check(
    files: Mapping[str, Sequence[Path]], options: Mapping[str, Any]
) -> tuple[str, str] | None:
    """Enough frames, and one position a frame, from the options or from the headers."""
    frames = len(files["frames"])
    if frames < 5:
        return "frames", f"{frames} frames are given; a focus run needs five or more."
    return positions_complaint(files["frames"], options)


def draft(glances: Sequence[Glance]) -> list[Draft]:
    """Star fields at five or more places of the focuser."""
    remark = "The positions are those of the headers; they must grow away from the objective."
    return [
        Draft(
            titled("Focus run", run),
            {"frames": paths(run)},
            run[0].facts.filter,
            asks=step_asked(run),
            remarks=(remark,),
        )
        for run in focus_runs(glances)
    ]


MEASUREMENT = Measurement(
    area="focus_surface",
    title=MEASUREMENTS["focus_surface"][0],
    help="Tilt of the sensor and curvature of the field from a focus run of a star field.",
    example=(
        "starassay measure focus-surface f-1.fits f-2.fits f-3.fits f-4.fits f-5.fits f-6.fits f-7.fits "
        "--positions -180um -120um -60um 0um 60um 120um 180um --aperture 115mm --focal-length 690mm"
    ),
    roles=(Role("frames", "one star field at five or more focuser positions, as taken"),),
    options=options(
        FOCUS_SURFACE_REQUEST,
        "positions wavelength",
        *FOCUS_RUN,
    ),
    measure=measure,
    draft=draft,
    recipe=RECIPE,
    check=check,
    telescope="aperture focal_length [obstruction]",
    light="wavelength",
    words={
        "Focus surface": (
            "Sensor position at which the stars of each place are smallest, over the sensor; a tilted sensor "
            "makes it a slope, a curved field a bowl."
        ),
        "Depth of focus": (
            "How far the sensor may stand from best focus for a quarter wave of defocus: two wavelengths "
            "times the squared focal ratio, to either side."
        ),
    },
    caveat=(
        "A tilt of the sensor and a curved field whose middle lies beside the sensor's look alike; turn the "
        "camera by half a turn and measure again to tell them apart."
    ),
)

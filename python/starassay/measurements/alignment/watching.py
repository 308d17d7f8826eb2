"""What of the alignment is watched: the coma as the way that the star has to go, and the disc with its circles."""

from __future__ import annotations

from typing import Any

import numpy as np
from astropy import units as u

from ...results import Measured
from .._watching import Glimpse, Mark, Sight, Watch
from .._ways import opposite, way

UNIT = u.nm


def look(found: Any, _: Any) -> Sight:
    """Coma away from where it moves the shadow, in nm, and the first image.

    The parts come from the decentre by coma, scaled to the coefficient, which does not hang on the defocus as the decentre does.
    The shadow is shifted toward the axis, whatever side of focus the star stands on, and the axis has to come to the star: a
    screw that does it moves the star the other way, by twice as much, and the mount brings it back.
    """
    parts = (found.coma_decentre_x, found.coma_decentre_y)
    length = float(np.hypot(*(p.value.to_value(u.um) for p in parts)))
    scale = float(found.coma.value.to_value(UNIT)) / length if length > 0 else 0.0
    bars = (found.coma_x.uncertainty, found.coma_y.uncertainty)
    smallest = min(float(bar.to_value(UNIT)) for bar in bars)
    point = tuple(
        Measured(
            -scale * p.value.to_value(u.um) * UNIT,
            max(scale * p.uncertainty.to_value(u.um), smallest) * UNIT,
        )
        for p in parts
    )
    image = found.images[0]
    line = f"coma {found.coma}"
    if found.coma_told:
        line += f", star to go toward {opposite(found.coma_direction.value).value:.0f} deg"
    share = (
        f"decentre {100 * float(found.coma_decentre.value):.2f} ± {100 * float(found.coma_decentre.uncertainty):.2f} % "
        "of the blur radius"
    )
    beside = [share, f"{abs(image.defocus_waves):.1f} waves out of focus"]
    if np.isfinite(found.clock_hour):
        beside.append(
            f"the shadow is shifted toward {found.clock_hour:.1f} o'clock of the aperture"
        )
    return Sight(
        point, line, tuple(beside), _glimpse(image, f"{line}; {share}"), tuple(found.doubts)
    )


def _glimpse(image: Any, said: str) -> Glimpse:
    marks = [
        Mark("circle", image.outer_x.value, image.outer_y.value, float(image.outer_radius.value)),
        Mark("dot", image.outer_x.value, image.outer_y.value),
    ]
    if image.shadow_radius.value > 0:
        radius = float(image.shadow_radius.value)
        marks.append(
            Mark("circle", image.shadow_x.value, image.shadow_y.value, radius, second=True)
        )
    marks.append(Mark("cross", image.shadow_x.value, image.shadow_y.value, second=True))
    # The middle of the first pixel, which may stand for several of the frame; and no more sky than shows the rim.
    half = (image.binning - 1) / 2
    middle = (np.array(image.observed.shape) - 1) / 2
    reach = min(float(1.45 * image.outer_radius.value / image.binning), float(middle.min()))
    (low, left), (high, right) = np.rint(middle - reach).astype(int), np.rint(
        middle + reach
    ).astype(int)
    cut = image.observed[low : high + 1, left : right + 1]
    x0, y0 = image.x0 + half + left * image.binning, image.y0 + half + low * image.binning
    text = (
        f"Disc of the defocused star, {2 * image.outer_radius.value:.0f} pixels wide; the middle of the shadow (cross) lies "
        f"{image.shadow_x.value - image.outer_x.value:+.2f} and {image.shadow_y.value - image.outer_y.value:+.2f} pixels "
        f"from that of the outer edge (dot): {said}"
    )
    legend = "Blue: outer edge; amber: shadow."
    return Glimpse(cut, x0, y0, image.binning, text, tuple(marks), legend)


def steer(mean: np.ndarray, bars: np.ndarray) -> str:
    """Where the star has to go in the image."""
    if not np.sum((mean / bars) ** 2) > 9:
        return "No coma stands out of its bars: there is nothing to turn."
    toward = np.arctan2(mean[1], mean[0]) * u.rad
    return (
        f"Turn so that the star moves toward {toward.to_value(u.deg):.0f} deg in the picture ({way(toward)}), bring it back to the middle "
        "with the mount, and take the next frame."
    )


def trial(setup: Any) -> np.ndarray:
    """A plain ring as wide as seven waves of defocus make it."""
    scope, pitch = setup.telescope, setup.options.get("pitch") or setup.camera.get("pitch")
    pitch = 4.0 if pitch is None else float(u.Quantity(pitch).to_value(u.um))
    ratio, wavelength = (
        float(scope.focal_ratio),
        u.Quantity(setup.options["wavelength"]).to_value(u.um),
    )
    radius = float(np.clip(4 * ratio * 7 * wavelength / pitch, 12, 60))
    # As large as makes the engine look for it in two steps, as in the camera's frames.
    y, x = np.mgrid[-700:700, -800:800]
    r = np.hypot(x, y) / radius
    lit = np.clip((1 - r) * radius + 0.5, 0, 1) * np.clip(
        (r - float(scope.obstruction)) * radius + 0.5, 0, 1
    )
    rng = np.random.default_rng(1)
    return np.clip(rng.normal(500, 8, x.shape) + 2000 * lit, 0, 60000).astype(np.uint16)


WATCH = Watch(
    number="coma",
    unit=UNIT.to_string(),
    turned="a screw",
    look=look,
    steer=steer,
    trial=trial,
    steady=True,
    caution=(
        "Turn only screws that the maker means for the owner, an eighth of a turn at a time, and none against resistance; a lens cell is "
        "the maker's or a qualified optician's to open. A mirror can fall: do not loosen a screw out of its thread, least of all with the "
        "tube pointing down."
    ),
)

"""Pictures of the page as SVG: the last frame, the arrow still needed, the trend. Dark, for eyes that shall stay dark-adapted."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from html import escape

import numpy as np

from .. import style
from ..measurements._watching import Glimpse, Mark
from .progress import Mean
from .session import Reading, Session

#: Ground, panel, lines, words, and words that may stand back.
NIGHT, PANEL, RULE, WORDS, QUIET = "#0b0c0f", "#14161b", "#34373e", "#cfc8bb", "#97928a"
NOW, GOAL, BAD = style.SKY, style.AMBER, "#ff7f3f"
# Two components: 95 % lie within sqrt(-2 ln 0.05) standard deviations.
_REACH = 2.448
_SIDE = 320


def data_png(pixels: np.ndarray) -> str:
    """A picture as a data address, warm and dim, row 0 at the bottom, NaN black."""
    from PIL import Image

    values = np.asarray(pixels, dtype=float)
    finite = values[np.isfinite(values)]
    low, high = np.percentile(finite, (2, 99.7)) if finite.size else (0.0, 1.0)
    scaled = np.clip((np.nan_to_num(values, nan=low) - low) / max(high - low, 1e-12), 0, 1)
    picture = Image.fromarray((255 * scaled[::-1]).astype(np.uint8), "P")
    shades = np.arange(256)[:, np.newaxis] * np.array([0.88, 0.78, 0.62]) * 0.9
    picture.putpalette(shades.astype(np.uint8).tobytes())
    held = io.BytesIO()
    picture.save(held, "PNG")
    return "data:image/png;base64," + base64.b64encode(held.getvalue()).decode("ascii")


def last_frame(glimpse: Glimpse, toward: float | None) -> str:
    """The last frame's picture with its marks and, for an arrow, which way the star has to go.

    Parameters
    ----------
    glimpse : Glimpse
        The picture.
    toward : float or None
        Direction from +x (right) towards +y (up), radians; None for none.
    """
    rows, columns = glimpse.pixels.shape
    unit = _SIDE / max(rows, columns)
    wide, high = columns * unit, rows * unit

    def place(mark: Mark) -> tuple[float, float]:
        x = ((mark.x - glimpse.x0) / glimpse.cell + 0.5) * unit
        return x, high - ((mark.y - glimpse.y0) / glimpse.cell + 0.5) * unit

    over = []
    for mark in glimpse.marks:
        x, y = place(mark)
        how = f'fill="none" stroke="{GOAL if mark.second else NOW}" stroke-width="2"'
        if mark.kind == "circle":
            dash = ' stroke-dasharray="6 4"' if mark.second else ""
            over.append(
                f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{mark.radius / glimpse.cell * unit:.1f}" {how}{dash}/>'
            )
        elif mark.kind == "dot":
            over.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{NOW}"/>')
        else:
            over.append(f'<path d="M{x - 7:.1f} {y - 7:.1f} l14 14 m0 -14 l-14 14" {how}/>')
    if toward is not None:
        over.append(_needed(toward, wide, high))
    alt = glimpse.text
    if toward is not None:
        alt += f". Arrow: the star has to move toward {np.rad2deg(toward):.0f} deg, x to the right, y up."
    return (
        f'<svg viewBox="0 0 {wide:.0f} {high:.0f}" role="img" aria-label="{escape(alt, quote=True)}">'
        f'<rect width="{wide:.0f}" height="{high:.0f}" fill="#000"/>'
        f'<image href="{data_png(glimpse.pixels)}" width="{wide:.0f}" height="{high:.0f}" preserveAspectRatio="none" '
        f'style="image-rendering:pixelated"/>{"".join(over)}</svg>'
    )


def _needed(toward: float, wide: float, high: float) -> str:
    """An arrow along the rim: which way the star has to go."""
    c, s = np.cos(toward), -np.sin(toward)
    middle, reach = (wide / 2, high / 2), 0.44 * min(wide, high)
    tip = (middle[0] + 1.1 * reach * c, middle[1] + 1.1 * reach * s)
    tail = (middle[0] + 0.72 * reach * c, middle[1] + 0.72 * reach * s)
    return _arrow(tail, tip, GOAL, 5)


def _arrow(tail: tuple[float, float], tip: tuple[float, float], color: str, width: float) -> str:
    dx, dy = tip[0] - tail[0], tip[1] - tail[1]
    length = max(float(np.hypot(dx, dy)), 1e-9)
    ux, uy = dx / length, dy / length
    head = min(3.2 * width, 0.6 * length)
    neck = (tip[0] - head * ux, tip[1] - head * uy)
    side = 0.55 * head
    return (
        f'<path d="M{tail[0]:.1f} {tail[1]:.1f} L{neck[0]:.1f} {neck[1]:.1f}" stroke="{color}" stroke-width="{width}" fill="none"/>'
        f'<path d="M{tip[0]:.1f} {tip[1]:.1f} L{neck[0] - side * uy:.1f} {neck[1] + side * ux:.1f} '
        f'L{neck[0] + side * uy:.1f} {neck[1] - side * ux:.1f} Z" fill="{color}"/>'
    )


def _nice(top: float, count: int = 3) -> float:
    """A round step for about so many ticks."""
    rough = max(top, 1e-12) / count
    power = 10.0 ** np.floor(np.log10(rough))
    return float(min((m * power for m in (1, 2, 2.5, 5, 10)), key=lambda s: abs(s - rough)))


def still_needed(means: Sequence[tuple[int, Mean]], number: str, unit: str) -> str:
    """The arrow still needed, and the way there turn by turn; the goal is the middle.

    Parameters
    ----------
    means : sequence of (int, Mean)
        Of the arrow, by the number of turns before, in order.
    number, unit : str
        What it is.
    """
    number_now, now = means[-1]
    far = max(float(np.hypot(*(np.abs(m.values) + 1.2 * m.bars))) for _, m in means)
    step = _nice(1.12 * far)
    reach = max(step * np.ceil(1.05 * far / step), step)
    middle, unit_length = _SIDE / 2, (_SIDE / 2 - 12) / reach

    def place(values: np.ndarray) -> tuple[float, float]:
        return middle + unit_length * float(values[0]), middle - unit_length * float(values[1])

    parts = []
    for k in range(1, round(reach / step) + 1):
        r = k * step * unit_length
        parts.append(
            f'<circle cx="{middle}" cy="{middle}" r="{r:.1f}" fill="none" stroke="{RULE}"/>'
            f'<text x="{middle + 4}" y="{middle - r + 14:.1f}" class="q">{k * step:g}{" " + unit if k == round(reach / step) else ""}</text>'
        )
    parts.append(
        f'<path d="M{middle} 8 V{_SIDE - 8} M8 {middle} H{_SIDE - 8}" stroke="{RULE}" stroke-width="1"/>'
    )
    track = [place(m.values) for _, m in means]
    if len(track) > 1:
        line = " L".join(f"{x:.1f} {y:.1f}" for x, y in track)
        parts.append(
            f'<path d="M{line}" fill="none" stroke="{QUIET}" stroke-width="1.5" stroke-dasharray="3 4"/>'
        )
    named = [track[-1]]
    for (turns, _), (x, y) in reversed(list(zip(means, track))[:-1]):
        parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{PANEL}" stroke="{QUIET}" stroke-width="1.5"/>'
        )
        # Numbers of turns that led to the same place would stand on each other: the last one is told.
        if all(np.hypot(x - a, y - b) > 14 for a, b in named):
            parts.append(f'<text x="{x + 7:.1f}" y="{y - 6:.1f}" class="q">{turns}</text>')
            named.append((x, y))
    x, y = track[-1]
    rx, ry = (_REACH * unit_length * float(b) for b in now.bars)
    told = float(np.sum((now.values / now.bars) ** 2)) > 9
    if told:
        parts.append(_arrow((middle, middle), (x, y), GOAL, 3.5))
    parts.append(
        f'<ellipse cx="{x:.1f}" cy="{y:.1f}" rx="{max(rx, 1.5):.1f}" ry="{max(ry, 1.5):.1f}" fill="{NOW}" fill-opacity="0.25" '
        f'stroke="{NOW}" stroke-width="2"/>'
    )
    parts.append(
        f'<circle cx="{middle}" cy="{middle}" r="7" fill="none" stroke="{WORDS}" stroke-width="2"/>'
    )
    bar = f"{now.bar:.2g} {unit}".strip()
    toward = np.rad2deg(np.arctan2(now.values[1], now.values[0]))
    alt = (
        f"{number} as an arrow: {now.size:.3g} with a bar of {bar}"
        + (f", toward {toward:.0f} deg" if told else ", not told from none")
        + f", after {number_now} turns. Before: "
        + (", ".join(f"{m.size:.3g} after {k}" for k, m in means[:-1]) or "nothing")
        + f" ({unit}). The goal is the middle."
    )
    return f'<svg viewBox="0 0 {_SIDE} {_SIDE}" role="img" aria-label="{escape(alt, quote=True)}">{"".join(parts)}</svg>'


def trend(session: Session, wide: int, high: int, most: int) -> str:
    """Every frame with its bar, and the mean since each turn with its own.

    Parameters
    ----------
    session : Session
        With frames.
    wide, high : int
        Of the picture.
    most : int
        How many frames are shown at most, the last ones.
    """
    unit, number = session.watch.unit, session.watch.number
    shown = [r for r in session if r.sight is not None][-most:]
    means = session.means()
    left, right, top, foot = 58, wide - 12, 34, high - 34
    sizes = {r.number: _size(session, r) for r in shown}
    known = [(s, b) for s, b in sizes.values() if np.isfinite(s) and np.isfinite(b)]
    if not known:
        return ""
    lowest = min(s - b for s, b in known)
    highest = max(s + b for s, b in known)
    # The length of an arrow is seen against zero; a number that hardly changes, against itself.
    if any(len(m.values) == 2 for m in means.values()) or lowest < 0.4 * highest:
        lowest = 0.0
    room = 0.08 * max(highest - lowest, 1e-9)
    lowest, highest = (0.0 if lowest == 0 else lowest - room), highest + room
    step = _nice(highest - lowest, 4)

    def across(k: float) -> float:
        return left + (right - left) * (k + 0.5) / max(len(shown), 6)

    def up(value: float) -> float:
        return foot - (foot - top) * (value - lowest) / (highest - lowest)

    parts = []
    for tick in np.arange(np.ceil(lowest / step) * step, highest, step):
        parts.append(
            f'<path d="M{left} {up(tick):.1f} H{right}" stroke="{RULE}"/>'
            f'<text x="{left - 8}" y="{up(tick) + 5:.1f}" text-anchor="end" class="q">{tick:.4g}</text>'
        )
    order = {r.number: k for k, r in enumerate(shown)}
    groups = sorted({r.group for r in shown})
    notes = {g.number: g.note for g in session.groups}
    last_label = -1e9
    for turns in groups:
        places = [order[r.number] for r in shown if r.group == turns]
        begin, end = across(places[0] - 0.5), across(places[-1] + 0.5)
        if turns != groups[0]:
            parts.append(
                f'<path d="M{begin:.1f} {top - 8} V{foot}" stroke="{QUIET}" stroke-dasharray="2 4"/>'
            )
        note = notes.get(turns) or ("start" if turns == 0 else "")
        text = f"{turns}: {note}" if note and turns else note or f"{turns}"
        room_here = int((end - begin) / 7.5)
        text = text if len(text) <= room_here else f"{turns}"
        if begin + 4 > last_label:
            parts.append(
                f'<text x="{begin + 4:.1f}" y="{top - 14}" class="q">{escape(text)}</text>'
            )
            last_label = begin + 8 + 8 * len(text)
        if turns in means:
            mean = means[turns]
            color = NOW if turns == session.groups[-1].number else QUIET
            bar = mean.bar if np.isfinite(mean.bar) else 0.0
            high_edge, low_edge = (
                up(min(mean.size + bar, highest)),
                up(max(mean.size - bar, lowest)),
            )
            parts.append(
                f'<rect x="{begin + 2:.1f}" width="{max(end - begin - 4, 2):.1f}" y="{high_edge:.1f}" '
                f'height="{max(low_edge - high_edge, 0):.1f}" fill="{color}" fill-opacity="0.25"/>'
                f'<path d="M{begin + 2:.1f} {up(mean.size):.1f} H{end - 2:.1f}" stroke="{color}" stroke-width="2"/>'
            )
    for reading in shown:
        size, bar = sizes[reading.number]
        if not np.isfinite(size):
            continue
        x, color = across(order[reading.number]), WORDS if reading.counts else QUIET
        bar = bar if np.isfinite(bar) else 0.0
        parts.append(
            f'<path d="M{x:.1f} {up(max(size - bar, lowest)):.1f} V{up(size + bar):.1f}" stroke="{color}" stroke-width="1.5"/>'
        )
        fill = color if reading.counts else "none"
        parts.append(
            f'<circle cx="{x:.1f}" cy="{up(size):.1f}" r="3.5" fill="{fill}" stroke="{color}" stroke-width="1.5"/>'
        )
    parts.append(
        f'<text x="{left}" y="{foot + 24}" class="q">frame {shown[0].number} to {shown[-1].number}; bands: mean since each turn</text>'
    )
    told = ", ".join(
        f"{mean.size:.3g} ± {mean.bar:.2g} after {turns} turns" for turns, mean in means.items()
    )
    alt = f"{number} of frames {shown[0].number} to {shown[-1].number}{' in ' + unit if unit else ''}; means: {told}"
    return f'<svg viewBox="0 0 {wide} {high}" role="img" aria-label="{escape(alt, quote=True)}">{"".join(parts)}</svg>'


def _size(session: Session, reading: Reading) -> tuple[float, float]:
    """Number or length of one frame, and its bar."""
    assert reading.sight is not None
    point = session.point(reading.sight)
    mean = Mean(point.values, point.bars, 1, np.inf)
    return mean.size, mean.bar

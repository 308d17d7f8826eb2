"""Pictures and curves as pieces of HTML: PNG inside SVG, with axes, scale and a text for those who do not see them."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from functools import cache
from html import escape
from typing import Any

import numpy as np

from .. import style

SIDE = 200
"""Side of a picture in the SVG's own units."""

#: A drawing that stands alone, outside a sheet, has its letters too.
_LETTERS = 'font-family="DejaVu Sans, Verdana, sans-serif"'

#: Bytes of deflate's least effort: a slider waits for it.
_QUICK = 1


@cache
def _palette(name: str) -> bytes:
    """255 colors of a color map after one for what is not there."""
    from matplotlib import colormaps

    colors = colormaps[name](np.linspace(0, 1, 255), bytes=True)[:, :3]
    return bytes([255, 255, 255]) + colors.tobytes()


def png(values: np.ndarray, low: float, high: float, colors: str) -> str:
    """A picture as a data address; row 0 at the bottom, NaN left clear.

    Parameters
    ----------
    values : ndarray, shape (rows, columns)
        What is drawn.
    low, high : float
        What gets the first and the last color.
    colors : str
        Name of a matplotlib color map.
    """
    from PIL import Image

    scaled = (values[::-1] - low) * (253.999 / (high - low)) + 1
    index = np.where(np.isnan(scaled), 0, np.clip(scaled, 1, 255)).astype(np.uint8)
    picture = Image.fromarray(index, "P")
    picture.putpalette(_palette(colors))
    held = io.BytesIO()
    picture.save(held, "PNG", compress_level=_QUICK, transparency=0)
    return "data:image/png;base64," + base64.b64encode(held.getvalue()).decode("ascii")


def picture(
    title: str, told: str, address: str, over: str = "", caption: str = "", foot: int = 0
) -> str:
    """One picture with its title, something drawn over it, a caption, and room left free at its foot."""
    side = SIDE - foot
    return (
        f'<figure class="sa-card"><figcaption><b>{escape(title)}</b></figcaption>'
        f'<svg viewBox="0 0 {SIDE} {SIDE}" role="img" aria-label="{escape(told)}" {_LETTERS}>'
        f'<rect width="{SIDE}" height="{SIDE}" fill="#fff"/>'
        f'<image href="{address}" x="{foot / 2}" width="{side}" height="{side}" preserveAspectRatio="none"/>{over}</svg>'
        f'<figcaption class="sa-note">{escape(caption)}</figcaption></figure>'
    )


def scale_bar(length: float, text: str, ink: str = "#fff") -> str:
    """A bar so many units long in the lower left corner, with what it stands for."""
    return (
        f'<g stroke="#000" stroke-width="3.5"><path d="M10 188 h{length:.1f}"/></g>'
        f'<path d="M10 188 h{length:.1f}" stroke="{ink}" stroke-width="2"/>'
        f'<text x="10" y="181" font-size="12" fill="{ink}" stroke="#000" stroke-width="2.5" '
        f'paint-order="stroke">{escape(text)}</text>'
    )


def ring(radius: float, ink: str = "#fff") -> str:
    """A dashed circle round the middle."""
    middle = SIDE / 2
    return (
        f'<circle cx="{middle}" cy="{middle}" r="{radius:.1f}" fill="none" stroke="{ink}" stroke-width="1.2" '
        'stroke-dasharray="4 3"/>'
    )


def color_bar(colors: str, low: str, high: str) -> str:
    """A bar of the color map along the foot of a picture, with what its ends stand for."""
    steps = 24
    shades = _palette(colors)
    cells = "".join(
        f'<rect x="{40 + 5 * k}" y="186" width="5.3" height="8" fill="rgb({r},{g},{b})"/>'
        for k in range(steps)
        for r, g, b in [shades[3 + 3 * (254 * k // (steps - 1)) :][:3]]
    )
    text = 'font-size="11" fill="#1a1a1a" stroke="#fff" stroke-width="2.5" paint-order="stroke"'
    return (
        f'{cells}<text x="36" y="194" text-anchor="end" {text}>{escape(low)}</text>'
        f'<text x="164" y="194" {text}>{escape(high)}</text>'
    )


def _nice(top: float) -> float:
    """A round step for some four ticks."""
    rough = top / 4
    power = 10.0 ** np.floor(np.log10(rough))
    return float(min((m * power for m in (1, 2, 2.5, 5, 10)), key=lambda s: abs(s - rough)))


def length_text(um: float) -> str:
    """A length in the unit that reads best."""
    return f"{um / 1000:.3g} mm" if abs(um) >= 1000 else f"{um:.3g} µm"


def curves(
    title: str,
    told: str,
    lines: Sequence[tuple[str, Any, Any, str, str]],
    x_label: str,
    y_label: str,
    *,
    x_range: tuple[float, float],
    y_range: tuple[float, float],
    band: tuple[float, float] | None = None,
    size: tuple[int, int] = (300, SIDE),
    caption: str = "",
    legend_below: bool = False,
) -> str:
    """Curves with axes.

    Parameters
    ----------
    title, told : str
        Over it, and for those who do not see it.
    lines : sequence of (str, array, array, str, str)
        Name, abscissae, ordinates, color and SVG dashes ("" for none).
    x_label, y_label : str
        With units.
    x_range, y_range : (float, float)
        Ends of the axes.
    band : (float, float), optional
        Ordinates between which the ground is shaded.
    size : (int, int)
        Width and height in the SVG's own units.
    caption : str
        Below it.
    legend_below : bool
        Whether the names stand near the lower end instead of the upper one.
    """
    wide, high = size
    left, right, top, foot = 54, wide - 16, 10, high - 34

    def at_x(x: Any) -> Any:
        return left + (np.asarray(x) - x_range[0]) * (right - left) / (x_range[1] - x_range[0])

    def at_y(y: Any) -> Any:
        return foot - (np.asarray(y) - y_range[0]) * (foot - top) / (y_range[1] - y_range[0])

    parts = []
    if band is not None:
        low, upper = (float(np.clip(at_y(b), top, foot)) for b in band)
        parts.append(
            f'<rect x="{left}" y="{upper:.1f}" width="{right - left}" height="{max(low - upper, 0):.1f}" fill="#e8eef4"/>'
        )
    for (begin, end), horizontal in ((x_range, True), (y_range, False)):
        step = _nice(end - begin)
        for value in np.arange(np.ceil(begin / step - 1e-9) * step, end + 1e-9 * step, step):
            shown = escape(f"{value + 0.0:.4g}")
            if horizontal:
                x = float(at_x(value))
                parts.append(
                    f'<path d="M{x:.1f} {foot} v4" stroke="#4d4d4d"/>'
                    f'<text x="{x:.1f}" y="{foot + 15}" text-anchor="middle">{shown}</text>'
                )
            else:
                y = float(at_y(value))
                parts.append(
                    f'<path d="M{left} {y:.1f} H{right}" stroke="#e0e0e0"/>'
                    f'<text x="{left - 5}" y="{y + 4:.1f}" text-anchor="end">{shown}</text>'
                )
    parts.append(f'<path d="M{left} {top} V{foot} H{right}" fill="none" stroke="#4d4d4d"/>')
    for k, (name, x, y, color, dashes) in enumerate(lines):
        # What leaves the axes is cut at their rim.
        points = " ".join(
            f"{a:.1f},{b:.1f}"
            for a, b in zip(at_x(x), np.clip(at_y(y), top - 2, foot + 2))
            if np.isfinite(a + b)
        )
        dash = f' stroke-dasharray="{dashes}"' if dashes else ""
        parts.append(
            f'<polyline points="{points}" fill="none" stroke="{color}" stroke-width="2"{dash}/>'
        )
        row = foot - 8 - 14 * (len(lines) - 1 - k) if legend_below else top + 12 + 14 * k
        parts.append(
            f'<path d="M{right - 102} {row - 4} h20" stroke="{color}" stroke-width="2"{dash}/>'
            f'<text x="{right - 78}" y="{row}">{escape(name)}</text>'
        )
    middle = (left + right) / 2
    parts.append(
        f'<text x="{middle}" y="{high - 4}" text-anchor="middle">{escape(x_label)}</text>'
        f'<text x="11" y="{(top + foot) / 2}" text-anchor="middle" '
        f'transform="rotate(-90 11 {(top + foot) / 2})">{escape(y_label)}</text>'
    )
    return (
        f'<figure class="sa-card sa-wide"><figcaption><b>{escape(title)}</b></figcaption>'
        f'<svg viewBox="0 0 {wide} {high}" role="img" aria-label="{escape(told)}" {_LETTERS} '
        f'font-size="11" fill="{style.INK}">'
        f'{"".join(parts)}</svg><figcaption class="sa-note">{escape(caption)}</figcaption></figure>'
    )


STYLE = """<style>
.sa-sheet { font: 15px/1.35 "DejaVu Sans", Verdana, sans-serif; color: #1a1a1a; background: #fff; padding: 6px; }
.sa-cards { display: flex; flex-wrap: wrap; gap: 10px 14px; }
.sa-card { margin: 0; flex: 1 1 160px; max-width: 250px; }
.sa-card.sa-wide { flex: 1 1 280px; max-width: 380px; }
.sa-card.sa-full { flex: 1 1 560px; max-width: 860px; }
.sa-card svg { width: 100%; height: auto; display: block; border: 1px solid #d0d0d0; }
.sa-note { font-size: 12px; color: #444; min-height: 1.3em; }
.sa-numbers { font-size: 17px; margin: 4px 0 8px; }
.sa-numbers span { white-space: nowrap; }
.sa-numbers b { font-variant-numeric: tabular-nums; }
.sa-told { font-size: 14px; color: #333; max-width: 70em; margin: 6px 0; }
</style>"""


def sheet(numbers: Sequence[tuple[str, str]], cards: Sequence[str], told: str = "") -> str:
    """A whole sheet: numbers above, pictures below."""
    line = " &nbsp; ".join(
        f"<span>{escape(name)} <b>{escape(value)}</b></span>" for name, value in numbers
    )
    words = f'<p class="sa-told">{escape(told)}</p>' if told else ""
    return f'<div class="sa-sheet"><p class="sa-numbers">{line}</p>{words}<div class="sa-cards">{"".join(cards)}</div></div>'

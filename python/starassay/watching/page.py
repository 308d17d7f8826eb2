"""The page that stands beside the frames: one file, no script, no server, no network; it loads itself again."""

from __future__ import annotations

import datetime
from html import escape
from pathlib import Path

import numpy as np

from ..measurements._declaring import Measurement
from . import charts
from .charts import BAD, GOAL, NIGHT, NOW, PANEL, QUIET, RULE, WORDS
from .progress import Mean, compare
from .session import Reading, Session
from .words import amount, change_in_short, change_words, forecast_words, summary

#: Seconds between two times the page loads itself.
REFRESH = 2
#: Turns and troubles that are listed.
_LISTED = 8

_STYLE = f"""
:root {{ color-scheme: dark }}
* {{ box-sizing: border-box }}
body {{ margin: 0 auto; max-width: 1080px; padding: 14px; background: {NIGHT}; color: {WORDS};
  font: 16px/1.4 system-ui, "DejaVu Sans", sans-serif }}
header, footer {{ color: {QUIET}; font-size: 14px }}
h1 {{ font-size: 16px; font-weight: 600; margin: 0; color: {WORDS} }}
h2 {{ font-size: 14px; font-weight: 600; margin: 0 0 6px; color: {QUIET} }}
section {{ background: {PANEL}; border-radius: 10px; padding: 12px; min-width: 0 }}
main {{ display: grid; grid-template-columns: 1fr 1fr 1fr; gap: 12px; margin: 12px 0 }}
.now {{ display: flex; flex-direction: column; gap: 8px }}
.number {{ font-size: 34px; line-height: 1.15; white-space: nowrap }}
.verdict {{ font-size: 24px; font-weight: 700; line-height: 1.2 }}
.better {{ color: {NOW} }} .worse {{ color: {BAD} }} .open {{ color: {QUIET} }}
.steer {{ color: {GOAL} }}
p {{ margin: 0 }}
.two .now {{ grid-column: span 2 }}
.trend {{ grid-column: 1 / -1 }}
svg {{ display: block; width: 100%; height: auto }}
section > .open {{ font-size: 14px; margin-top: 6px }}
svg text {{ fill: {WORDS}; font-size: 14px }} svg .q {{ fill: {QUIET}; font-size: 13px }}
table {{ border-collapse: collapse; width: 100%; font-size: 14px }}
th, td {{ text-align: left; padding: 3px 10px 3px 0; border-bottom: 1px solid {RULE}; vertical-align: top }}
th {{ color: {QUIET}; font-weight: 400 }}
td.n {{ white-space: nowrap }}
.list {{ grid-column: 1 / -1 }}
.narrow {{ display: none }}
footer p {{ margin-top: 8px }}
@media (max-width: 760px) {{
  main {{ grid-template-columns: 1fr }}
  .now, .two .now {{ grid-column: auto }}
  .wide {{ display: none }} .narrow {{ display: block }}
  .number {{ font-size: 28px }}
}}
@media print {{ body, section {{ background: #fff; color: #000 }} }}
"""

_SUN = "Never point a telescope or its finder at or near the Sun. Local rules come first."


def page_text(measurement: Measurement, session: Session, folder: Path, ended: bool) -> str:
    """The whole page.

    Parameters
    ----------
    measurement : Measurement
        What is watched.
    session : Session
        What was seen so far.
    folder : Path
        Where the frames are.
    ended : bool
        Whether nothing more will come.
    """
    watch, readings = session.watch, list(session)
    now = datetime.datetime.now(datetime.timezone.utc).strftime("%H:%M:%S UTC")
    state = f"ended at {now}" if ended else f"as of {now}; loads itself every {REFRESH} s"
    refresh = "" if ended else f'<meta http-equiv="refresh" content="{REFRESH}">'
    title = f"{measurement.title} in {folder.resolve().name or folder}"
    said = summary(session) if readings else "Waiting for the first frame."
    body = _panels(session) if any(r.sight for r in readings) else ""
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">{refresh}'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="color-scheme" content="dark">'
        f"<title>{escape(_short(session))}</title><style>{_STYLE}</style></head><body>"
        f"<header><h1>{escape(title)}</h1><p>{escape(said)} {escape(state[:1].upper() + state[1:])}.</p></header>"
        f"<main{_columns(session)}>{body}{_turns(session)}{_troubles(readings)}</main>"
        f"<footer><p>{escape(watch.caution)} {escape(_SUN)}</p></footer></body></html>\n"
    )


def _short(session: Session) -> str:
    """For the tab of a browser."""
    means = session.means()
    if not means:
        return "waiting"
    return f"{amount(means[max(means)], session.watch.unit)} {session.watch.number}"


def _columns(session: Session) -> str:
    """Without an arrow there is one panel less."""
    arrow = any(len(m.values) == 2 for m in session.means().values())
    return "" if arrow else ' class="two"'


def _panels(session: Session) -> str:
    """The last picture, the arrow, the numbers, the trend."""
    watch, means = session.watch, session.means()
    last = next(r for r in reversed(list(session)) if r.sight is not None)
    assert last.sight is not None
    mean = means.get(session.groups[-1].number)
    steer = "" if mean is None else watch.steer(mean.values, mean.bars)
    arrow = mean is not None and len(mean.values) == 2
    toward = None
    if arrow and mean is not None and np.sum((mean.values / mean.bars) ** 2) > 9:
        toward = float(np.arctan2(mean.values[1], mean.values[0]))
    parts = [f'<section class="now">{_now(session, last, steer)}</section>']
    if last.sight.glimpse is not None:
        picture = charts.last_frame(last.sight.glimpse, toward)
        legend = last.sight.glimpse.legend
        legend += " Arrow: where the star has to go." if toward is not None else ""
        below = f'<p class="open">{escape(legend)}</p>'
        parts.append(
            f"<section><h2>Frame {last.number}: {escape(last.name)}</h2>{picture}{below}</section>"
        )
    if arrow:
        chart = charts.still_needed(list(means.items()), watch.number, watch.unit)
        parts.append(
            f"<section><h2>Still to go: arrow to bring into the ring, numbers count turns</h2>{chart}</section>"
        )
    label = watch.number + (f" ({watch.unit})" if watch.unit else "")
    for name, wide, high, most in (("wide", 1020, 270, 60), ("narrow", 350, 240, 16)):
        drawn = charts.trend(session, wide, high, most)
        if drawn:
            parts.append(
                f'<section class="trend {name}"><h2>Frame by frame: {escape(label)}</h2>{drawn}</section>'
            )
    return "".join(parts)


def _now(session: Session, last: Reading, steer: str) -> str:
    """Number, verdict, what to do."""
    watch = session.watch
    _, mean = session.last_two
    group = session.groups[-1]
    since = "so far" if group.number == 0 else "since the last turn"
    parts = [f"<h2>{escape(watch.number[:1].upper() + watch.number[1:])} {since}</h2>"]
    if mean is None:
        parts.append('<p class="verdict open">waiting for a frame since the turn</p>')
    else:
        change = session.change()
        frames = f"{mean.count} frame{'' if mean.count == 1 else 's'}"
        parts.append(f'<p class="number">{escape(amount(mean, watch.unit))}</p><p>{frames}</p>')
        words = change_words(change, watch.unit)
        verdict, _, rest = words.partition(": ")
        kind = verdict if verdict in ("better", "worse") else "open"
        parts.append(f'<p class="verdict {kind}">{escape(verdict)}</p>')
        parts += [f"<p>{escape(rest)}.</p>"] if rest else []
    parts += [f'<p class="steer">{escape(steer)}</p>'] if steer else []
    ahead = forecast_words(session.forecast(), watch.unit) if mean is not None else ""
    parts += [f"<p>{escape(ahead)}</p>"] if ahead else []
    assert last.sight is not None
    beside = "; ".join(last.sight.beside)
    parts.append(f'<p class="open">Frame {last.number}: {escape(beside)}.</p>')
    if last.trouble:
        parts.append(f'<p class="worse">Frame {last.number} is {escape(last.trouble)}</p>')
    return "".join(parts)


def _turns(session: Session) -> str:
    """The last turns with what each did."""
    means = session.means()
    if len(means) < 2:
        return ""
    notes = {g.number: g.note for g in session.groups}
    rows: list[str] = []
    before: Mean | None = None
    for number, mean in means.items():
        told = "" if before is None else change_in_short(compare(before, mean), session.watch.unit)
        note = notes[number] or ("start" if number == 0 else "")
        rows.append(
            f'<tr><td class="n">{number}</td><td>{escape(note)}</td><td class="n">{mean.count}</td>'
            f'<td class="n">{escape(amount(mean, session.watch.unit))}</td><td>{escape(told)}</td></tr>'
        )
        before = mean
    return (
        '<section class="list"><h2>Turns</h2><table><thead><tr><th>no.</th><th>what was turned</th><th>frames</th>'
        f"<th>{escape(session.watch.number)}</th><th>against the turn before</th></tr></thead>"
        f"<tbody>{''.join(reversed(rows[-_LISTED:]))}</tbody></table></section>"
    )


def _troubles(readings: list[Reading]) -> str:
    """Frames that were not measured or are not counted."""
    bad = [r for r in readings if r.trouble][-_LISTED:]
    if not bad:
        return ""
    rows = "".join(
        f'<tr><td class="n">{r.number}</td><td>{escape(r.name)}</td><td>{escape(r.trouble)}</td></tr>'
        for r in reversed(bad)
    )
    return f'<section class="list"><h2>Not measured or not counted</h2><table><tbody>{rows}</tbody></table></section>'

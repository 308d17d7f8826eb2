"""The report: one HTML page that holds everything it shows, and asks for nothing from the network."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from typing import Any

import numpy as np
from astropy import units as u

from .._records import QUANTITIES, Quantity
from ..results import GRAVITY, Note, Picture, Sheet, figure_source, format_measured
from .drawing import Ahead
from .keeping import Kept
from .outcome import Judgment, Outcome, Piece, TestOutcome
from .pages import environment_with_style, kept_together
from .report_texts import cautions, caveats, glossary
from .showing import shown, told

#: So many like results of one entry are shown as a table and the first of them; the others are folded.
LIKE = 3

_MARKS = {"met": "✓", "not met": "✕", "not decided": "?"}
_HANDS = {
    "user": "for the user",
    "around": "to live with it",
    "optician": "for the maker or a qualified optician",
    "nobody": "nothing to adjust",
}


def render(
    outcome: Outcome,
    manifest: dict[str, Any],
    kept: Kept,
    ahead: Ahead,
    tell: Callable[[str, float], None] = lambda *_: None,
) -> str:
    """The page as text.

    Parameters
    ----------
    outcome : Outcome
        A campaign that was run.
    manifest : dict
        What went in and with what it was made.
    kept : Kept
        Pictures that were drawn before.
    ahead : Ahead
        Those that were drawn while others were measured.
    tell : callable
        Is told the label of each result and which share of its pictures is drawn.

    Returns
    -------
    str
        HTML.
    """
    environment, css = environment_with_style()
    campaign = outcome.campaign
    # The engine's part of it, while the last pictures are drawn.
    views = shown(outcome)
    ahead.finish()
    made = datetime.fromisoformat(manifest["started"])
    page = environment.get_template("report.html.j2").render(
        css=css,
        name=campaign.name,
        summary=campaign.summary,
        telescope=campaign.telescope,
        facts=_facts(outcome, made),
        headline=_headline(outcome.judgments),
        answer=outcome.answer,
        judgments=_judgments(outcome.judgments),
        risk=f"{100 * campaign.risk:g} %",
        advice=_advice(outcome),
        shown=told(views),
        tests=[_test(t, i, kept, ahead, tell) for i, t in enumerate(outcome.tests)],
        caveats=caveats(outcome),
        cautions=cautions(outcome),
        conditions=_conditions(outcome, manifest, made),
        manifest=manifest,
        glossary=glossary(outcome),
        made=f"{made:%d %B %Y, %H:%M} UTC",
    )
    return kept_together(page)


def _facts(outcome: Outcome, made: datetime) -> list[tuple[str, str]]:
    scope, camera, site = (
        outcome.campaign.telescope,
        outcome.campaign.camera,
        outcome.campaign.site,
    )
    words = {"unknown": "", "compound": "compound (mirrors or mirrors and lenses)"}
    facts = [
        ("aperture", f"{scope.aperture:g}, f/{scope.focal_ratio:.3g}"),
        ("focal length", f"{scope.focal_length:g}"),
        ("design", words.get(scope.design, scope.design)),
        ("central obstruction", f"{scope.obstruction:.3g}" if scope.obstruction else "none"),
        ("camera", camera.name),
        ("nights", _nights(outcome)),
        ("place", site.place),
        ("observer", site.observer),
        ("report made", f"{made:%d %B %Y}"),
    ]
    return [(term, text) for term, text in facts if text]


def _nights(outcome: Outcome) -> str:
    frames = [
        f
        for test in outcome.tests
        for piece in test.pieces
        for f in piece.result.conditions.get("frames", [])
    ]
    days = sorted({f["start"][:10] for f in frames if f.get("start")})
    return " to ".join(dict.fromkeys([days[0], days[-1]])) if days else "not in the frames' headers"


def _headline(judgments: Sequence[Judgment]) -> str:
    def count(group: list[Judgment], word: str) -> str:
        said = {v: sum(j.decision.verdict == v for j in group) for v in _MARKS}
        parts = [f"{n} {v}" for v, n in said.items() if n]
        return f"{len(group)} {word}{'s' if len(group) > 1 else ''}: {', '.join(parts)}."

    claims = [j for j in judgments if not j.decision.claim.requirement]
    needs = [j for j in judgments if j.decision.claim.requirement]
    return " ".join(
        count(group, word) for group, word in ((claims, "claim"), (needs, "requirement")) if group
    )


def _judgments(judgments: Sequence[Judgment]) -> list[dict[str, Any]]:
    groups = [
        (
            "What the maker or seller states",
            [j for j in judgments if not j.entry.claim.requirement],
        ),
        ("What the user needs", [j for j in judgments if j.entry.claim.requirement]),
    ]
    return [
        {"title": title, "rows": [_judgment(j) for j in rows]} for title, rows in groups if rows
    ]


def _judgment(judgment: Judgment) -> dict[str, Any]:
    import matplotlib.pyplot as plt

    from ..decisions.deciding import draw_decision
    from ..style import figure_style

    d, entry = judgment.decision, judgment.entry
    unit = d.claim.unit.to_string()
    label = QUANTITIES[entry.quantity].label
    bounds = []
    if d.claim.at_least is not None:
        bounds.append(f"at least {_limit(d.claim.at_least)}")
    if d.claim.at_most is not None:
        bounds.append(f"at most {_limit(d.claim.at_most)}")
    wavelength = "" if entry.wavelength is None else f" at {entry.wavelength:g}"
    figure, alt = "", ""
    value = format_measured(d.measured.value.value, d.measured.uncertainty.value, unit)
    if np.isfinite(d.guard_band.value):
        with figure_style():
            drawing, ax = plt.subplots(figsize=(2.3, 0.62))
            draw_decision(ax, d)
            ax.set_xlabel("")
            # The graph is shown at about this size, so that its numbers are as large as the text beside it.
            ax.tick_params(labelsize=9)
            ax.locator_params(axis="x", nbins=4)
        figure = figure_source(drawing, "svg")
        alt = f"{value}; {' and '.join(bounds)}"
    probability = "" if not np.isfinite(d.probability) else _percent(d.probability)
    return {
        "verdict": d.verdict,
        "css": d.verdict.replace(" ", "-"),
        "mark": _MARKS[d.verdict],
        "name": d.claim.name,
        # A claim that bears the quantity's own name needs it only once.
        "quantity": "" if label.lower().startswith(d.claim.name.lower()) else label,
        "range": " and ".join(bounds) + wavelength,
        "source": entry.source,
        "value": value,
        "figure": figure,
        "alt": alt,
        "probability": probability,
        "reason": d.reason,
        "next_test": d.next_test,
    }


def _limit(limit: u.Quantity) -> str:
    limit = u.Quantity(limit)
    return f"{limit.value:g} {limit.unit}".strip()


def _percent(share: float) -> str:
    if share > 0.999:
        return "> 99.9 %"
    if share < 0.001:
        return "< 0.1 %"
    return f"{100 * share:.1f} %" if share > 0.99 or share < 0.01 else f"{100 * share:.0f} %"


def _advice(outcome: Outcome) -> dict[str, Any]:
    from ..style import figure_style

    advice = outcome.advice
    figure = ""
    if advice.blur:
        with figure_style():
            figure = figure_source(advice.plot().figure)
    return {
        "limit": advice.limit,
        "figure": figure,
        "blur": [
            {
                "name": b["name"],
                "fwhm": str(b["fwhm"]),
                "share": _percent(min(b["share"], 1.0)),
                "meaning": b["meaning"],
            }
            for b in advice.blur
        ],
        "families": [
            {
                "name": f["name"],
                "rms": str(f["rms"]),
                "share": _percent(f["share"]),
                "direction": (
                    ""
                    if not np.isfinite(f["direction"].value)
                    else str(f["direction"]).replace("deg", "°")
                ),
            }
            for f in advice.families
        ],
        "steps": [
            {
                "about": s["about"],
                "hands": _HANDS[s["hands"]],
                "text": s["text"],
                "gain": s["gain"],
                "claims": " and ".join(f"'{name}'" for name in s["claims"]),
            }
            for s in advice.steps
        ],
    }


def _test(
    outcome: TestOutcome,
    number: int,
    kept: Kept,
    ahead: Ahead,
    tell: Callable[[str, float], None],
) -> dict[str, Any]:
    chosen = outcome.test.filter
    foreign = outcome.test.options.get("other_telescope")
    subtitle = [
        f"taken with another telescope: {foreign}" if foreign else "",
        f"{len(outcome.test.frames)} frame{'s' if len(outcome.test.frames) > 1 else ''}",
        "" if chosen is None else f"filter {chosen.name}, {chosen.wavelength:g}",
        "" if chosen is None or chosen.width is None else f"{chosen.width:g} wide",
    ]
    return {
        "id": f"test-{number + 1}",
        "title": outcome.test.name,
        "subtitle": ", ".join(s for s in subtitle if s),
        "failures": outcome.failures,
        "numbers": [_number(q, outcome.basis(q.name)) for q in outcome.quantities.values()],
        "parts": [_piece(piece, kept, ahead, tell) for piece in outcome.pieces],
        "each": _each(outcome.pieces),
        "folded_notes": _notes(_heavy(outcome.pieces[1:])),
        "notes": _notes(outcome.notes),
    }


def _each(pieces: Sequence[Piece]) -> Sheet | None:
    """The numbers of like results side by side, so that all but the first can be folded; None where there are fewer than three."""
    if len(pieces) < LIKE or len({type(piece.result) for piece in pieces}) > 1:
        return None
    names = list(dict.fromkeys(q.name for piece in pieces for q in piece.result.quantities))
    rows = []
    for piece in pieces:
        values = {q.name: _value(q) for q in piece.result.quantities}
        rows.append((piece.label, *(values.get(name, "") for name in names)))
    head = ("frame", *(QUANTITIES[name].label for name in names))
    return Sheet("Each by itself; the first in full below, the others folded", head, tuple(rows))


def _heavy(pieces: Sequence[Piece]) -> list[Note]:
    """What is to be read with care of results that are folded: it stands in sight."""
    return [note for piece in pieces for note in piece.result.notes if note.level != "info"]


def _value(quantity: Quantity) -> str:
    """A quantity's value; "at least" before one that may be larger by far more than its uncertainty."""
    bar = float(quantity.value.uncertainty.value)
    open_above = np.isfinite(bar) and quantity.may_be_more > 10 * bar > 0
    return f"at least {quantity.value}" if open_above else str(quantity.value)


def _number(quantity: Quantity, basis: str) -> dict[str, str]:
    """One quantity as a row of label, value and origin."""
    label = QUANTITIES[quantity.name].label
    nm = float(quantity.wavelength.value)
    at = f" at {nm:.4g} nm" if np.isfinite(nm) else ""
    if basis:
        at += f", {basis}"
    one = quantity.count == 1
    counted = quantity.counted[:-1] if one and quantity.counted.endswith("s") else quantity.counted
    return {
        "label": label + ("," + at if at and "," in label else at),
        "value": _value(quantity),
        "origin": f"{quantity.count} {'spectrum' if counted == 'spectra' and one else counted}",
    }


def _piece(
    piece: Piece, kept: Kept, ahead: Ahead, tell: Callable[[str, float], None]
) -> dict[str, Any]:
    tell(piece.label, 0.0)
    result = piece.result
    frames = result.conditions.get("frames", [])
    facts = []
    if frames:
        facts = [f"{frames[0]['width']} × {frames[0]['height']} pixels"]
        facts += [frames[0][key] for key in ("exposure", "start") if frames[0][key]]
    pictures = result.figures()
    images = kept.pictures(piece.facts, piece.number)
    if images is None or len(images) != len(pictures):
        images = _drawn(piece, pictures, ahead, tell)
        kept.keep_pictures(piece.facts, piece.number, images)
    figures = [
        {"image": image, "caption": f.caption, "alt": f.alt, "width": f.width}
        for image, f in zip(images, pictures)
    ]
    return {
        "label": piece.label,
        "slug": piece.slug,
        "bulk": bool(result.json_parts("")[1]),
        "facts": ", ".join(facts),
        "lines": result.sentences(),
        "figures": figures,
        "tables": result.sheets(),
        "notes": _notes(result.notes),
    }


def _drawn(
    piece: Piece, pictures: Sequence[Picture], ahead: Ahead, tell: Callable[[str, float], None]
) -> list[str]:
    """The pictures of a result as sources of images."""
    import matplotlib.pyplot as plt

    plt.close("all")
    images = []
    for k in range(len(pictures)):
        images.append(ahead.source(piece.result, pictures, k))
        tell(piece.label, (k + 1) / len(pictures))
    return images


def _notes(notes: Iterable[Note]) -> list[dict[str, Any]]:
    """Notes with the heaviest first; one of each kind in full, with the others' subjects behind it."""
    kinds: dict[tuple[str, str, int], list[Note]] = {}
    said: dict[tuple[str, str], list[str]] = {}
    for note in notes:
        # Notes of one kind about the same thing may say different things: those stay apart.
        texts = said.setdefault((note.code, note.subject), [])
        if note.text not in texts:
            texts.append(note.text)
            kinds.setdefault((note.level, note.code, len(texts)), []).append(note)
    ordered = sorted(kinds.values(), key=lambda group: GRAVITY.get(group[0].level, 3))
    return [
        {
            "level": group[0].level,
            # Many notes name their file themselves.
            "subject": "" if group[0].subject in group[0].text else group[0].subject,
            "text": group[0].text,
            "also": list(dict.fromkeys(n.subject for n in group[1:] if n.subject)),
        }
        for group in ordered
    ]


def _conditions(
    outcome: Outcome, manifest: dict[str, Any], made: datetime
) -> list[tuple[str, str]]:
    site, versions = outcome.campaign.site, manifest["versions"]
    seeing = "" if site.seeing is None else f"{site.seeing:g}"
    if site.seeing is not None and site.seeing_uncertainty is not None:
        seeing = format_measured(
            site.seeing.value,
            site.seeing_uncertainty.to_value(site.seeing.unit),
            str(site.seeing.unit),
        )
    rows = [
        ("seeing as stated", seeing),
        ("temperature", "" if site.temperature is None else f"{site.temperature.value:g} °C"),
        ("telescope", outcome.campaign.telescope.note),
        ("site", site.note),
        (
            "software",
            f"StarAssay {versions['starassay']}, {versions['runtime']}, Python {versions['python']}, "
            f"Astropy {versions['astropy']}",
        ),
    ]
    return [(term, text) for term, text in rows if text]

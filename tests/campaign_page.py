"""What docs/campaign.md says of every measurement, from what each declares to the doors.

``python tests/make_records.py`` writes it; ``tests/python/test_records.py`` fails while it is stale.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from marked_pages import replaced
from starassay._records import QUANTITIES
from starassay.measurements import declared
from starassay.measurements._declaring import IN_FILE, Measurement, Option, Role


def campaign_page(path: Path) -> str:
    """The page with both generated parts made anew; the rest stays as it was written."""
    page = path.read_text(encoding="utf-8")
    page = replaced(page, "measurements", "\n".join(section(m) for m in declared().values()))
    return replaced(page, "quantities", quantities())


def section(one: Measurement) -> str:
    """One measurement: what it is, its files, what can be said to it."""
    rows = [role(r, one) for r in one.roles]
    if one.pairs:
        first, second = (r.name for r in one.roles)
        rows.append(
            f'| `pairs` | instead of `{first}` and `{second}` | `[["in-1.fits", "out-1.fits"], ...]` |'
        )
    if one.light:
        needed = "needed, or " if one.light_needed else "or "
        rows.append(
            f"| `filter` | {needed}`{one.light}` | a NAME above, whose wavelength is taken |"
        )
    rows += [option(o, one) for o in one.options if o not in IN_FILE]
    together = (
        "All files of an entry are one measurement."
        if one.together
        else "Each frame is measured by itself."
    )
    head = [f"### `[[{one.area}]]`", "", f"{one.help} {together}", ""]
    return "\n".join([*head, "| key | if left out | |", "|---|---|---|", *rows, ""])


def role(r: Role, one: Measurement) -> str:
    """A row for files."""
    text, left_out = parted(r.help)
    if not (r.optional or one.pairs):
        left_out = "needed"
    return f"| `{r.name}` | {left_out} | {text}{'; a list, wildcards in the file name' if r.many else ''} |"


def option(o: Option, one: Measurement) -> str:
    """A row for what can be said."""
    text, left_out = parted(o.help)
    if o.required:
        left_out = "needed" if o.name != one.light else "the filter's"
    elif not left_out:
        left_out = shown(o.default, o.unit)
    text = re.sub(rf", {re.escape(o.unit)}\b", "", text) if o.unit else text
    if o.choices:
        text += ": " + ", ".join(f'`"{c}"`' for c in o.choices)
    elif o.unit:
        text += f" ({o.unit})"
    first = text[0].lower() if text[1].islower() or text[1] == " " else text[0]
    return f"| `{o.name}` | {left_out} | {first}{text[1:]} |"


def parted(text: str) -> tuple[str, str]:
    """A text without what it says of the default, and that."""
    said = re.search(r" \(default:? ([^)]*)\)|; otherwise ((?:[^.]|\.(?=\d))*)", text)
    if said is None:
        return text, ""
    return text[: said.start()] + text[said.end() :], said[1] or said[2]


def shown(default: Any, unit: str) -> str:
    """A default as one would write it in the file."""
    if isinstance(default, bool):
        return "`true`" if default else "`false`"
    if default is None:
        return ""
    if isinstance(default, str):
        return f'`"{default}"`'
    return f'`"{default:g} {unit}"`' if unit else f"`{default:g}`"


def quantities() -> str:
    """Rows of all that a claim can be about."""
    rows = [f"| `{q.name}` | {q.unit} | `[[{q.area}]]` | {q.label} |" for q in QUANTITIES.values()]
    return "\n".join(["| quantity | unit | from | |", "|---|---|---|---|", *rows])

"""Writes one section of docs/accuracy.md between its markers."""

from __future__ import annotations

from pathlib import Path

PAGE = Path(__file__).resolve().parents[2] / "docs" / "accuracy.md"


def write_section(name: str, text: str, page: Path = PAGE) -> None:
    """Replace what stands between ``<!-- name:begin -->`` and ``<!-- name:end -->``.

    A section that is not on the page yet is added at its end.
    """
    begin, end = f"<!-- {name}:begin -->", f"<!-- {name}:end -->"
    old = page.read_text(encoding="utf-8")
    block = f"{begin}\n{text.strip()}\n{end}"
    if begin in old and end in old:
        head, rest = old.split(begin, 1)
        new = head + block + rest.split(end, 1)[1]
    else:
        new = old.rstrip() + f"\n\n{block}\n"
    page.write_text(new, encoding="utf-8")

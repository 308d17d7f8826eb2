"""Pages with generated parts between marks: ``<!-- name:begin -->`` and ``<!-- name:end -->``."""

from __future__ import annotations


def replaced(page: str, name: str, text: str) -> str:
    """A page with what stands between two marks replaced; a part that is not there yet comes at the end."""
    begin, end = f"<!-- {name}:begin -->", f"<!-- {name}:end -->"
    block = f"{begin}\n{text.strip()}\n{end}"
    if begin not in page or end not in page:
        return page.rstrip() + f"\n\n{block}\n"
    head, rest = page.split(begin, 1)
    return head + block + rest.split(end, 1)[1]

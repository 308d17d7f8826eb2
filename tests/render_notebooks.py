"""Runs the classroom's notebooks and writes them, with what they show, as pages: docs/notebooks/NAME.md and its pictures.

    python tests/render_notebooks.py [NAME ...]

The notebooks in examples/ hold no output. A test fails when a page's text or code is no longer its notebook's; what it shows is
of the day it was written.
"""

from __future__ import annotations

import asyncio
import os
import re
import sys
from pathlib import Path

import nbclient
import nbformat
from nbconvert.exporters import MarkdownExporter

TOP = Path(__file__).resolve().parents[1]
SOURCE, TARGET = TOP / "examples" / "classroom", TOP / "docs" / "notebooks"
_PICTURE = re.compile(r"<img[^>]*src=['\"]data:image/png;base64,([^'\"]+)")
_DRAWING = re.compile(r"<svg.*?</svg>", re.DOTALL)
_WIDTH = re.compile(r'viewBox="\S+ \S+ (\S+)')
_LABEL = re.compile(r'aria-label="([^"]*)"')
_WIDGET = "application/vnd.jupyter.widget-view+json"
_SLIDERS = "(A panel with sliders: run the notebook to move them.)"


def as_page(text: str) -> str:
    """A cell's text with links to other notebooks turned into links to their pages."""
    return re.sub(r"\(([a-z-]+)\.ipynb\)", r"(\1.md)", text)


def simple(output: nbformat.NotebookNode, stem: str) -> list[nbformat.NotebookNode]:
    """What an output shows, as plain text and pictures: pages of a repository show nothing else."""
    data = output.get("data")
    if data is None:
        # The kernel's complaint that no browser is there.
        return [] if output.get("name") == "stderr" else [output]
    if _WIDGET in data:
        return [nbformat.v4.new_output("stream", text=_SLIDERS)]
    if "image/png" in data:
        return [nbformat.v4.new_output("display_data", {"image/png": data["image/png"]})]
    found = []
    if "text/plain" in data:
        found.append(nbformat.v4.new_output("stream", text=data["text/plain"]))
    page = data.get("text/html", "")
    drawings = _DRAWING.findall(page)
    if drawings:
        return [
            *found,
            nbformat.v4.new_output("display_data", {"text/html": table(drawings, stem)}),
        ]
    return [
        *found,
        *(nbformat.v4.new_output("display_data", {"image/png": p}) for p in _PICTURE.findall(page)),
    ]


def table(drawings: list[str], stem: str) -> str:
    """A sheet's drawings, each in a file of its own, two or three in a row with what each shows below it.

    Parameters
    ----------
    drawings : list of str
        SVG as a page has it.
    stem : str
        How the files' names begin.
    """
    cells: list[list[str]] = []
    room = 0
    for k, drawing in enumerate(drawings, 1):
        path = TARGET / f"{stem}-{k}.svg"
        whole = drawing.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
        path.write_text(whole if "xmlns" not in drawing else drawing, encoding="utf-8")
        label = _LABEL.search(drawing)
        said = label.group(1) if label else ""
        # Letters of a wide drawing have to stay readable.
        size = float(_WIDTH.search(drawing)[1])  # type: ignore[index]
        width, share = (720, 6) if size > 500 else (400, 3) if size > 250 else (240, 2)
        if room < share:
            cells.append([])
            room = 6
        room -= share
        cells[-1].append(
            f'<td colspan="{share}"><img src="{path.name}" width="{width}" alt="{said}"><br>{said}</td>'
        )
    return "<table>" + "".join(f"<tr>{''.join(row)}</tr>" for row in cells) + "</table>"


def render(name: str) -> None:
    """Run one notebook and write its page.

    Parameters
    ----------
    name : str
        Without its ending.
    """
    notebook = nbformat.read(SOURCE / f"{name}.ipynb", as_version=4)
    client = nbclient.NotebookClient(notebook, timeout=300, kernel_name="python3")
    # The oldest client knows no widgets of the oldest library.
    client.comm_open_handlers = {}
    asyncio.run(client.async_execute())
    TARGET.mkdir(exist_ok=True)
    for old in TARGET.glob(f"{name}-*.*"):
        old.unlink()
    for place, cell in enumerate(notebook.cells):
        cell.source = as_page(cell.source)
        if "outputs" in cell:
            stems = [f"{name}-{place}-{k}" for k in range(len(cell.outputs))]
            shown = [simple(*pair) for pair in zip(cell.outputs, stems)]
            cell.outputs = [part for parts in shown for part in parts]
    text, resources = MarkdownExporter().from_notebook_node(notebook)
    for k, (key, content) in enumerate(
        sorted(resources["outputs"].items(), key=lambda item: _place(item[0])), 1
    ):
        path = TARGET / f"{name}-{k}{Path(key).suffix}"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        text = re.sub(
            rf"!\[\w+\]\({re.escape(key)}\)", f"![What the cell above shows]({path.name})", text
        )
    head = (
        f"*The notebook [{name}.ipynb](../../examples/classroom/{name}.ipynb) with what it shows.*"
    )
    lines = [line.rstrip() for line in f"{head}\n\n{text.strip()}".splitlines()]
    (TARGET / f"{name}.md").write_text(
        re.sub(r"\n{3,}", "\n\n", "\n".join(lines)) + "\n", encoding="utf-8"
    )


def _place(key: str) -> tuple[int, ...]:
    """Cell and output of a picture, from the name that the exporter gave it."""
    return tuple(int(number) for number in re.findall(r"\d+", key))


def main() -> None:
    """Render those that are named, or all."""
    os.environ["PYTHONPATH"] = str(TOP / "python")
    for name in sys.argv[1:] or sorted(p.stem for p in SOURCE.glob("*.ipynb")):
        print(name)
        render(name)


if __name__ == "__main__":
    main()

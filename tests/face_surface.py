"""Writes tests/python/public_surface.txt: every public name of the face with its signature."""

from __future__ import annotations

import sys
from pathlib import Path

import starassay

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE / "python"))

from _face_surface import surface  # noqa: E402


def main() -> None:
    """Write the file."""
    page = HERE / "python" / "public_surface.txt"
    page.write_text("\n".join(surface(starassay)) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()

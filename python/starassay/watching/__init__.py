"""Frames measured as the camera writes them, while somebody turns screws, and one page that shows the way.

>>> import starassay
>>> with starassay.watch_folder("tonight", "stars", pitch="3.76 um") as watch:  # doctest: +SKIP
...     for reading in watch:
...         print(reading.name, reading.change)
"""

from __future__ import annotations

from .session import Reading
from .watcher import FolderWatch, watch_folder

__all__ = ["FolderWatch", "Reading", "watch_folder"]

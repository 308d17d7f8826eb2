"""What every page shares: templates, and the style that goes into the page itself."""

from __future__ import annotations

import re
from typing import Any


def environment_with_style() -> tuple[Any, Any]:
    """The templates, and the style sheet as it is put into a page."""
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("starassay", "templates"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    loader = environment.loader
    assert loader is not None
    css = jinja2.utils.markupsafe.Markup(loader.get_source(environment, "report.css")[0])
    return environment, css


def kept_together(page: str) -> str:
    """A page with micrometres as one reads them, and every number on one line with its unit.

    Parameters
    ----------
    page : str
        HTML.
    """
    page = re.sub(r"(?<=\d) um(?!\w)", " µm", page)
    return re.sub(r"(?<=\d) (?=(?:%|nm|µm|mm|arcsec|pix|°)(?!\w))", "\u00a0", page)

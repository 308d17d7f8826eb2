"""Serves the JupyterLab application that `build.js` bundled, on Debian's Jupyter server: `python server.py FOLDER [options]`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from jupyter_server.base.handlers import APIHandler
from jupyterlab_server import LabServerApp
from tornado import web, websocket

PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>JupyterLab</title>
<link rel="icon" href="data:,">
<script id="jupyter-config-data" type="application/json">{{ page_config | tojson }}</script>
<link rel="stylesheet" href="{{ page_config.fullStaticUrl }}/stdin.css">
<script type="module" src="{{ page_config.fullStaticUrl }}/stdin.js"></script>
</head><body></body></html>
"""


class Me(APIHandler):  # type: ignore[misc]
    """Who is there: newer servers are asked for it."""

    @web.authenticated
    def get(self) -> None:
        """Somebody."""
        name = {"username": "class", "name": "Class", "display_name": "Class"}
        self.finish({"identity": {**name, "initials": "C", "color": "grey"}, "permissions": {}})


class Events(websocket.WebSocketHandler):
    """What happens on a newer server; here nothing is told."""


class Lab(LabServerApp):  # type: ignore[misc]
    """The application, in the folder that is given first."""

    name = "lab"
    load_other_extensions = False
    app_name = "JupyterLab"
    app_url = default_url = "/lab"
    folder = Path(".")

    def initialize_handlers(self) -> None:
        """The application's own, and what its pages ask of newer servers."""
        self.handlers.append((r"/api/me", Me))
        self.handlers.append((r"/api/events/subscribe", Events))
        super().initialize_handlers()


def _jupyter_server_extension_points() -> list[dict[str, Any]]:
    """Asked by the server that starts it."""
    return [{"module": __name__, "app": Lab}]


def main(arguments: list[str]) -> None:
    """Write the page, and serve until told to stop."""
    folder = Path(arguments[0]).resolve()
    templates = folder / "templates"
    templates.mkdir(exist_ok=True)
    (templates / "index.html").write_text(PAGE, encoding="utf-8")
    settings: dict[str, Any] = {
        "static_dir": folder / "static",
        "templates_dir": templates,
        "schemas_dir": folder / "schemas",
        "themes_dir": folder / "themes",
        # What a run leaves goes with the folder it works in.
        "app_settings_dir": Path(".lab").resolve() / "settings",
        "user_settings_dir": Path(".lab").resolve() / "user",
        "workspaces_dir": Path(".lab").resolve() / "workspaces",
    }
    Lab.launch_instance([f"--Lab.{k}={v}" for k, v in settings.items()] + arguments[1:])


if __name__ == "__main__":
    main(sys.argv[1:])

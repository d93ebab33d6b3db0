"""Part of JupyterLab's server: one address that leads from a notebook to its plain page."""

from __future__ import annotations

import os
from typing import Any
from urllib.parse import urlsplit

from jupyter_server.base.handlers import JupyterHandler
from jupyter_server.utils import url_path_join
from tornado import web

from coreward.app.lab import PAGES_VARIABLE


class _ToPage(JupyterHandler):
    """Send a browser to the page of a notebook."""

    @web.authenticated
    async def get(self, name: str) -> None:
        """Redirect; both answer under the name that the browser knows this machine by."""
        host = urlsplit(f"//{self.request.host}").hostname
        self.redirect(f"http://{host}:{int(os.environ[PAGES_VARIABLE])}/page/{name}")


def _jupyter_server_extension_points() -> list[dict[str, str]]:
    return [{"module": "coreward.app.way_back"}]


def _load_jupyter_server_extension(server: Any) -> None:
    """Add the address."""
    application = server.web_app
    route = url_path_join(application.settings["base_url"], r"/coreward/page/([\w-]+)")
    application.add_handlers(".*$", [(route, _ToPage)])

"""Whose machine this is: the person's own folder, and whether several share a server."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Final

FOLDER_VARIABLE: Final = "COREWARD_CONFIG_DIR"
"""Environment variable that overrides the folder."""

SERVES: Final = "COREWARD_SERVES"
"""Environment variable: ``one`` person or ``many`` are before the pages of this server.

``visitor`` is one of many for whom the server keeps a settings folder apart (the app view
does): what is left is remembered there, but the folder of the pages is nobody's.
"""
LAB_PAGE: Final = "JPY_SESSION_NAME"
APP_PAGE: Final = "SCRIPT_NAME"


def folder() -> Path:
    """Return the folder where this system keeps what is a person's own."""
    chosen = os.environ.get(FOLDER_VARIABLE)
    if chosen:
        return Path(chosen)
    if sys.platform == "win32":
        base = os.environ.get("APPDATA")
        return (Path(base) if base else Path.home() / "AppData" / "Roaming") / "coreward"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "coreward"
    base = os.environ.get("XDG_CONFIG_HOME")
    return (Path(base) if base else Path.home() / ".config") / "coreward"


def serves_one() -> bool:
    """Tell whether what is kept here is one person's.

    Unless `SERVES` says otherwise, the app view counts as open before many: there, what
    one person leaves must not be shown to the next, nor written into the folder.
    """
    said = os.environ.get(SERVES)
    if said in {"one", "many"}:
        return said == "one"
    return bool(os.environ.get(LAB_PAGE)) or not os.environ.get(APP_PAGE)


def keeps() -> bool:
    """Tell whether what is left here may be kept: it is one person's, or one visitor's."""
    return os.environ.get(SERVES) == "visitor" or serves_one()

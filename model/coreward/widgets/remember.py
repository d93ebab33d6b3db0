"""A panel is found again as it was left: after a reload, and with a new kernel.

Each panel of each page has a small file of its own in the person's settings folder (see
`coreward.person`), in the format of `coreward.widgets.saved`. It lies there and
not beside the notebook because a notebook's folder may be read-only, belongs to
whoever gets the notebook next, and is what a checkout of the project is compared with.

Which file is whose follows from the page, the kind of panel, the values that the page
starts it with and the cell that makes it. In the app view, where cells have no names,
panels that are otherwise alike are told apart by the order in which they are made.

Nothing is kept where no page is known: in a script, under a test, where a notebook
is executed without a person. So what such a run shows never hangs on what somebody did
before. Nor is anything kept where several people share a server (`serves_one` there).
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from coreward.files import write_atomically
from coreward.person import APP_PAGE, LAB_PAGE, folder, keeps

_FOLDER: Final = "left"
_MOST_FILES: Final = 400

# Of this kernel only: which cells have made panels that are otherwise alike, and how
# many panels the running cell has made.
_alike: dict[tuple[str, ...], list[str]] = {}
_made: dict[str, int] = {}


class Memory:
    """The file of one panel.

    Parameters
    ----------
    file : Path
        Where it lies, or would lie.
    """

    def __init__(self, file: Path) -> None:
        self.file = file
        self._last: str | None = None
        self._set_aside = False

    def load(self) -> str | None:
        """Return what was left, or None if nothing was.

        Raises
        ------
        OSError
            If there is something, but it cannot be read.
        """
        try:
            self._last = self.file.read_text(encoding="utf-8", errors="replace")
        except FileNotFoundError:
            self._last = None
        return self._last

    def put_aside(self) -> None:
        """Leave what is there, which could not be used, under another name at the next save."""
        self._set_aside = True

    def save(self, text: str) -> None:
        """Write what is left now.

        Raises
        ------
        InputError, OSError
            If it cannot be written. What was written before stays.
        """
        if text == self._last:
            return
        if self._set_aside and self.file.exists():
            self.file.replace(self.file.with_suffix(".unusable"))
        self._set_aside = False
        if self._last is None:
            self.file.parent.mkdir(parents=True, exist_ok=True)
            _drop_oldest(self.file.parent)
        write_atomically(self.file, text.encode("utf-8"), what="state of this panel")
        self._last = text

    def forget(self) -> None:
        """Take the file away: the panel is as the page starts it.

        Raises
        ------
        OSError
            If it cannot be taken away.
        """
        if self._last is not None and not self._set_aside:
            self.file.unlink(missing_ok=True)
            self._last = None


def memory(kind: str, start: Mapping[str, Any], remember: bool | str) -> Memory | None:
    """Return the file of a panel, or None where nothing is to be remembered.

    Parameters
    ----------
    start : Mapping
        The inputs that the page starts it with.
    remember : bool or str
        False for nothing. True to go by the page; a word of one's own stands for the
        page and works without one.
    """
    if remember is False or not keeps():
        return None
    if isinstance(remember, str):
        parts: tuple[str, ...] = ("named", remember, kind)
    else:
        place = page()
        if place is None:
            return None
        parts = (place, kind, json.dumps(dict(start), sort_keys=True, default=str))
        parts = (*parts, _cell(parts))
    digest = hashlib.sha256("\n".join(parts).encode("utf-8", "replace")).hexdigest()[:20]
    try:
        place_of_all = folder()
    except RuntimeError:  # there is no home
        return None
    return Memory(place_of_all / _FOLDER / f"{kind.replace(' ', '-')}-{digest}.json")


def page() -> str | None:
    """Return the page that this kernel serves, or None if it serves none."""
    if _request() is None:
        return None
    return os.environ.get(LAB_PAGE) or os.environ.get(APP_PAGE) or None


def _cell(alike: tuple[str, ...]) -> str:
    """Return what tells this panel from others that are alike."""
    request = _request() or {}
    run = str((request.get("header") or {}).get("msg_id", ""))
    number = _made.get(run, 0)
    _made.clear()
    _made[run] = number + 1
    name = (request.get("metadata") or {}).get("cellId")
    if name:
        return f"cell {name} {number}"
    # Without a name, by the order of making; a cell that runs again is known by its text.
    text = f"{(request.get('content') or {}).get('code', '')}\n{number}"
    known = _alike.setdefault(alike, [])
    if text not in known:
        known.append(text)
    return f"order {known.index(text)}"


def _request() -> Mapping[str, Any] | None:
    """Return the request that this kernel is answering, None where there is no kernel."""
    try:
        from IPython import get_ipython
    except ModuleNotFoundError:
        return None
    # The library has no types here.
    kernel: Any = getattr(get_ipython(), "kernel", None)
    return None if kernel is None else dict(kernel.get_parent() or {})


def _drop_oldest(folder: Path) -> None:
    """Keep the folder small: what was left longest ago is forgotten first."""
    files = sorted(folder.glob("*.json"), key=lambda file: file.stat().st_mtime)
    for file in files[: max(0, len(files) - _MOST_FILES + 1)]:
        file.unlink(missing_ok=True)

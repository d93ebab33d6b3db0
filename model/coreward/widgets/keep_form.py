"""A button that unfolds what has to be said of a finished cook before it is kept."""

from __future__ import annotations

import html
from collections.abc import Callable, Mapping, Sequence
from typing import Final

import ipywidgets as W

from coreward.errors import CorewardError
from coreward.inputs import Asked
from coreward.widgets.panel_parts import button, column, line, row
from coreward.words import UnitChoice, shown

WRAPS: Final = ("ask the log", "none", "foil", "paper")
_STYLE: Final = {"description_width": "110px"}


class KeepForm:
    """The button and its form.

    Parameters
    ----------
    asked : sequence of Asked
        What else is asked for, an entry each.
    keep : callable
        Takes what was said, by name, and returns what is to be told.
    """

    def __init__(
        self,
        cuts: Sequence[str],
        asked: Sequence[Asked],
        keep: Callable[[Mapping[str, str]], str],
        units: Callable[[], UnitChoice],
    ) -> None:
        self._keep, self._units, self._asked = keep, units, asked
        self.button = button("Keep this cook…", "keep", self._toggle)
        self.cut = W.Dropdown(options=list(cuts), description="cut", style=_STYLE)
        self.cut.add_class("coreward-control-keep-cut")
        self.wrap = W.Dropdown(options=list(WRAPS), description="wrapped in", style=_STYLE)
        self.wrap.add_class("coreward-control-keep-wrap")
        self.entries = {one.option: self._entry(one.option, one.page) for one in asked}
        self.entries["probe"] = self._entry("probe", "meat probe no.")
        self.entries["probe"].value = "1"
        self._said = line("keep-message", margin="0 4px")
        keep_it = button("Keep it", "keep-it", self._press)
        entries = self.entries.values()
        self._form = row(self.cut, *entries, self.wrap, keep_it, display="none")
        self.widget = column("keep", self._form, self._said)

    @property
    def said(self) -> str:
        """The message shown, as the page holds it."""
        return str(self._said.value)

    def clear(self) -> None:
        """Take the message back: it was about another log."""
        self._said.value = ""

    @staticmethod
    def _entry(name: str, words: str) -> W.Text:
        entry = W.Text(description=words, style=_STYLE, layout=W.Layout(width="240px"))
        entry.add_class(f"coreward-control-keep-{name}")
        return entry

    def _toggle(self) -> None:
        hidden = self._form.layout.display == "none"
        for one in self._asked:
            self.entries[one.option].placeholder = shown(one.example, self._units())
        self._form.layout.display = "" if hidden else "none"

    def _press(self) -> None:
        given = {name: str(entry.value).strip() for name, entry in self.entries.items()}
        given |= {"cut": str(self.cut.value), "wrap": str(self.wrap.value)}
        try:
            told, role = self._keep(given), "status"
        except CorewardError as error:
            told, role = error.shown(self._units()), "alert"
        self._said.value = f'<div role="{role}">{html.escape(told)}</div>'

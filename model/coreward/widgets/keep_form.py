"""A button that unfolds what has to be said of a finished cook before it is kept."""

from __future__ import annotations

import html
from collections.abc import Callable, Mapping, Sequence
from typing import Final

import ipywidgets as W

from coreward.errors import CorewardError
from coreward.widgets.panel_parts import button
from coreward.words import UnitChoice

ENTRIES: Final[Mapping[str, str]] = {
    "mass": "weight, or",
    "thickness": "thickness",
    "pit": "name of the pit",
    "set": "pit was set to",
    "target": "pulled at",
    "probe": "meat probe no.",
}
"""Name of each entry, and what stands before it."""
WRAPS: Final = ("ask the log", "none", "foil", "paper")
_ROW: Final = {"flex_flow": "row wrap", "align_items": "center"}
_STYLE: Final = {"description_width": "110px"}


class KeepForm:
    """The button and its form.

    Parameters
    ----------
    keep : callable
        Takes what was said, by name, and returns what is to be told.
    """

    def __init__(
        self,
        cuts: Sequence[str],
        keep: Callable[[Mapping[str, str]], str],
        units: Callable[[], UnitChoice],
    ) -> None:
        self._keep, self._units = keep, units
        self.button = button("Keep this cook…", "keep", self._toggle)
        self.cut = W.Dropdown(options=list(cuts), description="cut", style=_STYLE)
        self.cut.add_class("coreward-control-keep-cut")
        self.wrap = W.Dropdown(options=list(WRAPS), description="wrapped in", style=_STYLE)
        self.wrap.add_class("coreward-control-keep-wrap")
        self.entries = {name: self._entry(name, words) for name, words in ENTRIES.items()}
        self.entries["probe"].value = "1"
        self._said = W.HTML(layout=W.Layout(margin="0 4px"))
        self._said.add_class("coreward-keep-message")
        self._form = W.Box(
            [
                self.cut,
                *self.entries.values(),
                self.wrap,
                button("Keep it", "keep-it", self._press),
            ],
            layout=W.Layout(**_ROW, display="none"),
        )
        self.widget = W.VBox([self._form, self._said])
        self.widget.add_class("coreward-keep")

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
        units = self._units()
        degrees = f"°{units.temperature}"
        for name, example in (
            ("mass", "5.2 kg" if units.mass == "kg" else "11.5 lb"),
            ("thickness", "80 mm" if units.length == "mm" else "3.1 in"),
            ("pit", "drum"),
            ("set", f"{110 if units.temperature == 'C' else 230} {degrees}"),
            ("target", f"{93 if units.temperature == 'C' else 200} {degrees}"),
        ):
            self.entries[name].placeholder = example
        self._form.layout.display = "" if hidden else "none"

    def _press(self) -> None:
        given = {name: str(entry.value).strip() for name, entry in self.entries.items()}
        given |= {"cut": str(self.cut.value), "wrap": str(self.wrap.value)}
        try:
            told, role = self._keep(given), "status"
        except CorewardError as error:
            told, role = error.shown(self._units()), "alert"
        self._said.value = f'<div role="{role}">{html.escape(told)}</div>'

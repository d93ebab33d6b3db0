"""Parts of a panel: what saves and opens, the bar of a long computation, and folds."""

from __future__ import annotations

import base64
import html
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import ipywidgets as W

from coreward.errors import InputError
from coreward.person import serves_one
from coreward.widgets.saved import SUFFIX, checked, inside

if TYPE_CHECKING:
    from coreward.widgets.panel import Panel

PAGE_STYLE: Final = """
<style>
/* Whole words, also in what a cell prints, and tables read from the left: a notebook's own
   rules break words anywhere and leave the left edge of a sentence ragged. */
.jp-OutputArea .jp-RenderedText pre { word-break: normal; overflow-wrap: anywhere; }
.jp-OutputArea .jp-RenderedHTMLCommon th, .jp-OutputArea .jp-RenderedHTMLCommon td {
  text-align: left; vertical-align: top; }
</style>
"""
"""What panels and lesson cards ask of the whole page; the app view's page says the same."""

_ROW: Final = {"flex_flow": "row wrap", "align_items": "center"}


class FileControls:
    """Two buttons, each of which unfolds what it needs.

    Parameters
    ----------
    panel : Panel
        Whose inputs are saved and opened.

    Attributes
    ----------
    save_button, open_button : Button
        To be put beside the other buttons.
    widget : VBox
        What they unfold.
    """

    def __init__(self, panel: Panel) -> None:
        self._panel = panel
        self.save_button = button("Save…", "save", self._toggle_save)
        self.open_button = button("Open…", "open", self._toggle_open)
        self.save_name = _text("name", f"{panel.kind.replace(' ', '-')}{SUFFIX}", "save-name")
        self.save_name.observe(lambda change: self.refresh(), names="value")
        self._link = line("download", margin="0 4px")
        self._save_here = button("Save in this folder", "save-here", self._save)
        self.uploader = W.FileUpload(
            accept=SUFFIX,
            multiple=False,
            description="Choose a file",
            layout=W.Layout(width="auto"),
        )
        self.uploader.add_class("coreward-control-open-upload")
        self.uploader.observe(self._sent, names="value")
        self.open_name = _text("or from this folder", "", "open-name")
        self._open_here = button("Open it", "open-here", self._open)
        # Where many share a server, its folder is nobody's.
        here = serves_one()
        saving, opening = [self.save_name, self._link], [self.uploader]
        if here:
            saving.append(self._save_here)
            opening += [self.open_name, self._open_here]
        self._save_row = row(*saving, display="none")
        self._open_row = row(*opening, display="none")
        self._said = line("file-message", margin="0 4px", display="none")
        self.widget = column("files", self._save_row, self._open_row, self._said)

    @property
    def said(self) -> str:
        """The message shown, as the page holds it."""
        return str(self._said.value)

    def refresh(self) -> None:
        """Bring the link in line with the panel, if it is in sight."""
        if self._save_row.layout.display == "none":
            return
        try:
            name = inside(Path(), self.save_name.value).name
        except InputError as error:
            self._say(str(error), wrong=True)
            return
        data = base64.b64encode(self._panel.saved_text().encode("utf-8")).decode("ascii")
        self._link.value = (
            f'<a download="{html.escape(name, quote=True)}" '
            f'href="data:application/json;base64,{data}">Download {html.escape(name)}</a>'
        )

    def _toggle_save(self) -> None:
        self._unfold(self._save_row, self._open_row)
        self.refresh()

    def _toggle_open(self) -> None:
        self._unfold(self._open_row, self._save_row)

    def _unfold(self, row: W.Box, other: W.Box) -> None:
        hidden = row.layout.display == "none"
        other.layout.display = "none"
        row.layout.display = "" if hidden else "none"
        self._say("")

    def _save(self) -> None:
        try:
            file = self._panel.save(self.save_name.value)
        except InputError as error:
            self._say(str(error), wrong=True)
            return
        self._say(f"Saved as {file.name} in {file.parent}.")

    def _open(self) -> None:
        self._opening(lambda: self._panel.open(inside(Path.cwd(), self.open_name.value)))

    def _sent(self, change: object) -> None:
        files = self.uploader.value
        if not files:
            return
        name, content = Path(str(files[0]["name"])).name, files[0]["content"]
        # The same file may be sent again after a correction.
        self.uploader.value = ()
        self._opening(lambda: self._panel.open_text(checked(name, content), name))

    def _opening(self, act: Callable[[], None]) -> None:
        try:
            act()
        except InputError as error:
            self._say(f"{error} The panel stays as it was.", wrong=True)
            return
        self._open_row.layout.display = "none"
        self._say("")

    def _say(self, sentence: str, *, wrong: bool = False) -> None:
        role = "alert" if wrong else "status"
        self._said.value = f'<div role="{role}">{html.escape(sentence)}</div>'
        self._said.layout.display = "" if sentence else "none"


class ProgressBar:
    """How far a long computation is, in a bar and in words, and a button that stops it.

    Parameters
    ----------
    stop : callable
        Called when the button is pressed.
    """

    def __init__(self, stop: Callable[[], None]) -> None:
        self._bar = W.HTML(layout=W.Layout(flex="1 1 240px", min_width="0"))
        self.stop_button = button("Stop", "stop", stop)
        self.widget = W.HBox(
            [self._bar, self.stop_button],
            layout=W.Layout(align_items="center", display="none", margin="2px 4px"),
        )
        self.widget.add_class("coreward-progress")

    @property
    def is_shown(self) -> bool:
        """Whether a computation is shown as under way."""
        return bool(self.widget.layout.display == "" and self.stop_button.layout.display == "")

    @property
    def text(self) -> str:
        """What is shown, as the page holds it."""
        return str(self._bar.value)

    def show(self, share: float, words: str) -> None:
        """Show how far it is."""
        percent = round(100.0 * share)
        said = html.escape(words, quote=True)
        self._bar.value = (
            f'<div role="progressbar" aria-label="{said}" aria-valuemin="0" '
            f'aria-valuemax="100" aria-valuenow="{percent}"><div class="coreward-track">'
            f'<div style="width: {percent}%"></div></div>{said}: {percent} %</div>'
        )
        self.stop_button.layout.display = ""
        self.widget.layout.display = ""

    def say(self, sentence: str) -> None:
        """Show a sentence in place of the bar."""
        self._bar.value = f'<div role="status">{html.escape(sentence)}</div>'
        self.stop_button.layout.display = "none"
        self.widget.layout.display = ""

    def hide(self) -> None:
        """Take it away."""
        self.widget.layout.display = "none"


def button(words: str, name: str, action: Callable[[], object]) -> W.Button:
    """Return a button that can be found by its class."""
    made = W.Button(description=words, layout=W.Layout(width="auto"))
    made.add_class(f"coreward-control-{name}")
    made.on_click(lambda _: action())
    return made


def _text(label: str, value: str, name: str) -> W.Text:
    entry = W.Text(
        value=value,
        description=label,
        continuous_update=False,
        style={"description_width": "initial"},
        layout=W.Layout(width="300px"),
    )
    entry.add_class(f"coreward-control-{name}")
    return entry


def line(name: str, value: str = "", **layout: str) -> W.HTML:
    """Return a place for words that can be found by its class, ``coreward-<name>``."""
    made = W.HTML(value, layout=W.Layout(**layout))
    made.add_class(f"coreward-{name}")
    return made


def row(*widgets: W.Widget, **layout: str) -> W.Box:
    """Return widgets side by side, on more lines where there is no room."""
    return W.Box(list(widgets), layout=W.Layout(**_ROW, **layout))


def column(name: str, *widgets: W.Widget) -> W.VBox:
    """Return widgets under each other that can be found by their class."""
    made = W.VBox(list(widgets))
    made.add_class(f"coreward-{name}")
    return made


def tables_below() -> W.HTML:
    """Return what holds tables below a picture."""
    made = line("tables", margin="4px")
    made.add_class("coreward-whole")
    return made


class Fold:
    """A heading that shows and hides what stands under it; a new answer does not shut it."""

    def __init__(self, words: str) -> None:
        self.button = W.ToggleButton(
            description=words, icon="plus", layout=W.Layout(width="auto", max_width="100%")
        )
        self._body = tables_below()
        self._body.layout.display = "none"
        self.button.observe(self._pressed, names="value")
        self.widget = column("fold", self.button, self._body)

    @property
    def value(self) -> str:
        """What stands under it, as HTML."""
        return str(self._body.value)

    def fill(self, value: str) -> None:
        """Put something under it."""
        self._body.value = value

    def set_visible(self, visible: bool) -> None:
        """Show or hide the whole of it."""
        self.widget.layout.display = "" if visible else "none"

    def _pressed(self, change: Any) -> None:
        self._body.layout.display = "" if change["new"] else "none"
        self.button.icon = "minus" if change["new"] else "plus"

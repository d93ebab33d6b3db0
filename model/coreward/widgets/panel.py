"""What all panels share: state, picture, words, errors, reset, compare, copy as code.

A subclass says what its state is, which controls show it, how inputs become an
outcome (a pure function) and how an outcome becomes a picture and words. Everything
that can go wrong ends as a sentence in place: the last good picture stays, dimmed and
labelled, and never passes for the answer to the new inputs.
"""

from __future__ import annotations

import base64
import html
import traceback
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Final

import ipywidgets as W
import traitlets

from coreward.errors import CorewardError, InputError
from coreward.figures.style import UnitChoice, as_units
from coreward.widgets import settings
from coreward.widgets.controls import Control, UnitsControl, control_for
from coreward.widgets.schedule import LatestWins

_STYLE: Final = """
<style>
.coreward-panel { --coreward-ink: #20262b; --coreward-line: #c9cfd4; max-width: 1100px; }
.coreward-panel .coreward-controls { gap: 4px 10px; padding: 2px 0; }
.coreward-panel .coreward-group { flex: 0 1 274px; min-width: 262px; }
.coreward-panel .coreward-control { width: 100%; }
.coreward-panel .coreward-control .widget-label { color: var(--coreward-ink); }
.coreward-panel .coreward-control > .widget-hbox, .coreward-panel .coreward-control > div {
  min-height: 0; overflow: visible; }
.coreward-panel .coreward-heading { font-weight: 600; }
.coreward-panel .coreward-entry > label { position: absolute; width: 1px; height: 1px;
  overflow: hidden; clip-path: inset(50%); margin: 0; padding: 0; }
.coreward-panel .widget-dropdown > select { min-width: 0; }
.coreward-panel .widget-html-content { line-height: 1.4; }
.coreward-panel .coreward-refusal { color: #8c1c13; font-size: 12px; line-height: 1.3; }
.coreward-panel .coreward-error > div { border-left: 4px solid #8c1c13; padding: 4px 10px;
  background: #fbeeec; color: #5e120c; line-height: 1.4; }
.coreward-panel .coreward-status { font-size: 14px; min-height: 2.9em; }
.coreward-panel .coreward-explanation { font-size: 14px; max-width: 1080px; }
.coreward-panel.coreward-stale .coreward-explanation { opacity: 0.35; }
.coreward-panel .coreward-note { color: #555d64; }
.coreward-panel .coreward-caution { border-left: 4px solid #b07b10; padding: 4px 10px;
  background: #fdf6e3; line-height: 1.4; }
.coreward-panel img.coreward-picture { display: block; width: 100%; height: auto;
  max-width: 1080px; }
.coreward-panel.coreward-stale img.coreward-picture,
.coreward-panel.coreward-stale .coreward-tables {
  opacity: 0.35; filter: grayscale(1); }
.coreward-panel table.coreward-table { border-collapse: collapse; font-size: 13px; }
.coreward-panel table.coreward-table th, .coreward-panel table.coreward-table td {
  border-bottom: 1px solid var(--coreward-line); padding: 2px 8px; text-align: left;
  vertical-align: top; }
.coreward-panel .coreward-scroll { max-height: 420px; overflow: auto; }
.coreward-panel h4 { margin: 12px 0 4px; }
.coreward-panel ul { margin: 0; padding-left: 22px; }
</style>
"""

_INTERNAL: Final = (
    "Internal error: this panel met something it was not made for. Nothing you did is "
    "lost; change a value or press reset. The detail below helps whoever repairs it."
)


@dataclass(frozen=True)
class View:
    """What a panel shows for one outcome.

    Attributes
    ----------
    picture : bytes
        PNG; empty for no picture.
    alt : str
        The picture in words.
    status : str
        One line of numbers and words above the picture, as plain text.
    explanation : str
        Sentences below the picture, where their length cannot make it jump.
    """

    picture: bytes
    alt: str
    status: str
    explanation: str = ""


class PanelState(traitlets.HasTraits):
    """Inputs and outcome of a panel, without any widget.

    Attributes
    ----------
    units : UnitChoice
        What the person reads and types.
    outcome : object
        The last good outcome, None before the first.
    stage : str
        ``"idle"``, ``"preview"`` or ``"full"``: what the outcome is.
    error : str or None
        The sentence in place, None when all is well.
    detail : str
        Traceback of an unexpected error, else empty.
    kept : object
        An earlier outcome kept for comparison.
    """

    units = traitlets.Instance(UnitChoice, args=())
    outcome = traitlets.Any(None, allow_none=True)
    stage = traitlets.Enum(("idle", "preview", "full"), "idle")
    error = traitlets.Unicode(None, allow_none=True)
    detail = traitlets.Unicode("")
    kept = traitlets.Any(None, allow_none=True)

    input_names: ClassVar[tuple[str, ...]] = ()
    """Traits that are inputs, in the order of the page."""

    def inputs(self) -> dict[str, Any]:
        """Return the inputs by trait name."""
        return {name: getattr(self, name) for name in self.input_names}

    def start_with(self, inputs: dict[str, Any]) -> None:
        """Set inputs by name.

        Raises
        ------
        InputError
            If a name is unknown or a value outside its range.
        """
        unknown = set(inputs) - set(self.input_names)
        if unknown:
            raise InputError(
                f"There is no input {', '.join(sorted(unknown))}; use "
                f"{', '.join(self.input_names)}."
            )
        for name, value in inputs.items():
            setattr(self, name, value)


class Panel:
    """Base of all panels. Display it by naming it at the end of a cell.

    Parameters
    ----------
    state : PanelState
        The state it shows.
    units : str or UnitChoice, optional
        Units at the start; those kept in the settings when not given.
    unit_kinds : tuple of str
        Which units matter here.
    """

    title: ClassVar[str] = ""
    can_compare: ClassVar[bool] = True

    def __init__(
        self,
        state: PanelState,
        units: str | UnitChoice | None = None,
        unit_kinds: tuple[str, ...] = ("temperature", "length"),
    ) -> None:
        self.state = state
        found = settings.read() if units is None else settings.Kept(as_units(units))
        state.units = found.units
        self.schedule = LatestWins(self.run)
        self.controls: dict[str, Control] = {}
        for trait in state.input_names:
            control = control_for(state, trait)
            self.controls[control.name] = control
        self.units_control = UnitsControl(state, unit_kinds)
        self._view = View(b"", "", "")
        self._build(found.problem)
        state.observe(self._input_changed, names=list(state.input_names))
        state.observe(self._units_changed, names="units")
        self.arrange()
        self.run(False)

    # -- for subclasses ---------------------------------------------------------

    def compute(self, preview: bool) -> Any:
        """Return the outcome for the inputs in force."""
        raise NotImplementedError

    def view(self, outcome: Any) -> View:
        """Return picture and words for an outcome."""
        raise NotImplementedError

    def code(self) -> str:
        """Return the lines of Python that repeat the outcome."""
        raise NotImplementedError

    def groups(self) -> Sequence[tuple[str, Sequence[str]]]:
        """Return headings with the names of the controls under them."""
        return (("", tuple(self.controls)),)

    def arrange(self) -> None:
        """Show and hide controls that hang on others."""

    def before(self) -> Sequence[W.Widget]:
        """Return widgets shown between the controls and the buttons."""
        return ()

    def extra(self) -> Sequence[W.Widget]:
        """Return widgets shown below the picture."""
        return ()

    # -- running --------------------------------------------------------------------

    def run(self, preview: bool) -> None:
        """Compute and show. Never raises: what goes wrong becomes a sentence."""
        try:
            outcome = self.compute(preview)
            view = self.view(outcome)
        except CorewardError as error:
            self._fail(str(error), "")
            return
        except Exception:
            self._fail(_INTERNAL, traceback.format_exc())
            return
        self.state.outcome = outcome
        self.state.stage = "preview" if preview else "full"
        self.state.error, self.state.detail = None, ""
        self._show(view)

    def settle(self) -> None:
        """Finish what is waiting, in full, before going on (for cells and tests)."""
        self.schedule.settle()

    def reset(self) -> None:
        """Go back to the values at the start."""
        with self.state.hold_trait_notifications():
            for control in self.controls.values():
                control.reset()
        self.schedule.request()

    def keep(self) -> None:
        """Keep the outcome for comparison, or drop the one that is kept."""
        self.settle()
        self.state.kept = self.state.outcome if self.state.kept is None else None
        self._keep_button.description = (
            "Keep this one and compare" if self.state.kept is None else "Drop the kept one"
        )
        self.schedule.request()

    def try_ends(self) -> dict[str, str]:
        """Set each control to both ends, run, and go back.

        Returns
        -------
        dict
            Control name to the sentence shown, for those that ended in an error;
            empty when every end of every control gives a picture.
        """
        trouble: dict[str, str] = {}
        for name, control in self.controls.items():
            before = control.value
            for end in control.ends():
                if not control.give(end):
                    trouble[name] = control.refusal.value
                self.settle()
                if self.state.error is not None:
                    trouble[name] = f"{end}: {self.state.error} {self.state.detail}"
            control.give(before)
            self.schedule.cancel()
        self.run(False)
        return trouble

    # -- display --------------------------------------------------------------------

    @property
    def status_text(self) -> str:
        """The words of the panel as plain text."""
        return f"{self._view.status} {self._view.explanation}".strip()

    @property
    def picture(self) -> bytes:
        """The PNG shown last."""
        return self._view.picture

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, Any]:
        """Return one bundle: the live panel, and for static pages a PNG and words."""
        bundle: dict[str, Any] = dict(self.widget._repr_mimebundle_() or {})
        if self._view.picture:
            bundle["image/png"] = base64.b64encode(self._view.picture).decode("ascii")
        bundle["text/plain"] = f"{self.title}: {self.status_text}"
        return bundle

    def _build(self, problem: str) -> None:
        columns: list[W.Widget] = []
        for heading, names in self.groups():
            words = W.HTML(html.escape(heading), layout=W.Layout(margin="0"))
            words.add_class("coreward-heading")
            widgets = [self.controls[name].widget for name in names]
            column = W.VBox([words, *widgets] if heading else widgets)
            column.add_class("coreward-group")
            columns.append(column)
        controls = W.Box(
            columns, layout=W.Layout(flex_flow="row wrap", align_items="flex-start")
        )
        controls.add_class("coreward-controls")
        self._reset_button = self._button("Reset", "reset", self.reset)
        self._keep_button = self._button("Keep this one and compare", "keep", self.keep)
        self._code_button = self._button("Copy as code", "code", self._toggle_code)
        buttons = W.Box(
            [
                self._reset_button,
                *([self._keep_button] if self.can_compare else []),
                self._code_button,
                self.units_control.widget,
            ],
            layout=W.Layout(flex_flow="row wrap", align_items="center"),
        )
        self._code_area = W.Textarea(
            rows=14,
            description="code",
            style={"description_width": "initial"},
            layout=W.Layout(width="98%", display="none"),
        )
        self._code_area.add_class("coreward-code")
        self._error_line = W.HTML(layout=W.Layout(display="none", margin="2px 4px"))
        self._error_line.add_class("coreward-error")
        self._note_line = W.HTML(layout=W.Layout(margin="0 4px"))
        self._note_line.add_class("coreward-note")
        self._note(problem)
        self._status_line = W.HTML(layout=W.Layout(margin="2px 4px"))
        self._status_line.add_class("coreward-status")
        self._picture_box = W.HTML(layout=W.Layout(margin="2px 0"))
        self._explanation_line = W.HTML(layout=W.Layout(margin="2px 4px"))
        self._explanation_line.add_class("coreward-explanation")
        self.widget = W.VBox(
            [
                W.HTML(_STYLE, layout=W.Layout(display="none")),
                controls,
                *self.before(),
                buttons,
                self._code_area,
                self._note_line,
                self._error_line,
                self._status_line,
                self._picture_box,
                self._explanation_line,
                *self.extra(),
            ]
        )
        self.widget.add_class("coreward-panel")

    def _button(self, words: str, name: str, action: Any) -> W.Button:
        button = W.Button(description=words, layout=W.Layout(width="auto"))
        button.add_class(f"coreward-control-{name}")
        button.on_click(lambda _: action())
        return button

    def _note(self, sentence: str) -> None:
        self._note_line.value = html.escape(sentence)
        self._note_line.layout.display = "" if sentence else "none"

    def _show(self, view: View) -> None:
        self._view = view
        self._error_line.layout.display = "none"
        self._error_line.value = ""
        self._picture_box.value = _picture_html(view) if view.picture else ""
        self.widget.remove_class("coreward-stale")
        self._explanation_line.value = html.escape(view.explanation)
        # Last, so that whoever waits for new words finds the new picture too.
        self._status_line.value = (
            f'<div role="status" data-stage="{self.state.stage}">{html.escape(view.status)}'
            f"{' <em>(preview)</em>' if self.state.stage == 'preview' else ''}</div>"
        )
        if self._code_area.layout.display != "none":
            self._code_area.value = self.code()

    def _fail(self, sentence: str, detail: str) -> None:
        self.state.detail = detail
        self.state.error = sentence
        more = (
            f"<details><summary>Detail</summary><pre>{html.escape(detail)}</pre></details>"
            if detail
            else ""
        )
        self._error_line.value = f'<div role="alert">{html.escape(sentence)}{more}</div>'
        self._error_line.layout.display = ""
        if self._view.picture:
            self.widget.add_class("coreward-stale")
            self._status_line.value = (
                '<div role="status" data-stage="stale">The picture below is the last good '
                f"one, not the answer to these values. It was: {html.escape(self._view.status)}"
                "</div>"
            )
        else:
            self._status_line.value = '<div role="status" data-stage="stale"></div>'

    def _toggle_code(self) -> None:
        hidden = self._code_area.layout.display == "none"
        self._code_area.value = self.code() if hidden else ""
        self._code_area.layout.display = "" if hidden else "none"

    def _input_changed(self, change: Any) -> None:
        self.arrange()
        self.schedule.request()

    def _units_changed(self, change: Any) -> None:
        self._note(settings.write(self.state.units).problem)
        self.schedule.request()


def _picture_html(view: View) -> str:
    data = base64.b64encode(view.picture).decode("ascii")
    return (
        f'<img class="coreward-picture" alt="{html.escape(view.alt, quote=True)}" '
        f'src="data:image/png;base64,{data}">'
    )


def default_units(units: str | UnitChoice | None) -> UnitChoice:
    """Return the given units, or the kept ones, or metric ones."""
    return settings.read().units if units is None else as_units(units)


__all__ = ["Panel", "PanelState", "View", "default_units"]

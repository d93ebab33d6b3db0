"""What all panels share: state, picture, words, errors, reset, compare, copy as code.

A subclass says what its state is, which controls show it, how inputs become an
outcome (a pure function) and how an outcome becomes a picture and words. Everything
that can go wrong ends as a sentence in place: the last good picture stays, dimmed and
labelled, and never passes for the answer to the new inputs.

A panel whose full answer takes longer than a moment sets `Panel.takes_long` and says how
in `Panel.compute_long`: it then shows how far it is, and can be stopped.

What a panel is set to can be saved to and opened from a file (`coreward.widgets.saved`),
and is found again when the page is opened again (`coreward.widgets.remember`).

The root has class ``coreward-panel``; answer (``coreward-said``) and controls
(``coreward-hands``) stand side by side where there is room; inside are ``coreward-status``,
``coreward-error``, ``img.coreward-picture`` with its words, and
``coreward-control-<name>``: the browser tests find everything by these. What `extra`
returned is filled by `View.below`, after the picture. A figure that a slider redraws uses
``PictureCanvas.draw_part``: what stands still is drawn once, what moves is asked of
``Strokes``. While `Panel.moving` is true a picture may keep its scales and has few colours.
Whoever draws in a thread holds ``drawing.pen.PEN``.
"""

from __future__ import annotations

import base64
import html
import re
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, Final

import ipywidgets as W
import traitlets

from coreward.drawing.pen import PEN
from coreward.drawing.png import size as png_size
from coreward.errors import CorewardError, InputError
from coreward.person import keeps
from coreward.reports.cards import CARDS, look
from coreward.widgets import saved, settings
from coreward.widgets.controls import (
    APART,
    Control,
    Heading,
    Input,
    UnitsControl,
    control_for,
)
from coreward.widgets.panel_parts import (
    PAGE_STYLE,
    FileControls,
    ProgressBar,
    button,
    column,
    line,
    row,
)
from coreward.widgets.remember import Memory, memory
from coreward.widgets.schedule import Cancelled, Compute, Later, LatestWins, Progress, Stopped
from coreward.words import UnitChoice, as_units

_STYLE: Final = f"<style>{look(__file__)}{CARDS}</style>"

_REPORTS: Final = ("html", "pdf")
_TOO_MUCH: Final = (
    "This asks for more memory than a page may take. Choose a smaller file or fewer rows; "
    "nothing you did is lost."
)
_INTERNAL: Final = (
    "Internal error: this panel met something it was not made for. Nothing you did is "
    "lost; change a value or press reset. The detail below helps whoever repairs it."
)


_PATIENCE_S: Final = 0.4
"""A computation that takes longer shows how far it is. [s]"""
_BELOW_S: Final = 0.1
"""When sentences and tables follow the picture of a moving slider. [s]"""
_BELOW_MOST_S: Final = 0.25
"""How far they may stay behind while it goes on moving. [s]"""


@dataclass(frozen=True)
class View:
    """What a panel shows for one outcome.

    Notes
    -----
    While a slider moves, what stands below the picture follows a moment later, so that no
    picture waits for a table or for sentences to be laid out.
    """

    picture: bytes
    """PNG; empty for no picture."""
    alt: str
    """The picture in words."""
    status: str
    """One line of numbers and words above the picture, as plain text."""
    explanation: str = ""
    """Sentences below the picture, where their length cannot make it jump."""
    below: Callable[[], None] | None = None
    """Fills what `Panel.extra` returned. It is called when the picture has been sent."""
    banner: str = ""
    """HTML above the status: an answer in large letters."""


class PanelState(traitlets.HasTraits):
    """Inputs and outcome of a panel, without any widget.

    Attributes
    ----------
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
    remember : bool or str
        Whether the panel is found again as it was left: False for never, a word of one's
        own to find it under that word on any page.
    """

    units = traitlets.Instance(UnitChoice, args=())
    outcome = traitlets.Any(None, allow_none=True)
    stage = traitlets.Enum(("idle", "preview", "full"), "idle")
    error = traitlets.Unicode(None, allow_none=True)
    detail = traitlets.Unicode("")
    kept = traitlets.Any(None, allow_none=True)
    remember = traitlets.Union([traitlets.Bool(), traitlets.Unicode()], default_value=True)

    in_one_go = False
    """Whether all inputs are being set at once: none may then bring another along."""
    input_names: ClassVar[tuple[str, ...]] = ()
    """Its inputs, in the order in which they are declared, which is that of the page."""
    other_names: ClassVar[tuple[str, ...]] = ()
    """Traits without a control that are saved with the inputs."""

    def __init_subclass__(cls, **options: Any) -> None:
        super().__init_subclass__(**options)
        if "input_names" not in cls.__dict__:
            own = [name for name, each in vars(cls).items() if isinstance(each, Input)]
            cls.input_names = tuple(dict.fromkeys((*cls.input_names, *own)))

    def groups(self) -> list[tuple[str, list[str]]]:
        """Return headings with the names of the controls under them, as declared."""
        found: list[tuple[str, list[str]]] = []
        placed: set[str] = set()
        for part in reversed(type(self).__mro__):
            for name, each in vars(part).items():
                if isinstance(each, Heading):
                    found.append((each, []))
                elif isinstance(each, Input) and name not in placed:
                    found = found or [("", [])]
                    found[-1][1].append(each.control_name)
                    placed.add(name)
        return [group for group in found if group[0] is not APART]

    def inputs(self) -> dict[str, Any]:
        """Return the inputs by trait name."""
        return {name: getattr(self, name) for name in self.input_names}

    def saved(self) -> dict[str, Any]:
        """Return all that is saved, by trait name."""
        return self.inputs() | {name: getattr(self, name) for name in self.other_names}

    def set_all(self, inputs: dict[str, Any]) -> None:
        """Set inputs in one go: whoever watches hears of each at most once."""
        self.in_one_go = True
        try:
            with self.hold_trait_notifications():
                for name, value in inputs.items():
                    setattr(self, name, value)
        finally:
            self.in_one_go = False

    def start_with(self, inputs: dict[str, Any]) -> None:
        """Set inputs by name, and ``remember``.

        Raises
        ------
        InputError
            If a name is unknown or a value outside its range.
        """
        unknown = set(inputs) - {*self.input_names, "remember"}
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
    units : str or UnitChoice, optional
        Units at the start; those kept in the settings when not given.
    """

    title: ClassVar[str] = ""
    kind: ClassVar[str] = ""
    """Name in files; from the name of the class when not given."""
    can_compare: ClassVar[bool] = True
    takes_long: ClassVar[bool] = False
    """Whether the full answer comes from `compute_long`."""

    def __init_subclass__(cls, **options: Any) -> None:
        super().__init_subclass__(**options)
        if "kind" not in cls.__dict__:
            words = re.findall(r"[A-Z][a-z0-9]*", cls.__name__.removesuffix("Panel"))
            cls.kind = " ".join(words).lower()

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
        self._below_later = Later(_BELOW_S, _BELOW_MOST_S)
        self._start = state.saved()
        self._kept_inputs: dict[str, Any] | None = None
        self._notes = {"units": found.problem}
        self._quiet = False
        self._memory: Memory | None = memory(self.kind, self._start, state.remember)
        self._recall()
        self.controls: dict[str, Control] = {}
        for trait in state.input_names:
            control = control_for(state, trait)
            self.controls[control.name] = control
        self.units_control = UnitsControl(state, unit_kinds)
        self._view = View(b"", "", "")
        # While a slider moves: pictures may keep their scales from one to the next.
        self.moving = False
        self._build()
        state.observe(self._input_changed, names=list(state.saved()))
        state.observe(self._units_changed, names="units")
        self.arrange()
        self._compare_with(self._kept_inputs)
        self.run(False)
        # A page that is stored or printed holds what is there when its cell ends.
        self.schedule.settle()

    # -- for subclasses ---------------------------------------------------------

    def compute(self, preview: bool) -> Any:
        """Return the outcome for the inputs in force."""
        raise NotImplementedError

    def compute_long(
        self, inputs: dict[str, Any], progress: Progress, cancelled: Cancelled
    ) -> Any:
        """Return the full outcome for the inputs, which takes a while.

        It runs in another thread while the page goes on: it uses the inputs that it is
        given, and neither the state nor a widget.

        Parameters
        ----------
        progress : callable
            To be told now and then the share that is done, 0 to 1, and words for it. It
            raises when nobody waits any more, which ends the computation.
        cancelled : callable
            Tells whether nobody waits any more.
        """
        raise NotImplementedError

    def view(self, outcome: Any) -> View:
        """Return picture and words for an outcome."""
        raise NotImplementedError

    def code(self) -> str:
        """Return the lines of Python that repeat the outcome."""
        raise NotImplementedError

    def groups(self) -> Sequence[tuple[str, Sequence[str]]]:
        """Return headings with the names of the controls under them."""
        return self.state.groups()

    def arrange(self) -> None:
        """Show and hide controls that hang on others."""

    def at_hand(self) -> Sequence[W.Widget]:
        """Return widgets shown above the controls."""
        return ()

    def before(self) -> Sequence[W.Widget]:
        """Return widgets shown between the controls and the buttons."""
        return ()

    def under_controls(self, heading: str) -> Sequence[W.Widget]:
        """Return widgets that stand under the controls of a heading."""
        return ()

    def extra(self) -> Sequence[W.Widget]:
        """Return widgets shown below the picture."""
        return ()

    # -- running --------------------------------------------------------------------

    def run(self, preview: bool) -> None:
        """Compute and show. Never raises: what goes wrong becomes a sentence."""
        self._hide_progress()
        if self.takes_long and not preview:
            if self.state.error is None:
                # Whatever ends the kernel before the answer is there, the values are not lost.
                self._leave()
            inputs = self.state.saved()
            self.work(
                lambda progress, cancelled: self.compute_long(inputs, progress, cancelled),
                self._show_full,
                "computing",
            )
            return
        self._try(lambda: self._show_outcome(self.compute(preview), preview))

    def work(self, compute: Compute, done: Callable[[Any], None], words: str) -> None:
        """Do in the background what takes longer than a moment, with progress and Stop.

        Parameters
        ----------
        compute : callable
            As for ``LatestWins.start``: it touches neither state nor widgets.
        done : callable
            Called with the answer; what it raises becomes a sentence.
        words : str
            What is being done, for the progress bar.
        """

        def finished(answer: Any) -> None:
            self._hide_progress()
            self._try(lambda: done(answer))

        def ended(error: Exception) -> None:
            self._hide_progress()
            if isinstance(error, Stopped):
                self._say_stopped(words)
            else:
                self._try(lambda: _raise(error))

        begun = time.monotonic()

        def progressed(share: float, said: str) -> None:
            # A bar that only flashes up helps nobody.
            if time.monotonic() - begun > _PATIENCE_S:
                self._show_progress(share, said or words)

        self.schedule.start(compute, done=finished, failed=ended, progressed=progressed)

    def stop(self) -> None:
        """Stop what takes long; what is shown stays."""
        self.schedule.stop()

    def settle(self) -> None:
        """Finish what is waiting, in full, before going on (for cells and tests)."""
        self.schedule.settle()

    def reset(self) -> None:
        """Go back to the values that the page starts with."""
        with self.schedule.together():
            self.state.set_all(self._start)
            self._show_controls()
            self._note("", "left")
            self.schedule.request()

    def keep(self) -> None:
        """Keep the outcome for comparison, or drop the one that is kept."""
        self.settle()
        if self.state.kept is None:
            self.state.kept, self._kept_inputs = self.state.outcome, self.state.saved()
        else:
            self.state.kept = self._kept_inputs = None
        self._name_keep_button()
        self.schedule.request()

    # -- reports ----------------------------------------------------------------------

    def reported(self) -> Any:
        """Return what a report is made of: what the panel answers, or None before it does."""
        outcome = self.state.outcome
        if self.state.error is not None or outcome is None:
            return None
        for name in ("told", "answer", "result"):
            if hasattr(outcome, name):
                return getattr(outcome, name)
        return outcome

    def _offer_report(self) -> None:
        """Show links to the report as a page and as a PDF, made now."""
        if self._report_line.value:
            self._report_line.value = ""
            return
        self.settle()
        thing = self.reported()
        if thing is None:
            self._report_line.value = (
                '<span role="alert">There is no answer to report yet.</span>'
            )
            return
        name = self.kind.replace(" ", "-") or "panel"
        about: dict[str, Any] = {"units": self.state.units, "code": self.code()}

        def make(progress: Progress, cancelled: Cancelled) -> str:
            # Imported when first wanted: the first picture does not wait for a PDF writer.
            from coreward.reports.write import download_link, report_bytes

            links = []
            for number, kind in enumerate(_REPORTS):
                progress(number / len(_REPORTS), f"writing the {kind} report")
                content = report_bytes(thing, kind, **about)
                links.append(download_link(content, f"{name}-report.{kind}"))
            return " &nbsp; ".join(links)

        self.work(make, self._show_report, "writing the report")

    def _show_report(self, links: str) -> None:
        self._report_line.value = links

    # -- files ----------------------------------------------------------------------

    def saved_text(self) -> str:
        """Return what the panel is set to, as the text of a file."""
        return saved.text_of(self.kind, self.state.saved(), self.state.units, self._kept_inputs)

    def save(self, name: str, folder: Path | None = None) -> Path:
        """Save what the panel is set to and return the file.

        Parameters
        ----------
        name : str
            Name of the file. Where it is taken, a number is added.
        folder : Path, optional
            The folder of the page when not given.

        Raises
        ------
        InputError
            If it cannot be written.
        """
        return saved.write_beside(folder or Path.cwd(), name, self.saved_text())

    def open(self, file: str | Path) -> None:
        """Set the panel to what a file says.

        Raises
        ------
        InputError
            If the file cannot be used; the panel then stays as it is.
        """
        opened = saved.read_file(Path(file), self.kind, self.state, self._start)
        self._set_to(opened, Path(file).name)

    def open_text(self, data: str | bytes, name: str) -> None:
        """Set the panel to what the content of a file says.

        Raises
        ------
        InputError
            If it cannot be used; the panel then stays as it is.
        """
        self._set_to(saved.read(data, name, self.kind, self.state, self._start), name)

    def _set_to(self, opened: saved.Opened, name: str) -> None:
        self._quiet = True  # the units of a file are not a choice for all notebooks
        try:
            self.state.units = opened.units
        finally:
            self._quiet = False
        self._compare_with(opened.kept)
        with self.schedule.together():
            self.state.set_all(opened.inputs)
            self._show_controls()
            self.schedule.request()
        note = f"Opened: {name}."
        if opened.missing:
            note += f" It has no {', '.join(opened.missing)}: as the page starts."
        self._note(note, "left")

    def _show_controls(self) -> None:
        """Bring every control in line with the state, and take refusals back."""
        for control in self.controls.values():
            control.refuse("")
            control.show()

    def _compare_with(self, kept: dict[str, Any] | None) -> None:
        """Keep the cook of some inputs for comparison, or none."""
        self.state.kept = self._kept_inputs = None
        if kept is not None and self.can_compare:
            now = self.state.saved()
            self._quiet = True
            try:
                self.state.set_all(kept)
                self.state.kept = self._full_outcome()
                self._kept_inputs = kept
            except CorewardError as error:
                self._note(f"What was kept for comparison is dropped: {error}", "kept")
            finally:
                self.state.set_all(now)
                self._quiet = False
        self._name_keep_button()

    def _full_outcome(self) -> Any:
        if self.takes_long:
            return self.compute_long(self.state.saved(), lambda share, words: None, bool)
        return self.compute(False)

    def _name_keep_button(self) -> None:
        self._keep_button.description = (
            "Keep this one and compare" if self.state.kept is None else "Drop the kept one"
        )

    # -- as it was left ---------------------------------------------------------------

    def _recall(self) -> None:
        """Set the state to what was left, before anything watches it."""
        if self._memory is None:
            return
        try:
            left = self._memory.load()
            if left is None:
                return
            opened = saved.read(left, "What was left here", self.kind, self.state, self._start)
        except (InputError, OSError) as error:
            self._memory.put_aside()
            self._notes["left"] = f"This panel is as the page starts it. {error}"
            return
        self.state.set_all(opened.inputs)
        self._kept_inputs = opened.kept
        self._notes["left"] = (
            "This panel is as you left it. Reset takes it back to how the page starts."
        )

    def _leave(self) -> None:
        """Keep what is set now for the next time the page is opened."""
        if self._memory is None or self._quiet:
            return
        try:
            if self.state.saved() == self._start and self._kept_inputs is None:
                self._memory.forget()
            else:
                self._memory.save(self.saved_text())
        except (InputError, OSError) as error:
            self._note(f"This panel will not be found as you leave it. {error}", "memory")
        else:
            self._note("", "memory")

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

    def _build(self) -> None:
        columns: list[W.Widget] = []
        for heading, names in self.groups():
            words = line("heading", html.escape(heading), margin="0")
            widgets = [self.controls[name].widget for name in names]
            widgets += self.under_controls(heading)
            columns.append(column("group", *([words] if heading else []), *widgets))
        controls = W.Box(
            columns, layout=W.Layout(flex_flow="row wrap", align_items="flex-start")
        )
        controls.add_class("coreward-controls")
        self._reset_button = button("Reset", "reset", self.reset)
        self._keep_button = button("Keep this one and compare", "keep", self.keep)
        self._code_button = button("Copy as code", "code", self._toggle_code)
        self._report_button = button("Report", "report", self._offer_report)
        self._report_line = line("report", margin="0 4px")
        self.files = FileControls(self)
        buttons = row(
            self._reset_button,
            *([self._keep_button] if self.can_compare else []),
            self._code_button,
            self._report_button,
            self.files.save_button,
            self.files.open_button,
            self.units_control.widget,
        )
        self._code_area = W.Textarea(
            rows=14,
            description="code",
            style={"description_width": "initial"},
            layout=W.Layout(width="98%", display="none"),
        )
        self._code_area.add_class("coreward-code")
        self._error_line = line("error", display="none", margin="2px 4px")
        self._note_line = line("note", margin="0 4px")
        self._show_notes()
        self._progress_bar = ProgressBar(self.stop)
        self._status_line = line("status", margin="2px 4px")
        self._picture_box = W.HTML(layout=W.Layout(margin="2px 0"))
        self._explanation_line = line("explanation", margin="2px 4px")
        said = column(
            "said",
            self._error_line,
            self._status_line,
            self._progress_bar.widget,
            self._picture_box,
            self._explanation_line,
        )
        self._hands = column("hands", *self.at_hand(), controls, *self.before())
        desk = W.Box([said, self._hands])
        desk.add_class("coreward-desk")
        self.widget = column(
            "panel",
            W.HTML(PAGE_STYLE + _STYLE, layout=W.Layout(display="none")),
            self._note_line,
            desk,
            buttons,
            self._code_area,
            self._report_line,
            self.files.widget,
            *self.extra(),
        )

    def show_only(self, names: Sequence[str]) -> None:
        """Leave the answer and these controls, of those that there are.

        Parameters
        ----------
        names : sequence of str
            Of the controls, in the order of the page.
        """
        hands = [self.controls[name].widget for name in names if name in self.controls]
        self._hands.children = [column("group", *hands)]
        self.widget.children = self.widget.children[:3]
        self.widget.add_class("coreward-brief")
        self._show(self._view)

    def _note(self, sentence: str, topic: str = "units") -> None:
        """Say something beside the answer, or with an empty sentence take it back."""
        if self._notes.get(topic, "") != sentence:
            self._notes[topic] = sentence
            self._show_notes()

    def _show_notes(self) -> None:
        sentences = [html.escape(sentence) for sentence in self._notes.values() if sentence]
        self._note_line.value = f'<div role="status">{"<br>".join(sentences)}</div>'
        self._note_line.layout.display = "" if sentences else "none"

    def _try(self, act: Callable[[], None]) -> None:
        """Do something; what goes wrong becomes a sentence in place."""
        try:
            with PEN:
                act()
        except CorewardError as error:
            self._fail(error.shown(self.state.units), "")
        except MemoryError:
            self._fail(_TOO_MUCH, "")
        except Exception:
            self._fail(_INTERNAL, traceback.format_exc())

    def _show_full(self, outcome: Any) -> None:
        self._show_outcome(outcome, False)

    def _show_outcome(self, outcome: Any, preview: bool) -> None:
        self.moving = preview
        view = self.view(outcome)
        # A report of what was shown before must not pass for one of this.
        self._report_line.value = ""
        self.state.outcome = outcome
        self.state.stage = "preview" if preview else "full"
        self.state.error, self.state.detail = None, ""
        self._show(view)
        if not preview:
            self._leave()

    def _show_progress(self, share: float, words: str) -> None:
        self._progress_bar.show(share, words)

    def _hide_progress(self) -> None:
        self._progress_bar.hide()

    def _say_stopped(self, words: str) -> None:
        self._progress_bar.say(
            f"Stopped while {words}: what is shown is not the full answer. Change a value to "
            "compute again."
        )

    def _show(self, view: View) -> None:
        self._view = view
        self._error_line.layout.display = "none"
        self._error_line.value = ""
        self._picture_box.value = picture_html(view.picture, view.alt) if view.picture else ""
        self.widget.remove_class("coreward-stale")
        if self.moving:
            self._below_later.ask(lambda: self._try(lambda: self._show_below(view)))
        else:
            self._below_later.do(lambda: self._show_below(view))
        # Last, so that whoever waits for new words finds the new picture too.
        brief = "coreward-brief" in self.widget._dom_classes
        self._status_line.value = (
            f'<div role="status" data-stage="{self.state.stage}">{view.banner}'
            f"{html.escape(view.status.partition(chr(10))[0] if brief else view.status)}"
            f"{' <em>(preview)</em>' if self.state.stage == 'preview' else ''}</div>"
        )
        if self._code_area.layout.display != "none":
            self._code_area.value = self.code()
        self.files.refresh()

    def _show_below(self, view: View) -> None:
        self._explanation_line.value = html.escape(view.explanation)
        if view.below is not None:
            view.below()

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
        if self._quiet:
            return
        self.arrange()
        self.files.refresh()
        self.schedule.request()

    def _units_changed(self, change: Any) -> None:
        if self._quiet:
            return
        # Where many share a server, one person's units are not everybody's.
        if keeps():
            self._note(settings.write(self.state.units).problem)
        self.schedule.request()


def picture_html(picture: bytes, alt: str, name: str = "picture") -> str:
    """Return a picture for a page; one wider than the page is moved sideways by itself.

    Parameters
    ----------
    name : str
        What a screen reader calls its place.
    """
    data = base64.b64encode(picture).decode("ascii")
    # With its size known the page keeps the room while the picture is read: nothing
    # below it jumps, and nothing is laid out twice.
    size = png_size(picture)
    room = "" if size is None else f'width="{size[0]}" height="{size[1]}" '
    return (
        f'<div class="coreward-sideways" tabindex="0" role="group" aria-label="{name}">'
        f'<img class="coreward-picture" alt="{html.escape(alt, quote=True)}" {room}'
        f'decoding="sync" src="data:image/png;base64,{data}"></div>'
    )


def _raise(error: Exception) -> None:
    raise error


def default_units(units: str | UnitChoice | None) -> UnitChoice:
    """Return the given units, or the kept ones, or metric ones."""
    return settings.read().units if units is None else as_units(units)


__all__ = ["Panel", "PanelState", "View", "default_units"]

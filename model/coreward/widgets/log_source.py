"""Choosing a log on a page: a demo, a path or a file sent, and what its columns hold."""

from __future__ import annotations

import html
import json
import os
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any, ClassVar, Final, Literal

import ipywidgets as W
import traitlets

from coreward.errors import InputError
from coreward.logs.contents import FileContents, what_it_holds
from coreward.logs.demo import demo_logs
from coreward.logs.log import ProbeLog
from coreward.logs.read import COLUMN_ROLES, LogReadError, read_log
from coreward.person import serves_one
from coreward.widgets.controls import Choice, Heading
from coreward.widgets.panel import Panel, PanelState
from coreward.widgets.panel_parts import button, row
from coreward.words import UnitChoice

MOST_SENT: Final = 16_000_000
"""The largest log that is taken from a browser. [B]"""
PATH: Final = "path"
UPLOAD: Final = "upload"
ASKING: Final = "No log yet. "
_ROLE_WORDS: Final = {
    "time": "time",
    "clock": "time of day",
    "elapsed s": "time in seconds",
    "elapsed min": "time in minutes",
    "elapsed h": "time in hours",
    "elapsed h:mm": "time as hours:minutes",
    "elapsed m:ss": "time as minutes:seconds",
    "serial days": "time in days, as a spreadsheet counts",
    "date": "date",
    "meat": "meat probe",
    "air": "air in the pit",
    "ambient": "air outside",
    "ignore": "nothing of use",
}

# Arguments of `read_log` that the screen of columns asks for beside the columns.
_ASKED: Final = ("sheet", "zone", "start_date", "accept_jumps")
_YES: Final = "yes"


class LogSourceState(PanelState):
    """Which log is read, and how; `offered` adds the choice of files that are at hand."""

    _log = Heading("The log")
    source = Choice(PATH, label="log", options={PATH: PATH}, named="log")
    file_unit = Choice(
        "file",
        label="its unit",
        options={"file": "as the file says", "C": "°C", "F": "°F"},
    )
    path = traitlets.Unicode("")
    mapping = traitlets.Unicode("")
    answers = traitlets.Unicode("")
    demo: Mapping[str, Path] = MappingProxyType({})

    other_names: ClassVar[tuple[str, ...]] = ("path", "mapping", "answers")


def offered(kind: type[LogSourceState], path: str | Path | None = None) -> Any:
    """Return a state that offers the demo logs, a path and an upload."""
    demo = demo_logs()
    options = {name: f"demo: {name}" for name in demo}
    options |= {PATH: "the path typed below", UPLOAD: "a file sent from this computer"}
    first = PATH if path is not None or not demo else next(iter(demo))
    state = type(
        "Offered" + kind.__name__,
        (kind,),
        {"source": Choice(first, label="log", options=options, named="log"), "demo": demo},
    )()
    if path is not None:
        state.path = str(path)
    return state


class LogSourcePanel(Panel):
    """Base of the panels that read a log: where it is, and what its columns hold."""

    state: LogSourceState

    def __init__(
        self,
        state: LogSourceState,
        units: str | UnitChoice | None = None,
        unit_kinds: tuple[str, ...] = ("temperature",),
    ) -> None:
        self._known: tuple[Any, ProbeLog] | None = None
        self._sent: tuple[str, bytes] | None = None
        super().__init__(state, units, unit_kinds)

    # -- where it is ------------------------------------------------------------------

    def at_hand(self) -> Sequence[W.Widget]:
        """Return the button that sends a file: whoever has one presses it first."""
        self.uploader = W.FileUpload(
            accept=".csv,.txt,.tsv,.xlsx,.json,.jsonl,.ndjson",
            multiple=False,
            description="Send your file",
            layout=W.Layout(width="auto"),
        )
        self.uploader.add_class("coreward-control-upload")
        self.uploader.observe(self._file_sent, names="value")
        return (self.uploader,)

    def before(self) -> Sequence[W.Widget]:
        """Return the path and the screen for columns."""
        self.path_entry = W.Text(
            value=self.state.path,
            description="path",
            placeholder="my-cook.csv",
            continuous_update=False,
            layout=W.Layout(width="318px"),
        )
        self.path_entry.add_class("coreward-control-path")
        self.path_entry.observe(self._path_typed, names="value")
        self.state.observe(lambda change: self._show_path(), names="path")
        self.columns_button = button("Columns", "columns", self._toggle_columns)
        self._columns_box = W.VBox(layout=W.Layout(display="none", margin="2px 4px"))
        self._columns_box.add_class("coreward-columns")
        beside = row(self.path_entry, self.columns_button, *self.beside())
        return (beside, self._columns_box)

    def beside(self) -> Sequence[W.Widget]:
        """Return what else belongs in the row of the path."""
        return ()

    def arrange(self) -> None:
        """Show the path only where it is what is read, and the replay only of a demo."""
        source = self.state.source
        self.path_entry.layout.display = "" if source == PATH else "none"
        if "moment" in self.controls:
            replayed = source in self.state.demo or self.state.inputs()["moment"] < 1.0
            self.controls["moment"].set_visible(replayed)
        self._columns_box.layout.display = "none"

    def _path_typed(self, change: Any) -> None:
        typed = str(change["new"]).strip()
        if typed == self.state.path:
            return  # shown, and not typed
        with self.schedule.together():
            self._at_its_end()
            self.state.path = typed

    def _at_its_end(self) -> None:
        """Judge a log of the reader's own where it ends: only a demo begins with a replay."""
        if "moment" in self.state.input_names:
            self.state.set_all({"moment": 1.0})
            self._show_controls()

    def _show_path(self) -> None:
        self.path_entry.value = self.state.path

    def _file_sent(self, change: Any) -> None:
        files = self.uploader.value
        if not files:
            return
        name, content = str(files[0]["name"]), files[0]["content"]
        # The browser's copy is not needed any more, and the same file may be sent again.
        self.uploader.value = ()
        self._try(lambda: self.receive(name, content))

    def receive(self, name: str, content: memoryview | bytes) -> None:
        """Take a file that was sent from the reader's computer.

        Raises
        ------
        InputError
            If it is larger than a log of a cook.
        """
        name = _plain_name(name)
        if len(content) > MOST_SENT:
            raise InputError(
                f"{name}: it is larger than {MOST_SENT // 10**6} MB, and a whole day of eight "
                "probes at a reading a second is not; send the part with this cook."
            )
        self._sent = (name, bytes(content))
        with self.schedule.together():
            self.state.source = UPLOAD
            self._at_its_end()
            self._show_controls()
            self.schedule.request()

    # -- reading ------------------------------------------------------------------------

    def missing(self, inputs: Mapping[str, Any]) -> str:
        """Say what to do where no log has been chosen yet; empty where one has."""
        if inputs["source"] == PATH and not inputs["path"]:
            return ASKING + "Type the path of a file and press Enter."
        if inputs["source"] == UPLOAD and self._sent is None:
            return ASKING + "Press 'Send your file' and choose one."
        return ""

    def log_name(self) -> str:
        """Path or name of the chosen log, as code would need it."""
        if self.state.source == UPLOAD:
            return self._sent[0] if self._sent else "my-cook.csv"
        return str(self._file(self.state.saved()))

    def read(self, inputs: Mapping[str, Any]) -> ProbeLog:
        """Read the chosen log; again only when something about it changed."""
        how = self._how(inputs)
        key = (self._stamp(inputs), json.dumps(how, sort_keys=True))
        known = self._known
        if known is not None and known[0] == key:
            return known[1]
        try:
            log: ProbeLog = self._with_file(inputs, lambda file: read_log(file, **how))
        except LogReadError as error:
            if getattr(error, "question", None) is None and "unit" not in error.what.lower():
                raise
            raise InputError(
                f"{error} Here: press 'Columns', or choose in the list 'its unit'."
            ) from error
        self._known = (key, log)
        return log

    def contents(self, inputs: Mapping[str, Any]) -> FileContents:
        """Look into the chosen file for the screen of columns."""
        found: FileContents = self._with_file(
            inputs, lambda file: what_it_holds(file, **self._how(inputs))
        )
        return found

    def _how(self, inputs: Mapping[str, Any]) -> dict[str, Any]:
        units: Literal["C", "F"] | None = None
        if inputs["file_unit"] != "file":
            units = "C" if inputs["file_unit"] == "C" else "F"
        how: dict[str, Any] = {"units": units}
        try:
            if inputs["mapping"]:
                how["columns"] = dict(json.loads(inputs["mapping"]))
            answers = _answered(inputs["answers"])
        except (ValueError, TypeError):
            raise InputError(
                "What was said about the columns is damaged; press reset."
            ) from None
        if "accept_jumps" in answers:
            how["accept_jumps"] = answers.pop("accept_jumps") == _YES
        return how | answers

    def reading_code(self) -> str:
        """Return the line of Python that reads the log as it is read here."""
        stated = "".join(
            f", {name}={value!r}"
            for name, value in self._how(self.state.saved()).items()
            if value not in (None, False)
        )
        return f"log = cw.read_log({self.log_name()!r}{stated})"

    def _stamp(self, inputs: Mapping[str, Any]) -> Any:
        if inputs["source"] == UPLOAD:
            return self._sent
        file = self._file(inputs)
        try:
            status = file.stat()
        except OSError:
            return (str(file), 0, 0)
        return (str(file), status.st_mtime_ns, status.st_size)

    def _file(self, inputs: Mapping[str, Any]) -> Path:
        if inputs["source"] in self.state.demo:
            return self.state.demo[inputs["source"]]
        return _typed_file(inputs["path"])

    def _with_file(self, inputs: Mapping[str, Any], act: Any) -> Any:
        if inputs["source"] == UPLOAD and self._sent is not None:
            with tempfile.TemporaryDirectory() as folder:
                file = Path(folder) / self._sent[0]
                file.write_bytes(self._sent[1])
                return act(file)
        return act(self._file(inputs))

    # -- columns ----------------------------------------------------------------------

    def _toggle_columns(self) -> None:
        if self._columns_box.layout.display == "":
            self._columns_box.layout.display = "none"
            return
        self._try(self._show_columns)

    def _show_columns(self) -> None:
        inputs = self.state.saved()
        asking = self.missing(inputs)
        if asking:
            raise InputError(asking)
        found = self.contents(inputs)
        rows: list[W.Widget] = []
        self.column_choices: dict[str, W.Dropdown] = {}
        for guess in found.columns:
            if not guess.heading:
                continue
            choice = W.Dropdown(
                options=[(_ROLE_WORDS[role], role) for role in COLUMN_ROLES],
                value=guess.role,
                description=guess.heading,
                style={"description_width": "160px"},
                layout=W.Layout(width="390px"),
            )
            self.column_choices[guess.heading] = choice
            sure = "please say" if guess.role_confidence == "open" else guess.role_confidence
            unit = f"°{guess.unit}" if guess.unit else ""
            words = f"{', '.join(guess.examples[:3])} {unit} ({sure}: {guess.why})"
            rows.append(row(choice, W.HTML(html.escape(words))))
        rows.extend(self._other_questions(found))
        asked = "".join(f"<li>{html.escape(one.text)}</li>" for one in found.questions)
        said = f"{html.escape(found.kind)} {html.escape(found.problem)}"
        use = button("Use these", "use-columns", self._use_columns)
        self._columns_box.children = [
            W.HTML(f"<p>{said}</p>" + (f"<ul>{asked}</ul>" if asked else "")),
            *rows,
            use,
        ]
        self._columns_box.layout.display = ""

    def _other_questions(self, found: FileContents) -> list[W.Widget]:
        """What else may have to be said: the sheet, the clock, a jump that is real."""
        known = _answered(self.state.answers)
        self.answer_entries: dict[str, W.Dropdown | W.Text] = {}

        def add(name: str, entry: W.Dropdown | W.Text, words: str) -> W.Widget:
            entry.style = {"description_width": "160px"}
            entry.layout.width = "390px"
            entry.add_class(f"coreward-answer-{name.replace('_', '-')}")
            self.answer_entries[name] = entry
            return row(entry, W.HTML(html.escape(words)))

        rows = []
        if len(found.sheets) > 1:
            options = [("please say", ""), *((name, name) for name in found.sheets)]
            value = known.get("sheet", "")
            entry = W.Dropdown(
                options=options,
                value=value if value in found.sheets else "",
                description="sheet",
            )
            rows.append(add("sheet", entry, "The workbook has several."))
        if "accept_jumps" in known or any(
            one.argument == "accept_jumps" for one in found.questions
        ):
            jumps = W.Dropdown(
                options=[("no, cut the file there", ""), ("yes, it is real", _YES)],
                value=_YES if known.get("accept_jumps") == _YES else "",
                description="is the jump real?",
            )
            rows.append(add("accept_jumps", jumps, "Readings that jump as units do."))
        zone = W.Text(
            value=known.get("zone", ""),
            placeholder="Europe/London",
            description="zone of its clock",
        )
        rows.append(add("zone", zone, "Needed only where summer time changes in the night."))
        date = W.Text(
            value=known.get("start_date", ""),
            placeholder="2026-10-24",
            description="date of its first row",
        )
        rows.append(add("start_date", date, "If the file holds only times of the day."))
        return rows

    def _use_columns(self) -> None:
        mapping = {name: str(choice.value) for name, choice in self.column_choices.items()}
        answers = {
            name: str(entry.value).strip()
            for name, entry in self.answer_entries.items()
            if str(entry.value).strip()
        }
        with self.state.hold_trait_notifications():
            # Where the sheet was not known yet, nothing could be said of its columns.
            self.state.mapping = json.dumps(mapping) if mapping else ""
            self.state.answers = json.dumps(answers) if answers else ""
        self._columns_box.layout.display = "none"


def _plain_name(name: str) -> str:
    """Return a name that is a name only, and that any disk takes."""
    kept = "".join(
        letter if letter.isprintable() and letter not in '/\\:*?"<>|' else "_"
        for letter in Path(name).name
    )
    stem, suffix = Path(kept).stem[:60], Path(kept).suffix[:12]
    return stem + suffix if stem.strip(".") else "log.csv"


def _typed_file(text: str) -> Path:
    """Return the file that was typed; on a page that many see, only one that is for them.

    There one answer is given for whatever is no file, does not exist or is not for them, so
    that nobody learns from it what is on the disk.
    """
    try:
        file = Path(text)
        os.fsencode(file)
        if file.parts[:1] == ("~",):
            file = file.expanduser()
        if "\0" in text:
            raise ValueError("it has a letter that no path has")
        if serves_one():
            return file
        pages = Path.cwd().resolve()
        place = file.resolve()
        own = (pages, pages.parent / "data")
        if any(place.is_relative_to(each) for each in own) and place.is_file():
            return place
    except (OSError, ValueError, RuntimeError) as error:
        if serves_one():
            raise InputError(
                f"{text[:80]!r} is no path of a file ({error}); type another one."
            ) from error
    raise InputError(
        "Of the files of the computer that serves this page only the demo logs can be read, "
        "and this is none of them. Choose one in the list, or send a file from yours."
    )


def _answered(answers: str) -> dict[str, str]:
    """Return what was answered beside the columns, from what the state keeps of it."""
    found = dict(json.loads(answers)) if answers else {}
    return {name: str(found[name]) for name in _ASKED if name in found}

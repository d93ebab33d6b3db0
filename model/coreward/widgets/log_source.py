"""Choosing a log on a page: a demo, a path or a file sent, and what its columns hold."""

from __future__ import annotations

import html
import json
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any, ClassVar, Final, Literal

import ipywidgets as W
import traitlets

from coreward.errors import InputError
from coreward.figures.style import UnitChoice
from coreward.logs.contents import FileContents, what_it_holds
from coreward.logs.log import ProbeLog
from coreward.logs.read import COLUMN_ROLES, LogReadError, read_log
from coreward.widgets.controls import Choice
from coreward.widgets.panel import Panel, PanelState

PATH: Final = "path"
UPLOAD: Final = "upload"
ASKING: Final = "No log yet. "
_ROLE_WORDS: Final = {
    "time": "time",
    "seconds": "time in seconds",
    "minutes": "time in minutes",
    "hours": "time in hours",
    "date": "date",
    "meat": "meat probe",
    "air": "air in the pit",
    "ambient": "air outside",
    "ignore": "nothing of use",
}


def demo_folder() -> Path:
    """Return the folder of the invented data, wherever it came with the notebooks.

    Raises
    ------
    InputError
        If there is none.
    """
    here = Path.cwd()
    package = Path(__file__).resolve().parents[1]
    for folder in (
        here / "data" / "demo",
        here.parent / "data" / "demo",
        package.parents[1] / "data" / "demo",
        package / "_workbench" / "data" / "demo",
    ):
        if any(folder.glob("*.csv")):
            return folder
    raise InputError("The demo data did not come with this installation; install it again.")


def demo_logs() -> dict[str, Path]:
    """Return the invented demo logs by file name."""
    try:
        folder = demo_folder()
    except InputError:
        return {}
    # Tables of results beside the logs are not logs.
    return {
        path.name: path
        for path in sorted(folder.glob("*.csv"))
        if not path.name.startswith("backtest")
    }


class LogSourceState(PanelState):
    """Which log is read, and how; `offered` adds the choice of files that are at hand."""

    file_unit = Choice(
        "file",
        label="its unit",
        options={"file": "as the file says", "C": "°C", "F": "°F"},
        name="file-unit",
        # °C or °F against a file that says otherwise is an error on purpose.
        tried=("file",),
    )
    path = traitlets.Unicode("")
    mapping = traitlets.Unicode("")
    source: Any
    demo: Mapping[str, Path] = MappingProxyType({})

    other_names: ClassVar[tuple[str, ...]] = ("path", "mapping")


def offered(kind: type[LogSourceState], path: str | Path | None = None) -> Any:
    """Return a state that offers the demo logs, a path and an upload.

    Parameters
    ----------
    kind : type
        The class of the panel's state.
    path : str or Path, optional
        A log to start with.
    """
    demo = demo_logs()
    options = {name: f"demo: {name}" for name in demo}
    options |= {PATH: "the path typed below", UPLOAD: "a file sent from this computer"}
    first = PATH if path is not None or not demo else next(iter(demo))
    state = type(
        "Offered" + kind.__name__,
        (kind,),
        {"source": Choice(first, label="log", options=options, name="log"), "demo": demo},
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

    def before(self) -> Sequence[W.Widget]:
        """Return the path, the upload and the screen for columns."""
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
        self.uploader = W.FileUpload(
            accept=".csv,.txt,.tsv,.xlsx,.json,.jsonl,.ndjson",
            multiple=False,
            description="Send a file",
        )
        self.uploader.add_class("coreward-control-upload")
        self.uploader.observe(self._file_sent, names="value")
        self.columns_button = self._button("Columns", "columns", self._toggle_columns)
        self._columns_box = W.VBox(layout=W.Layout(display="none", margin="2px 4px"))
        self._columns_box.add_class("coreward-columns")
        row = W.Box(
            [self.path_entry, self.uploader, self.columns_button, *self.beside()],
            layout=W.Layout(flex_flow="row wrap", align_items="center"),
        )
        return (row, self._columns_box)

    def beside(self) -> Sequence[W.Widget]:
        """Return what else belongs in the row of the path."""
        return ()

    def arrange(self) -> None:
        """Show path and upload only where they are what is read."""
        source = self.state.source
        self.path_entry.layout.display = "" if source == PATH else "none"
        self.uploader.layout.display = "" if source == UPLOAD else "none"
        self._columns_box.layout.display = "none"

    def _path_typed(self, change: Any) -> None:
        self.state.path = str(change["new"]).strip()

    def _show_path(self) -> None:
        self.path_entry.value = self.state.path

    def _file_sent(self, change: Any) -> None:
        files = self.uploader.value
        if not files:
            return
        name = Path(str(files[0]["name"])).name or "log.csv"
        self.receive(name, bytes(files[0]["content"]))

    def receive(self, name: str, content: bytes) -> None:
        """Take a file that was sent from the reader's computer."""
        self._sent = (name, content)
        self.schedule.request()

    # -- reading ------------------------------------------------------------------------

    def missing(self, inputs: Mapping[str, Any]) -> str:
        """Say what to do where no log has been chosen yet; empty where one has."""
        if inputs["source"] == PATH and not inputs["path"]:
            return ASKING + "Type the path of a file and press Enter."
        if inputs["source"] == UPLOAD and self._sent is None:
            return ASKING + "Press 'Send a file' and choose one."
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
        if inputs["mapping"]:
            try:
                how["columns"] = dict(json.loads(inputs["mapping"]))
            except (ValueError, TypeError):
                raise InputError(
                    "What was said about the columns is damaged; press reset."
                ) from None
        return how

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
        return Path(inputs["path"]).expanduser()

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
                options=[(_ROLE_WORDS.get(role, role), role) for role in COLUMN_ROLES],
                value=guess.role,
                description=guess.heading,
                style={"description_width": "160px"},
                layout=W.Layout(width="390px"),
            )
            self.column_choices[guess.heading] = choice
            sure = "please say" if guess.role_confidence == "open" else guess.role_confidence
            unit = f"°{guess.unit}" if guess.unit else ""
            words = f"{', '.join(guess.examples[:3])} {unit} ({sure}: {guess.why})"
            rows.append(
                W.Box(
                    [choice, W.HTML(html.escape(words))],
                    layout=W.Layout(flex_flow="row wrap", align_items="center"),
                )
            )
        asked = "".join(f"<li>{html.escape(one.text)}</li>" for one in found.questions)
        said = f"{html.escape(found.kind)} {html.escape(found.problem)}"
        use = self._button("Use these", "use-columns", self._use_columns)
        self._columns_box.children = [
            W.HTML(f"<p>{said}</p>" + (f"<ul>{asked}</ul>" if asked else "")),
            *rows,
            use,
        ]
        self._columns_box.layout.display = ""

    def _use_columns(self) -> None:
        self.state.mapping = json.dumps(
            {name: str(choice.value) for name, choice in self.column_choices.items()}
        )
        self._columns_box.layout.display = "none"

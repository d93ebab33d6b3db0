"""The panel of the question "What does my log say?"."""

from __future__ import annotations

import base64
import html
import io
import math
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, ClassVar, Final, Literal

import ipywidgets as W
import traitlets

from coreward import tables
from coreward import units as convert
from coreward.errors import InputError
from coreward.figures import style
from coreward.figures.log import figure_log
from coreward.figures.style import UnitChoice
from coreward.logs.log import ProbeLog, Repair
from coreward.logs.read import LogReadError, read_log
from coreward.physics.lethality import kinetics_names, load_kinetics
from coreward.questions.review import ChannelReview, Review, TimeInRange, review, review_text
from coreward.widgets.controls import Choice
from coreward.widgets.panel import Panel, PanelState, View

_PATH: Final = "path"
_UPLOAD: Final = "upload"
_DPI: Final = 110
_MOST_REPAIRS: Final = 200
_ASKING: Final = "No log yet. "


def demo_logs() -> dict[str, Path]:
    """Return the invented demo logs by file name, wherever they came with the notebooks."""
    here = Path.cwd()
    package = Path(__file__).resolve().parents[1]
    for folder in (
        here / "data" / "demo",
        here.parent / "data" / "demo",
        package.parents[1] / "data" / "demo",
        package / "_workbench" / "data" / "demo",
    ):
        found = {path.name: path for path in sorted(folder.glob("*.csv"))}
        if found:
            return found
    return {}


def _organisms() -> dict[str, str]:
    found = {name: load_kinetics(name) for name in kinetics_names()}
    return {name: f"{each.organism} in {each.food}" for name, each in found.items()}


class LogState(PanelState):
    """Inputs of the panel; `log_state` adds the choice of files that are at hand."""

    file_unit = Choice(
        "file",
        label="its unit",
        options={"file": "as the file says", "C": "°C", "F": "°F"},
        name="file-unit",
        # °C or °F against a file that says otherwise is an error on purpose.
        tried=("file",),
    )
    organism = Choice(
        kinetics_names()[0],
        label="organism",
        options=_organisms(),
        name="organism",
    )
    path = traitlets.Unicode("")
    upload_name = traitlets.Unicode("")
    upload = traitlets.Bytes(b"")
    source: Any
    demo: Mapping[str, Path] = MappingProxyType({})

    input_names: ClassVar[tuple[str, ...]] = ("source", "file_unit", "organism")


def log_state(path: str | Path | None = None) -> LogState:
    """Return a state that offers the demo logs, a path and an upload.

    Parameters
    ----------
    path : str or Path, optional
        A log to start with.
    """
    demo = demo_logs()
    options = {name: f"demo: {name}" for name in demo}
    options |= {_PATH: "the path typed below", _UPLOAD: "a file sent from this computer"}
    first = _PATH if path is not None or not demo else next(iter(demo))

    class OfferedState(LogState):
        source = Choice(first, label="log", options=options, name="log")

    state = OfferedState()
    state.demo = demo
    if path is not None:
        state.path = str(path)
    return state


@dataclass(frozen=True, eq=False)
class LogOutcome:
    """A log as understood and what it is worth; both None before one is chosen."""

    log: ProbeLog | None
    answer: Review | None
    asking: str = ""


class LogPanel(Panel):
    """Choose a log; see what was understood, repaired, drawn and reckoned."""

    title = "What does my log say?"
    can_compare = False
    state: LogState

    def __init__(self, state: LogState, units: str | UnitChoice | None = None) -> None:
        self._known: tuple[Any, ProbeLog] | None = None
        self._drawn: tuple[Any, bytes] | None = None
        super().__init__(state, units, unit_kinds=("temperature",))

    def groups(self) -> Sequence[tuple[str, Sequence[str]]]:
        """Return the three choices side by side."""
        return (("", ("log",)), ("", ("file-unit",)), ("", ("organism",)))

    # -- inputs ---------------------------------------------------------------------

    def extra(self) -> Sequence[W.Widget]:
        """Return the tables below the picture."""
        self._tables = W.HTML(layout=W.Layout(margin="4px"))
        self._tables.add_class("coreward-tables")
        return (self._tables,)

    def before(self) -> Sequence[W.Widget]:
        """Return the path, the upload and the export."""
        self.path_entry = W.Text(
            value=self.state.path,
            description="path",
            placeholder="my-cook.csv",
            continuous_update=False,
            layout=W.Layout(width="318px"),
        )
        self.path_entry.add_class("coreward-control-path")
        self.path_entry.observe(self._path_typed, names="value")
        self.uploader = W.FileUpload(
            accept=".csv,.txt,.tsv", multiple=False, description="Send a file"
        )
        self.uploader.add_class("coreward-control-upload")
        self.uploader.observe(self._file_sent, names="value")
        self.export_button = self._button("Export CSV", "export", self._offer_export)
        self._export_line = W.HTML()
        self._export_line.add_class("coreward-export")
        return (
            W.Box(
                [self.path_entry, self.uploader, self.export_button, self._export_line],
                layout=W.Layout(flex_flow="row wrap", align_items="center"),
            ),
        )

    def arrange(self) -> None:
        """Show path and upload only where they are what is read."""
        source = self.state.source
        self.path_entry.layout.display = "" if source == _PATH else "none"
        self.uploader.layout.display = "" if source == _UPLOAD else "none"
        self._export_line.value = ""

    def _path_typed(self, change: Any) -> None:
        self.state.path = str(change["new"]).strip()
        self.schedule.request()

    def _file_sent(self, change: Any) -> None:
        files = self.uploader.value
        if not files:
            return
        self.state.upload_name = Path(str(files[0]["name"])).name or "log.csv"
        self.state.upload = bytes(files[0]["content"])
        self.schedule.request()

    # -- outcome ---------------------------------------------------------------------

    def compute(self, preview: bool) -> LogOutcome:
        """Read and review the chosen log; reading again only when it changed."""
        state = self.state
        if state.source == _PATH and not state.path:
            return LogOutcome(None, None, _ASKING + "Type the path of a file and press Enter.")
        if state.source == _UPLOAD and not state.upload_name:
            return LogOutcome(None, None, _ASKING + "Press 'Send a file' and choose one.")
        log = self._read()
        return LogOutcome(log, review(log, organism=state.organism))

    def _read(self) -> ProbeLog:
        state = self.state
        units: Literal["C", "F"] | None = None
        if state.file_unit != "file":
            units = "C" if state.file_unit == "C" else "F"
        try:
            if state.source == _UPLOAD:
                key: tuple[Any, ...] = (_UPLOAD, state.upload_name, state.upload, units)
                if self._known is None or self._known[0] != key:
                    with tempfile.TemporaryDirectory() as folder:
                        file = Path(folder) / state.upload_name
                        file.write_bytes(state.upload)
                        self._known = (key, read_log(file, units=units))
            else:
                file = self._chosen_file()
                stamp = file.stat().st_mtime_ns if file.exists() else 0
                key = (str(file), stamp, units)
                if self._known is None or self._known[0] != key:
                    self._known = (key, read_log(file, units=units))
        except LogReadError as error:
            if "unit" not in error.what.lower():
                raise
            raise InputError(f"{error} Here: choose it in the list 'its unit'.") from error
        assert self._known is not None
        return self._known[1]

    def _chosen_file(self) -> Path:
        if self.state.source in self.state.demo:
            return self.state.demo[self.state.source]
        return Path(self.state.path).expanduser()

    def view(self, outcome: LogOutcome) -> View:
        """Return picture and words, and fill the tables."""
        log, answer = outcome.log, outcome.answer
        if log is None or answer is None:
            self._tables.value = ""
            return View(b"", "", outcome.asking)
        units = self.state.units
        key = (id(log), units.temperature)
        if self._drawn is None or self._drawn[0] != key:
            stream = io.BytesIO()
            figure_log(log, answer, units).savefig(stream, format="png", dpi=_DPI)
            self._drawn = (key, stream.getvalue())
        self._tables.value = _tables_html(log, answer, units)
        words = _status(log, answer, units)
        return View(self._drawn[1], f"Temperatures of the log against time. {words}", words)

    def code(self) -> str:
        """Return the lines of Python that repeat the review."""
        state = self.state
        where = state.upload_name if state.source == _UPLOAD else str(self._chosen_file())
        stated = "" if state.file_unit == "file" else f", units={state.file_unit!r}"
        return "\n".join(
            [
                "import coreward as cw",
                "from coreward.questions.review import review, review_text",
                "",
                f"log = cw.read_log({where!r}{stated})",
                f"print(review_text(review(log, organism={state.organism!r})))",
                "",
            ]
        )

    # -- export ----------------------------------------------------------------------

    def export(self, path: str | Path) -> Path:
        """Write the cleaned log as CSV and return the file.

        Raises
        ------
        InputError
            If there is no log or the file cannot be written.
        """
        return self._log().to_csv(path)

    def _log(self) -> ProbeLog:
        outcome = self.state.outcome
        if outcome is None or outcome.log is None or self.state.error is not None:
            raise InputError("There is no log to export yet: choose one that can be read.")
        log: ProbeLog = outcome.log
        return log

    def _offer_export(self) -> None:
        # A link, so that it works where the folder of the notebook is read-only.
        try:
            log = self._log()
        except InputError as error:
            self._export_line.value = f'<span role="alert">{html.escape(str(error))}</span>'
            return
        data = base64.b64encode(log.to_csv_text().encode("utf-8")).decode("ascii")
        name = f"{Path(log.source).stem or 'log'}-cleaned.csv"
        self._export_line.value = (
            f'<a download="{html.escape(name, quote=True)}" '
            f'href="data:text/csv;base64,{data}">Save {html.escape(name)}</a>'
        )


def _status(log: ProbeLog, answer: Review, units: UnitChoice) -> str:
    parts = [
        f"{answer.source}: {answer.samples} samples over {style.format_hours(log.duration_s)}, "
        f"{len(log.meats)} meat probe{'s' if len(log.meats) != 1 else ''}, "
        f"{len(answer.repairs)} repair{'s' if len(answer.repairs) != 1 else ''}."
    ]
    coldest = answer.coldest
    if coldest.readings:
        parts.append(
            "Lowest meat reading peaks at "
            f"{style.format_temperature(coldest.peak_c, units, 1)}."
        )
    worth = coldest.lethality
    fahrenheit = units.temperature == "F"
    less = (
        float(convert.delta_celsius_to_fahrenheit(answer.probe_error_k))
        if fahrenheit
        else (answer.probe_error_k)
    )
    if worth is None:
        parts.append(f"Lethality: {coldest.no_lethality}.")
    else:
        parts.append(
            f"Worth {_down(worth.equivalent_less_error_min, 'minutes')} min at "
            f"{style.format_temperature(answer.reference_c, units)} at the probe point, "
            f"rounded down, the reading lowered by {less:.1f} "
            f"{style.temperature_symbol(units)} for probe error."
        )
        if worth.log_reduction_less_error is not None and answer.kinetics is not None:
            parts.append(
                f"Log reduction of {answer.kinetics.organism} under the assumptions below: "
                f"{_down(worth.log_reduction_less_error, 'log')}."
            )
    return " ".join(parts)


def _tables_html(log: ProbeLog, answer: Review, units: UnitChoice) -> str:
    blocks = [
        _list_html("What was understood", answer.understood),
        _repairs_html(answer.repairs),
        _list_html("Look at this", answer.warnings) if answer.warnings else "",
        _channels_html((*answer.channels, answer.coldest), answer, units),
        f'<div class="coreward-caution" role="note"><b>Caution.</b> '
        f"{html.escape(' '.join(answer.caution))}</div>",
        "<details><summary>All of it as text, with what was assumed</summary><pre>"
        f"{html.escape(review_text(answer, units.temperature))}</pre></details>",
    ]
    return "".join(blocks)


def _list_html(heading: str, sentences: Sequence[str]) -> str:
    items = "".join(f"<li>{html.escape(sentence)}</li>" for sentence in sentences)
    return f"<h4>{html.escape(heading)}</h4><ul>{items}</ul>"


def _table(heading: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    head = "".join(f'<th scope="col">{html.escape(name)}</th>' for name in columns)
    body = "".join(
        "<tr>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in row) + "</tr>"
        for row in rows
    )
    return (
        f'<h4>{html.escape(heading)}</h4><div class="coreward-scroll" tabindex="0">'
        f'<table class="coreward-table"><thead><tr>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table></div>"
    )


def _repairs_html(repairs: Sequence[Repair]) -> str:
    if not repairs:
        return "<h4>What was repaired</h4><p>Nothing.</p>"
    rows = [
        (
            _rows(repair),
            repair.column or "whole row",
            repair.was,
            repair.became,
            f"{repair.kind}: {repair.reason}",
        )
        for repair in repairs[:_MOST_REPAIRS]
    ]
    table = _table("What was repaired", ("row", "column", "was", "became", "why"), rows)
    left = len(repairs) - _MOST_REPAIRS
    return table + (f"<p>… and {left} more; the export lists them all.</p>" if left > 0 else "")


def _rows(repair: Repair) -> str:
    if repair.row is None:
        return "all"
    if repair.last_row is None or repair.last_row == repair.row:
        return str(repair.row)
    return f"{repair.row} to {repair.last_row}"


def _channels_html(channels: Sequence[ChannelReview], answer: Review, units: UnitChoice) -> str:
    shown = [channel for channel in channels if channel.readings]
    edges = shown[0].ranges if shown else ()
    organism = answer.kinetics.organism if answer.kinetics else "the organism"
    rows = [
        (_range_words(edge, units), *(_time(channel.ranges[i].time_s) for channel in shown))
        for i, edge in enumerate(edges)
    ]
    rows.append(("not counted, no reading", *(_time(c.not_counted_s) for c in shown)))
    rows.append(("highest", *(style.format_temperature(c.peak_c, units, 1) for c in shown)))
    for words, name in (
        (
            f"min at {style.format_temperature(answer.reference_c, units)}, less probe error",
            "equivalent_less_error_min",
        ),
        ("the same as read", "equivalent_min"),
        (f"log reduction of {organism}, less probe error", "log_reduction_less_error"),
        ("the same as read", "log_reduction"),
    ):
        rows.append((words, *(_worth(channel, name) for channel in shown)))
    return _table(
        "Time in ranges (h:min), equivalent minutes and log reduction at the probe point",
        ("", *(channel.name for channel in shown)),
        rows,
    )


def _worth(channel: ChannelReview, name: str) -> str:
    value = None if channel.lethality is None else getattr(channel.lethality, name)
    return "" if value is None else _down(value, "log" if "log" in name else "minutes")


def _down(value: float, what: Literal["minutes", "log"]) -> str:
    """Return one decimal, rounded down, and no more than can be claimed: the safe side."""
    most = tables.load("review")[f"largest_{what}_shown"]
    if value > most:
        return f"more than {most:,.0f}"
    return f"{math.floor(value * 10.0) / 10.0:,.1f}"


def _time(seconds: float) -> str:
    minutes = math.floor(seconds / 60.0 + 0.5)
    return f"{minutes // 60}:{minutes % 60:02d}" if minutes else ""


def _range_words(entry: TimeInRange, units: UnitChoice) -> str:
    low = None if entry.low_c is None else style.format_temperature(entry.low_c, units)
    high = None if entry.high_c is None else style.format_temperature(entry.high_c, units)
    if low is None:
        return "all" if high is None else f"below {high}"
    return f"{low} and above" if high is None else f"{low} to {high}"


def log_panel(
    path: str | Path | None = None, units: str | UnitChoice | None = None
) -> LogPanel:
    """Return the panel of a probe log.

    Parameters
    ----------
    path : str or Path, optional
        A log to start with; the first demo log when not given.
    units : str or UnitChoice, optional
        ``"C"`` or ``"F"``; the units kept in the settings when not given.
    """
    return LogPanel(log_state(path), units)

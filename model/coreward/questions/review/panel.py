"""The panel of the question "What does my log say?"."""

from __future__ import annotations

import base64
import html
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, Final

import ipywidgets as W

from coreward.errors import InputError
from coreward.logs.log import ProbeLog, Repair
from coreward.physics.lethality import kinetics_names, load_kinetics
from coreward.questions.review.answer import (
    ChannelReview,
    Review,
    logs_earned,
    minutes_earned,
    range_of,
    review,
    review_text,
)
from coreward.questions.review.figure import figure_log
from coreward.widgets.controls import Choice
from coreward.widgets.log_source import LogSourcePanel, LogSourceState, offered
from coreward.widgets.panel import View
from coreward.words import (
    Degrees,
    Difference,
    Lasting,
    Reading,
    Text,
    UnitChoice,
    Units,
    say,
    shown,
    together,
)

_DPI: Final = 110
_MOST_REPAIRS: Final = 200


def _organisms() -> dict[str, str]:
    found = {name: load_kinetics(name) for name in kinetics_names()}
    return {name: f"{each.organism} in {each.food}" for name, each in found.items()}


class LogState(LogSourceState):
    """Inputs of the panel; `log_state` adds the choice of files that are at hand."""

    organism = Choice(
        kinetics_names()[0],
        label="organism",
        options=_organisms(),
        name="organism",
    )

    input_names: ClassVar[tuple[str, ...]] = ("source", "file_unit", "organism")


def log_state(path: str | Path | None = None) -> LogState:
    """Return a state that offers the demo logs, a path and an upload.

    Parameters
    ----------
    path : str or Path, optional
        A log to start with.
    """
    state: LogState = offered(LogState, path)
    return state


@dataclass(frozen=True, eq=False)
class LogOutcome:
    """A log as understood and what it is worth; both None before one is chosen."""

    log: ProbeLog | None
    answer: Review | None
    asking: str = ""


class LogPanel(LogSourcePanel):
    """Choose a log; see what was understood, repaired, drawn and reckoned."""

    title = "What does my log say?"
    can_compare = False
    state: LogState

    def __init__(self, state: LogState, units: str | UnitChoice | None = None) -> None:
        self._drawn: tuple[Any, bytes] | None = None
        super().__init__(state, units)

    def groups(self) -> Sequence[tuple[str, Sequence[str]]]:
        """Return the three choices side by side."""
        return (("", ("log",)), ("", ("file-unit",)), ("", ("organism",)))

    # -- inputs ---------------------------------------------------------------------

    def extra(self) -> Sequence[W.Widget]:
        """Return the tables below the picture."""
        self._tables = W.HTML(layout=W.Layout(margin="4px"))
        self._tables.add_class("coreward-tables")
        return (self._tables,)

    def beside(self) -> Sequence[W.Widget]:
        """Return the export."""
        self.export_button = self._button("Export CSV", "export", self._offer_export)
        self._export_line = W.HTML()
        self._export_line.add_class("coreward-export")
        return (self.export_button, self._export_line)

    def arrange(self) -> None:
        """Show what belongs to the chosen source; an offer of an earlier log is gone."""
        super().arrange()
        self._export_line.value = ""

    # -- outcome ---------------------------------------------------------------------

    def compute(self, preview: bool) -> LogOutcome:
        """Read and review the chosen log; reading again only when it changed."""
        inputs = self.state.saved()
        asking = self.missing(inputs)
        if asking:
            return LogOutcome(None, None, asking)
        log = self.read(inputs)
        return LogOutcome(log, review(log, organism=inputs["organism"]))

    def view(self, outcome: LogOutcome) -> View:
        """Return picture and words, and fill the tables."""
        log, answer = outcome.log, outcome.answer
        if log is None or answer is None:
            self._tables.value = ""
            return View(b"", "", outcome.asking)
        units = self.state.units
        key = (id(log), units.temperature)
        if self._drawn is None or self._drawn[0] != key:
            self._drawn = (key, picture_of(figure_log(log, answer, units)))
        self._tables.value = _tables_html(log, answer, units)
        words = _status(log, answer, units)
        return View(self._drawn[1], f"Temperatures of the log against time. {words}", words)

    def code(self) -> str:
        """Return the lines of Python that repeat the review."""
        return "\n".join(
            [
                "import coreward as cw",
                "from coreward.questions.review.answer import review, review_text",
                "",
                self.reading_code(),
                f"print(review_text(review(log, organism={self.state.organism!r})))",
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
    parts: list[Text] = [
        say(
            "{0}: {1} samples over {2}, "
            f"{len(log.meats)} meat probe{'s' if len(log.meats) != 1 else ''}, "
            f"{len(answer.repairs)} repair{'s' if len(answer.repairs) != 1 else ''}.",
            answer.source,
            answer.samples,
            Lasting(log.duration_s),
        )
    ]
    coldest = answer.coldest
    if coldest.readings:
        parts.append(say("Lowest meat reading peaks at {0}.", Reading(coldest.peak_c)))
    worth = coldest.lethality
    if worth is None:
        parts.append(f"Lethality: {coldest.no_lethality}.")
    else:
        parts.append(
            say(
                "Worth {0} at {1} at the probe point, rounded down, the reading lowered by {2} "
                "for probe error.",
                minutes_earned(worth.equivalent_less_error_min, "min"),
                Degrees(answer.reference_c, None),
                Difference(answer.probe_error_k),
            )
        )
        if worth.log_reduction_less_error is not None and answer.kinetics is not None:
            parts.append(
                say(
                    "Log reduction of {0} under the assumptions below: {1}.",
                    answer.kinetics.organism,
                    logs_earned(worth.log_reduction_less_error),
                )
            )
    return together(parts).shown(units)


def _tables_html(log: ProbeLog, answer: Review, units: UnitChoice) -> str:
    blocks = [
        list_html("What was understood", answer.understood),
        _repairs_html(answer.repairs),
        list_html("Look at this", answer.warnings, units) if answer.warnings else "",
        _channels_html((*answer.channels, answer.coldest), answer, units),
        f'<div class="coreward-caution" role="note"><b>Caution.</b> '
        f"{html.escape(' '.join(answer.caution))}</div>",
        "<details><summary>All of it as text, with what was assumed</summary><pre>"
        f"{html.escape(review_text(answer, units))}</pre></details>",
    ]
    return "".join(blocks)


def picture_of(figure: Any) -> bytes:
    """Return a figure as the PNG of a panel."""
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=_DPI)
    return stream.getvalue()


def list_html(heading: str, sentences: Sequence[Text], units: Units = "C") -> str:
    """Return a heading over a list of sentences, escaped, in the reader's units."""
    items = "".join(f"<li>{html.escape(shown(each, units))}</li>" for each in sentences)
    return f"<h4>{html.escape(heading)}</h4><ul>{items}</ul>"


def table_html(
    heading: str,
    columns: Sequence[Text],
    rows: Sequence[Sequence[Text]],
    units: Units = "C",
) -> str:
    """Return a heading over a table that scrolls, escaped, in the reader's units."""
    head = "".join(
        f'<th scope="col">{html.escape(shown(name, units))}</th>' for name in columns
    )
    body = "".join(
        "<tr>"
        + "".join(f"<td>{html.escape(shown(cell, units))}</td>" for cell in row)
        + "</tr>"
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
    listed = table_html("What was repaired", ("row", "column", "was", "became", "why"), rows)
    left = len(repairs) - _MOST_REPAIRS
    return listed + (
        f"<p>… and {left} more; the export lists them all.</p>" if left > 0 else ""
    )


def _rows(repair: Repair) -> str:
    if repair.row is None:
        return "all"
    if repair.last_row is None or repair.last_row == repair.row:
        return str(repair.row)
    return f"{repair.row} to {repair.last_row}"


def _channels_html(channels: Sequence[ChannelReview], answer: Review, units: UnitChoice) -> str:
    seen = [channel for channel in channels if channel.readings]
    edges = seen[0].ranges if seen else ()
    organism = answer.kinetics.organism if answer.kinetics else "the organism"
    rows: list[tuple[Text, ...]] = [
        (range_of(edge), *(_time(channel.ranges[i].time_s) for channel in seen))
        for i, edge in enumerate(edges)
    ]
    rows.append(("not counted, no reading", *(_time(c.not_counted_s) for c in seen)))
    rows.append(("highest", *(Reading(c.peak_c) for c in seen)))
    minutes = say("min at {0}, less probe error", Degrees(answer.reference_c, None))
    for words, name, earned in (
        (minutes, "equivalent_less_error_min", minutes_earned),
        ("the same as read", "equivalent_min", minutes_earned),
        (
            f"log reduction of {organism}, less probe error",
            "log_reduction_less_error",
            logs_earned,
        ),
        ("the same as read", "log_reduction", logs_earned),
    ):
        worth = [getattr(channel.lethality, name, None) for channel in seen]
        rows.append((words, *("" if value is None else earned(value) for value in worth)))
    return table_html(
        "Time in ranges, equivalent minutes and log reduction at the probe point",
        ("", *(channel.name for channel in seen)),
        rows,
        units,
    )


def _time(seconds: float) -> Text:
    return Lasting(seconds) if seconds >= 30.0 else ""


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

"""The panel of the question "What does my log say?"."""

from __future__ import annotations

import datetime as dt
import html
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import ipywidgets as W

from coreward.cook.usual_piece import cut_names
from coreward.errors import InputError
from coreward.logs.log import ProbeLog
from coreward.person import serves_one
from coreward.physics.lethality import kinetics_names, load_kinetics
from coreward.questions.keep.answer import UNWRAPPED, Finished, Wrapping, remember
from coreward.questions.keep.asked import ASKED, missing
from coreward.questions.review.answer import Review, review
from coreward.questions.review.document import document, log_name
from coreward.questions.review.figure import figure_log
from coreward.reports.html_page import panel_html
from coreward.reports.things import document_of
from coreward.reports.write import download_link
from coreward.units import read_length, read_mass, read_temperature
from coreward.widgets.controls import Choice
from coreward.widgets.keep_form import KeepForm
from coreward.widgets.log_source import LogSourcePanel, LogSourceState, offered
from coreward.widgets.panel import View
from coreward.widgets.panel_parts import button, line
from coreward.words import UnitChoice, shown

_DPI: Final = 110
_WRAPS: Final = ("foil", "paper", UNWRAPPED)


def _organisms() -> dict[str, str]:
    found = {name: load_kinetics(name) for name in kinetics_names()}
    return {name: f"{each.organism} in {each.food}" for name, each in found.items()}


class LogState(LogSourceState):
    """Inputs of the panel; `log_state` adds the choice of files that are at hand."""

    organism = Choice(
        kinetics_names()[0],
        label="organism",
        options=_organisms(),
    )


def log_state(path: str | Path | None = None) -> LogState:
    """Return a state that offers the demo logs, a path and an upload."""
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
        self._tables = line("tables", margin="4px")
        return (self.form.widget, self._tables)

    def beside(self) -> Sequence[W.Widget]:
        """Return the export."""
        self.export_button = button("Export CSV", "export", self._offer_export)
        self._export_line = line("export")
        self.form = KeepForm(cut_names(), ASKED[1:], self._keep, lambda: self.state.units)
        # Where many share a server, no cook is kept: there is no button for it.
        keep = [self.form.button] if serves_one() else []
        return (self.export_button, *keep, self._export_line)

    def arrange(self) -> None:
        """Show what belongs to the chosen source; an offer of an earlier log is gone."""
        super().arrange()
        self._export_line.value = ""
        self.form.clear()

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
        said = document(answer)
        self._tables.value = panel_html(said, units)
        words = shown(said.lead, units)
        return View(self._drawn[1], f"Temperatures of the log against time. {words}", words)

    def code(self) -> str:
        """Return the lines of Python that repeat the review."""
        return "\n".join(
            [
                "import coreward as cw",
                "",
                self.reading_code(),
                f"answer = cw.review(log, organism={self.state.organism!r})",
                "print(cw.document(answer).text())",
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

    # -- keeping ---------------------------------------------------------------------

    def _keep(self, said: Mapping[str, str]) -> str:
        """Keep the log as a cook of one's own, and say what was learned."""
        log, units = self._log(), self.state.units
        asked = missing(said)
        if asked:
            names = [" ".join(one.page for one in each) for each in asked]
            raise InputError(f"The log cannot tell everything: say also {'; '.join(names)}.")

        def degrees(name: str) -> float:
            text = said[name]
            return read_temperature(text + units.temperature * text[-1].isdecimal())

        mass, thick = said["mass"], said["thickness"]
        try:
            probe = int(said["probe"])
        except ValueError:
            raise InputError(f"{said['probe'][:20]!r} is no number of a probe.") from None
        finished = Finished(
            cut=said["cut"],
            target_c=degrees("target"),
            pit=said["pit"],
            pit_set_c=degrees("set"),
            mass_kg=read_mass(mass + units.mass * mass[-1].isdecimal()) if mass else None,
            thickness_m=read_length(thick + units.length * thick[-1].isdecimal())
            if thick
            else None,
            wrapping=None if said["wrap"] not in _WRAPS else Wrapping(said["wrap"]),
        )
        kept = remember(log, finished, meat=probe, now=dt.datetime.now())
        return shown(document_of(kept).lead, units)

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
        content = log.to_csv_text().encode("utf-8")
        self._export_line.value = download_link(content, log_name(log))


def picture_of(figure: Any) -> bytes:
    """Return a figure as the PNG of a panel."""
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=_DPI)
    return stream.getvalue()


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

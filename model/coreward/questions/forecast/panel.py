"""The panel of the question "What is my log telling me, and when is it ready?"."""

from __future__ import annotations

import asyncio
import html
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, ClassVar, Final

import ipywidgets as W
import traitlets

from coreward import tables
from coreward.cook.stages import Piece
from coreward.errors import CorewardError, InputError
from coreward.events.found import KIND_WORDS, KINDS, Event, EventList, find_events
from coreward.logs.follow import LogFollower
from coreward.logs.log import ProbeLog
from coreward.physics.body import SHAPES
from coreward.physics.meat import meat
from coreward.questions.forecast.answer import (
    Change,
    Forecast,
    Target,
    compare_changes,
    forecast_from,
)
from coreward.questions.forecast.document import document
from coreward.questions.forecast.figure import figure_forecast, figure_ways
from coreward.questions.forecast.fit import Fitted, fit
from coreward.questions.forecast.words import explain_move, moment
from coreward.questions.review.panel import picture_of
from coreward.reports.document import Listing, table_of
from coreward.reports.html_page import block_html, panel_html
from coreward.widgets import shared
from coreward.widgets.controls import LENGTH, PERCENT, TEMPERATURE, Choice, Heading, Number
from coreward.widgets.log_source import PATH, LogSourcePanel, LogSourceState, offered
from coreward.widgets.panel import View, picture_html
from coreward.widgets.panel_parts import button, column, line, row
from coreward.widgets.schedule import Cancelled, Progress
from coreward.words import METRIC, Difference, Lasting, Text, UnitChoice, say, shown

_PREVIEW_MEMBERS: Final = 60
_LOOK_S: Final = 3.0
# A core probe shows a wrap only after the heat has come so deep.
_UNSEEN_S: Final = 5400.0
_HOTTER_K: Final = 10.0
_CUT: Final = "pork shoulder"
_PLANS: Final[dict[str, Text]] = {
    "hold": "hold as now",
    "foil": "wrap in foil now",
    "paper": "wrap in paper now",
    "hotter": say("pit {0} hotter now", Difference(_HOTTER_K)),
    "cooler": say("pit {0} cooler now", Difference(_HOTTER_K)),
}


class ForecastState(LogSourceState):
    """Inputs of the panel; `forecast_state` adds the choice of files at hand."""

    probe = Choice(
        "1",
        label="meat probe",
        options={str(i): f"number {i}" for i in range(1, 9)},
    )
    moment = Number(
        1.0,
        label="seen at",
        quantity=PERCENT,
        low=0.05,
        high=1.0,
        reason="it is a share of the log: 100 % is its end, less replays it",
    )
    _piece = Heading("The piece")
    cut = shared.cut(_CUT)
    shape = shared.shape("cylinder")
    size_m = Number(
        0.12,
        label="across",
        quantity=LENGTH,
        low=0.02,
        high=0.25,
        reason="a thinner piece follows the pit at once and a thicker one takes days",
    )
    start_c = Number(
        5.0,
        label="started at",
        quantity=TEMPERATURE,
        low=-1.0,
        high=40.0,
        reason="frozen meat is outside the model, and warmer meat had been cooking before",
    )
    _question = Heading("The question")
    fire = Choice(
        tables.default_name("fire"),
        label="fire",
        options=shared.titles("fire"),
    )
    target_c = Number(
        90.0,
        label="target",
        quantity=TEMPERATURE,
        low=40.0,
        high=99.0,
        reason="below it nothing is cooked and above it the juice boils away",
    )
    plan = Choice("hold", label="from now on", options=_PLANS)
    wrapped_in = shared.wrap_kind(label="a wrap was")
    edits = traitlets.Unicode("")

    other_names: ClassVar[tuple[str, ...]] = ("path", "mapping", "answers", "edits")


@dataclass(frozen=True, eq=False)
class ForecastOutcome:
    """A forecast with all that is shown of it; None before a log is chosen.

    `question` is what was asked, save for the moment at which it was.
    """

    log: ProbeLog | None
    answer: Forecast | None = None
    events: EventList = field(default_factory=EventList)
    ways: Mapping[str, Forecast] | None = None
    question: tuple[Any, ...] = ()
    moved: str = ""
    asking: str = ""


class ForecastPanel(LogSourcePanel):
    """Load or follow a log; see events, fit, forecast, and what each choice would do."""

    title = "When is it ready?"
    can_compare = False
    takes_long = True
    members: ClassVar[int | None] = None
    """Draws of the full answer; table ``forecast`` if None."""
    way_members: ClassVar[int] = 150
    """Draws for each of the ways to go on."""
    state: ForecastState

    def __init__(self, state: ForecastState, units: str | UnitChoice | None = None) -> None:
        self._events: EventList | None = None
        # Asked by the page and by the worker, hence by what may be asked by both at once. A
        # few moments are enough to move back and forth between.
        self._found = lru_cache(maxsize=12)(_events_in)
        self._fit = lru_cache(maxsize=12)(self._fitted)
        self._earlier: tuple[Any, Forecast] | None = None
        self._follower: LogFollower | None = None
        self._followed_how: dict[str, Any] = {}
        self._followed_log: ProbeLog | None = None
        self._following: asyncio.Task[None] | None = None
        super().__init__(state, units, ("temperature", "length"))

    def beside(self) -> Sequence[W.Widget]:
        """Return the switch that follows a growing file."""
        self.follow_switch = W.ToggleButton(
            value=False,
            description="Follow the file",
            tooltip="Look every few seconds whether the file has grown",
        )
        self.follow_switch.add_class("coreward-control-follow")
        self.follow_switch.observe(self._follow_toggled, names="value")
        self._follow_line = line("following")
        return (self.follow_switch, self._follow_line)

    def extra(self) -> Sequence[W.Widget]:
        """Return the ways to go on, the events with their editing, and the tables."""
        self._ways_box = line("ways", margin="2px 0")
        self.event_choice = W.Dropdown(
            options=[("no event", -1)], description="event", layout=W.Layout(width="390px")
        )
        self.event_choice.add_class("coreward-control-event")
        self.event_kind = W.Dropdown(
            options=[(KIND_WORDS[kind], kind) for kind in KINDS],
            value="wrapped",
            description="add",
            layout=W.Layout(width="230px"),
        )
        self.event_kind.add_class("coreward-control-event-kind")
        self.event_hours = W.BoundedFloatText(
            value=0.0,
            min=0.0,
            max=96.0,
            step=0.05,
            description="at (h)",
            layout=W.Layout(width="160px"),
        )
        self.event_hours.add_class("coreward-control-event-hours")
        self._events_box = column(
            "events",
            W.HTML("<h4>What happened</h4>"),
            row(
                self.event_choice,
                button("Confirm", "confirm", self._confirm),
                button("Delete", "delete", self._delete),
                button("Undo", "undo", self._undo),
            ),
            row(
                self.event_kind,
                self.event_hours,
                button("Add event", "add-event", self._add),
            ),
        )
        self._tables = line("tables", margin="4px")
        return (self._ways_box, self._events_box, self._tables)

    def arrange(self) -> None:
        """Following belongs to a path."""
        super().arrange()
        shown = "" if self.state.source == PATH else "none"
        self.follow_switch.layout.display = shown
        self._follow_line.layout.display = shown
        if shown and self.follow_switch.value:
            self.follow_switch.value = False

    # -- outcome ------------------------------------------------------------------------

    def compute(self, preview: bool) -> ForecastOutcome:
        """Answer with few draws, for a control that moves."""
        return self._answer(self.state.saved(), None)

    def compute_long(
        self, inputs: dict[str, Any], progress: Progress, cancelled: Cancelled
    ) -> ForecastOutcome:
        """Answer in full: all draws, the ways to go on, and why it moved."""
        return self._answer(inputs, progress)

    def _answer(self, inputs: Mapping[str, Any], progress: Progress | None) -> ForecastOutcome:
        def tell(share: float, words: str) -> None:
            if progress is not None:
                progress(share, words)

        asking = self.missing(inputs)
        if asking:
            return ForecastOutcome(None, asking=asking)
        tell(0.0, "reading the log")
        log = self._log(inputs)
        now = inputs["moment"] * log.duration_s
        tell(0.1, "looking for events")
        number, edits = int(inputs["probe"]), inputs["edits"]
        events = self._found(log, number, now, edits)
        tell(0.25, "fitting piece, pit and probe")
        names = ("cut", "shape", "size_m", "start_c", "fire", "wrapped_in")
        fitted = self._fit(log, number, now, edits, *(inputs[name] for name in names))
        tell(0.5, "forecasting")
        target = Target("core", inputs["target_c"])
        plan = _changes(inputs["plan"])
        if progress is None:
            answer = forecast_from(fitted, target, plan, members=_PREVIEW_MEMBERS)
            return ForecastOutcome(log, answer, events)
        answer = forecast_from(fitted, target, plan, members=self.members)
        tell(0.75, "trying other ways to go on")
        others = {name: _changes(name) for name in _PLANS if name != inputs["plan"]}
        found = compare_changes(fitted, target, others, members=self.way_members)
        # What is asked about has its answer: a second one would differ by its fewer draws.
        found[inputs["plan"]] = answer
        ways = {name: found[name] for name in _PLANS}
        question = tuple(value for name, value in sorted(inputs.items()) if name != "moment")
        return ForecastOutcome(log, answer, events, ways, question)

    def _log(self, inputs: Mapping[str, Any]) -> ProbeLog:
        if self._follower is not None and inputs["source"] == PATH:
            if self._followed_log is None:
                raise InputError("The file that is followed holds no readable row yet.")
            return self._followed_log
        return self.read(inputs)

    def _fitted(
        self,
        log: ProbeLog,
        number: int,
        now: float,
        edits: str,
        cut: str,
        shape: str,
        size_m: float,
        start_c: float,
        fire: str,
        wrap: str,
    ) -> Fitted:
        return fit(
            log,
            Piece(SHAPES[shape](size_m), meat(cut), start_c),
            meat=number,
            until_s=now,
            events=self._found(log, number, now, edits),
            wrap=wrap,
            fire=fire,
        )

    def _show_full(self, outcome: ForecastOutcome) -> None:
        super()._show_full(replace(outcome, moved=self._move(outcome)))

    def _move(self, outcome: ForecastOutcome) -> str:
        """Say how the forecast moved since the one before of the same question."""
        answer = outcome.answer
        if answer is None:
            return ""
        earlier, self._earlier = self._earlier, (outcome.question, answer)
        if earlier is None or earlier[0] != outcome.question:
            return ""
        if earlier[1].now_s >= answer.now_s:
            return ""
        return explain_move(earlier[1], answer).in_words()

    def view(self, outcome: ForecastOutcome) -> View:
        """Return picture and words, and fill what stands below."""
        log, answer = outcome.log, outcome.answer
        if log is None or answer is None:
            self._tables.value = self._ways_box.value = ""
            return View(b"", "", outcome.asking)
        units = self.state.units
        figure = figure_forecast(
            answer, log, outcome.events.events, meat=int(self.state.probe), units=units
        )
        said = document(answer)
        words = shown(said.lead, units)
        self._show_events(outcome)
        self._tables.value = self._below(outcome) + panel_html(said, units)
        if outcome.ways is not None:
            ways = {shown(_PLANS[name], units): way for name, way in outcome.ways.items()}
            self._ways_box.value = picture_html(
                picture_of(figure_ways(ways, log, units)),
                _ways_words(ways, log),
                "ways to go on",
            )
        return View(picture_of(figure), f"Log, fit and forecast. {words}", words)

    def _below(self, outcome: ForecastOutcome) -> str:
        log, answer = outcome.log, outcome.answer
        assert log is not None
        assert answer is not None
        parts = []
        lid = _open_question(outcome.events.events, answer.now_s)
        if lid is not None:
            parts.append(
                "<p><b>Did you wrap it?</b> The lid was opened "
                f"{html.escape(moment(lid.time_s, answer.now_s, log))}. A wrap shows in the "
                "core only after half an hour: if you wrapped it then, add the event "
                "above.</p>"
            )
        if outcome.moved:
            parts.append(f"<p><b>How it moved.</b> {html.escape(outcome.moved)}</p>")
        rows = [
            (moment(e.time_s, answer.now_s, log), KIND_WORDS[e.kind], mark, e.why)
            for e, mark in zip(outcome.events.events, outcome.events.marks, strict=True)
        ]
        if rows:
            heads = ("when", "what", "known by", "why")
            events = table_of("Events", heads, rows)
            parts.append(block_html(events, self.state.units))
        if log.repairs or log.understood:
            understood = Listing(log.understood, "What was understood of the file")
            parts.append(block_html(understood))
            parts.append(f"<p>{len(log.repairs)} repairs; the log's review lists them.</p>")
        return "".join(parts)

    def code(self) -> str:
        """Return the lines of Python that repeat the forecast."""
        s = self.state
        shape = SHAPES[s.shape].__name__
        lines = [
            "import coreward as cw",
            "",
            self.reading_code(),
            f"shape = cw.{shape}({s.size_m:.6g})",
            f"piece = cw.Piece(shape, cw.meat({s.cut!r}), {s.start_c:.6g})",
        ]
        if s.edits:
            lines += [
                f"edits = cw.EventList.from_json({s.edits!r})",
                f"events = edits.with_found(cw.find_events(log, {s.probe}, "
                f"{s.moment:.6g} * log.duration_s))",
            ]
        changes = {
            "hold": "",
            "foil": 'cw.Change(in_s=0.0, wrap="foil"),',
            "paper": 'cw.Change(in_s=0.0, wrap="paper"),',
            "hotter": f"cw.Change(in_s=0.0, pit_by={_HOTTER_K:g}),",
            "cooler": f"cw.Change(in_s=0.0, pit_by=-{_HOTTER_K:g}),",
        }[s.plan]
        lines += [
            "answer = cw.forecast(",
            "    log,",
            "    piece,",
            f"    {s.target_c:.6g},",
            f"    meat={s.probe},",
            f"    until_s={s.moment:.6g} * log.duration_s,",
            f"    wrap={s.wrapped_in!r},",
            f"    fire={s.fire!r},",
            f"    changes=({changes}),",
            *(["    events=events,"] if s.edits else []),
            ")",
            "print(cw.document(answer).text())",
            "",
        ]
        return "\n".join(lines)

    # -- events ---------------------------------------------------------------------------

    def _show_events(self, outcome: ForecastOutcome) -> None:
        self._events = outcome.events
        found = [
            (event.sentence(self.state.units)[:70], number)
            for number, event in enumerate(outcome.events.events)
        ]
        self.event_choice.options = found or [("no event", -1)]

    def _edit(self, change: Any) -> None:
        if self._events is None:
            return
        events: EventList = change(self._events)
        # What was found is found again each time; only what a person did is kept.
        self.state.edits = events.with_found(()).to_json() if events.edits else ""

    def _confirm(self) -> None:
        if self.event_choice.value >= 0:
            self._edit(lambda events: events.confirm(self.event_choice.value))

    def _delete(self) -> None:
        if self.event_choice.value >= 0:
            self._edit(lambda events: events.remove(self.event_choice.value))

    def _undo(self) -> None:
        self._edit(lambda events: events.undo())

    def _add(self) -> None:
        seconds = float(self.event_hours.value) * 3600.0
        event = Event(self.event_kind.value, seconds, seconds, why="added by hand")
        self._edit(lambda events: events.add(event))

    # -- following ----------------------------------------------------------------------

    def _follow_toggled(self, change: Any) -> None:
        if self._following is not None:
            self._following.cancel()
            self._following = None
        self._follower = self._followed_log = None
        self._follow_line.value = ""
        if not change["new"]:
            return
        if not self.state.path:
            self._follow_line.value = "Type the path of the file first."
            return
        self.follow_once()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            return
        self._following = loop.create_task(self._keep_looking())

    async def _keep_looking(self) -> None:
        while self.follow_switch.value:
            follower = self._follower
            await asyncio.sleep(max(_LOOK_S, 0.0 if follower is None else follower.rest_s))
            follower = self._to_follow()
            if follower is not None:
                # A long log takes a while: it is read beside the page, and by this task only.
                trouble = await asyncio.to_thread(_polled, follower)
                if follower is self._follower:
                    self._tell(follower, trouble)

    def follow_once(self) -> None:
        """Look at the file once; if it has grown, answer again."""
        follower = self._to_follow()
        if follower is not None:
            self._tell(follower, _polled(follower))

    def _to_follow(self) -> LogFollower | None:
        """Return the follower of the file, a new one if it is to be read otherwise."""
        try:
            inputs = self.state.saved()
            how = self._how(inputs)
            how.pop("sheet", None)  # a workbook is rewritten whole: it cannot be followed
            if self._follower is None or how != self._followed_how:
                self._follower = LogFollower(self._file(inputs), **how)
                self._followed_how = how
        except CorewardError as error:
            self._follow_line.value = html.escape(error.shown(self.state.units))
            return None
        return self._follower

    def _tell(self, follower: LogFollower, trouble: CorewardError | None) -> None:
        """Say how far the file was read; answer again if there is another log."""
        units = self.state.units
        said = follower.accounting.sentence() if trouble is None else trouble.shown(units)
        self._follow_line.value = html.escape(said)
        if trouble is None and follower.log is not self._followed_log:
            self._followed_log = follower.log
            self.schedule.request()


def _polled(follower: LogFollower) -> CorewardError | None:
    """Read the file if it has changed; return what stands in the way."""
    try:
        follower.poll()
    except CorewardError as error:
        return error
    return None


def _open_question(events: Sequence[Event], now_s: float) -> Event | None:
    """Return a lid opened so lately that a wrap would not show yet, if there is one."""
    if any(event.kind == "wrapped" for event in events):
        return None
    # The lid that was open for the meat to go on was not open to wrap it.
    on_s = max((e.end_s for e in events if e.kind == "meat_on"), default=-math.inf)
    late = [
        e
        for e in events
        if e.kind == "lid_opened" and e.time_s > on_s and now_s - e.time_s < _UNSEEN_S
    ]
    return late[-1] if late else None


def _events_in(log: ProbeLog, number: int, now: float, edits: str) -> EventList:
    kept = EventList.from_json(edits) if edits else EventList()
    return kept.with_found(find_events(log, number, now))


def _changes(plan: str) -> tuple[Change, ...]:
    if plan in ("foil", "paper"):
        return (Change(in_s=0.0, wrap=plan),)
    if plan == "hotter":
        return (Change(in_s=0.0, pit_by=_HOTTER_K),)
    if plan == "cooler":
        return (Change(in_s=0.0, pit_by=-_HOTTER_K),)
    return ()


def _ways_words(ways: Mapping[str, Forecast], log: ProbeLog) -> str:
    said = [
        f"{name}: "
        + (
            f"most likely {moment(way.median_s, way.now_s, log)}"
            if math.isfinite(way.median_s)
            else say("not within {0}", Lasting(way.horizon_s)).shown(METRIC)
        )
        for name, way in ways.items()
    ]
    return "Ways to go on. " + "; ".join(said) + "."


def forecast_panel(
    path: str | Path | None = None,
    units: str | UnitChoice | None = None,
    **inputs: Any,
) -> ForecastPanel:
    """Return the panel of a running cook.

    Parameters
    ----------
    path : str or Path, optional
        A log to start with; the first demo log when not given.
    units : str or UnitChoice, optional
        ``"C"`` or ``"F"``; the units kept in the settings when not given.
    **inputs
        Values to begin with, by the names of `ForecastState`.
    """
    state: ForecastState = offered(ForecastState, path)
    state.start_with(inputs)
    return ForecastPanel(state, units)

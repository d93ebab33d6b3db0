"""The panel of the question "When do I light the fire?"."""

from __future__ import annotations

import datetime as dt
import html
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Final
from zoneinfo import ZoneInfo

import ipywidgets as W

import coreward as cw
from coreward import tables
from coreward.cook.rest import BOX
from coreward.drawing.outline import outline
from coreward.drawing.style import PALETTE
from coreward.questions.plan.answer import Plan, clock_text, plan
from coreward.questions.plan.calendar import calendar_bytes
from coreward.questions.plan.cooks import RememberedCooks
from coreward.questions.plan.document import document, plan_code
from coreward.questions.plan.figure import PlanPicture, alt_text
from coreward.questions.plan.inputs import Hold, PitPlan, PlannedPiece, Wanted
from coreward.reports.html_page import panel_html
from coreward.reports.write import download_link
from coreward.widgets import shared
from coreward.widgets.controls import (
    HOURS,
    PERCENT,
    TEMPERATURE,
    Choice,
    Clock,
    Day,
    Heading,
    Number,
)
from coreward.widgets.panel import Panel, PanelState, View
from coreward.widgets.panel_parts import line
from coreward.words import Opening, UnitChoice, shown

_HOUR: Final = 3600.0
_CUT: Final = "pork shoulder"
_NONE: Final = "none"
_PIECE: Final = "The piece"
_BONES: Final = {"out": "without bone", "in": "with its bone"}
_HOLDS: Final = (BOX, "warm oven", "holding cabinet", "towels", "kitchen")
# So long before the serving hour a fire may have to be lit; further off "now" changes nothing.
_NEAR: Final = dt.timedelta(days=2)


def next_weekend(today: dt.date | None = None) -> dt.date:
    """Return the next Saturday that is still to come."""
    day = dt.date.today() if today is None else today
    return day + dt.timedelta(days=(4 - day.weekday()) % 7 + 1)


class PlanState(PanelState):
    """Inputs of the panel. Temperatures in °C, the rest in SI."""

    _hour = Heading("The hour")
    day = Day(next_weekend, label="serve on")
    serve_s = Clock(18.5 * _HOUR, label="at")
    chance = Number(
        tables.load("plan")["chance"],
        label="chance",
        quantity=PERCENT,
        low=0.5,
        high=0.99,
        reason="nothing about meat is surer, and less than even is no plan",
    )
    warm_up_s = Number(
        tables.load("plan")["warm_up"],
        label="warms up",
        quantity=HOURS,
        low=0.25 * _HOUR,
        high=2.0 * _HOUR,
        reason="a pit is steady after that at the latest",
    )
    pit_c = shared.pit(110.0, low=90.0)
    _piece = Heading(_PIECE)
    cut = shared.cut(_CUT)
    shape = shared.piece_shape()
    mass_kg = shared.mass(3.5)
    thickness_m = shared.thickness(0.11, low=0.03, high=0.18, thinner="needs no plan")
    bone = Choice("out", label="bone", options=_BONES)
    core_c = Number(
        93.0,
        label="core wanted",
        quantity=TEMPERATURE,
        low=55.0,
        high=96.0,
        reason="below it little is cooked low and slow, and wet meat does not pass boiling",
    )
    _way = Heading("Its way")
    wrap = shared.wrap("foil", label="wrapped", bare="never", into="in ")
    wrap_at_c = shared.wrap_core(70.0, label="wrapped at")
    second = Choice(
        _NONE,
        label="beside it",
        options={_NONE: "nothing else"} | shared.titles("cut"),
    )
    place = shared.place(BOX, label="held in", names=_HOLDS)
    hold_s = Number(
        tables.load("plan")["most_hold"],
        label="held at most",
        quantity=HOURS,
        low=0.5 * _HOUR,
        high=10.0 * _HOUR,
        reason="a shorter hold is a rest, and a longer one dries or cools it",
    )


def _told(inputs: dict[str, Any]) -> cw.Piece:
    return shared.told_piece(inputs, bone=inputs["bone"] == "in")


def _pieces(inputs: dict[str, Any]) -> list[PlannedPiece]:
    wrap = None if inputs["wrap"] == shared.BARE else inputs["wrap"]
    hold = Hold(
        inputs["place"],
        least_s=min(tables.load("plan")["least_rest"], inputs["hold_s"]),
        most_s=inputs["hold_s"],
    )

    def planned(cut: str, piece: cw.Piece) -> PlannedPiece:
        wrap_at = None if wrap is None else min(inputs["wrap_at_c"], inputs["core_c"] - 1.0)
        return PlannedPiece(
            cut,
            piece,
            Wanted(inputs["core_c"], lethality=False),
            wrap=wrap,
            wrap_at_core_c=wrap_at,
            mass_kg=inputs["mass_kg"] if piece.mass_kg is None else piece.mass_kg,
            hold=hold,
        )

    found = [planned(inputs["cut"], _told(inputs))]
    if inputs["second"] != _NONE:
        other = inputs["second"]
        beside = planned(other, cw.piece(other, tables.load("piece", other)["mass"]))
        if other == inputs["cut"]:
            beside = replace(beside, name=f"second {other}")
        found.append(beside)
    return found


def _serve_at(day: dt.date, seconds: float, zone: ZoneInfo) -> dt.datetime:
    """Return the hour of the clock on a day; one that the clock skips moves on by the gap."""
    clock = dt.datetime.combine(day, dt.time()) + dt.timedelta(seconds=round(seconds / 60) * 60)
    moment = clock.replace(tzinfo=zone)
    return moment.astimezone(dt.UTC).astimezone(zone)


class PlanPanel(Panel):
    """Controls, picture and words of a plan.

    Parameters
    ----------
    now : callable, optional
        Returns the hour of the person, before which no fire can be lit.
    """

    title = "When do I light the fire?"
    state: PlanState
    can_compare = False

    def __init__(
        self,
        state: PlanState,
        units: str | UnitChoice | None = None,
        *,
        zone: ZoneInfo,
        now: Callable[[], dt.datetime] | None = None,
    ) -> None:
        self.zone = zone
        self.now = now or (lambda: dt.datetime.now(zone))
        self._cook = RememberedCooks()
        self._drawing = PlanPicture()
        shared.weigh_with_cut(state)
        super().__init__(state, units, unit_kinds=("temperature", "length", "mass"))

    def _recall(self) -> None:
        """Take up what was left, but for no day that has passed meanwhile."""
        super()._recall()
        if self.state.day != self._start["day"] and self._day() < self.now().date():
            self.state.day = ""
            self._notes["day"] = "The day that was left here is past: this is the next weekend."

    def _day(self) -> dt.date:
        spec: Any = self.state.traits()["day"]
        meant: dt.date = spec.meant(self.state.day)
        return meant

    def not_before(self) -> dt.datetime | None:
        """Return when a fire can first be lit: now, for a day that is near."""
        now = self.now()
        near = dt.timedelta(0) <= self._day() - now.date() <= _NEAR
        return now if near else None

    def arrange(self) -> None:
        """Show only the controls that have an effect."""
        self.controls["wrap-core"].set_visible(self.state.wrap != shared.BARE)
        weighed = self.state.shape in shared.FROM_WEIGHT
        self.controls["mass"].set_visible(weighed or self.state.place == BOX)
        self.controls["bone"].set_visible(weighed)
        self.controls["thickness"].set_visible(self.state.shape != shared.WEIGHED)

    def under_controls(self, heading: str) -> Sequence[W.Widget]:
        """Return the drawing of the piece, to scale."""
        if heading != _PIECE:
            return ()
        self._outline = line("outline")
        return (self._outline,)

    def extra(self) -> Sequence[W.Widget]:
        """Return the table of steps and the calendar file."""
        self._table = line("tables")
        return (self._table,)

    def compute(self, preview: bool) -> Plan:
        """Return the plan, with few draws while something moves."""
        inputs = self.state.inputs()
        return plan(
            _pieces(inputs),
            _serve_at(self._day(), inputs["serve_s"], self.zone),
            not_before=self.not_before(),
            pit=PitPlan(inputs["pit_c"], warm_up_s=inputs["warm_up_s"]),
            chance=inputs["chance"],
            members=int(tables.load("plan", "numerics")["preview" if preview else "settled"]),
            cook=self._cook,
        )

    def view(self, outcome: Plan) -> View:
        """Return picture and words."""
        units = self.state.units
        said = document(outcome)
        self._outline.value = outline(outcome.pieces[0].item.piece, units)
        self._table.value = panel_html(said, units) + _link(outcome, units)
        picture = self._drawing.update(outcome, units)
        first = outcome.sentences[: 1 + bool(outcome.warnings)]
        lines = (shown(words, units) for words in (*first, *outcome.slips))
        return View(
            picture, alt_text(outcome, units), "\n".join(lines), banner=_banner(outcome)
        )

    def code(self) -> str:
        """Return the lines of Python that repeat the plan."""
        outcome = self.state.outcome
        units = self.state.units
        return plan_code(outcome, units) if isinstance(outcome, Plan) else ""


def _banner(answer: Plan) -> str:
    """Return the hour to light the fire in large letters, and what is doubtful of the end."""
    doubts = {one.item.name: one.doubt for one in answer.pieces if one.doubt}
    beware = "; ".join(f"{Opening(name)!s}: {doubt}" for name, doubt in doubts.items())
    light = clock_text(answer.light.planned, answer.serve_at)
    large = f"font-size:clamp(29px,3.4vw,40px);font-weight:700;color:{PALETTE['core']}"
    return (
        f'<div style="{large}">Light the fire at {html.escape(light)}</div>'
        f'<div style="font-size:20px;font-weight:600">{html.escape(beware)}</div>'
    )


def _link(answer: Plan, units: UnitChoice) -> str:
    """Return a link that saves the calendar file."""
    content = calendar_bytes(answer, units=units)
    return f"<p>{download_link(content, 'plan.ics', 'Calendar file (.ics)')}</p>"


def plan_panel(
    units: str | UnitChoice | None = None,
    *,
    day: dt.date | None = None,
    zone: str = "Europe/London",
    **inputs: Any,
) -> PlanPanel:
    """Return the panel of a plan.

    Parameters
    ----------
    units : str or UnitChoice, optional
        ``"C"`` or ``"F"``; the units kept in the settings when not given.
    day : date, optional
        Of the serving hour; the next Saturday if None.
    zone : str
        Name of the place's clock.
    **inputs
        Start values by the names of `PlanState`, such as ``core_c=90``.

    Raises
    ------
    InputError
        If a start value is unknown or outside its range.
    """
    state = PlanState()
    state.start_with(inputs if day is None else {"day": day.isoformat()} | inputs)
    return PlanPanel(state, units, zone=ZoneInfo(zone))

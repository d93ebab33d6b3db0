"""The panel of the question "What does the vent do?"."""

from __future__ import annotations

import html
from collections.abc import Sequence
from typing import Any, Final

import ipywidgets as W

import coreward as cw
from coreward import tables
from coreward.cook.pit import FireEvent, FirePlan
from coreward.drawing.style import PALETTE
from coreward.questions.pit.answer import PitDay, pit_day
from coreward.questions.pit.document import document, pit_code
from coreward.questions.pit.figure import PitPicture, alt_text
from coreward.reports.html_page import panel_html
from coreward.widgets import shared
from coreward.widgets.controls import (
    HOURS,
    MASS,
    PERCENT,
    SPEED,
    TEMPERATURE,
    Choice,
    Heading,
    Number,
)
from coreward.widgets.panel import Panel, PanelState, View
from coreward.widgets.panel_parts import tables_below
from coreward.widgets.schedule import Cancelled, Progress
from coreward.words import UnitChoice, shown

_HOUR: Final = 3600.0
_CUTS: Final = (
    "pork shoulder", "beef brisket whole", "beef brisket flat", "turkey breast", "lamb shoulder"
)  # fmt: skip
_NOTHING: Final = "nothing"
# What may happen: kind, value, for so long [s], moisture of fuel that is added.
_HAPPENS: Final[dict[str, tuple[Any, ...]]] = {
    "look": ("lid", 1.0, 30.0),
    "spray": ("lid", 1.0, 300.0),
    "shut": ("vent", 0.0, 900.0),
    "gust": ("gust", 10.0, 1800.0),
    "rain": ("rain", 5.0, 3600.0),
    "wood": ("fuel", 0.3, 0.0, "wood", 0.15),
    "soaked": ("fuel", 0.5, 0.0, "wood", 0.5),
    "pan": ("pan", 2.0, 0.0),
}
_WORDS: Final = {
    _NOTHING: "nothing",
    "look": "the lid is lifted for 30 s",
    "spray": "the lid is open for 5 min",
    "shut": "the vent is shut for 15 min",
    "gust": "wind for half an hour",
    "rain": "rain for an hour",
    "wood": "a chunk of dry wood",
    "soaked": "a chunk of soaked wood",
    "pan": "hot water into the pan",
}
_BURNING: Final = ("soaked", "wood")


class PitState(PanelState):
    """Inputs of the panel. Temperatures in °C, the rest in SI."""

    _fire = Heading("The fire")
    pit = Choice("upright steel", label="pit", options=shared.titles("pit"), named="pit-kind")
    vent = Number(
        0.5, label="vent open", quantity=PERCENT, low=0.0, high=1.0,
        reason="a vent is shut or wide open at most",
    )  # fmt: skip
    outlet = Number(
        1.0, label="outlet open", quantity=PERCENT, low=0.05, high=1.0,
        reason="smoke must get out, and wide open is all there is",
    )  # fmt: skip
    set_c = Number(
        110.0, label="set to", quantity=TEMPERATURE, low=80.0, high=160.0,
        reason="below it is no pit, and above it no low and slow",
    )  # fmt: skip
    pan_kg = Number(
        0.0, label="water pan", quantity=MASS, low=0.0, high=6.0,
        reason="no pan holds more",
    )  # fmt: skip
    now_s = Number(
        3.0 * _HOUR, label="now, after", quantity=HOURS, low=0.5 * _HOUR, high=12.0 * _HOUR,
        reason="a fire has settled before, and later nothing helps",
    )  # fmt: skip
    _meat = Heading("The meat")
    cut = shared.cut("pork shoulder", names=_CUTS)
    mass_kg = shared.mass(
        4.0, low=1.5, high=6.5, reason="a lighter piece hardly damps its air, and a "
        "heavier one of some cuts is not sold",
    )  # fmt: skip
    pieces = Choice(
        "1", label="pieces", options={"1": "alone"} | {str(n): f"{n} alike" for n in (2, 3)}
    )
    core_c = Number(
        90.0, label="core wanted", quantity=TEMPERATURE, low=55.0, high=96.0,
        reason="wet meat does not pass boiling",
    )  # fmt: skip
    _what = Heading("What happens")
    happens = Choice("look", label="what happens", options=_WORDS)
    at_s = Number(
        4.0 * _HOUR, label="after", quantity=HOURS, low=0.5 * _HOUR, high=12.0 * _HOUR,
        reason="it happens while the meat is in", named="happens-at",
    )  # fmt: skip
    outside_c = Number(
        15.0, label="outside", quantity=TEMPERATURE, low=-20.0, high=38.0,
        reason="people cook outdoors between these",
    )  # fmt: skip
    wind = Number(
        0.5, label="wind", quantity=SPEED, low=0.0, high=15.0,
        reason="in a storm nobody should light a fire",
    )  # fmt: skip


def _plan(inputs: dict[str, Any]) -> FirePlan:
    events: tuple[FireEvent, ...] = ()
    happens = inputs["happens"]
    pit = tables.load("pit", inputs["pit"])
    fed = pit["most_power"] > 0.0
    if happens != _NOTHING and not (fed and happens in (*_BURNING, "shut")):
        kind, *rest = _HAPPENS[happens]
        events = (FireEvent(inputs["at_s"], kind, *rest),)
    return FirePlan(
        inputs["pit"],
        vent=inputs["vent"],
        outlet=inputs["outlet"],
        set_c=inputs["set_c"],
        pan_kg=inputs["pan_kg"],
        outside_c=inputs["outside_c"],
        outside_dew_point_c=inputs["outside_c"] - 7.0,
        wind=inputs["wind"],
        events=events,
    )


class PitPanel(Panel):
    """Controls, picture and words of a fire with meat over it."""

    title = "What does the vent do?"
    takes_long = True
    can_compare = False
    state: PitState

    def __init__(self, state: PitState, units: str | UnitChoice | None = None) -> None:
        self._drawing = PitPicture()
        super().__init__(state, units, unit_kinds=("temperature", "mass"))

    def arrange(self) -> None:
        """Show only the controls that have an effect."""
        fed = tables.load("pit", self.state.pit)["most_power"] > 0.0
        for name, visible in (("vent", not fed), ("set", fed)):
            self.controls[name].set_visible(visible)
        self.controls["happens-at"].set_visible(self.state.happens != _NOTHING)

    def extra(self) -> Sequence[W.Widget]:
        """Return what holds the tables."""
        self._tables = tables_below()
        return (self._tables,)

    def compute(self, preview: bool) -> PitDay:
        """Return the day without what a hand would change."""
        return self._found(self.state.inputs(), moves=False)

    def compute_long(
        self, inputs: dict[str, Any], progress: Progress, cancelled: Cancelled
    ) -> PitDay:
        """Return the day and what a hand would change, each cooked to its end."""
        return self._found(inputs, moves=True, progress=progress)

    def _found(self, inputs: dict[str, Any], moves: bool, **options: Any) -> PitDay:
        return pit_day(
            cw.piece(inputs["cut"], inputs["mass_kg"]),
            _plan(inputs),
            core_c=inputs["core_c"],
            pieces=int(inputs["pieces"]),
            now_s=inputs["now_s"],
            moves=moves,
            quick=not moves,
            **options,
        )

    def view(self, outcome: PitDay) -> View:
        """Return picture and words."""
        units = self.state.units

        def fill() -> None:
            self._tables.value = panel_html(document(outcome), units)

        first = [outcome.sentence, *outcome.warnings]
        said = [move.sentence for move in outcome.moves] + [
            one.sentence for one in outcome.costs
        ]
        return View(
            self._drawing.update(outcome, units),
            alt_text(outcome, units),
            "\n".join(shown(words, units) for words in first),
            below=fill,
            banner=_banner(shown(said[0], units)) if said else "",
        )

    def code(self) -> str:
        """Return the lines of Python that repeat the answer."""
        outcome = self.state.outcome
        return pit_code(outcome) if isinstance(outcome, PitDay) else ""


def _banner(words: str) -> str:
    """Return what the first move does, in large letters."""
    large = f"font-size:clamp(21px,2.2vw,26px);font-weight:700;color:{PALETTE['core']}"
    return f'<div style="{large}">{html.escape(words)}</div>'


def pit_panel(units: str | UnitChoice | None = None, **inputs: Any) -> PitPanel:
    """Return the panel of a fire with meat over it.

    Parameters
    ----------
    units : str or UnitChoice, optional
        ``"C"`` or ``"F"``; the units kept in the settings when not given.
    **inputs
        Start values by the names of `PitState`, such as ``vent=0.5``.

    Raises
    ------
    InputError
        If a start value is unknown or outside its range.
    """
    state = PitState()
    state.start_with(inputs)
    return PitPanel(state, units)

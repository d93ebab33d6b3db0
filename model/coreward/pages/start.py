"""The questions of the start page, each with a small picture of a real answer."""

from __future__ import annotations

import base64
import html
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
from matplotlib.figure import Figure

import coreward as cw
from coreward.drawing import thumbnails
from coreward.errors import CorewardError, InputError, LogError
from coreward.events.found import Event
from coreward.logs.demo import demo_logs
from coreward.logs.log import ProbeLog
from coreward.logs.read import read_log
from coreward.questions.rest.carryover import carryover
from coreward.questions.stall import usual
from coreward.questions.stall.explain import explain
from coreward.reports.pictures import drawing, svg_text
from coreward.widgets.panel import default_units
from coreward.words import (
    Degrees,
    Difference,
    Lasting,
    Length,
    Reading,
    Text,
    UnitChoice,
    say,
    shown,
)

_HOUR: Final = 3600.0
_FORECAST_AT_S: Final = 8 * _HOUR
_FORECAST_TARGET_C: Final = 90.0
_MEMBERS: Final = 40
"""Draws of the small forecast: enough for a picture of this size."""
_WRAPPED_AT_S: Final = 7.65 * 3600.0
"""When the crew wrapped both pieces (data/demo/make_demo_logs.py)."""
_LOG: Final = "harvest-supper.csv"
_SUPPER: Final = "village-hall-supper.toml"


@dataclass(frozen=True)
class Answer:
    """A small picture, and one computed line under it."""

    figure: Figure
    words: Text


@dataclass(frozen=True)
class Card:
    """A question, the page that answers it, and how its small answer is computed."""

    question: str
    page: str
    answer: Callable[[UnitChoice], Answer]


_STYLE: Final = """
<style>
.coreward-start { display: grid; gap: 14px;
  grid-template-columns: repeat(auto-fill, minmax(min(300px, 100%), 1fr));
  max-width: 1100px; color: #20262b; }
.coreward-start a { display: block; border: 1px solid #c9cfd4; border-bottom: 4px solid #5e0f34;
  padding: 10px 12px; text-decoration: none; color: inherit; background: #ffffff; }
.coreward-start a:hover, .coreward-start a:focus { background: #f6f4ef; }
.coreward-start a p { margin: 0; }
.coreward-start a strong { display: block; color: #20262b; font-size: 15px;
  line-height: 1.3; min-height: 2.6em; }
.coreward-start img { display: block; width: 100%; height: auto; margin: 6px 0; }
.coreward-start span { display: block; font-size: 13px; line-height: 1.4; color: #454c52; }
.coreward-start em { font-style: normal; text-decoration: underline; color: #1d5c8f;
  font-size: 13px; }
</style>
"""


class StartPage:
    """All the questions as cards that open their page. Computed when it is made."""

    def __init__(self, units: str | UnitChoice | None = None) -> None:
        self._units = default_units(units)
        self.problems: dict[str, str] = {}
        self._cards: list[tuple[Card, str, str]] = []
        for card in CARDS:
            try:
                with drawing():
                    answer = card.answer(self._units)
                    picture = svg_text(answer.figure, "")
                words = shown(answer.words, self._units)
            except CorewardError as error:
                # One answer that fails must not take the way to the pages with it.
                picture, words = "", error.shown(self._units)
                self.problems[card.page] = words
            self._cards.append((card, picture, words))

    def _repr_html_(self) -> str:
        return (
            f'{_STYLE}<div class="coreward-start">{"".join(map(_card_html, self._cards))}</div>'
        )

    def __repr__(self) -> str:
        return "\n".join(
            f"{card.question} {words} Open {card.page}.ipynb." for card, _, words in self._cards
        )


def _card_html(card: tuple[Card, str, str]) -> str:
    about, picture, words = card
    image = ""
    if picture:
        data = base64.b64encode(picture.encode("utf-8")).decode("ascii")
        image = (
            f'<img src="data:image/svg+xml;base64,{data}" width="300" height="175" '
            f'alt="{html.escape(words, quote=True)}">'
        )
    # Paragraphs, since a page that does not trust a notebook yet takes the style away.
    parts = (
        f"<strong>{html.escape(about.question)}</strong>",
        image,
        f"<span>{html.escape(words)}</span>",
        f"<em>{about.page}</em>",
    )
    inside = "".join(f"<p>{part}</p>" for part in parts if part)
    return f'<a href="{about.page}.ipynb">{inside}</a>'


def _stall(units: UnitChoice) -> Answer:
    # The cook that the panel below and the page start with: all tell of the same.
    cook = cw.simulate(usual.piece(), cw.Stage(usual.pit(), duration_s=14 * _HOUR))
    told = explain(cook)
    stall = told.account.stall
    picture = thumbnails.thumb_stall(cook, told, units)
    if stall is None:
        return Answer(picture, "A brisket without a stall.")
    does = "stands still" if stall.level else "climbs slowly"
    return Answer(
        picture,
        say(
            "A brisket {0} thick in a tight pit, computed: {1} for {2}, at {3} to {4}.",
            Length(usual.THICKNESS_M),
            does,
            Lasting(stall.duration_s),
            Degrees(stall.core_begin_c),
            Degrees(stall.core_end_c),
        ),
    )


def _supper_log() -> ProbeLog:
    logs = demo_logs()
    if _LOG not in logs:
        raise LogError("The demo logs did not come with this installation.")
    return read_log(logs[_LOG])


def _log(units: UnitChoice) -> Answer:
    log = _supper_log()
    lowest = float(np.nanmax(log.coldest_meat_c))
    return Answer(
        thumbnails.thumb_log(log, units),
        say(
            "The crew's own log (invented): {0}, {1} repairs, the coldest meat gets to {2}.",
            Lasting(log.duration_s),
            len(log.repairs),
            Reading(lowest, 0),
        ),
    )


def supper_file() -> Path:
    """Return the file with the invented supper.

    Raises
    ------
    InputError
        If it did not come with the installation.
    """
    for log in demo_logs().values():
        if (log.parent / _SUPPER).is_file():
            return log.parent / _SUPPER
    raise InputError("The invented supper did not come with this installation.")


def _day(units: UnitChoice) -> Answer:
    from coreward.questions.plan.file import read_plan_file

    supper = read_plan_file(supper_file())
    around = cw.Surroundings(air_c=supper.pit.air_c, dew_point_c=supper.pit.dew_point_c)
    rows = []
    for item in supper.pieces:
        stages = [cw.Stage(around, duration_s=30 * _HOUR, until_core_c=item.wanted.core_c)]
        if item.wrap is not None:
            bare = replace(stages[0], until_core_c=item.wrap_at_core_c)
            stages = [bare, replace(stages[0], wrap=item.wrap)]
        cook = cw.simulate(item.piece, stages)
        after = item.hold.least_s + item.slicing_s
        rows.append((item.name, (cook.duration_s + after) / _HOUR, after / _HOUR))
    rows.sort(key=lambda row: -row[1])
    name, hours, _ = rows[0]
    return Answer(
        thumbnails.thumb_day(rows, supper.serve_at),
        say(
            "Three pieces for {0}: if all goes as computed, the {1} takes {2}. The page adds "
            "what may go otherwise.",
            f"{supper.serve_at:%H:%M}",
            name,
            Lasting(hours * _HOUR),
        ),
    )


def _pull(units: UnitChoice) -> Answer:
    roast = cw.Piece(cw.Cylinder(0.12), cw.meat("beef rib roast"), start_c=5.0)
    oven = cw.Surroundings(air_c=180, dew_point_c=40)
    stages = [
        cw.Stage(oven, duration_s=6 * _HOUR, until_core_c=48.0),
        cw.rest_stage("tent", 1.2 * _HOUR, piece=roast),
    ]
    told = carryover(cw.simulate(roast, stages))
    return Answer(
        thumbnails.thumb_pull(told.result, told.pull_s, units),
        say(
            "A roast pulled at {0} goes on to {1} in {2}.",
            Degrees(told.pull_core_c),
            Degrees(told.peak_core_c),
            Lasting(told.peak_after_s),
        ),
    )


def _hold(units: UnitChoice) -> Answer:
    from coreward.lessons.hold import SLICE, STANDARD, judge
    from coreward.questions.hold.answer import held_at_or_above
    from coreward.tables.standards import load_standard

    answer = judge(SLICE, standards=[STANDARD])
    standard = load_standard(STANDARD)
    levels = np.asarray(standard.temperatures_c)
    asked = np.array([standard.required_s(float(level)) for level in levels])
    state = answer.standard(STANDARD).state
    return Answer(
        thumbnails.thumb_hold(levels, asked, held_at_or_above(answer.record, levels), units),
        say(
            "A slice at {0}, served at once: {1} by the first table that is asked ({2}). The "
            "line is what it held.",
            Degrees(SLICE.until_core_c or SLICE.around_c, None),
            state,
            standard.title,
        ),
    )


def _forecast(units: UnitChoice) -> Answer:
    from coreward.questions.forecast.answer import forecast

    log = _supper_log()
    # As the crew would say it: they know the cut and have measured the thickness.
    brisket = cw.Piece(cw.Slab(0.065), cw.meat("beef brisket point"), start_c=4.0)
    # Twenty minutes after the wrap the core does not show it yet: they say so.
    wrapped = Event("wrapped", _WRAPPED_AT_S, _WRAPPED_AT_S)
    told = forecast(
        log,
        brisket,
        _FORECAST_TARGET_C,
        meat=2,
        until_s=_FORECAST_AT_S,
        events=(*cw.find_events(log, 2, _FORECAST_AT_S), wrapped),
        members=_MEMBERS,
    )
    known = told.time_s <= _FORECAST_AT_S + 8 * _HOUR
    low, middle, high = (told.bands_c[row][known] for row in (0, 2, 4))
    reached = np.flatnonzero(log.meat(2).temperature_c >= _FORECAST_TARGET_C)
    came_s = float(log.time_s[reached[0]]) if reached.size else None
    came = "never came" if came_s is None else say("came after {0}", Lasting(came_s))
    return Answer(
        thumbnails.thumb_bands(
            told.time_s[known], low, middle, high, _FORECAST_TARGET_C, came_s, units
        ),
        say(
            "Asked after {0} of the crew's log, just wrapped: {1} as likely as not between "
            "{2} and {3}. It {4}. The page has many more such bets.",
            Lasting(told.now_s),
            Degrees(_FORECAST_TARGET_C, None),
            *(Lasting(told.quantile_s(percent)) for percent in (25.0, 75.0)),
            came,
        ),
    )


def _trust(units: UnitChoice) -> Answer:
    from coreward.evidence.trust import carryover_cases

    cases = carryover_cases()
    measured = [case.measured_k for case in cases]
    computed = [case.wet_rise_k for case in cases]
    above = sum(ours > theirs for ours, theirs in zip(computed, measured, strict=True))
    return Answer(
        thumbnails.thumb_pairs(measured, computed, "K"),
        f"Rise of {len(cases)} published roasts after the oven: the model is too high in "
        f"{above}.",
    )


def _equations(units: UnitChoice) -> Answer:
    from coreward.evidence.verification import series_errors

    error = series_errors(("cylinder",), (1.0,))[0]
    worst, _ = error.worst("core_k")
    return Answer(
        thumbnails.thumb_errors(error.fourier, error.core_k),
        say(
            "A dry cylinder against its exact series: never more than {0} off at the core.",
            Difference(float(f"{worst:.1g}")),
        ),
    )


def _class(units: UnitChoice) -> Answer:
    from coreward.lessons import load_lesson
    from coreward.lessons.handout import minutes

    lesson = load_lesson("why-the-stall")
    return Answer(
        thumbnails.thumb_class(lesson.steps),
        f"{minutes(lesson)} minutes in {len(lesson.steps)} parts, with a hand-out and a sheet "
        "of answers that are computed.",
    )


CARDS: Final = (
    Card("Why has it stopped rising?", "why-the-stall", _stall),
    Card("When do I light the fire?", "plan-the-day", _day),
    Card("What is my log telling me; when is it ready?", "my-log", _log),
    Card("When should I pull it, and how long will it keep hot?", "rest-and-carryover", _pull),
    Card("Is this finish, or this hold, enough?", "is-this-hold-enough", _hold),
    Card("How good are the forecasts?", "how-good-are-the-forecasts", _forecast),
    Card("How far can I trust the numbers?", "how-far-to-trust-it", _trust),
    Card(
        "Does it solve its equations? (for engineers)",
        "does-it-solve-its-equations",
        _equations,
    ),
    Card("How do I teach it in an hour?", "teach-the-stall", _class),
)
"""In the order of the page."""


def start_page(units: str | UnitChoice | None = None) -> StartPage:
    """Return the questions with small pictures of real answers.

    Parameters
    ----------
    units : str or UnitChoice, optional
        ``"C"`` or ``"F"``; the units kept in the settings when not given.
    """
    return StartPage(units)


__all__ = ["StartPage", "start_page", "supper_file"]

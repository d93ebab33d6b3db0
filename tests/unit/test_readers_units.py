"""What is told to a reader in °F holds no °C, no kelvin and no millimetre, and the reverse.

Each question gives all it says of a fixed, cheap case: text, data and report. A kind of
report that is not looked at here is named below, with the reason.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import numpy as np
import pytest
from matplotlib.text import Text as WrittenText

import coreward as cw
from coreward import cautions, questions
from coreward.cli import build_parser
from coreward.cook.pit import FireEvent, FirePlan
from coreward.cook.stages import Liquid
from coreward.errors import CorewardError, InputError
from coreward.events.found import Event, EventList, find_events
from coreward.experience.learned import learned
from coreward.experience.own_cooks import OwnCook, Shelf
from coreward.lessons import lesson_names, load_lesson
from coreward.lessons.handout import answer_sheet, handout, plan_table
from coreward.lessons.lesson import check_exercise, check_prediction, shown_number
from coreward.logs.demo import SUPPER_LOG, demo_folder
from coreward.logs.log import Channel, ProbeLog
from coreward.logs.read import read_log
from coreward.questions import verdict
from coreward.questions.forecast.answer import Change, Forecast, Target, forecast, forecast_from
from coreward.questions.keep.answer import Kept
from coreward.questions.rest.carryover import carryover
from coreward.questions.rest.wrapping import wrapped_cook
from coreward.questions.review.answer import Review, review
from coreward.questions.stall.explain import explain
from coreward.questions.watch.answer import watch
from coreward.questions.watch.wanted import Watched
from coreward.reports import document
from coreward.reports.document import Document, Facts, Listing, Paragraph, Picture, Table
from coreward.reports.things import document_of
from coreward.words import Degrees, Reading, say, shown
from support.own_shelf import past_cook
from support.said import numbers_of, text_of

HOUR = 3600.0
ORGANISM = "salmonella beef guideline"
SCANNED: Final = {
    "stall",
    "review",
    "forecast",
    "rest",
    "verdict",
    "plan",
    "keep",
    "watch",
    "pit",
    "probe",
}
"""Rooms whose documents are looked at, in this file or (plan) in `test_plan_end.py`."""

FOREIGN: Final = {
    "F": re.compile(r"°C|\d K\b|\d mm\b|\d kg\b"),
    "C": re.compile(r"°F|\d lb\b"),
}


def strings(data: Any) -> Iterator[str]:
    """Every text within plain data, keys not."""
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict):
        for value in data.values():
            yield from strings(value)
    elif isinstance(data, (list, tuple)):
        for value in data:
            yield from strings(value)


def of_document(report: Document) -> Iterator[str]:
    """Every text of a report, those of its pictures too."""
    yield from (str(report.title), str(report.lead), report.footer, *report.caution)
    for block in report.blocks:
        if isinstance(block, Paragraph):
            yield block.words
        elif isinstance(block, Facts):
            yield from strings(block.rows)
        elif isinstance(block, Listing):
            yield from block.entries
        elif isinstance(block, Table):
            yield from (*block.columns, *strings(block.rows))
        elif isinstance(block, Picture):
            yield from (block.alt, block.caption)
            for artist in block.drawn().findobj(WrittenText):
                yield artist.get_text()


@lru_cache(maxsize=1)
def charred() -> Any:
    """A cook with every warning that holds a number: too short a stage, a burnt surface."""
    around = cw.Surroundings(air_c=245.0, dew_point_c=20.0, air_speed=1.0)
    piece = cw.Piece(cw.Cylinder(0.06), cw.meat("pork shoulder"), start_c=5.0)
    return cw.simulate(piece, [cw.Stage(around, duration_s=0.7 * HOUR, until_core_c=95.0)])


@lru_cache(maxsize=1)
def supper() -> ProbeLog:
    """The demo log without units in its headings: those quote the file, whatever is read."""
    log = read_log(demo_folder() / SUPPER_LOG)
    names = iter(("pit", "shoulder", "brisket"))
    channels = (Channel(next(names), c.role, c.temperature_c) for c in log.channels)
    return replace(log, channels=tuple(channels), understood=(), repairs=())


@lru_cache(maxsize=1)
def warned() -> ProbeLog:
    """A log whose warnings hold temperatures."""
    time = np.arange(0.0, 3 * HOUR, 60.0)
    hot = 20.0 + 95.0 * time / time[-1]
    rows = (
        f"{int(t)},{110.0 + (t % 7):.1f},48.3,{h:.1f}" for t, h in zip(time, hot, strict=True)
    )
    roles = {"seconds": "elapsed s", "pit": "air", "stuck": "meat", "hot": "meat"}
    with TemporaryDirectory() as folder:
        file = Path(folder) / "log.csv"
        file.write_text("\n".join(["seconds,pit,stuck,hot", *rows]) + "\n")
        log = read_log(file, columns=roles, units="C")
    assert len(log.warnings) == 2
    return replace(log, understood=())


@lru_cache(maxsize=1)
def foreseen() -> tuple[Forecast, ...]:
    log = supper()
    piece = cw.Piece(cw.Cylinder(0.12), cw.meat("pork shoulder"), start_c=6.5)
    changes = (
        Change(in_s=1800.0, pit_by=8.0),
        Change(at_core_c=75.0, wrap="foil", pit_c=118.0),
    )
    first = forecast(
        log, piece, 88.5, until_s=0.5 * log.duration_s, changes=changes, members=20
    )
    told = [first]
    for target in (Target("lethality", 6.5, name=ORGANISM), Target("core", 40.0)):
        told.append(forecast_from(first.fitted, target, members=20))
    # All that can be said of one at once: never, a dip of the pit, and both warnings.
    never = replace(
        first, finish_s=np.full(20, math.inf), pit=replace(first.pit, level_c=190.0)
    )
    noted = forecast_from(replace(first.fitted, residual_k=40.0), first.target, members=20)
    return (*told, never, noted)


def cook_says(units: str) -> Iterator[str]:
    for cook in (charred(), _stalled()):
        yield explain(cook).in_words(units)
        yield from (shown(warning, units) for warning in cook.warnings)
        yield from of_document(document_of(cook).shown(units))


@lru_cache(maxsize=1)
def _stalled() -> Any:
    piece = cw.Piece(cw.Slab(0.05), cw.meat("beef brisket whole"), start_c=4.0)
    pit = cw.Surroundings(air_c=110.0, dew_point_c=35.0)
    return cw.simulate(piece, [cw.Stage(pit, duration_s=8 * HOUR)])


def review_says(units: str) -> Iterator[str]:
    for log, organism in ((supper(), ORGANISM), (supper(), None), (warned(), ORGANISM)):
        answer: Review = review(log, organism=organism)
        yield text_of(answer, units)
        yield from strings(numbers_of(answer, units))
        yield from of_document(document_of(answer).shown(units))


def events_say(units: str) -> Iterator[str]:
    log = supper()
    for number in range(1, len(log.meats) + 1):
        found = find_events(log, number)
        again = EventList.from_json(EventList(found).to_json())
        yield from (event.sentence(units) for event in (*found, *again))
    sizes = (("K", -3.25), ("degC", 71.26), ("-", 2.0))
    for unit, size in sizes:
        yield Event("pulled", 60.0, 60.0, size=size, unit=unit).sentence(units)


def forecasts_say(units: str) -> Iterator[str]:
    for answer in foreseen():
        yield text_of(answer, units)
        yield from strings(numbers_of(answer, units))
        yield from (change.in_words(units) for change in answer.changes)
    yield from of_document(document_of(foreseen()[0]).shown(units))


def lessons_say(units: str) -> Iterator[str]:
    for name in lesson_names():
        lesson = load_lesson(name)
        yield from of_document(handout(lesson, units))
        yield from strings(plan_table(lesson, units).rows)
        for exercise in lesson.exercises:
            # What is computed is looked at below, where it is cheap.
            quick = replace(exercise, find=lambda: 100.0)
            for answer in (-1e6, 1e6, shown_number(quick, 100.0, units)):
                yield check_exercise(quick, answer, units).sentence
    for name in ("how-good-are-the-forecasts", "why-the-stall"):
        lesson = load_lesson(name)
        yield from of_document(answer_sheet(lesson, units))
        for question in lesson.questions:
            yield from (
                check_prediction(question, key, units).sentence for key in question.choices
            )


def errors_say(units: str) -> Iterator[str]:
    meat = cw.meat("beef brisket flat")
    air = cw.Surroundings(air_c=110.0)
    attempts: tuple[Callable[[], Any], ...] = (
        lambda: cw.Piece(cw.Slab(0.06), meat, start_c=-12.0),
        lambda: cw.Surroundings(air_c=3000.0),
        lambda: cw.Surroundings(air_c=60.0, dew_point_c=80.0),
        lambda: cw.Surroundings(air_c=120.0, dew_point_c=110.0),
        lambda: Liquid(0.2, -3.0),
        lambda: cw.Stage(air, duration_s=60.0, wrap="foil", liquid=Liquid(0.2, 150.0)),
        lambda: Change(in_s=0.0, pit_c=900.0),
        lambda: Change(in_s=0.0, pit_by=500.0),
        lambda: wrapped_cook(air, wrap="foil", at_core_c=70.0, off_core_c=60.0),
    )
    for attempt in attempts:
        with pytest.raises(CorewardError) as raised:
            attempt()
        yield raised.value.shown(units)


@lru_cache(maxsize=1)
def pulled() -> Any:
    """A roast that is pulled and rests."""
    piece = cw.Piece(cw.Slab(0.05), cw.meat("beef rib roast"), start_c=4.0)
    pit, room = (cw.Surroundings(air_c=air, dew_point_c=8.0) for air in (120.0, 20.0))
    stages = [cw.Stage(pit, duration_s=8 * HOUR, until_core_c=52.0), cw.Stage(room, HOUR)]
    return cw.simulate(piece, stages)


def rest_says(units: str) -> Iterator[str]:
    answer = carryover(pulled())
    yield text_of(answer, units)
    yield from strings(numbers_of(answer, units))
    yield from of_document(document_of(answer).shown(units))


@lru_cache(maxsize=1)
def placed() -> Any:
    """A probe that is not where the piece is slowest."""
    piece = cw.Piece(cw.FiniteCylinder(0.08, 0.14), cw.meat("pork shoulder"), 4.0)
    stage = cw.Stage(cw.Surroundings(120.0, heat_transfer=15.0), until_core_c=70.0)
    cook = cw.simulate(piece, stage, engine="section", cells=14, tolerance=0.05)
    return cw.probe_error(cook, 0.01, 0.02, angle_deg=30.0, at_core_c=65.0)


@lru_cache(maxsize=1)
def fired() -> Any:
    """A day at a fire, with what a hand and a lid would change."""
    lid = FireEvent(2.0 * HOUR, "lid", 1.0, 30.0)
    plan = FirePlan("kettle", vent=0.4, events=(lid,))
    piece = cw.piece("pork shoulder", 2.0)
    return cw.pit_day(piece, plan, core_c=60.0, longest_s=6 * HOUR, now_s=HOUR)


def fire_says(units: str) -> Iterator[str]:
    for answer in (fired(), placed()):
        yield text_of(answer, units)
        yield from of_document(document_of(answer).shown(units))


def away_says(units: str) -> Iterator[str]:
    """A cook that is watched, and those that are kept."""
    cooks = tuple(OwnCook(past_cook(n, 0.3 * (n > 3), 12.0 * (n > 3))) for n in range(7))
    taught = learned([own.cook for own in cooks], "drum")
    answers: list[object] = [
        Kept(cooks[0], Path("cook.csv"), learned([one.cook for one in cooks[:3]], "drum")),
        Kept(replace(cooks[1], cook=replace(cooks[1].cook, mass_kg=4.0)), Path("b"), taught),
        Shelf(Path("cooks"), cooks),
    ]
    time_s = np.arange(0.0, 5.0 * HOUR, 60.0)
    wanted = Watched(target_c=75.0, pit_low_c=95.0, pit_high_c=125.0, wrap_at_c=66.0)
    for pit_c, rise in ((110.0, 12.0), (80.0, 16.0), (140.0, 20.0)):
        air = np.where(time_s > 2.0 * HOUR, pit_c, 110.0)
        meat = 5.0 + rise * time_s / HOUR
        channels = (Channel("pit", "air", air), Channel("butt", "meat", meat))
        answers.append(watch(ProbeLog(time_s, None, channels), wanted)[0])
    cold = Channel("butt", "meat", 75.0 - 5.0 * time_s / HOUR)
    for asked in (Watched(hold=True), replace(wanted, chill=True)):
        answers.append(watch(ProbeLog(time_s, None, (cold,)), asked)[0])
    for answer in answers:
        yield text_of(answer, units)
        yield from strings(numbers_of(answer, units))
        yield from of_document(document_of(answer).shown(units))


def verdict_says(units: str) -> Iterator[str]:
    for judged, more in ((supper(), {}), (pulled(), {"meat": "beef", "cooling": True})):
        answer = verdict.verdict(judged, **more)
        # The title of a source is its own.
        yield text_of(answer, units).split("\nSources\n")[0]
        yield from strings(numbers_of(answer, units))
        yield from of_document(document_of(answer).shown(units))


QUESTIONS: Final[dict[str, Callable[[str], Iterable[str]]]] = {
    "cook": cook_says,
    "review": review_says,
    "rest": rest_says,
    "fire": fire_says,
    "away": away_says,
    "verdict": verdict_says,
    "events": events_say,
    "forecast": forecasts_say,
    "lessons": lessons_say,
    "errors": errors_say,
}


@pytest.mark.parametrize("units", ["C", "F"])
@pytest.mark.parametrize("question", QUESTIONS)
def test_nothing_is_told_in_the_other_units(question: str, units: str) -> None:
    told = [text for text in QUESTIONS[question](units) if text]
    assert len(told) > 5
    assert any(f"°{units}" in text for text in told)
    wrong = [line for text in told for line in text.splitlines() if FOREIGN[units].search(line)]
    assert not wrong


def test_every_kind_of_report_is_looked_at_or_named() -> None:
    rooms = Path(questions.__file__).parent.glob("*/document.py")
    assert {file.parent.name for file in rooms} == SCANNED


def test_the_look_finds_what_it_looks_for() -> None:
    for text in ("at 54.4 °C", "1 K off", "80 mm thick", "2.0 kg"):
        assert FOREIGN["F"].search(text)
        assert not FOREIGN["C"].search(text)
    assert FOREIGN["C"].search("130 °F")
    assert not FOREIGN["F"].search("heat transfer 12 W/m²K")
    assert not FOREIGN["F"].search(say("{0}", Degrees(54.4)).shown("F"))


# -- what went wrong one by one --------------------------------------------------------------


def test_how_far_it_looked_is_said_as_it_was() -> None:
    """It said "30 hours" whatever the table said."""
    never = replace(foreseen()[0], finish_s=np.full(20, math.inf), horizon_s=9000.0)
    text = text_of(never)
    assert "at no time within 2 h 30 min: the air" in text
    assert "30 h:" not in text


def test_a_change_is_said_in_the_readers_units() -> None:
    change = Change(at_core_c=70.0, wrap="foil", pit_c=120.0)
    assert change.in_words() == "wrap in foil and pit to 120 °C at a core of 70 °C"
    assert change.in_words("F") == "wrap in foil and pit to 248 °F at a core of 158 °F"
    cooler = Change(in_s=5400.0, pit_by=-10.0)
    assert cooler.in_words() == "pit 10 K cooler in 1 h 30 min"
    assert cooler.in_words("F") == "pit 18 °F cooler in 1 h 30 min"


def test_what_says_so_of_an_event_is_said_in_the_readers_units() -> None:
    why = say("The probe went from {0} to {1}.", Reading(21.0), Reading(4.44))
    event = Event("meat_on", 660.0, 660.0, size=-16.56, unit="K", why=why)
    assert (
        event.sentence() == "11 min: meat on, -16.6 K. The probe went from 21.0 °C to 4.4 °C."
    )
    assert event.sentence("F") == (
        "11 min: meat on, -29.8 °F. The probe went from 69.8 °F to 39.9 °F."
    )
    stored = EventList((event,)).to_json()
    assert EventList.from_json(stored).found == (event,)
    # Lists from before events held quantities have plain words.
    plain = EventList((replace(event, why="It fell."),)).to_json()
    assert EventList.from_json(plain)[0].why == "It fell."
    with pytest.raises(InputError, match="why of an event"):
        EventList.from_json(stored.replace('"kind": "Reading"', '"kind": "Fahrenheit"'))


def test_a_logs_warnings_survive_its_own_format() -> None:
    log = warned()
    with TemporaryDirectory() as folder:
        again = read_log(log.to_csv(Path(folder) / "again.csv"))
    assert again.warnings == log.warnings
    assert shown(again.warnings[0], "F") == (
        "Column 'stuck' reads 118.9 °F in every row: the probe is stuck, or never was in use."
    )


def test_a_peak_is_never_told_hotter_than_it_was() -> None:
    """54.96 °C was told as 55.0."""
    time = np.arange(0.0, 2 * HOUR, 60.0)
    values = np.where(time < HOUR, 20.0, 54.96)
    log = ProbeLog(time, None, (Channel("core", "meat", values),))
    for units, told, wrong in (("C", "54.9 °C", "55.0 °C"), ("F", "130.9 °F", "131.0 °F")):
        for text in (text_of(review(log), units), str(document_of(log).shown(units).lead)):
            assert told in text
            assert wrong not in text


def test_cautions_are_the_same_words_everywhere() -> None:
    assert verdict.CAUTION == document.CAUTION[-1] == cautions.ANSWER
    for told in (cautions.FORECAST, cautions.LESSON, " ".join(cautions.REVIEW)):
        assert cautions.ANSWER in told
    assert cautions.ANSWER in build_parser().epilog
    for must in ("calibrated thermometer", "local food code", "licensed process authority"):
        assert must in cautions.ANSWER

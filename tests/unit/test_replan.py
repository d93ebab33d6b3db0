"""Planning again from a live log: what is lost, which levers make the hour, what they cost."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import math
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.logs.log import ProbeLog
from coreward.questions.forecast import answer as forecast
from coreward.questions.forecast.answer import Change
from coreward.questions.plan.answer import Plan, PlannedPiece, chances, clock_text
from coreward.questions.plan.file import read_plan_file
from coreward.questions.plan.replan import (
    AS_PLANNED,
    Lever,
    Lost,
    Replan,
    _choice,
    _lever,
    _price,
    _priced,
    _usual,
    replan,
)
from coreward.reports.things import document_of
from coreward.words import Lasting, shown
from support.said import numbers_of, text_of

pytestmark = pytest.mark.quick

LONDON = ZoneInfo("Europe/London")
FEW = 40
HOUR = 3600.0
NAN = float("nan")


@pytest.fixture(scope="module")
def supper(root: Path) -> Plan:
    return read_plan_file(root / "data/demo/village-hall-supper.toml").plan(members=60)


@pytest.fixture(scope="module")
def log(root: Path) -> ProbeLog:
    return cw.read_log(root / "data/demo/village-hall-supper.csv")


@pytest.fixture(scope="module")
def shoulder(supper: Plan, log) -> Replan:
    return replan(supper, "shoulder", log, until_s=6 * HOUR, members=FEW)


@pytest.mark.slow
def test_the_moment_is_that_of_the_log(shoulder: Replan) -> None:
    assert shoulder.now == dt.datetime(2026, 10, 24, 9, 40, tzinfo=LONDON)


def test_what_is_lost_adds_up(shoulder: Replan, supper: Plan) -> None:
    lost = shoulder.lost
    assert lost.total_s == pytest.approx(lost.start_s + lost.pit_s + lost.meat_s)
    planned = shoulder.piece.step("on").planned
    begun = dt.datetime(2026, 10, 24, 3, 40, tzinfo=LONDON)
    assert lost.start_s == (begun - planned).total_seconds()
    # The invented fire was ten kelvin low for hours.
    assert 1800.0 < lost.pit_s < 4 * HOUR
    # The piece is slower than the one that was planned: the log's maker has less draught than
    # is believed of a pit (table forecast), and more juice in the air.
    assert 0.0 < lost.meat_s < 2 * HOUR
    words = shown(lost.in_words(), "C")
    minutes = (round(s / 60.0) for s in (lost.total_s, lost.start_s, lost.pit_s, lost.meat_s))
    whole, start, pit, meat = (Lasting(60.0 * abs(m)).shown("C") for m in minutes)
    begin = "lost" if lost.start_s > 0 else "gained"
    own = "lost" if lost.meat_s > 0 else "gained"
    assert words == (
        f"It is {whole} behind the plan: {start} {begin} by when it went on, {pit} lost by the "
        f"pit, {meat} {own} by the piece itself."
    )
    assert text_of(shoulder).startswith(f"At 09:40: {words} ")
    told = numbers_of(shoulder)
    assert told["lost"] == words
    assert told["lost_s"]["pit_s"] == lost.pit_s
    assert (told["piece"], told["pull_core_c"]) == ("shoulder", 93.0)


def test_levers_go_the_way_they_must(shoulder: Replan) -> None:
    base = shoulder.lever(AS_PLANNED)
    assert shoulder.levers[0] is base
    little, much = shoulder.lever("pit up by 15 K"), shoulder.lever("pit up by 35 K")
    assert base.chance <= little.chance <= much.chance
    assert much.ready_at < little.ready_at < base.ready_at
    assert much.fuel_hours < base.fuel_hours
    level = shoulder.levers[0].forecast.pit.level_c
    assert little.changes[0] == Change(in_s=0.0, pit_c=level + 15.0)
    assert much.changes[0] == Change(in_s=0.0, pit_c=level + 35.0)
    # Each keeps the wrap that is still to come.
    assert little.changes[1:] == much.changes[1:] == base.changes
    assert base.changes == (Change(at_core_c=70.0, wrap="foil"),)
    both = shoulder.lever("foil now and pit up by 35 K")
    assert both.changes == (Change(in_s=0.0, wrap="foil", pit_c=level + 35.0),)
    assert both.ready_at < much.ready_at
    assert len(shoulder.levers) == 5
    assert "a hotter fire to feed" in much.cost
    foil = shoulder.lever("foil now")
    assert foil.ready_at < base.ready_at
    assert "a softer crust" in foil.cost
    assert base.cost == ""


def test_every_number_of_a_lever_is_that_of_its_forecast(
    shoulder: Replan, supper: Plan
) -> None:
    begun = dt.datetime(2026, 10, 24, 3, 40, tzinfo=LONDON).timestamp()
    base = shoulder.lever(AS_PLANNED)
    needs = shoulder.piece.item.hold.least_s + shoulder.piece.item.slicing_s
    for lever in shoulder.levers:
        found = lever.forecast
        assert found.target.value == 93.0
        assert lever.changes == found.changes
        assert lever.ready_at.timestamp() == pytest.approx(begun + found.median_s, abs=1.0)
        assert lever.fuel_hours == pytest.approx((found.median_s - 6 * HOUR) / HOUR, abs=0.05)
        assert lever.chance == found.chance_by(supper.serve_at.timestamp() - begun - needs)
        assert lever.makes_it == (lever.chance >= 0.9)
        known = found.water_loss_fraction[np.isfinite(found.water_loss_fraction)]
        assert lever.loss == pytest.approx(known.mean())
        if lever is base:
            continue
        points, hours = 100.0 * (lever.loss - base.loss), lever.fuel_hours - base.fuel_hours
        parts = [
            f"{abs(points):.1f} points {'more' if points > 0 else 'less'} loss",
            f"{abs(hours):.1f} h {'more' if hours > 0 else 'less'} fire",
        ]
        parts += ["a hotter fire to feed"] if "pit" in lever.name else []
        parts += ["a softer crust from now on"] if "foil" in lever.name else []
        assert lever.cost == ", ".join(parts)


def test_the_advice_is_the_cheapest_that_makes_it(shoulder: Replan, supper: Plan) -> None:
    enough = [x for x in shoulder.levers[1:] if x.makes_it]
    assert not shoulder.lever(AS_PLANNED).makes_it
    assert enough
    base = shoulder.lever(AS_PLANNED)
    first = enough[0]
    assert shown(shoulder.advice, "C") == (
        f"Shoulder: as planned it is ready for 18:30 in {chances(base.chance)} only. Enough is "
        f"{first.name}, which makes it {chances(first.chance)}; against going on as planned: "
        f"{first.cost}."
    )
    # What changes less comes first; of that, the cooler pit.
    order = [(("foil" in x.name) + ("pit" in x.name), x.name[-4:]) for x in shoulder.levers[1:]]
    assert [count for count, _ in order] == sorted(count for count, _ in order)
    assert all(x.chance >= supper.chance_wanted for x in enough)


@pytest.mark.slow
def test_served_later_is_the_way_out_when_no_lever_helps(supper: Plan, log) -> None:
    """With two hours left nothing makes it; the nearest hour is named."""
    tight = promised(supper, hours=-6.5)
    answer = replan(tight, "shoulder", log, until_s=6 * HOUR, members=FEW)
    assert not any(lever.makes_it for lever in answer.levers)
    best = max(answer.levers, key=lambda lever: lever.chance)
    nearest = min(x.serve_at for x in answer.levers if x.serve_at)
    assert shown(answer.advice, "C") == (
        f"Shoulder: nothing here makes 12:00 with the chance wanted; best is {best.name} with "
        f"{chances(best.chance)}. Nearest possible: serve it at {nearest:%H:%M}."
    )
    assert min(x.serve_at for x in answer.levers if x.serve_at) > tight.serve_at


def promised(plan: Plan, hours: float) -> Plan:
    """Return the same plan with another serving hour promised."""
    return dataclasses.replace(plan, serve_at=plan.serve_at + dt.timedelta(hours=hours))


def test_a_wrap_that_is_overdue_is_put_on_now(supper: Plan, log) -> None:
    answer = replan(supper, "shoulder", log, members=FEW)
    planned = answer.lever(AS_PLANNED).changes
    assert planned == (Change(in_s=0.0, wrap="foil"),)
    assert "foil now" not in {lever.name for lever in answer.levers}


def test_levers_of_ones_own_are_tried(supper: Plan, log) -> None:
    mine = {"paper now": (Change(in_s=0.0, wrap="paper"),)}
    answer = replan(supper, "brisket", log, meat=2, until_s=6 * HOUR, levers=mine, members=FEW)
    assert [lever.name for lever in answer.levers] == [AS_PLANNED, "paper now"]
    text = text_of(answer)
    mine = answer.levers[1]
    when = clock_text(mine.ready_at, answer.now)
    chance, loss = chances(mine.chance), f"{100 * mine.loss:.0f} %"
    row = ("paper now", f"about {when}", f"in {chance}", loss, mine.cost)
    assert row in document_of(answer).shown().blocks[0].rows
    assert all(cell in text for cell in row)
    assert "does not replace a calibrated thermometer" in text
    told = json.loads(json.dumps(numbers_of(answer), allow_nan=False))
    assert told["levers"][1]["changes"] == ["wrap in paper now"]
    assert told["levers"][1]["chance"] == mine.chance
    assert told["levers"][1]["ready_at"] == mine.ready_at.isoformat()
    assert told["levers"][1]["serve_at"] == (mine.serve_at and mine.serve_at.isoformat())
    assert told["levers"][1]["cost"] == mine.cost


def test_a_log_without_a_date_is_refused(supper: Plan, root: Path) -> None:
    clocks = cw.read_log(root / "data/demo/harvest-supper.csv")
    with pytest.raises(cw.InputError, match="has no date"):
        replan(supper, "shoulder", clocks)


def test_a_piece_that_is_not_in_the_plan_is_refused(supper: Plan, log) -> None:
    with pytest.raises(cw.InputError, match="has no piece 'goose'"):
        replan(supper, "goose", log)


@pytest.mark.parametrize(
    ("lost", "words"),
    [
        (
            Lost(-1800.0, 0.0, -2400.0, 600.0),
            "It is 30 min ahead of the plan: 0 min gained by when it went on, 40 min gained by "
            "the pit, 10 min lost by the piece itself.",
        ),
        (
            Lost(3900.0, 300.0, NAN, NAN),
            "It is 1 h 05 min behind the plan: 5 min lost by when it went on, the rest by pit "
            "and piece.",
        ),
        (Lost(math.inf, 0.0, NAN, NAN), "As it goes now it may never get there."),
        (
            Lost(NAN, NAN, NAN, NAN),
            "The plan has no time at which it is pulled: nothing is lost against it.",
        ),
    ],
)
def test_what_is_lost_is_said(lost: Lost, words: str) -> None:
    assert shown(lost.in_words(), "C") == words


def test_in_fahrenheit_there_is_no_kelvin(shoulder: Replan) -> None:
    text = text_of(shoulder, "F")
    assert "  pit up by 63 °F\n      ready: about" in text
    assert "foil now and pit up by 27 °F" not in text
    assert "foil now and pit up by 63 °F\n      ready: about" in text
    assert " K" not in text
    assert "pit up by 15 K\n      ready: about" in text_of(shoulder)
    assert "Enough is " in text
    named = [lever["words"] for lever in numbers_of(shoulder, "F")["levers"]]
    assert "pit up by 27 °F" in named


def test_a_pit_as_hot_as_pits_get_is_not_turned_up(shoulder: Replan) -> None:
    one, fitted = shoulder.piece, shoulder.fitted
    some = {name: changes for name, (_, changes) in _usual(one, fitted, 230.0).items()}
    assert some["pit up by 20 K"][0] == Change(in_s=0.0, pit_c=250.0)
    assert some["foil now and pit up by 20 K"][0].pit_c == 250.0
    assert "pit up by 35 K" not in some
    assert list(_usual(one, fitted, 249.5)) == [AS_PLANNED, "foil now"]
    assert list(_usual(one, fitted, 110.0)) == [
        AS_PLANNED,
        "foil now",
        "pit up by 15 K",
        "pit up by 35 K",
        "foil now and pit up by 35 K",
    ]


def test_only_the_levers_are_cooked(supper: Plan, log, monkeypatch) -> None:
    """The pit's level is read off the log: no cook is spent on it."""
    asked = []
    real = forecast.forecast_from

    def counted(*given, **more):
        asked.append(more["members"])
        return real(*given, **more)

    monkeypatch.setattr(forecast, "forecast_from", counted)
    mine = {"paper now": (Change(in_s=0.0, wrap="paper"),)}
    replan(supper, "shoulder", log, until_s=6 * HOUR, levers=mine, members=FEW)
    assert asked == [FEW, FEW]


def test_the_core_of_the_plan_is_forecast_and_its_time_comes_on_top(supper: Plan, log) -> None:
    """Also where the hold tables ask for a hotter core than was wanted, or for a time."""
    mine = {"paper now": (Change(in_s=0.0, wrap="paper"),)}
    ask = {"until_s": 6 * HOUR, "levers": mine, "members": FEW}
    plain = replan(supper, "shoulder", log, **ask)
    assert plain.lever(AS_PLANNED).forecast.target.value == 93.0
    one = dataclasses.replace(supper.piece("shoulder"), pull_core_c=80.0, pull_then_s=HOUR)
    changed = dataclasses.replace(supper, pieces=(one, *supper.pieces[1:]))
    other = replan(changed, "shoulder", log, **ask)
    lever = other.lever(AS_PLANNED)
    assert lever.forecast.target.value == 80.0
    due = lever.ready_at.timestamp() - HOUR - lever.forecast.median_s
    begun = dt.datetime(2026, 10, 24, 3, 40, tzinfo=LONDON).timestamp()
    assert due == pytest.approx(begun, abs=1.0)
    sure = lever.forecast.quantile_s(100.0 * supper.chance_wanted)
    needs = HOUR + one.item.hold.least_s + one.item.slicing_s
    assert lever.serve_at.timestamp() == pytest.approx(begun + sure + needs, abs=1.0)
    assert other.lost.total_s == pytest.approx(
        other.lost.start_s + other.lost.pit_s + other.lost.meat_s
    )


@pytest.mark.slow
def test_a_piece_that_the_plan_never_pulls_is_replanned_and_said(supper: Plan, log) -> None:
    one = supper.piece("shoulder")
    lost = dataclasses.replace(
        one,
        steps=tuple(step for step in one.steps if step.kind == "on"),
        possible=False,
        warnings=("shoulder is never ready.",),
    )
    changed = dataclasses.replace(supper, pieces=(lost, *supper.pieces[1:]))
    answer = replan(changed, "shoulder", log, until_s=6 * HOUR, members=FEW)
    assert math.isnan(answer.lost.total_s)
    text = text_of(answer)
    assert "The plan has no time at which it is pulled" in text
    assert shown(answer.advice, "C").startswith("shoulder is never ready. Shoulder: ")
    assert answer.cautions[0] == "shoulder is never ready."
    assert json.loads(json.dumps(numbers_of(answer), allow_nan=False))["lost_s"] == {
        "total_s": None,
        "start_s": None,
        "pit_s": None,
        "meat_s": None,
    }


def test_a_core_that_no_lever_reaches_is_said(supper: Plan, log) -> None:
    one = dataclasses.replace(supper.piece("shoulder"), pull_core_c=109.0)
    changed = dataclasses.replace(supper, pieces=(one, *supper.pieces[1:]))
    mine = {"paper now": (Change(in_s=0.0, wrap="paper"),)}
    answer = replan(changed, "shoulder", log, until_s=6 * HOUR, levers=mine, members=FEW)
    text = text_of(answer)
    assert "As it goes now it may never get there." in text
    row = document_of(answer).shown().blocks[0].rows[0]
    assert row[:3] == (AS_PLANNED, "never", "in less than 10 in 100")
    assert "None of them gets there within the horizon." in text
    told = json.loads(json.dumps(numbers_of(answer), allow_nan=False))
    assert told["levers"][0]["ready_at"] is None


def test_the_demo_log_says_that_it_is_invented(root: Path) -> None:
    text = (root / "data/demo/village-hall-supper.csv").read_text(encoding="utf-8")
    assert text.startswith("# INVENTED")


def at_core(reading_c: float, item: PlannedPiece) -> list[Change]:
    """Return what the levers of a bare piece take for its plan."""
    past = SimpleNamespace(wrap_now=None, reading_c=np.array([20.0, reading_c]))
    ways = _usual(SimpleNamespace(item=item), SimpleNamespace(past=past), 110.0)
    return list(ways[AS_PLANNED][1])


def test_a_wrap_is_due_from_so_close_to_its_core_on(supper: Plan) -> None:
    item = supper.piece("shoulder").item
    close = tables.load("plan", "levers")["close"]
    assert item.wrap_at_core_c == 70.0
    assert at_core(70.0 - close, item) == [Change(in_s=0.0, wrap="foil")]
    assert at_core(70.0 - close - 1e-6, item) == [Change(at_core_c=70.0, wrap="foil")]
    assert at_core(70.0 + close, item) == [Change(in_s=0.0, wrap="foil")]
    bare = dataclasses.replace(item, wrap=None, wrap_at_core_c=None)
    assert at_core(70.0, bare) == []


# -- levers written down ---------------------------------------------------------------------

SERVE = dt.datetime(2026, 10, 24, 18, 30, tzinfo=LONDON)


def lever(name: str, chance: float = 0.5, *changes: Change, **more) -> Lever:
    fields = {
        "name": name,
        "words": name,
        "changes": changes,
        "forecast": None,
        "chance": chance,
        "ready_at": None,
        "serve_at": None,
        "loss": 0.25,
        "fuel_hours": 5.0,
        "makes_it": chance >= 0.9,
    } | more
    return Lever(**fields)


def chosen(*levers: Lever) -> str:
    return shown(_choice(SimpleNamespace(serve_at=SERVE), "shoulder", levers), "C")


def test_the_first_lever_that_makes_it_is_enough() -> None:
    base, up = lever(AS_PLANNED, 0.405), lever("pit up", 0.915, cost="a hotter fire to feed")
    most = lever("foil now and pit up", 0.99)
    assert chosen(lever(AS_PLANNED, 0.912), up) == (
        "Shoulder: go on as planned; it is ready for 18:30 in 91 in 100."
    )
    assert chosen(base, lever("foil now", 0.899), up, most) == (
        "Shoulder: as planned it is ready for 18:30 in 40 in 100 only. Enough is pit up, which "
        "makes it 91 in 100; against going on as planned: a hotter fire to feed."
    )


def test_where_none_makes_it_the_best_is_said_and_the_nearest_hour() -> None:
    base = lever(AS_PLANNED, 0.2, serve_at=SERVE + dt.timedelta(hours=2))
    up = lever("pit up", 0.455, serve_at=SERVE + dt.timedelta(hours=1))
    best = (
        "Shoulder: nothing here makes 18:30 with the chance wanted; best is pit up with 45 in "
        "100. "
    )
    assert chosen(base, up) == f"{best}Nearest possible: serve it at 19:30."
    assert chosen(lever(AS_PLANNED, 0.2), lever("pit up", 0.455)) == (
        f"{best}None of them gets there within the horizon."
    )


FOIL = Change(in_s=0.0, wrap="foil")
HOT, HOTTER = (Change(in_s=0.0, pit_c=pit_c) for pit_c in (125.0, 145.0))


@pytest.mark.parametrize(
    ("changes", "price"),
    [
        ((), (0, 0.0)),
        ((Change(at_core_c=70.0, wrap="foil"),), (0, 0.0)),
        ((Change(in_s=60.0, wrap="foil"),), (0, 0.0)),
        ((Change(in_s=0.0, wrap="paper"),), (0, 0.0)),
        ((FOIL,), (1, 0.0)),
        ((HOT, HOTTER), (1, 145.0)),
        ((FOIL, HOTTER), (2, 145.0)),
    ],
)
def test_a_lever_is_dearer_that_changes_more(changes, price) -> None:
    assert _price(lever("x", 0.5, *changes)) == price


@pytest.mark.parametrize(
    ("changes", "loss", "fuel", "cost"),
    [
        ((), 0.262, 4.25, "1.2 points more loss, 0.8 h less fire"),
        ((), 0.25, 5.0, "0.0 points less loss, 0.0 h less fire"),
        ((), 0.225, 6.5, "2.5 points less loss, 1.5 h more fire"),
        ((), NAN, 6.5, "1.5 h more fire"),
        ((), 0.262, math.inf, "1.2 points more loss"),
        ((HOT,), NAN, NAN, "a hotter fire to feed"),
        ((FOIL,), NAN, NAN, "a softer crust from now on"),
        ((Change(in_s=0.0, wrap="paper"), Change(in_s=60.0, wrap="foil")), NAN, NAN, ""),
        ((HOT, FOIL), NAN, NAN, "a hotter fire to feed, a softer crust from now on"),
    ],
)
def test_what_a_lever_costs_is_said_against_going_on(changes, loss, fuel, cost: str) -> None:
    one = lever("x", 0.5, *changes, loss=loss, fuel_hours=fuel)
    assert _priced(one, lever(AS_PLANNED)).cost == cost


def test_nothing_is_said_against_a_plan_that_never_gets_there() -> None:
    one = lever("x", 0.5, HOT, loss=0.2, fuel_hours=4.0)
    for base, cost in (
        ({"loss": NAN}, "1.0 h less fire, a hotter fire to feed"),
        ({"fuel_hours": math.inf}, "5.0 points less loss, a hotter fire to feed"),
        ({"loss": NAN, "fuel_hours": math.inf}, "a hotter fire to feed"),
    ):
        assert _priced(one, lever(AS_PLANNED, **base)).cost == cost


def test_times_of_a_lever_leave_room_for_rest_and_slicing() -> None:
    """On at 03:40; pulled after 12 h or 13 h, 5 min more, rest 30 min, slicing 15 min."""
    begun = dt.datetime(2026, 10, 24, 3, 40, tzinfo=LONDON)
    asked = []
    found = SimpleNamespace(
        chance_by=lambda due: asked.append(due) or 0.9,
        quantile_s=lambda percent: {90.0: 13 * HOUR}[percent],
        water_loss_fraction=np.array([0.2, 0.3, NAN]),
        median_s=12 * HOUR,
        now_s=6 * HOUR,
        changes=(FOIL,),
    )
    one = SimpleNamespace(
        pull_then_s=300.0,
        item=SimpleNamespace(hold=SimpleNamespace(least_s=1800.0), slicing_s=900.0),
    )
    day = SimpleNamespace(serve_at=SERVE, chance_wanted=0.9)
    told = _lever(day, one, begun, "foil now", "foil now", found)
    # 18:30 less 50 min is 14 h after it went on.
    assert asked == [14 * HOUR]
    assert told.ready_at == begun + dt.timedelta(hours=12, minutes=5)
    assert told.serve_at == begun + dt.timedelta(hours=13, minutes=50)
    assert told.loss == 0.25
    assert told.fuel_hours == 6.0
    assert told.makes_it
    gone = SimpleNamespace(
        **(vars(found) | {"median_s": 5 * HOUR, "chance_by": lambda _: 0.899})
    )
    late = _lever(day, one, begun, "x", "x", gone)
    assert (late.fuel_hours, late.makes_it) == (0.0, False)

"""Planning again from a live log: what is lost, which levers make the hour, what they cost."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

import coreward as cw
from coreward.questions.forecast import Change
from coreward.questions.plan import Plan
from coreward.questions.plan_file import read_plan_file
from coreward.questions.replan import AS_PLANNED, Lost, Replan, replan, replan_dict, replan_text

LONDON = ZoneInfo("Europe/London")
FEW = 40
HOUR = 3600.0


@pytest.fixture(scope="module")
def supper(root: Path) -> Plan:
    return read_plan_file(root / "data/demo/village-hall-supper.toml").plan(members=60)


@pytest.fixture(scope="module")
def log(root: Path) -> cw.ProbeLog:
    return cw.read_log(root / "data/demo/village-hall-supper.csv")


@pytest.fixture(scope="module")
def shoulder(supper: Plan, log) -> Replan:
    return replan(supper, "shoulder", log, until_s=6 * HOUR, members=FEW)


def test_the_moment_is_that_of_the_log(shoulder: Replan) -> None:
    assert shoulder.now == dt.datetime(2026, 10, 24, 9, 40, tzinfo=LONDON)


def test_what_is_lost_adds_up(shoulder: Replan, supper: Plan) -> None:
    lost = shoulder.lost
    assert lost.total_s == pytest.approx(lost.start_s + lost.pit_s + lost.meat_s)
    planned = shoulder.piece.step("on").planned
    begun = dt.datetime(2026, 10, 24, 3, 40, tzinfo=LONDON)
    assert lost.start_s == (begun - planned).total_seconds()
    # The invented fire was ten kelvin low for hours.
    assert lost.pit_s > 1800.0
    assert "behind the plan" in lost.in_words()


def test_levers_go_the_way_they_must(shoulder: Replan) -> None:
    base = shoulder.lever(AS_PLANNED)
    assert shoulder.levers[0] is base
    little, much = shoulder.lever("pit up by 15 K"), shoulder.lever("pit up by 35 K")
    assert base.chance <= little.chance <= much.chance
    assert much.ready_at < little.ready_at < base.ready_at
    assert much.fuel_hours < base.fuel_hours
    assert "a hotter fire to feed" in much.cost
    foil = shoulder.lever("foil now")
    assert foil.ready_at < base.ready_at
    assert "a softer crust" in foil.cost
    assert base.cost == ""


def test_the_advice_is_the_cheapest_that_makes_it(shoulder: Replan, supper: Plan) -> None:
    enough = [x for x in shoulder.levers[1:] if x.makes_it]
    assert not shoulder.lever(AS_PLANNED).makes_it
    assert enough
    assert enough[0].name.lower() in shoulder.advice.lower()
    assert all(x.chance >= supper.chance_wanted for x in enough)


def test_served_later_is_the_way_out_when_no_lever_helps(supper: Plan, log) -> None:
    """With two hours left nothing makes it; the nearest hour is named."""
    tight = promised(supper, hours=-6.5)
    answer = replan(tight, "shoulder", log, until_s=6 * HOUR, members=FEW)
    assert not any(lever.makes_it for lever in answer.levers)
    assert "Nearest possible: serve it at" in answer.advice
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
    text = replan_text(answer)
    assert "paper now: ready about" in text
    assert "does not replace a calibrated thermometer" in text
    told = json.loads(json.dumps(replan_dict(answer), allow_nan=False))
    assert told["levers"][1]["changes"] == ["wrap in paper now"]


def test_a_log_without_a_date_is_refused(supper: Plan, root: Path) -> None:
    clocks = cw.read_log(root / "data/demo/harvest-supper.csv")
    with pytest.raises(cw.InputError, match="has no date"):
        replan(supper, "shoulder", clocks)


def test_a_piece_that_is_not_in_the_plan_is_refused(supper: Plan, log) -> None:
    with pytest.raises(cw.InputError, match="has no piece 'goose'"):
        replan(supper, "goose", log)


def test_a_gain_is_said_as_a_gain() -> None:
    assert "30 min ahead of the plan" in Lost(-1800.0, 0.0, -1800.0, 0.0).in_words()
    assert "never" in Lost(float("inf"), 0.0, float("inf"), 0.0).in_words()


def test_the_demo_log_says_that_it_is_invented(root: Path) -> None:
    text = (root / "data/demo/village-hall-supper.csv").read_text(encoding="utf-8")
    assert text.startswith("# INVENTED")

"""A plan in a pit whose cooks are known: a narrower pull, and the same care."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

import coreward as cw
from coreward import person
from coreward.experience.learned import learned, usual_time
from coreward.experience.own_cooks import OwnCook, keep
from coreward.questions.plan.cooks import RememberedCooks, as_is_usual, cook_piece, draw_days
from coreward.questions.plan.file import read_plan_file
from coreward.words import shown
from support.own_shelf import past_cook

pytestmark = pytest.mark.quick

MEMBERS = 60
BUTT = cw.PlannedPiece("butt", cw.piece("pork shoulder", 4.0, thickness_m=0.1), cw.Wanted(93.0))
SERVE = dt.datetime(2026, 10, 24, 18, 30, tzinfo=ZoneInfo("Europe/London"))
PACES = (0.05, -0.05, 0.1, 0.0, -0.1)
TABLES = (
    'zone = "Europe/London"\nserve_at = 2026-10-24T18:30:00\n[pit]\nair = 110\n{}\n'
    '[[piece]]\nname = "butt"\ncut = "pork shoulder"\nmass = 4.0\nstart = 4\ncore = 93\n'
)


@pytest.fixture(scope="module")
def cook() -> RememberedCooks:
    return RememberedCooks()


def pull_h(plan: cw.plan) -> float:
    (pull,) = (step for step in plan.steps if step.kind == "pull")
    return (pull.latest - pull.earliest).total_seconds() / 3600.0


def test_after_five_cooks_the_pull_is_known_better(cook: RememberedCooks) -> None:
    taught = learned([past_cook(i, pace) for i, pace in enumerate(PACES)], "drum")
    alone = cw.plan(BUTT, SERVE, members=MEMBERS, cook=cook)
    known = cw.plan(BUTT, SERVE, members=MEMBERS, cook=cook, taught=taught)
    assert pull_h(known) < 0.7 * pull_h(alone)
    assert "Learned from 5 cooks in the pit 'drum'" in shown(known.assumptions[-2], "C")
    # Nothing about how far it must be cooked moves.
    assert known.pieces[0].pull_core_c == alone.pieces[0].pull_core_c


def test_a_slow_pit_is_lit_earlier(cook: RememberedCooks) -> None:
    fast = learned([past_cook(i, pace) for i, pace in enumerate(PACES)], "drum")
    slow = learned([past_cook(i, 0.3 + pace) for i, pace in enumerate(PACES)], "drum")
    lit = [
        cw.plan(BUTT, SERVE, members=MEMBERS, cook=cook, taught=one).light.planned
        for one in (fast, slow)
    ]
    assert lit[1] < lit[0]


def test_too_few_cooks_change_nothing(cook: RememberedCooks) -> None:
    few = learned([past_cook(i, 0.2) for i in range(2)], "drum")
    alone = cw.plan(BUTT, SERVE, members=MEMBERS, cook=cook)
    with_few = cw.plan(BUTT, SERVE, members=MEMBERS, cook=cook, taught=few)
    assert pull_h(with_few) == pull_h(alone)
    assert "after the third" in shown(with_few.assumptions[-1], "C")


def test_days_are_drawn_anew_and_no_curve_is_changed(cook: RememberedCooks) -> None:
    taught = learned([past_cook(i, pace) for i, pace in enumerate(PACES)], "drum")
    pit = cw.PitPlan()
    before = cook(BUTT, pit, draw_days(1, MEMBERS, 1830), 0)
    (after,) = as_is_usual([before], [BUTT], pit, taught, 1830)
    there = {tuple(row) for row in np.round(before.core_c, 6)}
    assert {tuple(row) for row in np.round(after.core_c, 6)} <= there
    rows = {(p, h) for p, h in zip(before.pull_s, before.highest_c, strict=True)}
    assert {(p, h) for p, h in zip(after.pull_s, after.highest_c, strict=True)} <= rows
    usual = usual_time("pork shoulder", 0.1, 110.0, before.pull_core_c, 4.0)
    known = after.pull_s[np.isfinite(after.pull_s)]
    middle = float(np.median(np.log(known / usual)))
    was = float(np.median(np.log(before.pull_s[np.isfinite(before.pull_s)] / usual)))
    assert abs(middle - taught.pace.middle) < abs(was - taught.pace.middle)
    assert before.pull_core_c == after.pull_core_c


def test_a_pit_that_is_turned_up_is_another_one() -> None:
    taught = learned([past_cook(i, 0.0) for i in range(3)], "drum")
    pit = cw.PitPlan(turn_up_c=130.0, turn_up_after_s=7200.0)
    cooks = [cook_piece(BUTT, pit, draw_days(1, 20, 1), 0)]
    assert as_is_usual(cooks, [BUTT], pit, taught, 1) is cooks


def test_the_file_of_a_plan_names_its_pit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path / "own"))
    for name in (person.SERVES, person.LAB_PAGE, person.APP_PAGE):
        monkeypatch.delenv(name, raising=False)
    for number, pace in enumerate(PACES):
        keep(OwnCook(past_cook(number, pace), f"2026-01-0{number + 1}"))
    file = tmp_path / "day.toml"
    file.write_text(TABLES.format('name = "Drum"'))
    asked = read_plan_file(file)
    assert asked.pit_name == "Drum"
    assert "Learned from 5 cooks" in shown(asked.plan(members=20).assumptions[-2], "C")
    file.write_text(TABLES.format(""))
    plain = read_plan_file(file)
    assert plain.pit_name == ""
    said = [shown(one, "C") for one in plain.plan(members=20).assumptions]
    assert not any("Learned" in one for one in said)

"""What a plan says of being early or late, held against its draws."""

from __future__ import annotations

import datetime as dt
import math
import re
from zoneinfo import ZoneInfo

import numpy as np
import pytest

import coreward as cw
from coreward.questions.plan.answer import Hold, PitPlan, Plan, PlannedPiece, Wanted, plan
from coreward.questions.plan.cooks import as_is_usual, cook_piece, draw_days
from coreward.questions.plan.late import LateSign, late_sign
from coreward.words import shown

pytestmark = pytest.mark.quick

LONDON = ZoneInfo("Europe/London")
SERVE = dt.datetime(2026, 10, 24, 18, 30, tzinfo=LONDON)
MEMBERS = 100
HOUR = 3600.0


def flat(hold: Hold, name: str = "flat") -> PlannedPiece:
    return PlannedPiece(
        name,
        cw.Piece(cw.Slab(0.05), cw.meat("beef brisket flat"), 4.0),
        Wanted(85.0, lethality=False),
        wrap="foil",
        wrap_at_core_c=65.0,
        hold=hold,
        mass_kg=2.0,
    )


@pytest.fixture(scope="module")
def boxed() -> Plan:
    return plan(flat(Hold("box", 1800.0, 2 * HOUR)), SERVE, members=MEMBERS)


def moment(words: str) -> dt.datetime:
    return dt.datetime.combine(SERVE.date(), dt.time.fromisoformat(words), LONDON)


def test_the_oven_that_is_named_does_keep_it_longer(boxed: Plan) -> None:
    in_oven = plan(flat(Hold("warm oven", 1800.0, 2 * HOUR)), SERVE, members=MEMBERS)
    # As long as was asked for, where the box falls short.
    assert in_oven.pieces[0].hot_s == in_oven.pieces[0].item.hold.most_s > boxed.pieces[0].hot_s


@pytest.mark.parametrize("units", ["C", "F"])
def test_the_headline_says_how_early_it_is_what_keeps_it_and_how_much_later_to_light(
    boxed: Plan, units: str
) -> None:
    one = boxed.pieces[0]
    found = re.search(
        r"Most likely flat is off about (\S+), (.+) early: in the box it stays above (\S+) "
        rf"°{units} only until (\S+) \(an oven of (\S+) °{units} would keep it longer, "
        r"wrapped\); or light at (\S+), ready then in (\d+) in 100\.",
        shown(boxed.lead, units),
    )
    off, early, limit, until, oven, light, ready = found.groups()
    assert float(oven) > float(limit)
    pull = one.step("pull").planned
    assert moment(off) == pull
    free = (SERVE - pull).total_seconds() - one.item.slicing_s - one.item.hold.least_s
    told = sum(
        float(n) * {"h": 60, "min": 1}[unit] for n, unit in re.findall(r"(\d+) (h|min)", early)
    )
    assert abs(told - free / 60.0) <= 5.0
    # The minute until which it keeps is rounded down, the limit up.
    assert 0.0 <= one.hot_s - (moment(until) - pull).total_seconds() < 60.0
    asked = float(limit) if units == "C" else (float(limit) - 32.0) / 1.8
    assert 0.0 <= asked - one.hot_limit_c < 0.1
    assert one.hot_s < free + one.item.hold.least_s  # and so it says "only"
    # Counted again, lit so much later.
    later_s = (moment(light) - boxed.light.planned).total_seconds()
    assert free - 300.0 < later_s <= free
    draws = draw_days(1, MEMBERS, 1830)
    made = cook_piece(one.item, boxed.pit, draws, 0)
    (cook,) = as_is_usual([made], [one.item], boxed.pit, None, 1830)
    lit = moment(light).timestamp()
    on = one.step("on").planned.timestamp() + later_s
    in_time = np.maximum(on, lit + draws.warm_up_s) + cook.pull_s
    share = np.mean(in_time + one.item.hold.least_s + one.item.slicing_s <= SERVE.timestamp())
    assert int(ready) == math.floor(100.0 * share + 1e-9)


def test_a_hold_that_lasts_is_promised_to_its_end_and_no_longer() -> None:
    answer = plan(flat(Hold("warm oven", 1800.0, 6 * HOUR)), SERVE, members=MEMBERS)
    one = answer.pieces[0]
    said = shown(answer.lead, "C")
    until = (one.step("pull").planned + dt.timedelta(seconds=one.hot_s)).strftime("%H:%M")
    assert one.hot_s <= one.item.hold.most_s
    kept = f"keep it in the warm oven, where it stays above 58.3 °C until {until}; or light"
    assert kept in said
    kitchen = plan(flat(Hold("kitchen", 600.0, 600.0)), SERVE, members=MEMBERS)
    assert (
        "early: nothing here keeps it hot that long in the kitchen; or"
        in kitchen.lead.shown("C")
    )
    both = plan(
        [flat(Hold("kitchen", 600.0, 600.0)), flat(Hold("kitchen", 600.0, 600.0), "second")],
        SERVE,
        pit=PitPlan(120.0),
        members=MEMBERS,
    )
    assert re.search(r"or put it on at \d\d:\d\d, then as likely late", both.lead.shown("C"))


def test_the_headline_says_how_to_see_in_time_that_it_is_late() -> None:
    # Lit so that the hour is kept in six of ten only: enough draws are late to tell by.
    boxed = plan(flat(Hold("box", 1800.0, 2 * HOUR)), SERVE, members=MEMBERS, chance=0.6)
    one, sign = boxed.pieces[0], boxed.pieces[0].late
    check = dt.datetime.fromtimestamp(sign.check_s, dt.UTC).astimezone(LONDON)
    later = dt.datetime.fromtimestamp(sign.serve_s, dt.UTC).astimezone(LONDON)
    words = (
        f"Still below {sign.below_c:.0f} °C at {check:%H:%M}? Then 18:30 is kept in "
        f"{math.floor(100 * sign.keeps + 1e-9)} in 100 only: promise {later:%H:%M}, or see in "
        "My log what helps."
    )
    assert words in shown(boxed.lead, "C")
    # Counted again with plain loops.
    draws = draw_days(1, MEMBERS, 1830)
    made = cook_piece(one.item, boxed.pit, draws, 0)
    (cook,) = as_is_usual([made], [one.item], boxed.pit, None, 1830)
    on, lit = one.step("on").planned.timestamp(), boxed.light.planned.timestamp()
    need = SERVE.timestamp() - one.item.hold.least_s - one.item.slicing_s
    below, kept, ends = 0, 0, []
    for i in range(MEMBERS):
        begun = max(on, lit + draws.warm_up_s[i])
        core = np.interp(sign.check_s - begun, cook.time_s, cook.core_c[i])
        off = begun + cook.pull_s[i]
        if off > sign.check_s and core < sign.below_c:
            below += 1
            kept += off <= need
            ends.append(off + SERVE.timestamp() - need)
    assert below >= 8
    assert kept / below == pytest.approx(sign.keeps)
    assert sign.keeps < 0.5
    assert sum(end <= sign.serve_s for end in ends) >= boxed.chance_wanted * below


def test_a_sign_needs_draws_that_are_late_and_time_to_look() -> None:
    time_s = np.array([0.0, 10 * HOUR])
    slow, quick = np.full(10, 9 * HOUR), np.full(90, 4 * HOUR)
    pull_s = np.concatenate([slow, quick])
    core = np.array([[0.0, 900_000.0 / pull * HOUR / 1000.0] for pull in pull_s])
    args = (np.zeros(100), time_s, core, pull_s, 0.0)
    found = late_sign(*args, 8 * HOUR, 0.9)
    # At five hours the quick ones are off, and the slow ones at half of 100 °C.
    assert found == LateSign(5 * HOUR, 51.0, 0.0, 9 * HOUR)
    assert late_sign(*args, 9 * HOUR, 0.9) is None
    assert late_sign(*args, 3 * HOUR, 0.9) is None
    never = np.concatenate([np.full(10, np.inf), quick])
    assert late_sign(*args[:3], never, 0.0, 8 * HOUR, 0.9).serve_s == math.inf

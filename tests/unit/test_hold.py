"""A cook with a hold, and the time until it is enough."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import coreward as cw
from coreward.errors import InputError
from coreward.physics.lethality import kinetics_names, load_kinetics
from coreward.questions.hold import answer as module
from coreward.questions.hold.answer import (
    HoldPlan,
    HoldTime,
    best_hold,
    cook_hold,
    held_at_or_above,
    hold_map,
    hold_time,
    time_until_enough,
)
from coreward.questions.hold.spread import Spread, TimeAtTemperature
from coreward.questions.verdict import longest_hold, verdict
from coreward.questions.verdict.history import cook_record
from coreward.tables.standards import band_limits, load_standard, standard_names
from coreward.words import shown

pytestmark = pytest.mark.quick

COARSE = {"cells": 24, "tolerance": 0.05}
SLICE = HoldPlan("pork loin", thickness_m=0.03, around_c=62.0, until_core_c=60.0, hold_s=0.0)


def judge(plan: HoldPlan, **more: Any) -> Any:
    result = cook_hold(plan).result
    return verdict(result, meat=plan.cut, surface="sealed bag", probe_error_c=1.0, **more)


def test_a_slice_taken_to_60_and_served_at_once_meets_no_hold_standard() -> None:
    """Common practice finishes there (no source); the tool says how long a hold would."""
    answer = judge(SLICE)
    assert answer.state == "not met"
    counting = [item for item in answer.standards if item.counts]
    assert counting
    assert {item.state for item in counting} == {"not met"}
    assert "hold every part" in shown(answer.standard("us meat 6.5 log").enough, "C")
    assert "longer" in shown(answer.standard("us meat 6.5 log").enough, "C")


def test_the_hold_that_is_asked_for_is_enough_and_hardly_more() -> None:
    enough = shown(judge(SLICE).standard("us meat 6.5 log").enough, "C")
    missing = enough.partition(" min longer")
    minutes = float(missing[0].rpartition(" ")[2])
    table = "us meat 6.5 log"
    assert judge(replace(SLICE, hold_s=60.0 * minutes)).standard(table).state == "met"
    assert judge(replace(SLICE, hold_s=0.0)).standard(table).state == "not met"


def test_the_stages_begin_and_end_where_they_are_said_to() -> None:
    cook = cook_hold(replace(SLICE, hold_s=900.0, rest_s=600.0), **COARSE)
    assert cook.reached
    assert cook.hold_end_s - cook.hold_begin_s == pytest.approx(900.0)
    assert cook.result.time_s[-1] == pytest.approx(cook.hold_end_s + 600.0)
    at = np.interp(cook.hold_begin_s, cook.result.time_s, cook.result.core_c)
    assert at == pytest.approx(60.0, abs=0.01)
    by_clock = cook_hold(replace(SLICE, until_core_c=None, hold_s=3600.0), **COARSE)
    assert by_clock.result.time_s[-1] == pytest.approx(3600.0)


def test_what_a_plan_assumes_where_nothing_is_said() -> None:
    plan = HoldPlan("pork loin")
    assert (plan.shape, plan.thickness_m, plan.start_c) == ("slab", 0.03, 4.0)
    assert (plan.around, plan.around_c, plan.dew_point_c) == ("bath", 60.0, 30.0)
    assert (plan.until_core_c, plan.hold_s, plan.rest_s) == (None, 3600.0, 0.0)
    piece = plan.piece()
    assert (piece.shape, piece.start_c, piece.material.species) == (cw.Slab(0.03), 4.0, "pork")
    bath = plan.surroundings()
    assert (bath.air_c, bath.heat_transfer, bath.emissivity) == (60.0, 45.0, 0.0)
    assert not bath.evaporation
    air = replace(plan, around="air", around_c=90.0).surroundings()
    assert (air.air_c, air.dew_point_c, air.evaporation) == (90.0, 30.0, True)


def test_a_hold_by_the_clock_begins_with_the_cook_and_the_rest_is_in_a_kitchen() -> None:
    cook = cook_hold(replace(SLICE, until_core_c=None, hold_s=1800.0, rest_s=600.0), **COARSE)
    assert (cook.hold_begin_s, cook.hold_end_s, cook.reached) == (0.0, 1800.0, True)
    assert [record.label for record in cook.result.records] == ["hold", "rest"]
    rest = cook.result.stages[-1].surroundings
    assert rest.air_c == 20.0
    assert not rest.evaporation
    air = replace(SLICE, around="air", around_c=110.0, until_core_c=50.0, rest_s=600.0)
    bare = cook_hold(air, **COARSE)
    assert [record.label for record in bare.result.records] == ["come-up", "rest"]
    assert bare.result.stages[-1].surroundings.evaporation
    never = cook_hold(replace(SLICE, around_c=55.0, hold_s=60.0), **COARSE)
    assert never.hold_begin_s == never.hold_end_s == never.result.time_s[-1] == 36 * 3600.0


def test_the_time_of_a_cell_is_the_first_reading_and_the_row_asked_for() -> None:
    """By hand from the same cook: come-up to the row, and what the row asks."""
    plan = replace(SLICE, around_c=60.0)
    cell = hold_time(plan, "us meat 6.5 log", error_c=1.0, **COARSE)
    assert (cell.thickness_m, cell.around_c) == (0.03, 60.0)
    stage = cw.Stage(plan.surroundings(), duration_s=36 * 3600.0, until_core_c=59.7)
    cook = cw.simulate(plan.piece(), stage, **COARSE)
    # Minutes of the printed rows (law where longer); that of 138 °F is not reached.
    rows = {134: 45.0, 135: 36.0, 136: 28.133, 137: 23.0, 138: 18.0}
    ends = []
    for fahrenheit, minutes in rows.items():
        there = cook.core_c >= (fahrenheit - 32.0) / 1.8 + 1.0
        assert there.any() == (fahrenheit < 138)
        if there.any():
            ends.append(float(cook.time_s[np.argmax(there)]) + 60.0 * minutes)
    assert cell.enough_s == pytest.approx(min(ends), abs=1.0)
    low, high = (float(np.interp(at, cook.core_c, cook.time_s)) for at in (10.0, 54.4444))
    assert cell.come_up_s == pytest.approx(high - low, rel=0.01)
    assert not cell.late


def test_a_core_that_never_gets_there_is_said_not_to() -> None:
    cook = cook_hold(replace(SLICE, around_c=55.0, hold_s=3600.0, rest_s=60.0), **COARSE)
    assert not cook.reached
    # Neither hold nor rest follows: the core ends close to the bath, which is too cold.
    assert 54.0 < cook.result.core_c[-1] < 55.0


def test_a_bag_shuts_the_water_in_and_air_takes_it() -> None:
    bag = cook_hold(replace(SLICE, hold_s=600.0), **COARSE)
    bare = cook_hold(
        replace(SLICE, around="air", around_c=110.0, dew_point_c=25.0, hold_s=600.0), **COARSE
    )
    assert np.max(np.abs(bag.result.evaporated_fraction)) < 1e-9
    assert bare.result.evaporated_fraction[-1] > 0.005


def test_relative_humidity_is_that_of_the_dew_point() -> None:
    assert SLICE.relative_humidity() is None
    damp = replace(SLICE, around="air", around_c=80.0, dew_point_c=79.99)
    assert damp.relative_humidity() == pytest.approx(100.0, abs=0.1)
    # Saturation pressure 3.17 kPa at 25 °C and 70.2 kPa at 90 °C (steam table, memory).
    dry = replace(SLICE, around="air", around_c=90.0, dew_point_c=25.0)
    assert dry.relative_humidity() == pytest.approx(100.0 * 3.17 / 70.2, rel=0.005)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"shape": "cube"}, "slab"),
        ({"around": "steam"}, "bath"),
        ({"hold_s": -1.0}, "hold_s"),
        ({"rest_s": math.nan}, "rest_s"),
        ({"around": "air", "around_c": 60.0, "dew_point_c": 70.0}, "dew point"),
        ({"until_core_c": None, "hold_s": 0.0}, "duration"),
        ({"until_core_c": 3.0, "hold_s": 0.0}, "duration"),
    ],
)
def test_a_plan_that_cannot_be_cooked_is_refused(wrong: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        replace(SLICE, **wrong)


@given(
    readings=st.lists(st.floats(40.0, 80.0), min_size=2, max_size=30),
    level=st.floats(39.0, 81.0),
)
def test_time_at_or_above_is_never_shorter_than_the_longest_hold(
    readings: list[float], level: float
) -> None:
    time = 60.0 * np.arange(len(readings))
    record = cook_record((time, readings), longest_gap_s=300.0, ceiling_c=105.0)
    held = float(held_at_or_above(record, np.array([level]))[0])
    unbroken, _, _ = longest_hold(time, np.array(readings), level + 1e-6, 300.0)
    assert held >= unbroken - 1e-9
    # Counted by hand: steps with both ends at or above.
    by_hand = sum(60.0 for a, b in itertools.pairwise(readings) if min(a, b) >= level)
    assert held == pytest.approx(by_hand)


def test_gaps_are_not_time_at_temperature() -> None:
    record = cook_record(
        ([0.0, 60.0, 1000.0, 1060.0], [65.0] * 4), longest_gap_s=300.0, ceiling_c=105.0
    )
    assert held_at_or_above(record, np.array([60.0]))[0] == 120.0


def test_the_best_hold_of_a_flat_history_is_that_history() -> None:
    kinetics = load_kinetics("salmonella beef guideline")
    time = np.arange(0.0, 1201.0, 60.0)
    flat = cook_record((time, np.full(time.size, 60.0)), longest_gap_s=300.0, ceiling_c=105.0)
    found = best_hold(flat, kinetics)
    assert found is not None
    assert found[0] == pytest.approx(60.0)
    assert found[1] == 1200.0
    cold = cook_record((time, np.full(time.size, 40.0)), longest_gap_s=300.0, ceiling_c=105.0)
    assert best_hold(cold, kinetics) is None


def test_time_until_enough_by_hand() -> None:
    standard = load_standard("us consumer whole cuts")  # 62.8 °C for 3 min
    time = np.arange(0.0, 3601.0, 60.0)
    core = np.minimum(4.0 + time / 40.0, 66.0)
    reached = time[np.flatnonzero(core >= standard.lowest_c)[0]]
    assert time_until_enough(time, core, standard) == reached + 180.0
    later = time_until_enough(time, core, standard, error_c=2.0)
    assert later > reached + 180.0
    assert time_until_enough(time, core, standard, error_c=9.0) == math.inf


def test_each_row_counts_from_its_own_first_reading() -> None:
    """130 °F asks for 112 min and 140 °F for 12 min (law: 11.2); the earlier end counts."""
    standard = load_standard("us meat 6.5 log")
    time = np.array([0.0, 600.0, 1200.0, 1800.0])
    low = np.array([54.4, 54.5, 54.5, 54.5])
    assert time_until_enough(time, low, standard) == 600.0 + 112 * 60.0
    hot = np.array([54.5, 54.5, 60.0, 60.0])
    assert time_until_enough(time, hot, standard) == 1200.0 + 12 * 60.0
    # With an error of 1 K a reading of 60.0 °C counts as 59.0 °C: the row of 138 °F.
    assert time_until_enough(time, hot, standard, 1.0) == 1200.0 + 18 * 60.0
    assert time_until_enough(time, low, standard, 1.0) == math.inf


@given(
    name=st.sampled_from(standard_names()),
    at_c=st.floats(40.0, 100.0),
    warmer_k=st.floats(0.0, 20.0),
)
def test_no_standard_asks_for_less_where_it_is_colder(
    name: str, at_c: float, warmer_k: float
) -> None:
    standard = load_standard(name)
    assert standard.required_s(at_c) >= standard.required_s(at_c + warmer_k) > 0.0
    time = np.array([0.0, 60.0])
    colder = time_until_enough(time, np.full(2, at_c), standard)
    assert colder >= time_until_enough(time, np.full(2, at_c + warmer_k), standard)
    assert colder == standard.required_s(at_c)


@pytest.mark.parametrize("name", standard_names())
def test_no_hold_is_shorter_than_the_printed_row(name: str) -> None:
    """Of each printing that reaches so high; a printed zero asks for a dwell."""
    standard = load_standard(name)
    for row in standard.usable_rows:
        assert standard.required_s(row.temperature_c) >= max(row.printed_s, row.required_s) > 0
        if row.law_s is not None:
            assert row.required_s >= row.law_s


@given(
    name=st.sampled_from(kinetics_names()),
    at_c=st.floats(40.0, 100.0),
    warmer_k=st.floats(0.0, 20.0),
)
def test_no_organism_dies_sooner_where_it_is_colder(
    name: str, at_c: float, warmer_k: float
) -> None:
    kinetics = load_kinetics(name)
    assert kinetics.d_minutes(at_c) >= kinetics.d_minutes(at_c + warmer_k) > 0.0


def test_both_units_decide_alike_for_a_hundred_thousand_readings() -> None:
    """Readings of a tenth of a degree in °F, decided in exact fractions and by the tool."""
    readings = np.random.default_rng(18).integers(1250, 1700, 100_000)  # tenths of a degree
    celsius = (readings / 10.0 - 32.0) / 1.8
    for name in ("us meat 6.5 log", "us poultry 7 log"):
        standard = load_standard(name)
        for error_tenths in (0, 18):  # of a degree Fahrenheit: none, and 1 K
            answers = {}
            for reading in range(1250, 1700):
                # All rows stand at whole degrees Fahrenheit.
                rows = [
                    level
                    for level in standard.temperatures_c
                    if 10 * round(level * 1.8 + 32.0) + error_tenths <= reading
                ]
                answers[reading] = standard.required_s(rows[-1]) if rows else math.inf
            once = np.zeros(1)
            for reading, at_c in {
                int(r): c for r, c in zip(readings, celsius, strict=True)
            }.items():
                got = time_until_enough(once, np.full(1, at_c), standard, error_tenths / 18.0)
                assert got == answers[reading]
            levels = np.array(standard.temperatures_c) + error_tenths / 18.0
            pairs = np.repeat(celsius, 2)
            record = cook_record(
                (60.0 * np.arange(pairs.size), pairs), longest_gap_s=61.0, ceiling_c=105.0
            )
            held = held_at_or_above(record, levels)
            for level, seconds in zip(standard.temperatures_c, held, strict=True):
                least = 10 * round(level * 1.8 + 32.0) + error_tenths
                inside = readings >= least
                steps = int(inside.sum()) + int((inside[1:] & inside[:-1]).sum())
                assert seconds == 60.0 * steps


def test_the_map_agrees_with_the_verdict_on_the_same_cook() -> None:
    """Held by the clock for as long as the map says, the verdict is met; less is not."""
    table = "us meat 6.5 log"
    for thickness in (0.02, 0.05):
        plan = replace(SLICE, thickness_m=thickness, until_core_c=None, hold_s=1.0)
        cell = hold_time(plan, table, error_c=1.0)
        assert judge(replace(plan, hold_s=cell.enough_s + 120.0)).standard(table).state == "met"
        # Within the step of the samples, some minutes.
        early = judge(replace(plan, hold_s=0.93 * cell.enough_s)).standard(table)
        assert early.state == "not met"


def test_thicker_and_colder_take_longer_and_a_doubt_costs_time() -> None:
    cells = list(hold_map(SLICE, "us meat 6.5 log", (0.02, 0.04), (57.0, 62.0), **COARSE))
    times = {(cell.thickness_m, cell.around_c): cell.enough_s for cell in cells}
    assert len(times) == 4
    assert times[0.04, 57.0] > times[0.04, 62.0] > times[0.02, 62.0]
    assert times[0.02, 57.0] > times[0.02, 62.0]
    sure = hold_time(SLICE, "us meat 6.5 log", 0.0, **COARSE)
    unsure = hold_time(SLICE, "us meat 6.5 log", 1.5, **COARSE)
    assert unsure.enough_s > sure.enough_s


def test_a_bath_below_the_table_is_never_enough() -> None:
    never = hold_time(replace(SLICE, around_c=54.0), "us meat 6.5 log", **COARSE)
    assert never.enough_s == math.inf
    poultry = hold_time(replace(SLICE, around_c=62.0), "us consumer poultry", **COARSE)
    assert poultry.enough_s == math.inf


def test_a_bath_that_only_just_is_too_cold_has_no_times() -> None:
    """130 °F and 1 K of doubt are 55.4 °C; within 0.3 K of the bath no row is counted on."""
    for around, error in ((55.6, 1.0), (54.6, 0.0), (3.0, 0.0)):
        cell = hold_time(replace(SLICE, around_c=around), "us meat 6.5 log", error, **COARSE)
        assert cell == HoldTime(0.03, around, math.inf, math.inf, False)
    just = hold_time(replace(SLICE, around_c=55.9), "us meat 6.5 log", 1.0, **COARSE)
    assert just.enough_s > 112 * 60.0
    assert math.isfinite(just.enough_s)


def test_a_hot_bath_is_followed_until_its_hottest_row() -> None:
    standard = load_standard("us consumer whole cuts")  # 62.8 °C for 3 min, one row
    plan = replace(SLICE, around_c=85.0)
    cell = hold_time(plan, standard, 1.0, **COARSE)
    stage = cw.Stage(plan.surroundings(), duration_s=36 * 3600.0, until_core_c=70.0)
    cook = cw.simulate(plan.piece(), stage, **COARSE)
    reached = float(np.interp(standard.lowest_c + 1.0, cook.core_c, cook.time_s))
    # The stored rows are a minute apart.
    assert 0.0 <= cell.enough_s - (reached + 180.0) <= 60.0
    # No doubt is assumed unless it is said.
    assert hold_time(plan, standard, **COARSE) == hold_time(plan, standard, 0.0, **COARSE)
    (mapped,) = hold_map(plan, standard, (0.03,), (85.0,), **COARSE)
    assert mapped == hold_time(plan, standard, 0.0, **COARSE)
    assert mapped.enough_s < cell.enough_s
    time, core = np.array([0.0, 60.0]), np.full(2, standard.lowest_c)
    assert time_until_enough(time, core, standard) == 180.0


def test_a_come_up_past_its_limit_is_marked() -> None:
    thick = hold_time(
        replace(SLICE, thickness_m=0.12, around_c=57.0), "us meat 6.5 log", **COARSE
    )
    assert thick.late
    assert thick.come_up_s > 6 * 3600.0
    assert not hold_time(SLICE, "us meat 6.5 log", **COARSE).late


def test_a_come_up_of_exactly_the_limit_is_not_late(monkeypatch: pytest.MonkeyPatch) -> None:
    cell = hold_time(SLICE, "us meat 6.5 log", **COARSE)
    limit = next(item for item in band_limits() if item.kind == "come-up")
    for allowed, late in (
        (cell.come_up_s, False),
        (math.nextafter(cell.come_up_s, 0.0), True),
    ):
        changed = replace(limit, limit_s=allowed)
        monkeypatch.setattr(module, "band_limits", lambda changed=changed: (changed,))
        assert hold_time(SLICE, "us meat 6.5 log", **COARSE).late is late


def test_what_is_missing_is_missing_to_the_second_weakest_of_thirty() -> None:
    """Of 30 members 95 % must get there: all but the one weakest, and nothing between two."""
    weakest_first = 0.1 * np.arange(30.0)

    def rates(temperature_c: Any) -> Any:
        """Log reductions a minute: those at 60 °C, and one more for each kelvin."""
        return np.asarray(weakest_first[:, np.newaxis] + (temperature_c - 60.0))

    minute = TimeAtTemperature(np.array([60.0]), np.array([60.0]))
    spread = Spread(weakest_first, minute, rates)
    assert spread.confident == pytest.approx(0.1)
    # 0.1 log, and one for each kelvin: 0.9 K to one log.
    assert spread.kelvin_until(1.0) == pytest.approx(0.9, abs=1e-6)
    # At 61 °C its rate is 1.1 log a minute.
    assert spread.minutes_until(1.0, 61.0) == pytest.approx(0.9 / 1.1, abs=1e-6)


def test_a_record_without_a_reading_has_no_hold() -> None:
    nothing = (np.array([0.0, 60.0]), np.array([np.nan, np.nan]))
    record = cook_record(nothing, longest_gap_s=330.0, ceiling_c=100.0)
    assert best_hold(record, load_kinetics("salmonella beef guideline")) is None

"""Fires, their events and errors; what is told of a day, of a pit from its log; the command."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

import coreward as cw
from coreward import cli, tables
from coreward.cook.pit import KINDS, FireEvent, FirePlan, run_fire, vent_for, warmed
from coreward.errors import InputError
from coreward.physics.fire import Q, S
from coreward.questions.pit.answer import event_words, later_words, pit_day
from coreward.questions.pit.figure import alt_text, figure_pit
from coreward.questions.pit.own_pit import Note, learn_pit
from coreward.questions.pit.panel import _HAPPENS, _WORDS, pit_panel

HOUR = 3600.0


@pytest.fixture(scope="module")
def day():
    lid = FireEvent(2.0 * HOUR, "lid", 1.0, 30.0)
    plan = FirePlan("electric oven", set_c=120.0, events=(lid,))
    return pit_day(cw.piece("pork shoulder", 2.0), plan, core_c=70.0, longest_s=9 * HOUR)


# --- stated ----------------------------------------------------------------------------


@pytest.mark.parametrize("name", tables.names("pit"))
def test_every_pit_burns_what_a_table_has_and_has_plain_sizes(name):
    pit = tables.load("pit", name)
    assert pit.text("fuel") in tables.names("fuel")
    for _, record in pit.records:
        assert record.source in ("common_practice", "assumed_here")
        assert record.note
    p = FirePlan(name).constants()
    # A steel or ceramic shell weighs between a few kilograms and a few hundred.
    store = p.body_in_store + p.body_out_store + p.lid_in_store + p.lid_out_store
    assert 3e3 < store < 4e5
    assert p.leak < p.outlet
    assert p.electric == (pit.text("fuel") == "electric")


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: FireEvent(0.0, "soup", 1.0), "no event 'soup'"),
        (lambda: FireEvent(0.0, "vent", 1.5), "between 0 and 1"),
        (lambda: FireEvent(-1.0, "lid", 1.0), "begins after"),
        (lambda: FireEvent(0.0, "fuel", 1.0, moisture=0.9), "between 0 and 0.8"),
        (lambda: FirePlan(vent=2.0), "vent must lie"),
        (lambda: FirePlan(outside_c=10.0, outside_dew_point_c=12.0), "dew point outside"),
        (lambda: FirePlan(fuel_kg=-1.0), "0 to 50 kg"),
        (lambda: FirePlan("volcano"), "volcano"),
        (lambda: FirePlan(fuel="peat"), "peat"),
    ],
)
def test_what_cannot_be_is_refused_by_name(make, said):
    with pytest.raises(cw.CorewardError, match=said):
        make()


@pytest.mark.parametrize("kind", KINDS)
def test_every_event_moves_the_fire_and_has_words(kind):
    value = {"lid": 1.0, "gust": 12.0, "rain": 20.0, "pan": 2.0, "set": 150.0, "fuel": 1.0}
    plan = FirePlan("gas" if kind == "set" else "upright steel", vent=0.5)
    event = FireEvent(HOUR, kind, value.get(kind, 0.1), 600.0)
    start = warmed(plan)
    plain = run_fire(plan, 3 * HOUR, start)
    moved = run_fire(replace(plan, events=(event,)), 3 * HOUR, start)
    grid = np.arange(1.01, 3.0, 0.01) * HOUR
    change = np.interp(grid, moved.time_s, moved.air_c) - np.interp(
        grid, plain.time_s, plain.air_c
    )
    if kind == "fuel":
        # Cold fuel changes nothing at once; it is there to burn.
        added = moved.fuel_kg[-1] - plain.fuel_kg[-1]
        assert added == pytest.approx(0.95 * 0.955, abs=0.05)
    else:
        assert np.abs(change).max() > 1.0
    assert str(event_words(event, plan))


def test_an_event_is_over_when_it_says_so():
    plan = FirePlan(vent=0.5, events=(FireEvent(HOUR, "vent", 0.0, 600.0),))
    run = run_fire(plan, 2 * HOUR)
    before, during, after = (
        float(np.interp(h * HOUR, run.time_s, run.flow("fresh"))) for h in (0.9, 1.1, 1.3)
    )
    assert during < 0.6 * before
    assert after > 0.9 * before


def test_fuel_is_added_as_is_usual_unless_told_not_to():
    usual, left = (run_fire(FirePlan("kettle", refuel=r), 10 * HOUR) for r in (True, False))
    mass = tables.load("pit", "kettle")["refuel_mass"]
    added = (
        float(usual.added[S["carbon"] : S["moisture"] + 1].sum()) - usual.added[S["chemical"]]
    )
    assert float(left.added.sum()) == 0.0
    # Ash is not in the states.
    assert 0.9 * 2 * mass < added < 2 * mass


def test_a_thermostat_holds_what_it_is_set_to():
    plan = FirePlan("pellet", set_c=125.0)
    run = run_fire(plan, 4 * HOUR)
    band = tables.load("pit", "pellet")["band"]
    assert float(np.interp(3 * HOUR, run.time_s, run.air_c)) == pytest.approx(
        125.0, abs=band / 2
    )
    assert vent_for(plan, 100.0) == plan.vent
    assert run.total("oxygen_in") > run.total("oxygen_out")


def test_an_electric_oven_burns_nothing():
    run = run_fire(FirePlan("electric oven"), 2 * HOUR)
    assert run.total("carbon") == 0.0
    assert run.total("electric") > 0.0
    assert set(Q) >= {"electric", "carbon"}


# --- told ------------------------------------------------------------------------------


def test_a_day_says_what_a_hand_would_change(day):
    assert math.isfinite(day.ready_s)
    names = [move.name for move in day.moves]
    assert names == ["thermostat up", "thermostat down", "fill the pan", "look under the lid"]
    up, down, pan, look = day.moves
    assert up.soon_k == pytest.approx(10.0, abs=1.5)
    assert up.ready_s < -600.0 < 600.0 < down.ready_s
    assert pan.dew_after_c > pan.dew_before_c + 1.0
    assert 0.0 <= look.ready_s < 600.0
    (cost,) = day.costs
    assert cost.air_k < -20.0
    assert 0.0 < cost.ready_s < 600.0
    assert str(up.sentence).startswith("Set the thermostat to 130 °C: +10 K in 20 min")
    assert "°F" in up.sentence.shown("F")
    assert "°C" not in up.sentence.shown("F")


def test_heat_and_water_add_up(day):
    end = np.interp(day.ready_s, day.time_s, np.arange(len(day.time_s)))
    fire = day.day.fire
    made = np.interp(day.ready_s, fire.time_s, fire.ledger[:, Q["electric"]])
    assert sum(share.amount for share in day.heat) == pytest.approx(made, rel=1e-3)
    came, gone = (sum(s.amount for s in part) for part in (day.water_in, day.water))
    assert came == pytest.approx(gone, rel=1e-3)
    assert end > 10


def test_the_document_says_it_in_both_units_and_as_data(day):
    said = cw.document(day)
    for units, foreign in (("C", "°F"), ("F", "°C")):
        text = said.text(units)
        assert foreign not in text
        assert "Set the thermostat" in text
    data = json.loads(json.dumps(said.data(), allow_nan=False))
    assert data["kind"] == "pit"
    assert data["moves"][0]["name"] == "thermostat up"
    assert data["ready_s"] == pytest.approx(day.ready_s)
    names: dict[str, object] = {}
    exec(said.repeat().replace("print(", "str("), names)
    again = names["answer"]
    assert again.ready_s == day.ready_s  # type: ignore[attr-defined]


def test_the_picture_is_drawn_and_described(day):
    figure = figure_pit(day, "F")
    assert len(figure.axes) == 4
    words = alt_text(day, "F")
    assert "°F" in words
    assert "°C" not in words


def test_what_never_is_ready_says_so():
    plan = FirePlan("kettle", vent=0.0)
    answer = pit_day(cw.piece("pork shoulder", 3.0), plan, longest_s=5 * HOUR, moves=False)
    assert "does not reach" in str(answer.sentence)
    assert str(later_words(math.nan)) == "no telling when ready"
    assert str(later_words(math.inf)) == "never ready in that time"
    assert str(later_words(-1800.0)) == "ready 30 min earlier"


def test_the_panel_shows_each_pit_and_each_event():
    assert set(_WORDS) == {"nothing", *_HAPPENS}
    for name, (kind, value, *_rest) in _HAPPENS.items():
        assert FireEvent(0.0, kind, value), name
    panel = pit_panel("F", remember=False, pit="gas", core_c=60.0, happens="gust")
    panel.settle()
    assert panel.state.error is None
    assert panel.picture.startswith(b"\x89PNG")
    assert "°F" in panel.status_text
    assert panel.state.outcome.moves


# --- a pit from its log ----------------------------------------------------------------


def made(vents, hours=9.0, seed=1):
    """Readings of a pit of our own with a known vent, a minute apart."""
    noise = np.random.default_rng(seed)
    events = tuple(FireEvent(h * HOUR, "vent", v) for h, v in vents[1:])
    plan = FirePlan("kettle", vent=vents[0][1], events=events)
    run = run_fire(plan, hours * HOUR)
    time = np.arange(0.0, hours * HOUR, 60.0)
    once = np.concatenate((np.diff(run.time_s) > 0.0, [True]))
    air = np.interp(time, run.time_s[once], run.air_c[once]) + noise.normal(0.0, 0.5, len(time))
    notes = [Note(h * HOUR, "vent", v) for h, v in vents] + [Note(0.0, "outside", 15.0)]
    return time, air, notes, plan


VENTS = ((0.0, 0.6), (1.5, 0.25), (3.0, 0.7), (4.5, 0.3), (6.5, 0.9))


def test_a_pit_is_learned_and_foretells_a_vent():
    time, air, notes, _ = made(VENTS)
    known = time <= 6.0 * HOUR
    pit = learn_pit(time[known], air[known], [n for n in notes if n.at_s <= 6.0 * HOUR])
    assert pit.scatter_k < 4.0
    told = pit.predict(time[~known], notes)
    miss = np.sqrt(np.mean((told - air[~known]) ** 2))
    stays = np.sqrt(np.mean((air[known][-60:].mean() - air[~known]) ** 2))
    # The vent moves the air by tens of kelvins; half of that must be foretold at least.
    assert stays > 10.0
    assert miss < 0.5 * stays
    assert 0.0 < pit.leak_share < 0.5
    assert pit.fast_s < pit.slow_s
    soon, later, again = pit.vent_change(0.6)
    assert later > 5.0
    assert 900.0 <= again <= 7200.0
    now = float(air[known][-1])
    assert pit.vent_for(now + 15.0) > pit.vent_for(now - 5.0)
    assert "Advice only" in str(pit.advice(now + 10.0))
    assert soon < later + 1.0


def test_nothing_later_than_the_readings_is_used():
    time, air, notes, _ = made(VENTS)
    known = time <= 6.0 * HOUR
    early = [n for n in notes if n.at_s <= 6.0 * HOUR]
    one, other = (learn_pit(time[known], air[known], n) for n in (early, notes))
    # Later notes may say how the level goes on, never what the pit is.
    assert one.numbers == other.numbers


def test_a_log_that_is_too_short_is_refused():
    with pytest.raises(InputError, match="two hours"):
        learn_pit(np.arange(0.0, 3600.0, 60.0), np.full(60, 100.0))
    with pytest.raises(InputError, match="no 'smell'"):
        Note(0.0, "smell", 1.0)  # type: ignore[arg-type]


# --- the command -----------------------------------------------------------------------


def test_the_command_tells_a_day(capsys):
    options = ["pit", "--pit", "electric oven", "--set", "120C", "--mass", "2", "--core", "60C"]
    assert cli.main([*options, "--event", "2:00,lid,1,30", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["core_c"] == 60.0
    assert data["costs"][0]["ready_s"] > 0.0


def test_the_command_learns_a_pit(capsys, tmp_path):
    time, air, notes, _ = made(VENTS[:4], hours=6.0)
    rows = [f"2026-05-01T{int(t // 3600):02d}:{int(t // 60) % 60:02d}:00,{a:.1f},20.0"
            for t, a in zip(time, air, strict=True)]  # fmt: skip
    log = tmp_path / "pit.csv"
    log.write_text("time,Pit (°C),Meat (°C)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    events = [
        f"{int(n.at_s // 3600)}:{int(n.at_s // 60) % 60:02d},{n.what},{n.value}" for n in notes
    ]
    given = [part for event in events for part in ("--event", event)]
    assert cli.main(["pit", str(log), *given, "--for-air", "120C"]) == 0
    said = capsys.readouterr().out
    assert "Vent to" in said
    assert "Advice only" in said


def test_the_command_refuses_what_is_no_event(capsys):
    assert cli.main(["pit", "--event", "soon,lid"]) == cli.EXIT_ERROR
    assert "is no event" in capsys.readouterr().err

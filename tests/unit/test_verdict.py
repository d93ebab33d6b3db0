"""The verdict: never a bare word, every doubt to the careful side."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.typing import NDArray

from coreward.errors import InputError, TableError
from coreward.physics.lethality import CREDIT_FROM_C, load_kinetics, log_reduction
from coreward.questions.hold.spread import (
    Spread,
    TimeAtTemperature,
    kinetics_spread,
    time_at_temperature,
)
from coreward.questions.verdict import (
    LimitVerdict,
    longest_hold,
    verdict,
)
from coreward.words import Text, shown
from support.said import numbers_of, text_of

pytestmark = pytest.mark.quick

Floats = NDArray[np.float64]


def said(text: Text, units: str = "C") -> str:
    """What an answer says, as a reader meets it."""
    return shown(text, units)


def all_said(texts: Sequence[Text]) -> str:
    return " ".join(said(text) for text in texts)


def cook(
    peak_c: float,
    hold_min: float,
    *,
    start_c: float = 5.0,
    rise_min: float = 90.0,
    step_s: float = 30.0,
) -> tuple[Floats, Floats]:
    """A straight rise from the fridge and a flat hold."""
    end = 60.0 * (rise_min + hold_min)
    time = np.arange(0.0, end + 0.5 * step_s, step_s)
    return time, np.interp(time, [0.0, 60.0 * rise_min], [start_c, peak_c])


@dataclass
class FakeChannel:
    name: str
    role: str
    temperature_c: Floats


@dataclass
class FakeLog:
    time_s: Floats
    channels: list[FakeChannel] = field(default_factory=list)


def log_of(time: Floats, *meats: Floats, air: Floats | None = None) -> FakeLog:
    channels = [FakeChannel(f"meat {i + 1}", "meat", m) for i, m in enumerate(meats)]
    if air is not None:
        channels.append(FakeChannel("pit", "air", air))
    return FakeLog(time, channels)


@dataclass
class FakeCook:
    time_s: Floats
    core_c: Floats
    surface_c: Floats
    temperature_c: Floats
    surface_water_activity: Floats


# The example every cook knows: pork loin, 30 mm, 60 °C core, served at once.


def test_pork_loin_served_at_60_does_not_meet_the_hold_standards() -> None:
    answer = verdict(cook(60.0, 0.0, rise_min=40.0, step_s=10.0), meat="pork")
    assert answer.state == "not met"
    assert answer.exit_code == 1
    for name, minutes in (
        ("us meat 6.5 log", "12 min"),
        ("food code roast", "12 min"),
        ("uk 70 for 2 min", "1 h 33 min"),
    ):
        item = answer.standard(name)
        assert item.state == "not met"
        assert f"{minutes} longer at a reading of 60 °C" in said(item.enough)
    assert "62.8 °C" in said(answer.standard("us consumer whole cuts").enough)


@pytest.mark.parametrize(("minutes", "state"), [(11.5, "not met"), (12.0, "met")])
def test_the_hold_it_asks_for_is_enough(minutes: float, state: str) -> None:
    answer = verdict(
        cook(60.0, minutes), meat="pork", standards=["us meat 6.5 log"], surface="sealed bag"
    )
    assert answer.state == state
    assert answer.exit_code == (0 if state == "met" else 1)


def test_the_wording_is_never_a_bare_word() -> None:
    for record in (cook(60.0, 0.0), cook(75.0, 30.0)):
        answer = verdict(record, meat="beef", surface="sealed bag")
        text = text_of(answer)
        words = text.split("\nSources\n")[0]  # a title below is the issuing body's own
        words = words.replace("Nothing here says that food is safe to eat.", "")
        assert not re.search(r"\bsafe\b", words, re.IGNORECASE)
        assert "probe error" in said(answer.headline)
        assert "assumptions" in said(answer.headline) or "judged" in said(answer.headline)
        assert "does not replace a calibrated thermometer" in text
        assert "\nSources\n" in text


def test_every_way_out_of_the_verdict() -> None:
    met = verdict(cook(75.0, 30.0), meat="beef", surface="sealed bag")
    assert (met.state, met.exit_code) == ("met", 0)
    dry = verdict(cook(75.0, 30.0), meat="beef", surface="dry")
    assert (dry.state, dry.exit_code) == ("cannot tell", 2)
    item = dry.standard("us meat 6.5 log")
    assert item.state == "cannot tell"
    for remedy in ("water pan", "moisture-proof bag", "humidity record"):
        assert remedy in said(item.enough)
    # What sets no condition on humidity is still told.
    assert dry.standard("uk 70 for 2 min").state == "met"
    assert dry.integrals[0].value > 6.5


# When a standard may be used at all.


def hours_of_humidity(percent: float, hours: float) -> tuple[Floats, Floats]:
    time = np.arange(0.0, 6 * 3600.0, 60.0)
    return time, np.where(time <= hours * 3600.0, percent, 30.0)


@pytest.mark.parametrize(
    ("options", "applies"),
    [
        ({}, False),
        ({"surface": "dry"}, False),
        ({"surface": "immersed"}, True),
        ({"surface": "moisture-holding casing"}, True),
        ({"surface": "steam"}, False),  # for how long is not said
        ({"surface": "steam", "humid_s": 3 * 3600.0}, False),  # end point below 145 °F
        ({"humidity": hours_of_humidity(92.0, 2.0)}, True),
        ({"humidity": hours_of_humidity(92.0, 0.5)}, False),
        ({"humidity": hours_of_humidity(89.0, 5.0)}, False),
        ({"mass_kg": 5.0, "oven_c": 125.0}, True),
        ({"mass_kg": 5.0, "oven_c": 115.0}, False),
        ({"mass_kg": 4.0, "oven_c": 125.0}, False),
        ({"mass_kg": 5.0}, False),
    ],
)
def test_the_meat_table_asks_for_a_moist_surface(
    options: dict[str, object], applies: bool
) -> None:
    record = cook(61.0, 30.0, rise_min=240.0)
    answer = verdict(record, meat="beef", standards=["us meat 6.5 log"], **options)  # type: ignore[arg-type]
    item = answer.standard("us meat 6.5 log")
    assert item.state == ("met" if applies else "cannot tell")
    assert item.governing


def test_steam_is_enough_from_145_f_on() -> None:
    record = cook(63.0, 30.0, rise_min=240.0)
    answer = verdict(
        record, meat="beef", standards=["us meat 6.5 log"], surface="steam", humid_s=3 * 3600.0
    )
    assert answer.state == "met"


@pytest.mark.parametrize(
    ("options", "state"),
    [
        ({}, "cannot tell"),
        ({"oven_c": 125.0, "mass_kg": 5.0}, "met"),
        ({"oven_c": 125.0, "mass_kg": 3.0, "oven": "still"}, "cannot tell"),
        ({"oven_c": 170.0, "mass_kg": 3.0, "oven": "still"}, "cannot tell"),
        ({"oven_c": 170.0, "mass_kg": 3.0, "oven": "convection"}, "met"),
        ({"surface": "sealed bag"}, "met"),
    ],
)
def test_the_food_code_asks_for_an_oven(options: dict[str, object], state: str) -> None:
    answer = verdict(
        cook(63.0, 30.0),
        meat="beef",
        standards=["food code roast"],
        **options,  # type: ignore[arg-type]
    )
    assert answer.state == state


def test_the_pit_of_a_log_counts_as_the_oven() -> None:
    time, core = cook(63.0, 30.0)
    hot, cold = np.full_like(core, 130.0), np.full_like(core, 130.0)
    cold[20] = 110.0  # the coldest moment counts, not the mean
    for air, state in ((hot, "met"), (cold, "cannot tell")):
        answer = verdict(
            log_of(time, core, air=air), meat="beef", mass_kg=6.0, standards=["food code roast"]
        )
        assert answer.state == state


def test_a_standard_for_another_meat_cannot_tell() -> None:
    answer = verdict(cook(75.0, 30.0), meat="chicken", standards=["us meat 6.5 log"])
    assert answer.state == "cannot tell"
    assert "made for beef" in said(answer.standards[0].governing)


def test_any_poultry_means_the_poultry_standards() -> None:
    answer = verdict(cook(63.0, 10.0), meat=["pork", "turkey"], condition="ground")
    names = {item.name for item in answer.standards}
    assert "us poultry 7 log" in names
    assert "us meat 6.5 log" not in names
    assert answer.state == "not met"


def test_the_name_of_a_cut_stands_for_its_meat() -> None:
    assert verdict(cook(60.0, 0.0), meat="pork loin").meats == ("pork",)
    with pytest.raises(InputError, match="salmon"):
        verdict(cook(60.0, 0.0), meat="salmon side")


def test_a_meat_not_stated_is_judged_as_both() -> None:
    answer = verdict(cook(66.0, 15.0), surface="sealed bag", standards=None)
    assert answer.standard("us meat 6.5 log").state == "met"
    assert answer.standard("us poultry 7 log").state == "met"
    assert "not stated" in all_said(answer.assumptions)
    # Poultry is asked for 73.9 °C: the two answers differ, and it says so.
    assert answer.state == "cannot tell"
    assert "as poultry: not met" in said(answer.headline)
    assert verdict(cook(56.0, 1.0)).state == "not met"
    assert verdict(cook(80.0, 20.0), surface="sealed bag").state == "met"


# Probes.


def test_the_lowest_probe_counts_and_never_the_mean() -> None:
    time, core = cook(63.0, 30.0)
    colder = core - 6.0
    both = verdict(log_of(time, core, colder), meat="beef", probe_error_c=0.0)
    alone = verdict(log_of(time, colder), meat="beef", probe_error_c=0.0)
    for name in ("us meat 6.5 log", "uk 70 for 2 min", "us consumer whole cuts"):
        assert both.standard(name).held_s == alone.standard(name).held_s
        assert both.standard(name).state == alone.standard(name).state


def test_the_limit_is_target_plus_probe_error() -> None:
    time, core = cook(60.5, 13.0)
    record = log_of(time, core)
    options = {"meat": "beef", "standards": ["us meat 6.5 log"], "surface": "immersed"}
    assert verdict(record, probe_error_c=0.5, **options).state == "met"  # type: ignore[arg-type]
    assert verdict(record, probe_error_c=0.6, **options).state == "not met"  # type: ignore[arg-type]
    # A log has 1 K of error unless it is told otherwise; placement adds to it.
    assert verdict(record, **options).probe_error_c == 1.0  # type: ignore[arg-type]
    placed = verdict(record, probe_error_c=0.5, placement_error_c=0.1, **options)  # type: ignore[arg-type]
    assert placed.state == "not met"


def test_air_never_stands_for_the_core() -> None:
    time, core = cook(63.0, 30.0)
    with pytest.raises(InputError, match="air temperature never"):
        verdict(FakeLog(time, [FakeChannel("pit", "air", core)]), meat="beef")


def test_an_unplugged_probe_is_named_and_a_silent_one_earns_nothing() -> None:
    time, core = cook(63.0, 30.0)
    empty = np.full_like(core, np.nan)
    answer = verdict(log_of(time, core, empty), meat="beef")
    assert "unplugged" in all_said(answer.faults)
    with pytest.raises(InputError, match="no probe"):
        verdict(log_of(time, empty), meat="beef")
    # The second probe falls silent in the hold: the coldest point is then unknown.
    silent = core - 1.0
    silent[time > 5500.0] = np.nan
    record = log_of(time, core, silent)
    part = verdict(record, meat="beef", probe_error_c=0.0)
    (doubt,) = part.doubts
    assert (doubt.kind, doubt.channel) == ("silent early", "meat 2")
    assert part.state != "met"
    part = verdict(
        record, meat="beef", probe_error_c=0.0, probes={"meat 2": "in the meat"}, pieces="one"
    )
    assert part.standard("us meat 6.5 log").held_s < 240.0
    assert "lack a probe" in all_said(part.faults)


def test_fahrenheit_given_as_celsius_cannot_tell_and_says_so() -> None:
    time, core = cook(63.0, 30.0)
    answer = verdict((time, core * 1.8 + 32.0), meat="beef", surface="immersed")
    assert answer.state == "cannot tell"
    assert "°F" in all_said(answer.faults)
    assert all(view.value == 0.0 for view in answer.integrals)
    assert "If they are °F, read the log again as such" in all_said(answer.faults)


def test_a_spike_is_not_credited() -> None:
    time, core = cook(58.0, 2.0)
    spiked = core.copy()
    spiked[-3] = 300.0
    plain = verdict((time, core), meat="beef")
    answer = verdict((time, spiked), meat="beef")
    assert answer.state == "not met"
    assert answer.faults
    assert answer.integrals[0].value <= plain.integrals[0].value


def test_a_stuck_probe_is_pointed_out() -> None:
    time = np.arange(0.0, 3600.0, 30.0)
    answer = verdict(log_of(time, np.full_like(time, 65.0)), meat="beef")
    assert "stuck" in all_said(answer.faults)
    assert answer.state != "met"  # it begins hot: the come-up is unknown


@pytest.mark.parametrize("way", ["dropped", "missing"])
def test_a_gap_in_the_hold_cannot_tell(way: str) -> None:
    time, core = cook(63.0, 60.0)
    hole = (time > 6000.0) & (time < 6700.0)
    if way == "dropped":
        record = (time[~hole], core[~hole])
    else:
        record = (time, np.where(hole, np.nan, core))
    answer = verdict(record, meat="beef", surface="immersed")
    item = answer.standard("us meat 6.5 log")
    assert item.state == "cannot tell"
    assert "no reading from" in said(item.governing)
    assert answer.exit_code == 2
    assert all(view.state == "cannot tell" for view in answer.integrals[:1])
    # The same hole in the cold part of the come-up changes nothing for the hold.
    early = (time > 600.0) & (time < 1300.0)
    fine = verdict((time[~early], core[~early]), meat="beef", surface="immersed")
    assert fine.standard("us meat 6.5 log").state == "met"


def test_a_logger_of_five_minutes_is_believed_though_its_clock_is_not_exact() -> None:
    time, core = cook(63.0, 60.0, step_s=300.0)
    jitter = np.random.default_rng(8).uniform(-2.0, 2.0, time.size)
    answer = verdict((time + 2.0 + jitter, core), meat="beef", surface="immersed")
    assert answer.standard("us meat 6.5 log").state == "met"


@pytest.mark.parametrize(("step_s", "state"), [(330.0, "met"), (331.0, "cannot tell")])
def test_a_step_that_is_longer_than_the_longest_is_not_credited(
    step_s: float, state: str
) -> None:
    time, core = cook(63.0, 60.0, step_s=step_s)
    answer = verdict((time, core), meat="beef", surface="immersed")
    assert answer.standard("us meat 6.5 log").state == state


def test_dropping_samples_never_lengthens_a_hold() -> None:
    generator = np.random.default_rng(1)
    for _ in range(300):
        time = np.cumsum(generator.uniform(1.0, 60.0, 60))
        temperature = np.sort(generator.uniform(50.0, 64.0, 60))
        keep = generator.random(60) < 0.5
        full = longest_hold(time, temperature, 58.0, 300.0)[0]
        part = longest_hold(time[keep], temperature[keep], 58.0, 300.0)[0]
        assert part <= full


def test_a_dip_breaks_a_hold() -> None:
    time = np.arange(0.0, 600.0, 60.0)
    temperature = np.full_like(time, 60.0)
    temperature[5] = 59.9
    assert longest_hold(time, temperature, 60.0, 300.0)[0] == 240.0


# History.


def test_a_slow_come_up_is_not_cured_by_more_cooking() -> None:
    answer = verdict(cook(75.0, 60.0, rise_min=600.0), meat="beef", surface="sealed bag")
    come_up = answer.limits[0]
    assert come_up.state == "not met"
    assert "not destroyed by any later heat" in said(come_up.text)
    assert answer.state == "not met"
    assert all(item.state == "met" for item in answer.standards if item.counts)


def test_the_come_up_of_a_record_that_begins_warm_is_unknown() -> None:
    answer = verdict(cook(75.0, 60.0, start_c=40.0), meat="beef", surface="sealed bag")
    assert answer.limits[0].state == "cannot tell"
    assert "°F" in said(answer.limits[0].text)
    assert answer.state == "cannot tell"


def test_a_come_up_that_is_not_over_cannot_tell() -> None:
    answer = verdict(cook(45.0, 0.0), meat="beef")
    assert answer.limits[0].state == "cannot tell"
    assert answer.state == "not met"


def cooled(hours_to_21: float, hours_to_5: float) -> tuple[Floats, Floats]:
    time = np.arange(0.0, (3.0 + hours_to_5 + 1.0) * 3600.0, 60.0)
    corners = 3600.0 * np.array([0.0, 2.0, 3.0, 3.0 + hours_to_21, 3.0 + hours_to_5])
    # 57.2222 °C is the upper end of the first band: begin the clock there.
    return time, np.interp(time, corners, [4.0, 75.0, 57.3, 21.0, 4.9])


@pytest.mark.parametrize(
    ("to_21", "to_5", "states"),
    [
        (1.8, 5.5, ["met", "met"]),
        (2.5, 5.5, ["not met", "met"]),
        (1.8, 7.0, ["met", "not met"]),
    ],
)
def test_two_stage_cooling_by_time_in_band(
    to_21: float, to_5: float, states: list[str]
) -> None:
    answer = verdict(cooled(to_21, to_5), meat="beef", surface="sealed bag", cooling=True)
    found = [item.state for item in answer.limits if item.kind == "cooling"]
    assert found == states
    assert answer.exit_code == (0 if "not met" not in states else 1)
    assert "without lag" in said(answer.limits[1].text)


def test_cooling_that_is_not_over_decides_only_when_asked() -> None:
    time, temperature = cooled(1.8, 5.5)
    part = time < 3.5 * 3600.0
    record = (time[part], temperature[part])
    assert verdict(record, meat="beef", surface="sealed bag").state == "met"
    assert verdict(record, meat="beef", surface="sealed bag", cooling=True).exit_code == 2
    with pytest.raises(InputError, match="food code cooling"):
        verdict(record, meat="beef", cooling="my own rule")


def test_hot_holding_says_how_long_and_how_low() -> None:
    time, core = cook(75.0, 240.0)
    held = verdict((time, core), meat="beef", surface="sealed bag", hot_hold=True)
    assert held.limits[-1].state == "met"
    dipped = core.copy()
    dipped[(time > 9000) & (time < 10000)] = 50.0
    answer = verdict((time, dipped), meat="beef", surface="sealed bag", hot_hold=True)
    assert answer.limits[-1].state == "not met"


def test_hot_holding_says_the_reading_and_the_floor_behind_it() -> None:
    time, core = cook(75.0, 240.0)
    core[(time > 9000) & (time < 10000)] = 57.9  # above the floor, not above floor plus 1 K
    hot = verdict((time, core), meat="beef", probe_error_c=1.0).limits[-1]
    assert hot.state == "not met"
    assert "58.3 °C (57.3 °C plus 1 K of error)" in said(hot.text)
    assert hot.reading_c == pytest.approx(57.2222 + 1.0, abs=1e-3)
    exact = verdict((time, core), meat="beef", probe_error_c=0.0).limits[-1]
    assert exact.state == "met"
    assert "plus" not in said(exact.text)


# Reheating: 3-403.11, 74 °C for 15 s in all parts, 2 h from 5 °C.


def reheated(
    rise_min: float, peak_c: float = 76.0, *, step_s: float = 30.0, cold_c: float = 4.0
) -> tuple[Floats, Floats]:
    """Ten minutes in the cold, a straight rise that passes 5 °C at once, a hold of 10 min."""
    time = np.arange(0.0, 60.0 * (20.0 + rise_min), step_s)
    return time, np.interp(time / 60.0, [0, 10.0, 10.0 + rise_min], [cold_c, cold_c, peak_c])


def reheating_of(record: object, **options: object) -> LimitVerdict:
    answer = verdict(record, meat="pork", reheating=True, **options)  # type: ignore[arg-type]
    (item,) = (limit for limit in answer.limits if limit.kind == "reheating")
    return item


@pytest.mark.parametrize(
    ("record", "error_c", "state"),
    [
        (reheated(90.0), 0.0, "met"),
        (reheated(121.0), 0.0, "met"),  # 74 °C after 118 min, by the straight line
        (reheated(126.0), 0.0, "not met"),  # after 122.5 min
        (reheated(90.0, 73.9), 0.0, "not met"),
        (reheated(90.0, 74.0), 0.0, "met"),
        (reheated(90.0, 74.9), 1.0, "not met"),  # the probe's error is taken off
        (reheated(90.0, 75.0), 1.0, "met"),
        (reheated(90.0, cold_c=5.0), 0.0, "met"),
        (reheated(90.0, cold_c=5.1), 0.0, "cannot tell"),  # does not come from the cold
    ],
)
def test_reheating_is_judged_by_temperature_time_and_start(
    record: tuple[Floats, Floats], error_c: float, state: str
) -> None:
    item = reheating_of(record, probe_error_c=error_c)
    assert item.state == state
    assert item.counts
    assert item.reading_c == 74.0 + error_c


def test_reheating_says_how_long_it_took_and_what_is_left() -> None:
    item = reheating_of(reheated(90.0))
    # From 4 °C at 10 min; 74 °C on the line to 76 °C lies at 70/72 of 90 min = 87.5 min.
    assert item.start_s == 600.0 + 60.0  # 5 °C is passed 75 s later; samples stand every 30 s
    assert item.end_s == 600.0 + 87.5 * 60.0
    assert item.margin_s == item.limit_s - (item.end_s - item.start_s)
    assert (item.dwell_s, item.limit_s) == (15.0, 7200.0)
    assert item.held_s == pytest.approx(720.0, abs=60.0)  # 2.5 min of rise and 10 min of hold
    assert "cooked and cooled before" in said(item.text)


def test_a_reading_without_a_dwell_does_not_reheat() -> None:
    time, core = reheated(90.0, 73.0)
    core[-5] = 75.0
    item = reheating_of((time, core))
    assert (item.state, item.held_s) == ("not met", 0.0)
    assert "for 15 s" in said(item.enough)
    assert "that are left" in said(item.enough)
    late = reheating_of(reheated(130.0, 73.0))
    assert late.state == "not met"
    assert "is not undone" in said(late.enough)


@pytest.mark.parametrize("way", ["dropped", "missing"])
def test_a_gap_in_the_reheating_cannot_tell(way: str) -> None:
    time, core = reheated(90.0)
    hole = (time > 1800.0) & (time < 2600.0)
    if way == "dropped":
        record = (time[~hole], core[~hole])
    else:
        record = (time, np.where(hole, np.nan, core))
    item = reheating_of(record)
    assert item.state == "cannot tell"
    assert "no reading from 0:30 to 0:43" in said(item.text)
    # A gap after the dwell hides nothing that the rule asks for.
    late = (time > 6100.0) & (time < 6450.0)
    assert reheating_of((time[~late], core[~late])).state == "met"


def test_the_error_of_the_probe_also_widens_the_start() -> None:
    # Eight hours at 4.5 °C: with 1 K of error it may have been above 5 °C all the time.
    time = np.arange(0.0, 10 * 3600.0, 60.0)
    core = np.interp(time / 3600.0, [0, 8, 9, 10], [4.5, 4.5, 78, 78])
    assert reheating_of((time, core), probe_error_c=0.5).state == "met"
    item = reheating_of((time, core), probe_error_c=1.0)
    assert item.state == "cannot tell"
    assert "4 °C or less" in said(item.enough)


def test_an_earlier_cook_in_the_record_does_not_reheat() -> None:
    # Cooked, chilled (a second piece only to 6 °C), reheated to 60 °C: the hold of the cook
    # must not be taken for that of the reheating.
    time = np.arange(0.0, 13 * 3600.0, 60.0)
    hours = [0, 1.5, 2, 3.5, 8, 10, 11.5, 13]
    first = np.interp(time / 3600.0, hours, [4, 76, 76, 20, 3, 3, 60, 60])
    second = np.maximum(first, np.where(time > 4 * 3600.0, 6.0, 0.0))
    item = reheating_of(log_of(time, first, second), probe_error_c=0.0)
    assert item.state == "not met"
    assert item.start_s > 4 * 3600.0
    # Chilled again afterwards: still the last rise is judged.
    again = np.interp(time / 3600.0, [0, 1.5, 3, 5, 6, 7, 9, 13], [4, 76, 20, 3, 3, 60, 3, 3])
    assert reheating_of((time, again)).state == "not met"
    only = np.interp(time / 3600.0, [0, 3, 13], [70, 3, 3])
    assert reheating_of((time, only)).state == "cannot tell"


def test_a_reheating_cuts_the_record_for_cooling_and_hot_holding() -> None:
    time = np.arange(0.0, 14 * 3600.0, 60.0)
    hours = [0, 4, 5, 6.8, 10, 10.5, 12, 12.5, 14]
    core = np.interp(time / 3600.0, hours, [4, 75, 58, 20, 3, 3, 76, 77, 65])
    answer = verdict((time, core), meat="pork", surface="sealed bag", reheating=True)
    states = [(item.kind, item.state) for item in answer.limits]
    assert states == [
        ("come-up", "met"),
        ("cooling", "met"),
        ("cooling", "met"),
        ("reheating", "met"),
        ("hot holding", "met"),
        ("hot holding", "met"),
    ]
    first, last = answer.limits[-2:]
    assert first.end_s < answer.limits[3].start_s < last.start_s


def test_a_hold_on_its_very_level_does_not_seem_to_lie_below_it() -> None:
    """The level is rounded up and a reading down: 57.24 was "57.2, above 57.3"."""
    time = np.arange(0.0, 5 * 3600.0, 60.0)
    core = np.interp(time / 3600.0, [0, 2, 3, 5], [4, 75, 57.24, 57.24])
    answer = verdict((time, core), meat="pork", surface="sealed bag")
    (held,) = [item for item in answer.limits if item.kind == "hot holding"]
    assert held.state == "met"
    assert "57.22 °C to two places" in said(held.text)
    assert "lowest reading in between 57.24 °C" in said(held.text)


def test_the_two_spans_of_a_cooling_are_told_apart() -> None:
    time = np.arange(0.0, 2 * 3600.0, 60.0)
    answer = verdict((time, np.interp(time, [0, 7200], [4, 75])), meat="pork")
    first, second = (said(item.text) for item in answer.limits if item.kind == "cooling")
    assert first != second
    assert "does not reach the cooling from" in first


def test_reheating_decides_only_when_asked_and_is_no_cooking_standard() -> None:
    record = reheated(90.0, 73.5)
    plain = verdict(record, meat="pork", surface="sealed bag")
    asked = verdict(record, meat="pork", surface="sealed bag", reheating="food code reheating")
    assert (plain.state, asked.state) == ("met", "not met")
    assert all(item.kind != "reheating" for item in plain.limits)
    assert [s.name for s in plain.standards] == [s.name for s in asked.standards]
    assert "NOT MET. Reheating (Food Code): Highest reading 73.5 °C" in text_of(asked)
    (said,) = (i for i in numbers_of(asked)["limits"] if i["kind"] == "reheating")
    assert json.loads(json.dumps(said, allow_nan=False))["dwell_s"] == 15.0
    with pytest.raises(InputError, match="food code reheating"):
        verdict(record, meat="pork", reheating="my own rule")


def test_no_raw_key_and_no_bare_argument_in_the_words() -> None:
    time, core = cook(63.0, 30.0)
    answer = verdict(log_of(time, core), meat="beef", reheating=True)
    before_sources = text_of(answer).split("\nSources\n")[0]
    assert not re.search(r"\w+_(19|20)\d\d\b", before_sources)
    assert "(McMinn et al. 2018)" in before_sources
    # What would change it is said in words that page, command line and code share.
    for name in ("surface=", "oven_c", "mass_kg", "placement_error_c", "--", "in code"):
        assert name not in before_sources
    for words in (
        "say that it kept the surface moist",
        "hold the oven at 121.2 °C or hotter and say how hot it was at its coldest and what "
        "the piece weighs",
        "say how much colder that point may be",
    ):
        assert words in before_sources
    # A limit is named as its readers know it, in the first sentence too.
    assert "; reheating (Food Code), judged for beef" in said(answer.headline)
    assert not re.search(r"us come-up|food code (cooling|reheating|hot)", before_sources)
    met = verdict(cook(75.0, 30.0), meat="beef", surface="sealed bag")
    assert "; warming up (United States cooking guideline of 2021), under" in said(met.headline)
    notes = all_said([view.note for view in answer.integrals])
    assert not re.search(r"_(19|20)\d\d\b", notes)
    assert "McMinn et al. 2018" in notes


def test_steam_lasts_no_longer_than_the_cooking() -> None:
    """Ten hours are said of a piece put on two hours into the record; lethal after 84 min."""
    time, core = cook(70.0, 30.0)
    told = verdict(
        (time + 7200.0, core),
        meat="beef",
        standards=["us meat 6.5 log"],
        surface="steam",
        humid_s=36_000.0,
    )
    assert told.state == "met"
    assert "; steam for 1 h 24 min" in said(told.standards[0].governing)


# How sure.


def test_confidence_lies_below_the_median_and_widens_with_the_error() -> None:
    time, core = cook(60.0, 30.0)
    certain = verdict((time, core), meat="beef", probe_error_c=0.0).integrals[0]
    doubtful = verdict((time, core), meat="beef", probe_error_c=1.0).integrals[0]
    assert certain.confident < certain.median
    assert doubtful.confident < certain.confident
    # The same members each time: the answer does not change between runs.
    again = verdict((time, core), meat="beef", probe_error_c=1.0).integrals[0]
    assert again.confident == doubtful.confident


def test_the_minutes_it_asks_for_bring_the_confident_value_to_target() -> None:
    short = verdict(cook(60.0, 5.0, step_s=10.0), meat="beef", organism="salmonella beef")
    view = short.integrals[0]
    assert view.state == "not met"
    assert view.more_minutes > 0.0
    longer = verdict(
        cook(60.0, 5.0 + 1.1 * view.more_minutes, step_s=10.0),
        meat="beef",
        organism="salmonella beef",
    ).integrals[0]
    # 10 % more, because a hidden fall of 0.5 K/min is allowed for between samples.
    assert longer.confident >= view.required


def test_the_kelvin_it_asks_for_bring_the_confident_value_to_target() -> None:
    time, core = cook(60.0, 10.0, step_s=10.0)
    view = verdict((time, core), meat="beef", organism="salmonella link").integrals[0]
    assert view.more_kelvin > 0.0
    hotter = verdict(
        (time, core + view.more_kelvin), meat="beef", organism="salmonella link"
    ).integrals[0]
    assert hotter.confident >= view.required


def test_the_histogram_never_credits_more_than_the_record() -> None:
    kinetics = load_kinetics("salmonella beef")
    generator = np.random.default_rng(4)
    for fall in (0.0, 0.01):
        for _ in range(50):
            time = np.cumsum(generator.uniform(1.0, 60.0, 40))
            temperature = np.cumsum(generator.normal(0.5, 1.0, 40)) + 50.0
            binned = time_at_temperature(
                time, temperature, longest_gap_s=300.0, hidden_fall_k_per_s=fall
            )
            rate = kinetics.curve().rate(binned.temperature_c)
            got = float(np.sum(rate * binned.seconds)) / 60.0
            direct = log_reduction(time, temperature, kinetics, fall_limit_k_per_s=fall)
            assert got <= direct * (1.0 + 1e-9) + 1e-12


def test_time_too_cold_for_any_member_adds_nothing_and_the_warmest_member_is_heard() -> None:
    kinetics = load_kinetics("salmonella beef")

    def spread(*temperatures_c: float) -> Spread:
        level = np.array(temperatures_c)
        record = TimeAtTemperature(level, np.full(level.size, 600.0))
        return kinetics_spread(record, kinetics, temperature_error_c=1.0)

    low = max(kinetics.valid_low_c, CREDIT_FROM_C)
    warm, cold = spread(low + 5.0), spread(4.0, low - 10.0, low + 5.0)
    assert warm.members.min() > 0.0
    assert np.array_equal(cold.members, warm.members)
    # Just below the limit some probes read too low: those members get credit, others none.
    edge = spread(low - 0.5).members
    assert 0 < np.count_nonzero(edge) < edge.size
    assert np.count_nonzero(spread(low - 10.0).members) == 0


def test_spread_refuses_a_negative_error() -> None:
    record = time_at_temperature(
        np.array([0.0, 60.0]), np.array([60.0, 60.0]), longest_gap_s=300, hidden_fall_k_per_s=0
    )
    with pytest.raises(InputError, match="temperature error"):
        kinetics_spread(record, load_kinetics(), temperature_error_c=-1.0)


def test_slow_heating_asks_for_a_margin_that_is_shown() -> None:
    slow = verdict(cook(61.0, 60.0, rise_min=300.0), meat="beef").integrals[0]
    fast = verdict(cook(61.0, 60.0, rise_min=30.0), meat="beef").integrals[0]
    assert (slow.slow_margin, fast.slow_margin) == (2.2, 0.0)
    assert slow.required == pytest.approx(8.7)
    assert "slow heating" in said(slow.note)
    pork = verdict(cook(61.0, 60.0, rise_min=300.0), meat="pork").integrals[0]
    assert pork.slow_margin == 4.6
    given = verdict(cook(61.0, 60.0), meat="pork", slow_margin_log=1.0).integrals[0]
    assert given.slow_margin == 1.0


def test_needles_double_the_time_needed_inside_muscle() -> None:
    record = cook(60.0, 30.0)
    intact = verdict(record, meat="beef").integrals[0]
    tenderised = verdict(record, meat="beef", condition="tenderised").integrals[0]
    assert tenderised.value == pytest.approx(intact.value / 2.0)
    assert "whole muscle" in said(tenderised.note)


def test_growth_from_ones_own_model_is_added() -> None:
    record = cook(60.0, 13.0)
    options = {"meat": "beef", "surface": "immersed", "standards": ["us meat 6.5 log"]}
    assert verdict(record, modelled_growth_log=1.0, **options).state == "met"  # type: ignore[arg-type]
    answer = verdict(record, modelled_growth_log=3.0, **options)  # type: ignore[arg-type]
    assert answer.state == "not met"
    assert answer.integrals[0].growth_added == 3.0
    # A standard that names no log reduction cannot be stretched.
    vague = verdict(
        cook(70.0, 10.0), meat="beef", standards=["food code intact"], modelled_growth_log=3.0
    )
    assert vague.state == "cannot tell"


def test_resistant_strains_are_named_as_a_limit() -> None:
    answer = verdict(cook(60.0, 12.0), meat="beef", surface="immersed")
    text = all_said(answer.blind_spots)
    assert "AW1.7" in text
    assert "Senftenberg" in text


def test_a_hold_that_meets_a_row_but_not_the_kinetics_is_pointed_out() -> None:
    answer = verdict(
        cook(62.8, 4.0), meat="beef", surface="immersed", standards=["us meat 6.5 log"]
    )
    assert answer.state == "met"
    listeria = next(view for view in answer.integrals if "listeria" in view.name)
    assert listeria.state == "not met"
    assert "more lenient" in all_said(answer.cautions)


def test_a_row_that_is_met_but_does_not_decide_is_not_passed_off_as_one_that_does() -> None:
    # An hour at 55.5 °C, a kelvin of it doubtful, meets the rows for Trichinella in pork,
    # and nothing that decides.
    answer = verdict(cook(55.5, 60.0), meat="pork", surface="immersed")
    assert answer.state == "not met"
    met = [item for item in answer.standards if item.state == "met"]
    assert met
    assert not any(item.counts for item in met)
    line = next(line for line in map(said, answer.cautions) if "more lenient" in line)
    assert f"{said(met[0].title)} (which does not decide here)" in line


def test_the_centre_is_estimated_under_a_probe_that_sits_beside_it() -> None:
    # A slab warming steadily by r K/s has T(x) = T0 + r x²/(2a): the estimate must
    # return T0 from the reading at x. r = 0.004 K/s, x = 20 mm, a = 1.1e-7: 7.27 K.
    time = np.arange(0.0, 5 * 3600.0, 30.0)
    centre = 5.0 + 0.004 * time
    reading = centre + 0.004 * 0.02**2 / (2 * 1.1e-7)
    answer = verdict((time, reading), meat="beef", probe_offset_m=0.02, shape="slab")
    # Between samples the lower reading counts: one step of 30 s at 0.004 K/s, 0.12 K.
    assert np.all(answer.record.coldest_c <= centre + 0.01)
    np.testing.assert_allclose(answer.record.coldest_c, centre, atol=0.13)
    assert "estimated 20 mm" in said(answer.headline)
    round_piece = verdict((time, reading), meat="beef", probe_offset_m=0.02, shape="sphere")
    assert np.all(round_piece.record.coldest_c > answer.record.coldest_c)
    # Where the probe cools the centre is warmer: nothing is given back.
    cooling = verdict((time, centre[::-1]), meat="beef", probe_offset_m=0.02, shape="slab")
    np.testing.assert_array_equal(cooling.record.coldest_c, centre[::-1])
    with pytest.raises(InputError, match="shape"):
        verdict((time, reading), meat="beef", probe_offset_m=0.02)
    with pytest.raises(InputError, match="knows its centre"):
        verdict(simulated(), meat="beef", probe_offset_m=0.02, shape="slab")


# A simulated cook.


def simulated() -> FakeCook:
    time = np.arange(0.0, 5 * 3600.0, 60.0)
    core = np.interp(time, [0.0, 10800.0, 14400.0], [4.0, 66.0, 68.0])
    surface = np.interp(time, [0.0, 3600.0, 10800.0, 11400.0, 18000.0], [10, 70, 85, 60, 40])
    middle = 0.5 * (core + surface)
    field_c = np.column_stack((core, middle, surface))
    return FakeCook(time, core, surface, field_c, np.linspace(0.99, 0.6, time.size))


def test_a_simulated_cook_is_judged_at_its_least_killed_place() -> None:
    answer = verdict(simulated(), meat="beef", surface="sealed bag")
    # The surface is colder than the core in the rest, but long killed: the core decides.
    assert answer.record.coldest_c[-1] == pytest.approx(68.0)
    assert answer.standard("us meat 6.5 log").state == "met"
    assert answer.probe_error_c == 0.0
    assert answer.integrals[0].surface is not None
    assert answer.integrals[0].surface > 6.5
    assert "simulated" in all_said(answer.assumptions)
    assert "water activity of 0.60" in all_said(answer.cautions)


# Input that cannot be used, and output.


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"meat": "unicorn"}, "meat"),
        ({"meat": []}, "at least one meat"),
        ({"meat": "beef", "condition": "raw"}, "condition"),
        ({"meat": "beef", "condition": []}, "condition"),
        ({"meat": "beef", "surface": "sticky"}, "surface"),
        ({"meat": "beef", "oven": "microwave"}, "oven"),
        ({"meat": "beef", "probe_error_c": -1.0}, "probe_error_c"),
        ({"meat": "beef", "mass_kg": float("nan")}, "mass_kg"),
        ({"meat": "beef", "oven_c": float("nan")}, "oven_c"),
        ({"meat": "beef", "standards": []}, "at least one standard"),
        ({"meat": "beef", "humidity": ([0, 60], [0.9, 0.95])}, "fraction"),
        ({"meat": "beef", "humidity": ([0, 60], [90, 120])}, "0 and 100"),
        ({"meat": "beef", "humidity": ([0], [90])}, "two series"),
        ({"meat": "beef", "humidity": ([60, 0], [90, 90])}, "rise"),
    ],
)
def test_an_option_that_cannot_be_used_says_why(options: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        verdict(cook(63.0, 10.0), **options)  # type: ignore[arg-type]


def test_unknown_names_are_answered_with_near_ones() -> None:
    with pytest.raises(TableError, match="us meat"):
        verdict(cook(63.0, 10.0), meat="beef", standards=["us meats"])
    with pytest.raises(TableError, match="listeria"):
        verdict(cook(63.0, 10.0), meat="beef", organism="listeria")
    with pytest.raises(InputError, match="a float"):
        verdict(3.0, meat="beef")
    with pytest.raises(InputError, match="goes back"):
        verdict(([0, 60, 30], [60, 60, 60]), meat="beef")
    with pytest.raises(InputError, match="not judged"):
        verdict(cook(63.0, 10.0), meat="beef").standard("trichinella pork")


def test_rounding_never_favours_the_cook() -> None:
    answer = verdict(cook(60.0, 11.9, step_s=1.0), meat="beef", surface="immersed")
    text = said(answer.standard("us meat 6.5 log").enough)
    assert "hold every part 6 s longer" in text
    # 54.444 °C is shown as 54.5 where it is a target.
    cold = verdict(cook(50.0, 10.0), meat="beef").standard("us meat 6.5 log")
    assert "54.5 °C" in said(cold.enough)


def test_json_holds_everything_and_no_nan() -> None:
    for record in (cook(60.0, 0.0), cook(75.0, 30.0), ([0.0, 60.0], [np.nan, np.nan])):
        answer = verdict(record, meat="beef")
        plain = numbers_of(answer)
        text = json.dumps(plain, allow_nan=False)
        back = json.loads(text)
        assert back["exit_code"] == answer.exit_code
        assert {item["name"] for item in back["standards"]} >= {"us meat 6.5 log"}
        for key in ("margin_s", "governing", "enough", "caution", "sources"):
            assert key in back["standards"][0]


def test_text_in_fahrenheit_has_no_celsius_left() -> None:
    answer = verdict(cook(60.0, 0.0), meat="pork")
    text = text_of(answer, units="F")
    assert "°C" not in text
    assert "140 °F" in text
    assert "°F" in json.dumps(numbers_of(answer, units="F"), ensure_ascii=False)
    with pytest.raises(InputError, match="units"):
        text_of(answer, units="K")

"""The review of a log: times, plateaus, and credit for no more than the samples show."""

from __future__ import annotations

import datetime as dt
import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coreward import tables
from coreward.errors import InputError, TableError
from coreward.logs import Channel, ProbeLog, read_log
from coreward.physics.lethality import equivalent_minutes, kinetics_names, load_kinetics
from coreward.questions.review.answer import (
    COLDEST,
    Plateau,
    _bridged_runs,
    _line_slopes,
    _plateaus,
    default_ranges_c,
    find_plateaus,
    review,
)
from coreward.questions.review.figure import figure_log
from support.said import numbers_of, text_of

pytestmark = pytest.mark.quick

ORGANISM = kinetics_names()[0]


def make(time_s, *meats, air=None, **options) -> ProbeLog:
    channels = [Channel(f"meat {i}", "meat", np.array(m, float)) for i, m in enumerate(meats)]
    if air is not None:
        channels.insert(0, Channel("pit", "air", np.array(air, float)))
    return ProbeLog(np.array(time_s, float), None, tuple(channels), **options)


def cook(step: float = 60.0, hours: float = 14.0) -> tuple[np.ndarray, np.ndarray]:
    """Return a cook with a stall between 4 h and 8 h."""
    time_s = np.arange(0.0, hours * 3600.0 + 1.0, step)
    return time_s, np.interp(time_s / 3600.0, [0, 1, 4, 8, 14], [4, 10, 66, 70, 95])


# --- time in ranges, peak ----------------------------------------------------------------


def test_time_in_ranges_of_a_straight_rise():
    # From 0 to 100 °C in 6000 s: each kelvin lasts a minute.
    time_s = np.arange(0.0, 6001.0, 60.0)
    answer = review(make(time_s, time_s / 60.0), ranges_c=(25.0, 40.0, 90.5))
    (channel,) = answer.channels
    assert [entry.time_s for entry in channel.ranges] == pytest.approx([1500, 900, 3030, 570])
    assert (channel.ranges[0].low_c, channel.ranges[0].high_c) == (None, 25.0)
    assert (channel.ranges[-1].low_c, channel.ranges[-1].high_c) == (90.5, None)
    assert channel.peak_c == 100.0
    assert channel.peak_time_s == 6000.0
    assert channel.counted_s == 6000.0
    assert channel.not_counted_s == 0.0


def test_a_level_at_an_edge_counts_above_it():
    answer = review(make([0.0, 60.0], [60.0, 60.0]), ranges_c=(60.0,))
    assert [entry.time_s for entry in answer.channels[0].ranges] == [0.0, 60.0]


def test_time_in_gaps_is_not_counted_and_is_stated():
    time_s, core = cook()
    missing = core.copy()
    missing[300:400] = math.nan
    answer = review(make(time_s, missing))
    (channel,) = answer.channels
    assert sum(entry.time_s for entry in channel.ranges) == pytest.approx(channel.counted_s)
    assert channel.not_counted_s == pytest.approx(101 * 60.0)
    assert channel.gaps == ((299 * 60.0, 400 * 60.0),)
    assert "not counted, no reading" in text_of(answer)


def test_leading_and_trailing_silence_are_gaps():
    time_s, core = cook()
    core[:50] = math.nan
    core[-50:] = math.nan
    (channel,) = review(make(time_s, core)).channels
    assert channel.gaps == ((0.0, 3000.0), (time_s[-51], time_s[-1]))


@given(
    st.lists(st.one_of(st.just(math.nan), st.floats(-40, 150)), min_size=2, max_size=40),
    st.lists(st.floats(-30, 140), min_size=1, max_size=6, unique=True),
)
def test_ranges_always_add_up_to_the_counted_time(values, edges):
    answer = review(make(np.arange(len(values)) * 30.0, values), ranges_c=sorted(edges))
    (channel,) = answer.channels
    total = sum(entry.time_s for entry in channel.ranges)
    assert total == pytest.approx(channel.counted_s, abs=1e-6)
    assert channel.counted_s + channel.not_counted_s == pytest.approx(30.0 * (len(values) - 1))


# --- plateaus -----------------------------------------------------------------------------


def test_stall_is_found_by_slope():
    time_s, core = cook()
    (plateau,) = review(make(time_s, core)).coldest.plateaus
    assert plateau.kind == "stall"
    # The window is 20 min wide, so each end may be off by its half and a step.
    assert plateau.start_s == pytest.approx(4 * 3600, abs=11 * 60)
    assert plateau.end_s == pytest.approx(8 * 3600, abs=11 * 60)


def test_stall_with_air_uses_the_drive_and_is_not_a_slow_approach():
    time_s, core = cook()
    # After the stall the core follows the air again, as fast per kelvin as before.
    after = time_s > 8 * 3600.0
    core[after] = 115.0 - 45.0 * np.exp(-0.3 * (time_s[after] / 3600.0 - 8.0))
    air = np.full(core.shape, 115.0)
    (stall,) = (
        p for p in review(make(time_s, core, air=air)).coldest.plateaus if p.kind == "stall"
    )
    # Half the window of the slope and a step at each end.
    assert stall.start_s == pytest.approx(4 * 3600, abs=20 * 60)
    assert stall.end_s == pytest.approx(8 * 3600, abs=20 * 60)
    # First-order approach to the air: the slope falls to nothing, yet nothing stalls.
    approach = 90.0 - 86.0 * np.exp(-time_s / 9000.0)
    log = make(time_s, approach, air=np.full(core.shape, 90.0))
    assert review(log).coldest.plateaus == ()
    assert len(review(make(time_s, approach)).coldest.plateaus) == 1


def test_a_gap_splits_a_stall_with_air():
    time_s, core = cook()
    kept = (time_s < 5.5 * 3600) | (time_s > 6.5 * 3600)
    log = make(time_s[kept], core[kept], air=np.full(int(kept.sum()), 115.0))
    for plateau in review(log).coldest.plateaus:
        assert plateau.end_s <= 5.6 * 3600 or plateau.start_s >= 6.4 * 3600
    assert len(review(log).coldest.plateaus) >= 2
    # The gap cuts the stall; it does not make the first part a level end.
    assert review(log).coldest.plateaus[0].kind == "stall"


def test_stall_does_not_hang_on_the_temperature():
    time_s, core = cook()
    (warm,) = review(make(time_s, core)).coldest.plateaus
    (cool,) = review(make(time_s, core - 30.0)).coldest.plateaus
    assert (warm.start_s, warm.end_s) == (cool.start_s, cool.end_s)


def test_stall_in_whole_degrees_and_noise():
    time_s = np.arange(0.0, 11 * 3600.0, 30.0)
    core = np.interp(time_s / 3600.0, [0, 1, 4, 8, 11], [4, 10, 66, 70, 95])
    noisy = np.round(core + np.random.default_rng(7).normal(0.0, 0.2, core.size))
    stalls = [p for p in review(make(time_s, noisy)).coldest.plateaus if p.kind == "stall"]
    # Whole degrees leave steps of 1 K in a slope window of 20 min (3 K/h): a stall of
    # 1 K/h is found in pieces at worst, but most of its four hours must be found.
    assert sum(plateau.duration_s for plateau in stalls) > 0.7 * 4 * 3600
    assert all(p.start_s > 3.7 * 3600 and p.end_s < 8.3 * 3600 for p in stalls)


def test_no_stall_in_a_steady_rise_nor_before_one():
    time_s = np.arange(0.0, 6 * 3600.0, 60.0)
    assert review(make(time_s, 4.0 + time_s / 300.0)).coldest.plateaus == ()
    level_first = np.interp(time_s / 3600.0, [0, 2, 6], [4, 4, 80])
    assert review(make(time_s, level_first)).coldest.plateaus == ()


def test_level_end_is_not_called_a_stall():
    time_s = np.arange(0.0, 8 * 3600.0, 60.0)
    core = np.interp(time_s / 3600.0, [0, 4, 8], [4, 80, 80.5])
    (plateau,) = review(make(time_s, core)).coldest.plateaus
    assert plateau.kind == "level end"
    assert plateau.name == "level at the end"


def test_a_climb_of_twenty_kelvin_is_not_called_level():
    hours = 3600.0
    assert Plateau("level end", 0.0, 7 * hours, 60.0, 80.0).name == "slow climb at the end"
    assert Plateau("level end", 0.0, 7 * hours, 60.0, 70.4).name == "level at the end"
    assert Plateau("stall", 0.0, 7 * hours, 60.0, 80.0).name == "stall"


def test_a_gap_is_not_bridged_by_a_plateau():
    time_s, core = cook()
    kept = (time_s < 5.5 * 3600) | (time_s > 6.5 * 3600)
    plateaus = find_plateaus(time_s[kept], core[kept], 180.0)
    assert len(plateaus) == 2
    assert plateaus[0].end_s <= 5.5 * 3600
    assert plateaus[1].start_s >= 6.5 * 3600
    # The readings at both ends of the gap count: half a window of slope on either side.
    numbers = tables.load("review")
    half = 0.5 * numbers["slope_window"]
    kept = (time_s <= 5.5 * 3600) | (time_s >= 6.5 * 3600)
    plateaus = find_plateaus(time_s[kept], core[kept], 180.0)
    assert plateaus[0].end_s == 5.5 * 3600 - half
    assert plateaus[1].start_s == 6.5 * 3600 + half


def test_two_plateaus_with_a_climb_between_are_two():
    """An hour's climb of ten kelvin is longer than the ten minutes that are bridged."""
    time_s = np.arange(0.0, 9.0 * 3600.0, 60.0)
    core = np.interp(time_s / 3600.0, [0, 3, 4.5, 5.5, 7, 9], [5, 65, 65, 75, 75, 95])
    first, second = find_plateaus(time_s, core, 180.0)
    for one, low_c, begin_h, end_h in ((first, 65.0, 3.0, 4.5), (second, 75.0, 5.5, 7.0)):
        # A slope is that of twenty minutes, half of them on either side.
        assert one.kind == "stall"
        assert one.start_s / 3600.0 == pytest.approx(begin_h, abs=0.17)
        assert one.end_s / 3600.0 == pytest.approx(end_h, abs=0.17)
        assert one.low_c == pytest.approx(low_c, abs=1.5)


@pytest.mark.parametrize("late_h", [0.0, 60.0])
def test_a_gap_against_the_air_ends_a_plateau_however_late_it_is(late_h: float):
    """The meat lies cold in the hot pit for so long before the cook begins."""
    time_s = np.arange(0.0, (14.0 + late_h) * 3600.0, 60.0)
    hours = time_s / 3600.0 - late_h
    core = np.interp(hours, [0, 1, 4, 8, 14], [4, 10, 66, 70, 95])
    kept = (hours < 5.5) | (hours > 6.5)
    log = make(time_s[kept], core[kept], air=np.full(kept.sum(), 107.0))
    first, second = _plateaus(log, log.channels[1], 180.0)
    # What lies in the gap is judged by nobody; on a grid of a minute.
    for time, hour in ((first.end_s, 5.5), (second.start_s, 6.5)):
        assert time / 3600.0 - late_h == pytest.approx(hour, abs=0.03)


# --- lethality ----------------------------------------------------------------------------


def test_hold_at_the_reference_is_worth_its_minutes():
    # By definition: one hour at 60 °C is 60 min at 60 °C, whatever z is.
    time_s = np.arange(0.0, 3601.0, 60.0)
    core = np.full(time_s.shape, 60.0)
    core[0] = 59.9  # a probe that never moves at all counts as stuck
    worth = review(make(time_s, core), organism=ORGANISM, probe_error_k=0.0).coldest.lethality
    assert worth.equivalent_min == pytest.approx(60.0, abs=0.1)
    kinetics = load_kinetics(ORGANISM)
    expected = 60.0 / float(kinetics.d_minutes(60.0))
    assert worth.log_reduction == pytest.approx(expected, rel=2e-3)


def test_probe_error_only_lowers():
    time_s, core = cook()
    answer = review(make(time_s, core - 15.0), organism=ORGANISM)
    worth = answer.coldest.lethality
    assert worth.equivalent_less_error_min < worth.equivalent_min
    assert worth.log_reduction_less_error < worth.log_reduction
    # One kelvin is a factor 10**(1/z), by definition of z.
    ratio = worth.equivalent_min / worth.equivalent_less_error_min
    assert ratio == pytest.approx(10 ** (1.0 / answer.z_c), rel=1e-6)


def test_gap_earns_nothing():
    time_s, core = cook()
    hot = core > 66.0
    missing = np.where(hot, math.nan, core)
    full = review(make(time_s, core), organism=ORGANISM).coldest.lethality
    less = review(make(time_s, missing), organism=ORGANISM).coldest
    before = equivalent_minutes(time_s[~hot], core[~hot], 60.0, load_kinetics(ORGANISM).z_c)
    assert less.lethality.equivalent_min <= before < full.equivalent_min
    assert less.lethality.uncredited
    kept = ~((time_s > 4.2 * 3600) & (time_s < 13 * 3600))
    cut = review(make(time_s[kept], core[kept]), organism=ORGANISM).coldest.lethality
    assert cut.log_reduction < 0.7 * full.log_reduction


@given(
    st.lists(st.floats(40, 85), min_size=4, max_size=40),
    st.sets(st.integers(0, 39), max_size=20),
)
def test_fewer_readings_never_earn_more(values, absent):
    time_s = np.arange(len(values)) * 60.0
    values = [*values[:-1], values[0] + 0.5]  # never one and the same number
    holed = [math.nan if i in absent else v for i, v in enumerate(values)]
    full = review(make(time_s, values), organism=ORGANISM).coldest.lethality
    part = review(make(time_s, holed), organism=ORGANISM).coldest.lethality
    if part is not None:
        assert part.equivalent_min <= full.equivalent_min + 1e-9
        assert part.log_reduction <= full.log_reduction + 1e-9


def test_single_hot_reading_earns_nothing_beyond_its_neighbours():
    time_s = np.arange(0.0, 3600.0, 60.0)
    core = np.full(time_s.shape, 50.0)
    core[0] = 49.0
    spiked = core.copy()
    spiked[30] = 120.0
    plain = review(make(time_s, core)).coldest.lethality
    assert review(make(time_s, spiked)).coldest.lethality == plain


def test_coldest_earns_no_more_than_any_probe():
    time_s, core = cook()
    other = core + np.sin(time_s / 2000.0) * 3.0
    answer = review(make(time_s, core, other), organism=ORGANISM)
    for channel in answer.channels:
        assert answer.coldest.lethality.log_reduction <= channel.lethality.log_reduction
    assert answer.coldest.peak_c <= min(channel.peak_c for channel in answer.channels)


def test_unplugging_the_coldest_probe_never_raises_the_credit():
    time_s, core = cook()
    cold = core - 20.0
    both = review(make(time_s, core, cold), organism=ORGANISM).coldest
    pulled = cold.copy()
    pulled[400:] = math.nan
    fewer = review(make(time_s, core, pulled), organism=ORGANISM).coldest
    assert fewer.lethality.log_reduction <= both.lethality.log_reduction
    assert fewer.not_counted_s > 0


def test_stuck_probe_earns_nothing():
    time_s = np.arange(0.0, 3600.0, 60.0)
    answer = review(make(time_s, np.full(time_s.shape, 85.0)), organism=ORGANISM)
    assert answer.channels[0].lethality is None
    assert answer.coldest.lethality is None
    assert "cannot tell" in text_of(answer)


def test_no_organism_gives_no_log_reduction_and_says_which_there_are():
    answer = review(make(*cook()))
    assert answer.coldest.lethality.log_reduction is None
    assert any(ORGANISM in str(line) for line in answer.assumptions)
    assert "Log reduction" not in text_of(answer)


def test_silence_counts_as_a_gap_only_beyond_the_limit():
    time_s = np.arange(0.0, 3601.0, 60.0)
    core = np.full(time_s.size, 50.0)
    limit = make(time_s, core).gap_limit_s
    count = round(limit / 60.0)
    for silent, gaps in ((count, ()), (count + 1, ((0.0, (count + 1) * 60.0),))):
        late = np.where(np.arange(time_s.size) < silent, np.nan, core)
        assert review(make(time_s, late)).channels[0].gaps == gaps
        early = late[::-1]
        ending = tuple((3600.0 - end, 3600.0) for _, end in gaps)
        assert review(make(time_s, early)).channels[0].gaps == ending


def test_a_plateau_needs_a_window_of_slope_and_its_shortest_time():
    numbers = tables.load("review")
    window, step = numbers["slope_window"], numbers["slope_step"]
    flat = np.array([50.0, 50.0, 50.0])
    assert find_plateaus(np.array([0.0, 1.0, window - 1.0]), flat, 1e9) == ()
    slopes = _line_slopes(np.arange(5.0) * 3.0, 2)
    assert slopes[2] == pytest.approx(3.0)  # just wide enough for one
    assert np.isnan(slopes[[0, 1, 3, 4]]).all()
    assert np.isnan(_line_slopes(np.arange(4.0), 2)).all()
    # Of growing spells the first that is called one lasts as long as asked for.
    time_s = np.arange(0.0, 6 * 3600.0, 60.0)
    found = []
    for spell in np.arange(600.0, 7200.0, step):
        core = np.interp(time_s, [0, 7200, 7200 + spell, 21600], [4, 60, 60, 95])
        found.append([plateau.duration_s for plateau in find_plateaus(time_s, core, 180.0)])
    counts = [len(one) for one in found]
    assert counts == sorted(counts)
    assert set(counts) == {0, 1}
    shortest = numbers["plateau_shortest"]
    assert found[counts.index(1)][0] == pytest.approx(shortest + 0.5 * step, abs=0.51 * step)


def test_runs_are_bridged_where_the_break_is_short_and_known():
    flat = np.array([1, 1, 0, 0, 1, 0, 1], dtype=bool)
    known = np.ones(7, dtype=bool)
    assert _bridged_runs(flat, known, 0.0) == [(0, 2), (4, 5), (6, 7)]
    assert _bridged_runs(flat, known, 1.0) == [(0, 2), (4, 7)]
    assert _bridged_runs(flat, known, 2.0) == [(0, 7)]
    known[3] = False
    assert _bridged_runs(flat, known, 2.0) == [(0, 2), (4, 7)]


# --- text, data, picture -------------------------------------------------------------------


@pytest.fixture
def supper(tmp_path):
    """Return a review with everything in it: date, gap, repair, air, two meats."""
    time_s, core = cook(step=120.0)
    start = dt.datetime(2026, 5, 2, 20, 0)
    lines = ["time,pit_c,flat_c,point_c"]
    for i, (t, c) in enumerate(zip(time_s, core, strict=True)):
        if 100 <= i < 120:
            continue
        point = "---" if 200 <= i < 230 else f"{c + 4:.2f}"
        lines.append(f"{start + dt.timedelta(seconds=t)},{110 + i % 5},{c:.2f},{point}")
    path = tmp_path / "supper.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return read_log(path)


def test_text_states_everything_a_reader_needs(supper):
    text = text_of(review(supper, organism=ORGANISM))
    for words in (
        "supper.csv",
        "What was understood",
        "its heading says so",
        "What was repaired\n  ",
        "dash written",
        "No rows from",
        "Time in each range",
        "stall",
        "Log reduction",
        "less 1 K of probe error",
        "calibrated thermometer",
        "process authority",
        "Assumed",
        "rounded down",
        "coldest meat probe",
        load_kinetics(ORGANISM).organism,
    ):
        assert words in text, words
    assert " is safe" not in text
    assert "20:00" in text


def test_text_in_fahrenheit(supper):
    text = text_of(review(supper), "F")
    assert "min at 140 °F at the probe point" in text  # the reference, 60 °C
    assert "1.8 °F of probe error" in text
    with pytest.raises(InputError):
        text_of(review(supper), "K")


def test_huge_figures_are_not_printed(supper):
    assert "less 1 K of probe error: over 20" in text_of(review(supper, organism=ORGANISM))


def test_data_is_plain_and_complete(supper):
    answer = review(supper, organism=ORGANISM)
    data = json.loads(json.dumps(numbers_of(answer), allow_nan=False))
    assert data["coldest"]["name"] == COLDEST
    assert data["caution"]
    assert data["assumptions"]
    kinetics = load_kinetics(ORGANISM)
    assert (
        data["organism"].items()
        >= {
            "name": ORGANISM,
            "organism": kinetics.organism,
            "food": kinetics.food,
            "d_reference_min": kinetics.d_reference_min,
            "reference_c": kinetics.reference_c,
            "z_c": kinetics.z_c,
            "source": kinetics.source,
            "status": kinetics.status,
        }.items()
    )
    assert numbers_of(review(supper))["organism"] is None
    for repair, kept in zip(data["repairs"], supper.repairs, strict=True):
        assert (repair["row"], repair["column"]) == (kept.row, kept.column)
        assert (repair["was"], repair["became"]) == (kept.was, kept.became)
    assert len(data["repairs"]) == len(supper.repairs) > 0
    assert (
        data["coldest"]["lethality"]["log_reduction"] <= answer.coldest.lethality.log_reduction
    )
    fahrenheit = numbers_of(answer, "F")
    # Numbers are the same for every reader, as their names say; only sentences change.
    assert fahrenheit["reference_c"] == 60.0
    assert fahrenheit["coldest"]["time_in_ranges"] == data["coldest"]["time_in_ranges"]
    assert "1.8 °F" in " ".join(fahrenheit["assumptions"])


def test_data_of_an_empty_channel_has_no_nan():
    log = make([0.0, 60.0, 120.0], [5.0, 6.0, 7.0], air=[math.nan] * 3)
    data = numbers_of(review(log))
    assert json.dumps(data, allow_nan=False)
    assert data["channels"][0]["peak_c"] is None
    assert "no reading" in text_of(review(log))


def test_arguments_are_checked():
    log = make(*cook())
    for options in ({"ranges_c": ()}, {"ranges_c": (5, 5)}, {"probe_error_k": -1.0}):
        with pytest.raises(InputError):
            review(log, **options)
    with pytest.raises(TableError):
        review(log, organism="wood")


def test_every_number_of_the_table_acts(supper, monkeypatch):
    """Change each number of table ``review`` in turn: some text must change."""
    original = tables.load("review")
    plain_load = tables.load
    time_s, core = cook()
    # A stall with a step of 0.75 K in it, which lifts the slope over the limit for some
    # 6 min (1.5 step / window at most), so that the bridge has something to bridge.
    core = np.interp(
        time_s / 3600,
        [0, 1, 4, 5, 5.01, 6.2, 6.5, 7, 7.5, 14],
        [4, 10, 56, 56, 56.75, 56.75, 58.6, 59, 59.0, 60.5],
    )
    log = make(time_s, core)

    def text() -> str:
        answer = review(log)
        return json.dumps(numbers_of(answer)) + text_of(answer)

    before = text()
    factors = {
        "largest_log_shown": None,
        "largest_minutes_shown": 1e-3,
        "rise_after": 3.0,
        "steepest_slope_smallest": 100.0,
        "plateau_bridge": 0.0,
        "slope_step": 5.0,
    }
    for name in original:
        factor = factors.get(name, 1.5)
        if factor is None:
            continue  # needs an organism: see below
        changed = original.replace(**{name: original[name] * factor})
        monkeypatch.setattr(
            tables,
            "load",
            lambda kind, which=None, changed=changed: (
                changed if kind == "review" else plain_load(kind, which)
            ),
        )
        try:
            after = text()
        except InputError:
            after = "edges out of order"
        assert after != before, name
    changed = original.replace(largest_log_shown=9.0)
    monkeypatch.setattr(
        tables,
        "load",
        lambda kind, which=None: changed if kind == "review" else plain_load(kind, which),
    )
    assert "less 1 K of probe error: over 9" in text_of(review(supper, organism=ORGANISM))


def test_default_ranges_rise():
    edges = default_ranges_c()
    assert list(edges) == sorted(set(edges))


@pytest.mark.parametrize("units", ["C", "F"])
@pytest.mark.parametrize("clock", [True, False])
def test_picture_shows_curves_gaps_and_missing_readings(supper, units, clock):
    answer = review(supper)
    log = supper if clock else replace(supper, start=None, start_clock=None)
    figure = figure_log(log, answer, units)
    (ax,) = figure.axes
    labels = [text.get_text() for text in ax.get_legend().get_texts()]
    assert {
        "pit_c (air)",
        "flat_c (meat)",
        "gap: no rows",
        "a probe without reading",
        "stall, coldest probe",
    } <= set(labels)
    assert units in ax.get_ylabel()
    assert ("time of day" in ax.get_xlabel()) == clock
    flat = next(line for line in ax.lines if line.get_label() == "flat_c (meat)")
    shown = np.asarray(flat.get_ydata())
    top = supper.meat(1).temperature_c.max()
    assert np.nanmax(shown) == pytest.approx(top if units == "C" else top * 1.8 + 32)
    assert np.isnan(shown).any()  # the line is broken at the gap
    figure.canvas.draw()


def test_picture_of_a_long_log_keeps_every_extreme():
    time_s = np.arange(86_400.0)
    core = 4.0 + time_s / 1000.0
    core[50_000] = 20.0
    figure = figure_log(make(time_s, core))
    shown = np.asarray(figure.axes[0].lines[0].get_ydata())
    assert shown.size < 5000
    assert 20.0 in shown[len(shown) // 2 :]
    assert shown[0] == 4.0
    assert shown[-1] == core[-1]


def test_a_level_with_air_that_the_log_ends_in_is_a_level_end():
    """Nothing comes after it: there is no rise to speak of."""
    time_s, core = cook()
    kept = time_s <= 7 * 3600.0
    log = make(time_s[kept], core[kept], air=np.full(int(kept.sum()), 115.0))
    (plateau,) = review(log).coldest.plateaus
    assert plateau.kind == "level end"
    assert plateau.end_s == 7 * 3600.0


def test_a_rise_of_just_the_least_slope_counts_as_one(monkeypatch):
    """Nothing flat is a plateau before the core has risen as fast as the table asks."""
    time_s, core = cook()
    plain, original = tables.load, tables.load("review")
    slopes = _line_slopes(
        np.interp(np.arange(0.0, time_s[-1] + 1.0, original["slope_step"]), time_s, core),
        max(1, round(0.5 * original["slope_window"] / original["slope_step"])),
    )
    steepest = float(np.nanmax(slopes)) / original["slope_step"]

    def found(least: float) -> int:
        changed = original.replace(steepest_slope_smallest=least)
        monkeypatch.setattr(
            tables, "load", lambda kind, which=None: (
                changed if kind == "review" else plain(kind, which)
            ),
        )  # fmt: skip
        return len(find_plateaus(time_s, core, 180.0))

    assert found(steepest) == 1
    assert found(math.nextafter(steepest, 1.0)) == 0

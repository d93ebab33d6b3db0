"""Whose history it is, and the whole of it: pieces, stays, doubts, unknown time."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from coreward.errors import InputError
from coreward.logs.log import Channel, LeftOutColumn, ProbeLog, Repair
from coreward.logs.read import read_log
from coreward.questions.verdict import (
    LimitVerdict,
    Verdict,
    time_in_band,
    verdict,
)
from coreward.units import celsius_to_fahrenheit, fahrenheit_to_celsius
from coreward.words import Text, shown
from support.said import numbers_of, text_of

pytestmark = pytest.mark.quick

Floats = NDArray[np.float64]
HOUR = 3600.0
BEEF: dict[str, Any] = {"meat": "beef", "surface": "sealed bag"}


def history(
    hours: Sequence[float], celsius: Sequence[float], step_s: float = 60.0
) -> tuple[Floats, Floats]:
    """Straight lines between corners."""
    time = np.arange(0.0, hours[-1] * HOUR + 1.0, step_s)
    return time, np.interp(time / HOUR, hours, celsius)


def log_of(time: Floats, *meats: Floats, air: Floats | None = None, **more: Any) -> ProbeLog:
    channels = [Channel(f"T{i}", "meat", values) for i, values in enumerate(meats, start=1)]
    if air is not None:
        channels.append(Channel("pit", "air", air))
    return ProbeLog(time, None, tuple(channels), **more)


def limits(answer: Verdict, kind: str) -> list[LimitVerdict]:
    return [item for item in answer.limits if item.kind == kind]


def kinds(answer: Verdict) -> list[tuple[str, str | None]]:
    return [(doubt.kind, doubt.channel) for doubt in answer.doubts]


def said(texts: Sequence[Text], units: str = "C") -> str:
    return " ".join(shown(text, units) for text in texts)


# The clock runs until lethality is reached.


def test_an_interrupted_cook_goes_on_with_the_same_clock() -> None:
    """56 °C at 3 h, fire out, 10 h at 30 °C, then 92 °C: 14 h between 10 and 54.4 °C."""
    record = history([0, 3, 3.5, 13.5, 16, 17], [4, 56, 30, 30, 92, 92])
    answer = verdict(record, **BEEF)
    (come_up,) = limits(answer, "come-up")
    assert (answer.state, answer.exit_code) == ("not met", 1)
    assert come_up.state == "not met"
    # By hand: 3 h less 6/52 and 1.56/52 of it, then until 54.44 °C is passed again at
    # 13.5 h + 24.44/62 of 2.5 h, less the two minutes above 54.44 °C.
    by_hand = 13.5 + 2.5 * 24.44 / 62 - 3 * 6 / 52 - 3 * 1.56 / 52 - 0.5 * 1.56 / 26
    # A step at every crossing belongs to the band: four of them, a minute each.
    assert come_up.elapsed_s == pytest.approx(by_hand * HOUR, abs=5 * 60.0)
    assert "until lethality is reached, limit 6 h" in shown(come_up.text, "C")


def test_the_clock_adds_up_and_leaves_out_what_is_hot_or_cold() -> None:
    # 3 h up to 56 °C, an hour at 56 °C, then on: only the time below 54.44 °C counts.
    record = history([0, 3, 4, 5], [4, 56, 56, 80])
    (come_up,) = limits(verdict(record, **BEEF), "come-up")
    assert come_up.elapsed_s == pytest.approx(3 * HOUR * 44.44 / 52, abs=2 * 60.0)
    # A night in the fridge before it counts for nothing.
    cold = history([0, 8, 11, 12], [4, 4, 56, 80])
    (late,) = limits(verdict(cold, **BEEF), "come-up")
    assert late.elapsed_s == pytest.approx(3 * HOUR * 44.44 / 52, abs=2 * 60.0)


@pytest.mark.parametrize("again_c", [79.0, 81.0])
def test_a_long_dwell_after_the_cook_is_not_undone_by_more_heat(again_c: float) -> None:
    record = history([0, 3, 3.3, 4.3, 18.3, 19.5, 20], [4, 80, 80, 40, 40, again_c, again_c])
    answer = verdict(record, **BEEF)
    assert answer.state == "not met"
    cooling = limits(answer, "cooling")
    assert [item.state for item in cooling] == ["not met", "not met"]
    assert all(item.counts for item in cooling)
    # From 57.2 °C on the way down to 57.2 °C on the way up.
    down, up = 3.3 + 22.78 / 40, 18.3 + 1.2 * 17.22 / (again_c - 40)
    assert cooling[0].elapsed_s == pytest.approx((up - down) * HOUR, abs=20 * 60.0)


def test_a_warm_stay_after_a_good_chill_is_not_met() -> None:
    record = history([0, 3, 3.5, 4.3, 5.8, 9, 10, 11, 23], [4, 80, 80, 57, 20, 4, 4, 30, 30])
    answer = verdict(record, **BEEF)
    assert answer.state == "not met"
    assert all(item.state == "not met" for item in limits(answer, "cooling"))
    # The same without the stay is met, asked for or not.
    good = history([0, 3, 3.5, 4.3, 5.8, 9, 10], [4, 80, 80, 57, 20, 4, 4])
    assert verdict(good, **BEEF).state == "met"
    assert verdict(good, cooling=True, **BEEF).state == "met"


def test_stays_that_no_lethal_heating_separates_add_up() -> None:
    def dips(hours_each: float) -> Verdict:
        corners = [0.0, 3.0, 4.0]
        celsius = [4.0, 80.0, 80.0]
        for _ in range(2):  # down to 40 °C, and back to 58 °C only: poultry asks for more
            end = corners[-1]
            corners += [end + 0.2, end + 0.2 + hours_each, end + 0.4 + hours_each]
            celsius += [40.0, 40.0, 58.0]
        return verdict(
            history([*corners, corners[-1] + 0.5], [*celsius, 58.0]),
            meat="chicken",
            surface="sealed bag",
        )

    short, long = dips(0.5), dips(1.0)
    assert short.state == "met"
    assert long.state == "not met"
    assert limits(long, "cooling")[0].elapsed_s > 2 * HOUR
    # A lethal heating between them sets the count back: beef is lethal at 64 °C in minutes.
    hot = history(
        [0, 3, 4, 4.2, 5.2, 5.5, 6, 6.2, 7.2, 7.5, 8],
        [4, 80, 80, 40, 40, 80, 80, 40, 40, 80, 80],
    )
    assert verdict(hot, **BEEF).state == "met"


@pytest.mark.parametrize(
    ("minutes", "state"), [(70.0, "met"), (110.0, "met"), (150.0, "not met")]
)
def test_a_reheating_from_the_cold_has_two_hours(minutes: float, state: str) -> None:
    hours = [0, 3, 3.5, 4.3, 5.8, 9, 10]
    record = history(
        [*hours, 10 + minutes / 60, 11 + minutes / 60], [4, 80, 80, 57, 20, 4, 4, 78, 78]
    )
    assert verdict(record, **BEEF).state == state


def test_a_warming_that_ends_below_74_is_no_reheating() -> None:
    # To 68 °C in 1.9 h: lethal for beef, but the time between 21.1 and 57.2 °C adds to the
    # 1.6 h of the first cooling.
    hours = [0, 3, 3.5, 4.3, 5.8, 9, 10, 11.9, 13]
    warm = history(hours, [4, 80, 80, 57, 20, 4, 4, 68, 68])
    hot = history(hours, [4, 80, 80, 57, 20, 4, 4, 78, 78])
    assert verdict(warm, **BEEF).state == "not met"
    assert verdict(hot, **BEEF).state == "met"


def test_a_record_that_ends_hot_keeps_its_answer_unless_cooling_was_asked() -> None:
    record = history([0, 3, 3.5, 4.5], [4, 80, 80, 55])
    plain, asked = verdict(record, **BEEF), verdict(record, cooling=True, **BEEF)
    assert (plain.state, asked.state) == ("met", "cannot tell")
    assert "The cooling is not judged" in said(plain.cautions)


def test_every_probe_of_a_piece_cools_for_itself() -> None:
    time, slow = history([0, 3, 3.5, 8, 12, 14], [4, 80, 80, 50, 20, 4])
    fast = np.interp(time / HOUR, [0, 3, 3.5, 4.3, 5.8, 9, 14], [4, 80, 80, 57, 20, 4, 3.9])
    alone = verdict(log_of(time, fast), **BEEF)
    both = verdict(log_of(time, fast, slow), pieces="one", **BEEF)
    assert (alone.state, both.state) == ("met", "not met")


# Whose history.


def slow_behind_late() -> tuple[Floats, Floats, Floats]:
    """Piece A needs 7.5 h to 54 °C; B is put on later and hides it."""
    time, first = history([0, 7.5, 8.5, 10], [10, 54, 80, 85])
    second = np.interp(time / HOUR, [0, 5, 9, 10], [4, 4, 75, 80])
    second[time < 5 * HOUR] = np.nan
    return time, first, second


@pytest.mark.parametrize("pieces", [None, "each", {"A": ["T1"], "B": ["T2"]}])
def test_a_slow_piece_does_not_hide_behind_one_put_on_later(pieces: Any) -> None:
    time, first, second = slow_behind_late()
    answer = verdict(log_of(time, first, second), pieces=pieces, **BEEF)
    assert answer.state == "not met"
    assert answer.worst.channels == ("T1",)
    assert limits(answer, "come-up")[0].state == "not met"
    assert [piece.state for piece in answer.pieces] == ["not met", "met"]


def test_a_piece_left_warm_does_not_hide_behind_one_that_still_cooks() -> None:
    time, first = history([0, 3, 3.5, 4.5, 13, 14], [4, 80, 80, 36, 34, 34])
    second = np.interp(time / HOUR, [0, 4, 12, 14], [4, 4, 70, 80])
    for pieces in (None, "each"):
        answer = verdict(log_of(time, first, second), pieces=pieces, **BEEF)
        assert answer.state == "not met", pieces


def test_unanswered_both_readings_are_judged_and_it_is_asked() -> None:
    time, warm = history([0, 3, 5], [4, 80, 80])
    cool = np.interp(time / HOUR, [0, 3, 4, 5], [4, 58, 64, 66])
    record = log_of(time, warm, cool)
    unsaid = verdict(record, **BEEF)
    assert kinds(unsaid) == [("pieces", None)]
    assert unsaid.state == min(
        (verdict(record, pieces=way, **BEEF).state for way in ("one", "each")),
        key=("not met", "cannot tell", "met").index,
    )
    assert "Read in 2 ways" in said(unsaid.assumptions)
    doubt = unsaid.doubts[0]
    assert "--pieces" in doubt.command
    assert "pieces=" in doubt.code
    assert verdict(record, pieces="each", **BEEF).doubts == ()


@pytest.mark.parametrize(
    ("pieces", "words"),
    [
        ("both", "pieces is 'both'"),
        ({"A": ["T1"]}, "T2: in which piece"),
        ({"A": ["T1", "T2"], "B": ["T1"]}, "named in two pieces"),
        ({"A": ["T1", "T9"]}, "no meat probe called 'T9'"),
    ],
)
def test_an_answer_that_does_not_fit_says_why(pieces: Any, words: str) -> None:
    time, core = history([0, 3, 4], [4, 80, 80])
    with pytest.raises(InputError, match=words):
        verdict(log_of(time, core, core - 1.0), pieces=pieces, **BEEF)


def test_answers_about_probes_that_do_not_fit_say_why() -> None:
    time, core = history([0, 3, 4], [4, 80, 80])
    with pytest.raises(InputError, match="no probe called 'T7'"):
        verdict(log_of(time, core), probes={"T7": "meat"}, **BEEF)
    with pytest.raises(InputError, match="in the soup"):
        verdict(log_of(time, core), probes={"T1": "in the soup"}, **BEEF)
    with pytest.raises(InputError, match="seconds from the start"):
        verdict(log_of(time, core), new_piece_s=[float("nan")], **BEEF)
    with pytest.raises(InputError, match="for a log"):
        verdict((time, core), pieces="each", **BEEF)


def test_the_worst_of_three_pieces_is_named() -> None:
    time, good = history([0, 3, 5], [4, 80, 80])
    raw = np.interp(time / HOUR, [0, 3, 5], [4, 50, 55])
    answer = verdict(log_of(time, good, raw, good + 1.0), pieces="each", **BEEF)
    assert (answer.state, answer.worst.name) == ("not met", "T2")
    assert [piece.state for piece in answer.pieces] == ["met", "not met", "met"]
    assert "T2 (the piece that decides, of 3)" in shown(answer.headline, "C")
    text = text_of(answer)
    assert "  meets it\n      piece: T1\n" in text
    assert "  does not meet it\n      piece: T2\n" in text
    plain = numbers_of(answer)
    assert [piece["state"] for piece in plain["pieces"]] == ["met", "not met", "met"]
    assert plain["worst"] == "T2"


# Two cooks in one file.


def test_a_second_piece_that_ends_raw_is_found() -> None:
    record = history([0, 4, 4.5, 4.52, 7], [4, 82, 82, 5, 50])
    for given in (record, log_of(*record)):
        answer = verdict(given, **BEEF)
        assert answer.state == "not met"
        assert [kind for kind, _ in kinds(answer)] == ["new piece"]
        assert [piece.state for piece in answer.pieces] == ["met", "not met"]
        (time_s,) = answer.doubts[0].at_s
        assert time_s == pytest.approx(4.52 * HOUR, abs=60.0)
        assert verdict(given, new_piece_s=(time_s,), **BEEF).state == "not met"


def test_two_good_cooks_cannot_be_told_until_it_is_said() -> None:
    time, core = history([0, 4, 5, 5.05, 9, 9.5], [4, 82, 82, 5, 82, 82])
    record = log_of(time, core)
    unsaid = verdict(record, **BEEF)
    assert (unsaid.state, unsaid.exit_code) == ("cannot tell", 2)
    assert "--new-piece 5:03" in unsaid.doubts[0].command
    # The time as a person would say it from the question, to the minute.
    answered = verdict(record, new_piece_s=(303 * 60.0,), **BEEF)
    assert answered.state == "met"
    assert answered.doubts == ()
    assert len(answered.pieces) == 2


def test_a_new_piece_behind_a_gap_is_asked_about() -> None:
    time, core = history([0, 4, 5, 5.05, 8], [4, 82, 82, 5, 60])
    kept = (time < 4.9 * HOUR) | (time > 6.0 * HOUR)
    core = np.where(time > 6.0 * HOUR, np.interp(time / HOUR, [6, 8], [5, 50]), core)
    answer = verdict((time[kept], core[kept]), **BEEF)
    assert [kind for kind, _ in kinds(answer)] == ["new piece"]
    assert answer.state == "not met"


def test_a_piece_that_is_chilled_as_fast_as_a_slice_can_is_one_piece() -> None:
    # 30 mm in ice water: a time constant of 15 min and more, and then it stays cold.
    time, core = history([0, 1, 1.5], [4, 75, 75], 30.0)
    later = np.arange(time[-1] + 30.0, time[-1] + 4 * HOUR, 30.0)
    cooled = 1.0 + 74.0 * np.exp(-(later - time[-1]) / 960.0)
    record = (np.concatenate((time, later)), np.concatenate((core, cooled)))
    answer = verdict(record, cooling=True, **BEEF)
    assert answer.doubts == ()
    assert answer.state == "met"


def test_a_probe_that_leaves_the_meat_does_not_cool_it() -> None:
    time, core = history([0, 4, 4.5, 4.53, 6], [4, 82, 82, 4, 4])
    answer = verdict((time, core), cooling=True, **BEEF)
    assert [kind for kind, _ in kinds(answer)] == ["left the meat"]
    assert answer.state == "cannot tell"
    # Laid on a table it has nothing more to tell of the cook, and nobody asked about cooling.
    laid = history([0, 4, 4.5, 4.53, 6], [4, 82, 82, 20, 20])
    assert verdict(laid, **BEEF).state == "met"
    assert [kind for kind, _ in kinds(verdict(laid, cooling=True, **BEEF))] == ["left the meat"]


def test_a_probe_that_ends_as_cold_as_raw_meat_may_be_in_another_piece() -> None:
    """The record ends a quarter of an hour later, with the second piece as cold as it came."""
    record = history([0, 4, 4.5, 4.52, 4.75], [4, 82, 82, 6, 6])
    answer = verdict(record, **BEEF)
    assert (answer.state, answer.exit_code) == ("cannot tell", 2)
    assert [kind for kind, _ in kinds(answer)] == ["left the meat"]
    (time_s,) = answer.doubts[0].at_s
    another = verdict(record, new_piece_s=(time_s,), **BEEF)
    assert another.state == "not met"
    assert [piece.state for piece in another.pieces] == ["met", "not met"]


# Doubtful probes.


def cooked() -> tuple[Floats, Floats]:
    return history([0, 4, 6], [4, 80, 85])


def in_the_air() -> tuple[Floats, Floats]:
    """A pit that is lit, swings, and a probe beside it."""
    time, _ = cooked()
    air = np.interp(time / HOUR, [0, 0.4, 6], [20, 95, 95]) + 3.0 * np.sin(time / 500.0)
    return air, air - 0.5


def frozen_for(minutes: float) -> Floats:
    time, core = cooked()
    core[(time >= HOUR) & (time < HOUR + 60.0 * minutes)] = core[time >= HOUR][0]
    return core


def late_and_warm() -> Floats:
    time, core = cooked()
    return np.where(time < 2 * HOUR, np.nan, core)


def dead_early() -> Floats:
    time, core = cooked()
    return np.where(time > 3 * HOUR, np.nan, core)


@pytest.mark.parametrize(
    ("kind", "second"),
    [
        ("never plugged in", np.full(361, np.nan)),
        ("in the air", in_the_air()[1]),
        ("frozen", frozen_for(100.0)),
        ("late", late_and_warm()),
        ("silent early", dead_early()),
        ("frozen", np.full(361, 66.0)),
    ],
)
def test_a_doubtful_probe_cannot_be_told_until_it_is_said(kind: str, second: Floats) -> None:
    time, core = cooked()
    record = log_of(time, core, second, air=in_the_air()[0])
    answer = verdict(record, **BEEF)
    assert (kind, "T2") in kinds(answer)
    assert (answer.state, answer.exit_code) == ("cannot tell", 2)
    assert "T2" in shown(answer.headline, "C")
    assert "T2" in said(answer.faults)
    text = text_of(answer)
    assert "Only you can say" in text
    assert "--probe 'T2=in the air'" in text
    assert numbers_of(answer)["doubts"][0]["channel"] == "T2"
    for words in ("in the air", "air", "not used", "spare"):
        settled = verdict(record, probes={"T2": words}, **BEEF)
        assert (settled.state, settled.doubts) == ("met", ())
        assert "T2 was said to be" in said(settled.assumptions)
        assert settled.worst.channels == ("T1",)


def test_a_probe_that_was_in_the_meat_is_judged() -> None:
    time, core = cooked()
    answer = verdict(
        log_of(time, core, np.full_like(core, 66.0)), probes={"T2": "meat"}, **BEEF
    )
    assert answer.state != "met"
    assert "frozen" not in [kind for kind, _ in kinds(answer)]


def test_a_lone_probe_in_doubt_is_shown_and_not_told() -> None:
    time, _ = cooked()
    answer = verdict(log_of(time, frozen_for(100.0)), **BEEF)
    assert answer.state == "cannot tell"
    assert answer.pieces[0].state == "met"
    assert "1:00 to 2:39" in said(answer.faults)


def test_a_probe_put_in_later_into_cold_meat_has_its_whole_history() -> None:
    time, core = cooked()
    second = np.interp(time / HOUR, [0, 2, 5, 6], [4, 4, 78, 80])
    second[time < 2 * HOUR] = np.nan
    answer = verdict(log_of(time, core, second), pieces="each", **BEEF)
    assert (answer.state, answer.doubts) == ("met", ())


def test_a_left_out_column_that_may_be_meat_is_asked_about() -> None:
    time, core = cooked()
    column = LeftOutColumn("brisket point fan side", "taken for a fan", core - 30.0, True)
    record = log_of(time, core, left_out=(column,))
    answer = verdict(record, **BEEF)
    assert kinds(answer) == [("left out", "brisket point fan side")]
    assert answer.state == "cannot tell"
    judged = verdict(record, probes={"brisket point fan side": "in the meat"}, **BEEF)
    assert judged.state == "not met"
    assert verdict(record, probes={"brisket point fan side": "not used"}, **BEEF).state == "met"
    fan = log_of(time, core, left_out=(LeftOutColumn("fan", "in %", np.empty(0), False),))
    plain = verdict(fan, **BEEF)
    assert plain.state == "met"
    assert "Column fan was left out: in %." in said(plain.faults)


def test_repairs_warnings_and_gaps_stand_in_the_answer() -> None:
    time, core = cooked()
    hole = (time > 0.2 * HOUR) & (time < 0.4 * HOUR)
    record = ProbeLog(
        time[~hole],
        None,
        (Channel("T1", "meat", core[~hole]),),
        repairs=(Repair(7, "T1", "absurd", "999", "missing", "no meat is so hot"),),
        warnings=("The clock was set once.",),
    )
    answer = verdict(record, **BEEF)
    for output in (said(answer.faults), text_of(answer), str(numbers_of(answer))):
        assert "no meat is so hot" in output
        assert "The clock was set once." in output
        assert "No reading from 0:12 to 0:24" in output


# What must not turn into "cannot tell".


@pytest.mark.parametrize("step_s", [15.0, 60.0])
@pytest.mark.parametrize("resolution", [0.1, 5.0 / 9.0, 1.0])
def test_a_true_standstill_is_not_taken_for_a_frozen_probe(
    step_s: float, resolution: float
) -> None:
    """Four hours near 68 °C, as meat stands in the stall, in whole °F or °C."""
    time, core = history(
        [0, 1, 3, 4.5, 5.5, 9.5, 11, 13],
        [4, 14, 50, 65.5, 67.6, 68.9, 76, 92],
        step_s,
    )
    smooth = np.convolve(np.pad(core, 60, mode="edge"), np.ones(121) / 121, mode="valid")
    rounded = np.round(smooth / resolution) * resolution
    answer = verdict(log_of(time, rounded, air=np.full_like(core, 110.0)), **BEEF)
    assert (answer.doubts, answer.state) == ((), "met")


def test_a_core_that_comes_to_rest_in_its_bath_is_not_in_the_air_nor_frozen() -> None:
    time = np.arange(0.0, 6 * HOUR, 60.0)
    bath = np.interp(time, [0.0, 2400.0, 6 * HOUR], [20.0, 66.0, 66.0])
    core = 66.0 - 62.0 * np.exp(-np.maximum(time - 900.0, 0.0) / 2400.0)
    for resolution in (0.1, 0.5):
        record = log_of(time, np.round(core / resolution) * resolution, air=bath)
        answer = verdict(record, **BEEF)
        assert (answer.doubts, answer.state) == ((), "met")


def test_ordinary_records_are_met_as_before() -> None:
    time, core = history([0, 4, 5, 5.9, 7.5, 11, 14], [4, 80, 80, 57, 20, 3, 3])
    air = np.where(time < 5 * HOUR, 110.0, 3.0)
    for answer in (
        verdict(log_of(time, core, air=air), **BEEF),
        verdict(log_of(time, core, air=air), cooling=True, **BEEF),
        verdict(log_of(time, core, core - 0.5, air=air), pieces="one", **BEEF),
        verdict(log_of(time, core, core - 0.5, air=air), **BEEF),
        verdict(log_of(*history([0, 4, 6.5], [4, 80, 80], 15.0)), **BEEF),
    ):
        assert answer.state == "met"
        assert not any(doubt.blocks for doubt in answer.doubts)


# Unknown time.


def test_an_unknown_time_breaks_a_hold_and_a_come_up_and_a_cooling() -> None:
    time, core = history([0, 4, 5], [4, 80, 80])
    assert verdict(log_of(time, core), **BEEF).state == "met"
    for at_h in (0.1, 1.0, 2.5, 4.2):
        spans = ((at_h * HOUR, at_h * HOUR + 60.0),)
        answer = verdict(log_of(time, core, unknown_spans=spans), **BEEF)
        assert answer.state == "cannot tell", at_h
        assert "an unknown time passed" in said(answer.faults)
    # A hold that needs both sides of it is none.
    slow = history([0, 4, 6.5], [4, 60.0, 60.0])
    spans = ((5.2 * HOUR, 5.2 * HOUR + 60.0),)
    options = {"meat": "pork", "surface": "sealed bag", "probe_error_c": 0.0}
    whole = verdict(log_of(*slow), standards=["uk 70 for 2 min"], **options)
    cut = verdict(log_of(*slow, unknown_spans=spans), standards=["uk 70 for 2 min"], **options)
    assert (whole.standards[0].state, cut.standards[0].state) == ("met", "cannot tell")
    assert whole.standards[0].held_s == pytest.approx(2.5 * HOUR)
    assert cut.standards[0].held_s == pytest.approx(1.3 * HOUR - 60.0, abs=61.0)
    assert cut.integrals[0].value < whole.integrals[0].value


def test_a_gap_exactly_at_the_lowest_row_of_a_table_cannot_be_told() -> None:
    level = float(fahrenheit_to_celsius(130.0))
    time = np.concatenate((np.arange(0.0, 3 * HOUR, 60.0), [3 * HOUR + 600.0]))
    record = (time, np.full(time.size, level))
    item = verdict(record, standards=["us meat 6.5 log"], **BEEF).standards[0]
    assert item.state == "cannot tell"
    assert "no reading from 2:59 to 3:10" in shown(item.governing, "C")
    assert "What was read would meet it." in shown(item.governing, "C")


def test_a_missing_reading_breaks_a_hold() -> None:
    time, core = history([0, 3, 3.5], [4, 64.0, 64.0])
    options = {"standards": ["us meat 6.5 log"], "probe_error_c": 0.0}
    whole = verdict(log_of(time, core), **options, **BEEF).standards[0].held_s
    core[-16] = np.nan
    part = verdict(log_of(time, core), **options, **BEEF).standards[0].held_s
    assert part < whole - 10 * 60.0


def test_a_gap_counts_whole_as_time_in_the_band() -> None:
    time, core = history([0, 5.5, 6], [4, 80, 80])
    hole = (time > 1.0 * HOUR) & (time < 4.5 * HOUR)
    (full,) = limits(verdict((time, core), **BEEF), "come-up")
    (holed,) = limits(verdict((time[~hole], core[~hole]), **BEEF), "come-up")
    assert full.state == holed.state == "met"
    assert holed.elapsed_s > full.elapsed_s
    assert holed.surely_s < full.surely_s


# Between met and not met lies the probe's error.


@pytest.mark.parametrize(
    ("rise_h", "state"), [(9.7, "met"), (10.3, "cannot tell"), (10.9, "not met")]
)
def test_the_probe_error_widens_the_band(rise_h: float, state: str) -> None:
    # 4 to 80 °C: 46.44/76 of the rise lie in the band with 1 K at both ends, which is 6 h
    # for 9.82 h of rise, and 42.44/76 lie in it surely: 6 h for 10.74 h.
    record = log_of(*history([0, rise_h, rise_h + 1], [4, 80, 80], 15.0))
    answer = verdict(record, **BEEF)
    (come_up,) = limits(answer, "come-up")
    assert come_up.state == state
    assert come_up.counts
    assert come_up.surely_s < come_up.elapsed_s
    # Also where only a standard was asked for: what may be past its limit decides.
    asked = verdict(record, standards=["us meat 6.5 log"], **BEEF)
    assert asked.state == state


def test_time_in_band_is_the_one_judge() -> None:
    time, core = history([0, 1, 2], [60.0, 20.0, 20.0])
    record = verdict((time, core), meat="beef").record
    found = time_in_band(record, core, 21.1, 57.2)
    assert found.longest_s == pytest.approx(HOUR * (57.2 - 21.1) / 40.0, abs=2 * 60.0)
    wider = time_in_band(record, core, 21.1, 57.2, 1.0)
    assert wider.longest_s > found.longest_s >= found.surely_s > wider.surely_s
    assert not found.endless


# Mixtures, states, conditions.


def test_a_second_meat_never_loosens_the_rule() -> None:
    record = history([0, 1, 2], [5.0, 71.5, 71.5], 30.0)
    alone = verdict(record, meat="other meat", surface="sealed bag")
    mixed = verdict(record, meat=["other meat", "pork"], surface="sealed bag")
    pork = verdict(record, meat="pork", surface="sealed bag")
    assert (alone.state, mixed.state, pork.state) == ("not met", "not met", "met")
    assert {item.name for item in alone.standards if item.counts} <= {
        item.name for item in mixed.standards if item.counts
    }


@pytest.mark.parametrize(
    ("peak_c", "condition", "state"),
    [
        (73.0, "rolled", "met"),
        (73.0, "stuffed", "not met"),
        (73.0, ["rolled", "stuffed"], "not met"),
        (73.9, ["rolled", "stuffed"], "met"),
        (69.0, "rolled", "not met"),
        (69.0, "injected", "not met"),
        (69.0, "minced", "not met"),
        (69.0, "intact", "met"),
    ],
)
def test_every_state_adds_its_own_limits(peak_c: float, condition: Any, state: str) -> None:
    record = history([0, 1, 1.4], [5.0, peak_c, peak_c], 30.0)
    answer = verdict(record, meat="pork", condition=condition, surface="sealed bag")
    assert answer.state == state, shown(answer.headline, "C")


def test_injected_meat_doubles_d_as_tenderised_does() -> None:
    record = history([0, 1, 1.5], [5.0, 62.0, 62.0], 30.0)
    plain, needled = (
        verdict(record, meat="beef", condition=state).integrals[0].value
        for state in ("intact", "injected")
    )
    assert needled == pytest.approx(plain / 2.0)


def test_humidity_counts_only_while_it_cooks() -> None:
    record = history([0, 4, 20], [4, 75, 75])
    time = np.arange(0.0, 20 * HOUR, 60.0)
    late = (time, np.where(time > 14 * HOUR, 95.0, 30.0))
    early = (time, np.where(time < 2 * HOUR, 95.0, 30.0))
    states = [
        verdict(record, meat="beef", standards=["us meat 6.5 log"], humidity=humid).state
        for humid in (late, early)
    ]
    assert states == ["cannot tell", "met"]


def test_an_oven_counts_only_while_it_cooks_and_a_silent_pit_is_unknown() -> None:
    time, core = history([0, 4, 9], [4, 75, 74])
    options = {"meat": "beef", "mass_kg": 6.0, "standards": ["food code roast"]}
    off = np.where(time < 4.2 * HOUR, 130.0, 60.0)  # put out once it was done
    assert verdict(log_of(time, core, air=off), **options).state == "met"
    silent = np.where((time > HOUR) & (time < 2 * HOUR), np.nan, 130.0)
    assert verdict(log_of(time, core, air=silent), **options).state == "cannot tell"


# Which organism serves which food.


def test_a_resistant_strain_has_the_d_of_the_food() -> None:
    record = history([0, 1, 1.5], [5.0, 62.0, 62.0], 30.0)
    turkey = said(verdict(record, meat="turkey").blind_spots)
    beef = said(verdict(record, meat="beef").blind_spots)
    assert "measured in ground turkey, lies outside every table; it needs 13.2 min" in turkey
    assert "needs 3.98 min at 60 °C" in beef
    assert "3.98" not in turkey
    assert "140 °F" in said(verdict(record, meat="turkey").blind_spots, "F")


def test_the_views_are_those_that_serve_the_meat() -> None:
    record = history([0, 1, 1.5], [5.0, 70.0, 70.0], 30.0)
    names = [view.name for view in verdict(record, meat="turkey").integrals]
    assert names[0] == "salmonella poultry guideline"
    assert "salmonella beef guideline" not in names
    wrong = verdict(record, meat="turkey", organism="salmonella beef guideline")
    assert "says nothing sure about turkey" in said(wrong.cautions)


def test_declared_growth_lengthens_what_is_asked() -> None:
    record = history([0, 1, 1.5], [5.0, 60.0, 60.0], 30.0)
    options = {"meat": "beef", "surface": "sealed bag", "standards": ["us meat 6.5 log"]}
    plain = verdict(record, **options).standards[0]
    grown = verdict(record, modelled_growth_log=3.0, **options).standards[0]
    assert plain.required_s == 720.0
    assert grown.required_s == pytest.approx(720.0 * 9.5 / 6.5)
    short = history([0, 1, 1.1], [5.0, 60.0, 60.0], 30.0)
    enough = verdict(short, modelled_growth_log=3.0, **options).standards[0].enough
    assert "(in all 18 min)" in shown(enough, "C")  # 12 min x 9.5/6.5 = 17.5 min, upwards


# Either unit.


def test_numbers_keep_their_side_in_both_units() -> None:
    level = float(fahrenheit_to_celsius(129.956))
    time = np.arange(0.0, 3 * HOUR, 60.0)
    core = np.interp(time / HOUR, [0, 1, 3], [4.0, level, level])
    answer = verdict((time, core), meat="beef", surface="sealed bag", hot_hold=True)
    log = verdict(log_of(time, core), meat="chicken", surface="sealed bag")
    # Below stand the titles of the sources, as they were given.
    texts = [text_of(one, "F").split("\nSources\n")[0] for one in (answer, log)]
    text = "".join(texts)
    assert "degrees" not in text
    assert "None" not in text
    assert "130.1" not in text
    assert "165.1" not in text
    assert "130.0 °F" not in text
    assert "50 °F and 130 °F" in text
    assert "165 °F plus 1.8 °F of error" in text.replace("asked for at ", "")
    assert "°C" not in text
    assert "degC" not in text
    # Nothing is dropped: as many lines in the one unit as in the other.
    for one in (answer, log):
        lines = [text_of(one, unit).splitlines() for unit in ("C", "F")]
        assert len(lines[0]) == len(lines[1])


def test_a_reading_is_never_shown_hotter_than_it_was() -> None:
    level = float(fahrenheit_to_celsius(129.956))
    record = history([0, 1, 2], [level, level, level])
    answer = verdict(record, meat="beef")
    (come_up,) = limits(answer, "come-up")
    assert "begins at 129.9 °F" in shown(come_up.text, "F")
    assert "begins at 54.4 °C" in shown(come_up.text, "C")


@pytest.mark.slow
def test_both_units_decide_alike() -> None:
    """A hundred thousand readings about the limits, in tenths of °F and as read in °C."""
    generator = np.random.default_rng(18)
    count, samples = 334, 300
    corners_f = np.array([41.0, 50.0, 70.0, 130.0, 135.0, 145.0, 158.0, 165.0])
    met = 0
    for _ in range(count):
        time = 60.0 * np.arange(samples)
        near = generator.choice(corners_f, samples) + generator.integers(-3, 4, samples) / 10
        near[40:] = 166.0 + generator.integers(-3, 4, samples - 40) / 10
        near[:5] = 38.0
        once = np.asarray(fahrenheit_to_celsius(near))
        twice = np.asarray(fahrenheit_to_celsius(celsius_to_fahrenheit(once)))
        tenth = np.asarray((near - 32.0) / 1.8)
        answers = [
            verdict((time, celsius), organism=(), new_piece_s=(), **BEEF)
            for celsius in (once, twice, tenth)
        ]
        states = [[item.state for item in (*a.standards, *a.limits)] for a in answers]
        assert states[0] == states[1] == states[2]
        met += answers[0].state == "met"
    assert met > count // 10


def test_a_probe_of_a_file_that_was_never_plugged_in_is_asked_about(tmp_path: Path) -> None:
    """As the reader leaves it out: the column is there, and has no reading in any row."""
    time, core = history([0, 4, 5], [4, 80, 81])
    rows = [
        f"{t:.0f},{110 + t % 540 / 60:.0f},{c:.1f}," for t, c in zip(time, core, strict=True)
    ]
    file = tmp_path / "log.csv"
    file.write_text("\n".join(["time_s,pit_c,meat_1_c,meat_2_c", *rows]), encoding="utf-8")
    log = read_log(file)
    asked = verdict(log, **BEEF)
    assert (asked.state, [d.kind for d in asked.doubts]) == (
        "cannot tell",
        ["never plugged in"],
    )
    assert asked.doubts[0].channel == "meat_2_c"
    assert verdict(log, probes={"meat_2_c": "not used"}, **BEEF).state == "met"

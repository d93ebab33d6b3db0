"""When a probe follows the air, and which falls meat cannot make."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from coreward import tables
from coreward.logs.log import Channel, ProbeLog
from coreward.questions.verdict import verdict
from coreward.questions.verdict.case import Case
from coreward.questions.verdict.doubts import _WINDOW_S as WINDOW_S
from coreward.questions.verdict.doubts import _follows as follows
from coreward.questions.verdict.doubts import _frozen as frozen
from coreward.questions.verdict.doubts import (
    about_new_piece,
    about_pieces,
    falls,
    probe_doubt,
    spoken,
)
from coreward.questions.verdict.record import _groups as groups
from coreward.tables.standards import load_standard
from coreward.words import shown

RULES = tables.load("verdict")


def made(with_it: int, steps: int, apart_k: float) -> tuple[NDArray[np.float64], ...]:
    """Air that goes up and down by 6 K each ten minutes; the probe goes along in some of them.

    It is `apart_k` from the air where it has gone along, and 6 K more where it has not.
    """
    time = WINDOW_S * np.arange(steps + 1.0)
    air = 100.0 + np.where(np.arange(steps + 1) % 2 == 1, 6.0, 0.0)
    meat = np.full(steps + 1, 100.0 + apart_k)
    meat[1 : with_it + 1] = air[1 : with_it + 1] + apart_k
    meat[with_it + 1 :] = meat[with_it]
    return time, meat, air


@pytest.mark.parametrize(
    ("with_it", "apart_k", "expected"),
    [
        # Seven of ten steps and as near as 2.5 times what counts as near (2 K): it follows.
        (7, 4.9, True),
        (6, 4.9, False),
        # Further away seven of ten do not do, nine of ten both ways do.
        (7, 12.0, False),
        (9, 12.0, True),
        (8, 12.0, False),
    ],
)
def test_a_probe_follows_the_air_in_most_of_its_steps(with_it, apart_k, expected) -> None:
    time, meat, air = made(with_it, 10, apart_k)
    assert RULES["air_step"] <= 6.0 < 20.0
    assert follows(time, meat, air, RULES) is expected


@pytest.mark.parametrize(("off_s", "expected"), [(1200.0, False), (1260.0, True)])
def test_a_probe_in_the_air_is_there_for_its_first_twenty_minutes(off_s, expected) -> None:
    """The air drifts by more than counts as a step, and never by as much in a window."""
    time = np.arange(0.0, 6001.0, 60.0)
    air = 100.0 + np.linspace(0.0, 1.5 * RULES["air_step"], time.size)
    meat = air - np.where(time == off_s, 10.0, 0.0)
    assert follows(time, meat, air, RULES) is expected


@pytest.mark.parametrize(
    ("before_c", "stands_c", "after_c", "found"),
    [
        # A hot number for so long, then a leap to cold meat: another piece, asked elsewhere.
        (40.0, 65.0, 5.0, False),
        # A leap that ends hot, or that was cold before only, is that of a probe that stopped.
        (40.0, 65.0, 45.0, True),
        (5.0, 65.0, 45.0, True),
        # From a number that is not hot.
        (5.0, 20.0, 5.0, True),
    ],
)
def test_a_probe_that_stands_still_and_leaps_had_stopped(
    before_c, stands_c, after_c, found
) -> None:
    still_s = RULES["frozen_time"]
    rises = np.linspace(before_c, stands_c, 61)
    values = np.concatenate(
        (rises, np.full(round(still_s / 60.0), stands_c), after_c + 0.1 * np.arange(40))
    )
    time = 60.0 * np.arange(values.size)
    expected = (3600.0, 3600.0 + still_s) if found else None
    assert frozen(time, values, np.zeros(values.size, dtype=bool), RULES) == expected


def test_a_new_piece_is_asked_about_with_its_times() -> None:
    both = about_new_piece((3600.0, 9000.0), rises=True)
    assert both.channel is None
    assert (both.kind, both.at_s) == ("new piece", (3600.0, 9000.0))
    assert shown(both.text, "C").startswith("At 1:00 and 2:30 it falls from hot")
    assert both.code == "new_piece_s=(3600, 9000,) (or new_piece_s=() for the same piece)"
    left = about_new_piece((3600.0,), rises=False)
    assert left.kind == "left the meat"
    assert shown(left.text, "C") == (
        "At 1:00 it falls faster than meat can cool: did the probe leave the meat there?"
    )


@pytest.mark.parametrize(
    ("time", "values", "found"),
    [
        # From 60 to 20 °C meat needs 900 s times ln 3, 989 s.
        ([0, 600, 1560], [60, 60, 20], ((1560.0, False, False),)),
        ([0, 600, 1600], [60, 60, 20], ()),
        # It rises again by 5 K from the coldest reading so far, and no less.
        ([0, 600, 1560, 1860], [60, 60, 20, 25], ((1560.0, True, False),)),
        ([0, 600, 1560, 1860], [60, 60, 20, 24.9], ((1560.0, False, False),)),
        ([0, 600, 1560, 1860, 2160, 2460], [60, 60, 20, 24, 19, 24], ((1560.0, True, False),)),
        (
            [0, 600, 1560, 1860, 2160, 2460],
            [60, 60, 20, 24, 19, 23.9],
            ((1560.0, False, False),),
        ),
        # It is as cold as a raw piece, though the record ends before that one warms.
        ([0, 600, 1560], [60, 60, 10], ((1560.0, False, True),)),
        ([0, 600, 1560, 1620], [60, 60, 20, 10], ((1560.0, False, True),)),
        ([0, 600, 1560], [60, 60, 10.1], ((1560.0, False, False),)),
        # 45 °C is hot and 25 °C cold, and nothing between.
        ([0, 300], [45, 25], ((300.0, False, False),)),
        ([0, 300], [44.9, 25], ()),
        ([0, 300], [45, 25.1], ()),
    ],
)
def test_a_fall_is_too_fast_for_meat(time, values, found) -> None:
    got = falls(np.array(time, float), np.array(values, float), RULES, 3600.0)
    assert got == found


@pytest.mark.parametrize(
    ("middle", "gap_s", "spans", "count"),
    [
        (35.0, 1200.0, (), 0),  # a step as long as the longest allowed is no gap
        (35.0, 1199.0, (), 1),
        (35.0, 1200.0, ((1300.0, 1400.0),), 1),
        (35.1, 1200.0, ((1300.0, 1400.0),), 0),  # less than half of what lies between
        (35.0, 1200.0, ((2400.0, 2500.0),), 1),  # from 35 to 24 °C
        (35.0, 1200.0, ((3600.0, 3700.0),), 0),
        (35.0, 1200.0, ((1100.0, 1200.0),), 0),
    ],
)
def test_a_fall_that_nobody_saw_counts(middle, gap_s, spans, count) -> None:
    """From 45 to 24 °C in 40 min, which meat can; half of 20 K of it behind a gap."""
    time = np.array([0.0, 1200.0, 2400.0, 3600.0])
    values = np.array([60.0, 45.0, middle, 24.0])
    assert len(falls(time, values, RULES, gap_s, spans)) == count


@pytest.mark.parametrize(
    ("meats", "names", "standard", "covered"),
    [
        # Asked for by name: of a mixture with poultry, that of poultry, and that alone.
        (("beef", "chicken"), True, "us poultry 7 log", True),
        (("beef", "chicken"), True, "us meat 6.5 log", False),
        (("beef", "pork"), True, "us meat 6.5 log", True),
        (("pork", "other meat"), True, "food code roast", False),
        # Not asked for: each covers its part, and the others are asked beside it.
        (("beef", "chicken"), False, "us meat 6.5 log", True),
        (("pork", "other meat"), False, "food code roast", True),
        (("chicken",), False, "us meat 6.5 log", False),
    ],
)
def test_a_standard_covers_a_mixture_or_its_part(meats, names, standard, covered) -> None:
    case = Case(
        record=None, meats=meats, stated=True, states=("intact",),
        names=(standard,) if names else None, probe_error_c=1.0, placement_error_c=0.0,
        surface=None, humid_s=None, humidity=None, oven_c=None, oven=None, mass_kg=None,
        growth_log=0.0, rules=RULES,
    )  # fmt: skip
    assert case.covers(load_standard(standard)) is covered


@pytest.mark.parametrize(("air_c", "kind"), [(60.0, None), (62.0, None), (62.1, "frozen")])
def test_a_probe_may_rest_at_the_temperature_around_it(air_c: float, kind: str | None) -> None:
    """For hours at 60 °C, which it nears, in a bath of that or of 2 K more; no hotter."""
    values = np.round(60.0 - 30.0 * np.exp(-np.arange(400) / 20.0), 1)
    pit = Channel("bath", "air", np.full(values.size, air_c))
    meat = Channel("core", "meat", values)
    log = ProbeLog(60.0 * np.arange(values.size), None, (pit, meat))
    doubt = probe_doubt(log, meat, [meat], RULES, 180.0)
    assert (doubt and doubt.kind) == kind


def test_probes_are_sorted_into_pieces_as_it_is_said() -> None:
    one, other = (Channel(name, "meat", np.array([60.0])) for name in ("a", "b"))
    together, apart = [("the piece", [one, other])], [("a", [one]), ("b", [other])]
    assert groups([one, other], "one", [one, other]) == [("", together)]
    assert groups([one, other], "each", [one, other]) == [("", apart)]
    assert groups([one, other], None, [one, other]) == [
        ("all probes in one piece", together),
        ("each probe in a piece of its own", apart),
    ]
    for pieces in (None, "one", "each"):
        assert groups([one], pieces, [one]) == [("", [("a", [one])])]


def leaping(
    *,
    step_s: float = 60.0,
    from_c: float = 45.0,
    by_k: float = 45.0,
    lag_s: float = 60.0,
    before_k_per_min: float = 0.1,
    after_k_per_min: float = 0.1,
) -> ProbeLog:
    """Five hours of a calm core that leaps as a probe does that is put elsewhere."""
    time = np.arange(0.0, 5.0 * 3600.0 + 1.0, step_s)
    moved = np.maximum(time - 4.0 * 3600.0, 0.0)
    values = from_c - before_k_per_min * (240.0 - np.minimum(time, 14400.0) / 60.0)
    values += by_k * (1.0 - np.exp(-moved / lag_s)) + after_k_per_min * moved / 60.0
    meat = Channel("core", "meat", np.round(values, 1))
    return ProbeLog(time, None, (Channel("pit", "air", np.full(time.size, 110.0)), meat))


@pytest.mark.parametrize(
    ("how", "asked"),
    [
        ({}, True),
        # A slow probe, and one of a slow logger.
        ({"lag_s": 120.0}, True),
        ({"step_s": 300.0}, True),
        ({"step_s": 900.0}, True),
        # In a quarter of an hour meat may rise by a kelvin in each minute beyond 400 s.
        ({"step_s": 900.0, "by_k": 16.0}, False),
        ({"by_k": 11.0}, True),
        ({"by_k": 8.0}, False),
        # As a thin piece in a bath warms: what follows is a third of it.
        ({"lag_s": 290.0}, False),
        # From a core that no row is hotter than, and from one that was not calm.
        ({"from_c": 83.0, "by_k": 20.0}, False),
        ({"before_k_per_min": 0.6}, False),
        # It goes on as fast as it leapt: by a fifth and more of it.
        ({"by_k": 20.0, "after_k_per_min": 0.9}, False),
    ],
)
def test_a_calm_core_that_leaps_is_asked_about(how, asked) -> None:
    """45 K within minutes, of a probe poked through the meat, met every standard before."""
    log = leaping(**how)
    core = log.meat(1)
    doubt = probe_doubt(log, core, [core], RULES, 330.0)
    assert (doubt is not None and doubt.kind == "leap") is asked


def test_a_leap_is_told_and_answered() -> None:
    log = leaping()
    told = verdict(log, meat="beef", surface="sealed bag", pieces="one")
    (doubt,) = told.doubts
    assert shown(doubt.text, "C") == (
        "core leaps from 45.0 °C to 90.5 °C at 4:06, and no core that stood calm warms so: was "
        "it in the meat before and after, and in one place? If not, its record is not that of "
        "the meat."
    )
    assert (told.state, told.exit_code) == ("cannot tell", 2)
    assert doubt.command == "--probe 'core=in the air' (or not used, or in the meat)"
    said = verdict(log, meat="beef", surface="sealed bag", probes={"core": "in the meat"})
    assert said.doubts == ()
    # In an unknown time it may have warmed for hours: that is told as what it is.
    restarted = replace(log, unknown_spans=((14400.0, 14460.0),))
    assert probe_doubt(restarted, log.meat(1), [], RULES, 330.0) is None


MINUTES = np.arange(0.0, 5.0 * 3600.0 + 1.0, 60.0)
WARMING = np.round(8.0 + 0.2 * MINUTES / 60.0, 1)


def beside(core_c: NDArray[np.float64], air_c: NDArray[np.float64] | None = None) -> ProbeLog:
    """A core of five hours beside another that is whole, and the air."""
    steady = np.full(MINUTES.size, 110.0) if air_c is None else air_c
    channels = (
        Channel("pit", "air", steady), Channel("core", "meat", core_c),
        Channel("other", "meat", WARMING),
    )  # fmt: skip
    return ProbeLog(MINUTES, None, channels)


def asked_of(log: ProbeLog) -> tuple[str, str] | None:
    doubt = probe_doubt(log, log.meat(1), log.meats, RULES, 330.0)
    return None if doubt is None else (doubt.kind, shown(doubt.text, "F"))


def only(rows: NDArray[np.bool_]) -> NDArray[np.float64]:
    return np.where(rows, WARMING, np.nan)


@pytest.mark.parametrize(
    ("core_c", "told"),
    [
        (WARMING, None),
        (
            only(MINUTES < 0.0),
            ("never plugged in", "core: no reading at all (unplugged?): was it in the meat?"),
        ),
        (
            np.full(MINUTES.size, 60.0),
            ("frozen", "core: every reading is 140.0 °F: the probe may be stuck. Was it in the "
             "meat?"),
        ),
        # A whole minute later than the longest step; and from 10 °C or colder its own.
        (
            only(MINUTES >= 6000.0),
            ("late", "core begins at 1:40, with 82.4 °F, later than the log: was it in the "
             "meat, and is what came before not missing?"),
        ),
        (only(MINUTES >= 360.0), None),
        # 9.9 °C within its first five minutes is cold, whatever follows.
        (only(MINUTES >= 720.0), ("late", "core begins at 0:12, with 50.7 °F, later than the "
         "log: was it in the meat, and is what came before not missing?")),
        # A quarter of an hour of silence before the end of another, and longer.
        (
            only(MINUTES <= 17040.0),
            ("silent early", "core falls silent at 4:44 with 148.6 °F, 16 min before another "
             "probe: was its piece done and taken off then?"),
        ),
        (only(MINUTES <= 17100.0), None),
        # From 30 °C on the same number for three hours and more.
        (
            np.where(MINUTES >= 6600.0, 30.0, WARMING),
            ("frozen", "core reads the same number from 1:50 to 5:00, longer than meat stands "
             "so still, and the probe may have stopped: is its record that of the meat?"),
        ),
    ],
)  # fmt: skip
def test_what_is_asked_of_a_probe(core_c, told) -> None:
    """One that warms by 0.2 K each minute from 8 °C, and what may be wrong with it."""
    assert asked_of(beside(core_c)) == told


def test_a_probe_that_goes_with_the_air_is_named_with_it() -> None:
    air = 100.0 + 12.0 * np.sin(MINUTES / 1500.0)
    assert asked_of(beside(np.round(air - 0.5, 1), air)) == (
        "in the air", "core goes with pit, as if it lay in the air: was it in the meat?"
    )  # fmt: skip
    # The words to answer with, in code and on the command line.
    doubt = probe_doubt(beside(air, air), beside(air, air).meat(1), [], RULES, 330.0)
    assert doubt is not None
    assert doubt.code == "probes={'core': 'in the air'} (or 'not used', or 'in the meat')"
    assert doubt.command == "--probe 'core=in the air' (or not used, or in the meat)"
    assert doubt.answers == ("in the meat", "in the air", "not used")


@pytest.mark.parametrize(
    ("word", "meant"),
    [("meat", "in the meat"), (" In the Meat ", "in the meat"), ("air", "in the air"),
     ("in the air", "in the air"), ("spare", "not used"), ("unused", "not used"),
     ("not used", "not used"), ("somewhere", "somewhere")],
)  # fmt: skip
def test_an_answer_is_understood_in_other_words(word: str, meant: str) -> None:
    assert spoken(word) == meant


def test_which_probes_are_in_one_piece_is_asked_with_all_names() -> None:
    asked = about_pieces(["T1", "T2", "T3"])
    assert shown(asked.text, "C") == "Are T1, T2 and T3 in one piece, or each in its own?"
    assert asked.command == "--pieces one (or each, or 'piece 1=T1; piece 2=T2; piece 3=T3')"
    assert (
        asked.code == "pieces='one' (or 'each', or {'brisket': ('T1', 'T2'), 'pork': ('T3',)})"
    )
    assert (asked.kind, asked.answers, asked.blocks) == ("pieces", ("one", "each"), False)

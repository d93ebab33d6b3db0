"""No "met" of the package is unknown to an oracle that knows every second of the truth.

The oracle itself is held to cases worked out by hand from the sources first. The long
run is `verdict_audit.py`; here are a few hundred histories.
"""

from __future__ import annotations

import os

import numpy as np
import pytest

from support import verdict_oracle as oracle
from support.random_histories import History, make_history
from support.verdict_comparing import Answer, compare, run

HISTORIES = 2_000 if os.environ.get("COREWARD_FULL") else 200
HOUR = 3600.0
BEEF, INTACT = ("beef",), ("intact",)


def line(*corners: tuple[float, float]) -> np.ndarray:
    """Return temperatures each second along straight lines between (hours, °C)."""
    hours, values = np.array(corners).T
    return np.interp(np.arange(0.0, hours[-1] * HOUR + 1.0), hours * HOUR, values)


def judged(*points: np.ndarray, meats=BEEF, states=INTACT, **options) -> oracle.PieceTruth:
    """Judge one piece known at some points."""
    return oracle.judge_piece(
        oracle.TruePiece("piece", np.vstack(points)), meats, states, **options
    )


def kinds(truth: oracle.PieceTruth) -> set[str]:
    """Return the kinds of what is broken."""
    return {kind for kind, _ in truth.broken}


def held(celsius: float, seconds: int, name: str) -> bool:
    """Return whether one standard is completed by so many seconds at a temperature."""
    rule = oracle.hold_rules()[name][1]
    cold = np.full(100, 3.0)
    record = np.concatenate((cold, np.full(seconds + 1, celsius), cold))
    return judged(record, rules=(rule,)).lethality_s is not None


# --- the oracle against the sources -----------------------------------------------------


@pytest.mark.parametrize(
    ("name", "fahrenheit", "least_s"),
    [
        # Guideline of 2021, A2 type 1: 154 °F for 27 s; the law asks for 26.8 s.
        ("us meat 6.5 log", 154, 27),
        # Appendix A of 1999: 112 min at 130 °F, 4 min at 145 °F (the law: 212.5 s).
        ("us meat 6.5 log", 130, 6720),
        ("us meat 6.5 log", 145, 240),
        # Printed short of the law, which is 6720 s x 10^-2 = 67.2 s and 6720 x 10^-0.3.
        ("us meat 6.5 log", 150, 68),
        ("us meat 6.5 log", 133, 3368),
        # Printed as 0 s; by the law 6720 s x 10^-2.8 = 10.65 s.
        ("us meat 6.5 log", 158, 11),
        # The longer of chicken (35.0 min) and turkey (33.7 min), and the other way round.
        ("us poultry 7 log", 140, 2100),
        ("us poultry 7 log", 150, 294),
        # Food Code 3-401.11: tenderised meat 155 °F for 17 s; poultry 165 °F, older 15 s.
        ("food code ground", 155, 17),
        ("food code poultry", 165, 15),
        # Consumer chart: 145 °F and a rest of 3 min.
        ("us consumer whole cuts", 145, 180),
    ],
)
def test_a_row_asks_for_the_longer_of_print_and_law(name, fahrenheit, least_s) -> None:
    celsius = oracle.fahrenheit(fahrenheit) + 1e-6
    assert held(celsius, least_s, name)
    assert not held(celsius, least_s - 1, name)
    assert not held(celsius - 0.01, least_s, name)


@pytest.mark.parametrize(("celsius", "least_s"), [(60.0, 5580), (65.0, 840), (70.0, 120)])
def test_the_british_rows_are_the_revised_ones(celsius: float, least_s: int) -> None:
    # ACMSF 2007, z = 6 K below 70 °C: 93 min at 60 °C and 14 min at 65 °C.
    assert held(celsius, least_s, "uk 70 for 2 min")
    assert not held(celsius, least_s - 1, "uk 70 for 2 min")


def test_a_broken_hold_begins_again() -> None:
    whole = np.concatenate((np.full(10, 3.0), np.full(121, 70.0)))
    rule = oracle.hold_rules()["uk 70 for 2 min"][1]
    assert judged(whole, rules=(rule,)).lethality_s == 130.0
    broken = whole.copy()
    broken[70] = 64.9
    assert judged(broken, rules=(rule,)).lethality_s is None


@pytest.mark.parametrize(("hours", "met"), [(5.99, True), (6.01, False)])
def test_come_up_is_six_hours_from_50_to_130_fahrenheit(hours: float, met: bool) -> None:
    # Guideline of 2021, p. 23-24.
    ramp = line((0.0, 10.0), (hours, 54.4444), (hours + 0.2, 85.0), (hours + 0.5, 85.0))
    truth = judged(ramp)
    assert truth.come_up_s == pytest.approx(hours * HOUR, abs=2.0)
    assert truth.met is met
    assert kinds(truth) == (set() if met else {"come-up"})


def test_the_clock_goes_on_until_the_kill() -> None:
    # 56 °C at 3 h, the fire goes out, 10 h at 30 °C, then 92 °C: p. 25, "the second cook
    # continues the same clock". By hand: 2.64 h up (10 to 54.44 at 17 K/h from 5 °C), then
    # 10 h at 30 °C and the ramps beside it.
    record = line(
        (0.0, 5.0), (3.0, 56.0), (3.5, 30.0), (13.5, 30.0), (14.5, 92.0), (15.0, 92.0)
    )
    truth = judged(record)
    down, up = 0.5 * 24.4444 / 26.0, 24.4444 / 62.0
    by_hand = 44.4444 / 17.0 + down + 10.0 + up
    assert truth.come_up_s == pytest.approx(by_hand * HOUR, abs=5.0)
    assert kinds(truth) == {"come-up"}


def test_a_long_stay_before_a_second_kill_stays_broken() -> None:
    # 80 °C, 14 h at 40 °C, 81 °C: every later heat leaves toxin and spores.
    record = line(
        (0.0, 5.0), (3.0, 80.0), (3.2, 80.0), (4.0, 40.0), (18.0, 40.0), (19.0, 81.0), (20, 81)
    )
    truth = judged(record)
    by_hand = 0.8 * 17.2222 / 40.0 + 14.0 + 17.2222 / 41.0
    assert truth.upper_s == pytest.approx(by_hand * HOUR, abs=5.0)
    assert kinds(truth) == {"later stay, 2 h", "later stay, 6 h"}


def test_a_kill_between_two_stays_resets_their_count() -> None:
    def twice(reheated_c: float) -> oracle.PieceTruth:
        up = [(3.0, 80.0), (3.2, 80.0)]
        first = [(3.5, 40.0), (4.9, 40.0), (5.2, reheated_c), (5.5, reheated_c)]
        second = [(5.8, 40.0), (7.2, 40.0), (7.4, 62.0)]
        return judged(line((0.0, 5.0), *up, *first, *second))

    assert twice(80.0).met
    assert twice(58.0).upper_s > 2.8 * HOUR
    assert "later stay, 2 h" in kinds(twice(58.0))


@pytest.mark.parametrize(
    ("legs_h", "upper_h", "whole_h"),
    [
        # cooling.md, table 16.4: a 3.75 kg roast in air at 1 °C, 2 m/s (70 to 50, 50 to 12
        # and 12 to 5 °C). By hand: 7.22/20 of the first leg, 28.89/38 of the second.
        ((1.2, 3.5, 2.9), 1.2 * 7.2222 / 20 + 3.5 * 28.8889 / 38, 1.2 * 7.2222 / 20 + 6.4),
        # The same roast by vacuum cooling.
        ((0.1, 1.4, 0.9), 0.1 * 7.2222 / 20 + 1.4 * 28.8889 / 38, 0.1 * 7.2222 / 20 + 2.3),
    ],
)
def test_measured_cooling_of_a_roast(legs_h, upper_h: float, whole_h: float) -> None:
    end = np.cumsum((3.5, *legs_h))
    record = line(
        (0.0, 5.0), (3.0, 70.0), (3.5, 70.0), (end[1], 50.0), (end[2], 12.0), (end[3], 5.0)
    )
    truth = judged(record, cooling_asked=True)
    assert truth.upper_s == pytest.approx(upper_h * HOUR, abs=5.0)
    assert truth.whole_s == pytest.approx(whole_h * HOUR, abs=5.0)
    assert truth.met is (upper_h <= 2.0 and whole_h <= 6.0)


@pytest.mark.parametrize(
    ("to_middle_h", "to_cold_h", "broken"),
    [
        (1.99, 3.99, set()),
        (2.02, 3.0, {"later stay, 2 h"}),
        (1.5, 4.52, {"later stay, 6 h"}),
    ],
)
def test_food_code_cooling(to_middle_h: float, to_cold_h: float, broken: set[str]) -> None:
    # 3-501.14(A): 135 to 70 °F within 2 h, to 41 °F within 6 h in all.
    begin, middle = 3.5, 3.5 + to_middle_h
    record = line(
        (0.0, 5.0),
        (3.0, 80.0),
        (begin - 0.001, 80.0),
        (begin, oracle.STAY_TOP_C),
        (middle, oracle.STAY_MIDDLE_C),
        (middle + to_cold_h, oracle.STAY_BOTTOM_C),
        (middle + to_cold_h + 0.1, 3.0),
    )
    assert kinds(judged(record, cooling_asked=True)) == broken


CHILLED = ((0.0, 5.0), (3.0, 80.0), (3.5, 80.0), (5.0, 20.0), (7.0, 3.0), (9.0, 3.0))


def test_twelve_hours_at_30_after_a_good_chill() -> None:
    truth = judged(line(*CHILLED, (9.5, 30.0), (21.5, 30.0)))
    assert kinds(truth) == {"later stay, 2 h", "later stay, 6 h"}
    assert judged(line(*CHILLED)).met


def test_a_reheating_in_two_hours_is_none_of_the_stays() -> None:
    # Food Code 3-403.11: 74 °C for 15 s within 2 h. From 3 to 75 °C in 1.9 h; in 3.2 h,
    # 36.1 K of 72 lie between 21.1 and 57.2 °C: 1.6 h, on top of the chill's 0.9 h.
    assert judged(line(*CHILLED, (10.9, 75.0), (11.0, 75.0))).met
    slow = judged(line(*CHILLED, (12.2, 75.0), (12.5, 75.0)))
    assert kinds(slow) == {"later stay, 2 h"}
    chill_h = 1.5 * 36.1111 / 60.0
    assert slow.upper_s == pytest.approx((chill_h + 3.2 * 36.1111 / 72.0) * HOUR, abs=5.0)
    # Only to 70 °C, in 1.9 h: no reheating, and its time adds.
    short = judged(line(*CHILLED, (10.9, 70.0), (10.92, 70.0), (10.95, 60.0)))
    assert short.upper_s == pytest.approx((chill_h + 1.9 * 36.1111 / 67.0) * HOUR, abs=5.0)


def test_the_coldest_point_decides_the_kill_and_the_hottest_the_cooling() -> None:
    quick = line((0.0, 5.0), (2.0, 80.0), (4.0, 80.0), (4.5, 3.0), (9.0, 3.0))
    slow = line((0.0, 5.0), (3.5, 80.0), (4.0, 80.0), (8.0, 3.0), (9.0, 3.0))
    assert judged(quick).met
    together = judged(quick, slow)
    assert together.lethality_s is not None
    assert together.lethality_s > 3.0 * HOUR
    assert together.upper_s == pytest.approx(4.0 * 36.1111 / 77.0 * HOUR, abs=5.0)
    # One after the other in the growth range: neither point alone is long there.
    one = line((0.0, 5.0), (3, 80), (3.5, 80), (3.6, 50), (5.2, 50), (5.3, 3), (8.0, 3))
    two = line((0.0, 5.0), (3, 80), (5.1, 80), (5.2, 50), (6.8, 50), (6.9, 3), (8.0, 3))
    assert judged(one).met
    assert judged(two).met
    assert judged(one, two).upper_s < 2.0 * HOUR


def test_a_mixture_is_judged_by_every_meat_of_it() -> None:
    record = line((0.0, 5.0), (3.0, 71.5), (3.5, 71.5))
    assert judged(record, meats=("pork",)).met
    assert not judged(record, meats=("other meat",)).met
    assert not judged(record, meats=("other meat", "pork")).met
    names = {rule.name for rule in oracle.deciding_rules(("beef", "chicken"), INTACT)}
    assert {"us meat 6.5 log", "us poultry 7 log", "food code poultry"} <= names


def test_stuffed_meat_needs_165_fahrenheit_with_any_other_state() -> None:
    # Food Code 3-401.11(A)(3).
    for states in (("stuffed",), ("rolled", "stuffed")):
        short = line((0.0, 5.0), (3.0, 73.0), (3.5, 73.0))
        enough = line((0.0, 5.0), (3.0, 74.0), (3.5, 74.0))
        assert judged(short, states=("rolled",)).met
        assert kinds(judged(short, states=states)) == {"no lethality"}
        assert judged(enough, states=states).met


def test_a_warm_start_has_missed_a_part() -> None:
    assert kinds(judged(line((0.0, 22.0), (3.0, 85.0), (3.5, 85.0)))) == {"began warm"}
    assert judged(line((0.0, 20.0), (3.0, 85.0), (3.5, 85.0))).met


def test_humid_air_counts_while_cooking_only() -> None:
    record = line((0.0, 5.0), (4.0, 85.0), (14.0, 85.0))[None]

    def with_humid_air(begin_h: float, end_h: float) -> set[str]:
        piece = oracle.TruePiece(
            "piece", record, moist_s=((begin_h * HOUR, end_h * HOUR),), wet_surface=False
        )
        return kinds(oracle.judge_piece(piece, BEEF, INTACT))

    # Guideline of 2021, table 1, option 3: a quarter of the cook or 1 h.
    assert with_humid_air(1.0, 2.1) == set()
    assert with_humid_air(1.0, 1.9) == {"moist surface"}
    assert with_humid_air(10.0, 14.0) == {"moist surface"}


# --- the package against the oracle -----------------------------------------------------


def test_no_met_that_the_truth_does_not_confirm() -> None:
    tally = run(HISTORIES, 500_000)
    wrong = {result.seed: result.broken for result in tally.unconfirmed}
    assert not wrong
    # Enough of each kind that the two figures mean something.
    assert tally.states["met"] >= HISTORIES // 10
    assert tally.counts["expected"] >= HISTORIES // 20
    # A tenth over twenty thousand; a few hundred scatter about it.
    assert tally.lost_share < 0.2


def lenient(history: History) -> Answer:
    """Judge as nobody should: the come-up ends at 55 °C, and nothing later counts."""
    for piece in history.truth:
        coldest = piece.points_c.min(axis=0)
        hot = np.flatnonzero(coldest >= 55.0)
        if not hot.size or coldest.max() < 65.0:
            return Answer("not met")
        before = coldest[: hot[0]]
        if np.sum((before >= 10.0) & (before <= 54.44)) > 6 * HOUR:
            return Answer("not met")
    return Answer("met")


def test_a_lenient_judge_is_caught() -> None:
    """One that stops the clock at 55 °C, and asks for 65 °C: every kind of mistake is found."""
    found = [compare(make_history(seed), lenient) for seed in range(120)]
    broken = {kind for result in found if result.unconfirmed for kind, _ in result.broken}
    assert "come-up" in broken
    assert "later stay, 2 h" in broken
    assert "no lethality" in broken
    # And an honest refusal is never counted as a mistake.
    refused = [compare(make_history(seed), lambda _: Answer("not met")) for seed in range(20)]
    assert not any(result.unconfirmed for result in refused)

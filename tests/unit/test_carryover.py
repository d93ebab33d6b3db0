"""Carryover read off a result, and the pull for a wanted peak."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.cook.rest import BoxPlan, rest_stage
from coreward.cook.stages import Liquid
from coreward.errors import InputError, OutOfRangeError
from coreward.physics.lethality import load_kinetics
from coreward.questions.rest import carryover as module
from coreward.questions.rest.carryover import (
    carryover,
    carryover_by_size_and_pit,
    carryover_of,
    dry_twin,
    heat_words,
    pull_for_peak,
    time_at_or_above,
)
from coreward.questions.rest.wrapping import wrapped_cook
from coreward.words import Degrees, DegreesBetween, Difference, Lasting, Reading

pytestmark = pytest.mark.quick

PIECE = cw.Piece(cw.Cylinder(0.09), cw.meat("beef rib roast"), 4.0)
PIT = cw.Surroundings(150.0, dew_point_c=35.0, heat_transfer=8.0)
OVEN = cw.Stage(PIT, duration_s=36000.0, until_core_c=52.0, label="oven")
# Coarse and quick: these tests are about the question, not about the engine.
QUICK = {"cells": 30, "tolerance": 0.05}


@pytest.fixture(scope="module")
def roast():
    return cw.simulate(PIECE, [OVEN, rest_stage("kitchen", 7200.0, piece=PIECE)])


def test_times_above_are_exact_on_a_triangle():
    """Up from 0 to 100 in 100 s and back: above L for 2 (100 - L) seconds."""
    time, value = np.array([0.0, 100.0, 200.0]), np.array([0.0, 100.0, 0.0])
    np.testing.assert_allclose(
        time_at_or_above(time, value, [0.0, 25.0, 90.0, 100.0, 101.0]),
        [200.0, 150.0, 20.0, 0.0, 0.0],
    )
    flat = time_at_or_above(np.array([0.0, 60.0]), np.array([55.0, 55.0]), [55.0, 55.1])
    np.testing.assert_allclose(flat, [60.0, 0.0])
    assert time_at_or_above(np.zeros(1), np.zeros(1), [1.0])[0] == 0.0


def test_peak_time_and_rise_are_those_of_the_curve(roast):
    c = carryover(roast)
    assert c.pull_core_c == pytest.approx(52.0, abs=1e-3)
    assert c.peak_core_c == roast.core_c.max()
    assert c.rise_k == pytest.approx(c.peak_core_c - c.pull_core_c)
    assert 600.0 < c.peak_after_s < 3600.0
    assert not c.still_rising
    assert c.pull_s + c.peak_after_s == pytest.approx(roast.time_s[np.argmax(roast.core_c)])
    # What is above in the rest is part of what is above in all.
    assert (c.above_in_rest_s <= c.above_s + 1e-6).all()
    assert c.loss_in_rest >= c.evaporated_in_rest > 0.0
    # Pulled below 54.4 °C, where no kinetics are credited: all of it comes in the rest.
    assert c.lethality_in_rest_log == c.lethality_log >= 0.0


def test_the_sentence_has_its_numbers_in_either_unit(roast):
    c = carryover(roast)
    lost, vapour = 100.0 * c.loss_in_rest, 100.0 * c.evaporated_in_rest
    for units in ("C", "F"):
        said = c.sentence.shown(units)
        peak, sure = (Reading(x).shown(units) for x in (c.peak_core_c, c.sure_peak_c))
        assert said == (
            f"Pulled at {Degrees(c.pull_core_c, 1).shown(units)}, the core goes to {peak}, a "
            f"rise of {Difference(c.rise_k).shown(units)}, "
            f"{Lasting(c.peak_after_s).shown(units)} later. Measured roasts rose by 0.2 to "
            f"0.85 of what the model says: count on a peak of {sure} only. In the rest the "
            f"piece loses {lost:.1f} % of its raw mass, {vapour:.1f} % as vapour."
        )
    assert "Pulled at 52.0 °C" in c.sentence.shown("C")
    assert "Pulled at 125.6 °F" in c.sentence.shown("F")


def test_of_a_rest_only_the_least_that_was_measured_counts_for_bacteria():
    """The rise by its least share, the cooling by its fastest, by hand."""
    later = cw.Stage(PIT, duration_s=36000.0, until_core_c=58.0, label="oven")
    rest = rest_stage("kitchen", 7200.0, piece=PIECE)
    r = cw.simulate(PIECE, [later, rest], **QUICK)
    c = carryover(r)
    low = tables.load("carryover")["rise_low"]
    fast = tables.load("holding")["fast_cooked"]
    assert c.sure_peak_c == pytest.approx(c.pull_core_c + low * c.rise_k)
    inside = r.time_s >= c.pull_s
    core = r.core_c[inside]
    core = np.where(core > c.pull_core_c, c.pull_core_c + low * (core - c.pull_core_c), core)
    by_hand = cw.log_reduction(fast * (r.time_s[inside] - c.pull_s), core, c.kinetics)
    # The row at the pull itself may be missing among the stored ones: a step of the rest.
    assert c.lethality_in_rest_log == pytest.approx(by_hand, rel=0.02)
    full = cw.log_reduction(r.time_s[inside], r.core_c[inside], c.kinetics)
    assert 0.0 < c.lethality_in_rest_log < 0.5 * full


def test_a_place_as_hot_as_the_core_goes_on_cooking_it():
    hot = rest_stage("warm oven", 7200.0, piece=PIECE, air_c=70.0, wrap="foil")
    r = cw.simulate(PIECE, [OVEN, hot], **QUICK)
    c = carryover(r)
    assert c.sure_peak_c == c.peak_core_c
    assert c.lethality_log == pytest.approx(
        cw.log_reduction(r.time_s, r.core_c, c.kinetics), rel=1e-6
    )
    assert "Measured roasts" not in str(c.sentence)


@pytest.mark.parametrize(
    ("cut", "kinetics"),
    [
        ("turkey breast", "salmonella poultry guideline"),
        ("chicken breast", "salmonella poultry guideline"),
        ("pork loin", "salmonella beef guideline"),
        ("lamb leg", "salmonella beef guideline"),
        ("salmon side", ""),
    ],
)
def test_the_table_decides_which_kinetics_a_meat_has(cut, kinetics):
    piece = cw.Piece(cw.Cylinder(0.06), cw.meat(cut), 4.0)
    oven = cw.Stage(PIT, duration_s=36000.0, until_core_c=59.0)
    r = cw.simulate(piece, [oven, rest_stage("kitchen", 1800.0, piece=piece)], **QUICK)
    c = carryover(r)
    assert c.kinetics == kinetics
    said = heat_words(c).shown("F")
    assert "does not replace a calibrated thermometer" in said
    if kinetics:
        whole = math.floor(10.0 * c.lethality_log) / 10.0
        rest = math.floor(10.0 * c.lethality_in_rest_log) / 10.0
        assert f"is worth {whole} log of Salmonella in " in said
        assert f"({kinetics}), {rest} log of it from the rest" in said
    else:
        assert math.isnan(c.lethality_log)
        assert math.isnan(c.lethality_in_rest_log)
        assert said.startswith("No kinetics were measured in this meat")
    if cut in ("turkey breast", "salmon side"):
        with pytest.raises(OutOfRangeError, match="hold for roast, cooked and corned beef"):
            carryover(r, kinetics="salmonella beef guideline")
    if cut == "turkey breast":
        own = carryover(r, kinetics=replace(load_kinetics("o157 turkey"), name="mine"))
        assert "of Escherichia coli O157:H7 in lean ground turkey (mine)" in str(
            heat_words(own)
        )
        other = carryover(r, kinetics="o157 turkey")
        assert other.kinetics == "o157 turkey"
        assert other.lethality_log != c.lethality_log


def test_lethality_is_split_at_the_pull():
    later = cw.Stage(PIT, duration_s=36000.0, until_core_c=62.0, label="oven")
    rest = rest_stage("kitchen", 7200.0, piece=PIECE)
    c = carryover(cw.simulate(PIECE, [later, rest]))
    oven = cw.simulate(PIECE, later)
    at_pull = cw.log_reduction(oven.time_s, oven.core_c, c.kinetics)
    assert at_pull > 0.0
    assert c.lethality_log - c.lethality_in_rest_log == pytest.approx(at_pull, rel=1e-6)


def test_a_rest_cut_short_says_that_the_core_still_rises():
    short = cw.simulate(PIECE, [OVEN, rest_stage("kitchen", 300.0, piece=PIECE)])
    c = carryover(short)
    assert c.still_rising
    assert "still rises" in str(c.sentence)


def test_a_rest_of_no_length_has_no_carryover():
    c = carryover(cw.simulate(PIECE, [OVEN, rest_stage("kitchen", 0.0, piece=PIECE)]))
    assert c.rise_k == pytest.approx(0.0, abs=1e-9)
    assert c.evaporated_in_rest == 0.0
    assert c.lethality_in_rest_log == pytest.approx(0.0, abs=1e-9)


def test_the_rest_is_the_last_stage_unless_it_is_said():
    """A cook in two stages and a rest in two."""
    first = replace(OVEN, until_core_c=30.0)
    rests = [rest_stage("kitchen", 600.0, piece=PIECE) for _ in range(2)]
    result = cw.simulate(PIECE, [first, OVEN, *rests], **QUICK)
    ends = [record.end_s for record in result.records]
    assert carryover(result).pull_s == carryover(result, -1).pull_s == ends[2]
    assert carryover(result, 2).pull_s == carryover(result, -2).pull_s == ends[1]
    assert carryover(result, 1).pull_s == ends[0]


@pytest.mark.parametrize("rest_from", [0, 2, -2, 5])
def test_a_stage_that_cannot_be_the_rest_is_refused(roast, rest_from):
    with pytest.raises(InputError, match="first of the rest"):
        carryover(roast, rest_from)


def test_dry_conduction_carries_over_more_and_is_pulled_at_the_same_core():
    two = carryover_of(PIECE, OVEN, rest_stage("kitchen", 7200.0, piece=PIECE), **QUICK)
    assert two.dry.pull_core_c == pytest.approx(two.wet.pull_core_c, abs=0.05)
    assert two.dry.rise_k > 1.5 * two.wet.rise_k
    assert two.dry.result.evaporated_fraction[-1] == 0.0
    assert "surface" in str(two.sentence)
    twin = dry_twin(PIECE)
    assert twin.shape == PIECE.shape
    assert not twin.material.moist


def test_the_pull_gives_the_peak_that_was_asked_for():
    answer = pull_for_peak(PIECE, PIT, "kitchen", 60.0, band=False, **QUICK)
    assert answer.reached
    check = cw.simulate(
        PIECE,
        [
            cw.Stage(PIT, duration_s=1e5, until_core_c=answer.pull_c),
            rest_stage("kitchen", 7200.0, piece=PIECE),
        ],
        **QUICK,
    )
    # Root found within 0.02 K of pull temperature.
    assert carryover(check).peak_core_c == pytest.approx(60.0, abs=0.05)
    assert answer.pull_c < 60.0
    c = answer.carryover
    for units in ("C", "F"):
        said = answer.sentence.shown(units)
        pull, peak = (Degrees(x, 1).shown(units) for x in (answer.pull_c, 60.0))
        assert said == (
            f"Pull at {pull} for a peak of {peak}: the core still rises by "
            f"{Difference(c.rise_k).shown(units)} in {Lasting(c.peak_after_s).shown(units)}. "
            "Measured roasts rose by 0.2 to 0.85 of what the model says: count on a peak of "
            f"{Reading(c.sure_peak_c).shown(units)} only."
        )


@pytest.mark.parametrize("place", ["kitchen", "warm oven", "ice bath"])
@pytest.mark.parametrize("pit_c", [90.0, 163.0, 220.0])
@pytest.mark.parametrize("size_m", [0.04, 0.1])
def test_a_pull_is_found_with_few_cooks_and_gives_its_peak(place, pit_c, size_m, monkeypatch):
    tried = []
    cook = module.cook_and_rest

    def counted(*arguments, **options):
        tried.append(arguments)
        return cook(*arguments, **options)

    piece = replace(PIECE, shape=cw.Cylinder(size_m))
    pit = cw.Surroundings(pit_c, dew_point_c=35.0)
    with monkeypatch.context() as watched:
        watched.setattr(module, "cook_and_rest", counted)
        answer = pull_for_peak(piece, pit, place, 57.0, band=False, **QUICK)
    assert answer.reached
    assert answer.carryover.peak_core_c == pytest.approx(57.0, abs=0.05)
    # One at the peak, two around the pull, and a few for the root between them.
    assert len(tried) <= 7


@pytest.mark.parametrize(
    ("peak_c", "reached"), [(45.0, True), (59.99, True), (60.0, True), (60.1, False)]
)
def test_a_peak_that_the_pit_only_just_gives_has_an_answer(peak_c, reached):
    # A small piece in a pit no hotter than the peak comes so close that nothing is left.
    piece = cw.Piece(cw.Sphere(0.02), cw.meat("salmon side"), 4.0)
    pit = cw.Surroundings(60.0, dew_point_c=35.0)
    answer = pull_for_peak(piece, pit, "ice bath", peak_c, band=False, **QUICK)
    assert answer.reached is reached
    if reached:
        # Root found within 0.02 K of pull temperature.
        assert answer.carryover.peak_core_c == pytest.approx(peak_c, abs=0.05)
        assert answer.pull_c <= peak_c
    else:
        assert "out of reach" in str(answer.sentence)


def test_the_band_comes_from_stated_uncertainties():
    answer = pull_for_peak(PIECE, PIT, "kitchen", 60.0, **QUICK)
    names = [name for name, _ in answer.deviations]
    assert "heat transfer in the pit" in names
    assert "size of the piece" in names
    assert "the probe" in names
    assert "expelled water that reaches the surface" in names
    assert "dew point of the pit" in names
    half = math.sqrt(sum(d * d for _, d in answer.deviations))
    assert answer.low_c == pytest.approx(answer.pull_c - half)
    assert answer.pull_c < answer.high_c <= 60.0
    assert half > 1.0  # never narrower than the probe
    most = max(answer.deviations, key=lambda item: item[1])[0]
    band = DegreesBetween(answer.low_c, answer.high_c)
    for units in ("C", "F"):
        assert (
            f"With what is not known exactly, pull at {band.shown(units)}; most of that comes "
            f"from {most}."
        ) in answer.sentence.shown(units)


def test_the_band_is_what_the_roots_of_the_corners_are():
    """First order against the pull sought again with that number changed: within 0.3 K."""
    answer = pull_for_peak(PIECE, PIT, "kitchen", 60.0, **QUICK)
    found = dict(answer.deviations)
    share = tables.load("carryover")["heat_transfer_share"]
    moved = []
    for factor in (1.0 - share, 1.0 + share):
        pit = replace(PIT, heat_transfer=PIT.heat_transfer * factor)
        other = pull_for_peak(PIECE, pit, "kitchen", 60.0, band=False, **QUICK)
        moved.append(abs(other.pull_c - answer.pull_c))
    assert found["heat transfer in the pit"] == pytest.approx(max(moved), abs=0.3)


@pytest.mark.slow
def test_a_box_has_a_band_of_its_own():
    box = BoxPlan(3600.0, mass_kg=2.0, pieces=3)
    answer = pull_for_peak(PIECE, PIT, box, 60.0, **QUICK)
    names = dict(answer.deviations)
    assert {"heat transfer in the box", "the wall of the box"} <= set(names)
    assert all(k >= 0.0 for k in names.values())
    assert answer.low_c < answer.pull_c < answer.high_c
    # A changed box by value is taken as it is.
    thin = tables.load("box").replace(wall_conductance=2.0)
    other = pull_for_peak(PIECE, PIT, replace(box, box=thin), 60.0, **QUICK)
    assert dict(other.deviations)["the wall of the box"] > names["the wall of the box"]


def test_a_rest_of_several_stages_has_a_band_too():
    rest = [
        rest_stage("tent", 1800.0, piece=PIECE),
        rest_stage("kitchen", 1800.0, piece=PIECE),
    ]
    names = dict(pull_for_peak(PIECE, PIT, rest, 60.0, **QUICK).deviations)
    assert names["heat transfer in the rest"] > 0.0


def test_a_pull_before_the_wrap_is_a_bare_cook():
    """Pulled near 48 °C, a wrap that waits for 70 °C never comes; one at 30 °C does."""
    bare = pull_for_peak(PIECE, PIT, "kitchen", 60.0, band=False, **QUICK)
    for at, worn in ((70.0, ["none"]), (30.0, ["none", "foil"])):
        before, wrap, liquid = wrapped_cook(
            PIT, at_core_c=at, liquid=Liquid(0.2, 21.0, piece_kg=2.0)
        )
        answer = pull_for_peak(
            PIECE,
            PIT,
            "kitchen",
            60.0,
            before=before,
            wrap=wrap,
            liquid=liquid,
            band=False,
            **QUICK,
        )
        told = answer.carryover
        records = told.result.records[: told.rest_from]
        assert [record.wrap for record in records] == worn
        assert told.result.records[told.rest_from].label == "kitchen"
        if at == 70.0:
            assert answer.pull_c == pytest.approx(bare.pull_c, abs=0.05)
            assert told.covered_s == told.pull_s
        else:
            assert told.covered_s == records[0].end_s


def test_a_peak_above_the_pit_is_explained():
    pit = cw.Surroundings(90.0, dew_point_c=35.0, heat_transfer=10.0)
    answer = pull_for_peak(PIECE, pit, "kitchen", 95.0, **QUICK)
    assert not answer.reached
    assert math.isnan(answer.pull_c)
    assert "95 °C from a pit of 90 °C is out of reach" in str(answer.sentence)
    assert "Nothing in a pit of 90 °C gets hotter" in str(answer.sentence)
    assert "203 °F from a pit of 194 °F" in answer.sentence.shown("F")
    assert "°C" not in answer.sentence.shown("F")
    assert answer.carryover is not None
    assert answer.carryover.peak_core_c < 90.0


def test_a_peak_that_the_rest_makes_by_itself_is_explained():
    hot = rest_stage("warm oven", 8 * 3600.0, piece=PIECE, air_c=90.0, wrap="foil")
    answer = pull_for_peak(PIECE, PIT, hot, 50.0, **QUICK)
    assert not answer.reached
    assert "The rest alone" in str(answer.sentence)


def test_a_peak_below_the_start_is_explained_and_a_nonsense_one_refused():
    assert "no heat at all" in str(pull_for_peak(PIECE, PIT, "kitchen", 3.0).sentence)
    with pytest.raises(InputError, match="must be a number"):
        pull_for_peak(PIECE, PIT, "kitchen", float("nan"))


def test_a_closed_wrap_and_a_box_carry_over_more_than_bare_air():
    bare = pull_for_peak(PIECE, PIT, "kitchen", 60.0, band=False, **QUICK)
    towels = pull_for_peak(PIECE, PIT, "towels", 60.0, band=False, **QUICK)
    box = pull_for_peak(
        PIECE, PIT, BoxPlan(7200.0, mass_kg=2.0, preheated_c=60.0), 60.0, band=False, **QUICK
    )
    assert towels.pull_c < bare.pull_c
    assert box.pull_c < bare.pull_c


def test_wrapping_before_the_pull_is_part_of_the_question():
    bare = cw.Stage(PIT, duration_s=3600.0, label="bare")
    answer = pull_for_peak(
        PIECE, PIT, "kitchen", 70.0, before=[bare], wrap="foil", band=False, **QUICK
    )
    assert answer.reached
    assert [r.wrap for r in answer.carryover.result.records] == ["none", "foil", "none"]


def test_a_big_roast_from_a_hot_oven_carries_over_and_a_small_one_from_a_low_pit_hardly():
    rows = carryover_by_size_and_pit(
        PIECE, PIT, "kitchen", 55.0, (0.05, 0.14), (95.0, 180.0), **QUICK
    )
    rise = {(row.size_m, row.pit_c): row.rise_k for row in rows}
    assert all(row.reached for row in rows)
    assert rise[0.05, 95.0] < 1.5
    assert rise[0.14, 180.0] > 4.0 * rise[0.05, 95.0]
    for size in (0.05, 0.14):
        assert rise[size, 180.0] > rise[size, 95.0]
    for pit in (95.0, 180.0):
        assert rise[0.14, pit] > rise[0.05, pit]
    never = carryover_by_size_and_pit(PIECE, PIT, "kitchen", 99.0, (0.05,), (95.0,), **QUICK)
    assert not never[0].reached


def test_a_dew_point_is_moved_only_where_pit_and_damp_stay_as_they_are():
    steady = module._moister(PIT, 5.0)
    assert steady.dew_point_c == PIT.dew_point_c + 5.0
    # Never above the air, and not where either of them changes with time.
    damp = cw.Surroundings(60.0, dew_point_c=58.0)
    assert module._moister(damp, 5.0).dew_point_c == 60.0
    time = np.array([0.0, 3600.0])
    damper = cw.Surroundings(100.0, dew_point_c=(time, np.array([30.0, 50.0])))
    assert module._moister(damper, 5.0) is None
    rising = cw.Surroundings((time, np.array([100.0, 120.0])), dew_point_c=35.0)
    assert module._moister(rising, 5.0) is None
    case = module._Case(
        PIECE, (), rising, "none", rest_stage("kitchen", 60.0, piece=PIECE), 1e5, QUICK
    )
    names = [name for name, _ in module._corners(case)]
    assert "dew point of the pit" not in names
    assert "heat transfer in the pit" in names


def test_what_the_heat_is_worth_is_said_in_log_rounded_down(roast):
    c = replace(carryover(roast), lethality_log=6.58, lethality_in_rest_log=2.349)
    said = heat_words(c).shown("C")
    assert said.startswith(
        f"At the core the heat is worth 6.5 log of {c.organism} ({c.kinetics}), 2.3 log of it "
        "from the rest. That is an outlook and no verdict: "
    )
    most = replace(c, lethality_log=40.0, lethality_in_rest_log=30.0)
    assert heat_words(most).shown("C").count("over 12 log") == 2
    assert (
        heat_words(replace(c, kinetics=""))
        .shown("C")
        .startswith("No kinetics were measured in this meat: ")
    )


def test_a_moment_has_no_kill():
    one = np.array([0.0]), np.array([70.0])
    assert module._reduction(*one, load_kinetics()) == 0.0
    assert math.isnan(module._reduction(*one, None))


def test_a_pull_may_count_on_what_measured_roasts_rose() -> None:
    model = pull_for_peak(PIECE, PIT, "kitchen", 60.0, band=False, **QUICK)
    told = pull_for_peak(PIECE, PIT, "kitchen", 60.0, band=False, as_measured=True, **QUICK)
    c, share = told.carryover, tables.load("carryover")["rise_usual"]
    assert c.share == share
    assert model.pull_c + 1.0 < told.pull_c < 60.0
    assert c.likely_peak_c == pytest.approx(60.0, abs=0.05)
    assert c.peak_core_c > 60.5
    assert c.likely_core_c.max() == pytest.approx(c.likely_peak_c, abs=0.1)
    before = c.result.time_s < c.pull_s
    assert (c.likely_core_c[before] == c.result.core_c[before]).all()
    said = told.sentence.shown("C")
    assert f"the core still rises by {Difference(share * c.rise_k).shown('C')} in" in said
    assert f"({Difference(c.rise_k).shown('C')}): 0.55 of it is taken here" in said
    # What goes on cooking is no carryover.
    hot = {"band": False, **QUICK}
    alike = [
        pull_for_peak(PIECE, PIT, "warm oven", 60.0, as_measured=way, **hot).pull_c
        for way in (False, True)
    ]
    assert alike[0] == alike[1]

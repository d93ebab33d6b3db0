"""Lethality: the rule between samples, what earns nothing, and every refusal."""

from __future__ import annotations

import dataclasses
import re
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from coreward import tables
from coreward.errors import InputError, OutOfRangeError, TableError
from coreward.physics import growth
from coreward.physics import lethality as lethality_module
from coreward.physics.lethality import (
    CEILING_C,
    CREDIT_FROM_C,
    Kinetics,
    RateCurve,
    chosen_kinetics,
    credit_history,
    equivalent_curve,
    equivalent_minutes,
    kinetics_for,
    kinetics_names,
    lethality,
    load_kinetics,
    log_reduction,
    outside_every_table,
)
from coreward.tables.standards import load_standard, published_d_values

pytestmark = pytest.mark.quick

BEEF = ("salmonella beef guideline", "stec beef 30% fat", "listeria beef 30% fat")
POULTRY_LINES = ("salmonella poultry guideline", "o157 turkey", "listeria turkey")

PLAIN = Kinetics(
    name="plain",
    organism="an organism",
    food="a food",
    d_reference_min=2.0,
    reference_c=60.0,
    z_c=5.0,
    valid_low_c=55.0,
    valid_high_c=65.0,
    d_range_min=(1.0, 3.0),
    z_range_c=(4.0, 6.0),
    source="assumed_here",
)


def test_a_hold_at_the_reference_is_worth_itself() -> None:
    assert equivalent_minutes([0, 600], [70, 70], 70.0, 7.5) == pytest.approx(10.0)
    assert log_reduction([0, 600], [60, 60], PLAIN) == pytest.approx(5.0)


def test_the_lower_of_two_samples_is_held() -> None:
    rising = equivalent_minutes([0, 60], [60.0, 65.0], 60.0, 5.0)
    falling = equivalent_minutes([0, 60], [65.0, 60.0], 60.0, 5.0)
    assert rising == falling == pytest.approx(1.0)


def test_a_step_profile_is_exact() -> None:
    got = equivalent_minutes([0, 60, 60, 120], [60.0, 60.0, 65.0, 65.0], 60.0, 5.0)
    assert got == pytest.approx(11.0)


def test_the_fall_limit_gives_the_closed_integral() -> None:
    # 60 s from 65 °C falling 0.05 K/s: integral of 10**((5 - 0.05 s)/5) ds
    fall, z = 0.05, 5.0
    expected = 10.0 * z / (fall * np.log(10.0)) * (1.0 - 10.0 ** (-fall * 60.0 / z)) / 60.0
    got = equivalent_minutes([0, 60], [65.0, 65.0], 60.0, z, fall_limit_k_per_s=fall)
    assert got == pytest.approx(expected, rel=1e-12)


def test_where_the_record_falls_faster_than_the_limit_the_lower_end_is_held() -> None:
    got = equivalent_minutes([0, 60], [65.0, 50.0], 60.0, 5.0, fall_limit_k_per_s=0.01)
    assert got == pytest.approx(10.0 ** (-2.0))


def test_a_limit_too_small_to_matter_agrees_with_none() -> None:
    tiny = equivalent_minutes([0, 60], [60.0, 60.0], 60.0, 5.0, fall_limit_k_per_s=1e-7)
    # 6e-6 K lower at z = 5 K: relative 3e-6.
    assert tiny == pytest.approx(1.0, rel=1e-5)
    assert tiny <= 1.0


@pytest.mark.parametrize("temperature", [50.0, 54.9])
def test_nothing_below_the_range_of_the_source(temperature: float) -> None:
    assert log_reduction([0, 3600], [temperature, temperature], PLAIN) == 0.0


def test_nothing_below_54_4_unless_asked_for() -> None:
    cold = dataclasses.replace(PLAIN, valid_low_c=50.0)
    assert log_reduction([0, 3600], [54.3, 54.3], cold) == 0.0
    assert log_reduction([0, 3600], [54.3, 54.3], cold, credit_from_c=50.0) > 0.0


def test_above_the_range_the_rate_stays() -> None:
    at_top = log_reduction([0, 600], [65.0, 65.0], PLAIN)
    assert log_reduction([0, 600], [80.0, 80.0], PLAIN) == at_top


def test_a_missing_reading_earns_nothing_and_is_named() -> None:
    history = lethality([0, 60, 120, 180], [60, np.nan, 60, 60], PLAIN)
    assert history.total == pytest.approx(0.5)
    assert [part.kind for part in history.uncredited] == ["missing"]
    assert (history.uncredited[0].start_s, history.uncredited[0].end_s) == (0.0, 120.0)
    assert history.uncredited[0].remedy


def test_a_spike_is_never_credited() -> None:
    plain = log_reduction([0, 60, 120, 180], [60, 60, 60, 60], PLAIN)
    spiked = lethality([0, 60, 120, 180], [60, 300, 60, 60], PLAIN)
    assert spiked.total < plain
    assert spiked.uncredited[0].kind == "too hot"
    assert "probe" in spiked.uncredited[0].remedy
    infinite = lethality([0, 60, 120, 180], [60, np.inf, 60, 60], PLAIN)
    assert infinite.total == spiked.total


def test_a_record_in_fahrenheit_earns_nothing_at_all() -> None:
    time = 60.0 * np.arange(120)
    fahrenheit = np.linspace(40.0, 150.0, 120)  # its cold half looks like a hot cook in °C
    history = lethality(time, fahrenheit, PLAIN)
    assert history.total == 0.0
    assert history.uncredited[0].kind == "whole record"
    assert "°F" in history.uncredited[0].remedy
    assert equivalent_minutes(time, fahrenheit, 60.0, 6.0) == 0.0


def test_a_long_interval_is_a_gap() -> None:
    history = lethality([0, 60, 1000], [60, 60, 60], PLAIN, max_gap_s=300.0)
    assert history.total == pytest.approx(0.5)
    assert history.uncredited[0].kind == "gap"
    assert history.longest_gap_s == pytest.approx(940.0)


def test_the_cumulative_curve_ends_at_the_total() -> None:
    history = lethality([0, 60, 120], [60, 62, 61], PLAIN)
    assert history.cumulative[0] == 0.0
    assert history.cumulative[-1] == history.total
    assert np.all(np.diff(history.cumulative) >= 0.0)
    assert history.complete


def test_one_sample_earns_nothing() -> None:
    assert equivalent_minutes([0], [70], 70.0, 7.5) == 0.0


def test_only_missing_readings_earn_nothing() -> None:
    history = lethality([0, 60], [np.nan, np.nan], PLAIN)
    assert history.total == 0.0
    assert history.longest_gap_s == 60.0


@pytest.mark.parametrize(
    ("time", "temperature", "words"),
    [
        ([0, 60], [60], "equal length"),
        ([], [], "no sample"),
        ([[0, 60]], [[60, 60]], "one-dimensional"),
        ([0, np.nan], [60, 60], "not a number"),
        ([-5, 60], [60, 60], "before the start"),
        ([0, 60, 30], [60, 60, 60], "goes back"),
        (["a", "b"], [60, 60], "numbers"),
    ],
)
def test_a_history_that_cannot_be_used_says_why(
    time: list[object], temperature: list[object], words: str
) -> None:
    with pytest.raises(InputError, match=words):
        equivalent_minutes(time, temperature, 60.0, 6.0)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "options", [{"max_gap_s": 0.0}, {"fall_limit_k_per_s": -1.0}, {"max_gap_s": -5.0}]
)
def test_limits_must_make_sense(options: dict[str, float]) -> None:
    with pytest.raises(InputError):
        equivalent_minutes([0, 60], [60, 60], 60.0, 6.0, **options)  # type: ignore[arg-type]


def test_z_and_reference_must_make_sense() -> None:
    with pytest.raises(InputError, match="z_c"):
        equivalent_minutes([0, 60], [60, 60], 60.0, 0.0)
    with pytest.raises(InputError, match="reference_c"):
        equivalent_minutes([0, 60], [60, 60], float("nan"), 6.0)
    with pytest.raises(OutOfRangeError, match="overflow"):
        equivalent_minutes([0, 60], [60, 60], -200.0, 0.5)


def test_kinetics_must_make_sense() -> None:
    with pytest.raises(InputError, match="d_reference_min"):
        dataclasses.replace(PLAIN, d_reference_min=0.0)
    with pytest.raises(InputError, match="valid_low_c"):
        dataclasses.replace(PLAIN, valid_low_c=70.0)
    with pytest.raises(OutOfRangeError, match="credit"):
        log_reduction([0, 60], [60, 60], PLAIN, credit_from_c=66.0)


def test_a_rate_curve_must_make_sense() -> None:
    with pytest.raises(InputError, match="two knots"):
        RateCurve((60.0,), (0.0,), "log10")
    with pytest.raises(InputError, match="rise"):
        RateCurve((60.0, 60.0), (0.0, 1.0), "log10")
    with pytest.raises(InputError, match="fall"):
        RateCurve((60.0, 61.0), (1.0, 0.0), "log10")
    with pytest.raises(InputError, match="finite"):
        RateCurve((60.0, np.inf), (1.0, 2.0), "log10")


def test_the_primitive_of_a_rate_curve_is_its_integral() -> None:
    curve = RateCurve((55.0, 58.0, 60.0, 64.0), (-1.0, -0.2, -0.2, 1.0), "log10")
    grid = np.linspace(54.0, 66.0, 240_001)
    rate = curve.rate(grid)
    steps = 0.5 * (rate[1:] + rate[:-1]) * np.diff(grid)
    # The trapezoid rule on 5e-5 K: 1e-4 for the jump at the first knot, less elsewhere.
    for upto in (55.5, 59.0, 62.0, 66.0):
        summed = float(np.sum(steps[grid[1:] <= upto + 1e-9]))
        assert float(curve.primitive(upto)) == pytest.approx(summed, abs=1e-4)


def test_credit_of_a_curve_carries_its_unit() -> None:
    history = credit_history([0, 60], [70, 70], equivalent_curve(70.0, 7.5))
    assert history.unit == "minutes"
    assert history.total == pytest.approx(1.0)
    assert "lower of the two" in str(history.interpolation)


def test_every_kinetics_is_complete_and_never_a_memory() -> None:
    for name in kinetics_names():
        kinetics = load_kinetics(name)
        assert kinetics.status in ("read", "derived")
        assert tables.source(kinetics.source).status == "read"
        assert kinetics.d_range_min[0] <= kinetics.d_reference_min <= kinetics.d_range_min[1]
        assert CREDIT_FROM_C <= kinetics.valid_low_c < kinetics.valid_high_c < CEILING_C
    assert load_kinetics() == load_kinetics("salmonella beef guideline")
    with pytest.raises(TableError, match="listeria"):
        load_kinetics("listeria beef")


def test_no_kinetics_promises_more_than_its_source_measured() -> None:
    """Inside the valid range the line lies on or above every published D."""
    seen = set()
    for point in published_d_values():
        kinetics = load_kinetics(point.kinetics)
        if kinetics.valid_low_c <= point.temperature_c <= kinetics.valid_high_c:
            assert kinetics.d_minutes(point.temperature_c) >= point.high_min
            seen.add(point.kinetics)
    # All but the two over the tables themselves, which are no measurements.
    guidelines = {"salmonella beef guideline", "salmonella poultry guideline"}
    assert seen == set(kinetics_names()) - guidelines


def test_the_table_says_which_kinetics_serve_which_food() -> None:
    assert kinetics_for("beef") == kinetics_for(("pork",)) == BEEF
    assert kinetics_for(["turkey"]) == kinetics_for(("chicken",)) == POULTRY_LINES
    # A mixture asks for every organism of each of its meats, and so does unnamed meat.
    assert set(kinetics_for(("turkey", "beef"))) == {*BEEF, *POULTRY_LINES}
    assert set(kinetics_for(("other meat",))) == {*BEEF, *POULTRY_LINES}
    assert kinetics_for(("salmon",)) == ()
    for meats in (("unicorn",), ()):
        with pytest.raises(InputError, match=r"no meat called .*turkey"):
            kinetics_for(meats)


def test_kinetics_of_another_food_are_refused() -> None:
    assert chosen_kinetics(None, "turkey") == load_kinetics("salmonella poultry guideline")
    assert chosen_kinetics("o157 turkey", "turkey") == load_kinetics("o157 turkey")
    assert chosen_kinetics(None, "salmon") is None
    with pytest.raises(
        OutOfRangeError, match="not for turkey: choose salmonella poultry guideline"
    ):
        chosen_kinetics("salmonella beef guideline", "turkey")
    with pytest.raises(OutOfRangeError, match="not for salmon: no kinetics here do"):
        chosen_kinetics("salmonella beef guideline", "salmon")


def test_the_line_for_poultry_never_promises_more_than_the_poultry_table() -> None:
    """Beef kinetics on turkey gave 20.3 log where the poultry table says 7."""
    table, line = (
        load_standard("us poultry 7 log"),
        load_kinetics("salmonella poultry guideline"),
    )
    for at_c in table.temperatures_c:
        assert 7.0 * 60.0 * float(line.d_minutes(at_c)) >= table.required_s(at_c)


def test_the_strains_outside_every_table_are_those_of_the_food() -> None:
    in_turkey = outside_every_table("turkey")
    assert [strain.food for strain in in_turkey] == ["ground turkey"]
    assert float(in_turkey[0].d_minutes(60.0)) == pytest.approx(13.24)
    in_beef = {strain.name: strain for strain in outside_every_table("beef")}
    assert float(in_beef["salmonella senftenberg beef"].d_minutes(60.0)) == pytest.approx(3.98)
    assert "ecoli aw1.7 beef" in in_beef
    # Where none was measured the most resistant stand in.
    worst = max(float(s.d_minutes(60.0)) for s in outside_every_table("pork"))
    assert worst == pytest.approx(13.24)


@pytest.mark.parametrize(
    ("line", "written", "message"),
    [
        ("meats", "", "has no text 'meats'"),
        ("meats", 'meats = ""', "'meats' is empty"),
        ("meats", 'meats = "beef, unicorn"', "'meats' names unicorn"),
        ("shown_for", 'shown_for = "turkey"', "'shown_for' names a meat"),
        ("group", 'group = "yeast"', "'group' is 'yeast'"),
        ("outside_every_table", 'outside_every_table = "maybe"', "write yes or no"),
    ],
)
def test_kinetics_that_do_not_say_their_food_are_refused(
    line: str, written: str, message: str, tmp_path: Path
) -> None:
    packaged = resources.files("coreward.tables").joinpath("kinetics.toml")
    text = packaged.read_text(encoding="utf-8")
    spoiled = re.sub(f"(?m)^{line} = .*$", written, text, count=1)
    assert spoiled != text
    path = tmp_path / "kinetics.toml"
    path.write_text(spoiled, encoding="utf-8")
    sets, default = tables.read_file(path)
    with pytest.raises(TableError, match=message):
        lethality_module._from_table(sets[default])


def test_growth_stops_at_its_limits_and_peaks_at_its_optimum() -> None:
    for name in tables.names("growth"):
        constants = tables.load("growth", name)
        low, best, high = (constants[key] for key in ("lowest", "optimum", "highest"))
        assert np.all(growth.growth_rate([low - 1, low, high, high + 5], name) == 0.0)
        assert growth.growth_rate(best, name) == pytest.approx(constants["optimum_rate"])
        grid = np.linspace(low, high, 500)
        assert np.max(growth.growth_rate(grid, name)) <= constants["optimum_rate"] * (1 + 1e-12)


def test_growth_bound_never_falls_short_of_the_growth_between_samples() -> None:
    fine = np.linspace(0.0, 8 * 3600.0, 2881)
    temperature = np.interp(fine, [0.0, 8 * 3600.0], [5.0, 60.0])
    exact = growth.growth_bound(fine, temperature, "staphylococcus")[-1]
    coarse = growth.growth_bound(fine[::240], temperature[::240], "staphylococcus")[-1]
    assert coarse >= exact
    holed = np.where((fine > 3600) & (fine < 7200), np.nan, temperature)
    assert growth.growth_bound(fine, holed, "staphylococcus")[-1] >= exact


def test_growth_by_place_is_growth_of_each_place() -> None:
    time = np.linspace(0.0, 6 * 3600.0, 50)
    places = np.column_stack(
        [np.linspace(60.0, 5.0, 50), np.linspace(20.0, 20.0, 50), np.full(50, np.nan)]
    )
    together = growth.growth_bound_by_place(time, places, "perfringens beef")
    for i, course in enumerate(places.T):
        alone = growth.growth_bound(time, course, "perfringens beef")
        np.testing.assert_allclose(together[:, i], alone, rtol=1e-12)
    with pytest.raises(InputError, match="column for each place"):
        growth.growth_bound_by_place(time, places[:, 0])


def test_growth_of_staphylococcus_agrees_with_the_design_of_the_guideline() -> None:
    # The safety sources: 2.1 log at 6 h and 3.5 at 10 h, read as a steady rise from 10 to
    # 54.4 °C; both quoted to 0.1 log.
    for hours, expected in ((6, 2.1), (10, 3.5)):
        time = np.linspace(0.0, hours * 3600.0, 2000)
        temperature = np.linspace(10.0, 54.4, 2000)
        got = growth.growth_bound(time, temperature, "staphylococcus")[-1]
        assert got == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize(
    ("stage", "meats", "names", "measured"),
    [
        # What was measured in that meat; in any other the fastest of all decides.
        ("cooling", "beef", ["perfringens beef"], True),
        ("cooling", ("chicken",), ["perfringens chicken"], True),
        ("cooling", ("chicken", "beef"), ["perfringens beef", "perfringens chicken"], True),
        ("cooling", ("beef", "pork"), ["perfringens beef", "perfringens chicken"], False),
        ("cooling", (), ["perfringens beef", "perfringens chicken"], False),
        ("come-up", ("beef",), ["staphylococcus"], False),
    ],
)
def test_the_growth_curves_of_a_meat(stage, meats, names, measured) -> None:
    curves, known = growth.growth_curves(stage, meats)
    assert [one.name for one in curves] == names
    assert known is measured


def test_an_organism_is_named_once_and_a_stage_without_curves_is_refused() -> None:
    both, _ = growth.growth_curves("cooling", "turkey")
    assert growth.organisms(both) == "Clostridium perfringens"
    with pytest.raises(TableError, match="for the stage 'freezing'"):
        growth.growth_curves("freezing", "beef")

"""Standards tables: complete, refused when incomplete, and never more lenient than law."""

from __future__ import annotations

import math

import pytest

from coreward.errors import TableError
from coreward.tables.standards import (
    Law,
    band_limits,
    cited,
    load_standard,
    parse_holds,
    parse_limits,
    parse_standards,
    published_d_values,
    standard_names,
    standards_for,
)
from coreward.units import fahrenheit_to_celsius

pytestmark = pytest.mark.quick

HEADER = (
    "standard,printing,temperature,temperature_unit,time,time_unit,dwell,usable,source,where,"
    "status,note\n"
)
GOOD = "x,1,140,degF,12,min,,yes,fda_food_code,row,read,\n"


def test_a_good_row_is_read_in_si() -> None:
    (row,) = parse_holds(HEADER + GOOD, {"x": None})["x"]
    assert row.temperature_c == pytest.approx(60.0)
    assert row.printed_s == row.required_s == 720.0
    assert row.printed == "140 degF, 12 min"


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (GOOD.replace("degF", ""), "temperature unit"),
        (GOOD.replace(",min,", ",,"), "time unit"),
        (GOOD.replace("fda_food_code", ""), "no source"),
        (GOOD.replace("fda_food_code", "a book"), "a book"),
        (GOOD.replace(",read,", ",,"), "status"),
        (GOOD.replace(",read,", ",memory,"), "not read"),
        (GOOD.replace("140", "hot"), "not a number"),
        (GOOD.replace("140", "inf"), "finite"),
        (GOOD.replace("12", "-12"), "negative"),
        (GOOD.replace("12", "0"), "spike"),
        (GOOD.replace(",yes,", ",perhaps,"), "usable"),
        (GOOD.replace("x,", "y,", 1), "no standard"),
        (GOOD.replace(",row,read,", ",read,"), "cells"),
    ],
)
def test_an_incomplete_row_is_refused(row: str, words: str) -> None:
    with pytest.raises(TableError, match=words):
        parse_holds(HEADER + row, {"x": None})


def test_a_printed_zero_takes_the_law_or_its_dwell() -> None:
    law = Law(60.0, 720.0, 5.0, 5.0)
    zero = GOOD.replace("12", "0")
    assert parse_holds(HEADER + zero, {"x": law})["x"][0].required_s == pytest.approx(720.0)
    dwell = zero.replace("min,,", "min,10,")
    assert parse_holds(HEADER + dwell, {"x": None})["x"][0].required_s == 10.0


def test_a_row_that_was_not_read_may_be_shown_but_not_used() -> None:
    shown = GOOD.replace(",yes,", ",no,").replace(",read,", ",unchecked,")
    assert not parse_holds(HEADER + shown, {"x": None})["x"][0].usable


def test_an_incomplete_standard_is_refused() -> None:
    text = """
["x"]
title = "t"
revision = "r"
meats = ["beef"]
conditions = ["intact"]
moisture = "none"
source = "fda_food_code"
organism = "o"
caution = "c"
"""
    assert parse_standards(text, HEADER + GOOD)["x"].lowest_c == pytest.approx(60.0)
    with pytest.raises(TableError, match="no revision"):
        parse_standards(text.replace('revision = "r"', ""), HEADER + GOOD)
    with pytest.raises(TableError, match="unknown meats"):
        parse_standards(text.replace("beef", "unicorn"), HEADER + GOOD)
    with pytest.raises(TableError, match="no usable row"):
        parse_standards(text, HEADER)
    wrong = (
        text + 'law = {anchor = 70.0, unit = "degC", time_s = 120.0, z_below = 9, z_above = 6}'
    )
    with pytest.raises(TableError, match="smaller z"):
        parse_standards(wrong, HEADER + GOOD)


def test_a_remembered_limit_is_refused() -> None:
    header = (
        "standard,title,kind,from,to,temperature_unit,limit,time_unit,default,source,where,"
        "status,note\n"
    )
    row = "c,Its readers' name,cooling,57,21,degC,2,h,yes,fda_food_code,row,read,\n"
    assert parse_limits(header + row)[0].limit_s == 7200.0
    with pytest.raises(TableError, match="no authority"):
        parse_limits(header + row.replace(",read,", ",memory,"))


@pytest.mark.parametrize("name", standard_names())
def test_what_is_used_is_never_shorter_than_printed_or_law(name: str) -> None:
    standard = load_standard(name)
    for row in standard.usable_rows:
        used = standard.required_s(row.temperature_c)
        assert used >= row.printed_s
        assert row.law_s is None or used >= row.law_s
        assert used > 0.0


@pytest.mark.parametrize("name", standard_names())
def test_nothing_is_enough_below_the_coldest_row(name: str) -> None:
    standard = load_standard(name)
    assert math.isinf(standard.required_s(standard.lowest_c - 0.01))
    assert math.isfinite(standard.required_s(standard.lowest_c))


def test_between_rows_the_colder_row_counts() -> None:
    standard = load_standard("us meat 6.5 log")
    row = float(fahrenheit_to_celsius(141.0))
    assert standard.required_s(row - 0.01) == 720.0
    assert standard.required_s(row) == 540.0


def test_poultry_is_the_longer_of_chicken_and_turkey() -> None:
    standard = load_standard("us poultry 7 log")
    assert standard.required_s(float(fahrenheit_to_celsius(136))) == 4884.0  # chicken
    assert standard.required_s(float(fahrenheit_to_celsius(150))) == 294.0  # turkey
    assert math.isinf(standard.required_s(57.0))  # never below 136 °F


def test_other_fat_columns_are_shown_and_never_used() -> None:
    rows = [row for row in load_standard("us poultry 7 log").rows if "12 %" not in row.printing]
    assert len(rows) == 20
    assert not any(row.usable for row in rows)


def test_the_longer_of_two_editions_counts() -> None:
    roast = load_standard("food code roast")
    assert roast.required_s(float(fahrenheit_to_celsius(130))) == 121 * 60.0
    assert roast.required_s(float(fahrenheit_to_celsius(145))) == 240.0
    poultry = load_standard("food code poultry")
    assert poultry.required_s(74.0) == 15.0


def test_any_poultry_in_the_mix_means_the_poultry_standards() -> None:
    names = {standard.name for standard in standards_for(["pork", "chicken"], "ground")}
    assert "us poultry 7 log" in names
    assert "us meat 6.5 log" not in names
    with pytest.raises(TableError, match="no meat"):
        standards_for(["unicorn"], "intact")
    with pytest.raises(TableError, match="no condition"):
        standards_for(["beef"], "minced")


def test_the_tables_have_as_many_rows_as_were_printed() -> None:
    printed = {
        "us meat 6.5 log": 31,
        "us meat 7 log": 31,
        "us poultry 7 log": 80,
        "trichinella pork": 13,
        "uk 70 for 2 min": 9,
        "food code roast": 26,
    }
    for name, count in printed.items():
        assert len(load_standard(name).rows) == count


def test_limits_and_published_values_are_there() -> None:
    kinds = {"come-up", "cooling", "hot holding", "reheating"}
    assert {item.kind for item in band_limits()} == kinds
    assert all(item.status == "read" for item in band_limits())
    assert len(published_d_values()) > 40


def test_the_reheating_rule_is_entered_as_published() -> None:
    # Food Code 3-403.11(A) and (D): all parts at 74 °C for 15 s, 2 h between 5 °C and that.
    (rule,) = (item for item in band_limits() if item.kind == "reheating")
    assert (rule.from_c, rule.to_c, rule.dwell_s, rule.limit_s) == (5.0, 74.0, 15.0, 7200.0)
    assert rule.where.startswith("3-403.11")
    assert all(item.dwell_s == 0.0 for item in band_limits() if item.kind != "reheating")


def test_a_caution_names_its_source_by_author_and_year() -> None:
    assert "McMinn et al. 2018" in load_standard("us meat 6.5 log").caution
    assert cited("as in mcminn_2018.") == "as in McMinn et al. 2018."
    for name in standard_names():
        assert "_" not in load_standard(name).caution
    with pytest.raises(TableError, match="nobody_2018"):
        cited("as in nobody_2018.")


def test_an_unknown_standard_names_near_ones() -> None:
    with pytest.raises(TableError, match="us meat 7 log"):
        load_standard("us meat")

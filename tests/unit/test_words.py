"""Quantities are rounded to their own side, in either unit, and shown once."""

import datetime as dt
import json
import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coreward.errors import InputError, OutOfRangeError
from coreward.words import (
    CUSTOMARY,
    METRIC,
    At,
    Degrees,
    DegreesBetween,
    Difference,
    Earned,
    Held,
    HottestReading,
    Lasting,
    Length,
    Mass,
    MissingDifference,
    Needed,
    Opening,
    Published,
    Quantity,
    Rate,
    Reading,
    Required,
    Say,
    Sentence,
    UnitChoice,
    When,
    as_units,
    from_markup,
    from_plain,
    say,
    shown,
    span,
    to_plain,
    together,
)

pytestmark = pytest.mark.quick

celsius = st.floats(-40.0, 400.0)
seconds = st.floats(0.0, 1e6)
digits = st.integers(0, 2)
# What `words` allows binary fractions, in tenths of a degree and in seconds.
_SLACK_C, _SLACK_S = 1e-6, 1e-5


def number(text: str) -> float:
    """The number at the head of a quantity that was shown."""
    return float(text.split(" ")[0].replace(",", ""))


def fahrenheit(value_c: float) -> float:
    return value_c * 9.0 / 5.0 + 32.0


def in_seconds(text: str) -> float:
    """The seconds of a time that was shown."""
    found = re.fullmatch(r"(?:(\d+) h)? ?(?:(\d+) min)? ?(?:(\d+) s)?", text)
    assert found is not None, text
    hours, minutes, rest = (int(part or 0) for part in found.groups())
    return 3600.0 * hours + 60.0 * minutes + rest


# -- each kind to its side -------------------------------------------------------------


@given(celsius, digits)
def test_a_reading_is_never_shown_hotter_than_it_was(value: float, places: int) -> None:
    reading = Reading(value, places)
    for units, true in (("C", value), ("F", fahrenheit(value))):
        told = number(reading.shown(units))
        assert told <= true + _SLACK_C
        assert told > true - 10.0**-places - _SLACK_C


@given(celsius, digits)
def test_a_reading_that_must_be_low_is_never_shown_colder(value: float, places: int) -> None:
    reading = HottestReading(value, places)
    for units, true in (("C", value), ("F", fahrenheit(value))):
        told = number(reading.shown(units))
        assert true - _SLACK_C <= told < true + 10.0**-places + _SLACK_C


@given(celsius)
def test_a_limit_is_never_shown_below_itself_nor_a_ceiling_above(value: float) -> None:
    for units, true in (("C", value), ("F", fahrenheit(value))):
        least, most = (
            number(Published(value).shown(units)),
            number(Published(value, at_most=True).shown(units)),
        )
        assert true - _SLACK_C <= least < true + 0.1 + _SLACK_C
        assert true + _SLACK_C >= most > true - 0.1 - _SLACK_C


@given(celsius, celsius)
def test_what_is_shown_as_met_is_met(reading: float, limit: float) -> None:
    """Nobody reads "130 °F" beside a limit of "130 °F" that was missed."""
    for units in ("C", "F"):
        told, asked = Reading(reading).shown(units), Published(limit).shown(units)
        if number(told) >= number(asked):
            assert reading >= limit - 2.0 * _SLACK_C


@pytest.mark.slow
@given(seconds)
def test_a_time_is_never_lengthened_nor_asked_for_too_short(value: float) -> None:
    held, needed = in_seconds(Held(value).shown("C")), in_seconds(Needed(value).shown("C"))
    step = 60.0 if value >= 120.0 else 1.0
    assert value - step - _SLACK_S < held <= value + _SLACK_S
    assert value - _SLACK_S <= needed < value + 60.0 + _SLACK_S


@given(st.floats(0.0, 1e5), st.floats(1.0, 1e5))
def test_what_was_earned_is_rounded_down_and_what_is_asked_up(
    value: float, most: float
) -> None:
    told = Earned(value, "log", most).shown("F")
    assert told.startswith("over ") == (value > most)
    if value <= most:
        assert value - 0.1 - 1e-6 < number(told) <= value + 1e-6
    assert value - 1e-6 <= number(Required(value).shown("F")) < value + 0.1 + 1e-6


@given(st.floats(0.0, 200.0))
def test_what_is_missing_is_never_too_little(kelvin: float) -> None:
    assert number(MissingDifference(kelvin).shown("C")) >= kelvin - _SLACK_C
    assert number(MissingDifference(kelvin).shown("F")) >= 1.8 * kelvin - _SLACK_C


def test_the_boundaries_that_were_shown_wrong() -> None:
    # 129.956 °F stood as 130.0, and limits that were rounded twice as 130.1 and 165.1.
    assert Reading((129.956 - 32.0) / 1.8).shown("F") == "129.9 °F"
    for printed in (130, 145, 165, 212):
        limit = (printed - 32.0) / 1.8
        assert Published(limit).shown("F") == f"{printed} °F"
        assert Reading(limit).shown("F") == f"{printed}.0 °F"
    assert Published(54.42).shown("C") == "54.5 °C"
    assert Published(54.42, at_most=True).shown("C") == "54.4 °C"
    assert Reading(-0.01).shown("C") == "-0.1 °C"
    assert HottestReading(-0.01).shown("C") == "0.0 °C"
    assert Held(7200.0000001).shown("C") == Held(7259.9).shown("C") == "2 h"
    assert Needed(7200.0000001).shown("C") == "2 h"
    assert Needed(7200.1).shown("C") == "2 h 01 min"


def test_a_hundred_thousand_readings_are_cheap() -> None:
    """No numpy, no table, no regular expression: counted in calls, not in seconds."""
    import sys

    calls = 0

    def count(frame: object, event: str, argument: object) -> None:
        nonlocal calls
        calls += event == "call"

    reading = Reading(54.4321)
    sys.setprofile(count)
    try:
        reading.shown(CUSTOMARY)
    finally:
        sys.setprofile(None)
    assert 0 < calls < 10
    assert all(Reading(0.001 * i).shown("F") for i in range(100_000))


# -- what cannot be known ------------------------------------------------------------


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_said(value: float) -> None:
    for kind in (Reading, HottestReading, Degrees, Lasting, At, When):
        assert kind(value).shown("F") == "unknown"
    assert Held(math.inf).shown("C") == "without end"
    assert Needed(math.inf).shown("C") == "no time at all"


# -- the one wording of each -----------------------------------------------------------


def test_one_wording_of_a_time() -> None:
    told = {45: "45 s", 119: "119 s", 3000: "50 min", 3900: "1 h 05 min", 7200: "2 h"}
    for value, words in told.items():
        assert span(value) == Held(value).shown("C") == Needed(value).shown("F") == words
    assert Lasting(29.0).shown("C") == "0 min"
    assert Lasting(3599.0).shown("C") == "1 h"
    assert Lasting(-3930.0).shown("C") == "-1 h 06 min"
    assert Lasting(-20.0).shown("C") == "0 min"
    assert span(-3900) == "-1 h 05 min"


def test_moments_of_a_record() -> None:
    eight = dt.time(20, 0)
    assert At(12000.0).shown("C") == "3:20"
    assert At(18000.0, eight).shown("C") == "01:00"
    assert When(12000.0, eight).shown("C") == "23:20 (3 h 20 min)"
    assert When(12000.0).shown("C") == "3 h 20 min"
    # Both halves name the same minute.
    assert When(59.0, eight).shown("C") == "20:01 (1 min)"


def test_temperatures_in_both_units() -> None:
    assert Degrees(71.0).shown("C") == "71 °C"
    assert Degrees(71.0).shown("F") == "160 °F"
    assert Degrees(54.44, None).shown("C") == "54.4 °C"
    assert Degrees(60.0, None).shown("F") == "140 °F"
    assert DegreesBetween(60.0, 70.0).shown("F") == "140 to 158 °F"
    assert DegreesBetween(None, 5.0).shown("F") == "below 41 °F"
    assert DegreesBetween(90.0, None).shown("C") == "90 °C and above"
    assert DegreesBetween(None, None).shown("C") == "all"
    assert Difference(1.0).shown("F") == "1.8 °F"
    assert Difference(-55.12).shown("C") == "-55.1 K"
    assert Difference(1000.0).shown("F") == "1800 °F"  # never as 1.8e+03
    assert Difference(4.26, 1, signed=True).shown("C") == "+4.3 K"
    assert Rate(2.5).shown("F") == "4.5 °F/h"
    assert Rate(3.0, "min").shown("C") == "3 K/min"


def test_sizes_in_both_units() -> None:
    mixed = UnitChoice("C", "in", "lb")
    assert Length(0.08).shown("C") == "80 mm"
    assert Length(0.08).shown(mixed) == "3.15 in"
    assert Mass(2.0).shown("C") == "2.0 kg"
    assert Mass(2.0).shown(mixed) == "4.4 lb"
    with pytest.raises(InputError, match='"C" or "F"'):
        as_units("K")


def test_earned_beyond_what_may_be_claimed() -> None:
    assert Earned(6.99, "log", 12.0).shown("C") == "6.9 log"
    assert Earned(13.0, "log", 12.0).shown("C") == "over 12 log"
    assert Earned(12345.6, "min", 10000.0).shown("C") == "over 10,000 min"
    assert Required(6.51, "log").shown("C") == "6.6 log"


# -- sentences -------------------------------------------------------------------------


def test_a_sentence_is_shown_once_in_the_readers_units() -> None:
    sentence = say(
        "The core read {0} for {1}; {2}.",
        Reading(54.42),
        Held(5700.0),
        say("the table asks {0}", Published(54.4)),
    )
    assert sentence.shown("C") == (
        "The core read 54.4 °C for 1 h 35 min; the table asks 54.4 °C."
    )
    assert sentence.shown("F") == (
        "The core read 129.9 °F for 1 h 35 min; the table asks 130 °F."
    )
    assert str(sentence) == sentence.shown(METRIC)
    assert together(("a.", Reading(1.0), "b."), " ").shown("C") == "a. 1.0 °C b."
    assert shown(3, "C") == "3"
    assert Say("as {it} stands").shown("F") == "as {it} stands"


def test_a_heading_with_braces_is_only_a_value() -> None:
    assert say("Column '{0}' reads {1}.", "{0} {x}", Reading(1.0)).shown("C") == (
        "Column '{0} {x}' reads 1.0 °C."
    )


def test_a_quantity_in_a_formatted_string_is_refused() -> None:
    with pytest.raises(TypeError, match="lose the reader's units"):
        f"{Reading(60.0)}"


def test_an_error_is_told_in_the_readers_units() -> None:
    error = OutOfRangeError(say("It must lie below {0}.", Degrees(100.0)))
    assert str(error) == "It must lie below 100 °C."
    assert error.shown("F") == "It must lie below 212 °F."
    assert InputError("Plain.").shown("F") == "Plain."
    assert InputError().shown("F") == ""


# -- prose -----------------------------------------------------------------------------


def test_prose_with_its_quantities_in_braces() -> None:
    text = from_markup(
        "From {65 to 75 C}, at a limit of {57.3 C limit}, {1 K} off, {80 mm} thick, {3 K/min} "
        "or {2 K/h}, at {6.5 C}; {{so}}."
    )
    assert shown(text, "C") == (
        "From 65 to 75 °C, at a limit of 57.3 °C, 1 K off, 80 mm thick, 3 K/min or 2 K/h, at "
        "6.5 °C; {so}."
    )
    assert shown(text, "F") == (
        "From 149 to 167 °F, at a limit of 135.2 °F, 1.8 °F off, 3.15 in thick, 5.4 °F/min or "
        "3.6 °F/h, at 43.7 °F; {so}."
    )
    assert from_markup("Nothing, 71 °C, {{as it is}}") == "Nothing, 71 °C, {as it is}"


@pytest.mark.parametrize("wrong", ["{71}", "{71 F}", "{}", "{0}", "a {", "a }", "{1 to 2 K}"])
def test_a_slip_in_prose_is_an_error(wrong: str) -> None:
    with pytest.raises(InputError):
        from_markup(wrong)


# -- files -----------------------------------------------------------------------------

quantities = st.one_of(
    celsius.map(Reading),
    celsius.map(HottestReading),
    celsius.map(Published),
    st.builds(Degrees, celsius, st.one_of(st.none(), digits)),
    st.builds(DegreesBetween, st.none(), celsius),
    st.builds(DegreesBetween, celsius, celsius),
    st.builds(Difference, celsius, st.one_of(st.none(), digits), st.booleans()),
    celsius.map(Rate),
    seconds.map(Held),
    seconds.map(Needed),
    seconds.map(Lasting),
    st.floats(0.0, 1.0).map(Length),
    st.floats(0.0, 9.0).map(Mass),
)
values = st.one_of(quantities, st.text(), st.integers())


@given(st.lists(values, max_size=5))
def test_a_sentence_comes_back_from_a_file(parts: list[Quantity | str | int]) -> None:
    sentence = say(" ".join(f"{{{i}}}" for i in range(len(parts))), *parts)
    again = from_plain(json.loads(json.dumps(to_plain(sentence))))
    assert again == sentence
    assert shown(again, "F") == sentence.shown("F")
    assert from_plain(to_plain("plain")) == "plain"


@pytest.mark.parametrize(
    "damaged",
    [
        3,
        None,
        [],
        {},
        {"say": "x"},
        {"say": 3, "values": []},
        {"say": "{1}", "values": ["a"]},
        {"say": "{0:>99999999}", "values": ["a"]},
        {"say": "{0.__class__}", "values": ["a"]},
        {"say": "{0!r}", "values": ["a"]},
        {"say": "{", "values": ["a"]},
        {"say": "{0}", "values": [{"kind": "Quantity"}]},
        {"say": "{0}", "values": [{"kind": "Reading", "fahrenheit": 1.0}]},
        {"say": "{0}", "values": [{"kind": "Reading", "celsius": "hot"}]},
        {"say": "{0}", "values": [{"kind": "Reading", "celsius": 1.0, "digits": 10**9}]},
        {"say": "{0}", "values": [{"kind": "Reading", "celsius": 10**400}]},
        {"say": "{0}", "values": [{"kind": "Reading", "celsius": True}]},
        {"say": "{0}", "values": [{"kind": "Rate", "kelvin": 1.0, "per": "x" * 9}]},
        {"say": "{0}", "values": 3},
        {"say": "{0}" * 99, "values": ["a"]},
    ],
)
def test_a_damaged_sentence_is_refused(damaged: object) -> None:
    with pytest.raises(InputError, match="damaged"):
        from_plain(damaged)


def test_no_file_makes_a_sentence_grow_without_bound() -> None:
    nested: object = "a"
    for _ in range(30):
        nested = {"say": "{0}{0}", "values": [nested]}
    with pytest.raises(InputError, match="damaged"):
        from_plain(nested)


@pytest.mark.parametrize(
    ("clause", "opened", "closed"),
    [
        ("pork shoulder", "Pork shoulder", "Pork shoulder."),
        ("is it so?", "Is it so?", "Is it so?"),
        ("it is.", "It is.", "It is."),
        ("", "", "."),
        (
            say("{0} is asked for", Published(54.444444444)),
            "54.5 °C is",
            "54.5 °C is asked for.",
        ),
    ],
)
def test_a_sentence_opens_with_a_capital_and_ends_with_one_stop(clause, opened, closed) -> None:
    assert shown(Opening(clause), "C").startswith(opened)
    assert shown(Sentence(clause), "C") == closed
    assert shown(say("{0}", Opening(say("at {0}", Degrees(60.0)))), "F") == "At 140 °F"

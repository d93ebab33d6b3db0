"""A record cut where a new piece was put on, and who is in which piece."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from coreward.errors import InputError
from coreward.logs.log import Channel, ProbeLog
from coreward.questions.verdict import verdict
from coreward.questions.verdict.history import cook_record
from coreward.questions.verdict.record import _falls_around as falls_around
from coreward.words import shown
from support.said import text_of

MINUTE, HOUR = 60.0, 3600.0
BEEF: dict[str, Any] = {"meat": "beef", "surface": "sealed bag"}


def two_cooks(first_c: float, second_c: float) -> tuple[np.ndarray, np.ndarray]:
    """Three hours up to 70 °C and held; at 4 h the probe goes into a piece at `first_c`."""
    time = np.arange(0.0, 8.0 * HOUR + 1.0, MINUTE)
    values = np.interp(time / HOUR, [0.0, 3.0, 3.9], [4.0, 70.0, 70.0])
    later = time >= 4.0 * HOUR
    values[later] = np.interp(time[later] / HOUR, [4.0 + 1 / 60, 7.0, 8.0], [second_c, 70, 70])
    values[time == 4.0 * HOUR] = first_c
    return time, values


@pytest.mark.parametrize(
    ("first_c", "second_c", "begins"),
    [(6.0, 8.0, "4:00"), (9.0, 8.0, "4:01")],
)
def test_a_new_piece_begins_at_its_coldest_reading_from_then_on(
    first_c, second_c, begins
) -> None:
    """The reading at the very moment that is named belongs to the new piece."""
    answer = verdict(two_cooks(first_c, second_c), new_piece_s=(4.0 * HOUR,), **BEEF)
    names = [shown(piece.name, "C") for piece in answer.pieces]
    assert len(names) == 2
    assert names[1].endswith(f"from {begins} on")
    assert len(answer.pieces[0].record.time_s) == 240  # up to a minute before it


def test_only_the_probe_that_falls_there_is_in_another_piece() -> None:
    """The other probe stays in a piece that cools as meat does."""
    time, moved = two_cooks(6.0, 8.0)
    stays = np.interp(time / HOUR, [0.0, 3.0, 8.0], [4.0, 75.0, 78.0])
    log = ProbeLog(time, None, (Channel("A", "meat", moved), Channel("B", "meat", stays)))
    answer = verdict(log, new_piece_s=(4.0 * HOUR,), pieces="each", **BEEF)
    assert [shown(piece.name, "C") for piece in answer.pieces] == [
        "A",
        "A from 4:00 on",
        "B",
    ]


@pytest.mark.parametrize(
    "name",
    [
        "probe_error_c", "placement_error_c", "modelled_growth_log", "slow_margin_log",
        "probe_offset_m", "humid_s", "mass_kg", "longest_gap_s",
    ],
)  # fmt: skip
@pytest.mark.parametrize("value", [-1e-9, float("nan"), float("inf")])
def test_a_number_that_is_none_is_refused_by_its_name(name: str, value: float) -> None:
    with pytest.raises(InputError, match=f"{name} is {value!r}: give zero or a positive"):
        verdict(two_cooks(6.0, 8.0), meat="beef", **{name: value})


def test_a_mixture_is_said_to_be_one_and_a_single_meat_is_not() -> None:
    def assumed(meat: Any) -> str:
        answer = verdict(two_cooks(6.0, 8.0), meat=meat, new_piece_s=())
        return " ".join(shown(text, "C") for text in answer.assumptions)

    mixture = "A mixture: the rules of all its meats are asked for."
    assert mixture in assumed(("beef", "pork"))
    assert mixture not in assumed("beef")
    assert "The meat is not stated" not in assumed("beef")


def test_the_text_says_what_would_help_of_all_that_is_not_met_and_of_nothing_else() -> None:
    states = set()
    for peak_c in (58.0, 75.0):
        time = np.arange(0.0, 3.0 * HOUR, MINUTE)
        record = time, np.interp(time / HOUR, [0.0, 2.0], [4.0, peak_c])
        answer = verdict(record, **BEEF)
        text = text_of(answer).partition("Kill added up, beside the standards")[2]
        text = text.partition("\nAssumed\n")[0]
        states |= {view.state for view in answer.integrals}
        asked = [shown(v.enough, "C") for v in answer.integrals if v.state != "met"]
        nothing = text.count("what would help: nothing more is needed")
        assert text.count("what would help: ") - nothing == len(asked)
        for enough in asked:
            assert f"what would help: {enough}" in text
    assert states == {"met", "not met"}


@pytest.mark.parametrize(("after_c", "fell"), [(45.0, True), (45.1, False)])
def test_a_piece_fell_by_fifteen_kelvin_about_the_time(after_c: float, fell: bool) -> None:
    time = np.arange(0.0, 2.0 * HOUR, MINUTE)
    values = np.where(time < HOUR, 60.0, after_c)
    record = cook_record((time, values), longest_gap_s=330.0, ceiling_c=100.0)
    assert falls_around(record, HOUR) is fell

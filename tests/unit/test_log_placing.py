"""Rows in the order in which they came, and where they stand in time."""

from __future__ import annotations

import numpy as np
import pytest

from coreward import tables
from coreward.logs.parts import Reading
from coreward.logs.placing import Coming, Placed, place


def placed(
    seconds: list[float], readings: dict[int, str] | None = None, *, clock: bool = False,
    is_last: bool = True, **more,
) -> tuple[Placed, Reading]:  # fmt: skip
    """Place rows, each with a reading of its own but for those given; by a clock of a day."""
    told = readings or {}
    values = [told.get(row, f"r{row}") for row in range(len(seconds))]
    texts = [str(s % 86_400.0 if clock else s) for s in seconds]
    coming = Coming(
        np.array(seconds, dtype=float),
        np.arange(2, 2 + len(seconds)),
        texts,
        lambda row: (texts[row], values[row]),
        lambda row: (values[row],),
        **more,
    )
    reading = Reading("log.csv", tables.load("log_reading"))
    return place(coming, is_last, reading), reading


def kinds(reading: Reading) -> list[tuple[int | None, str]]:
    return [(one.row, one.kind) for one in reading.repairs]


MINUTES = [60.0 * n for n in range(11)]


def test_rows_that_run_on_stay_as_they_are() -> None:
    found, reading = placed(MINUTES)
    assert found.rows.tolist() == list(range(11))
    assert found.seconds.tolist() == MINUTES
    assert not found.retimed.any()
    assert (reading.repairs, reading.unknown, found.waiting) == ([], [], 0)


def test_a_row_that_comes_twice_is_left_out() -> None:
    found, reading = placed([0.0, 60.0, 60.0, 120.0], {2: "r1"})
    assert found.rows.tolist() == [0, 1, 3]
    assert kinds(reading) == [(4, "duplicate")]


def test_a_day_later_the_same_line_is_a_new_one() -> None:
    """A clock without a date and a reading that is back where it was; then a true repeat."""
    half_hours = [1800.0 * n for n in range(49)]
    found, reading = placed([*half_hours, 86_400.0], {48: "r0", 49: "r0"}, clock=True)
    assert found.seconds.tolist() == half_hours
    assert kinds(reading) == [(51, "duplicate")]


@pytest.mark.parametrize(
    ("late", "unknown"),
    [
        # It fills a hole of two intervals.
        (180.0, []),
        # No hole there: the clock may have been set, and nothing of it is known.
        (90.0, [(3, 7), (7, 4)]),
    ],
)
def test_a_late_row_is_put_where_it_belongs(late: float, unknown) -> None:
    seconds = [0.0, 60.0, 120.0, 240.0, 300.0, late, 360.0]
    found, reading = placed(seconds)
    assert found.seconds.tolist() == sorted(seconds)
    assert np.flatnonzero(found.retimed).tolist() == [sorted(seconds).index(late)]
    assert kinds(reading) == [(7, "order")]
    assert reading.unknown == unknown


def test_three_rows_back_in_time_are_a_clock_that_was_set() -> None:
    """They count on from the last by one interval; how much time passed is unknown."""
    found, reading = placed([*MINUTES, 100.0, 160.0, 220.0, 280.0])
    assert found.seconds.tolist() == [*MINUTES, 660.0, 720.0, 780.0, 840.0]
    assert found.retimed.tolist() == [False] * 11 + [True] * 4
    assert kinds(reading) == [(13, "clock step")]
    assert reading.repairs[0].became == "560 s later from here on"
    assert "the clock was set back;" in reading.repairs[0].reason
    assert reading.unknown == [(12, 13)]


def test_two_rows_back_in_time_wait_for_a_third() -> None:
    waiting, reading = placed([*MINUTES, 1000.0, 100.0, 160.0], is_last=False)
    assert waiting.waiting == 2
    assert waiting.rows.size == 12
    assert reading.repairs == []
    found, reading = placed([*MINUTES, 100.0, 160.0])
    assert found.seconds.tolist() == sorted([*MINUTES, 100.0, 160.0])
    assert kinds(reading) == [(13, "order"), (14, "order")]
    # None of it is known: neither before nor after each of them.
    assert reading.unknown == [(3, 13), (13, 4), (4, 14), (14, 5)]


def test_a_row_from_another_time_is_left_out() -> None:
    """Before the first row, or so far ahead that no log lasts so long."""
    month = tables.load("log_reading")["duration_limit"]
    for odd in (-5000.0, 600.0 + month + 1.0):
        found, reading = placed([*MINUTES, odd, 660.0, 720.0])
        assert found.seconds.tolist() == [*MINUTES, 660.0, 720.0]
        assert kinds(reading) == [(13, "out of place")]
    # With another row of its time, it is not known which of the two is right.
    found, reading = placed([*MINUTES, 120.0, 660.0])
    assert found.seconds.tolist() == [*MINUTES, 660.0]
    assert kinds(reading) == [(13, "out of place")]
    assert reading.unknown == [(4, 5)]


def test_a_second_file_counts_on_from_the_first() -> None:
    """By one interval; where rows of the first come again, how far it goes on is known."""
    seconds = [*MINUTES, 0.0, 60.0, 120.0]
    ask = {"begins": (11,), "new_files": (11,), "counts_anew": True}
    found, reading = placed(seconds, **ask)
    assert found.seconds.tolist() == [*MINUTES, 660.0, 720.0, 780.0]
    assert reading.unknown == [(12, 13)]
    assert kinds(reading) == [(13, "new file")]
    _, known = placed(seconds, replayed=(11,), **ask)
    assert known.unknown == []
    later = [*MINUTES, 700.0, 760.0, 820.0]
    found, reading = placed(later, **ask)
    assert found.seconds.tolist() == later
    assert (kinds(reading), reading.unknown) == ([], [(12, 13)])

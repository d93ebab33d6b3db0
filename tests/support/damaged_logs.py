"""Logs as they come out of kitchens: each with the faults that a logger or a person leaves.

All are invented. Each entry is the text of a file and what is said when it is read.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

Damaged = tuple[str, dict[str, object]]


def _lines(heading: str, rows: Iterable[tuple[object, ...]]) -> str:
    return "\n".join([heading, *(",".join(str(cell) for cell in row) for row in rows), ""])


def _pit(n: int) -> float:
    return round(110.0 + (7 * n) % 5 - 2.0, 1)


def _meat(n: int) -> float:
    return round(4.0 + 0.6 * n, 1)


def _clock(seconds: int, form: str = "24") -> str:
    hours, rest = divmod(seconds % 86_400, 3600)
    if form == "12":
        return f"{(hours - 1) % 12 + 1}:{rest // 60:02d}"
    return f"{hours:02d}:{rest // 60:02d}:{rest % 60:02d}"


def _plain(
    rows: int, step: int = 60, heading: str = "time_s,pit_c,meat_c", **changed: object
) -> str:
    """A plain log in which some rows are another text, by their number."""
    texts = [f"{step * n},{_pit(n)},{_meat(n)}" for n in range(rows)]
    for number, text in changed.items():
        texts[int(number[1:])] = str(text)
    return "\n".join([heading, *texts, ""])


def _dated(seconds: Iterable[int], day: Callable[[int], str]) -> str:
    return _lines(
        "time,pit_c,meat_c",
        ((f"{day(s)} {_clock(s)}", _pit(n), _meat(n)) for n, s in enumerate(seconds)),
    )


def _autumn(minutes: Iterable[int]) -> Iterable[tuple[object, ...]]:
    """Local time of Berlin on 25 October 2026: the hour from 2:00 to 3:00 comes twice."""
    for n, minute in enumerate(minutes):
        local = minute if minute < 180 else minute - 60
        yield f"2026-10-25 {local // 60:02d}:{local % 60:02d}", _pit(n), _meat(n)


def _spring(minutes: Iterable[int]) -> Iterable[tuple[object, ...]]:
    """Local time of Berlin on 29 March 2026: the hour from 2:00 to 3:00 is skipped."""
    for n, minute in enumerate(minutes):
        local = minute if minute < 120 else minute + 60
        yield f"2026-03-29 {local // 60:02d}:{local % 60:02d}", _pit(n), _meat(n)


DAMAGED: dict[str, Damaged] = {
    "cells that are no reading": (
        _plain(
            60,
            r5="300,112.0,---",
            r6="360,112.0,ERR",
            r7="420,112.0,999.9",
            r8="480,,8.8",
            r20="1200,110.0,-127",
            r30="1800,110.0,6553.5",
            r40="2400,110.0,OPEN",
        ),
        {},
    ),
    "rows that cannot be placed": (
        _plain(
            60,
            r10="600,110.0,10.0,5,6,7",
            r11="later,110.0,10.6",
            r12="720",
            r30="1800.0,110.0,22.0\n1800,110.0,22.0",
            r59="3540,11",
        ),
        {},
    ),
    "a row out of place": (
        _plain(60, r20="1260,113.0,16.6", r21="1200,108.0,16.0"),
        {},
    ),
    "a long gap and a stuck probe": (
        _lines(
            "time_s,pit_c,meat_c",
            ((60 * n + (7200 if n > 40 else 0), _pit(n), 20.0) for n in range(90)),
        ),
        {},
    ),
    "whole minutes of a fast log": (
        _lines(
            "time,pit_c,meat_c",
            ((_clock(64_800 + 20 * n)[:5], _pit(n), round(4 + n / 5, 1)) for n in range(120)),
        ),
        {"start_date": "2026-05-02"},
    ),
    "past midnight without a date": (
        _lines(
            "time,pit_c,meat_c",
            ((_clock(82_800 + 120 * n), _pit(n), _meat(n)) for n in range(90)),
        ),
        {"start_date": "2026-12-31"},
    ),
    "twelve hours beside dates": (
        _lines(
            "date,time,pit_c,meat_c",
            (
                (
                    f"2026-05-{2 + (36_000 + 900 * n) // 86_400:02d}",
                    _clock(36_000 + 900 * n, "12"),
                    _pit(n),
                    _meat(n),
                )
                for n in range(70)
            ),
        ),
        {},
    ),
    "summer time ends, no zone": (_lines("time,pit_c,meat_c", _autumn(range(0, 300, 5))), {}),
    "summer time ends": (
        _lines("time,pit_c,meat_c", _autumn(range(0, 300, 5))),
        {"zone": "Europe/Berlin"},
    ),
    "summer time begins, no zone": (
        _lines("time,pit_c,meat_c", _spring(range(0, 300, 5))),
        {},
    ),
    "summer time begins": (
        _lines("time,pit_c,meat_c", _spring(range(0, 300, 5))),
        {"zone": "Europe/Berlin"},
    ),
    "a clock set back": (
        _dated([*range(0, 3600, 120), *range(2400, 6000, 120)], lambda s: "2026-05-02"),
        {},
    ),
    "°F under a heading of °C": (
        _lines(
            "time_s,pit_c,meat_c",
            (
                (120 * n, round(_pit(n) * 1.8 + 32, 1), round(_meat(n) * 1.8 + 32, 1))
                for n in range(120)
            ),
        ),
        {},
    ),
    "from °C to °F on the way": (
        _lines(
            "time_s,pit_c,meat_c",
            (
                (60 * n, _pit(n), _meat(n))
                if n < 60
                else (60 * n, round(_pit(n) * 1.8 + 32, 1), round(_meat(n) * 1.8 + 32, 1))
                for n in range(120)
            ),
        ),
        {},
    ),
    "a jump that is taken as real": (
        _lines(
            "time_s,pit_c,meat_c",
            (
                (60 * n, _pit(n), _meat(n))
                if n < 60
                else (60 * n, round(_pit(n) * 1.8 + 32, 1), round(_meat(n) * 1.8 + 32, 1))
                for n in range(90)
            ),
        ),
        {"accept_jumps": True},
    ),
    "tens of minutes apart": (
        _lines("elapsed_min,pit_c,meat_c", ((30 * n, _pit(n), 4 + 6 * n) for n in range(12))),
        {},
    ),
    "the same probe twice": (
        _lines(
            "time_s,pit_c,flat_c,flat_c",
            ((60 * n, _pit(n), _meat(n), _meat(n)) for n in range(60)),
        ),
        {},
    ),
    "columns said": (
        _lines(
            "when,one,two,three,four",
            ((n, _meat(n), _pit(n), 20.5, n * 7 % 100) for n in range(60)),
        ),
        {
            "columns": {
                "when": "elapsed min",
                "one": "meat",
                "two": "air",
                "three": "ambient",
                "four": "ignore",
            },
            "units": "C",
        },
    ),
    "columns said, one of them wrong": (
        _plain(30),
        {"columns": {"pit_c": "air", "neat_c": "meat"}},
    ),
    "a probe in each row, by number": (
        _lines(
            "time_s,probe,temperature_c",
            (
                (60 * n, probe, value)
                for n in range(40)
                for probe, value in (("pit", _pit(n)), ("meat 1", _meat(n)), ("meat 2", 4 + n))
            ),
        ),
        {},
    ),
    "nothing but a heading": ("time_s,pit_c,meat_c\n", {}),
    "no meat": (_lines("time_s,pit_c", ((60 * n, _pit(n)) for n in range(30))), {}),
    "order by rows": (
        _dated([*range(0, 3600, 120), *range(2400, 6000, 120)], lambda s: "2026-05-02"),
        {"in_order": True},
    ),
}

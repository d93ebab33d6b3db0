"""No column vanishes: what is no channel is listed; what may be meat is told by its curve.

Each test says whether it failed before the reader listed what it leaves out.
"""

from __future__ import annotations

import json

import numpy as np
import pytest

from coreward.errors import InputError
from coreward.logs import Channel, LogFollower, LogReadError, read_in_order, read_log
from coreward.logs import what_it_holds as look
from coreward.logs.log import LeftOutColumn, ProbeLog
from coreward.logs.meat_like import is_meat_like

pytestmark = pytest.mark.quick

ROWS = 120


def core(i: int, first: float = 5.0, last: float = 92.0) -> float:
    """Return a reading of meat that warms slowly."""
    return round(last - (last - first) * float(np.exp(-i / 45.0)), 1)


def pit(i: int) -> float:
    return 108.0 + (i * 7) % 11


def table(**columns) -> str:
    """Return a table of a pit, a meat, and other columns, each a function of the row."""
    head = ",".join(["time_s", "pit_c", "meat_c", *columns])
    rows = [
        ",".join(
            [str(60 * i), f"{pit(i)}", f"{core(i)}", *(str(f(i)) for f in columns.values())]
        )
        for i in range(ROWS)
    ]
    return "\n".join([head, *rows]) + "\n"


@pytest.fixture
def write(tmp_path):
    def writer(text: str, name: str = "log.csv"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return writer


def colder(i: int) -> float:
    return core(i, 5.0, 48.0)


# --- headings that speak of meat and of something else ---------------------------------------


@pytest.mark.parametrize(
    "heading",
    [
        "brisket point fan side (°C)",
        "breast (target 74) [°C]",
        "turkey oven side °C",
        "ham by the damper (°C)",
        "pork shoulder pit side (°C)",
        "chicken leg outside (°C)",
        "flat set deep (°C)",
        "beef clock side (°C)",
        "rib next to battery (°C)",
        "lamb estimated core (°C)",
    ],
)
def test_a_word_never_outvotes_meat_and_its_curve(write, heading):
    """Failed before: each was left out, or taken for the air; the colder probe was lost."""
    log = read_log(write(table(**{heading: colder})))
    assert [(c.name, c.role) for c in log.channels] == [
        ("pit_c", "air"),
        ("meat_c", "meat"),
        (heading, "meat"),
    ]
    assert log.channels[2].temperature_c.tolist() == [colder(i) for i in range(ROWS)]
    assert log.left_out == ()
    assert log.coldest_meat_c.max() == colder(ROWS - 1)


@pytest.mark.parametrize("heading", ["fan side (°C)", "battery corner °C", "x_c", "third_c"])
def test_a_unit_and_a_curve_make_a_meat_probe(write, heading):
    """Failed before: the column was only named in a sentence."""
    log = read_log(write(table(**{heading: colder})))
    assert log.meat(2).name == heading
    assert log.meat(2).temperature_c.tolist() == [colder(i) for i in range(ROWS)]
    assert any(f"'{heading}' is meat, by its unit" in one for one in log.understood)


def steps(i: int) -> float:
    return 60.0 if i < 70 else 93.0


@pytest.mark.parametrize(
    ("heading", "cells", "reason", "temperatures"),
    [
        ("meat target (°C)", lambda i: 93, "'target'", True),
        ("breast set point [°C]", steps, "'set'", True),
        ("pit set (°C)", lambda i: 110, "'set'", True),
        ("fan", lambda i: 100 * (i // 3 % 2), "'fan'", True),
        ("fan %", lambda i: 100 * (i // 3 % 2), "'fan'", False),
        ("point fan (%)", colder, "'fan'", False),
        ("brisket weight (kg)", lambda i: 5 - i / 100, "'weight'", False),
        ("fan speed", colder, "'fan'", True),
        ("notes", lambda i: "lid" if i == 5 else "", "'notes'", False),
        ("firmware", lambda i: "v2.1", "neither time, air nor meat", False),
    ],
)
def test_what_is_no_probe_is_listed_and_not_meat_like(
    write, heading, cells, reason, temperatures
):
    """Failed before: nothing was listed."""
    log = read_log(write(table(**{heading: cells})))
    assert [c.name for c in log.channels] == ["pit_c", "meat_c"]
    (one,) = log.left_out
    assert one.name == heading
    assert reason in one.reason
    assert one.meat_like is False
    if temperatures:
        assert one.temperature_c.tolist() == [float(cells(i)) for i in range(ROWS)]
    else:
        assert one.temperature_c.size == 0


@pytest.mark.parametrize(
    ("heading", "word"),
    [
        ("target side", "target"),
        ("predicted (°C)", "predicted"),
        ("board °C", "board"),
        ("dew point C", "dew"),
        ("wet bulb C", "bulb"),
        ("fan side", "fan"),
        ("third", "neither"),
    ],
)
def test_what_may_be_meat_is_said_to_be(write, heading, word):
    """Failed before: nothing was listed. Only a person can say what these are."""
    log = read_log(write(table(**{heading: colder})))
    (one,) = log.left_out
    assert (one.name, one.meat_like) == (heading, True)
    assert word in one.reason
    assert one.temperature_c.tolist() == [colder(i) for i in range(ROWS)]


def test_what_a_person_leaves_out_is_listed_and_not_asked_about_again(write):
    log = read_log(write(table(third_c=colder)), columns={"third_c": "ignore"})
    (one,) = log.left_out
    assert (one.name, one.reason, one.meat_like) == (
        "third_c",
        "it was stated to be left out",
        False,
    )
    assert one.temperature_c[5] == colder(5)


def test_in_fahrenheit_the_curve_is_judged_in_degrees_celsius(write):
    """Failed before. 203 °F is meat; 203 read as °C is none."""
    rows = "".join(
        f"{60 * i},{230 + i % 3},{core(i) * 1.8 + 32:.1f},{core(i) * 1.8 + 32:.1f},203\n"
        for i in range(ROWS)
    )
    head = "time_s,pit_f,meat_f,flat fan side (°F),meat goal (°F)\n"
    log = read_log(write(head + rows))
    assert [c.name for c in log.meats] == ["meat_f", "flat fan side (°F)"]
    assert log.meat(2).temperature_c[-1] == pytest.approx(core(ROWS - 1), abs=0.05)
    (one,) = log.left_out
    assert (one.name, one.meat_like) == ("meat goal (°F)", False)
    assert one.temperature_c == pytest.approx(np.full(ROWS, 95.0))


def test_a_probe_never_plugged_in_is_listed(write):
    """Failed before: it stood only among the repairs."""
    log = read_log(write(table(flat_c=lambda i: "", point_c=lambda i: "---", x=lambda i: "")))
    assert [c.name for c in log.channels] == ["pit_c", "meat_c"]
    assert [(one.name, one.temperature_c.size, one.meat_like) for one in log.left_out] == [
        ("x", 0, False),
        ("flat_c", 0, True),  # of a probe for meat: only a person can say what it was
        ("point_c", 0, True),
    ]
    assert log.left_out[0].reason.endswith("and it has no reading in any row")
    assert log.left_out[1].reason == (
        "it has no reading in any row: the probe was never plugged in"
    )


@pytest.mark.parametrize(("unit", "zero"), [("c", "0"), ("c", "0.0"), ("f", "32"), ("f", "0")])
def test_zero_is_written_for_no_probe(write, unit, zero):
    """Failed before: zeros passed for readings of frozen meat."""
    scale, add = (1.8, 32.0) if unit == "f" else (1.0, 0.0)

    def shown(value: float) -> str:
        return f"{value * scale + add:.1f}"

    head = f"time_s,pit_{unit},meat_{unit},flat_{unit},point_{unit}\n"
    rows = [
        [str(60 * i), shown(pit(i)), shown(core(i)), zero, shown(core(i, 20.0))]
        for i in range(ROWS)
    ]
    for i in (0, 1, 60, 61, 62, 119):
        rows[i][4] = zero
    log = read_log(write(head + "".join(",".join(row) + "\n" for row in rows)))
    point = log.meat(2)
    assert point.name == f"point_{unit}"
    assert np.flatnonzero(~point.plugged).tolist() == [0, 1, 60, 61, 62, 119]
    assert point.temperature_c[2] == pytest.approx(core(2, 20.0), abs=0.06)
    assert [one.name for one in log.left_out] == [f"flat_{unit}"]
    assert [(r.row, r.last_row, r.was) for r in log.repairs if r.column == point.name] == [
        (2, 3, f"{float(zero):g}"),
        (62, 64, f"{float(zero):g}"),
        (121, 121, f"{float(zero):g}"),
    ]


def test_a_zero_that_meat_can_have_stays(write):
    rows = "".join(f"{60 * i},{pit(i)},{max(0.0, i - 10) * 0.5:.1f}\n" for i in range(60))
    log = read_log(write("time_s,pit_c,meat_c\n" + rows))
    assert log.meat().temperature_c.tolist() == [max(0.0, i - 10) * 0.5 for i in range(60)]
    assert log.repairs == ()
    low = "time_s,pit_c,meat_c\n0,110,0\n60,110,14.9\n120,110,0\n180,110,15\n240,110,15\n"
    log = read_log(write(low))
    assert [log.meat().plugged.tolist(), log.meat().temperature_c[1]] == [
        [True, True, False, True, True],
        14.9,
    ]


def test_a_single_zero_may_be_a_reading(write):
    rows = "".join(f"{60 * i},{pit(i)},{core(i)},{'0' if i == 7 else ''}\n" for i in range(20))
    log = read_log(write("time_s,pit_c,meat_c,flat_c\n" + rows))
    assert np.flatnonzero(log.meat(2).plugged).tolist() == [7]
    assert log.meat(2).temperature_c[7] == 0.0


# --- what moves as meat does ------------------------------------------------------------------


def test_curves_of_meat_and_of_others():
    """The judge of curves, on curves whose nature is known."""
    rng = np.random.default_rng(3)
    t = np.arange(3000.0)
    warming = 90.0 - 85.0 * np.exp(-t / 900.0)
    meats = {
        "warming": warming,
        "noisy": warming + 0.5 * rng.standard_normal(t.size),
        "whole degrees": np.round(warming),
        "frozen": -18.0 + 80.0 * t / 3000.0,
        "held in a bath": 60.0 + 0.3 * rng.standard_normal(t.size),
        "cooked, cooled, reheated": np.concatenate([warming, warming[::-1], warming]),
        "few rows": warming[::600],
        "pulled out near the end": np.concatenate([warming, np.full(150, 130.0)]),
        "with gaps": np.where(t % 5 == 0, warming, np.nan),
    }
    for name, curve in meats.items():
        assert is_meat_like(curve), name
    others = {
        "nothing": np.full(50, np.nan),
        "one reading": np.array([np.nan, 50.0, np.nan]),
        "constant": np.full(500, 93.0),
        "set once": np.where(t < 900, 110.0, 90.0),
        "set three times": np.select([t < 500, t < 1500, t < 2000], [60.0, 80.0, 70.0], 93.0),
        "fan on and off": 100.0 * (t // 20 % 2),
        "fan at its level": 40.0 + 20.0 * rng.standard_normal(t.size).clip(-2, 2),
        "fire": 95.0 + 4.0 * rng.standard_normal(t.size),
        "too hot": 150.0 - 45.0 * np.exp(-t / 900.0) + 10.0,
        "signal": -60.0 - 5.0 * rng.random(t.size),
    }
    for name, curve in others.items():
        assert not is_meat_like(curve), name


def test_bounds_of_the_judge_of_curves():
    ramp = np.linspace(0.0, 1.0, 200)
    assert is_meat_like(-25.0 + 130.0 * ramp)
    assert not is_meat_like(-60.0 + 100.0 * ramp)
    assert is_meat_like(np.concatenate([90.0 * ramp, np.full(20, 106.0)]))
    assert not is_meat_like(np.concatenate([90.0 * ramp, np.full(25, 106.0)]))
    small = np.where(np.arange(100) < 50, 54.0, 55.9)
    assert is_meat_like(small)
    assert not is_meat_like(np.where(np.arange(100) < 50, 54.0, 56.0))
    saw = 10.0 * np.abs((np.arange(400) / 50.0) % 2 - 1)  # eight ways of 10 K
    assert is_meat_like(saw)
    assert is_meat_like(3.4 * saw)  # 272 K of way: 3 x 34 + 0.6 x 400 = 342
    assert is_meat_like(6.0 * saw) == (8 * 60 <= 3 * 60 + 240)
    assert not is_meat_like(10.0 * saw)  # 800 > 540


# --- one probe in each row ----------------------------------------------------------------

PROBES = {"pit": pit, "brisket": core, "point": colder}


def long_text(keys, *, apart=0, head="time_s,sensor,temp_c", extra="", blocks=False) -> str:
    pairs = [
        (60 * i + apart * at, key, f(i))
        for i in range(40)
        for at, (key, f) in enumerate(zip(keys, PROBES.values(), strict=True))
    ]
    if blocks:
        pairs.sort(key=lambda one: keys.index(one[1]))
    return head + "\n" + "".join(f"{t},{key},{value}{extra}\n" for t, key, value in pairs)


def check_long(log: ProbeLog, names) -> None:
    assert [(c.name, c.role) for c in log.channels] == list(
        zip(names, ("air", "meat", "meat"), strict=True)
    )
    assert log.time_s.tolist() == [60.0 * i for i in range(40)]
    for channel, f in zip(log.channels, PROBES.values(), strict=True):
        assert channel.temperature_c.tolist() == [float(f(i)) for i in range(40)]
    assert "duplicate" not in [repair.kind for repair in log.repairs]


NAMED = ["pit (°C)", "brisket (°C)", "point (°C)"]


@pytest.mark.parametrize("head", ["time_s,sensor,temp_c", "time_s,name,value °C"])
@pytest.mark.parametrize("blocks", [False, True])
def test_long_rows_become_channels(write, head, blocks):
    """Failed before: no meat was found, or all but the first of each time was dropped."""
    log = read_log(write(long_text(list(PROBES), head=head, blocks=blocks)))
    check_long(log, NAMED)
    assert any(one.startswith("Each row holds one probe, named in") for one in log.understood)


def test_numbers_of_probes_are_asked_about(write):
    """Failed before: the 48 °C probe was dropped as 'duplicate'."""
    path = write(long_text(["1", "2", "3"]))
    with pytest.raises(LogReadError, match="Which probe is the air") as caught:
        read_log(path)
    names = tuple(f"sensor {n} (°C)" for n in (1, 2, 3))
    assert caught.value.question.choices == names
    log = read_log(path, columns={names[0]: "air"})
    check_long(log, names)
    assert log.coldest_meat_c[-1] == colder(39)


@pytest.mark.parametrize("apart", [2, 5])
def test_probes_read_one_after_the_other_share_a_time(write, apart):
    """Failed before."""
    log = read_log(write(long_text(list(PROBES), apart=apart)))
    check_long(log, NAMED)
    (repair,) = log.repairs
    assert (repair.kind, repair.row, repair.last_row) == ("one time", 2, 121)
    assert repair.was == f"probes read up to {2 * apart} s after each other"


def test_nothing_is_filled_in_where_a_probe_was_silent(write):
    """Failed before. The point is read every third time only; the flat stops half way."""
    rows = []
    for i in range(30):
        rows.append(f"{60 * i},pit,{pit(i)}")
        if i < 15:
            rows.append(f"{60 * i},flat,{core(i)}")
        if i % 3 == 0:
            rows.append(f"{60 * i},point,{colder(i)}")
    log = read_log(write("time_s,probe,temperature_c\n" + "\n".join(rows) + "\n"))
    assert log.time_s.tolist() == [60.0 * i for i in range(30)]
    flat, point = log.meats
    assert flat.temperature_c[:15].tolist() == [core(i) for i in range(15)]
    assert not flat.plugged[15:].any()
    assert np.flatnonzero(point.plugged).tolist() == list(range(0, 30, 3))
    assert point.temperature_c[27] == colder(27)


def test_probes_at_times_of_their_own_keep_them(write):
    """Failed before. Thirty seconds apart is no sweep of a minute's log."""
    rows = [
        line
        for i in range(30)
        for line in (f"{60 * i},pit,{pit(i)}", f"{60 * i + 31},flat,{core(i)}")
    ]
    log = read_log(write("time_s,probe,temp_c\n" + "\n".join(rows) + "\n"))
    assert log.time_s[:4].tolist() == [0.0, 31.0, 60.0, 91.0]
    assert np.flatnonzero(log.meat().plugged).tolist() == list(range(1, 60, 2))
    assert log.meat().temperature_c[1] == core(0)
    assert log.air_c[2] == pit(1)


def test_probes_one_after_the_other_at_times_of_their_own(write):
    """Failed before. No time repeats; each probe is a block of rows."""
    rows = [f"{60 * i},pit,{pit(i)}" for i in range(30)]
    rows += [f"{60 * i + 3},flat,{core(i)}" for i in range(30)]
    rows += [f"{60 * i + 8},point,{colder(i)}" for i in range(30)]
    log = read_log(write("time_s,sensor,temp_c\n" + "\n".join(rows) + "\n"))
    assert log.time_s.tolist() == [60.0 * i for i in range(30)]
    assert log.meat(2).temperature_c.tolist() == [colder(i) for i in range(30)]
    assert log.repairs[0].was == "probes read up to 8 s after each other"


def test_what_names_a_probe(write):
    """Whole numbers below a hundred or words, each at least twice; nothing else."""

    def roles(keys: list[str], times: int) -> list[str]:
        rows = [
            f"{60 * i},{key},{110 if at == 0 else 40 + i + at}"
            for i in range(times)
            for at, key in enumerate(keys)
        ]
        text = "time_s,sensor,temp_c\n" + "\n".join(rows) + "\n"
        try:
            log = read_log(write(text), columns={f"sensor {keys[0]} (°C)": "air"})
        except LogReadError as error:
            return [error.what]
        return [c.name for c in log.channels]

    assert roles(["0", "99"], 2) == ["sensor 0 (°C)", "sensor 99 (°C)"]
    for keys in (["0", "100"], ["0", "-1"], ["0", "1.5"]):
        assert "that was stated is not in the file" in roles(keys, 5)[0]
    assert len(roles([str(i) for i in range(8)], 2)) == 8
    assert "that was stated" in roles([str(i) for i in range(18)], 4)[0]
    assert "that was stated" in roles(["1", "2"], 1)[0]


def test_long_rows_of_json_and_in_fahrenheit(write):
    """Failed before."""
    lines = [
        json.dumps(
            {"time": f"2026-05-02T10:{i:02d}:00Z", "sensor": key, "unit": "F", "temp": t}
        )
        for i in range(40)
        for key, t in (("pit", 230), ("flat", 50 + i), ("point", 41 + i))
    ]
    log = read_log(write("\n".join(lines) + "\n", "log.json"))
    assert [c.name for c in log.channels] == ["pit (°F)", "flat (°F)", "point (°F)"]
    assert log.meat(2).temperature_c[0] == pytest.approx(5.0)
    assert log.time_s[-1] == 39 * 60.0
    assert [one.name for one in log.left_out] == ["unit"]


def test_what_else_long_rows_hold_is_listed_and_two_readings_are_refused(write):
    """Failed before."""
    text = long_text(list(PROBES), head="time_s,sensor,temp_c,battery", extra=",88")
    log = read_log(write(text))
    check_long(log, NAMED)
    assert [(one.name, one.meat_like) for one in log.left_out] == [("battery", False)]
    two = long_text(list(PROBES), head="time_s,sensor,temp_c,other_c", extra=",50")
    with pytest.raises(LogReadError, match="may each be its reading") as caught:
        read_log(write(two))
    assert (caught.value.row, caught.value.column) == (1, "sensor")
    assert "columns={'other_c': 'ignore'}" in caught.value.remedy
    log = read_log(write(two), columns={"other_c": "ignore"})
    check_long(log, NAMED)
    goal = long_text(list(PROBES), head="time_s,sensor,temp_c,target_c", extra=",93")
    log = read_log(write(goal))
    check_long(log, NAMED)
    assert [one.name for one in log.left_out] == ["target_c"]


def test_long_rows_cannot_be_followed(write, tmp_path):
    """Failed before: every reading but the first of a time was refused, row by row."""
    path = write(long_text(list(PROBES)))
    with pytest.raises(LogReadError, match="Each row holds one probe"):
        read_in_order(path)
    follower = LogFollower(path)
    with pytest.raises(LogReadError, match="Read it with read_log"):
        follower.poll()
    assert look(path).is_ready
    assert [guess.heading for guess in look(path).columns] == ["time_s", *NAMED]


def test_readings_at_the_same_time_are_never_dropped_as_duplicates(write):
    """Failed before: which column names the probe is not said, so the log is refused."""
    rows = "".join(
        f"{60 * i},{pit(i)},{value}\n" for i in range(20) for value in (core(i), colder(i))
    )
    with pytest.raises(
        LogReadError, match=r"same time as row \d+ and other readings"
    ) as caught:
        read_log(write("time_s,pit_c,meat_c\n" + rows))
    assert "'sensor'" in caught.value.remedy
    assert caught.value.row is not None


def test_wide_tables_stay_as_they_are(write):
    """A column of few whole numbers under the heading of a probe names no probe."""
    rows = "".join(f"{60 * i},{110 + i % 2},{40 + i // 2}\n" for i in range(10))
    log = read_log(write("time_s,pit_c,probe 1 (°C)\n" + rows))
    assert log.meat().temperature_c.tolist() == [40.0 + i // 2 for i in range(10)]
    rows = "".join(f"{60 * i},{110 + i % 2},{40 + i % 2}\n" for i in range(10))
    log = read_log(write("time_s,pit,probe\n" + rows), units="C")
    assert log.meat().temperature_c.tolist() == [40.0 + i % 2 for i in range(10)]


# --- everywhere ----------------------------------------------------------------------------


def test_our_own_format_carries_what_was_left_out(write, tmp_path):
    """Failed before."""
    text = table(**{"fan side": colder, "meat goal (°C)": lambda i: 93, "flat_c": lambda i: ""})
    log = read_log(write(text))
    path = log.to_csv(tmp_path / "own.csv")
    back = read_log(path)
    in_order = read_in_order(path)
    for other in (back, in_order):
        assert [(c.name, c.role) for c in other.channels] == [
            ("pit_c", "air"),
            ("meat_c", "meat"),
        ]
        got = {one.name: one for one in other.left_out}
        assert set(got) == {"fan side", "meat goal (°C)", "flat_c"}
        for one in log.left_out:
            assert (one.reason, one.meat_like) == (
                got[one.name].reason,
                got[one.name].meat_like,
            )
            assert np.array_equal(one.temperature_c, got[one.name].temperature_c)
    assert back.understood == log.understood
    assert back.repairs == log.repairs
    again = read_log(back.to_csv(tmp_path / "again.csv"))
    assert (tmp_path / "again.csv").read_bytes() == path.read_bytes()
    assert [one.name for one in again.left_out] == [one.name for one in log.left_out]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"meat_like": true', '"meat_like": 3'),
        ('"column": "left_out_1_c"', '"column": "gone"'),
        ('"column": "left_out_1_c"', '"column": 7'),
        ('"name": "fan side"', '"nome": "fan side"'),
        ("unknown span: [60.0, 120.0]", "unknown span: [60.0, 121.0]"),
        ("unknown span: [60.0, 120.0]", "unknown span: [60.0]"),
        ("unknown span: [60.0, 120.0]", "unknown span: {}"),
        ("unknown span: [60.0, 120.0]", 'unknown span: ["nan", "inf"]'),
    ],
)
def test_damaged_notes_of_our_own_format(write, tmp_path, old, new):
    log = read_log(write(table(**{"fan side": colder})))
    log = ProbeLog(
        log.time_s, None, log.channels, left_out=log.left_out, unknown_spans=((60.0, 120.0),)
    )
    text = log.to_csv_text()
    assert read_log(write(text)).unknown_spans == ((60.0, 120.0),)
    assert old in text
    with pytest.raises(LogReadError, match="our own format"):
        read_log(write(text.replace(old, new)))


def test_a_log_checks_what_was_left_out():
    channel = Channel("meat", "meat", np.array([1.0, 2.0, 3.0]))
    times = np.array([0.0, 60.0, 120.0])
    one = LeftOutColumn("x", "why", np.array([1.0, 2.0]), True)
    with pytest.raises(InputError, match="'x', left out, has 2 readings for 3 times"):
        ProbeLog(times, None, (channel,), left_out=(one,))
    for span in ((0.0, 120.0), (30.0, 60.0), (60.0, 0.0), (120.0, 180.0)):
        with pytest.raises(InputError, match="between two neighbouring samples"):
            ProbeLog(times, None, (channel,), unknown_spans=(span,))
    log = ProbeLog(times, None, (channel,), unknown_spans=((0.0, 60.0), (60.0, 120.0)))
    assert log.unknown_spans == ((0.0, 60.0), (60.0, 120.0))


def test_a_followed_log_lists_what_it_leaves_out(write):
    """Failed before."""
    text = table(**{"fan side": colder, "fan": lambda i: 100 * (i % 2), "flat_c": lambda i: ""})
    path = write("")
    lines = text.splitlines(keepends=True)
    follower = LogFollower(path)
    for piece in (lines[:30], lines[30:80], lines[80:]):
        with path.open("a", encoding="utf-8") as stream:
            stream.writelines(piece)
        log = follower.poll()
        assert [one.name for one in log.channels] == ["pit_c", "meat_c", "flat_c"]
        assert [(one.name, one.meat_like) for one in log.left_out] == [
            ("fan side", True),
            ("fan", False),
        ]
        size = log.time_s.size
        assert log.left_out[0].temperature_c.tolist() == [colder(i) for i in range(size)]
        assert log.left_out[1].temperature_c.tolist() == [100.0 * (i % 2) for i in range(size)]
        assert [c.name for c in log.channels] == ["pit_c", "meat_c", "flat_c"]
    assert size == ROWS
    follower.finish()
    assert [one.name for one in follower.log.left_out] == ["fan side", "fan", "flat_c"]
    assert [c.name for c in follower.log.channels] == ["pit_c", "meat_c"]
    whole = read_in_order(path)
    assert [one.name for one in whole.left_out] == ["fan side", "fan", "flat_c"]
    assert whole.left_out[2].reason == read_log(path).left_out[2].reason


def test_a_row_that_repeats_but_for_a_fan_is_a_repeat(write):
    text = table(fan=lambda i: i % 7)
    lines = text.splitlines(keepends=True)
    lines.append(lines[-1].replace(f",{(ROWS - 1) % 7}\n", ",99\n"))
    follower = LogFollower(write("".join(lines)))
    follower.finish()
    assert follower.accounting.duplicate == 1
    assert follower.log.time_s.size == ROWS


def test_a_screen_never_leaves_a_column_out_for_a_person(write):
    """Failed before: its proposals became 'ignore', as if a person had said so."""
    path = write(table(**{"fan side": colder, "fan": lambda i: 100 * (i % 2)}))
    seen = look(path)
    assert seen.is_ready
    arguments = seen.arguments()
    assert arguments == {"columns": {"time_s": "time", "pit_c": "air", "meat_c": "meat"}}
    log = read_log(path, **arguments)
    assert [(one.name, one.meat_like) for one in log.left_out] == [
        ("fan side", True),
        ("fan", False),
    ]
    stated = look(path, columns={"fan side": "ignore"})
    assert stated.arguments()["columns"]["fan side"] == "ignore"

"""A day of eight probes at one row a second: read, cleaned and drawn."""

from __future__ import annotations

import io
import time

import numpy as np
import pytest

from coreward.logs import read_log
from coreward.questions.review.figure import figure_log
from support.pictures import is_drawn

ROWS = 86_400
BLOCK = ROWS // 10
HEADINGS = ["pit air", *(f"meat {number}" for number in range(1, 7)), "outside ambient"]


def _cells(rows: int) -> list[str]:
    """Return rows of eight readings, now and then one that is none."""
    seconds = np.arange(rows)
    rng = np.random.default_rng(5)
    columns = [110.0 + 3.0 * rng.standard_normal(rows)]
    columns += [
        4.0 + 80.0 * -np.expm1(-seconds / (30e3 + 3e3 * k)) + 0.1 * rng.standard_normal(rows)
        for k in range(6)
    ]
    columns.append(15.0 + 0.1 * rng.standard_normal(rows))
    lines = [",".join(f"{value:.1f}" for value in row) for row in zip(*columns, strict=True)]
    for i in range(77, rows, 5000):
        lines[i] = ",".join(["---", *lines[i].split(",")[1:]])
    return lines


def _day(rows: int) -> str:
    """Return so many seconds of a log of eight probes."""
    stamps = np.datetime64("2026-09-05T20:00:00") + np.arange(rows).astype("timedelta64[s]")
    head = ",".join(["date and time", *(f"{name} (°C)" for name in HEADINGS)])
    cells = (rows // BLOCK) * _cells(BLOCK)
    lines = [f"{stamp},{row}" for stamp, row in zip(stamps.astype(str), cells, strict=True)]
    return "\n".join([head, *lines]) + "\n"


def test_a_day_of_eight_probes_takes_time_in_proportion_to_its_rows(tmp_path):
    """The promise is 3 s of a person's time; measured 0.9 s, which is no matter of a test."""
    path, short = tmp_path / "day.csv", tmp_path / "short.csv"
    path.write_text(_day(ROWS), encoding="utf-8")
    short.write_text(_day(BLOCK), encoding="utf-8")
    costs = []
    for file in (short, short, path):  # the first is for what only a first log waits for
        began = time.process_time()
        log = read_log(file)
        costs.append(time.process_time() - began)
    assert log.time_s.size == ROWS
    assert len(log.channels) == 8
    assert [layer.kind for layer in log.layers] == ["unplugged"]
    assert log.layers[0].rows_touched == 10 * len(range(77, BLOCK, 5000))
    # Ten times the rows: what looked at each row for each row would take a hundred times.
    assert costs[2] < 30.0 * costs[1]
    picture = io.BytesIO()
    figure_log(log).savefig(picture, format="png")
    assert is_drawn(picture.getvalue())


@pytest.mark.parametrize("interval_s", [1, 7, 30, 300])
@pytest.mark.parametrize("form", ["elapsed", "unix", "unix ms", "iso", "day first", "clock"])
def test_every_interval_in_every_form_of_time(tmp_path, interval_s, form):
    rows = 40
    start = np.datetime64("2026-09-05T23:50:00")
    lines = [
        f"{'time_s' if form == 'elapsed' else 'time'},{','.join(f'{n}_C' for n in HEADINGS)}"
    ]
    for i, cells in enumerate(_cells(rows)):
        moment = start + np.timedelta64(i * interval_s, "s")
        text = {
            "elapsed": str(i * interval_s),
            "unix": str(int(moment.astype(int))),
            "unix ms": str(int(moment.astype(int)) * 1000),
            "iso": str(moment),
            "day first": moment.item().strftime("%d.%m.%Y %H:%M:%S"),
            "clock": moment.item().strftime("%H:%M:%S"),
        }[form]
        lines.append(f"{text},{cells}")
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines))
    log = read_log(path)
    assert np.array_equal(log.time_s, np.arange(rows) * float(interval_s))
    assert [channel.role for channel in log.channels] == ["air", *["meat"] * 6, "ambient"]
    assert log.interval_s == interval_s
    assert log.gaps == ()
    back = read_log(log.to_csv(tmp_path / "own.csv"))
    assert [c.name for c in back.channels] == [c.name for c in log.channels]
    for one, other in zip(log.channels, back.channels, strict=True):
        assert np.array_equal(one.temperature_c, other.temperature_c, equal_nan=True)
    assert back.start == log.start

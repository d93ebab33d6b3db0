"""What is told of eighty layouts and of a dozen damaged logs: names, times, readings, remarks.

`told_layouts.txt` is a table of worked examples. `test_log_zoo.py` asks whether the readings
are those of the cook; here stands what a reader is told beside them: when it starts, how each
column was understood, what was left out and why, each kind of repair with its first places,
and the whole sentence of a refusal, which names the row and the remedy.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coreward.errors import LogError
from coreward.logs import read_in_order, read_log
from coreward.words import shown
from support.damaged_logs import DAMAGED
from support.log_zoo import zoo
from support.second_zoo import second_zoo

pytestmark = pytest.mark.quick

TOLD = Path(__file__).resolve().parent / "told_layouts.txt"


@cache
def files() -> dict[str, tuple[str, bytes, dict[str, object]]]:
    animals = {one.name: (one.file, one.data, {}) for one in (*zoo(), *second_zoo())}
    damaged = {
        name: ("log.csv", text.encode("utf-8"), options)
        for name, (text, options) in DAMAGED.items()
    }
    return {**animals, **damaged}


def blocks() -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for block in TOLD.read_text(encoding="utf-8").split("## ")[1:]:
        name, *lines = block.strip("\n").split("\n")
        found[name] = lines
    return found


def told(path: Path, **options: object) -> list[str]:
    """Return what is told of a log, line by line; of one that is refused, why."""
    read = read_in_order if options.pop("in_order", False) else read_log
    try:
        log = read(path, **options)  # type: ignore[arg-type]
    except LogError as error:
        return [f"refused: {error}"]
    lines = [
        f"starts {log.start}, {log.time_s.size} rows in {log.duration_s:g} s, "
        f"every {log.interval_s:g} s, gaps over {log.gap_limit_s:g} s"
    ]
    lines += [f"gap from {a:g} to {b:g} s" for a, b in log.gaps]
    lines += [f"unknown time from {a:g} to {b:g} s" for a, b in log.unknown_spans]
    for channel in log.channels:
        known = channel.temperature_c[np.isfinite(channel.temperature_c)]
        lines.append(
            f"{channel.role} '{channel.name}': {known.size} readings, {known[0]:.2f} to "
            f"{known[-1]:.2f}, mean {known.mean():.2f}"
        )
    for column in log.left_out:
        like = ", could be meat" if column.meat_like else ""
        lines.append(f"left out '{column.name}': {column.reason}{like}")
    lines += [f"warning: {shown(warning, 'F')}" for warning in log.warnings]
    lines += [f"layer: {layer.sentence()}" for layer in log.layers]
    lines += [f"repair: {repair.sentence()}" for repair in log.repairs[:6]]
    return lines


def test_every_file_has_its_block() -> None:
    assert list(blocks()) == list(files())


@pytest.mark.parametrize("name", files())
def test_a_log_is_told_as_it_was_understood(name: str, tmp_path: Path) -> None:
    file, data, options = files()[name]
    path = tmp_path / file
    path.write_bytes(data)
    assert told(path, **options) == blocks()[name]

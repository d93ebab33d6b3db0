"""Whatever a file holds: a log, or one readable sentence."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np

from coreward.errors import LogError
from coreward.logs import LogFollower, ProbeLog, read_log, what_it_holds
from support.garbage_logs import chunks, garbage


def check_log(log: ProbeLog) -> None:
    """Assert what holds for every log."""
    assert log.time_s[0] == 0.0
    assert np.all(np.diff(log.time_s) > 0)
    assert any(channel.role == "meat" for channel in log.channels)
    for channel in log.channels:
        limit = 150.0 if channel.role == "meat" else 450.0
        known = channel.temperature_c[channel.plugged]
        assert np.all((known >= -40.0) & (known <= limit))
    assert sum(len(layer.repairs) for layer in log.layers) == len(log.repairs)


def check_sentence(error: LogError) -> None:
    """Assert that a message is short, whole and printable, and shows no machinery."""
    text = str(error)
    assert 20 < len(text) < 1200, text
    assert text.rstrip("'").endswith((".", "meat_C", "…")), text
    assert text.isprintable(), text
    assert "Traceback" not in text
    assert " object at 0x" not in text


def try_one(seed: int, folder: Path) -> tuple[str, str, float]:
    """Read one garbage file in every way; return its kind, the outcome and the seconds.

    Raises whatever is neither a log nor a `LogError`.
    """
    kind, data, options = garbage(seed)
    path = folder / "garbage.csv"
    path.write_bytes(data)
    began = time.process_time()  # a busy machine is no slow reader
    try:
        log = read_log(path, **options)
        check_log(log)
        assert log.raw.data == data  # type: ignore[attr-defined]
        outcome = "log"
    except LogError as error:
        check_sentence(error)
        outcome = "refused"
    seconds = time.process_time() - began
    try:
        found = what_it_holds(path, **options)
        assert found.is_ready == (outcome == "log")
    except LogError as error:
        check_sentence(error)
        assert outcome == "refused"
    options.pop("sheet", None)
    try_following(path.with_suffix(".growing"), data, seed, options)
    return kind, outcome, seconds


def try_following(path: Path, data: bytes, seed: int, options: dict[str, object]) -> None:
    """Let the same bytes grow in pieces under a follower."""
    path.write_bytes(b"")
    follower = LogFollower(path, **options)  # type: ignore[arg-type]
    for piece in chunks(data, seed):
        with path.open("ab") as stream:
            stream.write(piece)
        try:
            follower.poll()
        except LogError as error:
            check_sentence(error)
        assert follower.accounting.is_balanced
    is_read = True
    try:
        follower.finish()
    except LogError as error:
        check_sentence(error)
        is_read = False
    account = follower.accounting
    assert account.is_balanced
    assert account.waiting == 0
    log = follower.log
    if log is not None:  # of the last time that it could be read
        check_log(log)
        assert not is_read or log.time_s.size == account.used + account.repaired
    follower.close()

"""Messages from a page are judged by bounds first: what is claimed, then what is there."""

from __future__ import annotations

import itertools
import json
import tracemalloc
from collections.abc import Callable

import pytest

from coreward.app import messages
from support.app_server import message, packed

CONTROL = message("comm_msg", comm_id="1", data={"method": "update", "state": {"value": 1}})
SHORT = packed(CONTROL)


def _numbers(*numbers: int) -> bytes:
    return b"".join(number.to_bytes(8, "little") for number in numbers)


def _with_offsets(change: Callable[[list[int]], None]) -> bytes:
    count = int.from_bytes(SHORT[:8], "little")
    offsets = [int.from_bytes(SHORT[8 * i : 8 * i + 8], "little") for i in range(1, count + 1)]
    change(offsets)
    return _numbers(count, *offsets) + SHORT[8 * (count + 1) :]


def _moved(place: int, to: int) -> Callable[[list[int]], None]:
    return lambda offsets: offsets.__setitem__(place, to)


def test_what_a_control_sends_passes() -> None:
    messages.check(SHORT, messages.SHORT_FORM)
    messages.check(CONTROL, None)
    messages.check(packed(CONTROL, [b"a,b\n" * 1000]), messages.SHORT_FORM)


@pytest.mark.parametrize(
    "sent",
    [
        _numbers(2**40) + bytes(16),  # 24 bytes that used to be counted through
        _numbers(2**63, 24, 24),
        _numbers(0, 0, 0),
        _numbers(10**6) + bytes(1000),
        b"",
        b"\0",
        SHORT[:-1],
        SHORT + b"x",
        _with_offsets(_moved(0, 0)),
        _with_offsets(_moved(1, 2**62)),
        _with_offsets(_moved(-1, 2**62)),
        _with_offsets(_moved(2, 8)),
        packed(CONTROL, [b""] * 20),
        packed(message("comm_msg", comm_id="1", data={"x": "y" * 2_000_000})),
        packed(CONTROL.replace('"username": ""', f'"username": "{"x" * 20_000}"')),
        packed(CONTROL)[:-2] + b"[[",
    ],
    ids=itertools.count(),
)
def test_a_short_form_that_claims_too_much_is_refused_at_once(sent: bytes) -> None:
    tracemalloc.start()
    try:
        with pytest.raises(messages.RefusedMessageError):
            messages.check(sent, messages.SHORT_FORM)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < 4 * len(sent) + 2**20


@pytest.mark.parametrize(
    "sent",
    [
        "[" * 100_000,
        '{"channel": ' + "[" * 100_000,
        "null",
        json.dumps({"channel": "shell", "header": 1}),
        json.dumps(json.loads(CONTROL) | {"parent_header": None}),
        json.dumps(json.loads(CONTROL) | {"metadata": []}),
        json.dumps(json.loads(CONTROL) | {"buffers": ["x"]}),
        json.dumps(json.loads(CONTROL) | {"channel": ["shell"]}),
        CONTROL.replace("{", '{"a": ' + "9" * 5000 + ", ", 1),
        CONTROL + " " * 2_000_000,
        SHORT,
    ],
    ids=itertools.count(),
)
def test_a_long_form_that_is_none_is_refused(sent: str | bytes) -> None:
    with pytest.raises(messages.RefusedMessageError):
        messages.check(sent, None)


def test_the_reason_is_short_enough_to_be_told() -> None:
    # What closes a connection has room for 123 bytes.
    for sent in (message("x" * 5000), message("é" * 5000), packed(message("x" * 5000))):
        form = messages.SHORT_FORM if isinstance(sent, bytes) else None
        with pytest.raises(messages.RefusedMessageError) as refused:
            messages.check(sent, form)
        assert len(str(refused.value).encode()) <= 123

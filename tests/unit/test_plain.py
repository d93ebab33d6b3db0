"""Answers as plain data: keys are fields, numbers SI, sentences the reader's, never NaN."""

from __future__ import annotations

import datetime as dt
import json
import math
from dataclasses import dataclass, field
from enum import Enum
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest

from coreward.plain import apart, as_data, floored, told_as
from coreward.words import Degrees, Text, say


class Side(Enum):
    """Where it lies."""

    LEFT = "left"


@dataclass(frozen=True)
class Inner:
    at_c: float
    why: Text


@dataclass(frozen=True)
class Outer:
    inner: tuple[Inner, ...]
    rows: Any
    when: dt.datetime
    begin: dt.time | None
    side: Side
    parts: Any
    earned: float = field(metadata=told_as(told=floored))
    given: float = field(metadata=told_as("asked"))
    large: Any = field(metadata=apart())


def made(value: float) -> Outer:
    return Outer(
        inner=(Inner(value, say("at {0}", Degrees(54.4, 1))),),
        rows=np.array([[1.0, np.nan], [2.0, np.inf]]),
        when=dt.datetime(2026, 10, 24, 18, 30, tzinfo=dt.UTC),
        begin=None,
        side=Side.LEFT,
        parts=MappingProxyType({"n": np.int64(3), "x": np.float64(0.5)}),
        earned=6.499,
        given=2.0,
        large=np.zeros(1000),
    )


@pytest.mark.parametrize(("units", "why"), [("C", "at 54.4 °C"), ("F", "at 129.9 °F")])
def test_every_kind_of_value(units: str, why: str) -> None:
    found = as_data(made(54.4), units)
    assert found == {
        "inner": [{"at_c": 54.4, "why": why}],
        "rows": [[1.0, None], [2.0, None]],
        "when": "2026-10-24T18:30:00+00:00",
        "begin": None,
        "side": "left",
        "parts": {"n": 3, "x": 0.5},
        "earned": 6.49,
        "asked": 2.0,
    }
    assert json.loads(json.dumps(found, allow_nan=False)) == found


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_not_a_number_is_null(value: float) -> None:
    assert as_data(made(value))["inner"][0]["at_c"] is None
    assert as_data(floored(value)) is None


def test_what_was_earned_is_never_rounded_up() -> None:
    assert [floored(x) for x in (1.999, 2.0, None)] == [1.99, 2.0, None]

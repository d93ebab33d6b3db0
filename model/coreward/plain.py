"""Answers as plain data for a file: one walk over frozen dataclasses.

A key is the name of its field, and the field's name says the unit: numbers stay in SI and
°C for every reader; only sentences are in the reader's units. What is not a number (never,
unknown) is null. A field that is too large, or that repeats what was given, says so where
it is declared, with `apart`.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from collections.abc import Callable, Mapping
from enum import Enum
from typing import Any, Final

from coreward.words import METRIC, Quantity, Units

_DATA: Final = "data"


def apart() -> dict[str, Any]:
    """Return the metadata of a field that is left out of the data."""
    return {_DATA: ("", None)}


def told_as(key: str = "", told: Callable[[Any], Any] = lambda value: value) -> dict[str, Any]:
    """Return the metadata of a field that is told otherwise than as it is.

    Parameters
    ----------
    told : callable
        Takes the field's value and returns what is told of it.
    """
    return {_DATA: (key, told)}


_AS_IT_IS: Final = told_as()[_DATA]


def floored(value: float | None) -> float | None:
    """Return what was earned, rounded down to two decimals."""
    return value if value is None or not math.isfinite(value) else math.floor(value * 100) / 100


def as_data(value: Any, units: Units = METRIC) -> Any:
    """Return an answer as dictionaries, lists, numbers and text; no NaN and no infinity."""
    if isinstance(value, Quantity):
        return value.shown(units)
    if isinstance(value, Enum):
        return as_data(value.value, units)
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): as_data(each, units) for key, each in value.items()}
    if isinstance(value, (tuple, list)):
        return [as_data(each, units) for each in value]
    if dataclasses.is_dataclass(value):
        return _fields(value, units)
    if hasattr(value, "tolist"):  # an array, or a number of one
        return as_data(value.tolist(), units)
    return value


def _fields(value: Any, units: Units) -> dict[str, Any]:
    found = {}
    for field in dataclasses.fields(value):
        held = getattr(value, field.name)
        key, told = field.metadata.get(_DATA, _AS_IT_IS)
        if told is not None:
            found[key or field.name] = as_data(told(held), units)
    return found

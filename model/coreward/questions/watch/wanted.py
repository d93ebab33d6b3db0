"""What of a running log is watched for, as code and the command line ask for it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from typing import Any

from coreward.errors import InputError
from coreward.words import Degrees, say

_HELP = "help"


def _time(default_s: float, words: str) -> Any:
    return field(default=default_s, metadata={_HELP: words})


@dataclass(frozen=True)
class Watched:
    """What is watched for. The times are common practice, no source."""

    meat: int = 1
    """Which meat probe, from 1."""
    target_c: float | None = None
    """Reading that is wanted. [°C]"""
    pit_low_c: float | None = None
    pit_high_c: float | None = None
    """Range of the pit. [°C]"""
    pit_for_s: float = _time(900.0, "how long the pit must be out of its range")
    silent_s: float = _time(600.0, "how long a probe or the logger may be silent")
    wrap_at_c: float | None = None
    wrap_at_s: float | None = None
    """When it is to be wrapped: a reading, or a time of the log. [°C], [s]"""
    ready_within_s: float = _time(1800.0, "how long before it is ready you want to know")
    slip_s: float = _time(2700.0, "by how much the forecast must move")
    hold: bool = False
    chill: bool = False
    """Whether it is being held hot, or chilled."""
    quiet_s: float = _time(1800.0, "least time between two sayings of one thing")

    def __post_init__(self) -> None:
        low, high = self.pit_low_c, self.pit_high_c
        if low is not None and high is not None and not low < high:
            raise InputError(
                say(
                    "The pit's range goes from {0} to {1}: give the lower end first.",
                    Degrees(low, None),
                    Degrees(high, None),
                )
            )
        for name in TIMES:
            if not 0.0 <= getattr(self, name) < math.inf:
                raise InputError(f"{name} is {getattr(self, name)}: give a time of 0 or more.")


TIMES: dict[str, tuple[float, str]] = {
    one.name: (one.default, one.metadata[_HELP])  # type: ignore[misc]
    for one in fields(Watched)
    if _HELP in one.metadata
}
"""Name of each of its times to the usual one and words for it. [s]"""

"""What all single judgements share: one history, and what was said about the cook."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coreward import tables
from coreward.errors import InputError
from coreward.questions.verdict.history import CookRecord
from coreward.tables.standards import (
    CONDITIONS,
    MEATS,
    POULTRY,
    Standard,
    load_standard,
    standard_names,
    standards_for,
)
from coreward.words import Difference, Published, Text, say

Floats = NDArray[np.float64]
HOUR = 3600.0
MINUTE = 60.0
ROUNDING_C = 1e-6  # 140 °F read as 60 °C must reach the row of 140 °F
ROUNDING_S = 1e-6

SURFACES = (
    "sealed bag",
    "immersed",
    "moisture-holding casing",
    "direct heat",
    "steam",
    "sealed oven",
    "humid air",
    "dry",
)
"""Words for what keeps the surface moist; the first four are exempt from humidity in the
2021 guideline (p. 31)."""
OVENS = ("still", "convection")
_SAME_CONDITION = {"minced": "ground", "tenderized": "tenderised"}


@dataclass(frozen=True, eq=False)
class Case:
    """One history, and everything that was said about it."""

    record: CookRecord
    """The history of one piece."""
    meats: tuple[str, ...]
    stated: bool
    """Whether the meat was stated."""
    states: tuple[str, ...]
    """What it is of, and in which states it is."""
    names: tuple[str, ...] | None
    """Standards that were asked for."""
    probe_error_c: float
    placement_error_c: float
    """As in `verdict`. [K]"""
    surface: str | None
    humid_s: float | None
    humidity: tuple[Floats, Floats] | None
    oven_c: float | None
    oven: str | None
    mass_kg: float | None
    """Conditions, as in `verdict`."""
    growth_log: float
    """Growth that is added to the lethality required. [log10]"""
    rules: tables.ParameterSet
    """Table ``verdict``."""

    @property
    def error_c(self) -> float:
        """Probe and placement error together. [K]."""
        return self.probe_error_c + self.placement_error_c

    @property
    def condition(self) -> str:
        """The states in words."""
        return " and ".join(self.states)

    @property
    def poultry(self) -> bool:
        """Whether any poultry is in it."""
        return any(meat in POULTRY for meat in self.meats)

    def alternatives(self) -> tuple[Case, ...]:
        """Return the cases that are judged: one for each meat where none was stated."""
        if self.stated:
            return (self,)
        return tuple(replace(self, meats=(meat,)) for meat in self.meats)

    @cached_property
    def standards(self) -> tuple[tuple[Standard, bool], ...]:
        """The standards to judge, and whether each decides."""
        if self.names is None:
            return tuple((s, s.counts) for s in standards_for(self.meats, self.states))
        return tuple((load_standard(name), True) for name in self.names)

    def covers(self, standard: Standard) -> bool:
        """Whether a standard may be used for what was stated.

        One that was made for the meats counts for a part of a mixture as well: the others
        are asked for beside it. Asked for by name it must cover all of it; any poultry
        means a poultry standard.
        """
        governing = self.meats
        if self.names is not None:
            governing = tuple(m for m in self.meats if m in POULTRY) or self.meats
            return all(any(standard.covers(m, s) for s in self.states) for m in governing)
        return any(standard.covers(m, s) for m in governing for s in self.states)

    def with_error(self, limit_c: float) -> Text:
        """Say the reading that is asked for and how it comes about."""
        if not self.error_c:
            return Published(limit_c)
        reading, error = Published(limit_c + self.error_c), Difference(self.error_c)
        return say("{0} ({1} plus {2} of error)", reading, Published(limit_c), error)


@dataclass(frozen=True, eq=False)
class Steps:
    """The steps between known readings of one point."""

    time_s: Floats
    """Times of the readings. [s] Shape (known,)."""
    width_s: Floats
    low_c: Floats
    high_c: Floats
    """Length of each step [s] and its lower and upper end; infinite where a gap or an unknown
    time may hide anything. [°C] Shape (known - 1,)."""
    endless: NDArray[np.bool_]
    """Whether an unknown time lies in the step."""


def steps_of(record: CookRecord, temperature_c: Floats) -> Steps:
    """Return the steps of one point of a record, from its first reading to its last."""
    good = np.isfinite(temperature_c)
    time, known = record.time_s[good], temperature_c[good]
    width = np.diff(time)
    endless = record.spanned(time)
    unknown = (width > record.longest_gap_s) | endless
    low = np.where(unknown, -np.inf, np.minimum(known[:-1], known[1:]))
    high = np.where(unknown, np.inf, np.maximum(known[:-1], known[1:]))
    return Steps(time, width, low, high, endless)


def whole_steps_of(record: CookRecord) -> Steps:
    """Return the steps of the coldest point, from the piece's first reading to its last.

    Where one of its probes began late or fell silent early the coldest point is unknown,
    and may have been anywhere.
    """
    steps = steps_of(record, record.coldest_c)
    read = np.zeros(record.time_s.size, dtype=bool)
    for _, values in record.probes:
        read |= np.isfinite(values)
    if not read.any():
        return steps
    begin, end = record.time_s[read][[0, -1]]
    ends = (begin, *steps.time_s[[0, -1]], end)
    before, after = int(ends[1] > begin), int(ends[2] < end)
    time = np.concatenate(([begin][:before], steps.time_s, [end][:after]))

    def widened(values: Floats, first: float, last: float) -> Floats:
        return np.concatenate(([first][:before], values, [last][:after]))

    return Steps(
        time,
        widened(steps.width_s, ends[1] - begin, end - ends[2]),
        widened(steps.low_c, -np.inf, -np.inf),
        widened(steps.high_c, np.inf, np.inf),
        record.spanned(time),
    )


def choice(value: str, allowed: Sequence[str], what: str) -> str:
    """Return a word; refuse one that is none of those allowed."""
    if value not in allowed:
        raise InputError(f"{what} is '{value}'; use one of: {', '.join(allowed)}.")
    return value


def meats_of(meat: str | Sequence[str] | None) -> tuple[str, ...]:
    """Return the meats, each one of `MEATS`; beef and poultry where none is stated."""
    if meat is None:
        return ("beef", "poultry")
    meats = (meat,) if isinstance(meat, str) else tuple(meat)
    if not meats:
        raise InputError(f"name at least one meat of: {', '.join(MEATS)}.")
    return tuple(dict.fromkeys(_species(item) for item in meats))


def _species(name: str) -> str:
    """Return the meat that a name stands for: one of `MEATS`, or a cut of table ``cut``."""
    if name in MEATS:
        return name
    species = tables.load("cut", name).text("species") if name in tables.names("cut") else name
    choice(species, MEATS, "meat")
    return species


def states_of(condition: str | Sequence[str]) -> tuple[str, ...]:
    """Return the states of the piece, each one of `CONDITIONS`, in their order."""
    given = (condition,) if isinstance(condition, str) else tuple(condition)
    said = {_SAME_CONDITION.get(str(item), str(item)) for item in given}
    if not said:
        raise InputError(f"name at least one condition of: {', '.join(CONDITIONS)}.")
    for item in said:
        choice(item, CONDITIONS, "condition")
    return tuple(item for item in CONDITIONS if item in said)


def names_of(standards: Sequence[str] | None) -> tuple[str, ...] | None:
    """Return the names of the standards asked for, or None."""
    if standards is None:
        return None
    names = (standards,) if isinstance(standards, str) else tuple(standards)
    if not names:
        raise InputError(f"name at least one standard of: {', '.join(standard_names())}.")
    return tuple(dict.fromkeys(load_standard(name).name for name in names))


def humidity_of(
    humidity: tuple[ArrayLike, ArrayLike] | None,
) -> tuple[Floats, Floats] | None:
    """Check a record of relative humidity and return it as two arrays."""
    if humidity is None:
        return None
    time, percent = (np.asarray(part, dtype=float) for part in humidity)
    if time.shape != percent.shape or time.ndim != 1 or time.size < 2:
        raise InputError("humidity must be two series of equal length: time [s], value [%].")
    if np.any(np.diff(time) < 0.0) or not np.all(np.isfinite(time)):
        raise InputError("the humidity record's times must rise and have no gaps in them.")
    if np.nanmax(percent) > 100.0 or np.nanmin(percent) < 0.0:
        raise InputError("relative humidity lies between 0 and 100 %.")
    if np.nanmax(percent) <= 1.0:
        raise InputError("relative humidity looks like a fraction; give it in %.")
    return time, percent


def checked_oven(oven_c: float | None) -> float | None:
    """Refuse an oven temperature that is no number."""
    if oven_c is not None and not math.isfinite(oven_c):
        raise InputError(f"oven_c is {oven_c!r}: give a temperature in °C.")
    return oven_c


def lowest_oven(case: Case, until_s: float) -> float | None:
    """Return the coldest the oven was while cooking, or None where that is not known."""
    if case.oven_c is not None:
        return case.oven_c
    record = case.record
    if record.air_c is None:
        return None
    cooking = record.time_s <= until_s
    read = np.isfinite(record.air_c) & cooking
    if not np.any(read):
        return None
    known = record.time_s[read]
    ends = (float(record.time_s[0]), *known, float(record.time_s[cooking][-1]))
    # A pit that fell silent may have been cold.
    if max(later - earlier for earlier, later in pairwise(ends)) > record.longest_gap_s:
        return None
    return float(np.min(record.air_c[read]))

"""When the core stalled, asked of a log again and again as it grows.

What a stall is, `stall` says. Its edges are where the rise of the core passes a level, and
noise in the readings leaves open when that was. So the question is put to many courses of
the core that the readings allow, and what most of them say within a while of one another is
the answer.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve_banded, cholesky_banded, solve_banded

from coreward import tables
from coreward.events.listed import Event, Kind
from coreward.events.response import Core
from coreward.events.signals import confidence
from coreward.events.standstill import find_stalls_in_each

Floats = NDArray[np.float64]

# Differences of this order are what a smooth course has little of.
_SMOOTH = np.array([-1.0, 3.0, -3.0, 1.0])
_ORDER = _SMOOTH.size - 1
# How large those may be, in K: from a straight line to a course that follows the noise.
_BENDS_K = np.geomspace(1e-5, 0.3, 22)
_FEWEST = 4 * _ORDER


@dataclass(frozen=True)
class _Mark:
    """A beginning or an end, as the courses tell it."""

    kind: Kind
    time_s: float
    """Median of the courses that have it. [s]"""
    share: float
    """Of the courses that have it."""
    over: bool
    """Of a beginning: whether in most of those the stall has ended."""


def stall_events(core: Core, name: str, taken_off: bool = False) -> list[Event]:
    """Stalls by `find_stalls`, in courses of the core that the readings allow.

    A beginning or an end is settled once most courses have told the same time for a while,
    a beginning not before its stall has ended; what the last samples say is provisional.
    Unless the meat is known to be `taken_off` where the course stops, it may turn out that
    it was before: the last of the course settles nothing then. If it is known, nothing more
    can come, and all is settled.
    """
    numbers = tables.load("events")
    every = max(round(numbers["stall_asked"] / core.step_s), 1)
    times = int(numbers["stall_times"])
    size = core.time_s.size
    stops = list(range(every, size, every))
    if size > 2 and (not stops or stops[-1] != size):
        stops.append(size)
    until_bin = size if taken_off else size - round(numbers["off_known"] / core.step_s)
    asked = _Courses(core)
    settled: list[_Mark] = []
    answers: list[list[_Mark]] = []
    for stop in stops:
        answers.append(asked.marks(stop))
        if stop % every == 0 and stop <= until_bin and len(answers) >= times:
            _settle(settled, answers[-times:])
    events = [_event(mark, core, name, True) for mark in settled]
    if answers:
        rest = _following(settled, answers[-1])
        events += [_event(mark, core, name, taken_off) for mark in rest]
    return events


def _settle(settled: list[_Mark], answers: list[list[_Mark]]) -> None:
    """Add what every one of the answers says and most courses say, in order.

    Where a stall begins is told from its deepest level: only when that is behind.
    """
    same, most = (tables.load("events")[key] for key in ("stall_same", "stall_most"))

    def sure(mark: _Mark) -> bool:
        return mark.share >= most and (mark.kind == "stall_ends" or mark.over)

    for mark in _following(settled, answers[-1]):
        agreed = sure(mark) and all(
            any(
                other.kind == mark.kind
                and sure(other)
                and abs(other.time_s - mark.time_s) <= same
                for other in answer
            )
            for answer in answers
        )
        if not agreed:
            return
        settled.append(mark)


def _following(settled: list[_Mark], answer: list[_Mark]) -> list[_Mark]:
    """What an answer says about the time after the last that is settled: no end first."""
    past = settled[-1].time_s if settled else -math.inf
    wanted = "stall_ends" if settled and settled[-1].kind == "stall_begins" else "stall_begins"
    later = [mark for mark in answer if mark.time_s > past]
    while later and later[0].kind != wanted:
        later.pop(0)
    return later


def _event(mark: _Mark, core: Core, name: str, sure: bool) -> Event:
    numbers = tables.load("events")
    what = (
        "From here the core rises far less per kelvin of hotter air than it did"
        if mark.kind == "stall_begins"
        else "From here the core answers the air again"
    )
    count = int(numbers["stall_courses"])
    told = f"{round(mark.share * count)} of {count}"
    why = f"{what}: so in {told} courses of the core that its readings allow."
    belief = min(max(mark.share, numbers["provisional_below"]), numbers["largest_confidence"])
    level = float(np.interp(mark.time_s, core.time_s, core.core_c))
    belief = belief if sure else confidence(False, 0.0)
    return Event(mark.kind, mark.time_s, mark.time_s, level, "degC", belief, name, why)


class _Courses:
    """Courses of the core that its readings up to a moment allow, and their stalls.

    The readings are the course and white noise; the course has third differences of one
    size, normally distributed, which is found by its marginal likelihood. The courses are
    drawn from what is then left open, with the same random numbers each time.
    """

    def __init__(self, core: Core) -> None:
        numbers = tables.load("events")
        self._core = core
        self._count = int(numbers["stall_courses"])
        self._bins = max(round(numbers["stall_step"] / core.step_s), 1)
        rows = core.reading_c.size // self._bins
        self._time = _means(core.time_s, self._bins, rows)
        self._reading = _means(core.reading_c, self._bins, rows)
        self._air = _means(core.air_c, self._bins, rows)
        self._weight = self._bins / core.noise_k**2
        self._chance = np.random.default_rng(0).standard_normal((rows, self._count))
        self._at = _BENDS_K.size // 2

    def marks(self, stop: int) -> list[_Mark]:
        """Beginnings and ends from what is known at a bin, in order."""
        rows = stop // self._bins
        if rows < _FEWEST:
            return []
        numbers = tables.load("events")
        latest = float(self._core.time_s[stop - 1]) - numbers["stall_end_seen"]
        stalls = [
            (owner, stall)
            for owner, found in enumerate(
                find_stalls_in_each(self._time[:rows], self._drawn(rows), self._air[:rows])
            )
            for stall in found
        ]
        # An end needs part of a slope's window after it, or it is only the end of the log.
        ended = [s.ended and s.end_s < latest for _, s in stalls]
        begins = [(s.begin_s, over) for (_, s), over in zip(stalls, ended, strict=True)]
        ends = [(s.end_s, True) for (_, s), over in zip(stalls, ended, strict=True) if over]
        reach = numbers["stall_alike"]
        marks = [
            *_modes("stall_begins", begins, self._count, reach),
            *_modes("stall_ends", ends, self._count, reach),
        ]
        return _in_turn(marks, numbers["stall_share"])

    def _drawn(self, rows: int) -> Floats:
        """Courses up to a row, shape (courses, rows). [°C]."""
        reading = self._reading[:rows]
        fits: dict[int, float] = {}

        def likelihood(at: int) -> float:
            if at not in fits:
                fits[at] = _fit(reading, self._weight, float(_BENDS_K[at]))[0]
            return fits[at]

        # Uphill from where it was the last time: a log that grows changes it little.
        at = self._at
        while True:
            near = range(max(at - 1, 0), min(at + 2, _BENDS_K.size))
            best = max(near, key=likelihood)
            if best == at:
                break
            at = best
        self._at = at
        # A stall bends the course more than most of the cook does.
        bend = float(_BENDS_K[at]) * tables.load("events")["stall_bends"]
        _, mean, factor = _fit(reading, self._weight, bend)
        upper = np.zeros_like(factor)
        for k in range(_ORDER + 1):
            upper[_ORDER - k, k:] = factor[k, : rows - k]
        off = solve_banded((0, _ORDER), upper, self._chance[:rows])
        return np.asarray((mean[:, np.newaxis] + off).T)


def _means(value: Floats, bins: int, rows: int) -> Floats:
    return np.asarray(value[: rows * bins].reshape(rows, bins).mean(axis=1))


@lru_cache(maxsize=8)
def _roughness(rows: int) -> Floats:
    """Banded lower half of the matrix that sums the squares of the differences."""
    band = np.zeros((_ORDER + 1, rows))
    for k in range(_ORDER + 1):
        for row in range(_ORDER + 1 - k):
            band[k, row : row + rows - _ORDER] += _SMOOTH[row] * _SMOOTH[row + k]
    band.flags.writeable = False
    return band


def _fit(reading: Floats, weight: float, bend: float) -> tuple[float, Floats, Floats]:
    """Logarithm of the marginal likelihood, mean course, and Cholesky factor of its precision.

    The likelihood is that of the differences, up to what does not depend on the bend.
    """
    precision = _roughness(reading.size) / bend**2
    precision[0] += weight
    factor = cholesky_banded(precision, lower=True, check_finite=False)
    mean = cho_solve_banded((factor, True), weight * reading, check_finite=False)
    bends = np.diff(mean, _ORDER)
    misfit = weight * float(np.sum((reading - mean) ** 2)) + float(bends @ bends) / bend**2
    freedom = reading.size - _ORDER
    likelihood = -freedom * math.log(bend) - float(np.log(factor[0]).sum()) - 0.5 * misfit
    return likelihood, mean, factor


def _modes(
    kind: Kind, told: list[tuple[float, bool]], count: int, reach: float
) -> Iterable[_Mark]:
    """Times that courses tell within `reach` of one another, the most told first.

    One course tells no two so near: `stall` bridges what is not further apart.
    """
    time = np.array([when for when, _ in told])
    over = np.array([ended for _, ended in told], dtype=bool)
    while time.size:
        near = np.abs(time[:, np.newaxis] - time) <= reach
        votes = near.sum(axis=1)
        spread = np.where(near, np.abs(time[:, np.newaxis] - time), 0.0).sum(axis=1)
        best = int(np.lexsort((spread, -votes))[0])
        alike = near[best]
        middle = float(np.median(time[alike]))
        yield _Mark(kind, middle, int(votes[best]) / count, bool(over[alike].mean() > 0.5))
        left = ~alike & (np.abs(time - middle) > reach)
        time, over = time[left], over[left]


def _in_turn(marks: Iterable[_Mark], least: float) -> list[_Mark]:
    """Beginnings and ends in turn, by what the courses tell most.

    Each is worth the share of courses that have it, less `least`.
    """
    # The best that goes before a beginning, and before an end.
    best: dict[Kind, tuple[float, list[_Mark]]] = {
        "stall_begins": (0.0, []),
        "stall_ends": (-math.inf, []),
    }
    for mark in sorted(marks, key=lambda one: one.time_s):
        worth, before = best[mark.kind]
        then: Kind = "stall_begins" if mark.kind == "stall_ends" else "stall_ends"
        worth += mark.share - least
        if worth > best[then][0]:
            best[then] = (worth, [*before, mark])
    return max(best.values(), key=lambda one: one[0])[1]

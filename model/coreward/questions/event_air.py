"""Events of the fire, from the air alone: lids, fuel, a new level.

Two time scales are kept apart. A lid falls within minutes and comes back within minutes;
what is left after lids are bridged moves over tens of minutes and is judged against the
level that the fire kept before. Both scales are measured in the log's own robust spread.
Samples are taken in order and nothing decided is taken back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.questions.event_list import Event, Kind
from coreward.questions.event_signals import MAD_TO_SIGMA, Track, confidence

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Lid:
    """One opening, in bins of the track.

    Attributes
    ----------
    first, lowest, last : int
        Last bin before the fall, lowest bin, bin in which most of the fall is made up.
    depth_k, limit_k : float
        How far the air fell, and from where on a fall counted at that time. [K]
    settled : bool
        False while the recovery has not been seen.
    made_up : bool
        False while `last` may still move.
    """

    first: int
    lowest: int
    last: int
    depth_k: float
    limit_k: float
    settled: bool
    made_up: bool


def find_lids(air: Track) -> list[Lid]:
    """Falls within minutes that are made up within minutes.

    A fall counts if it is many times the usual change of this log over the same time. It
    is settled once the air has come back by a share of it.
    """
    numbers = tables.load("events")
    step = air.step_s
    reach = max(round(numbers["lid_fall_time"] / step), 1)
    behind = max(round(numbers["lid_level_time"] / step), 2)
    longest = max(round(numbers["lid_longest"] / step), 2)
    value = air.value_c
    change = np.zeros(value.size)
    change[reach:] = value[reach:] - value[:-reach]
    spread = running_spread(change, step, numbers["lid_spread_smallest"])
    usual = usual_fall(change, step, numbers["lid_spread_smallest"])
    # Noise is measured by its robust deviation, a thermostat's swing by its own height.
    limits = np.minimum(numbers["lid_sigmas"] * spread, numbers["lid_share"] * usual)
    known = int(numbers["slow_known_after"] / step)
    limits = np.maximum(limits, numbers["lid_smallest"])
    limits[:known] = np.maximum(limits[:known], numbers["lid_unknown"])
    found = _open_at_start(air)
    at = found[0].last + 1 if found else reach
    while at < value.size:
        top = float(value[max(at - reach, 0) : at].max())
        if top - value[at] < limits[at]:
            at += 1
            continue
        lid = _lid_at(value, at, reach, behind, longest, numbers["lid_recovers"])
        if lid is None:
            at += 1
            continue
        first, lowest, last, depth, settled = lid
        # It may turn out that it was open already when the log began.
        settled = settled and (first > reach or value.size > longest)
        made_up = settled and (last + 1 < value.size)
        found.append(Lid(first, lowest, last, depth, float(limits[at]), settled, made_up))
        at = last + 1
    return found


def _open_at_start(air: Track) -> list[Lid]:
    """Find an opening just before the first sample: the air of a hot pit comes back."""
    numbers = tables.load("events")
    value, step = air.value_c, air.step_s
    early = max(round(numbers["lid_longest"] / step), 3)
    if value.size <= early or value[0] < numbers["lid_start_air"]:
        return []
    # The air may still have been falling at the first sample.
    bottom = int(np.argmin(value[: max(round(numbers["lid_fall_time"] / step), 1) + 1]))
    level = float(np.median(value[early // 2 : early]))
    depth = level - float(value[bottom])
    limit = max(
        numbers["lid_start_smallest"], numbers["lid_sigmas"] * float(air.noise_k[early])
    )
    half = np.flatnonzero(value[bottom:early] >= level - 0.5 * depth) + bottom
    if depth < limit or not half.size:
        return []
    if (half[0] - bottom) * step > numbers["lid_half_recovery"]:
        return []  # a fire just lit takes longer
    last = _made_up(value, int(half[0]), level, depth, early)
    return [Lid(0, bottom, last, depth, limit, True, True)]


def _lid_at(
    value: Floats, at: int, reach: int, behind: int, longest: int, recovers: float
) -> tuple[int, int, int, float, bool] | None:
    """Follow one fall: where it began, its bottom, and whether it was made up in time."""
    start = max(at - reach - behind, 0)
    level = float(np.median(value[start : max(at - reach, start) + 1]))
    level = max(level, float(np.median(value[max(at - reach, 0) : at])))
    stop = min(at + longest, value.size)
    lowest = at
    for i in range(at, stop):
        if value[i] < value[lowest]:
            lowest = i
        depth = level - value[lowest]
        if value[i] >= value[lowest] + recovers * depth:
            return (
                _onset(value, at, reach, level, depth),
                lowest,
                _made_up(value, i, level, depth, longest),
                float(depth),
                True,
            )
    if stop < value.size:
        return None  # it stayed down: no lid
    depth = level - value[lowest]
    return _onset(value, at, reach, level, depth), lowest, stop - 1, float(depth), False


def _onset(value: Floats, at: int, reach: int, level: float, depth: float) -> int:
    """Last bin before the fall."""
    share = tables.load("events")["lid_onset_share"]
    for i in range(at, max(at - 2 * reach, 0) - 1, -1):
        if value[i] > level - share * depth:
            return i
    return max(at - reach, 0)


def _made_up(value: Floats, at: int, level: float, depth: float, longest: int) -> int:
    """First bin in which nearly all of the fall is made up, or the last that is allowed."""
    share = tables.load("events")["lid_made_up_share"]
    stop = min(at + longest, value.size)
    for i in range(at, stop):
        if value[i] >= level - share * depth:
            return i
    return stop - 1


def running_spread(value: Floats, step_s: float, floor: float) -> Floats:
    """Robust standard deviation about zero over a window behind, renewed now and then."""
    numbers = tables.load("events")
    window = max(int(numbers["spread_window"] / step_s), 8)
    block = max(int(numbers["noise_renewed"] / step_s), 1)
    out = np.full(value.size, floor)
    size = np.abs(value)
    for first in range(0, value.size, block):
        part = size[max(first - window, 0) : first]
        if part.size >= 8:
            out[first : first + block] = max(MAD_TO_SIGMA * float(np.median(part)), floor)
    return out


def without_lids(air: Track, lids: list[Lid]) -> Floats:
    """Air with every opening bridged by a straight line. [°C]."""
    value = air.value_c.copy()
    for lid in lids:
        first, last = lid.first, lid.last
        span = np.arange(first, last + 1)
        ends = (value[first], value[last])
        if not lid.settled:
            ends = (value[first], value[first])
        value[first : last + 1] = np.interp(span, (first, max(last, first + 1)), ends)
    return value


def find_slow_changes(air: Track, lids: list[Lid], name: str) -> list[Event]:
    """Fuel dying, fuel or air added, a new level: what the fire does over tens of minutes.

    Fuel that is added, and a pit that is set anew, move the air quicker than the fire's own
    wandering does. Such a move back to the level before a sag is fuel; one that leads to
    another level and stays there is a change of the pit.
    """
    return _SlowChanges(air, lids, name).events()


class _SlowChanges:
    """Quick moves of the slow air, each judged by what came before and what followed."""

    def __init__(self, air: Track, lids: list[Lid], name: str) -> None:
        self._numbers = tables.load("events")
        self._name = name
        self._step = air.step_s
        self._time = air.time_s
        self._lids = lids
        self._half = self._bins("slow_smoothing") // 2
        value = without_lids(air, lids)
        # What may still change when samples come is left out: an opening not yet made
        # up, and the bins whose mean is not complete.
        open_lids = [lid.first for lid in lids if not lid.made_up]
        self._end = min([value.size, *open_lids])
        self._air = _ahead_mean(value[: self._end], 2 * self._half + 1)
        self._air = self._air[: max(self._end - self._half, 0)]
        self._found: list[Event] = []

    def _bins(self, key: str) -> int:
        return max(round(self._numbers[key] / self._step), 1)

    def events(self) -> list[Event]:
        """Walk through the quick moves in order of time."""
        start = self._warmed_up()
        if start is None:
            return []
        air, numbers = self._air, self._numbers
        reach = self._bins("quick_time") // 2
        wait = self._bins("new_level_time")
        move = np.zeros(air.size)
        if air.size > 2 * reach:
            move[reach:-reach] = air[2 * reach :] - air[: -2 * reach]
        size = np.abs(move)
        explained = np.zeros(air.size, dtype=bool)
        base, at = start, start + reach
        for peak in _peaks(size, reach, numbers["quick_smallest"]):
            if peak < at:
                continue
            alike = np.sign(move) == np.sign(move[peak])
            limit = self._quick_limit(size, alike & ~explained, start, peak - reach)
            if size[peak] < limit:
                continue
            settled = peak + wait < air.size
            if not settled and peak + 2 * reach >= air.size:
                break
            last = self._judge(peak, reach, base, float(move[peak]), limit, settled)
            if last is not None:
                base = last
                explained[max(peak - 2 * reach, 0) : peak + 2 * reach] = True
            at = peak + reach
        if not any(event.provisional for event in self._found):
            self._sinking(base, numbers)
        return self._found

    def _quick_limit(self, size: Floats, counted: Flags, start: int, stop: int) -> float:
        """What a move must exceed: a multiple of the larger moves of this fire so far."""
        numbers = self._numbers
        first = max(stop - self._bins("slow_window"), start)
        part = size[first : max(stop, start)][counted[first : max(stop, start)]]
        if part.size * self._step < numbers["slow_known_after"]:
            return numbers["quick_unknown"]
        usual = float(np.quantile(part, 0.9))
        return max(numbers["quick_share"] * usual, numbers["quick_smallest"])

    def _warmed_up(self) -> int | None:
        """First bin at which the air no longer climbs like a fire just lit."""
        air, numbers = self._air, self._numbers
        span = self._bins("warm_up_span")
        for at in range(span, air.size):
            rate = (air[at] - air[at - span]) / (span * self._step)
            if air[at] > numbers["warm_up_air"] and rate < numbers["warm_up_rate"]:
                return max(at - span // 2, 0)
        return None

    def _judge(
        self, at: int, reach: int, base: int, move: float, limit: float, settled: bool
    ) -> int | None:
        """Say what one quick move was; return where the time before no longer counts."""
        air, numbers = self._air, self._numbers
        sign = 1.0 if move > 0.0 else -1.0
        stop = min(at + self._bins("new_level_time"), air.size)
        after = float(np.median(air[min(at + reach, stop - 1) : stop]))
        around = air[max(at - 2 * reach, base) : at + 1]
        if around.size < 2:
            return None
        turn = max(at - 2 * reach, base) + int(np.argmin(sign * around))
        before = float(air[turn])
        size = sign * (after - before)
        if size < numbers["quick_stays"] * abs(move):
            return None  # it went back: neither a level nor fuel
        sure = confidence(settled, abs(move) / limit)
        first = max(base, turn - self._bins("sag_longest"))
        sag = _knee(air[first : turn + 1]) if turn - first >= 4 else None
        if sign > 0.0 and sag is not None:
            knee, depth, level, rest = sag
            sagged = depth > max(
                numbers["sag_share"] * size,
                numbers["sag_sigmas"] * rest,
                numbers["sag_smallest"],
            )
            if sagged and after < level + numbers["sag_overshoot"] * depth:
                begin = first + knee
                turned = self._at_lid(turn)
                self._found = [event for event in self._found if not event.provisional]
                self._note("fuel_dying", begin, turned, -depth, sure, _SAG)
                self._note("fuel_added", turned, at + reach, depth, sure, _BACK)
                return at + reach
        level = float(np.median(air[max(base, turn - self._bins("level_window")) : turn + 1]))
        change = after - level
        if sign * change < max(
            numbers["new_level_share"] * size, numbers["new_level_smallest"]
        ):
            return None
        awaited = False
        if sign < 0.0:
            if not self._fell_quickly(turn, stop, level, change):
                return None
            # Fuel that died this fast would have been seen to in this time.
            stop = turn + self._bins("sag_awaited")
            awaited = stop >= air.size
            if awaited:
                sure = confidence(False, 0.0)
            elif float(air[at:stop].max()) > before - numbers["new_level_share"] * size:
                return None
        self._note("pit_changed", self._at_lid(turn), at + reach, change, sure, _NEW)
        return None if awaited else at + reach

    def _fell_quickly(self, turn: int, stop: int, level: float, change: float) -> bool:
        """Whether most of a fall took the short time of a changed pit."""
        part = (self._air[turn:stop] - level) / change
        early, late = np.flatnonzero(part > 0.2), np.flatnonzero(part > 0.8)
        if not early.size or not late.size:
            return False
        return bool((late[0] - early[0]) * self._step < self._numbers["new_level_fall"])

    def _at_lid(self, turn: int) -> int:
        """Move a turn of the air to the opening it belongs to, if there is one."""
        reach = self._bins("turn_at_lid")
        near = [lid.first for lid in self._lids if abs(lid.first - turn) <= reach]
        return min(near, key=lambda first: abs(first - turn)) if near else turn

    def _sinking(self, base: int, numbers: tables.ParameterSet) -> None:
        """Note a sag that has not come back when the log stops."""
        air = self._air
        first = max(base, air.size - 1 - self._bins("sag_longest"))
        if air.size - first < self._bins("slow_known_after"):
            return
        knee, depth, _, rest = _knee(air[first:])
        if depth > max(numbers["sag_open_sigmas"] * rest, numbers["quick_unknown"]):
            last = air.size - 1
            sure = confidence(False, 0.0)
            self._note("fuel_dying", first + knee, last, -depth, sure, _SAG_OPEN)

    def _note(
        self, kind: Kind, first: int, last: int, size: float, sure: float, why: str
    ) -> None:
        begin, end = float(self._time[first]), float(self._time[last])
        words = why.format(size=abs(size), minutes=(end - begin) / 60.0)
        self._found.append(
            Event(kind, begin, max(end, begin), float(size), "K", sure, self._name, words)
        )


def _peaks(size: Floats, reach: int, least: float) -> list[int]:
    """Bins whose value is the largest within `reach` on both sides, and not small."""
    width = 2 * reach + 1
    if size.size < width:
        return []
    largest = np.lib.stride_tricks.sliding_window_view(size, width).max(axis=1)
    middle = size[reach : size.size - reach]
    found = np.flatnonzero((middle >= largest) & (middle >= least)) + reach
    return [int(place) for place in found]


# Fuel fails ever faster: a power of time between a straight line and a parabola.
_SAG_POWER = 1.5


def _knee(air: Floats) -> tuple[int, float, float, float]:
    """Fit a level followed by a decline to the last point.

    Returns
    -------
    knee : int
        Where the decline begins.
    depth, level, rest : float
        How deep it goes, the level before, and the spread left over. [K], [°C], [K]
    """
    size = air.size
    place = np.arange(size, dtype=float)
    best = (0, 0.0, float(air.mean()), float(air.std()))
    least = np.inf
    mean = float(air.mean())
    for knee in range(0, size - 2, max(size // 60, 1)):
        ramp = np.clip((place - knee) / (size - 1 - knee), 0.0, None) ** _SAG_POWER
        centred = ramp - ramp.mean()
        slope = float(np.dot(centred, air)) / float(np.dot(centred, centred))
        rest = air - mean - slope * centred
        error = float(np.dot(rest, rest))
        if error < least:
            least = error
            level = mean - slope * float(ramp.mean())
            best = (knee, -slope, level, float(np.sqrt(error / size)))
    return best


_SAG = "The air sank {size:.0f} K below its level over {minutes:.0f} min, then came back."
_SAG_OPEN = "The air has sunk {size:.0f} K below its level and has not come back yet."
_BACK = "The air turned and rose again from {size:.0f} K below its level."
_NEW = "The air moved {size:.0f} K from its level and stayed there."


def _ahead_mean(value: Floats, bins: int) -> Floats:
    """Running mean that looks half its width ahead, shorter at the ends."""
    half = bins // 2
    total = np.concatenate(([0.0], np.cumsum(value)))
    place = np.arange(value.size)
    low, high = np.maximum(place - half, 0), np.minimum(place + half + 1, value.size)
    return np.asarray((total[high] - total[low]) / (high - low))


def lid_events(air: Track, lids: list[Lid], name: str) -> list[Event]:
    """Return the openings as events; `time_s` is when it opened."""
    events = []
    for lid in lids:
        begin, end = float(air.time_s[lid.first]), float(air.time_s[lid.last])
        ratio = lid.depth_k / lid.limit_k
        tail = "and came back" if lid.settled else "and has not come back yet"
        events.append(
            Event(
                "lid_opened",
                begin,
                max(end, begin),
                -lid.depth_k,
                "K",
                confidence(lid.settled, ratio),
                name,
                f"The air fell {lid.depth_k:.0f} K within minutes, {ratio:.1f} times what "
                f"would be unusual here, {tail}.",
            )
        )
    return events


def usual_fall(value: Floats, step_s: float, floor: float) -> Floats:
    """Size that nine of ten falls stay under, over a window behind, renewed now and then.

    Unlike a standard deviation it fits a thermostat's regular swing as well as noise.
    """
    numbers = tables.load("events")
    window = max(int(numbers["spread_window"] / step_s), 8)
    block = max(int(numbers["noise_renewed"] / step_s), 1)
    out = np.full(value.size, floor)
    size = np.abs(value)
    for first in range(0, value.size, block):
        part = size[max(first - window, 0) : first]
        part = part[value[max(first - window, 0) : first] < 0.0]
        if part.size >= 8:
            out[first : first + block] = max(float(np.quantile(part, 0.9)), floor)
    return out

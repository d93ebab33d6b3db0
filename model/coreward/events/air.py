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
from coreward.events.listed import Event, Kind
from coreward.events.signals import MAD_TO_SIGMA, Track, confidence, median
from coreward.words import Difference, Lasting, say

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_FEW_CHANGES = 8  # fewer say nothing about a spread


@dataclass(frozen=True)
class Lid:
    """One opening, in bins of the track."""

    first: int
    lowest: int
    last: int
    """Last bin before the fall, lowest bin, bin in which most of the fall is made up."""
    depth_k: float
    limit_k: float
    """How far the air fell, and from where on a fall counted at that time. [K]"""
    settled: bool
    """False while the recovery has not been seen."""
    made_up: bool
    """False while `last` may still move."""


def find_lids(air: Track) -> list[Lid]:
    """Falls within minutes that are made up within minutes.

    A fall counts if it is many times the usual change of this log over the same time,
    openings left out. It is settled once the air has come back by a share of it.
    """
    numbers = tables.load("events")
    step = air.step_s
    reach = max(round(numbers["lid_fall_time"] / step), 1)
    behind = max(round(numbers["lid_level_time"] / step), 2)
    longest = max(round(numbers["lid_longest"] / step), 2)
    value = air.value_c
    change = np.zeros(value.size)
    change[reach:] = value[reach:] - value[:-reach]
    limits = _FallLimits(change, step)
    found = _open_at_start(air)
    at = found[0].last + 1 if found else reach
    for early in found:
        limits.leave_out(early.first, early.last + reach)
    while at < value.size:
        top = float(value[max(at - reach, 0) : at].max())
        limit = limits.at(at)
        if top - value[at] < limit:
            at += 1
            continue
        lid = _lid_at(value, at, reach, behind, longest, limit)
        if lid is None:
            at += 1
            continue
        first, lowest, last, depth, settled = lid
        # It may turn out that it was open already when the log began.
        settled = settled and (first > reach or value.size > longest)
        made_up = settled and (last + 1 < value.size)
        found.append(Lid(first, lowest, last, depth, limit, settled, made_up))
        limits.leave_out(first, last + reach)
        at = last + 1
    return found


class _FallLimits:
    """What a fall must exceed at each bin, from the changes behind it that were no opening.

    Noise is measured by its robust deviation, a thermostat's swing by its own height. Both
    come from a window behind and are renewed now and then; nothing later is looked at.
    """

    def __init__(self, change: Floats, step_s: float) -> None:
        self._numbers = tables.load("events")
        self._change = change
        self._counted = np.ones(change.size, dtype=bool)
        self._window = max(int(self._numbers["spread_window"] / step_s), 8)
        self._block = max(int(self._numbers["noise_renewed"] / step_s), 1)
        self._unknown = int(self._numbers["slow_known_after"] / step_s)
        self._of_block: dict[int, float] = {}

    def leave_out(self, first: int, last: int) -> None:
        """Do not count these bins: the lid was open, or the air was coming back."""
        self._counted[first : last + 1] = False

    def at(self, place: int) -> float:
        """Return the limit at a bin, all openings before it left out. [K]."""
        block = place // self._block
        if block not in self._of_block:
            self._of_block[block] = self._limit(block * self._block)
        limit = self._of_block[block]
        return max(limit, self._numbers["lid_unknown"]) if place < self._unknown else limit

    def _limit(self, stop: int) -> float:
        numbers = self._numbers
        part = slice(max(stop - self._window, 0), stop)
        change = self._change[part][self._counted[part]]
        falls = -change[change < 0.0]
        if falls.size < _FEW_CHANGES:
            return numbers["lid_unknown"]
        spread = MAD_TO_SIGMA * median(np.abs(change))
        usual = float(np.quantile(falls, 0.9))
        least = numbers["lid_spread_smallest"]
        limit = min(
            numbers["lid_sigmas"] * max(spread, least), numbers["lid_share"] * max(usual, least)
        )
        return max(limit, numbers["lid_smallest"])


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
    if depth < limit:
        return []
    half = np.flatnonzero(value[bottom:early] >= level - 0.5 * depth) + bottom
    # Two steps of a slow logger are as soon as it can tell.
    if (half[0] - bottom) * step > max(numbers["lid_half_recovery"], 2.0 * step):
        return []  # a fire just lit takes longer
    last = _made_up(value, int(half[0]), level, depth, early, limit)
    return [Lid(0, bottom, last, depth, limit, True, True)]


def _lid_at(
    value: Floats, at: int, reach: int, behind: int, longest: int, limit: float
) -> tuple[int, int, int, float, bool] | None:
    """Follow one fall: where it began, its bottom, and whether it was made up in time."""
    recovers = tables.load("events")["lid_recovers"]
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
                _made_up(value, i, level, depth, longest, limit),
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


def _made_up(
    value: Floats, at: int, level: float, depth: float, longest: int, limit: float
) -> int:
    """First bin in which nearly all of the fall is made up, or the last that is allowed.

    An opening is over as well where the next one begins.
    """
    share = tables.load("events")["lid_made_up_share"]
    stop = min(at + longest, value.size)
    top = at
    for i in range(at, stop):
        if value[i] >= level - share * depth:
            return i
        if value[i] >= value[top]:
            top = i
        elif value[top] - value[i] >= limit:
            return top
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
            out[first : first + block] = max(MAD_TO_SIGMA * median(part), floor)
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
            last = self._judge(peak, reach, start, base, float(move[peak]), limit, settled)
            if last is not None:
                base = last
                explained[max(peak - 2 * reach, 0) : peak + 2 * reach] = True
            at = peak + reach
        self._slow_sags(start)
        if not any(event.provisional for event in self._found):
            self._sinking(base, numbers)
        return self._found

    def _slow_sags(self, start: int) -> None:
        """Find sags that came back too slowly for a quick move, against the fire's own level.

        A low point with nothing lower for a while on both sides, below the level before by
        far more than this fire's levels have differed, and most of it made up in time.
        """
        air = self._air
        wait, near = self._bins("slow_sag_back"), self._bins("slow_sag_lowest")
        at = start + near
        while at + wait < air.size:
            lowest = air[at] <= air[at - near : at + near + 1].min()
            if not lowest or self._explained(at, near):
                at += 1
                continue
            self._slow_sag(start, at, wait)
            at += near

    def _slow_sag(self, start: int, at: int, wait: int) -> None:
        """Note one low point if it is such a sag."""
        numbers, air = self._numbers, self._air
        first = max(start, at - self._bins("sag_longest"))
        if at - first < 4:
            return
        knee, depth, _, rest = _knee(air[first : at + 1])
        begin = first + knee
        before = air[max(begin - self._bins("range_window"), start) : begin + 1]
        if before.size * self._step < numbers["slow_known_after"]:
            return
        back = float(air[at : at + wait + 1].max()) - float(air[at])
        if back < numbers["slow_sag_made_up"] * depth or depth <= max(
            numbers["sag_sigmas"] * rest,
            numbers["slow_sag_spreads"] * float(np.std(before)),
            numbers["slow_sag_smallest"],
        ):
            return
        sure = confidence(True, depth / numbers["slow_sag_smallest"])
        turned = self._at_lid(at)
        half = at + int(np.argmax(air[at : at + wait + 1] >= air[at] + 0.5 * depth))
        self._note("fuel_dying", begin, turned, -depth, sure, _SAG_SLOW)
        self._note("fuel_added", turned, max(half, turned), depth, sure, _BACK)

    def _explained(self, at: int, near: int) -> bool:
        """Whether an event found already lies around a bin."""
        low, high = float(self._time[at - near]), float(self._time[at + near])
        return any(event.time_s <= high and event.end_s >= low for event in self._found)

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
        self,
        at: int,
        reach: int,
        start: int,
        base: int,
        move: float,
        limit: float,
        settled: bool,
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
            if not settled:
                return None  # fuel that dies falls as well, and is the commoner of the two
            if not self._fell_quickly(turn, stop, level, change):
                return None
            # Fuel that died this fast would have been seen to in this time.
            stop = turn + self._bins("sag_awaited")
            awaited = stop >= air.size
            if awaited:
                sure = confidence(False, 0.0)
            elif float(air[at:stop].max()) > before - numbers["new_level_share"] * size:
                return None
        if not self._beyond_its_range(start, turn, after, sign):
            return None
        self._note("pit_changed", self._at_lid(turn), at + reach, change, sure, _NEW)
        return None if awaited else at + reach

    def _beyond_its_range(self, start: int, turn: int, after: float, sign: float) -> bool:
        """Whether a level is known and the new one lies outside of what it wandered over."""
        numbers = self._numbers
        if (turn - start) * self._step < numbers["level_known_after"]:
            return False  # the pit was still getting warm, or no level was seen yet
        changed = [e.end_s for e in self._found if e.kind == "pit_changed"]
        first = int(np.searchsorted(self._time, changed[-1])) if changed else start
        past = self._air[max(first, turn - self._bins("range_window")) : turn + 1]
        if not past.size:
            return False  # still on its way from the change before
        widest = float(np.quantile(sign * past, 0.95))
        return sign * after - widest > numbers["range_left_by"]

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
        if depth > max(numbers["sag_open_sigmas"] * rest, numbers["sag_smallest"]):
            last = air.size - 1
            sure = confidence(False, 0.0)
            self._note("fuel_dying", first + knee, last, -depth, sure, _SAG_OPEN)

    def _note(
        self, kind: Kind, first: int, last: int, size: float, sure: float, why: str
    ) -> None:
        begin, end = float(self._time[first]), float(self._time[last])
        words = say(why, Difference(float(abs(size)), 0), Lasting(end - begin))
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


_SAG = "The air sank {0} below its level over {1}, then came back."
_SAG_SLOW = (
    "The air sank {0} below its own level over {1}, far more than it "
    "had wandered before, and came back slowly."
)
_SAG_OPEN = "The air has sunk {0} below its level and has not come back yet."
_BACK = "The air turned and rose again from {0} below its level."
_NEW = "The air moved {0} from its level and stayed there."


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
                say(
                    f"The air fell {{0}} within minutes, {ratio:.1f} times what would be "
                    f"unusual here, {tail}.",
                    Difference(float(lid.depth_k), 0),
                ),
            )
        )
    return events

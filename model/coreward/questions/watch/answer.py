"""What of a running log needs a person now, and until when nobody is needed.

A pure function of the log so far, of what is watched for, and of what was said before: no
clock is asked, so that a whole night can be lived through in a test. What holds is said
once; what goes and comes back is said again only after a quiet time.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.events.found import Event, find_events
from coreward.logs.log import Channel, ProbeLog
from coreward.plain import apart
from coreward.questions.watch.wanted import Watched
from coreward.tables.standards import BandLimit, band_limits
from coreward.words import At, Degrees, Held, Lasting, Published, Reading, Text, say

Floats = NDArray[np.float64]

_HOUR = 3600.0
# Of the readings of its window, how many must be out of the range: an open lid is short.
_OUT_SHARE = 0.9
_BACK_S = 300.0
# A standstill must look like one for so long, and like none for so long: until it is settled
# what the last hour says of it comes and goes.
_BEGINS_S = 600.0
_ENDS_S = 3600.0
# The events are asked no more often: nothing about a standstill is news by the minute.
_ASKED_EVERY_S = 300.0
_PACE_S = 1800.0
# It may climb faster than it ever did: a wrap comes, a fire is mended.
_FASTER = 1.25
_NEAR_K = 3.0
_NEAR_S = 1800.0
_ROUND_S = 300.0
_TOLD_AGAIN_S = 900.0
# Less is not worth going away for.
_WORTH_S = 1200.0
_NEVER_SAID = -math.inf


@dataclass(frozen=True)
class Outlook:
    """What a forecast says, as far as it is needed here. Times of the log; may be infinite."""

    ready_s: float
    early_s: float
    """Most likely, and the early end of nine in ten. [s]"""
    wrap_early_s: float | None = None
    """When the reading for the wrap may be there at the earliest. [s]"""


@dataclass(frozen=True)
class News:
    """One thing that a person should know."""

    kind: str
    """Short and fixed, for a program: ``"pit low"``, ``"logger silent"`` ..."""
    over: bool
    """Whether it says that the thing is over."""
    time_s: float
    """When it is said, in the log's time. [s]"""
    words: Text


@dataclass(frozen=True)
class _Told:
    """One thing as it was left: does it hold, since when, when was it said last."""

    holds: bool
    since_s: float
    said_s: float = _NEVER_SAID
    said_now: bool = False


@dataclass(frozen=True)
class Memory:
    """What was said before; make a new one for a new cook."""

    told: Mapping[str, _Told] = field(default_factory=lambda: MappingProxyType({}))
    asked_s: float = -math.inf
    stall: tuple[float, float] | None = None
    turned_s: float | None = None
    events: tuple[Event, ...] = ()
    promised_s: float | None = None
    slip_said_s: float = _NEVER_SAID
    until_s: float | None = None


@dataclass(frozen=True)
class Watch:
    """How things stand, and what is new."""

    now_s: float
    age_s: float
    """Time of the log, and how long ago its last row came. [s]"""
    readings_c: Mapping[str, float | None]
    """The latest of each probe. [°C]"""
    news: tuple[News, ...]
    """Each thing once."""
    holding: tuple[str, ...]
    """Kinds of what holds now, said before or not."""
    until_s: float | None
    """Nobody is needed before, in the log's time; None where that cannot be told. [s]"""
    quiet: Text
    """The same in a sentence; empty where it was said before or cannot be told."""
    events: tuple[Event, ...] = ()
    """What happened so far."""
    start: dt.time | None = field(default=None, metadata=apart())


@dataclass(frozen=True)
class _Found:
    """Something that holds now."""

    kind: str
    words: Text
    once: bool = False  # never again in this cook
    alarm: bool = False  # somebody is needed while it holds


def watch(
    log: ProbeLog,
    wanted: Watched,
    memory: Memory | None = None,
    *,
    age_s: float = 0.0,
    outlook: Outlook | None = None,
) -> tuple[Watch, Memory]:
    """Say what is new, and until when nobody is needed.

    Parameters
    ----------
    log : ProbeLog
        All rows so far.
    memory : Memory, optional
        What the call before returned; None at the beginning.
    age_s : float
        How long ago the last row came. [s]
    outlook : Outlook, optional
        The latest forecast, if there is one.

    Returns
    -------
    answer, memory

    Raises
    ------
    InputError
        If the log has no such probe.
    """
    meat = log.meat(wanted.meat)
    before = Memory() if memory is None else memory
    now = log.duration_s + max(age_s, 0.0)
    start = log.start.time() if log.start is not None else log.start_clock
    kept = _asked(log, wanted, before)
    found = list(_holding(log, meat, wanted, kept, outlook, now, age_s, start))
    told, news = _what_is_new(found, kept, wanted, now)
    kept = replace(kept, told=MappingProxyType(told))
    slipped, kept = _slipped(outlook, wanted, kept, now, start)
    news += slipped
    busy = any(one.alarm for one in found)
    until = None if busy else _until(log, meat, wanted, outlook, kept, now)
    quiet: Text = ""
    if until is not None and (news or _is_new(until, before.until_s, now)):
        quiet = _nobody(until, wanted, start)
        kept = replace(kept, until_s=until)
    elif until is None:
        kept = replace(kept, until_s=None)
    latest = {channel.name: _latest(channel) for channel in log.channels}
    answer = Watch(
        now_s=now,
        age_s=age_s,
        readings_c=MappingProxyType(latest),
        news=tuple(news),
        holding=tuple(one.kind for one in found),
        until_s=until,
        quiet=quiet,
        events=kept.events,
        start=start,
    )
    return answer, kept


def _latest(channel: Channel) -> float | None:
    value = float(channel.temperature_c[-1])
    return value if math.isfinite(value) else None


def _what_is_new(
    found: Iterable[_Found], memory: Memory, wanted: Watched, now: float
) -> tuple[dict[str, _Told], list[News]]:
    """Which of what holds is to be said, and what is over."""
    told = dict(memory.told)
    news = []
    here = {one.kind: one for one in found}
    for kind, one in here.items():
        was = told.get(kind, _Told(False, now))
        if not was.holds:
            was = replace(was, holds=True, since_s=now, said_now=False)
        rest = math.inf if one.once else wanted.quiet_s
        if not was.said_now and (was.said_s == _NEVER_SAID or now - was.said_s >= rest):
            news.append(News(kind, False, now, one.words))
            was = replace(was, said_s=now, said_now=True)
        told[kind] = was
    for kind, was in memory.told.items():
        if kind in here or not was.holds:
            continue
        if was.said_now and (words := _OVER.get(kind)):
            news.append(News(kind, True, now, words))
        told[kind] = replace(was, holds=False, since_s=now, said_now=False)
    return told, news


_OVER: Mapping[str, str] = MappingProxyType(
    {
        "pit low": "The pit is back in its range.",
        "pit high": "The pit is back in its range.",
        "logger silent": "The logger writes again.",
        "stall": "The stall has ended: the core answers the pit again.",
    }
)


# -- what holds now ---------------------------------------------------------------------


def _holding(
    log: ProbeLog,
    meat: Channel,
    wanted: Watched,
    memory: Memory,
    outlook: Outlook | None,
    now: float,
    age_s: float,
    start: dt.time | None,
) -> Iterator[_Found]:
    silent = max(wanted.silent_s, log.gap_limit_s)
    if age_s >= silent:
        yield _Found(
            "logger silent",
            say(
                "The logger has been silent for {0}: nothing of the cook is known since {1}.",
                Held(age_s),
                At(log.duration_s, start),
            ),
            alarm=True,
        )
    yield from _silent_probes(log, silent, start)
    yield from _pit(log, wanted, memory)
    if memory.stall is not None:
        begin, level = memory.stall
        yield _Found(
            "stall",
            say(
                "A stall has begun, at about {0} with the probe at {1}: it is no fault of the "
                "fire, and no reason to do anything by itself.",
                At(begin, start),
                Reading(level),
            ),
        )
    yield from _wrap_and_ready(log, meat, wanted, memory, outlook, now, start)
    yield from _held(meat, wanted)
    yield from _chilled(log, meat, wanted, now, start)


def _silent_probes(log: ProbeLog, silent_s: float, start: dt.time | None) -> Iterator[_Found]:
    for channel in log.channels:
        known = np.flatnonzero(channel.plugged)
        if not known.size:
            continue
        last = float(log.time_s[known[-1]])
        if log.duration_s - last >= silent_s:
            yield _Found(
                f"probe silent: {channel.name}",
                say(
                    "The probe '{0}' has shown nothing since {1}: is it plugged in?",
                    channel.name,
                    At(last, start),
                ),
                alarm=True,
            )


def _pit(log: ProbeLog, wanted: Watched, memory: Memory) -> Iterator[_Found]:
    """The pit out of its range; while it is lit only after it was once in it."""
    known = np.isfinite(log.air_c)
    window = known & (log.time_s >= log.duration_s - wanted.pit_for_s)
    if not window.any() or log.duration_s < wanted.pit_for_s:
        return
    air = log.air_c[window]
    # One reading alone tells neither that it is out of its range nor that it is back.
    late = log.air_c[known & (log.time_s >= log.duration_s - _BACK_S)]
    low, high = wanted.pit_low_c, wanted.pit_high_c
    lit = low is None or bool((log.air_c[known] >= low).any()) or log.duration_s >= _HOUR
    for kind, way, end, out in (
        ("pit low", "below", low, (lambda value: value < low) if lit else None),
        ("pit high", "above", high, lambda value: value > high),
    ):
        if end is None or out is None:
            continue
        told = memory.told.get(kind)
        if told is not None and told.holds:
            holds = not late.size or bool(out(np.median(late)))
        else:
            holds = bool(out(air[-1]) and np.mean(out(air)) >= _OUT_SHARE)
        if holds:
            yield _Found(
                kind,
                say(
                    f"The pit has been {way} {{0}} for {{1}} or more; it shows {{2}}.",
                    Degrees(end, None),
                    Held(wanted.pit_for_s),
                    Reading(float(air[-1])),
                ),
                alarm=True,
            )


def _wrap_and_ready(
    log: ProbeLog,
    meat: Channel,
    wanted: Watched,
    memory: Memory,
    outlook: Outlook | None,
    now: float,
    start: dt.time | None,
) -> Iterator[_Found]:
    target = wanted.target_c
    if target is not None and _there(meat, target):
        yield _Found("ready", say("It is ready: {0}.", _shows(meat)), once=True)
        return
    by_time = wanted.wrap_at_s is not None and now >= wanted.wrap_at_s
    if by_time or (wanted.wrap_at_c is not None and _there(meat, wanted.wrap_at_c)):
        yield _Found("wrap", say("Time to wrap, as planned: {0}.", _shows(meat)), once=True)
    if target is None:
        return
    ready = math.inf
    if outlook is not None:
        ready = outlook.ready_s
    elif memory.stall is None:
        pace = _pace(log, meat)
        if pace is not None and pace > 0.0:
            known = meat.temperature_c[meat.plugged]
            ready = log.duration_s + (target - float(known[-1])) / pace
    if ready - now <= wanted.ready_within_s:
        how = "by the forecast" if outlook is not None else "at its pace of the last half hour"
        yield _Found(
            "ready soon",
            say(
                "It will be ready at about {0}, in {1}, {2}: {3}.",
                At(max(ready, now), start),
                Lasting(max(ready - now, 0.0)),
                how,
                _shows(meat),
            ),
        )


def _shows(meat: Channel) -> Text:
    known = meat.temperature_c[meat.plugged]
    latest = float(known[-1]) if known.size else math.nan
    return say("'{0}' shows {1}", meat.name, Reading(latest))


def _there(meat: Channel, level_c: float) -> bool:
    """Whether two readings in a row have ever shown it: one alone may be a slip."""
    hot = meat.temperature_c[meat.plugged] >= level_c
    return bool((hot[:-1] & hot[1:]).any())


def _error_k() -> float:
    return tables.load("verdict")["probe_error"]


def _held(meat: Channel, wanted: Watched) -> Iterator[_Found]:
    """The hot-holding limit near, or passed: the probe's error on top."""
    if not wanted.hold:
        return
    rule = _rule("hot holding")[0]
    limit = rule.from_c + _error_k()
    known = meat.temperature_c[meat.plugged]
    if known.size < 2 or not _there(meat, limit + _NEAR_K):
        return
    latest = float(known[-1])
    if latest < limit:
        yield _Found(
            "hold limit passed",
            say(
                "The hold no longer meets {0} ({1}): {2}, with the error of a probe taken "
                "off. Serve it, or chill it now.",
                Published(rule.from_c),
                rule.title,
                _shows(meat),
            ),
            alarm=True,
        )
    elif latest < limit + _NEAR_K:
        yield _Found(
            "hold limit near",
            say(
                "The hold is near {0} ({1}): {2}. Make it hotter, or serve it.",
                Published(rule.from_c),
                rule.title,
                _shows(meat),
            ),
        )


def _rule(kind: str) -> list[BandLimit]:
    return [one for one in band_limits() if one.kind == kind and one.default]


def _deadlines(
    log: ProbeLog, meat: Channel, wanted: Watched
) -> Iterator[tuple[BandLimit, float]]:
    """Cooling limits that are running, and when they end; the probe's error on top. [s]."""
    if not wanted.chill:
        return
    known = np.flatnonzero(meat.plugged)
    value = meat.temperature_c[known]
    for rule in _rule("cooling"):
        above = np.flatnonzero(value >= rule.from_c + _error_k())
        if not above.size or above[-1] == value.size - 1:
            continue
        began = float(log.time_s[known[above[-1]]])
        if value[-1] > rule.to_c - _error_k():
            yield rule, began + rule.limit_s


def _chilled(
    log: ProbeLog, meat: Channel, wanted: Watched, now: float, start: dt.time | None
) -> Iterator[_Found]:
    for rule, end in _deadlines(log, meat, wanted):
        name = f"{rule.standard}, {rule.limit_s / _HOUR:g} h"
        if now >= end:
            yield _Found(
                f"chill limit passed: {name}",
                say(
                    "The chill does not meet {0} by {1} ({2}): {3}.",
                    Published(rule.to_c, at_most=True),
                    At(end, start),
                    rule.title,
                    _shows(meat),
                ),
                once=True,
                alarm=True,
            )
        elif now >= end - _NEAR_S:
            yield _Found(
                f"chill limit near: {name}",
                say(
                    "It must be at {0} by {1} ({2}), {3} from now: {4}.",
                    Published(rule.to_c, at_most=True),
                    At(end, start),
                    rule.title,
                    Held(end - now),
                    _shows(meat),
                ),
                once=True,
            )


# -- standstill, forecast, nobody -----------------------------------------------------------


def _asked(log: ProbeLog, wanted: Watched, memory: Memory) -> Memory:
    """Ask for a standstill, now and then; believe what is settled, or says so for a while."""
    now = log.duration_s
    if now - memory.asked_s < _ASKED_EVERY_S:
        return memory
    events = find_events(log, wanted.meat)
    begins = [event for event in events if event.kind == "stall_begins"]
    last = begins[-1] if begins else None
    ends = [
        event
        for event in events
        if last is not None and event.kind == "stall_ends" and event.time_s >= last.time_s
    ]
    open_now = last is not None and not ends
    memory = replace(memory, asked_s=now, events=events)
    if open_now == (memory.stall is not None):
        return replace(memory, turned_s=None)
    since = now if memory.turned_s is None else memory.turned_s
    settled = bool(ends) and not ends[-1].provisional
    if not settled and now - since < (_BEGINS_S if open_now else _ENDS_S):
        return replace(memory, turned_s=since)
    stall = (last.time_s, last.size) if open_now and last is not None else None
    return replace(memory, stall=stall, turned_s=None)


def _slipped(
    outlook: Outlook | None, wanted: Watched, memory: Memory, now: float, start: dt.time | None
) -> tuple[list[News], Memory]:
    """Say that the forecast has moved since it was last told of."""
    if outlook is None:
        return [], memory
    was, ready = memory.promised_s, outlook.ready_s
    if was is None:
        return [], replace(memory, promised_s=ready)
    if not (math.isfinite(was) or math.isfinite(ready)):
        return [], memory
    if abs(ready - was) <= wanted.slip_s or now - memory.slip_said_s < wanted.quiet_s:
        return [], memory
    words: Text
    if not math.isfinite(ready):
        words = say(
            "The forecast no longer says when it is ready; before it said {0}.", At(was, start)
        )
    elif not math.isfinite(was):
        words = say("The forecast now says ready at about {0}.", At(ready, start))
    else:
        way = "later" if ready > was else "earlier"
        words = say(
            f"The forecast has moved {{0}} {way}: ready at about {{1}}.",
            Lasting(abs(ready - was)),
            At(ready, start),
        )
    told = replace(memory, promised_s=ready, slip_said_s=now)
    return [News("forecast moved", False, now, words)], told


def _pace(log: ProbeLog, meat: Channel) -> float | None:
    """How fast the probe climbed in the last half hour; None of too short a log. [K/s]."""
    known = np.flatnonzero(meat.plugged)
    if known.size < 3:
        return None
    time, value = log.time_s[known], meat.temperature_c[known]
    recent = time >= time[-1] - _PACE_S
    if time[recent][-1] - time[recent][0] < 0.6 * _PACE_S:
        return None
    return float(np.polyfit(time[recent] - time[-1], value[recent], 1)[0])


def _fastest(log: ProbeLog, meat: Channel) -> float | None:
    """The fastest climb in any half hour of the cook, the first apart. [K/s]."""
    known = np.flatnonzero(meat.plugged)
    if known.size < 3 or log.duration_s < 2.0 * _PACE_S:
        return None
    time, value = log.time_s[known], meat.temperature_c[known]
    grid = np.arange(_PACE_S, log.duration_s + 1.0, 300.0)
    climbed = np.interp(grid[6:], time, value) - np.interp(grid[:-6], time, value)
    return float(climbed.max() / _PACE_S) if climbed.size else None


def _until(
    log: ProbeLog,
    meat: Channel,
    wanted: Watched,
    outlook: Outlook | None,
    memory: Memory,
    now: float,
) -> float | None:
    """Before when nobody is needed as long as the pit holds; None where unknown. [s]."""
    fastest = _fastest(log, meat)
    known = meat.temperature_c[meat.plugged]

    def reached(level_c: float) -> float | None:
        if fastest is None or not known.size:
            return None
        if fastest <= 0.0:
            return None
        return log.duration_s + (level_c - float(known[-1])) / (_FASTER * fastest)

    times: list[float | None] = []
    if wanted.wrap_at_s is not None and now < wanted.wrap_at_s:
        times.append(wanted.wrap_at_s)
    if wanted.wrap_at_c is not None and not _there(meat, wanted.wrap_at_c):
        early = None if outlook is None else outlook.wrap_early_s
        times.append(reached(wanted.wrap_at_c) if early is None else early)
    if wanted.target_c is not None and not _there(meat, wanted.target_c):
        early = reached(wanted.target_c) if outlook is None else outlook.early_s
        times.append(None if early is None else early - wanted.ready_within_s)
    times += [end - _NEAR_S for _, end in _deadlines(log, meat, wanted)]
    if wanted.hold and known.size:
        left = float(known[-1]) - (_rule("hot holding")[0].from_c + _error_k() + _NEAR_K)
        pace = _pace(log, meat)
        if pace is None or left <= 0.0:
            times.append(None)
        elif pace < 0.0:
            times.append(log.duration_s - left / (_FASTER * pace))
    if not times or any(one is None for one in times):
        return None
    first = min(one for one in times if one is not None)
    if not math.isfinite(first) or first - now < _WORTH_S:
        return None
    return math.floor(first / _ROUND_S) * _ROUND_S


def _is_new(until: float, before: float | None, now: float) -> bool:
    """Whether it is sooner than was said, or what was said is about to pass."""
    return before is None or until <= before - _TOLD_AGAIN_S or before - now < _ROUND_S


def _nobody(until: float, wanted: Watched, start: dt.time | None) -> Text:
    low, high = wanted.pit_low_c, wanted.pit_high_c
    if low is None and high is None:
        return say("Nothing needs you before {0}, as long as the pit holds.", At(until, start))
    ends: list[Text] = []
    if low is not None:
        ends.append(say("falls below {0}", Degrees(low, None)))
    if high is not None:
        ends.append(say("rises above {0}", Degrees(high, None)))
    unless = ends[0] if len(ends) == 1 else say("{0} or {1}", *ends)
    return say("Nothing needs you before {0} unless the pit {1}.", At(until, start), unless)

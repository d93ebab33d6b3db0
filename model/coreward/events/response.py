"""Events seen in how the core answers the air: wrapping, and meat taken off.

The measure is the one of table ``stall``: the rise of the core per kelvin that the air is
hotter. Conduction alone keeps it level; evaporation lowers it; a wrap lifts it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.events.air import Lid
from coreward.events.listed import Event
from coreward.events.signals import Track, confidence, running_mean, runs
from coreward.words import Lasting, Reading, Say, say

Floats = NDArray[np.float64]


_BOILING_C = 100.0  # at sea level; the margin of table ``stall`` covers the mountains


@dataclass(frozen=True, eq=False)
class Core:
    """The meat's course while it was on the fire, jumps taken out."""

    time_s: Floats
    reading_c: Floats
    core_c: Floats
    air_c: Floats
    """From the time the probe had settled to the end or until it was pulled. The core is the
    reading smoothed. [s], [°C] Shape (bins,)."""
    noise_k: float
    """Of a bin, after the first hours. [K]"""
    step_s: float
    """Between bins. [s]"""


def core_of(meat: Track, reading_c: Floats, air: Track, first: int, last: int) -> Core:
    """Cut the course to the cook and smooth it."""
    numbers = tables.load("events")
    settle = round(numbers["response_settles"] / meat.step_s)
    begin = min(first + settle, last)
    part = slice(begin, last + 1)
    width = round(numbers["response_smoothing"] / meat.step_s)
    # At one moment, so that a longer log does not change the smoothing.
    known = min(begin + round(numbers["response_noise_after"] / meat.step_s), last)
    return Core(
        meat.time_s[part],
        reading_c[part],
        running_mean(reading_c[part], width // 2),
        air.value_c[part],
        float(meat.noise_k[known]),
        meat.step_s,
    )


def until(core: Core, last: int) -> Core:
    """Return the course up to a bin."""
    part = slice(0, last + 1)
    return replace(
        core,
        time_s=core.time_s[part],
        reading_c=core.reading_c[part],
        core_c=core.core_c[part],
        air_c=core.air_c[part],
    )


@dataclass(frozen=True)
class _Opening:
    """One opening, weighed as a wrap."""

    time_s: float
    """When the lid opened. [s]"""
    core_c: float
    ratio: float
    minutes: float
    """Core at it [°C]; answer after over before; how long the air fell [min]."""
    handled: tuple[str, ...]
    """What else was done at it, in words."""
    chance: float
    """That it was a wrap, 0 to 1."""
    settled: bool
    """Whether more samples leave all of this as it is."""

    @property
    def tells(self) -> bool:
        """Whether more than the opening itself speaks for a wrap."""
        return self._rose or bool(self.handled)

    @property
    def _rose(self) -> bool:
        return self.ratio >= tables.load("events")["wrap_answer_tells"]

    def why(self) -> Say:
        """Say what the finding rests on."""
        answer = f"{self.ratio:.1f} times as much per kelvin of hotter air"
        if self._rose:
            rests = f"from then on the core took up {answer}"
        elif self.handled:
            rests = f"this rests on what was done at it, for the core took up {answer}"
        else:
            rests = (
                f"this rests on that opening alone, for the core took up {answer}: a guess "
                "to confirm or remove"
            )
        return say(
            "The lid was open for {0} with the core at {1}{2}; {3}.",
            Lasting(60.0 * self.minutes),
            Reading(float(self.core_c), 0),
            f", {' and '.join(self.handled)}" if self.handled else "",
            rests,
        )


def find_wrap(
    core: Core,
    lids: list[Lid],
    air: Track,
    name: str,
    others: Iterable[Event] = (),
    taken_off: bool = False,
) -> list[Event]:
    """Find the wrap: an opening after which the core answers the air more than it did.

    The answer is the slope of the core over the drive of the air, the drive delayed as
    the core is. Each opening is weighed by the rise after it, by how long and deep it
    was, by the temperature at which meat is commonly wrapped, and by what else was done
    at it: a pit raised and a probe set anew speak for a wrap, fuel added against one.
    Foil stops the evaporation and shows in the answer. Paper lets part of it through and
    keeps heat off as well; it often changes nothing, and then only the opening tells.

    One wrap is looked for: the first of which more than its opening tells. Of openings near
    one another the likeliest is taken, so it is settled only once the answer to all of them
    has been seen. One that rests on its opening alone stays provisional while more comes,
    and one that is less likely than not stays so for good: a person may know better.

    Parameters
    ----------
    others : iterable of Event
        Found before: fuel, changes of the pit, moves of the probe.
    taken_off : bool
        Whether the probe is known to have been pulled where the course stops.

    Returns
    -------
    list of Event
        One ``wrapped`` or none. A rise without an opening is no wrap: the end of a stall
        looks the same.
    """
    numbers = tables.load("events")
    if core.time_s.size * core.step_s < numbers["wrap_after"] + numbers["wrap_window"]:
        return []
    sure = [event for event in others if not event.provisional]
    openings = list(_openings(core, lids, air, sure))
    likely = [one for one in openings if one.chance >= numbers["wrap_chance"]]
    shown = [one for one in likely if one.tells]
    if shown:
        best = shown[0]
        for later in shown[1:]:
            if later.time_s > best.time_s + numbers["wrap_rivals"]:
                break
            best = max(best, later, key=lambda one: one.chance)
        until_s = best.time_s + numbers["wrap_rivals"]
        # An opening is known for one no later than this.
        seen = float(core.time_s[-1]) > until_s + numbers["lid_longest"]
        settled = seen and all(one.settled for one in openings if one.time_s <= until_s)
    else:
        maybe = [one for one in openings if one.chance >= numbers["wrap_maybe"]]
        if not maybe:
            return []
        best = max(maybe, key=lambda one: one.chance)
        settled = False  # a later one may show more
    chance = best.chance if settled or taken_off else confidence(False, 0.0)
    when = best.time_s
    return [Event("wrapped", when, when, best.ratio, "-", chance, name, best.why())]


def _openings(
    core: Core, lids: list[Lid], air: Track, others: list[Event]
) -> Iterator[_Opening]:
    """Weigh each opening as a wrap, in order; no chance where the answer does not tell."""
    numbers = tables.load("events")
    step, size = core.step_s, core.time_s.size
    quotient, delay = _answer(core)
    window = max(round(numbers["wrap_window"] / step), 2)
    clear = max(round(numbers["wrap_clear"] / step), 1)
    edge = round(
        0.5 * (numbers["response_smoothing"] + tables.load("stall")["slope_window"]) / step
    )
    start = float(core.time_s[0])
    for lid in lids:
        when = float(air.time_s[lid.first])
        at = round((when - start) / step)
        if at * step < numbers["wrap_after"] or at >= size:
            continue
        lag = round(0.5 * float(delay[at]) / step)
        after_first = at + lag + clear
        settled = after_first + window + edge < size
        after = quotient[after_first : after_first + window]
        before = quotient[max(at - clear - window, 0) : max(at - clear, 1)]
        level = float(core.core_c[at])
        # Early the core has only begun to answer, near boiling the answer tells of boiling.
        cold = level < numbers["wrap_core_least"]
        hot = level > _BOILING_C - tables.load("stall")["boiling_margin"]
        told = after.size * step >= 0.5 * numbers["wrap_window"] and before.size > 0
        minutes = float(air.time_s[lid.lowest] - air.time_s[lid.first]) / 60.0
        if cold or hot or not told:
            yield _Opening(when, level, math.nan, minutes, (), 0.0, cold or hot or settled)
            continue
        was, became = float(np.median(before)), float(np.median(after))
        ratio = max(became, 1e-12) / max(was, 0.05 * float(quotient[: at + 1].max()), 1e-12)
        off = (level - numbers["wrap_core_c"]) / numbers["wrap_core_spread"]
        handled, weight = _handled(when, others)
        odds = (
            numbers["wrap_odds"]
            + numbers["wrap_per_rise"] * math.log(ratio)
            + numbers["wrap_per_minute"] * min(minutes, numbers["wrap_minutes_most"])
            + numbers["wrap_per_kelvin"] * lid.depth_k
            - min(0.5 * off * off, numbers["wrap_core_most"])
            + weight
        )
        chance = 1.0 / (1.0 + math.exp(-min(max(odds, -30.0), 30.0)))
        yield _Opening(when, level, ratio, minutes, handled, chance, settled)


def _handled(when: float, others: list[Event]) -> tuple[tuple[str, ...], float]:
    """Return what else was done at an opening, in words, and what it adds to the odds."""
    numbers = tables.load("events")
    near = [event for event in others if abs(event.time_s - when) <= numbers["wrap_handling"]]
    words, weight = [], 0.0
    if any(event.kind == "pit_changed" and event.size > 0.0 for event in near):
        words.append("the pit was raised at it")
        weight += numbers["wrap_pit_raised"]
    if any(event.kind == "probe_moved" for event in near):
        words.append("the probe was set anew")
        weight += numbers["wrap_probe_moved"]
    if any(event.kind == "fuel_added" for event in near):
        weight -= numbers["wrap_fuel_added"]
    return tuple(words), weight


def find_taken_off(
    core: Core, lids: list[Lid], air: Track, name: str
) -> tuple[list[Event], int]:
    """Find meat taken off the fire with the probe left in: a core that falls in hot air.

    Returns
    -------
    events : list of Event
        One ``pulled``, or none.
    last : int
        Last bin on the fire.
    """
    numbers = tables.load("events")
    step, size = core.step_s, core.time_s.size
    skip, lasts = round(numbers["wrap_after"] / step), round(numbers["off_lasts"] / step)
    if size <= skip + lasts:
        return [], size - 1
    quotient, delay = _answer(core)
    largest = np.maximum.accumulate(np.maximum(quotient, 0.0))
    falls = quotient < -numbers["off_share"] * largest
    falls &= core.air_c - core.core_c > numbers["off_drive"]
    falls &= np.arange(size) > skip
    half = round(0.5 * numbers["response_smoothing"] / step)
    for first, last in runs(falls):
        if last - first + 1 < lasts:
            continue
        # Back to where the core last rose.
        begin = first
        while begin > 0 and quotient[begin] < 0.0:
            begin -= 1
        when = float(core.time_s[begin])
        reach = numbers["off_at_lid"] + 0.5 * float(delay[begin])
        opened = [float(air.time_s[lid.first]) for lid in lids]
        near = [time for time in opened if -reach <= time - when <= numbers["off_at_lid"]]
        when = near[-1] if near else when
        settled = last + 1 - first >= lasts and first + lasts + 2 * half < size
        why = (
            "The core falls while the air the log shows is much hotter: it is not on the fire."
        )
        level = float(core.core_c[begin])
        event = Event("pulled", when, when, level, "degC", confidence(settled, 1.5), name, why)
        cut = int(np.searchsorted(core.time_s, when, side="right")) - 1
        return [event], max(cut, 0)
    return [], size - 1


def _answer(core: Core) -> tuple[Floats, Floats]:
    """Slope of the core per kelvin of the delayed drive [1/s], and the delay [s]."""
    numbers = tables.load("events")
    step = core.step_s
    half = max(round(0.5 * tables.load("stall")["slope_window"] / step), 1)
    slope = _slopes(core.core_c, half) / step
    drive = np.maximum(core.air_c - core.core_c, tables.load("stall")["smallest_drive"])
    # The first answer without delay tells how slow this piece is.
    prompt = slope / drive
    skip = min(round(numbers["wrap_after"] / step), prompt.size - 1)
    largest = np.maximum.accumulate(np.concatenate((np.zeros(skip), prompt[skip:])))
    largest = np.maximum(largest, 1.0 / numbers["response_slowest"])
    delay = numbers["response_delay_share"] / largest
    return slope / _delayed(_delayed(drive, 0.5 * delay, step), 0.5 * delay, step), delay


def _delayed(value: Floats, lag_s: Floats, step_s: float) -> Floats:
    """First-order lag, its time constant given for each bin."""
    share = (1.0 - np.exp(-step_s / lag_s)).tolist()
    state = float(value[0])
    out = []
    for x, a in zip(value.tolist(), share, strict=True):
        state += a * (x - state)
        out.append(state)
    return np.asarray(out)


def _slopes(value: Floats, half: int) -> Floats:
    """Slope per bin of the least-squares line through a window, shorter at the ends."""
    size = value.size
    x = np.arange(size, dtype=float)
    low, high = np.maximum(x - half, 0).astype(int), np.minimum(x + half + 1, size).astype(int)

    def total(a: Floats) -> Floats:
        c = np.concatenate(([0.0], np.cumsum(a)))
        return np.asarray(c[high] - c[low])

    y = value - float(value.mean())
    count = (high - low).astype(float)
    sx, sy, sxy, sxx = total(x), total(y), total(x * y), total(x * x)
    return np.asarray((sxy - sx * sy / count) / np.maximum(sxx - sx * sx / count, 1e-9))

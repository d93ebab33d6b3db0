"""Events seen in how the core answers the air: stalls, and wrapping.

The measure is the one of table ``stall``: the rise of the core per kelvin that the air is
hotter. Conduction alone keeps it level; evaporation lowers it; a wrap lifts it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.questions.event_air import Lid
from coreward.questions.event_list import Event, Kind
from coreward.questions.event_signals import Track, confidence, running_mean, runs
from coreward.questions.stall import Stall, find_stalls

Floats = NDArray[np.float64]


_BOILING_C = 100.0  # at sea level; the margin of table ``stall`` covers the mountains


@dataclass(frozen=True, eq=False)
class Core:
    """The meat's course while it was on the fire, jumps taken out.

    Attributes
    ----------
    time_s, reading_c, core_c, air_c : ndarray, shape (bins,)
        From the time the probe had settled to the end or until it was pulled. The core
        is the reading smoothed. [s], [°C]
    noise_k : float
        Of a bin, after the first hours. [K]
    step_s : float
        Between bins. [s]
    """

    time_s: Floats
    reading_c: Floats
    core_c: Floats
    air_c: Floats
    noise_k: float
    step_s: float


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


def stall_events(core: Core, name: str) -> list[Event]:
    """Stalls by `find_stalls`, asked again and again as the log grows.

    A beginning or an end is settled once it has come out at the same time for a while;
    what the last samples say is provisional.
    """
    numbers = tables.load("events")
    every = max(round(numbers["stall_asked"] / core.step_s), 1)
    same = numbers["stall_same"]
    times = int(numbers["stall_times"])
    size = core.time_s.size
    # The noisier the probe, the longer the mean: a slope's error falls with the width to
    # the power 3/2, the error from the bend grows with its square.
    noise = core.noise_k * math.sqrt(core.step_s / 60.0) / numbers["stall_noise"]
    width = numbers["stall_smoothing"] * noise ** (1.0 / 3.5)
    width = min(max(width, numbers["stall_smoothing_least"]), numbers["stall_smoothing_most"])
    half = round(0.5 * width / core.step_s)
    settled: list[tuple[Kind, Stall]] = []
    answers: list[tuple[Stall, ...]] = []
    stops = list(range(every, size, every))
    if size > 2 and (not stops or stops[-1] != size):
        stops.append(size)
    for stop in stops:
        smooth = running_mean(core.reading_c[:stop], half)
        answers.append(find_stalls(core.time_s[:stop], smooth, core.air_c[:stop]))
        if stop % every == 0 and len(answers) >= times:
            _settle(settled, answers[-times:], same)
    events = [_stall_event(kind, stall, name, True) for kind, stall in settled]
    if answers:
        seen: list[tuple[Kind, Stall]] = list(settled)
        _settle(seen, answers[-1:], same)
        # An end needs half a slope's window after it, or it is only the end of the log.
        latest = float(core.time_s[-1]) - numbers["stall_end_seen"]
        events += [
            _stall_event(kind, stall, name, False)
            for kind, stall in seen[len(settled) :]
            if kind == "stall_begins" or stall.end_s < latest
        ]
    return events


def _settle(
    settled: list[tuple[Kind, Stall]], answers: list[tuple[Stall, ...]], same: float
) -> None:
    """Add what every one of the answers says, in order: begins, ends, begins, ..."""
    for stall in answers[-1]:
        past = settled[-1][1].end_s if settled and settled[-1][0] == "stall_ends" else -1.0
        if not settled or (settled[-1][0] == "stall_ends" and stall.begin_s > past):
            agreed = all(
                any(abs(other.begin_s - stall.begin_s) <= same for other in answer)
                for answer in answers
            )
            if agreed:
                settled.append(("stall_begins", stall))
        if settled and settled[-1][0] == "stall_begins" and stall.ended:
            if stall.end_s <= settled[-1][1].begin_s:
                continue
            agreed = all(
                any(other.ended and abs(other.end_s - stall.end_s) <= same for other in answer)
                for answer in answers
            )
            if agreed:
                settled.append(("stall_ends", stall))


def _stall_event(kind: Kind, stall: Stall, name: str, sure: bool) -> Event:
    begins = kind == "stall_begins"
    when = stall.begin_s if begins else stall.end_s
    level = stall.core_begin_c if begins else stall.core_end_c
    why = (
        "From here the core rises far less per kelvin of hotter air than it did."
        if begins
        else "From here the core answers the air again."
    )
    return Event(kind, when, when, level, "degC", confidence(sure, 1.5), name, why)


def find_wrap(core: Core, lids: list[Lid], air: Track, name: str) -> list[Event]:
    """Find the wrap: a lasting rise of the core's answer, nearly always at an opening.

    The answer is the slope of the core over the drive of the air, the drive delayed as
    the core is. Each opening is weighed by the rise after it, by how long it lasted, and
    by the temperature at which meat is commonly wrapped. One wrap is looked for; the
    first that is likely is taken.
    """
    numbers = tables.load("events")
    step, size = core.step_s, core.time_s.size
    if size * step < numbers["wrap_after"] + numbers["wrap_window"]:
        return []
    quotient, delay = _answer(core)
    window = max(round(numbers["wrap_window"] / step), 2)
    clear = max(round(numbers["wrap_clear"] / step), 1)
    edge = round(
        0.5 * (numbers["response_smoothing"] + tables.load("stall")["slope_window"]) / step
    )
    start = float(core.time_s[0])
    for number, lid in enumerate(lids):
        when = float(air.time_s[lid.first])
        at = round((when - start) / step)
        if at * step < numbers["wrap_after"] or at >= size:
            continue
        lag = round(0.5 * float(delay[at]) / step)
        after_first = at + lag + clear
        settled = after_first + window + edge < size
        after = quotient[after_first : after_first + window]
        before = quotient[max(at - clear - window, 0) : max(at - clear, 1)]
        if after.size * step < 0.5 * numbers["wrap_window"] or not before.size:
            break
        level = float(core.core_c[at])
        if level < numbers["wrap_core_least"]:
            continue  # the core has only begun to answer
        if level > _BOILING_C - tables.load("stall")["boiling_margin"]:
            break  # near boiling the answer tells of boiling
        was, became = float(np.median(before)), float(np.median(after))
        ratio = max(became, 1e-12) / max(was, 0.05 * float(quotient[: at + 1].max()), 1e-12)
        open_min = float(air.time_s[lid.lowest] - air.time_s[lid.first]) / 60.0
        off = (level - numbers["wrap_core_c"]) / numbers["wrap_core_spread"]
        odds = (
            numbers["wrap_odds"]
            + numbers["wrap_per_rise"] * math.log(ratio)
            + numbers["wrap_per_minute"] * min(open_min, numbers["wrap_minutes_most"])
            - min(0.5 * off * off, numbers["wrap_core_most"])
        )
        chance = 1.0 / (1.0 + math.exp(-min(max(odds, -30.0), 30.0)))
        if chance < numbers["wrap_chance"] or ratio < 1.0:
            continue
        later = _better(core, quotient, lids[number + 1 :], air, at, lag, was, became)
        when = float(air.time_s[later.first]) if later else when
        sure = chance if settled else confidence(False, 0.0)
        why = (
            f"The lid was open, and from then on the core took up {ratio:.1f} times as much "
            f"per kelvin of hotter air; the core was at {level:.0f} °C."
        )
        return [Event("wrapped", when, when, ratio, "-", sure, name, why)]
    return []


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


def _better(
    core: Core,
    quotient: Floats,
    later: list[Lid],
    air: Track,
    at: int,
    lag: int,
    was: float,
    became: float,
) -> Lid | None:
    """Find a later opening, within the rise, that the rise fits better."""
    span = quotient[at : at + 2 * lag + round(3600.0 / core.step_s)]
    half = np.flatnonzero(span > was + 0.5 * (became - was))
    if not half.size:
        return None
    due = float(core.time_s[at + int(half[0])]) - lag * core.step_s
    first = float(core.time_s[at])
    near = [lid for lid in later if abs(float(air.time_s[lid.first]) - due) < abs(first - due)]
    return near[-1] if near else None


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

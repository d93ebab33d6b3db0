"""Events of one meat probe: put in, moved, wrapped, stalled, pulled.

A core cannot jump and cannot change the rate at which it takes up heat within minutes.
What the probe does is therefore compared with its own course just before, and with the
air that drives it; both in units of the spread that this log has shown so far.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.events.air import Lid, running_spread
from coreward.events.listed import Event
from coreward.events.signals import Track, confidence
from coreward.words import Difference, Reading, say

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Step:
    """A jump of the reading between two bins."""

    at: int
    """Last bin before it."""
    jump_k: float
    """How far, after both sides' slopes are taken off. [K]"""
    ratio: float
    """In units of the usual spread."""


def find_steps(meat: Track) -> list[Step]:
    """Jumps between straight lines fitted to a few minutes on either side."""
    numbers = tables.load("events")
    step = meat.step_s
    width = step_width(step)
    skip = max(round(numbers["step_skip"] / step), 1)
    value = meat.value_c
    size = value.size
    jump = np.zeros(size)
    if size < 2 * width + skip + 1:
        return []
    # Weights of the line's value at `ahead` bins past its last point.
    left = _line_weights(width, 0.5 * skip)
    right = left[::-1]
    windows = np.lib.stride_tricks.sliding_window_view(value, width)
    from_left, from_right = windows @ left, windows @ right
    count = size - 2 * width - skip + 1
    jump[width - 1 : width - 1 + count] = (
        from_right[width - 1 + skip :][:count] - from_left[:count]
    )
    noise = meat.noise_k * np.sqrt(2.0 * float(np.dot(left, left)))
    spread = np.maximum(running_spread(jump, step, 1e-6), noise)
    limit = np.maximum(numbers["step_sigmas"] * spread, numbers["step_smallest"])
    final = size - width - skip
    found: list[Step] = []
    at = width - 1
    while at < final:
        if abs(jump[at]) < limit[at]:
            at += 1
            continue
        stop = at
        best = at
        while stop < min(at + width + skip, final):
            if abs(jump[stop]) > abs(jump[best]):
                best = stop
            stop += 1
        if stop >= final:
            break
        # The quickest stretch of a hand's time around the largest difference.
        begin = max(best - skip, 0)
        over = value[begin + skip : best + 2 * skip + 1] - value[begin : best + skip + 1]
        slopes = windows[[max(best - width + 1, 0), best + skip]] @ _slope_weights(width)
        # More than the steeper side would have brought: a kink is no jump.
        sign = float(np.sign(jump[best]))
        moved = float((sign * over).max()) - max(float((sign * slopes).max()), 0.0) * skip
        near = value[begin : best + skip + 2]
        place = begin + int(np.argmax(np.abs(np.diff(near))))
        # A bend fills the windows; a jump happens between them.
        if moved > numbers["step_at_once"] * abs(jump[best]):
            found.append(Step(place, float(jump[best]), float(abs(jump[best]) / spread[at])))
            at = best + width + skip
        else:
            at = stop
    return found


def step_width(step_s: float) -> int:
    """Bins to which a line is fitted: a few minutes, more for a slow logger."""
    numbers = tables.load("events")
    several = min(numbers["step_bins"], numbers["step_window_longest"] / step_s)
    return max(round(numbers["step_window"] / step_s), round(several), 4)


def find_pulled(meat: Track) -> tuple[int, bool] | None:
    """Last bin in the meat, where the reading then falls far and stays down; and if sure."""
    numbers = tables.load("events")
    value = meat.value_c
    behind = max(round(numbers["step_window"] / meat.step_s), 2)
    stays = max(round(numbers["pulled_stays"] / meat.step_s), int(numbers["spike_samples"]))
    size = value.size
    if size < behind + 1:
        return None
    windows = np.lib.stride_tricks.sliding_window_view(value, behind)
    before = np.median(windows, axis=1)[: size - behind]
    low = before - value[behind:] > numbers["pulled_smallest"]
    low &= before > numbers["pulled_from"]
    low &= meat.known[behind:]
    for start in np.flatnonzero(low):
        at = int(start) + behind
        level = float(before[start])
        after = value[at : at + stays + 1]
        if np.all(after < level - numbers["pulled_smallest"]):
            while at - 1 > 0 and value[at - 1] < level - 0.3 * numbers["pulled_smallest"]:
                at -= 1
            return at - 1, after.size > stays
    return None


def _line_weights(width: int, ahead: float) -> Floats:
    """Weights that give the value of the least-squares line `ahead` past the last point."""
    x = np.arange(width) - 0.5 * (width - 1)
    return np.asarray(1.0 / width + x * (0.5 * (width - 1) + ahead) / float(np.dot(x, x)))


def _slope_weights(width: int) -> Floats:
    """Weights that give the slope of the least-squares line, per bin."""
    x = np.arange(width) - 0.5 * (width - 1)
    return np.asarray(x / float(np.dot(x, x)))


def joined(meat: Track, moves: tuple[Step, ...]) -> Floats:
    """Reading with the jumps taken out, as if the probe had stayed where it was first."""
    value = meat.value_c.copy()
    skip = max(round(tables.load("events")["step_skip"] / meat.step_s), 1)
    for step in moves:
        first, last = step.at, min(step.at + skip, value.size - 1)
        value[last:] -= step.jump_k
        value[first : last + 1] = np.linspace(value[first], value[last], last - first + 1)
    return value


@dataclass(frozen=True)
class ProbeStory:
    """What a probe went through, in order: on, moved, pulled."""

    events: tuple[Event, ...]
    """Kinds ``meat_on``, ``probe_moved`` and ``pulled``."""
    first: int
    last: int
    """Bins between which the probe was in the meat, on the fire."""
    moves: tuple[Step, ...]
    """While it was."""
    put_in: bool
    """Whether the probe itself shows when the meat went on: it went from elsewhere into it."""


def tell_steps(
    meat: Track,
    air: Track | None,
    lids: list[Lid],
    steps: list[Step],
    still_from_s: float,
    name: str,
) -> ProbeStory:
    """Say which jumps were meat on, a moved probe, or the meat pulled."""
    numbers = tables.load("events")
    value, time = meat.value_c, meat.time_s
    events: list[Event] = []
    moves: list[Step] = []
    first, last = 0, value.size - 1
    pulled = find_pulled(meat)
    if pulled is not None:
        last, sure = pulled
        fall = float(value[last] - value[min(last + 2, value.size - 1)])
        when = float(time[last])
        fell = Difference(fall, 0)
        why = say("The reading fell {0} within minutes and stayed down.", fell)
        level = float(value[max(last - 1, 0)])
        ratio = fall / numbers["pulled_smallest"]
        events.append(
            Event("pulled", when, when, level, "degC", confidence(sure, ratio), name, why)
        )
    put_in: Step | None = None
    settle = numbers["settling_time"]
    reach = step_width(meat.step_s)
    for step in steps:
        if step.at >= last - 1:
            break
        past = value[first : max(step.at, first + 1)]
        risen = float(np.quantile(past, 0.95) - np.quantile(past, 0.05))
        when = float(time[step.at])
        if when - float(time[first]) < max(settle, (reach + 1) * meat.step_s):
            continue  # the probe and the meat around it are still settling
        if risen < numbers["not_heated"] and not moves:
            put_in = step
            first = step.at + 1
            continue
        moves.append(step)
        # A reading that stands still since may be stuck instead.
        moves_on = not when < still_from_s < when + (reach + 3) * meat.step_s
        sure_move = confidence(moves_on, step.ratio / numbers["step_sigmas"])
        why = say(
            f"The reading stepped {{0}} between neighbours, {step.ratio:.0f} times its usual "
            "spread, and went on from there.",
            Difference(float(step.jump_k), 1, signed=True),
        )
        events.append(Event("probe_moved", when, when, step.jump_k, "K", sure_move, name, why))
    on, seen = _meat_on(meat, air, lids, put_in, name)
    events.insert(0, on)
    return ProbeStory(tuple(events), first, last, tuple(moves), seen)


def unseen_opening(on: Event, air: Track, lids: list[Lid], name: str) -> Event | None:
    """An opening when the meat went on, if the air shows none: it cannot pass a closed lid.

    A pit that was cold, and stays so for a while, may have stood open: then there is none.
    """
    numbers = tables.load("events")
    if on.time_s <= 0.0:
        return None
    apart = numbers["lid_unseen_apart"]
    # One before the first sample is that of a pit just lit: the meat was not on it.
    seen = (float(air.time_s[lid.first]) for lid in lids if lid.first > 0)
    if any(abs(when - on.time_s) <= apart for when in seen):
        return None
    soon = np.abs(air.time_s - on.time_s) <= numbers["on_base_time"]
    if not np.any(air.value_c[soon] > numbers["warm_up_air"]):
        return None
    # An opening is known once the air has come back from it.
    known = on.time_s + apart + numbers["lid_longest"] < float(air.time_s[-1])
    sure = confidence(known and not on.provisional, 1.0)
    why = "The meat went on, and so the lid was open, though the air shows no fall of its own."
    return Event("lid_opened", on.time_s, on.time_s, float("nan"), "", sure, name, why)


def _levels(meat: Track, at: int) -> tuple[float, float]:
    """Readings a few minutes before and after a jump."""
    width = step_width(meat.step_s)
    before = meat.value_c[max(at - width, 0) : at + 1]
    after = meat.value_c[at + 2 : at + 3 + width]
    if not after.size:
        after = meat.value_c[-1:]
    return float(np.median(before)), float(np.median(after))


def _meat_on(
    meat: Track, air: Track | None, lids: list[Lid], put_in: Step | None, name: str
) -> tuple[Event, bool]:
    """When the meat went on: a jump of the probe, a lid, a fire that starts, or at once.

    And whether the probe itself shows it.
    """
    numbers = tables.load("events")
    value, time = meat.value_c, meat.time_s
    if put_in is not None:
        before, after = _levels(meat, put_in.at)
        when = float(time[min(put_in.at + 1, time.size - 1)])
        went = say(
            "The probe went from {0} to {1} within minutes, into the meat.",
            Reading(before),
            Reading(after),
        )
        ratio = put_in.ratio / numbers["step_sigmas"]
        on = Event(
            "meat_on", when, when, after - before, "K", confidence(True, ratio), name, went
        )
        return on, True
    early = value[: max(int(numbers["on_base_time"] / meat.step_s), 4)]
    base = float(np.min(early)) + 3.0 * float(meat.noise_k[min(early.size, value.size - 1)])
    # From its coldest on: a probe taken from a warm kitchen into cold meat has not heated.
    coldest = int(np.argmin(early))
    rise = value[coldest:] - base
    warm = np.flatnonzero(rise > numbers["on_rise"]) + coldest
    warmer = np.flatnonzero(rise > 2.0 * numbers["on_rise"]) + coldest
    heated = float(time[warm[0]]) if warm.size else float(time[-1])
    again = float(time[warmer[0]]) - heated if warmer.size else 0.0
    why = "The log begins with the probe in the meat and the pit at work."
    # A jump into the meat may still be unseen: wait until the core has warmed for a while.
    waited = heated + max(numbers["on_base_time"], again) < float(time[-1])
    when, sure = 0.0, confidence(waited and warmer.size > 0, 1.0)
    above = np.flatnonzero(early[: coldest + 1] > base + numbers["not_heated"])
    fell = bool(above.size and float(time[above[-1]]) > numbers["step_skip"])
    if fell:
        when = float(time[above[-1] + 1])
        why = "The reading fell to that of cold meat, and the core began to warm after it."
    elif air is not None:
        before_heat = [lid for lid in lids if time[lid.first] < heated]
        cold = np.flatnonzero(air.value_c > air.value_c[0] + numbers["on_fire_rise"])
        lit = float(air.time_s[cold[0]]) if cold.size else 0.0
        if before_heat:
            # In the meat from the start, or when one of these was open: as the core says.
            began = heated - numbers["on_lag_share"] * again
            opened = [0.0, *(float(time[lid.lowest]) for lid in before_heat if lid.first > 0)]
            when = min(opened, key=lambda moment: abs(moment - began))
            if when > 0.0:
                why = "The lid was open, and the core began to warm after it."
        elif air.value_c[0] < numbers["warm_up_air"] and lit > numbers["on_cold_time"]:
            when = float(lit)
            why = "The fire began to warm the air, and the core followed."
    return Event("meat_on", when, when, float("nan"), "", sure, name, why), fell

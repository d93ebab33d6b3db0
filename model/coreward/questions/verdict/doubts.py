"""What only a person can say: probes that may not have been in the meat, and new pieces.

Nothing here decides that a probe was bad. Each finding is a question, and until it is
answered no verdict is "met".
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.physics.lethality import CREDIT_FROM_C, SUSPECT_COUNT
from coreward.questions.verdict.answer import Doubt
from coreward.questions.verdict.history import ChannelLike, LogLike
from coreward.words import At, Lasting, Reading, Text, say

Floats = NDArray[np.float64]

IN_MEAT, IN_AIR, NOT_USED = "in the meat", "in the air", "not used"
ANSWERS = (IN_MEAT, IN_AIR, NOT_USED)
_WINDOW_S = 600.0
_HALF_HOUR_S = 1800.0
_PLAUSIBLE_K_PER_S = 1.0 / 60.0  # a thin piece in a bath warms as fast
_FAST_AIR_K = 20.0
_SETTLES_S = 300.0
_COARSE_K = 0.3  # between tenths and whole degrees of either unit


def about_probe(channel: ChannelLike, kind: str, text: Text) -> Doubt:
    """Return the question about one probe, with what to give as the answer."""
    return Doubt(
        kind=kind,
        channel=channel.name,
        text=text,
        code=f"probes={{{channel.name!r}: {IN_AIR!r}}} (or {NOT_USED!r}, or {IN_MEAT!r})",
        command=f"--probe '{channel.name}={IN_AIR}' (or {NOT_USED}, or {IN_MEAT})",
        answers=ANSWERS,
    )


def probe_doubt(
    log: LogLike,
    channel: ChannelLike,
    others: Sequence[ChannelLike],
    rules: tables.ParameterSet,
    longest_gap_s: float,
) -> Doubt | None:
    """Return the question that a meat probe of a log raises, or None.

    Parameters
    ----------
    log, channel : log, channel
        The probe in its log.
    others : sequence of channel
        The other probes that are in meat.
    rules : ParameterSet
        Table ``verdict``.
    longest_gap_s : float
        Longest step that is no gap. [s]
    """
    all_time = np.asarray(log.time_s, dtype=float)
    good = np.isfinite(channel.temperature_c)
    time, values = all_time[good], np.asarray(channel.temperature_c, dtype=float)[good]
    name = channel.name
    if values.size == 0:
        text = say("{0}: no reading at all (unplugged?): was it in the meat?", name)
        return about_probe(channel, "never plugged in", text)
    for air in log.channels:
        if air.role == "air" and _follows(
            all_time, channel.temperature_c, np.asarray(air.temperature_c, dtype=float), rules
        ):
            text = say(
                "{0} goes with {1}, as if it lay in the air: was it in the meat?",
                name,
                air.name,
            )
            return about_probe(channel, "in the air", text)
    if values.size > SUSPECT_COUNT and np.all(values == values[0]):
        text = say(
            "{0}: every reading is {1}: the probe may be stuck. Was it in the meat?",
            name,
            Reading(float(values[0])),
        )
        return about_probe(channel, "frozen", text)
    near_air = np.zeros(time.size, dtype=bool)
    for air in log.channels:
        if air.role == "air":
            beside = np.asarray(air.temperature_c, dtype=float)[good]
            near_air |= np.abs(beside - values) <= rules["air_near"]
    stopped = _frozen(time, values, near_air, rules)
    if stopped is not None:
        start, end = stopped
        text = say(
            "{0} reads the same number from {1} to {2}, longer than meat stands so still, and "
            "the probe may have stopped: is its record that of the meat?",
            name,
            At(start),
            At(end),
        )
        return about_probe(channel, "frozen", text)
    leapt = _leap(time, values, rules, getattr(log, "unknown_spans", ()))
    if leapt is not None:
        before, after = leapt
        text = say(
            "{0} leaps from {1} to {2} at {3}, and no core that stood calm warms so: was it "
            "in the meat before and after, and in one place? If not, its record is not that "
            "of the meat.",
            name,
            Reading(float(values[before])),
            Reading(float(values[after])),
            At(float(time[after])),
        )
        return about_probe(channel, "leap", text)
    first = float(time[0])
    settled = values[time <= first + _SETTLES_S]
    if first > all_time[0] + longest_gap_s and np.min(settled) > rules["cold_start"]:
        text = say(
            "{0} begins at {1}, with {2}, later than the log: was it in the meat, and is what "
            "came before not missing?",
            name,
            At(first),
            Reading(float(values[0])),
        )
        return about_probe(channel, "late", text)
    last = float(time[-1])
    silent_s = max(rules["dead_time"], longest_gap_s)
    ends = [_last_s(all_time, other) for other in others if other.name != name]
    if ends and last < max(ends) - silent_s:
        text = say(
            "{0} falls silent at {1} with {2}, {3} before another probe: was its piece done "
            "and taken off then?",
            name,
            At(last),
            Reading(float(values[-1])),
            Lasting(max(ends) - last),
        )
        return about_probe(channel, "silent early", text)
    return None


def _leap(
    time: Floats,
    values: Floats,
    rules: tables.ParameterSet,
    spans: Sequence[tuple[float, float]],
) -> tuple[int, int] | None:
    """Return the rows between which a calm reading leaps up, to go on slowly, or None.

    Conduction does not let a core do so: a thin piece in a bath warms as fast, but comes to
    rest as slowly as it warmed. From a hot core on, a leap decides nothing.
    """
    within = rules["leap_within"]

    row = np.arange(time.size)
    until = np.searchsorted(time, time + within, side="right") - 1
    until = np.minimum(np.maximum(until, row + 1), row[-1])  # rows may lie far apart
    rise = values[until] - values
    more = np.maximum(time[until] - time - within, 0.0) * _PLAUSIBLE_K_PER_S
    leaps = (rise >= rules["leap"] + more) & (values < rules["leap_from"])
    for at in sorted(np.flatnonzero(leaps).tolist(), key=lambda k: -rise[k]):
        end = int(until[at])
        last = int(until[end])
        first = min(int(np.searchsorted(time, time[at] - within)), max(at - 1, 0))
        # In an unknown time it may have warmed for hours.
        unknown = any(start < time[end] and stop > time[at] for start, stop in spans)
        if unknown or first == at or time[last] - time[end] < 0.5 * within:
            continue
        calm = float(np.ptp(values[first : at + 1])) <= rules["leap_calm"]
        later = float(np.max(values[end : last + 1]) - values[end])
        if calm and later <= rules["leap_share"] * float(rise[at]):
            return at, end
    return None


def _last_s(time: Floats, channel: ChannelLike) -> float:
    read = time[np.isfinite(channel.temperature_c)]
    return float(read[-1]) if read.size else -math.inf


def _follows(time: Floats, meat: Floats, air: Floats, rules: tables.ParameterSet) -> bool:
    """Whether a probe is equal to the air, or changes with it as meat cannot."""
    both = np.isfinite(meat) & np.isfinite(air)
    if np.count_nonzero(both) <= SUSPECT_COUNT:
        return False
    time, meat, air = time[both], np.asarray(meat, dtype=float)[both], air[both]
    near = np.abs(meat - air) <= rules["air_near"]
    begins = near[time <= time[0] + 2.0 * _WINDOW_S]
    if np.mean(near) >= 0.8 and np.all(begins) and np.ptp(air) > rules["air_step"]:
        return True
    later = np.searchsorted(time, time + _WINDOW_S)
    some = later < time.size
    start, end = np.flatnonzero(some), later[some]
    # Neighbouring windows overlap; a step of the air must be there, not a gap in the log.
    short = time[end] - time[start] <= 1.5 * _WINDOW_S
    start, end = start[short], end[short]
    of_air, of_meat = air[end] - air[start], meat[end] - meat[start]
    steps = np.abs(of_air) >= rules["air_step"]
    if np.count_nonzero(steps) < 3:
        return False
    with_it = of_meat[steps] / of_air[steps] >= 0.5
    close = float(np.median(np.abs(meat - air)[end[steps]])) <= 2.5 * rules["air_near"]
    falls = of_air[steps] < 0.0
    both_ways = 0.1 < float(np.mean(falls)) < 0.9
    fast = np.abs(of_air[steps]) >= _FAST_AIR_K
    share = float(np.mean(with_it))
    leaps = np.count_nonzero(fast) >= 3 and float(np.mean(with_it[fast])) >= 0.7
    return bool((share >= 0.7 and close) or (share >= 0.9 and both_ways) or leaps)


def _frozen(
    time: Floats, values: Floats, near_air: NDArray[np.bool_], rules: tables.ParameterSet
) -> tuple[float, float] | None:
    """Return the first stretch in which a probe seems to have stopped, or None.

    One that has taken the temperature of the air or the bath around it may well stand still.
    """
    moved = np.flatnonzero(values[1:] != values[:-1])
    if moved.size == 0:
        return None
    steps = np.abs(np.diff(values)[moved])
    resolution = float(np.min(steps))
    begins = np.concatenate(([0], moved + 1))
    ends = np.concatenate((moved, [values.size - 1]))
    for k in np.flatnonzero(time[ends] - time[begins] >= rules["frozen_time"]):
        start, end = int(begins[k]), int(ends[k])
        coarse = 1.5 if resolution > _COARSE_K else 1.0
        long = time[end] - time[start] >= coarse * rules["frozen_long"]
        rested = float(np.mean(near_air[start : end + 1])) >= 0.5
        if long and values[start] > rules["piece_cold"] and not rested:
            return float(time[start]), float(time[end])
        if end + 1 < values.size:
            leap = abs(float(values[end + 1] - values[end]))
            step_s = float(time[end + 1] - time[end])
            most = max(rules["frozen_leap"], 2.2 * resolution) + _PLAUSIBLE_K_PER_S * step_s
            soon = values[(time > time[end]) & (time <= time[end] + _HALF_HOUR_S)]
            cold = bool(np.min(soon, initial=math.inf) <= rules["piece_cold"])
            moved_on = cold and values[start] >= rules["piece_hot"]
            if leap > most and not moved_on:  # into another piece: asked elsewhere
                return float(time[start]), float(time[end])
        elif (
            time[end] - time[start] >= 1.5 * rules["frozen_time"]
            and CREDIT_FROM_C <= values[start] < rules["frozen_below"]
        ):
            before = float(np.interp(time[start] - _HALF_HOUR_S, time, values))
            lately = float(np.interp(time[start] - _WINDOW_S, time, values))
            change, last = abs(values[start] - before), abs(values[start] - lately)
            steep = change >= max(0.5 * rules["frozen_slope"], 4.0 * resolution)
            share = 0.5 * _WINDOW_S / _HALF_HOUR_S
            if steep and last >= max(share * change, 1.5 * resolution):
                return float(time[start]), float(time[end])
    return None


def falls(
    time: Floats,
    values: Floats,
    rules: tables.ParameterSet,
    longest_gap_s: float,
    spans: Sequence[tuple[float, float]] = (),
) -> tuple[tuple[float, bool, bool], ...]:
    """Return where a reading falls from hot to cold faster than meat can cool.

    Also where it does so behind a gap or an unknown time: nobody saw it. With each time
    stands whether it rises again afterwards, and whether it gets as cold as raw meat.
    """
    good = np.isfinite(values)
    time, values = time[good], values[good]
    hot, cold = values >= rules["piece_hot"], values <= rules["piece_cold"]
    if not hot.any() or not cold.any():
        return ()
    found: list[tuple[float, bool, bool]] = []
    marks = np.flatnonzero(hot | cold)
    turns = np.flatnonzero(hot[marks][:-1] & cold[marks][1:])
    for turn in turns:
        i, j = int(marks[turn]), int(marks[turn + 1])
        needed = rules["cooling_time"] * math.log(values[i] / max(float(values[j]), 1.0))
        sudden = float(time[j] - time[i]) < needed
        steps = np.diff(time[i : j + 1])
        unseen = steps > longest_gap_s
        for start, end in spans:
            unseen |= (time[i:j] < end) & (time[i + 1 : j + 1] > start)
        drops = -np.diff(values[i : j + 1])
        hidden = bool(
            np.any(unseen & (drops >= 0.5 * (rules["piece_hot"] - rules["piece_cold"])))
        )
        if sudden or hidden:
            rest = values[j:]
            rises = float(np.max(rest - np.minimum.accumulate(rest)))
            raw = bool(rest.min() <= rules["piece_raw"])
            found.append((float(time[j]), rises >= rules["piece_rise"], raw))
    return tuple(found)


def about_pieces(names: Sequence[str]) -> Doubt:
    """Return the question which probes are in one piece."""
    each = "; ".join(f"piece {number}={name}" for number, name in enumerate(names, start=1))
    return Doubt(
        kind="pieces",
        channel=None,
        text=f"Are {', '.join(names[:-1])} and {names[-1]} in one piece, or each in its own?",
        code="pieces='one' (or 'each', or {'brisket': ('T1', 'T2'), 'pork': ('T3',)})",
        command=f"--pieces one (or each, or '{each}')",
        answers=("one", "each"),
        blocks=False,
    )


def about_new_piece(times_s: Sequence[float], *, rises: bool) -> Doubt:
    """Return the question whether a new piece was put on."""
    clock = " ".join(f"--new-piece {At(t).shown('C')}" for t in times_s)
    given = ", ".join(f"{t:g}" for t in times_s)
    what = (
        "it falls from hot to cold faster than meat can cool, or where nobody saw it, and "
        "rises again: was a new piece put on?"
        if rises
        else "it falls faster than meat can cool: did the probe leave the meat there?"
    )
    at: Text = say("{0}", At(times_s[0]))
    for time in times_s[1:]:
        at = say("{0} and {1}", at, At(time))
    return Doubt(
        kind="new piece" if rises else "left the meat",
        channel=None,
        text=say("At {0} " + what, at),
        code=f"new_piece_s=({given},) (or new_piece_s=() for the same piece)",
        command=f"{clock} (or --new-piece none)",
        answers=("new piece", "same piece"),
        at_s=tuple(times_s),
    )


def spoken(answer: str) -> str:
    """Return the answer about a probe in our own words, or the word itself."""
    return _SPOKEN.get(answer.strip().lower(), answer)


_SPOKEN = {
    "meat": IN_MEAT,
    IN_MEAT: IN_MEAT,
    "air": IN_AIR,
    IN_AIR: IN_AIR,
    "spare": NOT_USED,
    "unused": NOT_USED,
    NOT_USED: NOT_USED,
}

"""What is judged only when it is asked for: a reheating, and a hot hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from coreward.physics.growth import growth_curves, organisms
from coreward.questions.verdict.answer import (
    CANNOT_TELL,
    MET,
    NOT_MET,
    NOTHING_MORE,
    LimitVerdict,
    State,
)
from coreward.questions.verdict.case import ROUNDING_C, Case
from coreward.questions.verdict.holds import Holds
from coreward.questions.verdict.stays import limit_verdict, rules_of
from coreward.tables.standards import BandLimit, band_limits
from coreward.words import At, Held, Needed, Published, Reading, Text, say, together

Floats = NDArray[np.float64]


def judge_reheating(
    case: Case, holds: Holds, reheating: str | bool
) -> tuple[LimitVerdict, ...]:
    """Judge the last rise from the cold as a reheating, where that is asked for."""
    if reheating is False:
        return ()
    return tuple(_judge_reheat(case, holds, item) for item in rules_of("reheating", reheating))


def _judge_reheat(case: Case, holds: Holds, limit: BandLimit) -> LimitVerdict:
    """Judge the last rise from the cold: every part hot enough, for long enough, in time.

    The clock starts with the last reading at which all of it was surely cold and stops
    where the coldest point begins the first dwell that is long enough.
    """
    record = case.record
    target = limit.to_c + case.error_c
    good = np.isfinite(record.coldest_c) & np.isfinite(record.hottest_c)
    time, coldest, hottest = (
        part[good] for part in (record.time_s, record.coldest_c, record.hottest_c)
    )

    def answer(
        state: State,
        text: Text,
        enough: Text,
        start: float | None = None,
        end: float | None = None,
        held: float | None = None,
    ) -> LimitVerdict:
        elapsed = None if start is None or end is None else end - start
        return limit_verdict(
            limit,
            state,
            True,
            (start, end),
            text,
            enough,
            elapsed=elapsed,
            reading_c=target,
            held_s=held,
        )

    cold = Published(limit.from_c, at_most=True)
    if record.refused or time.size < 2:
        return answer(CANNOT_TELL, "There is no usable record.", "repair the record")
    if float(np.min(coldest)) > limit.from_c + ROUNDING_C:
        text = say(
            "The record does not come from the cold: no reading at or below {0}, lowest {1}; "
            "when the meat left the cold is not known.",
            cold,
            Reading(float(np.min(coldest))),
        )
        return answer(CANNOT_TELL, text, "log from the cold store on")
    leaving = _leaves_the_cold(coldest, hottest, limit.from_c, case.error_c)
    if leaving is None:
        nothing = "The record does not rise from the cold."
        return answer(CANNOT_TELL, nothing, "log the reheating, from the cold store on")
    left, latest, surely = leaving
    start, latest_start = float(time[surely]), float(time[latest])
    rise, readings = float(time[left]), coldest[left:]
    starts, ends = holds.stretches(target)
    starts, ends = np.maximum(starts[ends > rise], rise), ends[ends > rise]
    long_enough = np.flatnonzero(ends - starts >= limit.dwell_s)
    until = float(starts[long_enough[0]]) if long_enough.size else float(time[-1])
    gap = next((g for g in record.gaps() if g[1] > latest_start and g[0] < until), None)
    held = float(np.max(ends - starts)) if starts.size else 0.0
    if long_enough.size:
        held = float(ends[long_enough[0]] - starts[long_enough[0]])
    peak_c = None if long_enough.size else float(np.max(readings))
    said = [_reheated_words(case, limit, start, until - start, held, peak_c)]
    if start == time[0]:
        said.append(say("Time before the record is not counted."))
    if gap is not None:
        lost = "The record has no reading from {0} to {1}, longer than the {2} allowed."
        said.append(say(lost, At(gap[0]), At(gap[1]), Needed(record.longest_gap_s)))
        again = "log the next reheating without a break; this one stays unknown"
        return answer(CANNOT_TELL, together(said), again, start, until, held)
    text = together(said)
    faster = "smaller or thinner portions, a hotter or damper oven or a pan with liquid"
    if not long_enough.size:
        spare = limit.limit_s - (until - start)
        enough: Text = say(
            f"be there within {{0}}: {faster}; the time in the growth range is not undone by "
            "going on",
            Needed(limit.limit_s),
        )
        if spare > 0.0:
            enough = say(
                "bring every part to a reading of {0} or more within the {1} that are left "
                "after the record and hold it there for {2}, with a reading at both ends",
                Published(target),
                Held(spare),
                Needed(limit.dwell_s),
            )
        return answer(NOT_MET, text, enough, start, until, held)
    if until - latest_start > limit.limit_s:
        late = f"{faster}; the time in the growth range is not undone by more heat"
        return answer(NOT_MET, text, late, start, until, held)
    if until - start > limit.limit_s:
        colder = Published(limit.from_c - case.error_c, at_most=True)
        enough = say(
            "start from a reading of {0} or less at every probe just before it is warmed: "
            "beyond the error of the probe this record does not show when the meat left the "
            "cold",
            colder,
        )
        return answer(CANNOT_TELL, text, enough, start, until, held)
    return answer(MET, text, NOTHING_MORE, start, until, held)


def _reheated_words(
    case: Case,
    limit: BandLimit,
    start_s: float,
    took_s: float,
    held_s: float,
    peak_c: float | None,
) -> Text:
    """Say how far a reheating came, and what is asked of one; `peak_c` where it is short."""
    asked = say(
        "{0} or more in all parts for {1}, within {2} of leaving {3}, are asked for",
        case.with_error(limit.to_c),
        Needed(limit.dwell_s),
        Needed(limit.limit_s),
        Published(limit.from_c, at_most=True),
    )
    begun = say("{0} on the record's clock", At(start_s))
    if peak_c is None:
        reached = "Reached {0} after leaving the cold ({1}), held {2}; {3}."
        return say(reached, Needed(took_s), begun, Held(held_s), asked)
    return say(
        "Highest reading {0}, held {1} at {2} or above, {3} after leaving the cold ({4}) at "
        "the record's end; {5}.",
        Reading(peak_c),
        Held(held_s),
        Published(limit.to_c + case.error_c),
        Needed(took_s),
        begun,
        asked,
    )


def _leaves_the_cold(
    coldest: Floats, hottest: Floats, cold_c: float, error_c: float
) -> tuple[int, int, int] | None:
    """Where the last rise from the cold begins, or None where there is none.

    Index of the last cold reading of the coldest point, and the latest and the earliest
    index at which the meat may have begun to leave the cold: the first of the parts to
    leave counts, and a reading is surely cold only below the limit by the probe's error.
    Where the stay in the cold has no such reading, its first one stands for it.
    """
    cold = np.flatnonzero(coldest <= cold_c + ROUNDING_C)
    warm = np.flatnonzero(coldest > cold_c + error_c + ROUNDING_C)
    if warm.size and warm[-1] < coldest.size - 1:  # it ends in the cold again
        cold = cold[cold < warm[-1]]
    if cold.size == 0 or warm.size == 0:
        return None
    left = int(cold[-1])
    before = warm[warm < left]
    first = int(before[-1]) + 1 if before.size else 0
    stay = hottest[first : left + 1]
    nominally = np.flatnonzero(stay <= cold_c + ROUNDING_C)
    surely = np.flatnonzero(stay <= cold_c - error_c + ROUNDING_C)
    return (
        left,
        first + int(nominally[-1]) if nominally.size else left,
        first + (int(surely[-1]) if surely.size else 0),
    )


def _parts(case: Case, reheated: Sequence[LimitVerdict]) -> tuple[Case, ...]:
    """Cut the record where a reheating leaves the cold: each part is held hot alone."""
    start = reheated[0].start_s if reheated else None
    if start is None:
        return (case,)
    time = case.record.time_s
    return tuple(
        replace(
            case,
            record=replace(
                case.record,
                time_s=time[kept],
                coldest_c=case.record.coldest_c[kept],
                hottest_c=case.record.hottest_c[kept],
                probes=(),
            ),
        )
        for kept in (time <= start, time >= start)
    )


def judge_hot_holds(
    case: Case, reheated: Sequence[LimitVerdict], *, counts: bool
) -> tuple[LimitVerdict, ...]:
    """Judge the hot hold of every part that was held; the last one where it was none."""
    judged = [_judge_hot_hold(part, counts=counts) for part in _parts(case, reheated)]
    return tuple(item for item in judged if item.start_s is not None) or (judged[-1],)


def _judge_hot_hold(case: Case, *, counts: bool) -> LimitVerdict:
    limit = next(item for item in band_limits() if item.kind == "hot holding" and item.default)
    roast = next(
        item for item in band_limits() if item.kind == "hot holding" and not item.default
    )
    floor = limit.from_c + case.error_c
    time, temperature = case.record.known()
    hot = np.flatnonzero(temperature >= floor - ROUNDING_C)
    if case.record.refused or hot.size == 0:
        text = say("The coldest point never read {0}.", case.with_error(limit.from_c))
        return limit_verdict(
            limit, CANNOT_TELL, counts, (None, None), text, "heat it", reading_c=floor
        )
    first, last = int(hot[0]), int(hot[-1])
    begin, end = float(time[first]), float(time[last])
    lowest = float(np.min(temperature[first : last + 1]))
    # The level is rounded up and readings are rounded down: one on the level would seem below.
    close = abs(lowest - floor) < 0.1
    level: Text = say(" ({0} to two places)", Reading(floor, 2)) if close else ""
    said = [
        say(
            "Judged at a reading of {0} or above{1}: from first to last such reading {2}, "
            "lowest reading in between {3}. {4} is the least at which {5} does not grow; {6} "
            "is the Food Code's floor.",
            case.with_error(limit.from_c),
            level,
            Held(end - begin),
            Reading(lowest, 2 if close else 1),
            Published(roast.from_c),
            organisms(growth_curves("cooling", case.meats)[0]),
            Published(limit.from_c),
        )
    ]
    gap = next((g for g in case.record.gaps() if g[0] >= begin and g[1] <= end), None)
    state: State = MET
    enough: Text = NOTHING_MORE
    if lowest < floor - ROUNDING_C:
        state = NOT_MET
        enough = "keep the holder hotter; reheat once it has fallen below, or chill it at once"
    elif gap is not None:
        state, enough = CANNOT_TELL, "log the hold without a break"
        said.append(say("There is no reading from {0} to {1}.", At(gap[0]), At(gap[1])))
    if state != NOT_MET and last < time.size - 1:
        said.append(
            say(
                "It left the hot hold at the end of that time; cooling limits count from there."
            )
        )
    return limit_verdict(
        limit, state, counts, (begin, end), together(said), enough, reading_c=floor
    )

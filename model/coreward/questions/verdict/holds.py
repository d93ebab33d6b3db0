"""Hold standards: every part at a minimum temperature, unbroken, for a time."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from coreward.questions.verdict.answer import (
    CANNOT_TELL,
    MET,
    NOT_MET,
    NOTHING_MORE,
    StandardVerdict,
    State,
)
from coreward.questions.verdict.case import ROUNDING_C, ROUNDING_S, Case
from coreward.questions.verdict.conditions import application
from coreward.questions.verdict.history import CookRecord
from coreward.tables.standards import Standard
from coreward.words import At, Difference, Held, Needed, Published, Text, say, together

Floats = NDArray[np.float64]
Row = tuple[float, float, float]
"""Level of the table [°C], time asked for, longest time held. [s]"""
_OWN_ROWS_SHARE = 0.4


def longest_hold(
    time_s: Floats, temperature_c: Floats, limit_c: float, longest_gap_s: float
) -> tuple[float, float, float]:
    """Longest unbroken time at or above a limit: seconds, start and end.

    A stretch begins and ends with a reading at or above the limit; the crossing
    between two readings is given to neither.
    """
    width = np.diff(time_s)
    lower = np.minimum(temperature_c[:-1], temperature_c[1:])
    starts, ends = _stretches(time_s, np.where(width <= longest_gap_s, lower, -np.inf), limit_c)
    if starts.size == 0:
        return 0.0, math.nan, math.nan
    longest = int(np.argmax(ends - starts))
    return float(ends[longest] - starts[longest]), float(starts[longest]), float(ends[longest])


def _stretches(time_s: Floats, lower_c: Floats, limit_c: float) -> tuple[Floats, Floats]:
    """Start and end of every unbroken stretch of steps at or above a limit. [s]."""
    joined = lower_c >= limit_c - ROUNDING_C
    edges = np.flatnonzero(joined[1:] != joined[:-1]) + 1
    if joined.size and joined[0]:
        edges = np.concatenate(([0], edges))
    if joined.size and joined[-1]:
        edges = np.concatenate((edges, [joined.size]))
    return time_s[edges[::2]], time_s[edges[1::2]]


class Holds:
    """All holds of one history: unbroken stretches at or above any level.

    A gap, a missing reading and a span of unknown time each break a hold. Where a probe
    reads in its own rows only (many rows, most of them empty), the rows of the others are
    no missing readings.
    """

    def __init__(self, record: CookRecord) -> None:
        time, temperature = record.time_s, record.coldest_c
        good = np.isfinite(temperature)
        if good.size and np.count_nonzero(~good) > _OWN_ROWS_SHARE * good.size:
            time, temperature = time[good], temperature[good]
        self.time_s = time
        whole = (np.diff(time) <= record.longest_gap_s) & ~record.spanned(time)
        lower = np.minimum(temperature[:-1], temperature[1:])
        self._lower_c = np.where(whole & np.isfinite(lower), lower, -np.inf)
        self._known: dict[float, tuple[Floats, Floats]] = {}

    def stretches(self, limit_c: float) -> tuple[Floats, Floats]:
        """Start and end of every unbroken stretch at or above a limit. [s]."""
        if limit_c not in self._known:
            self._known[limit_c] = _stretches(self.time_s, self._lower_c, limit_c)
        return self._known[limit_c]

    def longest_s(self, limit_c: float) -> float:
        """Longest unbroken time at or above a limit. [s]."""
        starts, ends = self.stretches(limit_c)
        return float(np.max(ends - starts)) if starts.size else 0.0

    def through_s(self, limit_c: float, required_s: float, after_s: float) -> float:
        """When a hold that begins at `after_s` or later has lasted; infinite if never."""
        starts, ends = self.stretches(limit_c)
        begin = np.maximum(starts, after_s)
        through = begin + required_s
        lasted = through <= ends + ROUNDING_S
        return float(np.min(through[lasted])) if lasted.any() else math.inf

    def sample_from(self, time_s: float) -> float:
        """Return the first sample at or after a time; infinite behind the last. [s]."""
        found = int(np.searchsorted(self.time_s, time_s - ROUNDING_S))
        return float(self.time_s[found]) if found < self.time_s.size else math.inf


def growth_factor(case: Case, standard: Standard) -> float | None:
    """How much longer growth in the come-up makes every row; None if that is not known."""
    if case.growth_log <= 0.0:
        return 1.0
    target = standard.target_log
    return None if target is None else (target + case.growth_log) / target


def lethal_s(case: Case, holds: Holds, after_s: float = -math.inf) -> float:
    """Return when every deciding standard had a hold since `after_s`; infinite if never.

    At the least one row of each, unbroken, at the coldest probe, errors added.
    """
    latest = -math.inf
    for standard, decides in case.standards:
        if not decides:
            continue
        factor = growth_factor(case, standard) or 1.0
        earliest = min(
            holds.through_s(level + case.error_c, standard.required_s(level) * factor, after_s)
            for level in standard.temperatures_c
        )
        latest = max(latest, earliest)
        if not math.isfinite(latest):
            return math.inf
    return holds.sample_from(latest) if math.isfinite(latest) else math.inf


def gap_text(record: CookRecord, lowest_c: float) -> Text | None:
    """Words about the first gap that could hide a cold stretch of a hold, or nothing."""
    for start, end, before, after in record.gaps():
        if before >= lowest_c - ROUNDING_C and after >= lowest_c - ROUNDING_C:
            if any(start < last and end > first for first, last in record.unknown_spans):
                return say(
                    "between {0} and {1} an unknown time passed while the meat was being held",
                    At(start),
                    At(end),
                )
            return say(
                "the record has no reading from {0} to {1}, longer than the {2} allowed, while "
                "the meat was being held",
                At(start),
                At(end),
                f"{record.longest_gap_s:.0f} s",
            )
    return None


def judge_standard(
    case: Case, holds: Holds, standard: Standard, *, counts: bool, lethal: float
) -> StandardVerdict:
    """Judge one hold standard on one history."""
    record = case.record
    sources = tuple(dict.fromkeys([standard.source, *(r.source for r in standard.usable_rows)]))

    def answer(
        state: State, governing: Text, enough: Text, row: Row | None = None
    ) -> StandardVerdict:
        return StandardVerdict(
            name=standard.name,
            title=standard.said("title"),
            revision=standard.said("revision"),
            state=state,
            counts=counts,
            row_c=row[0] if row else None,
            limit_c=row[0] + case.error_c if row else None,
            required_s=row[1] if row else None,
            held_s=row[2] if row else None,
            margin_s=row[2] - row[1] if row else None,
            governing=governing,
            enough=enough,
            caution=standard.said("caution"),
            sources=sources,
        )

    if not case.covers(standard):
        return answer(
            CANNOT_TELL,
            f"it is made for {', '.join(standard.meats)} ({', '.join(standard.conditions)}), "
            f"not for {' and '.join(case.meats)}, {case.condition}",
            "choose a standard made for this meat",
        )
    if record.refused:
        return answer(
            CANNOT_TELL,
            say("nothing in the record may be believed: {0}", together(record.faults)),
            "repair the record as said, or measure again",
        )
    factor = growth_factor(case, standard)
    if factor is None:
        return answer(
            CANNOT_TELL,
            f"growth of {case.growth_log:g} log in the come-up must be added to the lethality "
            "required, and this standard names no log reduction",
            "shorten the come-up, or use a standard with a stated log reduction",
        )
    rows: list[Row] = [
        (level, standard.required_s(level) * factor, holds.longest_s(level + case.error_c))
        for level in standard.temperatures_c
    ]
    met = [row for row in rows if row[2] >= row[1] - ROUNDING_S]
    best = max(met or rows, key=lambda row: (row[2] / row[1], -row[0]))
    gap = gap_text(record, standard.lowest_c)
    if gap is not None:
        tail = ". What was read would meet it." if met else "."
        again = "hold again and log it without a break"
        return answer(CANNOT_TELL, say("{0}" + tail, gap), again, best)
    if not met:
        return answer(
            NOT_MET, _held_text(best, case), _more(case, holds, standard, factor), best
        )
    applies = [
        (
            row,
            application(
                case, standard, row[0], _cooked_s(case, holds, standard, factor, lethal)
            ),
        )
        for row in met
    ]
    good = [(row, reason) for row, (ok, reason, _) in applies if ok]
    if good:
        row, reason = max(good, key=lambda item: item[0][2] / item[0][1])
        return answer(MET, say("{0}; {1}", _held_text(row, case), reason), NOTHING_MORE, row)
    _, (_, reason, remedy) = applies[-1]
    return answer(CANNOT_TELL, reason, remedy, best)


def _cooked_s(
    case: Case, holds: Holds, standard: Standard, factor: float, lethal: float
) -> float:
    """When the cooking was over, as conditions count: lethality, or this standard's hold."""
    if math.isfinite(lethal):
        return lethal
    return min(
        holds.through_s(level + case.error_c, standard.required_s(level) * factor, -math.inf)
        for level in standard.temperatures_c
    )


def _held_text(row: Row, case: Case) -> Text:
    level, required, held = row
    error = " plus {4} of error" if case.error_c else ""
    return say(
        "held {0} at {1} or above; {2} are asked for at {3}" + error,
        Held(held),
        Published(level + case.error_c),
        Needed(required),
        Published(level),
        Difference(case.error_c),
    )


def _more(case: Case, holds: Holds, standard: Standard, factor: float) -> Text:
    """Say what would make it enough, from where the record ends."""
    time, temperature = case.record.known()
    last = float(temperature[-1]) - case.error_c
    peak = float(np.max(temperature)) - case.error_c
    base = last if last >= standard.lowest_c - ROUNDING_C else peak
    reached = [level for level in standard.temperatures_c if level <= base + ROUNDING_C]
    if not reached:
        level = standard.lowest_c
        return say(
            "bring every part to a reading of {0} or more and hold it there for {1}",
            Published(level + case.error_c),
            Needed(standard.required_s(level) * factor),
        )
    options = []
    for level in reached:
        required = standard.required_s(level) * factor
        held = 0.0
        if base is last:
            starts, ends = holds.stretches(level + case.error_c)
            if ends.size and ends[-1] == time[-1]:
                held = float(ends[-1] - starts[-1])
        options.append((required - held, level, required))
    more, level, required = min(options)
    where = "at a reading of {0} or more"
    if base is not last:
        template = f"bring it back and hold every part {{2}} {where}, without a break"
    else:
        template = f"hold every part {{1}} longer {where} (in all {{2}}), without a break"
    return say(template, Published(level + case.error_c), Needed(more), Needed(required))

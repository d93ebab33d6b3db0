"""Limits on the whole history: come-up, and every stay after lethality.

The come-up clock starts with the piece's first reading and runs until lethality is reached
in it. From there on every stay between the growth limits counts, whether the meat cools,
dwells or warms again; a lethal heating resets the count but not a limit that was broken.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coreward.errors import InputError
from coreward.physics.growth import growth_bound, growth_curves, organisms
from coreward.questions.verdict.answer import (
    CANNOT_TELL,
    MET,
    NOT_MET,
    NOTHING_MORE,
    LimitVerdict,
    State,
)
from coreward.questions.verdict.case import (
    ROUNDING_C,
    ROUNDING_S,
    Case,
    Steps,
    steps_of,
    whole_steps_of,
)
from coreward.questions.verdict.history import CookRecord
from coreward.questions.verdict.holds import Holds, lethal_s
from coreward.tables.standards import BandLimit, band_limits
from coreward.words import Held, Needed, Published, Reading, Required, Text, say

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class TimeInBand:
    """How long a history was in a band of temperature."""

    longest_s: float
    surely_s: float
    """Every step of which any part could lie in the band; those that surely lie in it. [s]"""
    endless: bool = False
    """Whether a span of unknown length may have been in it."""


@dataclass(frozen=True, eq=False)
class _Band:
    """Which steps of a history may be, and surely are, in a band."""

    steps: Steps
    may: Flags
    surely: Flags

    def between(
        self, start_s: float, end_s: float, left_out: Flags | None = None
    ) -> TimeInBand:
        """Return the time in the band between two times."""
        steps = self.steps
        inside = (steps.time_s[1:] > start_s + ROUNDING_S) & (steps.time_s[:-1] < end_s)
        if left_out is not None:
            inside &= ~left_out
        may = inside & self.may
        return TimeInBand(
            float(np.sum(steps.width_s[may])),
            float(np.sum(steps.width_s[inside & self.surely])),
            bool(np.any(steps.endless & may)),
        )


def _band(steps: Steps, low_c: float, high_c: float, error_c: float) -> _Band:
    may = (steps.high_c > low_c - error_c + ROUNDING_C) & (
        steps.low_c < high_c + error_c - ROUNDING_C
    )
    surely = (steps.low_c >= low_c + error_c) & (steps.high_c <= high_c - error_c)
    return _Band(steps, may, surely)


def time_in_band(
    record: CookRecord, temperature_c: Floats, low_c: float, high_c: float, error_c: float = 0.0
) -> TimeInBand:
    """Return how long one point of a record was between two temperatures.

    The one judge of a time in a band. The longest time counts every step of which any
    part could lie in the band when readings are off by up to the error, gaps included;
    the sure one counts only steps that lie in it however the probe errs.

    Parameters
    ----------
    record : CookRecord
        Its times, gaps and spans of unknown length.
    temperature_c : ndarray, shape (samples,)
        The point. [°C]
    low_c, high_c, error_c : float
        The band [°C] and the error of a reading. [K]
    """
    steps = steps_of(record, temperature_c)
    return _band(steps, low_c, high_c, error_c).between(-math.inf, math.inf)


def in_band_state(time: TimeInBand, limit_s: float) -> State:
    """Return whether a time in a band keeps its limit, whatever the probe's error."""
    if time.surely_s > limit_s + ROUNDING_S:
        return NOT_MET
    kept = time.longest_s <= limit_s + ROUNDING_S and not time.endless
    return MET if kept else CANNOT_TELL


def limit_verdict(
    limit: BandLimit,
    state: State,
    counts: bool,
    span: tuple[float | None, float | None],
    text: Text,
    enough: Text,
    *,
    elapsed: float | None = None,
    surely: float | None = None,
    reading_c: float | None = None,
    held_s: float | None = None,
) -> LimitVerdict:
    """Return what a limit says, with the limit's own numbers."""
    return LimitVerdict(
        name=limit.standard,
        title=limit.title,
        kind=limit.kind,
        state=state,
        counts=counts,
        from_c=limit.from_c,
        to_c=limit.to_c,
        start_s=span[0],
        end_s=span[1],
        elapsed_s=elapsed,
        limit_s=limit.limit_s,
        margin_s=None if elapsed is None else limit.limit_s - elapsed,
        text=say("{0} Note: {1}.", text, limit.note) if limit.note else text,
        enough=enough,
        sources=(limit.source,),
        surely_s=surely,
        reading_c=reading_c,
        held_s=held_s,
        dwell_s=limit.dwell_s or None,
    )


# The come-up.

_SHORTEN = "a thinner piece, a hotter or damper start, or an earlier wrap shortens it"


def judge_come_up(case: Case, lethal: float, *, decides: bool) -> LimitVerdict:
    """Judge the time in the growth range before lethality, at the coldest probe."""
    limit = next(item for item in band_limits() if item.kind == "come-up")
    record = case.record
    low, high = Published(limit.from_c), Published(limit.to_c)
    if record.refused or np.count_nonzero(np.isfinite(record.coldest_c)) < 2:
        text = "There is no usable record."
        nothing = (None, None)
        return limit_verdict(limit, CANNOT_TELL, decides, nothing, text, "repair the record")
    steps = whole_steps_of(record)
    band = _band(steps, limit.from_c, limit.to_c, case.error_c)
    found = band.between(-math.inf, lethal)
    upto = min(lethal, float(steps.time_s[-1]))
    inside = np.flatnonzero(band.may & (steps.time_s[:-1] < upto))
    span: tuple[float | None, float | None] = (None, None)
    if inside.size:
        span = (float(steps.time_s[inside[0]]), float(steps.time_s[inside[-1] + 1]))
    values: list[Text] = [Needed(found.longest_s), low, high, Needed(limit.limit_s)]
    taken = "{0} between {1} and {2} until lethality is reached, limit {3}."
    if not math.isfinite(lethal):
        taken = "{0} between {1} and {2} so far, lethality not reached, limit {3}."
    if case.error_c and found.surely_s < found.longest_s:
        values.append(Held(found.surely_s))
        taken += (
            " Less the doubt of the probe and of gaps it is {" + str(len(values) - 1) + "}."
        )
    values.append(_growth_before(case, upto))
    taken += " {" + str(len(values) - 1) + "}"

    def answer(state: State, more: str, enough: Text, *, broken: bool = False) -> LimitVerdict:
        return limit_verdict(
            limit,
            state,
            decides or broken,
            span,
            say(taken + more, *values),
            enough,
            elapsed=found.longest_s,
            surely=found.surely_s,
        )

    state = in_band_state(found, limit.limit_s)
    if state == NOT_MET:
        sets, _ = growth_curves("come-up", case.meats)
        lasting = "".join(f" {one.text('too_slow')}" for one in sets)
        return answer(NOT_MET, lasting, f"{_SHORTEN}; this piece cannot be mended", broken=True)
    if state == CANNOT_TELL:
        why = " It may be past the limit."
        if found.endless:
            why = " An unknown time passed in it."
        return answer(CANNOT_TELL, why, f"{_SHORTEN}; log it without a break", broken=True)
    first, warmer = _first_reading(case)
    values.append(Reading(first))
    begins = " The record begins at {" + str(len(values) - 1) + "}; "
    warmest = first + case.probe_error_c + warmer
    if warmest > case.rules["warmest_start"] + ROUNDING_C:
        more = begins + (
            "the come-up before it is not known. (If the numbers are °F, read the log again "
            "as such.)"
        )
        return answer(CANNOT_TELL, more, "log from the fridge on")
    if not math.isfinite(lethal):
        spare = limit.limit_s - found.longest_s
        reach = say("reach lethality within {0}", Held(spare))
        return answer(CANNOT_TELL, "", reach)
    more = begins + "time before it is not counted." if first > limit.from_c else ""
    return answer(MET, more, NOTHING_MORE)


def _first_reading(case: Case) -> tuple[float, float]:
    """Return what the meat read first, and how much warmer it may have been. [°C], [K].

    A core that stood still for long and leaps by a kelvin or more, to go on slowly, is no
    core: somebody put the probe in there, and the warmer of the two beginnings is told. A
    probe that lay about for a few samples only cannot be told from meat that warms.
    """
    time, values = case.record.known()
    rules = case.rules
    first = float(values[0])
    plain = first, float(rules["start_unseen"])
    still = np.flatnonzero(np.abs(values - first) > rules["put_in_still"])
    if still.size == 0:
        return plain
    leap = int(still[0])
    if time[leap] - time[0] < rules["put_in_lying"] or values[leap] < first:
        return plain
    landed = int(np.searchsorted(time, time[leap - 1] + rules["put_in_within"]))
    later = int(np.searchsorted(time, time[leap - 1] + 2.0 * rules["put_in_within"]))
    if max(landed, leap) >= later or later >= time.size:
        return plain
    landed = max(landed, leap)
    up = float(values[landed]) - first
    slows = float(values[later] - values[landed]) < 0.5 * up
    return (float(values[landed]), 0.0) if up >= rules["put_in_leap"] and slows else plain


def _growth_before(case: Case, upto_s: float) -> Text:
    time, temperature = case.record.known()
    kept = time <= upto_s
    organism, most = _growth("come-up", case, time[kept], temperature[kept])
    return say(
        "Growth of {0} without lag, an upper bound from broth: {1} (design "
        f"{case.rules['come_up_growth_design']:g}, toxin a concern from "
        f"{case.rules['come_up_growth_alarm']:g}).",
        organism,
        most,
    )


def _growth(
    stage: str, case: Case, time_s: Floats, temperature_c: Floats
) -> tuple[str, Required]:
    """Return what grows in a stage, and its growth by the fastest curve at the end."""
    sets, _ = growth_curves(stage, case.meats)
    most = 0.0
    if time_s.size:
        most = max(float(growth_bound(time_s, temperature_c, s.name)[-1]) for s in sets)
    return organisms(sets), Required(most, "log")


# After lethality.


def rules_of(kind: str, asked: str | bool) -> list[BandLimit]:
    """Return the rows of the rule asked for by name, or of the usual one.

    Raises
    ------
    InputError
        No such rule.
    """
    rules = [item for item in band_limits() if item.kind == kind]
    if not isinstance(asked, str):
        return [item for item in rules if item.default]
    chosen = [item for item in rules if item.standard == asked]
    if not chosen:
        known = ", ".join(dict.fromkeys(item.standard for item in rules))
        raise InputError(f"no {kind} rule called '{asked}'; there are: {known}.")
    return chosen


@dataclass(frozen=True, eq=False)
class _Point:
    """One point that cools: a probe, or the hottest of them at each moment."""

    name: str
    temperature_c: Floats
    steps: Steps


def _points(record: CookRecord) -> tuple[_Point, ...]:
    named = (("the hottest probe or place", record.hottest_c), *record.probes)
    return tuple(
        _point(record, name, values)
        for name, values in named
        if np.count_nonzero(np.isfinite(values)) > 1
    )


def _point(record: CookRecord, name: str, values: Floats) -> _Point:
    """Return a point; one whose probe fell silent is still in the meat.

    While the others of its piece go on, it may be anywhere between its last reading and
    what they read.
    """
    last = int(np.flatnonzero(np.isfinite(values))[-1])
    probes = [other for _, other in record.probes] or [values]
    hottest, coldest = np.fmax.reduce(probes), np.fmin.reduce(probes)
    silent = np.isfinite(hottest) & (np.arange(values.size) > last)
    if not silent.any():
        return _Point(name, values, steps_of(record, values))
    hot = np.where(silent, np.fmax(hottest, values[last]), values)
    cold = np.where(silent, np.fmin(coldest, values[last]), values)
    steps = steps_of(record, hot)
    return _Point(name, hot, replace(steps, low_c=steps_of(record, cold).low_c))


def _resets(case: Case, holds: Holds, lethal: float, points: Sequence[_Point]) -> list[float]:
    """Times at which the count of the stays begins anew: every lethal heating. [s]."""
    top = max(item.from_c for item in rules_of("cooling", False)) + case.error_c
    leaves = [point.steps.time_s[:-1][point.steps.low_c < top - ROUNDING_C] for point in points]
    below = np.unique(np.concatenate(leaves)) if leaves else np.empty(0)
    found = [lethal]
    while True:
        later = below[np.searchsorted(below, found[-1] - ROUNDING_S) :]
        if later.size == 0:
            return found
        again = lethal_s(case, holds, float(later[0]))
        if not math.isfinite(again):
            return found
        found.append(max(again, found[-1] + 1e-3))


def _reheated(
    case: Case, holds: Holds, point: _Point, start_s: float, reset_s: float, *, lenient: bool
) -> Flags | None:
    """Steps of a warming from the cold that was a reheating in time, or None.

    Its clock starts with the last reading that was surely (to be lenient: possibly) cold
    and stops where the coldest probe begins the dwell that the rule asks for.
    """
    rule = rules_of("reheating", False)[0]
    error = -case.error_c if lenient else case.error_c
    time = point.steps.time_s
    good = np.isfinite(point.temperature_c)
    values = point.temperature_c[good]
    cold = np.flatnonzero(
        (time >= start_s) & (time < reset_s) & (values <= rule.from_c - error + ROUNDING_C)
    )
    if cold.size == 0:
        return None
    left = float(time[cold[-1]])
    hot = holds.through_s(rule.to_c + error, rule.dwell_s, left) - rule.dwell_s
    if hot - left > rule.limit_s + ROUNDING_S:
        return None
    clock = (time[:-1] >= left - ROUNDING_S) & (time[:-1] < hot)
    if not lenient and np.any(~np.isfinite(point.steps.low_c[clock])):
        return None
    return time[:-1] >= left - ROUNDING_S


@dataclass(frozen=True)
class _Stay:
    """The worst time in a band of any point between two lethal heatings."""

    time: TimeInBand
    point: str
    start_s: float
    end_s: float
    after: str = ""  # where it is not what all of them come after


def _worst_stay(
    case: Case,
    holds: Holds,
    limit: BandLimit,
    points: Sequence[_Point],
    resets: list[float],
    maybe_s: float,
) -> _Stay | None:
    worst = _before_it_is_sure(case, limit, points, maybe_s, resets[0])
    usual_top = max(item.from_c for item in rules_of("cooling", False))
    for point in points:
        band = _band(point.steps, limit.to_c, limit.from_c, case.error_c)
        for number, start in enumerate(resets):
            last = number + 1 == len(resets)
            end = math.inf if last else resets[number + 1]
            begin = start
            if limit.from_c > usual_top + case.error_c:
                begin = _hottest_s(point, start, end, limit.from_c)
            inside = (
                band.may
                & (point.steps.time_s[1:] > begin + ROUNDING_S)
                & (point.steps.time_s[:-1] < end)
            )
            if not inside.any():
                continue
            found = band.between(begin, end)
            if not last:
                strict = _reheated(case, holds, point, start, end, lenient=False)
                lenient = _reheated(case, holds, point, start, end, lenient=True)
                found = TimeInBand(
                    band.between(begin, end, strict).longest_s,
                    band.between(begin, end, lenient).surely_s,
                    band.between(begin, end, strict).endless,
                )
            which = np.flatnonzero(inside)
            stay = _Stay(
                found,
                point.name,
                float(point.steps.time_s[which[0]]),
                float(point.steps.time_s[which[-1] + 1]),
            )
            if worst is None or _badness(stay) > _badness(worst):
                worst = stay
    return worst


_MAYBE = "between when lethality may have been reached and when it surely was,"


def _maybe_lethal_s(case: Case, holds: Holds) -> float:
    """Return when lethality may have been reached: where the probe reads low. [s]."""
    warmer = replace(
        case, probe_error_c=-case.probe_error_c, placement_error_c=0.0, growth_log=0.0
    )
    return lethal_s(warmer, holds)


def _before_it_is_sure(
    case: Case, limit: BandLimit, points: Sequence[_Point], maybe_s: float, sure_s: float
) -> _Stay | None:
    """Return the worst stay from when lethality may have been reached until it surely was.

    What passes until then between the top of the come-up and that of the stays would
    count as neither. Nothing of it is surely a stay.
    """
    worst: _Stay | None = None
    if not maybe_s < sure_s:
        return worst
    for point in points:
        band = _band(point.steps, limit.to_c, limit.from_c, case.error_c)
        found = band.between(maybe_s, sure_s)
        if found.longest_s > 0.0:
            stay = _Stay(replace(found, surely_s=0.0), point.name, maybe_s, sure_s, _MAYBE)
            if worst is None or _badness(stay) > _badness(worst):
                worst = stay
    return worst


def _badness(stay: _Stay) -> tuple[bool, float]:
    return stay.time.endless, stay.time.longest_s


def _hottest_s(point: _Point, start_s: float, end_s: float, from_c: float) -> float:
    """Where a cooling from above a level begins: there, or at the hottest reading. [s]."""
    good = np.isfinite(point.temperature_c)
    time, values = point.steps.time_s, point.temperature_c[good]
    inside = (time >= start_s) & (time < end_s)
    above = np.flatnonzero(inside & (values >= from_c))
    if above.size:
        return float(time[above[0]])
    return float(time[int(np.argmax(np.where(inside, values, -np.inf)))])


def judge_stays(
    case: Case, holds: Holds, lethal: float, cooling: str | bool
) -> tuple[LimitVerdict, ...]:
    """Judge all time between the growth limits after lethality: cooling, dwell, reheating."""
    limits = rules_of("cooling", cooling)
    points = _points(case.record)
    asked = bool(cooling)
    if case.record.refused or not points:
        text = "There is no usable record."
        return tuple(
            limit_verdict(limit, CANNOT_TELL, asked, (None, None), text, "repair the record")
            for limit in limits
        )
    after = "after lethality"
    if math.isfinite(lethal):
        resets = _resets(case, holds, lethal, points)
    else:
        # Never lethal: shown from the hottest reading on; the come-up runs to the end.
        after = "after the hottest reading"
        hottest = points[0]
        values = hottest.temperature_c[np.isfinite(hottest.temperature_c)]
        resets = [float(hottest.steps.time_s[int(np.argmax(values))])]
    growth = _growth_after(case, points[0], resets[0])
    maybe = _maybe_lethal_s(case, holds)
    return tuple(
        _judge_band(
            case,
            limit,
            points,
            resets,
            _worst_stay(case, holds, limit, points, resets, maybe),
            growth,
            after,
            asked=asked,
        )
        for limit in limits
    )


def _growth_after(case: Case, point: _Point, start_s: float) -> Text:
    kept = case.record.time_s >= start_s
    time, values = case.record.time_s[kept], point.temperature_c[kept]
    return say(
        "Growth of {0} without lag, an upper bound that decides nothing: {1} so far.",
        *_growth("cooling", case, time, values),
    )


def _judge_band(
    case: Case,
    limit: BandLimit,
    points: Sequence[_Point],
    resets: list[float],
    worst: _Stay | None,
    growth: Text,
    after: str,
    *,
    asked: bool,
) -> LimitVerdict:
    from_c, to_c = Published(limit.from_c), Published(limit.to_c, at_most=True)
    if worst is None:
        text = say(
            "The record does not reach the cooling from {0} to {1} in {2}.",
            from_c,
            to_c,
            Needed(limit.limit_s),
        )
        return limit_verdict(limit, CANNOT_TELL, asked, (None, None), text, "log it")
    found = worst.time
    ended = _reached_low(case, points, resets, limit)
    text = say(
        f"{{0}} between {{1}} and {{2}} {worst.after or after} at {{3}}, limit {{4}}. {{5}}",
        Needed(found.longest_s),
        from_c,
        to_c,
        worst.point,
        Needed(limit.limit_s),
        growth,
    )
    faster = "chill faster: thinner pieces, moving cold air or an ice bath, unpacked"
    span = (worst.start_s, worst.end_s)

    def answer(state: State, said: Text, enough: Text, *, counts: bool) -> LimitVerdict:
        return limit_verdict(
            limit,
            state,
            counts,
            span,
            said,
            enough,
            elapsed=found.longest_s,
            surely=found.surely_s,
        )

    state = in_band_state(found, limit.limit_s)
    if state == NOT_MET:
        return answer(NOT_MET, text, faster, counts=True)
    if state == CANNOT_TELL:
        why = "It may be past the limit, by the probe's error or a gap: {0}"
        if found.endless:
            why = "An unknown time passed in it: {0}"
        again = f"{faster}; log it without a break"
        return answer(CANNOT_TELL, say(why, text), again, counts=True)
    if not ended and (asked or len(resets) == 1):
        enough = say("be at {0} within {1}", to_c, Held(limit.limit_s - found.longest_s))
        return answer(CANNOT_TELL, say("Not through yet: {0}", text), enough, counts=asked)
    return answer(MET, text, NOTHING_MORE, counts=asked)


def _reached_low(
    case: Case, points: Sequence[_Point], resets: list[float], limit: BandLimit
) -> bool:
    """Whether every point has surely reached the lower end since the last lethal heating."""
    return all(
        bool(
            np.any(
                (point.temperature_c + case.error_c <= limit.to_c + ROUNDING_C)
                & (case.record.time_s >= resets[-1])
            )
        )
        for point in points
    )

"""Local clocks that change to summer time and back while a log runs.

In spring an hour of the clock is skipped, in autumn it is written twice. Where the zone
is known, both follow from its rules. Where it is not, a step is taken for such a change
only if it leaves just one usual interval and falls on a date and hour at which clocks do
change in some zone; each change becomes a `Repair`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.errors import InputError
from coreward.logs.log import Floats
from coreward.logs.parts import Reading
from coreward.logs.time_forms import DAY_S

_MOST_STEPS = 500  # steps looked at in one log; more is no log


@lru_cache(maxsize=64)
def zone_of(name: str) -> ZoneInfo:
    """Return the zone of a name such as ``Europe/Berlin``.

    Raises
    ------
    InputError
        If there is no such zone.
    """
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError, AttributeError, TypeError):
        raise InputError(
            f"zone is {str(name)[:40]!r}; give the name of a time zone such as "
            "'Europe/Berlin', 'America/Chicago' or 'UTC'."
        ) from None


class _Change(NamedTuple):
    """A change of the clock: what to add from the second row on, and why."""

    shift_s: float
    reason: str


class _LocalClock:
    """Follows a local clock from row to row through the changes of summer time."""

    def __init__(
        self, zone: ZoneInfo | None, start: dt.datetime | None, limits: tables.ParameterSet
    ) -> None:
        self.zone = zone
        self._limits = limits
        self._offset = _offsets(zone, start)[0] if zone and start else None
        self.follows = True
        self.is_certain = True  # whether the last step has one length only

    def change(
        self,
        before: dt.datetime | None,
        after: dt.datetime | None,
        before_s: float,
        step_s: float,
        interval_s: float,
    ) -> _Change | None:
        """Return the change of the clock within one step, if there was one.

        Parameters
        ----------
        before, after : datetime or None
            Date and local time of the two rows; None if only a time of day is known.
        before_s : float
            Time of day of the first row. [s]
        step_s, interval_s : float
            The step as written, and the usual one. [s]
        """
        self.is_certain = True
        if self.zone is not None and before is not None and after is not None:
            return self._in_zone(self.zone, before, after, step_s, interval_s)
        found = (
            self._without_date(before_s, step_s, interval_s)
            if before is None or after is None
            else self._somewhere(before, after, step_s, interval_s)
        )
        # Without a zone it may have been a hand that set the clock, or a pause of an hour.
        self.is_certain = found is None
        return found

    def _in_zone(
        self,
        zone: ZoneInfo,
        before: dt.datetime,
        after: dt.datetime,
        step_s: float,
        interval_s: float,
    ) -> _Change | None:
        if not self.follows:
            return None
        if self._offset not in _offsets(zone, before):
            # The hour passed as any other: this clock is not changed by hand or by rule.
            self.follows = False
            return None
        old = self._offset
        steps = [
            (step_s - (new - old), new) for new in _offsets(zone, after) if old is not None
        ]
        real = [pair for pair in steps if pair[0] > 0]
        if not real:
            return None
        elapsed, new = min(real)
        self.is_certain = len(real) == 1
        # Within the doubled hour a row that merely comes late goes back as well, but by less
        # than half of it.
        is_late = step_s < 0 and elapsed > 0.5 * (elapsed - step_s)
        if is_late and not self._is_usual(elapsed, interval_s):
            return None
        self._offset = new
        if elapsed == step_s:
            return None
        return _Change(elapsed - step_s, _reason(elapsed > step_s, f"in {zone.key}"))

    def _somewhere(
        self, before: dt.datetime, after: dt.datetime, step_s: float, interval_s: float
    ) -> _Change | None:
        for zone in _known_zones(self._limits):
            for old in _offsets(zone, before):
                for new in _offsets(zone, after):
                    elapsed = step_s - (new - old)
                    if new != old and self._is_usual(elapsed, interval_s):
                        where = (
                            f"on that date at that hour in {zone.key} and its neighbours; "
                            "no zone is stated"
                        )
                        return _Change(elapsed - step_s, _reason(elapsed > step_s, where))
        return None

    def _without_date(
        self, before_s: float, step_s: float, interval_s: float
    ) -> _Change | None:
        usual = self._limits["clock_change_usual"]
        elapsed = step_s + usual
        if step_s >= 0 or not self._is_usual(elapsed, interval_s):
            return None
        hour = (before_s % DAY_S) + elapsed
        full = np.floor(hour / usual) * usual
        if full <= before_s % DAY_S or full % DAY_S > self._limits["clock_change_latest"]:
            return None
        return _Change(usual, _reason(True, "at a full hour of the night; no date is known"))

    def _is_usual(self, elapsed: float, interval_s: float) -> bool:
        limits = self._limits
        most = np.clip(
            limits["gap_factor"] * interval_s, limits["gap_shortest"], limits["gap_longest"]
        )
        return bool(0.0 < elapsed <= most)


def follow_local_clock(
    seconds: Floats,
    numbers: NDArray[np.int64],
    start: dt.datetime | None,
    zone: ZoneInfo | None,
    whole_minutes: bool,
    reading: Reading,
) -> Floats:
    """Return times with the changes of summer time taken out, each listed.

    Parameters
    ----------
    seconds : ndarray
        Local times in the order of the file. [s]
    numbers : ndarray of int
        Row of each in the file.
    start : datetime or None
        Date and local time at which `seconds` is 0; None if no date is known, and then
        `seconds` counts from a midnight.
    zone : ZoneInfo or None
        Zone of the clock, if it is known.
    """
    steps = np.diff(seconds)
    if np.sum(steps < 0) > np.sum(steps > 0):  # newest row first
        turned = follow_local_clock(
            seconds[::-1], numbers[::-1], start, zone, whole_minutes, reading
        )
        return turned[::-1].copy()
    limits = reading.limits
    places = np.flatnonzero((steps < 0) | (steps >= limits["clock_change_least"]))
    span = float(np.ptp(seconds)) if seconds.size else 0.0
    if places.size > _MOST_STEPS or span > limits["duration_limit"]:
        return seconds
    forward = steps[steps > 0]
    interval = float(np.median(forward)) if forward.size else 0.0
    if whole_minutes:
        interval = max(interval, 60.0)
    try:
        hidden = _hidden_hours(seconds, steps, interval, start, zone, limits)
        clock = _LocalClock(zone, _later(start, seconds[0]), limits)
        result = seconds.copy()
        for i in sorted({*places.tolist(), *hidden}):
            before, after = _later(start, seconds[i]), _later(start, seconds[i + 1])
            change = clock.change(before, after, seconds[i], steps[i], interval)
            if not clock.is_certain or (zone is None and change is None and i in hidden):
                reading.unknown.append((int(numbers[i]), int(numbers[i + 1])))
            if change is None:
                continue
            result[i + 1 :] += change.shift_s
            was = f"{_words(after, seconds[i + 1])} after {_words(before, seconds[i])}"
            way = "later" if change.shift_s > 0 else "earlier"
            first, last = sorted((int(numbers[i + 1]), int(numbers[-1])))
            reading.record(
                first,
                "summer time",
                was,
                f"{abs(change.shift_s) / 3600.0:.3g} h {way} from here on",
                change.reason,
                last=last,
            )
    except (OverflowError, ValueError):  # dates at the ends of the calendar
        return seconds
    if not clock.follows:
        reading.warnings.append(
            "The clock of the log was not changed when summer time began or ended in "
            f"{zone.key if zone else 'its zone'}; its times were taken as written."
        )
    elif start is None and np.any(skipped := _looks_skipped(seconds, steps, interval, limits)):
        for i in np.flatnonzero(skipped).tolist():
            reading.unknown.append((int(numbers[i]), int(numbers[i + 1])))
        reading.warnings.append(
            "A gap of one hour begins at a full hour of the night. If the clock was put "
            "forward there, state start_date= and zone=; as it stands it counts as a gap."
        )
    return result


def _hidden_hours(
    seconds: Floats,
    steps: Floats,
    interval: float,
    start: dt.datetime | None,
    zone: ZoneInfo | None,
    limits: tables.ParameterSet,
) -> set[int]:
    """Return the pauses behind which the clock may have been set back an hour unseen.

    A row is missing there; what the clock shows of the pause may be an hour too short.
    """
    late = np.flatnonzero(steps > 1.5 * interval)
    if start is None or late.size > _MOST_STEPS:
        return set()
    zones = _known_zones(limits) if zone is None else (zone,)
    found = set()
    for i in late.tolist():
        before, after = _later(start, seconds[i]), _later(start, seconds[i + 1])
        for one in zones:
            if min(_offsets(one, after), default=0.0) < max(_offsets(one, before), default=0.0):
                found.add(i)
    return found


def _later(start: dt.datetime | None, seconds: float) -> dt.datetime | None:
    return None if start is None else start + dt.timedelta(seconds=float(seconds))


def _words(moment: dt.datetime | None, seconds: float) -> str:
    if moment is None:
        moment = dt.datetime(2000, 1, 1) + dt.timedelta(seconds=float(seconds) % DAY_S)
    return moment.time().isoformat(timespec="seconds")


def _reason(repeated: bool, where: str) -> str:
    return (
        f"summer time ended and the clock wrote an hour twice, {where}"
        if repeated
        else f"summer time began and the clock skipped an hour, {where}"
    )


def _offsets(zone: ZoneInfo | None, moment: dt.datetime | None) -> tuple[float, ...]:
    """Return the distance from UTC of a local time; two where the hour is doubled."""
    if zone is None or moment is None:
        return ()
    found = []
    for fold in (0, 1):
        offset = moment.replace(tzinfo=zone, fold=fold).utcoffset()
        if offset is not None and offset.total_seconds() not in found:
            found.append(offset.total_seconds())
    return tuple(found)


def _known_zones(limits: tables.ParameterSet) -> Sequence[ZoneInfo]:
    return [zone_of(name) for key, name in limits.texts if key.startswith("zone_")]


def _looks_skipped(
    seconds: Floats, steps: Floats, interval: float, limits: tables.ParameterSet
) -> NDArray[np.bool_]:
    usual = limits["clock_change_usual"]
    extra = steps - usual
    before = seconds[:-1] % DAY_S
    full = np.ceil((before + 1e-9) / usual) * usual
    return np.asarray(
        (extra > 0.0)
        & (extra <= max(2.0 * interval, limits["gap_shortest"] / 60.0))
        & (full <= before + extra)
        & (full % DAY_S <= limits["clock_change_latest"])
    )

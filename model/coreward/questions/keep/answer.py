"""Keep a finished log as one of the person's own cooks, and say what they have taught.

What the log tells is taken from it: when the meat went on, when the reading was there, what
happened, how warm the piece was. What it cannot tell is asked.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import astuple, dataclass, field
from pathlib import Path

import numpy as np

from coreward.cook.usual_piece import find_cut
from coreward.errors import InputError
from coreward.events.cleaning import clean_meat
from coreward.events.found import Event, find_events
from coreward.experience import own_cooks
from coreward.experience.learned import Learned, learned, usual_s
from coreward.experience.own_cooks import OwnCook
from coreward.experience.past_cook import Floats, PastCook
from coreward.logs.log import ProbeLog
from coreward.plain import apart, told_as
from coreward.words import Degrees, Lasting, Length, Mass, Reading, Text, say

UNWRAPPED = "none"
"""As a wrap: it was never wrapped, whatever the log looks like."""
_STEP_S = 60.0
# What is still of the cook after its end: to see that it was there.
_AFTER_S = 1800.0
_BEGINNING_S = 1800.0
_UNREADABLE = ("sensor_fault", "probe_unplugged")
# A finish that departs so far from the usual time was more often mistyped than cooked.
_ODD = 4.0


@dataclass(frozen=True)
class Kept:
    """A cook that was kept."""

    own: OwnCook
    file: Path = field(metadata=told_as(told=str))
    learned: Learned
    """Of its pit, this cook included."""
    noted: tuple[Text, ...] = field(default=(), metadata=apart())
    """What to look at."""


@dataclass(frozen=True)
class Wrapping:
    """How it was wrapped: in what, and when on the log's clock or at which reading.

    Neither time nor reading where the log tells.
    """

    what: str
    at_s: float | None = None
    at_core_c: float | None = None


@dataclass(frozen=True)
class Finished:
    """What a finished log cannot tell: asked for on a page and on the command line alike.

    Raises
    ------
    InputError
        If something is missing or does not fit.
    """

    cut: str
    """As it is called."""
    target_c: float
    """Reading that was wanted. [°C]"""
    pit: str
    """The person's name of the pit."""
    pit_set_c: float
    """What it was set to. [°C]"""
    mass_kg: float | None = None
    thickness_m: float | None = None
    """One of the two at least."""
    wrapping: Wrapping | None = None
    """Asked for where the log looks wrapped."""

    def __post_init__(self) -> None:
        if not self.pit.strip() or not self.pit.isprintable() or len(self.pit) > 60:
            raise InputError("Give the pit a name of 1 to 60 letters in one line.")
        if self.mass_kg is None and self.thickness_m is None:
            raise InputError(
                "Say how heavy or how thick the piece was: one of the two is needed."
            )
        for words, given, low, high in (
            (
                "The pit was set to {0}: give a level between {1} and {2}.",
                Degrees(self.pit_set_c, None),
                Degrees(40.0),
                Degrees(300.0),
            ),
            (
                "The reading wanted was {0}: give one between {1} and {2}.",
                Degrees(self.target_c, None),
                Degrees(20.0),
                Degrees(110.0),
            ),
            (
                "The piece weighs {0}: give {1} to {2}.",
                Mass(200.0 if self.mass_kg is None else self.mass_kg),
                Mass(0.02, 2),
                Mass(200.0, 0),
            ),
            (
                "The piece is {0} thick: give {1} to {2}.",
                Length(0.6 if self.thickness_m is None else self.thickness_m),
                Length(0.005),
                Length(0.6),
            ),
        ):
            value, least, most = (astuple(each)[0] for each in (given, low, high))
            if not least <= value <= most:
                raise InputError(say(words, given, low, high))


def remember(
    log: ProbeLog,
    finished: Finished,
    *,
    meat: int = 1,
    now: dt.datetime | None = None,
    folder: Path | None = None,
) -> Kept:
    """Keep a finished log in the folder of the person's own cooks.

    Parameters
    ----------
    meat, now
        See `own_cook`.
    folder : Path, optional
        Another one than the person's.

    Raises
    ------
    InputError
        If something does not fit, or cannot be written.
    """
    where = own_cooks.place() if folder is None else folder
    own, file = own_cooks.keep(own_cook(log, finished, meat=meat, now=now), where)
    taught = learned(own_cooks.shelf(where).cooks, finished.pit)
    return Kept(own, file, taught, tuple(_noted(own.cook)))


def own_cook(
    log: ProbeLog,
    finished: Finished,
    *,
    meat: int = 1,
    events: Iterable[Event] | None = None,
    now: dt.datetime | None = None,
) -> OwnCook:
    """Make of a finished log what is kept of it.

    Parameters
    ----------
    meat : int
        Which meat probe, from 1.
    events : iterable of Event, optional
        What happened, such as an edited list; found if None.
    now : datetime, optional
        Stands for the date of a log that has none.

    Raises
    ------
    InputError
        If something does not fit.
    """
    name, target_c = find_cut(finished.cut), finished.target_c
    found = tuple(find_events(log, meat) if events is None else events)
    sure = [event for event in found if not event.provisional]
    begin = next((event.end_s for event in sure if event.kind == "meat_on"), 0.0)
    channel = log.meat(meat)
    core = np.where(clean_meat(log, meat, sure).mask, channel.temperature_c, math.nan)
    finish = _first_there(log.time_s, core, target_c)
    end = log.duration_s if finish is None else min(log.duration_s, finish + _AFTER_S)
    step = _STEP_S * max(1.0, math.ceil(log.interval_s / _STEP_S))
    grid = np.arange(0.0, end - begin + 1.0, step)
    air_c = _at(grid + begin, log.time_s, _air(log, sure), log.gap_limit_s)
    core_c = _at(grid + begin, log.time_s, core, log.gap_limit_s)
    if np.isfinite(core_c).sum() < 3 or not np.isfinite(air_c).any():
        raise InputError(
            "A cook is kept with the readings of its meat and of its pit; this log has not "
            "both. Name the columns with --column 'HEADING=meat' and 'HEADING=air'."
        )
    wrap, wrap_s = _wrapped(finished.wrapping, sure, log.time_s, core, begin, end)
    when = log.start or now
    told = when.isoformat(timespec="seconds") if when is not None else ""
    early = core_c[grid <= _BEGINNING_S]
    early = (
        early[np.isfinite(early)] if np.isfinite(early).any() else core_c[np.isfinite(core_c)]
    )
    cook = PastCook(
        name=f"{told[:10]} {name} {finished.pit}".strip(),
        origin="own",
        cut=name,
        time_s=grid,
        air_c=air_c,
        core_c=core_c,
        target_c=float(target_c),
        finish_s=None if finish is None else finish - begin,
        thickness_m=finished.thickness_m,
        mass_kg=finished.mass_kg,
        start_c=float(early.min()),
        pit=" ".join(finished.pit.split()),
        pit_set_c=float(finished.pit_set_c),
        wrap=wrap,
        wrap_s=wrap_s,
    )
    return OwnCook(cook, told, tuple(event.sentence("C") for event in sure))


def _first_there(time_s: Floats, core_c: Floats, target_c: float) -> float | None:
    """When two readings in a row first showed the target: one alone may be a slip. [s]."""
    known = np.flatnonzero(np.isfinite(core_c))
    hot = core_c[known] >= target_c
    both = np.flatnonzero(hot[:-1] & hot[1:])
    return float(time_s[known[both[0]]]) if both.size else None


def _air(log: ProbeLog, events: Iterable[Event]) -> Floats:
    """Readings of the pit without faults of the probe. [°C]."""
    channels = log.by_role("air")
    if not channels:
        return np.full(log.time_s.shape, math.nan)
    air = channels[0].temperature_c.copy()
    for event in events:
        if event.channel == channels[0].name and event.kind in _UNREADABLE:
            air[(log.time_s >= event.time_s) & (log.time_s <= event.end_s)] = math.nan
    return air


def _at(grid: Floats, time_s: Floats, value: Floats, gap_s: float) -> Floats:
    """Readings at even times; none where a gap is."""
    known = np.flatnonzero(np.isfinite(value))
    if known.size < 2:
        return np.full(grid.shape, math.nan)
    times = time_s[known]
    out = np.interp(grid, times, value[known], left=math.nan, right=math.nan)
    after = np.clip(np.searchsorted(times, grid), 1, times.size - 1)
    out[(times[after] - times[after - 1] > gap_s) & (times[after] != grid)] = math.nan
    return np.asarray(out)


def _wrapped(
    said: Wrapping | None,
    events: Iterable[Event],
    time_s: Floats,
    core_c: Floats,
    begin: float,
    end: float,
) -> tuple[str | None, float | None]:
    """Return the wrap and when it came on, after the meat. [s]."""
    seen = next((event.time_s for event in events if event.kind == "wrapped"), None)
    if said is None:
        if seen is not None:
            raise InputError(
                say(
                    "The log looks as if the meat was wrapped {0} after it began: say --wrap "
                    "foil or --wrap paper, with @ and the time or the reading if it was at "
                    "another one, or --wrap none.",
                    Lasting(seen),
                )
            )
        return None, None
    if said.what == UNWRAPPED:
        return None, None
    at = said.at_s if said.at_s is not None else seen
    if said.at_core_c is not None:
        at = _first_there(time_s, core_c, said.at_core_c)
        if at is None:
            raise InputError(
                say(
                    "The probe never showed {0}, at which it was wrapped: give another "
                    "reading, or the time.",
                    Degrees(said.at_core_c, None),
                )
            )
    if at is None:
        raise InputError(
            f"The log does not tell when it was wrapped: say --wrap {said.what}@5:20 (hours "
            f"and minutes of the log) or --wrap {said.what}@66C (what the probe showed)."
        )
    if not begin < at < end:
        raise InputError(
            say(
                "It was wrapped {0} after the log began, which is not while it cooked "
                "({1} to {2}).",
                Lasting(at),
                Lasting(begin),
                Lasting(end),
            )
        )
    return said.what, at - begin


def _noted(cook: PastCook) -> Iterable[Text]:
    if cook.finish_s is None:
        yield say(
            "The probe never showed {0} (the most was {1}), so this cook tells of its pit and "
            "not of its time. If it was pulled at less, forget it and keep it with that "
            "--target.",
            Degrees(cook.target_c, None),
            Reading(float(np.nanmax(cook.core_c))),
        )
        return
    usual = usual_s(cook)
    if usual is not None and not 1.0 / _ODD <= cook.finish_s / usual <= _ODD:
        yield say(
            "It took {0}, where some {1} are usual for such a piece: check cut, size and what "
            "the pit was set to.",
            Lasting(cook.finish_s),
            Lasting(usual),
        )

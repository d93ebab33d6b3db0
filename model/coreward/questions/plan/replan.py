"""Under way and not as planned: what is lost, and what still makes the hour.

The log settles much of what the plan could only guess (`coreward.questions.forecast.fit`). Each
lever is then forecast with the same luck as the others, so that they compare.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from operator import attrgetter

import numpy as np

from coreward import tables
from coreward.cook.light import run_light
from coreward.errors import InputError
from coreward.events.listed import Event
from coreward.logs.log import ProbeLog
from coreward.plain import apart, told_as
from coreward.questions.forecast.answer import (
    Change,
    Forecast,
    Target,
    compare_changes,
    sayings,
)
from coreward.questions.forecast.fit import Fitted, fit
from coreward.questions.forecast.pit_outlook import pit_outlook
from coreward.questions.plan.answer import PieceOutlook, Plan, chances, clock_text
from coreward.questions.plan.cooks import pit_prior, portions
from coreward.questions.plan.inputs import aware
from coreward.questions.plan.words import serving_text
from coreward.questions.verdict import CAUTION
from coreward.words import METRIC, Difference, Lasting, Opening, Text, say, together

_HOUR = 3600.0
AS_PLANNED = "go on as planned"
# No pit is turned up beyond it: the hottest that a forecast takes. [°C]
_HOTTEST_C = 250.0


@dataclass(frozen=True, eq=False)
class Lever:
    """One thing that could be done now."""

    name: str
    """To ask for it by; a step of the pit in it is in kelvin."""
    words: Text
    """The same for a reader."""
    changes: tuple[Change, ...] = field(metadata=told_as(told=sayings))
    forecast: Forecast = field(metadata=apart())
    chance: float
    """Of being ready by the hour, rest and slicing included. [-]"""
    ready_at: dt.datetime | None
    """Pulled by then as likely as not; None if it may never be."""
    serve_at: dt.datetime | None
    """Hour that it can be served with the chance wanted."""
    loss: float
    """Water lost at the pull, in the mean, of the raw mass. [-]"""
    fuel_hours: float
    """From now to the pull, as likely as not. [h]"""
    makes_it: bool
    """Whether the chance is what was wanted."""
    cost: str = ""
    """Against going on as planned, in words."""


@dataclass(frozen=True)
class Lost:
    """What has been lost against the plan. Later is positive; seconds.

    Attributes
    ----------
    What cannot be counted, because something never gets there, is not a number.
    """

    total_s: float
    """Of the pull that is as likely before as after."""
    start_s: float
    """Because it went on later."""
    pit_s: float
    """Because the pit did not do, and is not expected to do, what was planned."""
    meat_s: float
    """Because this piece takes longer than the planned one."""

    def in_words(self) -> Text:
        """Say it as a person would."""
        if math.isnan(self.total_s):
            return "The plan has no time at which it is pulled: nothing is lost against it."
        if math.isinf(self.total_s):
            return "As it goes now it may never get there."

        def part(seconds: float, why: str) -> Text:
            word = "lost" if seconds > 0.0 else "gained"
            return say("{0} {1} {2}", Lasting(abs(seconds)), word, why)

        behind = "behind" if self.total_s > 0.0 else "ahead of"
        whole = say("It is {0} {1} the plan", Lasting(abs(self.total_s)), behind)
        start = part(self.start_s, "by when it went on")
        if not math.isfinite(self.pit_s):
            return say("{0}: {1}, the rest by pit and piece.", whole, start)
        return say(
            "{0}: {1}, {2}, {3}.",
            whole,
            start,
            part(self.pit_s, "by the pit"),
            part(self.meat_s, "by the piece itself"),
        )


@dataclass(frozen=True, eq=False)
class Replan:
    """What can still be done about one piece."""

    piece: PieceOutlook = field(metadata=told_as(told=attrgetter("item.name")))
    now: dt.datetime
    fitted: Fitted = field(metadata=apart())
    lost: Lost = field(metadata=told_as("lost_s"))
    levers: tuple[Lever, ...]
    """Going on as planned first, then by what they cost."""
    advice: Text
    """What warns of the piece first."""
    cautions: tuple[Text, ...]

    def lever(self, name: str) -> Lever:
        """Return a lever by its name."""
        for one in self.levers:
            if one.name == name:
                return one
        raise InputError(
            f"There is no lever {name!r}; there are {', '.join(x.name for x in self.levers)}."
        )


def _usual(
    one: PieceOutlook, fitted: Fitted, pit_level_c: float
) -> dict[str, tuple[Text, tuple[Change, ...]]]:
    """Levers by name, with their words; names hold a step of the pit in kelvin."""
    item = one.item
    steps = tables.load("plan", "levers")
    planned: tuple[Change, ...] = ()
    bare = fitted.past.wrap_now is None
    due = False
    if bare and item.wrap is not None and item.wrap_at_core_c is not None:
        # So close to it that some of the draws are past it: it is due now.
        due = float(fitted.past.reading_c[-1]) >= item.wrap_at_core_c - steps["close"]
        planned = (
            Change(in_s=0.0, wrap=item.wrap)
            if due
            else Change(at_core_c=item.wrap_at_core_c, wrap=item.wrap),
        )
    ways: dict[str, tuple[Text, tuple[Change, ...]]] = {AS_PLANNED: (AS_PLANNED, planned)}
    foil_now = bare and not (due and item.wrap == "foil")
    if foil_now:
        ways["foil now"] = ("foil now", (Change(in_s=0.0, wrap="foil"),))
    for size in ("little", "much"):
        step = min(steps[size], _HOTTEST_C - pit_level_c)
        if step < 1.0:
            continue
        up = say("pit up by {0}", Difference(round(step)))
        level_c = pit_level_c + step
        ways[up.shown(METRIC)] = (up, (Change(in_s=0.0, pit_c=level_c), *planned))
        if foil_now and size == "much":
            both = say("foil now and {0}", up)
            hot = Change(in_s=0.0, wrap="foil", pit_c=level_c)
            ways[both.shown(METRIC)] = (both, (hot,))
    return ways


def replan(
    plan: Plan,
    name: str,
    log: ProbeLog,
    *,
    log_start: dt.datetime | None = None,
    meat: int = 1,
    until_s: float | None = None,
    events: Iterable[Event] | None = None,
    levers: Mapping[str, Sequence[Change]] | None = None,
    members: int | None = None,
    seed: int = 1830,
    cores: int | None = None,
) -> Replan:
    """Plan the rest of a day from the log of a piece.

    Ready means here that the probe shows the core at which the plan pulls it, hold tables
    included; softening and crust are not waited for.

    Parameters
    ----------
    plan : Plan
        As it was made before.
    name : str
        Which piece.
    log : ProbeLog
        From when it went on.
    log_start : datetime, optional
        When the log begins, with a time zone; the log's own date by the clock of the
        serving hour if None.
    meat, until_s, events, cores
        See `coreward.questions.forecast.fit.fit`.
    levers : mapping of str to sequence of Change, optional
        What to try besides going on as planned; what people usually do if None.
    members, seed : int, optional
        Of each forecast.

    Raises
    ------
    InputError
        No such piece; a log without a date; a log that is no use.
    """
    one = plan.piece(name)
    item = one.item
    begin = _begin(plan, log, log_start)
    fitted = fit(
        log,
        item.piece,
        meat=meat,
        until_s=until_s,
        events=events,
        wrap=item.wrap or "foil",
        prior=pit_prior(item, plan.pit, _portion(plan, one)),
        cores=cores,
    )
    target = Target("core", one.pull_core_c)
    count = int(members or tables.load("plan", "numerics")["settled"])
    level = pit_outlook(fitted).level_c
    usual = _usual(one, fitted, level)
    words: dict[str, Text] = {name: said for name, (said, _) in usual.items()}
    ways: dict[str, Sequence[Change]] = {name: way for name, (_, way) in usual.items()}
    if levers is not None:
        ways = {AS_PLANNED: ways[AS_PLANNED], **levers}
        words = {name: name for name in ways}
    found = compare_changes(fitted, target, ways, members=count, seed=seed)
    told = [_lever(plan, one, begin, label, words[label], f) for label, f in found.items()]
    base = told[0]
    told = [base, *sorted((_priced(x, base) for x in told[1:]), key=_price)]
    now = begin + dt.timedelta(seconds=fitted.past.now_s)
    lost = _lost(plan, one, begin, fitted, base.forecast)
    return Replan(
        piece=one,
        now=now,
        fitted=fitted,
        lost=lost,
        levers=tuple(told),
        advice=_advice(plan, one, told),
        cautions=(*one.warnings, CAUTION, *base.forecast.notes),
    )


def _begin(plan: Plan, log: ProbeLog, log_start: dt.datetime | None) -> dt.datetime:
    if log_start is not None:
        zone = plan.serve_at.tzinfo
        return aware(log_start, "beginning of the log").astimezone(dt.UTC).astimezone(zone)
    if log.start is None:
        raise InputError(
            "This log has no date, so the plan cannot tell when it began; give log_start, a "
            "datetime with a time zone."
        )
    if log.start.utcoffset() is not None:
        return log.start.astimezone(plan.serve_at.tzinfo)
    return aware(log.start.replace(tzinfo=plan.serve_at.tzinfo), "beginning of the log")


def _after(begin: dt.datetime, seconds: float) -> dt.datetime | None:
    """Moment so many seconds of true time after the log's begin."""
    if not math.isfinite(seconds):
        return None
    moment = begin.astimezone(dt.UTC) + dt.timedelta(seconds=seconds)
    return moment.astimezone(begin.tzinfo)


def _lever(
    plan: Plan,
    one: PieceOutlook,
    begin: dt.datetime,
    name: str,
    words: Text,
    found: Forecast,
) -> Lever:
    needs = one.pull_then_s + one.item.hold.least_s + one.item.slicing_s
    due = plan.serve_at.timestamp() - begin.timestamp() - needs
    chance = found.chance_by(due)
    sure = found.quantile_s(100.0 * plan.chance_wanted)
    loss = found.water_loss_fraction[np.isfinite(found.water_loss_fraction)]
    return Lever(
        name=name,
        words=words,
        changes=found.changes,
        forecast=found,
        chance=chance,
        ready_at=_after(begin, found.median_s + one.pull_then_s),
        serve_at=_after(begin, sure + needs),
        loss=float(loss.mean()) if loss.size else math.nan,
        fuel_hours=max(found.median_s - found.now_s, 0.0) / _HOUR,
        makes_it=chance >= plan.chance_wanted,
    )


def _priced(lever: Lever, base: Lever) -> Lever:
    """Say what a lever costs against going on as planned."""
    parts = []
    if math.isfinite(lever.loss) and math.isfinite(base.loss):
        points = 100.0 * (lever.loss - base.loss)
        parts.append(f"{abs(points):.1f} points {'more' if points > 0 else 'less'} loss")
    if math.isfinite(lever.fuel_hours) and math.isfinite(base.fuel_hours):
        hours = lever.fuel_hours - base.fuel_hours
        parts.append(f"{abs(hours):.1f} h {'more' if hours > 0 else 'less'} fire")
    if any(change.pit_c is not None for change in lever.changes):
        parts.append("a hotter fire to feed")
    if any(change.wrap == "foil" and change.in_s == 0.0 for change in lever.changes):
        parts.append("a softer crust from now on")
    return replace(lever, cost=", ".join(parts))


def _price(lever: Lever) -> tuple[int, float]:
    """Order levers by how many things they change, then by the pit."""
    hotter = max((c.pit_c or 0.0 for c in lever.changes), default=0.0)
    foil = any(c.wrap == "foil" and c.in_s == 0.0 for c in lever.changes)
    return (hotter > 0.0) + foil, hotter


def _lost(
    plan: Plan, one: PieceOutlook, begin: dt.datetime, fitted: Fitted, base: Forecast
) -> Lost:
    """Split what is lost: the best guess at this piece is cooked in the planned pit too."""
    on, pull = one.step("on"), one.step("pull")
    if on is None or pull is None:
        return Lost(math.nan, math.nan, math.nan, math.nan)
    began = begin.timestamp() + fitted.past.begin_s
    start = began - on.planned.timestamp()
    ready_s = base.median_s + one.pull_then_s
    total = begin.timestamp() + ready_s - pull.planned.timestamp()
    in_plan = _in_planned_pit(plan, one, fitted)
    if not (math.isfinite(in_plan) and math.isfinite(total)):
        return Lost(total, start, math.nan, math.nan)
    pit = base.median_s - fitted.past.begin_s - in_plan
    return Lost(total, start, pit, total - start - pit)


def _portion(plan: Plan, one: PieceOutlook) -> float:
    """What a piece of the plan has of the pit."""
    return portions([each.item for each in plan.pieces])[plan.pieces.index(one)]


def _in_planned_pit(plan: Plan, one: PieceOutlook, fitted: Fitted) -> float:
    """How long the best guess would take in the pit as planned, wrapped as planned. [s]."""
    prior, member, item = fitted.prior, fitted.member, one.item
    horizon = tables.load("plan", "numerics")["horizon"]
    times = np.array([0.0, horizon])
    air = np.full(2, plan.pit.air_c)
    legs = []
    if item.wrap is not None:
        legs.append(prior.leg(member, None, times, air, horizon, item.wrap_at_core_c))
    legs.append(prior.leg(member, item.wrap, times, air, horizon, one.pull_core_c))
    run = run_light(prior.cook(member, legs), times)
    return run.leg_end_s[-1] if all(run.reached) else math.inf


def _advice(plan: Plan, one: PieceOutlook, levers: Sequence[Lever]) -> Text:
    """Say the cheapest lever that makes the hour, or what is nearest."""
    return together((*one.warnings, _choice(plan, one.item.name, levers)))


def _choice(plan: Plan, piece: str, levers: Sequence[Lever]) -> Text:
    base, serve, name = levers[0], plan.serve_at, Opening(piece)
    at = serving_text(serve)
    if base.makes_it:
        return say(
            "{0}: go on as planned; it is ready for {1} in {2}.", name, at, chances(base.chance)
        )
    enough = next((lever for lever in levers[1:] if lever.makes_it), None)
    if enough is not None:
        return say(
            "{0}: as planned it is ready for {1} in {2} only. Enough is {3}, which makes it "
            "{4}; against going on as planned: {5}.",
            name,
            at,
            chances(base.chance),
            enough.words,
            chances(enough.chance),
            enough.cost,
        )
    best = max(levers, key=lambda lever: lever.chance)
    later = [lever.serve_at for lever in levers if lever.serve_at is not None]
    nearest = (
        f"Nearest possible: serve it at {clock_text(min(later), serve)}."
        if later
        else "None of them gets there within the horizon."
    )
    return say(
        "{0}: nothing here makes {1} with the chance wanted; best is {2} with {3}. {4}",
        name,
        at,
        best.words,
        chances(best.chance),
        nearest,
    )

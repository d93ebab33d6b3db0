"""When will it be ready? The whole future curve of the probe, with honest bands.

Every draw of the fit (`coreward.questions.forecast.fit`) is cooked once from the start to its
target: through the log's own past, then through the future that was stated. What the
model cannot know is added on top: how the pit will wander, how the real piece departs
from any model, and how much faster or slower it will go.

The departure of reading from model fades and an error of the model's size comes back. The
sizes of these errors (set `model`) were set on a rehearsal set made by the fast engine. The
backtest set (``data/demo/backtest``, made by another engine with other seeds) is judged on
and not tuned on: rehearse a change on sets of your own, then run
``tests/verification/backtest.py`` once and report what moved. A set that has taught
something is spent: draw a new one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.light import Leg, LightRun, run_light, spread
from coreward.cook.result import first_time_at
from coreward.cook.stages import Piece
from coreward.errors import InputError, SolverError
from coreward.events.found import Event
from coreward.experience.past_cook import PastCook
from coreward.experience.witness import Testimony, stood_s
from coreward.logs.log import ProbeLog
from coreward.physics.lethality import load_kinetics
from coreward.plain import apart, told_as
from coreward.questions.forecast.fit import Fitted, Floats, depths, draw, fit, offsets, weigh
from coreward.questions.forecast.pit_outlook import PitOutlook, pit_outlook, pit_paths
from coreward.questions.forecast.pooled import (
    Pooled,
    hear_witness,
    pool_draws,
    seen_of,
    stage_of,
    stretched,
    surprise_of,
    trust_in,
)
from coreward.questions.rest.tenderness import softening
from coreward.words import (
    Degrees,
    Difference,
    Lasting,
    Say,
    Text,
    Units,
    say,
    together,
)

KEEP = "keep"
"""As a wrap: leave the covering as it is."""

BANDS = (5.0, 25.0, 50.0, 75.0, 95.0)
"""Percentiles of every band: the middle half and the middle nine tenths."""

TargetKind = Literal["core", "tenderness", "lethality"]

_MOST_STEP_K = 80.0
_PIT_RANGE_C = (30.0, 250.0)
_GRID_S = 600.0
_BEYOND_K = 8.0
_NEVER_C = 200.0
_LATEST_BLOCKS = 4
_TOO_COOL_K = 2.0
"""Air that is not so much hotter than the target is too cool for it."""


@dataclass(frozen=True)
class Change:
    """Something that will be done from now on."""

    in_s: float | None = None
    """How long from now. [s]"""
    at_core_c: float | None = None
    """Or when the core has this temperature. [°C] One of the two."""
    pit_c: float | None = None
    """New level of the pit's reading; None leaves it. [°C]"""
    wrap: str | None = KEEP
    """One of "foil", "paper", None for unwrapped, or `KEEP`."""
    pit_by: float | None = None
    """Or how much hotter than its level as it is foreseen. [K]"""

    def __post_init__(self) -> None:
        if self.pit_c is not None and self.pit_by is not None:
            raise InputError("A change of the pit is a level (pit_c) or a step (pit_by).")
        if self.pit_by is not None and not abs(self.pit_by) <= _MOST_STEP_K:
            raise InputError(
                say(
                    "A step of the pit goes up to {0} either way; it is {1}.",
                    Difference(_MOST_STEP_K),
                    Difference(self.pit_by),
                )
            )
        if (self.in_s is None) == (self.at_core_c is None):
            raise InputError(
                "A change needs either a time from now (in_s) or a core temperature "
                "(at_core_c), and not both."
            )
        if self.in_s is not None and not 0.0 <= self.in_s < math.inf:
            raise InputError(f"A change lies in the future; in_s is {self.in_s}.")
        if self.pit_c is not None and not (_PIT_RANGE_C[0] <= self.pit_c <= _PIT_RANGE_C[1]):
            raise InputError(
                say(
                    "The pit must lie between {0} and {1}; the change says {2}.",
                    *map(Degrees, _PIT_RANGE_C),
                    Degrees(self.pit_c, None),
                )
            )
        if self.wrap not in (KEEP, None):
            tables.load("wrap", self.wrap)

    @property
    def said(self) -> Say:
        """What is changed and when, as part of a sentence."""
        what: list[Text] = []
        if self.wrap != KEEP:
            what.append("unwrap" if self.wrap is None else f"wrap in {self.wrap}")
        if self.pit_c is not None:
            what.append(say("pit to {0}", Degrees(self.pit_c)))
        if self.pit_by is not None:
            way = "hotter" if self.pit_by >= 0.0 else "cooler"
            what.append(say(f"pit {{0}} {way}", Difference(abs(self.pit_by), 0)))
        when: Text = "now"
        if self.at_core_c is not None:
            when = say("at a core of {0}", Degrees(self.at_core_c))
        elif self.in_s:
            when = say("in {0}", Lasting(self.in_s))
        return say("{0} {1}", together(what, " and ") if what else "nothing", when)

    def in_words(self, units: Units = "C") -> str:
        """Say it as a person would."""
        return self.said.shown(units)


@dataclass(frozen=True)
class Target:
    """What "ready" means."""

    kind: TargetKind
    """The probe's reading; softening (1 is tender, `coreward.tenderness`); or log reductions at
    the coldest point."""
    value: float
    """[°C], [-] or [log10]."""
    name: str | None = None
    """Set of the softening series or of the organism's kinetics."""

    def __post_init__(self) -> None:
        low, high = {"core": (0.0, 110.0), "tenderness": (0.01, 10.0)}.get(
            self.kind, (0.1, 15.0)
        )
        if not low <= self.value <= high:
            raise InputError(
                f"A target for {self.kind} must lie between {low:g} and {high:g}; it is "
                f"{self.value:g}."
            )


def sayings(changes: Sequence[Change]) -> tuple[Say, ...]:
    """Return changes as parts of a sentence."""
    return tuple(change.said for change in changes)


@dataclass(frozen=True)
class Forecast:
    """When a probe will show its target, and its curve until then."""

    fitted: Fitted = field(metadata=told_as("fit"))
    target: Target
    changes: tuple[Change, ...] = field(metadata=told_as(told=sayings))
    pit: PitOutlook
    finish_s: Floats = field(metadata=apart())
    """When each member is ready, in the log's time; infinite where never within the horizon.
    [s] Shape (members,)."""
    time_s: Floats = field(metadata=apart())
    """From now on, in the log's time. [s] Shape (times,)."""
    bands_c: Floats = field(metadata=apart())
    """Percentiles `BANDS` of the probe's reading. [°C] Shape (5, times)."""
    past_bands_c: Floats = field(metadata=apart())
    """The same of the fit, at ``fitted.past.time_s``. [°C] Shape (5, past times)."""
    effective_share: float
    """See `coreward.questions.forecast.fit.weigh`. [-]"""
    water_loss_fraction: Floats = field(metadata=apart())
    evaporated_fraction: Floats = field(metadata=apart())
    """Of the raw mass, when ready. [-] Shape (members,)."""
    horizon_s: float
    """How far it looked ahead of now. [s]"""
    already_s: float | None = None
    """When the target was reached, if it was before now. [s]"""
    notes: tuple[Text, ...] = ()
    pooled: Pooled | None = field(default=None, metadata=told_as("witnesses"))
    """What each of the two witnesses says by itself, and how they are weighed; None where only
    the physics was asked."""

    @property
    def now_s(self) -> float:
        """The moment it was made, in the log's time. [s]."""
        return self.fitted.past.now_s

    @property
    def median_s(self) -> float:
        """As likely before as after. [s in the log's time]."""
        return self.quantile_s(50.0)

    def quantile_s(self, percent: float) -> float:
        """Time by which it is ready with this chance; infinite if never so likely. [s]."""
        if self.already_s is not None:
            return self.already_s
        return float(np.percentile(self.finish_s, percent, method="inverted_cdf"))

    def chance_by(self, time_s: float) -> float:
        """Chance of being ready by a time of the log. [-]."""
        if self.already_s is not None:
            return 1.0 if time_s >= self.already_s else 0.0
        return float(np.mean(self.finish_s <= time_s))

    @property
    def never_share(self) -> float:
        """Share of the members that are not ready within the horizon. [-]."""
        return float(np.mean(~np.isfinite(self.finish_s)))


def forecast_from(
    fitted: Fitted,
    target: Target,
    changes: Sequence[Change] = (),
    *,
    pit_series: tuple[Floats, Floats] | None = None,
    members: int | None = None,
    seed: int = 1830,
    cores: int | None = None,
    weighed: bool = True,
    witness: bool = True,
    own: Sequence[PastCook] = (),
    pit_name: str = "",
    left_out: str | None = None,
) -> Forecast:
    """Forecast from a fitted log.

    Parameters
    ----------
    changes : sequence of Change
        What will be done, in order; nothing if empty.
    pit_series : pair of ndarray, optional
        The pit's future reading, if it is stated in full: time in the log's seconds, and
        temperature. [s, °C] The last value is held.
    members : int, optional
        Draws; table ``forecast`` if None.
    seed, cores : int, optional
        The same log and seed give the same answer, with any number of threads.
    weighed : bool
        False takes the draws as they come from Laplace's bell curve.
    witness : bool
        Whether past cooks are asked as well (of a core; of nothing else do they know).
    own, pit_name : sequence of PastCook, str
        The person's own, beside the library; and their name of the pit.
    left_out : str, optional
        A making of the library that is not asked; for honest tests.

    Raises
    ------
    InputError
        If the changes are not in order.
    SolverError
        If no draw could be computed.
    """
    numbers = tables.load("forecast", "numerics")
    count = int(members or numbers["members"])
    horizon = numbers["horizon"]
    rng = np.random.default_rng([seed, count])
    draws, noise = draw(fitted, count, seed)
    pit = pit_outlook(fitted)
    plan = _ordered(changes)
    past = fitted.past
    known = len(past.time_s)
    ahead = np.arange(0.0, horizon + _GRID_S, _GRID_S)
    at_s = np.concatenate((past.time_s, past.duration_s + ahead))
    if pit_series is None:
        nodes, air = pit_paths(pit, count, rng)
    else:
        nodes = np.maximum(np.asarray(pit_series[0], dtype=float) - past.now_s, 0.0)
        air = np.broadcast_to(np.asarray(pit_series[1]) - pit.level_c, (count, len(nodes)))
    stop_c = target.value + _BEYOND_K if target.kind == "core" else _NEVER_C
    seen = _probe_over_core(fitted)
    places = np.concatenate((past.segment, np.full(len(ahead), past.segment[-1])))

    def one(i: int) -> LightRun | None:
        member = fitted.prior.member(draws[i])
        legs = past.legs(fitted.prior, member)
        legs += _future_legs(
            fitted, draws[i], plan, pit, (nodes, air[i]), horizon, stop_c, seen
        )
        cook = fitted.prior.cook(member, legs)
        try:
            return run_light(cook, at_s, depths(fitted.prior, draws[i], places))
        except SolverError:
            return None

    curves = _Curves.of(spread(one, range(count), cores), len(at_s))
    bias = np.array([offsets(fitted.prior, z, past.segment) for z in draws])
    fits = curves.probe_c[:, :known] + bias
    weights, share = weigh(fitted, draws, noise, fits)
    sound = np.flatnonzero(np.isfinite(fits).all(axis=1))
    picked = _resample(weights, rng) if weighed else sound
    reading = curves.probe_c[:, known:] + bias[:, -1:]
    reading = reading + _departures(fitted, fits, ahead, rng)
    pace = np.exp(tables.load("forecast", "model")["rate_error"] * rng.standard_normal(count))
    core = target.kind == "core"
    ready = reading if core else _progress(target, at_s, curves.core_c)[:, known:]
    finish = np.array([first_time_at(ahead, row, target.value) for row in ready]) * pace
    end_s = past.duration_s + np.minimum(finish, horizon)
    paced = _slowed(reading, ahead, pace)[picked]
    left, pooled = finish[picked], None
    already = _already(fitted, target)
    if witness and core and already is None:
        level = pit.level_c if pit_series is None else float(np.mean(pit_series[1]))
        asked = _Asked(fitted, target, plan, level, tuple(own), pit_name, left_out)
        left, paced, pooled = _pool(asked, left, paced, ahead, rng)
    return Forecast(
        fitted=fitted,
        target=target,
        changes=plan,
        pit=pit,
        finish_s=past.now_s + left,
        time_s=past.now_s + ahead,
        bands_c=np.percentile(paced, BANDS, axis=0),
        past_bands_c=np.percentile(fits[picked], BANDS, axis=0),
        effective_share=share,
        water_loss_fraction=_at(end_s, at_s, curves.loss)[picked],
        evaporated_fraction=_at(end_s, at_s, curves.evaporated)[picked],
        horizon_s=horizon,
        already_s=already,
        notes=tuple(_warnings(fitted, share)),
        pooled=pooled,
    )


class _Asked(NamedTuple):
    """What the past cooks are asked."""

    fitted: Fitted
    target: Target
    plan: tuple[Change, ...]
    level_c: float
    own: tuple[PastCook, ...]
    pit_name: str
    left_out: str | None


def _pool(
    asked: _Asked,
    left: Floats,
    curves: Floats,
    ahead: Floats,
    rng: np.random.Generator,
) -> tuple[Floats, Floats, Pooled]:
    """Join draws of the physics and of past cooks: time left, curves, and who said what."""
    fitted = asked.fitted
    seen = seen_of(fitted, asked.target.value, asked.plan, asked.level_c, asked.pit_name)
    cool = _level_after(asked.plan, asked.level_c) < asked.target.value + _TOO_COOL_K
    testimony = hear_witness(seen, asked.own, asked.left_out)
    surprise, stage = surprise_of(fitted), stage_of(seen)
    trust = trust_in(surprise) if testimony else 1.0
    kept, joined = pool_draws(left, cool, trust, testimony is not None)
    alone = np.zeros(0)
    both, rows = left[kept], curves[kept]
    if testimony is not None:
        drawn = testimony.draws(len(left), rng)
        alone = testimony.left_s[drawn]
        chosen = drawn[_evenly(joined, len(drawn))]
        both = np.concatenate((both, testimony.left_s[chosen]))
        rows = np.concatenate((rows, _futures(testimony, chosen, ahead)))
    counted = 1.0 - joined / max(len(both), 1)
    wide = stretched(both, stage, counted)
    moved = np.isfinite(both) & (both > 0.0)
    ratio = np.where(moved, wide, 1.0) / np.where(moved, both, 1.0)
    rows = _slowed(rows, ahead, ratio)
    pooled = Pooled(
        trust=counted,
        surprise=surprise,
        stage=stage,
        physics_left_s=left,
        witness_left_s=alone,
        own_share=0.0 if testimony is None else testimony.own_share,
        stood_s=stood_s(seen),
        too_cool=cool,
    )
    return wide, rows, pooled


def _slowed(rows: Floats, ahead: Floats, by: Floats) -> Floats:
    """Return curves that take so many times as long."""
    return np.array([np.interp(ahead, ahead * b, row) for b, row in zip(by, rows, strict=True)])


def _evenly(count: int, of: int) -> NDArray[np.int64]:
    """Choose so many, evenly spread over an ordered lot."""
    return ((np.arange(count) + 0.5) / max(count, 1) * of).astype(np.int64)


def _futures(testimony: Testimony, rows: NDArray[np.int64], ahead: Floats) -> Floats:
    """How the core would go on as those past cooks did. [°C]."""
    found = {int(row): testimony.future(int(row), ahead) for row in np.unique(rows)}
    return np.array([found[int(row)] for row in rows]).reshape(len(rows), len(ahead))


def _level_after(plan: Sequence[Change], level_c: float) -> float:
    """Level of the pit when all is done. [°C]."""
    for change in plan:
        level_c = level_c if change.pit_c is None else change.pit_c
        level_c += change.pit_by or 0.0
    return level_c


@dataclass(frozen=True)
class _Curves:
    """Curves of all members as tables, rows of what is not a number where one failed."""

    probe_c: Floats
    core_c: Floats
    loss: Floats
    evaporated: Floats

    @classmethod
    def of(cls, runs: Sequence[LightRun | None], times: int) -> _Curves:
        """Gather them."""
        if all(run is None for run in runs):
            raise SolverError(
                "No guess at this piece could be computed; please report this log."
            )
        blank = np.full(times, np.nan)

        def table(name: str) -> Floats:
            return np.array([blank if run is None else getattr(run, name) for run in runs])

        return cls(
            table("probe_c"),
            table("core_c"),
            table("water_loss_fraction"),
            table("evaporated_fraction"),
        )


def _at(time_s: Floats, times: Floats, rows: Floats) -> Floats:
    """Value of each row at its own time."""
    return np.array([np.interp(t, times, row) for t, row in zip(time_s, rows, strict=True)])


def _ordered(changes: Sequence[Change]) -> tuple[Change, ...]:
    plan = tuple(changes)
    latest = 0.0
    for change in plan:
        if change.in_s is not None:
            if change.in_s < latest:
                raise InputError("Give the changes in the order in which they will happen.")
            latest = change.in_s
    return plan


def _probe_over_core(fitted: Fitted) -> float:
    """How far the best guess's probe lies above the core now, per depth squared. [K]."""
    member = fitted.member
    cook = fitted.prior.cook(member, fitted.past.legs(fitted.prior, member))
    depth = float(depths(fitted.prior, fitted.best, fitted.past.segment)[-1])
    run = run_light(cook, fitted.past.time_s, depth)
    return float(run.probe_c[-1] - run.core_c[-1]) / max(depth, 1e-3) ** 2


def _future_legs(
    fitted: Fitted,
    z: Floats,
    plan: tuple[Change, ...],
    pit: PitOutlook,
    path: tuple[Floats, Floats],
    horizon: float,
    stop_c: float,
    seen: float,
) -> list[Leg]:
    """Legs from now on: one up to each change, one to the end."""
    prior, past = fitted.prior, fitted.past
    member = prior.member(z)
    wrap = past.wrap_now
    level = pit.level_c
    reached_s = 0.0
    nodes, departures = path
    # A person acts on what the probe shows; the engine watches the core.
    missed = float(np.mean((past.reading_c - fitted.predicted_c)[-_LATEST_BLOCKS:]))
    depth = float(depths(prior, z, past.segment)[-1])
    shown = seen * depth**2 + float(offsets(prior, z, past.segment)[-1]) + missed
    legs = []
    for change in (*plan, None):
        if change is None:
            duration, until = horizon - reached_s, stop_c
        elif change.in_s is not None:
            duration, until = max(change.in_s - reached_s, 0.0), None
        else:
            duration, until = horizon - reached_s, (change.at_core_c or 0.0) - shown
        if duration > 1.0:
            inner = nodes[(nodes > reached_s + 1.0) & (nodes < reached_s + duration - 1.0)]
            times = np.concatenate(([reached_s], inner, [reached_s + duration]))
            air = level + np.interp(times, nodes, departures)
            legs.append(
                prior.leg(
                    member, wrap, times - reached_s, air, duration, until, from_below=True
                )
            )
        if change is not None:
            if change.in_s is not None:
                reached_s = change.in_s
            if change.pit_c is not None:
                level = change.pit_c
            if change.pit_by is not None:
                level += change.pit_by
            if change.wrap != KEEP:
                wrap = change.wrap
    return legs


def _departures(
    fitted: Fitted, fits: Floats, ahead: Floats, rng: np.random.Generator
) -> Floats:
    """How the real reading departs from each member from now on. [K].

    It begins with what the reading is off now, which fades, and gathers an error that
    wanders as slowly as it did in the past.
    """
    model = tables.load("forecast", "model")
    past = fitted.past
    latest = np.flatnonzero(past.segment == past.segment[-1])[-_LATEST_BLOCKS:]
    off = (past.reading_c[latest] - fits[:, latest]).mean(axis=1)
    fade = np.exp(-ahead / model["error_time"])
    # Nodes half an error time apart, straight between: a real curve does not jitter.
    spacing = 0.5 * model["error_time"]
    nodes = np.arange(0.0, ahead[-1] + 2 * spacing, spacing)
    keep = math.exp(-0.5)
    error = np.zeros((len(fits), len(nodes)))
    for k in range(1, len(nodes)):
        shock = model["error"] * math.sqrt(1.0 - keep * keep)
        error[:, k] = keep * error[:, k - 1] + shock * rng.standard_normal(len(fits))
    wandering = np.array([np.interp(ahead, nodes, row) for row in error])
    return np.asarray(off[:, None] * fade + wandering)


def _progress(target: Target, time_s: Floats, core_c: Floats) -> Floats:
    """Softening or log reductions at the core, per member, since the start."""
    if target.kind == "tenderness":
        return softening(time_s, core_c.T, *([target.name] if target.name else [])).T
    # Each interval is credited at the lower of its two rates: never too much.
    rate = load_kinetics(target.name).curve().rate(core_c)
    step = np.minimum(rate[:, 1:], rate[:, :-1]) * np.diff(time_s)
    return np.concatenate((np.zeros((len(core_c), 1)), np.cumsum(step, axis=1)), axis=1)


def _already(fitted: Fitted, target: Target) -> float | None:
    if target.kind != "core":
        return None
    past = fitted.past
    hot = np.flatnonzero(past.reading_c >= target.value)
    # Two readings in a row: one alone may be a slip of the probe.
    for i in hot:
        if i + 1 < len(past.reading_c) and past.reading_c[i + 1] >= target.value:
            return float(past.begin_s + past.time_s[i])
    return None


def _resample(weights: Floats, rng: np.random.Generator) -> NDArray[np.int64]:
    """Draw members in proportion to their weights, evenly (systematic resampling)."""
    count = len(weights)
    marks = (np.arange(count) + rng.random()) / count
    total = np.cumsum(weights)
    return np.minimum(np.searchsorted(total / total[-1], marks), count - 1).astype(np.int64)


def _warnings(fitted: Fitted, share: float) -> Iterable[Text]:
    if share < 0.02:
        yield (
            "The doubt about this piece is not bell-shaped; take the ends of the band as rough."
        )
    if fitted.residual_k > 3.0 * tables.load("forecast", "model")["error"]:
        yield say(
            "The best curve misses the readings by {0} on average: something happened that "
            "the log does not say (a wrap, a moved probe?), or the piece is not what was "
            "stated. Add the event, or correct the piece.",
            Difference(fitted.residual_k, 1),
        )


def forecast(
    log: ProbeLog,
    piece: Piece,
    target: Target | float,
    *,
    changes: Sequence[Change] = (),
    meat: int = 1,
    until_s: float | None = None,
    events: Iterable[Event] | None = None,
    wrap: str = "foil",
    fire: str | None = None,
    dew_point_c: float | None = None,
    pressure_pa: float = 101325.0,
    pit_series: tuple[Floats, Floats] | None = None,
    earlier: Forecast | None = None,
    members: int | None = None,
    seed: int = 1830,
    cores: int | None = None,
    own: Sequence[PastCook] = (),
    pit_name: str = "",
) -> Forecast:
    """Read a running cook and say when it will be ready.

    Parameters
    ----------
    log, piece, meat, until_s, events, wrap, fire, dew_point_c, pressure_pa
        See `coreward.questions.forecast.fit.fit`.
    target : Target or float
        What "ready" means; a number is the probe's reading. [°C]
    changes : sequence of Change
        What will be done from now on.
    pit_series, members, seed, cores, own, pit_name
        See `forecast_from`.
    earlier : Forecast, optional
        Where the fit begins; the answer is the same, sooner.
    """
    fitted = fit(
        log,
        piece,
        meat=meat,
        until_s=until_s,
        events=events,
        wrap=wrap,
        fire=fire,
        dew_point_c=dew_point_c,
        pressure_pa=pressure_pa,
        start=None if earlier is None else earlier.fitted.best,
        cores=cores,
    )
    wanted = target if isinstance(target, Target) else Target("core", float(target))
    return forecast_from(
        fitted,
        wanted,
        changes,
        pit_series=pit_series,
        members=members,
        seed=seed,
        cores=cores,
        own=own,
        pit_name=pit_name,
    )


def compare_changes(
    fitted: Fitted,
    target: Target,
    ways: Mapping[str, Sequence[Change]],
    *,
    members: int | None = None,
    seed: int = 1830,
    own: Sequence[PastCook] = (),
    pit_name: str = "",
) -> dict[str, Forecast]:
    """Forecast several ways to go on from one fit, with the same luck for each.

    Parameters
    ----------
    ways : mapping of str to sequence of Change
        By name, such as ``{"leave it": (), "wrap now": (Change(in_s=0, wrap="foil"),)}``.
    members, seed, own, pit_name
        See `forecast_from`.
    """
    return {
        name: forecast_from(
            fitted,
            target,
            changes,
            members=members,
            seed=seed,
            own=own,
            pit_name=pit_name,
        )
        for name, changes in ways.items()
    }

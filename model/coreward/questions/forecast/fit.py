"""Which piece, in which pit, would have given this log? With how much doubt.

The log's own air drives the fast engine; what is not known of piece, pit and probe is a
handful of numbers with a bell curve each (table ``forecast``). The best of them is found
by damped Gauss-Newton steps, and the doubt by Laplace's approximation there: the bell
curve that has the same curvature. The approximation is checked and mended by weighing
draws with what they truly predict (`weigh`).

Why this and not a particle filter or an ensemble smoother: a dozen unknowns act smoothly
on the curve, so five steps of a dozen cooks each find the best, where an ensemble needs
thousands; and the draws are independent, so that forecasts made from them need no rerun.

Where nobody states a dew point the pit is a chamber: its fresh air is the unknown, and
juice is let go at a finite, size-dependent rate (the cheap limit of pressed flow), so that
a stand is damp that comes from the meat and ends when the juice is spent. All legs, past,
planned and to come, are made by `Prior.leg`. Reading less model is scatter plus an error
that wanders over 1.5 h, so that two thousand readings do not count as two thousand
witnesses. What the log narrows by less than a fifth is said to be undetermined.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from coreward import tables
from coreward.cook.light import Leg, run_light, spread
from coreward.cook.stages import Piece
from coreward.errors import InputError, SolverError
from coreward.events.found import Event, air_without_events, clean_meat, find_events
from coreward.logs.log import ProbeLog
from coreward.plain import apart, told_as
from coreward.questions.forecast.prior import (
    IN_WORDS,
    NAMES,
    Member,
    Prior,
    stated_prior,
    usual_pit,
)
from coreward.words import Held, Needed, say

Floats = NDArray[np.float64]

__all__ = ["NAMES", "Member", "Prior", "stated_prior", "usual_pit"]

_BIAS = NAMES.index("bias")
# Fine enough for a lid that is open for a minute. [s]
_FINE_S = 15.0
_STEP = 0.25
_PASSES = 8
_CONVERGED = 0.02
_DETERMINED = 0.8
# Least share of the draws that must count after tempering.
_LEAST_SHARE = 0.2


@dataclass(frozen=True)
class Past:
    """What the fit takes of a log: averaged air and readings since the meat went on."""

    begin_s: float
    now_s: float
    """In the log's time: meat on, and the last sample used. [s]"""
    air_time_s: Floats
    air_c: Floats
    """Nodes of the air since `begin_s`. [s, °C]"""
    time_s: Floats
    reading_c: Floats
    """Averaged readings of the meat probe. [s since `begin_s`, °C]"""
    segment: NDArray[np.int64]
    """0, then 1 more each time the probe was moved."""
    noise: float
    """Scatter of an averaged reading. [K]"""
    wraps: tuple[tuple[float, str | None], ...] = ()
    """Changes of covering: when [s since `begin_s`], and to what."""
    log: ProbeLog | None = field(default=None, repr=False)
    """What it was taken of, for times of day and for the picture."""
    meat: int = 1
    """Which of its meat probes, from 1."""

    @property
    def duration_s(self) -> float:
        """From meat on to now. [s]."""
        return self.now_s - self.begin_s

    @property
    def wrap_now(self) -> str | None:
        """Covering at the end."""
        return self.wraps[-1][1] if self.wraps else None

    def legs(self, prior: Prior, member: Member) -> list[Leg]:
        """Return the past as the member went through it, one leg for each covering."""
        edges = [0.0, *(when for when, _ in self.wraps), self.duration_s]
        covers: list[str | None] = [None, *(wrap for _, wrap in self.wraps)]
        legs = []
        for first, last, wrap in zip(edges[:-1], edges[1:], covers, strict=True):
            if last - first < 1.0:
                continue
            inner = (self.air_time_s > first + 1.0) & (self.air_time_s < last - 1.0)
            times = np.concatenate(([first], self.air_time_s[inner], [last]))
            air = np.interp(times, self.air_time_s, self.air_c)
            legs.append(prior.leg(member, wrap, times - first, air, last - first))
        return legs


@dataclass(frozen=True)
class Fitted:
    """The best guess, and draws around it."""

    prior: Prior = field(metadata=apart())
    past: Past = field(metadata=apart())
    best: Floats = field(metadata=apart())
    """In standard deviations of what was believed before. Shape (unknowns,)."""
    root: Floats = field(metadata=apart())
    """Lower triangle whose square is the covariance of the doubt left. Shape (unknowns,
    unknowns)."""
    spread: dict[str, float] = field(metadata=told_as("doubt_left"))
    """Doubt left of each unknown, as a share of the doubt before."""
    predicted_c: Floats = field(metadata=apart())
    """Best curve at `past.time_s`. [°C]"""
    residual_k: float
    """Root mean square of reading less best curve. [K]"""
    names: tuple[str, ...] = field(default=NAMES, metadata=apart())

    @property
    def member(self) -> Member:
        """The best guess in SI units."""
        return self.prior.member(self.best)

    def determined(self) -> tuple[str, ...]:
        """Unknowns that the log tells something about."""
        return tuple(n for n in self.names if self.spread[n] < _DETERMINED)

    def undetermined(self) -> tuple[str, ...]:
        """Unknowns about which one knows no more than before the cook."""
        return tuple(n for n in self.names if self.spread[n] >= _DETERMINED)

    def in_words(self) -> str:
        """Say what the log settles and what it leaves open."""

        def listed(names: Sequence[str]) -> str:
            return ", ".join(IN_WORDS.get(n, n.replace("_", " ")) for n in names) or "nothing"

        member = self.member
        percent = round(100 * (member.size_factor - 1))
        size = (
            f"one {abs(percent)} % {'larger' if percent > 0 else 'smaller'}"
            if percent
            else "one of its size"
        )
        return (
            f"Best guess: the piece behaves like {size}, with "
            f"{member.heat_transfer_factor:.2f} times the tabulated heat transfer. The log "
            f"narrows: {listed(self.determined())}. It says little or nothing about: "
            f"{listed(self.undetermined())}."
        )


def prepare_past(
    log: ProbeLog,
    *,
    meat: int = 1,
    until_s: float | None = None,
    begin_s: float | None = None,
    air: tuple[Floats, Floats] | None = None,
    trusted: NDArray[np.bool_] | None = None,
    segments: NDArray[np.int64] | None = None,
    wraps: Sequence[tuple[float, str | None]] = (),
) -> Past:
    """Average a log to what a fit needs.

    Parameters
    ----------
    meat : int
        Which meat probe, from 1.
    until_s : float, optional
        Pretend that the log ends there. [s]
    begin_s : float, optional
        When the meat went on; the first sample if None. [s]
    air : pair of ndarray, optional
        Time and air temperature to use instead of the log's own air channel.
    trusted, segments : ndarray, optional
        For each sample: whether to use the reading; number of the probe's place.
    wraps : sequence of (float, str or None)
        Changes of covering, in the log's time.

    Raises
    ------
    InputError
        If there is no air, or too little to fit.
    """
    spacing = tables.load("forecast", "numerics")["spacing"]
    now = log.duration_s if until_s is None else min(float(until_s), log.duration_s)
    first = 0.0 if begin_s is None else float(begin_s)
    if now - first < 2.0 * spacing:
        raise InputError(
            say(
                "There is {0} of log since the meat went on; a fit needs at least {1}. Wait a "
                "little.",
                Held(now - first),
                Needed(2.0 * spacing),
            )
        )
    within = np.asarray((log.time_s >= first) & (log.time_s <= now))
    if air is None:
        known = within & np.isfinite(log.air_c)
        if not known.any():
            raise InputError(
                "This log has no reading of the air; a fit needs the pit's temperature. "
                "Name its column with columns={...: 'air'}."
            )
        air_time, air_value = _means(log.time_s[known] - first, log.air_c[known], spacing)
    else:
        # Straight lines: where the air hardly moves both their ends may lie outside.
        if air[0][-1] < first or air[0][0] > now:
            raise InputError("There is no reading of the air since the meat went on.")
        # Corners of any spacing become means over equal times, which keep the sum.
        fine = np.arange(0.0, now - first + 1.0, _FINE_S)
        air_time, air_value = _means(fine, np.interp(fine + first, *air), spacing)
    reading = log.meat(meat).temperature_c
    usable = within & np.isfinite(reading)
    if trusted is not None:
        usable &= trusted
    if usable.sum() < 3:
        raise InputError(
            f"Meat probe {meat} has fewer than three readings to trust; check that it was "
            "plugged in, or choose another."
        )
    place = np.zeros(len(reading), np.int64) if segments is None else segments
    times, values, where = [], [], []
    for number in np.unique(place[usable]):
        mine = np.asarray(usable & (place == number))
        t, v = _medians(log.time_s[mine] - first, reading[mine], spacing)
        times.append(t)
        values.append(v)
        where.append(np.full(len(t), number - place[usable].min()))
    order = np.argsort(np.concatenate(times))
    least = tables.load("forecast", "model")["noise_least"]
    return Past(
        begin_s=first,
        now_s=now,
        air_time_s=air_time,
        air_c=air_value,
        time_s=np.concatenate(times)[order],
        reading_c=np.concatenate(values)[order],
        segment=np.concatenate(where)[order].astype(np.int64),
        noise=max(least, _scatter(reading[usable])),
        wraps=tuple(
            (float(when) - first, wrap)
            for when, wrap in sorted(wraps, key=lambda w: w[0])
            if first < when < now
        ),
        log=log,
        meat=meat,
    )


def _scatter(values: Floats) -> float:
    """Robust scatter of neighbouring readings about a straight line. [K]."""
    if len(values) < 5:
        return 0.0
    bend = values[2:] - 2.0 * values[1:-1] + values[:-2]
    return float(1.4826 * np.median(np.abs(bend)) / math.sqrt(6.0))


def _blocks(time_s: Floats, spacing: float) -> list[NDArray[np.int64]]:
    number = np.floor(time_s / spacing).astype(np.int64)
    return np.split(np.arange(len(time_s)), np.flatnonzero(np.diff(number)) + 1)


def _means(time_s: Floats, value: Floats, spacing: float) -> tuple[Floats, Floats]:
    blocks = _blocks(time_s, spacing)
    return (
        np.array([time_s[b].mean() for b in blocks]),
        np.array([value[b].mean() for b in blocks]),
    )


def _medians(time_s: Floats, value: Floats, spacing: float) -> tuple[Floats, Floats]:
    blocks = _blocks(time_s, spacing)
    # The middle sample by time goes with the median of a rising or falling stretch.
    return (
        np.array([np.median(time_s[b]) for b in blocks]),
        np.array([np.median(value[b]) for b in blocks]),
    )


def fit_past(
    past: Past,
    prior: Prior,
    *,
    start: Floats | None = None,
    cores: int | None = None,
) -> Fitted:
    """Fit what is unknown of piece, pit and probe to a log.

    Parameters
    ----------
    start : ndarray, optional
        Where to begin, such as the best guess of an earlier fit.
    cores : int, optional
        Threads; as many as there are cores if None.
    """
    moved = int(past.segment.max())
    names = (*NAMES, *(f"{what}_{i + 2}" for i in range(moved) for what in ("depth", "bias")))
    size = len(names)
    held = np.array(
        [name.startswith("wrap") and past.wrap_now is None and not past.wraps for name in names]
    )
    whiten = _whitening(past)

    def curve(z: Floats) -> Floats:
        return predict(past, prior, z)

    def residual(values: Floats) -> Floats:
        result: Floats = linalg.solve_triangular(whiten, past.reading_c - values, lower=True)
        return result

    z = np.zeros(size)
    if start is not None:
        z[: min(size, len(start))] = start[:size]
    best = curve(z)
    r = residual(best)
    cost = float(r @ r + z @ z)
    damping = 1e-2
    slope = np.zeros((len(r), size))
    free = np.flatnonzero(~held)
    for _ in range(_PASSES):
        slope = _slopes(curve, best, z, free, whiten, cores)
        matrix = slope.T @ slope + np.eye(size)
        gradient = slope.T @ r - z
        improved = False
        for _ in range(5):
            step = np.linalg.solve(matrix + damping * np.diag(np.diag(matrix)), gradient)
            step *= min(1.0, 2.0 / max(np.abs(step).max(), 1e-12))
            try:
                trial = curve(z + step)
            except SolverError:
                damping *= 10.0
                continue
            r_trial = residual(trial)
            new = float(r_trial @ r_trial + (z + step) @ (z + step))
            if new < cost:
                improved = True
                break
            damping = max(damping, 1e-3) * 8.0
        if not improved:
            break
        gained, cost = cost - new, new
        z, best, r = z + step, trial, r_trial
        damping *= 0.2
        if gained < _CONVERGED * max(1.0, 0.01 * cost):
            break
    slope = _slopes(curve, best, z, free, whiten, cores)
    information = slope.T @ slope + np.eye(size)
    root = linalg.cholesky(np.linalg.inv(information), lower=True)
    deviation = np.sqrt(np.diag(root @ root.T))
    return Fitted(
        prior=prior,
        past=past,
        best=z,
        root=root,
        spread={name: float(d) for name, d in zip(names, deviation, strict=True)},
        predicted_c=best,
        residual_k=float(np.sqrt(np.mean((past.reading_c - best) ** 2))),
        names=names,
    )


def predict(past: Past, prior: Prior, z: Floats) -> Floats:
    """Readings a guess would have given, at `past.time_s`. [°C]."""
    member = prior.member(z)
    cook = prior.cook(member, past.legs(prior, member))
    sits = depths(prior, z, past.segment)
    return run_light(cook, past.time_s, sits).probe_c + offsets(prior, z, past.segment)


def offsets(prior: Prior, z: Floats, segment: NDArray[np.int64]) -> Floats:
    """Offset of the probe in each of its places. [K]."""
    first, later = (
        prior.spread["bias"] * z[_BIAS],
        prior.spread["moved"] * z[len(NAMES) + 1 :: 2],
    )
    values = np.concatenate(([first], first + later))
    return values[np.minimum(segment, len(values) - 1)]


def depths(prior: Prior, z: Floats, segment: NDArray[np.int64]) -> Floats:
    """Where the probe sits in each of its places, as a share of the way out. [-]."""
    later = prior.spread["moved_depth"] * special.ndtr(z[len(NAMES) :: 2])
    values = np.concatenate(([prior.member(z).depth], later))
    return values[np.minimum(segment, len(values) - 1)]


def _slopes(
    curve: Callable[[Floats], Floats],
    best: Floats,
    z: Floats,
    free: NDArray[np.int64],
    whiten: Floats,
    cores: int | None,
) -> Floats:
    """How the whitened curve answers to each unknown; a column each."""

    def one(index: int) -> Floats:
        there = z.copy()
        # Towards the middle: the tables hold there, and the solution exists.
        step = -_STEP if z[index] > 0.0 else _STEP
        there[index] += step
        result: Floats = (curve(there) - best) / step
        return result

    columns = np.zeros((len(best), len(z)))
    for index, column in zip(free, spread(one, [int(i) for i in free], cores), strict=True):
        columns[:, index] = column
    result: Floats = linalg.solve_triangular(whiten, columns, lower=True)
    return result


def _whitening(past: Past) -> Floats:
    """Lower root of the covariance of reading less model: scatter, and slow wandering."""
    model = tables.load("forecast", "model")
    lag = np.abs(past.time_s[:, None] - past.time_s[None, :])
    wander = model["error"] ** 2 * np.exp(-lag / model["error_time"])
    root: Floats = linalg.cholesky(wander + past.noise**2 * np.eye(len(lag)), lower=True)
    return root


def draw(fitted: Fitted, count: int, seed: int) -> tuple[Floats, Floats]:
    """Draw guesses from Laplace's bell curve.

    Returns
    -------
    draws, noise : ndarray, shape (count, unknowns)
        The guesses, and the standard numbers they were made from, which `weigh` needs.
    """
    rng = np.random.default_rng(seed)
    noise = even_normal(rng, count, len(fitted.names))
    return fitted.best + noise @ fitted.root.T, noise


def even_normal(rng: np.random.Generator, count: int, size: int) -> Floats:
    """Bell-curve draws spread evenly (Latin hypercube; McKay et al. 1979, from memory)."""
    ranks = np.array([rng.permutation(count) for _ in range(size)]).T
    result: Floats = special.ndtri((ranks + rng.random((count, size))) / count)
    return result


def weigh(fitted: Fitted, draws: Floats, noise: Floats, curves: Floats) -> tuple[Floats, float]:
    """Weigh draws by what they truly predict (importance sampling).

    Parameters
    ----------
    draws, noise : ndarray
        From `draw`.
    curves : ndarray, shape (count, times)
        Readings each draw would have given, at ``fitted.past.time_s``; a row that is
        not a number (no solution) has no weight. [°C]

    Returns
    -------
    weights : ndarray, shape (count,)
        They add up to 1. Tempered where fewer than a fifth of the draws would count, so
        that a few draws cannot stand for all.
    effective_share : float
        Share of the draws that count before tempering: 1 if Laplace's bell curve is
        exact, below 0.1 if it is poor. [-]
    """
    whiten = _whitening(fitted.past)
    kept: NDArray[np.bool_] = np.asarray(np.isfinite(curves).all(axis=1))
    if not kept.any():
        raise SolverError("None of the guesses could be computed; please report this log.")
    miss = np.where(kept[:, None], fitted.past.reading_c - curves, 0.0)
    white = linalg.solve_triangular(whiten, miss.T, lower=True)
    log = -0.5 * ((white**2).sum(axis=0) + (draws**2).sum(axis=1) - (noise**2).sum(axis=1))
    log = np.where(kept, log - log[kept].max(), -np.inf)

    def effective(weights: Floats) -> float:
        return float(weights.sum() ** 2 / (weights**2).sum() / len(weights))

    weights = np.exp(log)
    share = effective(weights)
    power = 1.0
    while effective(weights) < _LEAST_SHARE and power > 0.05:
        power *= 0.8
        weights = np.where(kept, np.exp(power * np.where(kept, log, 0.0)), 0.0)
    return weights / weights.sum(), share


def fit(
    log: ProbeLog,
    piece: Piece,
    *,
    meat: int = 1,
    until_s: float | None = None,
    events: Iterable[Event] | None = None,
    wrap: str = "foil",
    fire: str | None = None,
    dew_point_c: float | None = None,
    pressure_pa: float = 101325.0,
    prior: Prior | None = None,
    start: Floats | None = None,
    cores: int | None = None,
) -> Fitted:
    """Fit piece, pit and probe to a log, past its lids, faults and wraps.

    Parameters
    ----------
    piece : Piece
        As stated: cut, size across, temperature at the start.
    meat : int
        Which meat probe, from 1.
    until_s : float, optional
        Pretend that the log ends there. [s]
    events : iterable of Event, optional
        What happened, such as an edited `coreward.EventList`; found in the log if None.
    wrap : str
        What a "wrapped" event means, a set of table ``wrap``.
    fire, dew_point_c, pressure_pa, prior
        See `stated_prior`; `prior` replaces the others.
    start : ndarray, optional
        Where to begin, such as ``best`` of an earlier fit.

    Raises
    ------
    InputError
        If the log has no air, or too little of the cook.
    """
    happened = tuple(find_events(log, meat, until_s) if events is None else events)
    known = [e for e in happened if until_s is None or e.time_s <= until_s]
    trusted = clean_meat(log, meat, known, until_s)
    on = [e.end_s for e in known if e.kind == "meat_on"]
    off = [e.time_s for e in known if e.kind == "pulled"]
    end = min([log.duration_s if until_s is None else float(until_s), *off])
    past = prepare_past(
        log,
        meat=meat,
        until_s=end,
        begin_s=on[0] if on else None,
        air=air_without_events(log, known, until_s),
        trusted=trusted.mask,
        segments=trusted.segment,
        # A wrap that may not have been one is no ground to stand on.
        wraps=[(e.time_s, wrap) for e in known if e.kind == "wrapped" and not e.provisional],
    )
    if prior is None:
        prior = stated_prior(piece, fire=fire, dew_point_c=dew_point_c, pressure_pa=pressure_pa)
    return fit_past(past, prior, start=start, cores=cores)


def whitened_residual(fitted: Fitted) -> Floats:
    """Return reading less best curve, in what the physics expects: 1 is usual. [-]."""
    result: Floats = linalg.solve_triangular(
        _whitening(fitted.past),
        fitted.past.reading_c - fitted.predicted_c,
        lower=True,
    )
    return result

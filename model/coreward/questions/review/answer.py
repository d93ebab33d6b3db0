"""How did it go? One page on a probe log: what was read, what it says, what it is worth.

The review judges nothing. It states what was understood and repaired, how long each
probe spent in which range, where it stood still, and how much heat treatment the samples
support at the probe point; the part without samples earns nothing.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from importlib.metadata import PackageNotFoundError, version
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from coreward import cautions, tables
from coreward.errors import InputError
from coreward.events.standstill import find_stalls, is_level
from coreward.logs.log import Channel, ProbeLog, Repair
from coreward.physics.lethality import (
    INTERPOLATION,
    Kinetics,
    equivalent_minutes,
    kinetics_names,
    lethality,
    load_kinetics,
)
from coreward.plain import apart, floored, told_as
from coreward.words import (
    Degrees,
    DegreesBetween,
    Difference,
    Lasting,
    Text,
    say,
)

Floats = NDArray[np.float64]

COLDEST = "coldest meat probe"

_LEAST_RISE_K = 1e-12
_EARNED = told_as(told=floored)


@dataclass(frozen=True)
class TimeInRange:
    """Time between two temperatures."""

    low_c: float | None
    high_c: float | None
    """Edges; None where the range is open. [°C]"""
    time_s: float
    """Counted time, gaps left out. [s]"""


@dataclass(frozen=True)
class Plateau:
    """A stretch in which a probe hardly rose, by its slope and never by its temperature."""

    kind: Literal["stall", "level end"]
    """A stall is followed by a further rise."""
    start_s: float
    end_s: float
    """Where in the log. [s]"""
    low_c: float
    high_c: float
    """Lowest and highest reading within it. [°C]"""

    @property
    def duration_s(self) -> float:
        """How long it lasted. [s]."""
        return self.end_s - self.start_s

    @property
    def name(self) -> str:
        """What it is, in words."""
        if self.kind == "stall":
            return "stall"
        level = is_level(self.high_c - self.low_c, self.duration_s)
        return "level at the end" if level else "slow climb at the end"


@dataclass(frozen=True)
class Lethality:
    """What the heat at one point is worth, with and without the error of the probe."""

    equivalent_min: float = field(metadata=_EARNED)
    equivalent_less_error_min: float = field(metadata=_EARNED)
    """Minutes at the reference temperature: by the reading, and by the reading less the probe
    error. [min]"""
    log_reduction: float | None = field(metadata=_EARNED)
    log_reduction_less_error: float | None = field(metadata=_EARNED)
    """Tenfold reductions of the stated organism; None if none was stated."""
    uncredited: tuple[Text, ...] = field(metadata=told_as("not_credited"))
    """What earned nothing, from when to when and why."""


@dataclass(frozen=True)
class ChannelReview:
    """What one probe says."""

    name: str
    role: str
    """Of the channel; `COLDEST` for the lowest of all meat probes."""
    readings: int
    """Number of samples with a reading."""
    peak_c: float
    peak_time_s: float
    """Highest reading and when it came first. [°C], [s]"""
    lowest_c: float
    """Lowest reading. [°C]"""
    ranges: tuple[TimeInRange, ...] = field(metadata=told_as("time_in_ranges"))
    """Time in each range."""
    counted_s: float
    not_counted_s: float
    """Time between neighbouring readings, and the rest of the log. [s]"""
    gaps: tuple[tuple[float, float], ...] = field(metadata=told_as("gaps_s"))
    """Stretches without a reading. [s]"""
    plateaus: tuple[Plateau, ...]
    """Meat only."""
    lethality: Lethality | None
    """Meat only; None where nothing can be said."""
    no_lethality: str = ""
    """Why there is none."""


@dataclass(frozen=True)
class Review:
    """The answer to "how did it go?" for one log."""

    source: str
    """Name of the file."""
    start: dt.datetime | None
    start_clock: dt.time | None
    """Date and time, or time of day, of the first sample."""
    duration_s: float
    interval_s: float
    """Of the log, and its median step. [s]"""
    samples: int
    """Number of rows kept."""
    understood: tuple[str, ...]
    warnings: tuple[Text, ...]
    """From the reading."""
    repairs: tuple[Repair, ...]
    """From the reading."""
    gaps: tuple[tuple[float, float], ...] = field(metadata=told_as("gaps_s"))
    """Stretches without any row. [s]"""
    channels: tuple[ChannelReview, ...]
    """One for each probe."""
    coldest: ChannelReview
    """The lowest meat reading, where every meat probe gave one."""
    kinetics: Kinetics | None = field(metadata=told_as("organism"))
    """Of the stated organism."""
    reference_c: float
    z_c: float = field(metadata=told_as("z_k"))
    probe_error_k: float
    """Of the equivalent minutes; and the error taken off. [°C], [K], [K]"""
    assumptions: tuple[Text, ...]
    caution: tuple[str, ...]
    """What the figures rest on, and what they do not say."""
    version: str
    """Of this package."""
    log: ProbeLog | None = field(default=None, repr=False, compare=False, metadata=apart())
    """What was reviewed."""


@dataclass(frozen=True)
class _Measure:
    """What the lethality of every channel is computed with."""

    kinetics: Kinetics | None
    reference_c: float
    z_c: float
    probe_error_k: float
    gap_limit_s: float


def default_ranges_c() -> tuple[float, ...]:
    """Return the edges of the table of times, from table ``review``. [°C]."""
    numbers = tables.load("review")
    return tuple(numbers[name] for name in numbers if name.startswith("band_edge_"))


def review(
    log: ProbeLog,
    *,
    organism: str | None = None,
    reference_c: float = 60.0,
    ranges_c: Sequence[float] | None = None,
    probe_error_k: float | None = None,
) -> Review:
    """Review a log.

    Parameters
    ----------
    log : ProbeLog
        From `coreward.logs.read_log`.
    organism : str, optional
        Name of a set of kinetics (`coreward.physics.lethality.kinetics_names`); without
        it no log reduction is given.
    reference_c : float
        Temperature that the equivalent minutes refer to. [°C]
    ranges_c : sequence of float, optional
        Edges of the table of times, increasing; those of `default_ranges_c` if absent.
        [°C]
    probe_error_k : float, optional
        Taken off each reading for the figures on the safe side; from table ``review`` if
        absent. [K]

    Raises
    ------
    InputError, TableError, OutOfRangeError
        If an argument cannot be used.
    """
    numbers = tables.load("review")
    edges = _checked_edges(default_ranges_c() if ranges_c is None else ranges_c)
    error = numbers["probe_error"] if probe_error_k is None else float(probe_error_k)
    if not (math.isfinite(error) and error >= 0.0):
        raise InputError(f"probe_error_k is {probe_error_k!r}; give kelvin, zero or more.")
    kinetics = None if organism is None else load_kinetics(organism)
    z_c = numbers["equivalent_z"] if kinetics is None else kinetics.z_c
    measure = _Measure(kinetics, float(reference_c), z_c, error, log.gap_limit_s)
    channels = tuple(_channel_review(log, channel, edges, measure) for channel in log.channels)
    return Review(
        source=log.source,
        start=log.start,
        start_clock=log.start_clock,
        duration_s=log.duration_s,
        interval_s=log.interval_s,
        samples=int(log.time_s.size),
        understood=log.understood,
        warnings=log.warnings,
        repairs=log.repairs,
        gaps=log.gaps,
        channels=channels,
        coldest=_coldest_review(log, edges, measure),
        kinetics=kinetics,
        reference_c=measure.reference_c,
        z_c=z_c,
        probe_error_k=error,
        assumptions=_assumptions(log, measure, numbers),
        caution=cautions.REVIEW,
        version=_version(),
        log=log,
    )


def _version() -> str:
    try:
        return version("coreward")
    except PackageNotFoundError:
        return "not installed"


def _checked_edges(ranges_c: Sequence[float]) -> tuple[float, ...]:
    edges = tuple(float(edge) for edge in ranges_c)
    rising = all(a < b for a, b in pairwise(edges))
    if not edges or not rising or not all(map(math.isfinite, edges)):
        raise InputError(f"ranges_c is {edges}; give temperatures in °C, each above the last.")
    return edges


def _assumptions(
    log: ProbeLog, measure: _Measure, numbers: tables.ParameterSet
) -> tuple[Text, ...]:
    lines: list[Text] = []
    if measure.kinetics is not None:
        kinetics = measure.kinetics
        lines.append(
            say(
                "Organism: {0}: D {1} min at {2}, z {3}, measured from {4}; source: {5} "
                "(status: {6}).",
                f"{kinetics.organism} in {kinetics.food} ({kinetics.name})",
                f"{kinetics.d_reference_min:.4g}",
                Degrees(kinetics.reference_c, None),
                Difference(kinetics.z_c),
                DegreesBetween(kinetics.valid_low_c, kinetics.valid_high_c, None),
                _citation(kinetics),
                kinetics.status,
            )
        )
    else:
        lines.append(
            say(
                "No organism was stated, so no log reduction is given; the equivalent minutes "
                "use z {0} ({1}) Name one of: {2}.",
                Difference(measure.z_c),
                numbers.record("equivalent_z").note,
                ", ".join(kinetics_names()),
            )
        )
    apart = f"{measure.gap_limit_s:.0f} s"
    lines += [
        f"Lethality: {INTERPOLATION}; nothing for a step longer than {apart} or at a missing "
        "reading.",
        "Equivalent minutes run on beyond the temperatures at which z was measured; beyond "
        "them they compare cooks, no more.",
        "Coldest point: the lowest of all meat probes, counted only where every one of them "
        "gave a reading.",
        say(
            "Probe error: {0} is taken off where it says so.", Difference(measure.probe_error_k)
        ),
        _plateau_rule(log, numbers),
        f"Ranges: straight lines between readings at most {apart} apart.",
    ]
    return tuple(lines)


def _plateau_rule(log: ProbeLog, numbers: tables.ParameterSet) -> Text:
    rise = Difference(numbers["rise_after"])
    if np.any(np.isfinite(log.air_c)):
        stall = tables.load("stall")
        return say(
            "Stall: the slope over {0}, divided by air minus meat, falls below {1} % of its "
            "largest earlier value and stays near its deepest level for at least {2}; level at "
            "the end unless the probe rises a further {3}. A gap cuts it in two.",
            Lasting(stall["slope_window"]),
            f"{stall['depth_share'] * 100:.0f}",
            Lasting(stall["shortest"]),
            rise,
        )
    return say(
        "Stall, by slope alone because the log has no air: the slope over {0} stays within "
        "±{1} % of the steepest before it for at least {2}; level at the end unless the probe "
        "rises a further {3}.",
        Lasting(numbers["slope_window"]),
        f"{numbers['plateau_share'] * 100:.0f}",
        Lasting(numbers["plateau_shortest"]),
        rise,
    )


def _citation(kinetics: Kinetics) -> str:
    cited = tables.source(kinetics.source).citation().rstrip(".")
    return f"{cited}, {kinetics.where}" if kinetics.where else cited


def _coldest_review(
    log: ProbeLog, edges: tuple[float, ...], measure: _Measure
) -> ChannelReview:
    values = np.where(log.all_meat_plugged, log.coldest_meat_c, np.nan)
    result = _channel_review(log, Channel(COLDEST, "meat", values), edges, measure)
    if all(meat.is_constant for meat in log.meats):
        return replace(result, lethality=None, no_lethality=_STUCK)
    return result


_STUCK = "cannot tell: the probe reads the same number in every row"


def _channel_review(
    log: ProbeLog, channel: Channel, edges: tuple[float, ...], measure: _Measure
) -> ChannelReview:
    time_s, values = log.time_s, channel.temperature_c
    known = channel.plugged
    readings = int(known.sum())
    if readings == 0:
        return ChannelReview(
            channel.name,
            channel.role,
            0,
            math.nan,
            math.nan,
            math.nan,
            _ranges(np.empty(0), np.empty(0), edges, 0.0),
            0.0,
            log.duration_s,
            ((0.0, log.duration_s),),
            (),
            None,
            "cannot tell: there is no reading",
        )
    times, known_values = time_s[known], values[known]
    peak = int(np.argmax(known_values))
    steps = np.diff(times)
    counted = float(steps[steps <= measure.gap_limit_s].sum())
    plateaus: tuple[Plateau, ...] = ()
    worth, why_not = None, "not a meat probe"
    if channel.role == "meat":
        plateaus = _plateaus(log, channel, measure.gap_limit_s)
        if channel.is_constant and channel.name != COLDEST:
            why_not = _STUCK
        else:
            worth, why_not = _lethality(time_s, values, measure), ""
    gaps = list(log.gaps_between(known))
    if times[0] > measure.gap_limit_s:
        gaps.insert(0, (0.0, float(times[0])))
    if log.duration_s - times[-1] > measure.gap_limit_s:
        gaps.append((float(times[-1]), log.duration_s))
    return ChannelReview(
        name=channel.name,
        role=channel.role,
        readings=readings,
        peak_c=float(known_values[peak]),
        peak_time_s=float(times[peak]),
        lowest_c=float(known_values.min()),
        ranges=_ranges(times, known_values, edges, measure.gap_limit_s),
        counted_s=counted,
        not_counted_s=max(0.0, log.duration_s - counted),
        gaps=tuple(gaps),
        plateaus=plateaus,
        lethality=worth,
        no_lethality=why_not,
    )


def _ranges(
    times: Floats, values: Floats, edges: tuple[float, ...], gap_limit_s: float
) -> tuple[TimeInRange, ...]:
    """Return the time in each range, with straight lines between neighbours."""
    steps = np.diff(times)
    near = steps <= gap_limit_s
    steps = steps[near]
    low = np.minimum(values[:-1], values[1:])[near]
    high = np.maximum(values[:-1], values[1:])[near]
    rise = high - low
    # A rise too small for its quotient to be a number is none.
    rises = rise > _LEAST_RISE_K
    total = float(steps.sum())
    below = [0.0]
    for edge in edges:
        share = np.where(
            rises,
            np.clip((edge - low) / np.where(rises, rise, 1.0), 0.0, 1.0),
            (low < edge).astype(float),
        )
        below.append(float((steps * share).sum()))
    below.append(total)
    bounds = (None, *edges, None)
    return tuple(
        TimeInRange(bounds[i], bounds[i + 1], max(0.0, below[i + 1] - below[i]))
        for i in range(len(edges) + 1)
    )


def _lethality(time_s: Floats, values: Floats, measure: _Measure) -> Lethality:
    """Return what the readings are worth; the missing ones earn nothing."""
    lower = values - measure.probe_error_k
    gap = measure.gap_limit_s

    def minutes(series: Floats) -> float:
        return equivalent_minutes(
            time_s, series, measure.reference_c, measure.z_c, max_gap_s=gap
        )

    if measure.kinetics is None:
        return Lethality(minutes(values), minutes(lower), None, None, ())
    by_reading = lethality(time_s, values, measure.kinetics, max_gap_s=gap)
    by_lower = lethality(time_s, lower, measure.kinetics, max_gap_s=gap)
    reasons = tuple(
        say("{0} to {1}: {2}", Lasting(entry.start_s), Lasting(entry.end_s), entry.reason)
        for entry in by_reading.uncredited
    )
    return Lethality(minutes(values), minutes(lower), by_reading.total, by_lower.total, reasons)


def _plateaus(log: ProbeLog, channel: Channel, gap_limit_s: float) -> tuple[Plateau, ...]:
    """Return the plateaus: against the air where the log has it, else by slope alone."""
    known = channel.plugged
    if not np.any(np.isfinite(log.air_c)):
        return find_plateaus(log.time_s[known], channel.temperature_c[known], gap_limit_s)
    known = known & np.isfinite(log.air_c)
    if known.sum() < 3:
        return ()
    times, core, air = log.time_s[known], channel.temperature_c[known], log.air_c[known]
    usable = np.ones(times.size, dtype=bool)
    for start, end in _wide_steps(times, gap_limit_s):
        # Two moments within the gap that may not be judged keep it from being bridged.
        place = int(np.searchsorted(times, end))
        inside = np.array([start + 0.01 * (end - start), end - 0.01 * (end - start)])
        core = np.insert(core, place, np.interp(inside, times, core))
        air = np.insert(air, place, np.interp(inside, times, air))
        times = np.insert(times, place, inside)
        usable = np.insert(usable, place, [False, False])
    least_rise = tables.load("review")["rise_after"]
    found = []
    for stall in find_stalls(times, core, air, usable=usable):
        within = np.append(
            core[(times >= stall.begin_s) & (times <= stall.end_s)],
            (stall.core_begin_c, stall.core_end_c),
        )
        later = core[(times > stall.end_s) & usable]
        # A gap ends what can be judged, but not the stall's being one.
        rises = later.size > 0 and bool(later.max() >= within.max() + least_rise)
        found.append(
            Plateau(
                "stall" if rises else "level end",
                stall.begin_s,
                stall.end_s,
                float(within.min()),
                float(within.max()),
            )
        )
    return tuple(found)


def find_plateaus(times: Floats, values: Floats, gap_limit_s: float) -> tuple[Plateau, ...]:
    """Find where a rising temperature stands still, by slope alone.

    For a log without air; with it the drive of the air is known and
    `coreward.events.standstill.find_stalls` tells a stall from a slow approach.

    Parameters
    ----------
    times, values : ndarray, shape (readings,)
        Readings without missing ones. [s], [°C]
    gap_limit_s : float
        No slope is taken across a longer step. [s]

    Notes
    -----
    Definition and numbers: table ``review``. The slope at a moment is that of the
    least-squares line through the window around it. A plateau is a run of moments, after
    the steepest slope so far was large enough, whose slope is within plus or minus
    ``plateau_share`` of that steepest slope. Runs that are close together and have no gap
    between them count as one.
    """
    numbers = tables.load("review")
    window, step = numbers["slope_window"], numbers["slope_step"]
    if times.size < 3 or times[-1] - times[0] < window:
        return ()
    moments = np.arange(times[0], times[-1] + 0.5 * step, step)
    level = np.interp(moments, times, values)
    for start, end in _wide_steps(times, gap_limit_s):
        level[(moments > start) & (moments < end)] = np.nan
    half = max(1, round(0.5 * window / step))
    slope = _line_slopes(level, half) / step
    share, least = numbers["plateau_share"], numbers["steepest_slope_smallest"]
    steepest = np.maximum.accumulate(np.where(np.isfinite(slope), slope, -np.inf))
    flat = (
        np.isfinite(slope)
        & (steepest >= least)
        & (np.abs(slope) <= share * np.maximum(steepest, 0.0))
    )
    found = []
    for first, end in _bridged_runs(flat, np.isfinite(slope), numbers["plateau_bridge"] / step):
        start_s, end_s = float(moments[first]), float(moments[end - 1])
        if end_s - start_s < numbers["plateau_shortest"]:
            continue
        inside = level[first:end]
        later = level[end:]
        known_later = later[np.isfinite(later)]
        rises = known_later.size > 0 and bool(
            known_later.max() >= inside.max() + numbers["rise_after"]
        )
        found.append(
            Plateau(
                "stall" if rises else "level end",
                start_s,
                end_s,
                float(inside.min()),
                float(inside.max()),
            )
        )
    return tuple(found)


def _bridged_runs(
    flat: NDArray[np.bool_], known: NDArray[np.bool_], longest_bridge: float
) -> list[tuple[int, int]]:
    """Return start and end of each run, joining those with a short, known break between."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flat.astype(np.int8), [0]))))
    runs: list[tuple[int, int]] = []
    for first, end in zip(edges[0::2].tolist(), edges[1::2].tolist(), strict=True):
        if runs and first - runs[-1][1] <= longest_bridge and known[runs[-1][1] : first].all():
            runs[-1] = (runs[-1][0], end)
        else:
            runs.append((first, end))
    return runs


def _wide_steps(times: Floats, gap_limit_s: float) -> list[tuple[float, float]]:
    wide = np.flatnonzero(np.diff(times) > gap_limit_s)
    return [(float(times[i]), float(times[i + 1])) for i in wide]


def _line_slopes(level: Floats, half: int) -> Floats:
    """Return the least-squares slope per step over a centred window; NaN at the ends."""
    slopes = np.full(level.shape, np.nan)
    if level.size < 2 * half + 1:
        return slopes
    offsets = np.arange(-half, half + 1, dtype=float)
    weights = offsets / float(np.sum(offsets**2))
    windows = np.lib.stride_tricks.sliding_window_view(level, 2 * half + 1)
    slopes[half:-half] = windows @ weights
    return slopes

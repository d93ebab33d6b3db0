"""What a verdict reads: the history of one piece, from a cook, a log or numbers.

Cooks and logs live in other modules; here they are asked only for what the protocols
below name.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol, runtime_checkable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coreward.errors import InputError
from coreward.physics.lethality import SUSPECT_COUNT, SUSPECT_SHARE, history_arrays
from coreward.words import Degrees, Text, say

Floats = NDArray[np.float64]
_RANKING_Z_C = 5.556  # of the United States meat table; only ranks places against each other
_HOT_C = 100.0


@runtime_checkable
class CookLike(Protocol):
    """A simulated cook."""

    @property
    def time_s(self) -> Floats:
        """Times. [s]."""

    @property
    def core_c(self) -> Floats:
        """Temperature of the centre. [°C]."""

    @property
    def surface_c(self) -> Floats:
        """Temperature of the surface. [°C]."""


class ChannelLike(Protocol):
    """One probe of a log."""

    @property
    def name(self) -> str:
        """Name of the column."""

    @property
    def role(self) -> str:
        """What it measures: "meat", "air" or "ambient"."""

    @property
    def temperature_c(self) -> Floats:
        """Readings, NaN where there is none. [°C]."""


@runtime_checkable
class LogLike(Protocol):
    """A probe log."""

    @property
    def time_s(self) -> Floats:
        """Times. [s]."""

    @property
    def channels(self) -> Sequence[ChannelLike]:
        """The probes."""


@dataclass(frozen=True, eq=False)
class CookRecord:
    """The history of one piece, from its first reading to its last."""

    kind: str
    """"cook" (simulated), "log" (measured) or "history" (numbers given)."""
    time_s: Floats
    coldest_c: Floats
    hottest_c: Floats
    """Lowest and highest temperature in the meat; NaN where unknown. [s], [°C] Shape
    (samples,)."""
    surface_c: Floats | None
    surface_activity: Floats | None
    air_c: Floats | None
    """Surface temperature [°C], its water activity, air. [°C]"""
    longest_gap_s: float
    """A longer step between samples is a gap. [s]"""
    faults: tuple[Text, ...]
    """What was wrong with the record and what to do about it."""
    refused: bool
    """True when nothing in the record may be credited."""
    point: Text
    """Which point in the meat it is."""
    probes: tuple[tuple[str, Floats], ...] = ()
    """The probes of the piece, where there are several. [°C]"""
    unknown_spans: tuple[tuple[float, float], ...] = ()
    """Between these an unknown time passed. [s]"""

    def known(self) -> tuple[Floats, Floats]:
        """Return times and coldest temperatures where there is a reading."""
        good = np.isfinite(self.coldest_c)
        return self.time_s[good], self.coldest_c[good]

    def gaps(self) -> tuple[tuple[float, float, float, float], ...]:
        """Start, end [s] and readings before and after [°C] of every gap."""
        time, temperature = self.known()
        wide = np.diff(time) > self.longest_gap_s
        if self.unknown_spans:
            wide |= self.spanned(time)
        return tuple(
            (
                float(time[i]),
                float(time[i + 1]),
                float(temperature[i]),
                float(temperature[i + 1]),
            )
            for i in np.flatnonzero(wide)
        )

    def spanned(self, time_s: Floats) -> NDArray[np.bool_]:
        """Return for each step between times whether an unknown time lies in it."""
        found = np.zeros(max(time_s.size - 1, 0), dtype=bool)
        for start, end in self.unknown_spans:
            found |= (time_s[:-1] < end) & (time_s[1:] > start)
        return found


def cook_record(source: Any, *, longest_gap_s: float, ceiling_c: float) -> CookRecord:
    """Read one history from a cook, from all meat probes of a log or from a pair.

    Parameters
    ----------
    source : object
        With `core_c` (a cook), with `channels` (a log), or (time_s, temperature_c).
    longest_gap_s : float
        Longest step that is not a gap. It must not follow the sampling of the record, or
        leaving samples out could turn a gap into none. [s]
    ceiling_c : float
        Readings above it are not believed. [°C]

    Raises
    ------
    InputError
        Nothing of the above, no meat probe, or a history that cannot be used.
    """
    if isinstance(source, LogLike):
        meats = [channel for channel in source.channels if channel.role == "meat"]
        return piece_record(source, meats, longest_gap_s=longest_gap_s, ceiling_c=ceiling_c)
    if isinstance(source, CookLike):
        return _from_cook(source, ceiling_c)
    if isinstance(source, (tuple, list)) and len(source) == 2:
        return _from_pair(source[0], source[1], longest_gap_s, ceiling_c)
    raise InputError(
        f"a verdict needs a cook from simulate, a log from read_log or a pair (time_s, "
        f"temperature_c); a {type(source).__name__} is none of them."
    )


def _believed(
    name: str, temperature: Floats, ceiling_c: float
) -> tuple[Floats, list[Text], bool]:
    hot = np.isfinite(temperature) & (temperature > ceiling_c) | np.isposinf(temperature)
    count = int(hot.sum())
    faults: list[Text] = []
    refused = count > SUSPECT_COUNT and count > SUSPECT_SHARE * temperature.size
    if refused:
        faults.append(
            say(
                "{0}: {1} of {2} readings lie above {3}, which wet meat cannot reach. If they "
                "are °F, read the log again as such; if not, the probe is broken, unplugged or "
                "in the air: leave it out.",
                name,
                count,
                int(temperature.size),
                Degrees(ceiling_c),
            )
        )
    elif count:
        faults.append(
            say(
                "{0}: {1} readings above {2} are not believed and earn nothing; look at the "
                "plug and the cable.",
                name,
                count,
                Degrees(ceiling_c),
            )
        )
    out_of_order = np.isneginf(temperature)
    return np.where(hot | out_of_order, np.nan, temperature), faults, refused


def _from_pair(
    time_s: ArrayLike, temperature_c: ArrayLike, longest_gap_s: float, ceiling_c: float
) -> CookRecord:
    time, temperature = history_arrays(time_s, temperature_c)
    believed, faults, refused = _believed("the history", temperature, ceiling_c)
    return CookRecord(
        kind="history",
        time_s=time,
        coldest_c=believed,
        hottest_c=believed,
        surface_c=None,
        surface_activity=None,
        air_c=None,
        longest_gap_s=longest_gap_s,
        faults=tuple(faults),
        refused=refused or not bool(np.isfinite(believed).any()),
        point="the point the history was given for",
    )


def piece_record(
    log: LogLike, meats: Sequence[ChannelLike], *, longest_gap_s: float, ceiling_c: float
) -> CookRecord:
    """Return the history of one piece from the probes in it, first to last reading.

    Raises
    ------
    InputError
        None of the probes gave a reading.
    """
    time = np.asarray(log.time_s, dtype=float)
    faults: list[Text] = []
    refused = False
    probes: list[tuple[str, Floats]] = []
    for channel in meats:
        _, readings = history_arrays(time, channel.temperature_c)
        if not np.isfinite(readings).any():
            continue
        believed, found, bad = _believed(channel.name, readings, ceiling_c)
        faults += found
        refused = refused or bad
        probes.append((channel.name, believed))
    if not probes:
        raise InputError(
            "no probe in the meat gave a reading, and air temperature never stands for the "
            "core. Name the meat channel when reading the log, or measure the core."
        )
    stack = np.vstack([values for _, values in probes])
    some = np.flatnonzero(np.isfinite(stack).any(axis=0))
    own = slice(int(some[0]), int(some[-1]) + 1) if some.size else slice(0, time.size)
    time, stack = time[own], stack[:, own]
    # Where any probe is silent the coldest one may be the silent one.
    all_there = np.isfinite(stack).all(axis=0)
    coldest = np.where(all_there, np.min(np.where(all_there, stack, 0.0), axis=0), np.nan)
    hottest = np.where(all_there, np.max(np.where(all_there, stack, 0.0), axis=0), np.nan)
    silent = int((~all_there).sum())
    if silent:
        what = "lack a probe that reads elsewhere" if len(probes) > 1 else "lack a reading"
        faults.append(
            say(
                "{0} of {1} samples {2}; the coldest point is unknown there and earns nothing.",
                silent,
                int(time.size),
                what,
            )
        )
    several = len(probes) > 1
    return CookRecord(
        kind="log",
        time_s=time,
        coldest_c=coldest,
        hottest_c=hottest,
        surface_c=None,
        surface_activity=None,
        air_c=_lowest_air(log, own),
        longest_gap_s=longest_gap_s,
        faults=tuple(faults),
        refused=refused or not bool(all_there.any()),
        point="the lowest of the probes" if several else "the probe",
        probes=tuple((name, values[own]) for name, values in probes) if several else (),
        unknown_spans=tuple(getattr(log, "unknown_spans", ())),
    )


def _lowest_air(log: LogLike, own: slice) -> Floats | None:
    """Return the lowest of the air probes; NaN where none reads."""
    air = [np.asarray(c.temperature_c, dtype=float) for c in log.channels if c.role == "air"]
    if not air:
        return None
    stack = np.vstack(air)[:, own]
    lowest = np.min(np.where(np.isfinite(stack), stack, np.inf), axis=0)
    return np.where(np.isfinite(lowest), lowest, np.nan)


def _from_cook(cook: CookLike, ceiling_c: float) -> CookRecord:
    time, core = history_arrays(cook.time_s, cook.core_c)
    field = getattr(cook, "temperature_c", None)
    coldest = hottest = core
    if field is not None and np.ndim(field) == 2 and np.shape(field)[0] == time.size:
        cells = np.column_stack((np.asarray(field, dtype=float), core))
        coldest = cells[np.arange(time.size), _least_killed(time, cells)]
        hottest = np.max(cells, axis=1)
    # A dry crust may pass boiling; the coldest point may not.
    believed, faults, refused = _believed("the simulated core", coldest, ceiling_c)
    activity = getattr(cook, "surface_water_activity", None)
    return CookRecord(
        kind="cook",
        time_s=time,
        coldest_c=believed,
        hottest_c=hottest,
        surface_c=np.asarray(cook.surface_c, dtype=float),
        surface_activity=None if activity is None else np.asarray(activity, dtype=float),
        air_c=None,
        longest_gap_s=float("inf"),
        faults=tuple(faults),
        refused=refused or not bool(np.isfinite(believed).any()),
        point="the place in the simulated piece that had the least kill so far",
    )


def _least_killed(time: Floats, cells: Floats) -> NDArray[np.intp]:
    """Cell with the least credit so far, sample by sample.

    While a piece heats this is its coldest point. In the rest the surface becomes the
    coldest but has long had its share; following the least-killed cell instead gives
    the credit of the worst place, because that minimum grows at the rate of that cell.
    """
    lower = np.minimum(cells[:-1], cells[1:])
    rate = np.power(10.0, (np.minimum(lower, _HOT_C) - _HOT_C) / _RANKING_Z_C)
    credit = np.cumsum(rate * np.diff(time)[:, None], axis=0)
    return np.asarray(np.argmin(np.vstack((cells[:1], credit)), axis=1))

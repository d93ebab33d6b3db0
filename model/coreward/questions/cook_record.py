"""What a verdict reads: one history of the coldest point, from a cook, a log or numbers.

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
    """The history a verdict is given on.

    Attributes
    ----------
    kind : str
        "cook" (simulated), "log" (measured) or "history" (numbers given).
    time_s, coldest_c, hottest_c : ndarray, shape (samples,)
        Lowest and highest temperature in the meat; NaN where unknown. [s], [°C]
    surface_c, surface_activity, air_c : ndarray or None
        Surface temperature [°C], its water activity, air. [°C]
    longest_gap_s : float
        A longer step between samples is a gap. [s]
    faults : tuple of str
        What was wrong with the record and what to do about it.
    refused : bool
        True when nothing in the record may be credited.
    point : str
        Which point in the meat it is.
    """

    kind: str
    time_s: Floats
    coldest_c: Floats
    hottest_c: Floats
    surface_c: Floats | None
    surface_activity: Floats | None
    air_c: Floats | None
    longest_gap_s: float
    faults: tuple[str, ...]
    refused: bool
    point: str

    def known(self) -> tuple[Floats, Floats]:
        """Return times and coldest temperatures where there is a reading."""
        good = np.isfinite(self.coldest_c)
        return self.time_s[good], self.coldest_c[good]

    def gaps(self) -> tuple[tuple[float, float, float, float], ...]:
        """Start, end [s] and readings before and after [°C] of every gap."""
        time, temperature = self.known()
        wide = np.flatnonzero(np.diff(time) > self.longest_gap_s)
        return tuple(
            (
                float(time[i]),
                float(time[i + 1]),
                float(temperature[i]),
                float(temperature[i + 1]),
            )
            for i in wide
        )


def cook_record(source: Any, *, longest_gap_s: float, ceiling_c: float) -> CookRecord:
    """Read the coldest point from a cook, a log or a pair (time_s, temperature_c).

    Parameters
    ----------
    source : object
        With `core_c` (a cook), with `channels` (a log), or a pair of series.
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
        return _from_log(source, longest_gap_s, ceiling_c)
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
) -> tuple[Floats, list[str], bool]:
    hot = np.isfinite(temperature) & (temperature > ceiling_c) | np.isposinf(temperature)
    count = int(hot.sum())
    faults: list[str] = []
    refused = count > SUSPECT_COUNT and count > SUSPECT_SHARE * temperature.size
    if refused:
        faults.append(
            f"{name}: {count} of {temperature.size} readings lie above {ceiling_c:g} °C, which "
            "wet meat cannot reach. If they are °F, read the log again as such (--units F, in "
            "code units='F'); if not, the probe is broken, unplugged or in the air: leave it "
            "out."
        )
    elif count:
        faults.append(
            f"{name}: {count} readings above {ceiling_c:g} °C are not believed and earn "
            "nothing; look at the plug and the cable."
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


def _from_log(log: LogLike, longest_gap_s: float, ceiling_c: float) -> CookRecord:
    time = np.asarray(log.time_s, dtype=float)
    faults: list[str] = []
    refused = False
    meats: list[Floats] = []
    for channel in log.channels:
        if channel.role != "meat":
            continue
        _, readings = history_arrays(time, channel.temperature_c)
        if not np.isfinite(readings).any():
            faults.append(
                f"{channel.name}: no reading at all (unplugged?); it is left out. Name its "
                "role "
                "or plug it in."
            )
            continue
        believed, found, bad = _believed(channel.name, readings, ceiling_c)
        faults += found
        refused = refused or bad
        if readings.size > SUSPECT_COUNT and np.nanmax(readings) == np.nanmin(readings):
            faults.append(
                f"{channel.name}: every reading is the same number: the probe may be stuck. "
                "Compare it with a second thermometer."
            )
        meats.append(believed)
    if not meats:
        raise InputError(
            "no probe in the meat gave a reading, and air temperature never stands for the "
            "core. "
            "Name the meat channel when reading the log, or measure the core."
        )
    stack = np.vstack(meats)
    # Where any probe is silent the coldest one may be the silent one.
    all_there = np.isfinite(stack).all(axis=0)
    coldest = np.where(all_there, np.min(np.where(all_there, stack, 0.0), axis=0), np.nan)
    hottest = np.where(all_there, np.max(np.where(all_there, stack, 0.0), axis=0), np.nan)
    air = [np.asarray(c.temperature_c, dtype=float) for c in log.channels if c.role == "air"]
    silent = int((~all_there).sum())
    if silent:
        faults.append(
            f"{silent} of {time.size} samples lack a probe that reads elsewhere; the coldest "
            "point is unknown there and earns nothing."
        )
    return CookRecord(
        kind="log",
        time_s=time,
        coldest_c=coldest,
        hottest_c=hottest,
        surface_c=None,
        surface_activity=None,
        air_c=air[0] if air else None,
        longest_gap_s=longest_gap_s,
        faults=tuple(faults),
        refused=refused or not bool(all_there.any()),
        point="the lowest of the probes" if len(meats) > 1 else "the probe",
    )


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

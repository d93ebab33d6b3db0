"""Killing by heat: credit for time at temperature, never more than was earned.

The one integral behind every answer is

    F = integral of 10**((T - T_ref) / z) dt,      log reduction = F / D_ref

(the general method; worked in Geankoplis, Transport Processes and Unit
Operations, section 9.12). What this module adds is the safe side.

Between two samples
    The temperature between two samples is not known. Credit is given for the
    *lower* of the two, held for the whole interval. That is a lower bound for
    every history that rises or falls steadily from sample to sample, and it is
    exact for a profile given as steps (write the jump as two samples at the
    same time). A dip that falls wholly between two samples cannot be seen by
    anyone; with ``fall_limit_k_per_s`` the interval is credited as if the
    temperature fell at that rate from the first sample on. For any history
    that never falls faster than the limit, leaving samples out, coarsening the
    record or opening a gap in it then never raises the result.
What is never credited
    Intervals that touch a missing reading, a reading above ``ceiling_c``, an
    interval longer than ``max_gap_s``; temperatures below the lowest one the
    source measured and, by default, below 54.4 °C (come-up); anything hotter
    than the highest one the source measured beyond its rate *there*.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coreward import tables
from coreward.errors import InputError, OutOfRangeError, TableError
from coreward.plain import apart
from coreward.tables.standards import MEATS
from coreward.words import Rate, Text, say

Floats = NDArray[np.float64]

SECONDS_PER_MINUTE = 60.0
CREDIT_FROM_C = 54.4
"""No kill is credited below this by default: 130 °F, the lowest row of the
FSIS meat table (Appendix A, 1999) as printed in °C; slow come-up below it makes cells
tougher (Stasiewicz et al. 2008, J. Food Prot. 71(2), abstract)."""
CEILING_C = 125.0
"""A reading above this is taken for a broken probe or for °F. Assumed: a little
above the 121.1 °C of a pressure retort, below every °F reading of a finished cook
that was given as °C (130 °F is the lowest hold in any table here)."""
SUSPECT_SHARE = 0.1
"""Assumed: when more than this share of the readings (and more than
`SUSPECT_COUNT`) lies above the ceiling, the record is in °F or the probe is
broken, and nothing in it is credited."""
SUSPECT_COUNT = 5
_LOG10 = float(np.log(10.0))
_KIND = "kinetics"
GROUPS = ("salmonella", "stec", "listeria", "perfringens cells")
"""Groups of organisms by the target that their log reductions are held against."""
_SMALL_FALL_K = 1e-3  # below this the closed form loses digits; the end value is held

INTERPOLATION = (
    "between two samples the lower of the two temperatures is credited for the whole "
    "interval (exact for steps, a lower bound for any history that is monotone between "
    "samples)"
)


@dataclass(frozen=True)
class RateCurve:
    """Credit per minute against temperature, log-linear between its knots.

    Below the first knot nothing is credited, above the last the rate stays.

    Attributes
    ----------
    temperature_c : tuple of float
        Knots, increasing. [°C]
    log10_rate : tuple of float
        log10 of the credit per minute at each knot.
    unit : str
        What the credit is, "minutes" or "log10".
    """

    temperature_c: tuple[float, ...]
    log10_rate: tuple[float, ...]
    unit: str

    def __post_init__(self) -> None:
        knots = np.asarray(self.temperature_c, dtype=float)
        rates = np.asarray(self.log10_rate, dtype=float)
        if knots.size < 2 or knots.shape != rates.shape:
            raise InputError("a rate curve needs at least two knots, each with a rate.")
        if not (np.all(np.isfinite(knots)) and np.all(np.isfinite(rates))):
            raise InputError("a rate curve needs finite knots and rates.")
        if np.any(np.diff(knots) <= 0.0):
            raise InputError("the knots of a rate curve must rise in temperature.")
        if np.any(np.diff(rates) < 0.0):
            raise InputError(
                "a rate curve must not fall with temperature: the lower of two readings "
                "would then not be the cautious one."
            )

    def rate(self, temperature_c: ArrayLike) -> Floats:
        """Credit per minute; zero below the first knot. [1/min]."""
        temperature = np.asarray(temperature_c, dtype=float)
        knots = np.asarray(self.temperature_c)
        exponent = np.interp(temperature, knots, np.asarray(self.log10_rate))
        return np.where(temperature < knots[0], 0.0, np.power(10.0, exponent))

    def primitive(self, temperature_c: ArrayLike) -> Floats:
        """Integral of the rate over temperature from the first knot. [K/min]."""
        knots = np.asarray(self.temperature_c)
        exponents = np.asarray(self.log10_rate)
        rates = np.power(10.0, exponents)
        slopes = np.append(np.diff(exponents) / np.diff(knots), 0.0) * _LOG10
        pieces = rates[:-1] * _grown(slopes[:-1], np.diff(knots))
        at_knots = np.concatenate(([0.0], np.cumsum(pieces)))
        temperature = np.maximum(np.asarray(temperature_c, dtype=float), knots[0])
        index = np.clip(np.searchsorted(knots, temperature, side="right") - 1, 0, None)
        return np.asarray(
            at_knots[index] + rates[index] * _grown(slopes[index], temperature - knots[index])
        )


def _grown(slope: Floats, width: Floats) -> Floats:
    """Integral of exp(slope·x) from 0 to width, also where the slope is zero."""
    flat = slope == 0.0
    safe = np.where(flat, 1.0, slope)
    return np.where(flat, width, np.expm1(np.where(flat, 0.0, safe * width)) / safe)


@dataclass(frozen=True)
class Kinetics:
    """How fast one organism dies in one food, and where that was measured.

    Attributes
    ----------
    name, organism, food : str
        What it is about.
    d_reference_min : float
        Minutes at `reference_c` for one tenfold reduction. [min]
    reference_c, z_c : float
        Reference temperature [°C]; kelvin for a tenfold change of D. [K]
    valid_low_c, valid_high_c : float
        Range of the source: no credit below, no faster rate above. [°C]
    d_range_min, z_range_c : tuple of float
        Spread, read as a central 95 % range.
    source, where, status, note : str
        Where it comes from and how far to trust it.
    group : str
        Which target its log reductions are held against, one of `GROUPS`.
    meats, shown_for : tuple of str
        Meats it may be used for, and those for which it is used without being asked
        for. Kinetics of your own may leave `meats` empty: then you answer for the food.
    outside_every_table : bool
        A heat-resistant strain that no table promises to kill.
    """

    name: str
    organism: str
    food: str
    d_reference_min: float
    reference_c: float
    z_c: float
    valid_low_c: float
    valid_high_c: float
    d_range_min: tuple[float, float]
    z_range_c: tuple[float, float]
    source: str
    where: str = ""
    status: str = "read"
    note: str = ""
    group: str = "salmonella"
    meats: tuple[str, ...] = ()
    shown_for: tuple[str, ...] = ()
    outside_every_table: bool = False

    def __post_init__(self) -> None:
        for name in ("d_reference_min", "z_c"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 0.0):
                raise InputError(
                    f"kinetics '{self.name}': {name} is {value!r}; it must be a positive "
                    "number."
                )
        if not self.valid_low_c < self.valid_high_c:
            raise InputError(
                f"kinetics '{self.name}': valid_low_c must lie below valid_high_c."
            )

    def serves(self, meat: str) -> bool:
        """Whether it may be used for this meat."""
        return not self.meats or meat in self.meats

    def d_minutes(self, temperature_c: ArrayLike) -> Floats:
        """D at a temperature, clamped to the range of the source. [min]."""
        temperature = np.clip(
            np.asarray(temperature_c, dtype=float), self.valid_low_c, self.valid_high_c
        )
        exponent = (self.reference_c - temperature) / self.z_c
        return np.asarray(self.d_reference_min * np.power(10.0, exponent))

    def curve(self, credit_from_c: float = CREDIT_FROM_C) -> RateCurve:
        """Log reductions per minute, cut at `credit_from_c` and the valid range."""
        low = max(self.valid_low_c, credit_from_c)
        if not low < self.valid_high_c:
            raise OutOfRangeError(
                f"kinetics '{self.name}' holds up to {self.valid_high_c:g} °C, but credit is "
                f"asked from {low:g} °C only. Lower credit_from_c or choose other kinetics "
                f"({', '.join(kinetics_names())})."
            )
        knots = (low, self.valid_high_c)
        rates = tuple(
            float((knot - self.reference_c) / self.z_c - np.log10(self.d_reference_min))
            for knot in knots
        )
        return RateCurve(knots, rates, "log10")


@dataclass(frozen=True)
class Uncredited:
    """A stretch of the record that earned nothing, why, and what to do.

    Attributes
    ----------
    kind : str
        "missing", "too hot", "gap" or "whole record".
    start_s, end_s : float
        Where in the record. [s]
    reason, remedy : str
        For a person to read.
    """

    kind: str
    start_s: float
    end_s: float
    reason: str
    remedy: str


@dataclass(frozen=True)
class LethalityHistory:
    """Credit along a history.

    Attributes
    ----------
    time_s, cumulative : ndarray, shape (samples,)
        Time [s] and credit earned up to it, in `unit`.
    total : float
        Last value of `cumulative`.
    unit : str
        "minutes" or "log10".
    uncredited : tuple of Uncredited
        What earned nothing and why.
    longest_gap_s : float
        Longest stretch without a usable reading. [s]
    interpolation : str or Say
        The rule between samples, in words.
    """

    time_s: Floats = field(metadata=apart())
    cumulative: Floats = field(metadata=apart())
    total: float
    unit: str
    uncredited: tuple[Uncredited, ...]
    longest_gap_s: float
    interpolation: Text

    @property
    def complete(self) -> bool:
        """True when no part of the record had to be left out."""
        return not self.uncredited


def history_arrays(time_s: ArrayLike, temperature_c: ArrayLike) -> tuple[Floats, Floats]:
    """Check a history and return it as two float arrays.

    Raises
    ------
    InputError
        Different lengths, not one-dimensional, no sample, a time that is missing,
        negative or earlier than the one before it. Missing *temperatures* pass:
        they earn nothing.
    """
    try:
        time = np.asarray(time_s, dtype=float)
        temperature = np.asarray(temperature_c, dtype=float)
    except (TypeError, ValueError) as fault:
        raise InputError(
            "time_s and temperature_c must be numbers (seconds and °C); write a missing "
            "reading as NaN."
        ) from fault
    if time.ndim != 1 or temperature.ndim != 1 or time.shape != temperature.shape:
        raise InputError(
            f"time_s has shape {time.shape} and temperature_c {temperature.shape}: give two "
            "one-dimensional series of equal length, one temperature for each time."
        )
    if time.size == 0:
        raise InputError("the history has no sample: give at least one time and temperature.")
    bad = np.flatnonzero(~np.isfinite(time))
    if bad.size:
        raise InputError(
            f"time_s[{bad[0]}] is not a number: leave out rows without a time, or repair the "
            "clock column."
        )
    bad = np.flatnonzero(time < 0.0)
    if bad.size:
        raise InputError(
            f"time_s[{bad[0]}] is {time[bad[0]]:g} s, before the start: count seconds from the "
            "beginning of the record (subtract the first time)."
        )
    bad = np.flatnonzero(np.diff(time) < 0.0)
    if bad.size:
        first = int(bad[0])
        raise InputError(
            f"time_s goes back from {time[first]:g} s to {time[first + 1]:g} s at row "
            f"{first + 1}: sort the record, or split it where the logger was restarted."
        )
    return time, temperature


def credit_history(
    time_s: ArrayLike,
    temperature_c: ArrayLike,
    curve: RateCurve,
    *,
    max_gap_s: float | None = None,
    ceiling_c: float = CEILING_C,
    fall_limit_k_per_s: float = 0.0,
) -> LethalityHistory:
    """Credit earned along a history at a temperature-dependent rate.

    Parameters
    ----------
    time_s, temperature_c : array_like, shape (samples,)
        The history. Equal times are allowed and mean a jump. NaN is a missing
        reading. [s], [°C]
    curve : RateCurve
        Credit per minute.
    max_gap_s : float, optional
        A longer interval earns nothing. None: no limit, right for a stated profile,
        not for a measured record. [s]
    ceiling_c : float
        Readings above it are not believed. [°C]
    fall_limit_k_per_s : float
        Fastest fall that could hide between two samples; see the module. [K/s]

    Returns
    -------
    LethalityHistory

    Raises
    ------
    InputError
        See `history_arrays`; also a negative limit.
    """
    time, temperature = history_arrays(time_s, temperature_c)
    if max_gap_s is not None and not max_gap_s > 0.0:
        raise InputError(f"max_gap_s is {max_gap_s!r}: give a positive number of seconds.")
    if not (np.isfinite(fall_limit_k_per_s) and fall_limit_k_per_s >= 0.0):
        raise InputError(
            f"fall_limit_k_per_s is {fall_limit_k_per_s!r}: give zero or a positive number."
        )
    missing = np.isnan(temperature)
    hot = ~missing & (temperature > ceiling_c)
    usable = ~missing & ~hot
    width = np.diff(time)
    counted = usable[:-1] & usable[1:]
    long_gap = np.zeros_like(counted)
    if max_gap_s is not None:
        long_gap = counted & (width > max_gap_s)
        counted &= ~long_gap
    uncredited: list[Uncredited] = []
    count_hot = int(hot.sum())
    if count_hot > SUSPECT_COUNT and count_hot > SUSPECT_SHARE * time.size:
        counted = np.zeros_like(counted)
        uncredited.append(
            Uncredited(
                "whole record",
                float(time[0]),
                float(time[-1]),
                f"{count_hot} of {time.size} readings lie above {ceiling_c:g} °C, which the "
                "inside of meat cannot reach; nothing is credited",
                "if the record is in °F, convert it ((F - 32) * 5/9) or name the unit when "
                "reading it; otherwise the probe is broken or unplugged: use another channel",
            )
        )
    uncredited += _stretches(time, missing, "missing", "no reading", _REMEDY_MISSING)
    uncredited += _stretches(
        time,
        hot,
        "too hot",
        f"reading above {ceiling_c:g} °C",
        "a broken or unplugged probe, or °F given as °C: correct the channel or its unit",
    )
    for index in np.flatnonzero(long_gap):
        uncredited.append(
            Uncredited(
                "gap",
                float(time[index]),
                float(time[index + 1]),
                f"no sample for {width[index]:g} s, more than the {max_gap_s:g} s allowed",
                _REMEDY_MISSING,
            )
        )
    credit = np.zeros(width.size)
    if np.any(counted):
        credit[counted] = _interval_credit(
            temperature[:-1][counted],
            temperature[1:][counted],
            width[counted],
            curve,
            fall_limit_k_per_s,
        )
    cumulative = np.concatenate(([0.0], np.cumsum(credit)))
    rule: Text = INTERPOLATION
    if fall_limit_k_per_s > 0.0:
        rule = say(
            "between two samples the temperature is taken to fall at {0} from the first of "
            "them (the lower of the two where the record itself falls faster)",
            Rate(fall_limit_k_per_s * SECONDS_PER_MINUTE, "min"),
        )
    return LethalityHistory(
        time_s=time,
        cumulative=cumulative,
        total=float(cumulative[-1]),
        unit=curve.unit,
        uncredited=tuple(sorted(uncredited, key=lambda item: (item.start_s, item.kind))),
        longest_gap_s=_longest_gap(time, usable),
        interpolation=rule,
    )


_REMEDY_MISSING = (
    "repeat the hold and log it without a break; a missing stretch is never filled in"
)


def _interval_credit(
    first: Floats, second: Floats, width: Floats, curve: RateCurve, fall: float
) -> Floats:
    held = curve.rate(np.minimum(first, second)) * width
    if fall > 0.0:
        lowest = first - fall * width
        tiny = fall * width < _SMALL_FALL_K
        closed = (curve.primitive(first) - curve.primitive(lowest)) / fall
        falling = np.where(tiny, curve.rate(lowest) * width, closed)
        held = np.where(second >= lowest, np.maximum(falling, 0.0), held)
    return np.asarray(held / SECONDS_PER_MINUTE)


def _stretches(
    time: Floats, flag: NDArray[np.bool_], kind: str, reason: str, remedy: str
) -> list[Uncredited]:
    """List the runs of flagged samples, widened to the good samples on both sides."""
    found = []
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flag, [False])).astype(int)))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        begin = time[max(start - 1, 0)]
        end = time[min(stop, time.size - 1)]
        what = f"{reason} ({stop - start} samples)"
        found.append(Uncredited(kind, float(begin), float(end), what, remedy))
    return found


def _longest_gap(time: Floats, usable: NDArray[np.bool_]) -> float:
    good = time[usable]
    if good.size == 0:
        return float(time[-1] - time[0])
    edges = np.concatenate(([time[0]], good, [time[-1]]))
    return float(np.max(np.diff(edges)))


def equivalent_curve(reference_c: float, z_c: float, ceiling_c: float = CEILING_C) -> RateCurve:
    """Minutes at `reference_c` per minute, without a lower cut."""
    if not np.isfinite(reference_c):
        raise InputError(f"reference_c is {reference_c!r}: give a temperature in °C.")
    if not (np.isfinite(z_c) and z_c > 0.0):
        raise InputError(
            f"z_c is {z_c!r}: give the kelvin for a tenfold change, a positive number."
        )
    absolute_zero_c = -273.15
    low = (absolute_zero_c - reference_c) / z_c
    high = (ceiling_c - reference_c) / z_c
    largest = 250.0  # powers of ten a double can still hold with room for the sum
    if high > largest:
        raise OutOfRangeError(
            f"z_c = {z_c:g} K at a reference of {reference_c:g} °C makes the credit overflow: "
            "check both (z of meat pathogens lies between 4 and 12 K)."
        )
    return RateCurve((absolute_zero_c, ceiling_c), (low, high), "minutes")


def equivalent_minutes(
    time_s: ArrayLike,
    temperature_c: ArrayLike,
    reference_c: float,
    z_c: float,
    *,
    max_gap_s: float | None = None,
    ceiling_c: float = CEILING_C,
    fall_limit_k_per_s: float = 0.0,
) -> float:
    """Minutes at a reference temperature that a history is worth, on the safe side.

    The lower of two neighbouring samples is credited for the interval between
    them, so the result never exceeds that of any history that is monotone between
    the samples. Missing readings, readings above `ceiling_c` and intervals above
    `max_gap_s` earn nothing; `credit_history` with `equivalent_curve` says which.

    Parameters
    ----------
    time_s, temperature_c : array_like, shape (samples,)
        The history; two samples at one time are a jump. [s], [°C]
    reference_c, z_c : float
        Reference temperature [°C] and kelvin for a tenfold change. [K]
    max_gap_s, ceiling_c, fall_limit_k_per_s : float
        See `credit_history`.

    Returns
    -------
    float
        Equivalent time. [min]

    Raises
    ------
    InputError, OutOfRangeError
        The history or a parameter cannot be used.

    Examples
    --------
    Geankoplis, example 9.12-1: 20 min at 71.1, 20 min at 98.9 and 33 min at 110 °C
    are printed as 2.68 min at 121.1 °C with z = 10 K.

    >>> minutes = [0, 20, 20, 40, 40, 73]
    >>> profile = [71.1, 71.1, 98.9, 98.9, 110.0, 110.0]
    >>> round(equivalent_minutes([60 * m for m in minutes], profile, 121.1, 10.0), 2)
    2.68
    """
    history = credit_history(
        time_s,
        temperature_c,
        equivalent_curve(reference_c, z_c, ceiling_c),
        max_gap_s=max_gap_s,
        ceiling_c=ceiling_c,
        fall_limit_k_per_s=fall_limit_k_per_s,
    )
    return history.total


def lethality(
    time_s: ArrayLike,
    temperature_c: ArrayLike,
    kinetics: Kinetics | str,
    *,
    credit_from_c: float = CREDIT_FROM_C,
    max_gap_s: float | None = None,
    ceiling_c: float = CEILING_C,
    fall_limit_k_per_s: float = 0.0,
) -> LethalityHistory:
    """Cumulative log reduction along a history, with what was left out and why.

    Parameters and errors as `log_reduction`.
    """
    chosen = load_kinetics(kinetics) if isinstance(kinetics, str) else kinetics
    return credit_history(
        time_s,
        temperature_c,
        chosen.curve(credit_from_c),
        max_gap_s=max_gap_s,
        ceiling_c=ceiling_c,
        fall_limit_k_per_s=fall_limit_k_per_s,
    )


def log_reduction(
    time_s: ArrayLike,
    temperature_c: ArrayLike,
    kinetics: Kinetics | str,
    *,
    credit_from_c: float = CREDIT_FROM_C,
    max_gap_s: float | None = None,
    ceiling_c: float = CEILING_C,
    fall_limit_k_per_s: float = 0.0,
) -> float:
    """Tenfold reductions of one organism along a history, on the safe side.

    Log-linear death at D(T) = D_ref·10**((T_ref - T)/z): nothing below
    `credit_from_c` or the source's lowest temperature, the rate of its highest
    temperature above that. No margin for slow heating is taken off here
    (`coreward.questions.verdict` does, and shows it).

    Parameters
    ----------
    time_s, temperature_c : array_like, shape (samples,)
        The history. [s], [°C]
    kinetics : Kinetics or str
        A set of kinetics, or the name of one (`kinetics_names`).
    credit_from_c : float
        No credit below. [°C]
    max_gap_s, ceiling_c, fall_limit_k_per_s : float
        See `credit_history`.

    Returns
    -------
    float
        log10 of the ratio of numbers before and after.

    Raises
    ------
    InputError, TableError, OutOfRangeError
        The history cannot be used; no such kinetics; nothing left to credit.
    """
    return lethality(
        time_s,
        temperature_c,
        kinetics,
        credit_from_c=credit_from_c,
        max_gap_s=max_gap_s,
        ceiling_c=ceiling_c,
        fall_limit_k_per_s=fall_limit_k_per_s,
    ).total


@lru_cache(maxsize=1)
def _all_kinetics() -> dict[str, Kinetics]:
    return {name: _from_table(tables.load(_KIND, name)) for name in tables.names(_KIND)}


def _from_table(parameters: tables.ParameterSet) -> Kinetics:
    """Kinetics of a set; refused unless it says which food it serves."""
    place = f"kinetics.toml, set {parameters.name!r}"
    d_record = parameters.record("d_reference")
    meats = _meats_of(parameters, "meats", place)
    shown_for = _meats_of(parameters, "shown_for", place)
    group, outside = parameters.text("group"), parameters.text("outside_every_table")
    if not meats:
        raise TableError(f"{place}: 'meats' is empty; name the meats it may be used for.")
    if not set(shown_for) <= set(meats):
        raise TableError(f"{place}: 'shown_for' names a meat that 'meats' does not; add it.")
    if group not in GROUPS:
        raise TableError(f"{place}: 'group' is {group!r}; write one of {', '.join(GROUPS)}.")
    if outside not in ("yes", "no"):
        raise TableError(f"{place}: 'outside_every_table' is {outside!r}; write yes or no.")
    return Kinetics(
        group=group,
        meats=meats,
        shown_for=shown_for,
        outside_every_table=outside == "yes",
        name=parameters.name,
        organism=parameters.text("organism"),
        food=parameters.text("food"),
        d_reference_min=d_record.value,
        reference_c=parameters["reference"],
        z_c=parameters["z"],
        valid_low_c=parameters["valid_low"],
        valid_high_c=parameters["valid_high"],
        d_range_min=d_record.range,
        z_range_c=parameters.record("z").range,
        source=d_record.source,
        where=d_record.where,
        status=d_record.status,
        note=parameters.note,
    )


def _meats_of(parameters: tables.ParameterSet, key: str, place: str) -> tuple[str, ...]:
    found = tuple(part.strip() for part in parameters.text(key).split(",") if part.strip())
    strange = [meat for meat in found if meat not in MEATS]
    if strange:
        raise TableError(
            f"{place}: {key!r} names {', '.join(strange)}; there are {', '.join(MEATS)}."
        )
    return found


def _shown_for(meats: Iterable[str]) -> tuple[Kinetics, ...]:
    asked = (meats,) if isinstance(meats, str) else tuple(meats)
    known = {*MEATS, *(tables.load("cut", n).text("species") for n in tables.names("cut"))}
    strange = [meat for meat in asked if meat not in known]
    if strange or not asked:
        raise InputError(
            f"no meat called {', '.join(map(repr, strange)) or 'nothing'}; "
            f"name at least one of: {', '.join(sorted(known))}."
        )
    return tuple(
        kinetics
        for kinetics in _all_kinetics().values()
        if set(asked) & set(kinetics.shown_for)
    )


def kinetics_for(meats: Iterable[str]) -> tuple[str, ...]:
    """Names of the kinetics that the table uses for a meat or a mixture, in its order.

    In a mixture every organism of each of its meats counts. A meat that no source in the
    table measured (fish) has none: nothing can then be said of kill.

    Parameters
    ----------
    meats : str or iterable of str
        Species, such as ``("turkey", "pork")``.

    Raises
    ------
    InputError
        A word that is no meat.
    """
    return tuple(found.name for found in _shown_for(meats) if not found.outside_every_table)


def outside_every_table(meats: Iterable[str]) -> tuple[Kinetics, ...]:
    """Kinetics of the heat-resistant strains that lie outside every table, for a meat.

    Measured in that meat; where none was measured in it, the most resistant ones stand in.

    Parameters
    ----------
    meats : str or iterable of str
        As for `kinetics_for`.

    Raises
    ------
    InputError
        A word that is no meat.
    """
    return tuple(found for found in _shown_for(meats) if found.outside_every_table)


def chosen_kinetics(kinetics: Kinetics | str | None, meat: str) -> Kinetics | None:
    """Kinetics that may be used for a meat: those asked for, else the table's first.

    None where the table has none for that meat. A solid that is no meat at all (an empty
    name) is served by what is asked for.

    Raises
    ------
    OutOfRangeError
        Kinetics that were not made for that meat; the message names those that were.
    TableError
        No such set.
    """
    fitting = kinetics_for(meat) if meat else ()
    if kinetics is None:
        return load_kinetics(fitting[0]) if fitting else None
    chosen = load_kinetics(kinetics) if isinstance(kinetics, str) else kinetics
    if meat and not chosen.serves(meat):
        raise OutOfRangeError(
            f"kinetics '{chosen.name}' hold for {chosen.food}, not for {meat}: "
            + (f"choose {', '.join(fitting)}." if fitting else "no kinetics here do.")
        )
    return chosen


def kinetics_names() -> tuple[str, ...]:
    """Names of the kinetics that ship with the package."""
    return tables.names(_KIND)


def load_kinetics(name: str | None = None) -> Kinetics:
    """One set of kinetics by name; the default of the table when absent.

    Raises
    ------
    TableError
        No such set; the message names near ones.
    """
    chosen = tables.load(_KIND, name).name
    return _all_kinetics()[chosen]

"""How sure is the kill: spread of the log reduction, and what would make it enough.

The integral is a view beside the hold standards, never mixed with them. Spread comes
from D and z of the kinetics, probe bias and placement, sampled together (a Latin
hypercube with a fixed seed, so that the same record gives the same answer).
Reading noise needs no term: the lower of two samples is credited, which noise lowers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from coreward.errors import InputError
from coreward.physics.lethality import CREDIT_FROM_C, Kinetics, RateCurve

Floats = NDArray[np.float64]

CONFIDENCE = 0.95
_MEMBERS = 512  # the 5 % quantile then rests on 25 of them
_SEED = 20240
_BIN_K = 0.05
_SUBSTEPS = 4
_HALF_WIDTH = float(norm.ppf(0.975))  # a range is read as central 95 %
_SECONDS_PER_MINUTE = 60.0
_LONGEST_MIN = 100_000.0
_LARGEST_SHIFT_K = 40.0
_HALVINGS = 24


@dataclass(frozen=True, eq=False)
class TimeAtTemperature:
    """How long the record is worth at each temperature, on the cold side."""

    temperature_c: Floats
    seconds: Floats
    """Lower edge of each bin [°C] and time credited in it. [s] Shape (bins,)."""


@dataclass(frozen=True, eq=False)
class Spread:
    """Members of a credit and its rate."""

    members: Floats
    """Credit of each member. Shape (members,)."""
    record: TimeAtTemperature
    """What it was computed from."""
    rates: Callable[[Floats], Floats]
    """Temperatures [°C] to credit per minute, shape (members, temperatures)."""

    @property
    def median(self) -> float:
        """Half of the members reach it."""
        return float(np.quantile(self.members, 0.5, method="lower"))

    @property
    def confident(self) -> float:
        """95 % of the members reach it."""
        return float(np.quantile(self.members, 1.0 - CONFIDENCE, method="lower"))

    def minutes_until(self, needed: float, temperature_c: float) -> float:
        """Minutes more at a temperature until 95 % of the members reach `needed`."""
        rate = self.rates(np.array([temperature_c]))[:, 0]

        def reached(minutes: float) -> bool:
            total = self.members + rate * minutes
            return float(np.quantile(total, 1.0 - CONFIDENCE, method="lower")) >= needed

        return _first(reached, _LONGEST_MIN)

    def kelvin_until(self, needed: float) -> float:
        """How much hotter the same record had to be for 95 % of the members."""
        coarse = _coarser(self.record)

        def reached(shift: float) -> bool:
            total = _credit(self.rates, coarse, shift)
            return float(np.quantile(total, 1.0 - CONFIDENCE, method="lower")) >= needed

        return _first(reached, _LARGEST_SHIFT_K)


def time_at_temperature(
    time_s: Floats, temperature_c: Floats, *, longest_gap_s: float, hidden_fall_k_per_s: float
) -> TimeAtTemperature:
    """Sort a record into time at temperature, every doubt to the cold side."""
    width = np.diff(time_s)
    first, second = temperature_c[:-1], temperature_c[1:]
    counted = (
        np.isfinite(first) & np.isfinite(second) & (width <= longest_gap_s) & (width > 0.0)
    )
    width, first, second = width[counted], first[counted], second[counted]
    within = second >= first - hidden_fall_k_per_s * width
    steps = np.arange(1, _SUBSTEPS + 1) / _SUBSTEPS
    fallen = first[:, None] - hidden_fall_k_per_s * width[:, None] * steps[None, :]
    held = np.where(within[:, None], fallen, np.minimum(first, second)[:, None])
    if hidden_fall_k_per_s == 0.0:
        held = np.repeat(np.minimum(first, second)[:, None], _SUBSTEPS, axis=1)
    bins = np.floor(held / _BIN_K + 1e-9).astype(int).ravel()
    weights = np.repeat(width / _SUBSTEPS, _SUBSTEPS)
    unique, inverse = np.unique(bins, return_inverse=True)
    seconds = np.bincount(inverse.ravel(), weights=weights, minlength=unique.size)
    return TimeAtTemperature(unique * _BIN_K, np.asarray(seconds, dtype=float))


def _coarser(record: TimeAtTemperature) -> TimeAtTemperature:
    """Group into wider bins, colder edge kept: quicker, and on the cold side."""
    edges, inverse = np.unique(np.floor(record.temperature_c), return_inverse=True)
    seconds = np.bincount(inverse.ravel(), weights=record.seconds, minlength=edges.size)
    return TimeAtTemperature(edges, np.asarray(seconds, dtype=float))


def _first(reached: Callable[[float], bool], largest: float) -> float:
    """Smallest number for which a growing condition holds, from above; inf if none."""
    if reached(0.0):
        return 0.0
    if not reached(largest):
        return float("inf")
    low, high = 0.0, 1.0
    while not reached(high):
        low, high = high, min(2.0 * high, largest)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if reached(middle) else (middle, high)
    return high


def _credit(
    rates: Callable[[Floats], Floats], record: TimeAtTemperature, shift: float
) -> Floats:
    if record.seconds.size == 0:
        return rates(np.array([0.0]))[:, 0] * 0.0
    per_minute = rates(record.temperature_c + shift)
    return np.asarray(per_minute @ (record.seconds / _SECONDS_PER_MINUTE))


@lru_cache(maxsize=1)
def _draws() -> tuple[Floats, Floats, Floats]:
    generator = np.random.default_rng(_SEED)
    centres = (np.arange(_MEMBERS) + 0.5) / _MEMBERS
    even = norm.ppf(centres) / _HALF_WIDTH
    return generator.permutation(even), generator.permutation(even), generator.permutation(even)


def _inside(record: TimeAtTemperature, low_c: float, high_c: float) -> TimeAtTemperature:
    """Leave out what no member credits, and take as one what all credit alike."""
    kept = record.temperature_c >= low_c
    capped = record.temperature_c >= high_c
    if np.count_nonzero(capped) < 2:
        return TimeAtTemperature(record.temperature_c[kept], record.seconds[kept])
    between = kept & ~capped
    at = record.temperature_c[capped][0]
    return TimeAtTemperature(
        np.append(record.temperature_c[between], at),
        np.append(record.seconds[between], np.sum(record.seconds[capped])),
    )


def _two_sided(value: float, low: float, high: float, deviate: Floats) -> Floats:
    """Spread with different widths below and above; a range is central 95 %."""
    width = np.where(deviate < 0.0, value - low, high - value)
    return np.asarray(value + deviate * width)


def kinetics_spread(
    record: TimeAtTemperature,
    kinetics: Kinetics,
    *,
    temperature_error_c: float,
    credit_from_c: float = CREDIT_FROM_C,
) -> Spread:
    """Spread of the log reduction from D, z and the temperature error.

    Parameters
    ----------
    record : TimeAtTemperature
        What the record is worth.
    kinetics : Kinetics
        Line and its ranges.
    temperature_error_c : float
        Half of the central 95 % range of probe bias and placement together. [K]
    credit_from_c : float
        No credit below. [°C]

    Raises
    ------
    InputError
        A negative error.
    """
    _check_error(temperature_error_c)
    for_d, for_z, for_t = _draws()
    log_d = _two_sided(
        np.log10(kinetics.d_reference_min),
        float(np.log10(kinetics.d_range_min[0])),
        float(np.log10(kinetics.d_range_min[1])),
        for_d,
    )
    lowest_z = 0.5 * kinetics.z_range_c[0]
    z = np.maximum(_two_sided(kinetics.z_c, *kinetics.z_range_c, for_z), lowest_z)
    bias = for_t * temperature_error_c
    low = max(kinetics.valid_low_c, credit_from_c)

    largest_bias = float(bias.max())

    def rates(temperature_c: Floats) -> Floats:
        out = np.zeros((bias.size, temperature_c.size))
        # Where no member gives credit, most of a record, there is nothing to compute.
        some = temperature_c + largest_bias >= low
        true = temperature_c[None, some] + bias[:, None]
        capped = np.minimum(true, kinetics.valid_high_c)
        exponent = (capped - kinetics.reference_c) / z[:, None] - log_d[:, None]
        credit = np.power(10.0, np.clip(exponent, -300.0, 300.0))
        out[:, some] = np.where(true < low, 0.0, credit)
        return out

    credited = _inside(record, low - largest_bias, kinetics.valid_high_c - float(bias.min()))
    return Spread(_credit(rates, credited, 0.0), record, rates)


def curve_spread(
    record: TimeAtTemperature,
    curve: RateCurve,
    *,
    temperature_error_c: float,
    slowest: float,
    fastest: float,
) -> Spread:
    """Spread of the credit of a tabulated rate.

    Parameters
    ----------
    record, temperature_error_c
        As for `kinetics_spread`.
    curve : RateCurve
        Credit per minute.
    slowest, fastest : float
        Central 95 % range of a factor on the time needed (above and below one).
    """
    _check_error(temperature_error_c)
    for_d, _, for_t = _draws()
    factor = np.power(10.0, _two_sided(0.0, np.log10(fastest), np.log10(slowest), for_d))
    bias = for_t * temperature_error_c

    def rates(temperature_c: Floats) -> Floats:
        return curve.rate(temperature_c[None, :] + bias[:, None]) / factor[:, None]

    low, high = curve.temperature_c[0], curve.temperature_c[-1]
    credited = _inside(record, low - float(bias.max()), high - float(bias.min()))
    return Spread(_credit(rates, credited, 0.0), record, rates)


def _check_error(temperature_error_c: float) -> None:
    if not (np.isfinite(temperature_error_c) and temperature_error_c >= 0.0):
        raise InputError(
            f"the temperature error is {temperature_error_c!r}: give zero or a positive "
            "number of kelvin."
        )

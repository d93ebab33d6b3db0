"""Credit is never above what the true history earned, whatever the record looks like.

The true history is linear between many knots. It is integrated twice independently of
the code under test: by Gauss-Legendre quadrature (48 nodes per segment; on a segment
the integrand is exp of a linear function, for which 48 nodes are exact to rounding for
the spans used here) and, for some, by mpmath with 30 digits.
"""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from coreward.physics.lethality import (
    Kinetics,
    equivalent_minutes,
    lethality,
    load_kinetics,
    log_reduction,
)
from coreward.questions.verdict import verdict
from coreward.units import celsius_to_fahrenheit, fahrenheit_to_celsius

Floats = NDArray[np.float64]
NODES, WEIGHTS = np.polynomial.legendre.leggauss(48)
SLACK = 1e-9  # asked for by the project; absolute, in minutes or log10


def true_credit(
    time_s: Floats, temperature_c: Floats, reference_c: float, z_c: float | Floats
) -> Floats:
    """Equivalent minutes of piecewise linear histories (last axis), by quadrature."""
    z = np.asarray(z_c)[..., None, None]
    middle = 0.5 * (temperature_c[..., :-1] + temperature_c[..., 1:])
    half = 0.5 * (temperature_c[..., 1:] - temperature_c[..., :-1])
    at_nodes = middle[..., None] + half[..., None] * NODES
    rate = np.exp((at_nodes - reference_c) * np.log(10.0) / z)
    return np.sum(0.5 * np.diff(time_s) * (rate @ WEIGHTS), axis=-1) / 60.0


def true_log_reduction(time_s: Floats, temperature_c: Floats, kinetics: Kinetics) -> Floats:
    """Log reduction of piecewise linear histories: each part between cut and cap."""
    low, high = max(kinetics.valid_low_c, 54.4), kinetics.valid_high_c

    def rate(at_c: Floats | float) -> Floats:
        exponent = (np.asarray(at_c) - kinetics.reference_c) * np.log(10.0) / kinetics.z_c
        return np.exp(exponent) / kinetics.d_reference_min

    width = np.diff(time_s)
    first, second = temperature_c[..., :-1], temperature_c[..., 1:]
    bottom, top = np.minimum(first, second), np.maximum(first, second)
    span = top - bottom
    flat = span == 0.0
    per_kelvin = width / np.where(flat, 1.0, span)
    start = np.clip(bottom, low, high)
    stop = np.maximum(np.clip(top, low, high), start)
    nodes = 0.5 * (start + stop)[..., None] + 0.5 * (stop - start)[..., None] * NODES
    between = 0.5 * (stop - start) * (rate(nodes) @ WEIGHTS) * per_kelvin
    above = np.maximum(top - np.maximum(bottom, high), 0.0) * per_kelvin * rate(high)
    held = np.where(bottom >= low, rate(np.minimum(bottom, high)) * width, 0.0)
    return np.sum(np.where(flat, held, between + above), axis=-1) / 60.0


def random_histories(
    generator: np.random.Generator, count: int, knots: int
) -> tuple[Floats, Floats]:
    """Histories with jumps, holds, uneven steps; a third noted in °F and back."""
    step = generator.choice([0.0, 1.0, 10.0, 60.0, 300.0], (count, knots - 1))
    step *= generator.uniform(0.2, 1.0, step.shape)
    time = np.concatenate((np.zeros((count, 1)), np.cumsum(step, axis=1)), axis=1)
    scattered = generator.uniform(35.0, 74.0, (count, knots))
    walk = 50.0 + np.cumsum(generator.normal(0.3, 2.0, (count, knots)), axis=1)
    hold = np.repeat(generator.uniform(50.0, 70.0, (count, 1)), knots, axis=1)
    shape = generator.integers(0, 3, (count, 1))
    temperature = np.where(shape == 0, scattered, np.where(shape == 1, walk, hold))
    temperature = np.clip(temperature, 2.0, 74.0)
    # A record kept in °F: what the code sees is what the history is.
    noted = fahrenheit_to_celsius(celsius_to_fahrenheit(temperature))
    return time, np.where(generator.random((count, 1)) < 0.3, noted, temperature)


def random_history(generator: np.random.Generator, knots: int) -> tuple[Floats, Floats]:
    time, temperature = random_histories(generator, 1, knots)
    return time[0], temperature[0]


def test_quadrature_agrees_with_thirty_digits() -> None:
    # Relative 1e-12: the quadrature is the yardstick of the big test below, so it
    # must itself be known; measured 2e-14.
    generator = np.random.default_rng(7)
    for _ in range(25):
        time, temperature = random_history(generator, 8)
        with mpmath.workdps(30):
            exact = mpmath.mpf(0)
            for i in range(7):
                width = mpmath.mpf(float(time[i + 1])) - mpmath.mpf(float(time[i]))
                a, b = (mpmath.mpf(float(temperature[i + k])) for k in (0, 1))
                rate_a = mpmath.power(10, (a - 60) / mpmath.mpf("5.5"))
                if a == b:
                    exact += rate_a * width
                else:
                    rate_b = mpmath.power(10, (b - 60) / mpmath.mpf("5.5"))
                    slope = (b - a) * mpmath.log(10) / mpmath.mpf("5.5")
                    exact += width * (rate_b - rate_a) / slope
            exact /= 60
        got = true_credit(time, temperature, 60.0, 5.5)
        assert got == pytest.approx(float(exact), rel=1e-12, abs=1e-15)
        assert equivalent_minutes(time, temperature, 60.0, 5.5) <= float(exact) + SLACK


def test_one_hundred_thousand_histories_are_never_over_credited() -> None:
    generator = np.random.default_rng(20240615)
    count = 100_000
    names = ("salmonella beef guideline", "stec beef 30% fat")
    kinetics = [load_kinetics(name) for name in names]
    time, temperature = random_histories(generator, count, 8)
    z = generator.uniform(4.5, 10.0, count)
    # Every fourth record has missing readings, every third a limit on gaps.
    missing = (generator.random((count, 8)) < 0.2) & (np.arange(count)[:, None] % 4 == 0)
    record = np.where(missing, np.nan, temperature)
    got = np.empty(count)
    for i in range(count):
        gap = (45.0 if i % 2 else 200.0) if i % 3 == 0 else None
        if i % 4 < 2:
            got[i] = equivalent_minutes(time[i], record[i], 60.0, z[i], max_gap_s=gap)
        else:
            got[i] = log_reduction(time[i], record[i], kinetics[i % 4 - 2], max_gap_s=gap)
    true = np.empty(count)
    kind = np.arange(count) % 4
    true[kind < 2] = true_credit(time[kind < 2], temperature[kind < 2], 60.0, z[kind < 2])
    for number in (0, 1):
        mine = kind == number + 2
        true[mine] = true_log_reduction(time[mine], temperature[mine], kinetics[number])
    assert np.max(got - true) <= SLACK
    # Not empty: most histories earn something, or the test would prove nothing.
    assert np.sum(got > 0.0) > count // 2


def thinned(
    generator: np.random.Generator, time: Floats, temperature: Floats
) -> tuple[Floats, Floats]:
    """Leave samples out: at random, every second one, or one long stretch."""
    keep = np.ones(time.size, dtype=bool)
    way = generator.integers(0, 3)
    if way == 0:
        keep = generator.random(time.size) < 0.5
    elif way == 1:
        keep[1::2] = False
    else:
        start = int(generator.integers(1, time.size - 1))
        keep[start : start + int(generator.integers(1, time.size))] = False
    keep[0] = keep[-1] = True
    return time[keep], temperature[keep]


def test_leaving_samples_out_never_raises_a_steady_history() -> None:
    generator = np.random.default_rng(5)
    kinetics = load_kinetics()
    for _ in range(4_000):
        time, temperature = random_history(generator, 12)
        temperature = np.sort(temperature)[:: int(generator.choice([-1, 1]))]
        full = log_reduction(time, temperature, kinetics)
        part = log_reduction(*thinned(generator, time, temperature), kinetics)
        assert part <= full + SLACK
        assert full <= true_log_reduction(time, temperature, kinetics) + SLACK


def test_leaving_samples_out_never_raises_any_history_that_falls_no_faster() -> None:
    """With a limit on the fall even a dip between two samples is covered."""
    generator = np.random.default_rng(11)
    kinetics = load_kinetics()
    raised_without_limit = 0
    for _ in range(4_000):
        fall = float(generator.uniform(0.002, 0.05))
        step = generator.uniform(1.0, 90.0, 15)
        change = np.maximum(generator.normal(0.0, 3.0, 15), -fall * step * 0.999)
        time = np.concatenate(([0.0], np.cumsum(step)))
        temperature = np.clip(58.0 + np.concatenate(([0.0], np.cumsum(change))), 40.0, 75.0)
        few = thinned(generator, time, temperature)
        full = log_reduction(time, temperature, kinetics, fall_limit_k_per_s=fall)
        part = log_reduction(*few, kinetics, fall_limit_k_per_s=fall)
        true = true_log_reduction(time, temperature, kinetics)
        assert part <= full + SLACK
        assert full <= true + SLACK
        assert part <= true + SLACK
        raised_without_limit += log_reduction(*few, kinetics) > true + SLACK
    # The limit is what does it: without it, dips between samples do get credited.
    assert raised_without_limit > 0


def test_opening_a_gap_never_raises_the_credit() -> None:
    generator = np.random.default_rng(3)
    kinetics = load_kinetics()
    for _ in range(2_500):
        time, temperature = random_history(generator, 12)
        fall = float(generator.choice([0.0, 0.01]))
        whole = lethality(time, temperature, kinetics, fall_limit_k_per_s=fall)
        start = int(generator.integers(0, 12))
        holed = temperature.copy()
        holed[start : start + int(generator.integers(1, 12))] = np.nan
        gap = lethality(time, holed, kinetics, fall_limit_k_per_s=fall)
        assert gap.total <= whole.total + SLACK
        assert not gap.complete
        shorter = log_reduction(time, temperature, kinetics, max_gap_s=50.0)
        assert shorter <= log_reduction(time, temperature, kinetics) + SLACK


def test_leaving_samples_out_never_improves_a_verdict() -> None:
    """Steady histories, thinned: no standard that was not met becomes met."""
    generator = np.random.default_rng(17)
    changed = 0
    for _ in range(150):
        time = np.cumsum(generator.uniform(5.0, 60.0, 300))
        temperature = np.sort(generator.uniform(4.0, generator.uniform(57.0, 66.0), 300))
        few = thinned(generator, time, temperature)
        full = verdict((time, temperature), meat="beef", surface="immersed", organism=())
        part = verdict(few, meat="beef", surface="immersed", organism=())
        for one, other in zip(full.standards, part.standards, strict=True):
            assert (other.held_s or 0.0) <= (one.held_s or 0.0) or other.row_c != one.row_c
            assert not (other.state == "met" and one.state != "met")
            changed += other.state != one.state
    # Thinning does cost verdicts, or nothing was tested.
    assert changed > 0


@settings(max_examples=300)
@given(
    st.lists(st.tuples(st.floats(0.0, 600.0), st.floats(-20.0, 75.0)), min_size=1, max_size=30),
    st.floats(4.0, 12.0),
)
def test_hypothesis_finds_no_over_credit(rows: list[tuple[float, float]], z: float) -> None:
    time = np.cumsum([row[0] for row in rows])
    temperature = np.array([row[1] for row in rows])
    got = equivalent_minutes(time, temperature, 70.0, z)
    assert got <= true_credit(time, temperature, 70.0, z) + SLACK


@settings(max_examples=200)
@given(st.lists(st.floats(40.0, 74.0), min_size=3, max_size=20), st.integers(1, 18))
def test_hypothesis_splitting_a_history_adds_up(values: list[float], cut: int) -> None:
    time = 30.0 * np.arange(len(values))
    temperature = np.array(values)
    cut = min(cut, len(values) - 2)
    whole = log_reduction(time, temperature, "salmonella beef guideline")
    first = log_reduction(time[: cut + 1], temperature[: cut + 1], "salmonella beef guideline")
    second = log_reduction(time[cut:], temperature[cut:], "salmonella beef guideline")
    # Sums of the same numbers in another order: rounding only.
    assert first + second == pytest.approx(whole, rel=1e-12, abs=1e-12)

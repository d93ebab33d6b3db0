"""The estimated coldest point: right where it can be known, never warmer than the probe."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from coreward.errors import InputError
from coreward.questions.verdict import verdict
from coreward.questions.verdict.coldest import probe_offset, under_the_probe
from coreward.questions.verdict.history import CookRecord, cook_record

pytestmark = pytest.mark.quick

Floats = NDArray[np.float64]
DIFFUSIVITY = 1.3e-7
HALF = 0.03


def record(time: Floats, reading: Floats) -> CookRecord:
    return cook_record((time, reading), longest_gap_s=300.0, ceiling_c=105.0)


def slab(x: float, time: Floats, modes: int = 400) -> Floats:
    """A slab from 4 °C with its surface at 70 °C, then at 20 °C from two hours on.

    The series of a slab with its surface at a fixed temperature (Carslaw and Jaeger 1959,
    from memory), and Duhamel's superposition for the second step.
    """
    n = np.arange(modes)[:, None]
    beta = (n + 0.5) * np.pi

    def left(after: Floats) -> Floats:
        terms = (2.0 * (-1.0) ** n / beta * np.cos(beta * x / HALF)) * np.exp(
            -(beta**2) * DIFFUSIVITY * np.maximum(after, 0.0) / HALF**2
        )
        return np.where(after > 0.0, terms.sum(axis=0), 1.0)

    return 70.0 - 66.0 * left(time) - 50.0 * (1.0 - left(time - 7200.0))


def test_the_centre_of_a_heated_and_then_cooled_slab() -> None:
    time = np.arange(0.0, 4 * 3600.0, 10.0)
    for offset in (0.008, 0.015, 0.022):
        reading = slab(offset, time)
        found = under_the_probe(
            record(time, reading), offset_m=offset, dimensions=1, diffusivity=DIFFUSIVITY
        ).coldest_c
        true = np.minimum(reading, slab(0.0, time))
        # Never warmer but for the mesh: 32 cells, second order, a few 0.01 K of 66 K.
        assert np.max(found - true) < 0.03
        # Colder by the lower of two readings, 10 s of at most 0.05 K/s near the surface,
        # and at first by the lag of a steady rise, which a piece from the fridge lacks.
        assert np.max(true - found) < 5.1  # from 4 °C to freezing
        # That lag fades by e in 4·offset²/(π²·diffusivity), 25 min for the widest: 0.1 K left.
        assert np.max((true - found)[time > 5400.0]) < 0.3


def test_a_probe_that_peaks_beside_the_centre_does_not_speak_for_it() -> None:
    """The quasi-steady rule gave the probe's own peak to a centre that was still colder."""
    time = np.arange(0.0, 3 * 3600.0, 10.0)
    reading = slab(0.022, time)
    peak = int(np.argmax(reading))
    found = under_the_probe(
        record(time, reading), offset_m=0.022, dimensions=1, diffusivity=DIFFUSIVITY
    ).coldest_c
    assert slab(0.0, time)[peak] < reading[peak] - 1.0
    assert found[peak] <= slab(0.0, time)[peak] + 0.03


@pytest.mark.parametrize("dimensions", [1, 2, 3])
def test_a_steady_rise_leaves_the_centre_behind_by_the_quasi_steady_lag(
    dimensions: int,
) -> None:
    # rate·offset²/(2·n·diffusivity): Carslaw and Jaeger 1959, from memory.
    time = np.arange(0.0, 4 * 3600.0, 5.0)
    reading = 10.0 + 0.003 * time
    found = under_the_probe(
        record(time, reading), offset_m=0.02, dimensions=dimensions, diffusivity=1.1e-7
    ).coldest_c
    lag = 0.003 * 0.02**2 / (2 * dimensions * 1.1e-7)
    # The lower of two readings costs one step, 0.015 K; the mesh 1/(4·32²) of the lag.
    np.testing.assert_allclose(reading - found, lag, atol=0.015 + 0.01)


@given(
    readings=st.lists(st.floats(-5.0, 95.0), min_size=3, max_size=40),
    offset=st.floats(0.0, 0.06),
    dimensions=st.sampled_from([1, 2, 3]),
)
def test_it_never_warms_the_record(
    readings: list[float], offset: float, dimensions: int
) -> None:
    time = 60.0 * np.arange(len(readings))
    before = record(time, np.array(readings))
    after = under_the_probe(
        before, offset_m=offset, dimensions=dimensions, diffusivity=DIFFUSIVITY
    )
    assert np.all(after.coldest_c <= before.coldest_c)
    # The maximum principle: no place is colder than the coldest start and boundary.
    rise = max(readings[min(5, len(readings) - 1)] - readings[0], 0.0)
    if rise == 0.0:
        assert np.min(after.coldest_c) >= min(readings) - 1e-6


def test_a_lower_reading_anywhere_never_gives_a_warmer_centre() -> None:
    time = np.arange(0.0, 3 * 3600.0, 30.0)
    reading = slab(0.015, time)
    settings = {"offset_m": 0.015, "dimensions": 1, "diffusivity": DIFFUSIVITY}
    plain = under_the_probe(record(time, reading), **settings).coldest_c  # type: ignore[arg-type]
    for at in range(40, time.size, 37):
        lower = reading.copy()
        lower[at] -= 3.0
        found = under_the_probe(record(time, lower), **settings).coldest_c  # type: ignore[arg-type]
        assert np.all(found <= plain + 1e-9)


def test_samples_that_are_missing_stay_missing_and_earn_nothing() -> None:
    time = np.arange(0.0, 3600.0, 30.0)
    reading = slab(0.015, time)
    reading[50:60] = np.nan
    found = under_the_probe(
        record(time, reading), offset_m=0.015, dimensions=1, diffusivity=DIFFUSIVITY
    ).coldest_c
    np.testing.assert_array_equal(np.isnan(found), np.isnan(reading))
    # Through the hole the lower reading holds: no warmer than the whole record gives.
    whole = under_the_probe(
        record(time, slab(0.015, time)),
        offset_m=0.015,
        dimensions=1,
        diffusivity=DIFFUSIVITY,
    ).coldest_c
    seen = np.isfinite(found)
    assert np.all(found[seen] <= whole[seen] + 1e-9)


def test_the_offset_takes_the_error_of_the_depth_away_from_the_centre() -> None:
    assert probe_offset(0.06, 0.03) == 0.0
    assert probe_offset(0.06, 0.02) == pytest.approx(0.01)
    assert probe_offset(0.06, 0.04, 0.005) == pytest.approx(0.015)
    assert probe_offset(0.06, 0.0, 0.02) == pytest.approx(0.03)
    for thickness, depth, error in (
        (0.0, 0.0, 0.0),
        (0.06, 0.07, 0.0),
        (0.06, -0.01, 0.0),
        (0.06, 0.02, float("nan")),
        (float("inf"), 0.02, 0.0),
    ):
        with pytest.raises(InputError):
            probe_offset(thickness, depth, error)


@pytest.mark.parametrize(
    "wrong",
    [{"offset_m": -0.01}, {"dimensions": 4}, {"diffusivity": 0.0}],
    ids=lambda wrong: next(iter(wrong)),
)
def test_wrong_numbers_are_refused(wrong: dict[str, float]) -> None:
    settings = {"offset_m": 0.01, "dimensions": 1, "diffusivity": DIFFUSIVITY} | wrong
    time = np.array([0.0, 60.0])
    with pytest.raises(InputError):
        under_the_probe(record(time, time), **settings)  # type: ignore[arg-type]


def test_a_verdict_on_the_estimated_centre_gives_less() -> None:
    time = np.arange(0.0, 7200.0, 30.0)
    reading = slab(0.02, time)
    at_probe = verdict((time, reading), meat="beef", surface="sealed bag")
    at_centre = verdict(
        (time, reading), meat="beef", surface="sealed bag", probe_offset_m=0.02, shape="slab"
    )
    for before, after in zip(at_probe.integrals, at_centre.integrals, strict=True):
        assert after.value < before.value

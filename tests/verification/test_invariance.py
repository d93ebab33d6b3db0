"""What must not change an answer: when, in which units, in how many stages, how finely."""

from __future__ import annotations

import numpy as np
import pytest

import coreward as cw
from coreward import units
from coreward.cook.result import Result

HOUR = 3600.0
FLAT = cw.meat("beef brisket flat")
PIECE = cw.Piece(cw.Slab(0.07), FLAT, 4.0)
PIT = cw.Surroundings(107.0, dew_point_c=35.0)
# Two runs that step differently agree to a few times the tolerance per step.
FINE = 1e-3
CLOSE_K = 0.01


def at(r: Result, times: np.ndarray, name: str = "core_c") -> np.ndarray:
    return np.interp(times, r.time_s, getattr(r, name))


def test_splitting_a_stage() -> None:
    times = np.arange(600.0, 8 * HOUR, 300.0)
    whole = cw.simulate(PIECE, cw.Stage(PIT, duration_s=8 * HOUR), tolerance=FINE)
    parts = cw.simulate(
        PIECE,
        [cw.Stage(PIT, duration_s=x * HOUR) for x in (0.7, 3.1, 4.2)],
        tolerance=FINE,
    )
    assert at(parts, times) == pytest.approx(at(whole, times), abs=CLOSE_K)
    for name in ("mass_loss_fraction", "evaporated_fraction", "dripped_fraction"):
        assert at(parts, times, name) == pytest.approx(at(whole, times, name), abs=2e-5)
    assert parts.duration_s == pytest.approx(whole.duration_s, rel=1e-12)


def test_an_empty_stage_changes_nothing() -> None:
    stage = cw.Stage(PIT, duration_s=2 * HOUR)
    plain = cw.simulate(PIECE, stage)
    with_empty = cw.simulate(PIECE, [cw.Stage(PIT, duration_s=0.0), stage])
    assert with_empty.core_c[-1] == plain.core_c[-1]
    assert with_empty.mass_loss_fraction[-1] == plain.mass_loss_fraction[-1]


def test_time_shift() -> None:
    """Two hours of nothing happening first: the same cook, two hours later."""
    idle = cw.Surroundings(4.0, dew_point_c=0.0, evaporation=False)
    cook = cw.Stage(PIT, duration_s=5 * HOUR)
    now = cw.simulate(PIECE, cook, tolerance=FINE)
    later = cw.simulate(PIECE, [cw.Stage(idle, duration_s=2 * HOUR), cook], tolerance=FINE)
    times = np.arange(600.0, 5 * HOUR, 300.0)
    assert at(later, times + 2 * HOUR) == pytest.approx(at(now, times), abs=CLOSE_K)


def test_constant_given_as_a_series() -> None:
    plain = cw.simulate(PIECE, cw.Stage(PIT, duration_s=4 * HOUR), tolerance=FINE)
    times = np.linspace(0.0, 4 * HOUR, 9)
    series = cw.Surroundings((times, np.full(9, 107.0)), dew_point_c=(times, np.full(9, 35.0)))
    given = cw.simulate(PIECE, cw.Stage(series, duration_s=4 * HOUR), tolerance=FINE)
    rows = np.arange(600.0, 4 * HOUR, 300.0)
    assert at(given, rows) == pytest.approx(at(plain, rows), abs=CLOSE_K)


def test_units() -> None:
    """Inches and °F through the edge and back: the same cook to rounding."""
    size = float(units.inches_to_metres(units.metres_to_inches(0.07)))
    air = float(units.fahrenheit_to_celsius(units.celsius_to_fahrenheit(107.0)))
    dew = (35.0 + units.KELVIN_OFFSET) - units.KELVIN_OFFSET
    a = cw.simulate(PIECE, cw.Stage(PIT, duration_s=4 * HOUR))
    b = cw.simulate(
        cw.Piece(cw.Slab(size), FLAT, 4.0),
        cw.Stage(cw.Surroundings(air, dew_point_c=dew), duration_s=4 * HOUR),
    )
    assert b.core_c[-1] == pytest.approx(a.core_c[-1], abs=1e-6)
    assert b.mass_loss_fraction[-1] == pytest.approx(a.mass_loss_fraction[-1], abs=1e-9)


def test_scale_of_size_and_time() -> None:
    """Heat alone knows only the Fourier and Biot numbers: double size, four times the time."""
    solid = cw.constant_material(0.5, 1000.0, 3500.0)

    def run(factor: float) -> Result:
        return cw.simulate(
            cw.Piece(cw.Cylinder(0.05 * factor), solid, 4.0),
            cw.Stage(
                cw.Surroundings(107.0, heat_transfer=20.0 / factor, emissivity=0.0),
                duration_s=HOUR * factor**2,
            ),
            tolerance=FINE,
        )

    assert run(2.0).core_c[-1] == pytest.approx(run(1.0).core_c[-1], abs=CLOSE_K)


def test_landing_on_a_core_temperature() -> None:
    """Ending at a core temperature and ending at its time are the same cook."""
    to_core = cw.simulate(PIECE, cw.Stage(PIT, until_core_c=65.0), tolerance=FINE)
    to_time = cw.simulate(PIECE, cw.Stage(PIT, duration_s=to_core.duration_s), tolerance=FINE)
    assert to_core.core_c[-1] == pytest.approx(65.0, abs=1e-5)
    assert to_time.core_c[-1] == pytest.approx(65.0, abs=CLOSE_K)


@pytest.mark.parametrize("closure", ["expulsion", "both"])
def test_default_resolution(closure: str) -> None:
    """60 nodes at the default tolerance: core within 0.05 K of a run much finer in both."""
    piece = cw.Piece(cw.Slab(0.07), cw.meat("beef brisket flat", transport=closure), 4.0)
    stages = [
        cw.Stage(PIT, duration_s=6 * HOUR),
        cw.Stage(PIT, duration_s=4 * HOUR, wrap="foil"),
    ]
    plain = cw.simulate(piece, stages)
    fine = cw.simulate(piece, stages, cells=240, tolerance=FINE)
    times = np.arange(600.0, min(plain.duration_s, fine.duration_s), 300.0)
    assert at(plain, times) == pytest.approx(at(fine, times), abs=0.05)
    name = "mass_loss_fraction"
    assert at(plain, times, name) == pytest.approx(at(fine, times, name), abs=1e-3)


def test_more_heat_never_cools_the_core() -> None:
    cores = [
        cw.simulate(
            PIECE,
            cw.Stage(cw.Surroundings(air, dew_point_c=35.0), duration_s=4 * HOUR),
            cells=30,
        ).core_c[-1]
        for air in (80.0, 95.0, 110.0, 125.0, 140.0)
    ]
    assert (np.diff(cores) > 0.0).all()

"""Heat alone, against exact solutions."""

from __future__ import annotations

import numpy as np
import pytest

import coreward as cw
from coreward.cook.result import Result
from coreward.evidence.series import roots, series

K, RHO, C = 0.5, 1000.0, 3500.0
SIZE = 0.08
HALF = SIZE / 2.0
DIFFUSIVITY = K / (RHO * C)
SHAPES = {"slab": cw.Slab(SIZE), "cylinder": cw.Cylinder(SIZE), "sphere": cw.Sphere(SIZE)}
BIOTS = (0.01, 0.1, 1.0, 10.0, 100.0)
START, AIR = 4.0, 104.0
SOLID = cw.constant_material(K, RHO, C)


def surroundings(air: object, biot: float) -> cw.Surroundings:
    return cw.Surroundings(
        air,  # type: ignore[arg-type]
        heat_transfer=biot * K / HALF,
        emissivity=0.0,
        evaporation=False,
    )


def cook(shape: str, stages: object, cells: int = 120, tolerance: float = 1e-3) -> Result:
    return cw.simulate(
        cw.Piece(SHAPES[shape], SOLID, START), stages, cells=cells, tolerance=tolerance
    )


def test_roots_agree_with_textbook_coefficients() -> None:
    # Cengel, Heat and Mass Transfer, table of one-term coefficients, four
    # digits; from memory, and the same in every textbook.
    for shape, biot, zeta, weight in (
        ("slab", 1.0, 0.8603, 1.1191),
        ("cylinder", 1.0, 1.2558, 1.2071),
        ("sphere", 1.0, 1.5708, 1.2732),
        ("slab", 0.01, 0.0998, 1.0017),
        ("cylinder", 100.0, 2.3809, 1.6015),
        ("sphere", 10.0, 2.8363, 1.9249),
    ):
        s = series(shape, biot)
        assert s.root[0] == pytest.approx(zeta, abs=6e-5)
        assert s.weight[0] == pytest.approx(weight, abs=6e-5)
        assert (np.diff(roots(shape, biot)) > 0).all()


@pytest.mark.parametrize("biot", BIOTS)
@pytest.mark.parametrize("shape", SHAPES)
def test_series(shape: str, biot: float) -> None:
    """Core, surface and mean from Fourier number 0.001 to 3.

    Tolerance: 0.02 % of the difference of 100 K between start and air in core
    and mean at 120 cells, a few times the largest difference seen; the surface
    at a Biot number of 100 moves by 90 K within the first seconds and is
    allowed 0.1 K.
    """
    duration = 3.0 * HALF**2 / DIFFUSIVITY
    r = cook(shape, cw.Stage(surroundings(AIR, biot), duration_s=duration))
    own_steps = np.isin(r.time_s, r.step_time_s)
    fourier = DIFFUSIVITY * r.time_s / HALF**2
    rows = own_steps & (fourier > 1e-3)
    short = rows & (fourier < 0.05)
    assert short.sum() >= 5, "short times must be covered"
    s = series(shape, biot)
    for values, exact, tolerance in (
        (r.core_c, s.at(0.0, fourier[rows]), 0.02),
        (r.surface_c, s.at(1.0, fourier[rows]), 0.1 if biot >= 10.0 else 0.02),
        (r.mean_c, s.mean(fourier[rows]), 0.02),
    ):
        assert values[rows] == pytest.approx(AIR + (START - AIR) * exact, abs=tolerance)


@pytest.mark.parametrize("shape", SHAPES)
def test_default_settings_keep_their_promise(shape: str) -> None:
    """60 cells and the default tolerance: 0.05 K in the core at every step."""
    for biot in (0.3, 3.0):
        r = cw.simulate(
            cw.Piece(SHAPES[shape], SOLID, START),
            cw.Stage(surroundings(AIR, biot), duration_s=6 * 3600.0),
        )
        rows = np.isin(r.time_s, r.step_time_s)
        exact = series(shape, biot).at(0.0, DIFFUSIVITY * r.time_s[rows] / HALF**2)
        # The series converges badly at time nought, where the answer is known.
        exact[0] = 1.0
        assert r.core_c[rows] == pytest.approx(AIR + (START - AIR) * exact, abs=0.05)


@pytest.mark.parametrize("shape", SHAPES)
def test_linear_ramp_by_duhamel(shape: str) -> None:
    """Air that rises steadily: T = T_air(t) - (T_air(0) - T_0) S - b int S."""
    biot, duration, end = 2.0, 5 * 3600.0, 120.0
    slope = (end - 20.0) / duration
    r = cook(
        shape,
        cw.Stage(surroundings(([0.0, duration], [20.0, end]), biot), duration_s=duration),
    )
    s = series(shape, biot)
    rows = np.isin(r.time_s, r.step_time_s) & (r.time_s > 5.0)
    t = r.time_s[rows]
    fourier = DIFFUSIVITY * t / HALF**2
    lag = slope * HALF**2 / DIFFUSIVITY
    for values, modes in (
        (r.core_c, s.mode(0.0)),
        (r.surface_c, s.mode(1.0)),
        (r.mean_c, s.mean_of_modes()),
    ):
        unit = s.decay(fourier) @ (s.weight * modes)
        exact = 20.0 + slope * t - (20.0 - START) * unit - lag * s.integral(modes, fourier)
        assert values[rows] == pytest.approx(exact, abs=0.02)


@pytest.mark.parametrize("shape", SHAPES)
def test_heat_then_rest(shape: str) -> None:
    """Exact second stage: the field at the end of the first, projected on new modes."""
    first, second, t1, t2 = 1.2, 0.4, 1.2 * 3600.0, 1.5 * 3600.0
    room = 22.0
    r = cook(
        shape,
        [
            cw.Stage(surroundings(107.0, first), duration_s=t1),
            cw.Stage(surroundings(room, second), duration_s=t2),
        ],
    )
    a, b = series(shape, first), series(shape, second)
    nodes, weights = np.polynomial.legendre.leggauss(400)
    x, dx = 0.5 * (nodes + 1.0), 0.5 * weights
    n = {"slab": 0, "cylinder": 1, "sphere": 2}[shape]
    count = 100
    fo1 = DIFFUSIVITY * t1 / HALF**2
    field = 107.0 + (START - 107.0) * (a.mode(x) @ (a.weight * a.decay(fo1))) - room
    modes = b.mode(x)[:, :count]
    measure = (dx * x**n)[:, None]
    weight = (field[:, None] * modes * measure).sum(0) / (modes**2 * measure).sum(0)
    rows = np.isin(r.time_s, r.step_time_s) & (r.time_s > t1 + 30.0)
    fourier = DIFFUSIVITY * (r.time_s[rows] - t1) / HALF**2
    for values, at in ((r.core_c, b.mode(0.0)), (r.surface_c, b.mode(1.0))):
        exact = room + b.decay(fourier)[:, :count] @ (weight * at[:count])
        assert values[rows] == pytest.approx(exact, abs=0.02)
    # what a cook calls carryover, and when it is over
    peak = room + (b.decay(fourier)[:, :count] @ (weight * b.mode(0.0)[:count])).max()
    assert peak > r.core_c[np.searchsorted(r.time_s, t1)] + 3.0, "a case with carryover"


@pytest.mark.parametrize("shape", SHAPES)
def test_lumped_limit(shape: str) -> None:
    """Biot 0.001: one temperature, which decays exponentially (error ~ Bi/2)."""
    biot = 1e-3
    n = {"slab": 1, "cylinder": 2, "sphere": 3}[shape]
    h = biot * K / HALF
    time_constant = RHO * C * HALF / (n * h)
    r = cook(shape, cw.Stage(surroundings(AIR, biot), duration_s=min(time_constant, 9e4)))
    expected = AIR + (START - AIR) * np.exp(-r.time_s / time_constant)
    assert r.mean_c == pytest.approx(expected, abs=100.0 * biot)
    assert np.abs(r.surface_c - r.core_c).max() < 100.0 * biot


def test_steel_ball() -> None:
    """Geankoplis, Transport Processes and Unit Operations, example 5.2-1 (read)."""
    ball = cw.Sphere(2 * 0.0254)
    steel = cw.constant_material(43.3, 7849.0, 460.6)
    r = cw.simulate(
        cw.Piece(ball, steel, 699.9 - 273.15),
        cw.Stage(
            cw.Surroundings(394.3 - 273.15, heat_transfer=11.36, emissivity=0.0),
            duration_s=3600.0,
        ),
        tolerance=1e-3,
    )
    # Printed: 474.6 K by the lumped formula, to four digits; Biot number
    # 0.0022, so the formula itself is off by about 0.1 K.
    assert r.mean_c[-1] + 273.15 == pytest.approx(474.6, abs=0.3)

"""The air of a closed pit: its vapour balance against independent integrations."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

import coreward as cw
from coreward.cook.march import (
    chamber_constants,
    chamber_share,
    fresh_vapour,
    make_forcing,
    surface_conditions,
)
from coreward.errors import InputError
from coreward.evidence.verification import solve_in_steps
from coreward.physics.body import make_mesh
from coreward.physics.chamber import (
    ChamberConstants,
    ChamberRates,
    chamber_rates,
    pascal_per_kilogram,
)
from coreward.physics.engines import fast
from coreward.physics.problem import Problem
from coreward.physics.water import saturation_pressure

FULL = bool(os.environ.get("COREWARD_FULL"))
HOUR = 3600.0
RESIDUAL = 1e-8
# Of dry air and of vapour, from the molar gas constant (CODATA 2018, exact) and the molar
# masses 28.96546 and 18.015268 g/mol (CIPM-2007 and IAPWS-95; from memory).
R_AIR = 8.314462618 / 0.02896546
R_VAPOUR = 8.314462618 / 0.018015268


def brisket(mass_kg: float = 6.95, thickness: float = 0.045, **options: object) -> cw.Piece:
    material = cw.meat("beef brisket flat", **options)  # type: ignore[arg-type]
    return cw.Piece(cw.Slab(thickness), material, 4.0, mass_kg)


def chamber(fresh: object = 1.5, **more: object) -> cw.Chamber:
    given_: dict[str, object] = {"outside_dew_point_c": 10.0, "heat_transfer": 8.0, **more}
    return cw.Chamber(107.0, fresh, **given_)  # type: ignore[arg-type]


def ratio(dew_point_c: float, pressure: float = 101325.0) -> float:
    p = saturation_pressure(dew_point_c)
    return R_AIR / R_VAPOUR * p / (pressure - p)


def test_vapour_of_fuel_follows_the_two_balances_of_dry_air_and_vapour() -> None:
    """No meat's vapour: dry air and vapour integrated apart, at constant pressure.

    The engine has one equation in which the dry air is eliminated; here both are states.
    The air warms meanwhile, so that it also breathes out.
    """
    air = ([0.0, HOUR, 3 * HOUR], [55.0, 95.0, 95.0])  # nothing boils
    fresh, water, volume, pressure = 2.0 / HOUR, 0.3 / HOUR, 0.2, 101325.0
    stage = cw.Stage(
        cw.Chamber(
            air,
            fresh * HOUR,
            outside_dew_point_c=10.0,
            water_kg_h=water * HOUR,
            volume_m3=volume,
            evaporation=False,
        ),
        duration_s=3 * HOUR,
    )
    r = cw.simulate(brisket(), stage, tolerance=0.002)

    def kelvin(t: float) -> float:
        return float(np.interp(t, *air)) + 273.15

    def rates(t: float, y: np.ndarray) -> list[float]:
        dry, vapour = y
        rise = 40.0 / HOUR if t < HOUR else 0.0
        # constant pressure: (R_a m_a' + R_v m_v') T + (R_a m_a + R_v m_v) T' = 0
        bring = R_AIR * fresh + R_VAPOUR * (fresh * ratio(10.0) + water)
        swell = (R_AIR * dry + R_VAPOUR * vapour) * rise / kelvin(t)
        out = (bring + swell) / (R_AIR + R_VAPOUR * vapour / dry)
        return [fresh - out, fresh * ratio(10.0) + water - out * vapour / dry]

    p0 = saturation_pressure(10.0)
    start = [
        (pressure - p0) * volume / (R_AIR * kelvin(0.0)),
        p0 * volume / (R_VAPOUR * kelvin(0.0)),
    ]
    times = np.linspace(0.0, 3 * HOUR, 181)
    exact = solve_ivp(
        rates, (0.0, 3 * HOUR), start, t_eval=times, rtol=1e-9, atol=1e-12, max_step=60.0
    )
    partial = exact.y[1] * R_VAPOUR * np.array([kelvin(t) for t in times]) / volume
    ours = np.interp(times, r.time_s, r.environment[:, 2])
    # Between the solver's steps the rows are straight lines; 0.5 % is 0.1 K of dew point.
    assert ours == pytest.approx(partial, rel=5e-3)
    assert ours[-1] == pytest.approx(partial[-1], rel=1e-4)
    assert r.balance.vapour < RESIDUAL


def test_in_the_end_what_the_meat_gives_off_is_what_the_air_carries_away() -> None:
    """Late in a cook the air is nearly steady: V (Y - Y_0) = e A."""
    r = cw.simulate(brisket(), cw.Stage(chamber(), duration_s=8 * HOUR))
    row = int(np.searchsorted(r.time_s, 6 * HOUR))
    piece_area = r.piece.surface_m2
    assert piece_area == pytest.approx(0.3, rel=0.01)
    given_off = r.surface["evaporation"][row] * piece_area
    carried = 1.5 / HOUR * (ratio(r.dew_point_c[row]) - ratio(10.0))
    # Storage in 0.1 m³ while the dew point falls by a few kelvin an hour is under 1 %.
    assert given_off == pytest.approx(carried, rel=0.02)


@pytest.mark.parametrize("closure", ["expulsion", "swelling_pressure"])
def test_much_air_is_the_air_outside(closure: str) -> None:
    """With 5000 kg/h the chamber is surroundings with the dew point of the outside."""
    stages = [
        cw.Stage(around, duration_s=6 * HOUR)
        for around in (
            chamber(5000.0),
            cw.Surroundings(107.0, dew_point_c=10.0, heat_transfer=8.0),
        )
    ]
    airy, given_ = (cw.simulate(brisket(transport=closure), stage) for stage in stages)
    times = np.linspace(0.0, 6 * HOUR, 100)
    a = np.interp(times, airy.time_s, airy.core_c)
    b = np.interp(times, given_.time_s, given_.core_c)
    # Its 0.5 kg/h of vapour is 1e-4 kg/kg more than the 7.6e-3 outside: 0.2 K of dew point.
    assert a == pytest.approx(b, abs=0.1)
    assert airy.dew_point_c[-1] == pytest.approx(10.0, abs=0.3)


def test_a_sealed_chamber_stops_drying() -> None:
    """Nothing carries vapour off: the surface stops losing water as the air fills."""
    sealed = cw.simulate(brisket(), cw.Stage(chamber(0.0), duration_s=4 * HOUR))
    aired = cw.simulate(brisket(), cw.Stage(chamber(8.0), duration_s=4 * HOUR))
    assert sealed.evaporated_fraction[-1] < 0.2 * aired.evaporated_fraction[-1]
    assert sealed.balance.vapour < RESIDUAL


def test_cold_walls_take_vapour_out() -> None:
    """Walls below the dew point dry the air, and no further than to their own saturation."""
    warm = cw.simulate(brisket(), cw.Stage(chamber(1.0), duration_s=5 * HOUR))
    cold = cw.simulate(brisket(), cw.Stage(chamber(1.0, wall_c=50.0), duration_s=5 * HOUR))
    row = int(np.searchsorted(cold.time_s, 3 * HOUR))
    assert (
        50.0 < cold.dew_point_c[row] < np.interp(3 * HOUR, warm.time_s, warm.dew_point_c) - 3.0
    )
    assert cold.balance.vapour < RESIDUAL


def test_more_meat_makes_damper_air_and_a_pan_does_too() -> None:
    def damp(piece: cw.Piece, around: cw.Chamber) -> float:
        r = cw.simulate(piece, cw.Stage(around, duration_s=3 * HOUR))
        return float(r.dew_point_c[-1])

    alone = damp(brisket(), chamber(5.0))
    assert damp(brisket(14.0), chamber(5.0)) > alone + 5.0
    assert damp(brisket(), chamber(5.0, water_kg_h=0.5)) > alone + 5.0


def test_a_vent_that_is_opened_and_a_stage_that_follows_keep_the_air() -> None:
    """The humidity does not jump where a stage ends; an opened vent lets it fall."""
    stages = (
        cw.Stage(chamber(1.5), duration_s=4 * HOUR),
        cw.Stage(chamber(1.5), duration_s=600.0),
        cw.Stage(chamber(20.0), duration_s=HOUR),
    )
    r = cw.simulate(brisket(), stages)
    dew = np.interp([4 * HOUR - 60, 4 * HOUR + 60, 5 * HOUR], r.time_s, r.dew_point_c)
    assert abs(dew[1] - dew[0]) < 0.5
    assert dew[2] < dew[1] - 10.0
    once = cw.simulate(brisket(), cw.Stage(chamber(1.5), duration_s=4 * HOUR + 600.0))
    at = 4 * HOUR + 500.0
    assert np.interp(at, r.time_s, r.dew_point_c) == pytest.approx(
        np.interp(at, once.time_s, once.dew_point_c), abs=0.05
    )


def test_air_that_jumps_between_stages_swells_or_draws_in() -> None:
    """Heated at once steam stays steam and no more; cooled at once fresh air dilutes it."""
    full = cw.Stage(cw.Chamber(99.0, 0.0, water_kg_h=1.0), duration_s=2 * HOUR)
    hot = cw.simulate(brisket(), (full, cw.Stage(cw.Chamber(180.0, 0.0), duration_s=60.0)))
    assert hot.environment[:, 2].max() <= 1.005 * 101325.0
    assert hot.environment[-1, 2] > 0.9 * 101325.0
    cold = cw.simulate(brisket(), (full, cw.Stage(cw.Chamber(30.0, 0.0), duration_s=1.0)))
    row = int(np.argmax(cold.stage_index == 1))
    # By the ratio of the temperatures, and of dry outside air the rest.
    left = 303.15 / 372.15
    expected = left * cold.environment[row - 1, 2] + (1.0 - left) * saturation_pressure(8.0)
    assert cold.environment[row, 2] == pytest.approx(expected, rel=0.01)


def test_a_sealed_and_idle_chamber_closes_too() -> None:
    idle = cw.Chamber(60.0, 0.0, evaporation=False)
    r = cw.simulate(brisket(), cw.Stage(idle, duration_s=HOUR))
    assert r.balance.vapour == 0.0


def test_the_units_of_the_mesh_do_not_matter() -> None:
    """The same surface as slab or ball meets the same flows."""
    for shape in (cw.Slab(0.05), cw.Cylinder(0.08), cw.Sphere(0.1)):
        piece = cw.Piece(shape, cw.meat("beef brisket flat"), 4.0, 2.0)
        mesh = make_mesh(shape, 60)
        volume = chamber_share(piece, mesh) * mesh.volume.sum()
        assert volume == pytest.approx(2.0 / piece.material.raw_density, rel=1e-9)


def test_order_in_time_with_the_air_as_a_state() -> None:
    """Half an hour of a cook in steps of equal length: close to third order, the air too.

    From an hour into the cook, so that no initial layer is left; the corners of meat that
    begins to let go of water remain, as without a chamber: the order asked for is 2.5.
    """
    piece = brisket(**cw.FLOWING)
    mesh = make_mesh(piece.shape, 30)
    around = chamber()
    forcing, _ = make_forcing(piece, around, HOUR, mesh)
    room = chamber_constants(piece, around, mesh)
    start = np.full(30, 4.0)
    stage = cw.Stage(around, duration_s=HOUR)
    problem = Problem(
        shape=piece.shape,
        mesh=mesh,
        material=piece.material.constants,
        conditions=surface_conditions(piece, stage),
        forcing=forcing,
        temperature_c=start,
        water=np.full(30, piece.material.constants.raw_water),
        film=0.0,
        highest_c=start.copy(),
        duration_s=HOUR,
        until_core_c=None,
        tolerance=1e-4,
        chamber=room,
        vapour=fresh_vapour(forcing, room),
    )
    warm = fast.solve(problem)
    assert warm.vapour is not None
    problem = replace(
        problem,
        temperature_c=warm.temperature_c[-1],
        water=warm.water[-1],
        film=float(warm.film[-1]),
        highest_c=warm.highest_c[-1],
        duration_s=1800.0,
        vapour=float(warm.vapour[-1]),
    )
    fine = solve_in_steps(problem, 4096)
    assert fine.vapour is not None
    heat, air = [], []
    for steps in (64, 128, 256):
        raw = solve_in_steps(problem, steps)
        assert raw.vapour is not None
        heat.append(float(np.abs(raw.temperature_c[-1] - fine.temperature_c[-1]).max()))
        air.append(abs(float(raw.vapour[-1] / fine.vapour[-1] - 1.0)))
    print(heat, air)
    for errors in (heat, air):
        assert np.log2(errors[-2] / errors[-1]) > 2.5
    assert air[0] < 1e-3


def test_what_cannot_be_is_refused_with_the_remedy() -> None:
    with pytest.raises(InputError, match="raw mass"):
        cw.simulate(replace(brisket(), mass_kg=None), cw.Stage(chamber(), duration_s=HOUR))
    with pytest.raises(InputError, match="dew point outside, 20 °C, is above"):
        chamber(outside_dew_point_c=20.0)
    with pytest.raises(InputError, match="volume of the chamber"):
        chamber(volume_m3=0.0)
    with pytest.raises(InputError, match="fresh air"):
        chamber(-1.0)
    with pytest.raises(InputError, match="mass of the piece"):
        brisket(mass_kg=-1.0)


# It closes or it does not, in each of nine kinds of cook, and a cook takes half a second: more
# of them with the full list.
@settings(
    max_examples=40 if FULL else 15, suppress_health_check=list(HealthCheck), deadline=None
)
@given(
    air=st.floats(60.0, 160.0),
    fresh=st.floats(0.0, 60.0),
    water=st.floats(0.0, 1.0),
    volume=st.floats(0.02, 2.0),
    wall=st.one_of(st.none(), st.floats(20.0, 160.0)),
    mass=st.floats(0.5, 20.0),
    thickness=st.floats(0.02, 0.12),
    closure=st.sampled_from(["expulsion", "swelling_pressure", "both"]),
    wrap=st.sampled_from([None, "foil", "paper"]),
)
def test_random_chambers_close(
    air: float,
    fresh: float,
    water: float,
    volume: float,
    wall: float | None,
    mass: float,
    thickness: float,
    closure: str,
    wrap: str | None,
) -> None:
    around = cw.Chamber(air, fresh, water_kg_h=water, volume_m3=volume, wall_c=wall)
    stages = (
        cw.Stage(around, duration_s=2 * HOUR),
        cw.Stage(around, duration_s=HOUR, wrap=wrap),
    )
    r = cw.simulate(brisket(mass, thickness, transport=closure), stages)
    assert max(r.balance.energy, r.balance.water, r.balance.vapour) < RESIDUAL
    assert (r.environment[:, 2] >= 0.0).all()
    # Without fresh air it becomes steam; the last ten-thousandth of dry air never leaves.
    assert (r.environment[:, 2] <= 1.005 * 101325.0).all()
    assert max(record.steps for record in r.records) < 5000


@pytest.mark.parametrize("share_of_steam", [0.3, 0.99, 0.99995, 1.0001, 1.01])
def test_slopes_of_the_air(share_of_steam: float) -> None:
    """By differences, in steam too: there the slope once was that of damp air."""
    r = ChamberConstants(True, 0.1, 101325.0, 0.5, 5.0)
    at = share_of_steam * r.pressure / pascal_per_kilogram(120.0, r)
    step = 1e-7 * at

    def rates(vapour: float) -> ChamberRates:
        return chamber_rates(vapour, 2e-4, 120.0, 0.0, 130.0, 4e-4, 1e-5, 0.007, 0.918, r)

    difference = (rates(at + step).rate - rates(at - step).rate) / (2.0 * step)
    assert rates(at).rate_dv == pytest.approx(difference, rel=1e-3)


@pytest.mark.parametrize("wall_c", [30.0, 90.0])
@pytest.mark.parametrize("air_rise", [-0.01, 0.0, 0.01])
def test_the_rate_is_that_of_its_terms(air_rise: float, wall_c: float) -> None:
    """Fresh air, fuel, meat, cold walls, and what warming air breathes out: by hand."""
    air_c, fresh, brought, y0, meat = 120.0, 4e-4, 1e-5, 0.007, 2e-4
    r = ChamberConstants(True, 0.1, 101325.0, 0.5, 5.0)
    vapour = 0.02
    p = vapour * R_VAPOUR * (air_c + 273.15) / r.volume
    y = R_AIR / R_VAPOUR * p / (r.pressure - p)
    swell = r.pressure * r.volume * air_rise / (R_AIR * (air_c + 273.15) ** 2)
    rates = chamber_rates(vapour, meat, air_c, air_rise, wall_c, fresh, brought, y0, 0.918, r)
    assert (rates.condensed > 0.0) == (p > saturation_pressure(wall_c))
    came = (fresh + max(-swell, 0.0)) * y0 + brought
    assert rates.carried_in == pytest.approx(came, rel=1e-5)
    gain = came + meat - rates.condensed - (fresh + max(swell, 0.0)) * y
    # The test's own gas constants are the engine's to 1e-5.
    assert rates.rate == pytest.approx((1.0 - p / r.pressure) * gain, rel=1e-4)
    # What does not stay has left: the balance of the air closes.
    left = came + meat - rates.condensed - rates.rate
    assert rates.carried_out == pytest.approx(left, rel=1e-9)

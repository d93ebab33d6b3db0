"""Single terms of the statement, each against an answer worked out separately.

The engines share the statement, so their agreement cannot show that a term in
it is wrong. These tests can: formulas are written down again here, in plain
arithmetic, and small problems are chosen in which one term acts alone.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.physics import statement
from coreward.physics.body import Slab
from coreward.physics.engines import fast
from coreward.physics.exchange import wet_surface_temperature
from coreward.physics.problem import LEDGER
from coreward.physics.water import saturation_pressure
from verification.made_up import bare_constants, conditions, problem, steady

# CODATA 2018; molar mass of water of IAPWS-95.
STEFAN_BOLTZMANN = 5.670374419e-8
GAS = 8.314462618
WATER_MOLAR_MASS = 0.018015268
PRESSURE = 101325.0
FLAT = cw.meat("beef brisket flat").constants


def evaporation_by_hand(
    t_s: float, a_w: float, air_c: float, p_v: float, h: float
) -> tuple[float, float]:
    """Mass flux and vapour pressure by Chilton-Colburn and Stefan, from scratch."""
    t_f = 0.5 * (air_c + t_s) + 273.15
    # humid air as ideal gases, 1006 and 1880 J/(kg K): 1 % of the package's own
    dry = (PRESSURE - p_v) * 0.0289652 / (GAS * t_f)
    rho_cp = dry * 1006.0 + p_v * WATER_MOLAR_MASS / (GAS * t_f) * 1880.0
    lewis_power = tables.load("surface")["lewis_number_power"]
    k_m = h / (rho_cp * lewis_power)
    p_s = a_w * saturation_pressure(t_s)
    concentration = PRESSURE * WATER_MOLAR_MASS / (GAS * t_f)
    return k_m * concentration * math.log((PRESSURE - p_v) / (PRESSURE - p_s)), p_s


@pytest.mark.parametrize("t_s", [20.0, 60.0, 85.0, 95.0])
@pytest.mark.parametrize("dew", [5.0, 40.0, 70.0])
def test_wet_surface(t_s: float, dew: float) -> None:
    """Film evaporation or condensation, convection and radiation, by hand, to 2 %."""
    air, wall, h, emissivity = 110.0, 90.0, 12.0, 0.8
    p_v = saturation_pressure(dew)
    c = conditions()._replace(emissivity=emissivity)
    thick = 1e4 * FLAT.film_scale  # the film covers everything
    x = statement.surface_exchange(t_s, FLAT.raw_water, thick, t_s, air, wall, p_v, h, c, FLAT)
    expected, _ = evaporation_by_hand(t_s, 1.0, air, p_v, h)
    assert x.film_evaporation == pytest.approx(expected, rel=0.02)
    assert (x.film_evaporation > 0.0) == (t_s > dew)
    assert x.solid_evaporation == pytest.approx(0.0, abs=2e-4 * abs(expected))
    assert x.convection == pytest.approx(h * (air - t_s))
    assert x.radiation == pytest.approx(
        emissivity * STEFAN_BOLTZMANN * ((wall + 273.15) ** 4 - (t_s + 273.15) ** 4)
    )


@pytest.mark.parametrize("ratio", [0.05, 0.15, 0.4, 1.0])
def test_dry_surface(ratio: float) -> None:
    """Evaporation from the solid follows its isotherm: GAB written out again."""
    t_s, air, h = 70.0, 110.0, 12.0
    p_v = saturation_pressure(10.0)
    w = ratio * FLAT.solids_density
    a = statement.water_activity(w, FLAT)
    ka = FLAT.gab_k * a
    gab = FLAT.monolayer * FLAT.gab_c * ka / ((1 - ka) * (1 + (FLAT.gab_c - 1) * ka))
    assert gab == pytest.approx(ratio, rel=1e-9)
    x = statement.surface_exchange(t_s, w, 0.0, t_s, air, air, p_v, h, conditions(), FLAT)
    expected, _ = evaporation_by_hand(t_s, a, air, p_v, h)
    assert x.solid_evaporation == pytest.approx(expected, rel=0.02)
    assert x.film_evaporation == 0.0


def test_vapour_takes_its_latent_heat() -> None:
    """Enthalpy of vapour above water of 0 °C: 2501 at 0, 2676 at 100 °C, kJ/kg.

    Steam tables, four digits, from memory.
    """
    assert statement.vapour_enthalpy(0.01, FLAT) == pytest.approx(2501e3, rel=1e-3)
    assert statement.vapour_enthalpy(100.0, FLAT) == pytest.approx(2676e3, rel=2e-3)


@pytest.mark.parametrize("film", [1e-6, 2e-3, 0.05, 0.5])
@pytest.mark.parametrize("t_s", [30.0, 80.0, 99.9, 101.0, 140.0])
def test_slopes(t_s: float, film: float) -> None:
    """The slopes the implicit solver uses are those of the fluxes."""
    w, air, p_v, h = 0.3 * FLAT.solids_density, 120.0, saturation_pressure(35.0), 15.0
    c = conditions()._replace(emissivity=0.9, thermal_resistance=0.01, juice_capacity=0.2)

    def flux(dt: float = 0.0, dw: float = 0.0, ds: float = 0.0) -> statement.SurfaceFluxes:
        return statement.surface_exchange(
            t_s + dt, w + dw, film + ds, 150.0, air, 100.0, p_v, h, c, FLAT
        )

    x = flux()

    def slope(name: str, **step: float) -> float:
        (size,) = step.values()
        a, b = flux(**step), flux(**{k: -v for k, v in step.items()})
        return (getattr(a, name) - getattr(b, name)) / (2.0 * size)

    def close(value: float, by_difference: float) -> None:
        # the mass coefficient's own slope is left out of the solver's: 2 %
        assert value == pytest.approx(by_difference, rel=0.03, abs=1e-9)

    heat = flux(dt=1e-3).convection + flux(dt=1e-3).radiation - x.convection - x.radiation
    assert x.heat_slope == pytest.approx(heat / 1e-3, rel=0.01)
    for name in ("film_evaporation", "solid_evaporation", "film_boiling"):
        close(getattr(x, f"{name}_ds"), slope(name, ds=1e-7))
        if x.film_evaporation + x.solid_evaporation > 1e-6:
            close(getattr(x, f"{name}_dt"), slope(name, dt=1e-4))
    close(x.drip_ds, slope("drip", ds=1e-7))
    close(x.rewetting_ds, slope("rewetting", ds=1e-7))
    close(x.solid_evaporation_dw, slope("solid_evaporation", dw=1e-3))


def test_enthalpy_and_heat_capacity_belong_together() -> None:
    temperatures = np.linspace(-0.5, 99.0, 200)
    for w in (50.0, FLAT.raw_water):
        for t in temperatures:
            d = 1e-4
            by_difference = (
                statement.enthalpy(t + d, w, -5.0, FLAT)
                - statement.enthalpy(t - d, w, -5.0, FLAT)
            ) / (2 * d)
            assert statement.heat_capacity(t, w, -5.0, FLAT) == pytest.approx(
                by_difference, rel=1e-5
            )
    # what is not undone: cooling gives nothing back
    again = statement.heat_capacity(65.0, 500.0, 95.0, FLAT)
    first = statement.heat_capacity(65.0, 500.0, 20.0, FLAT)
    assert again < first


def test_wet_piece_settles_at_the_wet_surface_temperature() -> None:
    """A thin slab under a thick film takes the temperature of the steady balance."""
    air, dew, h = 110.0, 35.0, 12.0
    forcing = steady(air, h, saturation_pressure(dew))
    m = FLAT._replace(expulsion_rate=0.0)
    p = problem(Slab(0.004), m, forcing, cells=6, duration_s=2400.0, temperature_c=40.0)
    p = replace(p, film=20.0, conditions=p.conditions._replace(juice_capacity=100.0))
    raw = fast.solve(p)
    expected = wet_surface_temperature(air, dew, h, emissivity=0.0)
    assert raw.film[-1] > 18.0
    # 20 kg/m² of water have a time constant of about ten minutes here; the
    # wet part is 99.95 % of the surface.
    late = fast.solve(
        replace(p, temperature_c=raw.temperature_c[-1], film=20.0, duration_s=7200.0)
    )
    assert late.temperature_c[-1, -1] == pytest.approx(float(expected), abs=0.1)
    by_hand, _ = evaporation_by_hand(
        float(late.temperature_c[-1, -1]), 1.0, air, saturation_pressure(dew), h
    )
    lost = (late.film[-2] - late.film[-1]) / (late.time_s[-1] - late.time_s[-2])
    assert lost == pytest.approx(by_hand, rel=0.02)


def test_film_and_wrap_have_heat_capacity_and_resistance() -> None:
    """No vapour: a thin slab with its film warms as one lump through the wrap."""
    air, h, resistance, film = 100.0, 10.0, 0.05, 4.0
    m = bare_constants(k=(0.5, 0.0), dry=(3e6, 0.0), water=100.0)._replace(water_c0=4180.0)
    p = problem(
        Slab(0.004), m, steady(air, h), cells=6, duration_s=1500.0,
        temperature_c=20.0, vapour_factor=0.0, tolerance=1e-4,
    )  # fmt: skip
    wrap = p.conditions._replace(thermal_resistance=resistance, juice_capacity=10.0)
    p = replace(p, film=film, conditions=wrap)
    raw = fast.solve(p)
    capacity = 0.002 * (3e6 + 100.0 * 4180.0) + film * 4180.0
    passed = 1.0 / (1.0 / h + resistance)
    expected = air - 80.0 * np.exp(-passed * raw.time_s / capacity)
    # Biot number of the slab 0.01: the surface leads by a few hundredths of a kelvin
    assert raw.temperature_c @ p.mesh.volume / 0.002 == pytest.approx(expected, abs=0.15)


def test_expelled_water_leaves_and_takes_its_heat() -> None:
    """Uniform meat held at 80 °C: excess decays as exp(-rate t), temperature stays."""
    hot, duration = 80.0, 1800.0
    p = problem(
        Slab(0.04), FLAT._replace(diffusivity=0.0), steady(hot, 10.0), cells=12,
        duration_s=duration, temperature_c=hot, vapour_factor=0.0, tolerance=1e-4,
    )  # fmt: skip
    raw = fast.solve(p)
    held = statement.water_held(hot, FLAT)
    excess = FLAT.raw_water - held
    expected = held + excess * np.exp(-FLAT.expulsion_rate * raw.time_s)
    # all volumes but the surface's, which may soak up free water again
    for cell in (0, 5, 10):
        assert raw.water[:, cell] == pytest.approx(expected, abs=1e-3 * excess)
    assert raw.temperature_c == pytest.approx(hot, abs=1e-3)
    gone = excess * (1.0 - np.exp(-FLAT.expulsion_rate * duration)) * 0.02
    past = (1.0 - FLAT.surface_share) * gone
    dripped = raw.ledger[-1, LEDGER.index("dripped")]
    on_surface = FLAT.surface_share * gone
    assert dripped >= past
    assert dripped + raw.film[-1] == pytest.approx(past + on_surface, rel=0.02)
    assert raw.film[-1] > 0.2 * on_surface
    assert gone / (FLAT.raw_water * 0.02) > 0.15, "a case in which much leaves"


def test_what_heat_has_done_is_not_undone() -> None:
    """Meat that was hot and is cold again holds no more water than when hot."""
    piece = cw.Piece(cw.Slab(0.03), cw.meat("beef brisket flat"), 4.0)
    hot = cw.Surroundings(100.0, dew_point_c=90.0)
    cold = cw.Surroundings(5.0, dew_point_c=0.0, evaporation=False)
    r = cw.simulate(
        piece,
        [cw.Stage(hot, duration_s=2 * 3600.0), cw.Stage(cold, duration_s=6 * 3600.0)],
    )
    assert r.core_c[-1] < 15.0
    assert (np.diff(r.highest_c, axis=0) >= -1e-9).all()
    assert (r.highest_c[-1] > 85.0).all()
    m = piece.material.constants
    held = statement.water_held(float(r.highest_c[-1, 0]), m)
    assert r.water[-1, 0] * m.solids_density == pytest.approx(held, rel=0.02)


def test_darcy_flow_is_nonlinear_diffusion() -> None:
    """Uniform temperature: flow by swelling pressure diffuses with W M p'(W)."""
    t = 75.0
    m = cw.meat("beef brisket flat", transport="swelling_pressure").constants
    m = m._replace(diffusivity=0.0, permeability=3e-17, rewetting_rate=0.0)
    mean = statement.water_held(t, m) - 0.6  # just bound: nothing comes out of the surface
    swing = 0.5
    # one mode of cosine between closed ends (surface and centre pass nothing)
    p = problem(
        Slab(0.02), m, steady(t, 10.0), cells=41, duration_s=2000.0, temperature_c=t,
        water=lambda x: mean + swing * np.cos(np.pi * x / 0.01),
        vapour_factor=0.0, tolerance=1e-5,
    )  # fmt: skip
    raw = fast.solve(p)
    slope = statement.swelling_pressure_slope(t, mean, t, m)[1]
    diffusivity = mean * statement.mobility(t, m) * slope
    decay = np.exp(-((np.pi / 0.01) ** 2) * diffusivity * raw.time_s[-1])
    assert 0.05 < decay < 0.8, "a case that shows the rate"
    left = (raw.water[-1, 0] - raw.water[-1, -1]) / (2.0 * swing)
    assert left == pytest.approx(decay, rel=0.01)
    # viscosity of water at 75 °C is 0.378 mPa s (handbooks, from memory)
    assert m.permeability / statement.mobility(t, m) == pytest.approx(0.378e-3, rel=0.03)


def test_the_engine_remembers_the_highest_temperature() -> None:
    p = problem(
        Slab(0.01), FLAT, steady(10.0, 30.0), cells=6, duration_s=600.0,
        temperature_c=80.0, vapour_factor=0.0,
    )  # fmt: skip
    raw = fast.solve(p)
    assert raw.temperature_c[-1].max() < 70.0
    assert (raw.highest_c[-1] >= 80.0 - 1e-9).all()


def test_water_leaves_more_easily_where_the_fibres_end() -> None:
    """A piece is as permeable as its fibres run to its surface: by hand, and in a cook."""
    material = cw.meat("beef brisket flat", **cw.FLOWING)
    across, ratio = material.constants.permeability, material.grain_ratio
    assert ratio > 1.0

    def piece(shape: object, grain: str) -> cw.Piece:
        return cw.Piece(shape, material, 4.0, 1.0, grain=grain)  # type: ignore[arg-type]

    slab = cw.Slab(0.03)
    assert piece(slab, "lengthwise").constants.permeability == pytest.approx(across)
    assert piece(slab, "through").constants.permeability == pytest.approx(ratio * across)
    ball = piece(cw.Sphere(0.06), "lengthwise").constants.permeability
    assert ball == pytest.approx(across * (2.0 + ratio) / 3.0)
    bath = cw.Surroundings(80.0, dew_point_c=5.0, heat_transfer=300.0, evaporation=False)
    lost = [
        cw.simulate(piece(slab, grain), cw.Stage(bath, duration_s=1800.0)).mass_loss_fraction
        for grain in ("lengthwise", "through")
    ]
    assert lost[1][-1] > 1.5 * lost[0][-1]

"""Exchange: correlations against printed values, fluxes against calculus and CoolProp."""

from __future__ import annotations

import math

import numpy as np
import pytest

from coreward import tables
from coreward.errors import InputError, OutOfRangeError
from coreward.physics import air, exchange, water

P = 101325.0


# --- correlations ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("computed", "printed", "relative"),
    [
        # Incropera et al., 6th ed., worked examples, from memory. The book rounds its
        # arguments and constants to three digits: 0.3 %, and 1 % where it rounds twice.
        (exchange.nusselt_natural_cylinder(5.073e6, 0.697), 23.3, 0.01),  # example 9.4
        (exchange.nusselt_natural_plate_unstable(1.38e8), 77.5, 0.003),  # example 9.3
        (exchange.nusselt_natural_plate_stable(1.38e8), 29.3, 0.003),  # example 9.3
        (exchange.nusselt_forced_cylinder(6071.0, 0.70), 40.6, 0.003),  # example 7.4
        (exchange.nusselt_forced_sphere(6510.0, 0.709, 181.6 / 197.8), 47.4, 0.003),  # 7.6
        (exchange.nusselt_forced_plate(9597.0, 0.687), 57.4, 0.003),  # example 7.1
    ],
)
def test_worked_examples(computed: float, printed: float, relative: float) -> None:
    assert computed == pytest.approx(printed, rel=relative)


def test_sphere_in_still_air_has_its_limits() -> None:
    assert exchange.nusselt_natural_sphere(0.0, 0.7) == 2.0
    grown = (exchange.nusselt_natural_sphere(1e8, 1e9) - 2.0) / 1e8**0.25
    assert grown == pytest.approx(0.589, rel=1e-4)


def test_plate_correlations_join() -> None:
    # At Re = 5e5 the two printed branches meet because 871 was chosen so: 0.3 %.
    below = exchange.nusselt_forced_plate(5e5, 0.7)
    assert exchange.nusselt_forced_plate(5e5 * (1 + 1e-12), 0.7) == pytest.approx(
        below, rel=3e-3
    )
    # 0.54 Ra^(1/4) and 0.15 Ra^(1/3) do not meet exactly at 1e7: 30.4 against 32.3.
    left = exchange.nusselt_natural_plate_unstable(1e7)
    right = exchange.nusselt_natural_plate_unstable(1e7 * (1 + 1e-12))
    assert right == pytest.approx(left, rel=0.07)


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (exchange.nusselt_natural_cylinder, (1e13, 0.7)),
        (exchange.nusselt_natural_sphere, (1e12, 0.7)),
        (exchange.nusselt_natural_sphere, (1e6, 0.1)),
        (exchange.nusselt_natural_plate_unstable, (1e3,)),
        (exchange.nusselt_natural_plate_unstable, (1e12,)),
        (exchange.nusselt_natural_plate_stable, (1e4,)),
        (exchange.nusselt_forced_cylinder, (0.1, 0.7)),
        (exchange.nusselt_forced_sphere, (1.0, 0.7, 1.0)),
        (exchange.nusselt_forced_sphere, (1e5, 0.7, 1.0)),
        (exchange.nusselt_forced_sphere, (1e3, 0.7, 0.3)),
        (exchange.nusselt_forced_plate, (1e9, 0.7)),
    ],
)
def test_correlations_refuse_what_was_never_measured(
    function: object, arguments: tuple[float, ...]
) -> None:
    with pytest.raises(OutOfRangeError, match="number from"):
        function(*arguments)  # type: ignore[operator]


def test_correlation_refuses_not_a_number() -> None:
    with pytest.raises(InputError, match="is nan"):
        exchange.nusselt_natural_sphere(math.nan, 0.7)


# --- coefficient ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("diameter", "air_c", "surface_c", "expected"),
    [(0.05, 107, 20, 7.27), (0.10, 107, 65, 5.16), (0.10, 20, 70, 5.76), (0.15, 135, 70, 5.43)],
)
def test_still_air_round_a_cylinder(
    diameter: float, air_c: float, surface_c: float, expected: float
) -> None:
    # Computed apart from this code with table properties of dry air (a project note,
    # not a publication). Properties of air differ by up to 1 % between tables.
    got = exchange.convective_coefficient("cylinder", diameter, 0.0, air_c, surface_c)
    assert got == pytest.approx(expected, rel=0.01)


def test_example_of_a_pipe_end_to_end() -> None:
    # Incropera et al., 6th ed., example 9.4 (from memory): a 0.1 m pipe at 165 °C in
    # air at 23 °C loses 7.29 W/(m² K) by convection. Rounded properties: 2 %.
    got = exchange.convective_coefficient("cylinder", 0.1, 0.0, 23.0, 165.0)
    assert got == pytest.approx(7.29, rel=0.02)


def test_example_of_a_cylinder_in_a_wind_tunnel() -> None:
    # Example 7.4 (from memory): 12.7 mm, 10 m/s, 26.2 °C air, 128.4 °C surface, 96
    # W/(m² K). Table properties are for 100 kPa, worth 0.7 %; rounding: 2 % in all.
    got = exchange.convective_coefficient("cylinder", 0.0127, 10.0, 26.2, 128.4)
    assert got == pytest.approx(96.0, rel=0.02)


@pytest.mark.parametrize("shape", ["slab", "cylinder", "sphere"])
def test_coefficient_rises_smoothly_from_still_air(shape: str) -> None:
    speeds = np.linspace(0.0, 4.0, 81)
    got = np.array(
        [exchange.convective_coefficient(shape, 0.08, v, 107.0, 60.0, P, 35.0) for v in speeds]
    )
    assert np.all(np.diff(got) > 0.0)
    # A jump would show as a step far above its neighbours.
    assert np.diff(got).max() < 0.05 * got.max()
    forced = got[-1] / got[40]
    assert 2**0.4 < forced < 2**0.8  # between laminar and turbulent growth


@pytest.mark.parametrize("shape", ["slab", "cylinder", "sphere"])
def test_no_temperature_difference_is_no_error(shape: str) -> None:
    assert exchange.convective_coefficient(shape, 0.08, 0.0, 60.0, 60.0) > 0.0


def test_thin_air_carries_less_and_cold_meat_in_a_damp_pit_works() -> None:
    low = exchange.convective_coefficient("sphere", 0.1, 1.0, 107.0, 60.0, 70e3)
    assert low < exchange.convective_coefficient("sphere", 0.1, 1.0, 107.0, 60.0)
    # The film at 55 °C would be fog: the surface is far below the dew point.
    assert exchange.convective_coefficient("slab", 0.08, 1.0, 107.0, 4.0, P, 70.0) > 0.0


def test_slab_length_is_stated_not_hidden() -> None:
    short = exchange.convective_coefficient("slab", 0.08, 1.0, 107, 60, plate_length_m=0.15)
    long = exchange.convective_coefficient("slab", 0.08, 1.0, 107, 60, plate_length_m=0.6)
    assert short > long
    assert exchange.convective_coefficient(
        "slab", 0.02, 1.0, 107, 60
    ) == exchange.convective_coefficient("slab", 0.08, 1.0, 107, 60)


@pytest.mark.parametrize(
    ("arguments", "error", "says"),
    [
        (("cube", 0.1, 1.0, 107.0, 60.0), InputError, "slab, cylinder, sphere"),
        (("slab", math.nan, 1.0, 107.0, 60.0), InputError, "size"),
        (("slab", 50.0, 1.0, 107.0, 60.0), OutOfRangeError, "size"),
        (("slab", 0.1, -1.0, 107.0, 60.0), OutOfRangeError, "air speed"),
        (("slab", 0.1, 1.0, 400.0, 60.0), OutOfRangeError, "air temperature"),
        (("slab", 0.1, 1.0, 107.0, math.inf), InputError, "surface"),
        (("slab", 0.1, 1.0, 107.0, 60.0, 20e3), OutOfRangeError, "pressure"),
        (("slab", 0.1, 1.0, 50.0, 60.0, P, 55.0), InputError, "above the dry bulb"),
    ],
)
def test_coefficient_refuses(
    arguments: tuple[object, ...], error: type[InputError], says: str
) -> None:
    with pytest.raises(error, match=says):
        exchange.convective_coefficient(*arguments)  # type: ignore[arg-type]


# --- compiled scalars ---------------------------------------------------------------


def test_heat_capacity_of_damp_air_against_the_library() -> None:
    half, most = 0.0, 0.0
    for pressure in (60e3, 80e3, 101325.0):
        for t in np.linspace(-10.0, 250.0, 14):
            for dew in (-20.0, 20.0, 50.0, 70.0, 80.0, 90.0, 95.0):
                vapour = water.saturation_pressure(dew)
                if dew > t or vapour > 0.88 * pressure:
                    continue
                exact = air.density(t, dew, pressure) * air.heat_capacity(t, dew, pressure)
                got = exchange.volumetric_heat_capacity(t, vapour, pressure)
                misfit = abs(got / exact - 1.0)
                most = max(most, misfit)
                if vapour < 0.5 * pressure:
                    half = max(half, misfit)
    # Ideal gas with fitted heat capacities; vapour here without the enhancement factor.
    assert half < 0.01, f"largest misfit {half:.4f} up to half vapour"
    assert most < 0.02, f"largest misfit {most:.4f} up to 0.88 vapour"


def test_mass_coefficient_is_the_analogy() -> None:
    # With Le^(2/3) = 1 and dry air at 25 °C, rho cp = 1.184 * 1006 J/(m³ K); the
    # density to four digits from the ideal gas law.
    assert exchange.mass_coefficient(10.0, 25.0, 0.0, P, 1.0) == pytest.approx(
        10.0 / (1.184 * 1006.0), rel=1e-3
    )
    assert exchange.mass_coefficient(10.0, 25.0, 0.0, P, 0.5) == pytest.approx(
        2.0 * exchange.mass_coefficient(10.0, 25.0, 0.0, P, 1.0)
    )


def test_flux_is_the_linear_law_when_dilute_and_more_when_not() -> None:
    def linear(surface: float, around: float) -> float:
        return 0.01 * (surface - around) / (water.VAPOUR_GAS_CONSTANT * 313.15)

    dilute = exchange.stefan_mass_flux(0.01, 40.0, 20.0, 10.0, P)
    assert dilute == pytest.approx(linear(20.0, 10.0), rel=2e-4)  # p/P is 1.5e-4
    surface, around = water.saturation_pressure(70.0), water.saturation_pressure(20.0)
    ratio = exchange.stefan_mass_flux(0.01, 40.0, surface, around, P) / linear(surface, around)
    # Known result: ln(1 + B)/B over the film, here ln(0.9769/0.6922)/(0.9769-0.6922).
    x_around, x_surface = around / P, surface / P
    assert ratio == pytest.approx(
        math.log((1 - x_around) / (1 - x_surface)) / (x_surface - x_around), rel=1e-12
    )
    assert 1.1 < ratio < 1.3


def test_flux_changes_sign_with_the_difference() -> None:
    there = exchange.stefan_mass_flux(0.01, 40.0, 9000.0, 2000.0, P)
    back = exchange.stefan_mass_flux(0.01, 40.0, 2000.0, 9000.0, P)
    assert there > 0.0
    assert back == pytest.approx(-there, rel=1e-12)
    assert exchange.stefan_mass_flux(0.01, 40.0, 5000.0, 5000.0, P) == 0.0


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9, 0.994, 0.996, 1.0, 1.5])
def test_flux_slope_is_the_derivative(share: float) -> None:
    step = 1e-2
    rise = exchange.stefan_mass_flux(
        0.01, 80.0, share * P + step, 2000.0, P
    ) - exchange.stefan_mass_flux(0.01, 80.0, share * P - step, 2000.0, P)
    assert exchange.stefan_mass_flux_slope(0.01, 80.0, share * P, P) == pytest.approx(
        rise / (2 * step), rel=1e-5
    )


def test_flux_joins_its_tangent_with_value_and_slope() -> None:
    edge = 0.995 * P
    flux = [
        exchange.stefan_mass_flux(0.01, 80.0, edge + d, 2000.0, P) for d in (-1.0, 0.0, 1.0)
    ]
    # Kinks show as a second difference; curvature over 1 Pa is 0.2 % of the step.
    assert flux[2] - flux[1] == pytest.approx(flux[1] - flux[0], rel=3e-3)
    left = exchange.stefan_mass_flux_slope(0.01, 80.0, edge - 1e-6, P)
    assert exchange.stefan_mass_flux_slope(0.01, 80.0, edge + 1e-6, P) == pytest.approx(left)


def test_flux_is_finite_in_steam_and_above_boiling() -> None:
    for surface in (P, 2 * P, 40 * P):
        for around in (0.0, 0.999 * P, P, 1.2 * P):
            assert math.isfinite(exchange.stefan_mass_flux(0.01, 100.0, surface, around, P))


def test_radiation() -> None:
    # Black walls at 400 K and a surface at 300 K: sigma (400⁴ - 300⁴) = 992.3 W/m².
    assert exchange.radiative_flux(1.0, 126.85, 26.85) == pytest.approx(992.3, rel=1e-4)
    # fused multiplication and addition leave a rounding of terms near 1e3 W/m²
    assert exchange.radiative_flux(0.9, 60.0, 60.0) == pytest.approx(0.0, abs=1e-11)
    rise = exchange.radiative_flux(0.9, 107.0, 60.001) - exchange.radiative_flux(
        0.9, 107.0, 59.999
    )
    assert exchange.radiative_flux_slope(0.9, 60.0) == pytest.approx(rise / 0.002, rel=1e-6)


# --- wet surface ----------------------------------------------------------------------


def test_wet_surface_balances() -> None:
    """The answer, put back into the equation written out here in full."""
    got = exchange.wet_surface_temperature(107.0, 35.0, 10.0, 130.0, 0.9, 85e3, 0.97)
    film = 0.5 * (107.0 + got)
    vapour = water.saturation_pressure(35.0)
    surface = 0.97 * water.saturation_pressure(got)
    lewis = tables.load("surface")["lewis_number_power"]
    rho_cp = exchange.volumetric_heat_capacity(film, vapour, 85e3)
    flux = 10.0 / (rho_cp * lewis) * 85e3 / (water.VAPOUR_GAS_CONSTANT * (film + 273.15))
    flux *= math.log((85e3 - vapour) / (85e3 - surface))
    arriving = 10.0 * (107.0 - got)
    arriving += 0.9 * 5.670374419e-8 * (403.15**4 - (got + 273.15) ** 4)
    assert arriving == pytest.approx(water.latent_heat(got) * flux, rel=1e-7)


def test_wet_surface_moves_the_right_way() -> None:
    base = exchange.wet_surface_temperature(107.0, 35.0)
    assert exchange.wet_surface_temperature(107.0, 50.0) > base
    assert exchange.wet_surface_temperature(121.0, 35.0) > base
    assert exchange.wet_surface_temperature(107.0, 35.0, wall_c=140.0) > base
    assert exchange.wet_surface_temperature(107.0, 35.0, water_activity=0.6) > base
    assert exchange.wet_surface_temperature(107.0, 35.0, pressure_pa=80e3) < base
    # Faster air brings more heat and carries off more vapour, but walls count for less.
    assert exchange.wet_surface_temperature(107.0, 35.0, 30.0) < base


def test_wet_surface_without_radiation_is_near_the_wet_bulb() -> None:
    for dry, dew in ((60.0, 20.0), (107.0, 35.0), (121.0, 60.0)):
        still = exchange.wet_surface_temperature(dry, dew, emissivity=0.0)
        # Le^(2/3) below one evaporates faster: colder than the wet bulb, by up to 1 K.
        assert air.wet_bulb(dry, dew) - 1.0 < still < air.wet_bulb(dry, dew)


def test_wet_surface_at_the_edges() -> None:
    assert exchange.wet_surface_temperature(40.0, 40.0) == pytest.approx(40.0, abs=1e-6)
    # Hardly any water activity in damp air: vapour is taken up and heats the surface.
    assert exchange.wet_surface_temperature(107.0, 80.0, water_activity=0.05) > 107.0
    # Cold walls under a clear flue: below the dew point, water condenses.
    assert exchange.wet_surface_temperature(20.0, 19.0, 2.0, wall_c=-20.0) < 19.0
    # Nearly steam: still below the boiling point.
    assert exchange.wet_surface_temperature(150.0, 98.0) < water.saturation_temperature(P)


def test_wet_surface_takes_arrays() -> None:
    got = exchange.wet_surface_temperature([107.0, 121.0], [[20.0], [50.0]])
    assert got.shape == (2, 2)
    assert got[1, 0] == exchange.wet_surface_temperature(107.0, 50.0)
    assert type(exchange.wet_surface_temperature(107, 50)) is float


@pytest.mark.parametrize(
    ("keywords", "error", "says"),
    [
        ({"dew_point_c": 110.0}, OutOfRangeError, "dew point"),
        ({"dew_point_c": 100.5}, OutOfRangeError, "boiling point"),
        ({"air_c": 30.0}, InputError, "above the dry bulb"),
        ({"heat_transfer": 0.0}, OutOfRangeError, "heat transfer coefficient"),
        ({"heat_transfer": math.nan}, InputError, "heat transfer coefficient"),
        ({"emissivity": 1.5}, OutOfRangeError, "emissivity"),
        ({"water_activity": 0.0}, OutOfRangeError, "water activity"),
        ({"wall_c": math.inf}, InputError, "wall"),
        ({"lewis_power": 0.0}, OutOfRangeError, "Lewis"),
    ],
)
def test_wet_surface_refuses(
    keywords: dict[str, float], error: type[InputError], says: str
) -> None:
    with pytest.raises(error, match=says):
        exchange.wet_surface_temperature(**({"air_c": 107.0, "dew_point_c": 35.0} | keywords))

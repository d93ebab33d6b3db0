"""Humid air: proved against an independent balance over its whole range."""

from __future__ import annotations

import math

import numpy as np
import pytest
from CoolProp import HumidAirProp
from CoolProp.HumidAirProp import HAPropsSI

from coreward.errors import InputError, OutOfRangeError
from coreward.physics import air, water

PRESSURES_PA = (60e3, 80e3, 101325.0, 105e3)
DRY_BULBS_C = (-10.0, 0.5, 20.0, 60.0, 95.0, 99.0, 107.0, 135.0, 163.0, 200.0, 250.0)
DEW_POINTS_C = (-40.0, -5.0, 2.0, 20.0, 40.0, 60.0, 75.0, 84.0, 92.0, 97.5)


def _states() -> list[tuple[float, float, float]]:
    states = []
    for pressure in PRESSURES_PA:
        # Half a kelvin inside the limit: hot air there has its wet bulb beyond it.
        limit = water.saturation_temperature(0.94 * pressure) - 0.5
        for dry in DRY_BULBS_C:
            states += [
                (dry, dew, pressure) for dew in DEW_POINTS_C if dew <= dry and dew < limit
            ]
    return states


def _vapour_enthalpy(temperature_c: float) -> float:
    """Ideal-gas vapour from the triple point: L(0) plus a mean heat capacity."""
    return 2500.9e3 + 1.86e3 * temperature_c + 0.11 * temperature_c**2


def _dry_air_enthalpy(temperature_c: float) -> float:
    return 1.0056e3 * temperature_c + 0.0085 * temperature_c**2 + 1.32e-4 * temperature_c**3


def _saturated_pressure(temperature_c: float) -> float:
    """Over water, or over ice by Murphy and Koop (2005) eq. 7, from memory."""
    if temperature_c > 0.0:
        return water.saturation_pressure(temperature_c)
    k = temperature_c + 273.15
    return math.exp(9.550426 - 5723.265 / k + 3.53068 * math.log(k) - 0.00728332 * k)


def _independent_wet_bulb(dry: float, dew: float, pressure: float) -> float:
    """Adiabatic saturation by ideal gases and bisection: no library in it."""

    def ratio(dew_point: float) -> float:
        vapour = _saturated_pressure(dew_point)
        return 0.62195 * vapour / (pressure - vapour)

    def surplus(t: float) -> float:
        before = _dry_air_enthalpy(dry) + ratio(dew) * _vapour_enthalpy(dry)
        after = _dry_air_enthalpy(t) + ratio(t) * _vapour_enthalpy(t)
        return before + (ratio(t) - ratio(dew)) * 4.2e3 * t - after

    low, high = dew, min(dry, water.saturation_temperature(pressure) - 1e-9)
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if surplus(middle) > 0.0 else (low, middle)
    return 0.5 * (low + high)


def test_wet_bulb_over_the_whole_range() -> None:
    """No state returns the dry bulb, the dew point or an error in place of the answer."""
    worst = (0.0, "none")
    states = [s for s in _states() if air.wet_bulb(*s) > 0.5]
    assert len(states) > 250
    for dry, dew, pressure in states:
        got = air.wet_bulb(dry, dew, pressure)
        misfit = abs(got - _independent_wet_bulb(dry, dew, pressure))
        worst = max(worst, (misfit, f"{dry} °C, dew {dew} °C, {pressure} Pa: {got:.2f} °C"))
    # Ideal gases against real ones: the enhancement factor (0.4 %) and the vapour's
    # enthalpy (0.5 % near saturation) are each worth up to about 0.1 K; 0.08 K measured.
    assert worst[0] < 0.12, f"largest misfit {worst[0]:.3f} K at {worst[1]}"


def test_wet_bulb_satisfies_the_library_balance_too() -> None:
    worst = 0.0
    for dry, dew, pressure in _states():
        got = air.wet_bulb(dry, dew, pressure)
        back = air.dew_point(dry, wet_bulb_c=got, pressure_pa=pressure)
        worst = max(worst, abs(air.wet_bulb(dry, back, pressure) - got))
    # Twice the 0.005 K that `air` accepts from the library; 0.001 K measured.
    assert worst < 0.01, f"largest round-trip misfit {worst:.4f} K"


@pytest.mark.parametrize("dew", [-30.0, -12.0])
def test_ice_bulb(dew: float) -> None:
    # Below freezing the balance holds for ice; written out again here with the
    # library's ratios and the heat of fusion. 2 J/kg of dry air is about 1 mK.
    dry = -5.0
    got = air.wet_bulb(dry, dew)

    def of(output: str, t: float, dew_c: float) -> float:
        return HAPropsSI(output, "T", t + 273.15, "P", 101325.0, "D", dew_c + 273.15)

    added = of("W", got, got) - of("W", dry, dew)
    ice = -333.43e3 + 2.1e3 * got
    assert dew < got < dry
    assert of("H", dry, dew) + added * ice == pytest.approx(of("H", got, got), abs=10.0)


def test_a_lying_library_is_overruled(monkeypatch: pytest.MonkeyPatch) -> None:
    truth = air.wet_bulb(121.0, 35.0)
    honest = HumidAirProp.HAPropsSI

    def liar(output: str, *state: object) -> float:
        return honest("T" if output == "B" else output, *state)

    # Not what it remembers of the truth.
    monkeypatch.setattr(air, "_library", air._library.__wrapped__)
    monkeypatch.setattr(HumidAirProp, "HAPropsSI", liar)
    assert air.wet_bulb(121.0, 35.0) == pytest.approx(truth, abs=0.005)


def test_a_failing_library_is_replaced(monkeypatch: pytest.MonkeyPatch) -> None:
    truth = air.wet_bulb(121.0, 35.0)
    honest = HumidAirProp.HAPropsSI

    def quitter(output: str, *state: object) -> float:
        if output == "B":
            raise ValueError("no convergence")
        return honest(output, *state)

    # Not what it remembers of the truth.
    monkeypatch.setattr(air, "_library", air._library.__wrapped__)
    monkeypatch.setattr(HumidAirProp, "HAPropsSI", quitter)
    assert air.wet_bulb(121.0, 35.0) == pytest.approx(truth, abs=0.005)


def test_dew_point_undoes_each_measure() -> None:
    # The library solves for the dew point to about 1e-6 K; 1e-4 K measured at worst.
    for dry, dew, pressure in _states()[::5]:
        humidity = air.relative_humidity(dry, dew, pressure)
        vapour = air.vapour_pressure(dew, pressure)
        for measure in ({"relative_humidity": humidity}, {"vapour_pressure_pa": vapour}):
            assert air.dew_point(dry, pressure_pa=pressure, **measure) == pytest.approx(
                dew, abs=1e-3
            )


def test_saturated_air_has_one_temperature() -> None:
    assert air.wet_bulb(40.0, 40.0) == 40.0
    assert air.dew_point(40.0, wet_bulb_c=40.0) == 40.0
    assert air.relative_humidity(40.0, 40.0) == 1.0


@pytest.mark.parametrize("dry", [0.005, 0.02, 5.0, 40.0, 95.0])
@pytest.mark.parametrize("gap", [1e-9, 1e-6, 9e-5, 1.1e-4, 1e-3, 0.01])
def test_nearly_saturated_air(dry: float, gap: float) -> None:
    # Rounding must neither break the bracket nor lift the humidity above one.
    assert dry - gap <= air.wet_bulb(dry, dry - gap) <= dry
    assert 0.999 < air.relative_humidity(dry, dry - gap) <= 1.0
    # Beside the freezing point a wet bulb may be water's or ice's: 0.02 K apart.
    assert air.dew_point(dry, wet_bulb_c=dry - gap) == pytest.approx(dry, abs=0.05)


def test_wet_bulb_rises_with_dew_point_and_dry_bulb() -> None:
    assert np.all(np.diff(air.wet_bulb(107.0, np.linspace(-20.0, 95.0, 24))) > 0.0)
    assert np.all(np.diff(air.wet_bulb(np.linspace(60.0, 250.0, 20), 50.0)) > 0.0)


def test_vapour_pressure_is_that_of_water_and_an_enhancement() -> None:
    # Enhancement factor of moist air at about 1 atm: 1.003 to 1.006.
    for dew in (5.0, 30.0, 60.0, 90.0):
        ratio = air.vapour_pressure(dew) / water.saturation_pressure(dew)
        assert 1.0 < ratio < 1.007


def test_humidity_ratio_follows_from_the_vapour_pressure() -> None:
    # Definition W = 0.622 p_v/(P - p_v), molar masses 18.01527 and 28.9655 g/mol.
    vapour = air.vapour_pressure(50.0)
    expected = 18.01527 / 28.9655 * vapour / (101325.0 - vapour)
    assert air.humidity_ratio(107.0, 50.0) == pytest.approx(expected, rel=1e-4)


def test_standard_atmosphere() -> None:
    # ICAO Doc 7488 table values at geopotential height, from memory: 1500 m
    # 84 556 Pa, 3000 m 70 109 Pa, 11 000 m 22 632 Pa. Printed to 1 Pa.
    np.testing.assert_allclose(
        air.pressure_at_altitude([0.0, 1500.0, 3000.0, 11000.0]),
        [101325.0, 84556.0, 70109.0, 22632.0],
        atol=1.0,
    )


def test_dry_air_properties() -> None:
    # Incropera et al., table A.4, air at 350 K (from memory): printed to three or
    # four digits, and fitted to older data than the library's: 1 %. The table says
    # 1 atm, but its densities are those of 100 kPa.
    assert air.density(76.85, pressure_pa=100e3) == pytest.approx(0.9950, rel=0.01)
    assert air.heat_capacity(76.85) == pytest.approx(1009.0, rel=0.01)
    assert air.viscosity(76.85) == pytest.approx(208.2e-7, rel=0.01)
    assert air.conductivity(76.85) == pytest.approx(30.0e-3, rel=0.01)


def test_damp_air_is_lighter_and_holds_more_heat() -> None:
    # Mixture of ideal gases: density falls by 0.378 p_v/P. Compressibility: 0.3 %.
    vapour = air.vapour_pressure(70.0)
    expected = air.density(90.0) * (1.0 - (1.0 - 0.62195) * vapour / 101325.0)
    assert air.density(90.0, 70.0) == pytest.approx(expected, rel=3e-3)
    assert air.heat_capacity(90.0, 70.0) > air.heat_capacity(90.0)
    assert air.viscosity(90.0, 70.0) < air.viscosity(90.0)


def test_numbers_give_floats_and_arrays_give_arrays() -> None:
    assert type(air.wet_bulb(107, 35)) is float
    assert type(air.density(20.0)) is float
    table = air.wet_bulb([[107.0], [121.0]], [10.0, 35.0, 60.0])
    assert table.shape == (2, 3)
    assert table[1, 1] == air.wet_bulb(121.0, 35.0)
    assert air.dew_point([20.0, 60.0], relative_humidity=0.5).shape == (2,)
    assert air.wet_bulb(np.array([]), 35.0).shape == (0,)


@pytest.mark.parametrize("name", ["wet_bulb", "relative_humidity", "humidity_ratio", "density"])
@pytest.mark.parametrize(
    ("state", "error", "says"),
    [
        ((50.0, 60.0, 101325.0), InputError, "above the dry bulb"),
        ((150.0, 101.0, 101325.0), OutOfRangeError, "boiling point"),
        ((150.0, 87.0, 60e3), OutOfRangeError, "boiling point"),
        ((150.0, 99.0, 101325.0), OutOfRangeError, "nearly pure steam"),
        ((math.nan, 10.0, 101325.0), InputError, "not a finite"),
        ((20.0, math.inf, 101325.0), InputError, "not a finite"),
        ((20.0, 10.0, math.nan), InputError, "not a finite"),
        ((251.0, 10.0, 101325.0), OutOfRangeError, "dry bulb"),
        ((-11.0, -20.0, 101325.0), OutOfRangeError, "dry bulb"),
        ((20.0, -61.0, 101325.0), OutOfRangeError, "dew point"),
        ((20.0, 10.0, 101.325), OutOfRangeError, "pressure"),
        ((20.0, 10.0, 110e3), OutOfRangeError, "pressure"),
    ],
)
def test_impossible_air_is_refused(
    name: str, state: tuple[float, ...], error: type[InputError], says: str
) -> None:
    with pytest.raises(error, match=says):
        getattr(air, name)(*state)


def test_hot_air_whose_wet_bulb_is_nearly_steam_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="wet bulb above"):
        air.wet_bulb(245.5, 88.53778, 70937.26)


@pytest.mark.parametrize(
    ("measures", "says"),
    [
        ({}, "exactly one"),
        ({"relative_humidity": 0.5, "wet_bulb_c": 10.0}, "exactly one"),
        ({"relative_humidity": 50.0}, "fraction"),
        ({"relative_humidity": 0.0}, "fraction"),
        ({"relative_humidity": math.nan}, "fraction"),
        ({"wet_bulb_c": 21.0}, "above the dry bulb"),
        ({"wet_bulb_c": 1.0}, "too low"),
        ({"wet_bulb_c": math.nan}, "not a finite"),
        ({"vapour_pressure_pa": 5000.0}, "above the dry bulb"),
        ({"vapour_pressure_pa": -1.0}, "vapour pressure"),
        ({"vapour_pressure_pa": "damp"}, "as numbers"),
    ],
)
def test_dew_point_refuses(measures: dict[str, float], says: str) -> None:
    with pytest.raises(InputError, match=says):
        air.dew_point(20.0, **measures)


def test_humidity_that_hot_air_cannot_have() -> None:
    with pytest.raises(OutOfRangeError, match="above the boiling point"):
        air.dew_point(130.0, relative_humidity=0.5)
    with pytest.raises(OutOfRangeError, match="wet bulb"):
        air.dew_point(150.0, wet_bulb_c=99.5)


@pytest.mark.parametrize("altitude", [-600.0, 12000.0])
def test_altitude_range(altitude: float) -> None:
    with pytest.raises(OutOfRangeError, match="altitude"):
        air.pressure_at_altitude(altitude)

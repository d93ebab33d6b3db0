"""Water: against CoolProp's equation of state, and against itself."""

from __future__ import annotations

import math

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from coreward.physics import water

# 0.02: just above the triple point, where the library's two-phase table starts.
OVER_LIQUID_C = np.linspace(0.02, 373.0, 200)


def _library_latent_heat(temperature_c: float) -> float:
    kelvin = temperature_c + 273.15
    return PropsSI("H", "T", kelvin, "Q", 1, "Water") - PropsSI(
        "H", "T", kelvin, "Q", 0, "Water"
    )


def test_saturation_pressure_agrees_with_the_equation_of_state() -> None:
    # The auxiliary equation is stated to reproduce the IAPWS-95 saturation line
    # within 0.02 %; measured here 0.0072 %. One wrong digit in a coefficient shows.
    expected = [PropsSI("P", "T", t + 273.15, "Q", 0, "Water") for t in OVER_LIQUID_C]
    got = [water.saturation_pressure(t) for t in OVER_LIQUID_C]
    np.testing.assert_allclose(got, expected, rtol=1e-4)


@pytest.mark.parametrize(
    ("temperature_k", "pressure_pa"),
    [(273.16, 611.657), (373.1243, 101325.0), (647.096, 22.064e6)],
)
def test_fixed_points(temperature_k: float, pressure_pa: float) -> None:
    # Triple, normal boiling and critical point of IAPWS SR1-86(1992), from memory.
    # The boiling temperature is given to 0.1 mK, that is 0.4 Pa.
    assert water.saturation_pressure(temperature_k - 273.15) == pytest.approx(
        pressure_pa, rel=1e-5
    )


@pytest.mark.parametrize("temperature_c", [-10.0, -5.0, -1.0, 0.0])
def test_supercooled_liquid(temperature_c: float) -> None:
    # Murphy and Koop, Q. J. R. Meteorol. Soc. 131 (2005) 1539, eq. 10 (from memory):
    # measured difference 0.03 % at -10 °C, inside their own uncertainty. Over ice
    # the pressure would be 10 % lower there, so this also tells which it is.
    k = temperature_c + 273.15
    reference = math.exp(
        54.842763
        - 6763.22 / k
        - 4.210 * math.log(k)
        + 0.000367 * k
        + math.tanh(0.0415 * (k - 218.8))
        * (53.878 - 1331.22 / k - 9.44523 * math.log(k) + 0.014025 * k)
    )
    assert water.saturation_pressure(temperature_c) == pytest.approx(reference, rel=1e-3)


def test_slope_is_the_derivative() -> None:
    # Central difference with 1 mK: truncation below 1e-8, rounding about 1e-9.
    for t in np.linspace(-10.0, 370.0, 60):
        rise = water.saturation_pressure(t + 1e-3) - water.saturation_pressure(t - 1e-3)
        assert water.saturation_pressure_slope(t) == pytest.approx(rise / 2e-3, rel=1e-7)


def test_boiling_point_inverts_the_pressure() -> None:
    # Newton converges to rounding; a ten-billionth of a kelvin is loose.
    for t in np.linspace(-30.0, 373.9, 120):
        assert water.saturation_temperature(water.saturation_pressure(t)) == pytest.approx(
            t, abs=1e-8
        )


@pytest.mark.parametrize("pressure_pa", [60e3, 80e3, 101325.0, 105e3])
def test_boiling_point_at_altitude(pressure_pa: float) -> None:
    # 0.0072 % of pressure is 2 mK of boiling point.
    expected = PropsSI("T", "P", pressure_pa, "Q", 0, "Water") - 273.15
    assert water.saturation_temperature(pressure_pa) == pytest.approx(expected, abs=0.003)


def test_latent_heat_of_the_fit() -> None:
    # Fitted on this range; 0.0034 % measured. The task asks for 0.2 %, which a
    # damaged coefficient could still meet: hold the fit to what it claims.
    for t in np.linspace(0.02, 200.0, 101):
        assert water.latent_heat(t) == pytest.approx(_library_latent_heat(t), rel=5e-5)


@pytest.mark.parametrize("temperature_c", [-10.0, -5.0])
def test_latent_heat_of_supercooled_water(temperature_c: float) -> None:
    # The library continues its equation of state below freezing; 0.02 % measured.
    assert water.latent_heat(temperature_c) == pytest.approx(
        _library_latent_heat(temperature_c), rel=3e-4
    )


def test_clausius_clapeyron_ties_pressure_to_latent_heat() -> None:
    # dp/dT = L / (T (v_vapour - v_liquid)) is exact thermodynamics; it joins three
    # functions that were fitted apart. 0.1 %: the slope of the auxiliary equation.
    for t in (5.0, 60.0, 100.0, 180.0):
        k = t + 273.15
        change = 1 / PropsSI("D", "T", k, "Q", 1, "Water") - 1 / PropsSI(
            "D", "T", k, "Q", 0, "Water"
        )
        assert water.saturation_pressure_slope(t) == pytest.approx(
            water.latent_heat(t) / (k * change), rel=1e-3
        )


def test_outside_its_range_it_stays_finite_or_says_not_a_number() -> None:
    assert water.saturation_pressure(500.0) == water.CRITICAL_PRESSURE_PA
    assert water.saturation_pressure_slope(500.0) == 0.0
    assert water.saturation_temperature(30e6) == pytest.approx(373.946)
    assert math.isnan(water.saturation_temperature(0.0))
    assert math.isnan(water.saturation_temperature(math.nan))
    assert math.isnan(water.saturation_pressure(math.nan))

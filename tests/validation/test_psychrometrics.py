"""Humid air and wet surfaces against tables and worked examples from outside.

Sources: ``data/published/psychrometrics.csv`` (two psychrometric libraries; see
the ``.toml`` beside it), C. J. Geankoplis, "Transport Processes and Unit
Operations", 3rd ed. (1993), and Y. A. Cengel, "Heat and Mass Transfer". Nothing
in the model was adjusted to them.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from coreward.physics import air, exchange, water

PUBLISHED = Path(__file__).resolve().parents[2] / "data" / "published"
MOLAR_MASS_RATIO = 18.01527 / 28.9655


def _rows() -> list[dict[str, float]]:
    with (PUBLISHED / "psychrometrics.csv").open(encoding="utf-8") as file:
        return [
            {name: float(text) if text else math.nan for name, text in row.items()}
            for row in csv.DictReader(file)
        ]


ROWS = _rows()
STATES = [(row["T_db_C"], row["T_dp_C"]) for row in ROWS]


def _worst(computed: list[float], column: str) -> tuple[float, str]:
    misfits = [
        (
            abs(got - row[column]),
            f"{dry:g} °C, dew point {dew:g} °C: {got:.3f}, {row[column]:g}",
        )
        for got, row, (dry, dew) in zip(computed, ROWS, STATES, strict=True)
        if not math.isnan(row[column])
    ]
    assert misfits
    return max(misfits)


def _dew_point_of_ratio(dry: float, ratio: float, pressure: float) -> float:
    vapour = ratio * pressure / (MOLAR_MASS_RATIO + ratio)
    return air.dew_point(dry, vapour_pressure_pa=vapour, pressure_pa=pressure)


def test_the_table_is_whole() -> None:
    assert len(ROWS) == 38
    assert {dry for dry, _ in STATES} >= {80.0, 107.0, 163.0}


def test_wet_bulb_of_every_row() -> None:
    misfit, where = _worst([air.wet_bulb(*s) for s in STATES], "Twb_thermodynamic_CoolProp_C")
    # Printed to 0.01 K (half of it) and 0.001 K of the library's own solver.
    assert misfit < 0.007, f"largest misfit {misfit:.4f} K at {where}"


def test_wet_bulb_against_a_second_library() -> None:
    """ASHRAE's ideal-gas equations, wherever that library did not give up."""
    misfits = [
        (abs(air.wet_bulb(dry, dew) - row["Twb_PsychroLib_C"]), f"{dry:g}/{dew:g} °C")
        for row, (dry, dew) in zip(ROWS, STATES, strict=True)
        if not math.isnan(row["Twb_PsychroLib_C"]) and row["Twb_PsychroLib_C"] < dry - 1.0
    ]
    assert len(misfits) > 25
    misfit, where = max(misfits)
    # The two formulations differ by the enhancement factor (0.4 % of vapour pressure)
    # and by constant heat capacities of air and vapour: some hundredths of a kelvin.
    assert misfit < 0.05, f"largest misfit {misfit:.3f} K at {where}"


def test_humidity_of_every_row() -> None:
    ratio, where = _worst([air.humidity_ratio(*s) for s in STATES], "W_CoolProp_kgkg")
    assert ratio < 6e-6, f"largest misfit {ratio:.2e} kg/kg at {where}"
    percent = [100.0 * air.relative_humidity(*s) for s in STATES]
    misfit, where = _worst(percent, "RH_pct_CoolProp")
    # Both columns rounded: half a unit in the last place and a little.
    assert misfit < 6e-4, f"largest misfit {misfit:.5f} % at {where}"


@pytest.mark.parametrize(
    ("column", "heat_transfer", "emissivity"),
    [
        ("Tsurface_ChiltonColburn_noRad_C", 10.0, 0.0),
        ("Tsurface_h30_eps0.95_C", 30.0, 0.95),
        ("Tsurface_h20_eps0.95_C", 20.0, 0.95),
        ("Tsurface_h10_eps0.95_C", 10.0, 0.95),
    ],
)
def test_wet_surface_of_every_row(column: str, heat_transfer: float, emissivity: float) -> None:
    computed = [
        exchange.wet_surface_temperature(*s, heat_transfer, emissivity=emissivity)
        for s in STATES
    ]
    misfit, where = _worst(computed, column)
    # The table does not say at which temperature and humidity its film properties
    # were taken. Film at the mean or at the surface moves the answer by 0.2 K, and
    # Le^(2/3) of 0.904 instead of 0.918 by another 0.25 K.
    assert misfit < 0.25, f"largest misfit {misfit:.3f} K at {where}"


def test_constant_drying_rate_of_a_wet_pan() -> None:
    """Geankoplis example 9.6-3, p. 543 (read): a pan 0.457 m square dries.

    Air at 65.6 °C, 0.010 kg/kg, 6.1 m/s; published wet bulb 28.9 °C and 0.708 kg/h.
    The coefficient is the book's rule 0.0204 G^0.8 with G in kg/(h m²) (from memory),
    about 62 W/(m² K). A smooth flat plate of that length would have 14: the rule is
    for the rough flow of a dryer, and this example says nothing about our plate.
    """
    dew = _dew_point_of_ratio(65.6, 0.010, 101325.0)
    heat_transfer = 0.0204 * (6.1 * 3600.0 * air.density(65.6, dew)) ** 0.8
    # Read off a chart to 0.1 K, humidity printed to two figures: 0.3 K per 0.0005 kg/kg.
    assert air.wet_bulb(65.6, dew) == pytest.approx(28.9, abs=0.3)
    surface = exchange.wet_surface_temperature(65.6, dew, heat_transfer, emissivity=0.0)
    heat = heat_transfer * (65.6 - surface)
    rate = heat / water.latent_heat(surface) * 0.457**2 * 3600.0
    # The book puts the surface at the wet bulb; the balance of rates puts it 0.6 K
    # below, which raises a driving difference of 37 K by 1.6 %. Nothing else differs.
    assert rate == pytest.approx(0.708, rel=0.02), f"rate {rate:.4f} kg/h"


def test_humidity_of_air() -> None:
    """Geankoplis example 9.3-1, p. 526 (read): 26.7 °C, 2.76 kPa of vapour, 101.3 kPa."""
    dew = air.dew_point(26.7, vapour_pressure_pa=2760.0, pressure_pa=101.3e3)
    assert air.humidity_ratio(26.7, dew, 101.3e3) == pytest.approx(0.01742, abs=1e-5)
    # The book takes 3.50 kPa for saturation (tables: 3.506) and no enhancement factor
    # (1.004): 0.6 % together.
    assert air.humidity_ratio(26.7, 26.7, 101.3e3) == pytest.approx(0.02226, rel=0.007)
    assert air.relative_humidity(26.7, dew, 101.3e3) == pytest.approx(0.789, rel=0.007)


def test_adiabatic_saturation() -> None:
    """Geankoplis example 9.3-3, p. 531 (read; its dry bulb 87.8 °C from memory)."""
    dew = _dew_point_of_ratio(87.8, 0.030, 101325.0)
    saturated = air.wet_bulb(87.8, dew)
    # Read off a chart with lines 5 K and 0.01 kg/kg apart: a fortieth of a line.
    assert saturated == pytest.approx(40.5, abs=0.2)
    assert air.humidity_ratio(saturated, saturated) == pytest.approx(0.0505, abs=0.0005)


def test_humidity_from_a_wet_bulb() -> None:
    """Geankoplis example 9.3-4, p. 532 (read): 60 °C dry, 29.5 °C wet: 0.0135 kg/kg."""
    dew = air.dew_point(60.0, wet_bulb_c=29.5)
    # Printed to half a unit of the fourth decimal at best: a chart.
    assert air.humidity_ratio(60.0, dew) == pytest.approx(0.0135, abs=0.0002)


def test_can_wrapped_in_a_wet_cloth() -> None:
    """Cengel example 14-12: 30 °C, 40 % humidity, no radiation; the book says 19.4 °C.

    The book (inputs read; the printed answer from memory) guesses 20 °C, takes the
    vapour pressure there and stops after one step. Both are held: its step, and its
    own equation carried to the end, which gives 19.8 °C.
    """
    lewis_power = 0.8564 ** (2 / 3)
    factor = 2454.0 / (1.007 * lewis_power) * MOLAR_MASS_RATIO / 101.325  # K/kPa
    around = 0.4 * 4.25

    def book_step(surface_pressure: float) -> float:
        return 30.0 - factor * (surface_pressure - around)

    assert book_step(2.34) == pytest.approx(19.4, abs=0.05)

    low, high = 10.0, 30.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        too_cold = book_step(water.saturation_pressure(middle) / 1e3) > middle
        low, high = (middle, high) if too_cold else (low, middle)
    dew = air.dew_point(30.0, relative_humidity=0.4)
    got = exchange.wet_surface_temperature(30.0, dew, emissivity=0.0, lewis_power=lewis_power)
    # Linear against logarithmic flux (1.5 %) and rounded properties (0.5 %) of a
    # depression of 10 K, divided by 3.4 since the vapour pressure follows: 0.06 K.
    assert got == pytest.approx(low, abs=0.1), f"{got:.3f} °C against {low:.3f} °C"
    assert got == pytest.approx(19.4, abs=0.5)

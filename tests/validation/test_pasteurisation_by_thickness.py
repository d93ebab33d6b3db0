"""Times in a water bath by thickness, against a published table with its own assumptions."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

import coreward as cw

DATA = Path(__file__).parents[2] / "data" / "published" / "pasteurisation_by_thickness.csv"

# Printed with the table: D at 55 °C [min], z [K] and the logs asked for.
ORGANISMS = (
    ("E. coli", 19.35, 4.87, 5.0),
    ("Salmonella", 13.18, 7.58, np.log10(3e6)),
    ("Listeria", 12.66, 9.22, 6.0),
)
# The guide's diffusivity and surface coefficient, from memory; the conductivity
# follows with a volumetric heat capacity of 3.7 MJ/(m³ K), assumed.
DIFFUSIVITY = 1.11e-7
HEAT_TRANSFER = 95.0
CONDUCTIVITY = 0.41


# Recorded miss: 11.3 min against 13 for the thinnest piece in the hottest bath, which
# hangs on the surface coefficient, remembered and not printed.
RECORDED_OUTSIDE = {(5.0, 66.0)}


def table() -> list[tuple[float, float, float]]:
    with DATA.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    return [
        (float(row["thickness_mm"]), float(name.removeprefix("min_at_")), float(value))
        for row in rows
        for name, value in row.items()
        if name != "thickness_mm"
    ]


def minutes(thickness_mm: float, bath_c: float) -> float:
    heavy = CONDUCTIVITY / DIFFUSIVITY / 1000.0
    piece = cw.Piece(
        cw.Slab(thickness_mm / 1000.0),
        cw.constant_material(CONDUCTIVITY, 1000.0, heavy),
        5.0,
    )
    bath = cw.Surroundings(
        bath_c, heat_transfer=HEAT_TRANSFER, emissivity=0.0, evaporation=False
    )
    cook = cw.simulate(piece, cw.Stage(bath, duration_s=5 * 3600.0), cells=40)
    time = np.linspace(0.0, cook.time_s[-1], 6001)
    core = np.interp(time, cook.time_s, cook.core_c)
    middle = 0.5 * (core[1:] + core[:-1])
    need = 0.0
    for _, d, z, logs in ORGANISMS:
        gathered = np.concatenate(
            ([0.0], np.cumsum(10.0 ** ((middle - 55.0) / z) * np.diff(time) / 60.0))
        )
        need = max(need, float(np.interp(logs * d, gathered, time)) / 60.0)
    return need


def rounding(printed: float) -> float:
    """Quarter hours from 75 min on, then 5 min, below 20 min single minutes."""
    return 15.0 if printed >= 75.0 else 5.0 if printed >= 20.0 else 1.0


@pytest.mark.parametrize(("thickness_mm", "bath_c", "printed"), table())
def test_time_by_thickness(thickness_mm, bath_c, printed):
    ours = minutes(thickness_mm, bath_c)
    # Printed times are rounded, mostly upwards; 5 % for the assumptions remembered above.
    inside = abs(ours - printed) <= rounding(printed) + 0.05 * printed
    assert inside == ((thickness_mm, bath_c) not in RECORDED_OUTSIDE)


def test_the_table_is_met_on_the_whole():
    ratios = [minutes(*key) / printed for *key, printed in table()]
    # Rounded up by half a step on average, so ours come out a little below.
    assert 0.88 < np.mean(ratios) < 1.0
    assert max(ratios) < 1.05

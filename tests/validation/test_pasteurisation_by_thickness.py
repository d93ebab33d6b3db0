"""Times in a water bath by thickness, against a published table with its own assumptions."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.questions.hold.answer import HoldPlan

DATA = Path(__file__).parents[2] / "data" / "published" / "pasteurisation_by_thickness.csv"

# Printed with the table: D at 55 °C [min], z [K] and the logs asked for.
ORGANISMS = (
    ("E. coli", 19.35, 4.87, 5.0),
    ("Salmonella", 13.18, 7.58, np.log10(3e6)),
    ("Listeria", 12.66, 9.22, 6.0),
)


def table() -> list[tuple[float, float, float]]:
    with DATA.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    return [
        (float(row["thickness_mm"]), float(name.removeprefix("min_at_")), float(value))
        for row in rows
        for name, value in row.items()
        if name != "thickness_mm"
    ]


def minutes(thickness_mm: float, bath_c: float, cut: str = "beef round") -> float:
    """Time until all of the table's organisms are gone, in the bath of the hold question.

    As there, nothing is credited for the last bit by which a core comes close to the bath.
    """
    plan = HoldPlan(cut, "slab", thickness_mm / 1000.0, 5.0, "bath", bath_c)
    stage = cw.Stage(plan.surroundings(), duration_s=6 * 3600.0)
    cook = cw.simulate(plan.piece(), stage, cells=30)
    time = np.linspace(0.0, cook.time_s[-1], 8001)
    highest = bath_c - tables.load("hold")["close_to_bath"]
    core = np.minimum(np.interp(time, cook.time_s, cook.core_c), highest)
    lower = np.minimum(core[1:], core[:-1])
    need = 0.0
    for _, d, z, logs in ORGANISMS:
        gathered = np.concatenate(
            ([0.0], np.cumsum(10.0 ** ((lower - 55.0) / z) * np.diff(time) / 60.0))
        )
        need = max(need, float(np.interp(logs * d, gathered, time)) / 60.0)
    return need


@pytest.fixture(scope="module")
def ours() -> dict[tuple[float, float], float]:
    return {(thickness, bath): minutes(thickness, bath) for thickness, bath, _ in table()}


@pytest.mark.parametrize(("thickness_mm", "bath_c", "printed"), table())
def test_no_time_is_shorter_than_the_row(thickness_mm, bath_c, printed, ours):
    """Up to a quarter shorter with the surface coefficient of before, 100 W/(m² K)."""
    assert ours[thickness_mm, bath_c] >= printed


@pytest.mark.parametrize("cut", ["pork loin", "chicken breast", "turkey breast", "lamb leg"])
def test_nor_is_it_for_other_meats_where_the_row_is_nearest(cut):
    for thickness_mm, bath_c in ((5.0, 62.0), (10.0, 57.0), (15.0, 57.0), (20.0, 60.0)):
        printed = next(row[2] for row in table() if row[:2] == (thickness_mm, bath_c))
        assert minutes(thickness_mm, bath_c, cut) >= printed


def test_the_margin_is_no_larger_than_the_rows_ask_for(ours):
    ratios = [ours[thickness, bath] / printed for thickness, bath, printed in table()]
    assert min(ratios) < 1.05
    # The rest is the printed step, a quarter of an hour, and a coefficient that fits thin
    # pieces: thick ones come out a fifth longer.
    assert 1.1 < np.mean(ratios) < 1.25


def test_a_colder_bath_or_a_thicker_piece_never_takes_less(ours):
    for (thickness, bath), need in ours.items():
        for (other_thickness, other_bath), other in ours.items():
            if other_thickness >= thickness and other_bath <= bath:
                assert other >= need

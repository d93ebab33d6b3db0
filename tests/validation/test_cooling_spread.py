"""The spread of measured cooling about the model, from which the margins of a chill come.

The ratio of measured to computed time of every joint whose size is printed, over the
longest span that is printed for it, computed as a chill of the product computes it. What is
not printed is chosen to the side that makes the model fast: a block is a cylinder of its
least side, and a size is taken for that of the raw piece.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.cook.rest import rest_stage
from coreward.physics.body import Shape
from coreward.questions.chill.answer import Chilling, chilling

pytestmark = pytest.mark.quick

DATA = Path(__file__).parents[2] / "data" / "published"
HOUR = 3600.0
QUICK = {"cells": 40, "tolerance": 0.05}
# Cooked evenly: what was chilled in the sources began between 70 and 82 °C throughout.
USUAL_START_C = 74.0


def air(at_c: float, speed: float, bag: bool) -> tables.ParameterSet:
    """Air of the source; in a bag no vapour leaves and a trace of air insulates."""
    changed = {"air_c": at_c, "wall_c": at_c, "air_speed": speed, "dew_point_c": at_c - 3.0}
    if bag:
        changed |= {"vapour_share": 0.0, "cover_resistance": 0.001}
    return tables.load("rest", "chiller").replace(**changed)


def water(at_c: float) -> tables.ParameterSet:
    return tables.load("rest", "ice bath").replace(air_c=at_c, wall_c=at_c)


@dataclass(frozen=True)
class Measured:
    """A joint, how it was chilled, and the spans that are printed for it. [h]."""

    name: str
    shape: Shape
    cut: str
    start_c: float
    place: tables.ParameterSet
    spans: dict[tuple[float, float], float]

    @property
    def whole(self) -> tuple[float, float]:
        """The longest span that is printed."""
        return max(self.spans, key=lambda span: self.spans[span])


# By product and the beginning of the regime: shape, cut, place. The vacuum is no cooling
# by conduction, and the other rows have no size.
JOINTS = {
    ("3.75 kg vacuum-packed beef roast", "Immersion"): (cw.Cylinder(0.13), water(1.0)),
    ("3.75 kg vacuum-packed beef roast", "Air 1 C 2"): (
        cw.Cylinder(0.13),
        air(1.0, 2.0, True),
    ),
    ("3.75 kg vacuum-packed beef roast", "Air 1 C 1"): (
        cw.Cylinder(0.13),
        air(1.0, 1.0, True),
    ),
    ("5-5.5 kg ham log", "30 min"): (cw.Cylinder(0.12), air(0.0, 3.0, True)),
    ("0.94 kg beef slab", "Air"): (cw.Slab(0.05), air(0.0, 1.2, False)),
    ("0.94 kg beef slab", "Water"): (cw.Slab(0.05), water(0.0)),
    ("2.7 kg rolled beef", "Air"): (cw.Cylinder(0.11), air(0.0, 1.2, False)),
    ("2.7 kg rolled beef", "Water"): (cw.Cylinder(0.11), water(0.0)),
}
# Of the survey: the mean temperature of air that was changing; showers are left out.
SURVEY = {
    "Chill room 17-6": air(12.0, 0.2, True),
    "Chill room -3/-1": air(-2.0, 0.3, True),
    "Shop air 15-7": air(11.0, 0.2, True),
    "Factory air 20-12": air(16.0, 0.2, True),
    "Shop 30-20": air(25.0, 0.2, True),
}


def published_rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def joints() -> list[Measured]:
    found = []
    for row in published_rows("cooling_joints.csv"):
        for (product, regime), (shape, place) in JOINTS.items():
            if row["product"].startswith(product) and row["regime"].startswith(regime):
                spans = {
                    (float(key[1:3]), float(key[:-2].partition("_")[2])): float(row[key])
                    for key in row
                    if key.startswith("t") and key.endswith("_h") and row[key]
                }
                cut = "pork ham" if "ham" in product else "beef round"
                name = f"{row['product']}, {row['regime']}"
                found.append(Measured(name, shape, cut, USUAL_START_C, place, spans))
    for row in published_rows("cooling_survey.csv"):
        for regime, place in SURVEY.items():
            if row["regime"].startswith(regime):
                start = float(row["initial_C"])
                spans = {(start, 50.0): float(row["t_to_50C_h"])}
                if row["t_to_10C_h"] and "Shop 30-20" not in regime:
                    spans[start, 10.0] = float(row["t_to_10C_h"])
                shape = cw.Cylinder(float(row["diam_mm"]) / 1000.0)
                name = f"{row['weight_kg']} kg {row['meat']}, {row['regime']}"
                found.append(Measured(name, shape, "pork ham", start, place, spans))
    return found


def chilled(joint: Measured, cooked: bool) -> Chilling:
    """The chill, after a cook of the model, or of a piece that is stated to be hot."""
    start = 4.0 if cooked else joint.start_c
    piece = cw.Piece(joint.shape, cw.meat(joint.cut), start)
    before = []
    if cooked:
        before = [
            rest_stage(
                "water bath",
                90.0 * HOUR,
                piece=piece,
                air_c=joint.start_c + 1.0,
                until_core_c=joint.start_c,
            )
        ]
    return chilling(piece, before, joint.place, **QUICK)


def ratio(joint: Measured, c: Chilling, span: tuple[float, float]) -> float:
    """Measured over computed time of one span."""
    inside = c.time_s >= 0.0
    time, hottest = c.time_s[inside], np.minimum.accumulate(c.hottest_c[inside])
    begin, end = (float(np.interp(-level, -hottest, time)) for level in span)
    if span[0] == joint.start_c:
        begin = 0.0  # the centre lags: from the start on, and not from its own fall
    return joint.spans[span] * HOUR / (end - begin)


@pytest.fixture(scope="module")
def ratios() -> dict[str, dict[str, dict[tuple[float, float], float]]]:
    """By kind of start, then by joint, then by span; like joints are cooked once."""
    out: dict[str, dict[str, dict[tuple[float, float], float]]] = {}
    for kind in ("cooked", "uniform"):
        known: dict[tuple, Chilling] = {}
        out[kind] = {}
        for number, joint in enumerate(joints()):
            key = joint.shape, joint.cut, joint.place, joint.start_c
            if key not in known:
                known[key] = chilled(joint, kind == "cooked")
            c = known[key]
            got = {span: ratio(joint, c, span) for span in joint.spans}
            out[kind][f"{number} {joint.name}"] = got
    return out


def over_whole_spans(kind: str, ratios) -> dict[str, float]:
    by_name = {f"{n} {j.name}": j for n, j in enumerate(joints())}
    return {name: got[by_name[name].whole] for name, got in ratios[kind].items()}


def test_there_are_as_many_joints_as_the_table_says(ratios):
    assert len(ratios["cooked"]) == 23


@pytest.mark.parametrize("kind", ["cooked", "uniform"])
def test_every_measured_joint_lies_within_the_spread_of_the_table(kind, ratios):
    u = tables.load("holding")
    found = over_whole_spans(kind, ratios)
    for name, value in sorted(found.items(), key=lambda item: item[1]):
        print(f"{kind}: {value:.2f} {name}")
    assert u[f"fast_{kind}"] <= min(found.values())
    assert u[f"slow_{kind}"] >= max(found.values())
    # And the table is no wider than that, but for rounding it to the safe side.
    assert u[f"slow_{kind}"] < 1.05 * max(found.values())
    assert u[f"fast_{kind}"] > 0.88 * min(found.values())

"""Every measured row as a uniform record; the numbers themselves lie in ``data/published``."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import Any

from coreward import tables
from coreward.cook.usual_piece import piece
from coreward.evidence.calibration.measured import Bout, Measured, Reading, Recipe, Unknown
from coreward.evidence.published import published_cases, published_rows
from coreward.physics.body import Block, Cylinder, FiniteCylinder, Shape, Slab, Sphere

POUND_KG = 0.45359237

SOURCES: dict[str, str] = {
    "packed roast": "James and James, Meat Refrigeration (2002), table 16.7, reference 1",
    "hams in moulds": "James and James, table 16.7, reference 2",
    "ham logs": "James and James, table 16.7, reference 3",
    "rolled joints": "James and James, table 16.7, reference 4",
    "survey of hams": "James and James, table 16.4",
    "joint cooled in air": "Sun and Wang 2004 and 2003 (abstracts)",
    "beef cubes": "Handbook of Meat Processing, table 6.1 (Honikel)",
    "handbook roasts": "Lowe, Experimental Cookery",
    "measured yields": "USDA Table of Cooking Yields, Release 2 (2014)",
    "composition rows": "derived from composition rows of the USDA Standard Reference",
    "oak-smoked brisket": "Harris et al., Meat and Muscle Biology, article 9427",
    "smoked yields": "Kerth, Wall, Grayson-Holter, Meat and Muscle Biology, article 18269",
    "standstill": "Blonder 2011",
    "oven-dry roasts": "Bengtsson, Jakobsson, Dagerskog 1976 (abstract)",
    "whole turkeys": "Chang, Carpenter, Toledo 1998, J. Food Sci. 63:262 (abstract)",
}
"""What is left out at a time, by a short name."""

_SIZE = Unknown("size", 0.12, "shape of a joint of known weight: common practice, no source")
_PRINTED = Unknown("size", 0.04, "a printed size, of a joint that is not a perfect body")
_OVEN = Unknown("air", 6.0, "an oven's thermostat and where its probe sits")
_SEARED = Unknown("air", 20.0, "the oven after the searing is not printed beside the roasts")
_BULB = Unknown("size", 0.2, "shape, and how far off the slowest point the bulb sat")
_TAKEN_OUT = Unknown("start", 4.0, "how long it lay out before is not printed")
_DAMP = Unknown("damp", 1.0, "vents and filling differ among ovens")
_DRAUGHT = Unknown("film", 0.25, "draught and racks differ; correlations scatter by a fifth")
_SPEED = Unknown("film", 0.15, "speed is printed, its place beside the joint is not")
_END = Unknown("end", 3.0, "end temperature from memory, and where the probe sat")
_BONE = Unknown("bone", 0.04, "bone of a joint: common practice, no source")
_PACK = Unknown("pack", 0.7, "film, trapped air or mould: not printed")
_COVER = Unknown("cover", 1.5, "whether they were bare is not said")
_CHILL = Unknown("air", 0.7, "air and water were held within 1 K")


@cache
def measured_rows() -> tuple[Measured, ...]:
    """Return every measured row that the model can cook."""
    return tuple(
        row
        for section in (
            _table_16_7, _survey, _cooled_in_air, _cubes, _handbook, _yields, _composition,
            _smoked, _bengtsson, _turkeys,
        )
        for row in section()
    )  # fmt: skip


def _cylinder(mass: float, diameter: float, density: float = 1050.0) -> FiniteCylinder:
    return FiniteCylinder(diameter, 4.0 * mass / density / (math.pi * diameter**2))


def _joint(product: str, regime: str) -> dict[str, str]:
    return next(
        row
        for row in published_rows("cooling_joints.csv")
        if row["product"] == product and row["regime"].startswith(regime)
    )


def _spans(row: dict[str, str], *names: str) -> tuple[Reading, ...]:
    found = []
    for name in names:
        upper, lower = (float(level) for level in name[1:-2].split("_"))
        hours = float(row[name])
        found.append(Reading("hours", hours, 0.05 / hours + 0.03, (upper, lower)))
    return tuple(found)


# The joints were hot throughout when they were cooled; how evenly is not printed.
_HOT_C = 74.0
_HOT = Unknown("start", 2.0, "how evenly the joint was hot")


def _table_16_7() -> Iterator[Measured]:
    packed = Block(0.13, 0.16, 0.33)
    name = "3.75 kg vacuum-packed beef roast"
    for regime, bout, own in (
        ("Immersion", Bout("bath", 1.0, 30.0, 4.9, bag=True), ()),
        ("Air 1 C 2 m/s", Bout("air", 1.0, 30.0, 4.9, -2.0, 2.0, True), (_SPEED,)),
        ("Air 1 C 1 m/s", Bout("air", 1.0, 30.0, 4.9, -2.0, 1.0, True), (_SPEED,)),
    ):
        yield Measured(
            "packed roast", f"{name}, {regime}", "read",
            Recipe("beef round", packed, (bout,), _HOT_C, 3.75, moving=False),
            (_PRINTED, _HOT, _CHILL, _PACK, *own),
            _spans(_joint(name, regime), "t70_8_h"),
        )  # fmt: skip
    name = "7 kg ham in metal mould"
    for regime, series in (
        ("Air -2", -2.0),
        ("0.75 h", ([0.0, 2700.0, 2760.0], [15.0, 15.0, -2.0])),
    ):
        yield Measured(
            "hams in moulds", f"{name}, {regime}", "read",
            Recipe("pork ham", _cylinder(7.0, 0.165),
                   (Bout("air", series, 30.0, 4.9, -5.0, 5.0, True),), _HOT_C, 7.0,
                   moving=False),
            (_SIZE, _HOT, _CHILL, _PACK, _SPEED), _spans(_joint(name, regime), "t70_8_h"),
        )  # fmt: skip
    name = "5-5.5 kg ham log in metal mould"
    spray: Any = ([0.0, 1800.0, 1860.0], [18.0, 18.0, 0.0])
    for rack in ("top", "bottom"):
        regime = f"30 min(?) water spray 18 C then air 0 C 3 m/s {rack} rack"
        yield Measured(
            "ham logs", f"ham log in metal mould, {rack} rack, air 0 C 3 m/s", "read",
            Recipe("pork ham", Block(0.12, 0.12, 0.40),
                   (Bout("air", spray, 30.0, 4.9, -3.0, 3.0, True),), _HOT_C, 5.25,
                   moving=False),
            (_PRINTED, _HOT, _CHILL, _PACK, _SPEED), _spans(_joint(name, regime), "t70_8_h"),
        )  # fmt: skip
    side = math.sqrt(0.94 / 1050.0 / 0.05)
    rolled = _cylinder(2.7, 0.11)
    boned = _cylinder(6.4, (2.0 * 6.4 / 1050.0 / math.pi) ** (1.0 / 3.0))
    for name, cut, shape, mass, size in (
        ("0.94 kg beef slab", "beef round", Block(0.05, side, side), 0.94, _PRINTED),
        ("2.7 kg rolled beef forequarter", "beef chuck", rolled, 2.7, _PRINTED),
        ("2.7 kg rolled beef silverside", "beef round", rolled, 2.7, _PRINTED),
        ("6.4 kg boned-out turkey", "turkey breast", boned, 6.4, _SIZE),
    ):
        for regime in ("Air 0 C 1.2 m/s", "Water 0 C"):
            if "turkey" in name and regime.startswith("Water"):
                continue
            wet = regime.startswith("Water")
            cool = (
                Bout("bath", 0.0, 20.0, 9.5, bag=True)
                if wet
                else Bout("air", 0.0, 20.0, 9.5, -2.0, 1.2)
            )
            # As large as printed when cooled: the mesh is not that of a raw piece that shrank,
            # so no water is moved in it.
            recipe = Recipe(cut, shape, (cool,), _HOT_C, mass, moving=False)
            around = (_PACK,) if wet else (_SPEED, _COVER)
            yield Measured(
                "rolled joints", f"{name}, {regime}", "read", recipe,
                (size, _HOT, _CHILL, *around),
                _spans(_joint(name, regime), "t70_10_h"),
            )  # fmt: skip


_REGIMES: dict[str, tuple[Any, float]] = {
    "Chill room 17-6": (([0.0, 50400.0], [17.0, 6.0]), 0.2),
    "Chill room -3/-1": (-2.0, 0.3),
    "Shop air 15-7": (([0.0, 48600.0], [15.0, 7.0]), 0.15),
    "Factory air 20-12": (([0.0, 45000.0], [20.0, 12.0]), 0.2),
}


def _survey() -> Iterator[Measured]:
    alike: dict[tuple[str, ...], list[float]] = {}
    for row in published_rows("cooling_survey.csv"):
        column = "t_to_10C_h" if row["t_to_10C_h"] else "t_to_50C_h"
        key = (row["meat"], row["weight_kg"], row["diam_mm"], row["regime"], row["initial_C"])
        alike.setdefault((*key, column), []).append(float(row[column]))
    for (kind, weight, diameter, where, initial, column), hours in alike.items():
        for regime, (air, speed) in _REGIMES.items():
            if not where.startswith(regime):
                continue
            start, mass = float(initial), float(weight)
            level = 10.0 if column == "t_to_10C_h" else 50.0
            mean = sum(hours) / len(hours)
            yield Measured(
                "survey of hams", f"{mass:g} kg {kind.lower()}, {regime}, from {start:g} °C",
                "read",
                Recipe("pork ham", _cylinder(mass, float(diameter) / 1e3),
                       (Bout("air", air, 36.0, level - 0.2, -6.0, speed, True),), start, mass,
                       moving=False),
                (_PRINTED, Unknown("air", 2.0, "the air drifted"), _PACK,
                 Unknown("film", 0.3, "slow air, its speed hardly measured")),
                (Reading("hours", mean, 0.05 / mean + 0.03, (start - 0.5, level)),),
            )  # fmt: skip


def _cooled_in_air() -> Iterator[Measured]:
    case = published_cases("cooks.toml")["air_cooling_loss"]
    low, high = case["loss_percent"]
    shape = _cylinder(case["mass_kg"], (2.0 * case["mass_kg"] / 1050.0 / math.pi) ** (1 / 3))
    yield Measured(
        "joint cooled in air", "loss of a joint cooled in air", case["status"],
        Recipe("beef round", shape,
               (Bout("bath", 82.0, 24.0, case["start_c"]),
                Bout("air", case["air_c"], 40.0, case["end_c"], case["dew_point_c"],
                     case["air_speed"])), 4.0, case["mass_kg"], main=1),
        (_SIZE, _SPEED), (Reading("cooling loss", 0.5 * (low + high), 0.5),),
    )  # fmt: skip


def _cubes() -> Iterator[Measured]:
    ball = Sphere(2.0 * (3.0 * 0.11 / 1060.0 / (4.0 * math.pi)) ** (1.0 / 3.0))
    for row in published_rows("water_holding.csv"):
        at, loss = float(row["temperature_c"]), float(row["loss_percent"])
        if at < 40.0:
            continue
        ramp = (at - 10.0) / 2.5 * 60.0
        hours = (ramp + 2400.0) / 3600.0
        series = ([0.0, ramp, ramp + 2400.0], [10.0, at, at])
        yield Measured(
            "beef cubes", f"lean beef cube held 40 min at {at:g} °C", "read",
            Recipe("beef round", ball, (Bout("bath", series, hours),), 10.0, 0.11),
            (), (Reading("loss", loss, 1.0),), seen=True,
        )  # fmt: skip


def _roast(cut: str, mass: float, bone: bool, oven: Bout, rest: bool = True) -> Recipe:
    one = piece(cut, mass, bone=bone)
    share = one.assumed.bone_share if one.assumed is not None else 0.0
    bouts = (oven, Bout("kitchen", 21.0, 1.5, None, 10.0, 0.1)) if rest else (oven,)
    covered = _covered(cut) and mass > 0.6
    return Recipe(cut, one.shape, bouts, 4.0, mass, share, covered=covered, weighed=True)


def _covered(cut: str) -> bool:
    """Whether a joint of it comes with fat, bones or skin over much of it."""
    return cut not in ("beef round", "beef chuck", "salmon side", "beef brisket flat")


def _handbook() -> Iterator[Measured]:
    split = {row["roast"]: row for row in published_rows("roast_split.csv")}
    for row in published_rows("carryover.csv"):
        mass, end = float(row["mean_raw_kg"]), float(row["core_at_removal_c"])
        hours = float(row["minutes_per_pound"]) * mass / POUND_KG / 60.0
        n = float(row["n"])
        cut = row["cut"] or "pork ham"
        boiled = not row["cut"]
        bout = (
            Bout("bath", 90.0, 30.0, end)
            if boiled
            else Bout("oven", 165.0, 30.0, end, air_speed=0.3)
        )
        recipe = _roast("pork ham" if "veal" in row["roast"] else cut, mass, True, bout)
        if "veal" in row["roast"]:
            recipe = replace(recipe, cut="beef round")
        if not boiled:
            # The method of the book: first 20 min at 250 to 275 °C.
            sear = Bout("oven", 245.0, 1.0 / 3.0, air_speed=0.3)
            recipe = replace(recipe, bouts=(sear, *recipe.bouts), start_c=8.0, main=1)
        spread = 1.0 / math.sqrt(n)
        readings = [
            Reading("hours", hours, 0.15 * spread + 0.03),
            Reading("loss", float(row["loss_percent"]), 3.0 * spread + 0.5),
            Reading("rise", float(row["rise_k"]), 1.0 * spread + 0.3),
        ]
        if row["roast"] in split:
            vapour = float(split[row["roast"]]["vapour_percent_of_raw"])
            readings.append(Reading("vapour", vapour, 2.0 * spread + 0.5))
        own: tuple[Unknown, ...] = (
            (Unknown("air", 5.0, "simmering to boiling"),)
            if boiled
            else (_SEARED, _DAMP, _DRAUGHT, _TAKEN_OUT)
        )
        yield Measured(
            "handbook roasts", row["roast"], "read", recipe, (_BULB, _BONE, *own),
            tuple(readings), seen=True,
        )  # fmt: skip


_YIELD_CUTS: dict[str, tuple[str, float, bool]] = {
    "beef tri-tip trimmed": ("beef round", 1.0, False),
    "beef chuck eye boneless": ("beef chuck", 1.8, False),
    "beef rib eye bone-in": ("beef rib roast", 3.0, True),
    "beef rib eye boneless": ("beef rib roast", 2.5, False),
    "beef round tip trimmed": ("beef round", 1.5, False),
    "beef bottom round": ("beef round", 1.5, False),
    "beef eye of round": ("beef round", 1.2, False),
    "pork leg rump half": ("pork ham", 3.5, True),
    "pork leg shank half": ("pork ham", 3.5, True),
    "pork loin blade bone-in": ("pork loin", 1.8, True),
    "pork loin blade boneless": ("pork loin", 1.4, False),
    "pork centre loin bone-in": ("pork loin", 1.8, True),
    "pork centre rib": ("pork loin", 1.8, True),
    "pork tenderloin lean": ("pork loin", 0.5, False),
    "pork back ribs": ("pork spare ribs", 1.0, True),
    "pork spareribs": ("pork spare ribs", 1.5, True),
    "beef brisket flat half": ("beef brisket flat", 1.5, False),
    "beef shoulder pot roast": ("beef chuck", 1.3, False),
    "beef under-blade pot roast": ("beef chuck", 1.3, False),
    "pork arm picnic": ("pork shoulder", 2.5, True),
}
_BRAISED_C = 95.0


def _cooked_to(cut: str, mass: float, bone: bool, method: str, end: float) -> Recipe:
    bout = (
        Bout("bath", _BRAISED_C, 30.0, end)
        if method == "braised"
        else Bout("oven", 163.0, 30.0, end, air_speed=0.3)
    )
    return _roast(cut, mass, bone, bout, rest=False)


def _yields() -> Iterator[Measured]:
    weight = Unknown("size", 0.15, "no weights printed: those that are usual")
    for row in published_rows("cooking_yields_measured.csv"):
        cut, mass, bone = _YIELD_CUTS[row["cut"]]
        method = row["method"]
        end = 85.0 if method == "braised" else 60.0 if row["cut"].startswith("beef") else 71.0
        deviation = float(row["sd"]) if row["sd"] else 4.0
        recipe = _cooked_to(cut, mass, bone, method, end)
        own = () if method == "braised" else (_OVEN, _DAMP, _DRAUGHT)
        yield Measured(
            "measured yields", f"{row['cut']}, {method}", "read", recipe,
            (weight, _END, *((_BONE,) if bone else ()), *own),
            (Reading("loss", 100.0 - float(row["yield_percent"]),
                     deviation / math.sqrt(float(row["n"])) + 0.3),),
        )  # fmt: skip


def _composition() -> Iterator[Measured]:
    end = Unknown("end", 5.0, "the rows print no end temperature")
    for row in published_rows("cooking_yields.csv"):
        cut, method = row["cut"], row["method"]
        recipe = _cooked_to(
            cut, tables.load("piece", cut)["mass"], False, method, float(row["end_core_c"])
        )
        own = () if method == "braised" else (_OVEN, _DAMP, _DRAUGHT)
        yield Measured(
            "composition rows", f"{cut}, {method} ({row['cooked_row']})", "derived", recipe,
            (Unknown("size", 0.15, "usual weight"), end, *own),
            (Reading("loss", 100.0 - float(row["yield_percent"]), 4.0),),
        )  # fmt: skip


def _smoked() -> Iterator[Measured]:
    cases = published_cases("cooks.toml")
    case = cases["brisket_time"]
    mass = sum(case["mass_kg"]) / 2.0
    pit = (
        Unknown("air", 4.0, "air at the meat against the dial"),
        Unknown("damp", 1.0, "vents and fire"),
        _DRAUGHT,
    )
    whole = Unknown("size", 0.15, "weights and proportions of whole briskets")
    yield Measured(
        "oak-smoked brisket", "whole brisket to 85 °C in a 99 °C pit", case["status"],
        _roast("beef brisket whole", mass, False,
               Bout("pit", case["pit_c"], 60.0, case["core_c"], air_speed=0.5), rest=False),
        (whole, *pit), (Reading("hours", case["hours"], case["spread_hours"] / case["hours"]),),
        seen=True,
    )  # fmt: skip
    case = cases["brisket_yield"]
    warm = (Unknown("air", 8.0, "pit not printed"), *pit[1:])
    for core, printed in zip(case["core_c"], case["yield_percent"], strict=True):
        recipe = _roast("beef brisket whole", 6.0, False,
                        Bout("pit", 107.0, 60.0, core, air_speed=0.5), rest=False)  # fmt: skip
        hold = Bout("oven", core, case["hold_hours"], None, air_speed=0.3)
        yield Measured(
            "smoked yields", f"whole brisket to {core:g} °C and 3 h of holding", case["status"],
            replace(recipe, bouts=(*recipe.bouts, hold), main=1),
            (whole, *warm), (Reading("loss", 100.0 - printed, 2.0),),
        )  # fmt: skip
    case = cases["stall"]
    low, high = case["injected"]
    yield Measured(
        "standstill", "small injected brisket at 107 °C: where and how long it stands",
        case["status"],
        Recipe("beef brisket flat", Slab(case["thickness_m"]),
               (Bout("oven", case["pit_c"], 30.0, None, air_speed=0.3),), 4.0, case["mass_kg"],
               injected=0.5 * (low + high)),
        (Unknown("size", 0.15, "a small brisket"), _OVEN, _DAMP, _DRAUGHT,
         Unknown("injected", 0.25 * (high - low) + 0.02, "how much broth is not printed")),
        (Reading("stand hours", case["hours"] - 0.2, 0.15,
                 (case["core_c"] - 2.5, case["core_c"] + 2.5)),),
    )  # fmt: skip


def _bengtsson() -> Iterator[Measured]:
    case = published_cases("cooks.toml")["bengtsson"]
    for oven in case["oven_c"]:
        yield Measured(
            "oven-dry roasts", f"semimembranosus at {oven:g} °C, up to 65 °C", case["status"],
            Recipe("beef round", Cylinder(case["diameter_m"]),
                   (Bout("oven", oven, 10.0, case["turning_core_c"], air_speed=0.5),),
                   case["start_c"], 1.5),
            (Unknown("size", 0.25, "size not in the abstract"), _OVEN, _DAMP, _DRAUGHT),
            (Reading("share", 0.92, 0.06),),
        )  # fmt: skip


def _turkeys() -> Iterator[Measured]:
    case = published_cases("cooks.toml")["turkeys"]
    for mass in case["mass_kg"]:
        hours = (case["minutes"] + case["minutes_per_kg"] * mass) / 60.0
        readings = [Reading("hours", hours, 0.05)]
        if mass == case["mass_kg"][1]:
            readings.append(Reading("loss", case["loss_percent"], 1.5))
        # The slowest of breast and thigh decides; a breast on the bone stands for both.
        shape: Shape = piece("turkey breast", case["breast_share"] * mass).shape
        yield Measured(
            "whole turkeys", f"whole turkey of {mass:g} kg at 163 °C", case["status"],
            Recipe("turkey breast", shape,
                   (Bout("oven", case["oven_c"], 20.0, case["end_c"], air_speed=0.3),),
                   case["start_c"], mass, case["bone_share"], covered=True,
                   weighed=True),
            (Unknown("size", 0.2, "a whole bird as a breast on the bone"), _BONE,
             Unknown("air", 3.0, "calibrated oven"), _DAMP, _DRAUGHT),
            tuple(readings),
        )  # fmt: skip

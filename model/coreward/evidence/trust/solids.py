"""Rows of trust: heat conduction and thermal properties."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from coreward.cook.result import Result
from coreward.cook.simulate import simulate
from coreward.cook.stages import Piece, Stage, Surroundings
from coreward.errors import InputError
from coreward.evidence.published import published_cases, published_rows
from coreward.evidence.trust.row import TrustRow
from coreward.evidence.trust.shared import (
    HOUR,
    crossing,
    volume,
)
from coreward.physics.body import SHAPES
from coreward.physics.meat import constant_material, meat
from coreward.physics.statement import conductivity, enthalpy

Floats = NDArray[np.float64]


# Fine enough that what is left is the rounding of the exact answers.
_FINE_CELLS = 120


_FINE_TOLERANCE = 1e-4


def _solid_run(case: dict[str, Any], heat_transfer: float | None = None) -> Result:
    material = constant_material(case["conductivity"], case["density"], case["heat_capacity"])
    return simulate(
        Piece(SHAPES[case["shape"]](case["size_m"]), material, case["start_c"]),
        Stage(
            Surroundings(
                case["medium_c"],
                heat_transfer=case["heat_transfer"] if heat_transfer is None else heat_transfer,
                emissivity=0.0,
                evaporation=False,
            ),
            duration_s=case["duration_s"],
        ),
        cells=_FINE_CELLS,
        tolerance=_FINE_TOLERANCE,
    )


def _heat(case: dict[str, Any], run: Result, at_s: float) -> float:
    mean = float(np.interp(at_s, run.time_s, run.mean_c))
    stored = case["density"] * case["heat_capacity"] * volume(run.piece.shape)
    return float(abs(mean - case["start_c"]) * stored) / 1e3


def _conduction_value(case: dict[str, Any], check: dict[str, Any], run: Result) -> float:
    quantity = check["quantity"]
    if quantity == "temperature":
        return float(np.interp(check["from_centre_m"], run.position_m, run.temperature_c[-1]))
    if quantity == "minutes to core":
        return crossing(run.time_s, run.core_c, check["target_c"]) / 60.0
    if quantity == "kilojoules at core":
        return _heat(case, run, crossing(run.time_s, run.core_c, check["target_c"]))
    if quantity == "kilojoules at end":
        return _heat(case, run, run.duration_s)
    if quantity == "core after an hour":
        return float(np.interp(HOUR, run.time_s, run.core_c))
    if quantity == "coefficient":

        def surface_misfit(h: float) -> float:
            trial = _solid_run(case, h)
            at = crossing(trial.time_s, trial.core_c, check["target_c"])
            surface = float(np.interp(at, trial.time_s, trial.surface_c))
            return surface - float(check["surface_c"])

        guess = case["heat_transfer"]
        return float(brentq(surface_misfit, 0.5 * guess, 2.0 * guess, rtol=1e-5))
    raise InputError(f"There is no way to compare {quantity!r}.")


_CONDUCTION_UNITS = {
    "temperature": "°C",
    "minutes to core": "min",
    "kilojoules at core": "kJ",
    "kilojoules at end": "kJ",
    "core after an hour": "°C",
    "coefficient": "W/m²K",
}


def conduction_rows() -> Iterator[TrustRow]:
    """Compare heat conduction with textbooks and exact series."""
    for case in published_cases("conduction.toml")["case"]:
        run = _solid_run(case)
        for check in case["check"]:
            value = _conduction_value(case, check, run)
            unit = _CONDUCTION_UNITS[check["quantity"]]
            name = f"{case['id']}: {check['quantity']}"
            if check["quantity"] == "temperature":
                name += f" {check['from_centre_m'] * 1e3:g} mm from the centre"
            for kind in ("published", "exact"):
                if not math.isfinite(check[kind]):
                    continue
                book = kind == "published"
                tolerance = check["tolerance" if book else "exact_tolerance"]
                yield TrustRow(
                    topic="conduction",
                    case=f"{name} ({'book' if book else 'series'})",
                    source=case["source"] if book else "exact series, computed here",
                    status=case["status"] if book else "computed",
                    unit=unit,
                    allowed=(check[kind] - tolerance, check[kind] + tolerance),
                    computed=(value, value),
                    published_text=f"{check[kind]:g} {unit}",
                    how=f"± {tolerance:g}: "
                    + (check["precision"] if book else "rounding of the printed digits"),
                    published_value=check[kind],
                )
    worst, where = _one_term_misfit()
    yield TrustRow(
        topic="conduction",
        case="long-time coefficients, Biot 0.01 to 100, three shapes: largest misfit",
        source="one-term coefficients, computed; spot values agree with Cengel and Incropera",
        status="computed",
        unit="",
        allowed=(0.0, 5e-4),
        computed=(worst, worst),
        published_text="32 Biot numbers, 4 decimals",
        how=f"relative misfit of zeta1 and C1 read off a decaying run, worst at {where}; "
        "4 decimals of a value near 0.1 are 5e-4",
    )


def _one_term_misfit() -> tuple[float, str]:
    """Worst relative misfit of the decay of a thin body, over every row of the table."""
    size, material = 0.01, constant_material(0.5, 1000.0, 4000.0)
    fourier_second = (size / 2.0) ** 2 * 1000.0 * 4000.0 / 0.5
    worst, where = 0.0, ""
    for row in published_rows("one_term_coefficients.csv"):
        for name, key in (("slab", "slab"), ("cylinder", "cyl"), ("sphere", "sphere")):
            biot = float(row["Bi"])
            zeta, c1 = float(row[f"{key}_zeta1"]), float(row[f"{key}_C1"])
            first = max(0.5, 1.0 / zeta**2)
            second = first + 1.5 / zeta**2
            run = simulate(
                Piece(SHAPES[name](size), material, 100.0),
                Stage(
                    Surroundings(
                        0.0, heat_transfer=biot * 0.5 / (size / 2.0), emissivity=0.0,
                        evaporation=False,
                    ),
                    duration_s=second * fourier_second,
                ),
                cells=100,
                tolerance=2e-5,
            )  # fmt: skip
            early = float(np.exp(np.interp(
                first * fourier_second, run.time_s, np.log(run.core_c)
            )))  # fmt: skip
            late = float(run.core_c[-1])
            found = math.sqrt(math.log(early / late) / (second - first))
            found_c1 = early / 100.0 * math.exp(found**2 * first)
            for got, printed in ((found, zeta), (found_c1, c1)):
                misfit = abs(got / printed - 1.0)
                if misfit > worst:
                    worst, where = misfit, f"{name}, Bi {biot:g}"
    return worst, where


# Collections of measurements and models of them scatter by this much: series model
# within 7 % (J-STAGE collection, read), Levy and Maxwell-Eucken within 10 % (Pham and
# Willix 1989, abstract read). Heat capacity is known better.
_SCATTER = {"k": 0.10, "cp": 0.05, "alpha": 0.11}


_PROPERTY_UNITS = {"k": "W/mK", "cp": "kJ/kgK", "alpha": "10⁻⁷ m²/s"}


# Rows that were in view when the mixing exponent of table conductivity was chosen.
_SEEN = ("beef chuck", "beef round")


def property_rows() -> Iterator[TrustRow]:
    """Compare thermal properties with measurements."""
    for row in published_rows("thermal_properties.csv"):
        quantity = row["quantity"]
        cold, hot = float(row["from_c"]), float(row["to_c"])
        shares = {name: float(row[name]) for name in ("water", "protein", "fat")}
        material = meat(composition={**shares, "ash": 0.01, "carbohydrate": 0.0})
        m = material.constants
        middle = 0.5 * (cold + hot)
        k = conductivity(middle, m.raw_water, middle, m)
        # Mean over the range of the measurement, the melting of fat in it. The record
        # of the highest temperature lies above, which leaves denaturation out.
        w = m.raw_water
        c = (enthalpy(hot, w, hot, m) - enthalpy(cold, w, hot, m)) / (hot - cold)
        value = {"k": k, "cp": c / material.raw_density / 1e3, "alpha": k / c * 1e7}[quantity]
        low, high = float(row["low"]), float(row["high"])
        scatter = _SCATTER[quantity]
        single = low == high
        yield TrustRow(
            topic="properties",
            case=f"{row['material']}, {quantity}, {cold:g} to {hot:g} °C",
            source=row["source"],
            status="read",
            unit=_PROPERTY_UNITS[quantity],
            allowed=(low * (1 - scatter), high * (1 + scatter)),
            computed=(value, value),
            published_text=f"{low:g}" if single else f"{low:g} to {high:g}",
            how=f"± {scatter:.0%}, the scatter of such measurements; water "
            f"{shares['water']:.0%}, the rest partly ours",
            independent=not (quantity == "alpha" and row["material"] in _SEEN),
            published_value=low if single else math.nan,
        )

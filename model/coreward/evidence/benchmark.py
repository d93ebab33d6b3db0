r"""How fast, and how far from the floor: the engines side by side, in one run.

``python -m coreward.evidence.benchmark [--quick] [--json FILE]`` computes one cook (14 h,
coupled heat and water, 60 nodes) with the fast engine, with SciPy's and
SUNDIALS' integrators on the *same* discretisation, and with the FiPy engine.
Each is given the loosest tolerance that keeps the core within 0.05 K of a
converged run at every full hour. A machine that is busy slows all of them, so
trust the ratios and not the milliseconds.

How the general integrators are served is told in `integrators`. Nothing cools for long in
this cook, so that they lose nothing by having no record of the highest temperature.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import dataclasses
import inspect
import json
import math
import multiprocessing
import os
import platform
import sys
import textwrap
import time
import tracemalloc
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from coreward.cook.many import simulate_many
from coreward.cook.march import (
    chamber_constants,
    fresh_vapour,
    make_forcing,
    surface_conditions,
)
from coreward.cook.simulate import DEFAULT_CELLS
from coreward.cook.stages import Chamber, Piece, Stage, Surroundings
from coreward.errors import CorewardError
from coreward.evidence.integrators import (
    HOUR_S,
    METHODS,
    PACKAGES,
    Run,
    engine_runner,
    runner,
)
from coreward.physics import statement
from coreward.physics.body import Slab, make_mesh
from coreward.physics.engines import fast
from coreward.physics.meat import FLOWING, meat
from coreward.physics.problem import Problem

Floats = NDArray[np.float64]

REFERENCE_HOURS = 14.0
LIMIT_K = 0.05
CONVERGED_TOLERANCE = 1e-5
# Local tolerances to choose from, loosest first. [K]
LADDER = tuple(10.0 ** (0.25 * k) for k in range(4, -21, -1))
FIPY_LADDER = (1.0, 0.5, 0.2, 0.1, 0.05)
_CELLS = (20, 60, 200, 600, 2000)
_MEMBERS = (1, 10, 100, 1000, 10_000)
# Tracing memory means a second run.
_MOST_TRACED = 1000
_QUICK_CELLS = (20, 60)
_QUICK_MEMBERS = (1, 4)
_QUICK_HOURS = 3.0
_GOOD = "ok"


def reference_problem(
    cells: int = DEFAULT_CELLS, hours: float = REFERENCE_HOURS, tolerance: float = 0.02
) -> Problem:
    """Brisket flat of 90 mm from 4 °C in a pit at 107 °C, dew point 35 °C.

    Parameters
    ----------
    cells : int
    hours : float
        [h]
    tolerance : float
        [K]

    Returns
    -------
    Problem
    """
    piece, stage = _reference_cook(hours)
    material = piece.constants
    forcing, _ = make_forcing(piece, stage.surroundings, hours * HOUR_S)
    start = np.full(cells, piece.start_c)
    return Problem(
        shape=piece.shape,
        mesh=make_mesh(piece.shape, cells),
        material=material,
        conditions=surface_conditions(piece, stage),
        forcing=forcing,
        temperature_c=start,
        water=np.full(cells, material.raw_water),
        film=0.0,
        highest_c=start.copy(),
        duration_s=hours * HOUR_S,
        until_core_c=None,
        tolerance=tolerance,
    )


def _reference_cook(hours: float) -> tuple[Piece, Stage]:
    return (
        Piece(Slab(0.09), meat("beef brisket flat"), 4.0),
        Stage(
            Surroundings(107.0, dew_point_c=35.0, heat_transfer=10.0),
            duration_s=hours * HOUR_S,
        ),
    )


def chamber_problem(cells: int = DEFAULT_CELLS, hours: float = REFERENCE_HOURS) -> Problem:
    """A brisket flat of 45 mm and 7 kg in a tight chamber at 107 °C, with pressed flow.

    Parameters
    ----------
    cells : int
    hours : float
        [h]

    Returns
    -------
    Problem
    """
    piece = Piece(Slab(0.045), meat("beef brisket flat", **FLOWING), 4.0, 7.0)
    around = Chamber.of(107.0, "tight", heat_transfer=8.0)
    mesh = make_mesh(piece.shape, cells)
    forcing, _ = make_forcing(piece, around, hours * HOUR_S, mesh)
    room = chamber_constants(piece, around, mesh)
    start = np.full(cells, piece.start_c)
    return Problem(
        shape=piece.shape,
        mesh=mesh,
        material=piece.constants,
        conditions=surface_conditions(piece, Stage(around, duration_s=hours * HOUR_S)),
        forcing=forcing,
        temperature_c=start,
        water=np.full(cells, piece.constants.raw_water),
        film=0.0,
        highest_c=start.copy(),
        duration_s=hours * HOUR_S,
        until_core_c=None,
        tolerance=0.02,
        chamber=room,
        vapour=fresh_vapour(forcing, room),
    )


# --- tuning and measuring ----------------------------------------------------


def loosest(
    accurate: Callable[[float], bool], ladder: Sequence[float] = LADDER
) -> float | None:
    """Loosest rung that is accurate, by bisection; None if not even the last is.

    Accuracy is taken to improve down the ladder. Where it does not, a rung
    that is accurate is still what comes back, though not the loosest.
    """
    low, high = 0, len(ladder) - 1
    if not accurate(ladder[high]):
        return None
    while low < high:
        middle = (low + high) // 2
        if accurate(ladder[middle]):
            high = middle
        else:
            low = middle + 1
    return ladder[high]


@dataclass(frozen=True)
class Row:
    """What was measured of one method."""

    method: str
    title: str
    note: str
    tolerance: float = math.nan
    error_k: float = math.nan
    fastest_s: float = math.nan
    median_s: float = math.nan
    steps: int = 0
    evaluations: int = 0
    memory_mb: float = math.nan
    ratio: float = math.nan


@dataclass(frozen=True)
class Report:
    """Everything one run of the benchmark found."""

    machine: dict[str, str]
    hours: float
    rows: tuple[Row, ...]
    cells: tuple[dict[str, float], ...]
    members: tuple[dict[str, float], ...]
    floor: dict[str, float]
    chamber: tuple[Row, ...] = ()
    notes: tuple[str, ...] = field(default=())


def _peak_memory_kb() -> float:
    """Peak resident memory of this process, where Linux tells it. [kB]."""
    try:
        for line in Path("/proc/self/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return float(line.split()[1])
    except OSError:
        pass
    return math.nan


def _memory_of(method: str, tolerance: float, hours: float, cells: int) -> float:
    """Peak memory of a process that does only this. [MB]."""
    run = runner(method, reference_problem(cells, hours))
    run(tolerance)
    return _peak_memory_kb() / 1024.0


def _fresh_memory(method: str, tolerance: float, hours: float, cells: int) -> float:
    """The same, asked of a new process, so that nobody else's memory counts."""
    context = multiprocessing.get_context("spawn")
    with context.Pool(1) as pool:
        return float(pool.apply(_memory_of, (method, tolerance, hours, cells)))


def _measure(
    method: str,
    problem: Problem,
    truth: Floats,
    repeats: int,
    memory: bool,
    say: Callable[[str], None],
) -> Row:
    title = METHODS[method]
    hours = problem.duration_s / HOUR_S
    cells = len(problem.mesh.volume)
    try:
        run = runner(method, problem)
    except ImportError as error:
        return Row(method, title, f"not measured: {PACKAGES.get(method, error)} not installed")
    done: dict[float, Run] = {}

    def error_of(tolerance: float) -> float:
        if tolerance not in done:
            done[tolerance] = run(tolerance)
        return float(np.abs(done[tolerance].core_c - truth).max())

    def accurate(tolerance: float) -> bool:
        try:
            return error_of(tolerance) <= LIMIT_K
        except CorewardError:
            return False

    say(f"  {title}: looking for its tolerance ...")
    ladder = FIPY_LADDER if method == "fipy" else LADDER
    best = loosest(accurate, ladder)
    if best is None:
        return Row(method, title, f"not within {LIMIT_K} K at any tolerance tried")
    if method == "fipy":
        repeats = 1
    seconds = [done[best].seconds] if repeats == 1 else []
    while len(seconds) < repeats:
        seconds.append(run(best).seconds)
    say(f"    {1e3 * min(seconds):.2f} ms at {best:.2g} K, {error_of(best):.3f} K off")
    return Row(
        method,
        title,
        _GOOD,
        best,
        error_of(best),
        min(seconds),
        float(np.median(seconds)),
        done[best].steps,
        done[best].evaluations,
        _fresh_memory(method, best, hours, cells) if memory else math.nan,
    )


def _scaling_with_cells(
    cells: Sequence[int], hours: float, tolerance: float, repeats: int
) -> list[dict[str, float]]:
    rows = []
    for n in cells:
        run = engine_runner(reference_problem(n, hours), fast.solve)
        runs = [run(tolerance) for _ in range(repeats)]
        best = min(r.seconds for r in runs)
        rows.append(
            {
                "cells": n,
                "seconds": best,
                "steps": runs[0].steps,
                "ns_per_cell_and_step": 1e9 * best / (n * runs[0].steps),
                "error_k": float("nan"),
            }
        )
    finest = engine_runner(reference_problem(cells[-1], hours), fast.solve)
    truth = finest(tolerance).core_c
    for row, n in zip(rows, cells, strict=True):
        run = engine_runner(reference_problem(n, hours), fast.solve)
        row["difference_to_finest_k"] = float(np.abs(run(tolerance).core_c - truth).max())
        del row["error_k"]
    return rows


def _scaling_with_members(members: Sequence[int], hours: float) -> list[dict[str, float]]:
    piece, stage = _reference_cook(hours)

    def cook(n: int) -> None:
        spread = np.linspace(0.9, 1.1, n)
        simulate_many(
            piece, stage, {"thickness": 0.09 * spread, "heat_transfer": 10.0 * spread}
        )

    cook(2)  # what is compiled or loaded once
    rows = []
    for n in members:
        begin, cpu = time.perf_counter(), time.process_time()
        cook(n)
        seconds, cpu = time.perf_counter() - begin, time.process_time() - cpu
        peak = math.nan
        if n <= _MOST_TRACED:
            tracemalloc.start()
            cook(n)
            peak = tracemalloc.get_traced_memory()[1] / 1e6
            tracemalloc.stop()
        rows.append(
            {
                "members": n,
                "seconds": seconds,
                "ms_per_member": 1e3 * seconds / n,
                "cores_used": cpu / seconds,
                "peak_array_mb": peak,
            }
        )
    return rows


# --- the floor -----------------------------------------------------------------

# What four linearly implicit stages need at least, per volume and step, as
# evaluations of the statement's functions: four right-hand sides, three
# inversions for the stages and one for the step (each at least one evaluation
# of enthalpy), the storage part of the matrix, and the slopes that are kept.
_NEEDED = {
    "conductivity": 4,
    "enthalpy_slope_curvature": 4 + 1,
    "water_enthalpy": 4,
    "expulsion": 4,
    "moisture_diffusivity": 4,
}
# Arithmetic of the method itself, per volume and step, counted by hand in
# `fast`: flux differences 4 x 16; combinations of earlier stages 4 arrays x
# (1+2+3+3) x 2 x 2; block elimination 40; four block solves 4 x 28; products
# with the storage 4 x 5; error and new state 4 x 9 x 2.
_METHOD_FLOPS = 4 * 16 + 4 * 9 * 4 + 40 + 4 * 28 + 4 * 5 + 4 * 9 * 2
# Doubles read or written per volume and step, when each array passes once per
# use: state 6, four stages of 8, matrix 14 written and four times 12 read,
# stored rows 6.
_DOUBLES = 6 + 4 * 8 + 14 + 4 * 12 + 6
_STORED_DOUBLES = 6
# Range reduction and a polynomial of degree 12, counted by hand; the other
# transcendental functions are taken as dear.
_FLOPS_PER_EXPONENTIAL = 32


@dataclass
class Count:
    """Operations of a scalar function, branches counted as if all were taken."""

    flops: int = 0
    divisions: int = 0
    transcendental: int = 0

    def add(self, other: Count, times: int = 1) -> None:
        """Add another count so many times."""
        self.flops += times * other.flops
        self.divisions += times * other.divisions
        self.transcendental += times * other.transcendental


def count_operations(function: Any) -> Count:
    """Count a compiled scalar function's operations from its source.

    Parameters
    ----------
    function : compiled function
        Without loops.

    Returns
    -------
    Count
    """
    python = function.py_func
    names = python.__globals__
    total = Count()
    for node in ast.walk(ast.parse(textwrap.dedent(inspect.getsource(python)))):
        if isinstance(node, ast.BinOp | ast.AugAssign):
            if isinstance(node.op, ast.Div):
                total.divisions += 1
            elif isinstance(node.op, ast.Pow):
                total.transcendental += 1
            else:
                total.flops += 1
        elif isinstance(node, ast.Call):
            called = node.func
            if isinstance(called, ast.Attribute) and getattr(called.value, "id", "") == "math":
                total.transcendental += 1
            elif isinstance(called, ast.Name) and called.id == "exponential":
                # our own, written out in products and sums: still one exponential
                total.transcendental += 1
            elif isinstance(called, ast.Name) and hasattr(names.get(called.id), "py_func"):
                total.add(count_operations(names[called.id]))
    return total


def needed_per_volume_and_step() -> Count:
    """Operations that the method needs for one volume in one step."""
    total = Count(flops=_METHOD_FLOPS)
    for name, times in _NEEDED.items():
        total.add(count_operations(getattr(statement, name)), times)
    return total


@njit(fastmath={"contract"})
def _spin_flops(x, y, rounds):  # type: ignore[no-untyped-def]
    """Sixteen products and sums for each number, on as many at once as there is room."""
    for r in range(rounds):
        for i in range(x.shape[0]):
            z = x[i]
            p = 1.0 + r
            for k in range(16):
                p = p * z + k
            y[i] = p
    return y[0]


@njit(error_model="numpy")
def _spin_divide(x, y, rounds):  # type: ignore[no-untyped-def]
    for r in range(rounds):
        for i in range(x.shape[0]):
            y[i] = (1.0 + r) / x[i]
    return y[0]


@njit
def _spin_copy(x, y, rounds):  # type: ignore[no-untyped-def]
    for r in range(rounds):
        for i in range(x.shape[0]):
            y[i] = x[i] * 1.0000001 + r
    return y[0]


def _fastest(call: Callable[[], object], repeats: int = 7) -> float:
    call()
    best = math.inf
    for _ in range(repeats):
        begin = time.perf_counter()
        call()
        best = min(best, time.perf_counter() - begin)
    return best


def _floor(cells: int, seconds: float, steps: int) -> dict[str, float]:
    """Time that the counted work alone would take, on a processor kept full.

    Speeds are measured on arrays that fit the first cache, where the compiler
    works on several numbers at once. No serial chain of the solver is in it.
    """
    x = np.linspace(0.5, 0.9, 1000)
    y = np.empty_like(x)
    per_flop = _fastest(lambda: _spin_flops(x, y, 100)) / (100 * 1000 * 32)
    per_division = _fastest(lambda: _spin_divide(x, y, 100)) / 1e5
    per_exp = _FLOPS_PER_EXPONENTIAL * per_flop
    per_byte = _fastest(lambda: _spin_copy(x, y, 500)) / (500 * 1000 * 16)
    count = needed_per_volume_and_step()
    arithmetic = (
        count.flops * per_flop + count.divisions * per_division + count.transcendental * per_exp
    )
    traffic = 8.0 * _DOUBLES * per_byte
    per_step = seconds / steps
    return {
        "flops_per_cell_and_step": count.flops,
        "divisions_per_cell_and_step": count.divisions,
        "exponentials_per_cell_and_step": count.transcendental,
        "bytes_per_cell_and_step": 8 * _DOUBLES,
        "bytes_stored_per_cell_and_step": 8 * _STORED_DOUBLES,
        "ns_per_flop": 1e9 * per_flop,
        "ns_per_division": 1e9 * per_division,
        "ns_per_exponential": 1e9 * per_exp,
        "ns_per_byte": 1e9 * per_byte,
        "floor_arithmetic_us_per_step": 1e6 * cells * arithmetic,
        "floor_traffic_us_per_step": 1e6 * cells * traffic,
        "measured_us_per_step": 1e6 * per_step,
        "times_the_arithmetic_floor": per_step / (cells * arithmetic),
        "times_the_traffic_floor": per_step / (cells * traffic),
    }


# --- the whole -------------------------------------------------------------------


def _machine() -> dict[str, str]:
    packages = {}
    for name in ("numpy", "scipy", "numba", "scikit-sundae", "fipy"):
        try:
            packages[name] = version(name)
        except PackageNotFoundError:
            packages[name] = "not installed"
    load = f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "not known"
    return {
        "python": platform.python_version(),
        "processor": platform.machine(),
        "cores": str(os.cpu_count()),
        "load before": load,
        **packages,
    }


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Silence the warnings of integrators on tolerances that are too loose."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


def run(
    quick: bool = False,
    methods: Sequence[str] = tuple(METHODS),
    say: Callable[[str], None] = lambda line: None,
) -> Report:
    """Measure everything.

    Parameters
    ----------
    quick : bool
        A short cook, few sizes, no FiPy: to see that it works.
    methods : sequence of str
        Keys of `METHODS`; ``"fast"`` must be among them.
    say : function of str
        Told what is being done.

    Returns
    -------
    Report
    """
    machine = _machine()
    hours = _QUICK_HOURS if quick else REFERENCE_HOURS
    repeats = 3 if quick else 25
    problem = reference_problem(hours=hours)
    notes = []
    say("Converged run ...")
    with _quiet():
        truth = runner("fast", problem)(CONVERGED_TOLERANCE).core_c
        chamber = _with_chamber(hours, "fipy" in methods and not quick, repeats, say)
        rows = []
        for method in methods:
            if method == "fipy" and quick:
                rows.append(Row(method, METHODS[method], "left out: --quick"))
                continue
            few = repeats if method == "fast" else min(repeats, 9)
            rows.append(_measure(method, problem, truth, few, not quick, say))
    fast_row = next(row for row in rows if row.method == "fast")
    rows = [
        dataclasses.replace(row, ratio=row.fastest_s / fast_row.fastest_s)
        if row.note == _GOOD
        else row
        for row in rows
    ]
    if any(row.method == "fipy" and row.note == _GOOD for row in rows):
        notes.append(
            "FiPy has its own mesh, so its error holds the difference of the two "
            "discretisations as well. One repeat."
        )
    say("Scaling with cells ...")
    cells = _scaling_with_cells(
        _QUICK_CELLS if quick else _CELLS, hours, fast_row.tolerance, 3 if quick else 5
    )
    say("Scaling with members ...")
    members = _scaling_with_members(_QUICK_MEMBERS if quick else _MEMBERS, hours)
    say("The floor ...")
    floor = _floor(DEFAULT_CELLS, fast_row.fastest_s, fast_row.steps)
    return Report(
        machine,
        hours,
        tuple(rows),
        tuple(cells),
        tuple(members),
        floor,
        chamber,
        tuple(notes),
    )


def _with_chamber(
    hours: float, fipy: bool, repeats: int, say: Callable[[str], None]
) -> tuple[Row, ...]:
    """The engines where the air is a state too; the general integrators have none."""
    problem = chamber_problem(hours=hours)
    truth = runner("fast", problem)(CONVERGED_TOLERANCE).core_c
    say("In a chamber ...")
    rows = [_measure("fast", problem, truth, repeats, False, say)]
    if fipy:
        rows.append(_measure("fipy", problem, truth, 1, False, say))
    first = rows[0].fastest_s
    return tuple(
        dataclasses.replace(row, ratio=row.fastest_s / first) if row.note == _GOOD else row
        for row in rows
    )


def _number(value: float, digits: str) -> str:
    return "-" if value != value or value == 0 else format(value, digits)


def _lines(rows: Sequence[Row]) -> list[str]:
    out = []
    for row in rows:
        if row.note != _GOOD:
            out.append(f"{row.title:26s}{row.note}")
            continue
        out.append(
            f"{row.title:26s}{row.tolerance:10.2g}{row.error_k:9.3f}"
            f"{1e3 * row.fastest_s:11.2f}{1e3 * row.median_s:11.2f}"
            f"{_number(row.steps, 'd'):>7s}{_number(row.evaluations, 'd'):>8s}"
            f"{_number(row.memory_mb, '.0f'):>9s}{row.ratio:9.4g}"
        )
    return out


def text(report: Report) -> str:
    """Lay the report out as plain tables.

    Returns
    -------
    str
    """
    out = [
        "Coreward benchmark: one cook of "
        f"{report.hours:g} h, {DEFAULT_CELLS} nodes, coupled heat and water.",
        f"Each method at its loosest tolerance with the core within {LIMIT_K} K of a "
        "converged run at full hours.",
        "Times are of this machine as busy as it is now: trust the ratios.",
        ", ".join(f"{name} {value}" for name, value in report.machine.items()),
        "",
        f"{'method':26s}{'tolerance':>10s}{'error':>9s}{'fastest':>11s}{'median':>11s}"
        f"{'steps':>7s}{'rhs':>8s}{'memory':>9s}{'ratio':>9s}",
        f"{'':26s}{'K':>10s}{'K':>9s}{'ms':>11s}{'ms':>11s}{'':>7s}{'':>8s}{'MB':>9s}"
        f"{'to fast':>9s}",
    ]
    out += _lines(report.rows)
    out += ["", "In a tight chamber whose air the meat makes damp, with pressed flow"]
    out += _lines(report.chamber)
    out += ["", "Steps: '-' where the binding does not tell them. Memory: peak of a process"]
    out += ["that does only this, interpreter and compiler included."]
    for title, table in (
        ("The fast engine against the number of nodes", report.cells),
        ("Ensembles (simulate_many, default executor)", report.members),
    ):
        out += ["", title]
        heads = list(table[0])
        out.append("  ".join(f"{head:>22s}" for head in heads))
        for line in table:
            out.append("  ".join(f"{line[head]:22.4g}" for head in heads))
    out += ["", "Distance from the floor (counted work at this machine's measured speed)"]
    out += [f"  {name:38s}{value:12.4g}" for name, value in report.floor.items()]
    return "\n".join([*out, *report.notes])


def as_json(report: Report) -> str:
    """Return the report as JSON; what was not measured is null.

    Returns
    -------
    str
    """

    def plain(value: Any) -> Any:
        if isinstance(value, dict):
            return {k: plain(v) for k, v in value.items()}
        if isinstance(value, list | tuple):
            return [plain(v) for v in value]
        if isinstance(value, float) and not math.isfinite(value):
            return None
        return value

    return json.dumps(plain(dataclasses.asdict(report)), indent=2)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run from the command line.

    Returns
    -------
    int
        0
    """
    parser = argparse.ArgumentParser(
        prog="python -m coreward.evidence.benchmark",
        description="The fast engine beside SciPy, SUNDIALS and FiPy, at equal accuracy.",
    )
    parser.add_argument("--quick", action="store_true", help="a short cook, without FiPy")
    parser.add_argument("--json", type=Path, metavar="FILE", help="also write all numbers here")
    parser.add_argument(
        "--without",
        action="append",
        default=[],
        choices=[name for name in METHODS if name != "fast"],
        help="leave a method out; may be given several times",
    )
    given = parser.parse_args(arguments)
    report = run(
        given.quick,
        [name for name in METHODS if name not in given.without],
        lambda line: print(line, file=sys.stderr, flush=True),
    )
    print(text(report))
    if given.json is not None:
        given.json.write_text(as_json(report) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())

import importlib.util
import json
import math

import numpy as np
import pytest

from coreward.evidence import benchmark, integrators
from coreward.evidence.benchmark import (
    Row,
    count_operations,
    loosest,
    reference_problem,
)
from coreward.evidence.integrators import System
from coreward.physics import statement
from coreward.physics.chamber import OPEN
from coreward.physics.engines import fast
from coreward.physics.problem import LEDGER


@pytest.fixture(scope="module")
def report():
    return benchmark.run(quick=True)


def test_quick_measures_every_method_that_is_installed(report):
    assert [row.method for row in report.rows] == list(integrators.METHODS)
    for row in report.rows:
        if row.method == "fipy":
            assert row.note == "left out: --quick"
        elif row.method == "cvode" and importlib.util.find_spec("sksundae") is None:
            assert "scikit-sundae not installed" in row.note
        else:
            assert row.note == "ok"
            assert math.isfinite(row.ratio)
            assert row.ratio > 0.0
            assert 0.0 < row.fastest_s <= row.median_s
            # equal accuracy is the point of the comparison
            assert row.error_k <= benchmark.LIMIT_K
            assert row.evaluations > 0
    assert report.rows[0].ratio == 1.0


def test_a_chamber_is_measured_too(report):
    (row,) = report.chamber
    assert row.note == "ok"
    assert row.error_k <= benchmark.LIMIT_K
    assert 0.0 < row.fastest_s <= row.median_s


def test_scaling_and_floor_are_numbers(report):
    for table in (report.cells, report.members):
        for line in table:
            assert all(math.isfinite(value) for value in line.values())
    assert all(math.isfinite(v) and v > 0.0 for v in report.floor.values())
    assert [line["members"] for line in report.members] == [1, 4]


def test_text_and_json_say_the_same(report):
    shown = benchmark.text(report)
    for row in report.rows:
        assert row.title in shown
    told = json.loads(benchmark.as_json(report))
    assert told["rows"][0]["ratio"] == 1.0
    # not measured is null, which JSON has, and not NaN, which it has not
    assert told["rows"][-1]["ratio"] is None


def test_a_missing_package_is_named_and_not_fatal(monkeypatch):
    real = benchmark.runner

    def without(method, problem):
        if method == "cvode":
            raise ImportError("No module named 'sksundae'")
        return real(method, problem)

    monkeypatch.setattr(benchmark, "runner", without)
    problem = reference_problem(20, 1.0)
    row = benchmark._measure("cvode", problem, np.zeros(2), 1, False, lambda line: None)
    assert row.note == "not measured: scikit-sundae not installed"
    assert math.isnan(row.ratio)


def test_command_line_writes_json(tmp_path, capsys, monkeypatch, report):
    asked = {}

    def recorded(quick, methods, say):
        asked.update(quick=quick, methods=methods)
        return report

    monkeypatch.setattr(benchmark, "run", recorded)
    target = tmp_path / "out.json"
    assert benchmark.main(["--quick", "--without", "bdf", "--json", str(target)]) == 0
    assert asked["quick"] is True
    assert "bdf" not in asked["methods"]
    assert json.loads(target.read_text())["rows"][0]["method"] == "fast"
    assert "fast engine" in capsys.readouterr().out


def warm_state(problem, system, film=0.05):
    """Warm, moist, with gradients and a film, so that every term is at work."""
    mesh, m = problem.mesh, problem.material
    n = system.cells
    t = np.linspace(55.0, 62.0, n)
    w = np.linspace(m.raw_water, 0.95 * m.raw_water, n)
    state = np.empty_like(system.start)
    for i in range(n):
        state[2 * i] = mesh.volume[i] * statement.enthalpy(t[i], w[i], t[i], m)
        state[2 * i + 1] = mesh.volume[i] * w[i]
    state[2 * n - 2] += mesh.surface_area * film * statement.water_enthalpy(t[-1], m)
    state[2 * n] = film
    return t, w, state


def test_the_integrators_see_the_same_right_hand_side_as_the_engine():
    problem = reference_problem(30, 1.0)
    system = System(problem)
    system.reset()
    n = system.cells
    t, w, state = warm_state(problem, system)
    out = np.empty_like(state)
    system(0.0, state, out)
    mesh = problem.mesh
    f_e, f_w = np.empty(n), np.empty(n)
    film, _ = fast._rates(
        t,
        w,
        0.05,
        0.0,
        t,
        system.env,
        mesh.face_area,
        mesh.spacing,
        mesh.volume,
        mesh.surface_area,
        problem.conditions,
        problem.material,
        OPEN,
        f_e,
        f_w,
        np.zeros(len(LEDGER)),
        np.empty(n),
    )
    # The inversion leaves about 1e-10 K, and fluxes between close nodes
    # magnify it; 1e-7 of the largest is still far below any tolerance.
    assert np.abs(f_w).min() > 0.0
    assert np.allclose(out[0 : 2 * n : 2], f_e, rtol=0.0, atol=1e-7 * np.abs(f_e).max())
    assert np.allclose(out[1 : 2 * n : 2], f_w, rtol=0.0, atol=1e-7 * np.abs(f_w).max())
    assert out[2 * n] == pytest.approx(film / mesh.surface_area, rel=1e-7)


def test_the_banded_jacobian_is_that_of_differences_inside_the_band():
    problem = reference_problem(12, 1.0)
    system = System(problem)
    system.reset()
    _, _, state = warm_state(problem, system)
    band = system.jacobian(0.0, state).copy()
    base, moved = np.empty_like(state), np.empty_like(state)
    system(0.0, state, base)
    scale = system.scale
    compared = 0
    for j in range(len(state)):
        step = 1e-4 * scale[j]
        shifted = state.copy()
        shifted[j] += step
        system(0.0, shifted, moved)
        # How fast unknown i moves for one unit of the scale of unknown j.
        column = (moved - base) / step * scale[j] / scale
        for i in range(len(state)):
            near = abs(i // 2 - j // 2) <= 1 and -3 <= i - j <= 3
            # the stream runs past the last volume into the film from everywhere
            if not near or (i == len(state) - 1 and j < len(state) - 3):
                continue
            ours = band[i - j + integrators.UPPER_BAND, j] * scale[j] / scale[i]
            # One-sided differences of one ten-thousandth of a kelvin: 1e-3 of
            # what the column moves at all.
            assert abs(ours - column[i]) < 1e-3 * np.abs(column).max()
            compared += 1
    assert compared > 6 * 12


def test_loosest_finds_the_rung():
    ladder = (1.0, 0.5, 0.2, 0.1, 0.05)
    asked = []

    def accurate(tolerance):
        asked.append(tolerance)
        return tolerance <= 0.2

    assert loosest(accurate, ladder) == 0.2
    assert len(asked) <= 4
    assert loosest(lambda tolerance: False, ladder) is None
    assert loosest(lambda tolerance: True, ladder) == 1.0


def test_counting_reads_the_source():
    # t * (c0 + t * (c1/2 + t * c2/3)): three products, two sums, two divisions
    count = count_operations(statement.water_enthalpy)
    assert (count.flops, count.divisions, count.transcendental) == (5, 2, 0)
    # one exponential through another function
    assert count_operations(statement.expulsion).transcendental == 1


def test_a_row_that_was_not_measured_has_no_numbers():
    row = Row("fipy", "FiPy engine", "left out")
    assert math.isnan(row.fastest_s)
    assert math.isnan(row.error_k)
